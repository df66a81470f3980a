//! Why a run is there and why then, in words: a few for a column and full
//! sentences for everything else. Both are made from the same fields.

use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveDateTime, TimeDelta, Utc};

use super::columns::{fit, printable, width};
use super::format::{depth, depth_number, hours_minutes};
use super::words;
use crate::plan::timetable::{Constraint, Moved, Run, Shortfall, Stage, Trigger};
use crate::site::{ExceptionEffect, QuietDays, QuietWindow, Site};
use crate::units::Depth;

/// Smaller shifts than this are not worth a person's eye in a column.
const WORTH_TELLING_MIN: i64 = 5;
/// Smaller depths than this are not worth telling at all.
const WORTH_TELLING_MM: f64 = 0.05;

/// The reason in as many of its parts as fit into `room` columns, the most
/// telling first.
#[must_use]
pub fn reason_in_short(site: &Site, run: &Run, room: usize) -> String {
    let parts = parts(site, run);
    let mut kept: Vec<(&Part, bool)> = Vec::new();
    for part in &parts {
        kept.push((part, false));
        if joined_width(&kept) > room {
            kept.pop();
            break;
        }
    }
    if kept.is_empty() {
        return fit(parts.first().map_or("", |part| part.brief.as_str()), room);
    }
    for index in 0..kept.len() {
        kept[index].1 = true;
        if joined_width(&kept) > room {
            kept[index].1 = false;
        }
    }
    let texts: Vec<&str> = kept.iter().map(|(part, long)| part.text(*long)).collect();
    texts.join("; ")
}

/// One part of a short reason, in two lengths.
struct Part {
    brief: String,
    long: String,
}

impl Part {
    fn new(brief: impl Into<String>, long: impl Into<String>) -> Self {
        Self {
            brief: printable(&brief.into()),
            long: printable(&long.into()),
        }
    }

    fn text(&self, long: bool) -> &str {
        if long { &self.long } else { &self.brief }
    }
}

fn joined_width(parts: &[(&Part, bool)]) -> usize {
    let texts: usize = parts
        .iter()
        .map(|(part, long)| width(part.text(*long)))
        .sum();
    texts + 2 * parts.len().saturating_sub(1)
}

fn parts(site: &Site, run: &Run) -> Vec<Part> {
    let reason = &run.reason;
    let number = |mm: f64| depth_number(Depth::from_mm(mm), site.units);
    let with_unit = |mm: f64| depth(Depth::from_mm(mm), site.units);
    let of = number(reason.depletion_mm);
    let down = Part::new(
        format!("down {of} of {}", number(reason.allowed_mm)),
        format!("down {of} of {}", with_unit(reason.allowed_mm)),
    );
    let mut parts = Vec::new();
    match reason.trigger {
        Trigger::PreSoak => parts.push(Part::new("deep soak", "deep soak, nothing runs off")),
        Trigger::AfterSeeding => parts.push(Part::new("first on seed", "first water on the seed")),
        Trigger::AheadOfConstraint => parts.push(ahead(site, run)),
        Trigger::EarlyMorning => parts.push(Part::new("morning", "in the cool of the morning")),
        Trigger::TurfDepletion => parts.push(Part::new("turf", "for the standing turf")),
        Trigger::Depletion => {}
    }
    if reason.trigger != Trigger::PreSoak {
        parts.push(down);
    }
    if let Some(cycle) = reason.cycle {
        let at = match reason.trigger {
            Trigger::PreSoak => 0,
            _ => parts.len(),
        };
        let text = format!("cycle {} of {}", cycle.number, cycle.of);
        parts.insert(at, Part::new(text.clone(), text));
    }
    if let Some(moved) = reason
        .moved
        .filter(|moved| tells_more(reason.trigger, *moved))
    {
        parts.push(shifted(site, moved));
    }
    if reason.forecast_rain_counted_mm >= WORTH_TELLING_MM {
        let rain = with_unit(reason.forecast_rain_counted_mm);
        parts.push(Part::new(
            format!("{rain} rain due"),
            format!("{rain} rain due, counted"),
        ));
    }
    if reason.trigger != Trigger::PreSoak && reason.demand_since_last_mm >= WORTH_TELLING_MM {
        let used = number(reason.demand_since_last_mm);
        let long = format!("{} used", with_unit(reason.demand_since_last_mm));
        parts.push(Part::new(format!("{used} used"), long));
    }
    parts
}

/// "Ahead of" has already named what moved the run forward.
fn tells_more(trigger: Trigger, moved: Moved) -> bool {
    let named = trigger == Trigger::AheadOfConstraint && moved.minutes < 0;
    moved.minutes.abs() >= WORTH_TELLING_MIN && !named
}

/// Whether nothing else can have the supply.
fn has_one_zone(site: &Site) -> bool {
    site.zones.len() == 1
}

/// Why a lone zone's run was moved to fit between its other runs.
const TO_FIT: &str = "it must fit between the zone's other runs and the hours in which the \
    valves are shut";

