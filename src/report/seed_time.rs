//! What is wrong with the time of a sowing: air too cold for the seed to come
//! up, or no water allowed when the seed is down.

use chrono::{NaiveDate, TimeDelta};

use super::format::hours_minutes;
use super::lists::zone_and_doubt;
use super::local_time::{clock, short_day};
use super::model::{LateWater, RunView, SiteDoubt, View, ZoneView};
use super::words;
use crate::agronomy::germination;
use crate::plan::timetable::Constraint;
use crate::units::show_temperature;

/// The first watering after sowing may come so late without a word.
const AT_ONCE: TimeDelta = TimeDelta::hours(1);
/// A first watering later than this lets the seed dry as it swells.
const FAR_TOO_LATE: TimeDelta = TimeDelta::hours(12);

/// What is to be said of more zones than this is told once.
const FEW_ZONES: usize = 3;
/// What would help against a first watering that comes late.
fn helps(by: Constraint) -> &'static str {
    match by {
        Constraint::Supply => "sow fewer zones at a time, or bring more supply",
        Constraint::DailyMost => "sow fewer zones at a time",
        _ => "sow on a day and at an hour when watering is allowed",
    }
}

/// Why the seed of a zone will not come up for long; none where it will.
pub(super) fn too_cold(view: &View<'_>, zone: &ZoneView<'_>) -> Option<String> {
    let sown = sown(view, zone);
    let emergence = &zone.plan.emergence;
    if emergence.recorded {
        return None;
    }
    let cold = emergence.by_species.iter();
    let cold: Vec<_> = cold
        .filter(|of| germination::too_cold(of.species, sown, of.first))
        .map(|of| germination::facts(of.species))
        .collect();
    let names: Vec<&str> = cold.iter().map(|facts| facts.label).collect();
    let warmest = cold.iter().map(|facts| facts.good_temperature_c);
    let warmest = warmest.fold(f64::MIN, f64::max);
    (!cold.is_empty()).then(|| {
        format!(
            "too cold for {} to come up: sow when the days' mean is above {}",
            words::list(&names),
            show_temperature(warmest, view.units())
        )
    })
}

/// The zones that it is too cold for, by what is said of them.
pub(super) fn cold_zones<'a>(view: &View<'a>) -> Vec<(String, Vec<&'a str>)> {
    let mut cold: Vec<(String, Vec<&'a str>)> = Vec::new();
    for zone in &view.zones {
        let Some(text) = too_cold(view, zone) else {
            continue;
        };
        match cold.iter_mut().find(|(known, _)| *known == text) {
            Some((_, zones)) => zones.push(&zone.zone.name),
            None => cold.push((text, vec![&zone.zone.name])),
        }
    }
    cold
}

/// The local day on which a zone is sown.
fn sown(view: &View<'_>, zone: &ZoneView<'_>) -> NaiveDate {
    let at = zone.zone.seeding.at;
    at.with_timezone(&view.site.place.time_zone).date_naive()
}

/// The first run after the seed is down, where the seed goes down within the
/// plan, and how long it waits for it.
fn first_watering<'v, 'a>(
    view: &'v View<'a>,
    zone: &ZoneView<'a>,
) -> Option<(&'v RunView<'a>, TimeDelta)> {
    let sown = zone.zone.seeding.at;
    if sown < view.plan.from {
        return None;
    }
    let mut runs = view.runs.iter();
    let first = runs.find(|run| run.run.zone == zone.index && run.run.start >= sown)?;
    Some((first, first.run.start - sown))
}

/// What the plan does after sowing these zones, as the end of "sow and cover".
pub(super) fn watering_after(view: &View<'_>, zones: &[&ZoneView<'_>]) -> String {
    let mut told: Vec<String> = zones.iter().map(|zone| watering_of(view, zone)).collect();
    told.retain(|text| !text.is_empty());
    told.dedup();
    match told.as_slice() {
        [] => String::new(),
        [one] => one.clone(),
        _ => {
            "; the first watering follows when the timetable says, on some zones at once".to_owned()
        }
    }
}

