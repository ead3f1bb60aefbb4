//! What filters cost on a film in a light, from files of spectra.
//!
//! Reads the curves, asks `spectra` for each filter, ranks several, and joins
//! the answer to text and JSON. Begin with [`predict`].

use crate::AppError;
use crate::absolute_film::speed_in;
use crate::named_spectra::sun_height;
use crate::predict_curves::{Film, FilmChoice, FilterChoice, curve, film, filters, spectrum};
use crate::predict_json::json_of;
use crate::predict_shade::{MeterChoice, Shade, ShadeAnswer};
use crate::predict_text::{lines_of, ranked_lines};
use crate::shown_names::{shown_filter, shown_light};
use crate::spectral_file::SpectralFile;
use crate::sun_chart::{chart, chart_lines};
use figures::SunHeightFactor;
use findings::interval_half_width;
use quantity::{ExposureIndex, Stops};
use serde_json::Value;
use spectra::read::Purpose;
use spectra::{
    AbsoluteSpeed, Combined, Contribution, Curve, Ends, Expected, FilmClass, GridChoice,
    InputSpread, Interpolation, Predicting, Prediction, SubjectContrast, VerdictLimits,
};

/// Share of cases in which the intervals hold the truth.
pub(crate) const COVERAGE: f64 = 0.90;

/// A change of the factor worth telling. \[stops\]
pub(crate) const TOLD_FROM_STOPS: f64 = 0.05;

/// Standard deviations that were stated; what is not is assumed.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StatedSpread {
    /// Of the film's red end, nm.
    pub film_edge_nm: Option<f64>,
    /// Of the filter's edge, nm.
    pub filter_edge_nm: Option<f64>,
    /// Of the light's power beyond 700 nm, stops.
    pub light_infrared_stops: Option<f64>,
}

/// What `predict` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct PredictRequest {
    /// The film.
    pub film: FilmChoice,
    /// The filters; several are ranked, or stacked.
    pub filters: Vec<FilterChoice>,
    /// Whether the filters stand one behind the other.
    pub stack: bool,
    /// The light.
    pub light: SpectralFile,
    /// The light in the shade, when asked about.
    pub shade: Option<SpectralFile>,
    /// The meter that sun and shade are read with.
    pub meter: MeterChoice,
    /// Subjects that are held against the grey card.
    pub subjects: Vec<SpectralFile>,
    /// EI of the film without a filter.
    pub ei: Option<f64>,
    /// Step of the grid, nm; all wavelengths of all curves when not given.
    pub step_nm: Option<f64>,
    /// Whether values between points follow the monotone cubic.
    pub monotone: bool,
    /// Whether curves go on beyond their ends at their last values.
    pub hold_ends: bool,
    /// Stated standard deviations.
    pub spread: StatedSpread,
    /// Whether the factors over the sun's height are wanted.
    pub sun_chart: bool,
    /// The sheets on which the figure is wanted.
    pub figures: Vec<figures::Sheet>,
}

/// What `predict` answers.
#[derive(Clone, Debug)]
pub struct PredictAnswer {
    /// Lines for a person, the answer first.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
    /// The figure on each sheet that was asked for, of the first filter in rank.
    pub svgs: Vec<String>,
    /// What a reader must know about the curves.
    pub notes: Vec<String>,
}

/// One filter with everything that was found for it.
pub(crate) struct FilterAnswer {
    pub(crate) name: String,
    pub(crate) source: String,
    pub(crate) prediction: Prediction,
    pub(crate) subjects: Vec<(String, SubjectContrast)>,
    pub(crate) shade: Option<ShadeAnswer>,
    pub(crate) ei: Option<ExposureIndex>,
    pub(crate) spread: Combined,
    /// The factors over the sun's height, when they were asked for.
    pub(crate) sun_chart: Option<Vec<SunHeightFactor>>,
    /// Whether the spread was stated and not only assumed.
    pub(crate) stated: bool,
}

impl FilterAnswer {
    /// Ends of the interval of the factor, stops.
    pub(crate) fn interval_stops(&self) -> Option<(f64, f64)> {
        let middle = self.prediction.stops()?.to_stops();
        let half = interval_half_width(COVERAGE) * self.spread.sd_stops;
        Some((middle - half, middle + half))
    }
}

