//! Factors, mean wavelengths and contrasts against a table made by another program.
//!
//! The inputs are every 10 nm from 400 to 900 nm. Lights: clear-sky model
//! SPCTRL2 (SERI/TR-215-2436), D and A being two of its conditions
//! (sun at 45° and at 10°). Films: invented. Filters: Eastman Kodak table compiled by A. C. Peed Jr. ("standard
//! samples"), deeper red than 700 nm at the last value. Leaf: PROSPECT-D, N 1.5, Cab 40.
//! The expected numbers were computed by the trapezoid rule on that grid by a
//! separate program and printed with four decimals.

#![expect(
    clippy::unwrap_used,
    reason = "functions of a test may panic on a broken fixture"
)]

use spectra::{
    Curve, CurveKind, Ends, Expected, GridChoice, Interpolation, Predicting, Prediction,
    VerdictLimits, prediction, subject_contrast,
};

/// Sunlight of a high sun, W/m² per nm.
const LIGHT_D: [f64; 51] = [
    0.77504989, 0.91574722, 0.95973428, 0.89454557, 1.05589034, 1.17140564, 1.20553291, 1.18295076,
    1.21520697, 1.14254568, 1.15432589, 1.16783618, 1.11252903, 1.14745751, 1.15124585, 1.14772574,
    1.12741093, 1.10709612, 1.08327687, 1.05945762, 1.05289977, 1.05373965, 1.04241299, 1.03108634,
    1.00554267, 0.97999901, 0.9691954, 0.96443569, 0.90879973, 0.85316378, 0.88119611, 0.90922844,
    0.78758525, 0.79823018, 0.83995645, 0.83740119, 0.67406978, 0.72730581, 0.78515878, 0.76987099,
    0.7545832, 0.68660989, 0.62646924, 0.64268222, 0.66090548, 0.66380398, 0.66670247, 0.64946415,
    0.63222584, 0.56264657, 0.4930673,
];
/// Sunlight of a low sun, W/m² per nm.
const LIGHT_A: [f64; 51] = [
    0.11814911, 0.1396914, 0.14707256, 0.13816738, 0.16482371, 0.18447919, 0.1903638, 0.18763595,
    0.19338151, 0.1821221, 0.1839553, 0.18589893, 0.17738792, 0.18161189, 0.18155347, 0.1807718,
    0.17560266, 0.17043352, 0.16673096, 0.16302839, 0.16476962, 0.16884391, 0.17180873, 0.17477355,
    0.17383999, 0.17290642, 0.17476077, 0.17613759, 0.16275969, 0.14938178, 0.16318157, 0.17698136,
    0.13453119, 0.14304314, 0.16550962, 0.16906397, 0.11710171, 0.13582727, 0.16303911, 0.15915674,
    0.15527437, 0.1326181, 0.11348951, 0.12447828, 0.1350207, 0.13862926, 0.14223782, 0.13871155,
    0.13518528, 0.11043767, 0.08569005,
];
/// Invented film that ends at 680 nm.
const PAN: [f64; 51] = [
    1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0,
    1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.31622777, 0.1, 0.03162278, 0.01, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
];
/// Invented film that ends at 900 nm.
const INFRARED: [f64; 51] = [
    1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 0.50118723, 0.50118723, 0.50118723,
    0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723,
    0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723,
    0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723,
    0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.50118723, 0.25118864,
    0.12589254, 0.06309573, 0.03162278, 0.01584893, 0.00794328,
];
/// Transmittance of a No. 25.
const NO_25: [f64; 51] = [
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.126, 0.5, 0.75, 0.826, 0.855, 0.867, 0.876, 0.882, 0.885, 0.89, 0.893, 0.895, 0.895, 0.895,
    0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895, 0.895,
    0.895, 0.895, 0.895, 0.895, 0.895,
];
/// Transmittance of a No. 70.
const NO_70: [f64; 51] = [
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0063, 0.105, 0.35, 0.552, 0.7, 0.79, 0.79, 0.79, 0.79, 0.79,
    0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79, 0.79,
];
/// Transmittance of a No. 87.
const NO_87: [f64; 51] = [
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.001, 0.0219,
    0.0795, 0.174, 0.316, 0.437, 0.538, 0.617, 0.692, 0.741, 0.777, 0.814, 0.84, 0.854, 0.868,
    0.878, 0.884,
];
/// Transmittance of a No. 89B.
const NO_89B: [f64; 51] = [
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.001, 0.0158, 0.112, 0.324, 0.576, 0.691, 0.776,
    0.831, 0.85, 0.861, 0.87, 0.877, 0.881, 0.884, 0.886, 0.888, 0.89, 0.892, 0.894, 0.896, 0.898,
    0.899, 0.9,
];
/// Reflectance of a green leaf.
const LEAF: [f64; 51] = [
    0.043118, 0.042685, 0.042077, 0.04169, 0.041406, 0.041251, 0.041634, 0.042009, 0.042268,
    0.043844, 0.05052, 0.070245, 0.110251, 0.146991, 0.154255, 0.151167, 0.141082, 0.118268,
    0.096717, 0.084815, 0.078995, 0.071224, 0.06259, 0.059465, 0.053905, 0.045496, 0.040585,
    0.036352, 0.036002, 0.050394, 0.127387, 0.225225, 0.306582, 0.368419, 0.40574, 0.422494,
    0.431892, 0.439291, 0.442315, 0.442411, 0.442543, 0.442614, 0.442589, 0.44246, 0.442328,
    0.442253, 0.442176, 0.442092, 0.441902, 0.441745, 0.44155,
];

