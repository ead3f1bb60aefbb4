//! Maps for the report: frames behind a filter over the unfiltered frame of their scene.
//!
//! Of each light and filter the best frame is drawn, up to [`MOST_PAIRS`]; the rest is
//! named with the command that draws it. What can't be laid on each other is said.
//! Pictures are small, so that a report stays one that can be mailed; `map` draws large
//! ones. Frames are laid on each other once: where their patches were carried, that
//! registration is used, else the previews of the measuring pass.
//!
//! Begin with [`report_maps`].

use crate::AppError;
use crate::carrying::{Way, laid_surveyed};
use crate::density_maps::{DensityPicture, Mapped, left_out, mapped};
use crate::density_pair::{ONE_CURVE, Pair};
use crate::measuring::{Measuring, Surveyed};
use figures::Sheet;
use findings::{Findings, FrameFinding, Verdict};
use negative::registration::Registration;
use notebook::TestFolder;
use record::{Id, Response};
use report::{MapsTold, PairPictures};
use serde_json::{Value, json};

/// Pairs that are drawn at most.
const MOST_PAIRS: usize = 3;
/// Long side of a map in the report, at most. \[pixels\]
const SIDE: u32 = 420;
/// Width of a field of the joint histogram.
const FIELD_DENSITY: f64 = 0.1;

/// The maps of a report and their numbers.
pub(crate) struct ReportMaps {
    pub(crate) told: MapsTold,
    pub(crate) json: Value,
}

/// A frame behind a filter, and the frame without one that it is held against.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Chosen {
    frame: Id,
    against: Id,
    filters: Vec<Id>,
    light: Id,
    /// The patch whose difference is the zero, if the factor was matched on one.
    zero: Option<Id>,
}

/// Film, light and filters of frames.
type Kind<'a> = (&'a Id, &'a Id, &'a [Id]);

/// What one pair came to.
struct Drawn {
    pictures: PairPictures,
    json: Value,
}

/// Draws the maps of a test, and says what could not be drawn.
pub(crate) fn report_maps(
    folder: &TestFolder,
    measured: &Measuring,
    findings: &Findings,
    test: &str,
) -> ReportMaps {
    let (drawn, mut further) = chosen(findings, measured);
    if !has_density_curve(findings) {
        // No command draws them either.
        further.clear();
    }
    // Pairs don't wait for each other; decoding and registration take most of the time.
    let results: Vec<Result<Drawn, AppError>> = std::thread::scope(|scope| {
        let threads: Vec<_> = drawn
            .iter()
            .map(|pair| scope.spawn(move || draw(folder, measured, findings, (pair, test))))
            .collect();
        threads
            .into_iter()
            .map(|thread| {
                thread
                    .join()
                    .unwrap_or_else(|_| Err(AppError::new("drawing the maps broke off", "")))
            })
            .collect()
    });
    let mut told = MapsTold {
        most: MOST_PAIRS,
        further: further.iter().map(|pair| command(test, pair)).collect(),
        ..MapsTold::default()
    };
    let mut pairs = vec![];
    let mut refused = vec![];
    let mut reasons: Vec<(String, Vec<String>)> = vec![];
    for (pair, result) in drawn.iter().zip(results) {
        match result {
            Ok(drawn) => {
                told.pairs.push(drawn.pictures);
                pairs.push(drawn.json);
            }
            Err(error) => {
                let names = format!("frame {} over frame {}", pair.frame, pair.against);
                match reasons
                    .iter_mut()
                    .find(|(reason, _)| *reason == error.problem)
                {
                    Some((_, all)) => all.push(names),
                    None => reasons.push((error.problem.clone(), vec![names])),
                }
                refused.push(json!({
                    "frame": pair.frame.as_str(),
                    "against": pair.against.as_str(),
                    "reason": error.problem,
                }));
            }
        }
    }
    told.refused = reasons
        .into_iter()
        .map(|(reason, pairs)| format!("{}: {reason}", pairs.join(", ")))
        .collect();
    let json = json!({
        "pairs": pairs,
        "refused": refused,
        "further": further.iter().map(|pair| json!({
            "frame": pair.frame.as_str(),
            "against": pair.against.as_str(),
        })).collect::<Vec<_>>(),
    });
    ReportMaps { told, json }
}

