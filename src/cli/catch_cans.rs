//! `soakmist catch-cans`.

use super::Failure;

/// Arguments of `soakmist catch-cans`.
#[derive(Debug, clap::Args)]
pub struct CatchCansArguments {}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(_arguments: &CatchCansArguments) -> Result<(), Failure> {
    Err(Failure::Input("not written yet".into()))
}
