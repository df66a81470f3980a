//! What a schedule could not meet: dry spells with their causes, and deep
//! soaks that found no room.

use std::collections::BTreeMap;

use super::course::{Bed, DrySpell, instant};
use super::schedule::{Schedule, Scheduled};
use super::timetable::{Constraint, Shortfall, ShortfallKind, Stage};
use super::water::hours;
use super::window::HOUR_S;

/// Spells shorter than this in sum are within the step of the balance and
/// not reported [s].
const REPORTED_FROM_S: i64 = 300;

/// All shortfalls of a schedule, by zone and kind, without mends.
#[must_use]
pub fn shortfalls(schedule: &Schedule) -> Vec<Shortfall> {
    let mut found = Vec::new();
    for (index, zone) in schedule.zones.iter().enumerate() {
        found.extend(soak_shortfall(index, zone));
        let (seed, root): (Vec<DrySpell>, Vec<DrySpell>) = zone
            .waterer
            .course
            .dry
            .iter()
            .partition(|spell| spell.seed_stage);
        found.extend(dry_shortfall(
            index,
            zone,
            ShortfallKind::SeedLayerDry,
            &seed,
        ));
        found.extend(dry_shortfall(
            index,
            zone,
            ShortfallKind::RootZoneDry,
            &root,
        ));
    }
    found
}

/// Seconds by which a schedule leaves seed too dry by day, and the root zone
/// of young grass at any time. In this order: seed cannot wait.
#[must_use]
pub fn dry_seconds(schedule: &Schedule) -> (i64, i64) {
    let mut dry_s = (0, 0);
    for spell in schedule
        .zones
        .iter()
        .flat_map(|zone| &zone.waterer.course.dry)
    {
        if spell.seed_stage {
            dry_s.0 += counted_s(spell);
        } else {
            dry_s.1 += counted_s(spell);
        }
    }
    dry_s
}

fn counted_s(spell: &DrySpell) -> i64 {
    if spell.seed_stage {
        spell.daylight_s
    } else {
        spell.to - spell.from
    }
}

fn soak_shortfall(index: usize, zone: &Scheduled) -> Option<Shortfall> {
    let soaked = zone.soak.as_ref()?;
    let cause = soaked.cut_by?;
    let deadline = zone.waterer.bed.season.soak_deadline;
    let given_share = soaked.summary.planned_mm / soaked.summary.gross_mm.max(f64::MIN_POSITIVE);
    Some(Shortfall {
        zone: index,
        kind: ShortfallKind::PreSoakIncomplete,
        from: soaked.runs.first().map_or(deadline, |run| run.start),
        to: deadline,
        hours_dry: 0.0,
        longest_h: 0.0,
        worst_ratio: 1.0 - given_share,
        cause,
        mend: Vec::new(),
    })
}

fn dry_shortfall(
    index: usize,
    zone: &Scheduled,
    kind: ShortfallKind,
    spells: &[DrySpell],
) -> Option<Shortfall> {
    let counted: i64 = spells.iter().map(counted_s).sum();
    if counted < REPORTED_FROM_S {
        return None;
    }
    let longest = spells.iter().map(counted_s).max().unwrap_or(0);
    Some(Shortfall {
        zone: index,
        kind,
        from: instant(spells.first()?.from),
        to: instant(spells.last()?.to),
        hours_dry: hours(counted),
        longest_h: hours(longest),
        worst_ratio: spells
            .iter()
            .map(|spell| spell.worst_ratio)
            .fold(0.0, f64::max),
        cause: main_cause(zone, spells),
        mend: Vec::new(),
    })
}

/// Seconds of dry time that the delays of each constraint cover, by daylight
/// only where seed is dry.
#[must_use]
pub fn causes(zone: &Scheduled, spells: &[DrySpell]) -> BTreeMap<Constraint, i64> {
    let mut covered: BTreeMap<Constraint, i64> = BTreeMap::new();
    for spell in spells {
        for late in &zone.waterer.late {
            let (from, to) = (spell.from.max(late.from), spell.to.min(late.to));
            let seconds = if spell.seed_stage {
                daylight_s(zone.waterer.bed, from, to)
            } else {
                to - from
            };
            if seconds > 0 {
                *covered.entry(late.by).or_insert(0) += seconds;
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

/// The constraint whose delays cover most of the dry time. Where no delay
/// does, runs were too short to refill the layer: the soil's intake or the
/// soak time between runs set that.
fn main_cause(zone: &Scheduled, spells: &[DrySpell]) -> Constraint {
    let without_delay = if zone.waterer.watering.intake_limits() {
        Constraint::Intake
    } else {
        Constraint::SoakTime
    };
    causes(zone, spells)
        .into_iter()
        .max_by_key(|&(constraint, seconds)| (seconds, std::cmp::Reverse(constraint)))
        .map_or(without_delay, |(by, _)| by)
}
