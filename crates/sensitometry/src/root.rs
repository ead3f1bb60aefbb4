//! One root between two ends of opposite sign.
//!
//! Private. Source of the method: Chandrupatla 1997 (bisection with inverse
//! quadratic interpolation where that is safe), from memory.

/// Gives x in [a, b] with f(x) = 0 to about 1e-13, or none when the signs agree.
pub(crate) fn root_between(mut f: impl FnMut(f64) -> f64, a: f64, b: f64) -> Option<f64> {
    let (mut x1, mut x2) = (b, a);
    let (mut f1, mut f2) = (f(x1), f(x2));
    if f1 == 0.0 {
        return Some(x1);
    }
    if f2 == 0.0 {
        return Some(x2);
    }
    // NaN counts as no change of sign.
    let signs_differ = f1 * f2 < 0.0;
    if !signs_differ {
        return None;
    }
    let mut t: f64 = 0.5;
    for _ in 0..200 {
        let x = x1 + t * (x2 - x1);
        let fx = f(x);
        let (x3, f3);
        if (fx > 0.0) == (f1 > 0.0) {
            (x3, f3) = (x1, f1);
        } else {
            (x3, f3) = (x2, f2);
            (x2, f2) = (x1, f1);
        }
        (x1, f1) = (x, fx);
        let best = if f1.abs() < f2.abs() { x1 } else { x2 };
        let tolerance = 2e-14 + 2e-15 * best.abs();
        let share = tolerance / (x2 - x1).abs();
        if share > 0.5 || f1 == 0.0 {
            return Some(best);
        }
        let xi = (x1 - x2) / (x3 - x2);
        let phi = (f1 - f2) / (f3 - f2);
        t = if phi * phi < xi && (1.0 - phi) * (1.0 - phi) < 1.0 - xi {
            f1 / (f2 - f1) * f3 / (f2 - f3)
                + (x3 - x1) / (x2 - x1) * f1 / (f3 - f1) * f2 / (f3 - f2)
        } else {
            0.5
        };
        t = t.clamp(share, 1.0 - share);
    }
    Some(x1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_known_root_is_found() {
        // Hand calculation: x³ = 2 at x = 1.259 921 049 894 873.
        let x = root_between(|x| x * x * x - 2.0, 0.0, 10.0).unwrap();
        assert!((x - 1.259_921_049_894_873).abs() < 1e-12, "{x}");
        assert!(root_between(|x| x * x + 1.0, -1.0, 1.0).is_none());
        assert!(root_between(|_| f64::NAN, -1.0, 1.0).is_none());
    }
}
