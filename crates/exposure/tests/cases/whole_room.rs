//! Ranges of laws, the catenary, placement, estimates, shutters, hands, and the
//! uncertainty of a whole chain.

use crate::common::{bellows, ei, ev, f, factor, mm, near, power, request, s};
use exposure::{
    ActualBasis, ApertureCorrection, Bellows, CatenaryShape, Cell, ChainError, HandTiming,
    LightReading, MarkReading, OutsideLaw, ReadThrough, ReadingUse, ReciprocityLaw, ReciprocityRow,
    ReflectedConstant, SmallApertureGain, StepSize, SunnySky, TargetReading, UncertainPart,
    chain_uncertainty, exposure_answer, format_ei, nearest_ei, nearest_shutter, reading_sentence,
    reading_use, reciprocity_law_from_text, shutter_marks, sunny_estimate,
};
use proptest::prelude::*;
use quantity::{Flag, Luminance, PupilRatio, Stops};

fn stops(value: f64) -> Stops {
    Stops::new(value).unwrap()
}

#[test]
fn a_law_written_with_its_range_refuses_outside_it() {
    let law = reciprocity_law_from_text("power:1.31@1..120").unwrap();
    assert_eq!(law.range(), (Some(s(1.0)), Some(s(120.0))));
    assert!(law.corrected_time(s(120.0)).is_ok());
    let refused = law.corrected_time(s(121.0)).unwrap_err().to_string();
    assert!(refused.contains("1 s to 120 s"), "{refused}");
    let carried = law.corrected_time_extrapolating(s(121.0)).unwrap();
    assert!(carried.flags.contains(Flag::Extrapolated));
    let open = reciprocity_law_from_text("additive:0.1,1.62 @ ..600").unwrap();
    assert_eq!(open.range(), (None, Some(s(600.0))));
    // A range narrows a table, never widens it.
    let rows = reciprocity_law_from_text("points:1/1,10/15,100/200@..1000").unwrap();
    assert_eq!(rows.range().1, Some(s(100.0)));
    for (text, told) in [
        ("power:1.3@", "no range"),
        ("power:1.3@..", "no range"),
        ("power:1.3@5", "no range"),
        ("power:1.3@a..5", "no number"),
        ("power:1.3@5..1", "cannot be"),
        ("power:1.3@-1..5", "cannot be"),
        ("catenary:0.2", "2, as in catenary:A,T0"),
        ("catenary:1,0.1", "cannot be"),
        ("cosh:-0.1,0.1", "cannot be"),
    ] {
        let refused = reciprocity_law_from_text(text).unwrap_err().to_string();
        assert!(refused.contains(told), "{text}: {refused}");
    }
}

#[test]
fn a_fit_is_refused_where_it_is_shorter_than_metered() {
    // Source: a forum's power fit .72538 Tm^1.06559 to measured times of 80 to 1920 s
    // (common practice): it gives 77.4 s for 80 s.
    let fit = reciprocity_law_from_text("fit:0.72538,1.06559@80..1920").unwrap();
    assert!(fit.corrected_time(s(80.0)).is_err());
    assert!(fit.corrected_time_extrapolating(s(80.0)).is_err());
    assert!(fit.corrected_time(s(480.0)).is_ok());
    // Its misfit over the rows it holds for, and the additive fit's, in stops of time.
    // Hand calculation from the thread's errors: .02, .01, .00, .00 give rms 0.011.
    let rows: Vec<_> = [
        (240.0, 252.0),
        (480.0, 519.0),
        (960.0, 1090.0),
        (1920.0, 2288.0),
    ]
    .into_iter()
    .map(|(tm, tc)| ReciprocityRow {
        metered: s(tm),
        corrected: s(tc),
    })
    .collect();
    near("rms", fit.misfit(&rows).unwrap().to_stops(), 0.011, 4e-3);
    let sum = reciprocity_law_from_text("additive:0.001766,1.62").unwrap();
    // The thread's one-parameter fits: additive rms .006 stop.
    near("rms", sum.misfit(&rows).unwrap().to_stops(), 0.005, 3e-3);
    assert!(sum.misfit(&[]).is_err());
}

