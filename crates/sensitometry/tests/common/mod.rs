//! Curves of known truth for the tests: closed form, other shapes, noise.
//!
//! The criteria are computed here a second time, from the closed form alone, by
//! plain bisection; nothing of the crate under test is used for them.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot build its input must fail"
)]
#![expect(
    dead_code,
    reason = "each test program uses a part of what the others share"
)]

use quantity::{Density, LogExposure, Measured};
use sensitometry::CurveReading;

/// Any curve D(log10 H).
pub(crate) type Curve<'a> = &'a dyn Fn(f64) -> f64;

/// The closed form: b, g, x0, s0 and, where given, x1, s1.
pub(crate) fn closed_form(
    b: f64,
    g: f64,
    x0: f64,
    s0: f64,
    end: Option<(f64, f64)>,
) -> impl Fn(f64) -> f64 {
    move |x| {
        let bend = |u: f64| if u > 30.0 { u } else { u.exp().ln_1p() };
        let shoulder = end.map_or(0.0, |(x1, s1)| s1 * bend((x - x1) / s1));
        b + g * (s0 * bend((x - x0) / s0) - shoulder)
    }
}

/// 21 readings as behind a tablet of 21 steps of 0.15, from `high` down, darkest step last.
pub(crate) fn readings_21(
    curve: Curve,
    high: f64,
    sd: f64,
    noise: &mut dyn FnMut() -> f64,
) -> Vec<CurveReading> {
    readings(curve, high, 0.15, 21, sd, noise)
}

/// `count` readings of a curve, `step` apart from `high` down.
pub(crate) fn readings(
    curve: Curve,
    high: f64,
    step: f64,
    count: u32,
    sd: f64,
    noise: &mut dyn FnMut() -> f64,
) -> Vec<CurveReading> {
    (0..count)
        .map(|k| {
            let x = high - step * f64::from(k);
            reading(x, curve(x) + noise(), sd, Some(k + 1))
        })
        .collect()
}

/// One reading.
pub(crate) fn reading(x: f64, density: f64, sd: f64, step: Option<u32>) -> CurveReading {
    CurveReading {
        log_h: LogExposure::from_log10(x).unwrap(),
        density: Measured::new(Density::gross(density).unwrap(), sd),
        step,
    }
}

/// Normal deviates from a linear congruential generator and the sum of twelve.
pub(crate) struct Noise(u64);

impl Noise {
    pub(crate) fn starting_from(start: u64) -> Self {
        Self(start.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn even(&mut self) -> f64 {
        // Constants of Knuth's MMIX generator.
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub(crate) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// Plain bisection to the last bit; not a number when the ends agree in sign.
pub(crate) fn bisect(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> f64 {
    let fa = f(a);
    if fa * f(b) > 0.0 {
        return f64::NAN;
    }
    for _ in 0..200 {
        let m = 0.5 * (a + b);
        if (f(m) > 0.0) == (fa > 0.0) {
            a = m
        } else {
            b = m
        }
    }
    0.5 * (a + b)
}

/// The criteria of a curve whose base+fog is known.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Truth {
    pub(crate) base: f64,
    pub(crate) log_hm: f64,
    pub(crate) delta_d: f64,
    pub(crate) g_1_50: f64,
    pub(crate) chord: f64,
    pub(crate) arcs: f64,
    /// Not a number for a curve that has no such point.
    pub(crate) fractional: f64,
    pub(crate) gamma: f64,
}

/// Computes the criteria between two exposures by bisection.
pub(crate) fn truth(curve: Curve, base: f64, low: f64, high: f64) -> Truth {
    let slope = |x: f64| (curve(x + 1e-5) - curve(x - 1e-5)) / 2e-5;
    let log_hm = bisect(|x| curve(x) - base - 0.10, low - 3.0, high);
    let delta_d = curve(log_hm + 1.3) - base - 0.10;
    let g_1_50 = (curve(log_hm + 1.5) - base - 0.10) / 1.5;
    let end = bisect(
        |x| (x - log_hm).powi(2) + (curve(x) - base - 0.10).powi(2) - 4.0,
        log_hm,
        log_hm + 2.0,
    );
    let chord = (curve(end) - base - 0.10) / (end - log_hm);
    let line = |p: f64, r: f64| {
        let x = bisect(
            |x| (x - p).powi(2) + (curve(x) - base).powi(2) - r * r,
            p,
            p + r,
        );
        (curve(x) - base) / (x - p)
    };
    let right = bisect(|x| curve(x) - base - 0.2, low - 3.0, high) - 1e-7;
    let p = bisect(|p| line(p, 0.2) - line(p, 2.2), right - 1.5, right);
    let excess = |x: f64| slope(x) - 0.3 * (curve(x + 1.5) - curve(x)) / 1.5;
    let fractional = bisect(excess, log_hm - 1.5, log_hm + 0.5);
    let gamma = (0..=3000)
        .map(|k| slope(low + (high - low) * f64::from(k) / 3000.0))
        .fold(0.0, f64::max);
    Truth {
        base,
        log_hm,
        delta_d,
        g_1_50,
        chord,
        arcs: line(p, 2.2),
        fractional,
        gamma,
    }
}
