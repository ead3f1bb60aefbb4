//! Lines of a table to numbers, in each of the packed forms.
//!
//! AFFN: plain numbers with blanks or commas. PAC: the sign is the separator.
//! SQZ: the first digit is a letter that carries the sign (`@ A-I a-i`). DIF:
//! the same for the difference from the value before (`% J-R j-r`). DUP: how
//! often the last step is made in all (`S-Z s`). `?` is a point without a value.
//!
//! A line that ends in differences is followed by one that repeats its last
//! value, which is checked and not counted again.

use super::error::JcampError;
use crate::read::text::Line;

/// A table with even steps, in units of the file.
#[derive(Debug, Default)]
pub(super) struct Ordinates {
    /// Values; `None` where the file has `?`.
    pub values: Vec<Option<f64>>,
    /// The line each value stands in.
    pub value_lines: Vec<usize>,
    /// The first number of each line, with the place among the values that it belongs to.
    pub checks: Vec<XCheck>,
}

/// The abscissa that a line begins with.
#[derive(Debug)]
pub(super) struct XCheck {
    pub line: usize,
    /// Index of the value it stands for.
    pub index: usize,
    /// The abscissa, in units of the file before its factor.
    pub x: f64,
    /// Half of the last digit it is written with.
    pub rounding: f64,
}

/// One element of a line.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Element {
    Value(f64),
    Difference(f64),
    Repeats(usize),
    NoValue,
}

