//! Reciprocity laws written as one word, as on a command line.
//!
//! `power:P[,T0]`, `schwarzschild:P[,T0]` (T0 in seconds, 1 when left out, and
//! named in the law's description), `modified-schwarzschild:P`,
//! `additive:A,EXPONENT`, `fit:C,P`, `catenary:A,T0` and `cosh:A,T0` (best at the time
//! T0), and a short table as `points:TM/TC,TM/TC`. Behind any of them stands, where it
//! is known, the range of metered times in which it holds: `power:1.31@..120` up to
//! 120 s, `fit:0.725,1.066@160..1920`, `additive:0.1,1.62@1..`.
//! A table in a file is not read here.

use crate::law_equations::CatenaryShape;
use crate::reciprocity::ReciprocityLaw;
use crate::reciprocity_error::ReciprocityError;
use crate::reciprocity_form::ReciprocityRow;
use quantity::{QuantityError, Seconds};

/// The forms that can be written, for messages and help.
const FORMS: &str = "power:P[,T0], additive:A,EXPONENT, schwarzschild:P[,T0], modified-schwarzschild:P, fit:C,P, catenary:A,T0, cosh:A,T0 or points:TM/TC,TM/TC";

/// Why a text is no reciprocity law.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LawTextError {
    /// Write one of the forms.
    #[error("'{text}' is no reciprocity law; expected {FORMS}")]
    UnknownForm {
        /// The text seen.
        text: String,
    },
    /// Give as many numbers as the form has.
    #[error("'{text}' has {found} {}; expected {wanted}, as in {example}", if *found == 1 { "number" } else { "numbers" })]
    NumberCount {
        /// The text seen.
        text: String,
        /// Numbers seen.
        found: usize,
        /// Numbers expected.
        wanted: &'static str,
        /// The form, written out.
        example: &'static str,
    },
    /// Write each row as metered time, slash, corrected time.
    #[error("'{part}' in '{text}' is no row; expected TM/TC in seconds, such as 10/15")]
    NoRow {
        /// The text seen.
        text: String,
        /// The part that is no row.
        part: String,
    },
    /// Write the number with digits and a decimal point.
    #[error("'{part}' in '{text}' is no number")]
    NoNumber {
        /// The text seen.
        text: String,
        /// The part that is no number.
        part: String,
    },
    /// Write the range as two times with two dots between.
    #[error(
        "'{range}' in '{text}' is no range of times; expected FROM..TO in seconds, either end may be left out, as in power:1.3@..120"
    )]
    NoRange {
        /// The text seen.
        text: String,
        /// The part that is no range.
        range: String,
    },
    /// The numbers make no law.
    #[error("'{text}' cannot be a reciprocity law")]
    Law {
        /// The text seen.
        text: String,
        /// Why.
        source: ReciprocityError,
    },
}

