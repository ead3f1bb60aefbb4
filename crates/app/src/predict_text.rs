//! What a prediction says to a person: the answer first, then what it rests on.

use crate::predict::{FilterAnswer, TOLD_FROM_STOPS};
use crate::shown_names::shown_filter;
use figures::shown;
use quantity::Stops;
use spectra::{Expected, Prediction, VerdictLimits};

/// Beyond this share of the bare response the last digits of the curves decide,
/// so a factor is told as a limit.
const SHARE_TOLD: f64 = 1e-6;

fn verdict_words(p: &Prediction) -> String {
    let share = shown::two_figures(100.0 * p.share());
    match p.verdict {
        Expected::Image => format!("an image; {share} % of the bare film's response is used"),
        Expected::Trace => format!(
            "a trace at most; {share} % of the bare film's response is used, all of it at the end of the film"
        ),
        Expected::NoImage if doubted(p) => {
            "no image as far as the curves are known; that is no proof of a blank sheet, see what is not known"
                .to_owned()
        }
        Expected::NoImage if p.share() > 0.0 => format!(
            "no image expected; {share} % of the bare film's response is left, less than 0.1 %"
        ),
        Expected::NoImage => {
            "no image expected at any exposure: the film sees nothing that the filter passes"
                .to_owned()
        }
    }
}

/// Whether a curve that went on beyond its table would leave more than nothing.
fn doubted(p: &Prediction) -> bool {
    let limits = VerdictLimits::COMMON_PRACTICE;
    p.unknown
        .iter()
        .any(|u| limits.verdict(u.other_share) != Expected::NoImage)
}

/// Lines about one filter.
pub(crate) fn lines_of(a: &FilterAnswer, film: &str) -> Vec<String> {
    let p = &a.prediction;
    let filter = shown_filter(&a.name);
    let mut lines = vec![];
    match (p.factor, p.stops(), a.interval_stops()) {
        (Some(_), _, _) if p.share() < SHARE_TOLD => lines.push(format!(
            "{film} behind {filter}: more than ×1 000 000, over 20 stops"
        )),
        (Some(factor), Some(stops), Some((low, high))) => lines.push(format!(
            "{film} behind {filter}: {}, {} stops more ({} to {}, 90 %)",
            shown::factor(factor),
            shown::stops(stops),
            shown::fixed(low, 1),
            shown::fixed(high, 1)
        )),
        _ => lines.push(format!("{film} behind {filter}: no factor")),
    }
    lines.push(format!("Verdict: {}.", verdict_words(p)));
    if let Some(ei) = a.ei {
        lines.push(format!("EI behind the filter: {}", shown::ei(ei)));
    }
    if let (Some(band), Some(mean)) = (p.filtered.band, p.filtered.mean_wavelength) {
        lines.push(format!(
            "Effective band: {:.0} to {:.0} nm (10 to 90 % of the response), mean {:.0} nm",
            band.low.to_nm(),
            band.high.to_nm(),
            mean.to_nm()
        ));
    }
    for (name, subject) in &a.subjects {
        let stops = |s: Option<Stops>| s.map_or_else(|| "none".to_owned(), shown::signed_stops);
        lines.push(format!(
            "{name} against the 18 % grey card: {} stops behind the filter, {} without; Wood effect {}",
            stops(subject.filtered),
            stops(subject.bare),
            stops(subject.wood_effect())
        ));
        if subject.covered < 0.98 && p.factor.is_some() {
            lines.push(format!(
                "  its curve covers only {:.0} % of the response; the contrast rests on that part",
                100.0 * subject.covered
            ));
        }
    }
    lines.extend(a.shade.iter().flat_map(|shade| shade.lines(p)));
    if let Some(slope) = p.stops_per_nm {
        lines.push(format!(
            "One nanometre of filter edge: {} stop",
            shown::fixed(slope, 2)
        ));
    }
    lines.extend(unknown_lines(p));
    if p.factor.is_some() {
        let shares: Vec<String> = a
            .spread
            .shares
            .iter()
            .filter(|(_, share)| *share >= 0.005)
            .map(|(source, share)| format!("{source} {:.0} %", 100.0 * share))
            .collect();
        lines.push(format!(
            "Uncertainty: {} stop (one standard deviation{}), from {}",
            shown::fixed(a.spread.sd_stops, 2),
            if a.stated {
                ""
            } else {
                "; assumed, since the files state none"
            },
            shares.join(", ")
        ));
        lines.push(
            "The factor is the spectral ratio: bare exposure over filtered, same light on the film; one matched on densities differs by about 0.13 stop, which is in the uncertainty.".to_owned(),
        );
    }
    lines
}

