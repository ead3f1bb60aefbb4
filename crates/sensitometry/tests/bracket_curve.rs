//! Curves from brackets whose truth is known.

use sensitometry::{
    BracketCurveError, BracketReading, ExposureError, bracket_curve, bracket_curve_with_errors,
    debevec_malik_response,
};

const LN_10: f64 = std::f64::consts::LN_10;

/// A clipping gamma-coded response, ours: Z = round(255·(1 − e^(−E·t))^(1/2.2)), 200 pixels
/// with E from 0.01 to 100 and six times 1/64 to 16 s.
fn coded() -> Vec<BracketReading> {
    let mut readings = vec![];
    for patch in 0..200_u32 {
        let k = (f64::from(patch) * 4095.0 / 199.0).round();
        let e = 10f64.powf(-2.0 + 4.0 * k / 4095.0);
        for frame in 0..6_i32 {
            let t = 4f64.powi(frame - 3);
            readings.push(BracketReading {
                patch: patch as usize,
                log_exposure: t.log10(),
                value: (255.0 * (1.0 - (-e * t).exp()).powf(1.0 / 2.2)).round(),
            });
        }
    }
    readings
}

/// ln H of a level, zero at level 128.
fn truth(level: f64) -> f64 {
    let ln = |z: f64| (-(1.0 - (z / 255.0).powf(2.2)).ln()).ln();
    ln(level) - ln(128.0)
}

#[test]
fn least_squares_after_the_paper_gives_an_independent_solutions_numbers() {
    // An independent solution of the paper's equations on the same readings, λ = 10.
    let expected = [
        (5, -7.100908),
        (10, -5.743230),
        (20, -4.203026),
        (60, -1.765663),
        (128, 0.0),
        (180, 0.926238),
        (245, 2.301498),
        (250, 2.552244),
    ];
    let response = debevec_malik_response(&coded(), 10.0).unwrap();
    for (level, ln) in expected {
        let got = response[level] * LN_10;
        assert!((got - ln).abs() < 2e-6, "{level}: {got} for {ln}");
    }
    // Its largest error from 10 to 245: 0.0135.
    let worst = (10..=245)
        .map(|z| (response[z] * LN_10 - truth(z as f64)).abs())
        .fold(0.0, f64::max);
    assert!((worst - 0.0135).abs() < 1e-4, "{worst}");
}

#[test]
fn the_monotone_curve_errs_less_and_rises_everywhere() {
    let curve = bracket_curve(&coded()).unwrap();
    let zero = curve
        .points
        .iter()
        .find(|p| p.value == 128.0)
        .unwrap()
        .log_h;
    let (mut worst, mut outside, mut counted) = (0_f64, 0, 0);
    for p in curve
        .points
        .iter()
        .filter(|p| (10.0..=245.0).contains(&p.value))
    {
        let error = (p.log_h - zero) * LN_10 - truth(p.value);
        worst = worst.max(error.abs());
        counted += 1;
        // Against the curve's own anchor, where its uncertainty is zero.
        let own = p.log_h * LN_10 - (truth(p.value) - truth(curve.anchor));
        outside += usize::from(own.abs() > 2.0 * p.log_h_sd * LN_10 + 1e-9);
    }
    // The least squares after the paper: 0.0135.
    assert!(worst < 0.009, "{worst}");
    assert!(curve.points.windows(2).all(|w| w[1].log_h > w[0].log_h));
    // Rounding to whole values: 1/√12.
    assert!((curve.value_sd - 0.289).abs() < 0.03, "{}", curve.value_sd);
    assert!(outside * 4 < counted, "{outside} of {counted}");
    // All ratios are powers of 4.
    assert!((curve.equal_step.unwrap() - 4f64.log10()).abs() < 1e-9);
}

