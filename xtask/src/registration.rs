//! The proof of laying frames on each other: pairs made from known places, in
//! which leaves and sky change sides, and pairs that must be refused.
//!
//! Pixels in the tables are those of pictures 2000 pixels wide. With a folder of
//! glass plates their frames are laid too, and where there is a Python, two
//! published methods find the shifts of one texture beside ours.

mod peers;
mod plates;

use crate::workspace::Workspace;
use negative::registration::{GreyPicture, Motion, Registration, RegistrationError, register};
use std::path::PathBuf;
use std::time::Instant;
use testkit::{FramePairPlan, SecondFrame, frame_pair};

/// Width of the pictures. \[pixels\]
const WIDTH: usize = 2000;
/// How near a point must lie to its true place. \[pixels\]
const NEAR_PX: f64 = 0.25;
/// Least share of points that near, refused pairs counted as far.
const LEAST_NEAR: f64 = 0.95;
/// A place so far off, that is not refused, is wrong without a word. \[pixels\]
const WRONG_PX: f64 = 1.0;
/// Least share of points within two standard uncertainties: a standard
/// deviation is stated along the worse direction, and two of it hold 86 % where
/// both directions are as bad (1 − exp(−2)), 95 % where one is.
const LEAST_HELD: f64 = 0.86;

/// One row of the table.
struct Kind {
    what: &'static str,
    /// Largest rotation to either side. \[radians\]
    rotation: f64,
    /// Largest part by which the scale differs.
    scale: f64,
    /// Largest shift. \[pixels\]
    shift: f64,
    /// Largest tilt of the camera.
    tilt: f64,
    grain: f64,
    motion: Motion,
}

const SCANS: Kind = Kind {
    what: "shift, rotation, scale",
    rotation: 0.035,
    scale: 0.01,
    shift: 40.0,
    tilt: 0.0,
    grain: 0.0,
    motion: Motion::Flat,
};

const KINDS: [Kind; 8] = [
    Kind {
        what: "shift",
        rotation: 0.0,
        scale: 0.0,
        grain: 0.02,
        ..SCANS
    },
    Kind {
        grain: 0.01,
        ..SCANS
    },
    Kind {
        grain: 0.02,
        ..SCANS
    },
    Kind {
        grain: 0.03,
        ..SCANS
    },
    Kind {
        grain: 0.04,
        ..SCANS
    },
    Kind {
        grain: 0.06,
        ..SCANS
    },
    Kind {
        what: "large rotation and scale",
        rotation: 0.1,
        scale: 0.06,
        shift: 150.0,
        grain: 0.02,
        ..SCANS
    },
    Kind {
        what: "tilted camera",
        tilt: 0.02,
        grain: 0.02,
        motion: Motion::Tilted,
        ..SCANS
    },
];

const HEAD: &str = "second frame  motion                    grain  pairs  refused  near %  median px  worst px  held %  said px     ms";

struct Wanted {
    pairs: u64,
    draw: u64,
    plates: Option<PathBuf>,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        pairs: 8,
        draw: 1,
        plates: None,
    };
    for pair in words.chunks(2) {
        let number = |value: &str| {
            value
                .parse::<u64>()
                .map_err(|_| format!("{} wants a whole number, not {value:?}", pair[0]))
        };
        match pair {
            ["--pairs", value] => wanted.pairs = number(value)?.max(1),
            ["--draw", value] => wanted.draw = number(value)?,
            ["--plates", folder] => wanted.plates = Some(PathBuf::from(folder)),
            _ => {
                return Err(format!(
                    "registration knows --pairs, --draw and --plates with a value, not {}",
                    pair[0]
                ));
            }
        }
    }
    Ok(wanted)
}

/// Runs the proof; an error lists what is not as it should be.
pub(crate) fn run(workspace: &Workspace, words: &[&str]) -> Result<(), String> {
    let wanted = wanted(words)?;
    println!(
        "registration: {} pairs of {WIDTH} pixels in each row, draw {}; leaves and sky inverted",
        wanted.pairs, wanted.draw
    );
    println!();
    println!("{HEAD}");
    let mut failed = vec![];
    let mut all = Score::default();
    for kind in &KINDS {
        let score = prove(kind, &wanted)?;
        println!("{}", row("deep red", kind, &score));
        all.add(&score);
    }
    println!(
        "{}",
        row(
            "",
            &Kind {
                what: "all",
                ..SCANS
            },
            &all
        )
    );
    if all.share(all.near) < LEAST_NEAR {
        failed.push(format!(
            "{:.1} % of the points lie within {NEAR_PX} px, {:.0} % are asked for",
            100.0 * all.share(all.near),
            100.0 * LEAST_NEAR
        ));
    }
    if all.share_of_laid(all.held) < LEAST_HELD {
        failed.push(format!(
            "{:.1} % of the points lie within two standard uncertainties, {:.0} % are asked for",
            100.0 * all.share_of_laid(all.held),
            100.0 * LEAST_HELD
        ));
    }
    failed.extend(all.wrong.iter().cloned());
    failed.extend(must_be_refused(&wanted));
    if let Some(folder) = &wanted.plates {
        failed.extend(plates::run(folder)?);
    }
    failed.extend(peers::run(workspace, wanted.draw)?);
    println!();
    if failed.is_empty() {
        println!("every frame is laid as it should be, or refused");
        Ok(())
    } else {
        Err(failed.join("; "))
    }
}

/// What came of the pairs of a row.
#[derive(Default)]
struct Score {
    pairs: u64,
    refused: u64,
    points: u64,
    /// Points within a quarter of a pixel.
    near: u64,
    /// Points within two standard uncertainties.
    held: u64,
    off_px: Vec<f64>,
    said_px: Vec<f64>,
    times_ms: Vec<f64>,
    /// Places that are wrong without a word.
    wrong: Vec<String>,
}

