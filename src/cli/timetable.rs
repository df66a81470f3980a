//! `soakmist timetable`.

use super::Failure;

/// Arguments of `soakmist timetable`.
#[derive(Debug, clap::Args)]
pub struct TimetableArguments {}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(_arguments: &TimetableArguments) -> Result<(), Failure> {
    Err(Failure::Input("not written yet".into()))
}
