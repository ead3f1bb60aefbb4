//! The whole estimate on tests of 250, 500 and 1000 frames with 12 patches each.
//!
//! The peer in the same run is one dense Cholesky factorisation of as many
//! unknowns as the test has parameters, by the general-purpose library: what a
//! solver that doesn't know the frames would pay for a single step.

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use findings::{Assumptions, VerdictCriteria, evaluate};
use nalgebra::DMatrix;
use record::Test;
use std::hint::black_box;
use testkit::large_test;

fn whole_estimate(c: &mut Criterion) {
    let mut group = c.benchmark_group("estimate");
    group.sample_size(10);
    for frames in [250_u32, 500, 1000] {
        let parts = large_test(frames, 1);
        let readings = parts.readings.clone();
        let test = Test::assemble(parts).expect("a made test is sound");
        group.bench_with_input(BenchmarkId::new("evaluate", frames), &frames, |b, _| {
            b.iter(|| {
                evaluate(
                    black_box(&test),
                    &readings,
                    &Assumptions::COMMON_PRACTICE,
                    &VerdictCriteria::COMMON_PRACTICE,
                )
                .expect("it evaluates")
            });
        });
        let unknowns = 3 * frames as usize + 60;
        let matrix = DMatrix::from_fn(unknowns, unknowns, |i, j| {
            if i == j {
                unknowns as f64
            } else {
                1.0 / (1.0 + i.abs_diff(j) as f64)
            }
        });
        group.bench_with_input(
            BenchmarkId::new("one dense factorisation", frames),
            &frames,
            |b, _| {
                b.iter(|| {
                    black_box(matrix.clone())
                        .cholesky()
                        .expect("positive definite")
                })
            },
        );
    }
    group.finish();
}

criterion_group!(benches, whole_estimate);
criterion_main!(benches);
