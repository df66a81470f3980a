//! The commands that talk to the running daemon: `status`, `stop`, `water`,
//! `record`, `hold`, `resume` and `acknowledge`.

mod client;
mod page;
mod record;

use std::path::PathBuf;

use super::{Failure, output};
use crate::cli::planning::load_site;
use crate::daemon::{Request, seconds};
use crate::site::UnitSystem;
use client::{Address, Client};
pub use record::{RecordArguments, record};

/// Arguments of `soakmist status`.
#[derive(Debug, clap::Args)]
pub struct StatusArguments {
    /// Site file that says where its daemon answers, and in which units
    #[arg(value_name = "SITE.toml")]
    site: Option<PathBuf>,
    /// The whole answer of the daemon as JSON
    #[arg(long)]
    json: bool,
    /// Only whether the daemon lives: 0 if so, 1 if it hangs
    #[arg(long, conflicts_with = "json")]
    healthy: bool,
    #[command(flatten)]
    address: Address,
}

/// Arguments of `soakmist stop`.
#[derive(Debug, clap::Args)]
pub struct StopArguments {
    /// Zone to stop, or all
    #[arg(value_name = "ZONE|all")]
    zone: String,
    #[command(flatten)]
    address: Address,
}

/// Arguments of `soakmist water`.
#[derive(Debug, clap::Args)]
pub struct WaterArguments {
    /// Zone to water
    zone: String,
    /// How long, such as 5min or 90s
    #[arg(value_name = "TIME", value_parser = seconds)]
    seconds: u32,
    /// Though a plan would not: in a hold, against the watering rules, with
    /// people on the grass
    #[arg(long)]
    anyway: bool,
    #[command(flatten)]
    address: Address,
}

/// Arguments of `soakmist hold`.
#[derive(Debug, clap::Args)]
pub struct HoldArguments {
    /// How long nothing is to be watered, such as 24h or 2d
    #[arg(value_name = "TIME", value_parser = seconds)]
    seconds: u32,
    /// Why, in your own words
    #[arg(default_value = "")]
    note: String,
    /// Only this zone [default: the whole site]
    #[arg(long)]
    zone: Option<String>,
    #[command(flatten)]
    address: Address,
}

/// Arguments of `soakmist resume`.
#[derive(Debug, clap::Args)]
pub struct ResumeArguments {
    /// Zone to water again, or all
    #[arg(
        value_name = "ZONE|all",
        default_value = "all",
        hide_default_value = true
    )]
    named: String,
    /// The same as ZONE, as for `hold`
    #[arg(long, conflicts_with = "named")]
    zone: Option<String>,
    #[command(flatten)]
    address: Address,
}

/// Arguments of `soakmist acknowledge`.
#[derive(Debug, clap::Args)]
pub struct AcknowledgeArguments {
    #[command(flatten)]
    address: Address,
}

/// Prints how everything stands.
///
/// # Errors
/// [`Failure`]; 3 when no daemon answers.
pub fn status(arguments: &StatusArguments) -> Result<(), Failure> {
    let site = arguments.site.as_deref().map(load_site).transpose()?;
    let client = match (&site, &arguments.site) {
        (Some(site), Some(path)) => Client::of_site(&arguments.address, site, path)?,
        _ => Client::new(&arguments.address)?,
    };
    if arguments.healthy {
        return output::emit(&(client.health()? + "\n"));
    }
    let text = client.status_text()?;
    if arguments.json {
        return output::emit(&text);
    }
    let units = site.map_or(UnitSystem::Si, |site| site.units);
    output::emit(&page::page(&client::status_in(&text)?, units))
}

/// Stops one zone or all.
///
/// # Errors
/// [`Failure`]; 1 when it is refused, 3 when no daemon answers.
pub fn stop(arguments: &StopArguments) -> Result<(), Failure> {
    let zone = one_or_all(&arguments.zone);
    ask(&arguments.address, &Request::Stop { zone })
}

/// None is the whole site.
fn one_or_all(zone: &str) -> Option<String> {
    (zone != "all").then(|| zone.to_owned())
}

/// Waters a zone now.
///
/// # Errors
/// As [`stop`].
pub fn water(arguments: &WaterArguments) -> Result<(), Failure> {
    let request = Request::Water {
        zone: arguments.zone.clone(),
        seconds: arguments.seconds,
        anyway: arguments.anyway,
    };
    ask(&arguments.address, &request)
}

/// Waters nothing for a while.
///
/// # Errors
/// As [`stop`].
pub fn hold(arguments: &HoldArguments) -> Result<(), Failure> {
    let request = Request::Hold {
        zone: arguments.zone.clone(),
        seconds: arguments.seconds,
        note: arguments.note.clone(),
    };
    ask(&arguments.address, &request)
}

/// Ends a hold.
///
/// # Errors
/// As [`stop`].
pub fn resume(arguments: &ResumeArguments) -> Result<(), Failure> {
    let named = one_or_all(&arguments.named);
    let zone = arguments.zone.clone().or(named);
    ask(&arguments.address, &Request::Resume { zone })
}

/// Tells that a person has looked after the alarms.
///
/// # Errors
/// As [`stop`].
pub fn acknowledge(arguments: &AcknowledgeArguments) -> Result<(), Failure> {
    ask(&arguments.address, &Request::Acknowledge)
}

fn ask(address: &Address, request: &Request) -> Result<(), Failure> {
    let text = Client::new(address)?.ask(request)?;
    output::emit(&output::paragraph("", &page::printable(&text)))
}
