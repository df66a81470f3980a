//! What is wrong with the time of a sowing: air too cold for the seed to come
//! up, or no water allowed when the seed is down.

use chrono::{NaiveDate, TimeDelta};

use super::format::hours_minutes;
use super::local_time::{clock, short_day};
use super::model::{RunView, SiteDoubt, View, ZoneView};
use super::words;
use crate::agronomy::germination;
use crate::units::show_temperature;

/// The first watering after sowing may come so late without a word.
const AT_ONCE: TimeDelta = TimeDelta::hours(1);
/// A first watering later than this lets the seed dry as it swells.
const FAR_TOO_LATE: TimeDelta = TimeDelta::hours(12);

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
    Some(SiteDoubt {
        text: format!(
            "zone {}: the first watering comes {} after sowing, because {}",
            zone.zone.name,
            hours_minutes(wait),
            words::because(moved.by)
        ),
        help: Some("sow on a day and at an hour when watering is allowed".to_owned()),
        grave: wait > FAR_TOO_LATE,
    })
}
