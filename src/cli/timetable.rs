//! `soakmist timetable`: plan a site and write the plan in the form asked for.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anstream::ColorChoice;
use chrono::NaiveDate;
use clap::ValueEnum;

use super::output::paragraph;
use super::planning::{Asked, ReadSite};
use super::sources::SourceArguments;
use super::{Failure, planning, threads};
use crate::plan::make_timetable;
use crate::plan::timetable::Timetable;
use crate::report::{self, Detail, SiteDoubt, View, WeatherSource};
use crate::site::Site;

/// Arguments of `soakmist timetable`.
#[derive(Debug, clap::Args)]
pub struct TimetableArguments {
    /// The site file (TOML)
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// First local day of the plan, such as 2023-08-20
    #[arg(long, value_name = "DATE", value_parser = date)]
    from: Option<NaiveDate>,
    /// Number of local days; without it 28, or as far as the weather is known
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=366))]
    days: Option<u32>,
    /// What to write
    #[arg(long, value_enum, default_value_t = Format::Text)]
    format: Format,
    /// Every day in full; in JSON each hour, in iCalendar each run
    #[arg(long)]
    full: bool,
    /// Show the balance of this zone hour by hour, with every reason
    #[arg(long, value_name = "ZONE", conflicts_with_all = ["format", "full", "zone"])]
    explain: Option<String>,
    /// Only this zone; may be given more than once
    #[arg(long, value_name = "ZONE")]
    zone: Vec<String>,
    /// Draw depletion, rain and watering of every zone into this picture
    #[arg(long, value_name = "FILE.svg", value_parser = picture)]
    chart: Option<PathBuf>,
    /// Write to this file instead of standard output
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    /// Plan days of which no source knows the weather as warm and dry: for
    /// orientation only
    #[arg(long)]
    assume_warm_dry: bool,
    #[command(flatten)]
    sources: SourceArguments,
}

/// Forms of the timetable.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Format {
    /// For a person at a terminal
    Text,
    /// One line a run
    Csv,
    /// Everything, with a versioned schema
    Json,
    /// iCalendar, for a phone
    Ical,
    /// For a hose: a line a visit, 40 columns
    Hand,
}

/// Runs the command.
///
/// # Errors
/// See [`Failure`].
pub fn run(arguments: &TimetableArguments) -> Result<(), Failure> {
    threads::begin()?;
    let Planned {
        site,
        doubts,
        only,
        timetable,
        weather,
    } = plan(arguments)?;
    spare_the_inputs(arguments, &site)?;
    let view = View::new(&site, &timetable, &weather, &only).with_doubts(doubts);
    if let Some(path) = &arguments.chart {
        write_file(path, &report::chart_svg(&view))?;
    }
    if arguments.format == Format::Csv && arguments.explain.is_none() {
        // A line a run has no room for it; what is to be known of site and
        // weather was told when they were read.
        if let Some(warning) = report::seed_dry(&view) {
            eprint!("{}", paragraph("soakmist: ", &warning));
        }
    }
    let text = render(arguments, &view);
    match &arguments.output {
        Some(path) => write_file(path, &anstream::adapter::strip_str(&text).to_string()),
        None => print(text),
    }
}

/// A plan and what it was made from.
struct Planned {
    site: Site,
    doubts: Vec<SiteDoubt>,
    /// Indices of the zones that are asked for.
    only: Vec<usize>,
    timetable: Timetable,
    weather: WeatherSource,
}

/// Loads site and weather and plans. A zone that is not there is told before
/// anything else is looked at.
fn plan(arguments: &TimetableArguments) -> Result<Planned, Failure> {
    let ReadSite {
        mut site,
        doubts,
        mut remarks,
    } = planning::read_site(&arguments.site)?;
    let names: &[String] = match &arguments.explain {
        Some(zone) => std::slice::from_ref(zone),
        None => &arguments.zone,
    };
    let only = zone_indices(&site, names)?;
    site.weather = arguments.sources.setup(&site);
    let made = timetable(arguments, &site, &mut remarks);
    if made.is_err() || !page_tells_remarks(arguments) {
        anstream::eprint!("{remarks}");
    }
    let (timetable, weather) = made?;
    Ok(Planned {
        site,
        doubts,
        only,
        timetable,
        weather,
    })
}

/// The plan of a site and the weather that it is made with, whose remarks are
/// added to those of the site.
fn timetable(
    arguments: &TimetableArguments,
    site: &Site,
    remarks: &mut String,
) -> Result<(Timetable, WeatherSource), Failure> {
    let asked = Asked {
        from: arguments.from,
        days: arguments.days,
        assume_warm_dry: arguments.assume_warm_dry,
    };
    let planned = planning::load_weather(site, &arguments.site, &arguments.sources, asked)?;
    remarks.push_str(&planned.remarks);
    let (from, to) = planned.span;
    let weather = planned.source;
    let timetable = make_timetable(site, &planned.hours, from, to)
        .map_err(|error| planning::plan_failure(site, &weather.name, error))?;
    Ok((timetable, weather))
}

/// Whether what is printed says itself what is doubtful in site and weather.
fn page_tells_remarks(arguments: &TimetableArguments) -> bool {
    arguments.format == Format::Text && arguments.explain.is_none() && arguments.output.is_none()
}

