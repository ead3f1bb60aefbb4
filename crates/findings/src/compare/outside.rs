//! Other people's reports, held against the fitted curve.
//!
//! A reported EI with the filter places the metered mid-tone: at the EI found
//! here, the speed point m lies 1.0 (lg(q·K/0.8)) below it. So a grey card lies
//! at x = x_m + lg(q·K/0.8) + lg(EI found/EI told), and its net density follows
//! from the curve. How the other person metered is not known: a stop either
//! way is taken as one standard deviation.

use crate::compare::causes::edges_apart;
use crate::compare::comparison::{Compared, ReportCheck, ReportVerdict};
use crate::compare::edge::wavelength_in;
use crate::compare::side::plain;
use crate::finding::{CurveFinding, FactorFinding};
use crate::normal::{log_cumulative, quantile};
use core::f64::consts::LOG10_2;
use quantity::{Bound, Nanometres, Stops};
use record::{Edge, EdgeLevel, Filter, OutsideReport, Response, Seen};

/// One standard deviation of unknown metering. \[stops\]
const UNKNOWN_METERING_STOPS: f64 = 1.0;
/// A card below this can't be told from base+fog. \[net density\]
const BLANK_BELOW: f64 = 0.03;
/// A card above this is an image. \[net density\]
const IMAGE_ABOVE: f64 = 0.10;
/// A card above this prints. \[net density\]
const PRINTABLE_ABOVE: f64 = 0.40;
/// A card above this is dense. \[net density\]
const PRINTABLE_BELOW: f64 = 1.10;
/// A card above this is dense by anybody's eye. \[net density\]
const DENSE: f64 = 1.60;
/// A report less likely than this contradicts the test.
const HARDLY: f64 = 0.05;
/// A filter told by a bare number is this one when the edges can be as near as
/// this; what lies between goes into the uncertainty. \[nm\]
const TOLD_WITHIN_NM: f64 = 8.0;
/// How far the mid-tone lies above the speed point at the EI found: lg(8.125/0.8).
const MID_TONE_OVER_SPEED_POINT: f64 = 1.006_731;

/// Every report of every test, held against the test that fits it best.
pub(crate) fn report_checks(tests: &[Compared<'_>]) -> Vec<ReportCheck> {
    let mut rows = vec![];
    for told_in in tests {
        for report in &told_in.test.parts().outside_reports {
            // Its own test first, then the others in order.
            let own = core::iter::once(told_in);
            let others = tests.iter().filter(|t| t.name != told_in.name);
            let checked = own.chain(others).find_map(|t| check(t, told_in, report));
            rows.push(checked.unwrap_or_else(|| ReportCheck {
                told_in: told_in.name.clone(),
                report: report.clone(),
                against: None,
                verdict: ReportVerdict::Possible,
                reason: format!(
                    "unchecked: no test here has {} behind {} with an EI and a curve",
                    report.film, report.filter
                ),
                probability: None,
                standard_uncertainty: None,
            }));
        }
    }
    rows
}

/// Whether a told filter is this one: by name, marking, id, or edge. `Some`
/// holds how far the edges may lie apart. \[nm\]
fn same_filter(told: &str, filters: &[&Filter]) -> Option<f64> {
    let name = plain(told);
    let by_name = |f: &&Filter| {
        plain(&f.name) == name
            || plain(f.id.as_str()) == name
            || f.marking.as_deref().is_some_and(|m| plain(m) == name)
    };
    if let [one] = filters
        && by_name(one)
    {
        return Some(0.0);
    }
    let wavelength = Nanometres::from_nm(wavelength_in(told)?).ok()?;
    let one = filters.first()?;
    let as_told = Filter {
        edge: Some(Edge {
            wavelength,
            level: EdgeLevel::NotStated,
        }),
        ..(*one).clone()
    };
    let (low, high) = edges_apart(filters, &[&as_told])?;
    // A bare number may be quoted at any level: it fits when one of them does.
    (low <= TOLD_WITHIN_NM && high >= -TOLD_WITHIN_NM).then(|| low.abs().max(high.abs()))
}

fn check(
    test: &Compared<'_>,
    told_in: &Compared<'_>,
    report: &OutsideReport,
) -> Option<ReportCheck> {
    let mut best: Option<(f64, &FactorFinding, &CurveFinding)> = None;
    for factor in &test.findings.factors {
        let film = test.test.film(&factor.film);
        let told = plain(&report.film);
        let film_fits =
            plain(factor.film.as_str()) == told || film.is_some_and(|f| plain(&f.name) == told);
        if !film_fits {
            continue;
        }
        let filters: Vec<_> = factor
            .filters
            .iter()
            .filter_map(|id| test.test.filter(id))
            .collect();
        let Some(apart_nm) = same_filter(&report.filter, &filters) else {
            continue;
        };
        let curve = test.findings.curves.iter().find(|c| {
            c.film == factor.film && c.response == Response::Density && c.speed_point.is_some()
        });
        // A light of the same words is closer than another.
        let other_light = report.light.as_deref().is_none_or(|told| {
            test.test
                .light(&factor.light)
                .is_none_or(|l| plain(l.sky.words()) != plain(told))
        });
        let distance = apart_nm + if other_light { 100.0 } else { 0.0 };
        if let Some(curve) = curve
            && factor.ei.is_some()
            && best.as_ref().is_none_or(|b| distance < b.0)
        {
            best = Some((distance, factor, curve));
        }
    }
    let (distance, factor, curve) = best?;
    let apart_nm = if distance >= 100.0 {
        distance - 100.0
    } else {
        distance
    };
    Some(judged(test, told_in, report, factor, curve, apart_nm))
}

/// Net density of a curve at x, and the x of a net density, along its samples.
///
/// Below the samples the toe is continued as an exponential: through the
/// lowest sample and the speed point, or the two lowest samples. The answer
/// says so.
struct NetCurve<'a> {
    curve: &'a CurveFinding,
    base: f64,
    /// Lowest sample: log H, net density, and the rate of the exponential.
    lowest: (f64, f64, f64),
}