#[test]
fn catenaries_agree_with_the_constants_of_1914() {
    // Source: Kron's constants for plates, yearbook of 1914: a; k = log10(I/I0);
    // log10 of the lengthening by Kron's and by Halm's form, computed to six digits.
    let rows = [
        (0.22, 4.0, 0.687_083, 0.586_452),
        (0.22, 1.0, 0.091_127, 0.053_491),
        (0.22, -1.0, 0.091_127, 0.053_491),
        (0.11, 4.0, 0.343_542, 0.192_750),
        (0.11, 3.0, 0.237_851, 0.114_894),
        (0.19, 3.0, 0.410_833, 0.299_344),
        (0.19, -2.0, 0.234_853, 0.148_557),
        (0.19, 0.0, 0.0, 0.0),
    ];
    // Light k decades weaker than the best asks for a metered time k decades longer.
    let best = 0.05;
    for (a, k, kron, halm) in rows {
        let tm = best * 10.0_f64.powf(k);
        for (shape, expected) in [
            (CatenaryShape::Hyperbola, kron),
            (CatenaryShape::HyperbolicCosine, halm),
        ] {
            let law = ReciprocityLaw::catenary(shape, a, s(best), "yearbook 1914").unwrap();
            let tc = law.corrected_time(s(tm)).unwrap();
            near("log", (tc.time.to_s() / tm).log10(), expected, 6e-7);
            let back = law.effective_time(tc.time).unwrap().time.to_s();
            near("back", back / tm, 1.0, 1e-12);
        }
    }
    // Far from the best time the slope is 1 + a, Schwarzschild's p = 1/(1 + a) = 0.8197.
    let law = reciprocity_law_from_text("catenary:0.22,0.001").unwrap();
    near("p", 1.0 / law.slope(s(1e4)).unwrap(), 0.8197, 2e-3);
}

#[test]
fn the_slope_of_a_law_is_its_exponent() {
    // Closed form: d ln Tc/d ln Tm of Tm^P is P above 1 s and 1 below.
    near("above", power(1.31).slope(s(10.0)).unwrap(), 1.31, 1e-9);
    near("below", power(1.31).slope(s(0.1)).unwrap(), 1.0, 1e-9);
}

#[test]
fn ei_marks_reach_down_to_0_03() {
    // Source: the scale 10^(k/10) of ISO 6 carried on: 10^-1.5 = 0.0316 is 0.03.
    let found = nearest_ei(ei(0.0316));
    assert_eq!(found.mark.label(), "0.03");
    near("exact", found.residual.to_stops(), 0.0, 2e-3);
    for (value, label) in [
        (0.04, "0.04"),
        (0.063, "0.06"),
        (0.08, "0.08"),
        (0.1, "0.1"),
    ] {
        assert_eq!(format_ei(ei(value)), label);
    }
    assert_eq!(format_ei(ei(0.01)), "0.01");
}

#[test]
fn a_target_is_placed_on_its_zone() {
    // Source: an exposure record's worked example (common practice): 200 c/ft2 on zone
    // VII, 2 stops over V, is exposed as 50 on V: 1/50 s at f/16 and EI 256, with
    // K = 10.7639, one candela per square foot.
    let per_ft2 = 10.763_910_4;
    let mut asked = request(0.0, 256.0, 16.0);
    asked.reading = LightReading::Placed {
        target: TargetReading::Luminance {
            luminance: Luminance::from_cd_per_m2(200.0 * per_ft2).unwrap(),
            constant: ReflectedConstant::from_k(per_ft2).unwrap(),
        },
        above_mid_tone: stops(2.0),
    };
    let answer = exposure_answer(&asked).unwrap();
    near("time", answer.time_corrected.to_s(), 1.0 / 50.0, 1e-9);
    assert!(
        answer.steps[0]
            .detail
            .contains("placed +2 stops from the mid-tone")
    );
    // Grass read a stop under a card and placed a stop under: the card's exposure.
    asked.reading = LightReading::Placed {
        target: TargetReading::Ev100(ev(12.0)),
        above_mid_tone: stops(-1.0),
    };
    near(
        "EV",
        exposure_answer(&asked).unwrap().ev100.to_ev(),
        13.0,
        1e-12,
    );
}