/// Predicts what each filter costs.
///
/// # Errors
/// [`AppError`] when a file can't be read or the curves can't be joined.
pub fn predict(request: &PredictRequest) -> Result<PredictAnswer, AppError> {
    let mut notes = vec![];
    let Unranked {
        film,
        light,
        speed,
        filters,
        mut answers,
    } = unranked(request, &mut notes)?;
    rank(&mut answers);
    let Some(first) = answers.first() else {
        return Err(AppError::new("no filter", "give --filter or --filter-edge"));
    };
    let drawn_filter = filters
        .iter()
        .find(|(name, _)| *name == first.name)
        .map_or(&light, |(_, curve)| curve);
    let panels = figures::SpectralPanels {
        film: &film.name,
        filter: &shown_filter(&first.name),
        light: &shown_light(&request.light.name()),
        prediction: &first.prediction,
        filter_curve: drawn_filter,
        interpolation: interpolation(request),
        sun_heights: first.sun_chart.as_deref().unwrap_or_default(),
    };
    let svgs = request
        .figures
        .iter()
        .map(|sheet| figures::spectral_panels(&panels, *sheet))
        .collect();
    let mut lines = if answers.len() == 1 {
        lines_of(first, &film.name)
    } else {
        ranked_lines(&answers, &film.name, !request.subjects.is_empty())
    };
    for answer in &answers {
        if let Some(rows) = &answer.sun_chart {
            lines.extend(chart_lines(&answer.name, rows));
        }
    }
    lines.push(String::new());
    if let Some(speed) = speed {
        lines.push(format!(
            "Speed of the bare film in this light: {} (0.10 over base+fog at {} lux s)",
            figures::shown::two_figures(speed.speed.to_arithmetic()),
            figures::shown::fixed(speed.speed_point.to_lux_seconds(), 4)
        ));
    }
    lines.push(format!("Film: {}", film.curve.source()));
    lines.push(format!("Light: {}", light.source()));
    for answer in &answers {
        lines.push(format!("Filter {}: {}", answer.name, answer.source));
    }
    lines.push(format!(
        "Integrals: {}; values between points by {}; {}.",
        first.prediction.grid,
        interpolation(request).words(),
        spectra::ends_words(ends(request))
    ));
    let json = json_of(request, &film, &light, speed, &answers, &notes);
    Ok(PredictAnswer {
        lines,
        json,
        svgs,
        notes,
    })
}

/// The curves of a request with an answer for each filter, in the order asked.
pub(crate) struct Unranked {
    pub(crate) film: Film,
    pub(crate) light: Curve,
    /// Of a film whose sensitivity is absolute.
    speed: Option<AbsoluteSpeed>,
    filters: Vec<(String, Curve)>,
    pub(crate) answers: Vec<FilterAnswer>,
}

/// Answers for each filter of a request.
pub(crate) fn unranked(
    request: &PredictRequest,
    notes: &mut Vec<String>,
) -> Result<Unranked, AppError> {
    let film = film(&request.film, notes)?;
    let (light, light_sd_stops) = spectrum(&request.light, Purpose::Light, None, notes)?;
    // A clear sun by name brings its own shade along.
    let own_shade = request
        .light
        .as_name()
        .and_then(sun_height)
        .map(|height| SpectralFile::from_text(&format!("open-shade:{height}")));
    let shade = request
        .shade
        .as_ref()
        .or(own_shade.as_ref())
        .map(|file| {
            let (light, infrared_sd_stops) = spectrum(file, Purpose::Light, None, notes)?;
            Shade::new(file.name(), light, infrared_sd_stops, request.meter)
        })
        .transpose()?;
    let subjects = request
        .subjects
        .iter()
        .map(|file| Ok((file.name(), curve(file, Purpose::Subject, None, notes)?)))
        .collect::<Result<Vec<_>, AppError>>()?;
    let filters = filters(request, notes)?;
    let speed = film
        .absolute
        .then(|| speed_in(&film.curve, &light))
        .transpose()?;
    let asking = Asking {
        request,
        film: &film,
        light: &light,
        light_sd_stops,
        shade: shade.as_ref(),
        subjects: &subjects,
        bare_ei: bare_ei(request, speed)?,
    };
    let answers = filters
        .iter()
        .map(|(name, filter)| asking.answer(name, filter))
        .collect::<Result<Vec<_>, AppError>>()?;
    Ok(Unranked {
        film,
        light,
        speed,
        filters,
        answers,
    })
}

/// The EI without a filter: as given, or the film's own speed in this light.
fn bare_ei(
    request: &PredictRequest,
    speed: Option<AbsoluteSpeed>,
) -> Result<Option<ExposureIndex>, AppError> {
    let given = request.ei.map(|ei| {
        ExposureIndex::from_arithmetic(ei)
            .map_err(|e| AppError::new(e.to_string(), "give the EI without a filter"))
    });
    Ok(given.transpose()?.or(speed.map(|s| s.speed)))
}

pub(crate) fn interpolation(request: &PredictRequest) -> Interpolation {
    if request.monotone {
        Interpolation::Monotone
    } else {
        Interpolation::Linear
    }
}

fn ends(request: &PredictRequest) -> Ends {
    if request.hold_ends {
        Ends::Held
    } else {
        Ends::LeftOut
    }
}

/// Everything one filter is asked with.
struct Asking<'a> {
    request: &'a PredictRequest,
    film: &'a Film,
    light: &'a Curve,
    /// Spread of the light beyond 700 nm, where its model has one.
    light_sd_stops: Option<f64>,
    shade: Option<&'a Shade>,
    subjects: &'a [(String, Curve)],
    bare_ei: Option<ExposureIndex>,
}

