//! CSV files: a small reader that knows line and column of every cell.
//!
//! Commas between cells, cells in double quotes when they hold a comma, a quote
//! or a line end (doubled quotes within), LF or CRLF, or CR alone throughout as
//! old Mac programs write it, `#` begins a comment line,
//! empty lines are skipped, the first other line names the columns. A byte order
//! mark is taken off before. Separators other than the comma are refused, for a
//! decimal comma could hide behind them.

use crate::problem::{Place, Problems, likely, short};
use std::borrow::Cow;

/// What a column is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Column {
    /// Name in the first line.
    pub(crate) name: &'static str,
    /// Whether it must be there.
    pub(crate) required: bool,
    /// What it holds.
    pub(crate) doc: &'static str,
}

/// What becomes of a column that is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unknown {
    /// It is a problem.
    Refused,
    /// It is named in a warning.
    Warned,
}

#[derive(Clone, Debug)]
struct Cell {
    text: String,
    line: usize,
    column: usize,
    quoted: bool,
}

impl Cell {
    /// Whether a line that begins with this cell is a comment.
    fn begins_comment(&self) -> bool {
        !self.quoted && self.text.trim_start().starts_with('#')
    }
}

/// A CSV file whose columns are known.
#[derive(Debug)]
pub(crate) struct CsvFile {
    file: String,
    /// For each known column that is there, its name and position.
    positions: Vec<(&'static str, usize)>,
    header_line: usize,
    rows: Vec<Vec<Cell>>,
    /// What a reader must know though nothing is wrong.
    pub(crate) warnings: Vec<String>,
}

impl CsvFile {
    /// Reads a file's text; adds problems and gives `None` when the columns
    /// can't be made out.
    pub(crate) fn read(
        file: &str,
        text: &str,
        columns: &[Column],
        unknown: Unknown,
        problems: &mut Problems,
    ) -> Option<Self> {
        let mut rows = cells(file, text, problems)?.into_iter();
        let names: Vec<&str> = columns.iter().map(|column| column.name).collect();
        let Some(header) = rows.next() else {
            problems.add(
                &Place::whole(file),
                "the file has no line that names the columns",
                format!("a first line such as {}", names.join(",")),
                "add the line",
            );
            return None;
        };
        let at = |cell: &Cell| Place {
            file: file.to_owned(),
            line: cell.line,
            column: cell.column,
        };
        if let [only] = header.as_slice()
            && let Some(separator) = [';', '\t', '|']
                .into_iter()
                .find(|c| only.text.contains(*c))
        {
            problems.add(
                &at(only),
                format!(
                    "the columns are separated by {separator:?}: {}",
                    short(&only.text)
                ),
                "commas between the columns and a point in decimal numbers",
                "save the file again as CSV with commas",
            );
            return None;
        }
        let mut positions: Vec<(&'static str, usize)> = Vec::new();
        let mut warnings = Vec::new();
        let mut sound = true;
        for (index, cell) in header.iter().enumerate() {
            let name = cell.text.trim().to_lowercase();
            if let Some(known) = names.iter().find(|known| **known == name) {
                if positions.iter().any(|(name, _)| name == known) {
                    sound = false;
                    problems.add(
                        &at(cell),
                        format!("the column `{known}` is there twice"),
                        "each column once",
                        "rename or remove one of the two",
                    );
                }
                positions.push((known, index));
            } else if unknown == Unknown::Refused {
                sound = false;
                let meant = likely(&name, names.iter().copied());
                let remedy = match meant.first() {
                    Some(name) => format!("did you mean `{name}`?"),
                    None => "rename or remove the column".to_owned(),
                };
                problems.add(
                    &at(cell),
                    format!("unknown column `{}`", short(&cell.text)),
                    format!("columns among {}", names.join(", ")),
                    remedy,
                );
            } else {
                warnings.push(format!(
                    "{file}: the column `{}` is not used",
                    short(&cell.text)
                ));
            }
        }
        for column in columns.iter().filter(|column| column.required) {
            if !positions.iter().any(|(name, _)| *name == column.name) {
                sound = false;
                problems.add(
                    &Place {
                        file: file.to_owned(),
                        line: header.first().map_or(1, |cell| cell.line),
                        column: 0,
                    },
                    format!("the column `{}` is missing", column.name),
                    format!("`{}`: {}", column.name, column.doc),
                    "add the column",
                );
            }
        }
        let width = header.len();
        let mut body = Vec::new();
        for row in rows {
            if row.len() > width {
                sound = false;
                problems.add(
                    &at(&row[width]),
                    format!("{} cells, the first too many is {:?}", row.len(), short(&row[width].text)),
                    format!("at most {width} cells, as many as the first line names"),
                    "put a cell that holds a comma in double quotes; write decimal numbers with a point",
                );
            }
            body.push(row);
        }
        sound.then_some(Self {
            file: file.to_owned(),
            positions,
            header_line: header.first().map_or(1, |cell| cell.line),
            rows: body,
            warnings,
        })
    }

    /// Gives the columns in the order in which the file has them.
    pub(crate) fn column_names(&self) -> Vec<&'static str> {
        self.positions.iter().map(|(name, _)| *name).collect()
    }

