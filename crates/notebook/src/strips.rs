//! What is told of a scan on the light table, written into the text of `test.toml`: the
//! step tablet that lies in it, the frame that it shows.
//!
//! All other text stays as it is. Begin with [`with_strip`].

use crate::folder::TEST_TOML;
use crate::problem::FolderError;
use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value, value};

/// Where a whole tablet lies in a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct StripPlace {
    /// Id of the scan.
    pub scan: String,
    /// Id of the tablet.
    pub tablet: String,
    /// A usual tablet that is recorded under this id where none is yet: 21, 31, 11.
    pub nominal: Option<String>,
    /// How it was outlined.
    pub outline: StripOutline,
    /// Whether it calibrates all scans that have no tablet and no other calibration.
    pub calibrates_others: bool,
    /// Scans that it doesn't calibrate all the same, having a tablet of their own.
    pub but_not: Vec<String>,
}

/// How a whole tablet was outlined.
#[derive(Clone, Debug, PartialEq)]
pub enum StripOutline {
    /// A rectangle, split evenly.
    Cells {
        /// Number of the tablet's steps.
        steps: u32,
        /// Left, top, width and height. \[px\]
        rectangle_px: [u32; 4],
        /// Where step 2 lies, seen from step 1: right, left, down, up.
        direction: String,
    },
    /// Corners of what is measured of each step, in the tablet's order; none of one that
    /// can't be read. \[px\]
    Steps(Vec<Option<Vec<(f64, f64)>>>),
}

/// Writes a tablet's place into a record.
///
/// # Errors
/// [`FolderError`] when the text is no TOML or has no such scan.
pub fn with_strip(text: &str, place: &StripPlace) -> Result<String, FolderError> {
    let mut document = parsed(text)?;
    if let Some(nominal) = &place.nominal {
        record_tablet(&mut document, &place.tablet, nominal)?;
    }
    let scans = tables(&mut document, "scan")?;
    let Some(scan) = scans.iter_mut().find(|s| is_called(s, &place.scan)) else {
        return Err(no_scan(&place.scan));
    };
    let mut strip = InlineTable::new();
    strip.insert("tablet", Value::from(place.tablet.as_str()));
    match &place.outline {
        StripOutline::Cells {
            steps,
            rectangle_px,
            direction,
        } => strip.insert("cells", cells(*steps, *rectangle_px, direction)),
        StripOutline::Steps(steps) => strip.insert("steps", outlines(steps)),
    };
    scan.remove("calibrated_by");
    scan.insert("strip", Item::Value(Value::InlineTable(strip)));
    if place.calibrates_others {
        for other in scans.iter_mut() {
            let free = other.get("strip").is_none() && other.get("calibrated_by").is_none();
            let own = place.but_not.iter().any(|scan| is_called(other, scan));
            if free && !own && !is_called(other, &place.scan) {
                other.insert("calibrated_by", value(place.scan.as_str()));
            }
        }
    }
    Ok(document.to_string())
}

/// Writes into a record which frame a scan shows, or that it names none.
///
/// # Errors
/// [`FolderError`] when the text is no TOML or has no such scan.
pub fn with_scan_frame(text: &str, scan: &str, frame: Option<&str>) -> Result<String, FolderError> {
    let mut document = parsed(text)?;
    let scans = tables(&mut document, "scan")?;
    let table = scans.iter_mut().find(|s| is_called(s, scan));
    let table = table.ok_or_else(|| no_scan(scan))?;
    match frame {
        Some(frame) => drop(table.insert("frame", value(frame))),
        None => drop(table.remove("frame")),
    }
    Ok(document.to_string())
}

fn parsed(text: &str) -> Result<DocumentMut, FolderError> {
    text.parse::<DocumentMut>().map_err(|e| {
        FolderError::of_file(
            TEST_TOML,
            e.message(),
            "TOML",
            "mend the text of the record first",
        )
    })
}

fn no_scan(scan: &str) -> FolderError {
    FolderError::of_file(
        TEST_TOML,
        format!("there is no scan {scan}"),
        "a scan of this test",
        "load the page again",
    )
}

/// A rectangle that is split evenly into the steps.
fn cells(steps: u32, rectangle_px: [u32; 4], direction: &str) -> Value {
    let [x, y, width, height] = rectangle_px.map(i64::from);
    let mut cells = InlineTable::new();
    for (key, number) in [
        ("x_px", x),
        ("y_px", y),
        ("width_px", width),
        ("height_px", height),
    ] {
        cells.insert(key, Value::from(number));
    }
    cells.insert("direction", Value::from(direction));
    // Steps are often parted by lines, and their neighbours stray light over them: a
    // quarter of a cell's shorter side is left out all round.
    let cell = width.max(height) / i64::from(steps.max(1));
    cells.insert("inset_px", Value::from(cell.min(width.min(height)) / 4));
    Value::InlineTable(cells)
}

