//! `measure` on frames of a camera, whose truth is known.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;
use testkit::{MakersKind, MakersRaw, RawFrame};

fn measure(dir: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .current_dir(dir)
        .arg("measure")
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (
        output.status.code().unwrap(),
        text(output.stdout),
        text(output.stderr),
    )
}

/// Noise that is the same on every machine: −1 to 1.
fn noise(place: usize) -> f64 {
    let mut z = (place as u64).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 52) as f64 - 1.0
}

const WIDTH: usize = 440;
const HEIGHT: usize = 160;
/// Border of the stored frame that no light reaches.
const MASKED: usize = 10;

/// Densities 0.05, 0.35 ... 3.05 side by side above, and three patches of film below.
fn density_at(x: usize, y: usize) -> f64 {
    if y < 80 {
        0.05 + 0.3 * (x / 40) as f64
    } else {
        [0.5, 1.25, 2.4][(x / 147).min(2)]
    }
}

/// A frame over a light table: 14 bits, black 1024, masked on the left and above.
/// The mosaic's colours differ much: red gets half of green, blue a quarter.
fn frame() -> RawFrame {
    let mut samples = vec![];
    for y in 0..HEIGHT + MASKED {
        for x in 0..WIDTH + MASKED {
            let (px, py) = (x.checked_sub(MASKED), y.checked_sub(MASKED));
            let light: f64 = match px.zip(py) {
                Some((px, py)) => {
                    let colour = [[0.5, 1.0], [1.0, 0.25]][py % 2][px % 2];
                    colour * 0.9 * 10_f64.powf(-density_at(px, py))
                }
                None => 0.0,
            };
            let spread = 2.0 + 30.0 * light.sqrt();
            let value = 1024.0 + 13_976.0 * light + spread * noise(y * 1000 + x);
            samples.push((value + 0.5) as u16);
        }
    }
    RawFrame {
        active: Some([MASKED as u32, MASKED as u32, 170, 450]),
        below_preview: true,
        ..RawFrame::new(450, 170, samples)
    }
}

fn folder() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let mut tablet = "step,density,density_sd\n".to_owned();
    for step in 0..11 {
        tablet += &format!("{},{:.2},0.005\n", step + 1, 0.05 + 0.3 * f64::from(step));
    }
    let patches = "name,x_px,y_px,width_px,height_px\n\
                   thin,10,90,120,60\nmiddle,160,90,120,60\ndense,310,90,120,60\n";
    fs::write(dir.path().join("tablet.csv"), tablet).unwrap();
    fs::write(dir.path().join("patches.csv"), patches).unwrap();
    fs::write(dir.path().join("frame.dng"), frame().to_dng()).unwrap();
    dir
}

#[test]
fn a_raw_frame_gives_the_densities_it_was_made_from_in_each_colour() {
    let dir = folder();
    for channel in ["green", "red", "blue", "mean", "mosaic:1,0"] {
        let mut arguments = vec![
            "frame.dng",
            "--tablet",
            "tablet.csv",
            "--strip",
            "0,0,440,80",
            "--patches",
            "patches.csv",
            "--json",
        ];
        if channel != "green" {
            arguments.extend(["--channel", channel]);
        }
        let (code, out, err) = measure(dir.path(), &arguments);
        assert_eq!(code, 0, "{err}");
        let json: Value = serde_json::from_str(&out).unwrap();
        let sensor = &json["scan"]["sensor"];
        assert_eq!(sensor["mosaic"], "RG/GB");
        assert_eq!(sensor["black_level"], 1024.0);
        assert_eq!(sensor["white_level"], 15_000);
        assert_eq!(sensor["crop_left_px"], 10);
        assert_eq!(
            (&json["scan"]["width_px"], &json["scan"]["height_px"]),
            (&440.into(), &160.into())
        );
        let tone = json["scan"]["tone"].as_str().unwrap();
        assert!(tone.contains("linear above black"), "{tone}");
        for (name, truth) in [("thin", 0.5), ("middle", 1.25), ("dense", 2.4)] {
            let rows = json["patches"].as_array().unwrap();
            let row = rows.iter().find(|r| r["name"] == name).unwrap();
            let density = row["density"].as_f64().unwrap();
            // Noise of the dense patch in blue: 3.5 codes over 12 of light, 1800
            // pixels: 0.003; twice that, as much from the tablet's steps, and the
            // curve between them.
            assert!(
                (density - truth).abs() < 0.02,
                "{channel}: {name} {density}"
            );
            // 120 × 60 pixels in cells of 2 × 2.
            assert_eq!(row["pixels"], 1800);
        }
    }
}

