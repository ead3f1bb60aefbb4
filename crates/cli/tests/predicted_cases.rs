//! Cases of the trade asked of `predict` as a photographer would ask them.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;

fn predict(folder: &Path, arguments: &str) -> Value {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .current_dir(folder)
        .arg("predict")
        .args(arguments.split_whitespace())
        .arg("--json")
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The factor in stops: low end, value, high end.
fn stops(arguments: &str) -> [f64; 3] {
    let answer = predict(Path::new("."), arguments);
    ["low", "value", "high"].map(|end| answer["factor_stops"][end].as_f64().unwrap())
}

#[test]
fn the_lamp_decides_the_factor() {
    // Source: maker's data sheet F-4016, page 5: a No. 25 is 8 in daylight and 4 under
    // a 3200 K lamp, 3 and 2 stops. The class is no film of the sheet, so the interval
    // must hold what is printed.
    for (light, printed) in [("daylight:5500", 3.0), ("tungsten:3200", 2.0)] {
        let [low, _, high] = stops(&format!(
            "--film-class panchromatic --filter gelatin:25 --light {light}"
        ));
        assert!(low < printed && printed < high, "{light}: {low} to {high}");
    }
    // Common practice: behind a deep-red filter the difference has the same sign and is larger.
    let apart = |film: &str, filter: &str| {
        let under =
            |light: &str| stops(&format!("--film-class {film} {filter} --light {light}"))[1];
        under("sun:45") - under("tungsten:3200")
    };
    let red = apart("panchromatic", "--filter gelatin:25");
    let deep = apart("extended-red", "--filter-edge 715:50%");
    assert!(red > 0.5 && deep > red, "{red} and {deep}");
}

#[test]
fn a_factor_is_a_ratio_of_areas() {
    // Source: "Light filters", Trans. SMPE 1927, pages 149 to 151: area of sensitivity ×
    // daylight 0.76, with the filter's transmission 0.23, factor 3.3, 1.72 stops. The film
    // below has 76 of 100 nm by area, the filter lets 23 of them through.
    let folder = tempfile::tempdir().unwrap();
    let file = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    file("film.csv", "wavelength_nm,s\n500,0.76\n600,0.76\n");
    file("light.csv", "wavelength_nm,e\n400,1\n700,1\n");
    file(
        "yellow.csv",
        "wavelength_nm,t\n400,0.302631579\n700,0.302631579\n",
    );
    file("sky.csv", "wavelength_nm,e\n400,2\n700,0.5\n");
    let answer = predict(
        folder.path(),
        "--film film.csv --light light.csv --filter yellow.csv --shade sky.csv",
    );
    let number = |value: &Value| value.as_f64().unwrap();
    assert!((number(&answer["bare"]["integral"]) - 76.0).abs() < 1e-9);
    assert!((number(&answer["integral"]) - 23.0).abs() < 1e-6);
    assert!((number(&answer["factor"]) - 3.304).abs() < 0.001);
    assert!((number(&answer["factor_stops"]) - 1.724).abs() < 0.001);
    // A filter without a colour costs the same in the shade; both are reported.
    assert!(number(&answer["shade"]["over_sun_stops"]).abs() < 1e-6);
}

#[test]
fn an_infrared_film_behind_a_720_class_filter_in_brilliant_sun() {
    // Common practice: f/11 at 1/30 was judged good, a little more wanted; by the EI 100
    // of 1/250 that is EI 12, or 16.7 times (4.06 stops) below the box speed of 200,
    // and EI 6 to 12 with what was wanted more. No bracket, no density: the reported EI
    // must lie there, and the interval hold the poster's factor.
    let arguments =
        "--film-class near-infrared --filter-edge 720:half-peak --light sun:60 --ei 200";
    let answer = predict(Path::new("."), arguments);
    let ei = answer["ei"].as_f64().unwrap();
    assert!((6.0..=12.0).contains(&ei), "{ei}");
    let [low, _, high] = stops(arguments);
    let poster = (200.0_f64 / (100.0 * 30.0 / 250.0)).log2();
    assert!((poster - 4.06).abs() < 0.01);
    assert!(low < poster && poster < high, "{low} to {high}");
}

#[test]
fn one_glass_named_at_three_levels_is_one_filter() {
    // Source: hand calculation on a logistic edge of 6 nm centred at 720 nm, peak 80 %:
    // 40 % T at 720, 50 % at 723.065, 10 % at 708.325. Another published list
    // quotes the edge three stops below the peak, which is the same 10 % T.
    let with = |edge: &str| {
        stops(&format!(
            "--film-class extended-red --filter-edge {edge} --filter-peak 0.8 --light sun:45"
        ))[1]
    };
    let one = with("720:half-peak");
    for edge in ["723.065:50%", "708.325:10%", "708.325:-3stops"] {
        assert!((with(edge) - one).abs() < 0.001, "{edge}");
    }
    // The numbers without their levels would be stops apart.
    assert!(with("723:50%") - with("708:50%") > 1.5);
}

#[test]
fn films_that_end_below_the_filter_show_nothing() {
    // Common practice, from a survey of aerial films: reach to about 670, 720 and 760 nm;
    // a filter with half of its peak at 760 nm blanks the first two, one at 850 all.
    let folder = tempfile::tempdir().unwrap();
    // A decade in 20 nm beyond the reach, which is half-sensitivity.
    let film = |reach: f64| {
        let rows: String = (40..=90)
            .map(|i| f64::from(i) * 10.0)
            .map(|nm| {
                let log = -(1.0 + ((nm - reach) / 8.69).exp()).log10();
                format!("{nm},{log:.4}\n")
            })
            .collect();
        format!("wavelength_nm,log_sensitivity\n{rows}")
    };
    for (reach, at_760) in [(670.0, "none"), (720.0, "none"), (760.0, "image")] {
        fs::write(folder.path().join("aerial.csv"), film(reach)).unwrap();
        let verdict = |edge: &str| {
            let asked = format!("--film aerial.csv --film-log --light sun:45 --filter-edge {edge}");
            predict(folder.path(), &asked)["verdict"].clone()
        };
        let seen = verdict("760:half-peak");
        // The third is left a trace or more.
        assert!(
            seen == at_760 || (at_760 == "image" && seen == "trace"),
            "{reach}: {seen}"
        );
        assert_eq!(verdict("850:half-peak"), "none", "{reach}");
    }
}

#[test]
fn shade_costs_more_behind_the_filter_than_the_meter_says() {
    // Common practice: open shade costs half a stop to more than a stop beyond the meter
    // behind such a filter.
    let asked = "--film-class near-infrared --filter-edge 715:50% --light sun:45";
    let beyond = |more: &str| {
        let answer = predict(Path::new("."), &format!("{asked} {more}"));
        let found = answer["shade"]["over_meter_stops"].clone();
        ["low", "value", "high"].map(|end| found[end].as_f64().unwrap())
    };
    let [low, eye, high] = beyond("");
    assert!(
        low > 0.0 && (0.5..2.0).contains(&eye),
        "{low}, {eye}, {high}"
    );
    // A bare silicon cell sees most of what the film sees, and is known less well.
    let [silicon_low, silicon, silicon_high] = beyond("--meter silicon");
    assert!(silicon < eye, "{silicon} against {eye}");
    assert!(silicon_high - silicon_low > 0.0);
}

#[test]
fn absolute_sensitivity_gives_a_speed_and_follows_the_films_curve() {
    // Source: computed by a separate program: 10 cm²/erg from 400 to 680 nm and nothing
    // else, 0.10 over base+fog, CIE daylight of 5503 K: 0.02678435 lux s, S 29.8682; the
    // table has D55 in 10 nm rows, D55 rounded to its printed digits.
    let folder = tempfile::tempdir().unwrap();
    let rows: String = (39..=76)
        .map(|i| i * 10)
        .map(|nm| format!("{nm},{}\n", if (400..=680).contains(&nm) { 10 } else { 0 }))
        .collect();
    fs::write(
        folder.path().join("film.csv"),
        format!("wavelength_nm,s\n{rows}"),
    )
    .unwrap();
    let asked = "--film film.csv --light daylight:5503 --filter-edge 600:50%";
    let answer = predict(folder.path(), &format!("{asked} --film-absolute"));
    let speed = answer["absolute_speed"]["arithmetic_speed"]
        .as_f64()
        .unwrap();
    assert!((speed / 29.868 - 1.0).abs() < 1e-3, "{speed}");
    let factor = answer["factor"].as_f64().unwrap();
    assert!((answer["ei"].as_f64().unwrap() * factor / speed - 1.0).abs() < 1e-9);
    // A straight line of gradient 0.6 over a toe: the density 0.70 needs about 1.0 log H
    // more than 0.10, so what is 10 times as sensitive at 0.70 is 100 times at 0.10.
    let readings: String = (0..=20)
        .map(|i| f64::from(i) * 0.15 - 3.0)
        .map(|x| {
            let density = 0.2 + 0.6 * 0.1 * (1.0 + ((x + 2.5) / 0.1).exp()).ln();
            format!("{x:.2},{density:.4}\n")
        })
        .collect();
    fs::write(
        folder.path().join("curve.csv"),
        format!("log_h,density\n{readings}"),
    )
    .unwrap();
    let moved = predict(
        folder.path(),
        &format!("{asked} --film-absolute=0.70 --film-readings curve.csv"),
    );
    let faster = moved["absolute_speed"]["arithmetic_speed"]
        .as_f64()
        .unwrap()
        / speed;
    // Hand calculation: 0.1 ln(1 + e^u) = 0.10/0.6 at u = 1.4574, so x = −2.3543; 0.70/0.6
    // at u = 11.6666, x = −1.3333: 1.0210 log H. 2 %: the fit.
    assert!((faster.log10() - 1.021).abs() < 0.02, "{}", faster.log10());
}

#[test]
fn filters_cost_the_classes_of_film_what_is_commonly_found() {
    // Common practice: a near-infrared film behind a 715-class filter needs about 4 stops,
    // an extended-red one 8 to 9; a No. 25 costs a panchromatic film about 3.
    for light in ["sun:45", "daylight:5500"] {
        let cost = |asked: &str| stops(&format!("{asked} --light {light}"));
        for (asked, low, high) in [
            ("--film-class near-infrared --filter-edge 715:50%", 3.5, 4.5),
            ("--film-class extended-red --filter-edge 715:50%", 8.0, 9.0),
            ("--film-class panchromatic --filter gelatin:25", 2.7, 3.3),
        ] {
            let [from, middle, to] = cost(asked);
            assert!((low..=high).contains(&middle), "{light} {asked}: {middle}");
            assert!(from < middle && middle < to);
        }
        // From a 715- to a 740-class filter: stops for the second film, hardly any for the first.
        let step = |class: &str| {
            let at = |edge| cost(&format!("--film-class {class} --filter-edge {edge}:50%"))[1];
            at(740) - at(715)
        };
        let (red, near) = (step("extended-red"), step("near-infrared"));
        assert!((2.0..6.0).contains(&red), "{light}: {red}");
        assert!((0.0..1.0).contains(&near), "{light}: {near}");
    }
}
