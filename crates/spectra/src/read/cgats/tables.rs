//! The structure of a CGATS text: keywords, format blocks, data blocks.

use super::error::CgatsError;
use crate::read::text::Line;

/// One table: its format and its rows.
#[derive(Debug)]
pub(super) struct Table {
    /// The names of the fields, in their order.
    pub fields: Vec<String>,
    /// The rows, each as long as the fields.
    pub rows: Vec<Row>,
    /// FILE_DESCRIPTOR or DESCRIPTOR, where there is one.
    pub title: Option<String>,
}

/// One set of values.
#[derive(Debug)]
pub(super) struct Row {
    pub line: usize,
    pub values: Vec<String>,
}

impl Table {
    /// The index of a field.
    pub(super) fn field(&self, name: &str) -> Option<usize> {
        self.fields
            .iter()
            .position(|field| field.eq_ignore_ascii_case(name))
    }

    /// The name of a row: its sample name, its sample id, or its number.
    pub(super) fn sample(&self, index: usize) -> String {
        let value = |name| {
            self.field(name)
                .map(|at| self.rows[index].values[at].clone())
        };
        value("SAMPLE_NAME")
            .or_else(|| value("SAMPLE_ID"))
            .or_else(|| value("SampleID"))
            .unwrap_or_else(|| format!("row {}", index + 1))
    }
}

/// Whether a first line names the form: `CGATS.17`, `CGATS.5`, `CGATS`.
pub(in crate::read) fn is_identifier(line: &str) -> bool {
    let word = line.split_whitespace().next().unwrap_or_default();
    word == "CGATS" || word.starts_with("CGATS.")
}

/// The tables of a text.
///
/// Counts (NUMBER_OF_FIELDS, NUMBER_OF_SETS) are checked where they stand and
/// not missed where they don't.
///
/// # Errors
/// [`CgatsError`] with the line.
pub(super) fn tables(lines: &[Line<'_>]) -> Result<Vec<Table>, CgatsError> {
    let mut lines = lines.iter().filter(|line| {
        let text = line.text.trim();
        !text.is_empty() && !text.starts_with('#')
    });
    let first = lines.next().ok_or(CgatsError::NoData)?;
    let known = is_identifier(first.text.trim());
    let mut tables: Vec<Table> = vec![];
    let mut head = Head::default();
    let mut any_format = false;
    while let Some(line) = lines.next() {
        let words = words(line)?;
        let value = || words.get(1).cloned().unwrap_or_default();
        match words.first().map_or("", String::as_str) {
            "BEGIN_DATA_FORMAT" => {
                head.fields = format(line.number, &mut lines)?;
                any_format = true;
            }
            "BEGIN_DATA" if known || any_format => {
                // A later table without a format of its own has the format before it.
                if head.fields.is_empty() {
                    let before = tables.last().map(|table| table.fields.clone());
                    head.fields = before.ok_or(CgatsError::NoFormat { line: line.number })?;
                }
                tables.push(data(line.number, core::mem::take(&mut head), &mut lines)?);
            }
            "BEGIN_DATA" => return Err(CgatsError::NoFormat { line: line.number }),
            "NUMBER_OF_FIELDS" => head.fields_said = Some((line.number, value())),
            "NUMBER_OF_SETS" => head.sets_said = Some((line.number, value())),
            "FILE_DESCRIPTOR" | "DESCRIPTOR" => head.title = Some(value()),
            // Other keywords, and words that some programs put on a line of their own.
            _ => {}
        }
    }
    if !known {
        let seen = first.text.trim().chars().take(40).collect();
        return Err(CgatsError::NoIdentifier { seen });
    }
    if tables.is_empty() {
        return Err(CgatsError::NoData);
    }
    Ok(tables)
}

#[derive(Default)]
struct Head {
    fields: Vec<String>,
    fields_said: Option<(usize, String)>,
    sets_said: Option<(usize, String)>,
    title: Option<String>,
}

fn format<'a>(
    begin: usize,
    lines: &mut impl Iterator<Item = &'a Line<'a>>,
) -> Result<Vec<String>, CgatsError> {
    let mut fields = vec![];
    for line in lines {
        if line.text.trim() == "END_DATA_FORMAT" {
            return Ok(fields);
        }
        fields.extend(words(line)?);
    }
    Err(CgatsError::NoEnd {
        line: begin,
        block: "BEGIN_DATA_FORMAT",
        end: "END_DATA_FORMAT",
    })
}

