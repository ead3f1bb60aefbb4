//! The forms a reciprocity law can have, with their parameters.
//!
//! The arithmetic is in `law_equations`; ranges and checks are in
//! [`crate::reciprocity`].
//!
//! Symbols: Tm metered time, Tc corrected (actual) time, both s.

use crate::law_equations::CatenaryShape;
use quantity::Seconds;

/// One row of a reciprocity table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReciprocityRow {
    /// Metered time.
    pub metered: Seconds,
    /// Time needed for the same density.
    pub corrected: Seconds,
}

/// The form of a reciprocity law.
///
/// Build a law by the constructors of [`crate::ReciprocityLaw`]: they check the numbers.
#[derive(Clone, Debug, PartialEq)]
pub enum ReciprocityForm {
    /// Tc = T0·(Tm/T0)^P above the threshold T0, Tc = Tm up to it.
    ///
    /// With T0 = 1 s it is Tc = Tm^P, the form film makers publish.
    ThresholdPower {
        /// P, at least 1.
        exponent: f64,
        /// T0.
        threshold: Seconds,
    },
    /// Tc = c·Tm^P with both times in seconds, as fits of measured times are posted.
    ///
    /// It has no threshold, so it can give less than the metered time; there it
    /// is refused.
    FittedPower {
        /// c, greater than 0.
        coefficient: f64,
        /// P, greater than 0.
        exponent: f64,
    },
    /// Tc = Tm + a·Tm^b with both times in seconds.
    Additive {
        /// a, not negative.
        coefficient: f64,
        /// b, at least 1.
        exponent: f64,
    },
    /// Schwarzschild: effect I·t^p above T0, so Tc = T0·(Tm/T0)^(1/p).
    Schwarzschild {
        /// p, greater than 0 and at most 1.
        exponent: f64,
        /// T0.
        threshold: Seconds,
    },
    /// Schwarzschild in the form Tc·(Tc + 1)^(p−1) = Tm, times in seconds, without a threshold.
    ModifiedSchwarzschild {
        /// p, greater than 0 and at most 1.
        exponent: f64,
    },
    /// A film that is best at one time T0 and loses speed on both sides of it.
    ///
    /// The light at T0 is the one for which the EI was found; both forms tend to
    /// Schwarzschild's law with p = 1/(1 + a) far from it.
    Catenary {
        /// How the lengthening grows.
        shape: CatenaryShape,
        /// a, 0 or more and less than 1.
        coefficient: f64,
        /// T0, the metered time that needs no correction.
        best: Seconds,
    },
    /// A table; log Tc is linear in log Tm between rows.
    Table {
        /// Rows by rising time; at least two.
        rows: Vec<ReciprocityRow>,
    },
}
