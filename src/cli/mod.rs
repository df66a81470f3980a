//! The command line: one file per subcommand.
//!
//! `run` returns a [`Failure`] with its exit code; `main` prints it once.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

mod arguments;
mod assumed;
mod backtest;
mod catch_cans;
mod check;
mod coverage;
#[cfg(feature = "daemon")]
mod daemon;
mod demo;
mod et0;
mod failure;
#[cfg(feature = "daemon")]
mod log;
mod output;
mod planning;
#[cfg(feature = "daemon")]
mod run;
#[cfg(feature = "daemon")]
mod run_clock;
#[cfg(feature = "daemon")]
mod run_site;
#[cfg(feature = "daemon")]
mod run_weather;
mod soil;
mod sources;
mod sun;
mod threads;
mod timetable;
mod weather;

pub use failure::Failure;

/// Watering for growing grass from seed: how long, how often, and why.
#[derive(Debug, Parser)]
#[command(
    name = "soakmist",
    version,
    propagate_version = true,
    max_term_width = 80
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Print the watering timetable of a site (nothing is opened)
    Timetable(timetable::TimetableArguments),
    /// Water a site: drive its valves by the plan, for weeks
    #[cfg(feature = "daemon")]
    Run(run::RunArguments),
    /// See it water a ground that is not there: a day in a minute, no hardware
    Demo(demo::DemoArguments),
    /// How the running daemon stands: alarms, valves, next runs, zones
    #[cfg(feature = "daemon")]
    Status(daemon::StatusArguments),
    /// Close a zone's valve, or all, and water nothing there for an hour
    #[cfg(feature = "daemon")]
    Stop(daemon::StopArguments),
    /// Water a zone now
    #[cfg(feature = "daemon")]
    Water(daemon::WaterArguments),
    /// Tell the daemon what happened: emerged, all-up, hand-watered, rain, mown
    #[cfg(feature = "daemon")]
    Record(daemon::RecordArguments),
    /// Water nothing for a while, such as during a match
    #[cfg(feature = "daemon")]
    Hold(daemon::HoldArguments),
    /// End a hold
    #[cfg(feature = "daemon")]
    Resume(daemon::ResumeArguments),
    /// Tell the daemon that you have looked after its alarms
    #[cfg(feature = "daemon")]
    Acknowledge(daemon::AcknowledgeArguments),
    /// Try a season out on soil columns, beside fixed timers
    Backtest(backtest::BacktestArguments),
    /// Tell everything that is wrong or doubtful in a site file
    Check(check::CheckArguments),
    /// Turn catch-can readings into precipitation rate and uniformity
    CatchCans(catch_cans::CatchCansArguments),
    /// Turn a weather CSV into reference evapotranspiration
    Et0(et0::Et0Arguments),
    /// Class and water-holding of a soil from sand, clay and organic matter
    Soil(soil::SoilArguments),
    /// Sunrise, solar noon and sunset of a place and date
    Sun(sun::SunArguments),
    /// The weather of a site for the next days, and where it comes from
    Weather(weather::WeatherArguments),
}

/// Runs the command line of this process.
#[must_use]
pub fn main() -> ExitCode {
    let arguments = Arguments::try_parse().unwrap_or_else(|error| usage_error(&error));
    let outcome = match arguments.command {
        Command::Timetable(arguments) => timetable::run(&arguments),
        #[cfg(feature = "daemon")]
        Command::Run(arguments) => run::run(&arguments),
        Command::Demo(arguments) => demo::run(&arguments),
        #[cfg(feature = "daemon")]
        Command::Status(arguments) => daemon::status(&arguments),
        #[cfg(feature = "daemon")]
        Command::Stop(arguments) => daemon::stop(&arguments),
        #[cfg(feature = "daemon")]
        Command::Water(arguments) => daemon::water(&arguments),
        #[cfg(feature = "daemon")]
        Command::Record(arguments) => daemon::record(&arguments),
        #[cfg(feature = "daemon")]
        Command::Hold(arguments) => daemon::hold(&arguments),
        #[cfg(feature = "daemon")]
        Command::Resume(arguments) => daemon::resume(&arguments),
        #[cfg(feature = "daemon")]
        Command::Acknowledge(arguments) => daemon::acknowledge(&arguments),
        Command::Backtest(arguments) => backtest::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::CatchCans(arguments) => catch_cans::run(&arguments),
        Command::Et0(arguments) => et0::run(&arguments),
        Command::Soil(arguments) => soil::run(&arguments),
        Command::Sun(arguments) => sun::run(&arguments),
        Command::Weather(arguments) => weather::run(&arguments),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failure.report(),
    }
}

/// Tells what is wrong with the arguments, or prints the help asked for, and
/// ends. Errors are broken at 80 columns, which clap does for help alone.
fn usage_error(error: &clap::Error) -> ! {
    let text = error.render().to_string();
    if !error.use_stderr() || output::fits(&text) {
        error.exit();
    }
    eprint!("{}", output::wrapped(&text));
    std::process::exit(error.exit_code());
}
