//! `soakmist et0`.

use super::Failure;

/// Arguments of `soakmist et0`.
#[derive(Debug, clap::Args)]
pub struct Et0Arguments {}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(_arguments: &Et0Arguments) -> Result<(), Failure> {
    Err(Failure::Input("not written yet".into()))
}