fn shifted(site: &Site, moved: Moved) -> Part {
    let lone = moved.by == Constraint::Supply && has_one_zone(site);
    let (word, cause) = match lone {
        true => ("fit", "to fit in"),
        false => (
            words::constraint_in_a_word(moved.by),
            words::constraint_in_short(moved.by),
        ),
    };
    let (sign, side) = if moved.minutes < 0 {
        ('−', "early")
    } else {
        ('+', "late")
    };
    let by = shift(moved.minutes);
    let brief = match moved.minutes.abs() {
        minutes @ 0..100 => format!("{minutes} min"),
        minutes => format!("{} h", (minutes + 30) / 60),
    };
    Part::new(
        format!("{word} {sign}{brief}"),
        format!("{cause}, {by} {side}"),
    )
}

/// `12 min`, `2 h 05 min`.
fn shift(minutes: i64) -> String {
    hours_minutes(TimeDelta::minutes(minutes.abs()))
}

fn ahead(site: &Site, run: &Run) -> Part {
    let Some(moved) = run.reason.moved else {
        return Part::new("early", "watered early");
    };
    match moved.by {
        Constraint::QuietWindow => match nearest_shut(site, run, moved) {
            Some(shut) => Part::new(
                format!("before {}", shut.name),
                format!("before {}, shut {}", shut.name, shut.span()),
            ),
            None => Part::new("before people come", "before people are on the grass"),
        },
        Constraint::Ban => match ban_after(site, run) {
            Some(name) => Part::new("before ban", format!("before ban: {name}")),
            None => Part::new("before ban", "before the watering ban"),
        },
        Constraint::Night => Part::new("before night", "ahead of the dry night"),
        Constraint::WateringRules => Part::new("before hours end", "before allowed hours end"),
        Constraint::Wind => Part::new("before wind", "ahead of the wind"),
        Constraint::Frost => Part::new("before frost", "ahead of the frost"),
        Constraint::Supply if has_one_zone(site) => {
            Part::new("before valves shut", "before the valves must shut")
        }
        Constraint::Supply => Part::new("before supply is busy", "before the supply is busy"),
        other => Part::new(
            "early",
            format!("early: {}", words::constraint_in_short(other)),
        ),
    }
}

/// Why something could not be met, with the names of the windows or bans
/// that stand in the way.
pub(super) fn cause_in_full(site: &Site, shortfall: &Shortfall) -> String {
    let zone = site
        .zones
        .get(shortfall.zone)
        .map_or("", |zone| zone.name.as_str());
    let for_zone = |zones: &[String]| zones.is_empty() || zones.iter().any(|name| name == zone);
    let names: Vec<&str> = match shortfall.cause {
        Constraint::QuietWindow => {
            let windows = site
                .quiet_windows
                .iter()
                .filter(|window| for_zone(&window.zones));
            windows.map(|window| window.name.as_str()).collect()
        }
        Constraint::Ban => {
            let bans = site.rules.exceptions.iter();
            let bans = bans.filter(|e| e.effect == ExceptionEffect::Ban && for_zone(&e.zones));
            bans.map(|ban| ban.name.as_str()).collect()
        }
        _ => Vec::new(),
    };
    if shortfall.cause == Constraint::Supply && has_one_zone(site) {
        return TO_FIT.to_string();
    }
    match names.is_empty() {
        true => words::because(shortfall.cause).to_string(),
        false => format!("{} ({})", words::because(shortfall.cause), names.join("; ")),
    }
}

/// The reason in full sentences.
#[must_use]
pub fn reason_in_full(site: &Site, run: &Run) -> String {
    let reason = &run.reason;
    let text = |mm: f64| depth(Depth::from_mm(mm), site.units);
    let down = depth_number(Depth::from_mm(reason.depletion_mm), site.units);
    let allowed = text(reason.allowed_mm);
    let layer = layer(run.stage);
    let mut sentences = vec![match reason.trigger {
        Trigger::PreSoak => match reason.cycle {
            Some(cycle) => format!(
                "Deep soak, cycle {} of {}: {} so that nothing runs off.",
                cycle.number,
                cycle.of,
                depth(run.depth, site.units)
            ),
            None => format!("Deep soak: {}.", depth(run.depth, site.units)),
        },
        Trigger::AfterSeeding => format!(
            "First watering after the seed is down: the {layer} is down {down} of {allowed} allowed."
        ),
        Trigger::Depletion => format!("The {layer} is down {down} of {allowed} allowed."),
        Trigger::TurfDepletion => format!(
            "The soil under the standing turf is down {down} of {allowed} allowed: the turf would \
             wilt, and takes water from the seed."
        ),
        Trigger::AheadOfConstraint => {
            format!("Watered ahead of the need, with the {layer} down {down} of {allowed} allowed.")
        }
        Trigger::EarlyMorning => format!(
            "Watered in the morning of the day on which the need comes, with the {layer} down \
             {down} of {allowed} allowed: less is lost to wind and sun."
        ),
    }];
    if reason.trigger != Trigger::PreSoak {
        sentences.push(since_last(
            reason.demand_since_last_mm,
            reason.rain_since_last_mm,
            &text,
        ));
        if let Some(cycle) = reason.cycle {
            sentences.push(format!(
                "Cycle {} of {}: split so that nothing runs off.",
                cycle.number, cycle.of
            ));
        }
    }
    if reason.forecast_rain_counted_mm >= WORTH_TELLING_MM {
        let rain = text(reason.forecast_rain_counted_mm);
        sentences.push(format!(
            "Rain of {rain} in the weather of the next 6 h is counted, so the run is smaller."
        ));
    }
    if let Some(moved) = reason.moved.filter(|moved| moved.minutes != 0) {
        sentences.push(moved_in_full(site, run, moved));
    }
    sentences.retain(|sentence| !sentence.is_empty());
    printable(&sentences.join(" "))
}

