//! Which times the frames of a plan get: the aperture gives way to the time, or
//! the time to the aperture.

use quantity::Seconds;

/// How the frames' times and apertures are chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Timing {
    /// The preferred aperture for every frame; the times differ.
    PreferredAperture,
    /// One time for as many frames as the marks allow, the aperture making the
    /// difference.
    OneTime(Seconds),
    /// The lens is opened so far that times stay within a second, where it can.
    WithinASecond,
    /// An anchor and the filtered frame nearest the expected EI have this time; the
    /// others follow the preferred aperture, or are kept within a second.
    EqualTimePair {
        /// The time of both.
        time: Seconds,
        /// Whether the others are kept within a second.
        within_a_second: bool,
    },
}

impl Timing {
    /// Says whether all frames have one time.
    #[must_use]
    pub fn one_time(self) -> bool {
        matches!(self, Self::OneTime(_))
    }

    /// Gives the time of the equal-time pair, if there is one. \[s\]
    #[must_use]
    pub fn equal_time_pair_s(self) -> Option<f64> {
        match self {
            Self::EqualTimePair { time, .. } => Some(time.to_s()),
            _ => None,
        }
    }
}

/// Gives every way worth looking at.
pub(super) fn timings() -> Vec<Timing> {
    let mut all = vec![Timing::PreferredAperture, Timing::WithinASecond];
    // From 4 s, where few anchors can still be stopped down so far, to 1/30 s, below
    // which few leaf shutters are steady enough.
    for s in [4.0, 2.0, 1.0, 0.5, 0.25, 0.125, 1.0 / 15.0, 1.0 / 30.0] {
        let Ok(time) = Seconds::from_s(s) else {
            continue;
        };
        all.push(Timing::OneTime(time));
        for within_a_second in [false, true] {
            all.push(Timing::EqualTimePair {
                time,
                within_a_second,
            });
        }
    }
    all
}
