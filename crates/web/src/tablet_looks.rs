//! Work that looks for step tablets: one for each test at a time.

use crate::jobs::{JobStage, JobState};
use crate::layout::Step;
use crate::shared::Shared;
use app::AppError;

/// The search of a test that was begun last, where there is one.
pub(crate) fn state(shared: &Shared, test: u32) -> Option<JobState> {
    let job = *shared.book().looking().get(&test)?;
    shared.jobs().state(job)
}

/// Begins to look for the recorded tablets, or for the one that is named.
///
/// # Errors
/// [`AppError`] when one is being looked for in this test already, or too much work runs.
pub(crate) fn begin(shared: &Shared, test: u32, only: Option<String>) -> Result<u64, AppError> {
    let book = shared.book();
    let mut looking = book.looking();
    let last = looking.get(&test).copied();
    if let Some(job) = last
        && let Some(state) = shared.jobs().state(job)
        && state.state == JobStage::Running
    {
        if only.is_none() {
            return Ok(job);
        }
        return Err(AppError::new(
            "a step tablet is being looked for in this test already",
            "wait for that search to end, or stop it",
        ));
    }
    let own = shared.book();
    let job = shared
        .jobs()
        .start("Looking for the step tablet", move |progress| {
            own.find_tablets(test, only.as_deref(), progress)?;
            Ok(Step::Negatives.of(&test.to_string()))
        })?;
    looking.insert(test, job);
    Ok(job)
}
