//! What is believed of each filter's factor before the test: as given, from
//! spectra as `predict` takes them, or from the table of common practice.
//!
//! Begin with [`believed`].

use crate::AppError;
use crate::plan::PlanQuestion;
use crate::predict::{FilterAnswer, PredictRequest, StatedSpread, unranked};
use crate::predict_curves::{FilmChoice, FilterChoice};
use crate::predict_shade::MeterChoice;
use crate::shown_names::{shown_filter, shown_light};
use crate::spectral_file::SpectralFile;
use figures::shown;
use findings::{FactorPrior, factor_prior};
use quantity::{Nanometres, Stops};
use record::{Edge, EdgeLevel, Sky};
use spectra::{Expected, FilmClass};

/// Least spread that a prediction is believed to. \[stops\]
const LEAST_SD_STOPS: f64 = 0.1;
/// Edges that are looked at for a shallower filter, 50 % transmittance. \[nm\]
const SHALLOWER_NM: [f64; 6] = [760.0, 740.0, 715.0, 695.0, 650.0, 600.0];
/// Below this share the last digits of the curves decide, so only a limit is told.
const LEAST_SHOWN_PERCENT: f64 = 0.0001;
/// The edge of the plain red control. \[nm\]
const RED_NM: f64 = 600.0;

/// Where a belief comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Source {
    Given,
    CommonPractice,
    Spectra,
}

impl Source {
    /// The stable word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Given => "given",
            Self::CommonPractice => "common practice",
            Self::Spectra => "spectra",
        }
    }

    /// As a sentence says it.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::Given => "as given",
            Self::CommonPractice => "common practice by class of film and edge",
            Self::Spectra => "predicted from spectra",
        }
    }
}

/// What is believed of one filter.
#[derive(Clone, Debug)]
pub(crate) struct Believed {
    /// The filter by its edge or its curve.
    pub(crate) name: String,
    pub(crate) edge: Option<Edge>,
    pub(crate) prior: FactorPrior,
    pub(crate) source: Source,
    /// Whether a trace is all that can be promised.
    pub(crate) trace: bool,
    /// Why no image is expected, and what to do instead; empty with an image.
    pub(crate) reason: String,
    pub(crate) instead: Vec<String>,
}

/// The film and its filters as they are believed to be.
#[derive(Clone, Debug)]
pub(crate) struct BelievedTest {
    pub(crate) film: String,
    pub(crate) filters: Vec<Believed>,
    /// Expected factor of the plain red control; `None` without an image.
    pub(crate) red_stops: Option<f64>,
    /// What a reader must know of the curves.
    pub(crate) notes: Vec<String>,
}

/// Says what is believed of every filter of a question.
pub(crate) fn believed(q: &PlanQuestion, sky: Sky) -> Result<BelievedTest, AppError> {
    let given = q.expected_factors_stops.len();
    if given != 0 && given != q.filters.len() {
        return Err(AppError::new(
            format!(
                "{given} expected factors are given for {} filters",
                q.filters.len()
            ),
            "give --expected-factor once for each filter, in their order",
        ));
    }
    let by_spectra = matches!(q.film, FilmChoice::File { .. })
        || q.light.is_some()
        || q.spread != StatedSpread::default()
        || (q.filters.iter()).any(|f| matches!(f, FilterChoice::File(_)));
    if by_spectra {
        from_spectra(q, sky)
    } else {
        from_table(q, sky)
    }
}

fn given(q: &PlanQuestion, of: usize) -> Result<Option<FactorPrior>, AppError> {
    let Some(&(mean_stops, sd_stops)) = q.expected_factors_stops.get(of) else {
        return Ok(None);
    };
    if !(0.0..=20.0).contains(&mean_stops) || !(0.1..=6.0).contains(&sd_stops) {
        return Err(AppError::new(
            format!("a factor of {mean_stops} ± {sd_stops} stops can't be planned for"),
            "give a factor of 0 to 20 stops and a spread of 0.1 to 6 stops",
        ));
    }
    Ok(Some(FactorPrior::Expected {
        mean_stops,
        sd_stops,
    }))
}

