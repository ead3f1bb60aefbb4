//! The command `replan`: its options.

use app::{AppError, ChangedLightQuestion, ExposeReading, replan};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(after_help = "Example: filmproof replan my-test --ev100 12.3 --sky thin-cloud --write")]
pub(crate) struct ReplanArguments {
    /// The test folder with its plan.toml.
    #[arg(value_hint = ValueHint::DirPath)]
    pub(crate) test: PathBuf,
    #[command(flatten)]
    pub(crate) reading: NewReading,
    /// The sky now, as for `plan`; as before when not given.
    #[arg(long)]
    pub(crate) sky: Option<String>,
    /// Name of the new light; the old one's with a number when not given.
    #[arg(long, value_name = "NAME")]
    pub(crate) light: Option<String>,
    /// Longest time that can be borne, s.
    #[arg(
        long,
        value_name = "S",
        default_value_t = 60.0,
        allow_negative_numbers = true
    )]
    pub(crate) longest: f64,
    /// Widest aperture of the lens; the widest of the plan when not given.
    #[arg(long, value_name = "N", allow_negative_numbers = true)]
    pub(crate) widest: Option<f64>,
    /// Put the new light into test.toml and the new plan into plan.toml.
    #[arg(long)]
    pub(crate) write: bool,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

/// The new reading of the same target, without filter.
#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
pub(crate) struct NewReading {
    /// The new reading as EV at ISO 100, of the same target, without filter.
    #[arg(long, value_name = "EV", allow_negative_numbers = true)]
    ev100: Option<f64>,
    /// The new reading in lux, by an incident meter (C = 250).
    #[arg(long, allow_negative_numbers = true)]
    lux: Option<f64>,
    /// The new reading in cd/m2, of the same target (K = 12.5).
    #[arg(long, value_name = "CD_PER_M2", allow_negative_numbers = true)]
    luminance: Option<f64>,
}

pub(crate) fn replanning(arguments: &ReplanArguments) -> Result<(), AppError> {
    let read = &arguments.reading;
    let reading = match (read.ev100, read.lux, read.luminance) {
        (Some(ev), ..) => ExposeReading::Ev100(ev),
        (_, Some(lux), _) => ExposeReading::Lux { lux, c: 250.0 },
        (_, _, Some(cd_per_m2)) => ExposeReading::Luminance { cd_per_m2, k: 12.5 },
        // The argument group requires one of the three.
        (None, None, None) => {
            return Err(AppError::new(
                "no light reading",
                "give --ev100, --lux or --luminance",
            ));
        }
    };
    let answer = replan(&ChangedLightQuestion {
        test: arguments.test.clone(),
        reading,
        sky: arguments.sky.clone(),
        light: arguments.light.clone(),
        longest_s: arguments.longest,
        widest: arguments.widest,
        write: arguments.write,
    })?;
    if arguments.json {
        return crate::say_json(&answer.json);
    }
    crate::say(&answer.lines.join("\n"))
}
