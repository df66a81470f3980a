//! What only shows when the whole site is known: names that do not match,
//! rules under which seed must dry.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate, NaiveTime, TimeDelta, Timelike};
use chrono_tz::Tz;

use super::calendar::following;
use super::diagnostic::Code;
use super::model::{
    DailyHours, DateParity, ExceptionEffect, QuietDays, QuietWindow, RuleException, WateringRules,
};
use super::model_mqtt::{Mqtt, SITE_NODE};
use super::notes::{Fault, Notes, Span, cut, nearest};
use super::read::Table;
use super::schema_mqtt::is_homie_id;
use super::schema_zone::ZoneRead;

/// Less than this in a day is hardly enough for any site [min].
const LITTLE_TIME_MIN: usize = 120;
/// A bare seed layer dries within hours around noon: from and to [min].
const MIDDAY_MIN: (u32, u32) = (10 * 60, 16 * 60);
/// So much of midday must be allowed for misting [min].
const MIDDAY_NEEDED_MIN: usize = 120;
/// Days after sowing in which a ban or a rule lets the seed dry.
const TENDER_DAYS: u64 = 14;
/// Zones of one site are sown within this, or one is of another season.
const ONE_SEASON: TimeDelta = TimeDelta::days(183);
/// Weekdays of a quiet window that comes every day.
const DAYS_OF_WEEK: usize = 7;
/// Minutes of a day.
const DAY_MIN: u32 = 24 * 60;

/// Duplicate names, and names in rules and quiet windows that are no zone.
pub(super) fn zone_names(zones: &[ZoneRead], notes: &mut Notes) {
    let mut known: BTreeMap<&str, &Span> = BTreeMap::new();
    for zone in zones {
        let Some(name) = &zone.name else { continue };
        if known.insert(name, &zone.span).is_some() {
            let fault = Fault::new(Code::Duplicate, format!("there is another zone \"{name}\""));
            notes.error(&zone.span, fault.help("give each zone a name of its own"));
        }
    }
    for (name, span) in std::mem::take(&mut notes.zone_references) {
        // A zone whose name could not be read may be the one meant.
        if known.contains_key(name.as_str()) || zones.iter().any(|zone| zone.name.is_none()) {
            continue;
        }
        let what = format!("there is no zone \"{}\"", cut(&name));
        let help = match nearest(&name, known.keys().copied()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None => "name one of the [[zone]] tables".to_owned(),
        };
        notes.error(&span, Fault::new(Code::UnknownZone, what).help(help));
    }
}

/// Former names that some zone still has, or that two zones claim: a history
/// goes on in one place.
pub(super) fn former_names(zones: &[ZoneRead], notes: &mut Notes) {
    let names = zones.iter().filter_map(|zone| zone.name.as_deref());
    let names: BTreeSet<&str> = names.collect();
    let mut claimed = BTreeSet::new();
    let claims = zones.iter().flat_map(|zone| {
        let own = zone.name.as_deref();
        zone.formerly.iter().map(move |former| (own, former))
    });
    for (own, (former, span)) in claims {
        let fault = if own == Some(former.as_str()) {
            let what = format!("\"{former}\" is the present name of this zone");
            Fault::new(Code::Contradiction, what).help("`formerly` takes names that it had before")
        } else if names.contains(former.as_str()) {
            let what = format!("\"{former}\" is still a zone of this site and keeps its history");
            Fault::new(Code::Contradiction, what)
                .help("leave it out here, or give that zone another name")
        } else if !claimed.insert(former.as_str()) {
            let what = format!("\"{former}\" is given as a former name before");
            Fault::new(Code::Duplicate, what).help("its history can go on in one zone, once")
        } else {
            continue;
        };
        notes.error(span, fault);
    }
}

/// Names of zones that cannot be nodes of a Homie device.
pub(super) fn homie_nodes(zones: &[ZoneRead], mqtt: Option<&Mqtt>, notes: &mut Notes) {
    if mqtt.is_none_or(|mqtt| mqtt.homie.is_none()) {
        return;
    }
    for zone in zones {
        let Some(name) = &zone.name else { continue };
        let fault = if name == SITE_NODE {
            let what = format!("on Homie \"{SITE_NODE}\" is the whole site");
            Fault::new(Code::Duplicate, what)
        } else if !is_homie_id(name) {
            let what = "on Homie no name begins or ends with a hyphen";
            Fault::new(Code::OutOfRange, what)
        } else {
            continue;
        };
        let help = "give the zone another name, or leave out `homie` in [mqtt]";
        notes.error(&zone.span, fault.help(help));
    }
}

