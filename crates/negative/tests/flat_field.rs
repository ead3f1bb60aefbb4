//! Uneven light divided out: pictures made number by number, with known truth.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::decode::{ChannelChoice, DecodeLimits, ScanReader};
use negative::flat_field::{FlatField, FlatFieldError, LightField, Unevenness, light_field};
use negative::outline::{Outline, Rectangle};
use negative::patch::{PatchStatistics, measure_patches};
use negative::tone::tone_of;
use quantity::Flag;
use std::io::Cursor;
use testkit::RawFrame;

const WIDTH: u32 = 1200;
const HEIGHT: u32 = 800;
const BLACK: f64 = 1024.0;
const SPAN: f64 = 13_976.0;
/// Light of the table at its brightest, of full scale.
const LEVEL: f64 = 0.8;

/// A stream of numbers that is the same on every machine (splitmix64).
struct Noise(u64);

impl Noise {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

/// x and y from −1 to 1 along the longer side.
fn place(x: u32, y: u32) -> (f64, f64) {
    let half = f64::from(WIDTH) / 2.0;
    (
        (f64::from(x) + 0.5 - half) / half,
        (f64::from(y) + 0.5 - f64::from(HEIGHT) / 2.0) / half,
    )
}

/// Lens and table: 1.2 stops darker in the corners, 20 % brighter on the right.
fn shading(x: u32, y: u32) -> f64 {
    let (x, y) = place(x, y);
    let corner = 1.0 + (f64::from(HEIGHT) / f64::from(WIDTH)).powi(2);
    let radial = -1.2 * (x * x + y * y) / corner;
    // At most 1: the largest value lies right of the middle.
    radial.exp2() * 1.2_f64.powf(x / 2.0) / 1.006
}

/// Light that the sensor shows without any: more on the left.
fn glow(x: u32) -> f64 {
    0.004 * (1.0 - f64::from(x) / f64::from(WIDTH))
}

/// A frame of a mosaic, with shot and read noise; light is of full scale.
fn frame(seed: u64, light: impl Fn(u32, u32) -> f64) -> Vec<u8> {
    let mut noise = Noise(seed);
    let mut samples = Vec::with_capacity((WIDTH * HEIGHT) as usize);
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let colour = [[0.5, 1.0], [1.0, 0.25]][(y % 2) as usize][(x % 2) as usize];
            let light = light(x, y) * colour + glow(x);
            // 30 000 electrons at full scale, 3 codes of read noise.
            let spread = (9.0 + light * SPAN * SPAN / 30_000.0).sqrt();
            let value = BLACK + light * SPAN + spread * noise.normal();
            samples.push(value.clamp(0.0, 16_383.0).round() as u16);
        }
    }
    RawFrame::new(WIDTH, HEIGHT, samples).to_dng()
}

fn bare(seed: u64) -> Vec<u8> {
    frame(seed, |x, y| LEVEL * shading(x, y))
}

fn open(bytes: Vec<u8>) -> ScanReader<Cursor<Vec<u8>>> {
    ScanReader::open(Cursor::new(bytes), 0, &DecodeLimits::default()).unwrap()
}

fn field(bytes: Vec<u8>, channel: ChannelChoice) -> Result<LightField, FlatFieldError> {
    let mut reader = open(bytes);
    let tone = tone_of(reader.info(), None, channel);
    light_field(&mut reader, channel, &tone, "the light table's picture")
}

fn flat(bytes: Vec<u8>) -> Result<FlatField, FlatFieldError> {
    let dark = field(frame(7, |_, _| 0.0), ChannelChoice::Green)?;
    FlatField::new(field(bytes, ChannelChoice::Green)?, Some(dark))
}

/// Film all over the frame: clear film, 1.0 and 2.2, in the same order in the
/// middle, in a corner and at an edge.
const PATCHES: [(f64, f64, f64); 9] = [
    (600.0, 400.0, 0.0),
    (680.0, 400.0, 1.0),
    (760.0, 400.0, 2.2),
    (20.0, 20.0, 0.0),
    (100.0, 20.0, 1.0),
    (180.0, 20.0, 2.2),
    (960.0, 720.0, 0.0),
    (1040.0, 720.0, 1.0),
    (1120.0, 720.0, 2.2),
];

fn film(x: u32, y: u32) -> f64 {
    let (x, y) = (f64::from(x), f64::from(y));
    let here = PATCHES
        .iter()
        .find(|p| (p.0 - 10.0..p.0 + 70.0).contains(&x) && (p.1 - 10.0..p.1 + 70.0).contains(&y));
    here.map_or(0.3, |p| p.2)
}

fn outlines() -> Vec<Outline> {
    PATCHES
        .iter()
        .map(|p| {
            Outline::Rectangle(Rectangle {
                x: p.0,
                y: p.1,
                width: 60.0,
                height: 60.0,
            })
        })
        .collect()
}

