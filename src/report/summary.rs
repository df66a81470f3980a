//! The short parts of the text: zones, a line a day, totals, what cannot be
//! met, dates and defaults.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};

use super::columns::{
    ALARM, FAINT, PAGE, fit, left, painted, paragraph, right, trim_line_end, width,
};
use super::format::{depth, fixed, money, volume};
use super::header::{dry_of, open_time};
use super::local_time::{clock, short_day};
use super::model::{DayView, View};
use super::pre_soak;
use super::reason::cause_in_full;
use super::words;
use crate::plan::timetable::{Emergence, Shortfall, ShortfallKind, Stage};
use crate::site::Zone;
use crate::units::Depth;

/// Defaults shown before the rest is only counted.
const MOST_DEFAULTS: usize = 12;

/// A line a zone.
pub(super) fn zones(out: &mut String, view: &View<'_>) {
    let widest = view
        .zones
        .iter()
        .map(|zone| width(&zone.zone.name))
        .max()
        .unwrap_or(0);
    let name = widest.clamp(4, 18);
    let row = |cells: [&str; 6]| {
        let [zone, stage, up, runs, water, dry] = cells;
        format!(
            "  {}  {}  {}  {}  {}  {}",
            left(zone, name),
            left(stage, 13),
            left(up, 16),
            right(runs, 5),
            right(water, 9),
            right(dry, 5)
        )
    };
    let head = row(["zone", "stage now", "grass up", "runs", "water", "dry h"]);
    out.push_str(&painted(FAINT, &head));
    out.push('\n');
    for zone in &view.zones {
        out.push_str(&row([
            &zone.zone.name,
            zone.plan
                .stages
                .first()
                .map_or("", |(_, stage)| words::stage(*stage)),
            &up_between(&zone.plan.emergence),
            &zone.totals.runs.to_string(),
            &volume(zone.totals.volume, view.units()),
            &fixed(zone.totals.dry_daylight_hours, 1),
        ]));
        trim_line_end(out);
        out.push('\n');
    }
    pre_soaks(out, view);
}

/// What the deep soak comes to; zones with the same words stand together.
fn pre_soaks(out: &mut String, view: &View<'_>) {
    let mut merged: Vec<(String, Vec<&str>)> = Vec::new();
    for zone in &view.zones {
        let Some(soak) = &zone.plan.pre_soak else {
            continue;
        };
        let words = pre_soak::in_words(soak, view.units());
        match merged.iter_mut().find(|(text, _)| *text == words) {
            Some((_, zones)) => zones.push(&zone.zone.name),
            None => merged.push((words, vec![&zone.zone.name])),
        }
    }
    for (text, zones) in merged {
        let text = format!("deep soak, {}: {text}", view.who(&zones));
        paragraph(out, "  - ", &text, PAGE);
    }
}

/// `27 Aug – 3 Sep`, or the day that was recorded.
fn up_between(emergence: &Emergence) -> String {
    let day = |date: NaiveDate| date.format("%-d %b").to_string();
    match emergence.recorded || emergence.first == emergence.last {
        true if emergence.recorded => format!("since {}", day(emergence.first)),
        true => day(emergence.first),
        false => format!("{} – {}", day(emergence.first), day(emergence.last)),
    }
}

/// A line a day; dates that matter stand below it.
pub(super) fn days(out: &mut String, view: &View<'_>, days: &[DayView]) {
    let stages: Vec<Stage> = stages_of(days);
    let mut head = format!(
        "  {}  {} {} {} ",
        left("day", 10),
        right("runs", 4),
        right("water", 9),
        right("open", 6)
    );
    for stage in &stages {
        head.push_str(&right(words::stage_in_short(*stage), 7));
    }
    head.push_str(&right("rain", 9));
    out.push_str(&painted(FAINT, &head));
    out.push('\n');
    for day in days {
        day_line(out, view, day, &stages);
        for line in milestones_of(view, day.date) {
            paragraph(out, "              » ", &line, PAGE);
        }
    }
}

