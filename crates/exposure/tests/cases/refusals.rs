//! What is refused, and what the refusal says; and partial answers with their flags.

use crate::common::{f, mm, near, power, request, s, table};
use exposure::{
    AvailableMarks, Bellows, ChainError, FrameExposure, IncidentConstant, LensFactor, LightReading,
    MarkReading, OutsideLaw, ReciprocityForm, ReciprocityLaw, ReciprocityRow, ReflectedConstant,
    ShutterMark, StepKind, StepSize, aperture_marks, exposure_answer, film_exposure,
    reciprocity_law_from_text,
};
use quantity::{Flag, Illuminance, PupilRatio};

#[test]
fn a_draw_shorter_than_the_focal_length_is_refused() {
    let one = PupilRatio::from_ratio(1.0).unwrap();
    let refused = Bellows::from_draw(mm(140.0), mm(150.0), one).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "a bellows draw of 140 mm is shorter than the focal length of 150 mm: no image is sharp there"
    );
    // At the focal length itself the subject is at infinity: factor 1.
    let at_infinity = Bellows::from_draw(mm(150.0), mm(150.0), one).unwrap();
    near("factor", at_infinity.to_ratio(), 1.0, 0.0);
}

#[test]
fn impossible_laws_are_refused_with_the_number() {
    let cases = [
        (
            ReciprocityLaw::threshold_power(0.9, s(1.0), "test"),
            "exponent of the reciprocity law must be 1 or more, found 0.9",
        ),
        (
            ReciprocityLaw::additive(-0.1, 1.62, "test"),
            "coefficient of the reciprocity law must be 0 or more, found -0.1",
        ),
        (
            ReciprocityLaw::additive(0.1, 0.5, "test"),
            "exponent of the reciprocity law must be 1 or more, found 0.5",
        ),
        (
            ReciprocityLaw::schwarzschild(1.2, s(1.0), "test"),
            "exponent p of the reciprocity law must be greater than 0 and at most 1, found 1.2",
        ),
        (
            ReciprocityLaw::modified_schwarzschild(f64::NAN, "test"),
            "exponent p of the reciprocity law must be greater than 0 and at most 1, found NaN",
        ),
        (
            ReciprocityLaw::fitted_power(0.0, 1.1, "test"),
            "coefficient of the reciprocity law must be greater than 0, found 0",
        ),
        (
            power(1.3).valid_between(Some(s(10.0)), Some(s(1.0))),
            "the range of the reciprocity law must start before it ends, found 10 s to 1 s",
        ),
    ];
    for (law, message) in cases {
        assert_eq!(law.unwrap_err().to_string(), message);
    }
}

#[test]
fn impossible_tables_are_refused_with_the_row() {
    let rows = |pairs: &[(f64, f64)]| {
        pairs
            .iter()
            .map(|(tm, tc)| ReciprocityRow {
                metered: s(*tm),
                corrected: s(*tc),
            })
            .collect::<Vec<_>>()
    };
    let cases: [(&[(f64, f64)], &str); 4] = [
        (
            &[(10.0, 15.0)],
            "a reciprocity table needs at least 2 rows, found 1",
        ),
        (
            &[(10.0, 15.0), (5.0, 20.0)],
            "row 2 of the reciprocity table: both times must be longer than in the row before",
        ),
        (
            &[(10.0, 15.0), (12.0, 14.0)],
            "row 2 of the reciprocity table: both times must be longer than in the row before",
        ),
        (
            &[(10.0, 15.0), (100.0, 90.0)],
            "row 2 of the reciprocity table: the corrected time of 90 s is shorter than the metered 100 s",
        ),
    ];
    for (pairs, message) in cases {
        let refused = ReciprocityLaw::table(rows(pairs), "test").unwrap_err();
        assert_eq!(refused.to_string(), message);
    }
}

