//! Scans that were tampered with, through the whole of the main job.
//!
//! The worked example has known truth. Each test spoils it as a hand at a
//! scanner or an editor would, and asks that the spoilt scan is named and that
//! no density comes out that is wrong by more than it says.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use app::{DEMO_DRAW, Evaluated, Silent, evaluate_folder};
use negative::decode::{ChannelChoice, Codes, DecodeLimits, ScanReader};
use record::{Calibrator, Outline, PatchRole, Response};
use serde_json::Value;
use std::io::Cursor;
use std::sync::LazyLock;
use testkit::{DemoTest, TiffForm, demo, tiff_grey16};

/// The scan that is spoilt when it is one alone.
const SPOILT: &str = "sun-715-4";
/// Rows above this hold the film, those below the tablet.
const FILM_ROWS: usize = 575;

/// The worked example without the hashes of its files, made once.
fn example() -> DemoTest {
    static EXAMPLE: LazyLock<DemoTest> = LazyLock::new(|| demo(DEMO_DRAW));
    let mut demo = EXAMPLE.clone();
    for scan in &mut demo.parts.scans {
        scan.sha256 = None;
    }
    demo
}

fn path(name: &str) -> String {
    format!("scans/{name}.tif")
}

/// Rewrites a scan's codes: `change` gets row, column and code.
fn respoilt(demo: &mut DemoTest, name: &str, change: impl Fn(usize, usize, u16) -> u16) {
    let file = path(name);
    let (_, bytes) = demo.files.iter_mut().find(|f| f.0 == file).unwrap();
    let mut reader =
        ScanReader::open(Cursor::new(bytes.clone()), 0, &DecodeLimits::default()).unwrap();
    let (width, height) = (reader.info().width, reader.info().height);
    let mut codes = vec![];
    reader
        .for_each_row(ChannelChoice::Grey, |row| match row.codes {
            Codes::Unsigned(row_codes) => {
                let y = codes.len() / width as usize;
                codes.extend(row_codes.iter().enumerate().map(|(x, c)| change(y, x, *c)));
            }
            Codes::Float(_) => panic!("the worked example is written in whole numbers"),
        })
        .unwrap();
    *bytes = tiff_grey16(width, height, &codes, TiffForm::default());
}

/// Changes the outlines of a scan's tablet.
fn with_steps(demo: &mut DemoTest, name: &str, change: impl Fn(&mut Vec<Option<Outline>>)) {
    let file = path(name);
    let scan = demo
        .parts
        .scans
        .iter_mut()
        .find(|s| s.file == file)
        .unwrap();
    let Calibrator::Within(strip) = &mut scan.calibrator else {
        panic!("the worked example has a tablet in every scan")
    };
    change(&mut strip.steps);
}

fn scan_names(demo: &DemoTest) -> Vec<String> {
    let name = |file: &str| {
        Some(
            file.strip_prefix("scans/")?
                .strip_suffix(".tif")?
                .to_owned(),
        )
    };
    demo.parts
        .scans
        .iter()
        .filter_map(|s| name(&s.file))
        .collect()
}

/// Evaluates, and asks that no density is wrong by more than it says.
fn evaluated(demo: &DemoTest) -> Evaluated {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("test");
    notebook::write_test_folder(&demo.parts, &demo.files, &folder).unwrap();
    let evaluated = evaluate_folder(&folder, None, None, &Silent).unwrap();
    let mut compared = 0;
    for reading in &evaluated.findings.readings {
        if reading.response != Response::Density {
            continue;
        }
        let Some(truth) = demo.truth.density(&reading.frame, &reading.patch) else {
            continue;
        };
        compared += 1;
        let off = reading.value.value() - truth.to_density();
        // 3 standard uncertainties, and 0.02 for grain and for dust that lies
        // across a small patch.
        let allowed = 0.02_f64.max(3.0 * reading.value.standard_uncertainty());
        let wrong = match reading.limit {
            None => off.abs() > allowed,
            Some(quantity::Bound::AtLeast) => off > allowed,
            Some(quantity::Bound::AtMost) => off < -allowed,
        };
        assert!(
            !wrong,
            "{} {}: {:?}, {:?}, truth {truth:?}",
            reading.frame, reading.patch, reading.value, reading.limit
        );
    }
    let refused = !evaluated.refusals.is_empty();
    assert!(
        compared > 100 || refused,
        "{compared} densities were compared"
    );
    evaluated
}

