//! Calibration against reference computations and published readings.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::calibration::{
    CalibratedReading, Calibration, CalibrationError, StepUse, TabletReading, calibrate,
};
use negative::decode::Polarity;
use negative::honesty::{tablet_findings, tablet_findings_numbered};
use negative::patch::PatchStatistics;
use negative::refusal::{CalibrationRefusal, refused_by_clear_film, refused_by_tablet};
use negative::relative::{RelativeDensityError, SignalRises, log_signal, relative_density};
use negative::tone::{Tone, ToneEncoding, ToneOrigin};
use proptest::prelude::*;
use quantity::{Bound, Density, Flag, Measured};

fn tone(encoding: ToneEncoding, code_max: u16) -> Tone {
    Tone {
        encoding,
        origin: ToneOrigin::Record,
        polarity: Polarity::BlackIsZero,
        code_max,
        remarks: Vec::new(),
    }
}

fn reading(code: f64, density: f64, sd: f64, tone: &Tone) -> TabletReading {
    TabletReading {
        statistics: PatchStatistics::from_code(code, 0.0, tone),
        density: Measured::new(Density::gross(density).unwrap(), sd),
    }
}

/// A tablet of 21 steps of 0.15 read by a scanner with 0.15 % of flare.
///
/// Source: reference computation from the closed form v = k (T + f) / (1 + f),
/// k chosen so that T = 1 reads 60 220 of 65 535; columns: density, 16-bit
/// linear code, 8-bit code with gamma 2.2, inverted 16-bit code.
const TABLET: [(f64, f64, f64, f64); 21] = [
    (0.05, 53745.0, 233.0, 11790.0),
    (0.20, 38075.0, 199.0, 27460.0),
    (0.35, 26982.0, 170.0, 38553.0),
    (0.50, 19128.0, 146.0, 46407.0),
    (0.65, 13568.0, 125.0, 51967.0),
    (0.80, 9632.0, 107.0, 55903.0),
    (0.95, 6845.0, 91.0, 58690.0),
    (1.10, 4872.0, 78.0, 60663.0),
    (1.25, 3476.0, 67.0, 62059.0),
    (1.40, 2487.0, 58.0, 63048.0),
    (1.55, 1787.0, 50.0, 63748.0),
    (1.70, 1291.0, 43.0, 64244.0),
    (1.85, 941.0, 37.0, 64594.0),
    (2.00, 692.0, 32.0, 64843.0),
    (2.15, 516.0, 28.0, 65019.0),
    (2.30, 392.0, 25.0, 65143.0),
    (2.45, 304.0, 22.0, 65231.0),
    (2.60, 242.0, 20.0, 65293.0),
    (2.75, 197.0, 18.0, 65338.0),
    (2.90, 166.0, 17.0, 65369.0),
    (3.05, 144.0, 16.0, 65391.0),
];

/// Patches of known density in the same scan; 16-bit linear code.
/// Source: as [`TABLET`].
const PATCHES: [(f64, f64); 5] = [
    (0.12, 45758.0),
    (0.47, 20489.0),
    (1.11, 4763.0),
    (1.62, 1534.0),
    (2.40, 330.0),
];

fn tablet(column: fn(&(f64, f64, f64, f64)) -> f64, tone: &Tone) -> Vec<TabletReading> {
    TABLET
        .iter()
        .map(|row| reading(column(row), row.0, 0.0, tone))
        .collect()
}

fn density(calibration: &Calibration, code: f64, tone: &Tone) -> Measured<Density> {
    match calibration.density(&PatchStatistics::from_code(code, 0.0, tone)) {
        CalibratedReading::Density(measured) => measured,
        limit @ CalibratedReading::Limit { .. } => panic!("code {code}: {limit:?}"),
    }
}

#[test]
fn patches_behind_flare_come_out_within_a_hundredth() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let calibration = calibrate(&tablet(|r| r.1, &linear)).unwrap();
    for (truth, code) in PATCHES {
        let found = density(&calibration, code, &linear);
        let off = (found.value().to_density() - truth).abs();
        // 0.01: the accuracy asked for; a straight line in log v errs by 0.0016.
        assert!(off < 0.01, "D {truth}: found {:?}", found);
        assert!(
            off < 3.0 * found.standard_uncertainty() + 0.001,
            "D {truth}: {off} against {found:?}"
        );
    }
    assert!(!calibration.reversed());
    assert!(
        calibration.residual_sd() < 0.01,
        "{}",
        calibration.residual_sd()
    );
    let (low, high) = calibration.range();
    // 1e-5: smoothing moves a step by a small part of its rounding, 0.0004.
    assert!((low.to_density() - 0.05).abs() < 1e-5 && (high.to_density() - 3.05).abs() < 1e-5);
}

