//! A question about spectra as it comes from outside, made one of `app`'s.
//!
//! Only names and edges are taken: what `app` would read as a file's path is
//! refused here, so that no text from outside reaches the disk.

use crate::refusal::Refusal;
use app::shown::Sheet;
use app::{FilmChoice, FilterChoice, PredictRequest, SpectralFile, StatedSpread, spectra_choices};
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::IntoParams;

/// What is asked, as a query. All but the film may be left out.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(default)]
pub(crate) struct SpectraQuestion {
    /// Class of film: orthochromatic, panchromatic, extended-red, near-infrared, infrared.
    pub(crate) film_class: Option<String>,
    /// Filters, with commas between: an edge with its level as 715:50%, or gelatin:89B.
    pub(crate) filters: Option<String>,
    /// The light: sun:35, open-shade:35, overcast:35, daylight:5500, tungsten:3200, illuminant-a.
    pub(crate) light: Option<String>,
    /// Subjects held against a grey card, with commas between: leaf, needles, wall.
    pub(crate) subjects: Option<String>,
    /// EI of the film without a filter.
    #[param(minimum = 0.1, maximum = 100000)]
    pub(crate) ei: Option<f64>,
    /// Whether the factors over the sun's height are wanted.
    pub(crate) sun_chart: Option<bool>,
}

/// Most filters or subjects of one question.
const MOST: usize = 8;

/// Makes the request that `app` answers.
pub(crate) fn request(
    question: &SpectraQuestion,
    figures: Vec<Sheet>,
) -> Result<PredictRequest, Refusal> {
    let choices = spectra_choices()?;
    let film = question.film_class.as_deref().unwrap_or("extended-red");
    if !choices.film_classes.contains(&film) {
        return Err(unknown("film", film, &choices.film_classes.join(", ")));
    }
    let filters = listed(question.filters.as_deref().unwrap_or("715:50%"))?;
    let filters = filters
        .into_iter()
        .map(|text| match text.strip_prefix("gelatin:") {
            Some(number) if choices.gelatin_filters.iter().any(|n| n == number) => {
                Ok(FilterChoice::File(SpectralFile::from_text(text)))
            }
            Some(_) => Err(unknown(
                "gelatin filter",
                text,
                &choices.gelatin_filters.join(", "),
            )),
            None if is_edge(text) => Ok(FilterChoice::Edge {
                text: text.to_owned(),
                peak: None,
                width_nm: None,
            }),
            None => Err(unknown(
                "filter",
                text,
                "715:50%, 720:half-peak, 708:10%, gelatin:89B",
            )),
        })
        .collect::<Result<Vec<_>, _>>()?;
    let light = question.light.as_deref().unwrap_or("sun:35");
    if !is_light(light, &choices.skies) {
        return Err(unknown(
            "light",
            light,
            "sun:35, open-shade:35, overcast:35, daylight:5500, tungsten:3200, illuminant-a",
        ));
    }
    let subjects = listed(question.subjects.as_deref().unwrap_or("leaf"))?;
    if let Some(other) = subjects.iter().find(|s| !choices.subjects.contains(s)) {
        return Err(unknown("subject", other, &choices.subjects.join(", ")));
    }
    if question
        .ei
        .is_some_and(|ei| !(0.1..=100_000.0).contains(&ei))
    {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "the EI is not between 0.1 and 100 000",
            "give the EI that the film has without a filter",
        ));
    }
    Ok(PredictRequest {
        film: FilmChoice::Class(film.to_owned()),
        filters,
        stack: false,
        light: SpectralFile::from_text(light),
        shade: None,
        subjects: subjects.into_iter().map(SpectralFile::from_text).collect(),
        ei: question.ei,
        step_nm: None,
        monotone: false,
        hold_ends: false,
        spread: StatedSpread::default(),
        meter: app::MeterChoice::default(),
        sun_chart: question.sun_chart.unwrap_or(false),
        figures,
    })
}

fn listed(text: &str) -> Result<Vec<&str>, Refusal> {
    let parts: Vec<&str> = text
        .split(',')
        .map(str::trim)
        .filter(|p| !p.is_empty())
        .collect();
    if parts.len() > MOST {
        return Err(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            format!("{} at once are too many, the most are {MOST}", parts.len()),
            "ask about fewer",
        ));
    }
    Ok(parts)
}

fn unknown(what: &str, text: &str, known: &str) -> Refusal {
    let text: String = text.chars().take(40).collect();
    Refusal::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        format!("{text:?} is no {what} that can be asked about here"),
        format!("name one as in {known}"),
    )
}

/// A wavelength and a level: digits, a colon, letters or digits.
fn is_edge(text: &str) -> bool {
    text.split_once(':').is_some_and(|(nm, level)| {
        is_number(nm)
            && !level.is_empty()
            && level
                .chars()
                .all(|c| c.is_ascii_alphanumeric() || "-%.".contains(c))
    })
}

fn is_light(text: &str, skies: &[&str]) -> bool {
    match text.split_once(':') {
        Some((word, value)) => {
            (skies.contains(&word) || ["daylight", "tungsten"].contains(&word)) && is_number(value)
        }
        None => text == "illuminant-a",
    }
}

fn is_number(text: &str) -> bool {
    text.chars().all(|c| c.is_ascii_digit() || c == '.') && text.parse::<f64>().is_ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(filters: &str, light: &str) -> Result<PredictRequest, Refusal> {
        request(
            &SpectraQuestion {
                filters: Some(filters.to_owned()),
                light: Some(light.to_owned()),
                ..SpectraQuestion::default()
            },
            vec![],
        )
    }

    #[test]
    fn no_text_becomes_a_path() {
        for bad in [
            "/etc/passwd",
            "../film.csv",
            "film.csv",
            "C:film",
            "715:../x",
            "gelatin:../x",
        ] {
            assert!(asked(bad, "sun:35").is_err(), "{bad}");
            assert!(asked("715:50%", bad).is_err(), "{bad}");
        }
        assert!(asked("715:50%,gelatin:89B", "sun:35").is_ok());
    }
}