fn stages_of(days: &[DayView]) -> Vec<Stage> {
    let seen: BTreeMap<Stage, ()> = days
        .iter()
        .flat_map(|day| day.by_stage.keys().map(|stage| (*stage, ())))
        .collect();
    seen.into_keys().collect()
}

fn day_line(out: &mut String, view: &View<'_>, day: &DayView, stages: &[Stage]) {
    let shown = |number: usize| {
        if number == 0 {
            "·".to_string()
        } else {
            number.to_string()
        }
    };
    let minutes = (day.totals.open.num_seconds() + 30) / 60;
    let (water, open) = match day.totals.runs {
        0 => ("·".to_string(), "·".to_string()),
        _ => (
            volume(day.totals.volume, view.units()),
            format!("{}:{:02}", minutes / 60, minutes % 60),
        ),
    };
    out.push_str(&format!(
        "  {}  {} {} {} ",
        left(&short_day(day.date), 10),
        right(&shown(day.totals.runs), 4),
        right(&water, 9),
        right(&open, 6)
    ));
    for stage in stages {
        out.push_str(&right(
            &shown(day.by_stage.get(stage).copied().unwrap_or(0)),
            7,
        ));
    }
    if day.rain_mm >= 0.05 {
        out.push_str(&right(&depth(Depth::from_mm(day.rain_mm), view.units()), 9));
    }
    trim_line_end(out);
    out.push('\n');
}

/// The dates of one day in a few words each: `seed: square and nets`.
pub(super) fn milestones_of(view: &View<'_>, date: NaiveDate) -> Vec<String> {
    let mut zones: BTreeMap<_, Vec<&str>> = BTreeMap::new();
    for milestone in view
        .milestones
        .iter()
        .filter(|milestone| milestone.date == date)
    {
        zones
            .entry(milestone.kind)
            .or_default()
            .extend(&milestone.zones);
    }
    let lines = zones.into_iter();
    lines
        .map(|(kind, zones)| format!("{}: {}", words::milestone(kind), view.who(&zones)))
        .collect()
}

/// Water, time, cost, dry hours.
pub(super) fn totals(out: &mut String, view: &View<'_>) {
    let sum = &view.totals;
    let mut line = |label: &str, text: &str| paragraph(out, &format!("  {label:<9} "), text, PAGE);
    line(
        "water",
        &format!(
            "{} in {}, {}",
            volume(sum.volume, view.units()),
            words::count(sum.runs, "run", "runs"),
            open_time(sum.open)
        ),
    );
    if let (Some(cost), Some(currency)) = (sum.cost, view.currency()) {
        line("cost", &money(cost, currency));
    }
    let busiest = view.days.iter().filter(|day| day.totals.runs > 0);
    if let Some(day) = busiest.max_by(|a, b| a.totals.volume.l().total_cmp(&b.totals.volume.l())) {
        let water = volume(day.totals.volume, view.units());
        line("most", &format!("{water} on {}", short_day(day.date)));
    }
    let hours = dry_of(sum.dry_daylight_hours, sum.seed_daylight_hours);
    line(
        "seed dry",
        &format!("{hours} of daylight below the allowed depletion, all zones added"),
    );
}

/// What cannot be met, why, and what would mend it.
pub(super) fn shortfalls(out: &mut String, view: &View<'_>) {
    for (zone, shortfall) in view.shortfalls() {
        let title = fit(
            &format!("{zone}: {}", words::shortfall(shortfall.kind)),
            PAGE - 2,
        );
        out.push_str(&format!("  {}\n", painted(ALARM, &title)));
        let label = |name: &str| format!("    {name:<6} ");
        paragraph(out, &label("when"), &spell(view, shortfall), PAGE);
        paragraph(
            out,
            &label("cause"),
            &cause_in_full(view.site, shortfall),
            PAGE,
        );
        for mend in &shortfall.mend {
            paragraph(out, &label("mend"), mend, PAGE);
        }
    }
}