fn negative_frame(seed: u64) -> Vec<u8> {
    frame(seed, |x, y| {
        LEVEL * shading(x, y) * 10_f64.powf(-film(x, y))
    })
}

fn measured(bytes: Vec<u8>, flat: Option<&FlatField>) -> Vec<PatchStatistics> {
    let mut reader = open(bytes);
    let channel = ChannelChoice::Green;
    let mut tone = tone_of(reader.info(), None, channel);
    if let Some(flat) = flat {
        tone = reader.divide_by(flat.clone(), channel, &tone).unwrap();
    }
    let outlines = outlines();
    let mut patches = measure_patches(&mut reader, channel, &tone, &outlines, None).unwrap();
    if let Some(flat) = flat {
        for (patch, outline) in patches.iter_mut().zip(&outlines) {
            flat.add_uncertainty(patch, outline);
        }
    }
    patches
}

#[test]
fn film_reads_the_same_wherever_it_lies() {
    let flat = flat(bare(1)).unwrap();
    let plain = measured(negative_frame(2), None);
    let corrected = measured(negative_frame(2), Some(&flat));
    // Against clear film in the middle; the corner reads a stop and more too dense.
    let density =
        |patches: &[PatchStatistics], i: usize| -(patches[i].signal / patches[0].signal).log10();
    assert!(density(&plain, 3) > 0.3, "{}", density(&plain, 3));
    for (i, (_, _, truth)) in PATCHES.iter().enumerate() {
        let found = density(&corrected, i);
        let relative = |p: &PatchStatistics| p.signal_uncertainty / p.signal;
        let sd = relative(&corrected[i]).hypot(relative(&corrected[0])) / 2.303;
        // Three of its own standard uncertainties, and what straight lines
        // between the field's boxes and the outermost half box may be off.
        let allowed = 3.0 * sd + 0.002;
        assert!(
            (found - truth).abs() < allowed,
            "patch {i}: {found:.4}, made {truth}, allowed {allowed:.4}"
        );
        assert!(sd < 0.01, "patch {i}: sd {sd}");
        assert!(!corrected[i].flags.contains(Flag::UnevenPatch), "patch {i}");
    }
}

#[test]
fn stated_uncertainty_holds_the_truth() {
    let flat = flat(bare(11)).unwrap();
    let (mut inside, mut all) = (0, 0);
    for seed in 20..28 {
        let patches = measured(negative_frame(seed), Some(&flat));
        for (patch, (_, _, density)) in patches.iter().zip(PATCHES) {
            // Corrected light is that of the brightest place: the scale of one
            // constant, taken from the mean of the middle's own truth.
            let truth = LEVEL * 10_f64.powf(-density);
            let off = (patch.signal - truth * brightest()) / patch.signal_uncertainty;
            all += 1;
            inside += usize::from(off.abs() < 2.0);
        }
    }
    // 95 % expected of 72 for a normal spread; 88 % allows for chance and for
    // the field's error, which all eight frames share.
    assert!(inside * 100 >= all * 88, "{inside} of {all} within two");
}

/// Largest shading of the frame.
fn brightest() -> f64 {
    let all = (0..HEIGHT).flat_map(|y| (0..WIDTH).map(move |x| shading(x, y)));
    all.fold(0.0, f64::max)
}

#[test]
fn unevenness_is_told_as_it_was_made() {
    let told: Unevenness = flat(bare(3)).unwrap().unevenness();
    let corner = |x: u32, y: u32| (shading(x, y) / shading(WIDTH / 2, HEIGHT / 2)).log2();
    let truth = [
        corner(0, 0),
        corner(WIDTH - 1, 0),
        corner(0, HEIGHT - 1),
        corner(WIDTH - 1, HEIGHT - 1),
    ];
    for (found, made) in told.corner_stops.iter().zip(truth) {
        // The outermost half box goes on straight.
        assert!((found - made).abs() < 0.03, "{told:?}, made {truth:?}");
    }
    assert!((told.mean_corner_stops() + 1.2).abs() < 0.03, "{told:?}");
    // Made: −1.2 stops by distance, 20 % from left to right, nothing down.
    assert!((told.radial_stops + 1.2).abs() < 0.02, "{told:?}");
    assert!((told.across_percent - 20.0).abs() < 0.5, "{told:?}");
    assert!(told.down_percent.abs() < 0.3, "{told:?}");
    assert!(
        told.rest_percent < 0.3 && told.noise_percent < 0.3,
        "{told:?}"
    );
    let darkest = shading(0, 0).min(shading(0, HEIGHT - 1));
    let range = (1.0 - darkest / brightest()) * 100.0;
    assert!(
        (told.range_percent - range).abs() < 2.5,
        "{told:?}, made {range}"
    );
}

