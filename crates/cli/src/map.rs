//! The command `map`: its options and what it prints.

use crate::progress_bar::ProgressBar;
use app::{AppError, MAP_SIDE, MapRequest, density_maps};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(
    after_help = "Example: filmproof map demo sun-715-2 --against sun-anchor-1 --zero grey-card --out maps"
)]
pub(crate) struct MapArguments {
    /// The test folder.
    #[arg(value_hint = ValueHint::DirPath)]
    pub(crate) test: PathBuf,
    /// The frame.
    pub(crate) frame: String,
    /// Another frame of the same subject, as without a filter.
    #[arg(long, value_name = "FRAME")]
    pub(crate) against: Option<String>,
    /// A patch of both frames whose difference becomes the zero of the stops.
    #[arg(long, value_name = "PATCH", requires = "against")]
    pub(crate) zero: Option<String>,
    /// Most pixels on the long side of a map.
    #[arg(long, default_value_t = MAP_SIDE, value_parser = clap::value_parser!(u32).range(16..=20_000))]
    pub(crate) side: u32,
    /// Folder for the files; `maps` in the test folder when not given.
    #[arg(long, value_hint = ValueHint::DirPath)]
    pub(crate) out: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

/// Answers `map`.
pub(crate) fn mapped(arguments: &MapArguments, progress: &ProgressBar) -> Result<(), AppError> {
    let maps = density_maps(
        &MapRequest {
            test: arguments.test.clone(),
            frame: arguments.frame.clone(),
            against: arguments.against.clone(),
            zero: arguments.zero.clone(),
            side: arguments.side,
            out: arguments.out.clone(),
        },
        progress,
    )?;
    progress.finish();
    for warning in &maps.warnings {
        crate::say_note(warning);
    }
    crate::answered(arguments.json, &maps.json, &maps.lines)
}
