//! Worked cases of the trade, by the command. Numbers marked "common practice" are such
//! as photographers publish; others name their sheet. Arithmetic is checked by hand in
//! the comments.

#![expect(clippy::unwrap_used, reason = "a panic is the failure of a test")]

use assert_cmd::Command;
use serde_json::Value;

fn output(arguments: &str) -> std::process::Output {
    Command::cargo_bin("filmproof")
        .unwrap()
        .args(arguments.split_whitespace())
        .output()
        .unwrap()
}

fn json_of(arguments: &str) -> Value {
    let output = output(&format!("{arguments} --json"));
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments}: {error}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(arguments: &str, key: &str) -> f64 {
    json_of(arguments)[key].as_f64().unwrap()
}

#[track_caller]
fn near(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "expected {expected}, found {found}"
    );
}

/// EV 0, EI 100 and f/√t meter t seconds.
fn metered(seconds: f64) -> String {
    format!("expose --ev100 0 --ei 100 --aperture {}", seconds.sqrt())
}

fn corrected(seconds: f64, law: &str) -> f64 {
    number(
        &format!("{} --reciprocity {law}", metered(seconds)),
        "time_corrected_s",
    )
}

/// Source: a course of the US Army, photography: 18 in draw with a 12 in lens is 2.25,
/// 8 s become 18 s; an image of 8 in of a 12 in original is 2.78. The rest common practice.
#[test]
fn bellows_by_draw_and_by_sizes() {
    let factor = |more: &str| {
        let found = json_of(&format!("{} {more}", metered(1.0)));
        found["time_after_bellows_s"].as_f64().unwrap()
            / found["time_after_filter_s"].as_f64().unwrap()
    };
    near(factor("--draw 457.2 --focal-length 304.8"), 2.25, 1e-9);
    near(
        factor("--image-size 203.2 --object-size 304.8"),
        2.778,
        5e-4,
    );
    near(factor("--draw 450 --focal-length 300"), 2.25, 1e-9);
    // 2 lg2(16/11), 2 lg2 2, 2 lg2(14/11): the last is published as "about half a stop".
    for (draw, stops) in [(160.0, 1.081), (220.0, 2.0), (140.0, 0.696)] {
        let found = factor(&format!("--draw {draw} --focal-length 110"));
        near(found.log2(), stops, 5e-4);
    }
}

/// Common practice: 8 s with a factor of 2.25 on a film of T^1.31 is 44.1 s; corrected
/// before the bellows it would be 34.3 s, 0.36 stop short.
#[test]
fn the_bellows_comes_before_reciprocity() {
    let draw = "--draw 457.2 --focal-length 304.8 --reciprocity power:1.31";
    let right = number(&format!("{} {draw}", metered(8.0)), "time_corrected_s");
    near(right, 44.1, 0.05);
    let wrong = corrected(8.0, "power:1.31") * 2.25;
    near(wrong, 34.3, 0.05);
    near((right / wrong).log2(), 0.36, 5e-3);
}

/// Common practice: EI 400 behind a factor of 4 is EI 100 on the meter, two stops more.
#[test]
fn an_ei_is_divided_by_the_factor() {
    let found = json_of("expose --ev100 12 --ei 400 --aperture 16 --factor 4");
    near(found["ei_behind_filter"].as_f64().unwrap(), 100.0, 1e-9);
    near(found["stops_over_meter"].as_f64().unwrap(), 2.0, 1e-12);
    // Metered through the filter the factor would count twice.
    let refused =
        output("expose --ev100 12 --ei 400 --aperture 16 --factor 4 --through see-through");
    assert_eq!(refused.status.code(), Some(1));
}

/// Common practice: red (8) with a polariser (2.5) is 20, 4.32 stops; a factor of 5 turns
/// f/8 at 1/250 into f/3.58, and f/6.7 at 1/60 is a quarter of a stop more than it.
#[test]
fn factors_multiply_and_a_rounded_pair_leaves_a_residual() {
    let found = json_of("expose --ev100 12 --ei 100 --aperture 16 --factor 8 --factor 2.5");
    near(found["filter_factor"].as_f64().unwrap(), 20.0, 1e-9);
    near(found["filter_stops"].as_f64().unwrap(), 4.32, 5e-3);
    // f/8 at 1/250 without a filter, so lg2(64 · 250) is the EV. With the filter only the
    // mark 1/250 is left, so the aperture gives way: 8/√5.
    let light = (64.0_f64 * 250.0).log2();
    let base = format!("expose --ev100 {light} --ei 100 --factor 5");
    let found = json_of(&format!("{base} --aperture 8 --shutter-marks 1/250"));
    near(
        found["aperture_wanted_at_mark_f"].as_f64().unwrap(),
        3.58,
        5e-3,
    );
    // At f/6.7 the time wanted is 1/71.3; the mark 1/60 gives lg2(71.3/60) more.
    let found = json_of(&format!("{base} --aperture 6.7 --shutter-marks 1/60"));
    near(
        found["shutter_residual_stops"].as_f64().unwrap(),
        0.25,
        5e-3,
    );
}

