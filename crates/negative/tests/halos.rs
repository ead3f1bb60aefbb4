//! Halos of sharpening, on edges whose profiles are known in closed form.
//!
//! An edge seen by an optic of Gaussian spread s is the normal distribution Φ(x / s), and
//! blurred again by r it is Φ(x / √(s² + r²)). An unsharp mask of radius r and amount a
//! adds a times their difference (the definition of the mask, common practice).

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::decode::{DecodeLimits, ScanReader};
use negative::honesty::{tells_halos, texture_findings};
use negative::outline::{Outline, Rectangle};
use negative::survey::survey;
use negative::tone::tone_of;
use quantity::Flag;
use std::io::Cursor;
use testkit::{TiffForm, tiff_grey16};

const WIDTH: u32 = 300;
const ROWS: u32 = 60;
/// Light from the left: where it begins, and how much of the scale it is.
const FILM: &[(f64, f64)] = &[(60.3, 0.4), (120.3, 0.2), (180.3, 0.3), (240.3, 0.003)];
const STEPS: &[(f64, f64)] = &[
    (40.3, 0.35),
    (80.3, 0.25),
    (120.3, 0.175),
    (160.3, 0.125),
    (200.3, 0.003),
];

/// How a row was seen and sharpened.
#[derive(Clone, Copy)]
struct Seen {
    optic: f64,
    radius: f64,
    amount: f64,
}

const PLAIN: Seen = Seen {
    optic: 0.7,
    radius: 1.0,
    amount: 0.0,
};
const SHARPENED: Seen = Seen {
    amount: 1.5,
    radius: 1.5,
    ..PLAIN
};

/// Normal distribution by the error function.
fn phi(x: f64) -> f64 {
    0.5 * libm::erfc(-x / core::f64::consts::SQRT_2)
}

/// A row whose edges against the holder, first and last, are seen by an optic of `rim`.
fn row(lights: &[(f64, f64)], rim: f64, seen: Seen) -> Vec<u16> {
    let light = |x: f64| {
        let mut before = 0.003;
        let mut sum = before;
        for (i, (from, light)) in lights.iter().enumerate() {
            let outer = i == 0 || i + 1 == lights.len();
            let optic = if outer { rim } else { seen.optic };
            let soft = phi((x - from) / optic.hypot(seen.radius));
            let sharp = phi((x - from) / optic);
            sum += (light - before) * (sharp + seen.amount * (sharp - soft));
            before = *light;
        }
        sum
    };
    (0..WIDTH)
        .map(|x| (light(f64::from(x)).clamp(0.0, 1.0) * 65_535.0).round() as u16)
        .collect()
}

/// Whether a scan with film above a tablet can be asked, and is told to be sharpened.
fn told(film: Seen, tablet: Seen) -> (bool, bool) {
    let mut codes = row(FILM, film.optic, film).repeat(ROWS as usize);
    codes.extend(row(STEPS, film.optic, tablet).repeat(ROWS as usize));
    let file = tiff_grey16(WIDTH, 2 * ROWS, &codes, TiffForm::default());
    let mut reader = ScanReader::open(Cursor::new(file), 0, &DecodeLimits::default()).unwrap();
    let info = reader.info().clone();
    let channel = reader.usual_channel();
    let tone = tone_of(&info, None, channel);
    let steps: Vec<Outline> = STEPS
        .windows(2)
        .map(|pair| {
            Outline::Rectangle(Rectangle {
                x: pair[0].0 + 8.0,
                y: f64::from(ROWS) + 5.0,
                width: pair[1].0 - pair[0].0 - 16.0,
                height: f64::from(ROWS) - 10.0,
            })
        })
        .collect();
    let texture = survey(&mut reader, channel, &tone, &steps, None, None)
        .unwrap()
        .texture;
    let findings = texture_findings(&info, &texture, &steps);
    (
        tells_halos(&texture, &steps),
        findings.iter().any(|f| f.flag == Flag::Sharpened),
    )
}

#[test]
fn a_sharpened_scan_is_told_and_a_plain_one_is_not() {
    assert_eq!(told(PLAIN, PLAIN), (true, false));
    assert_eq!(told(SHARPENED, SHARPENED), (true, true));
}

/// No pixel of such an edge is near half way up, and its halo's flank is steep too.
#[test]
fn a_strong_halo_of_a_sharp_optic_is_told() {
    let strong = Seen {
        optic: 0.3,
        radius: 2.0,
        amount: 1.5,
    };
    assert_eq!(told(strong, strong), (true, true));
}

#[test]
fn film_with_halos_of_its_own_beside_a_tablet_without_is_let_alone() {
    assert_eq!(told(SHARPENED, PLAIN), (true, false));
}

#[test]
fn a_soft_tablet_does_not_speak_against_a_halo() {
    let soft = Seen {
        optic: 5.0,
        ..PLAIN
    };
    assert_eq!(told(SHARPENED, soft), (true, true));
}
