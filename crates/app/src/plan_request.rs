//! What is at hand for a plan, as records and quantities.

use crate::AppError;
use crate::plan::PlanQuestion;
use crate::plan_believed::{Believed, BelievedTest};
use crate::shown_names::shown_filter;
use exposure::{SunnySky, sunny_estimate};
use findings::{FEWEST_SHEETS, MOST_SHEETS, PlanError, PlanRequest};
use quantity::{Density, Ev100, ExposureIndex, FNumber, Measured, Nanometres, Seconds, Stops};
use record::{Edge, EdgeLevel, Film, Filter, Id, Light, Process, ReciprocityRecord, Sky, Tablet};

pub(crate) const MARKS: [f64; 13] = [
    1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0, 45.0, 64.0,
];

fn id(text: &str) -> Result<Id, AppError> {
    Id::new(text).map_err(|e| AppError::new(e.to_string(), ""))
}

fn wrong(error: quantity::QuantityError) -> AppError {
    AppError::new(
        error.to_string(),
        "give a possible value; `filmproof plan --help` shows units",
    )
}

pub(crate) fn sky(word: &str) -> Result<Sky, AppError> {
    Sky::ALL
        .into_iter()
        .find(|s| s.words().replace(' ', "-") == word && *s != Sky::NotStated)
        .ok_or_else(|| {
            let known: Vec<String> = Sky::ALL
                .iter()
                .filter(|s| **s != Sky::NotStated)
                .map(|s| s.words().replace(' ', "-"))
                .collect();
            AppError::new(
                format!("no sky is called {word:?}"),
                format!("give one of: {}", known.join(", ")),
            )
        })
}

/// The sunny rule's EV of a sky; `None` where the rule has none.
fn sunny_ev(sky: Sky) -> Option<f64> {
    let sunny = match sky {
        Sky::ClearSun => SunnySky::Clear,
        Sky::ThinCloud => SunnySky::ThinCloud,
        Sky::Overcast => SunnySky::Overcast,
        Sky::OpenShade => SunnySky::OpenShade,
        _ => return None,
    };
    sunny_estimate(sunny).ok().map(|e| e.ev100.to_ev())
}

/// Gives what is at hand for one filter of a test.
pub(crate) fn request(
    q: &PlanQuestion,
    test: &BelievedTest,
    tested: &Believed,
) -> Result<PlanRequest, AppError> {
    let sky = sky(&q.sky)?;
    let ev = match (q.ev100, sunny_ev(sky)) {
        (Some(ev), _) | (None, Some(ev)) => ev,
        (None, None) => {
            return Err(AppError::new(
                format!("the light of {} can't be guessed", sky.words()),
                "give a reading with --ev100",
            ));
        }
    };
    let (widest, smallest) = q.lens_apertures;
    let mut apertures = vec![FNumber::from_ratio(q.aperture).map_err(wrong)?];
    for mark in MARKS {
        if mark >= 0.98 * widest && mark <= 1.02 * smallest && mark != q.aperture {
            apertures.push(FNumber::from_ratio(mark).map_err(wrong)?);
        }
    }
    let law = match &q.reciprocity {
        Some(text) => Some((text.clone(), crate::expose_inputs::reciprocity_law(text)?)),
        None => None,
    };
    let filter = |name: &str, words: String, edge| -> Result<Filter, AppError> {
        Ok(Filter {
            id: id(name)?,
            name: words,
            marking: None,
            edge,
            stated_factor: None,
        })
    };
    let tablet = if q.tablet {
        // Nominal: 21 steps of half a stop; the tablet's own table takes its place
        // in the record later.
        let steps: Result<Vec<_>, _> = (0..21)
            .map(|k| Density::gross(0.05 + 0.15 * f64::from(k)).map(|d| Measured::new(d, 0.02)))
            .collect();
        Some(Tablet {
            id: id("tablet")?,
            serial: None,
            certified: false,
            steps: steps.map_err(wrong)?,
        })
    } else {
        None
    };
    let box_speed = ExposureIndex::from_arithmetic(q.box_speed).map_err(wrong)?;
    let red_edge = Edge {
        wavelength: Nanometres::from_nm(600.0).map_err(wrong)?,
        level: EdgeLevel::NotStated,
    };
    let red = match (q.red_filter, test.red_stops) {
        (true, Some(stops)) => Some((
            filter("red", "plain red".to_owned(), Some(red_edge))?,
            Stops::new(stops).map_err(wrong)?,
        )),
        _ => None,
    };
    // More holders than any plan fills are left at home.
    let sides = (1..=q.holders.min(MOST_SHEETS))
        .flat_map(|h| [format!("{h}A"), format!("{h}B")])
        .collect();
    Ok(PlanRequest {
        film: Film {
            id: id("film")?,
            name: format!("{} of EI {}", test.film, q.box_speed),
            format: None,
            box_speed: Some(box_speed),
            batch: None,
            expiry: None,
            reciprocity: q.reciprocity.as_ref().map(|law| ReciprocityRecord {
                law: law.clone(),
                source: "as given to the plan".to_owned(),
                uncertainty_stops_per_decade: None,
                extrapolate: false,
            }),
        },
        box_speed,
        filter: filter(
            "filter",
            format!("filter {}", shown_filter(&tested.name)),
            tested.edge,
        )?,
        red,
        light: Light {
            id: id("light")?,
            sky,
            place: None,
            time: None,
            meter: None,
            reading: None,
            drift: None,
            remarks: None,
        },
        ev100: Ev100::from_ev(ev).map_err(wrong)?,
        process: Process {
            id: id("process")?,
            developer: "to be written down".to_owned(),
            dilution: None,
            time: None,
            temperature: None,
            agitation: None,
            remarks: None,
        },
        prior: tested.prior,
        sheets: q.sheets,
        sides,
        apertures,
        longest: Seconds::from_s(q.longest_s).map_err(wrong)?,
        shortest: Seconds::from_s(q.shortest_s).map_err(wrong)?,
        law,
        measured_shutter: q.measured_shutter,
        tablet,
    })
}

pub(crate) fn plan_error(error: PlanError) -> AppError {
    let remedy = match &error {
        PlanError::TooFewSheets { .. } => {
            format!("plan {FEWEST_SHEETS} sheets or more; five leave room for an unexposed one")
        }
        PlanError::TooManySheets { .. } => "plan several days".to_owned(),
        PlanError::TooFewSides { .. } => {
            "load more holders (--holders), or plan fewer sheets (--sheets)".to_owned()
        }
        PlanError::TooFewForFilters { .. } => {
            "leave those filters away, or take more sheets (--sheets, --holders)".to_owned()
        }
        PlanError::NoAperture => "give --aperture".to_owned(),
        PlanError::TooLong { .. } => {
            "bear a longer time (--longest), open the lens (--aperture, --lens), or wait for a brighter light".to_owned()
        }
        PlanError::TooShort { .. } => {
            "give the shutter's shortest time (--shortest) and the lens's smallest mark (--lens), or wait for less light"
                .to_owned()
        }
        _ => "check reading, EI, law and marks".to_owned(),
    };
    AppError::new(error.to_string(), remedy)
}
