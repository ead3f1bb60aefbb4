//! Short ways to make quantities and laws in tests.

use exposure::{
    ApertureSetting, Bellows, ExposureRequest, LightReading, OutsideLaw, ReciprocityLaw,
    ReciprocityRow,
};
use quantity::{
    Ev100, ExposureIndex, FNumber, FilterFactor, Magnification, Millimetres, PupilRatio, Seconds,
};

pub(crate) fn s(value: f64) -> Seconds {
    Seconds::from_s(value).unwrap()
}

pub(crate) fn mm(value: f64) -> Millimetres {
    Millimetres::from_mm(value).unwrap()
}

pub(crate) fn f(value: f64) -> FNumber {
    FNumber::from_ratio(value).unwrap()
}

pub(crate) fn ei(value: f64) -> ExposureIndex {
    ExposureIndex::from_arithmetic(value).unwrap()
}

pub(crate) fn ev(value: f64) -> Ev100 {
    Ev100::from_ev(value).unwrap()
}

pub(crate) fn factor(value: f64) -> FilterFactor {
    FilterFactor::from_ratio(value).unwrap()
}

pub(crate) fn bellows(m: f64, p: f64) -> Bellows {
    Bellows::from_magnification(
        Magnification::from_ratio(m).unwrap(),
        PupilRatio::from_ratio(p).unwrap(),
    )
}

pub(crate) fn draw(draw_mm: f64, focal_mm: f64) -> Bellows {
    Bellows::from_draw(
        mm(draw_mm),
        mm(focal_mm),
        PupilRatio::from_ratio(1.0).unwrap(),
    )
    .unwrap()
}

/// Tc = Tm^P above 1 s.
pub(crate) fn power(exponent: f64) -> ReciprocityLaw {
    ReciprocityLaw::threshold_power(exponent, s(1.0), "test").unwrap()
}

pub(crate) fn additive(a: f64, b: f64) -> ReciprocityLaw {
    ReciprocityLaw::additive(a, b, "test").unwrap()
}

pub(crate) fn table(rows: &[(f64, f64)]) -> ReciprocityLaw {
    let rows = rows
        .iter()
        .map(|(tm, tc)| ReciprocityRow {
            metered: s(*tm),
            corrected: s(*tc),
        })
        .collect();
    ReciprocityLaw::table(rows, "test").unwrap()
}

/// A request without filter, bellows, law or marks.
pub(crate) fn request(ev100: f64, ei_set: f64, n: f64) -> ExposureRequest {
    ExposureRequest {
        reading: LightReading::Ev100(ev(ev100)),
        ei: ei(ei_set),
        aperture: ApertureSetting::Exact(f(n)),
        filters: Vec::new(),
        bellows: None,
        reciprocity: None,
        outside_law: OutsideLaw::Refuse,
        available: None,
    }
}

/// Fails unless the value is within `tolerance` of the expected one.
#[track_caller]
pub(crate) fn near(what: &str, ours: f64, expected: f64, tolerance: f64) {
    assert!(
        (ours - expected).abs() <= tolerance,
        "{what}: expected {expected}, found {ours}, tolerance {tolerance}"
    );
}
