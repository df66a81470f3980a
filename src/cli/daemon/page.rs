//! How everything stands, on one page for a person: what is wrong first, then
//! what is open, what comes, and how wet the zones are.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Tz;

use crate::cli::output::paragraph;
use crate::daemon::{RunStatus, Status, ZoneStatus};
use crate::site::UnitSystem;
use crate::units::{Dimension, show_duration, show_quantity};

/// Room for the name of a zone; a longer one is cut so that lines stay short.
const NAME: usize = 24;

/// The text without anything that could move the cursor or break the line.
pub(super) fn printable(text: &str) -> String {
    let plain = |c: char| if c.is_control() { ' ' } else { c };
    text.chars().map(plain).collect()
}

/// The page.
pub(super) fn page(status: &Status, units: UnitSystem) -> String {
    let page = Page {
        status,
        units,
        zone: status.time_zone.parse().unwrap_or(Tz::UTC),
    };
    [page.head(), page.open(), page.runs(), page.zones()]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("\n")
}

struct Page<'a> {
    status: &'a Status,
    units: UnitSystem,
    zone: Tz,
}

impl Page<'_> {
    fn at(&self, at: DateTime<Utc>) -> String {
        let (local, today) = (
            at.with_timezone(&self.zone),
            self.status.now.with_timezone(&self.zone).date_naive(),
        );
        if local.date_naive() == today {
            local.format("%H:%M").to_string()
        } else {
            local.format("%a %-d %b %H:%M").to_string()
        }
    }

    fn depth(&self, mm: f64) -> String {
        show_quantity(mm, Dimension::Depth, self.units).unwrap_or_default()
    }

    /// Name, time and everything that is not as it should be.
    fn head(&self) -> String {
        let Status {
            site, now, phase, ..
        } = self.status;
        let now = now.with_timezone(&self.zone);
        let line = format!(
            "{}: {}, {} ({})",
            printable(site),
            printable(phase),
            now.format("%a %-d %b %Y %H:%M"),
            self.zone.name()
        );
        let mut out = paragraph("", &line);
        for alarm in &self.status.alarms {
            out += &paragraph("ALARM    ", &printable(alarm));
        }
        if !self.status.broker {
            let text = "not connected, so no valve can be reached";
            out += &paragraph("broker   ", text);
        }
        if let Some(problem) = &self.status.weather_problem {
            out += &paragraph("weather  ", &printable(problem));
        }
        if self.status.dry_run {
            out += &paragraph("dry run  ", "everything but opening valves");
        }
        for (zone, hours) in self.dry_hours() {
            let long = if hours < 1.0 {
                format!("{:.0} min", hours * 60.0)
            } else {
                format!("{hours:.1} h")
            };
            let text = format!("{}: the plan leaves it dry for {long}", printable(zone));
            out += &paragraph("DRY      ", &text);
        }
        out
    }

    /// The zones that dry, each once, and for how long in all [h]. Less than a
    /// minute is not told.
    fn dry_hours(&self) -> Vec<(&str, f64)> {
        let mut all: Vec<(&str, f64)> = Vec::new();
        for (zone, hours) in &self.status.shortfalls {
            match all.iter_mut().find(|(known, _)| known == zone) {
                Some((_, sum)) => *sum += hours,
                None => all.push((zone, *hours)),
            }
        }
        all.retain(|(_, sum)| *sum * 60.0 >= 1.0);
        all
    }

    fn open(&self) -> String {
        let moving = |zone: &&ZoneStatus| !matches!(zone.valve.as_str(), "closed" | "by hand");
        let mut out = String::new();
        for zone in self.status.zones.iter().filter(moving) {
            let until = match zone.open_until {
                Some(until) => format!(" until {}", self.at(until)),
                None => String::new(),
            };
            let text = format!(
                "{}: {}{until}",
                printable(&zone.name),
                printable(&zone.valve)
            );
            out += &paragraph("valve    ", &text);
        }
        match out.is_empty() {
            true => "valve    all closed\n".to_owned(),
            false => out,
        }
    }

    fn runs(&self) -> String {
        if self.status.runs.is_empty() {
            return "next     no run is planned\n".to_owned();
        }
        let mut out = String::new();
        let width = self.status.runs.iter().map(|run| letters(&run.zone)).max();
        for (index, run) in self.status.runs.iter().enumerate() {
            let label = if index == 0 { "next     " } else { "         " };
            let _ = writeln!(out, "{label}{}", self.run(run, width.unwrap_or(0)));
        }
        out
    }

    fn run(&self, run: &RunStatus, width: usize) -> String {
        let length = show_duration(TimeDelta::seconds(run.seconds));
        format!(
            "{:>16}  {}  {length:>12}  {:>8}",
            self.at(run.start),
            padded(&run.zone, width),
            self.depth(run.depth_mm)
        )
    }

    /// One line a zone: how much of what may be missing is missing.
    fn zones(&self) -> String {
        let zones = &self.status.zones;
        let width = zones.iter().map(|zone| letters(&zone.name)).max();
        let width = width.unwrap_or(0).max(4);
        let mut out = format!(
            "{}  stage          missing of allowed     last water\n",
            padded("zone", width)
        );
        for zone in zones {
            let missing = match (zone.depletion_mm, zone.allowed_mm) {
                (Some(missing), Some(allowed)) => {
                    format!("{:>8} of {:<8}", self.depth(missing), self.depth(allowed))
                }
                _ => "not yet planned".to_owned(),
            };
            let stage = zone.stage.as_deref().unwrap_or("-");
            let last = zone.last_water.map_or("-".to_owned(), |at| self.at(at));
            let line = format!(
                "{}  {}  {missing:<20}   {last}",
                padded(&zone.name, width),
                padded(stage, 13)
            );
            let _ = writeln!(out, "{}", line.trim_end());
            if let Some(until) = zone.held_until {
                let why = zone.held_why.as_deref().map(printable);
                let why = why.map_or(String::new(), |why| format!(" ({why})"));
                let text = format!("no watering before {}{why}", self.at(until));
                out += &paragraph("         ", &text);
            }
        }
        out
    }
}

fn letters(text: &str) -> usize {
    text.chars().count().min(NAME)
}

/// Cut and filled to so many characters.
fn padded(text: &str, width: usize) -> String {
    let text: String = printable(text).chars().take(width).collect();
    format!("{text:<width$}")
}
