//! The command `bracket-curve`: its options and what it prints.

use app::{AppError, BracketRequest, curve_of_bracket};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(after_help = "Example: filmproof bracket-curve bracket.csv --csv > curve.csv")]
pub(crate) struct BracketArguments {
    /// Columns frame, patch, exposure_stops or exposure_s, and density or value.
    #[arg(value_hint = ValueHint::FilePath)]
    pub(crate) bracket: PathBuf,
    /// Print the curve as CSV.
    #[arg(long, conflicts_with = "json")]
    pub(crate) csv: bool,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

/// Answers `bracket-curve`.
pub(crate) fn recovered(arguments: &BracketArguments) -> Result<(), AppError> {
    let answer = curve_of_bracket(&BracketRequest {
        file: arguments.bracket.clone(),
    })?;
    if arguments.csv {
        return crate::say(answer.csv.trim_end());
    }
    crate::answered(arguments.json, &answer.json, &answer.lines)
}
