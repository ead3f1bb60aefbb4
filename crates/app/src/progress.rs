//! How far a long use case is.

/// Is told how far the work is.
pub trait Progress {
    /// `done` of `total` steps of the work named are finished.
    fn at(&self, work: &str, done: u64, total: u64);
}

/// Tells nobody.
#[derive(Clone, Copy, Debug, Default)]
pub struct Silent;

impl Progress for Silent {
    fn at(&self, _: &str, _: u64, _: u64) {}
}