/// The numbers of a table `(X++(Y..Y))`, at most as many as the head promises.
///
/// # Errors
/// [`JcampError`] for a foreign character, a difference or repeat of nothing, a
/// check value that doesn't agree, or too many points.
pub(super) fn ordinates(lines: &[Line<'_>], most: usize) -> Result<Ordinates, JcampError> {
    let mut table = Ordinates::default();
    // Whether the line before ended in a difference, so that this one begins with a check.
    let mut checked = false;
    for line in lines {
        let text = line.text.trim();
        let (x, rounding, rest) = abscissa(text).ok_or_else(|| bad(line.number, text))?;
        let index = if checked {
            table.values.len().saturating_sub(1)
        } else {
            table.values.len()
        };
        table.checks.push(XCheck {
            line: line.number,
            index,
            x,
            rounding,
        });
        let mut elements = elements(rest, line.number)?.into_iter();
        if checked {
            check(elements.next(), &table, line.number)?;
        }
        let before = checked
            .then(|| table.values.last().copied().flatten())
            .flatten();
        let first = table.values.len();
        checked = step_through(&mut table, elements, before, line.number, checked, most)?;
        // A line with nothing but its check adds nothing, and the next begins anew.
        if table.values.len() == first {
            checked = false;
        }
    }
    Ok(table)
}

/// Adds the elements of a line; says whether its last step was a difference.
fn step_through(
    table: &mut Ordinates,
    elements: impl Iterator<Item = Element>,
    before: Option<f64>,
    line: usize,
    mut in_differences: bool,
    most: usize,
) -> Result<bool, JcampError> {
    let mut current = before;
    // A repeat right after a check repeats the value that was checked.
    let mut last: Option<Element> = before.map(Element::Value);
    for element in elements {
        let (step, times) = match element {
            Element::Repeats(times) => {
                // "How often in all": the first time has been counted.
                let step = last.ok_or(JcampError::NothingBefore { line })?;
                (step, times.saturating_sub(1))
            }
            other => (other, 1),
        };
        for _ in 0..times {
            if table.values.len() == most {
                return Err(JcampError::TooManyPoints { line, limit: most });
            }
            current = match step {
                Element::Value(value) => Some(value),
                Element::Difference(difference) => {
                    Some(current.ok_or(JcampError::NothingBefore { line })? + difference)
                }
                Element::NoValue | Element::Repeats(_) => None,
            };
            table.values.push(current);
            table.value_lines.push(line);
        }
        in_differences = matches!(step, Element::Difference(_));
        last = Some(step);
    }
    Ok(in_differences)
}

/// The value a line begins with must be the one the line before ended with.
fn check(element: Option<Element>, table: &Ordinates, line: usize) -> Result<(), JcampError> {
    let wanted = table.values.last().copied().flatten();
    match (element, wanted) {
        (Some(Element::Value(seen)), Some(wanted)) if seen == wanted => Ok(()),
        (Some(Element::Value(seen)), Some(wanted)) => {
            Err(JcampError::YCheck { line, seen, wanted })
        }
        _ => Err(JcampError::NothingBefore { line }),
    }
}

fn bad(line: usize, text: &str) -> JcampError {
    JcampError::BadCharacter {
        line,
        found: text.chars().take(20).collect(),
    }
}

/// The abscissa at the head of a line, half its last digit, and what follows.
fn abscissa(text: &str) -> Option<(f64, f64, &str)> {
    let (number, rest) = plain_number(text)?;
    let value: f64 = number.parse().ok()?;
    let mantissa = number.split(['e', 'E']).next().unwrap_or_default();
    let decimals = mantissa
        .split_once('.')
        .map_or(0, |(_, digits)| digits.len());
    // A number of a hundred decimals is as exact as one of fifteen.
    let places = i32::try_from(decimals.min(15)).unwrap_or(15);
    value
        .is_finite()
        .then(|| (value, 0.5 * 10.0_f64.powi(-places), rest))
}

/// A plain number at the head of a text: sign, digits, point, and an exponent with its own sign.
///
/// The exponent needs its sign, since a bare E is a packed digit.
fn plain_number(text: &str) -> Option<(&str, &str)> {
    let bytes = text.as_bytes();
    let mut end = usize::from(matches!(bytes.first(), Some(b'+' | b'-')));
    let begin = end;
    while bytes
        .get(end)
        .is_some_and(|byte| byte.is_ascii_digit() || *byte == b'.')
    {
        end += 1;
    }
    if !bytes[begin..end].iter().any(u8::is_ascii_digit) {
        return None;
    }
    if let [b'E' | b'e', b'+' | b'-', digit, ..] = bytes[end..]
        && digit.is_ascii_digit()
    {
        end += 2;
        while bytes.get(end).is_some_and(u8::is_ascii_digit) {
            end += 1;
        }
    }
    Some((&text[..end], &text[end..]))
}

fn elements(text: &str, line: usize) -> Result<Vec<Element>, JcampError> {
    let mut elements = vec![];
    let mut rest = text.trim_start_matches([' ', '\t', ',', ';']);
    while let Some(first) = rest.chars().next() {
        if first == '?' {
            elements.push(Element::NoValue);
            rest = &rest[1..];
        } else if let Some((number, after)) = plain_number(rest) {
            let value = number.parse::<f64>().ok().filter(|value| value.is_finite());
            elements.push(Element::Value(value.ok_or_else(|| bad(line, number))?));
            rest = after;
        } else {
            let (kind, digit) = packed(first).ok_or_else(|| bad(line, rest))?;
            let tail = &rest[1..];
            let digits = tail
                .bytes()
                .take_while(|byte| byte.is_ascii_digit() || *byte == b'.')
                .count();
            let number = format!("{digit}{}", &tail[..digits]);
            elements.push(element(kind, &number).ok_or_else(|| bad(line, &rest[..=digits]))?);
            rest = &tail[digits..];
        }
        rest = rest.trim_start_matches([' ', '\t', ',', ';']);
    }
    Ok(elements)
}

#[derive(Clone, Copy)]
enum Packed {
    Value,
    Difference,
    Repeats,
}

/// The kind of a packed element and its first digit with its sign.
fn packed(letter: char) -> Option<(Packed, i8)> {
    let from = |base: char| i8::try_from(u32::from(letter) - u32::from(base)).unwrap_or(0);
    Some(match letter {
        '@' => (Packed::Value, 0),
        'A'..='I' => (Packed::Value, from('A') + 1),
        'a'..='i' => (Packed::Value, -(from('a') + 1)),
        '%' => (Packed::Difference, 0),
        'J'..='R' => (Packed::Difference, from('J') + 1),
        'j'..='r' => (Packed::Difference, -(from('j') + 1)),
        'S'..='Z' => (Packed::Repeats, from('S') + 1),
        's' => (Packed::Repeats, 9),
        _ => return None,
    })
}

fn element(kind: Packed, number: &str) -> Option<Element> {
    Some(match kind {
        Packed::Repeats => Element::Repeats(number.parse().ok()?),
        Packed::Value => Element::Value(finite(number)?),
        Packed::Difference => Element::Difference(finite(number)?),
    })
}

fn finite(number: &str) -> Option<f64> {
    number.parse::<f64>().ok().filter(|value| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(text: &str) -> Result<Vec<Option<f64>>, JcampError> {
        ordinates(&crate::read::text::lines(text), 100).map(|table| table.values)
    }

    fn plain(text: &str) -> Vec<f64> {
        values(text).unwrap().into_iter().flatten().collect()
    }

    #[test]
    fn the_packed_forms_of_the_published_example_agree() {
        // Source: McDonald & Wilks 1988, the example that shows each form with
        // the same ten values: 1 2 3 3 2 1 0 -1 -2 -3.
        let wanted = [1.0, 2.0, 3.0, 3.0, 2.0, 1.0, 0.0, -1.0, -2.0, -3.0];
        for text in [
            "1 1 2 3 3 2 1 0 -1 -2 -3",
            "1+1+2+3+3+2+1+0-1-2-3",
            "1ABCCBA@abc",
            "1AJJ%jjjjjj",
            "1AJT%jX",
        ] {
            assert_eq!(plain(text), wanted, "{text}");
        }
    }

    #[test]
    fn a_line_of_differences_is_checked_by_the_next() {
        // 10, +1, +1 = 12, checked; then +1.
        assert_eq!(plain("1A0JJ\n3A2J"), [10.0, 11.0, 12.0, 13.0]);
        let wrong = values("1A0JJ\n3A3J");
        assert_eq!(
            wrong,
            Err(JcampError::YCheck {
                line: 2,
                seen: 13.0,
                wanted: 12.0
            })
        );
        // A last line may hold the check alone.
        assert_eq!(plain("1A0JJ\n3A2"), [10.0, 11.0, 12.0]);
        // Without differences nothing is repeated.
        assert_eq!(plain("1A0A1\n3A2"), [10.0, 11.0, 12.0]);
    }

    #[test]
    fn repeats_of_a_difference_step_on_and_of_a_value_stand_still() {
        // 5, +2 three times; 5 three times.
        assert_eq!(plain("0EKU"), [5.0, 7.0, 9.0, 11.0]);
        assert_eq!(plain("0EU"), [5.0, 5.0, 5.0]);
        // Repeat counts of two digits: S2 is 12 in all.
        assert_eq!(plain("0ES2").len(), 12);
    }

    #[test]
    fn exponents_need_a_sign_and_letters_are_digits() {
        assert_eq!(plain("400 1.5E+02 2E-1"), [150.0, 0.2]);
        assert_eq!(plain("400E3"), [53.0]);
    }

    #[test]
    fn a_question_mark_is_a_point_without_a_value() {
        assert_eq!(values("400 1 ? 3"), Ok(vec![Some(1.0), None, Some(3.0)]));
    }

    #[test]
    fn damaged_lines_are_refused_by_line() {
        for (text, line) in [("400 1 2\n402 x", 2), ("400 1\n& 3", 2), ("x", 1)] {
            let seen = values(text);
            assert!(
                matches!(seen, Err(JcampError::BadCharacter { line: at, .. }) if at == line),
                "{text:?}: {seen:?}"
            );
        }
        for (text, line) in [
            ("400 1\n401 S", 2),
            ("400 S", 1),
            ("400 J", 1),
            ("400 1 ?J", 1),
        ] {
            assert_eq!(
                values(text),
                Err(JcampError::NothingBefore { line }),
                "{text:?}"
            );
        }
    }

    #[test]
    fn a_repeat_of_billions_is_refused_and_not_made() {
        let seen = values("400 AZ999999999");
        assert_eq!(
            seen,
            Err(JcampError::TooManyPoints {
                line: 1,
                limit: 100
            })
        );
        assert!(matches!(
            values("400 AZ99999999999999999999999"),
            Err(JcampError::BadCharacter { .. })
        ));
    }
}
