//! Decode, calibrate and measure one large scan, against a whole-image decode.
//!
//! The scan is 9600 × 12000 pixels of 16-bit grey in memory, once stored and
//! once LZW: a tablet of 21 steps along the top, grain over all. The peer does
//! what a general-purpose program does: it decodes the whole picture and takes
//! the plain mean of all code values. Its decoder is the `tiff` crate, which is
//! also what the `image` crate's TIFF codec uses (and then copies once more).

#![expect(
    clippy::unwrap_used,
    reason = "a benchmark stops where something is not as it should be"
)]

use criterion::{Criterion, criterion_group, criterion_main};
use negative::calibration::{TabletReading, calibrate};
use negative::decode::{ChannelChoice, DecodeLimits, ScanReader};
use negative::outline::{Outline, Rectangle, StepDirection, split_tablet};
use negative::survey::survey;
use negative::tone::{ToneEncoding, tone_of};
use quantity::{Density, Measured};
use std::hint::black_box;
use std::io::Cursor;
use tiff::encoder::{Compression, TiffEncoder, colortype::Gray16};

const WIDTH: u32 = 9600;
const HEIGHT: u32 = 12000;

/// A scan with a tablet along the top and a plain frame below, with grain.
fn scan(compression: Compression) -> Vec<u8> {
    let mut state = 1_u64;
    let mut codes = Vec::with_capacity(WIDTH as usize * HEIGHT as usize);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let density = if y < 1200 {
                0.05 + 0.15 * f64::from(x * 21 / WIDTH)
            } else {
                0.3 + f64::from(y) / 8000.0
            };
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            let grain = 1.0 + 0.02 * ((state >> 40) as f64 / f64::from(1 << 24) - 0.5);
            codes.push((60_000.0 * 10_f64.powf(-density) * grain) as u16);
        }
    }
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file)
        .unwrap()
        .with_compression(compression);
    let mut image = encoder.new_image::<Gray16>(WIDTH, HEIGHT).unwrap();
    image.rows_per_strip(64).unwrap();
    image.write_data(&codes).unwrap();
    file.into_inner()
}

fn outlines() -> Vec<Outline> {
    let around = Rectangle {
        x: 0.0,
        y: 0.0,
        width: f64::from(WIDTH),
        height: 1200.0,
    };
    let mut outlines = split_tablet(around, 21, StepDirection::LeftToRight);
    for i in 0..6 {
        outlines.push(Outline::Rectangle(Rectangle {
            x: 4000.0,
            y: 2000.0 + 1500.0 * f64::from(i),
            width: 400.0,
            height: 400.0,
        }));
    }
    outlines
}

/// Densities of six patches of a scan, with everything else one pass gives.
fn ours(file: &[u8], outlines: &[Outline]) -> f64 {
    let mut reader = ScanReader::open(Cursor::new(file), 0, &DecodeLimits::default()).unwrap();
    let tone = tone_of(
        reader.info(),
        Some(&ToneEncoding::Linear),
        ChannelChoice::Grey,
    );
    let survey = survey(
        &mut reader,
        ChannelChoice::Grey,
        &tone,
        outlines,
        None,
        None,
    )
    .unwrap();
    let steps: Vec<_> = (0..21)
        .map(|i| TabletReading {
            statistics: survey.patches[i].clone(),
            density: Measured::new(Density::gross(0.05 + 0.15 * i as f64).unwrap(), 0.005),
        })
        .collect();
    let calibration = calibrate(&steps).unwrap();
    let densities = survey.patches[21..].iter().map(|p| calibration.density(p));
    densities
        .map(|d| d.measured().unwrap().value().to_density())
        .sum()
}

/// Whole-image decode and the plain mean.
fn peer(file: &[u8]) -> f64 {
    let mut limits = tiff::decoder::Limits::default();
    limits.decoding_buffer_size = 1 << 30;
    let mut decoder = tiff::decoder::Decoder::new(Cursor::new(file))
        .unwrap()
        .with_limits(limits);
    match decoder.read_image().unwrap() {
        tiff::decoder::DecodingResult::U16(codes) => {
            codes.iter().map(|c| f64::from(*c)).sum::<f64>() / codes.len() as f64
        }
        _ => f64::NAN,
    }
}

fn compare(criterion: &mut Criterion) {
    let outlines = outlines();
    for (name, compression) in [
        ("stored", Compression::Uncompressed),
        ("lzw", Compression::Lzw),
    ] {
        let file = scan(compression);
        let mut group = criterion.benchmark_group(name);
        group.sample_size(10);
        group.bench_function("decode_calibrate_measure", |b| {
            b.iter(|| ours(black_box(&file), &outlines))
        });
        group.bench_function("peer_decode_and_mean", |b| {
            b.iter(|| peer(black_box(&file)))
        });
        group.finish();
    }
}

criterion_group!(benches, compare);
criterion_main!(benches);
