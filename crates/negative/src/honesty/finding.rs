//! What a check found.

use quantity::Flag;

/// What a check found.
#[derive(Clone, Debug, PartialEq)]
pub struct HonestyFinding {
    /// What a reader must know.
    pub flag: Flag,
    /// One sentence with the numbers.
    pub evidence: String,
    /// Codes from one value that can occur to the next, where a check found
    /// them further apart than the file's bits say.
    pub code_step: Option<f64>,
}

impl HonestyFinding {
    /// Joins a flag and its evidence.
    #[must_use]
    pub fn new(flag: Flag, evidence: String) -> Self {
        Self {
            flag,
            evidence,
            code_step: None,
        }
    }
}
