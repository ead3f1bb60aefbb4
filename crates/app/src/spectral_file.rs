//! Spectral files opened and read, with what the reader of a file should be told.

use crate::AppError;
use spectra::read::{Answers, Purpose, ReadError, ValueScale, spectral_reading};
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
}

impl SpectralFile {
    /// Takes `FILE` or `FILE#COLUMN`; a file that has such a name as a whole comes first.
    #[must_use]
    pub fn from_text(text: &str) -> Self {
        let whole = PathBuf::from(text);
        match text.rsplit_once('#') {
            Some((path, column)) if !whole.exists() && !column.is_empty() => Self {
                path: path.into(),
                column: Some(column.to_owned()),
                scale: None,
            },
            _ => Self {
                path: whole,
                ..Self::default()
            },
        }
    }

    /// Gives the file's name without its ending, or the column where one was named.
    #[must_use]
    pub fn name(&self) -> String {
        let stem = self.path.file_stem().unwrap_or(self.path.as_os_str());
        match &self.column {
            Some(column) => column.clone(),
            None => stem.to_string_lossy().into_owned(),
        }
    }

    pub(crate) fn answers(&self) -> Answers {
        Answers {
            column: self.column.clone(),
            value_scale: self.scale,
            ..Answers::default()
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
            "give --film-log for log10 of sensitivity, or say it in the column's heading".to_owned()
        }
        ReadError::WhichScale { .. } => {
            "say it in the column's heading, as in 'transmittance_percent (%)'".to_owned()
        }
        ReadError::WhichUnit { .. } => "name the first column wavelength_nm".to_owned(),
        _ => "see the documentation of spectral files for what is read".to_owned(),
    }
}
