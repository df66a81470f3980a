//! `soakmist soil`.

use super::Failure;

/// Arguments of `soakmist soil`.
#[derive(Debug, clap::Args)]
pub struct SoilArguments {}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(_arguments: &SoilArguments) -> Result<(), Failure> {
    Err(Failure::Input("not written yet".into()))
}