/// Flags of each scan that has any.
fn flagged(evaluated: &Evaluated) -> Vec<(String, Vec<String>)> {
    let scans = evaluated.json["scans"].as_array().unwrap();
    scans
        .iter()
        .map(|scan| {
            let flags = scan["flags"].as_array().unwrap();
            let words = flags.iter().map(|f| f.as_str().unwrap().to_owned());
            (scan["name"].as_str().unwrap().to_owned(), words.collect())
        })
        .filter(|(_, flags): &(_, Vec<String>)| !flags.is_empty())
        .collect()
}

/// Asks that the spoilt scan alone is flagged, with these flags.
fn only_spoilt_is_flagged(evaluated: &Evaluated, flags: &[&str]) {
    let expected = vec![(
        format!("scan-{SPOILT}"),
        flags.iter().map(|f| (*f).to_owned()).collect::<Vec<_>>(),
    )];
    assert_eq!(flagged(evaluated), expected, "{:?}", evaluated.scan_lines);
}

/// The factor of the deep-red filter in the sun as interval in stops.
fn factor(evaluated: &Evaluated) -> (f64, f64) {
    let factors = evaluated.json["factors"].as_array().unwrap();
    let found = factors
        .iter()
        .find(|f| f["filter"] == "r715" && f["light"] == "sun")
        .unwrap();
    let number = |key: &str| match &found["factor_stops"][key] {
        Value::Number(n) => n.as_f64().unwrap(),
        other => panic!("{key}: {other}"),
    };
    (number("low"), number("high"))
}

/// The true factor lies within the interval, give or take a tenth of a stop:
/// the interval is to hold it nine times in ten, and this is one draw.
fn factor_holds(evaluated: &Evaluated, demo: &DemoTest) {
    let truth = demo
        .truth
        .filters
        .iter()
        .find(|f| f.filter.as_str() == "r715" && f.light.as_str() == "sun")
        .unwrap();
    let truth = truth.factor.to_ratio().log2();
    let (low, high) = factor(evaluated);
    assert!(
        low - 0.1 < truth && truth < high + 0.1,
        "{truth}: {low} to {high}"
    );
}

#[test]
fn an_honest_folder_raises_no_flag() {
    let demo = example();
    let evaluated = evaluated(&demo);
    assert_eq!(flagged(&evaluated), vec![]);
    assert!(evaluated.refusals.is_empty() && evaluated.warnings.is_empty());
}

#[test]
fn tablet_outlines_a_step_off_on_one_scan_or_on_all_give_no_density() {
    let later = |steps: &mut Vec<Option<Outline>>| {
        steps.remove(0);
        steps.push(None);
    };
    let mut one = example();
    with_steps(&mut one, SPOILT, later);
    let result = evaluated(&one);
    only_spoilt_is_flagged(&result, &["tablet_misfit"]);
    assert!(
        result.refusals.len() == 1 && result.refusals[0].contains("1 step off"),
        "{:?}",
        result.refusals
    );

    let mut all = example();
    for name in scan_names(&all) {
        with_steps(&mut all, &name, later);
    }
    let result = evaluated(&all);
    assert_eq!(flagged(&result).len(), all.parts.scans.len());
    assert!(
        result
            .findings
            .readings
            .iter()
            .all(|r| r.response != Response::Density),
        "no absolute density may come of it"
    );
    // One sentence for all.
    assert_eq!(result.refusals.len(), 1, "{:?}", result.refusals);
    factor_holds(&result, &all);
}

