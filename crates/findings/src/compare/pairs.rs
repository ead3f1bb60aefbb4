//! Which numbers of two tests belong together, and how far they lie apart.

use crate::assumptions::Assumptions;
use crate::compare::causes::{assumptions, causes, edges_apart};
use crate::compare::comparison::{
    CauseState, Compared, ComparedQuantity, Comparison, Difference, PossibleCause, StopsDifference,
    standing,
};
use crate::compare::side::{Number, Side, plain};
use quantity::Stops;
use std::collections::BTreeSet;

/// What is important: a third of a stop, the step of the trade.
const IMPORTANT_STOPS: f64 = 1.0 / 3.0;

/// Filters whose edges lie further apart than this are no counterparts. \[nm\]
const COUNTERPARTS_WITHIN_NM: f64 = 60.0;

/// Why tests can't be compared.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CompareError {
    /// Name a second test, or record outside reports in the one.
    #[error(
        "one test without outside reports leaves nothing to compare: name two tests, or record [[outside_report]] in the one"
    )]
    NothingToCompare,
    /// Name each test once.
    #[error("two of the tests are named {name}")]
    NamedTwice {
        /// The name.
        name: String,
    },
    /// Evaluate them with one coverage.
    #[error("test {name} has intervals of {found} coverage, the first has {expected}")]
    Coverage {
        /// The test.
        name: String,
        /// Its coverage.
        found: f64,
        /// The coverage of the first test.
        expected: f64,
    },
}

/// Compares tests with each other and with the reports they record.
///
/// The order of `tests` gives the sign of each difference: positive when the
/// later test asks for more exposure. `assumed` are the assumptions that the
/// findings were made with. Same input, same answer.
///
/// # Errors
/// [`CompareError`] when there is nothing to compare, or the tests can't be
/// told apart.
pub fn compare(tests: &[Compared<'_>], assumed: &Assumptions) -> Result<Comparison, CompareError> {
    let reports = tests
        .iter()
        .flat_map(|t| &t.test.parts().outside_reports)
        .count();
    let Some(first) = tests.first().filter(|_| tests.len() > 1 || reports > 0) else {
        return Err(CompareError::NothingToCompare);
    };
    let coverage = first.findings.coverage;
    let mut seen = BTreeSet::new();
    for test in tests {
        if !seen.insert(test.name.as_str()) {
            return Err(CompareError::NamedTwice {
                name: test.name.clone(),
            });
        }
        if (test.findings.coverage - coverage).abs() > 1e-9 {
            return Err(CompareError::Coverage {
                name: test.name.clone(),
                found: test.findings.coverage,
                expected: coverage,
            });
        }
    }
    let mut differences = vec![];
    let mut notes = vec![];
    for (i, a) in tests.iter().enumerate() {
        for b in &tests[i + 1..] {
            pair(a, b, assumed, &mut differences, &mut notes);
        }
    }
    let mut names: Vec<String> = tests.iter().map(|t| t.name.clone()).collect();
    for test in tests {
        for report in &test.test.parts().outside_reports {
            let alone = report.id.to_string();
            // Reports of one name in two tests go by both names.
            let name = if names.contains(&alone) {
                format!("{}/{alone}", test.name)
            } else {
                alone
            };
            names.push(name);
        }
    }
    if tests.iter().any(|t| t.findings.invented) {
        notes.insert(0, "INVENTED DATA among what is compared".to_owned());
    }
    let process = crate::compare::batch::process_points(tests);
    Ok(Comparison {
        names,
        coverage,
        differences,
        outside_reports: crate::compare::outside::report_checks(tests),
        batch: crate::compare::batch::batch_differences(tests, &process, coverage),
        process,
        assumptions: assumptions(),
        notes,
    })
}

/// How well two factors belong together; `None` when they don't.
fn kinship(a: &Side<'_>, b: &Side<'_>) -> Option<i32> {
    let film = plain(a.film_name()) == plain(b.film_name());
    let (fa, fb) = (a.filters(), b.filters());
    let named = |f: &[&record::Filter]| f.iter().map(|f| plain(&f.name)).collect::<Vec<_>>();
    let same_name = named(&fa) == named(&fb);
    let filter = match edges_apart(&fa, &fb) {
        Some((low, high)) => {
            let apart = 0.5 * (low + high).abs();
            if apart > COUNTERPARTS_WITHIN_NM {
                return None;
            }
            // The nearer the edges, the closer kin; 2 nm count as one point.
            30 - (0.5 * apart) as i32 + if same_name { 5 } else { 0 }
        }
        None if same_name => 35,
        // A red filter and a near-infrared one should not be compared blindly.
        None => return film.then_some(0),
    };
    let sky = a.skies() == b.skies();
    Some(filter + if film { 100 } else { 0 } + if sky { 20 } else { 0 })
}

/// Every number of `these` with the nearest kin in `those`.
fn nearest<'a>(these: &[Side<'a>], those: &[Side<'a>]) -> Vec<(usize, usize)> {
    let mut found = vec![];
    for (i, a) in these.iter().enumerate() {
        let best = those
            .iter()
            .enumerate()
            .filter_map(|(j, b)| Some((kinship(a, b)?, j)))
            // The first of equals, so that the order of records decides.
            .max_by_key(|(kin, j)| (*kin, core::cmp::Reverse(*j)));
        if let Some((_, j)) = best {
            found.push((i, j));
        }
    }
    found
}

