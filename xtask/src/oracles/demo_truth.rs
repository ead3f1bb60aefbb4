//! The worked example's answers against the truth it was made from.
//!
//! `truth.csv` is written with the example and read by nothing in the program.
//! Factors and EI must hold it. The other intervals are 90 % intervals, of
//! which one in ten may miss: they are counted, and only too many misses fail.

use super::Bench;
use serde_json::Value;

/// One printed interval; an end that is not known is infinite.
struct Interval {
    what: String,
    low: f64,
    high: f64,
    truth: f64,
    main: bool,
}

impl Interval {
    fn of(what: String, json: &Value, truth: f64, main: bool) -> Self {
        Self {
            what,
            low: json["low"].as_f64().unwrap_or(f64::NEG_INFINITY),
            high: json["high"].as_f64().unwrap_or(f64::INFINITY),
            truth,
            main,
        }
    }

    fn holds(&self) -> bool {
        self.low <= self.truth && self.truth <= self.high
    }
}

/// Rows of `truth.csv`: quantity, unit, value, note.
struct Truths(Vec<(String, String, f64, String)>);

impl Truths {
    fn read(text: &str) -> Self {
        Self(
            text.lines()
                .skip(1)
                .filter_map(|line| {
                    let mut cells = line.splitn(4, ',');
                    let (quantity, unit) = (cells.next()?, cells.next()?);
                    let value = cells.next()?.parse().ok()?;
                    Some((quantity.into(), unit.into(), value, cells.next()?.into()))
                })
                .collect(),
        )
    }

    fn of(&self, quantity: &str, unit: &str, note: &str) -> Result<f64, String> {
        self.0
            .iter()
            .find(|(q, u, _, n)| q == quantity && u == unit && n.contains(note))
            .map(|(_, _, value, _)| *value)
            .ok_or_else(|| format!("truth.csv has no {quantity}, {unit}, {note}"))
    }
}

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    let told = bench.json(&["evaluate", "demo", "--json", "--no-date", "--out", "first"])?;
    let read =
        |name: &str| std::fs::read(bench.folder.join(name)).map_err(|e| format!("{name}: {e}"));
    let truths = Truths::read(&String::from_utf8_lossy(&read("demo/truth.csv")?));
    let (answers, densities) = intervals(&told, &truths)?;
    for i in &answers {
        let what = format!(
            "{}: {:.4} to {:.4}, truth {:.4}",
            i.what, i.low, i.high, i.truth
        );
        if i.main {
            bench.told(i.holds(), &what);
        } else {
            println!("   {} {what}", if i.holds() { "ok    " } else { "missed" });
        }
    }
    for (kind, of) in [("answers", answers), ("densities", densities)] {
        let missed = of.iter().filter(|i| !i.holds()).count();
        let allowed = most_misses(of.len());
        let what = format!(
            "{missed} of {} {kind} miss the truth, at most {allowed} may",
            of.len()
        );
        bench.told(missed <= allowed && !of.is_empty(), &what);
    }
    bench.json(&["evaluate", "demo", "--json", "--no-date", "--out", "second"])?;
    for name in ["report.html", "findings.json", "readings.csv"] {
        let read = |folder: &str| std::fs::read(bench.folder.join(folder).join(name));
        let same = matches!((read("first"), read("second")), (Ok(a), Ok(b)) if a == b);
        bench.told(same, &format!("evaluated twice, {name} has the same bytes"));
    }
    Ok(())
}

/// The intervals of the answers, and those of the densities they rest on.
fn intervals(told: &Value, truths: &Truths) -> Result<(Vec<Interval>, Vec<Interval>), String> {
    let (mut answers, mut densities) = (vec![], vec![]);
    let list = |key: &str| told[key].as_array().cloned().unwrap_or_default();
    for f in list("factors") {
        let name = format!("factor {} in {}", word(&f["filter"]), word(&f["light"]));
        let truth = truths.of(&name, "stops", "")?;
        answers.push(Interval::of(
            format!("{name}, stops"),
            &f["factor_stops"],
            truth,
            true,
        ));
    }
    for s in list("speeds") {
        let truth = truths.of("speed_point_index", "EI", "")?;
        answers.push(Interval::of(
            "EI without a filter".into(),
            &s["ei"],
            truth,
            true,
        ));
    }
    for c in list("curves") {
        let rows = [
            ("base_plus_fog", "density", &c["base_plus_fog_density"]),
            ("speed_point_log_h", "log10 lux s", &c["speed_point_log_h"]),
            (
                "average_gradient_1_30",
                "density per log10",
                &c["criteria"]["average_gradient_1_30"],
            ),
        ];
        for (name, unit, json) in rows {
            answers.push(Interval::of(
                name.into(),
                json,
                truths.of(name, unit, "")?,
                false,
            ));
        }
    }
    for w in list("wood_effect") {
        let name = format!(
            "wood_effect {} in {}",
            word(&w["filter"]),
            word(&w["light"])
        );
        let place = if w["where"] == "shade" {
            "shaded"
        } else {
            "sunlit"
        };
        let truth = truths.of(&name, "stops", place)?;
        answers.push(Interval::of(
            format!("{name}, {place}"),
            &w["stops"],
            truth,
            false,
        ));
    }
    for f in list("frames") {
        for p in f["patches"].as_array().into_iter().flatten() {
            let name = format!("density {} {}", word(&f["name"]), word(&p["name"]));
            let truth = truths.of(&name, "density", "")?;
            let (Some(value), Some(sd)) = (p["value"].as_f64(), p["value_sd"].as_f64()) else {
                return Err(format!("no value for {name}"));
            };
            if p["bound"].is_null() {
                // 1.645 standard deviations to each side hold 90 % of a normal distribution.
                let (low, high) = (value - 1.645 * sd, value + 1.645 * sd);
                densities.push(Interval {
                    what: name,
                    low,
                    high,
                    truth,
                    main: false,
                });
            }
        }
    }
    Ok((answers, densities))
}

fn word(of: &Value) -> &str {
    of.as_str().unwrap_or("?")
}

/// The most misses of `n` intervals of 90 % that chance allows once in a
/// thousand: mean n/10, three standard deviations above it.
fn most_misses(n: usize) -> usize {
    let n = n as f64;
    (0.1 * n + 3.0 * (0.09 * n).sqrt()).floor() as usize
}
