//! A plan's promise against what the estimate then achieves, and what is refused.

#![expect(
    clippy::unwrap_used,
    clippy::print_stdout,
    reason = "a failed step is a failed test; the measured numbers are printed for the proof"
)]

use findings::{
    Assumptions, FactorPrior, FilterAsked, PlanAnswer, PlanError, PlanRequest, TestPlan,
    VerdictCriteria, evaluate, factor_prior, hand_bracket, plan_filters, plan_test,
};
use quantity::{Ev100, ExposureIndex, FNumber, Nanometres, Seconds, Stops};
use record::{Edge, EdgeLevel, Film, Filter, FrameRole, Id, Light, Process, Sky, Test};
use spectra::FilmClass;
use testkit::{FrameTruth, expose_frames};

fn id(text: &str) -> Id {
    Id::new(text).unwrap()
}

fn filter(name: &str, nm: f64) -> Filter {
    Filter {
        id: id(name),
        name: name.to_owned(),
        marking: None,
        edge: Some(Edge {
            wavelength: Nanometres::from_nm(nm).unwrap(),
            level: EdgeLevel::HalfTransmittance,
        }),
        stated_factor: None,
    }
}

fn request(sheets: usize) -> PlanRequest {
    let box_speed = ExposureIndex::from_arithmetic(400.0).unwrap();
    PlanRequest {
        film: Film {
            id: id("film"),
            name: "invented film".into(),
            format: None,
            box_speed: Some(box_speed),
            batch: None,
            expiry: None,
            reciprocity: None,
        },
        box_speed,
        filter: filter("filter", 715.0),
        red: Some((filter("red", 600.0), Stops::new(2.5).unwrap())),
        light: Light {
            id: id("light"),
            sky: Sky::ClearSun,
            place: None,
            time: None,
            meter: None,
            reading: None,
            drift: None,
            remarks: None,
        },
        ev100: Ev100::from_ev(15.0).unwrap(),
        process: Process {
            id: id("process"),
            developer: "invented".into(),
            dilution: None,
            time: None,
            temperature: None,
            agitation: None,
            remarks: None,
        },
        prior: factor_prior(
            FilmClass::ExtendedRed,
            715.0,
            EdgeLevel::HalfTransmittance,
            Sky::ClearSun,
        )
        .unwrap(),
        sheets,
        sides: (1..=sheets).map(|s| format!("side {s}")).collect(),
        apertures: std::iter::once(16.0)
            .chain([5.6, 8.0, 11.0, 22.0, 32.0, 45.0])
            .map(|n| FNumber::from_ratio(n).unwrap())
            .collect(),
        longest: Seconds::from_s(60.0).unwrap(),
        shortest: Seconds::from_s(1.0 / 500.0).unwrap(),
        law: None,
        measured_shutter: false,
        tablet: None,
    }
}

fn planned(request: &PlanRequest) -> TestPlan {
    match plan_test(request, &Assumptions::COMMON_PRACTICE).unwrap() {
        PlanAnswer::Planned(plan) => *plan,
        PlanAnswer::NoImage => panic!("an image is expected"),
    }
}

fn roles(plan: &TestPlan, role: FrameRole) -> usize {
    plan.frames.iter().filter(|f| f.frame.role == role).count()
}

/// Mean half-width of the intervals, their number, and how many hold the truth.
fn achieved(plan: &TestPlan, tests: u64) -> (f64, usize, usize) {
    let FactorPrior::Expected {
        mean_stops,
        sd_stops,
    } = request(8).prior
    else {
        panic!("an image is expected");
    };
    let (mut sum, mut count, mut held) = (0.0, 0, 0);
    for draw in 0..tests {
        // Even over the prior's probability.
        let share = (draw as f64 + 0.5) / tests as f64;
        let factor_stops = mean_stops + sd_stops * normal_quantile(share);
        let truth = FrameTruth {
            other_stops: 2.5,
            marked: 0.30,
            aperture: 0.08,
            frame: 0.12,
            light: 0.10,
            card: 0.10,
            box_speed: 0.5,
            gradient: 0.06,
            base: 0.006,
            reading: 0.01,
            lost_per_decade: (0.6, 0.6),
        };
        let parts = expose_frames(
            plan.as_if_exposed.clone(),
            &[(id("filter"), factor_stops)],
            &truth,
            draw,
        );
        let readings = parts.readings.clone();
        let test = Test::assemble(parts).unwrap();
        let Ok(found) = evaluate(
            &test,
            &readings,
            &Assumptions::COMMON_PRACTICE,
            &VerdictCriteria::COMMON_PRACTICE,
        ) else {
            continue;
        };
        let Some(factor) = found
            .factors
            .iter()
            .find(|f| f.filters == [id("filter")] && f.bound.is_none())
        else {
            continue;
        };
        let (low, high) = (factor.stops.low.to_stops(), factor.stops.high.to_stops());
        sum += 0.5 * (high - low);
        count += 1;
        held += usize::from((low..=high).contains(&factor_stops));
    }
    (sum / count.max(1) as f64, count, held)
}

