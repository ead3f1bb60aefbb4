//! Which kind of file it is, by its first words; never by its name.

use super::answers::{Answers, Purpose};
use super::error::ReadError;
use super::reading::SpectralReading;
use super::table::reading_from_table;
use super::text::{lines, text_from_bytes};
use super::{cgats, jcamp};

/// Reads the curve in a file.
///
/// `purpose` is what the curve is going to be used as, which decides the scales
/// its values can have; `answers` settle what the file doesn't say. The answer's
/// wavelengths are in nm and rise, its values are linear.
///
/// # Errors
/// [`ReadError`]: a question (`Which…`) with its choices, or what is wrong and where.
///
/// # Examples
/// ```
/// # use spectra::read::{Answers, Purpose, ReadError, ValueScale, spectral_reading};
/// let file = b"Wavelength (nm);Transmittance(%)\n700;24,0\n750;89,9\n";
/// let curve = spectral_reading(file, Purpose::Filter, &Answers::default())?;
/// assert_eq!(curve.points[0].value, Some(0.24));
///
/// // Without the sign, the same numbers could be many things.
/// let file = b"Wavelength (nm);Transmittance\n700;0,24\n750;0,899\n";
/// let question = spectral_reading(file, Purpose::Filter, &Answers::default());
/// assert!(matches!(question, Err(ReadError::WhichScale { .. })));
/// let answers = Answers { value_scale: Some(ValueScale::Fraction), ..Answers::default() };
/// assert!(spectral_reading(file, Purpose::Filter, &answers).is_ok());
/// # Ok::<(), ReadError>(())
/// ```
pub fn spectral_reading(
    bytes: &[u8],
    purpose: Purpose,
    answers: &Answers,
) -> Result<SpectralReading, ReadError> {
    let text = text_from_bytes(bytes)?;
    let all = lines(&text);
    let first = all
        .iter()
        .map(|line| line.text.trim())
        .find(|text| !text.is_empty());
    if first.is_some_and(|line| line.starts_with("##")) {
        return jcamp::reading_from_jcamp(&text, purpose, answers);
    }
    let cgats_like = first.is_some_and(cgats::is_identifier)
        || all.iter().any(|line| line.text.trim() == "BEGIN_DATA");
    if cgats_like {
        return cgats::reading_from_cgats(&text, purpose, answers);
    }
    reading_from_table(&text, purpose, answers)
}
