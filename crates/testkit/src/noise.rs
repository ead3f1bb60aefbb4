//! Random numbers from a number handed in; the same on every machine.
//!
//! Every purpose draws from a stream of its own, so that a change in one does
//! not move the others.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// A stream of random numbers.
pub(crate) struct Draws {
    source: ChaCha8Rng,
    spare: Option<f64>,
}

impl Draws {
    /// Opens stream `stream` of draw `draw`.
    pub(crate) fn new(draw: u64, stream: u64) -> Self {
        let mut source = ChaCha8Rng::seed_from_u64(draw);
        source.set_stream(stream);
        Self {
            source,
            spare: None,
        }
    }

    /// Draws evenly from 0 to 1, 1 left out.
    pub(crate) fn uniform(&mut self) -> f64 {
        // 53 bits fill the mantissa.
        (self.source.next_u64() >> 11) as f64 / 9_007_199_254_740_992.0
    }

    /// Draws evenly between two numbers.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Draws a normal deviate (Box and Muller 1958) with standard deviation `sd`.
    pub(crate) fn normal(&mut self, sd: f64) -> f64 {
        if let Some(spare) = self.spare.take() {
            return sd * spare;
        }
        // 1 − u lies in (0, 1], so the logarithm is finite.
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.uniform()));
        let angle = core::f64::consts::TAU * self.uniform();
        self.spare = Some(radius * libm::sin(angle));
        sd * radius * libm::cos(angle)
    }

    /// Draws a heavy-tailed deviate with standard deviation `sd`: Student's t
    /// of 4 degrees of freedom, whose variance is 2, over √2.
    pub(crate) fn heavy(&mut self, sd: f64) -> f64 {
        let numerator = self.normal(1.0);
        let chi_squared: f64 = (0..4).map(|_| self.normal(1.0)).map(|z| z * z).sum();
        sd * numerator / libm::sqrt(chi_squared / 4.0) / core::f64::consts::SQRT_2
    }

    /// Draws a nearly normal deviate of standard deviation 1 for one pixel: the
    /// sum of four even ones, within ±3.5, several times faster than `normal`.
    pub(crate) fn pixel(&mut self) -> f64 {
        let word = self.source.next_u64();
        let sum: u64 = (0..4).map(|part| (word >> (16 * part)) & 0xffff).sum();
        // Mean 4·65535/2; variance 4·(65536² − 1)/12.
        (sum as f64 - 131_070.0) / 37_837.227
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mean_and_sd(mut next: impl FnMut() -> f64) -> (f64, f64) {
        let count = 40_000;
        let values: Vec<f64> = (0..count).map(|_| next()).collect();
        let mean = values.iter().sum::<f64>() / f64::from(count);
        let square = values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>();
        (mean, libm::sqrt(square / f64::from(count)))
    }

    #[test]
    fn deviates_have_the_mean_and_spread_asked_for() {
        let mut draws = Draws::new(5, 0);
        // 4 standard errors of the mean of 40 000: 4/200 = 0.02; of the spread
        // 4/√80 000 = 0.014, wider for heavy tails, whose fourth moment is infinite.
        for (name, (mean, sd), spread) in [
            ("normal", mean_and_sd(|| draws.normal(1.0)), 0.015),
            ("pixel", mean_and_sd(|| draws.pixel()), 0.015),
            ("heavy", mean_and_sd(|| draws.heavy(1.0)), 0.08),
        ] {
            assert!(mean.abs() < 0.02, "{name}: mean {mean}");
            assert!((sd - 1.0).abs() < spread, "{name}: spread {sd}");
        }
        // An even deviate on 0 to 1: mean 1/2, variance 1/12.
        let (mean, sd) = mean_and_sd(|| draws.uniform());
        assert!((mean - 0.5).abs() < 0.006, "{mean}");
        assert!((sd - libm::sqrt(1.0 / 12.0)).abs() < 0.004, "{sd}");
    }

    #[test]
    fn streams_differ() {
        assert_ne!(Draws::new(1, 0).uniform(), Draws::new(1, 1).uniform());
        assert_ne!(Draws::new(1, 0).uniform(), Draws::new(2, 0).uniform());
    }
}