fn from_table(q: &PlanQuestion, sky: Sky) -> Result<BelievedTest, AppError> {
    let FilmChoice::Class(word) = &q.film else {
        return Err(AppError::new("no class of film", "give --film-class"));
    };
    let class = film_class(word)?;
    let mut filters = vec![];
    for (of, choice) in q.filters.iter().enumerate() {
        let FilterChoice::Edge { text, .. } = choice else {
            return Err(AppError::new("no edge of a filter", "give --filter-edge"));
        };
        let (nm, level) = edge(text)?;
        let (prior, source) = match given(q, of)? {
            Some(prior) => (prior, Source::Given),
            None => (
                factor_prior(class, nm, level, sky).map_err(|e| {
                    AppError::new(
                        e.to_string(),
                        "give another edge, the filter's curve (--filter), or what you expect with --expected-factor",
                    )
                })?,
                Source::CommonPractice,
            ),
        };
        let (reason, instead) = match prior {
            FactorPrior::NoImage => no_image_by_table(class, nm, sky),
            FactorPrior::Expected { .. } => (String::new(), vec![]),
        };
        filters.push(Believed {
            name: text.clone(),
            edge: Some(edge_record(nm, level)?),
            prior,
            source,
            trace: false,
            reason,
            instead,
        });
    }
    let red_stops = match factor_prior(class, RED_NM, EdgeLevel::HalfTransmittance, sky) {
        Ok(FactorPrior::Expected { mean_stops, .. }) => Some(mean_stops),
        _ => None,
    };
    Ok(BelievedTest {
        film: format!("{} film", class.word()),
        filters,
        red_stops,
        notes: vec![],
    })
}

fn edge_record(nm: f64, level: EdgeLevel) -> Result<Edge, AppError> {
    let wavelength = Nanometres::from_nm(nm)
        .map_err(|e| AppError::new(e.to_string(), "give the edge in nm, as 715:50%"))?;
    Ok(Edge { wavelength, level })
}

fn edge(text: &str) -> Result<(f64, EdgeLevel), AppError> {
    let (number, level) = text.split_once(':').unwrap_or((text, ""));
    let level = match level {
        "50%" => EdgeLevel::HalfTransmittance,
        "half-peak" => EdgeLevel::HalfOfPeak,
        "10%" => EdgeLevel::TenPercent,
        "-3stops" => EdgeLevel::MinusThreeStops,
        "" => EdgeLevel::NotStated,
        _ => {
            return Err(AppError::new(
                format!("{level:?} is no level of an edge"),
                "give NM:50%, NM:half-peak, NM:10% or NM:-3stops, or NM alone where the level is not known",
            ));
        }
    };
    let nm = number
        .parse::<f64>()
        .ok()
        .filter(|n| n.is_finite())
        .ok_or_else(|| {
            AppError::new(
                format!("{number:?} is no wavelength"),
                "give the edge in nm, as 715:50%",
            )
        })?;
    Ok((nm, level))
}

fn film_class(word: &str) -> Result<FilmClass, AppError> {
    FilmClass::from_word(word).ok_or_else(|| {
        AppError::new(
            format!("no class of film is called {word:?}"),
            format!(
                "give one of: {}",
                FilmClass::ALL.map(FilmClass::word).join(", ")
            ),
        )
    })
}

/// What helps whatever the film.
fn check_sheet() -> String {
    "at most one check sheet, if you doubt the film or the edge of the filter: the longest time you can bear, beside an unfiltered anchor".to_owned()
}

fn shallower_words(edge: f64) -> String {
    format!(
        "a shallower filter: with an edge near {edge:.0} nm (50 % transmittance) this film shows an image"
    )
}

fn class_words(class: FilmClass) -> String {
    format!(
        "another film: of the class {}, behind this filter",
        class.word()
    )
}

fn no_image_by_table(class: FilmClass, nm: f64, sky: Sky) -> (String, Vec<String>) {
    let shows = |class: FilmClass, edge: f64| {
        matches!(
            factor_prior(class, edge, EdgeLevel::HalfTransmittance, sky),
            Ok(FactorPrior::Expected { .. })
        )
    };
    let shallower = SHALLOWER_NM
        .into_iter()
        .find(|e| *e < nm && shows(class, *e));
    let other = FilmClass::ALL.into_iter().find(|c| shows(*c, nm));
    let mut instead: Vec<String> = shallower.map(shallower_words).into_iter().collect();
    instead.extend(other.map(class_words));
    instead.push(check_sheet());
    let reason = format!(
        "{} film and a filter with its edge at {nm} nm overlap by less than about a thousandth of the bare response (common practice, by class of film)",
        class.word()
    );
    (reason, instead)
}

/// The light that stands for a sky where no spectrum is given, and what a reader
/// should know of it.
fn light_of(sky: Sky) -> (&'static str, &'static str) {
    match sky {
        Sky::ClearSun | Sky::BrokenCloud | Sky::NotStated => {
            ("sun:45", "a clear sun 45 degrees high")
        }
        Sky::ThinCloud => ("thin-cloud:45", "thin cloud, the sun 45 degrees high"),
        Sky::Overcast => ("overcast:45", "an overcast sky, the sun 45 degrees high"),
        Sky::OpenShade => ("open-shade:45", "open shade, the sun 45 degrees high"),
        Sky::UnderLeaves => (
            "under-leaves:45",
            "light under leaves, the sun 45 degrees high",
        ),
        Sky::Lamp => ("illuminant-a", "a tungsten lamp, CIE illuminant A"),
    }
}