/// Common practice: 1/60 at f/11 wanted, the shutter has 1/50: lg2(60/50) = 0.26 stop too
/// much; exactly f/12.4, and the next third, f/12.7, leaves −0.07.
#[test]
fn a_speed_that_the_shutter_lacks_is_made_up_by_the_aperture() {
    let light = (128.0_f64 * 60.0).log2();
    let found = json_of(&format!(
        "expose --ev100 {light} --ei 100 --aperture 11.3137085 --shutter-marks 1,1/2,1/5,1/10,1/25,1/50,1/100"
    ));
    assert_eq!(found["shutter_mark"], "1/50 s");
    near(
        found["shutter_residual_stops"].as_f64().unwrap(),
        0.263,
        5e-4,
    );
    near(
        found["aperture_wanted_at_mark_f"].as_f64().unwrap(),
        12.39,
        5e-3,
    );
    near(found["aperture_at_mark_f"].as_f64().unwrap(), 12.70, 5e-3);
    near(
        found["aperture_residual_stops"].as_f64().unwrap(),
        -0.07,
        5e-3,
    );
    let refused = output("expose --ev100 10 --ei 100 --aperture 8 --shutter-marks 1,zero");
    assert_eq!(refused.status.code(), Some(1));
}

/// Source: a handbook's table (common practice): at f/16 and smaller 1/125 gives 1/3 stop
/// more, 1/250 2/3, 1/500 1 stop; a factor set against a bare 1/250 is 1.59 too large.
#[test]
fn a_leaf_shutter_gives_more_at_small_apertures() {
    for (mark, stops) in [(125.0_f64, 1.0 / 3.0), (250.0, 2.0 / 3.0), (500.0, 1.0)] {
        // The light that asks for f/16 at the mark's time with its gain.
        let light = (256.0 * mark).log2() - stops;
        let found = json_of(&format!(
            "expose --ev100 {light} --ei 100 --aperture 16 --small-aperture-gain --shutter-marks 1/125,1/250,1/500"
        ));
        assert_eq!(found["shutter_mark"], format!("1/{mark} s"));
        near(
            found["shutter_mark_s"].as_f64().unwrap() * mark,
            stops.exp2(),
            1e-9,
        );
        assert_eq!(found["flags"][0], "small_aperture_gain");
    }
    near((2.0_f64 / 3.0).exp2(), 1.59, 5e-3);
    // At f/11 there is no gain, and none is counted where the lens is opened to there: half
    // of 1/64 s at f/16 is wanted, only 1/250 is on the shutter, and that asks for f/9.
    let opened = json_of(
        "expose --ev100 14.5 --ei 100 --aperture 16 --small-aperture-gain --shutter-marks 1/250",
    );
    near(
        opened["shutter_mark_s"].as_f64().unwrap(),
        1.0 / 250.0,
        1e-12,
    );
    assert!(opened["aperture_at_mark_f"].as_f64().unwrap() < 15.9);
    let found = json_of("expose --ev100 14.9 --ei 100 --aperture 11.3137085 --small-aperture-gain");
    assert_eq!(found["flags"][0], "marked_time");
}

/// Common practice (an exposure record of zones): 200 c/ft² on VII is 50 on V; with the key
/// stop f/16 (EI 256) that is 1/50 at f/16, 1/25 at f/22, 1/12.5 at f/32; 1/10 is 0.32 more.
#[test]
fn a_luminance_is_placed_on_a_zone() {
    // 1 c/ft² is 10.7639 cd/m²; K the same number makes time = 1/luminance at EI 256.
    let base = "expose --luminance 2152.78208 --reflected-constant 10.7639104 --zone 7 --ei 256";
    for (f, seconds) in [
        (16.0, 1.0 / 50.0),
        (22.627417, 1.0 / 25.0),
        (32.0, 1.0 / 12.5),
    ] {
        near(
            number(&format!("{base} --aperture {f}"), "time_metered_s"),
            seconds,
            1e-7,
        );
    }
    near((12.5_f64 / 10.0).log2(), 0.32, 5e-3);
}

/// Common practice: times needed for one film; two fits published with them. The power fit
/// shortens 80 s and so is refused there.
#[test]
fn measured_times_and_two_published_fits() {
    let rows = [
        (80.0, 82.0, 0.0),
        (160.0, 166.0, 0.01),
        (240.0, 252.0, 0.0),
        (480.0, 519.0, 0.0),
        (960.0, 1090.0, -0.01),
        (1920.0, 2288.0, 0.0),
    ];
    for (tm, needed, off) in rows {
        let found = corrected(tm, "additive:0.001766,1.62");
        // 0.006: the published residuals have two decimals.
        near((found / needed).log2(), off, 0.006);
    }
    let refused = output(&format!(
        "{} --reciprocity fit:0.72538,1.06559",
        metered(80.0)
    ));
    assert_eq!(refused.status.code(), Some(1));
    let power = corrected(1920.0, "fit:0.72538,1.06559@160..1920");
    near((power / 2288.0).log2(), 0.0, 0.01);
}

