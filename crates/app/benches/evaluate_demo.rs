//! The whole main job on the worked example: measure 14 scans, fit, draw, write.
//!
//! There is no general-purpose peer for the whole job; the ratio printed beside
//! it is to reading the same bytes from the disk once, which any tool must.

use app::{Silent, evaluate_folder, write_demo};
use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;

fn evaluate_demo(c: &mut Criterion) {
    let dir = tempfile::tempdir().expect("a scratch folder");
    let demo = dir.path().join("demo");
    write_demo(&demo, &Silent).expect("the worked example can be written");
    let mut group = c.benchmark_group("worked example");
    group.sample_size(10);
    group.bench_function("evaluate", |b| {
        b.iter(|| evaluate_folder(black_box(&demo), None, None, &Silent).expect("it evaluates"));
    });
    group.bench_function("read its bytes only", |b| {
        b.iter(|| {
            let mut bytes = 0;
            for entry in std::fs::read_dir(demo.join("scans")).expect("scans") {
                bytes += std::fs::read(entry.expect("entry").path())
                    .expect("bytes")
                    .len();
            }
            black_box(bytes)
        });
    });
    group.finish();
}

criterion_group!(benches, evaluate_demo);
criterion_main!(benches);
