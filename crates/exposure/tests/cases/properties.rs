//! What must hold for every number: order, inverses, and the closed loop of the chain.

use crate::common::{additive, bellows, ei, ev, f, factor, near, power, request, s, table};
use exposure::{
    CatenaryShape, ChainError, FrameExposure, LensFactor, MarkReading, OutsideLaw, ReciprocityLaw,
    ReflectedConstant, SeriesPlace, StepSize, aperture_marks, exposure_answer, factor_from_density,
    film_exposure, nearest_aperture, nearest_ei, nearest_shutter, shutter_marks,
};
use proptest::prelude::*;
use quantity::{FilterFactor, Flag, NetDensity, Stops};

/// One law of every form; none of them shortens a time between 0.01 s and 10 000 s.
fn laws() -> impl Strategy<Value = ReciprocityLaw> {
    let threshold = 0.1_f64..4.0;
    prop_oneof![
        (1.0_f64..2.0, threshold.clone())
            .prop_map(|(p, t0)| { ReciprocityLaw::threshold_power(p, s(t0), "test").unwrap() }),
        (0.5_f64..=1.0, threshold).prop_map(|(p, t0)| ReciprocityLaw::schwarzschild(
            p,
            s(t0),
            "test"
        )
        .unwrap()),
        (0.5_f64..=1.0).prop_map(|p| ReciprocityLaw::modified_schwarzschild(p, "test").unwrap()),
        (0.0_f64..0.5, 1.0_f64..2.0).prop_map(|(a, b)| additive(a, b)),
        // Below its best time a catenary law lengthens too.
        (0.0_f64..0.5, 1e-4_f64..1e-2, any::<bool>()).prop_map(|(a, best, cosh)| {
            let shape = if cosh {
                CatenaryShape::HyperbolicCosine
            } else {
                CatenaryShape::Hyperbola
            };
            ReciprocityLaw::catenary(shape, a, s(best), "test").unwrap()
        }),
        Just(table(&[
            (0.001, 0.001),
            (0.5, 0.5),
            (10.0, 15.0),
            (100.0, 200.0),
            (1e4, 1e6)
        ])),
    ]
}