fn pair(
    a: &Compared<'_>,
    b: &Compared<'_>,
    assumed: &Assumptions,
    differences: &mut Vec<Difference>,
    notes: &mut Vec<String>,
) {
    let factors = |of| factor_sides(of);
    let (fa, fb) = (factors(a), factors(b));
    let mut pairs = nearest(&fa, &fb);
    for (j, i) in nearest(&fb, &fa) {
        if !pairs.contains(&(i, j)) {
            pairs.push((i, j));
        }
    }
    for (sides, name, place) in [(&fa, &b.name, 0), (&fb, &a.name, 1)] {
        for (i, side) in sides.iter().enumerate() {
            let paired = pairs
                .iter()
                .any(|p| if place == 0 { p.0 } else { p.1 } == i);
            if !paired {
                notes.push(format!(
                    "{}: {} has no counterpart in {name}",
                    side.of.name,
                    side.words()
                ));
            }
        }
    }
    for (i, j) in pairs {
        for quantity in [ComparedQuantity::FilterFactor, ComparedQuantity::FilteredEi] {
            match difference(&fa[i], &fb[j], quantity, assumed) {
                Ok(d) => differences.push(d),
                Err(why) => notes.push(why),
            }
        }
    }
    let (sa, sb) = (speed_sides(a), speed_sides(b));
    for x in &sa {
        // Speeds of two films are compared only when the films go by one name.
        for y in sb
            .iter()
            .filter(|y| plain(y.film_name()) == plain(x.film_name()))
        {
            match difference(x, y, ComparedQuantity::FilmSpeed, assumed) {
                Ok(d) => differences.push(d),
                Err(why) => notes.push(why),
            }
        }
    }
}

fn factor_sides<'a>(of: &'a Compared<'a>) -> Vec<Side<'a>> {
    of.findings
        .factors
        .iter()
        .map(|f| Side {
            of,
            number: Number::Factor(f),
        })
        .collect()
}

fn speed_sides<'a>(of: &'a Compared<'a>) -> Vec<Side<'a>> {
    of.findings
        .speeds
        .iter()
        .map(|s| Side {
            of,
            number: Number::Speed(s),
        })
        .collect()
}

fn stops(value: f64) -> Stops {
    match Stops::new(value) {
        Ok(stops) => stops,
        Err(_) => unreachable!("differences of finite stops are finite"),
    }
}