fn since_last(used_mm: f64, rain_mm: f64, text: &dyn Fn(f64) -> String) -> String {
    match (used_mm >= WORTH_TELLING_MM, rain_mm >= WORTH_TELLING_MM) {
        (true, true) => format!(
            "Since the last run {} went by evaporation and transpiration and {} of rain fell.",
            text(used_mm),
            text(rain_mm)
        ),
        (true, false) => format!(
            "Since the last run {} went by evaporation and transpiration.",
            text(used_mm)
        ),
        (false, true) => format!("Since the last run {} of rain fell.", text(rain_mm)),
        (false, false) => String::new(),
    }
}

fn moved_in_full(site: &Site, run: &Run, moved: Moved) -> String {
    let by = shift(moved.minutes);
    let side = if moved.minutes < 0 {
        "earlier"
    } else {
        "later"
    };
    let because = match moved.by {
        Constraint::QuietWindow => nearest_shut(site, run, moved)
            .map(|shut| format!("valves stay shut {} for \"{}\"", shut.span(), shut.name)),
        Constraint::Ban => ban_after(site, run).map(|name| format!("\"{name}\" forbids watering")),
        Constraint::Supply if has_one_zone(site) => Some(TO_FIT.to_string()),
        _ => None,
    };
    let because = because.unwrap_or_else(|| words::because(moved.by).to_string());
    format!("Moved {by} {side}, because {because}.")
}

fn layer(stage: Stage) -> &'static str {
    match stage {
        Stage::PreSoak | Stage::Rest => "soil",
        Stage::Germination | Stage::Emergence => "seed layer",
        Stage::Establishment | Stage::Maintenance => "root zone",
    }
}

/// When a quiet window keeps the valves shut, lead time to dry included.
struct Shut<'a> {
    name: &'a str,
    from: NaiveDateTime,
    to: NaiveDateTime,
}

impl Shut<'_> {
    fn span(&self) -> String {
        format!("{}–{}", self.from.format("%H:%M"), self.to.format("%H:%M"))
    }
}

/// The quiet window next after a run that was brought forward, or last before
/// one that was put off. Local wall time is enough to name it.
fn nearest_shut<'a>(site: &'a Site, run: &Run, moved: Moved) -> Option<Shut<'a>> {
    let zone = site.zones.get(run.zone)?.name.as_str();
    let local = |time: DateTime<Utc>| time.with_timezone(&site.place.time_zone).naive_local();
    let (start, end) = (local(run.start), local(run.end()));
    let windows = site.quiet_windows.iter();
    let windows = windows.filter(|w| w.zones.is_empty() || w.zones.iter().any(|z| z == zone));
    let spans = windows.flat_map(|window| spans_around(window, start.date()));
    if moved.minutes < 0 {
        spans
            .filter(|shut| shut.to > end)
            .min_by_key(|shut| shut.from)
    } else {
        spans
            .filter(|shut| shut.from < start)
            .max_by_key(|shut| shut.to)
    }
}

fn spans_around(window: &QuietWindow, date: NaiveDate) -> impl Iterator<Item = Shut<'_>> {
    let days = (0..5).filter_map(move |offset| {
        date.checked_sub_days(Days::new(2))?
            .checked_add_days(Days::new(offset))
    });
    let days = days.filter(|day| match &window.days {
        QuietDays::Weekly(weekdays) => weekdays.is_empty() || weekdays.contains(&day.weekday()),
        QuietDays::Dates(dates) => dates.contains(day),
    });
    days.map(|day| {
        let past_midnight = u64::from(window.hours.to <= window.hours.from);
        let end_day = day
            .checked_add_days(Days::new(past_midnight))
            .unwrap_or(day);
        Shut {
            name: &window.name,
            from: day.and_time(window.hours.from) - window.dry_before,
            to: end_day.and_time(window.hours.to),
        }
    })
}

/// The ban that begins next after a run, or is in force around it.
fn ban_after<'a>(site: &'a Site, run: &Run) -> Option<&'a str> {
    let zone = site.zones.get(run.zone)?.name.as_str();
    let date = run.start.with_timezone(&site.place.time_zone).date_naive();
    let bans = site
        .rules
        .exceptions
        .iter()
        .filter(|e| e.effect == ExceptionEffect::Ban);
    let bans = bans.filter(|e| e.zones.is_empty() || e.zones.iter().any(|z| z == zone));
    bans.filter(|e| e.to >= date)
        .min_by_key(|e| e.from)
        .map(|e| e.name.as_str())
}