/// By halving: slow and plain, and no code of the room's.
fn normal_quantile(share: f64) -> f64 {
    let (mut low, mut high) = (-8.0, 8.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if 0.5 * libm::erfc(-middle / std::f64::consts::SQRT_2) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

fn promise_and_hand(tests: u64) {
    let plan = planned(&request(8));
    let hand = match hand_bracket(&request(8), &Assumptions::COMMON_PRACTICE).unwrap() {
        PlanAnswer::Planned(plan) => *plan,
        PlanAnswer::NoImage => panic!("an image is expected"),
    };
    let (width, count, held) = achieved(&plan, tests);
    let (by_hand, hand_count, _) = achieved(&hand, tests);
    let promised = plan.expected.half_width_stops;
    println!(
        "{tests} tests: promised ± {promised:.3}, achieved ± {width:.3} ({count} intervals, {held} hold); by hand ± {by_hand:.3} ({hand_count} intervals)"
    );
    assert!((width / promised - 1.0).abs() < 0.15);
    assert!(width < by_hand);
    assert!(held as f64 >= 0.85 * count as f64);
}

#[test]
fn the_promise_is_kept_and_beats_a_bracket_by_hand() {
    // Over 500 truths: `cargo run --release -p xtask -- prove-plan`.
    promise_and_hand(60);
}

#[test]
fn eight_sheets_hold_anchor_controls_and_a_bracket_about_the_expected_ei() {
    let plan = planned(&request(8));
    assert_eq!(plan.frames.len(), 8);
    assert!(roles(&plan, FrameRole::Anchor) >= 1);
    assert_eq!(roles(&plan, FrameRole::RedControl), 1);
    assert_eq!(roles(&plan, FrameRole::Unexposed), 1);
    assert!(roles(&plan, FrameRole::Bracket) >= 3);
    assert!(plan.expected.chance_of_interval > 0.95);
}

#[test]
fn what_cannot_be_planned_is_refused() {
    let common = Assumptions::COMMON_PRACTICE;
    assert_eq!(
        plan_test(&request(0), &common),
        Err(PlanError::TooFewSheets { sheets: 0 })
    );
    let sides = PlanRequest {
        sides: vec!["1A".into()],
        ..request(4)
    };
    assert_eq!(
        plan_test(&sides, &common),
        Err(PlanError::TooFewSides {
            sheets: 4,
            sides: 1
        })
    );
    let short = PlanRequest {
        longest: Seconds::from_s(0.001).unwrap(),
        ..request(4)
    };
    let error = plan_test(&short, &common).unwrap_err();
    assert!(matches!(error, PlanError::TooLong { .. }), "{error}");
    let none = PlanRequest {
        prior: FactorPrior::NoImage,
        ..request(4)
    };
    assert_eq!(plan_test(&none, &common), Ok(PlanAnswer::NoImage));
}

#[test]
fn two_sheets_are_an_anchor_and_one_behind_the_filter() {
    let plan = planned(&request(2));
    assert_eq!(roles(&plan, FrameRole::Anchor), 1);
    assert_eq!(roles(&plan, FrameRole::Bracket), 1);
}

fn asked(name: &str, nm: f64) -> FilterAsked {
    let common = EdgeLevel::HalfTransmittance;
    FilterAsked {
        filter: filter(name, nm),
        prior: factor_prior(FilmClass::ExtendedRed, nm, common, Sky::ClearSun).unwrap(),
    }
}

#[test]
fn one_filter_among_several_is_planned_as_it_is_alone() {
    let common = Assumptions::COMMON_PRACTICE;
    let alone = planned(&request(8));
    let shared = plan_filters(&request(8), &[asked("filter", 715.0)], &common).unwrap();
    // Moves of steps may only narrow it further.
    let half = shared.filters[0].expected.half_width_stops;
    assert!(half <= alone.expected.half_width_stops + 1e-9);
    assert_eq!(shared.frames.len(), 8);
}

#[test]
fn filters_share_anchors_and_more_sheets_narrow_the_mean() {
    let common = Assumptions::COMMON_PRACTICE;
    let filters = [
        asked("shallow", 695.0),
        asked("deep", 715.0),
        asked("blank", 850.0),
    ];
    let mean = |sheets| {
        let plan = plan_filters(&request(sheets), &filters, &common).unwrap();
        assert_eq!(plan.no_image, [2]);
        assert_eq!(plan.frames.len(), sheets);
        assert!(plan.filters.iter().all(|f| f.frames >= 1));
        let sum: f64 = plan
            .filters
            .iter()
            .map(|f| f.expected.half_width_stops)
            .sum();
        sum / 2.0
    };
    let (few, many) = (mean(5), mean(12));
    println!("mean of two filters: five sheets ± {few:.3}, twelve ± {many:.3}");
    assert!(many < few);
    // Two sheets serve one filter, not two.
    let error = plan_filters(&request(2), &filters, &common).unwrap_err();
    assert_eq!(
        error,
        PlanError::TooFewForFilters {
            sheets: 2,
            filters: 2,
            leave: vec!["deep".into()]
        }
    );
    // With controls by rule, five filters leave no room for them in six sheets.
    let five: Vec<FilterAsked> = [650.0, 665.0, 680.0, 695.0, 715.0]
        .iter()
        .map(|nm| asked(&format!("f{nm}"), *nm))
        .collect();
    let tight = plan_filters(&request(6), &five, &common).unwrap();
    assert!(tight.filters.iter().all(|f| f.frames == 1));
}

/// Common practice: from ten sheets on the frame at the expected EI is made once more.
#[test]
fn ten_sheets_hold_a_repeat_set_as_its_first_and_exposed_after_the_bracket() {
    let plan = planned(&request(10));
    assert_eq!(roles(&plan, FrameRole::Repeat), 1);
    let at = |role: FrameRole| plan.frames.iter().position(|f| f.frame.role == role);
    let repeat = at(FrameRole::Repeat).unwrap();
    let first = plan
        .frames
        .iter()
        .position(|f| f.frame.id == id("filtered-1"))
        .unwrap();
    assert_eq!(
        plan.frames[repeat].frame.exposure,
        plan.frames[first].frame.exposure
    );
    assert_eq!(
        plan.frames[repeat].frame.filters,
        plan.frames[first].frame.filters
    );
    let last = (plan.frames.iter())
        .rposition(|f| f.frame.role == FrameRole::Bracket)
        .unwrap();
    assert!(repeat > last);
}

/// With sheets to spare anchors grow with the bracket (common practice: as many anchors
/// as filtered frames leave the least error), and the bracket stays where an image is.
#[test]
fn many_sheets_go_to_anchors_and_not_to_a_bracket_without_end() {
    let plan = planned(&request(24));
    assert!(roles(&plan, FrameRole::Anchor) >= 4);
    let eis: Vec<f64> = (plan.frames.iter())
        .filter(|f| f.frame.role == FrameRole::Bracket)
        .filter_map(|f| match &f.frame.exposure {
            record::PlannedExposure::Camera(camera) => Some(camera.ei.to_arithmetic().log2()),
            _ => None,
        })
        .collect();
    let most = eis.iter().copied().fold(f64::MIN, f64::max);
    let least = eis.iter().copied().fold(f64::MAX, f64::min);
    // Three standard deviations of 1.5 stops and a stop to either side.
    assert!(most - least <= 11.0, "{eis:?}");
}

/// A shutter that ends at 1/125 s: no frame is planned shorter, the lens is stopped down.
#[test]
fn no_time_is_shorter_than_the_shutter_has() {
    let shortest = Seconds::from_s(1.0 / 125.0).unwrap();
    let slow = PlanRequest {
        shortest,
        ..request(8)
    };
    for planned in planned(&slow).frames {
        if let record::PlannedExposure::Camera(camera) = planned.frame.exposure {
            assert!(camera.time.marked.to_s() >= 0.99 / 125.0);
        }
    }
    let none = PlanRequest {
        shortest: Seconds::from_s(0.5).unwrap(),
        ..request(8)
    };
    let error = plan_test(&none, &Assumptions::COMMON_PRACTICE).unwrap_err();
    assert!(matches!(error, PlanError::TooShort { .. }), "{error}");
}

/// In dim light the times behind the filter pass a second; the plan then has an anchor
/// and a filtered frame of the same time, and says so.
#[test]
fn where_reciprocity_matters_an_equal_time_pair_is_chosen() {
    let dim = PlanRequest {
        ev100: Ev100::from_ev(11.0).unwrap(),
        ..request(8)
    };
    let plan = planned(&dim);
    let time = plan.timing.equal_time_pair_s().unwrap();
    let paired: Vec<_> = (plan.frames.iter())
        .filter(|f| {
            f.frame
                .why
                .as_ref()
                .is_some_and(|w| w.contains("equal-time pair"))
        })
        .collect();
    assert_eq!(paired.len(), 2);
    assert_ne!(
        paired[0].frame.filters.is_empty(),
        paired[1].frame.filters.is_empty()
    );
    for planned in paired {
        let record::PlannedExposure::Camera(camera) = &planned.frame.exposure else {
            panic!("a pair is exposed in a camera");
        };
        assert!((camera.time.marked.to_s() - time).abs() < 1e-12);
    }
    // More sheets never promise less; a control among them moves the third digit.
    let widths: Vec<f64> = [3, 4, 6, 8, 12]
        .map(|sheets| {
            planned(&PlanRequest {
                ev100: dim.ev100,
                ..request(sheets)
            })
            .expected
            .half_width_stops
        })
        .to_vec();
    assert!(
        widths.windows(2).all(|w| w[1] <= w[0] + 0.005),
        "{widths:?}"
    );
}