    /// Gives the line that names the columns, counted from 1.
    pub(crate) fn header_line(&self) -> usize {
        self.header_line
    }

    /// Gives the rows.
    pub(crate) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row { file: self, cells })
    }

    /// Says whether a column is there.
    pub(crate) fn has(&self, name: &str) -> bool {
        self.positions.iter().any(|(known, _)| *known == name)
    }
}

/// A row of a CSV file.
#[derive(Clone, Copy)]
pub(crate) struct Row<'a> {
    file: &'a CsvFile,
    cells: &'a [Cell],
}

impl<'a> Row<'a> {
    /// Gives the line that the row begins in, counted from 1.
    pub(crate) fn line(&self) -> usize {
        self.cells.first().map_or(0, |cell| cell.line)
    }

    /// Gives the place of a cell, or of the row when the cell is not there.
    pub(crate) fn place(&self, name: &str) -> Place {
        let cell = self.cell(name);
        Place {
            file: self.file.file.clone(),
            line: cell.or(self.cells.first()).map_or(0, |cell| cell.line),
            column: cell.map_or(0, |cell| cell.column),
        }
    }

    fn cell(&self, name: &str) -> Option<&'a Cell> {
        let (_, index) = self
            .file
            .positions
            .iter()
            .find(|(known, _)| *known == name)?;
        self.cells.get(*index)
    }

    /// Gives a cell's text without blanks around it; `None` when it is empty.
    pub(crate) fn text(&self, name: &str) -> Option<&'a str> {
        self.cell(name)
            .map(|cell| cell.text.trim())
            .filter(|text| !text.is_empty())
    }

    /// Adds the problem that a cell is not what was expected.
    pub(crate) fn mismatch(
        &self,
        name: &str,
        expected: &str,
        remedy: &str,
        problems: &mut Problems,
    ) {
        let seen = match self.text(name) {
            Some(text) => format!("`{name}` is {:?}", short(text)),
            None => format!("`{name}` is empty"),
        };
        problems.add(&self.place(name), seen, expected, remedy);
    }

    /// Reads a cell that may be empty. `Err` when it is filled and can't be
    /// read; the problem is then added.
    pub(crate) fn read<T>(
        &self,
        name: &str,
        expected: &str,
        problems: &mut Problems,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Result<Option<T>, Refused> {
        let Some(text) = self.text(name) else {
            return Ok(None);
        };
        if let Some(value) = parse(text) {
            return Ok(Some(value));
        }
        let remedy = if text.contains(',') && parse(&text.replace(',', ".")).is_some() {
            "write decimal numbers with a point"
        } else {
            "correct the cell"
        };
        self.mismatch(name, expected, remedy, problems);
        Err(Refused)
    }

    /// Reads a cell that must be filled.
    pub(crate) fn read_required<T>(
        &self,
        name: &str,
        expected: &str,
        problems: &mut Problems,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Result<T, Refused> {
        match self.read(name, expected, problems, parse)? {
            Some(value) => Ok(value),
            None => {
                self.mismatch(name, expected, "fill the cell", problems);
                Err(Refused)
            }
        }
    }
}

/// A cell was refused; the problem has been added to the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Refused;

/// Reads a finite number.
pub(crate) fn finite(text: &str) -> Option<f64> {
    text.parse::<f64>().ok().filter(|number| number.is_finite())
}

/// Reads a finite number, 0 or more.
pub(crate) fn deviation(text: &str) -> Option<f64> {
    finite(text).filter(|number| *number >= 0.0)
}

/// Takes a text apart into cells.
fn cells(file: &str, text: &str, problems: &mut Problems) -> Option<Vec<Vec<Cell>>> {
    let old_mac = text.contains('\r') && !text.contains('\n');
    let text = if old_mac {
        Cow::Owned(text.replace('\r', "\n"))
    } else {
        Cow::Borrowed(text)
    };
    let mut rows = Vec::new();
    let mut characters = text.chars().peekable();
    let mut line = 1;
    while characters.peek().is_some() {
        let mut row: Vec<Cell> = Vec::new();
        let mut column = 1;
        let mut ended = false;
        while !ended {
            let mut cell = Cell {
                text: String::new(),
                line,
                column,
                quoted: false,
            };
            let mut within_quotes = false;
            loop {
                let Some(character) = characters.next() else {
                    ended = true;
                    break;
                };
                column += 1;
                match character {
                    '"' if within_quotes && characters.peek() == Some(&'"') => {
                        characters.next();
                        column += 1;
                        cell.text.push('"');
                    }
                    '"' if within_quotes => within_quotes = false,
                    '"' if cell.text.trim().is_empty() => {
                        cell.text.clear();
                        cell.quoted = true;
                        within_quotes = true;
                    }
                    '\n' => {
                        line += 1;
                        column = 1;
                        if within_quotes {
                            cell.text.push('\n');
                        } else {
                            ended = true;
                            break;
                        }
                    }
                    // A comment line is one cell, commas and quotes and all.
                    ',' | '"' if row.is_empty() && cell.begins_comment() => {
                        cell.text.push(character);
                    }
                    ',' if !within_quotes => break,
                    '\r' if !within_quotes && matches!(characters.peek(), Some('\n') | None) => {}
                    _ => cell.text.push(character),
                }
            }
            if within_quotes {
                problems.add(
                    &Place {
                        file: file.to_owned(),
                        line: cell.line,
                        column: cell.column,
                    },
                    "a double quote is opened and never closed",
                    "a closing double quote",
                    "close the quote, or double it if it belongs to the text",
                );
                return None;
            }
            row.push(cell);
        }
        let blank = row.iter().all(|cell| cell.text.trim().is_empty());
        let comment = row.first().is_some_and(Cell::begins_comment);
        if !blank && !comment {
            rows.push(row);
        }
    }
    Some(rows)
}

/// Writes a cell, in quotes when it must be.
pub(crate) fn written_cell(text: &str) -> String {
    let plain = !text.contains([',', '"', '\n', '\r', '#']) && text.trim() == text;
    if plain {
        text.to_owned()
    } else {
        format!("\"{}\"", text.replace('"', "\"\""))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COLUMNS: [Column; 2] = [
        Column {
            name: "a",
            required: true,
            doc: "first",
        },
        Column {
            name: "b",
            required: false,
            doc: "second",
        },
    ];

    type Pair = (Option<String>, Option<String>);

    fn read(text: &str) -> Result<Vec<Pair>, String> {
        let mut problems = Problems::default();
        let file = CsvFile::read("f.csv", text, &COLUMNS, Unknown::Refused, &mut problems);
        problems.into_result().map_err(|error| error.to_string())?;
        let own = |text: Option<&str>| text.map(str::to_owned);
        Ok(file
            .unwrap()
            .rows()
            .map(|row| (own(row.text("a")), own(row.text("b"))))
            .collect())
    }

    #[test]
    fn quotes_comments_and_line_ends_are_understood() {
        let text = "# note, with \"comma\r\nA,b\r\n1,\"x, \"\"y\"\"\"\r\n\r\n 2 ,\n\"3\"";
        let some = |text: &str| Some(text.to_owned());
        assert_eq!(
            read(text).unwrap(),
            [
                (some("1"), some("x, \"y\"")),
                (some("2"), None),
                (some("3"), None)
            ]
        );
    }

    #[test]
    fn line_ends_of_old_mac_programs_are_read() {
        let rows = read("a,b\r1,2\r3,\r").unwrap();
        assert_eq!(
            rows,
            [
                (Some("1".to_owned()), Some("2".to_owned())),
                (Some("3".to_owned()), None)
            ]
        );
        let error = read("a,b\r1,2\r3,4,5\r").unwrap_err();
        assert!(error.starts_with("f.csv, line 3, column 5"), "{error}");
    }

    #[test]
    fn faults_are_named_with_line_and_column() {
        let cases = [
            (
                "a;b\n1;2\n",
                "f.csv, line 1, column 1: the columns are separated by ';': a;b",
            ),
            ("a,bb\n", "f.csv, line 1, column 3: unknown column `bb`"),
            ("b\n1\n", "f.csv, line 1: the column `a` is missing"),
            (
                "a,a\n1\n",
                "f.csv, line 1, column 3: the column `a` is there twice",
            ),
            (
                "a,b\n1,2,3\n",
                "f.csv, line 2, column 5: 3 cells, the first too many is \"3\"",
            ),
            (
                "a,b\n1,\"2\n",
                "f.csv, line 2, column 3: a double quote is opened and never closed",
            ),
            (
                "# only\n",
                "f.csv: the file has no line that names the columns",
            ),
        ];
        for (text, expected) in cases {
            let error = read(text).unwrap_err();
            assert!(error.starts_with(expected), "{text:?}: {error}");
        }
    }

    #[test]
    fn a_cell_that_is_written_reads_back() {
        for text in ["plain", "a,b", "say \"x\"", "two\nlines", "#1", "µ"] {
            let file = format!("a,b\n{},z\n", written_cell(text));
            let rows = read(&file).unwrap();
            assert_eq!(rows.len(), 1, "{text:?}");
            assert_eq!(rows[0].0.as_deref(), Some(text));
        }
    }
}
