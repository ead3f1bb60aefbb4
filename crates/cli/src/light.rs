//! The command `light`: its options and what it prints.

use app::AppError;
use clap::Args;

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  filmproof light sun:35\n  filmproof light tungsten:3200 --spectrum > lamp.csv"
)]
pub(crate) struct LightArguments {
    /// daylight:K, tungsten:K, illuminant-a, or by the sun's height in degrees
    /// sun:35, open-shade:35, under-leaves:35, thin-cloud:35, overcast:35,
    /// heavy-cloud:35.
    name: String,
    /// Print the light by wavelength as CSV.
    #[arg(long, conflicts_with = "json")]
    spectrum: bool,
    /// Print JSON.
    #[arg(long)]
    json: bool,
}

/// Answers `light`.
pub(crate) fn light(arguments: &LightArguments) -> Result<(), AppError> {
    let answer = app::light(&arguments.name)?;
    for note in &answer.notes {
        crate::say_note(note);
    }
    if arguments.json {
        crate::say_json(&answer.json)
    } else if arguments.spectrum {
        crate::say(answer.spectrum_csv.trim_end())
    } else {
        crate::say(&answer.lines.join("\n"))
    }
}
