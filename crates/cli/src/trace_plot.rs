//! The command `trace-plot`: its options and what it prints.

use app::{AppError, TraceRequest, trace_plot};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(after_help = "Example: filmproof trace-plot marked.csv --sd 0.7 > film.csv")]
pub(crate) struct TraceArguments {
    /// Columns what,x_px,y_px,value: x1, x2, y1, y2 with the numbers on the axes (x in
    /// nm), and rows named point along the curve, value left empty.
    #[arg(value_hint = ValueHint::FilePath)]
    pub(crate) points: PathBuf,
    /// The horizontal axis is divided by ratios: 200, 400, 800 nm at equal steps.
    #[arg(long)]
    pub(crate) x_log: bool,
    /// The vertical axis is divided by ratios: 0.1, 1, 10.
    #[arg(long)]
    pub(crate) y_log: bool,
    /// One standard deviation of a marked place, in pixels.
    #[arg(
        long,
        value_name = "PX",
        default_value_t = 1.0,
        allow_negative_numbers = true
    )]
    pub(crate) sd: f64,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

/// Answers `trace-plot`.
pub(crate) fn traced(arguments: &TraceArguments) -> Result<(), AppError> {
    let answer = trace_plot(&TraceRequest {
        file: arguments.points.clone(),
        x_log: arguments.x_log,
        y_log: arguments.y_log,
        sd_px: arguments.sd,
    })?;
    if arguments.json {
        return crate::say_json(&answer.json);
    }
    crate::say(answer.csv.trim_end())
}