impl Score {
    fn add(&mut self, other: &Self) {
        self.pairs += other.pairs;
        self.refused += other.refused;
        self.points += other.points;
        self.near += other.near;
        self.held += other.held;
        self.off_px.extend(&other.off_px);
        self.said_px.extend(&other.said_px);
        self.times_ms.extend(&other.times_ms);
        self.wrong.extend(other.wrong.iter().cloned());
    }

    /// Of all points, those of refused pairs among them.
    fn share(&self, count: u64) -> f64 {
        count as f64 / self.points.max(1) as f64
    }

    fn share_of_laid(&self, count: u64) -> f64 {
        count as f64 / self.off_px.len().max(1) as f64
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}

fn row(second: &str, kind: &Kind, score: &Score) -> String {
    let grain = if kind.grain > 0.0 {
        format!("{:.2}", kind.grain)
    } else {
        String::new()
    };
    format!(
        "{second:<13} {:<25} {grain:>5} {:>6} {:>8} {:>7.1} {:>10.3} {:>9.3} {:>7.1} {:>8.3} {:>6.0}",
        kind.what,
        score.pairs,
        score.refused,
        100.0 * score.share(score.near),
        median(&score.off_px),
        score.off_px.iter().copied().fold(0.0, f64::max),
        100.0 * score.share_of_laid(score.held),
        median(&score.said_px),
        median(&score.times_ms),
    )
}

/// The pair of a row: numbers spread evenly by steps of the golden ratio.
fn plan(kind: &Kind, draw: u64, number: u64) -> FramePairPlan {
    let count = (draw * 1000 + number) as f64;
    let part = |k: f64| 2.0 * ((count * 0.618_033_988_749_895 * k).fract() - 0.5);
    FramePairPlan {
        draw: draw * 1000 + number,
        width: WIDTH,
        rotation: kind.rotation * part(1.0),
        scale: 1.0 + kind.scale * part(2.0),
        shift: (kind.shift * part(3.0), kind.shift * part(5.0)),
        tilt: (kind.tilt * part(7.0), kind.tilt * part(11.0)),
        grain: kind.grain,
        second: SecondFrame::BehindDeepRed,
    }
}

/// Points spread over the picture, its corners not among them.
fn points(plan: &FramePairPlan) -> Vec<(f64, f64)> {
    let (width, height) = (plan.width as f64, plan.height() as f64);
    [0.1, 0.3, 0.5, 0.7, 0.9]
        .iter()
        .flat_map(|u| [0.1, 0.5, 0.9].map(|v| (u * width, v * height)))
        .collect()
}

fn registered(
    plan: &FramePairPlan,
    motion: Motion,
) -> (Result<Registration, RegistrationError>, f64) {
    let pair = frame_pair(plan);
    let picture = |values| GreyPicture::new(pair.width, pair.height, values);
    let (first, second) = match (picture(pair.first), picture(pair.second)) {
        (Ok(first), Ok(second)) => (first, second),
        (Err(error), _) | (_, Err(error)) => return (Err(error), 0.0),
    };
    let began = Instant::now();
    let found = register(&first, &second, motion);
    (found, 1e3 * began.elapsed().as_secs_f64())
}

fn prove(kind: &Kind, wanted: &Wanted) -> Result<Score, String> {
    let mut score = Score::default();
    for number in 0..wanted.pairs {
        let plan = plan(kind, wanted.draw, number);
        let (found, ms) = registered(&plan, kind.motion);
        let points = points(&plan);
        score.pairs += 1;
        score.points += points.len() as u64;
        score.times_ms.push(ms);
        let found = match found {
            Ok(found) => found,
            Err(_) => {
                score.refused += 1;
                continue;
            }
        };
        let mut most: f64 = 0.0;
        for point in points {
            let (there, truth) = (found.placement().carry(point), plan.carry(point));
            let off = (there.0 - truth.0).hypot(there.1 - truth.1);
            let said = found.uncertainty_px(point);
            score.near += u64::from(off < NEAR_PX);
            score.held += u64::from(off < 2.0 * said);
            score.off_px.push(off);
            score.said_px.push(said);
            most = most.max(off);
        }
        if most > WRONG_PX {
            score.wrong.push(format!(
                "{}, grain {}, pair {number}: laid {most:.2} px off without a word",
                kind.what, kind.grain
            ));
        }
    }
    Ok(score)
}

/// Frames that can't be laid: nothing on them, or another subject.
fn must_be_refused(wanted: &Wanted) -> Vec<String> {
    let mut failed = vec![];
    println!();
    println!("second frame     pairs  refused  as blank");
    for (second, what) in [
        (SecondFrame::Blank, "blank"),
        (SecondFrame::OtherSubject, "another subject"),
    ] {
        let (mut refused, mut as_blank) = (0, 0);
        for number in 0..wanted.pairs {
            let kind = &KINDS[number as usize % KINDS.len()];
            let plan = FramePairPlan {
                second,
                ..plan(kind, wanted.draw, number)
            };
            match registered(&plan, kind.motion).0 {
                Err(error) => {
                    refused += 1;
                    as_blank += u64::from(matches!(error, RegistrationError::TooBlank { .. }));
                }
                Ok(_) => failed.push(format!("{what}, pair {number}: laid without a word")),
            }
        }
        println!("{what:<16} {:>5} {refused:>8} {as_blank:>9}", wanted.pairs);
        // A blank frame takes the holder's place, so it must be told from a strange one.
        let expected = if second == SecondFrame::Blank {
            refused
        } else {
            0
        };
        if as_blank != expected {
            failed.push(format!("{what}: {as_blank} of {refused} refused as blank"));
        }
    }
    failed
}
