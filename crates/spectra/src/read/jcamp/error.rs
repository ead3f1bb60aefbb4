//! Why a JCAMP-DX file could not be read.

/// What is wrong with the file.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum JcampError {
    /// The file was cut, or is not JCAMP-DX.
    #[error("no spectrum was found: the file has no ##XYDATA= or ##XYPOINTS=")]
    NoSpectrum,
    /// A list of peaks says nothing about what is between them.
    #[error("line {line}: '##{label}=' is a list of peaks, which is no curve")]
    PeakTable {
        /// Line, counted from 1.
        line: usize,
        /// The label of the list.
        label: String,
    },
    /// Mend the line, or take the file from the instrument again.
    #[error("line {line}: a record must begin with ##LABEL=, seen '{text}'")]
    NoLabel {
        /// Line, counted from 1.
        line: usize,
        /// What stands there.
        text: String,
    },
    /// Add the label.
    #[error("the spectrum '{title}' has no ##{label}=")]
    Missing {
        /// Title of the spectrum.
        title: String,
        /// The label that is missing.
        label: &'static str,
    },
    /// Mend the number.
    #[error("line {line}: ##{label}= is '{value}', which is no usable number")]
    BadNumber {
        /// Line, counted from 1.
        line: usize,
        /// Its label.
        label: String,
        /// What stands there.
        value: String,
    },
    /// Only wavelengths and wave numbers make a curve of light.
    #[error("line {line}: the abscissa is '{units}'; expected nanometers, micrometers or 1/cm")]
    OtherAbscissa {
        /// Line, counted from 1.
        line: usize,
        /// The unit in the file.
        units: String,
    },
    /// Write the table in one of the two forms.
    #[error("line {line}: ##{label}= is '{form}'; expected {wanted}")]
    OtherForm {
        /// Line, counted from 1.
        line: usize,
        /// Its label.
        label: String,
        /// The form in the file.
        form: String,
        /// The form that is read.
        wanted: &'static str,
    },
    /// The line is damaged.
    #[error("line {line}: '{found}' doesn't belong in a table of numbers")]
    BadCharacter {
        /// Line, counted from 1.
        line: usize,
        /// The character or word.
        found: String,
    },
    /// A repeat or a difference must follow a value.
    #[error("line {line}: a difference or a repeat has no value before it")]
    NothingBefore {
        /// Line, counted from 1.
        line: usize,
    },
    /// The line, or the one before it, is damaged.
    #[error(
        "line {line}: begins with the check value {seen}, but the line before ends with {wanted}"
    )]
    YCheck {
        /// Line, counted from 1.
        line: usize,
        /// The check, in units of the file.
        seen: f64,
        /// The last value before it.
        wanted: f64,
    },
    /// Points are missing or doubled before this line.
    #[error("line {line}: begins at {seen}, but the points before it lead to {wanted}")]
    XCheck {
        /// Line, counted from 1.
        line: usize,
        /// Abscissa in the file.
        seen: f64,
        /// Abscissa from the number of points.
        wanted: f64,
    },
    /// The file was cut, or its head is of another table.
    #[error("the spectrum '{title}' has {found} points, but ##NPOINTS= says {said}")]
    PointCount {
        /// Title of the spectrum.
        title: String,
        /// Points in the table.
        found: usize,
        /// Points in the head.
        said: usize,
    },
    /// Mend the head.
    #[error(
        "the spectrum '{title}' says a step of {said}, but runs from {first} to {last} in {points} points"
    )]
    StepDiffers {
        /// Title of the spectrum.
        title: String,
        /// ##DELTAX=.
        said: f64,
        /// ##FIRSTX=.
        first: f64,
        /// ##LASTX=.
        last: f64,
        /// ##NPOINTS=.
        points: usize,
    },
    /// Give a smaller file.
    #[error("line {line}: more than {limit} points")]
    TooManyPoints {
        /// Line, counted from 1.
        line: usize,
        /// The most that is read.
        limit: usize,
    },
}
