//! One cell of a table to a number, a hole, or neither.

/// What stands in a cell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Cell {
    /// A finite number.
    Number(f64),
    /// No value: empty, a dash, "NA", or one of the numbers that stand for a hole.
    Hole,
    /// Words.
    Text,
}

/// What separates the whole part of a number from the rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum DecimalMark {
    /// 0.5
    Point,
    /// 0,5
    Comma,
}

/// Reads a cell.
pub(super) fn cell(text: &str, mark: DecimalMark) -> Cell {
    let text = text.trim().trim_matches('"').trim();
    if is_empty_word(text) {
        return Cell::Hole;
    }
    let Some(plain) = plain_number(text, mark) else {
        return Cell::Text;
    };
    if stands_for_a_hole(&plain) {
        return Cell::Hole;
    }
    match plain.parse::<f64>() {
        Ok(number) if number.is_finite() => Cell::Number(number),
        _ => Cell::Text,
    }
}

fn is_empty_word(text: &str) -> bool {
    text.is_empty()
        || ["-", "--", "\u{2013}", "na", "n/a", "nan", "null", "?"]
            .iter()
            .any(|word| text.eq_ignore_ascii_case(word))
}

/// The number with a decimal point and an ASCII minus; `None` when it is none.
fn plain_number(text: &str, mark: DecimalMark) -> Option<String> {
    let mut plain = String::with_capacity(text.len());
    for c in text.chars() {
        match (c, mark) {
            ('0'..='9' | '+' | '-' | 'e' | 'E', _) => plain.push(c),
            ('.', DecimalMark::Point) | (',', DecimalMark::Comma) => plain.push('.'),
            ('\u{2212}', _) => plain.push('-'),
            _ => return None,
        }
    }
    plain
        .contains(|c: char| c.is_ascii_digit())
        .then_some(plain)
}

/// −9.99, −9.999, −99, −99.9, −999, −9999 and longer ones, with zeros after them:
/// what measuring programs write where they have nothing.
fn stands_for_a_hole(plain: &str) -> bool {
    let Some(digits) = plain.strip_prefix('-') else {
        return false;
    };
    let digits = match digits.split_once('.') {
        Some((whole, rest)) => format!("{whole}.{}", rest.trim_end_matches('0')),
        None => digits.to_owned(),
    };
    let nines = digits.chars().filter(|c| *c == '9').count();
    let only = digits.chars().all(|c| c == '9' || c == '.');
    let whole = digits.split('.').next().unwrap_or_default().len();
    only && whole > 0 && (nines >= 3 || (nines == 2 && whole == 2))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_by_their_mark() {
        use DecimalMark::{Comma, Point};
        for (text, mark, expected) in [
            ("0.5", Point, Cell::Number(0.5)),
            (" 1.5e-3 ", Point, Cell::Number(0.0015)),
            ("4.7309E-23", Point, Cell::Number(4.7309e-23)),
            ("0,5", Comma, Cell::Number(0.5)),
            ("\"0,5\"", Comma, Cell::Number(0.5)),
            ("\u{2212}0.2", Point, Cell::Number(-0.2)),
            ("0,5", Point, Cell::Text),
            ("0.5", Comma, Cell::Text),
            ("1.234.5", Point, Cell::Text),
            ("1e999", Point, Cell::Text),
            ("inf", Point, Cell::Text),
            ("e", Point, Cell::Text),
            ("400 nm", Point, Cell::Text),
        ] {
            assert_eq!(cell(text, mark), expected, "{text}");
        }
    }

    #[test]
    fn numbers_that_stand_for_a_hole_are_no_values() {
        for text in [
            "", "-", "NA", "nan", "-9.999", "-9.99", "-99", "-99.9", "-999", "-999.0", "-9999",
        ] {
            assert_eq!(cell(text, DecimalMark::Point), Cell::Hole, "{text}");
        }
        // Real densities, logarithms and temperatures look like this.
        for text in ["-9", "-9.9", "-0.999", "-9.98", "999", "9.999", "-.99"] {
            assert!(
                matches!(cell(text, DecimalMark::Point), Cell::Number(_)),
                "{text}"
            );
        }
        assert_eq!(cell("-9,999", DecimalMark::Comma), Cell::Hole);
    }
}