struct Row {
    name: &'static str,
    light: &'static [f64; 51],
    film: &'static [f64; 51],
    filter: &'static [f64; 51],
    factor: f64,
    mean_nm: f64,
    leaf_stops: f64,
}

fn curve(kind: CurveKind, values: &[f64; 51]) -> Curve {
    let points: Vec<(f64, f64)> = values
        .iter()
        .enumerate()
        .map(|(i, v)| (400.0 + 10.0 * i as f64, *v))
        .collect();
    Curve::from_values(kind, "table of the test", &points).unwrap()
}

fn predicted(film: &Curve, filter: &Curve, light: &Curve) -> Prediction {
    prediction(&asking(film, filter, light), VerdictLimits::COMMON_PRACTICE).unwrap()
}

fn asking<'a>(film: &'a Curve, filter: &'a Curve, light: &'a Curve) -> Predicting<'a> {
    Predicting {
        film,
        filter,
        light,
        interpolation: Interpolation::Linear,
        grid: GridChoice::Union,
        ends: Ends::LeftOut,
    }
}

#[test]
fn factors_means_and_contrasts_agree_with_the_table() {
    let rows = [
        Row {
            name: "D, pan_to_680, No25",
            light: &LIGHT_D,
            film: &PAN,
            filter: &NO_25,
            factor: 6.0631,
            mean_nm: 623.862,
            leaf_stops: -1.5206,
        },
        Row {
            name: "D, pan_to_680, No70",
            light: &LIGHT_D,
            film: &PAN,
            filter: &NO_70,
            factor: 971.3038,
            mean_nm: 666.742,
            leaf_stops: -2.2259,
        },
        Row {
            name: "D, pan_to_680, No89B",
            light: &LIGHT_D,
            film: &PAN,
            filter: &NO_89B,
            factor: 2973321.3053,
            mean_nm: 680.000,
            leaf_stops: -2.3219,
        },
        Row {
            name: "D, infrared_to_900, No25",
            light: &LIGHT_D,
            film: &INFRARED,
            filter: &NO_25,
            factor: 2.8742,
            mean_nm: 716.587,
            leaf_stops: 0.4214,
        },
        Row {
            name: "D, infrared_to_900, No70",
            light: &LIGHT_D,
            film: &INFRARED,
            filter: &NO_70,
            factor: 4.9355,
            mean_nm: 758.175,
            leaf_stops: 0.9026,
        },
        Row {
            name: "D, infrared_to_900, No87",
            light: &LIGHT_D,
            film: &INFRARED,
            filter: &NO_87,
            factor: 15.2607,
            mean_nm: 817.888,
            leaf_stops: 1.2962,
        },
        Row {
            name: "D, infrared_to_900, No89B",
            light: &LIGHT_D,
            film: &INFRARED,
            filter: &NO_89B,
            factor: 6.1391,
            mean_nm: 782.264,
            leaf_stops: 1.2030,
        },
        Row {
            name: "A, pan_to_680, No25",
            light: &LIGHT_A,
            film: &PAN,
            filter: &NO_25,
            factor: 5.7832,
            mean_nm: 624.540,
            leaf_stops: -1.5302,
        },
        Row {
            name: "A, pan_to_680, No70",
            light: &LIGHT_A,
            film: &PAN,
            filter: &NO_70,
            factor: 852.7655,
            mean_nm: 666.767,
            leaf_stops: -2.2265,
        },
        Row {
            name: "A, pan_to_680, No89B",
            light: &LIGHT_A,
            film: &PAN,
            filter: &NO_89B,
            factor: 2634051.6712,
            mean_nm: 680.000,
            leaf_stops: -2.3219,
        },
        Row {
            name: "A, infrared_to_900, No25",
            light: &LIGHT_A,
            film: &INFRARED,
            filter: &NO_25,
            factor: 2.6152,
            mean_nm: 721.469,
            leaf_stops: 0.4823,
        },
        Row {
            name: "A, infrared_to_900, No70",
            light: &LIGHT_A,
            film: &INFRARED,
            filter: &NO_70,
            factor: 4.3245,
            mean_nm: 760.264,
            leaf_stops: 0.9242,
        },
        Row {
            name: "A, infrared_to_900, No87",
            light: &LIGHT_A,
            film: &INFRARED,
            filter: &NO_87,
            factor: 12.8321,
            mean_nm: 818.203,
            leaf_stops: 1.2963,
        },
        Row {
            name: "A, infrared_to_900, No89B",
            light: &LIGHT_A,
            film: &INFRARED,
            filter: &NO_89B,
            factor: 5.2848,
            mean_nm: 783.523,
            leaf_stops: 1.2079,
        },
    ];
    for row in rows {
        let film = curve(CurveKind::Sensitivity, row.film);
        let filter = curve(CurveKind::Transmittance, row.filter);
        let light = curve(CurveKind::SpectralIrradiance, row.light);
        let leaf = curve(CurveKind::Reflectance, &LEAF);
        let p = predicted(&film, &filter, &light);
        let factor = p.factor.unwrap().to_ratio();
        // 1e-4 of the value: four printed decimals of a factor above 1.
        assert!(
            (factor / row.factor - 1.0).abs() < 1e-4,
            "{}: {factor}",
            row.name
        );
        let mean = p.filtered.mean_wavelength.unwrap().to_nm();
        assert!(
            (mean - row.mean_nm).abs() < 6e-4,
            "{}: mean {mean}",
            row.name
        );
        let seen = subject_contrast(&asking(&film, &filter, &light), &leaf).unwrap();
        let stops = seen.filtered.unwrap().to_stops();
        assert!(
            (stops - row.leaf_stops).abs() < 1e-4,
            "{}: leaf {stops}",
            row.name
        );
        assert!((seen.covered - 1.0).abs() < 1e-12);
        assert!(p.unknown.iter().all(|u| u.stretches_nm.is_empty()) || p.unknown.is_empty());
    }
}