#[test]
fn without_a_tablet_flare_makes_densities_too_small() {
    // Source: as TABLET; −log10(v / v clear) errs by −0.138 at D 2.40.
    let linear = tone(ToneEncoding::Linear, 65535);
    let clear = PatchStatistics::from_code(60220.0, 0.0, &linear);
    let patch = PatchStatistics::from_code(330.0, 0.0, &linear);
    let read = |patch: &PatchStatistics, clear: &PatchStatistics| {
        relative_density(patch, &[clear], SignalRises::WithLight)
            .unwrap()
            .value
    };
    let relative = read(&patch, &clear);
    // 0.001: the clear code is known to one count.
    assert!(
        (relative.value().to_density() - 2.2617).abs() < 0.001,
        "{relative:?}"
    );
    assert!(
        relative.flags().contains(Flag::Uncalibrated)
            && relative.flags().contains(Flag::RelativeDensity)
    );
    let unknown = tone(ToneEncoding::Unknown, 65535);
    let (patch, clear_unknown) = (
        PatchStatistics::from_code(330.0, 0.0, &unknown),
        PatchStatistics::from_code(60220.0, 0.0, &unknown),
    );
    assert!(
        read(&patch, &clear_unknown)
            .flags()
            .contains(Flag::UnknownTone)
    );
    assert_eq!(
        relative_density(&patch, &[&clear], SignalRises::WithLight),
        Err(RelativeDensityError::MixedTones)
    );
}

#[test]
fn the_uncertainty_of_clear_film_is_joined_and_falls_with_its_patches() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let patch = PatchStatistics::from_code(10_000.0, 50.0, &linear);
    let clear = PatchStatistics::from_code(40_000.0, 400.0, &linear);
    let sd = |clear: &[&PatchStatistics]| {
        relative_density(&patch, clear, SignalRises::WithLight)
            .unwrap()
            .value
            .standard_uncertainty()
    };
    // Hand calculation, in density: the patch 50/10 000 × 0.4343 = 0.002171; clear
    // film 400/40 000 × 0.4343 = 0.004343, of four patches 0.002171.
    for (clear, expected) in [
        (&[][..], 0.002_171),
        (&[&clear][..], 0.004_855),
        (&[&clear; 4][..], 0.003_071),
    ] {
        let found = sd(clear);
        assert!((found - expected).abs() < 2e-6, "{found} for {expected}");
    }
}

#[test]
fn an_inverted_scan_reads_relative_densities_with_the_right_sign() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let upright = |code: f64| PatchStatistics::from_code(code, 0.0, &linear);
    let inverted = |code: f64| PatchStatistics::from_code(65_535.0 - code, 0.0, &linear);
    for (_, code) in PATCHES {
        let as_negative = relative_density(
            &upright(code),
            &[&upright(60_220.0)],
            SignalRises::WithLight,
        )
        .unwrap();
        let turned = relative_density(
            &inverted(code),
            &[&inverted(60_220.0)],
            SignalRises::WithDensity,
        )
        .unwrap();
        let density = |of: &Measured<quantity::NetDensity>| of.value().to_density();
        assert!(density(&turned.value) > 0.0, "{turned:?}");
        // 1e-9: one less a share, in double precision.
        assert!((density(&turned.value) - density(&as_negative.value)).abs() < 1e-9);
        assert!(turned.value.flags().contains(Flag::SignalReversed));
    }
}

#[test]
fn clipped_patches_and_patches_without_signal_are_limits_on_the_side_of_the_truth() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let clear = PatchStatistics::from_code(60_220.0, 0.0, &linear);
    let turned_clear = PatchStatistics::from_code(5_315.0, 0.0, &linear);
    for (code, upright, turned) in [
        (0.0, Bound::AtLeast, Bound::AtMost),
        (65_535.0, Bound::AtMost, Bound::AtLeast),
    ] {
        let patch = PatchStatistics::from_code(code, 0.0, &linear);
        let limit = |clear, rises| relative_density(&patch, &[clear], rises).unwrap().limit;
        assert_eq!(limit(&clear, SignalRises::WithLight), Some(upright));
        assert_eq!(limit(&turned_clear, SignalRises::WithDensity), Some(turned));
    }
    let dark = PatchStatistics::from_code(0.0, 0.0, &linear);
    let found = relative_density(&dark, &[&clear], SignalRises::WithLight).unwrap();
    // Hand calculation: one code, log10 60 220 = 4.7797.
    assert!((found.value.value().to_density() - 4.7797).abs() < 1e-4);
    // The same as a signal alone: log10 (1 / 65 535), or less.
    let signal = log_signal(&dark);
    assert!((signal.value.value() + 4.8165).abs() < 1e-4);
    assert_eq!(signal.limit, Some(Bound::AtMost));
    // No logarithm of clear film that is black.
    assert_eq!(
        relative_density(&clear, &[&dark], SignalRises::WithLight),
        Err(RelativeDensityError::NoSignal)
    );
}

