//! The whole way by the command: plan, card, half of it exposed, the light changes, the
//! rest planned anew, the logs back in, densities written down, evaluated.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use assert_cmd::Command;
use serde_json::Value;
use std::fmt::Write as _;
use std::path::Path;

fn filmproof(arguments: &[&str]) -> String {
    let output = Command::cargo_bin("filmproof")
        .unwrap()
        .args(arguments)
        .assert()
        .success()
        .get_output()
        .stdout
        .clone();
    String::from_utf8(output).unwrap()
}

/// Ticks frames in the card's log, with the reading of the light, and imports it.
fn expose(test: &Path, frames: &[&str], ev100: &str) {
    let folder = test.to_str().unwrap();
    filmproof(&["card", folder]);
    let log = test.join("card/field-log.csv");
    let text = std::fs::read_to_string(&log).unwrap();
    let header: Vec<&str> = text.lines().nth(1).unwrap().split(',').collect();
    let column = |name: &str| header.iter().position(|h| *h == name).unwrap();
    let ticked: Vec<String> = text
        .lines()
        .map(|line| {
            let mut cells: Vec<&str> = line.split(',').collect();
            if frames.contains(&cells[0]) {
                cells[column("exposed")] = "x";
                // An unexposed sheet has no light.
                if cells[0] != "unexposed" {
                    cells[column("ev100")] = ev100;
                }
            }
            cells.join(",")
        })
        .collect();
    std::fs::write(&log, ticked.join("\n")).unwrap();
    filmproof(&["import", folder, log.to_str().unwrap()]);
}

/// A curve of our own with toe and line, invented: density over log10 of lux seconds.
fn density(log_h: f64) -> f64 {
    let (base, gradient, toe) = (0.15, 0.62, 0.17);
    let start = (0.8_f64 / 400.0).log10() - 0.05;
    base + gradient * toe * (1.0 + ((log_h - start) / toe).exp()).ln()
}

#[test]
fn from_plan_to_factor_over_a_change_of_light() {
    let scratch = tempfile::tempdir().unwrap();
    let test = scratch.path().join("test");
    let folder = test.to_str().unwrap();
    let mut plan = vec!["plan", "--film-class", "extended-red", "--box-speed", "400"];
    plan.extend([
        "--filter-edge",
        "715:50%",
        "--sheets",
        "10",
        "--holders",
        "5",
    ]);
    plan.extend(["--reciprocity", "power:1.31", "--out", folder]);
    filmproof(&plan);
    // Nobody has read the light yet, and the record doesn't claim it.
    let record = std::fs::read_to_string(test.join("test.toml")).unwrap();
    assert!(
        !record.contains("\nev100 =") && record.contains("not read"),
        "{record}"
    );

    let planned = std::fs::read_to_string(test.join("plan.toml")).unwrap();
    let names: Vec<&str> = (planned.lines())
        .filter_map(|l| l.strip_prefix("id = \"")?.split('"').next())
        .collect();
    let (before, _) = names.split_at(4);
    expose(&test, before, "15");
    let mut again = vec!["replan", folder, "--ev100", "13.5"];
    again.extend(["--sky", "thin-cloud", "--write", "--json"]);
    let json: Value = serde_json::from_str(&filmproof(&again)).unwrap();
    assert_eq!(json["anchored"], true);
    let left: Vec<String> = (json["frames"].as_array().unwrap().iter())
        .map(|f| f["name"].as_str().unwrap().to_owned())
        .collect();
    let mut rest: Vec<&str> = left.iter().map(String::as_str).collect();
    rest.push("unexposed");
    // The card is made anew, its log too: the old one is imported and kept.
    expose(&test, &rest, "13.5");

    // Densities by hand, for a true factor of 8 stops, from what the record says.
    let record = std::fs::read_to_string(test.join("test.toml")).unwrap();
    let table: toml::Table = record.parse().unwrap();
    let mut readings = "frame,patch,density,density_sd\n".to_owned();
    let mut patches = String::new();
    for frame in table["frame"].as_array().unwrap() {
        let get = |key: &str| frame.get(key).and_then(|v| v.as_str()).unwrap_or("");
        let number = |key: &str| match frame.get(key) {
            Some(toml::Value::Float(v)) => *v,
            Some(toml::Value::Integer(v)) => *v as f64,
            Some(toml::Value::String(v)) => {
                let (a, b) = v.split_once('/').unwrap();
                a.parse::<f64>().unwrap() / b.parse::<f64>().unwrap()
            }
            _ => 0.0,
        };
        let id = get("id");
        let mut put = |patch: &str, role: &str, d: f64| {
            writeln!(readings, "{id},{patch},{d:.3},0.01").unwrap();
            writeln!(patches, "{id},{patch},{role},,,,,,,,").unwrap();
        };
        put("base", "base_fog", density(-9.0));
        if get("role") == "unexposed" {
            continue;
        }
        let filters = frame.get("filters").and_then(|f| f.as_array());
        let behind = match filters.and_then(|f| f.first()).and_then(|f| f.as_str()) {
            None => 0.0,
            Some("red") => 2.3,
            Some(_) => 8.0,
        };
        // Metered mid-tone: H = q K / S for S the EI of the setting; reciprocity taken off.
        let (time, n) = (number("time_marked_s"), number("aperture_f"));
        let worth = if time > 1.0 {
            time.powf(1.0 / 1.31)
        } else {
            time
        };
        let luminance = number("ev100").exp2() * 12.5 / 100.0;
        let log_h = (0.65 * luminance * worth / (n * n)).log10() - behind * 2.0_f64.log10();
        put("card", "grey_card", density(log_h));
        put("door", "wall", density(log_h - 0.6));
    }
    std::fs::write(test.join("readings.csv"), readings).unwrap();
    let outlined = std::fs::read_to_string(test.join("patches.csv")).unwrap();
    std::fs::write(test.join("patches.csv"), outlined + &patches).unwrap();
    let found: Value = serde_json::from_str(&filmproof(&["evaluate", folder, "--json"])).unwrap();
    let factors = found["factors"].as_array().unwrap();
    let filtered: Vec<&Value> = factors
        .iter()
        .filter(|f| f["filter"].to_string().contains("filter") && f["bound"].is_null())
        .filter(|f| !f["filter"].to_string().contains("red"))
        .collect();
    // One for each light.
    assert!(!filtered.is_empty(), "{factors:?}");
    for factor in filtered {
        let stops = &factor["factor_stops"];
        let (low, high) = (
            stops["low"].as_f64().unwrap(),
            stops["high"].as_f64().unwrap(),
        );
        assert!(low < 8.0 && 8.0 < high, "{factor}");
    }
}
