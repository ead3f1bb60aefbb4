//! What is asked of the estimate, with the numbers that answer.

use crate::prove::kinds::{Kind, Specified};
use crate::prove::score::Score;
use core::fmt;

/// How a requirement came out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// Met.
    Met,
    /// Not met.
    Failed,
    /// Not met, and no estimate could meet it: it asks for less than the bound.
    BeyondBound,
}

/// One requirement and how it came out.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Outcome {
    pub(crate) verdict: Verdict,
    /// The requirement with its numbers.
    pub(crate) what: String,
}

impl fmt::Display for Outcome {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let word = match self.verdict {
            Verdict::Met => "pass",
            Verdict::Failed => "FAIL",
            Verdict::BeyondBound => "NOT ATTAINABLE",
        };
        write!(f, "{word} {}", self.what)
    }
}

/// Number of tests that the requirements are stated for.
const STATED_FOR: f64 = 1000.0;
/// Largest ratio of a well-specified kind's error to its bound.
const RATIO_AT_MOST: f64 = 1.1;
const COVERAGE: (f64, f64) = (0.87, 0.93);
const COVERAGE_MIS_AT_LEAST: f64 = 0.85;
const HALF_WIDTH_OF_C_AT_MOST: f64 = 1.4;
const BOUNDS_HELD_AT_LEAST: f64 = 0.90;
const GAP_AT_MOST_STOPS: f64 = 2.0;

/// How far a limit moves when fewer tests are drawn than it is stated for.
///
/// By three standard errors less those of [`STATED_FOR`] tests: nothing for as
/// many or more.
#[derive(Clone, Copy, Debug)]
struct Leeway {
    /// For a root mean square, as a share of it: 1/√(2n) is its standard error.
    error: f64,
    /// For a share of about 0.9: √(0.9·0.1/n).
    share: f64,
}

impl Leeway {
    fn with_tests(tests: u64) -> Self {
        let short = |size: f64| {
            let of = |count: f64| size / count.sqrt();
            (3.0 * (of(tests as f64) - of(STATED_FOR))).max(0.0)
        };
        Self {
            error: short(core::f64::consts::FRAC_1_SQRT_2),
            share: short(0.3),
        }
    }
}

/// Gives every requirement on the kinds scored.
pub(crate) fn outcomes(scores: &[(&Kind, Score)]) -> Vec<Outcome> {
    let marked_half_width = scores
        .iter()
        .find(|(kind, _)| kind.letter == "c")
        .map(|(_, score)| score.half_width);
    let mut outcomes = vec![];
    for (kind, s) in scores {
        let leeway = Leeway::with_tests(s.tests);
        let mut tell = |verdict: Verdict, what: String| {
            outcomes.push(Outcome {
                verdict,
                what: format!("{}: {what}", kind.letter),
            });
        };
        let met = |held: bool| if held { Verdict::Met } else { Verdict::Failed };
        tell(
            met(s.refused.0 == 0),
            format!(
                "refused {} of {}{}",
                s.refused.0,
                s.tests,
                s.refused
                    .1
                    .as_ref()
                    .map(|why| format!(" ({why})"))
                    .unwrap_or_default()
            ),
        );
        if kind.one_sided {
            tell(
                met(s.bounds > 0 && s.bounds_held >= BOUNDS_HELD_AT_LEAST - leeway.share),
                format!(
                    "the bound holds in {:.1} % of {}, at least {:.1}",
                    100.0 * s.bounds_held,
                    s.bounds,
                    100.0 * (BOUNDS_HELD_AT_LEAST - leeway.share)
                ),
            );
            let (gap, count) = s.median_gap.unwrap_or((f64::NAN, 0));
            tell(
                met(gap < GAP_AT_MOST_STOPS),
                format!("median gap {gap:.2} in {count} within two stops, under 2"),
            );
            continue;
        }
        if let (Some(most), Some(least)) = (kind.rmse_at_most, s.least) {
            let most = most * (1.0 + leeway.error);
            let numbers = format!("RMSE {:.3}, at most {most:.3}", s.rmse);
            if s.rmse <= most {
                tell(Verdict::Met, numbers);
            } else if least.bound > most {
                let bound = format!("not with these sheets and errors: bound {:.3}", least.bound);
                tell(Verdict::BeyondBound, format!("{numbers}; {bound}"));
            } else {
                tell(Verdict::Failed, numbers);
            }
        }
        match kind.specified {
            Specified::Well => {
                if let Some(least) = s.least {
                    let ratio = s.rmse / least.bound;
                    let most = RATIO_AT_MOST * (1.0 + leeway.error);
                    tell(
                        met(ratio <= most),
                        format!("RMSE is {ratio:.3} of its bound, at most {most:.3}"),
                    );
                }
                let (low, high) = (COVERAGE.0 - leeway.share, COVERAGE.1 + leeway.share);
                tell(
                    met((low..=high).contains(&s.coverage)),
                    format!(
                        "holds {:.1} %, {:.1} to {:.1}",
                        100.0 * s.coverage,
                        100.0 * low,
                        100.0 * high
                    ),
                );
            }
            Specified::Mis => {
                let least = COVERAGE_MIS_AT_LEAST - leeway.share;
                tell(
                    met(s.coverage >= least),
                    format!(
                        "holds {:.1} %, at least {:.1}",
                        100.0 * s.coverage,
                        100.0 * least
                    ),
                );
                if let Some(of_c) = marked_half_width {
                    let ratio = s.half_width / of_c;
                    tell(
                        met(ratio <= HALF_WIDTH_OF_C_AT_MOST),
                        format!("half-width is {ratio:.2} of that of c, at most 1.4"),
                    );
                }
            }
        }
        if let Some(most) = kind.share_of_eye {
            let share = s.rmse / s.eye_rmse;
            let most = most * (1.0 + leeway.error);
            tell(
                met(share <= most),
                format!(
                    "RMSE is {share:.2} of that by eye ({:.3}), at most {most:.2}",
                    s.eye_rmse
                ),
            );
        }
    }
    outcomes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_as_stated_for_a_thousand_tests_and_wider_for_fewer() {
        assert_eq!(Leeway::with_tests(1000).share, 0.0);
        assert_eq!(Leeway::with_tests(5000).error, 0.0);
        // Hand calculation for 100: 3·0.3·(1/10 − 1/31.623) = 0.061 5;
        // 3·0.707 1·(1/10 − 1/31.623) = 0.145 0.
        let few = Leeway::with_tests(100);
        assert!((few.share - 0.061_5).abs() < 1e-4, "{}", few.share);
        assert!((few.error - 0.145_0).abs() < 1e-4, "{}", few.error);
    }
}
