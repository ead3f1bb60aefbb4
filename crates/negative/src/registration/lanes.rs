//! Numbers side by side, as many as the processor adds and multiplies at once.
//!
//! `pulp` picks the widest vectors that the processor has when the program runs; what
//! is to run on them takes a `Simd` and is `#[inline(always)]`.

use core::ops::{Add, AddAssign, Mul, Sub};
use pulp::Simd;

/// The most that any processor has.
pub(super) const MOST_LANES: usize = 16;

const NUMBERS: [f32; MOST_LANES] = [
    0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0,
];

/// `S::F32_LANES` numbers.
#[derive(Clone, Copy)]
pub(super) struct Lanes<S: Simd> {
    simd: S,
    values: S::f32s,
}

impl<S: Simd> Lanes<S> {
    #[inline(always)]
    pub(super) fn all(simd: S, value: f32) -> Self {
        let values = simd.splat_f32s(value);
        Self { simd, values }
    }

    /// 0, 1, 2 and so on.
    #[inline(always)]
    pub(super) fn numbers(simd: S) -> Self {
        Self::of(simd, &NUMBERS)
    }

    /// The first of a slice.
    #[inline(always)]
    pub(super) fn of(simd: S, values: &[f32]) -> Self {
        let values = S::as_simd_f32s(&values[..S::F32_LANES]).0[0];
        Self { simd, values }
    }

    #[inline(always)]
    pub(super) fn write(self, to: &mut [f32]) {
        S::as_mut_simd_f32s(&mut to[..S::F32_LANES]).0[0] = self.values;
    }

    /// Adds each, one after the other, to a sum.
    #[inline(always)]
    pub(super) fn total_to(self, total: &mut f64) {
        let mut lanes = [0.0; MOST_LANES];
        self.write(&mut lanes);
        for lane in &lanes[..S::F32_LANES] {
            *total += f64::from(*lane);
        }
    }

    /// This times a factor, and added to a sum.
    #[inline(always)]
    pub(super) fn times_plus(self, factor: Self, sum: Self) -> Self {
        Self {
            simd: self.simd,
            values: (self.simd).mul_add_e_f32s(self.values, factor.values, sum.values),
        }
    }
}

impl<S: Simd> Add for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Self {
            simd: self.simd,
            values: self.simd.add_f32s(self.values, other.values),
        }
    }
}

impl<S: Simd> AddAssign for Lanes<S> {
    #[inline(always)]
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl<S: Simd> Sub for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Self {
            simd: self.simd,
            values: self.simd.sub_f32s(self.values, other.values),
        }
    }
}

impl<S: Simd> Mul for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        Self {
            simd: self.simd,
            values: self.simd.mul_f32s(self.values, other.values),
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use pulp::{Arch, Scalar, Simd, WithSimd};

    /// Does the same on every kind of vectors that this processor has.
    pub(in crate::registration) fn on_each<W: WithSimd>(work: impl Fn() -> W) -> Vec<W::Output> {
        let mut all = vec![Scalar.vectorize(work()), Arch::new().dispatch(work())];
        #[cfg(target_arch = "x86_64")]
        if let Some(narrower) = pulp::x86::V3::try_new() {
            all.push(Simd::vectorize(narrower, work()));
        }
        all
    }
}