/// Sources: a film maker's leaflets (exponents) and coefficients of common practice.
#[test]
fn makers_exponents_and_coefficients_of_the_trade() {
    let rows = [
        (2.0, 2.5, 2.3),
        (4.0, 6.1, 5.0),
        (10.0, 20.4, 14.2),
        (30.0, 86.0, 55.0),
        (60.0, 214.0, 137.0),
    ];
    for (tm, by_power, by_sum) in rows {
        let power = corrected(tm, "power:1.31");
        let sum = corrected(tm, "additive:0.101,1.62");
        // Half of the last digit printed.
        // 60^1.31 is 213.49, printed as 214.
        near(power, by_power, if by_power > 50.0 { 0.52 } else { 0.05 });
        near(sum, by_sum, if by_sum > 50.0 { 0.5 } else { 0.05 });
        if tm >= 10.0 {
            let gap = (power / sum).log2();
            assert!((0.5..=0.66).contains(&gap), "{tm} s: {gap}");
        }
    }
    for (tm, needed) in [(4.0, 7.3), (10.0, 26.9), (30.0, 130.0)] {
        near(
            corrected(tm, "power:1.43"),
            needed,
            if needed > 50.0 { 0.5 } else { 0.06 },
        );
    }
}

/// Source: a film maker's publication F-4017: metered 10 s, open 2 stops or give 50 s;
/// 100 s, open 3 stops or give 1200 s. 2.32 and 3.58 stops of time: the two are not one.
#[test]
fn opening_the_lens_is_not_the_longer_time_in_stops() {
    for (tm, tc, open, time_stops) in [(10.0, 50.0, 2.0, 2.32), (100.0, 1200.0, 3.0, 3.58)] {
        let found = json_of(&format!(
            "{} --reciprocity points:10/50,100/1200 --open-lens 10/2,100/3",
            metered(tm)
        ));
        near(found["time_corrected_s"].as_f64().unwrap(), tc, 1e-6 * tc);
        near(
            found["stops_over_meter"].as_f64().unwrap(),
            time_stops,
            5e-3,
        );
        let wanted = tm.sqrt() / 2.0_f64.powf(0.5 * open);
        near(
            found["opened_lens"]["aperture_f"].as_f64().unwrap(),
            wanted,
            1e-6 * wanted,
        );
    }
}

/// Common practice: on a film of T^1.31 a true factor of 16, found by time, looks like
/// 19.8 from a bare 1/8 s and like 37.8 from a bare 1 s.
#[test]
fn a_factor_found_by_time_holds_the_films_reciprocity() {
    for (bare, needed, apparent, stops) in [(0.125, 2.48, 19.8, 0.31), (1.0, 37.8, 37.8, 1.24)] {
        let found = number(
            &format!("{} --factor 16 --reciprocity power:1.31", metered(bare)),
            "time_corrected_s",
        );
        near(found, needed, 5e-3 * needed);
        near(found / bare, apparent, 0.05);
        near((found / bare / 16.0).log2(), stops, 5e-3);
    }
}

/// Common practice: a selenium cell is about 4 stops down at 750 nm, cadmium sulphide
/// reaches further; what either reads through an opaque filter follows the cell.
#[test]
fn a_reading_through_an_opaque_filter_is_a_light_record_only() {
    let base = "expose --ev100 12 --ei 100 --aperture 16";
    for (cell, says) in [
        ("selenium", "4 stops down at 750 nm"),
        ("cds", "further into the infrared"),
    ] {
        let refused = output(&format!("{base} --through opaque --cell {cell}"));
        let said = String::from_utf8(refused.stderr).unwrap();
        assert_eq!(refused.status.code(), Some(1));
        assert!(
            said.contains("light record") && said.contains(says),
            "{said}"
        );
        let bare = json_of(&format!("{base} --cell {cell}"));
        assert!(bare["reading_means"].as_str().unwrap().contains(says));
    }
}

/// Common practice: two rules for a 150 mm lens, a quarter of an inch and a quarter of a
/// percent, are 17 times apart; at f/22 they blur to 0.29 and 0.017 mm, one seen, one not.
#[test]
fn two_rules_of_focus_are_seventeen_times_apart() {
    let blur = |shift: f64| {
        let found = json_of(&format!(
            "focus --focal-length 150 --wavelength 750 --aperture 22 --measured-shift {shift}"
        ));
        (
            found["blur_disc_mm"].as_f64().unwrap(),
            found["hidden"].as_bool().unwrap(),
        )
    };
    let (inch, percent) = (blur(6.35), blur(0.375));
    near(inch.0, 0.29, 5e-3);
    near(percent.0, 0.017, 5e-4);
    assert_eq!((inch.1, percent.1), (false, true));
    near(6.35 / 0.375, 17.0, 0.1);
    // Not told which holds, the tool proposes a series and not a constant.
    let series = json_of("focus --focal-length 300 --wavelength 850 --aperture 5.6");
    assert!(series["series_mm"].as_array().unwrap().len() >= 2);
}