#[test]
fn a_film_curve_comes_back_from_densities_rising_or_values_falling() {
    // Toe and line, invented: D = 0.2 + 0.6·0.15·ln(1 + e^(x/0.15)), x = log H; frames one
    // stop apart and one two thirds further, 12 patches, no noise but rounding to 0.001.
    let density = |x: f64| 0.2 + 0.09 * (1.0 + (x / 0.15).exp()).ln();
    let mut readings = vec![];
    for patch in 0..12_usize {
        for stops in [-2.0, -1.0, 0.0, 1.0, 1.0 + 2.0 / 3.0] {
            let log_exposure = stops * 2f64.log10();
            let x = 0.6 + 0.15 * patch as f64 + log_exposure;
            readings.push(BracketReading {
                patch,
                log_exposure,
                value: (density(x) * 1000.0).round() / 1000.0,
            });
        }
    }
    let curve = bracket_curve(&readings).unwrap();
    let x_of = |d: f64| 0.15 * ((((d - 0.2) / 0.09).exp() - 1.0).ln());
    let middle = x_of(curve.anchor);
    let worst = curve
        .points
        .iter()
        .map(|p| (p.log_h - (x_of(p.value) - middle)).abs())
        .fold(0.0, f64::max);
    assert!(worst < 0.03, "{worst}");
    let falling: Vec<_> = readings
        .iter()
        .map(|r| BracketReading {
            value: 3.0 - r.value,
            ..*r
        })
        .collect();
    let mirrored = bracket_curve(&falling).unwrap();
    for (a, b) in curve.points.iter().zip(&mirrored.points) {
        assert!((a.log_h - b.log_h).abs() < 1e-6);
        assert!((a.value + b.value - 3.0).abs() < 1e-9);
    }
}

#[test]
fn what_fixes_no_curve_is_refused() {
    let reading = |patch, log_exposure, value| BracketReading {
        patch,
        log_exposure,
        value,
    };
    assert!(matches!(
        bracket_curve(&[reading(0, 0.0, 1.0), reading(0, 0.3, 2.0)]),
        Err(BracketCurveError::TooFew { .. })
    ));
    assert_eq!(
        bracket_curve(&[reading(0, f64::NAN, 1.0)]),
        Err(BracketCurveError::NotFinite { row: 1 })
    );
    let two_parts: Vec<_> = (0..20)
        .flat_map(|p| {
            let low = if p < 10 { 10.0 } else { 100.0 };
            [0.0, 0.3].map(|t| reading(p, t, low + p as f64 + 10.0 * t))
        })
        .collect();
    assert!(matches!(
        bracket_curve(&two_parts),
        Err(BracketCurveError::Gap { .. })
    ));
    assert_eq!(
        bracket_curve(&[]),
        Err(BracketCurveError::TooFew {
            used: 0,
            patches: 0
        })
    );
}

/// A line of gradient 0.6 with a soft toe, invented, read in five frames a stop apart with
/// a scatter of 0.007.
fn soft_toe(moved: impl Fn(i32) -> f64) -> Vec<BracketReading> {
    let mut readings = vec![];
    for frame in 0..5_i32 {
        for patch in 0..8_usize {
            let log_h = 0.25 * patch as f64 + f64::from(frame) * 2f64.log10() - 1.0;
            readings.push(BracketReading {
                patch,
                log_exposure: f64::from(frame) * 2f64.log10() + moved(frame),
                value: 0.1
                    + 0.6 * 0.2 * (1.0 + (log_h / 0.2).exp()).ln()
                    + 0.01 * (17.3 * readings.len() as f64).sin(),
            });
        }
    }
    readings
}

#[test]
fn an_error_of_exposure_reaches_the_curve_as_a_second_fit_says() {
    // The second method: the same readings, with the exposure of one frame moved by a
    // little, fitted anew.
    let sd = 0.003;
    let error = ExposureError {
        sd,
        moves: (0..8).map(|patch| (2 * 8 + patch, 1.0)).collect(),
    };
    let plain = bracket_curve(&soft_toe(|_| 0.0)).unwrap();
    let with = bracket_curve_with_errors(&soft_toe(|_| 0.0), &[error]).unwrap();
    let moved = bracket_curve(&soft_toe(|frame| if frame == 2 { sd } else { 0.0 })).unwrap();
    let mut largest: f64 = 0.0;
    let all = plain.points.iter().zip(&with.points).zip(&moved.points);
    // On the toe a value is nearly all scatter.
    for ((a, b), c) in all.filter(|((a, _), _)| a.value > 0.2) {
        assert_eq!(a.log_h, b.log_h);
        let carried = (b.log_h_sd.powi(2) - a.log_h_sd.powi(2)).max(0.0).sqrt();
        let refitted = (c.log_h - a.log_h).abs();
        largest = largest.max(refitted);
        // A tenth of the error: the second fit takes other slopes and another noise.
        assert!(
            (carried - refitted).abs() < 0.1 * sd,
            "{}: {carried:.5} for {refitted:.5}",
            a.value
        );
    }
    assert!(largest > 0.2 * sd, "{largest:.5}");
}
