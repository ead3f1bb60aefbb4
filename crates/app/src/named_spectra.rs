//! Spectra that are asked for by name, in place of a file.
//!
//! Lights: `daylight:5500`, `tungsten:3200`, `illuminant-a`; under the sky, by
//! the sun's height in degrees: `sun:35` (clear, sun and sky on the level
//! ground), `open-shade:35`, `under-leaves:35`, `thin-cloud:35`, `overcast:35`,
//! `heavy-cloud:35`. Subjects: leaves and plain things. Filters: `gelatin:89B`.

use crate::AppError;
use crate::sun::{coefficients, damaged, points};
use spectra::clear_sky::{Air, SkyLight, clear_sky};
use spectra::cloud::Cloud;
use spectra::lamp::{daylight_multipliers, illuminant_a, planck};
use spectra::leaf::{LEAF_RANGE_NM, Leaf, under_leaves};
use spectra::plain_subject::PlainSubject;
use spectra::read::Purpose;
use spectra::{Curve, CurveKind, CurvePoint};

/// The names of lights, for a message.
pub(crate) const LIGHT_NAMES: &str = "daylight:K, tungsten:K, illuminant-a, sun:DEG, open-shade:DEG, under-leaves:DEG, thin-cloud:DEG, overcast:DEG, heavy-cloud:DEG";

/// A spectrum by name.
#[derive(Clone, Debug)]
pub(crate) struct NamedSpectrum {
    /// The curve.
    pub(crate) curve: Curve,
    /// What a reader must know.
    pub(crate) notes: Vec<String>,
    /// One standard deviation of a light's power beyond 700 nm, stops, where the model has one.
    pub(crate) infrared_sd_stops: Option<f64>,
}

/// The day that stands for the year: the sun at its mean distance (day 94).
const MEAN_DAY: u16 = 94;

/// Share of the light that falls through gaps between leaves; invented.
const GAPS: f64 = 0.1;

/// Range of lamps by formula, nm.
const LAMP_RANGE_NM: (u16, u16) = (300, 1100);

/// A sky by its word.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Sky {
    Sun,
    OpenShade,
    UnderLeaves,
    Cloudy(Cloud),
}

pub(crate) const SKIES: [(&str, Sky); 6] = [
    ("sun", Sky::Sun),
    ("open-shade", Sky::OpenShade),
    ("under-leaves", Sky::UnderLeaves),
    ("thin-cloud", Sky::Cloudy(Cloud::Thin)),
    ("overcast", Sky::Cloudy(Cloud::Overcast)),
    ("heavy-cloud", Sky::Cloudy(Cloud::Heavy)),
];

pub(crate) const LEAVES: [(&str, Leaf, bool); 5] = [
    ("leaf", Leaf::SUMMER, false),
    ("spring-leaf", Leaf::SPRING, false),
    ("deep-green-leaf", Leaf::DEEP_GREEN, false),
    ("autumn-leaf", Leaf::AUTUMN, true),
    ("needles", Leaf::NEEDLES, true),
];

/// Gives the names that a purpose has, for a message; `None` when it has none.
pub(crate) fn names(purpose: Purpose) -> Option<String> {
    match purpose {
        Purpose::Light => Some(LIGHT_NAMES.to_owned()),
        Purpose::Subject => {
            let leaves = LEAVES.iter().map(|(word, _, _)| *word);
            let plain = PlainSubject::ALL.into_iter().map(PlainSubject::word);
            Some(leaves.chain(plain).collect::<Vec<_>>().join(", "))
        }
        Purpose::Filter => Some("gelatin:NUMBER".to_owned()),
        Purpose::Film => None,
    }
}

/// Gives the sun's height of a clear sun by name, degrees.
pub(crate) fn sun_height(text: &str) -> Option<&str> {
    text.strip_prefix("sun:")
}

/// Gives the spectrum of a name; `None` when the text is no name of this purpose.
///
/// # Errors
/// [`AppError`] when the name is one but its number is none, or lies outside its range.
pub(crate) fn named(text: &str, purpose: Purpose) -> Result<Option<NamedSpectrum>, AppError> {
    match purpose {
        Purpose::Light => light(text),
        Purpose::Subject => subject(text),
        Purpose::Filter => match text.strip_prefix("gelatin:") {
            Some(number) => gelatin(number).map(Some),
            None => Ok(None),
        },
        Purpose::Film => Ok(None),
    }
}