/// A scan that was inverted still has its sign when its calibration is put aside.
#[test]
fn an_inverted_scan_without_its_calibration_keeps_its_sign() {
    let later = |steps: &mut Vec<Option<Outline>>| {
        steps.remove(0);
        steps.push(None);
    };
    let mut upright = example();
    for name in scan_names(&upright) {
        with_steps(&mut upright, &name, later);
    }
    let mut inverted = upright.clone();
    for name in scan_names(&inverted) {
        respoilt(&mut inverted, &name, |_, _, code| 65_535 - code);
    }
    let (upright_result, result) = (evaluated(&upright), evaluated(&inverted));
    let readings = &result.findings.readings;
    let pairs = readings.iter().zip(&upright_result.findings.readings);
    assert_eq!(readings.len(), upright_result.findings.readings.len());
    for (turned, upright) in pairs {
        assert_eq!(turned.response, Response::RelativeDensity);
        assert!(
            turned
                .value
                .flags()
                .contains(quantity::Flag::SignalReversed)
        );
        assert_eq!(turned.limit, upright.limit);
        // 1e-3: dust and the noise's mean are told in codes; a wrong sign is off
        // by twice the density.
        let off = turned.value.value() - upright.value.value();
        assert!(off.abs() < 1e-3, "{turned:?} against {upright:?}");
    }
    factor_holds(&result, &inverted);
}

#[test]
fn outlines_a_step_off_on_an_even_tablet_are_told_by_film_clearer_than_film_can_be() {
    let mut demo = example();
    for tablet in &mut demo.parts.tablets {
        // The table as its maker prints it: even steps, known to 0.02.
        let even = (0..tablet.steps.len()).map(|i| {
            let density = quantity::Density::gross(0.05 + 0.15 * i as f64).unwrap();
            quantity::Measured::new(density, 0.02)
        });
        tablet.steps = even.collect();
    }
    for name in scan_names(&demo) {
        with_steps(&mut demo, &name, |steps| {
            steps.remove(0);
            steps.push(None);
        });
    }
    let result = evaluated(&demo);
    assert!(
        result
            .findings
            .readings
            .iter()
            .all(|r| r.response != Response::Density),
        "{:?}",
        result.scan_lines
    );
    assert!(
        result
            .refusals
            .iter()
            .all(|r| r.contains("clearer than any film")),
        "{:?}",
        result.refusals
    );
}

#[test]
fn outlines_that_lie_across_steps_are_named() {
    let mut demo = example();
    with_steps(&mut demo, SPOILT, |steps| {
        for outline in steps.iter_mut().flatten() {
            let Outline::Rectangle { x, .. } = outline else {
                panic!("the worked example outlines its steps by rectangles")
            };
            *x += 14;
        }
    });
    let result = evaluated(&demo);
    only_spoilt_is_flagged(&result, &["uneven_patch", "tablet_misfit"]);
    assert!(
        result
            .scan_lines
            .iter()
            .any(|l| l.contains("steps 1 to 21 of the tablet are uneven")),
        "{:?}",
        result.scan_lines
    );
    factor_holds(&result, &demo);
}

#[test]
fn swapped_steps_are_both_named() {
    let mut demo = example();
    with_steps(&mut demo, SPOILT, |steps| steps.swap(4, 5));
    let result = evaluated(&demo);
    only_spoilt_is_flagged(&result, &["tablet_out_of_order"]);
    assert!(
        result
            .scan_lines
            .iter()
            .any(|l| l.contains("steps 5 and 6 of the tablet")),
        "{:?}",
        result.scan_lines
    );
}

#[test]
fn levels_cut_off_within_the_scale_give_limits() {
    for (cut, expected) in [
        // A floor in the middle of the picture's densities.
        (true, &["clipped"][..]),
        // A ceiling below clear film.
        (false, &["clipped", "levels_changed"][..]),
    ] {
        let mut demo = example();
        respoilt(&mut demo, SPOILT, |_, _, code| {
            if cut {
                code.max(6_100)
            } else {
                code.min(7_600)
            }
        });
        let result = evaluated(&demo);
        only_spoilt_is_flagged(&result, expected);
        let limits: Vec<_> = result
            .findings
            .readings
            .iter()
            .filter(|r| r.frame.as_str() == SPOILT && r.limit.is_some())
            .map(|r| r.patch.to_string())
            .collect();
        // Of the truth: the gable is denser than the floor, clear film thinner than
        // the ceiling.
        let patch = if cut { "gable" } else { "base-fog" };
        assert!(limits.iter().any(|l| l == patch), "{limits:?}");
        factor_holds(&result, &demo);
    }
}

