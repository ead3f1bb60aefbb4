//! The proof of a plan's promise: planned tests are made for truths spread over
//! what was believed, evaluated, and their intervals held against the promise and
//! against a bracket made by hand.

use findings::{
    Assumptions, FactorPrior, FilterAsked, PlanAnswer, PlanRequest, VerdictCriteria, evaluate,
    factor_prior, hand_bracket, plan_filters, plan_test,
};
use quantity::{Ev100, ExposureIndex, FNumber, Nanometres, Seconds, Stops};
use record::{Edge, EdgeLevel, Film, Filter, Id, Light, Process, Sky, Test, TestParts};
use spectra::FilmClass;
use std::sync::atomic::{AtomicU64, Ordering};
use testkit::{FrameTruth, expose_frames};

/// How far the achieved half-width may lie from the promised one.
const MOST_OFF: f64 = 0.15;
/// Least share of 90 % intervals that hold the truth.
const LEAST_HELD: f64 = 0.85;

const HEAD: &str = "plan                                          filter   promised  achieved  ratio  intervals  held %  by hand";

/// One planned test.
struct Kind {
    what: &'static str,
    edges: &'static [f64],
    ev100: f64,
    sheets: usize,
}

const KINDS: [Kind; 5] = [
    Kind {
        what: "400-speed extended red, full sun, 8 sheets",
        edges: &[715.0],
        ev100: 15.0,
        sheets: 8,
    },
    Kind {
        what: "the same in dim light (EV 11), 8 sheets",
        edges: &[715.0],
        ev100: 11.0,
        sheets: 8,
    },
    Kind {
        what: "full sun, 4 sheets",
        edges: &[715.0],
        ev100: 15.0,
        sheets: 4,
    },
    Kind {
        what: "full sun, 16 sheets",
        edges: &[715.0],
        ev100: 15.0,
        sheets: 16,
    },
    Kind {
        what: "two filters, full sun, 10 sheets",
        edges: &[695.0, 715.0],
        ev100: 15.0,
        sheets: 10,
    },
];

/// A filter with what is believed and promised of it.
struct Promised {
    filter: Id,
    edge_nm: f64,
    mean_stops: f64,
    sd_stops: f64,
    half_width_stops: f64,
}

/// What came of the tests for one filter.
#[derive(Clone, Copy, Default)]
struct Achieved {
    sum_stops: f64,
    intervals: u64,
    held: u64,
}

impl Achieved {
    fn mean_stops(self) -> f64 {
        self.sum_stops / self.intervals.max(1) as f64
    }
}

/// Runs the proof; an error lists what is not as promised.
pub(crate) fn run(words: &[&str]) -> Result<(), String> {
    let (mut tests, mut draw) = (500, 1);
    for pair in words.chunks(2) {
        let number = |value: &str| {
            value
                .parse::<u64>()
                .map_err(|_| format!("{} wants a whole number, not {value:?}", pair[0]))
        };
        match pair {
            ["--tests", value] => tests = number(value)?.max(1),
            ["--draw", value] => draw = number(value)?,
            _ => {
                return Err(format!(
                    "prove-plan knows --tests and --draw with a value, not {}",
                    pair[0]
                ));
            }
        }
    }
    println!(
        "proof of the plan: {tests} truths, draw {draw}; half-widths of 90 % intervals in stops"
    );
    println!();
    println!("{HEAD}");
    let mut failed = vec![];
    for kind in &KINDS {
        failed.extend(prove(kind, tests, draw)?);
    }
    println!();
    if failed.is_empty() {
        println!(
            "every promise is kept within {:.0} %, holds the truth in {:.0} % or more, and beats the bracket by hand",
            100.0 * MOST_OFF,
            100.0 * LEAST_HELD
        );
        Ok(())
    } else {
        Err(format!("not as promised: {}", failed.join("; ")))
    }
}