/// Two valves that hear the same command, or whose reports are one and the
/// same: the daemon could not tell them apart.
pub(super) fn valves(zones: &[ZoneRead], mqtt: Option<(&Mqtt, &Span)>, notes: &mut Notes) {
    let of_zones = zones.iter().filter_map(|read| {
        let zone = read.zone.as_ref()?;
        Some((zone.name.as_str(), zone.valve.as_ref()?, &read.span))
    });
    let beside = mqtt.into_iter().flat_map(|(mqtt, span)| {
        let master = mqtt.master_valve.as_ref();
        let master = master.map(|valve| ("master-valve", valve, span));
        master
            .into_iter()
            .chain(mqtt.pump.as_ref().map(|valve| ("pump", valve, span)))
    });
    let mut commands = BTreeMap::new();
    let mut reports = BTreeMap::new();
    for (name, valve, span) in of_zones.chain(beside) {
        let command = (&valve.command_topic, &valve.open);
        let report = valve
            .state
            .as_ref()
            .map(|state| (&state.topic, &state.pointer));
        let other = commands.insert(command, name);
        let (what, other) = match (
            other,
            report.and_then(|report| reports.insert(report, name)),
        ) {
            (Some(other), _) => ("is driven by the same command as", other),
            (None, Some(other)) => ("reports on the same topic as", other),
            (None, None) => continue,
        };
        let what = format!("the valve of \"{name}\" {what} that of \"{other}\"");
        let fault = Fault::new(Code::Duplicate, what);
        notes.error(
            span,
            fault.help("give each its own topic, or its own channel"),
        );
    }
}

/// Sowings of which one is so far from the first that its year may be wrong.
pub(super) fn years(zones: &[ZoneRead], notes: &mut Notes) {
    let sown = zones
        .iter()
        .filter_map(|read| Some((read, read.zone.as_ref()?)));
    let sown: Vec<_> = sown.map(|(read, zone)| (read, zone.seeding.at)).collect();
    let Some((_, first)) = sown.iter().min_by_key(|(_, at)| *at) else {
        return;
    };
    for (read, at) in sown.iter().filter(|(_, at)| *at - *first > ONE_SEASON) {
        let what = format!(
            "this zone is sown {} days after the first one: is the year right?",
            (*at - *first).num_days()
        );
        let fault = Fault::new(Code::Unusual, what).help(
            "a plan shows the weeks after the first sowing; give another season its own --from",
        );
        notes.warning(&read.span, fault);
    }
}

/// Quiet windows that leave hardly any time on any day.
pub(super) fn quiet(top: &Table, windows: &[QuietWindow], notes: &mut Notes) {
    for window in windows {
        let daily = match &window.days {
            QuietDays::Weekly(days) => days.is_empty() || days.len() == DAYS_OF_WEEK,
            QuietDays::Dates(_) => false,
        };
        let left = DAY_MIN as usize - count_minutes(std::slice::from_ref(&window.hours));
        if daily {
            let what = format!("\"{}\" leaves", window.name);
            let span = top.span_of("quiet");
            little_time(&span, (&what, left), "check its hours and weekdays", notes);
        }
    }
}

/// A warning where this, `what` leaves or allows, is hardly any time of a day.
fn little_time(span: &Span, (what, minutes): (&str, usize), help: &str, notes: &mut Notes) {
    if minutes < LITTLE_TIME_MIN {
        let what = format!("{what} {minutes} min of watering on a day, hardly enough for any zone");
        notes.warning(span, Fault::new(Code::LittleTime, what).help(help));
    }
}

/// A zone and the local day on which it is sown.
pub(super) struct Sowing {
    zone: String,
    day: NaiveDate,
}

pub(super) fn sowings(zones: &[ZoneRead], time_zone: Tz) -> Vec<Sowing> {
    let sown = zones.iter().filter_map(|read| read.zone.as_ref());
    sown.map(|zone| Sowing {
        zone: zone.name.clone(),
        day: zone.seeding.at.with_timezone(&time_zone).date_naive(),
    })
    .collect()
}

