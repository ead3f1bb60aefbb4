//! Long work: how far it is, and stopping it.
//!
//! A job runs on a thread of its own and tells its progress as it goes. Pages
//! ask for its state; a job that is asked to stop ends at its next step.

use app::{AppError, Progress};
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use utoipa::ToSchema;

/// Jobs that are kept after they have ended.
const MOST_KEPT: usize = 64;
/// Jobs that may run at once.
const MOST_RUNNING: usize = 4;

/// The state of a job.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub(crate) struct JobState {
    /// Its number.
    pub(crate) job: u64,
    /// What it does, in words.
    pub(crate) title: String,
    /// The test that it is about, where it is about one.
    pub(crate) test: Option<u32>,
    /// Where it is.
    pub(crate) state: JobStage,
    /// What it is doing now.
    pub(crate) work: String,
    /// Steps of that work that are done.
    pub(crate) done: u64,
    /// Steps of that work.
    pub(crate) total: u64,
    /// Where the result is, once it has ended well.
    pub(crate) result: Option<String>,
    /// What should be known of it, once it has ended well, as sentences.
    pub(crate) notes: Vec<String>,
    /// What was seen, when it failed.
    pub(crate) problem: Option<String>,
    /// What to do about it.
    pub(crate) remedy: Option<String>,
}

/// How a job ended that ended well.
#[derive(Clone, Debug, Default)]
pub(crate) struct Ended {
    /// The address of its result.
    pub(crate) result: String,
    /// What should be known of it, as sentences.
    pub(crate) notes: Vec<String>,
}

impl From<String> for Ended {
    fn from(result: String) -> Self {
        Self {
            result,
            notes: vec![],
        }
    }
}

/// Where a job is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum JobStage {
    /// It works.
    Running,
    /// It has ended well.
    Done,
    /// It could not be done.
    Failed,
    /// It was stopped on request.
    Stopped,
}

/// All jobs of this run.
#[derive(Debug, Default)]
pub(crate) struct Jobs {
    inner: Mutex<BTreeMap<u64, Arc<Job>>>,
}

#[derive(Debug)]
struct Job {
    state: Mutex<JobState>,
    stop: AtomicBool,
}

/// What a job is handed: it tells progress, and says whether to stop.
#[derive(Clone, Debug)]
pub(crate) struct JobProgress(Arc<Job>);

impl Progress for JobProgress {
    fn at(&self, work: &str, done: u64, total: u64) {
        let mut state = self.0.lock();
        work.clone_into(&mut state.work);
        state.done = done;
        state.total = total;
    }

    fn stop_asked(&self) -> bool {
        self.0.stop.load(Ordering::Relaxed)
    }
}

impl Job {
    fn lock(&self) -> std::sync::MutexGuard<'_, JobState> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Jobs {
    /// Starts a job; its work gives the address of its result, with notes where there are any.
    ///
    /// # Errors
    /// [`AppError`] when too many run already.
    pub(crate) fn start<E: Into<Ended>>(
        &self,
        title: impl Into<String>,
        work: impl FnOnce(&JobProgress) -> Result<E, AppError> + Send + 'static,
    ) -> Result<u64, AppError> {
        self.start_of(None, title, work)
    }

    /// The same about a test, which its page then leads back to.
    ///
    /// # Errors
    /// [`AppError`] when too many run already.
    pub(crate) fn start_of<E: Into<Ended>>(
        &self,
        test: Option<u32>,
        title: impl Into<String>,
        work: impl FnOnce(&JobProgress) -> Result<E, AppError> + Send + 'static,
    ) -> Result<u64, AppError> {
        let mut all = self.lock();
        let running = all
            .values()
            .filter(|j| j.lock().state == JobStage::Running)
            .count();
        if running >= MOST_RUNNING {
            return Err(AppError::new(
                format!("{running} pieces of work are running already"),
                "wait for one to end, or stop it",
            ));
        }
        while all.len() >= MOST_KEPT {
            let ended = all
                .iter()
                .find(|(_, j)| j.lock().state != JobStage::Running)
                .map(|(number, _)| *number);
            let Some(number) = ended else { break };
            all.remove(&number);
        }
        let number = all.keys().next_back().map_or(1, |last| last + 1);
        let job = Arc::new(Job {
            state: Mutex::new(JobState {
                job: number,
                title: title.into(),
                test,
                state: JobStage::Running,
                work: "beginning".to_owned(),
                done: 0,
                total: 0,
                result: None,
                notes: vec![],
                problem: None,
                remedy: None,
            }),
            stop: AtomicBool::new(false),
        });
        all.insert(number, Arc::clone(&job));
        drop(all);
        let progress = JobProgress(job);
        std::thread::Builder::new()
            .name(format!("job-{number}"))
            .spawn(move || run(&progress, work))
            .map_err(|e| AppError::new(format!("the work could not begin: {e}"), "try again"))?;
        Ok(number)
    }

    /// Gives the state of a job.
    pub(crate) fn state(&self, number: u64) -> Option<JobState> {
        let job = self.lock().get(&number).cloned()?;
        let state = job.lock().clone();
        Some(state)
    }

    /// Asks a job to stop; `false` when there is none.
    pub(crate) fn stop(&self, number: u64) -> bool {
        self.lock()
            .get(&number)
            .map(|job| job.stop.store(true, Ordering::Relaxed))
            .is_some()
    }

    /// Asks all jobs to stop.
    pub(crate) fn stop_all(&self) {
        for job in self.lock().values() {
            job.stop.store(true, Ordering::Relaxed);
        }
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, BTreeMap<u64, Arc<Job>>> {
        self.inner.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn run<E: Into<Ended>>(
    progress: &JobProgress,
    work: impl FnOnce(&JobProgress) -> Result<E, AppError>,
) {
    // A bug in one piece of work must not leave it running for ever on the page.
    let ended = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| work(progress)));
    let mut state = progress.0.lock();
    match ended {
        Ok(Ok(ended)) => {
            let Ended { result, notes } = ended.into();
            state.state = JobStage::Done;
            state.result = Some(result);
            state.notes = notes;
        }
        Ok(Err(_)) if progress.0.stop.load(Ordering::Relaxed) => {
            state.state = JobStage::Stopped;
        }
        Ok(Err(error)) => {
            state.state = JobStage::Failed;
            state.problem = Some(error.problem);
            state.remedy = Some(error.remedy);
        }
        Err(_) => {
            state.state = JobStage::Failed;
            state.problem = Some("the program made a mistake of its own here".to_owned());
            state.remedy = Some("please tell its makers, with the test that shows it".to_owned());
        }
    }
}
