//! How uneven the light of a scan is, as it is told, and what it adds to readings.

use negative::bare_light::{LightUnseen, UnevenLight};
use quantity::Measured;
use serde_json::{Value, json};

/// What was found of the light, or why nothing was.
pub(crate) type Light = Result<UnevenLight, LightUnseen>;

/// One line on it.
pub(crate) fn line(light: &Light) -> String {
    match light {
        Ok(light) => {
            let follows = if light.matters() {
                String::new()
            } else {
                "; nothing is added for it".to_owned()
            };
            format!("light: {}{follows}", light.words())
        }
        Err(reason) => format!("light: how even it is could not be looked for: {reason}"),
    }
}

/// The same with stable keys.
pub(crate) fn to_json(light: &Light) -> Value {
    match light {
        Ok(light) => json!({
            "found": true,
            "range_density": light.range,
            "range_density_sd": light.range_sd,
            "spread_density": light.spread,
            "rest_density": light.rest,
            "rebate_places": light.rebate_places,
            "light_places": light.light_places,
            "sides": light.sides.iter().map(|side| side.word()).collect::<Vec<_>>(),
            "added_density_sd": added(light),
        }),
        Err(reason) => json!({ "found": false, "reason": reason.to_string() }),
    }
}

/// Standard uncertainty that is added to each density.
fn added(light: &UnevenLight) -> f64 {
    if light.matters() { light.doubt() } else { 0.0 }
}

/// The same, nothing where the light was not seen.
pub(crate) fn doubt_of(light: &Light) -> f64 {
    light.as_ref().map_or(0.0, added)
}

/// Adds it to a density.
pub(crate) fn widened(value: Measured<f64>, light: &Light) -> Measured<f64> {
    let doubt = doubt_of(light);
    Measured::new(value.value(), value.standard_uncertainty().hypot(doubt))
        .flagged_all(value.flags())
}
