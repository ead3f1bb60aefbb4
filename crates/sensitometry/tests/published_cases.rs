//! Numbers that people published, and what a right tool says of them.
//!
//! Each test names the title of the page its numbers are from.

#![expect(
    clippy::unwrap_used,
    reason = "a test that cannot build its input must fail"
)]

mod common;

use common::{bisect, closed_form, reading, readings_21};
use quantity::{Density, Flag, LogExposure, Measured, NetDensity};
use sensitometry::{
    ContrastCondition, CurveFitSettings, Missing, PaperGrade, PaperGradeAdvice, StepTablet,
    TabletProvenance, arithmetic_speed, fit_characteristic_curve, paper_grade_for_diffuser,
    speed_and_contrast,
};

/// One stop in log10 H.
const STOP: f64 = core::f64::consts::LOG10_2;

fn zone_densities() -> sensitometry::CharacteristicCurve {
    // Source: "Table 51: Zone descriptions, textural properties, film densities"; zones 0 to X.
    let zones = [
        0.02, 0.11, 0.21, 0.34, 0.48, 0.62, 0.76, 0.97, 1.18, 1.33, 1.44,
    ];
    let readings: Vec<_> = zones
        .iter()
        .zip(0_u32..)
        .map(|(&d, zone)| reading(STOP * f64::from(zone), d, 0.0, Some(zone)))
        .collect();
    // The page does not say net or gross; 0.02 in zone 0 says net, so base+fog is zero by assumption.
    let net = Measured::new(Density::gross(0.0).unwrap(), 0.0);
    let settings = CurveFitSettings::relative().with_base_plus_fog(net);
    fit_characteristic_curve(&readings, &settings).unwrap()
}

#[test]
fn a_jump_in_zone_densities_is_flagged() {
    // Slope per stop over .301: .30 .33 .43 .47 .47 .47 .70 .70 .50 .37. The jump at VI to VIII is
    // no toe, straight line and shoulder.
    let curve = zone_densities();
    let flagged: Vec<u32> = curve
        .readings()
        .iter()
        .filter(|r| r.flags.contains(Flag::NoFilmCurve))
        .filter_map(|r| r.reading.step)
        .collect();
    assert_eq!(flagged, [6, 7, 8]);
    assert!(curve.readings()[6].weight < 0.5);
}

#[test]
fn zone_densities_give_the_hand_calculation() {
    let ours = speed_and_contrast(&zone_densities());
    // Hand calculation, linear between points: 0.10 at zone 0.89; ΔD 0.549 (0.42 over 1.30).
    let zone = ours.speed_point.unwrap().value().to_log10() / STOP;
    // 0.1 zone: a curve through .02 .11 .21 bends between points that the hand joins by lines.
    assert!((zone - 0.89).abs() < 0.1, "0.10 at zone {zone}");
    let delta_d = ours.density_difference.unwrap();
    // 0.02: two readings of 0.01, and the flagged readings beside it.
    assert!(
        (delta_d.value().to_density() - 0.549).abs() < 0.02,
        "{delta_d:?}"
    );
    assert_eq!(ours.contrast_condition.unwrap(), ContrastCondition::Fails);
    // ΔX of ΔD 0.549 is 0.430, so the fractional gradient speed is 0.45 stop higher.
    let dx = ours.delta_x.unwrap();
    assert!((dx.delta_x.value() - 0.430).abs() < 0.012, "{dx:?}");
    assert_eq!(dx.speed.unwrap_err(), Missing::RelativeExposure);
    assert_eq!(ours.film_speed.unwrap_err(), Missing::RelativeExposure);
    assert!(ours.flags.contains(Flag::RelativeExposure));
}

#[test]
fn two_speed_points_behind_one_tablet_are_two_thirds_of_a_stop_apart() {
    // Source: "Quantifying exposure", page 2: 2.048 lx s on the tablet; speed point expected behind
    // density 2.50 (0.0065), read behind 2.70 (0.0041).
    let rows = [(1.5, 0.01), (2.5, 0.01), (2.7, 0.01)];
    let tablet = StepTablet::from_rows(None, TabletProvenance::Certified, &rows).unwrap();
    let open = LogExposure::from_lux_seconds(2.048).unwrap();
    // Hand calculation: 2.048/10^2.5 = 0.006476 and 0.8 over it 123.5; 0.004086 and 195.8.
    for (step, h, s) in [
        (1, 0.064_76, 12.35),
        (2, 0.006_476, 123.5),
        (3, 0.004_086, 195.8),
    ] {
        let behind = tablet.exposure_behind(step, open).unwrap().value();
        assert!(
            (behind.to_lux_seconds() / h - 1.0).abs() < 1e-3,
            "step {step}"
        );
        let speed = arithmetic_speed(behind).unwrap().to_arithmetic();
        assert!((speed / s - 1.0).abs() < 1e-3, "step {step}: {speed}");
    }
}

