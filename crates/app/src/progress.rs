//! How far a long use case is, and whether it shall go on.

use crate::AppError;

/// Is told how far the work is.
pub trait Progress {
    /// `done` of `total` steps of the work named are finished.
    fn at(&self, work: &str, done: u64, total: u64);

    /// Whether somebody asked for the work to stop.
    fn stop_asked(&self) -> bool {
        false
    }
}

/// Ends work that was asked to stop.
///
/// # Errors
/// [`AppError`] when it was.
pub(crate) fn go_on(progress: &dyn Progress) -> Result<(), AppError> {
    if progress.stop_asked() {
        return Err(AppError::new(
            "the work was stopped",
            "begin it again when you like",
        ));
    }
    Ok(())
}

/// Tells nobody.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {
    fn at(&self, _: &str, _: u64, _: u64) {}
}
