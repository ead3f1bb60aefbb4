//! The form that asks for a plan, of a new test or of one that is recorded, and the
//! question that is made of it.
//!
//! Only numbers, words of lists and pasted curves are taken: what `app` would read as
//! a file's path never comes from outside.

use crate::form::field;
use crate::pages::spectra::{LEVELS, pasted};
use crate::refusal::Refusal;
use app::{
    AppError, Carried, CarriedFilm, FilmChoice, FilmConvention, FilterChoice, PlanQuestion,
    PlannedFor, SpectralFile, StatedSpread, spectra_choices, without_f_sign,
};
use std::path::Path;

pub(crate) type Fields = Vec<(String, String)>;

/// Skies that a plan knows.
pub(crate) const SKIES: [&str; 7] = [
    "clear-sun",
    "thin-cloud",
    "broken-cloud",
    "overcast",
    "open-shade",
    "under-leaves",
    "lamp",
];

/// A question about a plan; curves of its own are still texts.
#[derive(Clone, Debug)]
pub(crate) struct AskedPlan {
    question: PlanQuestion,
    film_curve: Option<String>,
    film_log: bool,
    filter_curve: Option<String>,
    /// The records of a test that it is for.
    pub(crate) of: PlannedFor,
}

impl AskedPlan {
    /// The question with its curves laid into a folder.
    pub(crate) fn with_curves_in(&self, place: &Path) -> Result<PlanQuestion, AppError> {
        let mut question = self.question.clone();
        let keep = |name: &str, text: &str| -> Result<SpectralFile, AppError> {
            let path = place.join(name);
            app::write_file(&path, text.as_bytes())?;
            Ok(SpectralFile {
                path,
                ..SpectralFile::default()
            })
        };
        if let Some(text) = &self.film_curve {
            question.film = FilmChoice::File {
                file: keep("pasted film", text)?,
                log: self.film_log,
                absolute: None,
                convention: FilmConvention::EqualEnergy,
            };
        }
        if let Some(text) = &self.filter_curve {
            question.filters = vec![FilterChoice::File(keep("pasted filter", text)?)];
        }
        Ok(question)
    }

    /// Asks in a folder of its own, whose name is told nowhere.
    pub(crate) fn asked<T>(
        &self,
        ask: impl FnOnce(&PlanQuestion) -> Result<T, app::KeepError>,
    ) -> Result<T, app::KeepError> {
        let place = tempfile::tempdir().map_err(|e| {
            AppError::new(
                format!("a folder for work in between can't be used: {e}"),
                "check the free space of the disk",
            )
        })?;
        let hidden = format!("{}{}", place.path().display(), std::path::MAIN_SEPARATOR);
        ask(&self.with_curves_in(place.path())?).map_err(|error| match error {
            app::KeepError::Failed(e) => app::KeepError::Failed(AppError::new(
                e.problem.replace(&hidden, ""),
                e.remedy.replace(&hidden, ""),
            )),
            other => other,
        })
    }
}

/// What is asked of a new test: film and filter are typed in.
pub(crate) fn of_new(typed: &Fields) -> Result<AskedPlan, Refusal> {
    let filter = match source(typed) {
        Source::Spectra if !field(typed, "gelatin").is_empty() => gelatin(typed)?,
        _ => edge(typed)?,
    };
    let known = match source(typed) {
        Source::Known => vec![(
            number(typed, "known_stops", "the factor that is known")?,
            number(typed, "known_sd", "how well the factor is known")?,
        )],
        _ => vec![],
    };
    asked(
        typed,
        number(typed, "box_speed", "the speed on the box")?,
        None,
        vec![filter],
        known,
        PlannedFor::default(),
    )
}