fn predicting(
    q: &PlanQuestion,
    film: FilmChoice,
    filters: Vec<FilterChoice>,
    light: SpectralFile,
) -> PredictRequest {
    PredictRequest {
        film,
        filters,
        stack: false,
        light,
        shade: None,
        subjects: vec![],
        ei: None,
        step_nm: None,
        monotone: false,
        hold_ends: false,
        spread: q.spread,
        meter: MeterChoice::default(),
        sun_chart: false,
        figures: vec![],
    }
}

fn edge_choice(nm: f64) -> FilterChoice {
    FilterChoice::Edge {
        text: format!("{nm}:50%"),
        peak: None,
        width_nm: None,
    }
}

fn from_spectra(q: &PlanQuestion, sky: Sky) -> Result<BelievedTest, AppError> {
    let mut notes = vec![];
    let light = match &q.light {
        Some(light) => light.clone(),
        None => {
            let (name, words) = light_of(sky);
            notes.push(format!(
                "light: {words} ({name}) stands for {}; give another with --light",
                sky.words()
            ));
            SpectralFile::from_text(name)
        }
    };
    // The tested filters and the plain red one, in one go.
    let mut choices = q.filters.clone();
    choices.push(edge_choice(RED_NM));
    let asked = predicting(q, q.film.clone(), choices, light.clone());
    let found = unranked(&asked, &mut notes)?;
    let mut filters = vec![];
    for (of, (choice, answer)) in q.filters.iter().zip(&found.answers).enumerate() {
        let (predicted, trace) = prior_of(answer);
        let (prior, source) = match given(q, of)? {
            Some(prior) => (prior, Source::Given),
            None => (predicted, Source::Spectra),
        };
        let (reason, instead) = match prior {
            FactorPrior::NoImage => {
                no_image_by_spectra(q, &light, choice, answer, &found.film.name)
            }
            FactorPrior::Expected { .. } => (String::new(), vec![]),
        };
        let edge = match choice {
            FilterChoice::Edge { text, .. } => {
                let (nm, level) = edge(text)?;
                Some(edge_record(nm, level)?)
            }
            FilterChoice::File(_) => None,
        };
        filters.push(Believed {
            name: answer.name.clone(),
            edge,
            prior,
            source,
            trace: trace && source == Source::Spectra,
            reason,
            instead,
        });
    }
    let red = found.answers.last().map(prior_of);
    notes.dedup();
    Ok(BelievedTest {
        film: match &q.film {
            FilmChoice::Class(word) => format!("{word} film"),
            FilmChoice::File { .. } => found.film.name.clone(),
        },
        filters,
        red_stops: match red {
            Some((FactorPrior::Expected { mean_stops, .. }, _)) => Some(mean_stops),
            _ => None,
        },
        notes,
    })
}

/// A prediction as a belief, and whether it promises a trace only.
fn prior_of(answer: &FilterAnswer) -> (FactorPrior, bool) {
    match (answer.prediction.verdict, answer.prediction.stops()) {
        (Expected::NoImage, _) | (_, None) => (FactorPrior::NoImage, false),
        (verdict, Some(stops)) => (
            FactorPrior::Expected {
                mean_stops: Stops::to_stops(stops).max(0.0),
                sd_stops: answer.spread.sd_stops.max(LEAST_SD_STOPS),
            },
            verdict == Expected::Trace,
        ),
    }
}

fn no_image_by_spectra(
    q: &PlanQuestion,
    light: &SpectralFile,
    choice: &FilterChoice,
    answer: &FilterAnswer,
    film: &str,
) -> (String, Vec<String>) {
    let shows = |film: FilmChoice, filter: FilterChoice| {
        let asked = predicting(q, film, vec![filter], light.clone());
        // What can't be predicted can't be proposed.
        unranked(&asked, &mut vec![]).is_ok_and(|found| {
            (found.answers.iter()).all(|a| a.prediction.verdict == Expected::Image)
        })
    };
    let shallower = SHALLOWER_NM
        .into_iter()
        .find(|nm| shows(q.film.clone(), edge_choice(*nm)));
    let class = (FilmClass::ALL.into_iter())
        .find(|c| shows(FilmChoice::Class(c.word().to_owned()), choice.clone()));
    let mut instead: Vec<String> = shallower.map(shallower_words).into_iter().collect();
    instead.extend(class.map(class_words));
    instead.push(check_sheet());
    let percent = 100.0 * answer.prediction.share();
    let kept = if percent < LEAST_SHOWN_PERCENT {
        format!("less than {LEAST_SHOWN_PERCENT} %")
    } else {
        format!("{} %", shown::two_figures(percent))
    };
    let reason = format!(
        "behind {} {film} keeps {kept} of its bare response in {}; an image needs a thousandth (predicted from spectra)",
        shown_filter(&answer.name),
        shown_light(&light.name())
    );
    (reason, instead)
}