#[test]
fn a_scan_brightened_beside_its_tablet_does_not_outweigh_the_others() {
    let mut demo = example();
    respoilt(&mut demo, SPOILT, |y, _, code| {
        let gain = if y < FILM_ROWS { 1.27 } else { 1.0 };
        (f64::from(code) * gain).min(65_535.0) as u16
    });
    let result = evaluated(&demo);
    // Codes that are scaled and rounded again leave a comb.
    only_spoilt_is_flagged(&result, &["comb", "levels_changed"]);
    for reading in &result.findings.readings {
        if reading.frame.as_str() == SPOILT {
            // log10 1.27 = 0.104, less what flare takes.
            assert!(reading.value.standard_uncertainty() > 0.09, "{reading:?}");
        }
    }
    factor_holds(&result, &demo);
}

#[test]
fn a_tablet_changed_along_with_its_film_makes_up_for_it() {
    let mut demo = example();
    respoilt(&mut demo, SPOILT, |_, _, code| {
        (f64::from(code) * 1.1) as u16
    });
    let result = evaluated(&demo);
    // Codes that are scaled and rounded again leave a comb.
    only_spoilt_is_flagged(&result, &["comb", "levels_changed"]);
    let grey = result
        .findings
        .readings
        .iter()
        .find(|r| r.frame.as_str() == SPOILT && r.patch.as_str() == "wall")
        .unwrap();
    // Nothing is added: log10 1.1 would be 0.041.
    assert!(grey.value.standard_uncertainty() < 0.03, "{grey:?}");
}

#[test]
fn one_file_copied_over_another_is_named_and_not_believed() {
    let mut demo = example();
    let copy = demo
        .files
        .iter()
        .find(|f| f.0 == path("sun-715-3"))
        .unwrap()
        .1
        .clone();
    let place = demo.files.iter_mut().find(|f| f.0 == path(SPOILT)).unwrap();
    place.1 = copy;
    let result = evaluated(&demo);
    let names: Vec<_> = flagged(&result);
    let same = vec!["same_file".to_owned()];
    assert_eq!(
        names,
        [
            ("scan-sun-715-3".to_owned(), same.clone()),
            ("scan-sun-715-4".to_owned(), same)
        ]
    );
    let warning = result
        .warnings
        .iter()
        .find(|w| w.contains("identical files"))
        .unwrap();
    assert!(
        warning.contains("scans/sun-715-3.tif") && warning.contains("scans/sun-715-4.tif"),
        "{warning}"
    );
    factor_holds(&result, &demo);
}

#[test]
fn eight_bits_saved_as_sixteen_are_believed_less_where_they_are_coarse() {
    let mut demo = example();
    respoilt(&mut demo, SPOILT, |_, _, code| (code >> 8) * 257);
    let result = evaluated(&demo);
    let (name, flags) = &flagged(&result)[0];
    assert!(name.ends_with(SPOILT) && flags.contains(&"eight_bit_origin".to_owned()));
    let base = result
        .findings
        .readings
        .iter()
        .filter(|r| r.frame.as_str() == SPOILT);
    let sd = |role: PatchRole| {
        let of_role = base.clone().find(|r| {
            demo.parts
                .patches
                .iter()
                .any(|p| p.frame == r.frame && p.name == r.patch && p.role == role)
        });
        of_role.unwrap().value.standard_uncertainty()
    };
    // Hand calculation: one of 255 is 257 codes; over √12 and at code 4000 (the
    // gable) that is 74 / 4000 × 0.434 = 0.008 in density.
    assert!(
        sd(PatchRole::Highlight) > 0.008,
        "{}",
        sd(PatchRole::Highlight)
    );
    assert!(sd(PatchRole::Highlight) > sd(PatchRole::BaseFog));
}

