//! `soakmist backtest`: try a season out on soil columns, beside fixed timers.

use std::io::{IsTerminal as _, Write as _};
use std::path::PathBuf;
use std::sync::Mutex;

use chrono::NaiveDate;

use super::arguments::wind_height;
use super::output::{Format, emit};
use super::planning::ReadSite;
use super::timetable::{date, write_file, zone_indices};
use super::{Failure, planning, threads};
use crate::backtest::{self, Order};
use crate::report;

/// Width of the progress bar.
const BAR: usize = 40;

/// Arguments of `soakmist backtest`.
#[derive(Debug, clap::Args)]
pub struct BacktestArguments {
    /// The site file (TOML)
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// Weather CSV; without it, the file that the site names
    #[arg(long, value_name = "FILE.csv")]
    weather: Option<PathBuf>,
    /// Height at which the wind of that file was measured [m]
    #[arg(long, value_name = "M", value_parser = wind_height)]
    wind_height: Option<f64>,
    /// First local day, such as 2023-08-20
    #[arg(long, value_name = "DATE", value_parser = date)]
    from: Option<NaiveDate>,
    /// Number of local days
    #[arg(long, value_name = "N", default_value_t = 28,
          value_parser = clap::value_parser!(u32).range(1..=366))]
    days: u32,
    /// Only report this zone; may be given more than once
    #[arg(long, value_name = "ZONE")]
    zone: Vec<String>,
    /// Grounds to draw beside the exact one
    #[arg(long, value_name = "N", default_value_t = 20,
          value_parser = clap::value_parser!(u32).range(0..=1000))]
    draws: u32,
    /// Seed of every drawn error
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Threads; without it, one for each core
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    threads: Option<u16>,
    /// What to write
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Draw the moisture under plan and practice into this picture
    #[arg(long, value_name = "FILE.svg")]
    chart: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(arguments: &BacktestArguments) -> Result<(), Failure> {
    threads::begin()?;
    let ReadSite { site, remarks, .. } = planning::read_site(&arguments.site)?;
    let mut zones = zone_indices(&site, &arguments.zone)?;
    anstream::eprint!("{remarks}");
    let (weather, height_m) = (arguments.weather.as_deref(), arguments.wind_height);
    let weather = planning::load_weather_file(&site, &arguments.site, weather, height_m)?;
    anstream::eprint!("{}", weather.remarks);
    let (from, to) = planning::span(&site, arguments.from, arguments.days);
    if zones.is_empty() {
        zones = (0..site.zones.len()).collect();
    }
    let order = Order {
        site: &site,
        weather: &weather.hours,
        from,
        to,
        zones: &zones,
        draws: arguments.draws,
        seed: arguments.seed,
    };
    let threads = arguments.threads.map_or_else(
        || std::thread::available_parallelism().map_or(1, usize::from),
        usize::from,
    );
    let bar = Bar::new();
    let found = backtest::run(&order, threads, &|done, of| bar.show(done, of))
        .map_err(|error| Failure::Input(error.to_string()))?;
    bar.clear();
    if let Some(path) = &arguments.chart {
        write_file(path, &report::backtest_svg(&found, &site))?;
    }
    emit(&match arguments.format {
        Format::Text => report::backtest_text(&found, &site),
        Format::Json => report::backtest_json(&found),
    })
}

/// A progress bar on standard error, where that is a terminal.
struct Bar {
    /// Cells drawn last; none without a terminal.
    drawn: Option<Mutex<usize>>,
}

impl Bar {
    fn new() -> Self {
        Self {
            drawn: std::io::stderr().is_terminal().then(|| Mutex::new(0)),
        }
    }

    fn show(&self, done: usize, of: usize) {
        let Some(Ok(mut drawn)) = self.drawn.as_ref().map(Mutex::lock) else {
            return;
        };
        let cells = BAR * done / of.max(1);
        // Threads may report in any order; a bar never runs backwards.
        if cells > *drawn {
            *drawn = cells;
            let percent = 100 * done / of.max(1);
            // A bar that cannot be drawn is no reason to stop.
            let _ = write!(
                std::io::stderr(),
                "\r{:<BAR$} {percent:3} %",
                "#".repeat(cells)
            );
        }
    }

    fn clear(&self) {
        if self.drawn.is_some() {
            let _ = write!(std::io::stderr(), "\r{:width$}\r", "", width = BAR + 6);
        }
    }
}