fn data<'a>(
    begin: usize,
    head: Head,
    lines: &mut impl Iterator<Item = &'a Line<'a>>,
) -> Result<Table, CgatsError> {
    let wanted = head.fields.len();
    counted(head.fields_said, "NUMBER_OF_FIELDS", wanted)?;
    let mut rows = vec![];
    for line in lines {
        if line.text.trim() == "END_DATA" {
            counted(head.sets_said, "NUMBER_OF_SETS", rows.len())?;
            return Ok(Table {
                fields: head.fields,
                rows,
                title: head.title,
            });
        }
        let values = words(line)?;
        if values.len() != wanted {
            return Err(CgatsError::RowLength {
                line: line.number,
                found: values.len(),
                wanted,
            });
        }
        rows.push(Row {
            line: line.number,
            values,
        });
    }
    Err(CgatsError::NoEnd {
        line: begin,
        block: "BEGIN_DATA",
        end: "END_DATA",
    })
}

fn counted(
    said: Option<(usize, String)>,
    keyword: &'static str,
    found: usize,
) -> Result<(), CgatsError> {
    match said {
        Some((line, said)) if said.parse() != Ok(found) => Err(CgatsError::Count {
            line,
            keyword,
            said,
            found,
        }),
        _ => Ok(()),
    }
}

/// The words of a line; blanks inside quotes belong to the word, a doubled quote is a quote.
fn words(line: &Line<'_>) -> Result<Vec<String>, CgatsError> {
    let mut words = vec![];
    let mut word: Option<String> = None;
    let mut quoted = false;
    let mut letters = line.text.chars().peekable();
    while let Some(c) = letters.next() {
        match c {
            '"' if quoted && letters.peek() == Some(&'"') => {
                letters.next();
                word.get_or_insert_default().push('"');
            }
            '"' => {
                quoted = !quoted;
                word.get_or_insert_default();
            }
            c if c.is_whitespace() && !quoted => words.extend(word.take()),
            c => word.get_or_insert_default().push(c),
        }
    }
    if quoted {
        return Err(CgatsError::OpenQuote { line: line.number });
    }
    words.extend(word);
    Ok(words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::text::lines;

    const SOUND: &str = "CGATS.17\nORIGINATOR \"a b\"\n# remark\nBEGIN_DATA_FORMAT\nSAMPLE_ID D_VIS\nEND_DATA_FORMAT\nBEGIN_DATA\n1 0.1\n\"2 b\" -0.2\nEND_DATA\n";

    fn seen(text: &str) -> Result<Vec<Table>, CgatsError> {
        tables(&lines(text))
    }

    #[test]
    fn a_table_without_counts_is_read() {
        let tables = seen(SOUND).unwrap();
        assert_eq!(tables[0].fields, ["SAMPLE_ID", "D_VIS"]);
        assert_eq!(tables[0].rows[1].values, ["2 b", "-0.2"]);
        assert_eq!(tables[0].sample(1), "2 b");
    }

    #[test]
    fn several_tables_are_read_and_a_format_lasts() {
        let text = format!("{SOUND}NUMBER_OF_SETS 1\nBEGIN_DATA\n3 0.3\nEND_DATA\n");
        let tables = seen(&text).unwrap();
        assert_eq!(tables.len(), 2);
        assert_eq!(tables[1].fields, ["SAMPLE_ID", "D_VIS"]);
    }

    #[test]
    fn damaged_structures_are_refused_by_line() {
        let no_format = SOUND.replace("BEGIN_DATA_FORMAT\nSAMPLE_ID D_VIS\nEND_DATA_FORMAT\n", "");
        assert!(matches!(
            seen(&no_format),
            Err(CgatsError::NoFormat { line: 4 })
        ));
        let other = SOUND.replace("CGATS.17", "Densities");
        assert!(matches!(seen(&other), Err(CgatsError::NoIdentifier { .. })));
        let cut = SOUND.replace("END_DATA\n", "");
        assert!(matches!(
            seen(&cut),
            Err(CgatsError::NoEnd {
                block: "BEGIN_DATA",
                ..
            })
        ));
        let short = SOUND.replace("1 0.1", "1");
        let wanted = CgatsError::RowLength {
            line: 8,
            found: 1,
            wanted: 2,
        };
        assert_eq!(seen(&short).unwrap_err(), wanted);
        let quote = SOUND.replace("\"2 b\"", "\"2 b");
        assert_eq!(seen(&quote).unwrap_err(), CgatsError::OpenQuote { line: 9 });
        let count = SOUND.replace("BEGIN_DATA\n", "NUMBER_OF_SETS 3\nBEGIN_DATA\n");
        assert!(matches!(
            seen(&count),
            Err(CgatsError::Count { found: 2, .. })
        ));
        let fields = SOUND.replace(
            "BEGIN_DATA_FORMAT\n",
            "NUMBER_OF_FIELDS 3\nBEGIN_DATA_FORMAT\n",
        );
        assert!(matches!(
            seen(&fields),
            Err(CgatsError::Count { found: 2, .. })
        ));
        assert!(matches!(seen("CGATS.17\n"), Err(CgatsError::NoData)));
    }
}