/// How a check of the spoilt scan ended: outcome and consequence.
fn check_of(evaluated: &Evaluated, name: &str) -> (String, String) {
    let scans = evaluated.json["scans"].as_array().unwrap();
    let scan = scans
        .iter()
        .find(|s| s["name"] == format!("scan-{SPOILT}"))
        .unwrap();
    let checks = scan["checks"].as_array().unwrap();
    let check = checks.iter().find(|c| c["name"] == name).unwrap();
    let word = |key: &str| check[key].as_str().unwrap().to_owned();
    (word("outcome"), word("consequence"))
}

#[test]
fn veiling_light_widens_dense_readings_and_hardly_thin_ones() {
    let mut demo = example();
    // 2 % of clear light upon everything, the tablet included.
    respoilt(&mut demo, SPOILT, |_, _, code| code.saturating_add(1000));
    let (plain, result) = (evaluated(&example()), evaluated(&demo));
    assert!(flagged(&result)[0].1.contains(&"scanner_flare".to_owned()));
    assert_eq!(
        check_of(&result, "flare"),
        ("found".to_owned(), "wider_uncertainty".to_owned())
    );
    let of = |e: &Evaluated| -> Vec<(f64, f64)> {
        let readings = e.findings.readings.iter();
        let own = readings.filter(|r| r.frame.as_str() == SPOILT && r.limit.is_none());
        own.map(|r| (r.value.value(), r.value.standard_uncertainty()))
            .collect()
    };
    for ((density, sd), (_, before)) in of(&result).into_iter().zip(of(&plain)) {
        // log10((1 + 0.03 · 10^D) / (1 + 0.02 · 10^D)), about: 0.03 at D 1, 0.11 at 2.
        if density > 1.0 {
            assert!(sd > 0.02 && sd > before, "{density}: {before} to {sd}");
        } else if density < 0.3 {
            assert!(sd < before + 0.012, "{density}: {before} to {sd}");
        }
    }
    factor_holds(&result, &demo);
}

#[test]
fn a_positive_without_a_tablet_is_refused_with_what_to_do() {
    let mut demo = example();
    let file = path(SPOILT);
    let scan = demo
        .parts
        .scans
        .iter_mut()
        .find(|s| s.file == file)
        .unwrap();
    scan.calibrator = Calibrator::None;
    respoilt(&mut demo, SPOILT, |_, _, code| 65_535 - code);
    let result = evaluated(&demo);
    let told = result.refusals.iter().find(|r| r.contains("positive"));
    assert!(
        told.is_some_and(|t| t.contains(SPOILT) && t.contains("scan it again as a negative")),
        "{:?}",
        result.refusals
    );
    assert_eq!(
        check_of(&result, "inverted"),
        ("found".to_owned(), "refused".to_owned())
    );
    let readings = &result.findings.readings;
    assert!(readings.iter().all(|r| r.frame.as_str() != SPOILT));
}

#[test]
fn a_bent_scan_without_a_tablet_is_relative_only() {
    let mut demo = example();
    let file = path(SPOILT);
    let scan = demo
        .parts
        .scans
        .iter_mut()
        .find(|s| s.file == file)
        .unwrap();
    scan.calibrator = Calibrator::None;
    respoilt(&mut demo, SPOILT, |_, _, code| {
        ((f64::from(code) / 65_535.0).powf(0.8) * 65_535.0).round() as u16
    });
    let result = evaluated(&demo);
    assert_eq!(
        check_of(&result, "levels"),
        ("found".to_owned(), "relative_only".to_owned())
    );
    let readings = result.findings.readings.iter();
    for reading in readings.filter(|r| r.frame.as_str() == SPOILT) {
        assert_eq!(reading.response, Response::RelativeDensity);
    }
}