fn number(text: &str, value: &str) -> Result<f64, AppError> {
    value
        .parse::<f64>()
        .ok()
        .filter(|v| v.is_finite())
        .ok_or_else(|| {
            AppError::new(
                format!("{text}: '{value}' is no number"),
                "as in daylight:5500 (K) or sun:35 (the sun's height in degrees)",
            )
        })
}

fn light(text: &str) -> Result<Option<NamedSpectrum>, AppError> {
    let (word, value) = match text.split_once(':') {
        Some((word, value)) => (word, Some(value)),
        None => (text, None),
    };
    let sky = SKIES.iter().find(|(w, _)| *w == word).map(|(_, s)| *s);
    match (word, value, sky) {
        ("illuminant-a", None, _) => lamp("CIE illuminant A", illuminant_a).map(Some),
        ("daylight", Some(value), _) => daylight(text, number(text, value)?).map(Some),
        ("tungsten", Some(value), _) => {
            let kelvin = number(text, value)?;
            if !(1500.0..=4000.0).contains(&kelvin) {
                return Err(AppError::new(
                    format!("{text}: a tungsten lamp burns at 1500 to 4000 K"),
                    "give its colour temperature in K",
                ));
            }
            let name = format!("tungsten lamp as a black body of {kelvin} K");
            lamp(&name, |nm| planck(kelvin, nm)).map(Some)
        }
        (_, Some(value), Some(sky)) => under_sky(text, sky, number(text, value)?).map(Some),
        ("daylight" | "tungsten", None, _) | (_, None, Some(_)) => Err(AppError::new(
            format!("the light '{text}' needs a number"),
            format!(
                "as in {word}:{}",
                if sky.is_some() {
                    "35, the sun's height in degrees"
                } else {
                    "5500 or tungsten:3200, in K"
                }
            ),
        )),
        _ => Ok(None),
    }
}

fn relative_power(
    source: &str,
    kind: CurveKind,
    values: &[(f64, f64)],
    notes: Vec<String>,
    infrared_sd_stops: Option<f64>,
) -> Result<NamedSpectrum, AppError> {
    Ok(NamedSpectrum {
        curve: Curve::from_values(kind, source, values).map_err(damaged)?,
        notes,
        infrared_sd_stops,
    })
}

fn lamp(source: &str, power: impl Fn(f64) -> f64) -> Result<NamedSpectrum, AppError> {
    let (low, high) = LAMP_RANGE_NM;
    let values: Vec<(f64, f64)> = (low..=high)
        .map(f64::from)
        .map(|nm| (nm, power(nm)))
        .collect();
    relative_power(source, CurveKind::RelativePower, &values, vec![], None)
}

fn daylight(text: &str, kelvin: f64) -> Result<NamedSpectrum, AppError> {
    let (m1, m2) = daylight_multipliers(kelvin)
        .map_err(|e| AppError::new(format!("{text}: {e}"), "D65 is daylight:6503.6"))?;
    let table = reference::daylight_components().map_err(damaged)?;
    let values: Vec<(f64, f64)> = table
        .rows()
        .iter()
        .filter_map(|(nm, row)| match row.as_slice() {
            &[Some(s0), Some(s1), Some(s2)] => Some((*nm, (s0 + m1 * s1 + m2 * s2).max(0.0))),
            _ => None,
        })
        .collect();
    let source = format!("CIE daylight of {kelvin} K, 300 to 830 nm");
    let notes = vec![
        "light: CIE daylight is defined to 830 nm only; for films that see further take sun:HEIGHT"
            .to_owned(),
    ];
    relative_power(&source, CurveKind::RelativePower, &values, notes, None)
}

