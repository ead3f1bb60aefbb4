//! The curves that a prediction is asked with: films, filters, lights and subjects.

use crate::AppError;
use crate::absolute_film::{AbsoluteSensitivity, at_speed_point};
use crate::named_spectra::{named, names};
use crate::predict::{PredictRequest, interpolation};
use crate::spectral_file::{SpectralFile, read_curve};
use spectra::read::{Answers, Purpose, ValueScale};
use spectra::{Curve, FilmClass, LongPass};

/// The film that is asked about.
#[derive(Clone, Debug, PartialEq)]
pub enum FilmChoice {
    /// A file of its sensitivity.
    File {
        /// The file.
        file: SpectralFile,
        /// Whether the values are log10 of sensitivity.
        log: bool,
        /// What the sensitivity is to.
        convention: FilmConvention,
        /// What the values are for when they are absolute, cm²/erg.
        absolute: Option<AbsoluteSensitivity>,
    },
    /// A class of film, by its word.
    Class(String),
}

/// What a film's printed sensitivity is to.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum FilmConvention {
    /// Equal energy at each wavelength.
    #[default]
    EqualEnergy,
    /// Equal numbers of photons.
    EqualPhotons,
    /// A wedge spectrogram under a lamp.
    Wedge(SpectralFile),
}

/// A filter that is asked about.
#[derive(Clone, Debug, PartialEq)]
pub enum FilterChoice {
    /// A file of its transmittance.
    File(SpectralFile),
    /// An edge as `NM:LEVEL`.
    Edge {
        /// The text.
        text: String,
        /// Peak transmittance, 0 to 1; of the model when not given.
        peak: Option<f64>,
        /// Width of the edge, nm; of the model when not given.
        width_nm: Option<f64>,
    },
}

/// A film with its curve and, for a class, its model.
pub(crate) struct Film {
    pub(crate) name: String,
    pub(crate) curve: Curve,
    pub(crate) class: Option<FilmClass>,
    /// Whether the curve is in cm²/erg at 0.10 over base+fog.
    pub(crate) absolute: bool,
}

pub(crate) fn curve(
    file: &SpectralFile,
    purpose: Purpose,
    scale: Option<ValueScale>,
    notes: &mut Vec<String>,
) -> Result<Curve, AppError> {
    Ok(spectrum(file, purpose, scale, notes)?.0)
}

/// Gives a curve by file or by name, with the spread of a light that its model states.
pub(crate) fn spectrum(
    file: &SpectralFile,
    purpose: Purpose,
    scale: Option<ValueScale>,
    notes: &mut Vec<String>,
) -> Result<(Curve, Option<f64>), AppError> {
    if let Some(text) = file.as_name() {
        if let Some(named) = named(text, purpose)? {
            notes.extend(named.notes);
            return Ok((named.curve, named.infrared_sd_stops));
        }
        if let Some(names) = names(purpose) {
            return Err(AppError::new(
                format!(
                    "{text}: there is no such file, and no {} of this name",
                    purpose.word()
                ),
                format!("give a file, or one of {names}"),
            ));
        }
    }
    let answers = Answers {
        value_scale: scale.or(file.scale),
        ..file.answers()
    };
    let (curve, told) = read_curve(file, purpose, &answers)?;
    notes.extend(told);
    Ok((curve, None))
}

pub(crate) fn film(choice: &FilmChoice, notes: &mut Vec<String>) -> Result<Film, AppError> {
    match choice {
        FilmChoice::File {
            file,
            log,
            convention,
            absolute,
        } => {
            let scale = log.then_some(ValueScale::Log10);
            let printed = curve(file, Purpose::Film, scale, notes)?;
            let printed = match absolute {
                Some(of) => at_speed_point(&printed, of, notes)?,
                None => printed,
            };
            let turned = match convention {
                FilmConvention::EqualEnergy => Ok(printed),
                FilmConvention::EqualPhotons => spectra::equal_energy_from_equal_photons(&printed),
                FilmConvention::Wedge(lamp) => {
                    let lamp = curve(lamp, Purpose::Light, None, notes)?;
                    spectra::equal_energy_from_wedge(&printed, &lamp)
                }
            };
            Ok(Film {
                name: file.name(),
                curve: turned.map_err(|e| {
                    AppError::new(
                        format!("film: {e}"),
                        "give a lamp that covers the film and 560 nm",
                    )
                })?,
                class: None,
                absolute: absolute.is_some(),
            })
        }
        FilmChoice::Class(word) => {
            let words = FilmClass::ALL.map(FilmClass::word).join(", ");
            let class = FilmClass::from_word(word).ok_or_else(|| {
                AppError::new(
                    format!("there is no class of film '{word}'"),
                    format!("say one of {words}, or give the film's own curve with --film"),
                )
            })?;
            notes.push(format!(
                "film: the class {word} is a smooth model invented from the general ranges of the trade, not a film; give your film's own curve when there is one"
            ));
            Ok(Film {
                name: format!("{word} film (class)"),
                curve: class
                    .model()
                    .curve(word)
                    .map_err(|e| AppError::new(e.to_string(), ""))?,
                class: Some(class),
                absolute: false,
            })
        }
    }
}

/// Every filter with its name; a stack is one filter.
pub(crate) fn filters(
    request: &PredictRequest,
    notes: &mut Vec<String>,
) -> Result<Vec<(String, Curve)>, AppError> {
    let mut all: Vec<(String, Curve)> = vec![];
    for choice in &request.filters {
        let (name, curve) = match choice {
            FilterChoice::File(file) => {
                let printed = curve(file, Purpose::Filter, None, notes)?;
                (file.name(), file.glass.in_air(printed)?)
            }
            FilterChoice::Edge {
                text,
                peak,
                width_nm,
            } => {
                let glass = LongPass::from_text(
                    text,
                    peak.unwrap_or(spectra::long_pass::PEAK),
                    width_nm.unwrap_or(spectra::long_pass::WIDTH_NM),
                )
                .map_err(|e| AppError::new(format!("filter: {e}"), ""))?;
                let curve = glass
                    .curve(300.0, 1200.0)
                    .map_err(|e| AppError::new(e.to_string(), ""))?;
                (text.clone(), curve)
            }
        };
        let mut unique = name.clone();
        let mut count = 2;
        while all.iter().any(|(other, _)| *other == unique) {
            unique = format!("{name} ({count})");
            count += 1;
        }
        all.push((unique, curve));
    }
    if request.stack && all.len() > 1 {
        let name = all
            .iter()
            .map(|(name, _)| name.as_str())
            .collect::<Vec<_>>()
            .join(" + ");
        let curves: Vec<&Curve> = all.iter().map(|(_, c)| c).collect();
        let stack = spectra::stacked(&curves, interpolation(request))
            .map_err(|e| AppError::new(format!("stack of filters: {e}"), ""))?;
        return Ok(vec![(name, stack)]);
    }
    Ok(all)
}
