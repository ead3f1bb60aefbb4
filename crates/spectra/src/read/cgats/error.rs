//! Why a CGATS file could not be read.

/// What is wrong with the file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CgatsError {
    /// Export the measurement as CGATS.17.
    #[error("the first line is '{seen}'; a CGATS file begins with CGATS and its number")]
    NoIdentifier {
        /// The first line.
        seen: String,
    },
    /// Export with the format block; without it nobody knows which number is which.
    #[error(
        "line {line}: the data begin without a BEGIN_DATA_FORMAT block before them, so which number is which can't be known"
    )]
    NoFormat {
        /// Line of BEGIN_DATA, counted from 1.
        line: usize,
    },
    /// The file was cut.
    #[error("line {line}: {block} has no {end}")]
    NoEnd {
        /// Line where the block begins, counted from 1.
        line: usize,
        /// What begins.
        block: &'static str,
        /// What should end it.
        end: &'static str,
    },
    /// The file has no data.
    #[error("the file has no table of data")]
    NoData,
    /// Mend the row.
    #[error("line {line}: {found} values where the format has {wanted} fields")]
    RowLength {
        /// Line, counted from 1.
        line: usize,
        /// Values seen.
        found: usize,
        /// Fields in the format.
        wanted: usize,
    },
    /// Mend the count, or take the file from the instrument again.
    #[error("line {line}: {keyword} is {said}, but there are {found}")]
    Count {
        /// Line of the keyword, counted from 1.
        line: usize,
        /// The keyword.
        keyword: &'static str,
        /// What it says.
        said: String,
        /// What there is.
        found: usize,
    },
    /// Close the quotes.
    #[error("line {line}: a quotation mark has no partner")]
    OpenQuote {
        /// Line, counted from 1.
        line: usize,
    },
    /// Mend the value.
    #[error("line {line}: {field} is '{value}', which is no number")]
    NoNumber {
        /// Line, counted from 1.
        line: usize,
        /// The field.
        field: String,
        /// What stands there.
        value: String,
    },
    /// Give a file with spectra.
    #[error("the file has no spectra; its fields are {fields}")]
    NoSpectra {
        /// The fields.
        fields: String,
    },
    /// Give a file with densities.
    #[error("the file has no densities; its fields are {fields}")]
    NoDensities {
        /// The fields.
        fields: String,
    },
    /// Mend the format.
    #[error("line {line}: the field {field} stands twice")]
    FieldTwice {
        /// Line of the format, counted from 1.
        line: usize,
        /// The field.
        field: String,
    },
    /// Mend the format.
    #[error("the format has {wavelengths} wavelength fields but {values} value fields")]
    Unpaired {
        /// Fields SPECTRAL_NM.
        wavelengths: usize,
        /// Fields SPECTRAL_PCT or SPECTRAL_DEC.
        values: usize,
    },
}
