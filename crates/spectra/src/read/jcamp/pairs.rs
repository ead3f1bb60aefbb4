//! A table `(XY..XY)`: pairs of plain numbers, separated by commas, semicolons or blanks.

use super::error::JcampError;
use crate::read::assemble::MOST_POINTS;
use crate::read::text::Line;

/// One pair, in units of the file before its factors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pair {
    pub line: usize,
    pub x: f64,
    /// `None` where the file has `?`.
    pub y: Option<f64>,
}

/// The pairs of a table.
///
/// # Errors
/// [`JcampError::BadCharacter`] for a word, or for a number without its partner.
pub(super) fn pairs(lines: &[Line<'_>]) -> Result<Vec<Pair>, JcampError> {
    let mut pairs = vec![];
    // A pair may be broken over two lines.
    let mut waiting: Option<(usize, f64)> = None;
    for line in lines {
        for word in line
            .text
            .split([' ', '\t', ',', ';'])
            .filter(|word| !word.is_empty())
        {
            let number = word.parse::<f64>().ok().filter(|number| number.is_finite());
            let bad = || JcampError::BadCharacter {
                line: line.number,
                found: word.chars().take(20).collect(),
            };
            match waiting.take() {
                None => waiting = Some((line.number, number.ok_or_else(bad)?)),
                Some((start, x)) => {
                    if pairs.len() == MOST_POINTS {
                        return Err(JcampError::TooManyPoints {
                            line: line.number,
                            limit: MOST_POINTS,
                        });
                    }
                    let y = if word == "?" {
                        None
                    } else {
                        Some(number.ok_or_else(bad)?)
                    };
                    pairs.push(Pair { line: start, x, y });
                }
            }
        }
    }
    match waiting {
        Some((line, x)) => Err(JcampError::BadCharacter {
            line,
            found: x.to_string(),
        }),
        None => Ok(pairs),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::text::lines;

    #[test]
    fn pairs_are_read_however_they_are_separated() {
        let wanted = [(400.0, Some(1.1)), (450.0, Some(-2.0)), (500.0, None)];
        for text in [
            "400,1.1; 450,-2; 500,?",
            "400 1.1\n450 -2\n500 ?",
            "400, 1.1 450,\n-2E0\n500 ?",
        ] {
            let seen: Vec<(f64, Option<f64>)> = pairs(&lines(text))
                .unwrap()
                .iter()
                .map(|pair| (pair.x, pair.y))
                .collect();
            assert_eq!(seen, wanted, "{text:?}");
        }
    }

    #[test]
    fn half_a_pair_and_words_are_refused() {
        for (text, line) in [("400,1\n450", 2), ("400,x", 1), ("nan,1", 1)] {
            let seen = pairs(&lines(text));
            assert!(
                matches!(seen, Err(JcampError::BadCharacter { line: at, .. }) if at == line),
                "{text:?}: {seen:?}"
            );
        }
    }
}