#[test]
fn an_inverted_scan_is_read_by_its_own_sign() {
    for encoding in [ToneEncoding::Linear, ToneEncoding::Unknown] {
        let tone = tone(encoding, 65535);
        let calibration = calibrate(&tablet(|r| r.3, &tone)).unwrap();
        assert!(calibration.reversed() && calibration.flags().contains(Flag::SignalReversed));
        for (truth, code) in PATCHES {
            let found = density(&calibration, 65535.0 - code, &tone);
            // 0.01: the accuracy asked for, as in the upright scan.
            assert!(
                (found.value().to_density() - truth).abs() < 0.01,
                "D {truth}: {found:?}"
            );
        }
    }
}

#[test]
fn eight_bits_of_unknown_tone_calibrate_with_wider_uncertainty() {
    let unknown = tone(ToneEncoding::Unknown, 255);
    let calibration = calibrate(&tablet(|r| r.2, &unknown)).unwrap();
    let mut inside = 0;
    for (truth, code) in PATCHES {
        // The same patches through 255 (v / 65535)^(1/2.2), rounded to a code.
        let code = (255.0 * (code / 65535.0_f64).powf(1.0 / 2.2)).round();
        let found = density(&calibration, code, &unknown);
        let off = (found.value().to_density() - truth).abs();
        // One code is 0.06 at D 2.4, so half a code of patch and of steps: 0.06.
        assert!(off < 0.06, "D {truth}: {found:?}");
        if off <= 2.0 * found.standard_uncertainty() {
            inside += 1;
        }
        assert_eq!(
            found.flags().contains(Flag::CoarseQuantisation),
            truth > 1.55,
            "D {truth}: {found:?}"
        );
        assert!(
            !found.flags().contains(Flag::UnknownTone),
            "the tablet has taken the place of the tone"
        );
    }
    assert!(
        inside >= 4,
        "{inside} of 5 within two standard uncertainties"
    );
    let (thin, dense) = (
        density(&calibration, 199.0, &unknown),
        density(&calibration, 22.0, &unknown),
    );
    // One code is 0.006 at D 0.2 and 0.06 at D 2.4; the tablet's own scatter is shared.
    assert!(
        dense.standard_uncertainty() > 2.0 * thin.standard_uncertainty(),
        "{thin:?} {dense:?}"
    );
}

#[test]
fn a_published_scanner_that_flattens_gets_wider_there() {
    // Source: University of Illinois ITG technical report 98-006, mean of four
    // scans: (pixel value, density); the value rises with density.
    let rows = [
        (13.51, 0.04),
        (34.89, 0.14),
        (56.21, 0.24),
        (76.97, 0.34),
        (96.33, 0.44),
        (113.20, 0.54),
        (129.19, 0.63),
        (146.65, 0.74),
        (160.68, 0.84),
        (174.00, 0.94),
        (186.33, 1.04),
        (198.04, 1.14),
        (208.70, 1.24),
        (217.13, 1.35),
        (225.26, 1.44),
        (232.95, 1.54),
        (239.59, 1.65),
        (245.27, 1.75),
        (249.87, 1.86),
        (253.52, 1.96),
    ];
    let unknown = tone(ToneEncoding::Unknown, 255);
    let steps: Vec<_> = rows
        .iter()
        .map(|(code, density)| reading(*code, *density, 0.005, &unknown))
        .collect();
    let calibration = calibrate(&steps).unwrap();
    assert!(calibration.reversed());
    for (code, published) in rows {
        let found = density(&calibration, code, &unknown);
        // 0.02: the published densities wander by 0.01 about their even steps.
        assert!(
            (found.value().to_density() - published).abs() < 0.02,
            "{code}: {published}, {found:?}"
        );
    }
    let at = |code| density(&calibration, code, &unknown).standard_uncertainty();
    assert!(
        at(252.0) > 1.5 * at(100.0),
        "{} against {}",
        at(252.0),
        at(100.0)
    );
    assert!(
        density(&calibration, 252.0, &unknown)
            .flags()
            .contains(Flag::CoarseQuantisation)
    );
    assert!(
        calibration.residual_sd() < 0.02,
        "{}",
        calibration.residual_sd()
    );
}

