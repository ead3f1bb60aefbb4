//! An evaluation as pages show it, kept beside the results.

use crate::{AppError, Evaluated, KeepError, Notebook, Progress, write_file};
use notebook::TestId;
use report::{DrawnTwice, Fragments};
use serde_json::{Value, json};
use std::fs;
use std::path::{Path, PathBuf};

/// An evaluation as pages show it.
#[derive(Clone, Debug)]
pub struct EvaluatedPages {
    /// The revision that it is of.
    pub revision: u32,
    /// The findings with stable keys.
    pub json: Value,
    /// Parts of the report.
    pub fragments: Fragments,
    /// The report, a file.
    pub report: PathBuf,
}

/// Parts of the report within the folder of a revision.
const PARTS: &str = "pages.json";
/// Earlier revisions that are looked through for results.
const BACK: u32 = 3;

impl Notebook {
    /// Evaluates a test and keeps what pages show of it; gives its revision.
    ///
    /// # Errors
    /// As for [`Notebook::evaluate`].
    pub fn evaluate_for_pages(
        &self,
        test: TestId,
        made_on: Option<String>,
        progress: &dyn Progress,
    ) -> Result<u32, KeepError> {
        let (revision, evaluated) = self.evaluate(test, None, made_on, progress)?;
        let parts = parts_json(&evaluated).to_string();
        write_file(&parts_place(&evaluated.out), parts.as_bytes())?;
        Ok(revision)
    }

    /// The last evaluation of a test, of this revision or one of the few before.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn evaluated_pages(&self, test: TestId) -> Result<Option<EvaluatedPages>, KeepError> {
        let now = self.overview(test)?.revision;
        for revision in (now.saturating_sub(BACK).max(1)..=now).rev() {
            let Some(kept) = self.evaluated(test, Some(revision))? else {
                continue;
            };
            let read = |path: &Path| -> Option<Value> {
                serde_json::from_slice(&fs::read(path).ok()?).ok()
            };
            // Results without their parts were made by a command; pages make them anew.
            if let (Some(json), Some(parts)) = (read(&kept.findings), read(&parts_place(&kept.out)))
            {
                return Ok(Some(EvaluatedPages {
                    revision,
                    json,
                    fragments: fragments_of(&parts),
                    report: kept.report,
                }));
            }
        }
        Ok(None)
    }

    /// The report of an evaluation.
    ///
    /// # Errors
    /// [`AppError`] when its file can't be read.
    pub fn report_of(&self, pages: &EvaluatedPages) -> Result<String, AppError> {
        fs::read_to_string(&pages.report).map_err(|e| AppError::file("reading", &pages.report, &e))
    }
}

fn parts_place(results: &Path) -> PathBuf {
    results.with_file_name(PARTS)
}

fn parts_json(evaluated: &Evaluated) -> Value {
    let parts = &evaluated.fragments;
    let twice = |d: &DrawnTwice| json!([d.wide, d.narrow]);
    json!({
        "answer": parts.answer,
        "criteria": parts.criteria,
        "reasons": parts.reasons,
        "scans": parts.scans,
        "raw": parts.raw,
        "curves": parts.curves.iter().map(|c| c.as_ref().map(twice)).collect::<Vec<_>>(),
        "brackets": parts.brackets,
        "families": parts.families.iter().map(twice).collect::<Vec<_>>(),
    })
}

fn fragments_of(json: &Value) -> Fragments {
    let text = |of: Option<&Value>| of.and_then(Value::as_str).unwrap_or_default().to_owned();
    let twice = |of: &Value| {
        let pair = of.as_array()?;
        Some(DrawnTwice {
            wide: text(pair.first()),
            narrow: text(pair.get(1)),
        })
    };
    let list = |key: &str| {
        let list = json.get(key).and_then(Value::as_array);
        list.into_iter().flatten().map(twice).collect::<Vec<_>>()
    };
    Fragments {
        answer: text(json.get("answer")),
        criteria: text(json.get("criteria")),
        reasons: text(json.get("reasons")),
        scans: text(json.get("scans")),
        raw: text(json.get("raw")),
        curves: list("curves"),
        brackets: text(json.get("brackets")),
        families: list("families").into_iter().flatten().collect(),
    }
}