/// Reads a reciprocity law such as `power:1.31`; the source is "as given: " and the text.
///
/// # Errors
/// [`LawTextError`] with the text, what was wrong with it and what was expected.
///
/// # Examples
/// ```
/// # use exposure::reciprocity_law_from_text;
/// # use quantity::Seconds;
/// let law = reciprocity_law_from_text("power:1.31")?;
/// let ten = law.corrected_time(Seconds::from_s(10.0)?)?;
/// assert!((ten.time.to_s() - 20.4).abs() < 0.05);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn reciprocity_law_from_text(text: &str) -> Result<ReciprocityLaw, LawTextError> {
    let unknown = || LawTextError::UnknownForm {
        text: text.to_owned(),
    };
    let (law_part, range) = match text.trim().rsplit_once('@') {
        Some((law, range)) => (law.trim_end(), Some(range.trim())),
        None => (text.trim(), None),
    };
    let (form, rest) = law_part.split_once(':').ok_or_else(unknown)?;
    let number = |part: &str| {
        part.trim()
            .parse::<f64>()
            .map_err(|_| LawTextError::NoNumber {
                text: text.to_owned(),
                part: part.trim().to_owned(),
            })
    };
    let numbers = || rest.split(',').map(number).collect::<Result<Vec<f64>, _>>();
    let source = format!("as given: {}", text.trim());
    let count = |found: usize, wanted, example| LawTextError::NumberCount {
        text: text.to_owned(),
        found,
        wanted,
        example,
    };
    let one_second = 1.0;
    let law = match form.trim() {
        "power" => match numbers()?.as_slice() {
            [p] => {
                seconds(one_second).and_then(|t0| ReciprocityLaw::threshold_power(*p, t0, source))
            }
            [p, t0] => seconds(*t0).and_then(|t0| ReciprocityLaw::threshold_power(*p, t0, source)),
            other => return Err(count(other.len(), "1 or 2", "power:P[,T0]")),
        },
        "schwarzschild" => match numbers()?.as_slice() {
            [p] => seconds(one_second).and_then(|t0| ReciprocityLaw::schwarzschild(*p, t0, source)),
            [p, t0] => seconds(*t0).and_then(|t0| ReciprocityLaw::schwarzschild(*p, t0, source)),
            other => return Err(count(other.len(), "1 or 2", "schwarzschild:P[,T0]")),
        },
        "modified-schwarzschild" => match numbers()?.as_slice() {
            [p] => ReciprocityLaw::modified_schwarzschild(*p, source),
            other => return Err(count(other.len(), "1", "modified-schwarzschild:P")),
        },
        "additive" => match numbers()?.as_slice() {
            [a, b] => ReciprocityLaw::additive(*a, *b, source),
            other => return Err(count(other.len(), "2", "additive:A,EXPONENT")),
        },
        "fit" => match numbers()?.as_slice() {
            [c, p] => ReciprocityLaw::fitted_power(*c, *p, source),
            other => return Err(count(other.len(), "2", "fit:C,P")),
        },
        "catenary" => match numbers()?.as_slice() {
            [a, t0] => seconds(*t0).and_then(|best| {
                ReciprocityLaw::catenary(CatenaryShape::Hyperbola, *a, best, source)
            }),
            other => return Err(count(other.len(), "2", "catenary:A,T0")),
        },
        "cosh" => match numbers()?.as_slice() {
            [a, t0] => seconds(*t0).and_then(|best| {
                ReciprocityLaw::catenary(CatenaryShape::HyperbolicCosine, *a, best, source)
            }),
            other => return Err(count(other.len(), "2", "cosh:A,T0")),
        },
        "points" => {
            let mut rows = Vec::new();
            for part in rest.split(',') {
                let (metered, corrected) =
                    part.split_once('/').ok_or_else(|| LawTextError::NoRow {
                        text: text.to_owned(),
                        part: part.trim().to_owned(),
                    })?;
                rows.push((number(metered)?, number(corrected)?));
            }
            rows.into_iter()
                .map(|(metered, corrected)| {
                    Ok(ReciprocityRow {
                        metered: seconds(metered)?,
                        corrected: seconds(corrected)?,
                    })
                })
                .collect::<Result<Vec<_>, ReciprocityError>>()
                .and_then(|rows| ReciprocityLaw::table(rows, source))
        }
        _ => return Err(unknown()),
    };
    let no_law = |source| LawTextError::Law {
        text: text.to_owned(),
        source,
    };
    let law = law.map_err(no_law)?;
    let Some(range) = range else {
        return Ok(law);
    };
    let no_range = || LawTextError::NoRange {
        text: text.to_owned(),
        range: range.to_owned(),
    };
    let (from, to) = range.split_once("..").ok_or_else(no_range)?;
    let end = |part: &str| match part.trim() {
        "" => Ok(None),
        part => number(part)
            .and_then(|time| seconds(time).map_err(no_law))
            .map(Some),
    };
    let (from, to) = (end(from)?, end(to)?);
    if from.is_none() && to.is_none() {
        return Err(no_range());
    }
    law.valid_between(from, to).map_err(no_law)
}

fn seconds(value: f64) -> Result<Seconds, ReciprocityError> {
    Seconds::from_s(value).map_err(|error: QuantityError| error.into())
}
