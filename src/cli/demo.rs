//! `soakmist demo`: the daemon on a simulated ground, a day in a minute.

use super::Failure;

#[cfg(feature = "demo")]
mod page;
#[cfg(feature = "demo")]
mod show;

/// Arguments of `soakmist demo`.
#[derive(Debug, clap::Args)]
pub struct DemoArguments {
    /// Days to show
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=30))]
    days: u32,
    /// Seconds of the ground in a real one
    #[arg(long, value_name = "N", default_value_t = 1440, value_parser = clap::value_parser!(u32).range(1..=3600))]
    speed: u32,
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Io`] when this machine lets no broker listen;
/// [`Failure::NotClosed`] when a simulated valve was left open.
#[cfg(feature = "demo")]
pub fn run(arguments: &DemoArguments) -> Result<(), Failure> {
    super::threads::begin()?;
    show::run(arguments.days, arguments.speed)
}

/// Runs the command.
///
/// # Errors
/// [`Failure::Input`]: this build has none.
#[cfg(not(feature = "demo"))]
pub fn run(_arguments: &DemoArguments) -> Result<(), Failure> {
    Err(Failure::Input(
        "this soakmist was built without the demonstration; with the source at hand: \
         cargo run --release --features demo -- demo"
            .to_owned(),
    ))
}
