//! Why a criterion gives no number.
//!
//! A curve that is too short for one criterion is good for others: each
//! criterion answers for itself, with the reason and what would mend it.

/// Why a criterion of speed or contrast could not be given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Missing {
    /// The criterion needs the curve beyond the readings.
    #[error(
        "needs the curve at log H {}, but the readings run from {available_low:.3} to {available_high:.3}",
        needed_log_h.map_or_else(|| "values it never reaches".to_owned(), |x| format!("{x:.3}"))
    )]
    OutsideCurve {
        /// The exposure needed, log10 H; none when even the continued curve never gets there.
        needed_log_h: Option<f64>,
        /// Lowest exposure with a reading, log10 H.
        available_low: f64,
        /// Highest exposure with a reading, log10 H.
        available_high: f64,
    },
    /// The criterion counts from base+fog, which the readings do not show.
    #[error(
        "needs base+fog, and the readings show no toe: they only say that base+fog is at most {at_most:.3}; give base+fog as read from unexposed film (--base-plus-fog)"
    )]
    BasePlusFogNotSeen {
        /// The lowest reading: base+fog is at most this gross density.
        at_most: f64,
    },
    /// A speed needs exposures in lux seconds.
    #[error("the exposure scale is relative; a speed needs exposures in lux seconds")]
    RelativeExposure,
    /// The gradient still rises at the last reading.
    #[error("the gradient still rises at the highest exposure, log H {available_high:.3}")]
    StraightLineNotReached {
        /// Highest exposure with a reading, log10 H.
        available_high: f64,
    },
    /// No point of the curve fulfils the criterion.
    #[error("no point of the curve fulfils the criterion of the {criterion}")]
    NoSolution {
        /// Name of the criterion.
        criterion: &'static str,
    },
}