/// An outline for each step, one to a line.
fn outlines(steps: &[Option<Vec<(f64, f64)>>]) -> Value {
    let mut list = Array::new();
    for step in steps {
        let mut table = InlineTable::new();
        match step {
            Some(corners) => {
                let corners: Array = corners
                    .iter()
                    .map(|(x, y)| {
                        [hundredths(*x), hundredths(*y)]
                            .into_iter()
                            .collect::<Array>()
                    })
                    .collect();
                table.insert("polygon_px", Value::Array(corners));
            }
            None => {
                table.insert("unreadable", Value::from(true));
            }
        }
        let mut value = Value::InlineTable(table);
        value.decor_mut().set_prefix("\n  ");
        list.push_formatted(value);
    }
    list.set_trailing("\n");
    Value::Array(list)
}

/// Hundredths of a pixel, far below what an outline is known to.
fn hundredths(pixels: f64) -> f64 {
    (pixels * 100.0).round() / 100.0
}

fn is_called(table: &Table, id: &str) -> bool {
    table.get("id").and_then(Item::as_str) == Some(id)
}

fn tables<'a>(
    document: &'a mut DocumentMut,
    name: &str,
) -> Result<&'a mut ArrayOfTables, FolderError> {
    document
        .entry(name)
        .or_insert(Item::ArrayOfTables(ArrayOfTables::new()))
        .as_array_of_tables_mut()
        .ok_or_else(|| {
            FolderError::of_file(
                TEST_TOML,
                format!("`{name}` is written as a list"),
                format!("[[{name}]] tables"),
                format!("write them as [[{name}]] tables to edit them here"),
            )
        })
}

fn record_tablet(document: &mut DocumentMut, id: &str, nominal: &str) -> Result<(), FolderError> {
    let tablets = tables(document, "tablet")?;
    if tablets.iter().any(|t| is_called(t, id)) {
        return Ok(());
    }
    let mut tablet = Table::new();
    tablet.insert("id", value(id));
    tablet.insert("nominal", value(nominal));
    tablets.push(tablet);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    const RECORD: &str = "format = 1 # kept\n\n[[scan]]\nid = \"a\"\nfile = \"scans/a.tif\"\n\n[[scan]]\nid = \"b\"\nfile = \"scans/b.tif\"\n";

    fn place() -> StripPlace {
        StripPlace {
            scan: "a".to_owned(),
            tablet: "tablet-21".to_owned(),
            nominal: Some("21".to_owned()),
            outline: StripOutline::Cells {
                steps: 21,
                rectangle_px: [40, 500, 630, 40],
                direction: "right".to_owned(),
            },
            calibrates_others: true,
            but_not: vec![],
        }
    }

    #[test]
    fn a_tablet_is_recorded_and_calibrates_the_others() {
        let text = with_strip(RECORD, &place()).unwrap();
        assert!(text.contains("format = 1 # kept"), "{text}");
        assert!(
            text.contains("strip = { tablet = \"tablet-21\", cells = { x_px = 40, y_px = 500, width_px = 630, height_px = 40, direction = \"right\", inset_px = 7 } }"),
            "{text}"
        );
        assert!(
            text.contains("id = \"b\"\nfile = \"scans/b.tif\"\ncalibrated_by = \"a\""),
            "{text}"
        );
        assert!(
            text.contains("[[tablet]]\nid = \"tablet-21\"\nnominal = \"21\""),
            "{text}"
        );
        // Once more makes no second tablet.
        let again = with_strip(&text, &place()).unwrap();
        assert_eq!(again.matches("[[tablet]]").count(), 1, "{again}");
    }

    #[test]
    fn outlined_steps_are_kept_one_by_one_and_a_tablet_of_its_own_is_left_alone() {
        let square = vec![(1.004, 2.0), (5.0, 2.0), (5.0, 6.5), (1.0, 6.5)];
        let found = StripPlace {
            outline: StripOutline::Steps(vec![Some(square), None]),
            but_not: vec!["b".to_owned()],
            ..place()
        };
        let text = with_strip(RECORD, &found).unwrap();
        assert!(
            text.contains("steps = [\n  { polygon_px = [[1.0, 2.0], [5.0, 2.0], [5.0, 6.5], [1.0, 6.5]] },\n  { unreadable = true }\n] }"),
            "{text}"
        );
        assert!(!text.contains("calibrated_by"), "{text}");
    }

    #[test]
    fn a_scan_names_its_frame_and_names_it_no_more() {
        let named = with_scan_frame(RECORD, "b", Some("sun-1")).unwrap();
        assert!(
            named.contains("file = \"scans/b.tif\"\nframe = \"sun-1\"\n"),
            "{named}"
        );
        assert_eq!(with_scan_frame(&named, "b", None).unwrap(), RECORD);
        assert!(with_scan_frame(RECORD, "c", Some("sun-1")).is_err());
    }

    #[test]
    fn a_scan_that_is_not_there_is_refused() {
        let wrong = StripPlace {
            scan: "c".to_owned(),
            ..place()
        };
        assert!(with_strip(RECORD, &wrong).is_err());
    }
}