#[test]
fn outside_the_tablet_the_answer_is_a_limit() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let calibration = calibrate(&tablet(|r| r.1, &linear)).unwrap();
    for (code, side, end) in [
        (100.0, Bound::AtLeast, 3.05),
        (60000.0, Bound::AtMost, 0.05),
        (0.0, Bound::AtLeast, 3.05),
        (65535.0, Bound::AtMost, 0.05),
    ] {
        match calibration.density(&PatchStatistics::from_code(code, 0.0, &linear)) {
            CalibratedReading::Limit {
                bound,
                density,
                flags,
            } => {
                assert_eq!(bound, side, "code {code}");
                assert!(
                    (density.to_density() - end).abs() < 1e-5,
                    "code {code}: {density:?}"
                );
                assert!(
                    flags.contains(Flag::OutsideTablet),
                    "code {code}: {flags:?}"
                );
            }
            CalibratedReading::Density(found) => panic!("code {code}: {found:?}"),
        }
    }
}

#[test]
fn clipped_steps_end_the_range_and_too_few_steps_are_refused() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let mut steps = tablet(|r| r.1, &linear);
    for step in &mut steps[..3] {
        step.statistics = PatchStatistics::from_code(65535.0, 0.0, &linear);
    }
    let calibration = calibrate(&steps).unwrap();
    assert_eq!(calibration.steps()[2].step_use, StepUse::Clipped);
    assert!((calibration.range().0.to_density() - 0.50).abs() < 1e-5);
    for step in &mut steps[..18] {
        step.statistics = PatchStatistics::from_code(65535.0, 0.0, &linear);
    }
    let error = calibrate(&steps).unwrap_err();
    assert!(
        matches!(
            error,
            CalibrationError::TooFewSteps {
                usable: 3,
                needed: 4,
                clipped: 18,
                ..
            }
        ),
        "{error}"
    );
    assert!(calibrate(&[]).is_err());
}

#[test]
fn one_step_out_of_order_is_left_out_and_a_shuffled_tablet_refused() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let mut steps = tablet(|r| r.1, &linear);
    steps[6].statistics = PatchStatistics::from_code(15000.0, 0.0, &linear);
    let calibration = calibrate(&steps).unwrap();
    assert_eq!(calibration.steps()[6].step_use, StepUse::OutOfOrder);
    assert!(calibration.flags().contains(Flag::TabletOutOfOrder));
    let found = density(&calibration, 6845.0, &linear).value().to_density();
    assert!((found - 0.95).abs() < 0.01, "{found}");
    // Every second step changed with one far away: no order left.
    let mut codes: Vec<f64> = TABLET.iter().map(|r| r.1).collect();
    for i in (0..10).step_by(2) {
        codes.swap(i, 20 - i);
    }
    let shuffled: Vec<_> = TABLET
        .iter()
        .zip(codes)
        .map(|(r, code)| reading(code, r.0, 0.0, &linear))
        .collect();
    assert!(matches!(
        calibrate(&shuffled),
        Err(CalibrationError::OutOfOrder { .. })
    ));
}

#[test]
fn a_list_that_begins_at_the_wrong_end_is_refused() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let backwards: Vec<_> = TABLET
        .iter()
        .zip(TABLET.iter().rev())
        .map(|(d, r)| reading(r.1, d.0, 0.0, &linear))
        .collect();
    let error = calibrate(&backwards).unwrap_err();
    assert!(
        matches!(error, CalibrationError::ListedBackwards { .. }),
        "{error}"
    );
}

#[test]
fn the_tablets_own_uncertainty_and_flags_reach_the_reading() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let steps: Vec<_> = TABLET
        .iter()
        .map(|row| TabletReading {
            statistics: PatchStatistics::from_code(row.1, 0.0, &linear),
            density: Measured::new(Density::gross(row.0).unwrap(), 0.02)
                .flagged(Flag::NominalTablet),
        })
        .collect();
    let calibration = calibrate(&steps).unwrap();
    let found = density(&calibration, 4763.0, &linear);
    assert!(
        found.standard_uncertainty() >= 0.02 && found.standard_uncertainty() < 0.03,
        "{found:?}"
    );
    assert!(found.flags().contains(Flag::NominalTablet));
    // The exact points may be moved by their uncertainty, not by more.
    assert!(
        (found.value().to_density() - 1.11).abs() < 0.02,
        "{found:?}"
    );
}

