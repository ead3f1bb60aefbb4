use crate::sample;
use notebook::{HashState, hash_file, json_schema, key_tables, read_test_folder};
use record::{Calibrator, Exposure, Outline};
use serde_json::Value;
use std::io::{Read, Seek, SeekFrom};

#[test]
fn the_example_of_the_document_is_a_sound_test() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let folder = read_test_folder(dir.path()).unwrap_or_else(|error| panic!("{error}"));
    assert_eq!(folder.warnings, Vec::<String>::new());
    let parts = folder.test.parts();
    assert!(parts.invented);
    assert_eq!(parts.frames.len(), 3);
    assert_eq!(parts.patches.len(), 5);
    assert_eq!(parts.readings.len(), 3);
    // A patch is outlined in a scan or read by hand; both at once can't be evaluated.
    for reading in &parts.readings {
        let patch = folder.test.patch(&reading.frame, &reading.patch).unwrap();
        assert!(patch.place.is_none(), "{} is outlined and read", patch.name);
    }
    let Exposure::Camera(camera) = &parts.frames[0].exposure else {
        panic!("frame 1 is exposed in a camera");
    };
    // As written in the document: "1/30".
    assert_eq!(camera.time.marked.to_s(), 1.0 / 30.0);
    // As written: power:1.31.
    assert_eq!(
        parts.films[0].reciprocity.as_ref().unwrap().law,
        "power:1.31"
    );
    // Common practice: 31 steps of 0.10 from 0.05 to 3.05.
    let steps = &parts.tablets[0].steps;
    assert_eq!(steps.len(), 31);
    assert_eq!(steps[0].value().to_density(), 0.05);
    assert_eq!(steps[30].value().to_density(), 3.05);
    assert!(steps[30].standard_uncertainty() > steps[0].standard_uncertainty());
    let Calibrator::Within(strip) = &parts.scans[0].calibrator else {
        panic!("the tablet lies in the scan");
    };
    // Hand calculation: 930 / 31 = 30 pixels to a step; 5 left out at each side.
    let expected = Outline::Rectangle {
        x: 100 + 30 + 5,
        y: 45,
        width: 20,
        height: 50,
    };
    assert_eq!(strip.steps[1], Some(expected));
    assert_eq!(strip.steps[30], None);
}

#[test]
fn a_scan_is_opened_and_its_checksum_compared() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    // Source: FIPS 180-4 example, SHA-256 of "abc", which stands in for the scan.
    let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    let plain = sample::test_toml();
    let with = |sha256: &str| {
        let text = plain.replace(
            "device = \"flatbed\"",
            &format!("device = \"flatbed\"\nsha256 = \"{sha256}\""),
        );
        std::fs::write(dir.path().join("test.toml"), text).unwrap();
        let folder = read_test_folder(dir.path()).unwrap();
        let scan = folder.test.parts().scans[0].clone();
        (folder.hash_state(&scan).unwrap(), folder, scan)
    };
    assert_eq!(with(&abc.to_uppercase()).0, HashState::Same);
    let (state, folder, scan) = with(&"0".repeat(64));
    let changed = HashState::Changed {
        recorded: "0".repeat(64),
        found: abc.to_owned(),
    };
    assert_eq!(state, changed);
    let mut file = folder.open_scan(&scan).unwrap();
    file.seek(SeekFrom::Start(1)).unwrap();
    let mut text = String::new();
    file.read_to_string(&mut text).unwrap();
    assert_eq!(text, "bc");
    let path = folder.scan_path("scans/sheets.tif").unwrap();
    assert_eq!(hash_file(&path).unwrap(), abc);
    assert!(folder.scan_path("../x").is_err());
}

#[test]
fn the_tables_of_the_document_are_those_of_the_code() {
    let (_, tables) = sample::DOCUMENT
        .split_once("These tables are made from the code that reads the files.\n\n")
        .unwrap();
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        let head = &sample::DOCUMENT[..sample::DOCUMENT.len() - tables.len()];
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/test-folder.md");
        let text = format!("{head}{}\n", key_tables().trim_end());
        std::fs::write(path, text).unwrap();
        return;
    }
    assert_eq!(
        tables.trim_end(),
        key_tables().trim_end(),
        "set UPDATE_GOLDEN=1 to write the tables anew"
    );
}