#[test]
fn an_estimate_without_a_meter_says_so() {
    // Common practice: f/16 at 1/EI s in clear sun, f/11, f/8, f/5.6 as the sky closes.
    let evs = SunnySky::ALL.map(|sky| sunny_estimate(sky).unwrap().ev100.to_ev());
    assert_eq!(evs, [15.0, 14.0, 13.0, 12.0, 12.0]);
    let mut asked = request(0.0, 125.0, 16.0);
    asked.reading = LightReading::Estimated(sunny_estimate(SunnySky::Clear).unwrap());
    let answer = exposure_answer(&asked).unwrap();
    // 256·100/(32768·125) = 1/160 s: within a third of a stop of 1/125 by the rule.
    near("time", answer.time_corrected.to_s(), 1.0 / 160.0, 1e-9);
    assert!(answer.flags.contains(Flag::EstimatedLight));
    assert!(
        answer.steps[0]
            .assumption
            .as_ref()
            .unwrap()
            .contains("0.5 stops")
    );
}

#[test]
fn a_measured_speed_replaces_its_mark_and_a_table_never_overrides_it() {
    let gain = SmallApertureGain::common_practice().unwrap();
    let marks = shutter_marks(StepSize::Full);
    let at = |seconds: f64| *marks.iter().find(|m| m.is_marked(s(seconds))).unwrap();
    // Source: a handbook's table quoted in a forum (common practice): f/16 or smaller,
    // 1/125 +1/3, 1/250 +2/3, 1/500 +1 stop.
    for (part, expected) in [
        (125.0, 1.0 / 3.0),
        (250.0, 2.0 / 3.0),
        (500.0, 1.0),
        (60.0, 0.0),
    ] {
        let mark = at(1.0 / part);
        near("gain", gain.gain(mark, f(16.0)).to_stops(), expected, 1e-12);
        near("wide", gain.gain(mark, f(11.0)).to_stops(), 0.0, 0.0);
        let used = gain.applied(mark, f(22.0), MarkReading::Exact).unwrap();
        let over = used.time(MarkReading::Exact).to_s() / mark.time(MarkReading::Exact).to_s();
        near("time", over.log2(), expected, 1e-12);
    }
    let measured = at(1.0 / 250.0).with_actual(s(1.0 / 180.0), ActualBasis::Measured);
    let used = gain.applied(measured, f(32.0), MarkReading::Exact).unwrap();
    near(
        "kept",
        used.time(MarkReading::Literal).to_s(),
        1.0 / 180.0,
        1e-15,
    );
    // And the nearest mark goes by what the shutter gives: 1/180 is 1/250 here.
    let list: Vec<_> = marks
        .iter()
        .map(|m| {
            if m.is_marked(s(1.0 / 250.0)) {
                measured
            } else {
                *m
            }
        })
        .collect();
    let found = nearest_shutter(s(1.0 / 180.0), &list, MarkReading::Exact).unwrap();
    assert_eq!(found.mark.label(), "1/250 s");
    near("left", found.residual.to_stops(), 0.0, 1e-12);
}

