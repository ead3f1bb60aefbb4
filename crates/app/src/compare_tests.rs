//! Two or more test folders compared, and outside reports held against them.

use crate::error::with_causes;
use crate::evaluate_folder::folder_findings;
use crate::{AppError, Progress, VERSION};
use figures::Sheet;
use findings::{
    Assumptions, BatchQuantity, Compared, Comparison, Difference, ProcessPoint, ReportCheck,
    StopsDifference, compare,
};
use quantity::Stops;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// What a comparison gives.
#[derive(Clone, Debug)]
pub struct ComparedTests {
    /// What was found.
    pub comparison: Comparison,
    /// The same with stable keys.
    pub json: Value,
    /// The running plot of each film's process, with the film's name; only
    /// films with two or more curves have one.
    pub process_plots: Vec<(String, String)>,
    /// Sentences that name what was assumed or not used in the folders.
    pub warnings: Vec<String>,
}

/// Compares test folders; writes nothing.
///
/// # Errors
/// [`AppError`] when a folder, a scan or its readings are at fault, or when
/// there is nothing to compare.
pub fn compare_tests(dirs: &[PathBuf], progress: &dyn Progress) -> Result<ComparedTests, AppError> {
    let named: Vec<(String, PathBuf)> = names(dirs).into_iter().zip(dirs.iter().cloned()).collect();
    compare_named_tests(&named, progress)
}

/// Compares test folders under names of their own; writes nothing.
///
/// # Errors
/// As for [`compare_tests`].
pub fn compare_named_tests(
    named: &[(String, PathBuf)],
    progress: &dyn Progress,
) -> Result<ComparedTests, AppError> {
    let mut tests = vec![];
    let mut warnings = vec![];
    for (name, dir) in named {
        let (folder, measured, findings) = folder_findings(dir, progress)
            // With several folders a message must say which one it is about.
            .map_err(|e| AppError::new(format!("{name}: {}", e.problem), e.remedy))?;
        warnings.extend(
            folder
                .warnings
                .iter()
                .chain(&measured.warnings)
                .chain(&measured.refusals)
                .map(|w| format!("{name}: {w}")),
        );
        tests.push((name, folder, findings));
    }
    let compared: Vec<_> = tests
        .iter()
        .map(|(name, folder, findings)| Compared {
            name: (*name).clone(),
            test: &folder.test,
            findings,
        })
        .collect();
    let comparison = compare(&compared, &Assumptions::COMMON_PRACTICE).map_err(|e| {
        AppError::new(
            with_causes(&e),
            "filmproof compare TEST TEST ...; each test once",
        )
    })?;
    let process_plots = process_plots(&comparison);
    Ok(ComparedTests {
        json: comparison_json(&comparison),
        comparison,
        process_plots,
        warnings,
    })
}

/// A name for each folder: its last part, or the whole path where two agree.
fn names(dirs: &[PathBuf]) -> Vec<String> {
    let last = |dir: &Path| {
        // `.` and `..` have no last part until they are resolved.
        let resolved = dir.canonicalize();
        let dir = resolved.as_deref().unwrap_or(dir);
        dir.file_name()
            .map_or_else(|| dir.to_string_lossy(), |n| n.to_string_lossy())
            .into_owned()
    };
    dirs.iter()
        .map(|dir| {
            let name = last(dir);
            let alike = dirs.iter().filter(|d| last(d) == name).count();
            if alike > 1 {
                dir.display().to_string()
            } else {
                name
            }
        })
        .collect()
}

fn process_plots(comparison: &Comparison) -> Vec<(String, String)> {
    let mut films: Vec<&str> = vec![];
    for point in &comparison.process {
        if !films.contains(&point.film.as_str()) {
            films.push(&point.film);
        }
    }
    films
        .into_iter()
        .filter_map(|film| {
            let points: Vec<&ProcessPoint> = comparison
                .process
                .iter()
                .filter(|p| p.film == film)
                .collect();
            let svg = figures::process_plot(&points, comparison.coverage, Sheet::FILE)?;
            Some((film.to_owned(), svg))
        })
        .collect()
}

