//! Development time against contrast: the straight line in log time.
//!
//! Over the range of a family of curves a contrast number rises about evenly
//! with the logarithm of the development time (common practice of
//! time-contrast charts). The line says nothing of which contrast number it is:
//! the caller keeps that name, since the measures differ (0.62 by one is 0.75 by
//! another on the same curve).

use crate::gradient::Gradient;
use quantity::{Flag, Measured, QuantityError, Seconds};

/// Contrast = a + b·ln t through two or more developments.
#[derive(Clone, Debug, PartialEq)]
pub struct TimeContrastLine {
    intercept: f64,
    slope: f64,
    shortest_s: f64,
    longest_s: f64,
    /// Standard deviation of the points about the line; `None` with two points,
    /// which any line meets.
    residual_sd: Option<f64>,
}

/// Why developments make no line.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TimeContrastError {
    /// Develop another sheet for another time.
    #[error("{found} developments of different times, but a line needs 2")]
    TooFewTimes {
        /// Different times found.
        found: usize,
    },
    /// Contrast must rise with time.
    #[error(
        "contrast does not rise with development time: the slope is {slope:.3} for each natural-log unit of time"
    )]
    NotRising {
        /// The slope found.
        slope: f64,
    },
    /// The time is out of all bounds.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

impl TimeContrastLine {
    /// Draws the least-squares line through developments of one film.
    ///
    /// # Errors
    /// [`TimeContrastError`] with fewer than two different times, or when contrast
    /// doesn't rise with time.
    pub fn through(developments: &[(Seconds, Gradient)]) -> Result<Self, TimeContrastError> {
        let points: Vec<(f64, f64)> = developments
            .iter()
            .map(|(t, g)| (libm::log(t.to_s()), g.to_density_per_log_h()))
            .collect();
        let n = points.len() as f64;
        let (mx, my) = points
            .iter()
            .fold((0.0, 0.0), |(x, y), p| (x + p.0 / n, y + p.1 / n));
        let sxx: f64 = points.iter().map(|p| (p.0 - mx).powi(2)).sum();
        // A thousandth of a log unit apart is the same time.
        if points.len() < 2 || sxx < 1e-6 {
            return Err(TimeContrastError::TooFewTimes {
                found: points.len().min(1),
            });
        }
        let slope = points.iter().map(|p| (p.0 - mx) * (p.1 - my)).sum::<f64>() / sxx;
        if slope <= 0.0 {
            return Err(TimeContrastError::NotRising { slope });
        }
        let intercept = my - slope * mx;
        let residual_sd = (points.len() > 2).then(|| {
            let sum: f64 = points
                .iter()
                .map(|p| (p.1 - intercept - slope * p.0).powi(2))
                .sum();
            libm::sqrt(sum / (n - 2.0))
        });
        let times = || developments.iter().map(|(t, _)| t.to_s());
        Ok(Self {
            intercept,
            slope,
            shortest_s: times().fold(f64::INFINITY, f64::min),
            longest_s: times().fold(0.0, f64::max),
            residual_sd,
        })
    }

    /// Gives the rise of contrast for each natural-log unit of time.
    #[must_use]
    pub fn slope(&self) -> f64 {
        self.slope
    }

    /// Gives the development time for a contrast; its uncertainty in seconds is
    /// that of the points about the line, 0 with two points, of which none can
    /// be told. Flagged as extrapolated outside the times that were tried.
    ///
    /// # Errors
    /// [`TimeContrastError::Quantity`] when the time overflows.
    pub fn time_for(&self, contrast: Gradient) -> Result<Measured<Seconds>, TimeContrastError> {
        let t = libm::exp((contrast.to_density_per_log_h() - self.intercept) / self.slope);
        let sd = self.residual_sd.map_or(0.0, |sd| t * sd / self.slope);
        let time = Measured::new(Seconds::from_s(t)?, sd);
        Ok(if (self.shortest_s..=self.longest_s).contains(&t) {
            time
        } else {
            time.flagged(Flag::Extrapolated)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_published_pair_of_developments_gives_its_shorter_times() {
        // Published case (forum post 1542505 on gamma and contrast index): contrast
        // index .62 at 7 min and .75 at 11 min. By hand: slope .13/ln(11/7) = .2876;
        // .58 is 6.1 min, .56 is 5.7 min, both extrapolated.
        let gradient = |g| Gradient::from_density_per_log_h(g).unwrap();
        let minutes = |m: f64| Seconds::from_s(60.0 * m).unwrap();
        let line = TimeContrastLine::through(&[
            (minutes(7.0), gradient(0.62)),
            (minutes(11.0), gradient(0.75)),
        ])
        .unwrap();
        assert!((line.slope() - 0.2876).abs() < 5e-4, "{}", line.slope());
        for (contrast, expected) in [(0.58, 6.1), (0.56, 5.7)] {
            let time = line.time_for(gradient(contrast)).unwrap();
            // 0.05 min: the source prints one decimal.
            assert!((time.value().to_s() / 60.0 - expected).abs() < 0.05);
            assert!(time.flags().contains(Flag::Extrapolated));
        }
        let within = line.time_for(gradient(0.70)).unwrap();
        assert!(!within.flags().contains(Flag::Extrapolated));
        assert!(
            TimeContrastLine::through(&[
                (minutes(7.0), gradient(0.62)),
                (minutes(7.0), gradient(0.6))
            ])
            .is_err()
        );
    }
}
