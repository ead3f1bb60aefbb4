//! Classes of film against what is commonly found with filters.
//!
//! Every number is common practice: general ranges, no film's data sheet.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use quantity::Nanometres;
use spectra::{
    ClassModel, Curve, CurveKind, Ends, Expected, FilmClass, GridChoice, Interpolation, LongPass,
    Predicting, Prediction, VerdictLimits, prediction,
};

/// Power of a black body by Planck's law, relative.
fn black_body(kelvin: f64) -> Curve {
    let values: Vec<(f64, f64)> = (36..=100)
        .map(|i| f64::from(i) * 10.0)
        // c₂ = 1.4388e7 nm K.
        .map(|nm| {
            (
                nm,
                1e17 / nm.powi(5) / ((1.438_8e7 / (nm * kelvin)).exp() - 1.0),
            )
        })
        .collect();
    Curve::from_values(CurveKind::RelativePower, "Planck's law", &values).unwrap()
}

/// Daylight as a black body of 5500 K: near enough for general ranges.
fn daylight() -> Curve {
    black_body(5500.0)
}

fn behind(film: &Curve, edge: &str, light: &Curve) -> Prediction {
    let filter = LongPass::from_text(edge, 0.9, 6.0).unwrap();
    let filter = filter.curve(300.0, 1200.0).unwrap();
    let of = Predicting {
        film,
        filter: &filter,
        light,
        interpolation: Interpolation::Linear,
        grid: GridChoice::Union,
        ends: Ends::LeftOut,
    };
    prediction(&of, VerdictLimits::COMMON_PRACTICE).unwrap()
}

fn class(of: FilmClass) -> Curve {
    of.model().curve(of.word()).unwrap()
}

fn stops(of: FilmClass, edge: &str) -> f64 {
    let p = behind(&class(of), edge, &daylight());
    p.stops().unwrap().to_stops()
}

#[test]
fn filters_cost_what_is_commonly_found() {
    // Common practice: a near-infrared film behind a 715-class filter needs about
    // 4 stops, an extended-red one 8 to 9; a No. 25 (edge near 600 nm) costs a
    // panchromatic film about 3. ±0.7 stop: "about".
    for (of, edge, found) in [
        (FilmClass::NearInfrared, "715:50%", 4.0),
        (FilmClass::ExtendedRed, "715:50%", 8.5),
        (FilmClass::OrdinaryPanchromatic, "600:50%", 3.0),
    ] {
        let ours = stops(of, edge);
        assert!((ours - found).abs() < 0.7, "{of:?} {edge}: {ours}");
    }
}

#[test]
fn from_a_715_to_a_740_filter_costs_an_extended_red_film_stops() {
    // Common practice: it costs such a film stops, a near-infrared film hardly any.
    let step = |of| stops(of, "740:50%") - stops(of, "715:50%");
    let (extended, near) = (step(FilmClass::ExtendedRed), step(FilmClass::NearInfrared));
    assert!(extended > 2.0, "{extended}");
    assert!(near < 1.0, "{near}");
}

#[test]
fn the_lamp_decides_the_factor() {
    // Source: maker's data sheet F-4016, page 5: a No. 25 is 8 in daylight and 4
    // under a 3200 K lamp, one stop less.
    let film = class(FilmClass::OrdinaryPanchromatic);
    let under = |light: &Curve| behind(&film, "600:50%", light).stops().unwrap().to_stops();
    let less = under(&daylight()) - under(&black_body(3200.0));
    // Half a stop either way: the sheet's factors are rounded, its films are not this one.
    assert!((0.5..1.5).contains(&less), "{less}");
}

#[test]
fn what_films_can_see_at_all() {
    // Common practice (a survey of aerial films): one to about 670 nm, one to 720,
    // one to 760. A filter with half of its peak at 760 nm blanks the first two and
    // leaves the third a trace at most, more or less; one at 850 blanks all. "To about"
    // is read as half-sensitivity there.
    let light = daylight();
    let film = |edge_nm: f64| {
        let model = FilmClass::ExtendedRed.model();
        let edge = Nanometres::from_nm(edge_nm).unwrap();
        ClassModel { edge, ..model }.curve("aerial").unwrap()
    };
    let verdict = |reach, edge: &str| behind(&film(reach), edge, &light).verdict;
    assert_eq!(verdict(670.0, "760:half-peak"), Expected::NoImage);
    assert_eq!(verdict(720.0, "760:half-peak"), Expected::NoImage);
    assert_ne!(verdict(760.0, "760:half-peak"), Expected::NoImage);
    for reach in [670.0, 720.0, 760.0] {
        assert_eq!(verdict(reach, "850:half-peak"), Expected::NoImage);
    }
}

#[test]
fn fifteen_nanometres_of_edge_are_stops_where_the_film_falls_a_decade_in_twenty() {
    // Hand calculation: 15 nm × (1 decade / 20 nm) = 0.75 log = 2.5 stops; the
    // edge of width 8.69 nm falls a decade in 20 nm. Far beyond the film's own edge,
    // so that its tail is straight.
    let model = ClassModel {
        edge: Nanometres::from_nm(650.0).unwrap(),
        width_nm: 20.0 / core::f64::consts::LN_10,
        tilt_per_100_nm: 0.0,
        ..FilmClass::ExtendedRed.model()
    };
    let film = model.curve("a decade in 20 nm").unwrap();
    let light = Curve::from_values(
        CurveKind::RelativePower,
        "equal energy",
        &[(400.0, 1.0), (1000.0, 1.0)],
    )
    .unwrap();
    let at = |edge| behind(&film, edge, &light);
    let more = at("735:half-peak").stops().unwrap() - at("720:half-peak").stops().unwrap();
    // 0.05: the filter's own tail lets in some of the film's plateau, of the order
    // exp(−70 (1/6 − 1/8.69)) = 2.7 %, which is 0.04 stop.
    assert!((more.to_stops() - 2.491).abs() < 0.05, "{more:?}");
    let slope = at("728:half-peak").stops_per_nm.unwrap();
    assert!((slope - 2.491 / 15.0).abs() < 0.004, "{slope}");
}
