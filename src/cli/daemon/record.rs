//! `soakmist record`: what a person has seen or done on the ground.

use super::client::{Address, Client, status_in};
use super::page::printable;
use crate::cli::{Failure, output};
use crate::daemon::Request;
use crate::store::RecordKind;
use crate::units::{Dimension, parse_quantity};

/// Arguments of `soakmist record`.
#[derive(Debug, clap::Args)]
pub struct RecordArguments {
    /// What has happened
    #[arg(value_enum)]
    what: Happened,
    /// How deep, for hand-watered and rain: 3mm, 0.12in
    #[arg(value_name = "DEPTH", value_parser = depth_mm)]
    depth: Option<f64>,
    /// On this zone [default: on all of them, where that makes sense]
    #[arg(long)]
    zone: Option<String>,
    /// Anything worth remembering, in your own words
    #[arg(long, default_value = "")]
    note: String,
    #[command(flatten)]
    address: Address,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Happened {
    /// The first green shows: seed is still misted until the slowest is up
    Emerged,
    /// All of it is up, the slowest species too: roots are watered from now on
    AllUp,
    /// It was watered by hand, so deep
    HandWatered,
    /// So much rain was in a gauge, emptied since the last record
    Rain,
    /// It was mown
    Mown,
    /// The last record was a slip: it is as though it had not been given
    TakeBack,
}

/// Records what has happened.
///
/// # Errors
/// [`Failure`]; 1 when it is refused, 3 when no daemon answers.
pub fn record(arguments: &RecordArguments) -> Result<(), Failure> {
    let zone = arguments.zone.clone();
    let request = match arguments.what {
        Happened::TakeBack if arguments.depth.is_none() => Request::TakeBack { zone },
        _ => Request::Record {
            zone,
            what: kind(arguments)?,
            note: arguments.note.clone(),
        },
    };
    let client = Client::new(&arguments.address)?;
    if arguments.zone.is_none()
        && matches!(
            arguments.what,
            Happened::Emerged | Happened::AllUp | Happened::HandWatered
        )
    {
        one_zone_only(&client)?;
    }
    let text = client.ask(&request)?;
    output::emit(&output::paragraph("", &printable(&text)))
}

fn kind(arguments: &RecordArguments) -> Result<RecordKind, Failure> {
    let wrong = |text: &str| Err(Failure::Input(text.to_owned()));
    match (arguments.what, arguments.depth) {
        (Happened::Emerged, None) => Ok(RecordKind::Emerged),
        (Happened::AllUp, None) => Ok(RecordKind::AllUp),
        (Happened::Mown, None) => Ok(RecordKind::Mown),
        (Happened::HandWatered, Some(depth_mm)) => Ok(RecordKind::HandWatered { depth_mm }),
        (Happened::Rain, Some(depth_mm)) => Ok(RecordKind::Rain { depth_mm }),
        (Happened::HandWatered, None) => {
            wrong("how deep? write for example `soakmist record hand-watered 3mm --zone ZONE`")
        }
        (Happened::Rain, None) => wrong("how deep? write for example `soakmist record rain 4mm`"),
        (Happened::Emerged | Happened::AllUp | Happened::Mown | Happened::TakeBack, _) => {
            wrong("only hand-watered and rain have a depth: leave it out")
        }
    }
}

/// Grass does not come up everywhere at once, and nobody waters a whole
/// ground by hand: what is meant for one zone must not be taken for all.
fn one_zone_only(client: &Client) -> Result<(), Failure> {
    let status = status_in(&client.status_text()?)?;
    if status.zones.len() <= 1 {
        return Ok(());
    }
    let names: Vec<String> = status.zones.iter().map(|z| printable(&z.name)).collect();
    Err(Failure::Input(format!(
        "on which zone? add --zone with one of {}",
        names.join(", ")
    )))
}

fn depth_mm(text: &str) -> Result<f64, String> {
    parse_quantity(text, Dimension::Depth)
        .map_err(|error| format!("{error}; write it with its unit, such as 3mm or 0.12in"))
}
