//! One day in full: the deep soak's cycles together by zone, then every other
//! run in order of time.

use std::collections::BTreeMap;

use super::columns::{
    FAINT, HEADING, PAGE, fit, left, left_name, painted, paragraph, right, trim_line_end, width,
};
use super::format::{depth, depth_number, depth_unit, minutes_seconds, volume};
use super::header::open_time;
use super::legend::Printed;
use super::local_time::{clock, long_day};
use super::model::{DayView, RunView, View};
use super::reason::reason_in_short;
use super::summary::milestones_of;
use super::words;
use crate::plan::timetable::Trigger;
use crate::units::Depth;

/// Widest zone column of a day.
const WIDEST_ZONE: usize = 14;

/// Appends one day; its reasons are `printed`.
pub(super) fn append(out: &mut String, view: &View<'_>, day: &DayView, printed: &mut Printed) {
    let runs = &view.runs[day.runs.clone()];
    let sums = match runs.len() {
        0 => "no watering".to_string(),
        count => format!(
            "{}, {}, {}",
            words::count(count, "run", "runs"),
            volume(day.totals.volume, view.units()),
            open_time(day.totals.open)
        ),
    };
    let rain = match day.rain_mm >= 0.05 {
        true => format!(
            "\n  rain {}",
            depth(Depth::from_mm(day.rain_mm), view.units())
        ),
        false => String::new(),
    };
    out.push_str(&painted(HEADING, &long_day(day.date)));
    out.push_str(&format!(": {sums}{rain}\n"));
    for line in milestones_of(view, day.date) {
        paragraph(out, "  » ", &line, PAGE);
    }
    let (soak, rest): (Vec<_>, Vec<_>) = runs
        .iter()
        .partition(|view| view.run.reason.trigger == Trigger::PreSoak);
    soak_block(out, view, &soak);
    table(out, view, &rest, printed);
}

/// The cycles of the deep soak, a line a zone and its start times below.
fn soak_block(out: &mut String, view: &View<'_>, runs: &[&RunView<'_>]) {
    let mut by_zone: BTreeMap<usize, Vec<&RunView<'_>>> = BTreeMap::new();
    for run in runs {
        by_zone.entry(run.run.zone).or_default().push(run);
    }
    for cycles in by_zone.values() {
        let (Some(first), Some(last)) = (cycles.first(), cycles.last()) else {
            continue;
        };
        let depths: Depth = cycles.iter().map(|cycle| cycle.run.depth).sum();
        let text = format!(
            "soak {}, {}, {}, done {}",
            cycle_numbers(first, last),
            each(cycles),
            depth(depths, view.units()),
            clock(last.run.end().with_timezone(&last.start.timezone()), false),
        );
        paragraph(
            out,
            &format!("  {}  ", left_name(first.zone, zone_width(runs))),
            &text,
            PAGE,
        );
        let seconds = any_seconds(cycles);
        let starts: Vec<_> = cycles
            .iter()
            .map(|cycle| clock(cycle.start, seconds))
            .collect();
        let label = " ".repeat(zone_width(runs) + 4);
        paragraph(out, &format!("{label}at "), &starts.join(" "), PAGE);
    }
}

/// `cycles 1–4 of 7`.
fn cycle_numbers(first: &RunView<'_>, last: &RunView<'_>) -> String {
    match (first.run.reason.cycle, last.run.reason.cycle) {
        (Some(a), Some(b)) if a.number == b.number => format!("cycle {} of {}", a.number, a.of),
        (Some(a), Some(b)) => format!("cycles {}–{} of {}", a.number, b.number, b.of),
        _ => "one run".to_string(),
    }
}

/// `6:40 min each`, or the span of run times.
fn each(cycles: &[&RunView<'_>]) -> String {
    let times = || cycles.iter().map(|cycle| cycle.run.duration);
    let (shortest, longest) = (
        times().min().unwrap_or_default(),
        times().max().unwrap_or_default(),
    );
    match (cycles.len(), shortest == longest) {
        (1, _) => format!("{} min", minutes_seconds(longest)),
        (_, true) => format!("{} min each", minutes_seconds(longest)),
        _ => format!(
            "{} to {} min each",
            minutes_seconds(shortest),
            minutes_seconds(longest)
        ),
    }
}

fn table(out: &mut String, view: &View<'_>, runs: &[&RunView<'_>], printed: &mut Printed) {
    if runs.is_empty() {
        return;
    }
    let seconds = any_seconds(runs);
    let zone = zone_width(runs);
    let start = if seconds { 8 } else { 5 };
    let times: Vec<_> = runs
        .iter()
        .map(|run| minutes_seconds(run.run.duration))
        .collect();
    let depths: Vec<_> = runs
        .iter()
        .map(|run| depth_number(run.run.depth, view.units()))
        .collect();
    let (time, deep) = (widest(&times, 5), widest(&depths, 4));
    let head = format!(
        "  {}  {}  {} {} {}  why",
        left("start", start),
        left("zone", zone),
        right("min:s", time),
        right(depth_unit(view.units()), deep),
        left("stage", 6)
    );
    out.push_str(&painted(FAINT, &head));
    out.push('\n');
    let room = PAGE - width(&head) + 3;
    for ((run, run_time), depth) in runs.iter().zip(&times).zip(&depths) {
        let why = fit(&reason_in_short(view.site, run.run, room), room);
        printed.hear(&why);
        out.push_str(&format!(
            "  {}  {}  {} {} {}  {why}",
            clock(run.start, seconds),
            left_name(run.zone, zone),
            right(run_time, time),
            right(depth, deep),
            left(words::stage_in_short(run.run.stage), 6)
        ));
        trim_line_end(out);
        out.push('\n');
    }
}

fn any_seconds(runs: &[&RunView<'_>]) -> bool {
    runs.iter().any(|view| view.run.start.timestamp() % 60 != 0)
}

fn widest(texts: &[String], at_least: usize) -> usize {
    texts
        .iter()
        .map(|text| width(text))
        .max()
        .unwrap_or(0)
        .max(at_least)
}

fn zone_width(runs: &[&RunView<'_>]) -> usize {
    let widest = runs.iter().map(|view| width(view.zone)).max().unwrap_or(0);
    widest.clamp(4, WIDEST_ZONE)
}