proptest! {
    /// A longer metered time needs a longer time, and never a shorter one than metered.
    #[test]
    fn corrected_times_keep_their_order(
        law in laws(), log_t in -2.0_f64..3.9, more in 1e-6_f64..0.1,
    ) {
        let (short, long) = (10.0_f64.powf(log_t), 10.0_f64.powf(log_t + more));
        let first = law.corrected_time(s(short)).unwrap();
        let second = law.corrected_time(s(long)).unwrap();
        prop_assert!(second.time > first.time, "{law:?}: {first:?} then {second:?}");
        prop_assert!(first.time.to_s() >= short * (1.0 - 1e-12));
        prop_assert!(first.stops.to_stops() >= 0.0);
    }

    /// The time a corrected time was worth is the metered time.
    #[test]
    fn effective_time_undoes_corrected_time(law in laws(), log_t in -2.0_f64..3.9) {
        let metered = 10.0_f64.powf(log_t);
        let corrected = law.corrected_time(s(metered)).unwrap();
        let back = law.effective_time(corrected.time).unwrap();
        // 1e-11: a few roundings of log, exp and pow, stretched by slopes up to 2.
        let off = back.time.to_s() / metered - 1.0;
        prop_assert!(off.abs() < 1e-11, "{law:?} at {metered} s: off by {off:e}");
        prop_assert!((back.stops.to_stops() - corrected.stops.to_stops()).abs() < 1e-10);
    }

    /// Outside its range a law refuses; carried on by name, the answer is flagged, and
    /// inside it never is.
    #[test]
    fn nothing_outside_a_range_goes_without_a_flag(
        law in laws(), log_from in -1.5_f64..1.0, decades in 0.1_f64..2.0, log_t in -2.0_f64..3.9,
    ) {
        let (from, to) = (10.0_f64.powf(log_from), 10.0_f64.powf(log_from + decades));
        let ranged = law.clone().valid_between(Some(s(from)), Some(s(to))).unwrap();
        let t = 10.0_f64.powf(log_t);
        let inside = (from..=to).contains(&t);
        prop_assert_eq!(ranged.corrected_time(s(t)).is_ok(), inside);
        let carried = ranged.corrected_time_extrapolating(s(t)).unwrap();
        prop_assert_eq!(carried.flags.contains(Flag::Extrapolated), !inside);
        // The same holds on the way back.
        let actual = law.corrected_time(s(t)).unwrap().time;
        let back = ranged.effective_time_extrapolating(actual).unwrap();
        // At an end itself the way back may miss by rounding.
        if (t / from - 1.0).abs() > 1e-9 && (t / to - 1.0).abs() > 1e-9 {
            prop_assert_eq!(ranged.effective_time(actual).is_ok(), inside);
            prop_assert_eq!(back.flags.contains(Flag::Extrapolated), !inside);
        }
        // And for the whole chain.
        let mut asked = request((256.0 / t).log2(), 100.0, 16.0);
        asked.reciprocity = Some(ranged);
        asked.outside_law = OutsideLaw::Extrapolate;
        let answer = match exposure_answer(&asked) {
            Ok(answer) => answer,
            // Steep laws reach times that no camera waits for.
            Err(ChainError::TooLong { .. }) => return Ok(()),
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
        if (t / from - 1.0).abs() > 1e-9 && (t / to - 1.0).abs() > 1e-9 {
            prop_assert_eq!(answer.flags.contains(Flag::Extrapolated), !inside);
        }
    }

    /// Filters in any order, and stops, factor and density for one another, give one time.
    #[test]
    fn filters_commute_and_their_scales_go_round(
        a in 0.0_f64..6.0, b in 0.0_f64..6.0, m in 0.0_f64..2.0, light in 5.0_f64..15.0,
    ) {
        let of = |stops: f64| FilterFactor::from_stops(Stops::new(stops).unwrap()).unwrap();
        let (a_factor, b_factor) = (of(a), of(b));
        prop_assert!((Stops::from_factor(a_factor).to_stops() - a).abs() < 1e-12);
        let density = NetDensity::new(a * core::f64::consts::LOG10_2).unwrap();
        let by_density = factor_from_density(density).unwrap();
        prop_assert!((by_density.to_ratio() / a_factor.to_ratio() - 1.0).abs() < 1e-12);
        let time = |filters: Vec<FilterFactor>| {
            let mut asked = request(light, 100.0, 16.0);
            asked.filters = filters;
            asked.bellows = Some(bellows(m, 1.0));
            exposure_answer(&asked).unwrap()
        };
        let (one, other) = (time(vec![a_factor, b_factor]), time(vec![b_factor, a_factor]));
        let stacked = time(vec![of(a + b)]);
        for found in [&other, &stacked] {
            let off = found.time_after_bellows.to_s() / one.time_after_bellows.to_s() - 1.0;
            // 1e-13 would do for the products; stops go through a power of two.
            prop_assert!(off.abs() < 1e-12, "{off:e}");
        }
        // Filters and bellows lengthen, each by its stops.
        let bellows_stops = bellows(m, 1.0).to_stops().unwrap().to_stops();
        prop_assert!((one.stops_over_meter.to_stops() - (a + b + bellows_stops)).abs() < 1e-9);
    }

    /// Reciprocity comes last: correcting before the filter gives too little.
    #[test]
    fn correcting_before_the_filter_is_too_short(
        p in 1.05_f64..1.6, bare in 1.5_f64..30.0, ratio in 2.0_f64..64.0,
    ) {
        // EV chosen so that f/16 at EI 100 meters the bare time.
        let mut asked = request((256.0 / bare).log2(), 100.0, 16.0);
        asked.filters = vec![factor(ratio)];
        asked.reciprocity = Some(power(p));
        let right = exposure_answer(&asked).unwrap().time_corrected.to_s();
        let wrong = power(p).corrected_time(s(bare)).unwrap().time.to_s() * ratio;
        // Hand calculation: (F t)^P / (F t^P) = F^(P−1).
        let short = (right / wrong).log2();
        prop_assert!((short - (p - 1.0) * ratio.log2()).abs() < 1e-9, "{short}");
    }

    /// Back and forth: a frame made by the answer got the metered mid-tone times the factor.
    #[test]
    fn the_frame_gets_what_the_answer_promised(
        law in laws(), light in 3.0_f64..15.0, speed in 3.0_f64..800.0, n in 4.0_f64..64.0,
        ratio in 1.0_f64..128.0, m in 0.0_f64..1.0, pupil in 0.5_f64..1.5,
    ) {
        let mut asked = request(light, speed, n);
        asked.filters = vec![factor(ratio)];
        asked.bellows = Some(bellows(m, pupil));
        asked.reciprocity = Some(law.clone());
        asked.outside_law = OutsideLaw::Extrapolate;
        // A table carried on far below its rows may fall under the metered time.
        let Ok(answer) = exposure_answer(&asked) else {
            return Err(TestCaseError::reject("the law refuses this time"));
        };
        let frame = FrameExposure {
            ev100: Some(ev(light)),
            aperture: f(n),
            time: answer.time_corrected,
            bellows: asked.bellows,
            reciprocity: Some(&law),
            outside_law: OutsideLaw::Extrapolate,
            constant: ReflectedConstant::K_12_5,
            lens: LensFactor::Q_0_65,
        };
        let film = film_exposure(&frame).unwrap();
        let over = film
            .stops_over_metered(ei(speed), frame.constant, frame.lens)
            .unwrap()
            .unwrap();
        prop_assert!((over.to_stops() - ratio.log2()).abs() < 1e-9, "{over:?}");
    }

    /// Within a series no mark is further off than half a step, by the exact values.
    #[test]
    fn the_nearest_mark_is_within_half_a_step(av in 0.0_f64..12.9, tv in -5.0_f64..12.9, k in 0.0_f64..4.0) {
        for (step, half) in [(StepSize::Full, 0.5), (StepSize::Half, 0.25), (StepSize::Third, 1.0 / 6.0)] {
            let n = f(2.0_f64.powf(av / 2.0));
            let found = nearest_aperture(n, &aperture_marks(step), MarkReading::Exact).unwrap();
            prop_assert!(found.residual.to_stops().abs() <= half + 1e-9);
            prop_assert_eq!(found.place, SeriesPlace::Within);
            let t = s(2.0_f64.powf(-tv));
            let found = nearest_shutter(t, &shutter_marks(step), MarkReading::Exact).unwrap();
            prop_assert!(found.residual.to_stops().abs() <= half + 1e-9);
            prop_assert_eq!(found.place, SeriesPlace::Within);
        }
        let found = nearest_ei(ei(10.0_f64.powf(k)));
        // Half of a tenth of log10 is 0.05/0.30103 = 0.16610 stop.
        prop_assert!(found.residual.to_stops().abs() < 0.1661);
    }
}

#[test]
fn the_inverse_has_a_row_of_outside_truth() {
    // Source: a film maker's sheet example read backwards: 20.4 s at P 1.31 is worth 10 s.
    let worth = power(1.31).effective_time(s(20.4)).unwrap().time;
    // 0.01: 20.4 is printed to three digits, 0.05/20.4/1.31 of 10 s is 0.019; the
    // exact 20.417 lies 0.0065 s off.
    near("worth", worth.to_s(), 10.0, 0.01);
}

#[test]
fn times_of_hours_and_microseconds_do_not_break_a_law() {
    // Hand calculation: the modified form tends to Tm^(1/p) for long times:
    // 1e6^(1/0.8) = 10^7.5 = 3.162e7 s, less than 1 % of it at that length.
    let law = ReciprocityLaw::modified_schwarzschild(0.8, "test").unwrap();
    let long = law.corrected_time(s(1e6)).unwrap().time.to_s();
    near("long", long / 10.0_f64.powf(7.5), 1.0, 1e-6);
    // And to Tm for short ones.
    let short = law.corrected_time(s(1e-6)).unwrap().time.to_s();
    near("short", short / 1e-6, 1.0, 1e-6);
    // Additive, 1e6 s: 1e6 + 0.1·10^9.72 = 5.258e8 s; and back.
    let law = additive(0.1, 1.62);
    let long = law.corrected_time(s(1e6)).unwrap().time;
    near("sum", long.to_s() / 5.258_07e8, 1.0, 1e-5);
    let back = law.effective_time(long).unwrap().time.to_s();
    near("back", back / 1e6, 1.0, 1e-12);
    // An overflow is an error, not an infinity.
    assert!(power(2.0).corrected_time(s(1e200)).is_err());
    assert!(law.corrected_time(s(1e200)).is_err());
}
