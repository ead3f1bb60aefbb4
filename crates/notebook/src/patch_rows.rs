//! Rows into `patches.csv`, whose other lines stay as they are.

use crate::columns::PATCHES;
use crate::csv_file::{CsvFile, Unknown};
use crate::documents::{Documents, Held};
use crate::folder::PATCHES_CSV;
use crate::from_record::{header, row};
use crate::problem::{FolderError, Problems};

/// A patch as its row would be typed: `frame`, `patch`, `role`, `scan` and the
/// columns of its outline. An empty cell is not recorded.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PatchRow {
    /// Id of the frame.
    pub frame: String,
    /// Name of the patch.
    pub patch: String,
    /// What it shows: `grey_card`, `tablet_step:3`.
    pub role: String,
    /// Id of the scan it is outlined in.
    pub scan: String,
    /// Left, top, width and height of a rectangle in pixels; all empty when it is none.
    pub rectangle_px: [String; 4],
    /// Label of a region.
    pub region: String,
    /// Corners of a polygon: "10 20; 90 20; 90 70".
    pub polygon_px: String,
    /// The frame whose outline is carried.
    pub carried_from: String,
}

impl PatchRow {
    fn cell(&self, column: &str) -> &str {
        let [x, y, width, height] = &self.rectangle_px;
        match column {
            "frame" => &self.frame,
            "patch" => &self.patch,
            "role" => &self.role,
            "scan" => &self.scan,
            "x_px" => x,
            "y_px" => y,
            "width_px" => width,
            "height_px" => height,
            "region" => &self.region,
            "polygon_px" => &self.polygon_px,
            "carried_from" => &self.carried_from,
            _ => "",
        }
    }
}

/// Puts rows into a test's `patches.csv`: one of the same frame and patch is
/// replaced where it stands, others are added at the end; rows that `without`
/// names by frame and patch go. Comments and all other lines stay.
///
/// # Errors
/// [`FolderError`] when the file can't be read as a table.
pub fn with_patch_rows(
    documents: &Documents,
    rows: &[PatchRow],
    without: &[(String, String)],
) -> Result<Documents, FolderError> {
    let text = match documents.get(PATCHES_CSV) {
        None => header(&PATCHES),
        Some(_) => documents
            .text(PATCHES_CSV)
            .ok_or_else(|| {
                FolderError::of_file(
                    PATCHES_CSV,
                    "the file is no UTF-8 text",
                    "text in UTF-8",
                    "save the file again with the encoding UTF-8",
                )
            })?
            .to_owned(),
    };
    let mut problems = Problems::default();
    let bare = text.trim_start_matches('\u{feff}');
    let file = CsvFile::read(PATCHES_CSV, bare, &PATCHES, Unknown::Refused, &mut problems);
    problems.into_result()?;
    let Some(file) = file else {
        unreachable!("a table that can't be made out has a problem");
    };
    // Columns in the order in which the file has them; those it lacks are added
    // to its first line only when a row fills them.
    let mut columns = file.column_names();
    let lines: Vec<&str> = bare.split_inclusive('\n').collect();
    // Line numbers count line feeds, also within quotes; a row ends where the
    // next one, a comment or an empty line begins.
    let mut begins: Vec<(usize, String, String)> = file
        .rows()
        .map(|r| {
            let cell = |name| r.text(name).unwrap_or_default().to_owned();
            (r.line(), cell("frame"), cell("patch"))
        })
        .collect();
    begins.sort_by_key(|(line, _, _)| *line);
    let missing: Vec<&str> = PATCHES
        .iter()
        .map(|column| column.name)
        .filter(|name| !columns.contains(name) && rows.iter().any(|row| !row.cell(name).is_empty()))
        .collect();
    let mut out = String::new();
    let mut left: Vec<&PatchRow> = rows.iter().collect();
    let written = |patch: &PatchRow, columns: &[&str]| {
        let cells: Vec<String> = columns.iter().map(|c| patch.cell(c).to_owned()).collect();
        row(&cells)
    };
    columns.extend(&missing);
    let mut at = 0;
    while at < lines.len() {
        let number = at + 1;
        if number == file.header_line() && !missing.is_empty() {
            out.push_str(lines[at].trim_end_matches(['\r', '\n']));
            out.push(',');
            out.push_str(&missing.join(","));
            out.push('\n');
            at += 1;
            continue;
        }
        let Some((_, frame, patch)) = begins.iter().find(|(line, _, _)| *line == number) else {
            out.push_str(lines[at]);
            at += 1;
            continue;
        };
        let length = row_lines(&lines[at..]);
        let new = left
            .iter()
            .position(|row| row.frame.trim() == frame && row.patch.trim() == patch);
        if let Some(index) = new {
            out.push_str(&written(left.remove(index), &columns));
        } else if !without.iter().any(|(f, p)| f == frame && p == patch) {
            lines[at..at + length]
                .iter()
                .for_each(|line| out.push_str(line));
        }
        at += length;
    }
    if !out.is_empty() && !out.ends_with('\n') {
        out.push('\n');
    }
    for patch in left {
        out.push_str(&written(patch, &columns));
    }
    let mut documents = documents.clone();
    documents.put(PATCHES_CSV, Held::Bytes(out.into_bytes()))?;
    Ok(documents)
}

