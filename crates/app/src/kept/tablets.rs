//! Step tablets looked for in the scans of a test of the notebook.
//!
//! What is found is an answer to be looked at: nothing is kept by the search.

use super::{KeepError, Notebook, OpenTest};
use crate::tablet_search::{densities_of, steps_in_record};
use crate::{AppError, FoundTablet, Progress};
use notebook::{TestId, read_test_folder};
use record::{Calibrator, Scan};
use sensitometry::StepTablet;

/// Tablets that are usual: the word for each, and its number of steps.
pub const USUAL_TABLETS: [(&str, u32); 3] =
    [("nominal-21", 21), ("nominal-31", 31), ("nominal-11", 11)];

/// One tablet to be looked for in one scan. Two that are equal have the same answer.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletQuestion {
    /// Id of the scan.
    pub scan: String,
    /// Id of a recorded tablet, or the word of a usual one.
    pub tablet: String,
    sha256: String,
    page: u32,
    tone: record::Tone,
    channel: record::Channel,
    densities: Vec<f64>,
}

impl OpenTest {
    /// Gives what can be looked for in scans that nothing calibrates: each tablet of the
    /// record, or only the one that is named, which may be a usual one. A scan that names
    /// its tablet without saying where it lies is asked for that one.
    #[must_use]
    pub fn tablet_questions(&self, only: Option<&str>) -> Vec<TabletQuestion> {
        let parts = &self.checked.parts;
        let mut tablets: Vec<(String, Vec<f64>)> = parts
            .tablets
            .iter()
            .map(|t| (t.id.to_string(), densities_of(t)))
            .collect();
        if let Some(word) = only {
            if let Some(densities) = usual_densities(word)
                && !tablets.iter().any(|(id, _)| id == word)
            {
                tablets.push((word.to_owned(), densities));
            }
            tablets.retain(|(id, _)| id == word);
        }
        let asked = |scan: &Scan, tablet: &str| match &scan.calibrator {
            Calibrator::None => true,
            Calibrator::Within(strip) => strip.steps.is_empty() && strip.tablet.as_str() == tablet,
            Calibrator::OtherScan(_) => false,
        };
        let mut questions = vec![];
        for scan in &parts.scans {
            let Some(held) = self.documents.get(&scan.file) else {
                continue;
            };
            let sha256 = held.fingerprint().sha256;
            for (tablet, densities) in tablets.iter().filter(|(id, _)| asked(scan, id)) {
                questions.push(TabletQuestion {
                    scan: scan.id.to_string(),
                    tablet: tablet.clone(),
                    sha256: sha256.clone(),
                    page: scan.page,
                    tone: scan.tone,
                    channel: scan.channel,
                    densities: densities.iter().map(|d| as_written(*d)).collect(),
                });
            }
        }
        questions
    }
}

impl Notebook {
    /// Looks for a tablet in a scan of a test's revision.
    ///
    /// # Errors
    /// [`KeepError`] when the scan is not there or can't be read, and when no tablet
    /// stands; the problem says why.
    pub fn find_tablet(
        &self,
        test: TestId,
        revision: u32,
        question: &TabletQuestion,
        progress: &dyn Progress,
    ) -> Result<FoundTablet, KeepError> {
        let (_, dir) = self.folder(test, Some(revision))?;
        let folder = read_test_folder(&dir).map_err(AppError::from)?;
        let scans = &folder.test.parts().scans;
        let scan = scans.iter().find(|s| s.id.as_str() == question.scan);
        let Some(scan) = scan else {
            return Err(AppError::new(
                format!("the test has no scan {:?}", question.scan),
                "load the page again",
            )
            .into());
        };
        // Whoever asked knows which scan it is.
        let shown = format!("scan {} ({}): ", scan.id, scan.file);
        steps_in_record(&folder, scan, &question.densities, progress).map_err(|e| {
            let problem = e.problem.strip_prefix(&shown).unwrap_or(&e.problem);
            AppError::new(problem, e.remedy).into()
        })
    }
}

/// A density as a table has it, so that a usual tablet and the same one recorded are one.
fn as_written(density: f64) -> f64 {
    (density * 1e4).round() / 1e4
}

fn usual_densities(word: &str) -> Option<Vec<f64>> {
    let tablet = match word {
        "nominal-21" => StepTablet::nominal_21(),
        "nominal-31" => StepTablet::nominal_31(),
        "nominal-11" => StepTablet::nominal_11(),
        _ => return None,
    };
    let steps = tablet.steps().iter();
    Some(steps.map(|d| d.value().to_density()).collect())
}