#[test]
fn four_densities_of_zone_one_give_an_ei_with_its_width() {
    // Source: "Choosing test sequences": net densities of Zone I at EI 1000, 1250, 2000, 2500.
    // Zone I is four stops under, so the working EI is the tested one over 16.
    let rows: [(f64, f64); 4] = [
        (1000.0, 0.17),
        (1250.0, 0.13),
        (2000.0, 0.07),
        (2500.0, 0.04),
    ];
    let readings: Vec<_> = rows
        .iter()
        .map(|&(ei, d)| reading(-(ei / 16.0).log10(), d, 0.01, None))
        .collect();
    let net = Measured::new(Density::gross(0.0).unwrap(), 0.0);
    let settings = CurveFitSettings::relative().with_base_plus_fog(net);
    let curve = fit_characteristic_curve(&readings, &settings).unwrap();
    let at = curve.log_h_at(Density::gross(0.10).unwrap()).unwrap();
    let stops_from_100 = (2.0 + at.value().to_log10()) / STOP;
    // Hand calculation between two points: 98.8, that is 0.02 stop. 0.1 stop: what 0.01 of density is
    // at a slope of 0.089 per stop.
    assert!(
        stops_from_100.abs() < 0.1,
        "{stops_from_100} stops from EI 100"
    );
    // "About a third of a stop total width" at 90 % with all four readings: half of it 0.06 to 0.2.
    let half_width = 1.645 * at.standard_uncertainty() / STOP;
    assert!((0.06..0.2).contains(&half_width), "{half_width}");
}

/// A curve of toe 0.18 whose ΔD over 1.30 is `delta_d`.
fn developed_to(delta_d: f64) -> sensitometry::CharacteristicCurve {
    let difference = |g: f64| {
        let curve = closed_form(0.25, g, -1.95, 0.18, None);
        let m = bisect(|x| curve(x) - 0.35, -3.0, 0.0);
        curve(m + 1.3) - 0.35 - delta_d
    };
    let g = bisect(difference, 0.2, 2.0);
    let curve = closed_form(0.25, g, -1.95, 0.18, None);
    let readings = readings_21(&curve, 0.65, 0.003, &mut || 0.0);
    fit_characteristic_curve(&readings, &CurveFitSettings::in_lux_seconds()).unwrap()
}

#[test]
fn the_iso_triangle_is_not_the_contrast_index() {
    // Source: a forum post on a development series and the thread "Alphabet soup": 0.80 over 1.30 is
    // 0.615 and is not the contrast index of the same curve (there .62 against .75).
    let ours = speed_and_contrast(&developed_to(0.80));
    let triangle = ours
        .average_gradient_1_30
        .unwrap()
        .value()
        .to_density_per_log_h();
    let arcs = ours
        .contrast_index_arcs
        .unwrap()
        .gradient
        .value()
        .to_density_per_log_h();
    let gamma = ours.gamma.unwrap().value().to_density_per_log_h();
    // Hand calculation: 0.80/1.30 = 0.6154.
    assert!((triangle - 0.6154).abs() < 1e-3, "{triangle}");
    assert!(
        arcs > triangle + 0.01 && gamma > arcs + 0.01,
        "{triangle} {arcs} {gamma}"
    );
    assert_eq!(ours.contrast_condition.unwrap(), ContrastCondition::Holds);
    assert!(
        !ours
            .film_speed
            .unwrap()
            .arithmetic
            .flags()
            .contains(Flag::NotIsoSpeed)
    );
}

#[test]
fn at_the_iso_condition_both_speeds_agree() {
    // Source: "Revised my film curve graphing spreadsheet", page 2: ΔD 0.80 gives ΔX 0.296 always;
    // softer development understates the 0.10 speed, harder overstates it.
    let ratio = |delta_d| {
        let ours = speed_and_contrast(&developed_to(delta_d));
        let fractional = ours.delta_x.unwrap().speed.unwrap().value().to_arithmetic();
        fractional / ours.film_speed.unwrap().arithmetic.value().to_arithmetic()
    };
    assert!((ratio(0.80) - 1.0).abs() < 1e-3);
    // Reference computation of the equation: ×1.273 at 0.60, ×0.821 at 1.00.
    assert!((ratio(0.60) - 1.273).abs() < 2e-3);
    assert!((ratio(1.00) - 0.821).abs() < 2e-3);
}

#[test]
fn negative_range_to_paper_grade() {
    // Source: "Exposure development lab": densities 1.30 and 0.20, range 1.10, grade 2 on a diffuser.
    let advice = |range: f64| paper_grade_for_diffuser(NetDensity::new(range).unwrap());
    assert_eq!(
        advice(1.30 - 0.20),
        PaperGradeAdvice::DiffuserGrade(PaperGrade::Grade2)
    );
    // Zones I to VIII of "Table 51": 1.18 - 0.11 = 1.07.
    assert_eq!(
        advice(1.07),
        PaperGradeAdvice::DiffuserGrade(PaperGrade::Grade2)
    );
    // The printed limits of the same table.
    assert_eq!(
        advice(0.50),
        PaperGradeAdvice::DiffuserGrade(PaperGrade::Grade5)
    );
    assert_eq!(
        advice(0.64),
        PaperGradeAdvice::DiffuserGrade(PaperGrade::Grade5)
    );
    assert_eq!(
        advice(1.15),
        PaperGradeAdvice::DiffuserGrade(PaperGrade::Grade1)
    );
    assert_eq!(
        advice(1.60),
        PaperGradeAdvice::DiffuserGrade(PaperGrade::Grade0)
    );
    assert_eq!(advice(1.61), PaperGradeAdvice::TooHard);
    assert_eq!(advice(0.49), PaperGradeAdvice::TooSoft);
}