/// The pairs to be drawn, and the rest.
fn chosen(findings: &Findings, measured: &Measuring) -> (Vec<Chosen>, Vec<Chosen>) {
    let scanned = |frame: &FrameFinding| scan_of(measured, &frame.frame).is_some();
    let shows = |frame: &&FrameFinding| {
        !matches!(frame.verdict, Verdict::Blank | Verdict::Control) && scanned(frame)
    };
    let frames: Vec<&FrameFinding> = findings.frames.iter().filter(shows).collect();
    let mut pairs: Vec<(usize, Chosen)> = vec![];
    let mut of_kind: Vec<(Kind<'_>, Vec<&FrameFinding>)> = vec![];
    for frame in frames.iter().filter(|f| !f.filters.is_empty()) {
        let Some(light) = &frame.light else { continue };
        let kind = (&frame.film, light, &frame.filters[..]);
        match of_kind.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, all)) => all.push(frame),
            None => of_kind.push((kind, vec![frame])),
        }
    }
    for ((film, light, filters), mut behind) in of_kind {
        let anchor = frames
            .iter()
            .filter(|f| f.film == *film && f.light.as_ref() == Some(light) && f.filters.is_empty())
            .min_by_key(|f| rank(f.verdict));
        let Some(anchor) = anchor else { continue };
        let zero = findings
            .factors
            .iter()
            .find(|f| f.film == *film && f.light == *light && f.filters == filters)
            .and_then(|f| f.matched_on.first());
        behind.sort_by_key(|f| rank(f.verdict));
        for (place, frame) in behind.into_iter().enumerate() {
            pairs.push((
                place,
                Chosen {
                    frame: frame.frame.clone(),
                    against: anchor.frame.clone(),
                    filters: filters.to_vec(),
                    light: light.clone(),
                    zero: zero.cloned(),
                },
            ));
        }
    }
    // The best of each light and filter before any second one.
    let (mut first, mut rest): (Vec<_>, Vec<_>) =
        pairs.into_iter().partition(|(place, _)| *place == 0);
    let over = first.split_off(first.len().min(MOST_PAIRS));
    rest.splice(0..0, over);
    let only = |pairs: Vec<(usize, Chosen)>| pairs.into_iter().map(|(_, pair)| pair).collect();
    (only(first), only(rest))
}

/// The frame that shows most of its subject comes first.
fn rank(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Printable => 0,
        Verdict::Dense => 1,
        Verdict::Thin => 2,
        _ => 3,
    }
}

fn scan_of<'a>(measured: &'a Measuring, frame: &Id) -> Option<&'a Surveyed> {
    measured
        .scans
        .iter()
        .find(|s| s.patches.iter().any(|((of, _), _)| of == frame))
}

fn has_density_curve(findings: &Findings) -> bool {
    findings
        .curves
        .iter()
        .any(|c| c.response == Response::Density)
}

/// The command that draws a pair.
fn command(test: &str, pair: &Chosen) -> String {
    let zero = pair
        .zero
        .as_ref()
        .map_or_else(String::new, |zero| format!(" --zero {zero}"));
    format!(
        "filmproof map {test} {} --against {}{zero}",
        pair.frame, pair.against
    )
}

fn draw(
    folder: &TestFolder,
    measured: &Measuring,
    findings: &Findings,
    (pair, test): (&Chosen, &str),
) -> Result<Drawn, AppError> {
    if !has_density_curve(findings) {
        return Err(AppError::new(
            "no density curve of the film is known, since no step tablet calibrates the scans",
            "",
        ));
    }
    let frame = mapped(folder, measured, &pair.frame, SIDE)?;
    let against = mapped(folder, measured, &pair.against, SIDE)?;
    let pair_found = Pair {
        folder,
        measured,
        findings,
        registration: registration(folder, measured, &frame, &against)?,
        frame: left_out(frame),
        against: left_out(against),
    };
    let zero = pair.zero.as_ref().map(Id::as_str);
    // A zero that lies on toe or shoulder tells nothing; equal exposure always does.
    let told = match pair_found.told(zero) {
        Ok(told) => told,
        Err(_) if zero.is_some() => pair_found.told(None)?,
        Err(error) => return Err(error),
    };
    let joint = pair_found.joint_counts(FIELD_DENSITY);
    let pictures = PairPictures {
        frame: pair.frame.clone(),
        against: pair.against.clone(),
        filters: pair.filters.clone(),
        light: pair.light.clone(),
        density: DensityPicture::of(&pair_found.frame)?.svg(Sheet::PHONE),
        stops: pair_found.stops_picture(&told)?.svg(Sheet::PHONE),
        joint: pair_found.joint_picture(&joint, Sheet::PHONE),
        told: told.shares_words(),
        limits: ONE_CURVE.to_owned(),
        command: command(test, pair),
    };
    let json = json!({
        "frame": pair.frame.as_str(),
        "against": pair.against.as_str(),
        "light": pair.light.as_str(),
        "registration": pair_found.registration_json(),
        "difference": told.to_json(),
        "joint": { "field_density": joint.step, "pixels": joint.pixels },
    });
    Ok(Drawn { pictures, json })
}

/// From the scan of the second frame to that of the first.
fn registration(
    folder: &TestFolder,
    measured: &Measuring,
    frame: &Mapped<'_>,
    against: &Mapped<'_>,
) -> Result<Registration, AppError> {
    let carried = measured.carried.iter().find_map(|c| match &c.way {
        Way::Registered(quality) if c.scan == frame.scan.id && c.from_scan == against.scan.id => {
            Some(quality.registration.clone())
        }
        _ => None,
    });
    if let Some(found) = carried {
        return Ok(found);
    }
    let of = |scan: &Id| measured.scans.iter().find(|s| s.scan == *scan);
    let (Some(first), Some(second)) = (of(&against.scan.id), of(&frame.scan.id)) else {
        unreachable!("a mapped frame's scan was measured")
    };
    laid_surveyed(folder, SIDE, first, second)
}