fn under_sky(text: &str, sky: Sky, sun_deg: f64) -> Result<NamedSpectrum, AppError> {
    let water = match sky {
        Sky::Cloudy(cloud) => cloud.water_times(),
        _ => 1.0,
    };
    let air = Air {
        water_cm: Air::CLEAR.water_cm * water,
        ..Air::CLEAR
    };
    let found = clear_sky(&coefficients()?, sun_deg, MEAN_DAY, &air)
        .map_err(|e| AppError::new(format!("{text}: {e}"), "give the sun's height in degrees"))?;
    let mut level = points(&found, SkyLight::global_horizontal);
    level.retain(|(nm, _)| *nm <= 1110.0);
    let (values, what, sd, note) = match sky {
        Sky::Sun => (
            level,
            "clear sky, sun and sky on the level ground",
            None,
            None,
        ),
        Sky::OpenShade => {
            let mut shade = points(&found, |l| l.diffuse_horizontal);
            shade.retain(|(nm, _)| *nm <= 1110.0);
            (shade, "clear sky without the sun", Some(0.3), Some(
                "light: open shade sees all of a clear sky and nothing else; a sunlit wall nearby or haze brings infrared back (0.3 stop assumed)".to_owned(),
            ))
        }
        Sky::UnderLeaves => {
            // The sky's table has no row at the end of the leaf's range.
            let last = spectra::seen::between(&level, LEAF_RANGE_NM.1);
            level.retain(|(nm, _)| *nm < LEAF_RANGE_NM.1);
            level.push((LEAF_RANGE_NM.1, last));
            level.retain(|(nm, _)| (LEAF_RANGE_NM.0..=LEAF_RANGE_NM.1).contains(nm));
            (
                under_leaves(&level, &Leaf::SUMMER, GAPS),
                "clear sky under one layer of green leaves with gaps of 10 %",
                Some(0.7),
                Some(
                    "light: gaps and layers of leaves are invented; the spread taken is 0.7 stop"
                        .to_owned(),
                ),
            )
        }
        Sky::Cloudy(cloud) => (
            cloud.tilted(&level),
            "clouds by a model of our own, invented",
            Some(cloud.infrared_sd_stops()),
            Some(format!(
                "light: no published law says what clouds do from 700 to 900 nm; this model is invented and {} stop is taken as its spread there",
                cloud.infrared_sd_stops()
            )),
        ),
    };
    let source = format!(
        "{what}; sun at {sun_deg}°, aerosol {}, water {:.2} cm, ozone {} atm cm (Bird and Riordan 1984)",
        air.aerosol_depth_500, air.water_cm, air.ozone_atm_cm
    );
    let notes = note.into_iter().collect();
    relative_power(&source, CurveKind::SpectralIrradiance, &values, notes, sd)
}

fn subject(text: &str) -> Result<Option<NamedSpectrum>, AppError> {
    let plain = PlainSubject::ALL.into_iter().find(|s| s.word() == text);
    let leaf = LEAVES.iter().find(|(word, _, _)| *word == text);
    let (curve, note) = match (plain, leaf) {
        (Some(PlainSubject::GreyCard), _) => (
            PlainSubject::GreyCard.curve(),
            "subject grey-card: 18 % at all wavelengths; real cards rise in the infrared"
                .to_owned(),
        ),
        (Some(plain), _) => (
            plain.curve(),
            format!("subject {text}: a simple model of our own, invented; measure yours"),
        ),
        (None, Some((word, leaf, invented))) => (
            leaf.curve(word),
            format!(
                "subject {text}: a model of a leaf, 400 to 900 nm{}",
                if *invented {
                    ", invented"
                } else {
                    ", near a published plate model"
                }
            ),
        ),
        (None, None) => return Ok(None),
    };
    Ok(Some(NamedSpectrum {
        curve: curve.map_err(damaged)?,
        notes: vec![note],
        infrared_sd_stops: None,
    }))
}