#[test]
fn hands_are_too_slow_for_short_times() {
    // Hand calculation: 0.1 s of 1 s is 0.1/ln 2 = 0.1443 stop; a sixth of a stop is
    // reached at 0.1/(ln 2/6) = 0.866 s. A count 10 % off is 0.1443 stop at any time.
    let watch = HandTiming::new(s(0.1), 0.0).unwrap();
    near(
        "1 s",
        watch.standard_uncertainty(s(1.0)).unwrap().to_stops(),
        0.1443,
        5e-5,
    );
    let shortest = watch.shortest_time(stops(1.0 / 6.0)).unwrap().unwrap();
    near("shortest", shortest.to_s(), 0.8656, 5e-5);
    let count = HandTiming::new(s(0.1), 0.1).unwrap();
    near(
        "60 s",
        count.standard_uncertainty(s(60.0)).unwrap().to_stops(),
        0.1443,
        1e-4,
    );
    assert!(count.shortest_time(stops(0.1)).unwrap().is_none());
    for share in [-0.1, 1.1, f64::NAN] {
        assert!(HandTiming::new(s(0.1), share).is_err());
    }
}

#[test]
fn the_lens_can_be_opened_by_the_sheets_own_column() {
    // Source: a film maker's sheet F-4016, page 5: 10 s, +1/2 stop or 15 s; 100 s, +1
    // stop or 200 s. At f/16 half a stop is f/13.45; 15 s would be 0.585 stop.
    let column = ApertureCorrection::from_rows(
        vec![(s(10.0), stops(0.5)), (s(100.0), stops(1.0))],
        "F-4016",
    )
    .unwrap();
    let opened = column.opened(s(10.0), f(16.0)).unwrap();
    near("f", opened.aperture.to_ratio(), 13.4543, 5e-5);
    near("time", opened.time.to_s(), 10.0, 0.0);
    assert!(column.opened(s(200.0), f(16.0)).is_err());
}

#[test]
fn an_extension_is_the_draw_beyond_infinity() {
    let one = PupilRatio::from_ratio(1.0).unwrap();
    // Source: a large-format teacher's page (common practice): 450 mm of draw at 300 mm
    // is factor 2.25; the extension is 150 mm.
    let extended = Bellows::from_extension(mm(150.0), mm(300.0), one).unwrap();
    near("factor", extended.to_ratio(), 2.25, 1e-12);
    // Hand calculation: 3 mm of 300 mm is 0.01 of m; 2·0.01/(1.5·ln 2) = 0.01924 stop.
    near(
        "u",
        extended.standard_uncertainty(0.01).unwrap().to_stops(),
        0.019_24,
        5e-6,
    );
    assert!(extended.standard_uncertainty(-0.01).is_err());
    assert!(extended.standard_uncertainty(f64::NAN).is_err());
}

#[test]
fn uncertainties_add_as_squares_and_stretch_with_the_law() {
    // 10 s metered behind P 1.31: parts 0.3 and 0.4 stop make 0.5 of exposure, 0.655 of
    // time; with 0.2 of the shutter √(0.655² + 0.2²) = 0.68485.
    let mut asked = request(25.6_f64.log2(), 100.0, 16.0);
    asked.reciprocity = Some(power(1.31));
    let answer = exposure_answer(&asked).unwrap();
    let parts = [
        (UncertainPart::Reading, stops(0.3)),
        (UncertainPart::Filter, stops(0.4)),
        (UncertainPart::Time, stops(0.2)),
    ];
    let law = asked.reciprocity.as_ref();
    let found = chain_uncertainty(&answer, law, &parts).unwrap().unwrap();
    near("of time", found.of_time.to_stops(), 0.684_85, 5e-6);
    near("of exposure", found.of_exposure.to_stops(), 0.522_79, 5e-6);
    // 20.417 s · 2^(±1.6449·0.68485).
    near("low", found.low.to_s(), 9.352, 2e-3);
    near("high", found.high.to_s(), 44.575, 5e-3);
    assert!(chain_uncertainty(&answer, law, &[]).unwrap().is_none());
    let wrong = [(UncertainPart::Ei, stops(-0.1))];
    assert!(chain_uncertainty(&answer, law, &wrong).is_err());
}

#[test]
fn an_endless_exposure_is_refused() {
    // f/64 at EI 0.4 and EV -4: 4096·100/(0.0625·0.4) = 1.6e7 s, half a year.
    let refused = exposure_answer(&request(-4.0, 0.4, 64.0)).unwrap_err();
    assert!(matches!(refused, ChainError::TooLong { .. }), "{refused}");
    assert!(refused.to_string().contains("190 days"), "{refused}");
}

