//! Spectral files opened and read, with what the reader of a file should be told.

use crate::AppError;
use crate::glass::Glass;
use spectra::read::{Answers, Purpose, ReadError, ValueScale, WavelengthUnit, spectral_reading};
use spectra::{Curve, CurveKind};
use std::path::PathBuf;

/// Largest spectral file that is read. \[bytes\]
const MOST_BYTES: u64 = 64 * 1024 * 1024;

/// A file of spectra and what is said about it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SpectralFile {
    /// The file.
    pub path: PathBuf,
    /// The column of values: its name or number.
    pub column: Option<String>,
    /// The scale of the values.
    pub scale: Option<ValueScale>,
    /// The unit of the wavelengths.
    pub unit: Option<WavelengthUnit>,
    /// The spectrum in a file of several: its title, sample or number.
    pub part: Option<String>,
    /// What is said of a glass.
    pub glass: Box<Glass>,
}

impl SpectralFile {
    /// Takes `FILE`, `FILE#COLUMN`, or `FILE#` with answers as
    /// `column=NAME,unit=nm,scale=percent,part=2`; a file that has such a name as
    /// a whole comes first, and what isn't an answer is a column.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        let whole = PathBuf::from(text);
        match text.rsplit_once('#') {
            Some((path, said)) if !whole.exists() && !said.is_empty() => {
                let plain = Self {
                    path: path.into(),
                    ..Self::default()
                };
                plain.answered(said).unwrap_or(Self {
                    column: Some(said.to_owned()),
                    ..plain
                })
            }
            _ => Self {
                path: whole,
                ..Self::default()
            },
        }
    }

    /// With each of these answers; `None` when one of them is none.
    fn answered(&self, said: &str) -> Option<Self> {
        let mut file = self.clone();
        for answer in said.split(',') {
            let (key, value) = answer.split_once('=')?;
            match key {
                "column" => file.column = Some(value.to_owned()),
                "part" => file.part = Some(value.to_owned()),
                "unit" => file.unit = Some(WavelengthUnit::from_word(value)?),
                "scale" => file.scale = Some(ValueScale::from_word(value)?),
                "internal_mm" => file.glass.internal_mm = Some(value.parse().ok()?),
                "measured_mm" => file.glass.measured_mm = Some(value.parse().ok()?),
                "thickness_mm" => file.glass.thickness_mm = Some(value.parse().ok()?),
                "index" => file.glass.index = Some(value.parse().ok()?),
                _ => return None,
            }
        }
        Some(file)
    }

    /// Gives the file's name without its ending, or the column where one was named.
    #[must_use]
    pub fn name(&self) -> String {
        if let Some(name) = self.as_name() {
            return name.to_owned();
        }
        let stem = self.path.file_stem().unwrap_or(self.path.as_os_str());
        match &self.column {
            Some(column) => column.clone(),
            None => stem.to_string_lossy().into_owned(),
        }
    }

    /// Gives the text where no file of this name exists, so that it may name a
    /// spectrum; a file comes first.
    pub(crate) fn as_name(&self) -> Option<&str> {
        if self.column.is_some() || self.path.exists() {
            return None;
        }
        self.path.to_str()
    }

    pub(crate) fn answers(&self) -> Answers {
        Answers {
            column: self.column.clone(),
            value_scale: self.scale,
            wavelength_unit: self.unit,
            part: self.part.clone(),
        }
    }
}

/// Reads a curve; gives it with sentences about what was done on the way.
pub(crate) fn read_curve(
    file: &SpectralFile,
    purpose: Purpose,
    answers: &Answers,
) -> Result<(Curve, Vec<String>), AppError> {
    let shown = file.path.display().to_string();
    let fail = |e: std::io::Error| AppError::file("reading", &file.path, &e);
    let size = std::fs::metadata(&file.path).map_err(fail)?.len();
    if size > MOST_BYTES {
        return Err(AppError::new(
            format!("{shown} has {size} bytes, which no table of spectra has"),
            "give a file with one spectral curve",
        ));
    }
    let bytes = std::fs::read(&file.path).map_err(fail)?;
    let reading = spectral_reading(&bytes, purpose, answers)
        .map_err(|e| AppError::new(format!("{shown}: {e}"), remedy(&e, purpose)))?;
    let kind = match purpose {
        Purpose::Filter => CurveKind::Transmittance,
        Purpose::Subject => CurveKind::Reflectance,
        Purpose::Film => CurveKind::Sensitivity,
        Purpose::Light => CurveKind::RelativePower,
    };
    let source = match &reading.title {
        Some(title) => format!("{shown}, {title}"),
        None => format!("{shown}, column {}", reading.taken),
    };
    let curve = Curve::from_reading(kind, source, &reading).map_err(|e| {
        AppError::new(
            format!("{shown}: {e}"),
            "mend the value, or say its scale in the column's heading",
        )
    })?;
    let told = reading
        .notices
        .iter()
        // The documented form is what it says; only what differs is told.
        .filter(|n| !matches!(n, spectra::read::Notice::ScaleOfForm { .. }))
        .map(|n| format!("{shown}: {n}"))
        .collect();
    Ok((curve, told))
}

/// What to do about it, in the words of the command line.
fn remedy(error: &ReadError, purpose: Purpose) -> String {
    let what = purpose.word();
    match error {
        ReadError::WhichColumn { .. } | ReadError::NoSuchColumn { .. } => {
            format!("name the column after the file: --{what} FILE.csv#COLUMN")
        }
        ReadError::WhichScale { .. } if purpose == Purpose::Film => {
            "give --film-log for log10 of sensitivity, say it in the column's heading, or after the file: --film FILE.csv#scale=linear".to_owned()
        }
        ReadError::WhichScale { .. } => {
            format!("say it in the column's heading, as in 'transmittance_percent (%)', or after the file: --{what} FILE.csv#scale=percent")
        }
        ReadError::WhichUnit { .. } => format!(
            "name the first column wavelength_nm, or say it after the file: --{what} FILE.csv#unit=nm"
        ),
        ReadError::WhichPart { .. } | ReadError::NoSuchPart { .. } => {
            format!("name the spectrum after the file: --{what} FILE.jdx#part=1")
        }
        _ => "see the documentation of spectral files for what is read".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_stand_after_the_file() {
        let file = SpectralFile::from_text("plate.txt#unit=angstrom,scale=linear,column=T,part=2");
        assert_eq!(file.path, PathBuf::from("plate.txt"));
        assert_eq!(file.unit, Some(WavelengthUnit::Angstroms));
        assert_eq!(file.scale, Some(ValueScale::Linear));
        assert_eq!(file.column.as_deref(), Some("T"));
        assert_eq!(file.part.as_deref(), Some("2"));
    }

    #[test]
    fn what_is_no_answer_is_a_column() {
        for column in ["No_29", "a=b", "unit=furlong", "3"] {
            let file = SpectralFile::from_text(&format!("f.csv#{column}"));
            assert_eq!(file.column.as_deref(), Some(column));
            assert_eq!(file.unit, None);
        }
    }
}