fn watering_of(view: &View<'_>, zone: &ZoneView<'_>) -> String {
    let Some((run, wait)) = first_watering(view, zone) else {
        return String::new();
    };
    if wait <= AT_ONCE {
        return "; the first watering follows at once".to_owned();
    }
    if run.run.reason.moved.is_none() {
        return "; the first watering follows when the timetable says".to_owned();
    }
    format!(
        "; the first watering follows {} later, on {} at {}",
        hours_minutes(wait),
        short_day(run.start.date_naive()),
        clock(run.start, false)
    )
}

/// What is wrong with the time of sowing, zone by zone, for the lists of
/// doubts.
pub(super) fn doubts(view: &View<'_>) -> Vec<SiteDoubt> {
    let mut doubts = Vec::new();
    for zone in &view.zones {
        let name = &zone.zone.name;
        if let Some(cold) = too_cold(view, zone) {
            doubts.push(SiteDoubt {
                text: format!("zone {name}: {cold}"),
                help: None,
                grave: true,
                late: None,
            });
        }
        doubts.extend(late_water(view, zone));
    }
    doubts
}

/// A first watering that was put off although the seed lies dry.
fn late_water(view: &View<'_>, zone: &ZoneView<'_>) -> Option<SiteDoubt> {
    let (run, wait) = first_watering(view, zone)?;
    let moved = run.run.reason.moved?;
    if TimeDelta::minutes(moved.minutes) <= AT_ONCE || wait <= AT_ONCE {
        return None;
    }
    let name = &zone.zone.name;
    let comes = comes_late(&hours_minutes(wait), moved.by);
    Some(SiteDoubt {
        text: format!("zone {name}: {comes}"),
        help: Some(helps(moved.by).to_owned()),
        grave: wait > FAR_TOO_LATE,
        late: Some(LateWater { wait, by: moved.by }),
    })
}

fn comes_late(wait: &str, by: Constraint) -> String {
    let because = words::because(by);
    format!("the first watering comes {wait} after sowing, because {because}")
}

/// What makes the whole plan worthless if it is so, and what would help. Many
/// zones of which the same is to be said stand together.
pub(super) fn grave_doubts<'v>(view: &'v View<'_>) -> Vec<(String, Option<&'v str>)> {
    let mut alike: Vec<(Kind, Vec<(&str, &SiteDoubt)>)> = Vec::new();
    for doubt in view.doubts.iter().filter(|doubt| doubt.grave) {
        let (zone, text) = zone_and_doubt(&doubt.text, &view.site.zones);
        let kind = match &doubt.late {
            Some(late) => Kind::Late(late.by),
            None => Kind::Same(text),
        };
        let of_zone = (zone.unwrap_or_default(), doubt);
        match alike.iter_mut().find(|(known, _)| *known == kind) {
            Some((_, doubts)) => doubts.push(of_zone),
            None => alike.push((kind, vec![of_zone])),
        }
    }
    alike
        .iter()
        .flat_map(|(kind, doubts)| match doubts.len() {
            0..=FEW_ZONES => doubts
                .iter()
                .map(|(_, doubt)| (doubt.text.clone(), doubt.help.as_deref()))
                .collect(),
            _ => vec![(together(view, kind, doubts), doubts[0].1.help.as_deref())],
        })
        .collect()
}

/// What doubts about several zones have in common.
#[derive(PartialEq)]
enum Kind<'t> {
    Late(Constraint),
    Same(&'t str),
}

fn together(view: &View<'_>, kind: &Kind, doubts: &[(&str, &SiteDoubt)]) -> String {
    let zones: Vec<&str> = doubts.iter().map(|(zone, _)| *zone).collect();
    let text = match kind {
        Kind::Same(text) => (*text).to_owned(),
        Kind::Late(by) => {
            let waits = || {
                doubts
                    .iter()
                    .filter_map(|(_, doubt)| Some(doubt.late.as_ref()?.wait))
            };
            let shown = |wait: Option<TimeDelta>| wait.map(hours_minutes).unwrap_or_default();
            let (shortest, longest) = (shown(waits().min()), shown(waits().max()));
            match shortest == longest {
                true => comes_late(&shortest, *by),
                false => comes_late(&format!("{shortest} to {longest}"), *by),
            }
        }
    };
    format!("{}: {text}", view.who(&zones))
}