/// A certified tablet whose steps are as uneven as made ones are.
///
/// Source: invented; steps of 0.15 with offsets of up to 0.03, written down by hand.
const UNEVEN_TABLET: [f64; 21] = [
    0.04, 0.19, 0.36, 0.49, 0.66, 0.76, 0.97, 1.11, 1.27, 1.41, 1.55, 1.72, 1.87, 2.01, 2.13, 2.30,
    2.44, 2.59, 2.76, 2.91, 3.07,
];

/// The code a scanner with 0.15 % of flare gives, as in [`TABLET`].
fn code_of(density: f64) -> f64 {
    (60_220.0 * (10_f64.powf(-density) + 0.0015) / 1.0015).round()
}

/// Outlines that show the steps `shown` (or another density), listed by [`UNEVEN_TABLET`].
fn uneven_tablet(shown: impl Fn(usize) -> f64) -> Vec<TabletReading> {
    let linear = tone(ToneEncoding::Linear, 65535);
    UNEVEN_TABLET
        .iter()
        .enumerate()
        .map(|(i, listed)| reading(code_of(shown(i)), *listed, 0.007, &linear))
        .collect()
}

#[test]
fn outlines_a_step_off_are_told_by_the_unevenness_of_the_table() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let right = calibrate(&uneven_tablet(|i| UNEVEN_TABLET[i])).unwrap();
    assert_eq!(right.misfit(), None);
    assert!(!right.flags().contains(Flag::TabletMisfit));
    for by in [1_isize, -1] {
        // Beyond the tablet there is the holder, D 4.8.
        let shown = |i: usize| {
            let step = i.checked_add_signed(by);
            step.and_then(|s| UNEVEN_TABLET.get(s)).map_or(4.8, |d| *d)
        };
        let calibration = calibrate(&uneven_tablet(shown)).unwrap();
        let misfit = calibration.misfit().unwrap();
        assert!(misfit.beyond_stated, "{misfit:?}");
        // Hand calculation: the steps differ by 0.15 on the mean, 0.154 as root mean square.
        assert!((misfit.added - 0.154).abs() < 0.006, "{misfit:?}");
        assert_eq!(misfit.moved.map(|m| m.0), Some(by), "{misfit:?}");
        assert_eq!(
            refused_by_tablet(&calibration),
            Some(CalibrationRefusal::Moved { steps: by })
        );
        let found = density(&calibration, code_of(0.80), &linear);
        assert!(found.flags().contains(Flag::TabletMisfit), "{found:?}");
        let off = (found.value().to_density() - 0.80).abs();
        // A step off, 0.10 to 0.21, and the stated uncertainty says so.
        assert!(
            off > 0.1 && off < 2.0 * found.standard_uncertainty(),
            "{found:?}"
        );
    }
    // A step off by one alone can't be seen in an even tablet, and isn't claimed.
    let even: Vec<_> = TABLET
        .windows(2)
        .map(|w| reading(w[1].1, w[0].0, 0.007, &linear))
        .collect();
    assert_eq!(calibrate(&even).unwrap().misfit(), None);
}

#[test]
fn a_table_that_errs_more_than_it_states_widens_every_density() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let mut noise = Noise(3);
    let wrong: Vec<f64> = (0..21).map(|_| 0.04 * noise.normal()).collect();
    let calibration = calibrate(&uneven_tablet(|i| UNEVEN_TABLET[i] + wrong[i])).unwrap();
    let misfit = calibration.misfit().unwrap();
    assert!(misfit.beyond_stated && misfit.moved.is_none(), "{misfit:?}");
    assert!(!misfit.steps.is_empty(), "{misfit:?}");
    let found = density(&calibration, code_of(1.0), &linear);
    // At least the error of the table itself, 0.04.
    assert!(found.standard_uncertainty() > 0.04, "{found:?}");
    let findings = tablet_findings(&calibration);
    let said = findings
        .iter()
        .find(|f| f.flag == Flag::TabletMisfit)
        .unwrap();
    assert!(
        said.evidence
            .contains("miss the curve through the others by 0.0")
            && said.evidence.contains("state 0.00"),
        "{}",
        said.evidence
    );
}

