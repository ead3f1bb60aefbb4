//! The command `sun`: its options and what it prints.

use app::{Air, AppError, SunRequest};
use clap::Args;

#[derive(Debug, Args)]
#[command(
    after_help = "Never look at the sun, not even through a filter that looks opaque.\n\nExamples:\n  filmproof sun --latitude 51.5 --longitude 0 --time 2026-06-21T12:00:00Z\n  filmproof sun --latitude 51.5 --longitude 0 --time 2026-06-21T12:00:00Z --spectrum > sun.csv\n  filmproof predict --film-class extended-red --filter-edge 715:50% --light sun.csv#global_horizontal --shade sun.csv#open_shade"
)]
pub(crate) struct SunArguments {
    /// Degrees, north positive.
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    latitude: f64,
    /// Degrees, east positive.
    #[arg(long, value_name = "DEG", allow_negative_numbers = true)]
    longitude: f64,
    /// Date, time and offset: 2026-06-21T14:00:00+02:00.
    #[arg(long, value_name = "RFC3339")]
    time: String,
    /// Pressure of the air at the place, not reduced to the sea.
    #[arg(
        long,
        value_name = "HPA",
        default_value_t = 1013.25,
        allow_negative_numbers = true
    )]
    pressure: f64,
    /// Temperature of the air.
    #[arg(
        long,
        value_name = "C",
        default_value_t = 10.0,
        allow_negative_numbers = true
    )]
    temperature: f64,
    /// Height above the sea in m; moves the sun a little, the air not: give --pressure.
    #[arg(
        long,
        value_name = "M",
        default_value_t = 0.0,
        allow_negative_numbers = true
    )]
    height: f64,
    /// Optical depth of the aerosol at 500 nm: 0.05 very clear, 0.1 clear, 0.5 hazy.
    #[arg(long, value_name = "DEPTH", default_value_t = Air::CLEAR.aerosol_depth_500, allow_negative_numbers = true)]
    aerosol: f64,
    /// Exponent of the aerosol's fall with wavelength.
    #[arg(long, value_name = "EXPONENT", default_value_t = Air::CLEAR.aerosol_exponent, allow_negative_numbers = true)]
    aerosol_exponent: f64,
    /// Water in the air above, as rain.
    #[arg(long, value_name = "CM", default_value_t = Air::CLEAR.water_cm, allow_negative_numbers = true)]
    water: f64,
    /// Ozone in the air above.
    #[arg(long, value_name = "ATM_CM", default_value_t = Air::CLEAR.ozone_atm_cm, allow_negative_numbers = true)]
    ozone: f64,
    /// Reflectance of the ground around: 0.2 grass and soil, 0.8 fresh snow.
    #[arg(long, value_name = "0..1", default_value_t = Air::CLEAR.ground_reflectance, allow_negative_numbers = true)]
    ground: f64,
    /// Give the light on a tilted plane besides: degrees from level, 90 a wall.
    #[arg(
        long,
        value_name = "DEG",
        requires = "facing",
        allow_negative_numbers = true
    )]
    plane_tilt: Option<f64>,
    /// The direction that the plane faces, degrees from north by east: 90 east, 180 south.
    #[arg(
        long,
        value_name = "DEG",
        requires = "plane_tilt",
        allow_negative_numbers = true
    )]
    facing: Option<f64>,
    /// Print the light by wavelength as CSV, W/m² per nm.
    #[arg(long, conflicts_with = "json")]
    spectrum: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Answers `sun`.
pub(crate) fn sun(arguments: &SunArguments) -> Result<(), AppError> {
    let answer = app::sun(&SunRequest {
        latitude_deg: arguments.latitude,
        longitude_deg: arguments.longitude,
        time: arguments.time.clone(),
        height_m: arguments.height,
        temperature_c: arguments.temperature,
        air: Air {
            pressure_hpa: arguments.pressure,
            aerosol_depth_500: arguments.aerosol,
            aerosol_exponent: arguments.aerosol_exponent,
            water_cm: arguments.water,
            ozone_atm_cm: arguments.ozone,
            ground_reflectance: arguments.ground,
        },
        plane: arguments.plane_tilt.zip(arguments.facing),
    })?;
    for note in &answer.notes {
        crate::say_note(note);
    }
    if arguments.json {
        return crate::say_json(&answer.json);
    }
    if !arguments.spectrum {
        return crate::say(&answer.lines.join("\n"));
    }
    match &answer.spectrum_csv {
        Some(csv) => crate::say(csv.trim_end()),
        None => Err(AppError::new(
            "there is no spectrum for a sun lower than 1°",
            "give another time",
        )),
    }
}