#[test]
fn a_film_that_sees_nothing_of_the_filter_has_no_factor_and_no_image() {
    let film = curve(CurveKind::Sensitivity, &PAN);
    let filter = curve(CurveKind::Transmittance, &NO_87);
    let light = curve(CurveKind::SpectralIrradiance, &LIGHT_D);
    let p = predicted(&film, &filter, &light);
    assert_eq!(p.factor, None);
    assert_eq!(p.verdict, Expected::NoImage);
    assert_eq!(p.filtered.band, None);
    assert_eq!(p.stops_per_nm, None);
    let leaf = curve(CurveKind::Reflectance, &LEAF);
    let seen = subject_contrast(&asking(&film, &filter, &light), &leaf).unwrap();
    assert_eq!(seen.filtered, None);
    assert!(seen.bare.is_some());
}

#[test]
fn the_verdict_follows_the_share_of_the_bare_response() {
    // Common practice: no image is to be expected below 1/1000 of the bare
    // response. Factors of the same table: 6.1, 971 and 3.0 million.
    let light = curve(CurveKind::SpectralIrradiance, &LIGHT_D);
    for (film, filter, verdict) in [
        (&INFRARED, &NO_89B, Expected::Image),
        (&PAN, &NO_70, Expected::Trace),
        (&PAN, &NO_89B, Expected::NoImage),
    ] {
        let film = curve(CurveKind::Sensitivity, film);
        let filter = curve(CurveKind::Transmittance, filter);
        assert_eq!(predicted(&film, &filter, &light).verdict, verdict);
    }
}