/// What is asked of a test that is recorded.
pub(crate) fn of_test(typed: &Fields, carried: &Carried) -> Result<AskedPlan, Refusal> {
    let missing = |what: &str, remedy: &str| Refusal::from(AppError::new(what, remedy));
    let film = film_of(typed, carried)
        .ok_or_else(|| missing("the test has no film", "write one down with its exposures"))?;
    let box_speed = match optional(typed, "box_speed", "the speed on the box")? {
        Some(speed) => speed,
        None => film.box_speed.ok_or_else(|| {
            missing(
                "the speed on the film's box is not known",
                "fill it in, everything else is kept",
            )
        })?,
    };
    let chosen: Vec<&app::CarriedFilter> = carried
        .filters
        .iter()
        .filter(|filter| {
            typed
                .iter()
                .any(|(name, value)| name == "filter_id" && *value == filter.id)
        })
        .collect();
    if chosen.is_empty() {
        return Err(missing("no filter is chosen", "choose one or more"));
    }
    let by_spectra = source(typed) == Source::Spectra;
    let by_table = by_spectra && !field(typed, "gelatin").is_empty();
    let own_curve = by_spectra && !field(typed, "filter_curve").trim().is_empty();
    if (by_table || own_curve) && chosen.len() > 1 {
        return Err(missing(
            "one curve can't stand for several filters",
            "choose one filter, or let all go by their cut-on",
        ));
    }
    let mut filters = vec![];
    let mut known = vec![];
    for filter in &chosen {
        if by_table {
            filters.push(gelatin(typed)?);
        } else if let Some(text) = &filter.edge {
            filters.push(by_edge(text.clone()));
        } else if own_curve {
            // The pasted curve takes its place.
            filters.push(by_edge("700".to_owned()));
        } else {
            return Err(missing(
                &format!("the filter {} has no cut-on in the record", filter.name),
                "write it down with the exposures, or take its curve",
            ));
        }
        if source(typed) == Source::Known {
            let of = |name: &str| format!("{name}.{}", filter.id);
            known.push((
                number(typed, &of("known_stops"), "a factor that is known")?,
                number(typed, &of("known_sd"), "how well a factor is known")?,
            ));
        }
    }
    let holders: Vec<String> = field(typed, "holder_names")
        .split([',', ';'])
        .map(str::trim)
        .filter(|name| !name.is_empty())
        .map(|name| name.chars().take(20).collect())
        .collect();
    let named = |name: &str| Some(field(typed, name).to_owned()).filter(|id| !id.is_empty());
    let of = PlannedFor {
        film: film.id.clone(),
        filters: chosen.iter().map(|filter| filter.id.clone()).collect(),
        light: named("light_id"),
        process: named("process_id"),
        holders,
    };
    let mut typed = typed.clone();
    if let Some(light) = of
        .light
        .as_ref()
        .and_then(|id| carried.lights.iter().find(|light| light.id == *id))
    {
        // What is recorded of the light goes before what the fields for another one hold.
        let mut set = |name: &str, value: Option<String>| {
            if let Some(value) = value {
                typed.retain(|(n, _)| n != name);
                typed.push((name.to_owned(), value));
            }
        };
        set("sky", light.sky.clone());
        set("ev100", light.ev100.map(|ev| ev.to_string()));
    }
    let holders = of.holders.len().to_string();
    typed.retain(|(n, _)| n != "holders");
    typed.push(("holders".to_owned(), holders));
    asked(
        &typed,
        box_speed,
        film.reciprocity.clone(),
        filters,
        known,
        of,
    )
}

/// The film that is chosen, or the first.
pub(crate) fn film_of<'a>(typed: &Fields, carried: &'a Carried) -> Option<&'a CarriedFilm> {
    let chosen = field(typed, "film_id");
    let of = carried.films.iter().find(|film| film.id == chosen);
    of.or(carried.films.first())
}

/// Where the expected factor comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    CommonPractice,
    Spectra,
    Known,
}

pub(crate) fn source(typed: &Fields) -> Source {
    match field(typed, "source") {
        "spectra" => Source::Spectra,
        "known" => Source::Known,
        _ => Source::CommonPractice,
    }
}

fn asked(
    typed: &Fields,
    box_speed: f64,
    reciprocity: Option<String>,
    filters: Vec<FilterChoice>,
    known: Vec<(f64, f64)>,
    of: PlannedFor,
) -> Result<AskedPlan, Refusal> {
    let by_spectra = source(typed) == Source::Spectra;
    let sky = field(typed, "sky");
    let film_curve = pasted(by_spectra.then(|| field(typed, "film_curve")))?;
    let filter_curve = pasted(by_spectra.then(|| field(typed, "filter_curve")))?;
    let widest = aperture(typed, "widest", "the lens's widest aperture")?.unwrap_or(5.6);
    let smallest = aperture(typed, "smallest", "the lens's smallest aperture")?.unwrap_or(45.0);
    let question = PlanQuestion {
        film: FilmChoice::Class(field(typed, "film_class").to_owned()),
        box_speed,
        filters,
        light: if by_spectra {
            Some(light(typed, sky)?)
        } else {
            None
        },
        spread: StatedSpread::default(),
        sky: sky.to_owned(),
        ev100: optional(typed, "ev100", "the reading")?,
        sheets: whole(typed, "sheets", "the number of sheets")?,
        holders: whole(typed, "holders", "the number of holders")?,
        aperture: needed(aperture(typed, "aperture", "the aperture")?, "the aperture")?,
        lens_apertures: (widest, smallest),
        longest_s: number(typed, "longest", "the longest time")?,
        // Few leaf shutters are faster.
        shortest_s: optional(typed, "shortest", "the shutter's shortest time")?.unwrap_or(0.002),
        reciprocity,
        measured_shutter: field(typed, "measured_shutter") == "on",
        tablet: field(typed, "tablet") == "on",
        red_filter: field(typed, "red_filter") == "on",
        expected_factors_stops: known,
        out: None,
    };
    Ok(AskedPlan {
        question,
        film_curve,
        film_log: field(typed, "film_log") == "on",
        filter_curve,
        of,
    })
}