/// Gives the rows of a test's `patches.csv` as they are typed; none without the file.
///
/// # Errors
/// [`FolderError`] when the file can't be read as a table.
pub fn patch_rows(documents: &Documents) -> Result<Vec<PatchRow>, FolderError> {
    let Some(text) = documents.text(PATCHES_CSV) else {
        return Ok(vec![]);
    };
    let mut problems = Problems::default();
    let bare = text.trim_start_matches('\u{feff}');
    let file = CsvFile::read(PATCHES_CSV, bare, &PATCHES, Unknown::Refused, &mut problems);
    problems.into_result()?;
    let rows = file.iter().flat_map(CsvFile::rows).map(|row| {
        let cell = |name| row.text(name).unwrap_or_default().to_owned();
        PatchRow {
            frame: cell("frame"),
            patch: cell("patch"),
            role: cell("role"),
            scan: cell("scan"),
            rectangle_px: ["x_px", "y_px", "width_px", "height_px"].map(cell),
            region: cell("region"),
            polygon_px: cell("polygon_px"),
            carried_from: cell("carried_from"),
        }
    });
    Ok(rows.collect())
}

/// How many lines a row takes: until its double quotes are closed.
pub(crate) fn row_lines(lines: &[&str]) -> usize {
    let mut quotes = 0;
    for (index, line) in lines.iter().enumerate() {
        quotes += line.matches('"').count();
        if quotes % 2 == 0 {
            return index + 1;
        }
    }
    lines.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn documents(text: &str) -> Documents {
        let mut documents = Documents::default();
        documents
            .put(PATCHES_CSV, Held::Bytes(text.as_bytes().to_vec()))
            .unwrap();
        documents
    }

    fn patch(frame: &str, name: &str, x: &str) -> PatchRow {
        PatchRow {
            frame: frame.to_owned(),
            patch: name.to_owned(),
            role: "wall".to_owned(),
            scan: "s".to_owned(),
            rectangle_px: [x, "2", "3", "4"].map(str::to_owned),
            ..PatchRow::default()
        }
    }

    #[test]
    fn a_row_is_replaced_where_it_stands_and_all_else_stays() {
        let before = "# by hand\nframe,patch,role,scan,x_px,y_px,width_px,height_px\n\
                      1, a ,wall,s,9,9,9,9\n# between\n2,a,wall,s,8,8,8,8\n\n3,a,wall,s,7,7,7,7";
        let after = with_patch_rows(
            &documents(before),
            &[patch("1", "a", "1"), patch("4", "b", "5")],
            &[("2".to_owned(), "a".to_owned())],
        )
        .unwrap();
        assert_eq!(
            after.text(PATCHES_CSV).unwrap(),
            "# by hand\nframe,patch,role,scan,x_px,y_px,width_px,height_px\n\
             1,a,wall,s,1,2,3,4\n# between\n\n3,a,wall,s,7,7,7,7\n4,b,wall,s,5,2,3,4\n"
        );
    }

    #[test]
    fn rows_are_read_as_they_were_written() {
        let typed = [patch("1", "a", "1"), patch("4", "b", "5")];
        let after = with_patch_rows(&Documents::default(), &typed, &[]).unwrap();
        assert_eq!(patch_rows(&after).unwrap(), typed);
        assert_eq!(patch_rows(&Documents::default()).unwrap(), []);
    }

    #[test]
    fn a_column_that_the_file_lacks_is_added_for_the_row_that_needs_it() {
        let before = "frame,patch,role\n1,a,wall\n";
        let after = with_patch_rows(&documents(before), &[patch("2", "a", "1")], &[]).unwrap();
        assert_eq!(
            after.text(PATCHES_CSV).unwrap(),
            "frame,patch,role,scan,x_px,y_px,width_px,height_px\n1,a,wall\n2,a,wall,s,1,2,3,4\n"
        );
    }

    #[test]
    fn the_first_patch_of_a_test_makes_the_file() {
        let after = with_patch_rows(&Documents::default(), &[patch("2", "a", "1")], &[]).unwrap();
        let text = after.text(PATCHES_CSV).unwrap();
        assert!(
            text.ends_with("carried_from\n2,a,wall,s,1,2,3,4,,,\n"),
            "{text}"
        );
    }
}
