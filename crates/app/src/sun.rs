//! The sun at a place and time, and the light under a clear sky.
//!
//! Begin with [`sun`]. The sky is assumed clear and is told; nothing is
//! computed for a sun at or below the horizon but its position.

use crate::AppError;
use jiff::Timestamp;
use jiff::tz::Offset;
use quantity::Celsius;
use serde_json::{Value, json};
use spectra::clear_sky::{Air, LOWEST_SUN_DEG, SkyCoefficients, SkyLight, clear_sky};
use spectra::seen::{film_against_meter_stops, illuminance_lux, irradiance};
use spectra::sun_position::{Place, sun_position};
use spectra::tilted_plane::Plane;

/// Lux s of an incident meter with a flat receptor; ISO 2720.
const INCIDENT_CONSTANT: f64 = 250.0;
/// EV at ISO 100 of the sunny rule, f/16 at the reciprocal of the film speed.
const SUNNY_RULE_EV: f64 = 15.0;

/// What `sun` is asked.
#[derive(Clone, Debug, PartialEq)]
pub struct SunRequest {
    /// Degrees, north positive.
    pub latitude_deg: f64,
    /// Degrees, east positive.
    pub longitude_deg: f64,
    /// Time with its offset, as RFC 3339.
    pub time: String,
    /// Height above the sea, m.
    pub height_m: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
    /// The air; its pressure is that of the place.
    pub air: Air,
    /// A plane to give the light on besides: tilt from level and direction it faces,
    /// both in degrees.
    pub plane: Option<(f64, f64)>,
}

