//! Base+fog, speed and gradient between batches, processes and tests of a film.
//!
//! Where each group has several sheets (base+fog) or several tests (speed,
//! gradient), they are compared by Welch's t; else by the uncertainties of the
//! fits, which know of no difference from sheet to sheet.

use crate::compare::comparison::{
    BatchDifference, BatchQuantity, Compared, ProcessPoint, standing,
};
use crate::compare::side::plain;
use crate::compare::student::{two_sided, welch};
use crate::normal::quantile;
use quantity::{Flag, Measured};
use record::{PatchRole, Response};
use std::collections::BTreeMap;

/// Every curve on an absolute scale of density, tests in their order.
pub(crate) fn process_points(tests: &[Compared<'_>]) -> Vec<ProcessPoint> {
    let mut points = vec![];
    for test in tests {
        let day = test
            .test
            .parts()
            .lights
            .iter()
            .filter_map(|l| l.time.as_deref()?.get(..10))
            .min()
            .map(str::to_owned);
        for curve in &test.findings.curves {
            if curve.response != Response::Density {
                continue;
            }
            let film = test.test.film(&curve.film);
            points.push(ProcessPoint {
                test: test.name.clone(),
                film: film.map_or_else(|| curve.film.to_string(), |f| f.name.clone()),
                batch: film.and_then(|f| f.batch.clone()),
                process: curve.process.clone(),
                day: day.clone(),
                // Nothing about fog follows where no unexposed film was read.
                base_plus_fog: curve
                    .base_plus_fog
                    .as_ref()
                    .filter(|_| !curve.flags.contains(Flag::BaseFromToe))
                    .map(|b| Measured::new(b.value().to_density(), b.standard_uncertainty())),
                speed_stops: curve
                    .speed_point
                    .as_ref()
                    .filter(|_| curve.absolute_exposure)
                    .map(|m| {
                        // lg2(0.8/Hm).
                        let stops =
                            (libm::log10(0.8) - m.value().to_log10()) / core::f64::consts::LOG10_2;
                        let sd = m.standard_uncertainty() / core::f64::consts::LOG10_2;
                        Measured::new(stops, sd)
                    }),
                gradient: curve.gradient.clone(),
            });
        }
    }
    points
}

/// The means of base+fog on each sheet of a curve.
fn sheets(test: &Compared<'_>, point: &ProcessPoint) -> Vec<f64> {
    let mut by_frame: BTreeMap<&str, Vec<f64>> = BTreeMap::new();
    for reading in &test.findings.readings {
        let (Some(frame), Some(patch)) = (
            test.test.frame(&reading.frame),
            test.test.patch(&reading.frame, &reading.patch),
        ) else {
            continue;
        };
        let film = test.test.film(&frame.film);
        // One test may hold two batches of a film.
        let alike = film.is_some_and(|f| f.name == point.film && f.batch == point.batch);
        if patch.role == PatchRole::BaseFog
            && reading.limit.is_none()
            && reading.response == Response::Density
            && frame.process == point.process
            && alike
        {
            by_frame
                .entry(frame.id.as_str())
                .or_default()
                .push(reading.value.value());
        }
    }
    by_frame
        .values()
        .map(|v| v.iter().sum::<f64>() / v.len() as f64)
        .collect()
}

/// What is compared: curves of one batch, process and developer.
struct Group<'a> {
    film: &'a str,
    batch: Option<&'a str>,
    process: String,
    /// Points, each with its test.
    points: Vec<(&'a ProcessPoint, &'a Compared<'a>)>,
}

impl Group<'_> {
    /// What tells this group from another, in words.
    fn words(&self, other: &Self) -> String {
        let mut words = vec![];
        let alike = self.batch.map(plain) == other.batch.map(plain);
        match self.batch {
            Some(b) if b.to_lowercase().contains("batch") => words.push(b.to_owned()),
            Some(b) => words.push(format!("batch {b}")),
            None if alike => {}
            None => words.push("batch not recorded".to_owned()),
        }
        if self.process != other.process {
            words.push(self.process.clone());
        }
        words.push(format!("in {}", self.tests().join(" and ")));
        if self.process == other.process && self.tests() == other.tests() {
            words.extend(self.points.first().map(|(p, _)| p.process.to_string()));
        }
        words.join(", ")
    }

    fn tests(&self) -> Vec<&str> {
        self.points.iter().map(|(p, _)| p.test.as_str()).collect()
    }

    /// Single values of sheets or curves.
    fn values(&self, quantity: BatchQuantity) -> Vec<f64> {
        if quantity == BatchQuantity::BasePlusFog {
            let sheets: Vec<f64> = self.points.iter().flat_map(|(p, t)| sheets(t, p)).collect();
            if sheets.len() > 1 {
                return sheets;
            }
        }
        self.points
            .iter()
            .filter_map(|(p, _)| Some(p.quantity(quantity)?.value()))
            .collect()
    }

    /// Mean of the fits with its standard uncertainty, weighted by theirs.
    fn fitted(&self, quantity: BatchQuantity) -> Option<(f64, f64)> {
        let (mut weight, mut sum) = (0.0, 0.0);
        for (point, _) in &self.points {
            let Some(m) = point.quantity(quantity) else {
                continue;
            };
            // A fit is never surer than 1e-6 of anything that is compared here.
            let w = m.standard_uncertainty().max(1e-6).powi(-2);
            weight += w;
            sum += w * m.value();
        }
        (weight > 0.0).then(|| (sum / weight, libm::sqrt(1.0 / weight)))
    }
}

