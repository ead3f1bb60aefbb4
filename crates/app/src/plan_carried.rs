//! What a test's record brings into a new plan of it: films, filters, lights,
//! developments, holders, and the aperture that was used.

use crate::predict::COVERAGE;
use findings::interval_half_width;
use notebook::Checked;
use record::{EdgeLevel, Light, LightReading, PlannedExposure, Sky};
use serde_json::Value;

/// What a record brings into a plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Carried {
    /// Its films.
    pub films: Vec<CarriedFilm>,
    /// Its filters.
    pub filters: Vec<CarriedFilter>,
    /// Its lights.
    pub lights: Vec<CarriedLight>,
    /// Its developments: id, and developer with dilution.
    pub processes: Vec<(String, String)>,
    /// Its holders, without the side; empty when none is written down.
    pub holders: Vec<String>,
    /// Sheets of the plan that stands, or of those exposed.
    pub sheets: Option<usize>,
    /// The aperture that most frames have, as a plain number.
    pub aperture: Option<f64>,
    /// Whether it has a step tablet.
    pub tablet: bool,
    /// Frames that are recorded as exposed.
    pub exposed: usize,
}

/// A film that is recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedFilm {
    /// Its id in the record.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// Speed on its box.
    pub box_speed: Option<f64>,
    /// Its reciprocity law as text.
    pub reciprocity: Option<String>,
}

/// A filter that is recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedFilter {
    /// Its id in the record.
    pub id: String,
    /// What it is called.
    pub name: String,
    /// Its cut-on as a plan takes it: `715:50%`; `None` when none is written down.
    pub edge: Option<String>,
}

/// A light that is recorded.
#[derive(Clone, Debug, PartialEq)]
pub struct CarriedLight {
    /// Its id in the record.
    pub id: String,
    /// Its sky by the word of a plan, `clear-sun`; `None` when it is not stated.
    pub sky: Option<String>,
    /// Its reading as EV at ISO 100, where it has one.
    pub ev100: Option<f64>,
}

/// The word that a plan has for a sky; `None` when it is not stated.
pub(crate) fn sky_word(sky: Sky) -> Option<String> {
    (sky != Sky::NotStated).then(|| sky.words().replace(' ', "-"))
}

fn edge_text(edge: record::Edge) -> String {
    let nm = edge.wavelength.to_nm();
    match edge.level {
        EdgeLevel::HalfTransmittance => format!("{nm}:50%"),
        EdgeLevel::HalfOfPeak => format!("{nm}:half-peak"),
        EdgeLevel::TenPercent => format!("{nm}:10%"),
        EdgeLevel::MinusThreeStops => format!("{nm}:-3stops"),
        EdgeLevel::NotStated => nm.to_string(),
    }
}

fn ev100(light: &Light) -> Option<f64> {
    match light.reading {
        Some(LightReading::Ev100(ev)) => Some(ev.to_ev()),
        _ => None,
    }
}

/// A holder's name without its side: `3A` is of the holder `3`.
fn holder(side: &str) -> &str {
    side.strip_suffix(['A', 'B', 'a', 'b'])
        .map(str::trim_end)
        .filter(|name| !name.is_empty())
        .unwrap_or(side)
}

/// The value that occurs most, the first of several.
fn commonest(values: &[f64]) -> Option<f64> {
    let count = |of: f64| values.iter().filter(|v| **v == of).count();
    values.iter().copied().reduce(|best, next| {
        if count(next) > count(best) {
            next
        } else {
            best
        }
    })
}

/// Gives the factor that a test found for a filter, and its standard deviation, both
/// in stops; `None` when it found none, or a bound only.
#[must_use]
pub fn factor_found(findings: &Value, filter: &str) -> Option<(f64, f64)> {
    let factors = findings.get("factors")?.as_array()?;
    let of = factors
        .iter()
        .find(|factor| factor.get("filter").and_then(Value::as_str) == Some(filter))?;
    let number = |key: &str| of.get("factor_stops")?.get(key)?.as_f64();
    let half = 0.5 * (number("high")? - number("low")?);
    Some((number("value")?, half / interval_half_width(COVERAGE)))
}

/// Gives what a test's record brings into a plan.
#[must_use]
pub fn carried(checked: &Checked) -> Carried {
    let parts = &checked.parts;
    let exposed = parts.frames.iter().filter_map(|f| f.holder.as_deref());
    let planned = checked.planned.iter().filter_map(|f| f.holder.as_deref());
    let mut holders: Vec<String> = vec![];
    for side in planned.chain(exposed) {
        let name = holder(side).to_owned();
        if !holders.contains(&name) {
            holders.push(name);
        }
    }
    let mut apertures: Vec<f64> = vec![];
    for frame in &checked.planned {
        if let PlannedExposure::Camera(camera) = &frame.exposure {
            apertures.push(camera.aperture.to_ratio());
        }
    }
    for frame in &parts.frames {
        if let record::Exposure::Camera(camera) = &frame.exposure {
            apertures.push(camera.aperture.to_ratio());
        }
    }
    let sheets = match (checked.planned.len(), parts.frames.len()) {
        (0, 0) => None,
        (0, frames) => Some(frames),
        (planned, _) => Some(planned),
    };
    Carried {
        films: parts
            .films
            .iter()
            .map(|film| CarriedFilm {
                id: film.id.to_string(),
                name: film.name.clone(),
                box_speed: film.box_speed.map(|speed| speed.to_arithmetic()),
                reciprocity: film.reciprocity.as_ref().map(|r| r.law.clone()),
            })
            .collect(),
        filters: parts
            .filters
            .iter()
            .map(|filter| CarriedFilter {
                id: filter.id.to_string(),
                name: filter.name.clone(),
                edge: filter.edge.map(edge_text),
            })
            .collect(),
        lights: parts
            .lights
            .iter()
            .map(|light| CarriedLight {
                id: light.id.to_string(),
                sky: sky_word(light.sky),
                ev100: ev100(light),
            })
            .collect(),
        processes: parts
            .processes
            .iter()
            .map(|process| {
                let dilution = process.dilution.as_deref().unwrap_or_default();
                let words = format!("{} {dilution}", process.developer);
                (process.id.to_string(), words.trim().to_owned())
            })
            .collect(),
        holders,
        sheets,
        aperture: commonest(&apertures),
        tablet: !parts.tablets.is_empty(),
        exposed: parts.frames.len(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_side_is_of_its_holder() {
        for (side, name) in [
            ("3A", "3"),
            ("12b", "12"),
            ("red B", "red"),
            ("A", "A"),
            ("7", "7"),
        ] {
            assert_eq!(holder(side), name, "{side}");
        }
    }

    #[test]
    fn the_aperture_that_most_frames_have_is_carried() {
        assert_eq!(commonest(&[16.0, 22.0, 22.0, 16.0, 22.0]), Some(22.0));
        assert_eq!(commonest(&[16.0, 22.0]), Some(16.0));
        assert_eq!(commonest(&[]), None);
    }
}