#[test]
fn a_law_without_a_range_is_an_assumption() {
    let mut asked = request(25.6_f64.log2(), 100.0, 16.0);
    asked.reciprocity = Some(power(1.31));
    let last = exposure_answer(&asked).unwrap().steps.pop().unwrap();
    assert!(last.assumption.unwrap().contains("states no range"));
}

#[test]
fn a_reading_through_an_opaque_filter_is_no_exposure() {
    assert_eq!(reading_use(ReadThrough::Nothing), ReadingUse::WithFactor);
    assert_eq!(
        reading_use(ReadThrough::SeeThrough),
        ReadingUse::InsteadOfFactor
    );
    assert_eq!(
        reading_use(ReadThrough::Opaque),
        ReadingUse::LightRecordOnly
    );
    // Source: a published response of a selenium meter (common practice): about 4 stops
    // down at 750 nm.
    let told = reading_sentence(Cell::Selenium, ReadThrough::Opaque);
    assert!(
        told.contains("4 stops down at 750 nm") && told.contains("not used"),
        "{told}"
    );
}

proptest! {
    /// Outside a stated range nothing is answered without a flag.
    #[test]
    fn nothing_outside_a_range_comes_without_a_flag(
        from in 0.1_f64..10.0, wide in 1.5_f64..100.0, log_t in -3.0_f64..4.0,
    ) {
        let law = power(1.3).valid_between(Some(s(from)), Some(s(from * wide))).unwrap();
        let time = 10.0_f64.powf(log_t);
        let inside = time >= from && time <= from * wide;
        prop_assert_eq!(law.corrected_time(s(time)).is_ok(), inside);
        let carried = law.corrected(s(time), OutsideLaw::Extrapolate).unwrap();
        prop_assert_eq!(carried.flags.contains(Flag::Extrapolated), !inside);
    }

    /// The catenary keeps the order of times, never shortens one, and is undone.
    #[test]
    fn catenaries_keep_order(
        a in 0.0_f64..0.9, best in 1e-3_f64..1.0, log_t in -4.0_f64..4.0, more in 1e-6_f64..0.1,
    ) {
        for shape in [CatenaryShape::Hyperbola, CatenaryShape::HyperbolicCosine] {
            let law = ReciprocityLaw::catenary(shape, a, s(best), "test").unwrap();
            let at = |log: f64| law.corrected_time(s(10.0_f64.powf(log))).unwrap().time.to_s();
            prop_assert!(at(log_t + more) > at(log_t));
            prop_assert!(at(log_t) >= 10.0_f64.powf(log_t) * (1.0 - 1e-12));
            let back = law.effective_time(s(at(log_t))).unwrap().time.to_s();
            // 1e-10: slopes down to 1 - a = 0.1 stretch a few roundings.
            prop_assert!((back / 10.0_f64.powf(log_t) - 1.0).abs() < 1e-10);
        }
    }

    /// The order of filter and bellows is nothing, that of the law is everything.
    #[test]
    fn the_law_comes_after_filter_and_bellows(
        ratio in 1.5_f64..64.0, m in 0.05_f64..1.0, bare in 1.0_f64..20.0,
    ) {
        let mut asked = request((256.0 / bare).log2(), 100.0, 16.0);
        asked.filters = vec![factor(ratio)];
        asked.bellows = Some(bellows(m, 1.0));
        asked.reciprocity = Some(power(1.3));
        let ours = exposure_answer(&asked).unwrap().time_corrected.to_s();
        let before = bare * ratio * (1.0 + m) * (1.0 + m);
        let right = power(1.3).corrected_time(s(before)).unwrap().time.to_s();
        prop_assert!((ours / right - 1.0).abs() < 1e-9);
        prop_assert!(ours > bare.powf(1.3) * ratio * (1.0 + m) * (1.0 + m));
    }
}
