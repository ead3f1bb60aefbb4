//! Step tablets looked for in scans; what was found is held until it is kept.

use super::{BY, Book, MOST_TILED, id};
use app::{AppError, FoundTablet, KeepError, Progress, StripOutline, StripPlace, TabletQuestion};
use std::collections::BTreeMap;
use std::sync::{Arc, MutexGuard, PoisonError};

/// What came of a look for one tablet in one scan of a test.
#[derive(Clone, Debug)]
pub(super) struct Look {
    test: u32,
    question: TabletQuestion,
    answer: Result<Arc<FoundTablet>, AppError>,
}

/// Answers that are held; each has a picture of some hundred kilobytes at most.
const MOST_LOOKS: usize = 4 * MOST_TILED;

/// A tablet that was found and is not kept yet.
#[derive(Clone, Debug)]
pub(crate) struct Found {
    pub(crate) scan: String,
    pub(crate) tablet: String,
    pub(crate) found: Arc<FoundTablet>,
}

/// A scan in which none was found, and why.
#[derive(Clone, Debug)]
pub(crate) struct Missing {
    pub(crate) scan: String,
    pub(crate) tablet: String,
    pub(crate) why: AppError,
}

/// How the search for tablets stands in a test.
#[derive(Clone, Debug, Default)]
pub(crate) struct TabletSearch {
    pub(crate) found: Vec<Found>,
    pub(crate) missing: Vec<Missing>,
    /// Scans that nothing calibrates.
    pub(crate) uncalibrated: Vec<String>,
    /// Whether a tablet of the record was not yet looked for in one of them.
    pub(crate) wanting: bool,
    /// The tablets of the record.
    pub(crate) recorded: Vec<String>,
}

impl Book {
    fn looks(&self) -> MutexGuard<'_, Vec<Look>> {
        self.looks.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The work that looks for tablets, by test.
    pub(crate) fn looking(&self) -> MutexGuard<'_, BTreeMap<u32, u64>> {
        self.looking.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How the search for tablets stands.
    pub(crate) fn tablet_search(&self, test: u32) -> Result<TabletSearch, KeepError> {
        let open = self.notebook.open_test(id(test), None)?;
        let parts = &open.checked.parts;
        let recorded: Vec<String> = parts.tablets.iter().map(|t| t.id.to_string()).collect();
        let mut search = TabletSearch::default();
        let wanted = open.tablet_questions(None);
        let words = app::USUAL_TABLETS.iter().map(|usual| usual.word);
        let usual = words
            .filter(|word| !recorded.iter().any(|own| own == word))
            .flat_map(|word| open.tablet_questions(Some(word)));
        let looks = self.looks();
        let answer = |question: &TabletQuestion| {
            let look = |l: &&Look| l.test == test && l.question == *question;
            looks.iter().find(look).map(|l| &l.answer)
        };
        search.wanting = wanted.iter().any(|question| answer(question).is_none());
        for question in wanted.into_iter().chain(usual) {
            if !search.uncalibrated.contains(&question.scan) {
                search.uncalibrated.push(question.scan.clone());
            }
            let (scan, tablet) = (question.scan.clone(), question.tablet.clone());
            match answer(&question) {
                // One tablet is enough for a scan.
                Some(Ok(_)) if search.found.iter().any(|f| f.scan == scan) => {}
                Some(Ok(found)) => search.found.push(Found {
                    scan,
                    tablet,
                    found: Arc::clone(found),
                }),
                Some(Err(why)) => search.missing.push(Missing {
                    scan,
                    tablet,
                    why: why.clone(),
                }),
                None => {}
            }
        }
        search
            .missing
            .retain(|m| !search.found.iter().any(|f| f.scan == m.scan));
        search.recorded = recorded;
        Ok(search)
    }