/// Refuses to write over what was read: a slip of the hand would lose it.
fn spare_the_inputs(arguments: &TimetableArguments, site: &Site) -> Result<(), Failure> {
    let folder = arguments.site.parent().unwrap_or(Path::new(""));
    let setup = &site.weather;
    let file = setup.file.iter().map(|file| &file.path);
    let loggers = setup.loggers.iter().map(|logger| &logger.path);
    let named = file.chain(loggers).chain(&setup.typical_year);
    let mut inputs: Vec<PathBuf> = named.map(|path| folder.join(path)).collect();
    inputs.push(arguments.site.clone());
    for output in [&arguments.output, &arguments.chart].into_iter().flatten() {
        let Ok(place) = output.canonicalize() else {
            continue;
        };
        let is_read = inputs
            .iter()
            .any(|input| input.canonicalize().is_ok_and(|input| input == place));
        if is_read {
            return Err(Failure::Input(format!(
                "{} is read for this plan and is not written over: choose another name",
                output.display()
            )));
        }
    }
    Ok(())
}

fn render(arguments: &TimetableArguments, view: &View<'_>) -> String {
    if let (Some(_), Some(zone)) = (&arguments.explain, view.zones.first()) {
        return report::explain_zone(view, zone);
    }
    let detail = if arguments.full {
        Detail::Full
    } else {
        Detail::Brief
    };
    match arguments.format {
        Format::Text => report::timetable_text(view, detail),
        Format::Csv => report::timetable_csv(view),
        Format::Json => report::timetable_json(view, detail),
        Format::Ical => report::timetable_ical(view, detail),
        Format::Hand => report::hand_watering(view),
    }
}

/// The indices of zones by name.
pub(super) fn zone_indices(site: &Site, names: &[String]) -> Result<Vec<usize>, Failure> {
    let known: Vec<&str> = site.zones.iter().map(|zone| zone.name.as_str()).collect();
    let index = |name: &String| {
        let found = known.iter().position(|zone| zone == name);
        found.ok_or_else(|| Failure::Input(unknown_zone(&known, name)))
    };
    names.iter().map(index).collect()
}

fn unknown_zone(known: &[&str], name: &str) -> String {
    const ALIKE: f64 = 0.7;
    const MOST_NAMED: usize = 12;
    let likeness = |zone: &&&str| strsim::jaro_winkler(zone, name);
    let nearest = known
        .iter()
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    match nearest.filter(|nearest| likeness(nearest) > ALIKE) {
        Some(nearest) => format!("no zone {name:?} in this site; did you mean {nearest:?}?"),
        None => {
            let named = known
                .iter()
                .take(MOST_NAMED)
                .copied()
                .collect::<Vec<_>>()
                .join(", ");
            let more = if known.len() > MOST_NAMED {
                ", …"
            } else {
                ""
            };
            format!("no zone {name:?} in this site; it has {named}{more}")
        }
    }
}

/// Prints at once; colours only where the terminal shows them.
fn print(text: String) -> Result<(), Failure> {
    let stdout = io::stdout();
    let text = match anstream::AutoStream::choice(&stdout) {
        ColorChoice::Never => anstream::adapter::strip_str(&text).to_string(),
        _ => text,
    };
    let mut stdout = stdout.lock();
    Failure::from_output(
        stdout
            .write_all(text.as_bytes())
            .and_then(|()| stdout.flush()),
    )
}

#[expect(
    clippy::disallowed_methods,
    reason = "this is where the command writes its files"
)]
pub(super) fn write_file(path: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(path, text)
        .map_err(|error| Failure::Io(format!("cannot write {}: {error}", path.display())))
}

/// A picture is written as SVG, whatever the name says; so the name must not
/// say anything else.
fn picture(text: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(text);
    let is_svg = path
        .extension()
        .is_some_and(|extension| extension.eq_ignore_ascii_case("svg"));
    match is_svg {
        true => Ok(path),
        false => Err("the picture is SVG: give a name that ends in .svg".to_string()),
    }
}

pub(super) fn date(text: &str) -> Result<NaiveDate, String> {
    if let Ok(date) = NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        return Ok(date);
    }
    let parts: Vec<&str> = text.split('-').collect();
    let digits = |part: &&str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    if parts.len() == 3 && parts.iter().all(digits) {
        return Err("there is no such day in the calendar".to_string());
    }
    Err("not a day; write it as year-month-day, such as 2023-08-20".to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_misspelt_zone_gets_a_suggestion_and_a_strange_one_the_list() {
        let known = ["square", "nets", "outfield"];
        assert_eq!(
            unknown_zone(&known, "outfeild"),
            "no zone \"outfeild\" in this site; did you mean \"outfield\"?"
        );
        assert_eq!(
            unknown_zone(&known, "xyz"),
            "no zone \"xyz\" in this site; it has square, nets, outfield"
        );
    }

    #[test]
    fn dates_that_make_no_sense_are_refused() {
        assert!(date("2023-08-20").is_ok());
        assert!(date("20.8.2023").is_err_and(|text| text.contains("2023-08-20")));
        assert!(date("2023-02-30").is_err_and(|text| text.contains("no such day")));
        assert!(picture("a.SVG").is_ok() && picture("a.png").is_err() && picture("svg").is_err());
    }
}