#[test]
fn a_mosaic_taken_for_grey_is_refused_and_the_text_says_what_was_taken() {
    let dir = folder();
    let (code, _, err) = measure(dir.path(), &["frame.dng", "--channel", "grey"]);
    assert_eq!(code, 1);
    assert!(
        err.contains("mosaic of red, green and blue") && err.contains("--channel"),
        "{err}"
    );
    let (code, out, _) = measure(dir.path(), &["frame.dng"]);
    assert_eq!(code, 0);
    assert!(
        out.contains("mosaic RG/GB, the mean of 2 green pixels from each 2 × 2 cell; black 1024.0 subtracted, white 15000"),
        "{out}"
    );
    let own = RawFrame {
        tags: vec![(50706, 1, vec![])],
        ..frame()
    };
    fs::write(dir.path().join("own.raw"), own.to_dng()).unwrap();
    let (code, _, err) = measure(dir.path(), &["own.raw"]);
    assert_eq!(code, 1);
    assert!(
        err.contains("maker's own kind") && err.contains("DNG"),
        "{err}"
    );
}

#[test]
fn a_makers_own_raw_file_is_measured_and_told_and_a_broken_one_refused_in_one_line() {
    let dir = folder();
    // Every eighth number only, as a camera that thins them out leaves.
    let samples = (0..128 * 96_u32)
        .map(|i| 8 * (60 + i * i % 251) as u16)
        .collect();
    let made = MakersRaw::new(MakersKind::PackedBelow, 128, 96, samples);
    fs::write(dir.path().join("own.raw"), made.to_bytes()).unwrap();
    let (code, out, err) = measure(dir.path(), &["own.raw"]);
    assert_eq!(code, 0, "{err}");
    assert!(
        out.contains("mosaic RG/GB, the mean of 2 green pixels from each 2 × 2 cell; black 0.0 subtracted, white 4095"),
        "{out}"
    );
    assert!(out.contains("f/8"), "{out}");
    assert!(
        out.contains(
            "could not be looked for: levels, eight bits (the numbers are the sensor's own"
        ),
        "{out}"
    );
    assert!(err.contains("camera's own kind of raw file"), "{err}");
    // The header of a kind whose decoder breaks on what follows.
    fs::write(dir.path().join("broken.raw"), b"\0MRM\0\0\0\0").unwrap();
    let (code, _, err) = measure(dir.path(), &["broken.raw"]);
    assert_eq!(code, 1);
    assert!(err.contains("maker's own kind"), "{err}");
    assert!(!err.contains("panicked"), "{err}");
}

#[test]
fn a_map_that_no_patch_names_and_a_device_are_told() {
    let dir = folder();
    let (code, _, err) = measure(dir.path(), &["frame.dng", "--region-map", "map.png"]);
    assert_eq!(code, 1);
    assert!(err.contains("no patch names one"), "{err}");
    #[cfg(unix)]
    {
        let (code, _, err) = measure(dir.path(), &["/dev/null"]);
        assert_eq!(code, 1);
        assert!(err.contains("a pipe or a device"), "{err}");
    }
    fs::write(dir.path().join("nothing.tif"), []).unwrap();
    let (code, _, err) = measure(dir.path(), &["nothing.tif"]);
    assert_eq!(code, 1);
    assert!(err.contains("the file is empty"), "{err}");
}

/// Lens and light table: a stop darker in the corners.
fn shading(x: usize, y: usize) -> f64 {
    let (x, y) = (
        x as f64 / WIDTH as f64 - 0.5,
        y as f64 / HEIGHT as f64 - 0.5,
    );
    (-2.0 * (x * x + y * y)).exp2()
}

/// Light that the sensor shows without any, as a share of full scale.
const GLOW: f64 = 0.004;