/// Lines about where curves end or have holes.
fn unknown_lines(p: &Prediction) -> Vec<String> {
    p.unknown
        .iter()
        .filter(|u| {
            u.factor_change.map_or(u.other_share > 0.0, |c| {
                c.to_stops().abs() >= TOLD_FROM_STOPS
            })
        })
        .map(|u| {
            let where_: Vec<String> = u
                .stretches_nm
                .iter()
                .take(3)
                .map(|(low, high)| format!("{low:.0} to {high:.0} nm"))
                .collect();
            let costs = match u.factor_change {
                Some(change) => format!(
                    "going on at its last value would change the factor by {} stops",
                    shown::signed_stops(change)
                ),
                None => format!(
                    "going on at its last value it would leave {} % of the bare film's response",
                    shown::fixed(100.0 * u.other_share, 1)
                ),
            };
            format!(
                "Not known: the {} from {}; {costs}",
                u.whose.word(),
                where_.join(", ")
            )
        })
        .collect()
}

/// Lines about several filters, most promising first.
pub(crate) fn ranked_lines(answers: &[FilterAnswer], film: &str, subjects: bool) -> Vec<String> {
    let mut lines = vec![];
    if let Some(first) = answers.first() {
        lines.push(match first.prediction.verdict {
            Expected::Image => format!("For {film}: {}", first.name),
            Expected::Trace => format!("For {film}: none gives more than a trace"),
            Expected::NoImage => format!("For {film}: none of these filters gives an image"),
        });
    }
    lines.push(format!(
        "Ranked by verdict, then by {}.",
        if subjects {
            "Wood effect on the first subject in half stops, then by factor"
        } else {
            "factor; with --subject by Wood effect"
        }
    ));
    lines.push(String::new());
    let width = answers
        .iter()
        .map(|a| a.name.chars().count())
        .max()
        .unwrap_or(0)
        .max(6);
    lines.push(format!(
        "{:width$}  {:>8}  {:>6}  {:>13}  {:>11}  {:>5}  verdict",
        "filter", "factor", "stops", "90 %", "band nm", "Wood"
    ));
    for a in answers {
        let p = &a.prediction;
        let none = || "–".to_owned();
        let beyond = p.share() < SHARE_TOLD;
        let interval = a.interval_stops().filter(|_| !beyond);
        let interval = interval.map_or_else(none, |(low, high)| {
            format!("{} to {}", shown::fixed(low, 1), shown::fixed(high, 1))
        });
        let band = p.filtered.band.map_or_else(none, |b| {
            format!("{:.0} to {:.0}", b.low.to_nm(), b.high.to_nm())
        });
        let wood = a
            .subjects
            .first()
            .and_then(|(_, s)| s.wood_effect())
            .map_or_else(none, shown::signed_stops);
        lines.push(format!(
            "{:width$}  {:>8}  {:>6}  {interval:>13}  {band:>11}  {wood:>5}  {}",
            a.name,
            match p.factor {
                Some(factor) if !beyond => shown::factor(factor),
                _ => none(),
            },
            match p.stops() {
                Some(_) if beyond => "> 20".to_owned(),
                stops => stops.map_or_else(none, shown::stops),
            },
            p.verdict.word()
        ));
    }
    lines
}
