//! Tablets found in made scans whose truth is known.
//!
//! The scans are testkit's: v = (T + f)/(1 + f) to the power 1/gamma, closed form;
//! what a step's place is, the maker of the scan knows.

use negative::outline::Outline;
use negative::preview::Preview;
use negative::tablet_place::{TabletPlace, TabletPlaceError, find_tablet};
use testkit::{TabletFlaw, TabletScan, tablet_scan};

fn preview(scan: &TabletScan) -> Preview {
    let tone_known = scan.gamma == 1.0;
    Preview {
        width: scan.width as u32,
        height: scan.height as u32,
        left: 0,
        top: 0,
        box_side: 1,
        signal: scan.signal.clone(),
        tone_known,
    }
}

/// What came of a search.
#[derive(Debug, PartialEq)]
enum Outcome {
    /// Largest distance of an edge from the truth, in pitches, and of a side.
    Right(f64, f64),
    Refused(String),
    Wrong(String),
}

fn inside(corners: &[(f64, f64); 4], (x, y): (f64, f64)) -> bool {
    (0..4).all(|i| {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        (b.0 - a.0) * (y - a.1) - (b.1 - a.1) * (x - a.0) >= -1e-9
    })
}

/// Compares what was found with what lies there.
fn compare(scan: &TabletScan, answer: Result<TabletPlace, TabletPlaceError>) -> Outcome {
    let place = match answer {
        Ok(place) => place,
        Err(error) => return Outcome::Refused(error.to_string()),
    };
    let (mut edge, mut side) = (0.0_f64, 0.0_f64);
    for (k, (step, truth)) in place.steps.iter().zip(&scan.steps).enumerate() {
        let Some(truth) = truth else {
            if step.seen {
                return Outcome::Wrong(format!("step {} is not there", k + 1));
            }
            continue;
        };
        let Outline::Polygon(corners) = &step.outline else {
            return Outcome::Wrong("no polygon".to_owned());
        };
        if !corners.iter().all(|c| inside(truth, *c)) {
            return Outcome::Wrong(format!("step {}: {corners:?}, true {truth:?}", k + 1));
        }
        let (across, along) = (
            ((truth[1].0 - truth[0].0), (truth[1].1 - truth[0].1)),
            ((truth[3].0 - truth[0].0), (truth[3].1 - truth[0].1)),
        );
        let pitch = across.0.hypot(across.1);
        let width = along.0.hypot(along.1);
        // Corners go round in either order; the nearest true one is meant.
        for corner in step.whole {
            let near = truth
                .iter()
                .map(|t| (corner.0 - t.0, corner.1 - t.1))
                .min_by(|a, b| a.0.hypot(a.1).total_cmp(&b.0.hypot(b.1)))
                .unwrap();
            edge = edge.max(((near.0 * across.0 + near.1 * across.1) / pitch).abs() / pitch);
            side = side.max(((near.0 * along.0 + near.1 * along.1) / width).abs() / width);
        }
    }
    Outcome::Right(edge, side)
}

#[test]
#[ignore = "minutes; prints a table"]
fn three_hundred_draws() {
    let flaws = [
        TabletFlaw::None,
        TabletFlaw::Absent,
        TabletFlaw::ThinStepMissing,
        TabletFlaw::DenseStepMissing,
        TabletFlaw::MiddleStepMissing,
        TabletFlaw::StepCovered,
        TabletFlaw::CutByScan,
        TabletFlaw::Two,
        TabletFlaw::OtherTable,
        TabletFlaw::Wedge,
    ];
    let verbose = std::env::var("VERBOSE").is_ok();
    let draws: u64 = std::env::var("DRAWS").map_or(30, |d| d.parse().unwrap());
    let only = std::env::var("FLAW").ok();
    for flaw in flaws {
        if only.as_ref().is_some_and(|o| *o != format!("{flaw:?}")) {
            continue;
        }
        for steps in [11, 21, 31] {
            let draws = if flaw == TabletFlaw::None { draws } else { draws / 3 };
            let (mut right, mut refused, mut wrong) = (0, 0, 0);
            let (mut edge, mut side) = (0.0_f64, 0.0_f64);
            let mut time = 0.0;
            for draw in 0..draws {
                let scan = tablet_scan(1000 * steps as u64 + draw, steps, flaw);
                let preview = preview(&scan);
                let start = std::time::Instant::now();
                let answer = find_tablet(&preview, &scan.table);
                time += start.elapsed().as_secs_f64();
                let pitched = answer.as_ref().map_or(0, TabletPlace::placed_by_pitch);
                match compare(&scan, answer) {
                    Outcome::Right(e, s) => {
                        right += 1;
                        edge = edge.max(e);
                        side = side.max(s);
                        if flaw != TabletFlaw::None || (verbose && e > 0.03) {
                            println!("  {draw} found, {pitched} by pitch, edge {e:.3}: {}", scan.scene);
                        }
                    }
                    Outcome::Refused(why) => {
                        refused += 1;
                        if verbose {
                            println!("  {draw} {why}\n     {}", scan.scene);
                        }
                    }
                    Outcome::Wrong(what) => {
                        wrong += 1;
                        println!("  {draw} WRONG {what}\n     {}", scan.scene);
                    }
                }
            }
            println!(
                "{flaw:?} {steps}: right {right}, refused {refused}, wrong {wrong}; edge {edge:.3} of the pitch, side {side:.3}; {:.2} s each",
                time / draws as f64
            );
        }
    }
}
