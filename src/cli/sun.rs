//! `soakmist sun`.

use super::Failure;

/// Arguments of `soakmist sun`.
#[derive(Debug, clap::Args)]
pub struct SunArguments {}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(_arguments: &SunArguments) -> Result<(), Failure> {
    Err(Failure::Input("not written yet".into()))
}