fn prove(kind: &Kind, tests: u64, draw: u64) -> Result<Vec<String>, String> {
    let common = Assumptions::COMMON_PRACTICE;
    let request = request(kind)?;
    let (promised, parts, hand) = if let [_] = kind.edges {
        let planned = match plan_test(&request, &common).map_err(|e| e.to_string())? {
            PlanAnswer::Planned(plan) => plan,
            PlanAnswer::NoImage => return Err("an image is expected".to_owned()),
        };
        let hand = match hand_bracket(&request, &common).map_err(|e| e.to_string())? {
            PlanAnswer::Planned(plan) => plan,
            PlanAnswer::NoImage => return Err("an image is expected".to_owned()),
        };
        let promised = vec![promised(
            &request.filter,
            request.prior,
            kind.edges[0],
            planned.expected.half_width_stops,
        )?];
        (promised, planned.as_if_exposed, Some(hand.as_if_exposed))
    } else {
        let asked = (kind.edges.iter())
            .map(|nm| {
                Ok(FilterAsked {
                    filter: filter(&format!("filter-{nm}"), *nm)?,
                    prior: prior(*nm)?,
                })
            })
            .collect::<Result<Vec<_>, String>>()?;
        let plan = plan_filters(&request, &asked, &common).map_err(|e| e.to_string())?;
        let promised = (plan.filters.iter())
            .map(|f| {
                let one = &asked[f.asked];
                let nm = kind.edges[f.asked];
                promised(&one.filter, one.prior, nm, f.expected.half_width_stops)
            })
            .collect::<Result<Vec<_>, String>>()?;
        (promised, plan.as_if_exposed, None)
    };
    let achieved = simulated(&parts, &promised, tests, draw)?;
    let by_hand = match &hand {
        Some(hand) => Some(simulated(hand, &promised, tests, draw)?),
        None => None,
    };
    let mut failed = vec![];
    for (of, (promise, found)) in promised.iter().zip(&achieved).enumerate() {
        let width = found.mean_stops();
        let ratio = width / promise.half_width_stops;
        let held = found.held as f64 / found.intervals.max(1) as f64;
        let hand = by_hand.as_ref().map(|h| h[of].mean_stops());
        println!(
            "{:<45} {:<8} {:>8.3}  {:>8.3}  {:>5.3}  {:>9}  {:>6.1}  {:>7}",
            if of == 0 { kind.what } else { "" },
            promise.edge_nm,
            promise.half_width_stops,
            width,
            ratio,
            found.intervals,
            100.0 * held,
            hand.map_or("-".to_owned(), |h| format!("{h:.3}")),
        );
        let name = format!("{}, {} nm", kind.what, promise.edge_nm);
        if (ratio - 1.0).abs() > MOST_OFF {
            failed.push(format!("{name}: {ratio:.3} of the promise"));
        }
        if held < LEAST_HELD {
            failed.push(format!("{name}: {:.1} % hold the truth", 100.0 * held));
        }
        if hand.is_some_and(|hand| width >= hand) {
            failed.push(format!("{name}: no narrower than by hand"));
        }
    }
    Ok(failed)
}

fn promised(
    filter: &Filter,
    prior: FactorPrior,
    edge_nm: f64,
    half_width_stops: f64,
) -> Result<Promised, String> {
    match prior {
        FactorPrior::Expected {
            mean_stops,
            sd_stops,
        } => Ok(Promised {
            filter: filter.id.clone(),
            edge_nm,
            mean_stops,
            sd_stops,
            half_width_stops,
        }),
        FactorPrior::NoImage => Err("an image is expected".to_owned()),
    }
}

/// Makes and evaluates the tests.
fn simulated(
    parts: &TestParts,
    promised: &[Promised],
    tests: u64,
    first_draw: u64,
) -> Result<Vec<Achieved>, String> {
    let next = AtomicU64::new(0);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let shares: Vec<Vec<Achieved>> = std::thread::scope(|scope| {
        let workers: Vec<_> = (0..threads)
            .map(|_| {
                scope.spawn(|| {
                    let mut found = vec![Achieved::default(); promised.len()];
                    loop {
                        let number = next.fetch_add(1, Ordering::Relaxed);
                        if number >= tests {
                            return found;
                        }
                        one(parts, promised, number, tests, first_draw, &mut found);
                    }
                })
            })
            .collect();
        workers
            .into_iter()
            .map(|worker| {
                worker
                    .join()
                    .map_err(|_| "a simulation broke off".to_owned())
            })
            .collect::<Result<_, String>>()
    })?;
    let mut all = vec![Achieved::default(); promised.len()];
    for (of, sum) in all.iter_mut().enumerate() {
        for share in &shares {
            sum.sum_stops += share[of].sum_stops;
            sum.intervals += share[of].intervals;
            sum.held += share[of].held;
        }
    }
    Ok(all)
}

fn one(
    parts: &TestParts,
    promised: &[Promised],
    number: u64,
    tests: u64,
    first_draw: u64,
    found: &mut [Achieved],
) {
    // Even over each prior's probability; with several filters in orders of their own,
    // so that their truths don't go together.
    let factors: Vec<(Id, f64)> = (promised.iter().enumerate())
        .map(|(of, p)| {
            let place = if of == 0 {
                number
            } else {
                (number * 7 + 3) % tests
            };
            let share = (place as f64 + 0.5) / tests as f64;
            (
                p.filter.clone(),
                p.mean_stops + p.sd_stops * normal_quantile(share),
            )
        })
        .collect();
    let draw = first_draw.wrapping_mul(1_000_003).wrapping_add(number);
    let made = expose_frames(parts.clone(), &factors, &TRUTH, draw);
    let readings = made.readings.clone();
    let Ok(test) = Test::assemble(made) else {
        return;
    };
    let Ok(findings) = evaluate(
        &test,
        &readings,
        &Assumptions::COMMON_PRACTICE,
        &VerdictCriteria::COMMON_PRACTICE,
    ) else {
        return;
    };
    for ((filter, truth), sum) in factors.iter().zip(found) {
        let factor =
            (findings.factors.iter()).find(|f| f.filters == [filter.clone()] && f.bound.is_none());
        if let Some(factor) = factor {
            let (low, high) = (factor.stops.low.to_stops(), factor.stops.high.to_stops());
            sum.sum_stops += 0.5 * (high - low);
            sum.intervals += 1;
            sum.held += u64::from((low..=high).contains(truth));
        }
    }
}

