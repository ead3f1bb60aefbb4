//! The command `plan` from outside.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;

fn plan(arguments: &[&str]) -> (i32, String, String) {
    let mut all = vec!["--film-class", "extended-red", "--box-speed", "400"];
    all.extend(arguments);
    planned(&all)
}

fn planned(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .arg("plan")
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

fn edges(edges: &[&'static str], sheets: &'static str) -> Vec<&'static str> {
    let mut all = vec!["--sheets", sheets, "--holders", "6"];
    for edge in edges {
        all.extend(["--filter-edge", edge]);
    }
    all
}

/// Common practice: an extended-red film shows no image behind a filter at 850 nm.
#[test]
fn several_filters_share_the_sheets_and_a_blank_one_gets_none() {
    let mut asked = edges(&["695:50%", "715:50%", "850:50%"], "10");
    asked.push("--json");
    let (code, out, _) = plan(&asked);
    assert_eq!(code, 0);
    let json: Value = serde_json::from_str(&out).unwrap();
    let frames = json["frames"].as_array().unwrap();
    assert_eq!(frames.len(), 10);
    let behind = |name: &str| {
        let of = |f: &&Value| f["filters"][0] == name;
        frames.iter().filter(of).count()
    };
    let filters = json["filters"].as_array().unwrap();
    assert_eq!(filters.len(), 3);
    for (filter, name) in filters.iter().zip(["filter-1", "filter-2"]) {
        assert_eq!(filter["filter"], name);
        assert!(behind(name) >= 1);
        assert_eq!(filter["frame_count"], behind(name));
        assert!(filter["expected_half_width_stops"].as_f64().unwrap() < 1.0);
    }
    assert_eq!(filters[2]["image"], "none");
    assert_eq!(behind("filter-3"), 0);
    assert_eq!(behind("red"), 1);
}

#[test]
fn too_few_sheets_name_the_filters_to_leave() {
    let (code, _, error) = plan(&edges(&["650:50%", "695:50%", "715:50%"], "3"));
    assert_eq!(code, 1);
    assert!(
        error.contains("leave for another day: filter 715 nm (50 %)"),
        "{error}"
    );
}

#[test]
fn a_filter_given_twice_is_refused() {
    let (code, _, error) = plan(&edges(&["715:50%", "715:50%"], "8"));
    assert_eq!(code, 1);
    assert!(error.contains("given twice"), "{error}");
}

fn json_of(arguments: &[&str]) -> Value {
    let mut all = arguments.to_vec();
    all.push("--json");
    let (code, out, error) = planned(&all);
    assert_eq!(code, 0, "{error}");
    serde_json::from_str(&out).unwrap()
}

/// The test that the trade asks for most: a 400-speed extended-red film, a 715-class
/// filter, full sun, eight sheets in four holders (common practice).
#[test]
fn eight_sheets_name_anchor_red_control_bracket_and_unexposed_sheet() {
    let json = json_of(&[
        "--film-class",
        "extended-red",
        "--box-speed",
        "400",
        "--filter-edge",
        "715:50%",
        "--sheets",
        "8",
        "--holders",
        "4",
    ]);
    let frames = json["frames"].as_array().unwrap();
    let count = |role: &str| frames.iter().filter(|f| f["role"] == role).count();
    assert_eq!(frames.len(), 8);
    assert!(count("anchor") >= 1 && count("bracket") >= 3);
    assert_eq!((count("red control"), count("unexposed")), (1, 1));
    let sides: std::collections::BTreeSet<&str> = frames
        .iter()
        .map(|f| f["holder"].as_str().unwrap())
        .collect();
    assert_eq!(sides.len(), 8);
    // The bracket reaches 1.28 standard deviations to either side of what is believed,
    // so that its best frame is an end in at most a fifth of cases.
    let eis: Vec<f64> = frames
        .iter()
        .filter(|f| f["role"] == "bracket")
        .map(|f| f["ei"].as_f64().unwrap())
        .collect();
    let believed = &json["expected_factor"];
    let reach = 1.28 * believed["sd_stops"].as_f64().unwrap();
    let middle = 400.0_f64.log2() - believed["mean_stops"].as_f64().unwrap();
    let most = eis.iter().copied().fold(0.0, f64::max).log2();
    let least = eis.iter().copied().fold(f64::INFINITY, f64::min).log2();
    assert!(most - middle >= reach && middle - least >= reach, "{eis:?}");
    let half = json["expected_half_width_stops"].as_f64().unwrap();
    assert!(half > 0.1 && half < 0.6, "{half}");
    assert_eq!(json["variants"].as_array().unwrap().len(), 2);
}

/// What is expected comes from the same prediction as `predict` gives.
#[test]
fn the_expected_factor_is_the_one_that_is_predicted() {
    let curves = [
        "--film-class",
        "near-infrared",
        "--filter",
        "gelatin:89B",
        "--light",
        "sun:35",
    ];
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .arg("predict")
        .args(curves)
        .arg("--json")
        .output()
        .unwrap();
    let predicted: Value = serde_json::from_slice(&output.stdout).unwrap();
    let rest = ["--box-speed", "400", "--sheets", "6", "--holders", "3"];
    let json = json_of(&[&curves[..], &rest[..]].concat());
    let expected = &json["expected_factor"];
    assert_eq!(expected["source"], "spectra");
    assert_eq!(expected["sd_stops"], predicted["uncertainty"]["sd_stops"]);
    assert_eq!(expected["mean_stops"], predicted["factor_stops"]["value"]);
    // What is given wins.
    let given = ["--expected-factor", "5", "0.5"];
    let json = json_of(&[&curves[..], &rest[..], &given[..]].concat());
    assert_eq!(json["expected_factor"]["source"], "given");
    assert_eq!(json["expected_factor"]["mean_stops"], 5.0);
}

/// A film by its own curve: one that ends at 660 nm sees nothing past 760 (common
/// practice), and the answer says what would do.
#[test]
fn a_film_by_its_curve_without_an_image_gets_no_sheet() {
    let scratch = tempfile::tempdir().unwrap();
    let film = scratch.path().join("film.csv");
    let mut text = "wavelength_nm,sensitivity\n".to_owned();
    for nm in (400..=900).step_by(10) {
        let edge = 1.0 / (1.0 + ((f64::from(nm) - 650.0) / 6.0).exp());
        text.push_str(&format!("{nm},{edge:e}\n"));
    }
    std::fs::write(&film, text).unwrap();
    let film = film.to_str().unwrap();
    let rest = ["--box-speed", "400", "--sheets", "6", "--holders", "3"];
    let json = json_of(&[&["--film", film, "--filter-edge", "760:50%"], &rest[..]].concat());
    assert_eq!(json["image"], "none");
    assert!(json["reason"].as_str().unwrap().contains("760 nm (50 %)"));
    let instead = json["instead"].as_array().unwrap();
    assert!(
        instead
            .iter()
            .any(|i| i.as_str().unwrap().contains("near 650 nm")),
        "{instead:?}"
    );
    let json = json_of(&[&["--film", film, "--filter-edge", "650:50%"], &rest[..]].concat());
    assert_eq!(json["image"], "expected");
    let (code, _, error) = planned(
        &[
            &["--film", "no-such.csv", "--filter-edge", "650:50%"],
            &rest[..],
        ]
        .concat(),
    );
    assert_eq!(code, 1);
    assert!(error.contains("no-such.csv"), "{error}");
}

/// Several filters have a cheaper and a surer plan beside them too.
#[test]
fn several_filters_have_variants() {
    let json = json_of(
        &[
            &["--film-class", "extended-red", "--box-speed", "400"],
            &edges(&["695:50%", "715:50%"], "8")[..],
        ]
        .concat(),
    );
    let half = |of: &Value| of["half_width_stops"].as_f64().unwrap();
    let variants = json["variants"].as_array().unwrap();
    assert_eq!(variants[0]["kind"], "cheaper");
    assert_eq!(variants[1]["kind"], "surer");
    let mean = json["mean_half_width_stops"].as_f64().unwrap();
    assert!(half(&variants[0]) >= mean && half(&variants[1]) < mean);
}
