//! The command `serve`: its options, and what it prints.

use app::AppError;
use clap::{Args, ValueHint};
use std::path::PathBuf;
use web::{ServeSettings, serve};

#[derive(Debug, Args)]
#[command(after_help = "Example: filmproof serve my-tests.sqlite")]
pub(crate) struct ServeArguments {
    /// The notebook that holds the tests; made when it isn't there.
    #[arg(value_hint = ValueHint::FilePath, default_value = "notebook.sqlite")]
    notebook: PathBuf,
    /// The port; 8715 when not given, or a free one where that is taken.
    #[arg(long)]
    port: Option<u16>,
    /// Let a phone on the same network in, by a code that is shown here and good once.
    ///
    /// What is sent is not encrypted: use a network that you trust.
    #[arg(long)]
    phone: bool,
}

/// Serves until it is told to stop.
pub(crate) fn serving(arguments: &ServeArguments) -> Result<(), AppError> {
    serve(
        &ServeSettings {
            notebook: arguments.notebook.clone(),
            port: arguments.port,
            phone: arguments.phone,
        },
        // A reader that has gone away is no reason to stop.
        &|line| drop(crate::say(line)),
    )
}
