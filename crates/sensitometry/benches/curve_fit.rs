//! How long a curve of 21 readings takes to fit, beside a plain polynomial.
//!
//! Both run in the same program, so their ratio is free of the machine. The
//! polynomial (degree 5, by normal equations) is the least that any curve fit
//! could cost; it has no toe, no uncertainty and swings outside the readings.

#![expect(
    clippy::unwrap_used,
    reason = "a bench that cannot build its input must stop"
)]

use criterion::{Criterion, criterion_group, criterion_main};
use nalgebra::{DMatrix, DVector};
use quantity::{Density, LogExposure, Measured};
use sensitometry::{
    CurveFitSettings, CurveReading, film_density, fit_characteristic_curve, speed_and_contrast,
};
use std::hint::black_box;

/// 21 readings of a closed-form curve, rounded to 0.01 as a densitometer shows them.
fn readings() -> Vec<CurveReading> {
    let film = [0.25, 0.70, -1.95, 0.18, 0.2, 0.25];
    (0..21)
        .map(|k| {
            let x = 0.65 - 0.15 * f64::from(k);
            let shown = (film_density(&film, x) * 100.0).round() / 100.0;
            CurveReading {
                log_h: LogExposure::from_log10(x).unwrap(),
                density: Measured::new(Density::gross(shown).unwrap(), 0.01),
                step: None,
            }
        })
        .collect()
}

fn polynomial(readings: &[CurveReading]) -> DVector<f64> {
    let a = DMatrix::from_fn(readings.len(), 6, |i, k| {
        readings[i].log_h.to_log10().powi(i32::try_from(k).unwrap())
    });
    let y = DVector::from_fn(readings.len(), |i, _| {
        readings[i].density.value().to_density()
    });
    (a.transpose() * &a)
        .cholesky()
        .unwrap()
        .solve(&(a.transpose() * y))
}

fn curve_fit(c: &mut Criterion) {
    let readings = readings();
    let settings = CurveFitSettings::in_lux_seconds();
    let curve = fit_characteristic_curve(&readings, &settings).unwrap();
    let mut group = c.benchmark_group("curve_fit_21");
    group.sample_size(20);
    group.bench_function("polynomial", |b| {
        b.iter(|| polynomial(black_box(&readings)))
    });
    group.bench_function("film_curve", |b| {
        b.iter(|| fit_characteristic_curve(black_box(&readings), &settings));
    });
    group.bench_function("criteria", |b| {
        b.iter(|| speed_and_contrast(black_box(&curve)))
    });
    group.finish();
}

criterion_group!(benches, curve_fit);
criterion_main!(benches);
