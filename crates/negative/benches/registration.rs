//! How long frames take to be laid on each other.

use criterion::{Criterion, criterion_group, criterion_main};
use negative::registration::{GreyPicture, Motion, register};
use std::hint::black_box;
use testkit::{FramePairPlan, SecondFrame, frame_pair, waves};

fn benchmark(c: &mut Criterion) {
    let picture = |shift| GreyPicture::new(512, 512, waves(512, shift));
    let (Ok(first), Ok(second)) = (picture((0.0, 0.0)), picture((-4.6, 3.2))) else {
        unreachable!("the texture has as many values as pixels")
    };
    c.bench_function("texture_of_512_px", |b| {
        b.iter(|| register(black_box(&first), black_box(&second), Motion::Flat));
    });
    let pair = frame_pair(&FramePairPlan {
        draw: 1,
        width: 1200,
        rotation: 0.01,
        scale: 1.005,
        shift: (14.3, -8.6),
        tilt: (0.0, 0.0),
        grain: 0.03,
        second: SecondFrame::BehindDeepRed,
    });
    let picture = |values: &[f32]| GreyPicture::new(pair.width, pair.height, values.to_vec());
    let (Ok(first), Ok(second)) = (picture(&pair.first), picture(&pair.second)) else {
        unreachable!("a pair has as many values as pixels")
    };
    c.bench_function("frames_of_1200_px", |b| {
        b.iter(|| register(black_box(&first), black_box(&second), Motion::Flat));
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20);
    targets = benchmark
}
criterion_main!(benches);
