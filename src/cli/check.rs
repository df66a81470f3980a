//! `soakmist check`.

use super::Failure;

/// Arguments of `soakmist check`.
#[derive(Debug, clap::Args)]
pub struct CheckArguments {}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(_arguments: &CheckArguments) -> Result<(), Failure> {
    Err(Failure::Input("not written yet".into()))
}