/// From when to when, how long and how far, in one sentence.
pub(super) fn spell(view: &View<'_>, shortfall: &Shortfall) -> String {
    let zone = view.site.place.time_zone;
    let local = |time: DateTime<Utc>| {
        let local = time.with_timezone(&zone);
        format!("{} {}", short_day(local.date_naive()), clock(local, false))
    };
    let (from, to) = (local(shortfall.from), local(shortfall.to));
    if shortfall.kind == ShortfallKind::PreSoakIncomplete {
        return format!("{from} to {to}");
    }
    // Seed counts by day only: at night it loses next to nothing.
    let hours = match shortfall.kind {
        ShortfallKind::SeedLayerDry => "h of daylight",
        _ => "h",
    };
    let mut text = format!(
        "{} {hours} too dry between {from} and {to}, the longest spell {} h",
        fixed(shortfall.hours_dry, 1),
        fixed(shortfall.longest_h, 1)
    );
    if shortfall.worst_ratio.is_finite() {
        text.push_str(&format!(
            "; at worst {} % of the allowed depletion",
            fixed(shortfall.worst_ratio * 100.0, 0)
        ));
    }
    text
}

/// Remarks, those of a zone under its name.
pub(super) fn notes(out: &mut String, view: &View<'_>) {
    for (zone, note) in view.notes() {
        let text = match zone {
            Some(zone) => format!("{zone}: {}", note.text),
            None => note.text.clone(),
        };
        paragraph(out, "  - ", &text, PAGE);
    }
}

/// Every date with what to do and why.
pub(super) fn milestones(out: &mut String, view: &View<'_>) {
    for milestone in &view.milestones {
        let label = format!("  {}  ", left(&short_day(milestone.date), 10));
        let text = format!(
            "{} ({}): {}",
            words::milestone(milestone.kind),
            view.who(&milestone.zones),
            milestone.text
        );
        paragraph(out, &label, &text, PAGE);
    }
}

/// Defaults, the same one of several zones on one line.
pub(super) fn defaults(out: &mut String, view: &View<'_>) {
    let mut merged: Vec<(String, Vec<&str>)> = Vec::new();
    let mut place: BTreeMap<String, usize> = BTreeMap::new();
    let defaults = view.site.defaults_used.iter();
    for default in defaults.filter(|default| default.shapes_the_plan()) {
        let (zone, key) = split_key(&default.key, &view.site.zones);
        if zone.is_some_and(|name| !view.zones.iter().any(|zone| zone.zone.name == name)) {
            continue;
        }
        let text = format!("{key} = {} ({})", default.value, default.why);
        let at = *place.entry(text.clone()).or_insert(merged.len());
        if at == merged.len() {
            merged.push((text, Vec::new()));
        }
        merged[at].1.extend(zone);
    }
    for (text, zones) in merged.iter().take(MOST_DEFAULTS) {
        let text = match zones.is_empty() {
            true => text.clone(),
            false => format!("{}: {text}", view.who(zones)),
        };
        paragraph(out, "  - ", &text, PAGE);
    }
    let more = merged.len().saturating_sub(MOST_DEFAULTS);
    if more > 0 {
        paragraph(
            out,
            "  - ",
            &format!("and {more} more: all of them are in the JSON"),
            PAGE,
        );
    }
}

/// `zone.nets.runs.longest` is `runs.longest` of the zone `nets`.
fn split_key<'a>(key: &'a str, zones: &'a [Zone]) -> (Option<&'a str>, &'a str) {
    let rest = key.strip_prefix("zone.").unwrap_or(key);
    let owner = zones.iter().find_map(|zone| {
        let name = zone.name.as_str();
        Some((name, rest.strip_prefix(name)?.strip_prefix('.')?))
    });
    owner.map_or((None, key), |(name, rest)| (Some(name), rest))
}