#[test]
fn an_end_outline_beside_the_tablet_is_told() {
    // The first outline lies on open light (D 0), the others a step late; the
    // table is even, so that only the end can tell.
    let linear = tone(ToneEncoding::Linear, 65535);
    let beside_light = |first: f64| -> Vec<_> {
        (0..20)
            .map(|i| {
                let code = if i == 0 { first } else { TABLET[i - 1].1 };
                reading(code, TABLET[i].0, 0.007, &linear)
            })
            .collect()
    };
    // On open light, on the holder, and twice on the same step.
    for first in [60_220.0, 91.0, TABLET[0].1] {
        let calibration = calibrate(&beside_light(first)).unwrap();
        let misfit = calibration.misfit().unwrap();
        assert!(
            misfit.light_end_off && misfit.ends == [0],
            "{first}: {misfit:?}"
        );
        let found = density(&calibration, code_of(0.8), &linear);
        let off = (found.value().to_density() - 0.8).abs();
        assert!(
            off < 2.0 * found.standard_uncertainty(),
            "{first}: {found:?}"
        );
    }
    // The last outline lies on the holder.
    let calibration = calibrate(&uneven_tablet(
        |i| if i == 20 { 6.0 } else { UNEVEN_TABLET[i] },
    ));
    let dark = (0..14).map(|i| {
        let code = if i == 13 { 91.0 } else { TABLET[i].1 };
        reading(code, TABLET[i].0, 0.007, &linear)
    });
    let dark = calibrate(&dark.collect::<Vec<_>>()).unwrap();
    let misfit = dark.misfit().unwrap();
    assert!(!misfit.light_end_off && misfit.ends == [13], "{misfit:?}");
    // Where flare has flattened the scale, a holder reads like the last step
    // within what a line can tell: nothing is claimed.
    assert!(calibration.is_ok());
}

#[test]
fn of_two_swapped_steps_both_are_left_out_and_named() {
    let swapped = uneven_tablet(|i| {
        UNEVEN_TABLET[match i {
            4 => 5,
            5 => 4,
            i => i,
        }]
    });
    let calibration = calibrate(&swapped).unwrap();
    for (i, step) in calibration.steps().iter().enumerate() {
        let expected = if i == 4 || i == 5 {
            StepUse::OutOfOrder
        } else {
            StepUse::Used
        };
        assert_eq!(step.step_use, expected, "step {}", i + 1);
    }
    let findings = tablet_findings(&calibration);
    assert_eq!(
        findings[0].evidence,
        "steps 5 and 6 of the tablet do not read between their neighbours and were left out; \
         the outlines of the two may be swapped"
    );
    // One step alone is the culprit when it is at odds with two.
    let mut one = uneven_tablet(|i| UNEVEN_TABLET[i]);
    let linear = tone(ToneEncoding::Linear, 65535);
    one[6].statistics = PatchStatistics::from_code(code_of(0.55), 0.0, &linear);
    let findings = tablet_findings(&calibrate(&one).unwrap());
    assert_eq!(
        findings[0].evidence,
        "step 7 of the tablet does not read between its neighbours and was left out"
    );
    // With some outlines missing the numbers are the tablet's own.
    let numbers: Vec<usize> = (3..24).collect();
    let findings = tablet_findings_numbered(&calibrate(&one).unwrap(), &numbers);
    assert!(
        findings[0].evidence.starts_with("step 9 of"),
        "{findings:?}"
    );
}

#[test]
fn outlines_across_two_steps_are_named_and_widen_the_densities() {
    let linear = tone(ToneEncoding::Linear, 65535);
    // Seven tenths of each outline show the next step: light averages so.
    let mut steps = uneven_tablet(|i| UNEVEN_TABLET[i]);
    for i in 0..20 {
        let light = 0.3 * 10_f64.powf(-UNEVEN_TABLET[i]) + 0.7 * 10_f64.powf(-UNEVEN_TABLET[i + 1]);
        let mut statistics = PatchStatistics::from_code(code_of(-light.log10()), 0.0, &linear);
        // Least-squares slope of a step of 0.15 at 0.3 of the width: 6 · 0.3 · 0.7 · 0.15.
        statistics.slope_across = -0.189;
        steps[i].statistics = statistics;
    }
    let calibration = calibrate(&steps).unwrap();
    let misfit = calibration.misfit().unwrap();
    assert!(misfit.straddling && misfit.uneven_share > 0.9, "{misfit:?}");
    let found = density(&calibration, code_of(0.8), &linear);
    let off = (found.value().to_density() - 0.8).abs();
    assert!(
        off > 0.05 && off < 2.0 * found.standard_uncertainty(),
        "{found:?}"
    );
    let findings = tablet_findings(&calibration);
    assert_eq!(findings[0].flag, Flag::UnevenPatch);
    assert!(
        findings[0]
            .evidence
            .starts_with("steps 1 to 20 of the tablet are uneven, by up to 0.19"),
        "{}",
        findings[0].evidence
    );
}