/// The spectrum of the light by its name: the sky with the sun at a height.
fn light(typed: &Fields, sky: &str) -> Result<SpectralFile, Refusal> {
    let name = match sky {
        "lamp" => "illuminant-a".to_owned(),
        _ => {
            let height = optional(typed, "sun_deg", "the height of the sun")?.unwrap_or(45.0);
            let word = if sky == "clear-sun" { "sun" } else { sky };
            if !SKIES.contains(&sky) {
                return Err(
                    AppError::new(format!("no sky is called {sky:?}"), SKIES.join(", ")).into(),
                );
            }
            format!("{word}:{height}")
        }
    };
    Ok(SpectralFile::from_text(&name))
}

fn gelatin(typed: &Fields) -> Result<FilterChoice, Refusal> {
    let number = field(typed, "gelatin");
    if !spectra_choices()?
        .gelatin_filters
        .iter()
        .any(|n| n == number)
    {
        return Err(AppError::new(
            "there is no table of this gelatin filter",
            "choose one of the list",
        )
        .into());
    }
    Ok(FilterChoice::File(SpectralFile::from_text(&format!(
        "gelatin:{number}"
    ))))
}

fn by_edge(text: String) -> FilterChoice {
    FilterChoice::Edge {
        text,
        peak: None,
        width_nm: None,
    }
}

/// The cut-on as a number with its level; never other text, which `app` could take
/// for the name of a file.
fn edge(typed: &Fields) -> Result<FilterChoice, Refusal> {
    let nm = number(typed, "edge_nm", "the cut-on")?;
    let level = LEVELS
        .iter()
        .find(|(word, _)| *word == field(typed, "level"));
    Ok(by_edge(match level {
        Some((level, _)) => format!("{nm}:{level}"),
        None => nm.to_string(),
    }))
}

fn number(typed: &Fields, name: &str, what: &str) -> Result<f64, Refusal> {
    needed(optional(typed, name, what)?, what)
}

fn needed(number: Option<f64>, what: &str) -> Result<f64, Refusal> {
    number.ok_or_else(|| {
        AppError::new(
            format!("{what} is missing"),
            "fill it in, everything else is kept",
        )
        .into()
    })
}

/// A number, a fraction as of a shutter's mark, or nothing.
pub(crate) fn optional(typed: &Fields, name: &str, what: &str) -> Result<Option<f64>, Refusal> {
    number_of(field(typed, name), what)
}

/// An f-number, with its sign or without, or nothing.
fn aperture(typed: &Fields, name: &str, what: &str) -> Result<Option<f64>, Refusal> {
    number_of(without_f_sign(field(typed, name)), what)
}

fn number_of(text: &str, what: &str) -> Result<Option<f64>, Refusal> {
    let text = text.trim().replace(',', ".");
    if text.is_empty() {
        return Ok(None);
    }
    let read = match text.split_once('/') {
        Some((over, under)) => over
            .trim()
            .parse::<f64>()
            .ok()
            .zip(under.trim().parse::<f64>().ok())
            .map(|(over, under)| over / under),
        None => text.parse::<f64>().ok(),
    };
    match read {
        Some(number) if number.is_finite() => Ok(Some(number)),
        _ => Err(AppError::new(
            format!(
                "{what} is no number: {}",
                text.chars().take(40).collect::<String>()
            ),
            "correct it, everything else is kept",
        )
        .into()),
    }
}

fn whole(typed: &Fields, name: &str, what: &str) -> Result<usize, Refusal> {
    field(typed, name).trim().parse().map_err(|_| {
        AppError::new(
            format!("{what} is no whole number"),
            "correct it, everything else is kept",
        )
        .into()
    })
}
