//! 480 000 integrals on 521 wavelengths: one batch, against a general-purpose
//! product of matrices and against plain loops.
//!
//! `cargo bench -p spectra`

#![expect(
    clippy::unwrap_used,
    reason = "a benchmark may panic on a broken fixture"
)]

use criterion::{Criterion, criterion_group, criterion_main};
use nalgebra::DMatrix;
use spectra::batch::{Sampled, integrals};
use spectra::{
    Curve, CurveKind, Ends, FilmClass, Grid, GridChoice, Interpolation, LongPass, Predicting,
    VerdictLimits, prediction,
};
use std::hint::black_box;

const LIGHTS: usize = 50;
const FILMS: usize = 20;
const FILTERS: usize = 40;
const SUBJECTS: usize = 12;

fn values(count: usize, n: usize, seed: f64) -> Vec<f64> {
    (0..count * n)
        .map(|i| 0.6 + 0.4 * (seed * i as f64 + seed).sin())
        .collect()
}

fn batch(c: &mut Criterion) {
    let grid = Grid::regular(380.0, 900.0, 1.0).unwrap();
    let n = grid.wavelengths_nm().len();
    assert_eq!(n, 521);
    let weights = grid.trapezoid_weights_nm();
    let (lights, films) = (values(LIGHTS, n, 0.013), values(FILMS, n, 0.017));
    let (filters, subjects) = (values(FILTERS, n, 0.019), values(SUBJECTS, n, 0.023));
    let mut group = c.benchmark_group("480000 integrals");
    group.sample_size(20);
    group.bench_function("batch, from the four kinds of curves", |b| {
        b.iter(|| {
            integrals(
                Sampled {
                    values: &lights,
                    count: LIGHTS,
                },
                Sampled {
                    values: &films,
                    count: FILMS,
                },
                Sampled {
                    values: &filters,
                    count: FILTERS,
                },
                Sampled {
                    values: &subjects,
                    count: SUBJECTS,
                },
                black_box(&weights),
            )
        });
    });
    let (rows, columns) = (FILMS * FILTERS, LIGHTS * SUBJECTS);
    let (left, right) = (values(rows, n, 0.011), values(columns, n, 0.007));
    // Rows of `left` are the columns of this matrix, as in the batch.
    let left = DMatrix::from_vec(n, rows, left).transpose();
    let right = DMatrix::from_vec(n, columns, right);
    group.bench_function("nalgebra, product alone, one core", |b| {
        b.iter(|| black_box(&left) * black_box(&right));
    });
    group.finish();
}

fn single(c: &mut Criterion) {
    let film = FilmClass::ExtendedRed.model().curve("class").unwrap();
    let filter = LongPass::from_text("715:50%", 0.9, 6.0)
        .unwrap()
        .curve(300.0, 1200.0)
        .unwrap();
    let light = Curve::from_values(
        CurveKind::RelativePower,
        "equal energy",
        &[(300.0, 1.0), (1100.0, 1.0)],
    )
    .unwrap();
    let of = Predicting {
        film: &film,
        filter: &filter,
        light: &light,
        interpolation: Interpolation::Linear,
        grid: GridChoice::Union,
        ends: Ends::LeftOut,
    };
    c.bench_function("one prediction on 1 nm curves", |b| {
        b.iter(|| prediction(black_box(&of), VerdictLimits::COMMON_PRACTICE));
    });
}

criterion_group!(benches, batch, single);
criterion_main!(benches);