#[test]
fn a_patch_at_the_floor_is_a_limit_on_the_dense_side_wherever_the_floor_lies() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let calibration = calibrate(&uneven_tablet(|i| UNEVEN_TABLET[i])).unwrap();
    let mut patch = PatchStatistics::from_code(code_of(0.3), 0.0, &linear);
    for (zero, max, side) in [(0.4, 0.0, Bound::AtLeast), (0.0, 0.4, Bound::AtMost)] {
        (patch.at_zero_share, patch.at_max_share) = (zero, max);
        match calibration.density(&patch) {
            CalibratedReading::Limit { bound, .. } => assert_eq!(bound, side),
            CalibratedReading::Density(found) => panic!("{found:?}"),
        }
    }
}

#[test]
fn densities_lighter_than_the_tablet_can_be_checked_but_not_read() {
    let linear = tone(ToneEncoding::Linear, 65535);
    let steps: Vec<_> = TABLET[2..]
        .iter()
        .map(|r| reading(r.1, r.0, 0.007, &linear))
        .collect();
    let calibration = calibrate(&steps).unwrap();
    // D 0.12 of PATCHES, 0.23 lighter than the lightest step.
    let patch = PatchStatistics::from_code(45_758.0, 0.0, &linear);
    assert!(calibration.density(&patch).measured().is_none());
    let (found, sd) = calibration.density_to_check(&patch).unwrap();
    // 0.002: the flare left out of the line.
    assert!((found - 0.12).abs() < 0.002 && sd >= 0.007, "{found} {sd}");
    let unknown = tone(ToneEncoding::Unknown, 65535);
    let steps: Vec<_> = TABLET[2..]
        .iter()
        .map(|r| reading(r.1, r.0, 0.007, &unknown))
        .collect();
    let patch = PatchStatistics::from_code(45_758.0, 0.0, &unknown);
    assert_eq!(calibrate(&steps).unwrap().density_to_check(&patch), None);
}

#[test]
fn clear_film_clearer_than_film_refuses_a_calibration_and_is_a_finding() {
    let linear = tone(ToneEncoding::Linear, 65535);
    // Each outline shows the next step of an even table: readings 0.15 too low,
    // and nothing in the tablet tells.
    let off = TABLET.windows(2).map(|pair| {
        let [listed, shown] = pair else {
            unreachable!("windows of two")
        };
        reading(shown.1, listed.0, 0.02, &linear)
    });
    let off = calibrate(&off.collect::<Vec<_>>()).unwrap();
    assert_eq!(refused_by_tablet(&off), None);
    // Film of D 0.12 reads -0.03.
    let clear = PatchStatistics::from_code(45_758.0, 0.0, &linear);
    let refusal = refused_by_clear_film(&off, &[&clear]).unwrap();
    let CalibrationRefusal::ClearerThanFilm { density, .. } = refusal else {
        panic!("{refusal:?}")
    };
    assert!((density + 0.03).abs() < 0.005, "{density}");
    assert_eq!(refusal.finding().unwrap().flag, Flag::TabletMisfit);
    let right = calibrate(&tablet(|r| r.1, &linear)).unwrap();
    assert_eq!(refused_by_clear_film(&right, &[&clear]), None);
    assert_eq!(refused_by_clear_film(&off, &[]), None);
}

/// A stream of normal numbers that is the same on every machine
/// (splitmix64; the sum of twelve even numbers less 6).
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

