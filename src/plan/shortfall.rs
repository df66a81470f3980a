//! What a schedule could not meet: dry spells with their causes, and deep
//! soaks that found no room.

use std::collections::BTreeMap;

use super::course::{DrySpell, instant};
use super::moment::Bed;
use super::schedule::{Schedule, Scheduled};
use super::timetable::{Constraint, Shortfall, ShortfallKind, Stage};
use super::water::hours;
use super::window::HOUR_S;

/// Spells shorter than this in sum are within the step of the balance and
/// not reported [s].
const REPORTED_FROM_S: i64 = 300;
/// What is told adds up in another order than what bounds it on the way, which
/// must not exceed it by rounding [h].
const ROUNDED_H: f64 = 1e-6;
/// A delay shorter than this does not cause a dry spell [s].
const A_CAUSE_FROM_S: i64 = 600;

/// All shortfalls of a schedule, by zone, kind and cause, without mends.
#[must_use]
pub fn shortfalls(schedule: &Schedule) -> Vec<Shortfall> {
    let mut found = Vec::new();
    for (index, zone) in schedule.zones.iter().enumerate() {
        found.extend(soak_shortfall(index, zone));
        let mut by_cause: BTreeMap<(bool, Constraint), Vec<&DrySpell>> = BTreeMap::new();
        for spell in &zone.waterer.course.dry {
            by_cause
                .entry((!spell.seed_stage, main_cause(zone, spell)))
                .or_default()
                .push(spell);
        }
        for ((_, cause), spells) in by_cause {
            found.extend(dry_shortfall(index, cause, &spells));
        }
    }
    found
}

/// Seconds by which seed is too dry by day, and the root zone of young grass at
/// any time. In this order: seed cannot wait.
pub type DrySeconds = (i64, i64);

/// How long a schedule leaves seed and roots too dry.
#[must_use]
pub fn dry_seconds(schedule: &Schedule) -> DrySeconds {
    let zones = schedule.zones.iter();
    zones.fold((0, 0), |(seed_s, roots_s), zone| {
        let dry_s = zone.waterer.course.dry_s;
        (seed_s + dry_s.0, roots_s + dry_s.1)
    })
}

/// Hours, by day and night, that the shortfalls of a zone of one kind come to
/// at the least, however its schedule goes on. What is missing of a soak is
/// not known before the end.
#[must_use]
pub fn least_dry_hours(zone: &Scheduled, kind: ShortfallKind) -> f64 {
    let spells = zone.waterer.course.dry.iter();
    let lengths = spells
        .filter(|spell| kind_of(spell) == kind)
        .map(|spell| spell.to - spell.from);
    // A longer one is told, whatever else its cause does.
    let least_h = hours(lengths.filter(|&length| length >= REPORTED_FROM_S).sum());
    (least_h - ROUNDED_H).max(0.0)
}

fn kind_of(spell: &DrySpell) -> ShortfallKind {
    if spell.seed_stage {
        ShortfallKind::SeedLayerDry
    } else {
        ShortfallKind::RootZoneDry
    }
}

fn soak_shortfall(index: usize, zone: &Scheduled) -> Option<Shortfall> {
    let soaked = zone.soak.as_ref()?;
    let cause = soaked.cut_by?;
    let given_share = soaked.summary.planned_mm / soaked.summary.gross_mm.max(f64::MIN_POSITIVE);
    Some(Shortfall {
        zone: index,
        kind: ShortfallKind::PreSoakIncomplete,
        from: soaked.sought_from,
        to: zone.waterer.bed.season.soak_deadline,
        hours_dry: 0.0,
        night_hours_dry: 0.0,
        longest_h: 0.0,
        worst_ratio: 1.0 - given_share,
        cause,
        mend: Vec::new(),
    })
}

/// The spells of one cause; all of one kind.
fn dry_shortfall(index: usize, cause: Constraint, spells: &[&DrySpell]) -> Option<Shortfall> {
    let (first, last) = (spells.first()?, spells.last()?);
    let whole: i64 = spells.iter().map(|spell| spell.to - spell.from).sum();
    if whole < REPORTED_FROM_S {
        return None;
    }
    let counted: i64 = spells.iter().map(|spell| spell.counted_s()).sum();
    let longest = spells.iter().map(|spell| spell.counted_s()).max();
    Some(Shortfall {
        zone: index,
        kind: kind_of(first),
        from: instant(first.from),
        to: instant(last.to),
        hours_dry: hours(counted),
        night_hours_dry: hours(whole - counted),
        longest_h: hours(longest.unwrap_or(0)),
        worst_ratio: spells
            .iter()
            .map(|spell| spell.worst_ratio)
            .fold(0.0, f64::max),
        cause,
        mend: Vec::new(),
    })
}

/// The constraint whose delays cover most of a dry spell. Where no delay
/// does, runs were too short to refill the layer: the soil's intake or the
/// soak time between runs set that.
///
/// Nights come every day and a layer goes into them moist, so that the night
/// is the cause only where nothing else kept the water away before it.
fn main_cause(zone: &Scheduled, spell: &DrySpell) -> Constraint {
    let covered = causes(zone, spell);
    let by_day = covered
        .iter()
        .filter(|&(by, seconds)| *by != Constraint::Night && *seconds >= A_CAUSE_FROM_S);
    let most = by_day.max_by_key(|&(by, seconds)| (*seconds, std::cmp::Reverse(*by)));
    match most {
        Some((by, _)) => *by,
        None if covered.contains_key(&Constraint::Night) => Constraint::Night,
        None if zone.waterer.watering.intake_limits() => Constraint::Intake,
        None => Constraint::SoakTime,
    }
}

/// Seconds of a dry spell that the delays of each constraint cover; hours of
/// night in which the rules allow nothing count as night.
fn causes(zone: &Scheduled, spell: &DrySpell) -> BTreeMap<Constraint, i64> {
    let mut covered: BTreeMap<Constraint, i64> = BTreeMap::new();
    for late in &zone.waterer.late {
        let (from, to) = (spell.from.max(late.from), spell.to.min(late.to));
        if to <= from {
            continue;
        }
        let by_day = match late.by {
            Constraint::WateringRules => daylight_s(zone.waterer.bed, from, to),
            _ => to - from,
        };
        for (by, seconds) in [(late.by, by_day), (Constraint::Night, to - from - by_day)] {
            if seconds > 0 {
                *covered.entry(by).or_insert(0) += seconds;
            }
        }
    }
    covered
}

/// Seconds of a span in which a dry layer counts: for seed those by
/// daylight, later all of them.
#[must_use]
pub fn counted_seconds(bed: &Bed, from: i64, to: i64) -> i64 {
    if to <= from {
        0
    } else if bed.demand_at(from).stage <= Stage::Emergence {
        daylight_s(bed, from, to)
    } else {
        to - from
    }
}

fn daylight_s(bed: &Bed, from: i64, to: i64) -> i64 {
    let mut at = from;
    let mut seconds = 0;
    while at < to {
        let hour = bed.demand_at(at);
        let end = (hour.start.timestamp() + HOUR_S).clamp(at + 1, to);
        if hour.daylight {
            seconds += end - at;
        }
        at = end;
    }
    seconds
}