impl<'a> NetCurve<'a> {
    fn new(curve: &'a CurveFinding, base: f64, speed_point: f64) -> Option<Self> {
        let [first, second, ..] = curve.samples.as_slice() else {
            return None;
        };
        // A sample at base+fog has no logarithm; 1e-4 can't be read.
        let net = |s: &crate::CurveSample| (s.value - base).max(1e-4);
        let (x, d) = (first.log_h, net(first));
        let rate = if x > speed_point + 0.01 {
            libm::log(d / 0.10) / (x - speed_point)
        } else {
            libm::log(net(second) / d) / (second.log_h - x)
        };
        Some(Self {
            curve,
            base,
            lowest: (x, d, rate.max(1.0)),
        })
    }

    fn net(&self, x: f64) -> f64 {
        let s = &self.curve.samples;
        let place = s.partition_point(|p| p.log_h < x);
        match (place.checked_sub(1).and_then(|i| s.get(i)), s.get(place)) {
            (Some(a), Some(b)) => {
                let share = (x - a.log_h) / (b.log_h - a.log_h);
                a.value + share * (b.value - a.value) - self.base
            }
            // Above the samples the density is at least the highest.
            (Some(a), None) => a.value - self.base,
            (None, _) => {
                let (first, d, rate) = self.lowest;
                d * libm::exp(rate * (x - first))
            }
        }
    }

    /// Where the curve passes a net density; +∞ when it lies above all samples.
    fn x_of(&self, net: f64) -> f64 {
        let s = &self.curve.samples;
        let place = s.partition_point(|p| p.value - self.base < net);
        match (place.checked_sub(1).and_then(|i| s.get(i)), s.get(place)) {
            (Some(a), Some(b)) => {
                let share = (net + self.base - a.value) / (b.value - a.value);
                a.log_h + share * (b.log_h - a.log_h)
            }
            (None, Some(_)) => {
                let (first, d, rate) = self.lowest;
                first + libm::log(net / d) / rate
            }
            _ => f64::INFINITY,
        }
    }

    /// Whether an answer at x rests on the continued toe.
    fn continued(&self, x: f64) -> bool {
        x < self.lowest.0 && self.lowest.1 > BLANK_BELOW
    }
}

fn below(x: f64, mean: f64, sd: f64) -> f64 {
    if x == f64::INFINITY {
        return 1.0;
    }
    libm::exp(log_cumulative((x - mean) / sd))
}