#[test]
fn dust_on_the_light_table_leaves_no_mark() {
    // Specks of 6 px, and one of 40 px that covers several boxes, all at half light.
    let specks = [(300, 300, 3), (700, 200, 3), (900, 600, 20), (333, 640, 3)];
    let speck = |x: u32, y: u32| {
        specks.iter().any(|(cx, cy, r): &(i64, i64, i64)| {
            let (dx, dy) = (i64::from(x) - cx, i64::from(y) - cy);
            dx * dx + dy * dy <= r * r
        })
    };
    let dusty = frame(4, |x, y| {
        LEVEL * shading(x, y) * if speck(x, y) { 0.5 } else { 1.0 }
    });
    let flat = flat(dusty).unwrap();
    assert!(flat.unevenness().dust_percent > 0.0);
    // Clean clear film, corrected: as bright at the specks as beside them.
    let clean = frame(5, |x, y| LEVEL * shading(x, y) * 0.9);
    let mut reader = open(clean);
    let tone = tone_of(reader.info(), None, ChannelChoice::Green);
    let tone = reader.divide_by(flat, ChannelChoice::Green, &tone).unwrap();
    let at = |x, y| {
        Outline::Rectangle(Rectangle {
            x,
            y,
            width: 50.0,
            height: 50.0,
        })
    };
    let outlines = [at(875.0, 575.0), at(780.0, 575.0), at(275.0, 275.0)];
    let found = measure_patches(&mut reader, ChannelChoice::Green, &tone, &outlines, None).unwrap();
    for patch in [&found[0], &found[2]] {
        let off = (patch.signal / found[1].signal).log10();
        assert!(
            off.abs() < 0.004,
            "a speck of the table shows: {off} in density"
        );
    }
}

#[test]
fn full_pixels_stay_full_and_other_channels_are_closed() {
    // The film's light is full in the upper left quarter, where the table is dark.
    let overexposed = frame(6, |x, y| if x < 600 && y < 400 { 1.3 } else { 0.4 });
    let flat = flat(bare(1)).unwrap();
    let patches = measured(overexposed.clone(), Some(&flat));
    assert!(patches[3].clipped() && patches[3].at_max_share > 0.9);
    assert!(!patches[6].clipped());
    let mut reader = open(overexposed);
    let tone = tone_of(reader.info(), None, ChannelChoice::Green);
    reader.divide_by(flat, ChannelChoice::Green, &tone).unwrap();
    let error = reader
        .for_each_row(ChannelChoice::Red, |_| {})
        .unwrap_err()
        .to_string();
    assert!(error.contains("only green"), "{error}");
}

#[test]
fn pictures_that_are_no_even_light_are_refused() {
    let refused = |bytes| flat(bytes).unwrap_err().to_string();
    let full = refused(frame(1, |x, y| 1.6 * shading(x, y)));
    assert!(full.contains("at the end of the scale"), "{full}");
    let masked = refused(frame(
        1,
        |x, y| if x < 200 { 0.0 } else { LEVEL * shading(x, y) },
    ));
    assert!(masked.contains("has less than 5 %"), "{masked}");
    // A landscape of tones: blocks of 40 px between density 0 and 0.5.
    let mut noise = Noise(9);
    let tones: Vec<f64> = (0..600).map(|_| 10_f64.powf(-0.5 * noise.even())).collect();
    let subject = refused(frame(1, |x, y| {
        LEVEL * shading(x, y) * tones[(y / 40 * 30 + x / 40) as usize]
    }));
    assert!(
        subject.contains("structure") || subject.contains("not smooth"),
        "{subject}"
    );

    let other = RawFrame::new(400, 400, vec![9000; 160_000]).to_dng();
    let dark = field(other, ChannelChoice::Green).unwrap();
    let green = field(bare(1), ChannelChoice::Green).unwrap();
    let size = FlatField::new(green.clone(), Some(dark))
        .unwrap_err()
        .to_string();
    assert_eq!(
        size,
        "the dark frame has 400 × 400 pixels, but the scan has 1200 × 800"
    );
    let red = field(frame(7, |_, _| 0.0), ChannelChoice::Red).unwrap();
    let channel = FlatField::new(green, Some(red)).unwrap_err().to_string();
    assert!(channel.contains("read as red"), "{channel}");

    let samples = vec![100_u16; 64 * 64];
    let grey = testkit::tiff_grey16(64, 64, &samples, testkit::TiffForm::default());
    let unknown = field(grey, ChannelChoice::Grey).unwrap_err();
    assert!(
        matches!(unknown, FlatFieldError::UnknownTone { .. }),
        "{unknown}"
    );
}
