//! `curve` against two curves whose every answer is known.
//!
//! The first is a toe that bends into a straight line,
//! D(x) = b + g·s·ln(1 + e^((x − x0)/s)), a shape that the program's own
//! formula has too. The second is a logistic, D(x) = b + A/(1 + e^(−k(x − c))),
//! which that formula can't take, so it shows what another shape costs.

use super::{Bench, number};

const BASE: f64 = 0.20;
const GRADIENT: f64 = 0.70;
const TOE_AT: f64 = -1.95;
const TOE_WIDTH: f64 = 0.18;

const HEIGHT: f64 = 2.4;
const STEEPNESS: f64 = 2.5;
const CENTRE: f64 = -0.9;

fn toe_and_line(x: f64) -> f64 {
    BASE + GRADIENT * TOE_WIDTH * ((x - TOE_AT) / TOE_WIDTH).exp().ln_1p()
}

fn logistic(x: f64) -> f64 {
    BASE + HEIGHT / (1.0 + (-STEEPNESS * (x - CENTRE)).exp())
}

/// 21 readings 0.15 apart, without noise, to six digits.
fn readings(density: fn(f64) -> f64) -> String {
    let mut csv = String::from("log_h,density\n");
    for step in 0..21 {
        let x = 0.65 - 0.15 * f64::from(step);
        csv.push_str(&format!("{x:.2},{:.6}\n", density(x)));
    }
    csv
}

pub(super) fn compare(bench: &mut Bench) -> Result<(), String> {
    bench.write("toe.csv", readings(toe_and_line))?;
    bench.write("logistic.csv", readings(logistic))?;

    let told = bench.json(&["curve", "toe.csv", "--json"])?;
    // D = b + 0.10 solved for x.
    let m = TOE_AT + TOE_WIDTH * (0.10 / (GRADIENT * TOE_WIDTH)).exp_m1().ln();
    let chord = |range: f64| (toe_and_line(m + range) - toe_and_line(m)) / range;
    let toe_rows = [
        ("base_plus_fog_density", BASE),
        ("speed_point_log_h", m),
        ("average_gradient_1_30", chord(1.30)),
        ("average_gradient_1_50", chord(1.50)),
        ("density_difference_1_30", 1.30 * chord(1.30)),
        ("gamma", GRADIENT),
        // Source of these three: bisection on the closed form to 1e-14, printed
        // to six digits; they do not depend on the base.
        ("contrast_index_chord", 0.654_688),
        ("contrast_index_arcs", 0.659_235),
        ("fractional_gradient_log_h", -2.147_616),
    ];
    for (key, expected) in toe_rows {
        // 1e-3: nothing but the fit stands between readings and answer, and a
        // densitometer shows ten times that.
        bench.near(&format!("toe, {key}"), number(&told, key)?, expected, 1e-3);
    }
    let speed = 0.8 / 10_f64.powf(m);
    // 1e-3 of log H, as above, is 0.23 % of a speed.
    bench.near(
        "toe, iso_arithmetic_speed",
        number(&told, "iso_arithmetic_speed")?,
        speed,
        0.0023 * speed,
    );

    let told = bench.json(&["curve", "logistic.csv", "--base-plus-fog", "0.20", "--json"])?;
    let m = CENTRE - (HEIGHT / 0.10 - 1.0).ln() / STEEPNESS;
    let chord = |range: f64| (logistic(m + range) - logistic(m)) / range;
    let logistic_rows = [
        ("speed_point_log_h", m),
        ("average_gradient_1_30", chord(1.30)),
        ("average_gradient_1_50", chord(1.50)),
        // The largest slope of a logistic: A·k/4.
        ("gamma", HEIGHT * STEEPNESS / 4.0),
    ];
    for (key, expected) in logistic_rows {
        // 0.01: one unit of what a densitometer shows, for a foreign shape.
        bench.near(
            &format!("logistic, {key}"),
            number(&told, key)?,
            expected,
            0.01,
        );
    }
    Ok(())
}