fn judged(
    test: &Compared<'_>,
    told_in: &Compared<'_>,
    report: &OutsideReport,
    factor: &FactorFinding,
    curve: &CurveFinding,
    apart_nm: f64,
) -> ReportCheck {
    let row = |verdict, reason, probability, sd_stops: Option<f64>| ReportCheck {
        told_in: told_in.name.clone(),
        report: report.clone(),
        against: Some(test.name.clone()),
        verdict,
        reason,
        probability,
        standard_uncertainty: sd_stops.and_then(|s| Stops::new(s).ok()),
    };
    let (Some(told), Some(found), Some(m), Some(base)) = (
        report.ei,
        factor.ei,
        &curve.speed_point,
        &curve.base_plus_fog,
    ) else {
        return row(
            ReportVerdict::Possible,
            format!(
                "unchecked: {}",
                if report.ei.is_none() {
                    "the report tells no EI"
                } else {
                    "the curve has no speed point over base+fog"
                }
            ),
            None,
            None,
        );
    };
    let Some(net_curve) = NetCurve::new(curve, base.value().to_density(), m.value().to_log10())
    else {
        return row(
            ReportVerdict::Possible,
            "unchecked: the curve has no samples".to_owned(),
            None,
            None,
        );
    };
    let lg = |ei: quantity::ExposureIndex| libm::log10(ei.to_arithmetic());
    // With a bound only one end of the EI holds, and it stands for the value.
    let (ei, half_log) = match factor.bound {
        None => (
            found.value,
            0.5 * (lg(found.high) - lg(found.low)) / quantile(0.5 + 0.5 * found.coverage),
        ),
        Some(Bound::AtLeast) => (found.high, 0.0),
        Some(Bound::AtMost) => (found.low, 0.0),
    };
    // x = x_m + lg(qK/0.8) + lg(EI found/EI told).
    let x = m.value().to_log10() + MID_TONE_OVER_SPEED_POINT + lg(ei) - lg(told);
    // Edges apart cost 0.08 stop per nm in the middle of the assumed range.
    let edge = 0.5 * apart_nm * 0.08 * LOG10_2;
    let sd =
        libm::sqrt((UNKNOWN_METERING_STOPS * LOG10_2).powi(2) + half_log * half_log + edge * edge);
    let card = net_curve.net(x);
    let shadow = net_curve.net(x - MID_TONE_OVER_SPEED_POINT);
    // Density of the card: surely what was seen from `low` to `high`, and still
    // to be called so from `least` to `most`.
    let (low, high, least, most) = match report.seen {
        Seen::Blank => (
            f64::NEG_INFINITY,
            BLANK_BELOW,
            f64::NEG_INFINITY,
            IMAGE_ABOVE,
        ),
        Seen::Trace => (BLANK_BELOW, IMAGE_ABOVE, 0.5 * BLANK_BELOW, PRINTABLE_ABOVE),
        Seen::Image => (IMAGE_ABOVE, f64::INFINITY, BLANK_BELOW, f64::INFINITY),
        Seen::Printable => (PRINTABLE_ABOVE, PRINTABLE_BELOW, IMAGE_ABOVE, DENSE),
    };
    let up_to = |net: f64| {
        if net == f64::NEG_INFINITY {
            0.0
        } else if net == f64::INFINITY {
            1.0
        } else {
            below(net_curve.x_of(net), x, sd)
        }
    };
    let probability = (up_to(most) - up_to(least)).max(0.0);
    let core = (low..high).contains(&card);
    // A bound moves the card one way only: what it can't reach stays ruled out,
    // what it would predict at its end is no more than possible.
    let one_way = match factor.bound {
        None => None,
        Some(Bound::AtLeast) => Some("at most"),
        Some(Bound::AtMost) => Some("at least"),
    };
    let verdict = match factor.bound {
        None if core => ReportVerdict::Expected,
        None if probability < HARDLY => ReportVerdict::Contradictory,
        None => ReportVerdict::Possible,
        Some(Bound::AtLeast) if core && report.seen == Seen::Blank => ReportVerdict::Expected,
        Some(Bound::AtMost) if core && report.seen == Seen::Image => ReportVerdict::Expected,
        Some(Bound::AtLeast) if 1.0 - up_to(least) < HARDLY => ReportVerdict::Contradictory,
        Some(Bound::AtMost) if up_to(most) < HARDLY => ReportVerdict::Contradictory,
        Some(_) => ReportVerdict::Possible,
    };
    let seen = match report.seen {
        Seen::Blank => "a blank",
        Seen::Trace => "a trace",
        Seen::Image => "an image",
        Seen::Printable => "a printable negative",
    };
    let ei_told = told.to_arithmetic();
    let reason = format!(
        "at EI {ei_told} a grey card would have a net density of {}{card:.2} (shadows 3 1/3 stops below it {shadow:.2}), as {} found EI {:.2} behind {}; {:.1} stop either way, as the metering is not known: {seen} has a probability of {probability:.2}{}",
        one_way.map_or_else(String::new, |w| format!("{w} ")),
        test.name,
        ei.to_arithmetic(),
        crate::advice::filters_words(&factor.filters),
        sd / LOG10_2,
        if net_curve.continued(x) {
            "; below the readings the toe was continued as an exponential"
        } else {
            ""
        },
    );
    row(verdict, reason, Some(probability), Some(sd / LOG10_2))
}
