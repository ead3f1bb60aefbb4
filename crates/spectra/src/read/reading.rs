//! A spectral curve as it was read, with everything that was done to it on the way.

use super::answers::{ValueScale, WavelengthUnit};
use core::fmt;
use quantity::Nanometres;

/// One wavelength of a curve that was read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReadPoint {
    /// The wavelength.
    pub wavelength: Nanometres,
    /// The value on a linear scale (transmittance and reflectance from 0 to 1);
    /// `None` where the file has a hole.
    pub value: Option<f64>,
}

/// A spectral curve as it was read: wavelengths rising, values linear.
#[derive(Clone, Debug, PartialEq)]
pub struct SpectralReading {
    /// The file's own title, where it has one.
    pub title: Option<String>,
    /// The column, sample or spectrum that was taken.
    pub taken: String,
    /// The unit that the wavelengths were written in.
    pub wavelength_unit: WavelengthUnit,
    /// The scale that the values were written on.
    pub value_scale: ValueScale,
    /// Two or more, wavelengths strictly rising, at least two with a value.
    pub points: Vec<ReadPoint>,
    /// What was noticed, in the order it was.
    pub notices: Vec<Notice>,
}

impl SpectralReading {
    /// The runs of points without a hole between them, each of one point or more.
    ///
    /// A hole is no zero and nothing to draw a line across: who needs values
    /// there must do without.
    #[must_use]
    pub fn runs(&self) -> Vec<Vec<(Nanometres, f64)>> {
        let mut runs = vec![];
        let mut run = vec![];
        for point in &self.points {
            match point.value {
                Some(value) => run.push((point.wavelength, value)),
                None if !run.is_empty() => runs.push(core::mem::take(&mut run)),
                None => {}
            }
        }
        if !run.is_empty() {
            runs.push(run);
        }
        runs
    }
}

/// Something about a file that its user should know.
#[derive(Clone, Debug, PartialEq)]
pub enum Notice {
    /// The wavelengths fall in the file; they were turned round.
    Falling,
    /// The scale was said by a remark and not by the column's own heading.
    ScaleFromRemark {
        /// The scale.
        scale: ValueScale,
        /// Line of the remark, counted from 1.
        line: usize,
    },
    /// The scale is the one this form of file is documented to have.
    ScaleOfForm {
        /// The scale.
        scale: ValueScale,
        /// What the form is known by.
        form: &'static str,
    },
    /// The answer differs from what the file says; the answer was taken.
    AnswerAgainstFile {
        /// The answer.
        answered: String,
        /// What the file says.
        said: String,
    },
    /// Columns that hold uncertainties were left aside.
    Uncertainties {
        /// Their names.
        columns: Vec<String>,
    },
    /// The file has holes; they stay holes.
    Holes {
        /// Rows without a value.
        count: usize,
        /// First and last wavelength of each hole, nm.
        ranges: Vec<(f64, f64)>,
    },
    /// Rows that repeat an earlier wavelength with the same value were left out.
    Repeated {
        /// Rows left out.
        count: usize,
        /// Line of the first, counted from 1.
        line: usize,
        /// Its wavelength, nm.
        wavelength_nm: f64,
    },
    /// Values a little below zero, as noise makes them, were taken as zero.
    BelowZero {
        /// How many.
        count: usize,
        /// The lowest, on the linear scale.
        lowest: f64,
    },
    /// Values outside what a film can see make no sense and were left out.
    BeyondFilm {
        /// How many.
        count: usize,
        /// Line of the first, counted from 1.
        line: usize,
    },
    /// The first value differs from the one the head of the file gives.
    FirstValueDiffers {
        /// In the head.
        said: f64,
        /// In the table.
        found: f64,
    },
}

impl fmt::Display for Notice {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Falling => write!(out, "wavelengths fall in the file; turned round"),
            Self::ScaleFromRemark { scale, line } => {
                write!(
                    out,
                    "values taken as {}, as line {line} says",
                    scale.in_words()
                )
            }
            Self::ScaleOfForm { scale, form } => {
                write!(
                    out,
                    "values taken as {}, as {form} has them",
                    scale.in_words()
                )
            }
            Self::AnswerAgainstFile { answered, said } => {
                write!(
                    out,
                    "taken as {answered}, as asked, though the file says {said}"
                )
            }
            Self::Uncertainties { columns } => {
                write!(
                    out,
                    "left aside, being uncertainties: {}",
                    columns.join(", ")
                )
            }
            Self::Holes { count, ranges } => {
                write!(out, "{count} rows without a value, kept as holes:")?;
                for (index, (low, high)) in ranges.iter().take(5).enumerate() {
                    let comma = if index == 0 { "" } else { "," };
                    write!(out, "{comma} {low:.0} to {high:.0} nm")?;
                }
                match ranges.len().saturating_sub(5) {
                    0 => Ok(()),
                    more => write!(out, " and {more} more"),
                }
            }
            Self::Repeated {
                count,
                line,
                wavelength_nm,
            } => write!(
                out,
                "{count} rows repeat earlier wavelengths with the same values and were left out; \
                 the first is line {line} ({wavelength_nm:.1} nm): the file may be damaged"
            ),
            Self::BelowZero { count, lowest } => {
                write!(
                    out,
                    "{count} values below zero (lowest {lowest:.4}) taken as zero"
                )
            }
            Self::BeyondFilm { count, line } => write!(
                out,
                "{count} values beyond what a film can see are out of range and were left out; \
                 the first is line {line}"
            ),
            Self::FirstValueDiffers { said, found } => {
                write!(
                    out,
                    "the head of the file gives {said} as its first value, the table {found:.6}"
                )
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_end_at_holes() {
        let point = |nm: f64, value| ReadPoint {
            wavelength: Nanometres::from_nm(nm).unwrap(),
            value,
        };
        let reading = SpectralReading {
            title: None,
            taken: "T".to_owned(),
            wavelength_unit: WavelengthUnit::Nanometres,
            value_scale: ValueScale::Fraction,
            points: vec![
                point(400.0, None),
                point(410.0, Some(0.1)),
                point(420.0, Some(0.2)),
                point(430.0, None),
                point(440.0, Some(0.4)),
            ],
            notices: vec![],
        };
        let lengths: Vec<usize> = reading.runs().iter().map(Vec::len).collect();
        assert_eq!(lengths, [2, 1]);
    }
}