#[test]
fn laws_are_read_from_text() {
    let law = |text| reciprocity_law_from_text(text).unwrap();
    assert_eq!(
        law("power:1.43").description(),
        "Tc = 1 s x (Tm / 1 s)^1.43 above 1 s; source: as given: power:1.43"
    );
    assert_eq!(
        *law(" power: 1.43, 0.5").form(),
        ReciprocityForm::ThresholdPower {
            exponent: 1.43,
            threshold: s(0.5)
        }
    );
    assert_eq!(
        *law("additive:0.101,1.62").form(),
        ReciprocityForm::Additive {
            coefficient: 0.101,
            exponent: 1.62
        }
    );
    assert_eq!(
        *law("schwarzschild:0.86").form(),
        ReciprocityForm::Schwarzschild {
            exponent: 0.86,
            threshold: s(1.0)
        }
    );
    assert_eq!(
        *law("fit:0.72538,1.06559").form(),
        ReciprocityForm::FittedPower {
            coefficient: 0.725_38,
            exponent: 1.065_59
        }
    );
    assert_eq!(
        law("points:10/15, 100/200").description(),
        "table of 2 rows, linear in log time; holds for metered times of 10 s to 100 s; source: as given: points:10/15, 100/200"
    );
    assert!(
        law("modified-schwarzschild:0.8")
            .description()
            .starts_with("modified Schwarzschild p 0.8: Tc x (Tc + 1)^(0.8 - 1) = Tm")
    );
}

#[test]
fn texts_that_are_no_law_are_refused_with_the_place() {
    let cases = [
        (
            "1.31",
            "'1.31' is no reciprocity law; expected power:P[,T0], additive:A,EXPONENT, schwarzschild:P[,T0], modified-schwarzschild:P, fit:C,P, catenary:A,T0, cosh:A,T0 or points:TM/TC,TM/TC",
        ),
        (
            "additive:0.1",
            "'additive:0.1' has 1 number; expected 2, as in additive:A,EXPONENT",
        ),
        (
            "power:1.3,1,2",
            "'power:1.3,1,2' has 3 numbers; expected 1 or 2, as in power:P[,T0]",
        ),
        ("power:", "'' in 'power:' is no number"),
        ("power:1,31x", "'31x' in 'power:1,31x' is no number"),
        ("power:0.7", "'power:0.7' cannot be a reciprocity law"),
        ("power:1.3,-1", "'power:1.3,-1' cannot be a reciprocity law"),
        (
            "points:10:15,100/200",
            "'10:15' in 'points:10:15,100/200' is no row; expected TM/TC in seconds, such as 10/15",
        ),
        ("points:10/a", "'a' in 'points:10/a' is no number"),
    ];
    for (text, message) in cases {
        let refused = reciprocity_law_from_text(text).unwrap_err();
        assert_eq!(refused.to_string(), message);
    }
    let refused = reciprocity_law_from_text("power:0.7").unwrap_err();
    assert_eq!(
        std::error::Error::source(&refused).unwrap().to_string(),
        "exponent of the reciprocity law must be 1 or more, found 0.7"
    );
    assert!(reciprocity_law_from_text("power:inf").is_err());
    assert!(reciprocity_law_from_text("power:nan").is_err());
}

#[test]
fn a_time_outside_the_law_stops_the_chain_unless_extrapolation_is_asked_for() {
    // f/16, EI 100, EV 0: 256 s, beyond a table that ends at 100 s.
    let mut asked = request(0.0, 100.0, 16.0);
    asked.reciprocity = Some(table(&[(10.0, 15.0), (100.0, 200.0)]));
    let refused = exposure_answer(&asked).unwrap_err();
    assert!(matches!(refused, ChainError::Reciprocity(_)), "{refused}");
    asked.outside_law = OutsideLaw::Extrapolate;
    let answer = exposure_answer(&asked).unwrap();
    assert!(answer.flags.contains(Flag::Extrapolated));
    let step = answer.steps.last().unwrap();
    assert_eq!(
        step.assumption.as_deref(),
        Some("the law is carried on outside the range in which it holds")
    );
}

