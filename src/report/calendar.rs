//! The timetable as iCalendar (RFC 5545), for a phone.
//!
//! Someone who carries it wants to know when not to be on the grass and what
//! to do on which day. So by default the runs of all zones that follow each
//! other closely are one event ("sprinklers on"), with the runs listed inside;
//! in full, every run is an event. The dates that matter are all-day events.
//! All times are UTC, so that no calendar program has to know time zones.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use icalendar::{Calendar, Component, Event, EventLike, Property};

use super::columns::printable;
use super::format::{depth, fixed, minutes_seconds, volume};
use super::in_short::{CAUTION, long_dry_spells, warnings_in_short};
use super::local_time::clock;
use super::model::{DatedMilestone, RunView, View};
use super::reason::reason_in_full;
use super::seed_time::grave_doubts;
use super::text::Detail;
use super::words;
use crate::units::Volume;

/// Runs that follow within this time belong to one event.
const SAME_EVENT: TimeDelta = TimeDelta::minutes(30);
/// More runs than this are counted, not listed, in one event.
const MOST_LISTED: usize = 40;

/// The timetable as iCalendar: watering and dates that matter.
///
/// The bytes depend on the plan alone: the stamp is the plan's start, and an
/// event keeps its identifier (site, day, its place in the day) when the plan
/// is made anew, so that an import replaces and does not double.
#[must_use]
pub fn timetable_ical(view: &View<'_>, detail: Detail) -> String {
    let mut calendar = empty_calendar(view);
    add_dates(&mut calendar, view);
    add_watering(&mut calendar, view, detail);
    add_dry_spells(&mut calendar, view);
    folded(&calendar.to_string())
}

/// The lines folded anew (RFC 5545, 3.1: at most 75 octets). The library does
/// not count the blank that begins a continued line, and writes 76.
fn folded(text: &str) -> String {
    const MOST_OCTETS: usize = 75;
    let mut out = String::with_capacity(text.len() + text.len() / 32);
    for line in text.replace("\r\n ", "").split_terminator("\r\n") {
        let mut octets = 0;
        for c in line.chars() {
            if octets + c.len_utf8() > MOST_OCTETS {
                out.push_str("\r\n ");
                octets = 1;
            }
            out.push(c);
            octets += c.len_utf8();
        }
        out.push_str("\r\n");
    }
    out
}

fn empty_calendar(view: &View<'_>) -> Calendar {
    // The library's own first lines would name the library as the product.
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    calendar.append_property(Property::new(
        "PRODID",
        concat!("-//soakmist//soakmist ", env!("CARGO_PKG_VERSION"), "//EN"),
    ));
    calendar.append_property(Property::new("METHOD", "PUBLISH"));
    calendar.name(&printable(&format!("{}: watering", view.site.name)));
    calendar.description(&about(view).join("\n"));
    calendar
}

/// What a person must hear about the whole plan, a line each.
fn about(view: &View<'_>) -> Vec<String> {
    let grave = grave_doubts(view).into_iter();
    let doubts = grave.map(|(text, _)| format!("Doubtful: {text}"));
    let lines = doubts.chain(warnings_in_short(view));
    lines
        .chain([CAUTION.to_string()])
        .map(|line| upper_first(&printable(&line)))
        .collect()
}

/// A calendar program hides what is said about a whole calendar, so the first
/// day says it too; and each long dry spell is an event of its own.
fn add_dry_spells(calendar: &mut Calendar, view: &View<'_>) {
    if let Some(first) = view.days.first() {
        let text = about(view).join("\n");
        let mut mind = event(view, "mind", "Watering: please mind", &text);
        mind.starts(first.date);
        mind.ends(
            first
                .date
                .checked_add_days(Days::new(1))
                .unwrap_or(first.date),
        );
        calendar.push(mind.done());
    }
    let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
    for spell in long_dry_spells(view) {
        let number = seen.entry(spell.zone).or_insert(0);
        *number += 1;
        let text = format!(
            "The seed layer is drier than allowed: {} h by day and {} h by night. Look, and water \
             by hand where you may.",
            fixed(spell.spell.daylight_hours, 1),
            fixed(spell.night_hours, 1)
        );
        let summary = format!("Seed may dry: {}", spell.zone);
        let mut dry = event(
            view,
            &format!("dry-{}-{number}", spell.zone),
            &summary,
            &text,
        );
        dry.starts(spell.spell.from).ends(spell.spell.to);
        dry.append_property(Property::new("CATEGORIES", "DRY"));
        calendar.push(dry.done());
    }
}

fn add_dates(calendar: &mut Calendar, view: &View<'_>) {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    for milestone in &view.milestones {
        let first = milestone.zones.first().copied().unwrap_or_default();
        let id = format!("{}-{first}", words::milestone_key(milestone.kind));
        let number = seen.entry(id.clone()).or_insert(0);
        *number += 1;
        calendar.push(all_day(view, milestone, &format!("{id}-{number}")));
    }
}