/// A frame over that table: light as a share of full scale.
fn over_table(salt: usize, light: impl Fn(usize, usize) -> f64) -> Vec<u8> {
    let mut samples = vec![];
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let light = light(x, y) + GLOW;
            let spread = 2.0 + 30.0 * light.sqrt();
            let value = 1024.0 + 13_976.0 * light + spread * noise(salt + y * 1000 + x);
            samples.push((value + 0.5) as u16);
        }
    }
    RawFrame::new(WIDTH as u32, HEIGHT as u32, samples).to_dng()
}

#[test]
fn a_flat_field_and_a_dark_frame_make_film_read_the_same_everywhere() {
    let dir = folder();
    let write = |name: &str, bytes: Vec<u8>| fs::write(dir.path().join(name), bytes).unwrap();
    // One film of density 1 over the whole frame.
    write(
        "film.dng",
        over_table(1_000_000, |x, y| 0.09 * shading(x, y)),
    );
    write(
        "table.dng",
        over_table(2_000_000, |x, y| 0.9 * shading(x, y)),
    );
    write("dark.dng", over_table(3_000_000, |_, _| 0.0));
    write(
        "small.dng",
        RawFrame::new(80, 80, vec![8000; 6400]).to_dng(),
    );
    let patches = "name,x_px,y_px,width_px,height_px\n\
                   middle,200,60,40,40\ncorner,4,4,40,40\nother,396,116,40,40\n";
    fs::write(dir.path().join("places.csv"), patches).unwrap();
    let signals = |more: &[&str]| {
        let base = ["film.dng", "--patches", "places.csv", "--json"];
        let (code, out, err) = measure(dir.path(), &[&base[..], more].concat());
        assert_eq!(code, 0, "{err}");
        let json: Value = serde_json::from_str(&out).unwrap();
        let rows = json["patches"].as_array().unwrap();
        let signals: Vec<f64> = rows.iter().map(|r| r["signal"].as_f64().unwrap()).collect();
        (signals, json)
    };
    let (plain, _) = signals(&[]);
    // Made: 2·(0.44² + 0.35²) stops at the middle of the corner patch, 0.19 in density, less the glow.
    assert!((plain[0] / plain[1]).log10() > 0.15, "{plain:?}");
    let both = ["--flat-field", "table.dng", "--dark-frame", "dark.dng"];
    let (even, json) = signals(&both);
    for signal in &even {
        // 0.09 of full scale, whose brightest place is the middle. 400 cells of
        // noise 0.003 of it, and the field's own 0.1 %: 0.2 % of the light each.
        assert!((signal / 0.09).log10().abs() < 0.005, "{even:?}");
    }
    let field = &json["scan"]["flat_field"];
    let corner = field["corner_to_centre_stops"].as_f64().unwrap();
    // Made: 2·(0.5² + 0.5²) = 1 stop.
    assert!((corner + 1.0).abs() < 0.05, "{field}");
    let dark = field["dark_percent"].as_f64().unwrap();
    assert!((dark - 100.0 * GLOW).abs() < 0.02, "{field}");
    let (_, text, _) = measure(dir.path(), &[&["film.dng"][..], &both].concat());
    assert!(
        text.contains("light divided out by table.dng less dark.dng"),
        "{text}"
    );

    let refused = |arguments: &[&str]| {
        let (code, _, err) = measure(dir.path(), arguments);
        (code, err)
    };
    let (code, err) = refused(&["film.dng", "--flat-field", "small.dng"]);
    assert!(
        code == 1 && err.contains("80 × 80 pixels, but the scan has 440 × 160"),
        "{err}"
    );
    let (code, err) = refused(&["film.dng", "--flat-field", "table.dng", "--tone", "unknown"]);
    assert!(
        code == 1 && err.contains("tone") && err.contains("unknown"),
        "{err}"
    );
    let (code, err) = refused(&["film.dng", "--flat-field", "frame.dng"]);
    assert!(code == 1 && err.contains("frame.dng"), "{err}");
    let (code, err) = refused(&["film.dng", "--dark-frame", "dark.dng"]);
    assert!(code == 2 && err.contains("--flat-field"), "{err}");
}
