//! How much too long the steps are by which a placement is moved.
//!
//! Slopes of a field are differences over two pixels, too small by sin(w)/w for detail of
//! w radians per pixel; the curvature has them squared, and a step, slope over curvature,
//! is too long by w/sin(w): a third in a fine texture. Two steps in a row show it:
//! s₁ = g·d and s₂ = g·(d − a), where a of the way d was gone, give g = (s₁ − s₂)/a.

use nalgebra::DVector;

/// What may be believed of g.
const GAINS: core::ops::RangeInclusive<f64> = 0.8..=2.0;
/// How far g may be off where it is not known, where it was seen on a smaller picture, and
/// where it was seen on this. Found on textures and made frames, not derived.
const UNKNOWN: f64 = 0.5;
const SEEN_SMALLER: f64 = 0.2;
const SEEN: f64 = 0.1;

/// How many times too long steps are, and how far that may be off.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stride {
    gain: f64,
    doubt: f64,
}

impl Stride {
    /// Before any step.
    pub(super) const NEW: Self = Self {
        gain: 1.0,
        doubt: UNKNOWN,
    };

    /// The share of a step that is gone.
    pub(super) fn share(self) -> f64 {
        1.0 / self.gain
    }

    /// What is left, at most, when that share of a step so long is gone.
    pub(super) fn left_of(self, step: f64) -> f64 {
        self.doubt * step
    }

    /// The same for pictures twice the size.
    pub(super) fn on_larger(self) -> Self {
        Self {
            doubt: self.doubt.max(SEEN_SMALLER),
            ..self
        }
    }

    /// What a step and the next one show, of which this share was gone.
    pub(super) fn seen(self, step: &DVector<f64>, next: &DVector<f64>) -> Self {
        let gain = self.gain * (step - next).dot(step) / step.norm_squared();
        if GAINS.contains(&gain) {
            Self { gain, doubt: SEEN }
        } else {
            Self::NEW
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_steps_show_how_much_too_long_they_are() {
        // Hand calculation: steps 1.25 times too long, 8 pixels away. The first says 10
        // and leads 2 too far, the second says -2.5.
        let (first, second) = (
            DVector::from_element(1, 10.0),
            DVector::from_element(1, -2.5),
        );
        let seen = Stride::NEW.seen(&first, &second);
        assert!((seen.share() - 0.8).abs() < 1e-12, "{seen:?}");
        // Of the -2 that are left, 0.8 times -2.5 is all.
        assert!((-2.5 * seen.share() + 2.0).abs() < 1e-12);
        // When that is gone, the same share comes out of the next.
        let again = seen.seen(&second, &DVector::from_element(1, 0.0));
        assert!((again.share() - 0.8).abs() < 1e-12, "{again:?}");
    }
}
