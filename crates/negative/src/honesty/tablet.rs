//! What the tablet of a calibration shows.

use super::finding::HonestyFinding;
use crate::calibration::{Calibration, StepUse, TabletMisfit};
use quantity::Flag;

/// Gives what the tablet of a calibration shows; its steps are numbered from 1
/// as they were given.
#[must_use]
pub fn tablet_findings(calibration: &Calibration) -> Vec<HonestyFinding> {
    let numbers: Vec<usize> = (1..=calibration.steps().len()).collect();
    tablet_findings_numbered(calibration, &numbers)
}

/// Gives what the tablet of a calibration shows, when not all of its steps
/// were given: `numbers` holds the number of each that was.
///
/// # Panics
/// When there is not one number for each step of the calibration.
#[must_use]
pub fn tablet_findings_numbered(
    calibration: &Calibration,
    numbers: &[usize],
) -> Vec<HonestyFinding> {
    let steps = calibration.steps();
    assert_eq!(
        steps.len(),
        numbers.len(),
        "each step of the calibration has its number"
    );
    let named = |of: StepUse| -> Vec<usize> {
        let found = steps.iter().zip(numbers).filter(|(s, _)| s.step_use == of);
        found.map(|(_, number)| *number).collect()
    };
    let mut findings = Vec::new();
    let out_of_order = named(StepUse::OutOfOrder);
    if !out_of_order.is_empty() {
        let does = if out_of_order.len() == 1 {
            "does not read between its neighbours and was left out"
        } else {
            "do not read between their neighbours and were left out"
        };
        let swapped = match out_of_order[..] {
            [a, b] if b == a + 1 => "; the outlines of the two may be swapped",
            _ => "",
        };
        findings.push(HonestyFinding::new(
            Flag::TabletOutOfOrder,
            format!(
                "{} of the tablet {does}{swapped}",
                steps_words(&out_of_order)
            ),
        ));
    }
    let clipped = named(StepUse::Clipped);
    if !clipped.is_empty() {
        let (is, them) = if clipped.len() == 1 {
            ("is", "it")
        } else {
            ("are", "them")
        };
        findings.push(HonestyFinding::new(
            Flag::Clipped,
            format!(
                "{} of the tablet {is} clipped; densities beyond {them} are limits",
                steps_words(&clipped)
            ),
        ));
    }
    let uneven: Vec<usize> = steps
        .iter()
        .zip(numbers)
        .filter(|(s, _)| s.unevenness.is_some())
        .map(|(_, number)| *number)
        .collect();
    if !uneven.is_empty() {
        let most = steps
            .iter()
            .filter_map(|s| s.unevenness)
            .fold(0.0, f64::max);
        let is = if uneven.len() == 1 { "is" } else { "are" };
        findings.push(HonestyFinding::new(
            Flag::UnevenPatch,
            format!(
                "{} of the tablet {is} uneven, by up to {most:.2} in density within the outline, \
                 which may lie across two steps",
                steps_words(&uneven)
            ),
        ));
    }
    if let Some(misfit) = calibration.misfit() {
        findings.push(HonestyFinding::new(
            Flag::TabletMisfit,
            misfit_words(misfit, numbers),
        ));
    }
    if calibration.reversed() {
        findings.push(HonestyFinding::new(
            Flag::SignalReversed,
            "code values rise with the densities of the tablet".to_owned(),
        ));
    }
    findings
}

fn misfit_words(misfit: &TabletMisfit, numbers: &[usize]) -> String {
    let numbered = |steps: &[usize]| -> Vec<usize> {
        let mut steps: Vec<usize> = steps.iter().map(|s| numbers[*s]).collect();
        steps.sort_unstable();
        steps
    };
    let mut clauses = Vec::new();
    if misfit.beyond_stated {
        clauses.push(format!(
            "the steps miss the curve through the others by {:.3} in density, where table and readings state {:.3}",
            misfit.rms, misfit.stated
        ));
        if !misfit.steps.is_empty() {
            clauses.push(format!(
                "most of all {}",
                steps_words(&numbered(&misfit.steps))
            ));
        }
    }
    if misfit.straddling {
        clauses.push(
            "so many steps are uneven that the outlines seem to lie across the steps".to_owned(),
        );
    }
    if !misfit.ends.is_empty() {
        clauses.push(format!(
            "{} {} not go on as the next two steps: an outline may lie beside the tablet, or the table be another's",
            steps_words(&numbered(&misfit.ends)),
            if misfit.ends.len() == 1 { "does" } else { "do" }
        ));
    }
    if let Some((by, rms)) = misfit.moved {
        let count = by.unsigned_abs();
        clauses.push(format!(
            "moved by {count} step{} the table fits to {rms:.3}: the outline given for step {} seems to show step {}",
            if count == 1 { "" } else { "s" },
            if by > 0 { 1 } else { 1 + count },
            if by > 0 { 1 + count } else { 1 }
        ));
    }
    clauses.push(format!(
        "{:.3} is added to the uncertainty of every density",
        misfit.added
    ));
    clauses.join("; ")
}

/// Names steps by their numbers, rising: "step 3", "steps 1, 2 and 7 to 9".
fn steps_words(numbers: &[usize]) -> String {
    let mut runs: Vec<(usize, usize)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if *last + 1 == *number => *last = *number,
            _ => runs.push((*number, *number)),
        }
    }
    let mut words: Vec<String> = Vec::new();
    for (first, last) in runs {
        match last - first {
            0 => words.push(first.to_string()),
            1 => words.extend([first.to_string(), last.to_string()]),
            _ => words.push(format!("{first} to {last}")),
        }
    }
    let noun = if numbers.len() == 1 { "step" } else { "steps" };
    match words.split_last() {
        Some((last, [])) => format!("{noun} {last}"),
        Some((last, before)) => format!("{noun} {} and {last}", before.join(", ")),
        None => noun.to_owned(),
    }
}
