//! A test of the notebook laid out as a folder, and its evaluation.
//!
//! Beside the notebook is a folder for what can be computed again: for each test
//! and revision its files, with scans linked to where the disk allows, and its
//! results. The whole of it may be thrown away at any time.

use super::ways::Scratch;
use super::{KeepError, Notebook};
use crate::output::{FINDINGS_JSON, REPORT_HTML};
use crate::{AppError, Evaluated, Progress, VERSION, evaluate_folder};
use notebook::{Held, Saved, ScanPlace, TestId};
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// Results that are there already.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EvaluatedTest {
    /// The revision they are of.
    pub revision: u32,
    /// The folder of results: report, figures, findings, readings.
    pub out: PathBuf,
    /// The report.
    pub report: PathBuf,
    /// The findings with stable keys, as a file.
    pub findings: PathBuf,
}

/// What of earlier revisions is removed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Forgotten {
    /// The files that were laid out.
    Files,
    /// Those and the results.
    All,
}

/// What tells whether a file was changed: its size and when it was written.
type Look = (u64, Option<SystemTime>);

fn look(path: &Path) -> Option<Look> {
    let kind = fs::metadata(path).ok()?;
    Some((kind.len(), kind.modified().ok()))
}

/// Says which program made the results.
const MADE_BY: &str = "made-by.txt";

impl Notebook {
    fn place(&self, test: TestId, revision: u32) -> PathBuf {
        self.work().join(format!("{test}-{revision}"))
    }

    /// A folder with the files of a test, to be read by the use cases that know
    /// folders: scans in it are links where the disk allows, so nothing in it may
    /// be changed. Gives the revision that it is.
    ///
    /// # Errors
    /// [`KeepError`] when there is no such revision, or a scan is not there.
    pub fn folder(&self, test: TestId, revision: Option<u32>) -> Result<(u32, PathBuf), KeepError> {
        let file = self.another()?;
        let revision = match revision {
            Some(revision) => revision,
            None => file.revision(test)?,
        };
        let dir = self.place(test, revision).join("test");
        if dir.join("test.toml").is_file() {
            return Ok((revision, dir));
        }
        let (_, documents) = file.documents(test, Some(revision))?;
        let laid = file.lay_out_to_read(&documents, &dir);
        if laid.is_err() && dir.join("test.toml").is_file() {
            // Somebody else laid the same out just now.
            return Ok((revision, dir));
        }
        laid?;
        self.forget_older(test, revision, Forgotten::Files);
        Ok((revision, dir))
    }

    /// Does something in a folder with the test's files, then saves what the
    /// folder holds, if the test still has the revision that was `seen`.
    ///
    /// # Errors
    /// What `act` gives, and as for [`Self::save`]; then nothing is saved.
    pub fn change_in_folder<T>(
        &self,
        test: TestId,
        seen: u32,
        by: &str,
        what: &str,
        act: impl FnOnce(&Path) -> Result<T, AppError>,
    ) -> Result<(Saved, T), KeepError> {
        let scratch = Scratch::within(self.work())?;
        let file = self.another()?;
        let (_, documents) = file.documents(test, Some(seen))?;
        file.lay_out_to_read(&documents, &scratch.0)?;
        // Scans are large and not to be changed: those that still are as they were
        // laid out are not read again.
        let laid: Vec<(&str, &Held, Option<Look>)> = documents
            .iter()
            .filter(|(_, held)| matches!(held, Held::Stored(_)))
            .map(|(path, held)| (path, held, look(&scratch.0.join(path))))
            .collect();
        let answer = act(&scratch.0)?;
        let mut unchanged = vec![];
        for (path, held, before) in laid {
            let place = scratch.0.join(path);
            if before.is_some() && look(&place) == before {
                fs::remove_file(&place).map_err(|e| AppError::file("removing", &place, &e))?;
                unchanged.push((path, held));
            }
        }
        let mut taken = file
            .take_folder_in(&scratch.0, ScanPlace::TakenIn, &|_, _| true)?
            .documents;
        for (path, held) in unchanged {
            taken.put(path, held.clone())?;
        }
        Ok((self.save(test, seen, &taken, by, what)?, answer))
    }