fn difference(
    a: &Side<'_>,
    b: &Side<'_>,
    quantity: ComparedQuantity,
    assumed: &Assumptions,
) -> Result<Difference, String> {
    let missing = |side: &Side<'_>| {
        format!(
            "{}: {} has no {}, so it is not compared",
            side.of.name,
            side.words(),
            quantity.words()
        )
    };
    let x = a.asked(quantity).ok_or_else(|| missing(a))?;
    let y = b.asked(quantity).ok_or_else(|| missing(b))?;
    let value = y.value - x.value;
    // Independent errors add in quadrature, each end with the ends that make it.
    let end =
        |up: Option<f64>, down: Option<f64>| Some(libm::hypot(up? - y.value, down? - x.value));
    let low = end(y.low, x.high).map(|e| value - e);
    let high = end(y.high, x.low).map(|e| value + e);
    if low.is_none() && high.is_none() {
        return Err(format!(
            "{} and {}: both know the {} from one side only, so no difference can be told",
            a.of.name,
            b.of.name,
            quantity.words()
        ));
    }
    let significant = low.is_some_and(|l| l > 0.0) || high.is_some_and(|h| h < 0.0);
    let important = value.abs() > IMPORTANT_STOPS;
    let causes = causes(a, b, quantity, assumed);
    let stops_apart = StopsDifference {
        value: stops(value),
        low: low.map(stops),
        high: high.map(stops),
    };
    let verdict = verdict(
        a,
        b,
        quantity,
        (value, low, high),
        significant,
        important,
        &causes,
    );
    Ok(Difference {
        first: (a.of.name.clone(), a.words()),
        second: (b.of.name.clone(), b.words()),
        quantity,
        stops: stops_apart,
        significant,
        important,
        verdict,
        causes,
    })
}

/// Rounds up to a tenth, so that "less than" stays true.
fn rounded_up(stops: f64) -> f64 {
    (libm::ceil(10.0 * stops - 1e-9) / 10.0).max(0.1)
}

/// One decimal with its sign; a zero has none.
fn signed(stops: f64) -> String {
    let text = format!("{stops:+.1}");
    if matches!(text.as_str(), "+0.0" | "-0.0") {
        "0.0".to_owned()
    } else {
        text
    }
}

fn range_words((value, low, high): (f64, Option<f64>, Option<f64>)) -> String {
    match (low, high) {
        (Some(l), Some(h)) => {
            format!("{} stops ({} to {})", signed(value), signed(l), signed(h))
        }
        (Some(l), None) => format!("at least {} stops", signed(l)),
        (None, Some(h)) => format!("at most {} stops", signed(h)),
        (None, None) => format!("{} stops", signed(value)),
    }
}

fn verdict(
    a: &Side<'_>,
    b: &Side<'_>,
    quantity: ComparedQuantity,
    found: (f64, Option<f64>, Option<f64>),
    significant: bool,
    important: bool,
    causes: &[PossibleCause],
) -> String {
    let (value, low, high) = found;
    let standing = standing(significant, important);
    let what = if a.words() == b.words() {
        a.words()
    } else {
        format!("{} against {}", b.words(), a.words())
    };
    if !significant {
        let head = match (low, high) {
            (Some(l), Some(h)) => {
                let most = l.abs().max(h.abs());
                let less = format!("it is less than {:.1} stops", rounded_up(most));
                if important {
                    format!("{standing}; {less}")
                } else if most <= IMPORTANT_STOPS {
                    format!("no difference shown; {less}, which is not important")
                } else {
                    format!(
                        "no difference shown; {less}, so one that is important is not ruled out"
                    )
                }
            }
            _ => standing.to_owned(),
        };
        // What pushes one way is worth telling even before a difference is shown.
        let pushes: Vec<_> = causes
            .iter()
            .filter(|c| c.state == CauseState::Present && one_sided(c).is_some())
            .collect();
        let known = if important && !pushes.is_empty() {
            format!(". Recorded as different: {}", listed(&pushes))
        } else {
            String::new()
        };
        return format!(
            "{} ({what}): {head}. {} against {}: {}{known}",
            capital(quantity.words()),
            b.of.name,
            a.of.name,
            range_words(found)
        );
    }
    let size = match (low, high) {
        (Some(l), Some(h)) => {
            let (near, far) = if value < 0.0 { (-h, -l) } else { (l, h) };
            format!("{:.1} stops ({near:.1} to {far:.1})", value.abs())
        }
        _ => format!("at least {:.1} stops", value.abs()),
    };
    let head = format!(
        "{} ({what}): {} asks for {size} {} exposure than {}: {standing}",
        capital(quantity.words()),
        b.of.name,
        if value > 0.0 { "more" } else { "less" },
        a.of.name,
    );
    format!("{head}. {}", explanation(found, causes))
}

