//! A light by its name, printed.

use crate::named_spectra::{LIGHT_NAMES, named};
use crate::{AppError, sun};
use serde_json::{Value, json};
use spectra::CurveKind;
use spectra::read::Purpose;
use spectra::seen::{RANGE_NM, illuminance_lux, irradiance};

/// What `light` answers.
#[derive(Clone, Debug)]
pub struct LightAnswer {
    /// Lines for a person.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
    /// The light by wavelength as CSV.
    pub spectrum_csv: String,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Gives a light by its name.
///
/// # Errors
/// [`AppError`] when there is no such light.
pub fn light(name: &str) -> Result<LightAnswer, AppError> {
    let found = named(name, Purpose::Light)?.ok_or_else(|| {
        AppError::new(
            format!("there is no light '{name}'"),
            format!("say one of {LIGHT_NAMES}"),
        )
    })?;
    let values: Vec<(f64, f64)> = found
        .curve
        .points()
        .iter()
        .filter_map(|p| p.value.map(|v| (p.wavelength.to_nm(), v)))
        .collect();
    let absolute = found.curve.kind() == CurveKind::SpectralIrradiance;
    let lux = absolute
        .then(|| sun::luminosity().map(|v| illuminance_lux(&values, &v)))
        .transpose()?;
    let visible = irradiance(&values, 400.0, 700.0);
    let known_to = found.curve.range_nm().1.min(RANGE_NM.1);
    let infrared = (known_to >= 900.0).then(|| irradiance(&values, 700.0, 900.0) / visible);
    let mut lines = vec![format!("{name}: {}", found.curve.source())];
    if let Some(share) = infrared {
        lines.push(format!("700 to 900 nm over 400 to 700 nm: {share:.3}"));
    } else {
        lines.push(format!(
            "700 to 900 nm over 400 to 700 nm: not known, the light ends at {known_to:.0} nm"
        ));
    }
    if let Some(sd) = found.infrared_sd_stops {
        lines.push(format!(
            "Spread taken beyond 700 nm: {sd} stop (one standard deviation)"
        ));
    }
    let unit = if absolute {
        "irradiance_w_m2_nm"
    } else {
        "relative_power"
    };
    let mut csv = format!("wavelength_nm,{unit}\n");
    for (nm, value) in &values {
        csv.push_str(&format!("{nm},{value:.9e}\n"));
    }
    let json = json!({
        "light": name,
        "source": found.curve.source(),
        "near_infrared_over_visible": infrared,
        "infrared_sd_stops": found.infrared_sd_stops,
        "illuminance_lux": lux,
        "notes": found.notes,
    });
    Ok(LightAnswer {
        lines,
        json,
        spectrum_csv: csv,
        notes: found.notes,
    })
}