#[test]
fn stated_uncertainties_hold_the_truth_as_often_as_they_should() {
    // Scanners with flare, gamma and noise; tablets whose tables err as stated.
    let mut noise = Noise(11);
    for (bits, table_sd, code_noise) in [(16, 0.01, 4.0), (16, 0.003, 6.0), (8, 0.01, 0.0)] {
        let code_max = ((1_u32 << bits) - 1) as u16;
        let unknown = tone(ToneEncoding::Unknown, code_max);
        let (mut inside, mut count, mut off_sum, mut stated_sum) = (0, 0, 0.0, 0.0);
        for _ in 0..150 {
            let (flare, gamma) = (0.003 * noise.even(), 1.0 + 1.4 * noise.even());
            let top = 0.95 * f64::from(code_max);
            let code = |d: f64| top * ((10_f64.powf(-d) + flare) / (1.0 + flare)).powf(1.0 / gamma);
            let read = |d: f64, noise: &mut Noise| {
                PatchStatistics::from_code(
                    (code(d) + code_noise * noise.normal()).round(),
                    code_noise.hypot(0.29),
                    &unknown,
                )
            };
            let steps: Vec<_> = (0..21)
                .map(|i| {
                    let truth = 0.05 + 0.15 * f64::from(i);
                    let stated = Density::gross(truth + table_sd * noise.normal()).unwrap();
                    TabletReading {
                        statistics: read(truth, &mut noise),
                        density: Measured::new(stated, table_sd),
                    }
                })
                .collect();
            let Ok(calibration) = calibrate(&steps) else {
                continue;
            };
            for _ in 0..5 {
                let truth = 0.1 + 2.3 * noise.even();
                if let CalibratedReading::Density(found) =
                    calibration.density(&read(truth, &mut noise))
                {
                    let off = found.value().to_density() - truth;
                    inside += u32::from(off.abs() <= 2.0 * found.standard_uncertainty());
                    count += 1;
                    off_sum += off * off;
                    stated_sum += found.standard_uncertainty() * found.standard_uncertainty();
                }
            }
        }
        let (share, ratio) = (
            f64::from(inside) / f64::from(count),
            (stated_sum / off_sum).sqrt(),
        );
        // 95 % of a normal error; 750 trials spread by 0.8 %. Stated larger than
        // found by a factor is allowed up to 2: the tablet's error counts in full.
        assert!(count > 500, "{count}");
        assert!(
            share > 0.93,
            "{bits} bits, table {table_sd}: {share} within two standard uncertainties"
        );
        assert!(
            ratio < 2.0,
            "{bits} bits, table {table_sd}: stated {ratio} times as large as found"
        );
    }
}

proptest! {
    /// More signal never reads as more density, nothing lies outside the
    /// tablet, and two standard uncertainties hold the truth.
    #[test]
    fn readings_fall_with_signal_and_stay_within_the_tablet(
        flare in 0.0_f64..0.01,
        gamma in 1.0_f64..2.4,
        noise in prop::collection::vec(-1.0_f64..1.0, 21),
    ) {
        let unknown = tone(ToneEncoding::Unknown, 65535);
        let code = |d: f64| 62000.0 * ((10_f64.powf(-d) + flare) / (1.0 + flare)).powf(1.0 / gamma);
        let steps: Vec<_> = (0..21)
            .map(|i| {
                let truth = 0.05 + 0.15 * f64::from(i);
                reading(code(truth), truth + 0.01 * noise[i as usize], 0.006, &unknown)
            })
            .collect();
        let calibration = calibrate(&steps).unwrap();
        let (low, high) = calibration.range();
        let mut before = f64::INFINITY;
        for i in 0..200 {
            let truth = 3.2 - 3.2 * f64::from(i) / 199.0;
            let shown = calibration.shown_density(unknown.signal(code(truth)));
            prop_assert!(shown <= before + 1e-12);
            prop_assert!(shown >= low.to_density() - 1e-12 && shown <= high.to_density() + 1e-12);
            before = shown;
            if let CalibratedReading::Density(found) = calibration.density(&PatchStatistics::from_code(code(truth), 0.0, &unknown)) {
                let off = (found.value().to_density() - truth).abs();
                // 4: table errors here are even to ±0.01, 1.7 times their stated 0.006.
                prop_assert!(off < 4.0 * found.standard_uncertainty(), "D {truth}: off {off}, {found:?}");
            }
        }
    }

    /// Readings that make no sense give an error or a curve, never a panic.
    #[test]
    fn any_readings_are_answered(
        rows in prop::collection::vec((0.0_f64..256.0, -0.1_f64..4.0, 0.0_f64..0.1), 0..30),
        probe in 0.0_f64..256.0,
    ) {
        let unknown = tone(ToneEncoding::Unknown, 255);
        let steps: Vec<_> = rows.iter().map(|(code, d, sd)| reading(*code, *d, *sd, &unknown)).collect();
        if let Ok(calibration) = calibrate(&steps) {
            let (low, high) = calibration.range();
            prop_assert!(low <= high);
            match calibration.density(&PatchStatistics::from_code(probe, 0.0, &unknown)) {
                CalibratedReading::Density(d) => prop_assert!(d.value() >= low && d.value() <= high),
                CalibratedReading::Limit { density, .. } => prop_assert!(density >= low && density <= high),
            }
        }
    }
}
