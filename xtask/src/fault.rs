//! What a check found wrong.

use core::fmt;

/// One thing to put right: where it is and what it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    /// A file, with a line where there is one.
    place: String,
    /// What is wrong, and what was expected.
    what: String,
}

impl Fault {
    pub(crate) fn new(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self {
            place: place.into(),
            what: what.into(),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.what)
    }
}