impl Asking<'_> {
    fn answer(&self, name: &str, filter: &Curve) -> Result<FilterAnswer, AppError> {
        let request = self.request;
        let of = Predicting {
            film: &self.film.curve,
            filter,
            light: self.light,
            interpolation: interpolation(request),
            grid: request
                .step_nm
                .map_or(GridChoice::Union, |step_nm| GridChoice::Step { step_nm }),
            ends: ends(request),
        };
        let limits = VerdictLimits::COMMON_PRACTICE;
        let wrong = |e: spectra::PredictionError| {
            AppError::new(
                format!("{name}: {e}"),
                "check that the files hold what their options say, in nm",
            )
        };
        let prediction = spectra::prediction(&of, limits).map_err(wrong)?;
        let subjects = self
            .subjects
            .iter()
            .map(|(name, subject)| {
                Ok((
                    name.clone(),
                    spectra::subject_contrast(&of, subject).map_err(wrong)?,
                ))
            })
            .collect::<Result<Vec<_>, AppError>>()?;
        let ei = self
            .bare_ei
            .zip(prediction.stops())
            .and_then(|(bare, stops)| bare.slower_by(stops).ok());
        let (spread, own_parts, stated) = self.spread(&of)?;
        let shade = self
            .shade
            .map(|shade| shade.answer(&of, &spread).map_err(wrong))
            .transpose()?;
        let sun_chart = request
            .sun_chart
            .then(|| chart(&of, &spread, &own_parts))
            .transpose()?;
        let mut parts = spectra::contributions(&prediction, &spread);
        parts.extend(own_parts);
        Ok(FilterAnswer {
            name: name.to_owned(),
            source: filter.source().to_owned(),
            prediction,
            subjects,
            shade,
            ei,
            sun_chart,
            spread: spectra::combined(&parts),
            stated,
        })
    }

    /// The spreads of the inputs, what a class of film adds, and whether any of it was stated.
    fn spread(
        &self,
        of: &Predicting<'_>,
    ) -> Result<(InputSpread, Vec<Contribution>, bool), AppError> {
        let stated = self.request.spread;
        for (what, sd) in [
            ("film's edge", stated.film_edge_nm),
            ("filter's edge", stated.filter_edge_nm),
            ("light's infrared", stated.light_infrared_stops),
        ] {
            if let Some(sd) = sd
                && !(sd.is_finite() && sd >= 0.0)
            {
                return Err(AppError::new(
                    format!("the standard deviation of the {what} is {sd}"),
                    "give a number of 0 or more",
                ));
            }
        }
        let model = self.film.class.map(FilmClass::model);
        let assumed = InputSpread::ASSUMED;
        let film_edge = stated.film_edge_nm.or(model.map(|m| m.edge_sd_nm));
        let spread = InputSpread {
            film_edge_nm: film_edge.unwrap_or(assumed.film_edge_nm),
            filter_edge_nm: stated.filter_edge_nm.unwrap_or(assumed.filter_edge_nm),
            light_infrared_stops: stated
                .light_infrared_stops
                .or(self.light_sd_stops)
                .unwrap_or(assumed.light_infrared_stops),
            gradient_stops: assumed.gradient_stops,
        };
        let mut parts = vec![];
        if let (Some(model), Some(class)) = (model, self.film.class) {
            let wider = |by: f64| {
                let width_nm = model.width_nm + by;
                let curve = spectra::ClassModel { width_nm, ..model }
                    .curve(class.word())
                    .ok()?;
                let film = &curve;
                let other = Predicting { film, ..*of };
                let other = spectra::prediction(&other, VerdictLimits::COMMON_PRACTICE).ok()?;
                other.stops().map(Stops::to_stops)
            };
            if let (Some(more), Some(less)) = (wider(model.width_sd_nm), wider(-model.width_sd_nm))
            {
                parts.push(Contribution {
                    source: "steepness of the film's red end".to_owned(),
                    sd_stops: 0.5 * (more - less).abs(),
                });
            }
        }
        let any =
            stated != StatedSpread::default() || model.is_some() || self.light_sd_stops.is_some();
        Ok((spread, parts, any))
    }
}

/// Most promising first: by verdict, then by the Wood effect on the first
/// subject in half stops (less can't be told on a print), then by what the
/// filter costs.
fn rank(answers: &mut [FilterAnswer]) {
    let lift = |a: &FilterAnswer| {
        a.subjects
            .first()
            .and_then(|(_, s)| s.wood_effect())
            .map_or(f64::NEG_INFINITY, |s| (2.0 * s.to_stops()).round())
    };
    let cost = |a: &FilterAnswer| a.prediction.stops().map_or(f64::INFINITY, Stops::to_stops);
    let useful = |a: &FilterAnswer| match a.prediction.verdict {
        Expected::Image => 0,
        Expected::Trace => 1,
        Expected::NoImage => 2,
    };
    answers.sort_by(|a, b| {
        useful(a)
            .cmp(&useful(b))
            .then(lift(b).total_cmp(&lift(a)))
            .then(cost(a).total_cmp(&cost(b)))
    });
}
