//! Why a reciprocity law can't be made or can't answer; one variant for each thing
//! to put right.

use quantity::QuantityError;

/// Why a reciprocity law could not be made or could not answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum ReciprocityError {
    /// Use a law that covers the time; a table of which the first row has equal
    /// times covers all shorter ones.
    #[error(
        "a metered time of {time_s} s lies outside the range of the reciprocity law, {}",
        range_text(*from_s, *to_s)
    )]
    OutsideRange {
        /// The metered time asked for (or the one the actual time leads to).
        time_s: f64,
        /// Start of the range; 0 when open.
        from_s: f64,
        /// End of the range; infinite when open.
        to_s: f64,
    },
    /// Use a law with a threshold: failure never makes a film faster.
    #[error(
        "the reciprocity law gives {corrected_s} s for a metered time of {metered_s} s, but a corrected time cannot be shorter than the metered one"
    )]
    ShorterThanMetered {
        /// The metered time.
        metered_s: f64,
        /// What the law makes of it.
        corrected_s: f64,
    },
    /// Correct the parameter of the law.
    #[error("{what} of the reciprocity law must be {wanted}, found {value}")]
    Parameter {
        /// Name of the parameter.
        what: &'static str,
        /// The number seen.
        value: f64,
        /// What was expected.
        wanted: &'static str,
    },
    /// Give at least two rows.
    #[error("a reciprocity table needs at least 2 rows, found {found}")]
    TooFewRows {
        /// Rows seen.
        found: usize,
    },
    /// Sort the rows, or correct the number.
    #[error("row {row} of the reciprocity table: both times must be longer than in the row before")]
    RowsOutOfOrder {
        /// Number of the row, from 1.
        row: usize,
    },
    /// Correct the row: failure never makes a film faster.
    #[error(
        "row {row} of the reciprocity table: the corrected time of {corrected_s} s is shorter than the metered {metered_s} s"
    )]
    RowShorterThanMetered {
        /// Number of the row, from 1.
        row: usize,
        /// Metered time of the row.
        metered_s: f64,
        /// Corrected time of the row.
        corrected_s: f64,
    },
    /// Swap the ends of the range.
    #[error(
        "the range of the reciprocity law must start before it ends, found {from_s} s to {to_s} s"
    )]
    EmptyRange {
        /// Start of the range.
        from_s: f64,
        /// End of the range.
        to_s: f64,
    },
    /// A number has no meaning.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

pub(crate) fn range_text(from_s: f64, to_s: f64) -> String {
    match (from_s > 0.0, to_s.is_finite()) {
        (true, true) => format!("{from_s} s to {to_s} s"),
        (true, false) => format!("{from_s} s and longer"),
        (false, true) => format!("up to {to_s} s"),
        (false, false) => "every time".to_owned(),
    }
}
