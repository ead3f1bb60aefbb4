//! Where to focus behind an infrared filter.

use crate::AppError;
use crate::expose_inputs::wrong;
use exposure::{
    FocusShift, LensCorrection, circle_of_confusion, diffraction, focus_advice, focus_shift,
    format_aperture,
};
use quantity::{FNumber, Magnification, Millimetres, Nanometres, PupilRatio};
use serde_json::{Value, json};

/// What `focus` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct FocusRequest {
    /// Focal length. \[mm\]
    pub focal_length_mm: f64,
    /// Mean wavelength that reaches the film. \[nm\]
    pub wavelength_nm: f64,
    /// f-number on the lens.
    pub aperture: f64,
    /// How the lens is corrected.
    pub lens: LensCorrection,
    /// A shift measured on this lens, with its standard uncertainty. \[mm\]
    pub measured_shift_mm: Option<(f64, f64)>,
    /// Image size over object size.
    pub magnification: f64,
    /// Exit pupil over entrance pupil.
    pub pupil_ratio: f64,
    /// Picture size, width and height. \[mm\]
    pub format_mm: (f64, f64),
    /// The circle of confusion is the diagonal over this.
    pub divisor: f64,
}

/// What `focus` answers.
#[derive(Clone, Debug)]
pub struct FocusResult {
    /// Lines to be shown.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
}

/// Works out the shift of focus, what hides it and a focus series.
///
/// # Errors
/// [`AppError`] for impossible values.
pub fn infrared_focus(request: &FocusRequest) -> Result<FocusResult, AppError> {
    let mm = |value| Millimetres::from_mm(value).map_err(wrong);
    let focal_length = mm(request.focal_length_mm)?;
    let wavelength = Nanometres::from_nm(request.wavelength_nm).map_err(wrong)?;
    let magnification = Magnification::from_ratio(request.magnification).map_err(wrong)?;
    let pupil = PupilRatio::from_ratio(request.pupil_ratio).map_err(wrong)?;
    let effective = exposure::Bellows::from_magnification(magnification, pupil)
        .effective_aperture(FNumber::from_ratio(request.aperture).map_err(wrong)?)
        .map_err(wrong)?;
    let circle = circle_of_confusion(
        mm(request.format_mm.0)?,
        mm(request.format_mm.1)?,
        request.divisor,
    )
    .map_err(wrong)?;
    let (shift, basis) = match request.measured_shift_mm {
        Some((measured, deviation)) => (
            measured_shift(measured, deviation)?,
            "measured on this lens, two standard deviations to a side",
        ),
        None => (
            focus_shift(request.lens, focal_length, wavelength, magnification).map_err(wrong)?,
            "reckoned from thin lenses of common glasses, not from this lens; the interval is a judgement",
        ),
    };
    let spread = diffraction(wavelength, effective).map_err(wrong)?;
    let advice = focus_advice(&shift, effective, circle, wavelength).map_err(wrong)?;
    let hidden = advice.depth_mm >= shift.high_mm.abs().max(shift.low_mm.abs());
    let series: Vec<String> = advice
        .series_mm
        .iter()
        .map(|at| format!("{at:+.2}"))
        .collect();
    // A cone of light, cut by the film at the shift's distance from its tip.
    let disc_mm = shift.shift_mm.abs() / effective.to_ratio();
    let mut lines = vec![
        format!(
            "shift of focus   {:+.2} mm, between {:+.2} and {:+.2} mm (plus is more draw): {basis}",
            shift.shift_mm, shift.low_mm, shift.high_mm
        ),
        format!(
            "depth of focus   {:.2} mm to a side at {} with a circle of confusion of {:.3} mm",
            advice.depth_mm,
            format_aperture(effective),
            circle.to_mm()
        ),
        format!("focused by eye   a point becomes a disc of {disc_mm:.3} mm if nothing is done"),
        format!(
            "diffraction      disc of {:.3} mm, {:.0} cycles/mm (Rayleigh) at {} nm; it fits the circle of confusion down to {}",
            spread.airy_diameter.to_mm(),
            spread.rayleigh_per_mm,
            request.wavelength_nm,
            format_aperture(advice.diffraction_to)
        ),
    ];
    if let Some(hides) = advice.hides_from {
        lines.push(format!(
            "hidden by        {} and smaller, counted with the bellows extension{}",
            format_aperture(hides),
            if hides > advice.diffraction_to {
                "; there diffraction is already larger than the circle of confusion"
            } else {
                ""
            }
        ));
    }
    lines.push(String::new());
    lines.push(if hidden {
        "focus by eye: the depth of focus hides the whole shift".to_owned()
    } else if let [one] = advice.series_mm.as_slice() {
        format!("focus by eye, then rack the lens by {one:+.2} mm: one setting serves the whole interval")
    } else {
        format!(
            "make a focus series of {} frames: from the visual focus rack the lens by {} mm",
            series.len(),
            series.join(", ")
        )
    });
    if !hidden && request.measured_shift_mm.is_none() {
        lines.push(
            "the series measures the lens: give the best frame's shift with --measured-shift next time"
                .to_owned(),
        );
    }
    lines.push(
        "never look at the sun through lens or filter: an infrared filter that looks black passes heat and near-infrared that burn the eye unfelt"
            .to_owned(),
    );
    Ok(FocusResult {
        lines,
        json: json!({
            "focus_shift_mm": {"value": shift.shift_mm, "low": shift.low_mm, "high": shift.high_mm},
            "focus_shift_basis": basis,
            "effective_aperture_f": effective.to_ratio(),
            "circle_of_confusion_mm": circle.to_mm(),
            "depth_of_focus_mm": advice.depth_mm,
            "blur_disc_mm": disc_mm,
            "airy_diameter_mm": spread.airy_diameter.to_mm(),
            "rayleigh_cycles_per_mm": spread.rayleigh_per_mm,
            "cut_off_cycles_per_mm": spread.cut_off_per_mm,
            "hidden": hidden,
            "hides_from_f": advice.hides_from.map(FNumber::to_ratio),
            "diffraction_to_f": advice.diffraction_to.to_ratio(),
            "series_mm": advice.series_mm,
        }),
    })
}

/// A shift that was measured, two standard deviations to either side.
fn measured_shift(measured: f64, deviation: f64) -> Result<FocusShift, AppError> {
    if !measured.is_finite() || !deviation.is_finite() || deviation < 0.0 {
        return Err(AppError::new(
            format!("a shift of {measured} mm with a standard deviation of {deviation} mm is none"),
            "give the shift in mm, and a deviation of 0 or more",
        ));
    }
    Ok(FocusShift {
        shift_mm: measured,
        low_mm: measured - 2.0 * deviation,
        high_mm: measured + 2.0 * deviation,
    })
}

/// Gives the correction of a lens named on the command line.
///
/// # Errors
/// [`AppError`] with the words there are.
pub fn lens_from_word(word: &str) -> Result<LensCorrection, AppError> {
    Ok(match word {
        "simple" => LensCorrection::Simple,
        "achromat" => LensCorrection::Achromat,
        "apochromat" => LensCorrection::Apochromat,
        "unknown" => LensCorrection::NotStated,
        other => {
            return Err(AppError::new(
                format!("'{other}' is no correction of a lens"),
                "give simple, achromat, apochromat or unknown",
            ));
        }
    })
}
