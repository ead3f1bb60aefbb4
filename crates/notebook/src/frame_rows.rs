//! What lies on frames in `patches.csv` and `readings.csv`, taken out with them.

use crate::columns::{PATCHES, READINGS};
use crate::csv_file::{Column, CsvFile, Unknown};
use crate::documents::{Documents, Held};
use crate::folder::{PATCHES_CSV, READINGS_CSV};
use crate::patch_rows::row_lines;
use crate::problem::{FolderError, Problems};

/// The tables that name frames, with their columns.
const TABLES: [(&str, &[Column]); 2] = [(PATCHES_CSV, &PATCHES), (READINGS_CSV, &READINGS)];

/// How many rows lie on a frame.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct OnFrame {
    /// Patches of the frame.
    pub patches: usize,
    /// Patches of other frames that are carried from it.
    pub carried_from_it: usize,
    /// Densities written down for it.
    pub readings: usize,
}

/// Counts what lies on a frame.
///
/// # Errors
/// [`FolderError`] when a file can't be read as a table.
pub fn on_frame(documents: &Documents, frame: &str) -> Result<OnFrame, FolderError> {
    let mut found = OnFrame::default();
    for (name, columns) in TABLES {
        let Some(text) = documents.text(name) else {
            continue;
        };
        for row in table(name, text, columns)?.iter().flat_map(CsvFile::rows) {
            if row.text("frame") == Some(frame) {
                if name == PATCHES_CSV {
                    found.patches += 1;
                } else {
                    found.readings += 1;
                }
            } else if name == PATCHES_CSV && row.text("carried_from") == Some(frame) {
                found.carried_from_it += 1;
            }
        }
    }
    Ok(found)
}

/// Gives the files without what lies on these frames or is carried from them; all other
/// lines stay as they are.
///
/// # Errors
/// [`FolderError`] when a file can't be read as a table.
pub fn without_frames(documents: &Documents, frames: &[&str]) -> Result<Documents, FolderError> {
    let mut left = documents.clone();
    for (name, columns) in TABLES {
        let Some(text) = documents.text(name) else {
            continue;
        };
        let gone: Vec<usize> = table(name, text, columns)?
            .iter()
            .flat_map(CsvFile::rows)
            .filter(|row| {
                let names = |column| row.text(column).is_some_and(|cell| frames.contains(&cell));
                names("frame") || (name == PATCHES_CSV && names("carried_from"))
            })
            .map(|row| row.line())
            .collect();
        if !gone.is_empty() {
            left.put(name, Held::Bytes(without_rows(text, &gone).into_bytes()))?;
        }
    }
    Ok(left)
}

fn table(name: &str, text: &str, columns: &[Column]) -> Result<Option<CsvFile>, FolderError> {
    let mut problems = Problems::default();
    let bare = text.trim_start_matches('\u{feff}');
    let file = CsvFile::read(name, bare, columns, Unknown::Refused, &mut problems);
    problems.into_result()?;
    Ok(file)
}

/// A text without the rows that begin in these lines, counted from 1.
fn without_rows(text: &str, gone: &[usize]) -> String {
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let mut out = String::new();
    let mut at = 0;
    while at < lines.len() {
        if gone.contains(&(at + 1)) {
            at += row_lines(&lines[at..]);
        } else {
            out.push_str(lines[at]);
            at += 1;
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn documents() -> Documents {
        let mut documents = Documents::default();
        for (name, text) in [
            (
                PATCHES_CSV,
                "frame,patch,role,carried_from\n# kept\none,card,grey_card,\ntwo,card,grey_card,one\nthree,card,grey_card,\n",
            ),
            (
                READINGS_CSV,
                "frame,patch,density,origin\none,card,0.52,\"by\nhand\"\nthree,card,0.61,\n",
            ),
        ] {
            documents
                .put(name, Held::Bytes(text.as_bytes().to_vec()))
                .unwrap();
        }
        documents
    }

    #[test]
    fn what_lies_on_a_frame_is_counted() {
        // By eye, from the two tables above.
        let found = on_frame(&documents(), "one").unwrap();
        assert_eq!(
            (found.patches, found.carried_from_it, found.readings),
            (1, 1, 1)
        );
        assert_eq!(on_frame(&documents(), "four").unwrap(), OnFrame::default());
    }

    #[test]
    fn it_goes_with_the_frame_and_all_else_stays() {
        let left = without_frames(&documents(), &["one"]).unwrap();
        assert_eq!(
            left.text(PATCHES_CSV),
            Some("frame,patch,role,carried_from\n# kept\nthree,card,grey_card,\n")
        );
        assert_eq!(
            left.text(READINGS_CSV),
            Some("frame,patch,density,origin\nthree,card,0.61,\n")
        );
    }
}
