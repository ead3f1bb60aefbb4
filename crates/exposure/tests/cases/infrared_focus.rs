//! Focus, diffraction and circle of confusion against published and worked numbers.

use crate::common::{f, mm, near};
use exposure::{
    FocusShift, LensCorrection, circle_of_confusion, depth_of_focus, diffraction, focus_advice,
    focus_shift, infrared_focus::thin_lens_focal_change,
};
use quantity::{Magnification, Nanometres};

fn nm(value: f64) -> Nanometres {
    Nanometres::from_nm(value).unwrap()
}

#[test]
fn focal_changes_agree_with_the_sellmeier_table() {
    // Source: reference computation from the glass maker's Sellmeier constants (BK7,
    // F2): nm, crown singlet %, thin achromat %, against 546 nm.
    let rows = [
        (486.1, -0.7000, 0.0560),
        (587.6, 0.3722, 0.0060),
        (656.3, 0.8556, 0.0560),
        (700.0, 1.1028, 0.1033),
        (720.0, 1.2043, 0.1277),
        (750.0, 1.3453, 0.1669),
        (780.0, 1.4747, 0.2089),
        (800.0, 1.5556, 0.2383),
        (850.0, 1.7421, 0.3161),
        (900.0, 1.9106, 0.3995),
    ];
    for (at, singlet, achromat) in rows {
        // 5e-4 %: the table takes 546.07 nm for the singlet, 0.0003 % off at 546.1.
        let simple = 100.0 * thin_lens_focal_change(false, nm(at)).unwrap();
        near(&format!("singlet {at}"), simple, singlet, 6e-4);
        let two = 100.0 * thin_lens_focal_change(true, nm(at)).unwrap();
        near(&format!("achromat {at}"), two, achromat, 1.5e-4);
    }
    for at in [399.0, 1001.0] {
        assert!(thin_lens_focal_change(true, nm(at)).is_err());
    }
}

#[test]
fn diffraction_agrees_with_the_closed_form() {
    // Source: 2.43934 λN in µm, 1/(1.21967 λN), 1/(λN) (Airy, Rayleigh), as tabulated.
    let rows = [
        (450.0, 8.0, 8.7816, 227.748, 277.778),
        (550.0, 22.627_417, 30.3578, 65.881, 80.353),
        (720.0, 45.254_834, 79.4822, 25.163, 30.690),
        (850.0, 64.0, 132.7001, 15.072, 18.382),
    ];
    for (at, n, airy, rayleigh, cut_off) in rows {
        let ours = diffraction(nm(at), f(n)).unwrap();
        // Half a unit of the last digit printed, and a little for the constant's.
        near("airy", 1000.0 * ours.airy_diameter.to_mm(), airy, 1e-4);
        near("rayleigh", ours.rayleigh_per_mm, rayleigh, 1e-3);
        near("cut-off", ours.cut_off_per_mm, cut_off, 6e-4);
    }
}

#[test]
fn circles_of_confusion_are_diagonals_over_a_divisor() {
    // Hand calculation: √(96² + 120²) = 153.675 mm; /1000, /1730. Source of the
    // divisors: common practice.
    let of = |divisor| {
        circle_of_confusion(mm(96.0), mm(120.0), divisor)
            .unwrap()
            .to_mm()
    };
    near("1000", of(1000.0), 0.153_67, 6e-6);
    near("1730", of(1730.0), 0.088_83, 6e-6);
    for divisor in [0.0, -1.0, f64::NAN] {
        assert!(circle_of_confusion(mm(96.0), mm(120.0), divisor).is_err());
    }
}

#[test]
fn two_rules_of_thumb_lie_17_times_apart_and_a_series_covers_both() {
    // Source: an encyclopedia's quarter of an inch (6.35 mm) and 0.25 % of 150 mm
    // (0.375 mm, from memory), common practice; blur at f/22 is 0.29 and 0.017 mm.
    near("apart", 6.35 / 0.375, 17.0, 0.1);
    near("blur of a quarter inch", 6.35 / 22.0, 0.29, 2e-3);
    near("blur of a quarter percent", 0.375 / 22.0, 0.017, 1e-4);
    let at_infinity = Magnification::from_ratio(0.0).unwrap();
    let shift = focus_shift(LensCorrection::NotStated, mm(150.0), nm(750.0), at_infinity).unwrap();
    // 0.1669 % of 150 mm is 0.250 mm; an unknown lens: none to three times that.
    near("best", shift.shift_mm, 0.250, 1e-3);
    assert!(shift.low_mm == 0.0 && shift.high_mm > 0.375 && shift.high_mm < 6.35);
    // Both rules as the ends of an interval: at f/22 and c 0.1 mm the depth is 2.2 mm to
    // a side, so 5.975 mm take ceil(5.975/4.4) = 2 frames.
    let rules = FocusShift {
        shift_mm: 3.0,
        low_mm: 0.375,
        high_mm: 6.35,
    };
    let advice = focus_advice(&rules, f(22.0), mm(0.1), nm(750.0)).unwrap();
    near("depth", advice.depth_mm, 2.2, 1e-12);
    near(
        "depth alone",
        depth_of_focus(f(22.0), mm(0.1)).unwrap().to_mm(),
        2.2,
        1e-12,
    );
    assert_eq!(advice.series_mm.len(), 2);
    // Every place of the interval lies within the depth of focus of one frame.
    for k in 0..=100 {
        let place = rules.low_mm + (rules.high_mm - rules.low_mm) * f64::from(k) / 100.0;
        assert!(
            advice
                .series_mm
                .iter()
                .any(|set| (set - place).abs() <= advice.depth_mm + 1e-12)
        );
    }
    near("hides", advice.hides_from.unwrap().to_ratio(), 63.5, 1e-9);
    // 0.1 mm/(2.43934 · 0.00075 mm) = 54.66.
    near("diffraction", advice.diffraction_to.to_ratio(), 54.66, 5e-3);
    // Hand calculation: life size stretches the shift by (1 + 1)² = 4.
    let close = Magnification::from_ratio(1.0).unwrap();
    let near_by = focus_shift(LensCorrection::NotStated, mm(150.0), nm(750.0), close).unwrap();
    near("life size", near_by.shift_mm / shift.shift_mm, 4.0, 1e-12);
}