/// Where to complain about the rules: their hours, or the table.
pub(super) fn rules_span(top: &Table) -> Span {
    top.span_of("rules")
}

/// Rules that leave hardly any time, or none when a seedbed needs it.
pub(super) fn times(span: &Span, rules: &WateringRules, sowings: &[Sowing], notes: &mut Notes) {
    if !rules.hours.is_empty() {
        let allowed = ("the rules allow", count_minutes(&rules.hours));
        little_time(span, allowed, "check both ends of the hours", notes);
    }
    let midday = Midday::of(rules);
    let dry: Vec<&str> = sowings
        .iter()
        .filter(|sowing| {
            following(sowing.day, TENDER_DAYS).any(|day| !midday.may_mist(rules, &sowing.zone, day))
        })
        .map(|sowing| sowing.zone.as_str())
        .collect();
    if !dry.is_empty() {
        let what = format!(
            "the rules forbid misting by day on some of the {TENDER_DAYS} days after seeding, and a seedbed dries in hours: {}",
            some_of(&dry)
        );
        let how = match notes.is_inline(span) {
            true => {
                "inside `rules = { … }`, as `exception = [{ … }]`, or after writing [rules] as a table \
                 of its own"
            }
            false => "as [[rules.exception]]",
        };
        let help = format!(
            "ask the authority for a seeding permit and add it {how}; the plan says what dries without it"
        );
        let fault = Fault::new(Code::LittleTime, what).help(help);
        notes.warning(span, fault);
    }
}

/// The first few names, and how many more there are.
fn some_of(names: &[&str]) -> String {
    const SHOWN: usize = 4;
    let shown = names
        .iter()
        .take(SHOWN)
        .copied()
        .collect::<Vec<_>>()
        .join(", ");
    match names.len().saturating_sub(SHOWN) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// Whether hours reach midday: of the rules and of each exception.
struct Midday {
    rules: bool,
    exceptions: Vec<bool>,
}

impl Midday {
    fn of(rules: &WateringRules) -> Self {
        let permitted = |exception: &RuleException| match &exception.effect {
            ExceptionEffect::Ban => false,
            ExceptionEffect::Permit { hours } => reach_midday(hours),
        };
        Self {
            rules: reach_midday(&rules.hours),
            exceptions: rules.exceptions.iter().map(permitted).collect(),
        }
    }

    /// Whether a seedbed can be misted around noon of that day.
    fn may_mist(&self, rules: &WateringRules, zone: &str, day: NaiveDate) -> bool {
        let mut permitted = false;
        for (exception, midday) in rules.exceptions.iter().zip(&self.exceptions) {
            let holds = (exception.from..=exception.to).contains(&day)
                && (exception.zones.is_empty()
                    || exception.zones.iter().any(|named| named == zone));
            if holds && exception.effect == ExceptionEffect::Ban {
                return false;
            }
            permitted |= holds && *midday;
        }
        let parity = match rules.dates {
            DateParity::Any => true,
            DateParity::Odd => !day.day().is_multiple_of(2),
            DateParity::Even => day.day().is_multiple_of(2),
        };
        let weekday = rules.weekdays.is_empty() || rules.weekdays.contains(&day.weekday());
        permitted || (parity && weekday && self.rules)
    }
}

fn reach_midday(hours: &[DailyHours]) -> bool {
    let (from, to) = (MIDDAY_MIN.0 as usize, MIDDAY_MIN.1 as usize);
    hours.is_empty()
        || minutes_of(hours)[from..to]
            .iter()
            .filter(|allowed| **allowed)
            .count()
            >= MIDDAY_NEEDED_MIN
}

/// How many minutes of a day are in the hours.
fn count_minutes(hours: &[DailyHours]) -> usize {
    minutes_of(hours).iter().filter(|within| **within).count()
}

/// For each minute of a day whether it is in the hours.
fn minutes_of(hours: &[DailyHours]) -> Vec<bool> {
    let minute = |time: NaiveTime| time.num_seconds_from_midnight() / 60;
    (0..DAY_MIN)
        .map(|at| {
            hours.iter().any(|span| {
                let (from, to) = (minute(span.from), minute(span.to));
                if from < to {
                    (from..to).contains(&at)
                } else {
                    at >= from || at < to
                }
            })
        })
        .collect()
}
