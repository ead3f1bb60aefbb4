//! The ends of a factor's interval: by the profile of the posterior, so that they are as
//! lopsided as the data, or by the covariance where a profile would cost too much.

use crate::assumptions::Assumptions;
use crate::estimate::Estimate;
use crate::normal::quantile;
use crate::solve::{End, Seen, profile_end};
use quantity::Bound;

/// Beyond this many parameters the profile of a factor that has readings is not
/// followed: the covariance is used instead, and the answer says so.
const PROFILE_LIMIT: usize = 250;

/// How far the profile is followed, in log10 exposure: 20 stops.
pub(crate) const REACH: f64 = 6.0;

/// The ends, and on which side they are none.
pub(crate) struct Ends {
    /// log10 of the factor.
    pub(crate) low: f64,
    /// log10 of the factor.
    pub(crate) high: f64,
    pub(crate) bound: Option<Bound>,
    /// How they were found, in words.
    pub(crate) method: &'static str,
}

/// Finds the ends for the factor that is parameter `i`; `read` says whether any of its
/// frames shows a matched patch, so that there is more than limits.
pub(crate) fn ends(e: &Estimate, assumptions: &Assumptions, i: usize, read: bool) -> Ends {
    let model = &e.model;
    let p = &e.fit.parameters;
    let sd = libm::sqrt(e.covariance.variance(&[(i, 1.0)]));
    let z_two = quantile(0.5 + 0.5 * assumptions.coverage);
    let z_one = quantile(assumptions.coverage);
    // Limits alone have no curvature at the optimum to speak of, however many
    // the parameters are.
    let follow = model.keys.len() <= PROFILE_LIMIT || !read;
    let (low, high, bound, method) = if follow {
        let end = |direction: f64, z: f64| {
            profile_end(model, &e.fit, i, sd, direction, 0.5 * z * z, REACH)
        };
        let (low, high) = (end(-1.0, z_two), end(1.0, z_two));
        let method = "ends found by fitting again along the factor";
        match (low, high) {
            (End::At(low), End::At(high)) if read => (low, high, None, method),
            (End::At(low), End::At(high)) => {
                // Limits on both sides still close the interval.
                let has = |at_least: bool| {
                    model.terms.iter().zip(&model.observations).any(|(t, o)| {
                        t.exposed
                            .as_ref()
                            .is_some_and(|x| x.linear.iter().any(|(k, _)| *k == i))
                            && match o.seen {
                                Seen::AtLeast(_) => at_least,
                                Seen::AtMost(_) => !at_least,
                                Seen::Value(_) => false,
                            }
                    })
                };
                match (has(false), has(true)) {
                    (true, false) => (
                        one_sided(end(-1.0, z_one), low),
                        high,
                        Some(Bound::AtLeast),
                        method,
                    ),
                    (false, true) => (
                        low,
                        one_sided(end(1.0, z_one), high),
                        Some(Bound::AtMost),
                        method,
                    ),
                    _ => (low, high, None, method),
                }
            }
            (End::At(low), End::Open) => {
                let low = one_sided(end(-1.0, z_one), low);
                (low, p[i].max(low), Some(Bound::AtLeast), method)
            }
            (End::Open, End::At(high)) => {
                let high = one_sided(end(1.0, z_one), high);
                (p[i].min(high), high, Some(Bound::AtMost), method)
            }
            (End::Open, End::Open) => (p[i] - REACH, p[i] + REACH, None, method),
        }
    } else {
        (
            p[i] - z_two * sd,
            p[i] + z_two * sd,
            None,
            "ends from the scatter about the best fit",
        )
    };
    Ends {
        low,
        high,
        bound,
        method,
    }
}

fn one_sided(end: End, otherwise: f64) -> f64 {
    match end {
        End::At(at) => at,
        End::Open => otherwise,
    }
}