fn gelatin(number: &str) -> Result<NamedSpectrum, AppError> {
    let table = reference::gelatin_filters_percent().map_err(damaged)?;
    let column = format!("No{number}");
    let Ok(rows) = table.column(&column) else {
        let known: Vec<&str> = table
            .names()
            .iter()
            .map(|n| n.trim_start_matches("No"))
            .collect();
        return Err(AppError::new(
            format!("there is no table of a gelatin filter '{number}'"),
            format!("the tables hold {}", known.join(", ")),
        ));
    };
    let known = |(_, v): &(f64, Option<f64>)| v.is_some();
    let (Some(first), Some(last)) = (rows.iter().position(known), rows.iter().rposition(known))
    else {
        return Err(damaged(format!("{column} is empty")));
    };
    let points = rows[first..=last]
        .iter()
        .map(|(nm, percent)| {
            Ok(CurvePoint {
                wavelength: quantity::Nanometres::from_nm(*nm)?,
                value: percent.map(|p| p / 100.0),
                standard_uncertainty: None,
            })
        })
        .collect::<Result<Vec<_>, quantity::QuantityError>>()
        .map_err(damaged)?;
    let (low, high) = (rows[first].0, rows[last].0);
    let source = format!(
        "gelatin filter No. {number}, published table of a standard sample, {low:.0} to {high:.0} nm"
    );
    let mut notes = vec![];
    if high <= 700.0 {
        notes.push(format!(
            "filter {number}: its table ends at {high:.0} nm, where it still passes; a film that sees further gets more light than is counted here, so the factor is too large for it"
        ));
    }
    Ok(NamedSpectrum {
        curve: Curve::new(CurveKind::Transmittance, source, points).map_err(damaged)?,
        notes,
        infrared_sd_stops: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use quantity::Nanometres;
    use spectra::Interpolation;

    fn value(name: &str, purpose: Purpose, nm: f64) -> f64 {
        let curve = named(name, purpose).unwrap().unwrap().curve;
        let at = Nanometres::from_nm(nm).unwrap();
        curve.linear_value_at(at, Interpolation::Linear).unwrap()
    }

    #[test]
    fn standard_lights_have_their_published_values() {
        // Source: CIE 15, D65: 117.008 at 450 nm, 71.6091 at 700 nm; A: 198.261 at 700 nm.
        for (nm, expected) in [(450.0, 117.008), (560.0, 100.0), (700.0, 71.6091)] {
            let got = value("daylight:6503.6", Purpose::Light, nm);
            assert!((got / expected - 1.0).abs() < 1e-5, "{nm}: {got}");
        }
        let a = value("illuminant-a", Purpose::Light, 700.0);
        assert!((a / 198.261 - 1.0).abs() < 1e-5);
    }

    #[test]
    fn skies_differ_in_the_infrared_as_they_are_said_to() {
        let share =
            |name: &str| value(name, Purpose::Light, 780.0) / value(name, Purpose::Light, 550.0);
        assert!(share("open-shade:35") < 0.6 * share("sun:35"));
        assert!(share("under-leaves:35") > 2.0 * share("sun:35"));
        assert!(share("heavy-cloud:35") < share("overcast:35"));
        assert!(share("overcast:35") < share("thin-cloud:35"));
        let sd = |name: &str| {
            let found = named(name, Purpose::Light).unwrap().unwrap();
            (found.infrared_sd_stops, found.notes.len())
        };
        assert_eq!(sd("sun:35"), (None, 0));
        assert_eq!(sd("overcast:35"), (Some(0.5), 1));
        // The leaf's range is kept to its end.
        assert!(value("under-leaves:35", Purpose::Light, 900.0) > 0.0);
    }

    #[test]
    fn filters_by_number_keep_the_ends_of_their_tables() {
        // Source: the published table, No. 89B: 11.2 % at 700 nm.
        assert!((value("gelatin:89B", Purpose::Filter, 700.0) - 0.112).abs() < 1e-12);
        let red = named("gelatin:25", Purpose::Filter).unwrap().unwrap();
        assert_eq!(red.curve.range_nm(), (400.0, 700.0));
        assert!(red.notes[0].contains("ends at 700 nm"));
        assert!(
            named("gelatin:87", Purpose::Filter)
                .unwrap()
                .unwrap()
                .notes
                .is_empty()
        );
        let error = named("gelatin:26", Purpose::Filter).unwrap_err();
        assert!(error.to_string().contains("'26'"), "{error}");
    }

    #[test]
    fn what_is_no_name_stays_a_file_and_a_broken_name_is_told() {
        assert!(named("light.csv", Purpose::Light).unwrap().is_none());
        assert!(named("leaf", Purpose::Light).unwrap().is_none());
        assert!(named("sun:35", Purpose::Subject).unwrap().is_none());
        for broken in [
            "sun",
            "sun:x",
            "sun:NaN",
            "sun:0.5",
            "sun:91",
            "daylight:3000",
            "tungsten:9000",
            "overcast:",
        ] {
            assert!(named(broken, Purpose::Light).is_err(), "{broken}");
        }
    }

    #[test]
    fn every_subject_that_is_invented_says_so() {
        for name in [
            "wall",
            "roof",
            "bark",
            "soil",
            "water",
            "autumn-leaf",
            "needles",
        ] {
            let found = named(name, Purpose::Subject).unwrap().unwrap();
            assert!(found.notes[0].contains("invented"), "{name}");
        }
        assert!((value("grey-card", Purpose::Subject, 800.0) - 0.18).abs() < 1e-12);
    }
}