fn process_words(test: &Compared<'_>, point: &ProcessPoint) -> String {
    test.test.process(&point.process).map_or_else(
        || point.process.to_string(),
        |p| {
            let mut words = vec![p.developer.clone()];
            words.extend(p.dilution.clone());
            words.extend(p.time.map(|t| format!("{:.0} s", t.to_s())));
            words.extend(p.temperature.map(|t| format!("{:.1} °C", t.to_c())));
            words.join(" ")
        },
    )
}

fn groups<'a>(tests: &'a [Compared<'a>], points: &'a [ProcessPoint]) -> Vec<Group<'a>> {
    let mut groups: Vec<Group<'a>> = vec![];
    for point in points {
        let Some(test) = tests.iter().find(|t| t.name == point.test) else {
            continue;
        };
        let process = process_words(test, point);
        let same = groups.iter_mut().find(|g| {
            plain(g.film) == plain(&point.film)
                && g.batch.map(plain) == point.batch.as_deref().map(plain)
                // Without a batch a test is its own group.
                && point.batch.is_some()
                && g.process == process
                // Two processes of one test were kept apart on purpose.
                && g.points.iter().all(|(p, _)| p.test != point.test)
        });
        match same {
            Some(group) => group.points.push((point, test)),
            None => groups.push(Group {
                film: &point.film,
                batch: point.batch.as_deref(),
                process,
                points: vec![(point, test)],
            }),
        }
    }
    groups
}

/// Every pair of groups of one film, in every quantity.
pub(crate) fn batch_differences(
    tests: &[Compared<'_>],
    points: &[ProcessPoint],
    coverage: f64,
) -> Vec<BatchDifference> {
    let groups = groups(tests, points);
    let mut rows = vec![];
    for (i, a) in groups.iter().enumerate() {
        for b in groups[i + 1..]
            .iter()
            .filter(|b| plain(b.film) == plain(a.film))
        {
            for quantity in BatchQuantity::ALL {
                rows.extend(between(a, b, quantity, coverage));
            }
        }
    }
    rows
}

fn between(
    a: &Group<'_>,
    b: &Group<'_>,
    quantity: BatchQuantity,
    coverage: f64,
) -> Option<BatchDifference> {
    let (va, vb) = (a.values(quantity), b.values(quantity));
    let ((x, sx), (y, sy)) = (a.fitted(quantity)?, b.fitted(quantity)?);
    let half_by_fits = quantile(0.5 + 0.5 * coverage) * libm::hypot(sx, sy);
    let (value, half, degrees_of_freedom, method) = if va.len() > 1 && vb.len() > 1 {
        let (difference, error, nu) = welch(&va, &vb);
        let half = two_sided(coverage, nu.max(1.0)) * error;
        if quantity == BatchQuantity::BasePlusFog {
            // Sheets of one scan share its calibration, which their scatter
            // does not show.
            let method = "Welch's t over sheets, not narrower than the fits";
            (difference, half.max(half_by_fits), Some(nu), method)
        } else {
            (difference, half, Some(nu), "Welch's t over curves")
        }
    } else {
        (y - x, half_by_fits, None, "uncertainties of the fits")
    };
    let (low, high) = (value - half, value + half);
    let significant = low > 0.0 || high < 0.0;
    let important = value.abs() > quantity.limit();
    let batches_differ = matches!((a.batch, b.batch), (Some(x), Some(y)) if plain(x) != plain(y));
    let unit = match quantity {
        BatchQuantity::BasePlusFog => " in density",
        BatchQuantity::Speed => " stops",
        BatchQuantity::Gradient => "",
    };
    let decimals = if quantity == BatchQuantity::Speed {
        1
    } else {
        2
    };
    let freedom = degrees_of_freedom.map_or_else(
        || method.to_owned(),
        |nu| format!("{method}, {nu:.1} degrees of freedom"),
    );
    let scale = libm::pow(10.0, decimals as f64);
    let head = if significant {
        standing(significant, important).to_owned()
    } else {
        // Rounded up, so that "less than" stays true.
        let most = low.abs().max(high.abs());
        let less = (libm::ceil(scale * most - 1e-9) / scale).max(1.0 / scale);
        let consequence = if most <= quantity.limit() {
            "which is not important"
        } else {
            "so one that is important is not ruled out"
        };
        format!("no difference shown; it is less than {less:.decimals$}{unit}, {consequence}")
    };
    // A zero has no sign.
    let signed = |v: f64| {
        if libm::round(scale * v) == 0.0 {
            format!("{:.decimals$}", 0.0)
        } else {
            format!("{v:+.decimals$}")
        }
    };
    let (first, second) = (a.words(b), b.words(a));
    let verdict = format!(
        "{} of {}: {head}: {} ({} to {}){unit} from {first} to {second} ({freedom}; {:.2} is important)",
        quantity.words(),
        a.film,
        signed(value),
        signed(low),
        signed(high),
        quantity.limit(),
    );
    Some(BatchDifference {
        film: a.film.to_owned(),
        first_count: va.len(),
        second_count: vb.len(),
        first,
        second,
        quantity,
        value,
        low,
        high,
        degrees_of_freedom,
        method,
        significant,
        important,
        batches_differ,
        verdict,
    })
}