fn difference_of(stops: &StopsDifference) -> Value {
    json!({
        "value": stops.value.to_stops(),
        "low": stops.low.map(Stops::to_stops),
        "high": stops.high.map(Stops::to_stops),
    })
}

fn causes_of(d: &Difference) -> Vec<Value> {
    d.causes
        .iter()
        .map(|c| {
            json!({
                "cause": c.cause,
                "stops_low": c.stops.map(|s| s.0.to_stops()),
                "stops_high": c.stops.map(|s| s.1.to_stops()),
                "state": c.state.word(),
                "why": c.why,
            })
        })
        .collect()
}

fn report_json(r: &ReportCheck) -> Value {
    json!({
        "id": r.report.id.as_str(),
        "told_in": r.told_in,
        "film": r.report.film,
        "filter": r.report.filter,
        "ei": r.report.ei.map(quantity::ExposureIndex::to_arithmetic),
        "against": r.against,
        "checked": r.probability.is_some(),
        "verdict": r.verdict.word(),
        "reason": r.reason,
        "probability": r.probability,
        "stops_sd": r.standard_uncertainty.map(Stops::to_stops),
    })
}

/// Gives a comparison as JSON. The list `causes` holds every cause of every
/// difference once more, with `difference` its place in `differences`.
#[must_use]
fn comparison_json(c: &Comparison) -> Value {
    let causes: Vec<Value> = c
        .differences
        .iter()
        .enumerate()
        .flat_map(|(place, d)| {
            causes_of(d).into_iter().map(move |mut cause| {
                if let Value::Object(object) = &mut cause {
                    object.insert("difference".to_owned(), json!(place));
                    object.insert("quantity".to_owned(), json!(d.quantity.word()));
                    object.insert("first".to_owned(), json!(d.first.0));
                    object.insert("second".to_owned(), json!(d.second.0));
                }
                cause
            })
        })
        .collect();
    json!({
        "compared": c.names,
        "program": VERSION,
        "coverage": c.coverage,
        "verdict": c.headline().map(|d| d.verdict.as_str()),
        "differences": c.differences.iter().map(|d| json!({
            "first": { "test": d.first.0, "what": d.first.1 },
            "second": { "test": d.second.0, "what": d.second.1 },
            "quantity": d.quantity.word(),
            "stops": difference_of(&d.stops),
            "significant": d.significant,
            "important": d.important,
            "standing": findings::standing(d.significant, d.important),
            "verdict": d.verdict,
            "causes": causes_of(d),
        })).collect::<Vec<_>>(),
        "causes": causes,
        "outside_reports": c.outside_reports.iter().map(report_json).collect::<Vec<_>>(),
        "batch": c.batch.iter().map(|b| json!({
            "film": b.film,
            "first": b.first,
            "second": b.second,
            "first_count": b.first_count,
            "second_count": b.second_count,
            "quantity": b.quantity.word(),
            "difference": { "value": b.value, "low": b.low, "high": b.high },
            "limit": b.quantity.limit(),
            "degrees_of_freedom": b.degrees_of_freedom,
            "method": b.method,
            "significant": b.significant,
            "important": b.important,
            "batches_differ": b.batches_differ,
            "verdict": b.verdict,
        })).collect::<Vec<_>>(),
        "process": c.process.iter().map(|p| {
            let of = |quantity| p.quantity(quantity).map(|m| json!({
                "value": m.value(), "sd": m.standard_uncertainty(),
            }));
            json!({
                "test": p.test,
                "film": p.film,
                "batch": p.batch,
                "process": p.process.as_str(),
                "day": p.day,
                "base_plus_fog_density": of(BatchQuantity::BasePlusFog),
                "speed_stops_over_ei_1": of(BatchQuantity::Speed),
                "gradient": of(BatchQuantity::Gradient),
            })
        }).collect::<Vec<_>>(),
        "assumptions": c.assumptions.iter().map(|a| json!({
            "name": a.name, "value": a.value, "unit": a.unit, "source": a.source,
        })).collect::<Vec<_>>(),
        "notes": c.notes,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn folders_of_one_name_go_by_their_paths() {
        let dirs = ["a/test", "b/test", "c/other"].map(PathBuf::from);
        assert_eq!(names(&dirs), ["a/test", "b/test", "other"]);
    }
}
