//! Step tablets looked for in the scans of a test of the notebook.
//!
//! What is found is an answer to be looked at: nothing is kept by the search.

use super::{KeepError, Notebook, OpenTest};
use crate::tablet_search::{densities_of, steps_in_record};
use crate::{AppError, FoundTablet, Progress};
use notebook::{TestId, read_test_folder};
use record::{Calibrator, Scan};
use sensitometry::StepTablet;

/// A tablet that is usual, by its nominal densities.
#[derive(Clone, Copy, Debug)]
pub struct UsualTablet {
    /// The word that stands for it.
    pub word: &'static str,
    nominal: fn() -> StepTablet,
}

/// Tablets that are usual.
pub const USUAL_TABLETS: [UsualTablet; 3] = [
    UsualTablet {
        word: "nominal-21",
        nominal: StepTablet::nominal_21,
    },
    UsualTablet {
        word: "nominal-31",
        nominal: StepTablet::nominal_31,
    },
    UsualTablet {
        word: "nominal-11",
        nominal: StepTablet::nominal_11,
    },
];

impl UsualTablet {
    /// The usual tablet of a word; `None` where it stands for none.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        USUAL_TABLETS.into_iter().find(|usual| usual.word == word)
    }

    /// Density of each step, the clear end first.
    fn densities(self) -> Vec<f64> {
        let tablet = (self.nominal)();
        let steps = tablet.steps().iter();
        steps.map(|d| d.value().to_density()).collect()
    }

    /// Number of its steps.
    #[must_use]
    pub fn steps(self) -> u32 {
        // Some tens, so the cast is exact.
        self.densities().len() as u32
    }

    /// Says what it is: its steps and how far apart they are in density.
    #[must_use]
    pub fn words(self) -> String {
        let densities = self.densities();
        let apart = match densities.as_slice() {
            [first, .., last] => (last - first) / (densities.len() - 1) as f64,
            _ => 0.0,
        };
        format!(
            "usual tablet of {} steps, {apart:.2} apart",
            densities.len()
        )
    }
}

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
            if let Some(usual) = UsualTablet::of_word(word)
                && !tablets.iter().any(|(id, _)| id == word)
            {
                tablets.push((word.to_owned(), usual.densities()));
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
