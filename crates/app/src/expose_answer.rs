//! The answer of `expose` as lines for a person and as JSON.

use crate::expose::COUNTED_FROM_S;
use exposure::{
    ChainUncertainty, ExposureAnswer, HandTiming, OpenedLens, SeriesPlace, format_aperture,
    format_ei, format_time, nearest_ei, uncertainty::COVERAGE,
};
use quantity::{ExposureIndex, FilterFactor, Flag, Seconds, Stops};
use serde_json::{Value, json};

/// An exposure with what surrounds it.
pub(crate) struct Worked {
    pub(crate) answer: ExposureAnswer,
    pub(crate) factor: FilterFactor,
    pub(crate) ei_behind_filter: ExposureIndex,
    pub(crate) reading_means: String,
    pub(crate) reading_asked: bool,
    pub(crate) hand: HandTiming,
    pub(crate) hand_uncertainty: Stops,
    pub(crate) shortest_by_hand: Option<Seconds>,
    pub(crate) opened: Option<OpenedLens>,
    pub(crate) uncertainty: Option<ChainUncertainty>,
}

impl Worked {
    /// Whether the time to give can be timed by hand.
    fn fit_for_the_hand(&self) -> bool {
        self.shortest_by_hand
            .is_some_and(|shortest| self.answer.time_corrected >= shortest)
    }
}

/// The steps, what must be known, and last what to set.
pub(crate) fn lines(worked: &Worked) -> Vec<String> {
    let answer = &worked.answer;
    let mut lines = vec![];
    for step in &answer.steps {
        let mut line = format!(
            "{:<14} {:>10}  {:>7}  {}",
            step.kind.name(),
            format_time(step.time),
            signed(step.stops),
            step.detail
        );
        if let Some(residual) = step.residual {
            line.push_str(&format!("; rounding leaves {} stops", signed(residual)));
        }
        lines.push(line);
        if let Some(assumption) = &step.assumption {
            lines.push(format!("{:<14} assumed: {assumption}", ""));
        }
    }
    if worked.factor != FilterFactor::NONE {
        lines.push(format!(
            "filters together: factor {}, {} stops, density {:.2}; the same as EI {} on a meter without the filter",
            significant(worked.factor.to_ratio()),
            signed(Stops::from_factor(worked.factor)),
            worked.factor.to_density(),
            format_ei(worked.ei_behind_filter)
        ));
    }
    if worked.reading_asked {
        lines.push(format!("the reading: {}", worked.reading_means));
    }
    // The step that goes without a law says it already.
    let told = answer.flags.iter().filter(|f| *f != Flag::NoReciprocityLaw);
    lines.extend(told.map(|flag| format!("note: {}", flag.meaning())));
    if answer.time_corrected.to_s() >= COUNTED_FROM_S || worked.hand_uncertainty.to_stops() < 1.0 {
        lines.push(hand_line(worked));
    }
    lines.push(String::new());
    lines.extend(setting(worked));
    lines
}

/// What to set.
fn setting(worked: &Worked) -> Vec<String> {
    let answer = &worked.answer;
    let mut lines = vec![format!(
        "give {} at {} ({} stops over the meter)",
        format_time(answer.time_corrected),
        format_aperture(answer.aperture),
        signed(answer.stops_over_meter)
    )];
    if let Some(found) = &worked.uncertainty {
        let parts: Vec<String> = found
            .parts
            .iter()
            .map(|(part, stops)| format!("{} {}", part.name(), hundredths(*stops)))
            .collect();
        lines.push(format!(
            "uncertain by {:.2} stops of exposure ({}; one standard deviation each): in {:.0} % of cases {} to {}",
            found.of_exposure.to_stops(),
            parts.join(", "),
            100.0 * COVERAGE,
            format_time(found.low),
            format_time(found.high)
        ));
    }
    if let Some(shutter) = &answer.shutter {
        let (setting, residual) = match &answer.aperture_at_shutter {
            Some(at) => (
                format!("{} at {}", shutter.mark.label(), at.mark.label()),
                Some(at.residual),
            ),
            None => (shutter.mark.label(), shutter.residual),
        };
        let left = residual.map_or_else(
            || "what rounding leaves is not known, for the law does not reach it".to_owned(),
            |r| match signed(r).split_at(1) {
                ("+", size) => format!("{size} stops too much"),
                ("-", size) => format!("{size} stops too little"),
                _ => "to 0.01 stop what is wanted".to_owned(),
            },
        );
        lines.push(format!("nearest marks: {setting} ({left})"));
    }
    if let Some(opened) = &worked.opened {
        lines.push(format!(
            "or open the lens by {:.2} stops instead: {} at {} (the sheet's own aperture column; it is not the longer time written in stops)",
            opened.stops.to_stops(),
            format_time(opened.time),
            format_aperture(opened.aperture)
        ));
    }
    lines
}

/// Stops to a hundredth; a small part is said to be small and not to be nothing.
fn hundredths(stops: Stops) -> String {
    let number = stops.to_stops();
    if number > 0.0 && number < 0.005 {
        "less than 0.01".to_owned()
    } else {
        format!("{number:.2}")
    }
}

