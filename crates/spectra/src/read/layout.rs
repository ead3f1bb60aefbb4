//! How the rows of a text table are cut: separator and decimal mark.
//!
//! The layout is the one under which most lines are rows of nothing but numbers
//! and holes. Where a comma could be both separator and decimal mark, the table
//! is refused and not guessed at.

use super::cells::{Cell, DecimalMark, cell};
use super::text::Line;

/// Between the cells of a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Separator {
    Semicolon,
    Tab,
    Comma,
    Blanks,
}

/// Separator and decimal mark of a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Layout {
    pub separator: Separator,
    pub mark: DecimalMark,
}

impl Layout {
    /// Every layout, the plainest first: the first of equals is taken.
    const ALL: [Self; 7] = [
        Self {
            separator: Separator::Semicolon,
            mark: DecimalMark::Point,
        },
        Self {
            separator: Separator::Semicolon,
            mark: DecimalMark::Comma,
        },
        Self {
            separator: Separator::Tab,
            mark: DecimalMark::Point,
        },
        Self {
            separator: Separator::Tab,
            mark: DecimalMark::Comma,
        },
        Self {
            separator: Separator::Comma,
            mark: DecimalMark::Point,
        },
        Self {
            separator: Separator::Blanks,
            mark: DecimalMark::Point,
        },
        Self {
            separator: Separator::Blanks,
            mark: DecimalMark::Comma,
        },
    ];

    /// The layout under which most of these lines are rows of numbers.
    pub(super) fn of(lines: &[Line<'_>]) -> Option<Self> {
        let mut best: Option<(usize, Self)> = None;
        for layout in Self::ALL {
            let rows = lines.iter().filter(|line| layout.is_row(line.text)).count();
            if rows > best.map_or(0, |(most, _)| most) {
                best = Some((rows, layout));
            }
        }
        best.map(|(_, layout)| layout)
    }

    /// The cells of a line, quotes taken off; nothing after the last separator is no cell.
    pub(super) fn cells(self, text: &str) -> Vec<&str> {
        let text = text.trim();
        let mut cells: Vec<&str> = match self.separator {
            Separator::Blanks => cut(text, char::is_whitespace)
                .into_iter()
                .filter(|c| !c.is_empty())
                .collect(),
            Separator::Semicolon => cut(text, |c| c == ';'),
            Separator::Tab => cut(text, |c| c == '\t'),
            Separator::Comma => cut(text, |c| c == ','),
        };
        while cells.last().is_some_and(|cell| cell.trim().is_empty()) {
            cells.pop();
        }
        cells
            .into_iter()
            .map(|cell| cell.trim().trim_matches('"').trim())
            .collect()
    }

    /// A wavelength and at least one more cell, and no words.
    pub(super) fn is_row(self, text: &str) -> bool {
        let cells = self.cells(text);
        cells.len() >= 2
            && matches!(cell(cells[0], self.mark), Cell::Number(_))
            && cells.iter().all(|text| cell(text, self.mark) != Cell::Text)
    }
}

/// Cuts at separators outside quotes.
fn cut(text: &str, is_separator: impl Fn(char) -> bool) -> Vec<&str> {
    let mut parts = vec![];
    let mut quoted = false;
    let mut start = 0;
    for (at, c) in text.char_indices() {
        if c == '"' {
            quoted = !quoted;
        } else if !quoted && is_separator(c) {
            parts.push(&text[start..at]);
            start = at + c.len_utf8();
        }
    }
    parts.push(&text[start..]);
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn layout_of(text: &str) -> Option<Layout> {
        Layout::of(&super::super::text::lines(text))
    }

    #[test]
    fn the_layout_is_the_one_that_makes_rows_of_numbers() {
        use DecimalMark::{Comma as DecimalComma, Point};
        use Separator::{Blanks, Comma, Semicolon, Tab};
        for (text, separator, mark) in [
            ("nm,T\n400,0.5\n410,0.6", Comma, Point),
            ("nm, T\n400, 0.5\n410, 0.6", Comma, Point),
            ("400,5\n410,6", Comma, Point),
            ("400;0.5\n410;0.6", Semicolon, Point),
            ("400;0,5\n410;0,6", Semicolon, DecimalComma),
            ("400,5;0,5\n410,5;0,6", Semicolon, DecimalComma),
            ("400\t0.5\t \n410\t0.6\t\t", Tab, Point),
            ("400\t0,5\n410\t0,6", Tab, DecimalComma),
            ("4900  0.000  \n5000  0.011", Blanks, Point),
            ("400 0,5\n410 0,6", Blanks, DecimalComma),
            ("\"400\",\"0.5\"\n\"410\",\"0.6\"", Comma, Point),
        ] {
            assert_eq!(
                layout_of(text),
                Some(Layout { separator, mark }),
                "{text:?}"
            );
        }
        assert_eq!(layout_of("no numbers\nat all"), None);
        assert_eq!(layout_of("400\n410"), None, "one column is no table");
    }
}