/// What `sun` answers.
#[derive(Clone, Debug)]
pub struct SunAnswer {
    /// Lines for a person, the answer first.
    pub lines: Vec<String>,
    /// The answer with stable keys.
    pub json: Value,
    /// The light by wavelength as CSV, when the sun is up.
    pub spectrum_csv: Option<String>,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Places the sun and, when it is up, gives the light of a clear sky.
///
/// # Errors
/// [`AppError`] when the time can't be read or a value lies outside its range.
pub fn sun(request: &SunRequest) -> Result<SunAnswer, AppError> {
    let time: Timestamp = request.time.parse().map_err(|e| {
        AppError::new(
            format!("--time {}: {e}", request.time),
            "give date, time and offset, as 2026-06-21T12:00:00+02:00 or …Z",
        )
    })?;
    let refused = |e: &dyn std::fmt::Display| AppError::new(e.to_string(), "");
    let temperature = Celsius::from_c(request.temperature_c).map_err(|e| refused(&e))?;
    let place = Place {
        latitude_deg: request.latitude_deg,
        longitude_deg: request.longitude_deg,
        height_m: request.height_m,
        pressure_hpa: request.air.pressure_hpa,
        temperature,
    };
    let plane = request
        .plane
        .map(|(tilt, facing)| Plane::from_degrees(tilt, facing).map(|p| (p, tilt, facing)))
        .transpose()
        .map_err(|e| refused(&e))?;
    let unix_s = time.as_millisecond() as f64 / 1000.0;
    let found = sun_position(&place, unix_s).map_err(|e| refused(&e))?;
    let elevation = found.apparent_elevation_deg;
    let mut lines = vec![format!(
        "Sun: {elevation:.2}° above the horizon, {:.2}° from north by east",
        found.azimuth_deg
    )];
    let mut notes = vec![
        "never look at the sun, neither through the lens nor through a filter that looks opaque: such filters pass the infrared that burns the eye"
            .to_owned(),
    ];
    let mut answer = json!({
        "sun_elevation_deg": elevation,
        "sun_azimuth_deg": found.azimuth_deg,
        "illuminance_lux": null,
        "ev100_incident": null,
        "assumed": {
            "sky": "clear",
            "pressure_hpa": request.air.pressure_hpa,
            "temperature_c": request.temperature_c,
            "aerosol_depth_500nm": request.air.aerosol_depth_500,
            "aerosol_exponent": request.air.aerosol_exponent,
            "water_cm": request.air.water_cm,
            "ozone_atm_cm": request.air.ozone_atm_cm,
            "ground_reflectance": request.air.ground_reflectance,
        },
    });
    if elevation < LOWEST_SUN_DEG {
        let why = if elevation < 0.0 {
            "the sun is below the horizon"
        } else {
            "the sun stands lower than 1°"
        };
        lines.push(format!(
            "Light: not known; {why}, and no model of twilight is here"
        ));
        notes.push(format!("{why}: no light is given"));
        answer["notes"] = json!(notes);
        return Ok(SunAnswer {
            lines,
            json: answer,
            spectrum_csv: None,
            notes,
        });
    }
    // Between 1 and 366, so the cast is exact.
    let day = Offset::UTC.to_datetime(time).day_of_year() as u16;
    let table = coefficients()?;
    let sky = clear_sky(&table, elevation, day, &request.air).map_err(|e| refused(&e))?;
    let v = luminosity()?;
    let level = points(&sky, SkyLight::global_horizontal);
    let shade = points(&sky, |l| l.diffuse_horizontal);
    let upright = points(&sky, |l| l.sunward_vertical);
    let normal = points(&sky, |l| l.direct_normal);
    let on_plane = plane.map(|(plane, tilt, facing)| {
        let on = |l: &SkyLight| {
            plane.light_on(
                l,
                elevation,
                found.azimuth_deg,
                request.air.ground_reflectance,
            )
        };
        let cosine = plane.cosine_to_sun(elevation, found.azimuth_deg);
        (points(&sky, on), cosine, tilt, facing)
    });
    let lux = illuminance_lux(&level, &v);
    let shade_lux = illuminance_lux(&shade, &v);
    let visible = irradiance(&level, 400.0, 700.0);
    let near_infrared = irradiance(&level, 700.0, 900.0);
    let even = |nm: f64| f64::from(u8::from((720.0..=900.0).contains(&nm)));
    let meter = |nm: f64| spectra::seen::between(&v, nm);
    let shade_loss = film_against_meter_stops(&level, &shade, even, meter);
    lines.push(format!(
        "Light on the level ground: {lux:.0} lux, EV {:.2} at ISO 100 (incident, C = 250), {:+.2} stops against the sunny rule (EV 15)",
        ev(lux),
        ev(lux) - SUNNY_RULE_EV
    ));
    lines.push(format!(
        "On a wall that faces the sun: EV {:.2}; in open shade (sky only): EV {:.2}",
        ev(illuminance_lux(&upright, &v)),
        ev(shade_lux)
    ));
    if let Some((light, cosine, tilt, facing)) = &on_plane {
        lines.push(format!(
            "On a plane tilted by {tilt}° that faces {facing}°: EV {:.2}; {}",
            ev(illuminance_lux(light, &v)),
            if *cosine > 0.0 {
                format!(
                    "the sun falls on it {:.1}° off its normal",
                    libm::acos(cosine.min(1.0)).to_degrees()
                )
            } else {
                "the sun is behind it".to_owned()
            }
        ));
        answer["plane"] = json!({
            "tilt_deg": tilt,
            "facing_deg": facing,
            "cosine_to_sun": cosine,
            "lux": illuminance_lux(light, &v),
            "ev100_incident": ev(illuminance_lux(light, &v)),
        });
    }
    lines.push(format!(
        "400 to 700 nm: {visible:.1} W/m²; 700 to 900 nm: {near_infrared:.1} W/m², {:.3} of it",
        near_infrared / visible
    ));
    if let Some(stops) = shade_loss {
        lines.push(format!(
            "Open shade against the meter, for an even response from 720 to 900 nm: {stops:+.2} stops"
        ));
    }
    lines.push(format!(
        "Assumed: clear sky, aerosol {} at 500 nm (exponent {}), water {} cm, ozone {} atm cm, ground {}, {} hPa, {} °C",
        request.air.aerosol_depth_500,
        request.air.aerosol_exponent,
        request.air.water_cm,
        request.air.ozone_atm_cm,
        request.air.ground_reflectance,
        request.air.pressure_hpa,
        request.temperature_c
    ));
    notes.push(
        "the sky is taken as clear; clouds are not computed, and no published law says what they do from 700 to 900 nm".to_owned(),
    );
    answer["illuminance_lux"] = json!(lux);
    answer["ev100_incident"] = json!(ev(lux));
    answer["ev100_sunny_rule_difference"] = json!(ev(lux) - SUNNY_RULE_EV);
    answer["direct_normal_lux"] = json!(illuminance_lux(&normal, &v));
    answer["sunward_vertical_lux"] = json!(illuminance_lux(&upright, &v));
    answer["open_shade_lux"] = json!(shade_lux);
    answer["open_shade_ev100"] = json!(ev(shade_lux));
    answer["visible_w_m2"] = json!(visible);
    answer["near_infrared_w_m2"] = json!(near_infrared);
    answer["near_infrared_over_visible"] = json!(near_infrared / visible);
    answer["open_shade_against_meter_720_900nm_stops"] = json!(shade_loss);
    answer["day_of_year"] = json!(day);
    answer["notes"] = json!(notes);
    Ok(SunAnswer {
        lines,
        json: answer,
        spectrum_csv: Some(csv_of(&sky, on_plane.as_ref().map(|p| p.0.as_slice()))),
        notes,
    })
}

fn ev(lux: f64) -> f64 {
    libm::log2(lux * 100.0 / INCIDENT_CONSTANT)
}

pub(crate) fn points(sky: &[SkyLight], part: impl Fn(&SkyLight) -> f64) -> Vec<(f64, f64)> {
    sky.iter().map(|l| (l.wavelength_nm, part(l))).collect()
}

fn csv_of(sky: &[SkyLight], plane: Option<&[(f64, f64)]>) -> String {
    let mut text = "wavelength_nm,global_horizontal,direct_normal,direct_horizontal,open_shade,sunward_vertical".to_owned();
    if plane.is_some() {
        text.push_str(",plane");
    }
    text.push('\n');
    for (row, l) in sky.iter().enumerate() {
        if l.wavelength_nm > 1110.0 {
            continue;
        }
        text.push_str(&format!(
            "{},{:.9e},{:.9e},{:.9e},{:.9e},{:.9e}",
            l.wavelength_nm,
            l.global_horizontal(),
            l.direct_normal,
            l.direct_horizontal,
            l.diffuse_horizontal,
            l.sunward_vertical
        ));
        if let Some((_, e)) = plane.and_then(|p| p.get(row)) {
            text.push_str(&format!(",{e:.9e}"));
        }
        text.push('\n');
    }
    text
}

pub(crate) fn damaged(e: impl std::fmt::Display) -> AppError {
    AppError::new(e.to_string(), "this program is damaged; build it anew")
}

pub(crate) fn coefficients() -> Result<Vec<SkyCoefficients>, AppError> {
    let table = reference::clear_sky_coefficients().map_err(damaged)?;
    table
        .rows()
        .iter()
        .map(|(nm, row)| match row.as_slice() {
            &[Some(outside), Some(water), Some(ozone), Some(mixed)] => Ok(SkyCoefficients {
                wavelength_nm: *nm,
                outside_w_m2_nm: outside,
                water,
                ozone,
                mixed,
            }),
            _ => Err(damaged(format!("clear sky: {nm} nm has holes"))),
        })
        .collect()
}

pub(crate) fn luminosity() -> Result<Vec<(f64, f64)>, AppError> {
    let table = reference::luminosity().map_err(damaged)?;
    let column = table.column("V").map_err(damaged)?;
    Ok(column
        .into_iter()
        .filter_map(|(nm, v)| v.map(|v| (nm, v)))
        .collect())
}
