//! What must hold whatever bytes a reader is given.
//!
//! It ends in an answer or a reason, never a panic; a curve has rising
//! wavelengths and finite values not below zero; a question that is answered is
//! not asked again.

use spectra::read::cgats::density_tables;
use spectra::read::jcamp::jcamp_spectra;
use spectra::read::{
    Answers, Purpose, ReadError, SpectralReading, WavelengthUnit, spectral_reading,
};

/// One kind of file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Target {
    /// Tables of text.
    Table,
    /// JCAMP-DX.
    Jcamp,
    /// CGATS.17.
    Cgats,
}

impl Target {
    /// Every kind.
    pub(crate) const ALL: [Self; 3] = [Self::Table, Self::Jcamp, Self::Cgats];

    /// The name it is asked for by.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Table => "table",
            Self::Jcamp => "jcamp",
            Self::Cgats => "cgats",
        }
    }

    /// Holds the readers of this kind to the claims; says whether anything was read.
    pub(crate) fn hold(self, bytes: &[u8]) -> bool {
        let own = match self {
            Self::Table => false,
            Self::Jcamp => spectra_read(bytes),
            Self::Cgats => densities_read(bytes),
        };
        let curves = [
            Purpose::Filter,
            Purpose::Film,
            Purpose::Light,
            Purpose::Subject,
        ]
        .map(|purpose| curve_read(bytes, purpose));
        own || curves.contains(&true)
    }
}

fn spectra_read(bytes: &[u8]) -> bool {
    match jcamp_spectra(bytes) {
        Ok(spectra) => {
            let finite = |x: f64, y: Option<f64>| x.is_finite() && y.is_none_or(f64::is_finite);
            for spectrum in &spectra {
                assert!(
                    spectrum.points.iter().all(|(x, y)| finite(*x, *y)),
                    "a number ran away"
                );
            }
            true
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            false
        }
    }
}

fn densities_read(bytes: &[u8]) -> bool {
    match density_tables(bytes) {
        Ok(tables) => {
            for table in &tables {
                let whole = table
                    .rows
                    .iter()
                    .all(|row| row.densities.len() == table.fields.len());
                assert!(whole, "a row lost a density");
            }
            true
        }
        Err(error) => {
            assert!(!error.to_string().is_empty());
            false
        }
    }
}

/// Reads, answering what is asked.
fn curve_read(bytes: &[u8], purpose: Purpose) -> bool {
    let mut answers = Answers::default();
    loop {
        match spectral_reading(bytes, purpose, &answers) {
            Ok(reading) => {
                sound(&reading);
                return true;
            }
            Err(question) => {
                assert!(!question.to_string().is_empty());
                if !answer(&mut answers, &question, purpose) {
                    return false;
                }
            }
        }
    }
}

/// Answers a question; `false` for an error that is none.
fn answer(answers: &mut Answers, question: &ReadError, purpose: Purpose) -> bool {
    let again = match question {
        ReadError::WhichUnit { .. } => answers
            .wavelength_unit
            .replace(WavelengthUnit::Nanometres)
            .is_some(),
        ReadError::WhichScale { .. } => answers.value_scale.replace(purpose.scales()[0]).is_some(),
        ReadError::WhichColumn { columns } => match columns.first() {
            Some((number, _)) => answers.column.replace(number.to_string()).is_some(),
            None => return false,
        },
        ReadError::WhichPart { parts } => match parts.first() {
            Some((number, _)) => answers.part.replace(number.to_string()).is_some(),
            None => return false,
        },
        _ => return false,
    };
    assert!(!again, "asked again after an answer: {question}");
    true
}

fn sound(reading: &SpectralReading) {
    let points = &reading.points;
    assert!(
        points
            .windows(2)
            .all(|pair| pair[0].wavelength < pair[1].wavelength),
        "wavelengths don't rise"
    );
    let values: Vec<f64> = points.iter().filter_map(|point| point.value).collect();
    assert!(values.len() >= 2, "{} values make no curve", values.len());
    assert!(
        values
            .iter()
            .all(|value| value.is_finite() && *value >= 0.0),
        "a value ran away"
    );
    let kept: usize = reading.runs().iter().map(Vec::len).sum();
    assert_eq!(kept, values.len(), "runs lost a value");
    for notice in &reading.notices {
        assert!(!notice.to_string().is_empty());
    }
}
