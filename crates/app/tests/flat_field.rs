//! A test whose scans were made over an uneven light table: with a picture of
//! the bare table the findings are those of an even one.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{DEMO_DRAW, Silent, evaluate_folder};
use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use serde_json::Value;
use std::io::Cursor;
use std::path::Path;
use testkit::{DemoTest, TiffForm, demo, tiff_grey16};

/// Light of lens and table: half a stop darker in the corners, a tenth brighter
/// on the right; 1 at most.
fn shading(x: u32, y: u32, (width, height): (u32, u32)) -> f64 {
    let x = (f64::from(x) + 0.5) / f64::from(width) - 0.5;
    let y = (f64::from(y) + 0.5) / f64::from(height) - 0.5;
    (-(x * x + y * y)).exp2() * (0.95 + 0.1 * x)
}

/// The worked example over such a table.
fn shaded() -> DemoTest {
    let mut demo = demo(DEMO_DRAW);
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
    }
    let mut size = (0, 0);
    for (name, bytes) in &mut demo.files {
        if Path::new(name).extension().is_none_or(|e| e != "tif") {
            continue;
        }
        let source = Cursor::new(bytes.clone());
        let mut reader = ScanReader::open(source, 0, &DecodeLimits::default()).unwrap();
        size = (reader.info().width, reader.info().height);
        let mut codes = vec![];
        reader
            .for_each_row(ChannelChoice::Grey, |row| match row.codes {
                Codes::Unsigned(stored) => codes.extend(
                    (0..)
                        .zip(stored)
                        .map(|(x, c)| (f64::from(*c) * shading(x, row.y, size)).round() as u16),
                ),
                Codes::Float(_) => panic!("the worked example is written in whole numbers"),
            })
            .unwrap();
        *bytes = tiff_grey16(size.0, size.1, &codes, TiffForm::default());
    }
    let bare: Vec<u16> = (0..size.1)
        .flat_map(|y| (0..size.0).map(move |x| (58_000.0 * shading(x, y, size)).round() as u16))
        .collect();
    let file = tiff_grey16(size.0, size.1, &bare, TiffForm::default());
    demo.files.push(("scans/light-table.tif".to_owned(), file));
    demo
}

fn evaluated(demo: &DemoTest) -> Value {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    evaluate_folder(&folder, None, None, &Silent).unwrap().json
}

/// Densities' worth of what differs: (film, filter) factor in stops.
fn factor_stops(findings: &Value) -> Vec<f64> {
    let factors = findings["factors"].as_array().unwrap();
    let values = factors.iter().map(|f| &f["factor_stops"]["value"]);
    values.filter_map(Value::as_f64).collect()
}

fn residuals(findings: &Value) -> Vec<f64> {
    let scans = findings["scans"].as_array().unwrap();
    let values = scans.iter().map(|s| &s["residual_sd_density"]);
    values.filter_map(Value::as_f64).collect()
}

#[test]
fn findings_are_those_of_an_even_light_table() {
    let even = evaluated(&demo(DEMO_DRAW));
    let plain = shaded();
    let uneven = evaluated(&plain);
    let mut with_field = plain.clone();
    for scan in &mut with_field.parts.scans {
        scan.flat_field = Some("scans/light-table.tif".to_owned());
    }
    let divided = evaluated(&with_field);

    let scan = &divided["scans"][0];
    let field = &scan["flat_field"];
    // Made: 2^−0.5 in the corners; the rest a slope of a tenth from left to right.
    let corner = field["corner_to_centre_stops"].as_f64().unwrap();
    assert!((corner + 0.5).abs() < 0.03, "{field}");
    let across = field["across_percent"].as_f64().unwrap();
    assert!((across - 10.5).abs() < 1.0, "{field}");
    assert!(
        scan["tone"].as_str().unwrap().contains("divided out"),
        "{scan}"
    );
    assert!(even["scans"][0]["flat_field"].is_null());

    // The tablet's steps run along one edge: uneven light bends its curve.
    let worst = |all: Vec<f64>| all.into_iter().fold(0.0, f64::max);
    let (even_sd, uneven_sd, divided_sd) = (
        worst(residuals(&even)),
        worst(residuals(&uneven)),
        worst(residuals(&divided)),
    );
    assert!(
        divided_sd < 1.3 * even_sd + 0.002,
        "{divided_sd} against {even_sd}"
    );
    assert!(uneven_sd > 0.0);
    let (even, divided) = (factor_stops(&even), factor_stops(&divided));
    assert!(even.len() == divided.len() && !even.is_empty());
    for (even, divided) in even.iter().zip(&divided) {
        // Codes are rounded anew, a few of a dense patch's hundred; the field is
        // off by 0.0006 in density at most.
        assert!(
            (even - divided).abs() < 0.03,
            "{even} against {divided} stops"
        );
    }
}

#[test]
fn a_field_that_does_not_fit_is_refused_with_what_to_do() {
    let mut demo = shaded();
    let small = tiff_grey16(64, 64, &[30_000; 64 * 64], TiffForm::default());
    demo.files.push(("scans/small.tif".to_owned(), small));
    demo.parts.scans[0].flat_field = Some("scans/small.tif".to_owned());
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let Err(error) = evaluate_folder(&folder, None, None, &Silent) else {
        panic!("a field of another size was taken");
    };
    let text = format!("{error:?}");
    assert!(text.contains("64 × 64 pixels, but the scan has"), "{text}");
    assert!(text.contains("pictures of one size"), "{text}");
}
