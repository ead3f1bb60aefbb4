//! The command `plan` from outside.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use assert_cmd::Command;
use serde_json::Value;

fn plan(arguments: &[&str]) -> (i32, String, String) {
    let film = ["plan", "--film-class", "extended-red", "--box-speed", "400"];
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .args(film)
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
        error.contains("leave for another day: filter 715:50%"),
        "{error}"
    );
}

#[test]
fn a_filter_given_twice_is_refused() {
    let (code, _, error) = plan(&edges(&["715:50%", "715:50%"], "8"));
    assert_eq!(code, 1);
    assert!(error.contains("given twice"), "{error}");
}