/// Sizes of error as the estimate assumes them; films that lose speed at long times
/// as it assumes of a film whose loss nobody stated.
const TRUTH: FrameTruth = FrameTruth {
    other_stops: 2.5,
    marked: 0.30,
    aperture: 0.08,
    frame: 0.12,
    light: 0.10,
    card: 0.10,
    box_speed: 0.5,
    gradient: 0.06,
    base: 0.006,
    reading: 0.01,
    lost_per_decade: (0.6, 0.6),
};

/// By halving of the error function's integral: plain, and no code of the estimate's.
fn normal_quantile(share: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if normal_share(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Share of a normal below z, by Simpson's rule in 400 steps from −8.
fn normal_share(z: f64) -> f64 {
    let steps = 400_u32;
    let step = (z + 8.0) / f64::from(steps);
    let density = |x: f64| (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt();
    let sum: f64 = (0..=steps)
        .map(|k| {
            let weight = match k {
                0 => 1.0,
                k if k == steps => 1.0,
                k if k % 2 == 1 => 4.0,
                _ => 2.0,
            };
            weight * density(-8.0 + step * f64::from(k))
        })
        .sum();
    sum * step / 3.0
}

fn id(text: &str) -> Result<Id, String> {
    Id::new(text).map_err(|e| e.to_string())
}

fn filter(name: &str, nm: f64) -> Result<Filter, String> {
    Ok(Filter {
        id: id(name)?,
        name: name.to_owned(),
        marking: None,
        edge: Some(Edge {
            wavelength: Nanometres::from_nm(nm).map_err(|e| e.to_string())?,
            level: EdgeLevel::HalfTransmittance,
        }),
        stated_factor: None,
    })
}

fn prior(nm: f64) -> Result<FactorPrior, String> {
    factor_prior(
        FilmClass::ExtendedRed,
        nm,
        EdgeLevel::HalfTransmittance,
        Sky::ClearSun,
    )
    .map_err(|e| e.to_string())
}

fn request(kind: &Kind) -> Result<PlanRequest, String> {
    let wrong = |e: quantity::QuantityError| e.to_string();
    let box_speed = ExposureIndex::from_arithmetic(400.0).map_err(wrong)?;
    Ok(PlanRequest {
        film: Film {
            id: id("film")?,
            name: "invented film".into(),
            format: None,
            box_speed: Some(box_speed),
            batch: None,
            expiry: None,
            reciprocity: None,
        },
        box_speed,
        filter: filter("filter", kind.edges[0])?,
        red: Some((filter("red", 600.0)?, Stops::new(2.5).map_err(wrong)?)),
        light: Light {
            id: id("light")?,
            sky: Sky::ClearSun,
            place: None,
            time: None,
            meter: None,
            reading: None,
            drift: None,
            remarks: None,
        },
        ev100: Ev100::from_ev(kind.ev100).map_err(wrong)?,
        process: Process {
            id: id("process")?,
            developer: "invented".into(),
            dilution: None,
            time: None,
            temperature: None,
            agitation: None,
            remarks: None,
        },
        prior: prior(kind.edges[0])?,
        sheets: kind.sheets,
        sides: (1..=kind.sheets).map(|s| format!("side {s}")).collect(),
        apertures: [16.0, 5.6, 8.0, 11.0, 22.0, 32.0, 45.0]
            .into_iter()
            .map(|n| FNumber::from_ratio(n).map_err(wrong))
            .collect::<Result<_, _>>()?,
        longest: Seconds::from_s(60.0).map_err(wrong)?,
        shortest: Seconds::from_s(1.0 / 500.0).map_err(wrong)?,
        law: None,
        measured_shutter: false,
        tablet: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: tables of the normal distribution: 0.5, 0.975, 0.05.
    #[test]
    fn quantiles_agree_with_the_tables() {
        for (share, z) in [(0.5, 0.0), (0.975, 1.959_964), (0.05, -1.644_854)] {
            assert!((normal_quantile(share) - z).abs() < 1e-5, "{share}");
        }
    }
}
