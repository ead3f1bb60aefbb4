//! Work that looks for step tablets: one for each test at a time.

use crate::jobs::{JobStage, JobState};
use crate::layout::Step;
use crate::shared::Shared;
use app::{AppError, KeepError, USUAL_TABLETS};

/// The search of a test that was begun last, where there is one.
pub(crate) fn state(shared: &Shared, test: u32) -> Option<JobState> {
    let job = *shared.book().looking().get(&test)?;
    shared.jobs().state(job)
}

/// Begins a search for a tablet that the test or everybody knows; for the recorded ones
/// when none is named. Gives the number of the work.
///
/// # Errors
/// [`KeepError`] when there is no such test or tablet, or the search can't begin.
pub(crate) fn look_for(
    shared: &Shared,
    test: u32,
    tablet: Option<String>,
) -> Result<u64, KeepError> {
    let asked = tablet.as_deref().unwrap_or_default();
    if !shared.book().knows_tablet(test, asked)? && tablet.is_some() {
        let tablet: String = asked.chars().take(64).collect();
        let usual = USUAL_TABLETS.map(|usual| usual.word).join(", ");
        return Err(AppError::new(
            format!("the test has no tablet {tablet:?}"),
            format!("name a tablet of the record, or a usual one: {usual}"),
        )
        .into());
    }
    Ok(begin(shared, test, tablet)?)
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
    let job =
        shared
            .jobs()
            .start_of(Some(test), "Looking for the step tablet", move |progress| {
                own.find_tablets(test, only.as_deref(), progress)?;
                Ok(Step::Negatives.of(&test.to_string()))
            })?;
    looking.insert(test, job);
    Ok(job)
}
