//! A JCAMP-DX file to its spectra, and one of them to a curve.

use super::blocks::{Block, blocks};
use super::error::JcampError;
use super::records::records;
use super::spectrum::points;
use crate::read::answers::{Answers, Purpose, ValueScale, WavelengthUnit};
use crate::read::assemble::{Raw, RawRow, assemble};
use crate::read::error::ReadError;
use crate::read::reading::{Notice, SpectralReading};
use crate::read::stated::{is_molar, value_scale_in, wavelength_unit_in};
use crate::read::text::{lines, text_from_bytes};

/// One spectrum as it stands in a file: checked, unpacked, and in its own units.
#[derive(Clone, Debug, PartialEq)]
pub struct JcampSpectrum {
    /// ##TITLE=.
    pub title: String,
    /// ##XUNITS=.
    pub x_units: String,
    /// ##YUNITS=.
    pub y_units: String,
    /// Abscissa and ordinate in these units, in the order of the file; an
    /// ordinate is `None` where the file has `?`.
    pub points: Vec<(f64, Option<f64>)>,
}

/// The spectra of a file as they stand in it.
///
/// # Errors
/// [`ReadError`] for bytes that are no text; [`JcampError`] in it for the rest.
pub fn jcamp_spectra(bytes: &[u8]) -> Result<Vec<JcampSpectrum>, ReadError> {
    let text = text_from_bytes(bytes)?;
    let lines = lines(&text);
    let found = blocks(records(&lines)?);
    if found.is_empty() {
        return Err(JcampError::NoSpectrum.into());
    }
    let value = |block: &Block<'_>, label: &str| {
        block
            .find(label)
            .map_or_else(String::new, |record| record.value.to_owned())
    };
    found
        .iter()
        .map(|block| {
            let points = points(block)?
                .points
                .into_iter()
                .map(|(_, x, y)| (x, y))
                .collect();
            Ok(JcampSpectrum {
                title: block.title().to_owned(),
                x_units: value(block, "XUNITS"),
                y_units: value(block, "YUNITS"),
                points,
            })
        })
        .collect()
}

/// The curve in a JCAMP-DX text.
pub(in crate::read) fn reading_from_jcamp(
    text: &str,
    purpose: Purpose,
    answers: &Answers,
) -> Result<SpectralReading, ReadError> {
    let lines = lines(text);
    let found = blocks(records(&lines)?);
    let block = chosen(&found, answers)?;
    let title = block.title().to_owned();
    // A list of peaks, or a table in another form, is told before anything is asked.
    let points = points(block)?;
    let unit = abscissa_unit(block)?;
    let ordinate = block.find("YUNITS").map_or("", |record| record.value);
    if is_molar(ordinate) {
        return Err(ReadError::OtherQuantity {
            found: ordinate.to_owned(),
            purpose,
        });
    }
    let mut notices = vec![];
    if let (Some(said), Some((_, _, Some(found)))) = (points.first_y_said, points.points.first()) {
        notices.push(Notice::FirstValueDiffers {
            said,
            found: *found,
        });
    }
    let raw = Raw {
        title: Some(title.clone()),
        taken: title,
        rows: points
            .points
            .into_iter()
            .map(|(line, x, y)| RawRow { line, x, y })
            .collect(),
        unit_said: Some(unit),
        scale_said: ordinate_scale(block, ordinate, purpose),
        notices,
    };
    assemble(raw, purpose, answers)
}

/// The block asked for, or the only one.
fn chosen<'b, 'a>(found: &'b [Block<'a>], answers: &Answers) -> Result<&'b Block<'a>, ReadError> {
    let parts = || {
        found
            .iter()
            .enumerate()
            .map(|(index, block)| (index + 1, block.title().to_owned()))
            .collect::<Vec<_>>()
    };
    match (found, &answers.part) {
        ([], _) => Err(JcampError::NoSpectrum.into()),
        ([only], None) => Ok(only),
        (_, None) => Err(ReadError::WhichPart { parts: parts() }),
        (_, Some(asked)) => {
            let wanted = asked.trim();
            let titled: Vec<&Block<'_>> = found
                .iter()
                .filter(|block| block.title().eq_ignore_ascii_case(wanted))
                .collect();
            if let [only] = titled.as_slice() {
                return Ok(only);
            }
            wanted
                .parse::<usize>()
                .ok()
                .and_then(|number| found.get(number.checked_sub(1)?))
                .ok_or_else(|| ReadError::NoSuchPart {
                    asked: asked.clone(),
                    parts: parts(),
                })
        }
    }
}

fn abscissa_unit(block: &Block<'_>) -> Result<WavelengthUnit, JcampError> {
    let record = block.find("XUNITS").ok_or_else(|| JcampError::Missing {
        title: block.title().to_owned(),
        label: "XUNITS",
    })?;
    wavelength_unit_in(record.value).ok_or_else(|| JcampError::OtherAbscissa {
        line: record.line,
        units: record.value.to_owned(),
    })
}

/// What the file says about the scale of its ordinates.
fn ordinate_scale(
    block: &Block<'_>,
    units: &str,
    purpose: Purpose,
) -> Option<(ValueScale, Option<Notice>)> {
    if let Some(scale) = value_scale_in(units, purpose) {
        return Some((scale, None));
    }
    let close = units.trim().to_uppercase();
    let light = matches!(purpose, Purpose::Filter | Purpose::Subject);
    match close.as_str() {
        // The form knows these words without "percent": they are ratios.
        "TRANSMITTANCE" | "REFLECTANCE" | "T" if light => {
            let scale = ValueScale::Fraction;
            Some((
                scale,
                Some(Notice::ScaleOfForm {
                    scale,
                    form: "a JCAMP-DX file",
                }),
            ))
        }
        "A" if light => Some((ValueScale::Density, None)),
        // Arbitrary units say nothing, but the title may.
        _ if close.starts_with("ARBITRARY") => {
            let record = block.find("TITLE")?;
            let scale = value_scale_in(record.value, purpose)?;
            Some((
                scale,
                Some(Notice::ScaleFromRemark {
                    scale,
                    line: record.line,
                }),
            ))
        }
        _ => None,
    }
}