/// Checks a value against the parts of JSON Schema that ours uses.
pub(crate) fn fits(schema: &Value, value: &toml::Value) -> Result<(), String> {
    if let Some(kinds) = schema["oneOf"].as_array() {
        let fitting = kinds
            .iter()
            .filter(|kind| fits(kind, value).is_ok())
            .count();
        return if fitting == 1 {
            Ok(())
        } else {
            Err(format!("{value} fits {fitting} kinds of {schema}"))
        };
    }
    let wrong = || Err(format!("{value} against {schema}"));
    match (schema["type"].as_str().unwrap(), value) {
        ("object", toml::Value::Table(table)) => {
            for (key, value) in table {
                let schema = &schema["properties"][key];
                if schema.is_null() {
                    return Err(format!("key {key} is not described"));
                }
                assert!(
                    schema["description"].as_str().is_some_and(|d| d.len() > 3),
                    "{key}"
                );
                fits(schema, value)?;
            }
            for key in schema["required"].as_array().unwrap() {
                if !table.contains_key(key.as_str().unwrap()) {
                    return Err(format!("key {key} is missing"));
                }
            }
            Ok(())
        }
        ("array", toml::Value::Array(list)) => list
            .iter()
            .try_for_each(|value| fits(&schema["items"], value)),
        ("string", toml::Value::String(text)) => match schema["enum"].as_array() {
            Some(words) if !words.iter().any(|word| word == text) => wrong(),
            _ => Ok(()),
        },
        ("boolean", toml::Value::Boolean(_)) => Ok(()),
        ("number", toml::Value::Integer(_) | toml::Value::Float(_)) => Ok(()),
        ("integer", toml::Value::Integer(_)) => Ok(()),
        _ => wrong(),
    }
}

#[test]
fn the_schema_describes_every_key_of_the_example() {
    let schema = json_schema();
    assert_eq!(
        schema["$schema"],
        "https://json-schema.org/draft/2020-12/schema"
    );
    let example: toml::Value = toml::from_str(&sample::test_toml()).unwrap();
    fits(&schema, &example).unwrap();
    let lacking: toml::Value = toml::from_str("format = 1\ntime = 3\n").unwrap();
    assert_eq!(
        fits(&schema, &lacking).unwrap_err(),
        "key time is not described"
    );
    let lacking: toml::Value = toml::from_str("format = 1\n").unwrap();
    assert_eq!(
        fits(&schema, &lacking).unwrap_err(),
        "key \"title\" is missing"
    );
    let process = &schema["properties"]["process"]["items"]["properties"];
    assert_eq!(
        process["time_s"]["description"],
        "Development time. [seconds]"
    );
    assert_eq!(
        schema["$defs"]["readings.csv"]["required"],
        serde_json::json!(["frame", "patch", "density"])
    );
}

#[test]
fn cells_are_split_evenly_in_the_direction_named() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let plain = sample::test_toml()
        .replace("unreadable_steps = [31]\n", "")
        .replace(
            "nominal = \"31\"",
            "steps_density = [0.1, 0.2, 0.3]\ndensity_sd = 0.01",
        );
    // Hand calculation: 100 pixels in 3 cells have borders at 33.3 and 66.7,
    // which fall on 33 and 67: cells of 33, 34 and 33 pixels.
    let along = [(0, 33), (33, 34), (67, 33)];
    for (direction, across, reversed) in [
        ("right", true, false),
        ("left", true, true),
        ("down", false, false),
        ("up", false, true),
    ] {
        let (width, height) = if across { (100, 9) } else { (9, 100) };
        let from = plain.find("cells = ").unwrap();
        let to = from + plain[from..].find('\n').unwrap();
        let cells = format!(
            "cells = {{ x_px = 1000, y_px = 2000, width_px = {width}, height_px = {height}, direction = \"{direction}\" }}"
        );
        let text = format!("{}{cells}{}", &plain[..from], &plain[to..]);
        std::fs::write(dir.path().join("test.toml"), text).unwrap();
        let folder = read_test_folder(dir.path()).unwrap_or_else(|error| panic!("{error}"));
        let Calibrator::Within(strip) = &folder.test.parts().scans[0].calibrator else {
            panic!("the tablet lies in the scan");
        };
        let mut expected: Vec<_> = along
            .iter()
            .map(|(at, length)| {
                let (x, y, width, height) = if across {
                    (1000 + at, 2000, *length, 9)
                } else {
                    (1000, 2000 + at, 9, *length)
                };
                Some(Outline::Rectangle {
                    x,
                    y,
                    width,
                    height,
                })
            })
            .collect();
        if reversed {
            expected.reverse();
        }
        assert_eq!(strip.steps, expected, "{direction}");
    }
}

#[test]
fn a_reciprocity_table_of_the_folder_comes_into_the_record() {
    let dir = tempfile::tempdir().unwrap();
    sample::write(dir.path());
    let with_table = sample::test_toml().replace("power:1.31", "table:law.csv");
    std::fs::write(dir.path().join("test.toml"), with_table).unwrap();
    let law = |rows: &str| {
        std::fs::write(dir.path().join("law.csv"), rows).unwrap();
        read_test_folder(dir.path()).map(|folder| {
            folder.test.parts().films[0]
                .reciprocity
                .clone()
                .unwrap()
                .law
        })
    };
    let text = law("t_metered_s,t_corrected_s\n1,1\n10,15\n").unwrap();
    assert_eq!(text, "points:1/1,10/15");
    let error = law("t_metered_s,t_corrected_s\n1,-1\n")
        .unwrap_err()
        .to_string();
    assert!(error.contains("law.csv, line 2, column 3"), "{error}");
}