/// Whether a cause must push to one side, as a longer edge does.
fn one_sided(c: &PossibleCause) -> Option<(f64, f64)> {
    let (low, high) = c.stops?;
    let (low, high) = (low.to_stops(), high.to_stops());
    (low > 0.0 || high < 0.0).then_some((low, high))
}

fn sized(c: &PossibleCause) -> String {
    match c.stops {
        None => format!("{} (size not known)", c.cause),
        Some((low, high)) => {
            let (low, high) = (low.to_stops(), high.to_stops());
            if low == -high {
                format!("{} (up to {high:.1} stops either way)", c.cause)
            } else {
                format!("{} ({low:+.1} to {high:+.1} stops)", c.cause)
            }
        }
    }
}

fn listed(causes: &[&PossibleCause]) -> String {
    let all: Vec<_> = causes.iter().map(|c| sized(c)).collect();
    all.join(", ")
}

/// What explains a difference that is shown.
fn explanation(
    (value, low, high): (f64, Option<f64>, Option<f64>),
    causes: &[PossibleCause],
) -> String {
    let (low, high) = (
        low.unwrap_or(f64::NEG_INFINITY),
        high.unwrap_or(f64::INFINITY),
    );
    let reaches = |(l, h): (f64, f64)| l <= high && h >= low;
    let present: Vec<_> = causes
        .iter()
        .filter(|c| c.state == CauseState::Present)
        .collect();
    // A cause that can only push this way and is large enough explains alone.
    let alone: Vec<_> = present
        .iter()
        .copied()
        .filter(|c| one_sided(c).is_some_and(reaches))
        .collect();
    if let Some(main) = alone.first()
        && let Some((l, h)) = one_sided(main)
    {
        let others: Vec<_> = present
            .iter()
            .copied()
            .filter(|c| c.cause != main.cause && one_sided(c).is_some())
            .collect();
        let also = if others.is_empty() {
            String::new()
        } else {
            format!("; recorded as different too: {}", listed(&others))
        };
        return format!(
            "{} explains it by {:.1} to {:.1} stops of {:.1}: {}{also}",
            capital(main.cause),
            l.abs().min(h.abs()),
            l.abs().max(h.abs()),
            value.abs(),
            main.why
        );
    }
    let unsized_ones: Vec<_> = present
        .iter()
        .copied()
        .filter(|c| c.stops.is_none())
        .collect();
    if !unsized_ones.is_empty() {
        return format!(
            "{} differs between them and may be all of it: {}",
            capital(unsized_ones[0].cause),
            unsized_ones[0].why
        );
    }
    let sum = |which: &[&PossibleCause]| {
        which
            .iter()
            .filter_map(|c| c.stops)
            .fold((0.0, 0.0), |(l, h), (a, b)| {
                (l + a.to_stops().min(0.0), h + b.to_stops().max(0.0))
            })
    };
    let possible: Vec<_> = causes
        .iter()
        .filter(|c| c.state == CauseState::Possible)
        .collect();
    // What nothing on a list reaches, from the near end of the interval.
    let left = |(l, h): (f64, f64)| {
        if value > 0.0 {
            (low - h).max(0.0)
        } else {
            (l - high).max(0.0)
        }
    };
    if !present.is_empty() && left(sum(&present)) == 0.0 {
        return format!(
            "What is recorded as different could explain it: {}",
            listed(&present)
        );
    }
    let both: Vec<_> = present.iter().chain(&possible).copied().collect();
    if possible.iter().any(|c| c.stops.is_none()) || (!both.is_empty() && left(sum(&both)) == 0.0) {
        let known = if present.is_empty() {
            "Nothing is recorded as different".to_owned()
        } else {
            format!(
                "What is recorded as different is too small: {}",
                listed(&present)
            )
        };
        return format!(
            "{known}. Not recorded or not measured, and could: {}",
            listed(&possible)
        );
    }
    let known = if both.is_empty() {
        String::new()
    } else {
        format!(" beyond {}", listed(&both))
    };
    format!(
        "At least {:.1} stops stay unexplained{known}",
        left(sum(&both))
    )
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map(|c| c.to_uppercase().chain(letters).collect())
        .unwrap_or_default()
}