#[test]
fn a_mark_that_the_law_refuses_leaves_the_time_standing() {
    // f/16, EI 100, EV lg2(25.6): 10 s, the first row: 15 s. The only mark, 8 s, would be
    // worth less than the table's first row: what it leaves over on the film is not known.
    let mut asked = request(25.6_f64.log2(), 100.0, 16.0);
    asked.reciprocity = Some(table(&[(10.0, 15.0), (100.0, 200.0)]));
    asked.available = Some(AvailableMarks {
        times: vec![ShutterMark::literal(s(8.0))],
        time_reading: MarkReading::Literal,
        apertures: aperture_marks(StepSize::Full),
        aperture_reading: MarkReading::Exact,
    });
    let answer = exposure_answer(&asked).unwrap();
    near("time", answer.time_corrected.to_s(), 15.0, 1e-9);
    let shutter = answer.shutter.unwrap();
    assert_eq!(shutter.residual, None);
    // Hand calculation: lg2(8/15) = -0.9069.
    near(
        "of time",
        shutter.residual_of_time.to_stops(),
        -0.9069,
        5e-5,
    );
    assert!(answer.aperture_at_shutter.is_none());
    let step = answer.steps.last().unwrap();
    assert_eq!(step.kind, StepKind::ShutterMark);
    assert!(
        step.assumption
            .as_ref()
            .unwrap()
            .contains("outside the range")
    );
}

#[test]
fn missing_facts_are_flagged_and_the_rest_is_answered() {
    let frame = FrameExposure {
        ev100: None,
        aperture: f(16.0),
        time: s(8.0),
        bellows: None,
        reciprocity: None,
        outside_law: OutsideLaw::Refuse,
        constant: ReflectedConstant::K_12_5,
        lens: LensFactor::Q_0_65,
    };
    let film = film_exposure(&frame).unwrap();
    assert!(film.flags.contains(Flag::NoReading));
    assert!(film.flags.contains(Flag::NoReciprocityLaw));
    assert!(film.mid_tone.is_none());
    // Hand calculation: 8 s / 256 = 1/32 s, log10 = −1.505 150.
    near("camera", film.camera.to_log10(), -1.505_150, 5e-7);
    assert!(
        film.exposure_index(frame.constant, frame.lens)
            .unwrap()
            .is_none()
    );
    // At 1 s nothing is missing: the sheets start above it.
    let short = film_exposure(&FrameExposure {
        time: s(1.0),
        ..frame
    })
    .unwrap();
    assert!(!short.flags.contains(Flag::NoReciprocityLaw));
}

#[test]
fn every_step_names_what_it_used() {
    // 81 920 lux with C 250 is EV 15; f/22 read exactly; factor 8; no bellows, no law.
    let mut asked = request(0.0, 100.0, 16.0);
    asked.reading = LightReading::Illuminance {
        illuminance: Illuminance::from_lux(81_920.0).unwrap(),
        constant: IncidentConstant::FLAT_250,
    };
    asked.aperture = exposure::ApertureSetting::Mark {
        mark: aperture_marks(StepSize::Full)[9],
        reading: MarkReading::Exact,
    };
    asked.filters = vec![crate::common::factor(8.0)];
    let answer = exposure_answer(&asked).unwrap();
    let told: Vec<_> = answer
        .steps
        .iter()
        .map(|step| {
            (
                step.kind.name(),
                step.detail.as_str(),
                step.assumption.as_deref(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            (
                "meter",
                "81920 lux with C = 250: EV 15.00 at ISO 100, EI 100, f/22.6",
                Some(
                    "f/22 computed as f/22.6: the mark is read as the exact power of two it stands for"
                )
            ),
            (
                "filter",
                "factor 8 (3 stops to the nearest third)",
                Some("the light was read without the filter")
            ),
            (
                "bellows",
                "no bellows extension",
                Some("the subject is far away")
            ),
            (
                "reciprocity",
                "no reciprocity law given",
                Some("the film loses no speed at this time")
            ),
        ]
    );
    // Hand calculation: 512·100/(32768·100)·8 = 1/8 s.
    near("time", answer.time_corrected.to_s(), 0.125, 1e-9);
}
