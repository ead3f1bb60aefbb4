//! Why a file could not be read as a spectral curve, or what must be answered first.

use super::answers::{Purpose, ValueScale};

/// Why a file gives no curve.
///
/// One variant for each thing that can be put right. The variants that begin
/// with `Which` are questions: the file is sound and says too little.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// Save the table as text.
    #[error("this is no text file: there is a zero byte at byte {at}")]
    NotText {
        /// Where the first zero byte is, counted from 0.
        at: usize,
    },
    /// Give a file with a table of wavelengths and values.
    #[error("no row with a wavelength and a value was found in {lines} lines")]
    NoTable {
        /// Lines looked at.
        lines: usize,
    },
    /// Answer with the unit of the first column.
    #[error(
        "the file doesn't say the unit of its wavelengths ({first} to {last}); say one of nm, um, angstrom, per-cm"
    )]
    WhichUnit {
        /// First number of the column.
        first: f64,
        /// Last number of the column.
        last: f64,
    },
    /// Answer with the scale of the values.
    #[error("the file doesn't say what scale the values of the {} are on ({low} to {high}{}); say one of {}", .purpose.word(), contradiction(*.said), words(*.purpose))]
    WhichScale {
        /// What the file was read for.
        purpose: Purpose,
        /// Smallest value.
        low: f64,
        /// Largest value.
        high: f64,
        /// The scale that the file seemed to say, when the values speak against it.
        said: Option<ValueScale>,
    },
    /// Answer with the name or the number of a column.
    #[error("the file has {} columns of values; say which: {}", .columns.len(), listed(.columns))]
    WhichColumn {
        /// Number in the file (from 1) and name of each.
        columns: Vec<(usize, String)>,
    },
    /// Answer with the title, the sample or the number of a spectrum.
    #[error("the file holds {} spectra; say which: {}", .parts.len(), listed(.parts))]
    WhichPart {
        /// Number (from 1) and title of each.
        parts: Vec<(usize, String)>,
    },
    /// Choose a column that the file has.
    #[error("there is no column '{asked}'; the file has {}", listed(.columns))]
    NoSuchColumn {
        /// What was asked for.
        asked: String,
        /// Number and name of each.
        columns: Vec<(usize, String)>,
    },
    /// Choose a spectrum that the file has.
    #[error("there is no spectrum '{asked}'; the file has {}", listed(.parts))]
    NoSuchPart {
        /// What was asked for.
        asked: String,
        /// Number and title of each.
        parts: Vec<(usize, String)>,
    },
    /// Answer with a scale that this kind of curve can have.
    #[error("the values of the {} can't be {scale}; say one of {}", .purpose.word(), words(*.purpose))]
    ScaleUnfit {
        /// What the file was read for.
        purpose: Purpose,
        /// The scale that was answered.
        scale: ValueScale,
    },
    /// Mend the row.
    #[error("line {line}: {found} cells where the rows before have {wanted}")]
    RowLength {
        /// Line, counted from 1.
        line: usize,
        /// Cells seen.
        found: usize,
        /// Cells expected.
        wanted: usize,
    },
    /// Mend the cell; write a hole as an empty cell or −9.999.
    #[error("line {line}: '{cell}' is no number")]
    NoNumber {
        /// Line, counted from 1.
        line: usize,
        /// What stands there.
        cell: String,
    },
    /// Save with a semicolon or a tab between the columns.
    #[error(
        "commas stand between the columns and may stand in the numbers as well (line {line}: {cells} parts); save the table with a semicolon between its columns"
    )]
    CommaTwice {
        /// Line, counted from 1.
        line: usize,
        /// Parts between commas.
        cells: usize,
    },
    /// Mend the wavelength.
    #[error("line {line}: {value} is no wavelength")]
    NoWavelength {
        /// Line, counted from 1.
        line: usize,
        /// What stands there.
        value: f64,
    },
    /// Put the rows in order, or take the doubled ones out.
    #[error(
        "line {line}: the wavelength goes back from {before:.2} to {after:.2} nm, where the values differ from those read before; take the doubled rows out"
    )]
    TurnsBack {
        /// Line, counted from 1.
        line: usize,
        /// Wavelength before, nm.
        before: f64,
        /// Wavelength after, nm.
        after: f64,
    },
    /// Mend the value, or answer with another scale.
    #[error("line {line}: {value} is out of range for {}", .scale.in_words())]
    OutOfRange {
        /// Line, counted from 1.
        line: usize,
        /// What stands there.
        value: f64,
        /// The scale it was read on.
        scale: ValueScale,
    },
    /// Give a table of at least two wavelengths.
    #[error("{found} usable points, but a curve needs at least 2")]
    TooFewPoints {
        /// Points seen.
        found: usize,
    },
    /// Give a smaller table.
    #[error("more than {limit} points")]
    TooManyPoints {
        /// The most that is read.
        limit: usize,
    },
    /// Nothing to put right: this curve is of no use here.
    #[error(
        "the curve runs from {low:.0} to {high:.0} nm and has no overlap with what a film can see ({film_low:.0} to {film_high:.0} nm)"
    )]
    NoOverlapWithFilm {
        /// Lowest wavelength, nm.
        low: f64,
        /// Highest wavelength, nm.
        high: f64,
        /// Lowest wavelength that a film sees, nm.
        film_low: f64,
        /// Highest wavelength that a film sees, nm.
        film_high: f64,
    },
    /// Give a curve of the quantity that is needed.
    #[error("the file holds '{found}', which gives no curve of a {}", .purpose.word())]
    OtherQuantity {
        /// The quantity named in the file.
        found: String,
        /// What the file was read for.
        purpose: Purpose,
    },
    /// Give a light per nm; power per wave number has another shape.
    #[error(
        "a light over wave numbers may be meant per 1/cm or per nm, which are different curves; give it over wavelengths"
    )]
    LightOverWaveNumbers,
    /// The file is JCAMP-DX, and this is wrong with it.
    #[error(transparent)]
    Jcamp(#[from] super::jcamp::JcampError),
    /// The file is CGATS, or looks like it, and this is wrong with it.
    #[error(transparent)]
    Cgats(#[from] super::cgats::CgatsError),
}

/// The choices as "1 (name), 2 (name)".
fn listed(choices: &[(usize, String)]) -> String {
    /// More would bury the message.
    const SHOWN: usize = 40;
    let mut text: Vec<String> = choices
        .iter()
        .take(SHOWN)
        .map(|(number, name)| format!("{number} ({name})"))
        .collect();
    if choices.len() > SHOWN {
        text.push(format!("and {} more", choices.len() - SHOWN));
    }
    text.join(", ")
}

fn words(purpose: Purpose) -> String {
    let words: Vec<&str> = purpose.scales().iter().map(|scale| scale.word()).collect();
    words.join(", ")
}

fn contradiction(said: Option<ValueScale>) -> String {
    said.map_or_else(String::new, |scale| {
        format!(", too much for {}", scale.in_words())
    })
}