/// What the hand can do here.
fn hand_line(worked: &Worked) -> String {
    let reaction = format_time(worked.hand.reaction());
    let u = hundredths(worked.hand_uncertainty);
    match (worked.fit_for_the_hand(), worked.shortest_by_hand) {
        (true, _) => format!(
            "by hand: good to {u} stops, with an error of {reaction} in opening and closing"
        ),
        (false, Some(shortest)) => format!(
            "by hand: good to {u} stops only; from {} on a hand is good to 1/6 stop, with an error of {reaction} in opening and closing",
            format_time(shortest)
        ),
        (false, None) => format!(
            "by hand: good to {u} stops only; such a count is never good to 1/6 stop, so use a watch"
        ),
    }
}

/// Four significant digits without trailing zeros.
fn significant(number: f64) -> String {
    let digits = (3.0 - number.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let text = format!("{number:.digits$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Stops with their sign and two decimals; what rounds to nothing has no sign.
fn signed(stops: Stops) -> String {
    let text = format!("{:+.2}", stops.to_stops());
    if matches!(text.as_str(), "+0.00" | "-0.00") {
        "0.00".to_owned()
    } else {
        text
    }
}

/// The answer with stable keys.
pub(crate) fn json(worked: &Worked) -> Value {
    let answer = &worked.answer;
    let shutter = answer.shutter.as_ref();
    let at_mark = answer.aperture_at_shutter.as_ref();
    let ei = nearest_ei(worked.ei_behind_filter);
    json!({
        "ev100": answer.ev100.to_ev(),
        "aperture_f": answer.aperture.to_ratio(),
        "time_metered_s": answer.time_metered.to_s(),
        "time_after_filter_s": answer.time_after_filter.to_s(),
        "time_after_bellows_s": answer.time_after_bellows.to_s(),
        "time_corrected_s": answer.time_corrected.to_s(),
        "stops_over_meter": answer.stops_over_meter.to_stops(),
        // All filters together, and the EI that says the same to a meter without them.
        "filter_factor": worked.factor.to_ratio(),
        "filter_stops": Stops::from_factor(worked.factor).to_stops(),
        "filter_density": worked.factor.to_density(),
        "ei_behind_filter": worked.ei_behind_filter.to_arithmetic(),
        "ei_behind_filter_mark": format_ei(worked.ei_behind_filter),
        "ei_behind_filter_residual_stops": ei.residual.to_stops(),
        "reading_means": worked.reading_means,
        // The nearest shutter mark, or counted time, and what it leaves over at the
        // aperture asked for: on the film, and as a time alone.
        "shutter_mark": shutter.map(|s| s.mark.label()),
        "shutter_mark_s": shutter.map(|s| s.time.to_s()),
        "shutter_mark_reached": shutter.map(|s| s.place == SeriesPlace::Within),
        "shutter_residual_stops": shutter.and_then(|s| s.residual).map(Stops::to_stops),
        "shutter_residual_time_stops": shutter.map(|s| s.residual_of_time.to_stops()),
        // The aperture that makes up for it, its nearest mark, and what both marks leave over.
        "aperture_wanted_at_mark_f": at_mark.map(|a| a.wanted.to_ratio()),
        "aperture_at_mark": at_mark.map(|a| a.mark.label()),
        "aperture_at_mark_f": at_mark.map(|a| a.aperture.to_ratio()),
        "aperture_residual_stops": at_mark.map(|a| a.residual.to_stops()),
        "by_hand": {
            "fit": worked.fit_for_the_hand(),
            "standard_uncertainty_stops": worked.hand_uncertainty.to_stops(),
            "shortest_time_s": worked.shortest_by_hand.map(Seconds::to_s),
            "reaction_s": worked.hand.reaction().to_s(),
        },
        // The lens opened instead of the time lengthened, by the sheet's own column.
        "opened_lens": worked.opened.map(|o| json!({
            "time_s": o.time.to_s(),
            "stops": o.stops.to_stops(),
            "aperture_f": o.aperture.to_ratio(),
        })),
        // One standard deviation each; the interval holds `coverage` of cases.
        "uncertainty": worked.uncertainty.as_ref().map(|u| json!({
            "parts": u.parts.iter().map(|(part, stops)| json!({
                "part": part.name(),
                "stops": stops.to_stops(),
            })).collect::<Vec<_>>(),
            "exposure_stops": u.of_exposure.to_stops(),
            "time_stops": u.of_time.to_stops(),
            "time_s": {
                "value": answer.time_corrected.to_s(),
                "low": u.low.to_s(),
                "high": u.high.to_s(),
                "coverage": COVERAGE,
            },
        })),
        "steps": answer.steps.iter().map(|s| json!({
            "step": s.kind.name(),
            "detail": s.detail,
            "time_s": s.time.to_s(),
            "stops": s.stops.to_stops(),
            "residual_stops": s.residual.map(Stops::to_stops),
            "assumption": s.assumption,
        })).collect::<Vec<_>>(),
        "flags": answer.flags.iter().map(Flag::name).collect::<Vec<_>>(),
    })
}