#[test]
fn the_factor_of_1927_is_the_ratio_of_two_areas() {
    // Source: "Light filters", Trans. SMPE 1927, 149–151: area of sensitivity ×
    // daylight 0.76, behind the filter 0.23; factor printed 3.3. Flat curves with
    // these areas: 0.23/0.76 passes everywhere.
    let kind = CurveKind::Transmittance;
    let filter = Curve::from_values(kind, "1927", &[(400.0, 0.23 / 0.76), (700.0, 0.23 / 0.76)]);
    let flat = |kind, value| Curve::from_values(kind, "flat", &[(400.0, value), (700.0, value)]);
    let film = flat(CurveKind::Sensitivity, 0.76 / 300.0).unwrap();
    let light = flat(CurveKind::RelativePower, 1.0).unwrap();
    let p = predicted(&film, &filter.unwrap(), &light);
    assert!((p.bare.total - 0.76).abs() < 1e-12);
    assert!((p.factor.unwrap().to_ratio() - 3.3).abs() < 0.01);
    // Hand calculation: log2 3.304 = 1.724.
    assert!((p.stops().unwrap().to_stops() - 1.724).abs() < 1e-3);
}

#[test]
fn a_filter_table_that_ends_at_700_nm_tells_what_its_end_may_cost() {
    let film = curve(CurveKind::Sensitivity, &INFRARED);
    let light = curve(CurveKind::SpectralIrradiance, &LIGHT_D);
    let values: Vec<(f64, f64)> = NO_25
        .iter()
        .enumerate()
        .map(|(i, t)| (400.0 + 10.0 * i as f64, *t))
        .take_while(|p| p.0 <= 700.0)
        .collect();
    let short = Curve::from_values(CurveKind::Transmittance, "to 700 nm", &values).unwrap();
    let p = predicted(&film, &short, &light);
    let [unknown] = p.unknown.as_slice() else {
        panic!("one curve is short: {:?}", p.unknown);
    };
    assert_eq!(unknown.whose.word(), "filter");
    assert_eq!(unknown.stretches_nm, [(700.0, 900.0)]);
    // The table with the last value held has the factor 2.8742, so the
    // difference told must lead there.
    let change = unknown.factor_change.unwrap().to_stops();
    let held = p.stops().unwrap().to_stops() + change;
    assert!((held - 1.5232).abs() < 1e-4, "{held}");
    assert!(change < -0.5, "{change}");
    // Asked for by name, the same comes out at once.
    let mut asking = asking(&film, &short, &light);
    asking.ends = Ends::Held;
    let by_name = prediction(&asking, VerdictLimits::COMMON_PRACTICE).unwrap();
    assert!((by_name.stops().unwrap().to_stops() - held).abs() < 1e-9);
}

#[test]
fn lights_that_end_before_the_film_are_told_of() {
    let film = curve(CurveKind::Sensitivity, &INFRARED);
    let filter = curve(CurveKind::Transmittance, &NO_89B);
    let values: Vec<(f64, f64)> = LIGHT_D
        .iter()
        .enumerate()
        .map(|(i, e)| (400.0 + 10.0 * i as f64, *e))
        .take_while(|p| p.0 <= 780.0)
        .collect();
    let light = Curve::from_values(CurveKind::RelativePower, "to 780 nm", &values).unwrap();
    let p = predicted(&film, &filter, &light);
    let light = p
        .unknown
        .iter()
        .find(|u| u.whose.word() == "light")
        .unwrap();
    assert_eq!(light.stretches_nm, [(780.0, 900.0)]);
    assert!(light.factor_change.unwrap().to_stops() < -0.5);
}