fn add_watering(calendar: &mut Calendar, view: &View<'_>, detail: Detail) {
    let groups: Vec<&[RunView<'_>]> = match detail {
        Detail::Full => view.runs.chunks(1).collect(),
        Detail::Brief => rounds(&view.runs),
    };
    let mut place_in_day: BTreeMap<(NaiveDate, usize), usize> = BTreeMap::new();
    for group in groups {
        let Some(first) = group.first() else { continue };
        let zone = match detail {
            Detail::Full => first.run.zone,
            Detail::Brief => 0,
        };
        let number = place_in_day
            .entry((first.start.date_naive(), zone))
            .or_insert(0);
        *number += 1;
        let who = match detail {
            Detail::Full => first.zone,
            Detail::Brief => "round",
        };
        let id = format!("{}-{who}-{number}", first.start.format("%Y%m%d"));
        calendar.push(watering(view, group, &id));
    }
}

/// Runs in groups without a long pause.
fn rounds<'a, 'b>(runs: &'b [RunView<'a>]) -> Vec<&'b [RunView<'a>]> {
    let mut groups = Vec::new();
    let mut from = 0;
    let mut end: Option<DateTime<Utc>> = None;
    for (index, run) in runs.iter().enumerate() {
        if end.is_some_and(|end| run.run.start - end >= SAME_EVENT) {
            groups.push(&runs[from..index]);
            from = index;
            end = None;
        }
        end = end.max(Some(run.run.end()));
    }
    groups.push(&runs[from..]);
    groups
}

fn watering(view: &View<'_>, runs: &[RunView<'_>], id: &str) -> Event {
    let water: Volume = runs.iter().map(|run| run.run.volume).sum();
    let summary = format!("Water {} ({})", who(runs), volume(water, view.units()));
    let starts = runs
        .iter()
        .map(|run| run.run.start)
        .min()
        .unwrap_or(view.plan.from);
    let ends = runs
        .iter()
        .map(|run| run.run.end())
        .max()
        .unwrap_or(view.plan.to);
    let mut event = event(view, id, &summary, &listing(view, runs));
    event.starts(starts).ends(ends);
    event.append_property(Property::new("CATEGORIES", "WATERING"));
    event.done()
}

/// The zones by name while they are few.
fn who(runs: &[RunView<'_>]) -> String {
    const MOST_NAMED: usize = 3;
    let mut zones: Vec<&str> = Vec::new();
    for run in runs {
        if !zones.contains(&run.zone) {
            zones.push(run.zone);
        }
    }
    match zones.len() {
        1..=MOST_NAMED => words::list(&zones),
        count => format!("{count} zones"),
    }
}

fn listing(view: &View<'_>, runs: &[RunView<'_>]) -> String {
    let mut text = String::new();
    for view_of_run in runs.iter().take(MOST_LISTED) {
        let run = view_of_run.run;
        let _ = writeln!(
            text,
            "{} {}: {} min, {}. {}",
            clock(view_of_run.start, true),
            view_of_run.zone,
            minutes_seconds(run.duration),
            depth(run.depth, view.units()),
            reason_in_full(view.site, run)
        );
    }
    if runs.len() > MOST_LISTED {
        let _ = writeln!(text, "and {} more runs", runs.len() - MOST_LISTED);
    }
    text.truncate(text.trim_end().len());
    text
}

fn all_day(view: &View<'_>, milestone: &DatedMilestone<'_>, id: &str) -> Event {
    let what = words::milestone(milestone.kind);
    let summary = format!("{what}: {}", view.who(&milestone.zones));
    let mut event = event(view, id, &upper_first(&summary), &milestone.text);
    event.starts(milestone.date);
    event.ends(
        milestone
            .date
            .checked_add_days(Days::new(1))
            .unwrap_or(milestone.date),
    );
    event.append_property(Property::new("CATEGORIES", "SEEDING"));
    event.done()
}

/// What all events share. They do not block anybody's time.
fn event(view: &View<'_>, id: &str, summary: &str, description: &str) -> Event {
    let lines: Vec<String> = description.lines().map(printable).collect();
    let mut event = Event::new();
    event.uid(&format!(
        "{}{}-{}@soakmist",
        identifier(&view.site.name),
        of_zones(view),
        identifier(id)
    ));
    event.timestamp(view.plan.from);
    event.summary(&printable(summary));
    event.description(&lines.join("\n"));
    event.location(&printable(&view.site.name));
    event.append_property(Property::new("TRANSP", "TRANSPARENT"));
    event
}

/// The zones of a calendar that does not hold all of them, so that its events
/// do not take the place of those of another zone's calendar. Zones are told by
/// their place in the site: a long list of names makes no identifier.
fn of_zones(view: &View<'_>) -> String {
    const MOST_NAMED: usize = 3;
    if !view.is_partial() {
        return String::new();
    }
    let named = view.zones.len() <= MOST_NAMED;
    let zones = view.zones.iter().map(|zone| match named {
        true => format!("-{}", identifier(&zone.zone.name)),
        false => format!("-{}", zone.index),
    });
    zones.collect()
}

fn upper_first(text: &str) -> String {
    let mut characters = text.chars();
    characters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(characters).collect()
    })
}

/// Lower-case letters, digits and hyphens only; other letters by number, so
/// that different names stay different.
fn identifier(name: &str) -> String {
    let mut out = String::new();
    for c in name.chars() {
        match c {
            'a'..='z' | '0'..='9' => out.push(c),
            'A'..='Z' => out.push(c.to_ascii_lowercase()),
            _ if c.is_ascii() => out.push('-'),
            _ => {
                let _ = write!(out, "u{:x}", u32::from(c));
            }
        }
    }
    out
}