    /// Evaluates a test, as it is or as it was in a revision; results are kept
    /// by revision.
    ///
    /// # Errors
    /// [`KeepError`] as for `evaluate_folder`, and when it was asked to stop.
    pub fn evaluate(
        &self,
        test: TestId,
        revision: Option<u32>,
        made_on: Option<String>,
        progress: &dyn Progress,
    ) -> Result<(u32, Evaluated), KeepError> {
        progress.at("laying the test out", 0, 1);
        let (revision, dir) = self.folder(test, revision)?;
        let place = self.place(test, revision);
        let made_by = place.join(MADE_BY);
        // Until the new results are whole there are none.
        drop(fs::remove_file(&made_by));
        let evaluated = evaluate_folder(&dir, Some(&place.join("results")), made_on, progress)?;
        self.same_scans(test, revision, &evaluated)?;
        crate::write_file(&made_by, VERSION.as_bytes())?;
        self.forget_older(test, revision, Forgotten::All);
        Ok((revision, evaluated))
    }

    /// Refuses results of scans that were changed after they were laid out: one that is
    /// referred to where it is can be, by anybody.
    fn same_scans(
        &self,
        test: TestId,
        revision: u32,
        evaluated: &Evaluated,
    ) -> Result<(), KeepError> {
        let (_, documents) = self.file().documents(test, Some(revision))?;
        let scans = evaluated.json.get("scans").and_then(Value::as_array);
        for scan in scans.into_iter().flatten() {
            let text = |key: &str| scan.get(key).and_then(Value::as_str).unwrap_or_default();
            let held = documents.get(text("file")).map(Held::fingerprint);
            if held.is_some_and(|held| held.sha256 != text("sha256")) {
                return Err(AppError::new(
                    format!(
                        "the scan {} was changed since it was imported",
                        text("file")
                    ),
                    "put the file back, or import the test again with its scans taken in",
                )
                .into());
            }
        }
        Ok(())
    }

    /// The results of a test's revision, if this version of the program made
    /// them before.
    ///
    /// # Errors
    /// [`KeepError::NotThere`].
    pub fn evaluated(
        &self,
        test: TestId,
        revision: Option<u32>,
    ) -> Result<Option<EvaluatedTest>, KeepError> {
        let revision = match revision {
            Some(revision) => revision,
            None => self.file().revision(test)?,
        };
        let place = self.place(test, revision);
        let ours = fs::read_to_string(place.join(MADE_BY)).is_ok_and(|text| text == VERSION);
        let out = place.join("results");
        let results = EvaluatedTest {
            revision,
            report: out.join(REPORT_HTML),
            findings: out.join(FINDINGS_JSON),
            out,
        };
        Ok((ours && results.findings.is_file()).then_some(results))
    }

    /// Removes what was laid out and computed of earlier revisions, but for the
    /// last few.
    fn forget_older(&self, test: TestId, revision: u32, what: Forgotten) {
        const KEPT: u32 = 3;
        let Ok(entries) = fs::read_dir(self.work()) else {
            return;
        };
        for entry in entries.flatten() {
            let name = entry.file_name();
            let older = name
                .to_str()
                .and_then(|name| name.strip_prefix(&format!("{test}-")))
                .and_then(|rest| rest.parse::<u32>().ok())
                .is_some_and(|number| number + KEPT <= revision);
            if older {
                // Can be computed again; what can't be removed is harmless.
                match what {
                    Forgotten::All => drop(fs::remove_dir_all(entry.path())),
                    Forgotten::Files => {
                        drop(fs::remove_dir_all(entry.path().join("test")));
                        // Stays where there are results.
                        drop(fs::remove_dir(entry.path()));
                    }
                }
            }
        }
    }
}