    /// Looks for the recorded tablets, or only for one that may be a usual one, in each
    /// scan that nothing calibrates. What was looked for before is not again.
    pub(crate) fn find_tablets(
        &self,
        test: u32,
        only: Option<&str>,
        progress: &dyn Progress,
    ) -> Result<(), AppError> {
        let open = self.notebook.open_test(id(test), None)?;
        if let Some(problem) = open
            .checked
            .problems
            .iter()
            .flat_map(|found| &found.problems)
            .next()
        {
            return Err(AppError::new(
                format!("the record has something to mend first: {problem}"),
                "mend it, then look for the tablet again",
            ));
        }
        let questions = open.tablet_questions(only);
        let total = questions.len() as u64;
        for (done, question) in (0..).zip(questions) {
            let asked = |l: &Look| l.test == test && l.question == question;
            if self.looks().iter().any(asked) {
                continue;
            }
            progress.at(
                &format!("looking for the tablet in scan {}", question.scan),
                done,
                total,
            );
            let answer =
                self.notebook
                    .find_tablet(id(test), open.revision, &question, &Within(progress));
            if progress.stop_asked() {
                return Err(AppError::new("the work was stopped", ""));
            }
            let answer = answer.map_err(AppError::from).map(|mut found| {
                // The page shows the part about the tablet.
                found.picture = String::new();
                Arc::new(found)
            });
            let mut looks = self.looks();
            looks.push(Look {
                test,
                question,
                answer,
            });
            let over = looks.len().saturating_sub(MOST_LOOKS);
            looks.drain(..over);
        }
        Ok(())
    }

    /// Whether a tablet can be looked for by this word in a test: a recorded one or a usual one.
    pub(crate) fn knows_tablet(&self, test: u32, tablet: &str) -> Result<bool, KeepError> {
        let open = self.notebook.open_test(id(test), None)?;
        let mut recorded = open.checked.parts.tablets.iter();
        Ok(
            recorded.any(|t| t.id.as_str() == tablet)
                || app::UsualTablet::of_word(tablet).is_some(),
        )
    }

    /// Keeps tablets as they were found, once a person has looked at them.
    pub(crate) fn keep_found_tablets(
        &self,
        test: u32,
        seen: u32,
        scans: &[String],
        calibrates_others: bool,
    ) -> Result<(), KeepError> {
        let search = self.tablet_search(test)?;
        let open = self.notebook.open_test(id(test), Some(seen))?;
        if scans.is_empty() {
            return Err(AppError::new("no scan is named", "tick at least one scan").into());
        }
        let mut text = open.documents.record_text().unwrap_or_default().to_owned();
        let mut kept: Vec<&str> = vec![];
        for scan in scans {
            let found = search.found.iter().find(|f| f.scan == *scan);
            let still = |f: &&Found| {
                let asked = open.tablet_questions(Some(&f.tablet));
                asked.iter().any(|q| q.scan == *scan) && !kept.contains(&f.scan.as_str())
            };
            let found = found.filter(still).ok_or_else(|| not_waiting(scan))?;
            text = app::with_strip(&text, &place_of(found, &search, calibrates_others))?;
            kept.push(&found.scan);
        }
        let documents = open.with_text("test.toml", Some(&text))?;
        let what = format!(
            "step tablet found in scan {}, looked at and confirmed",
            kept.join(", ")
        );
        self.notebook.save(id(test), seen, &documents, BY, &what)?;
        Ok(())
    }
}

fn not_waiting(scan: &str) -> AppError {
    let scan: String = scan.chars().take(64).collect();
    AppError::new(
        format!("no tablet that was found in scan {scan:?} waits to be kept"),
        "load the page again and look for it once more",
    )
}

/// How a found tablet is written down.
fn place_of(found: &Found, search: &TabletSearch, calibrates_others: bool) -> StripPlace {
    let steps = found.found.steps.iter();
    StripPlace {
        scan: found.scan.clone(),
        tablet: found.tablet.clone(),
        nominal: app::UsualTablet::of_word(&found.tablet)
            .filter(|_| !search.recorded.contains(&found.tablet))
            .map(|usual| usual.steps().to_string()),
        // Steps placed by the pitch drown in the dark and calibrate nothing.
        outline: StripOutline::Steps(
            steps
                .map(|step| (!step.by_pitch).then(|| step.inner_px.clone()))
                .collect(),
        ),
        calibrates_others,
        but_not: search.found.iter().map(|f| f.scan.clone()).collect(),
    }
}

/// The search within one scan: it tells no progress of its own, and can be stopped.
struct Within<'a>(&'a dyn Progress);

impl Progress for Within<'_> {
    fn at(&self, _work: &str, _done: u64, _total: u64) {}

    fn stop_asked(&self) -> bool {
        self.0.stop_asked()
    }
}
