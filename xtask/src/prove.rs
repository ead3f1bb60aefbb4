//! The proof of the estimate by simulation.
//!
//! Draws tests of many kinds, evaluates them, and sets the error of the factor
//! against the least that any estimate can have and against what a tester finds
//! by eye. Prints a table and each requirement with its numbers.
//!
//! Begin with `kinds`, which says what is drawn; `bound` has the least error,
//! `score` the simulation, `requirements` what is asked.

mod bound;
mod kinds;
pub(crate) mod plan;
mod requirements;
mod score;
pub(crate) mod tail;

use kinds::{Kind, Specified};
use requirements::Verdict;
use score::Score;

/// What was asked for on the command line.
struct Wanted {
    tests: u64,
    kind: Option<String>,
    draw: u64,
    /// Whether a requirement that asks for less than the bound ends in an error.
    fail_beyond_bound: bool,
}

fn wanted(words: &[&str]) -> Result<Wanted, String> {
    let mut wanted = Wanted {
        tests: 1000,
        kind: None,
        draw: 1,
        fail_beyond_bound: true,
    };
    for pair in words.chunks(2) {
        let [name, value] = pair else {
            return Err(format!("{} wants a value", pair[0]));
        };
        let number = || {
            value
                .parse::<u64>()
                .map_err(|_| format!("{name} wants a whole number, not {value:?}"))
        };
        match *name {
            "--tests" => wanted.tests = number()?.max(1),
            "--draw" => wanted.draw = number()?,
            "--beyond-bound" => {
                wanted.fail_beyond_bound = match *value {
                    "fails" => true,
                    "is-told" => false,
                    _ => {
                        return Err(format!("--beyond-bound is fails or is-told, not {value:?}"));
                    }
                }
            }
            "--kind" => wanted.kind = Some((*value).to_owned()),
            _ => {
                return Err(format!(
                    "prove knows --tests, --kind, --draw and --beyond-bound, not {name}"
                ));
            }
        }
    }
    Ok(wanted)
}

/// Runs the proof; an error lists the requirements that failed.
pub(crate) fn run(words: &[&str]) -> Result<(), String> {
    let wanted = wanted(words)?;
    let all = kinds::all();
    let chosen: Vec<&Kind> = all
        .iter()
        .filter(|k| wanted.kind.as_deref().is_none_or(|w| w == k.letter))
        .collect();
    if chosen.is_empty() {
        let letters: Vec<&str> = all.iter().map(|k| k.letter).collect();
        return Err(format!("no such kind; there are {}", letters.join(" ")));
    }
    println!(
        "proof of the estimate: {} tests of each kind, draw {}; errors in stops",
        wanted.tests, wanted.draw
    );
    println!();
    println!("{HEAD}");
    let mut scores: Vec<(&Kind, Score)> = vec![];
    for kind in chosen {
        let score = score::score(kind, wanted.tests, wanted.draw)?;
        println!("{}", row(kind, &score));
        scores.push((kind, score));
    }
    println!();
    for kind in scores.iter().map(|(kind, _)| kind) {
        println!("{:<4} {}", kind.letter, kind.what);
    }
    println!();
    println!("{NOTES}");
    println!();
    if wanted.tests < 1000 {
        println!("limits are stated for 1000 tests and are wider here by chance alone:");
    }
    let outcomes = requirements::outcomes(&scores);
    for outcome in &outcomes {
        println!("{outcome}");
    }
    let with = |verdict: Verdict| -> Vec<&str> {
        outcomes
            .iter()
            .filter(|o| o.verdict == verdict)
            .map(|o| o.what.as_str())
            .collect()
    };
    println!();
    let beyond = with(Verdict::BeyondBound);
    for what in &beyond {
        println!("no estimate can meet: {what}");
    }
    let mut failed = with(Verdict::Failed);
    if wanted.fail_beyond_bound {
        failed.extend(beyond);
    }
    if failed.is_empty() {
        println!(
            "{} of {} requirements are met, the rest ask for less than the bound",
            with(Verdict::Met).len(),
            outcomes.len()
        );
        Ok(())
    } else {
        Err(format!(
            "{} of {} requirements are not met: {}",
            failed.len(),
            outcomes.len(),
            failed.join("; ")
        ))
    }
}

/// Runs the proof of the red end.
pub(crate) fn tail_chore(words: &[&str]) -> Result<(), String> {
    let (mut films, mut draw) = (200, 1);
    for pair in words.chunks(2) {
        let number = |value: &str| {
            value
                .parse::<u32>()
                .map_err(|_| format!("{} wants a whole number, not {value:?}", pair[0]))
        };
        match pair {
            ["--films", value] => films = number(value)?.max(1),
            ["--draw", value] => draw = number(value)?.into(),
            _ => {
                return Err(format!(
                    "prove-tail knows --films and --draw with a value, not {}",
                    pair[0]
                ));
            }
        }
    }
    tail::run(films, draw)
}

const HEAD: &str = "kind  spec  factors   RMSE  bound  ratio  mean-inv  frames    bias   held %  half-w  bounds   eye  refused";

const NOTES: &str = "\
spec: whether the estimate is told the sizes that are drawn from. bound: Cramér-Rao with the
priors counted, by finite differences of the simulation's own means. mean-inv: as bound, the
inverse taken for each drawing. frames: exposure errors alone, s·√(1/anchors + 1/filtered), no meter. held:
intervals and bounds that hold the truth. half-w: mean half-width of the 90 % interval. eye: error
of the nearest card by eye. RMSE, bias and half-w leave answers that are bounds out.";

fn row(kind: &Kind, s: &Score) -> String {
    let shown = |value: Option<f64>| match value {
        Some(v) if v.is_finite() => format!("{v:.3}"),
        _ => "-".to_owned(),
    };
    let bound = s.least.map(|l| l.bound);
    format!(
        "{:<5} {:<4} {:>8} {:>6} {:>6} {:>6} {:>9} {:>7} {:>7} {:>8.1} {:>7} {:>7} {:>5} {:>8}",
        kind.letter,
        match kind.specified {
            Specified::Well => "well",
            Specified::Mis => "mis",
        },
        s.intervals + s.bounds,
        shown(Some(s.rmse)),
        shown(bound),
        shown(bound.map(|b| s.rmse / b)),
        shown(s.least.map(|l| l.mean_of_inverses)),
        shown(s.least.and_then(|l| l.frames_alone)),
        shown(Some(s.bias)),
        100.0 * s.coverage,
        shown(Some(s.half_width)),
        s.bounds,
        shown(Some(s.eye_rmse)),
        s.refused.0,
    )
}
