//! Placing the deep soak of a zone: backwards from the hour at which the
//! ground must be left to rest.

use std::collections::BTreeMap;
use std::ops::Range;

use chrono::{DateTime, Utc};

use super::bookings::{Ask, Bookings};
use super::course::instant;
use super::pre_soak::{self, Cycles};
use super::timetable::{Constraint, Cycle, PreSoakSummary, Reason, Run, Stage, Trigger};
use super::waterer::Waterer;
use super::window::Openings;

/// Starts are looked at so often for what kept a soak from being whole [s].
const OBSTACLE_STEP_S: usize = 300;

/// A soak that ends so long before the ground must rest is early [s].
const EARLY_S: i64 = 24 * 3600;

/// What came of a deep soak.
#[derive(Debug, Clone, PartialEq)]
pub struct Soaked {
    /// The runs, in order.
    pub runs: Vec<Run>,
    /// How it came out.
    pub summary: PreSoakSummary,
    /// What kept it from being whole.
    pub cut_by: Option<Constraint>,
    /// From when room was sought.
    pub sought_from: DateTime<Utc>,
}

/// Soaks a zone before its deadline, not before where it stands now.
/// `openings` are those of the soak, which may differ from the day's.
pub fn soak(waterer: &mut Waterer, openings: &Openings, bookings: &mut Bookings) -> Soaked {
    let deadline = waterer.bed.season.soak_deadline.timestamp();
    let sought_from = instant(waterer.course.now().at);
    let (net_mm, deficit) = wanted(waterer, deadline);
    let shortest_mm = waterer
        .watering
        .net_mm(waterer.watering.shortest_s(), Stage::PreSoak);
    if net_mm < shortest_mm {
        return Soaked {
            runs: Vec::new(),
            summary: not_needed(net_mm),
            cut_by: None,
            sought_from,
        };
    }
    let cycles = pre_soak::split(
        waterer.bed.zone,
        &waterer.bed.ground,
        &waterer.watering,
        (net_mm, deficit),
        longest_opening_s(waterer, openings, deadline),
    );
    let (starts, cut_by) = place(waterer, openings, bookings, &cycles, deadline);
    let dropped = cycles.run_s.len() - starts.len();
    let mut runs = Vec::new();
    for (number, (&start, &length)) in starts.iter().zip(&cycles.run_s[dropped..]).enumerate() {
        waterer.course.advance(waterer.bed, start, 0.0);
        let reason = Reason {
            trigger: Trigger::PreSoak,
            depletion_mm: waterer.course.now().stores.total_depletion_mm(),
            allowed_mm: 0.0,
            demand_since_last_mm: waterer.course.since().demand_mm,
            rain_since_last_mm: waterer.course.since().rain_mm,
            forecast_rain_counted_mm: 0.0,
            moved: None,
            cycle: Some(Cycle {
                number: number + 1,
                of: starts.len(),
                for_turf: false,
            }),
        };
        runs.push(waterer.run(start, length, Stage::PreSoak, reason));
    }
    let early_by = starts.last().and_then(|&last| {
        let ask = waterer.ask(cycles.run_s[cycles.run_s.len() - 1]);
        let later = last + ask.length..deadline - ask.length;
        (later.end - later.start > EARLY_S).then(|| main_obstacle(openings, bookings, &ask, later))
    });
    let summary = PreSoakSummary {
        early_by,
        ..summary(waterer, &cycles, net_mm, &runs)
    };
    Soaked {
        runs,
        summary,
        cut_by,
        sought_from,
    }
}

/// The longest stretch before a deadline in which the zone may be watered [s];
/// at least the shortest run.
fn longest_opening_s(waterer: &Waterer, openings: &Openings, deadline: i64) -> i64 {
    let stretches = openings.stretches(waterer.course.now().at);
    let in_time = stretches.take_while(|&(start, _)| start < deadline);
    let longest = in_time.map(|(start, length)| length.min(deadline - start));
    let longest = longest.max().unwrap_or(0);
    longest.max(waterer.watering.shortest_s())
}

/// Net depth that the soil takes up to the deadline, rain and evaporation
/// counted, and its moisture deficit for Green–Ampt.
fn wanted(waterer: &mut Waterer, deadline: i64) -> (f64, f64) {
    let ground = &waterer.bed.ground;
    let stores = waterer.course.dry_ahead(waterer.bed, deadline);
    let surface_mm = ground.bare_surface.thickness_mm;
    let beneath_share = ((waterer.bed.zone.pre_soak.depth.mm() - surface_mm)
        / (ground.bottom_mm - surface_mm))
        .clamp(0.0, 1.0);
    let net_mm = stores.surface_mm + stores.below_mm() * beneath_share;
    // The dry surface is thin: what lies beneath it sets the intake.
    let beneath_mm = waterer.course.now().stores.below_mm();
    let deficit = ground.moist_deficit() + beneath_mm / (ground.bottom_mm - surface_mm);
    (net_mm, deficit)
}

/// Books the cycles from the last backwards and returns their starts, in
/// order; those for which there is no room before it are left out, and the
/// cause is named.
fn place(
    waterer: &Waterer,
    openings: &Openings,
    bookings: &mut Bookings,
    cycles: &Cycles,
    deadline: i64,
) -> (Vec<i64>, Option<Constraint>) {
    // What went in before this plan must be gone before more is given.
    let pause = cycles.pause_s.first().copied();
    let pause = pause.unwrap_or(waterer.bed.zone.runs.soak_time.num_seconds());
    let rested = waterer.last_end.map_or(i64::MIN, |end| end + pause);
    let first = waterer.course.now().at.max(rested);
    // Who else has the supply, not the cycles of this soak themselves.
    let others = bookings.clone();
    let mut starts = Vec::new();
    let mut latest_end = deadline;
    for index in (0..cycles.run_s.len()).rev() {
        let ask = waterer.ask(cycles.run_s[index]);
        let Some(start) = bookings.latest(openings, latest_end - ask.length, first, &ask) else {
            starts.reverse();
            let cut_by = main_obstacle(openings, &others, &ask, first..deadline - ask.length);
            return (starts, Some(cut_by));
        };
        bookings.book(start, &ask);
        starts.push(start);
        let pause = index
            .checked_sub(1)
            .map_or(0, |before| cycles.pause_s[before]);
        latest_end = start - pause;
    }
    starts.reverse();
    (starts, None)
}

/// What keeps a run from starting through most of a time. Where nothing does,
/// the time itself is too short.
fn main_obstacle(
    openings: &Openings,
    bookings: &Bookings,
    ask: &Ask,
    starts: Range<i64>,
) -> Constraint {
    let mut met: BTreeMap<Constraint, usize> = BTreeMap::new();
    for start in starts.step_by(OBSTACLE_STEP_S) {
        if let Some(by) = bookings.obstacle(openings, start, ask) {
            *met.entry(by).or_insert(0) += 1;
        }
    }
    // Shut hours come every day; that they are most says little if what is
    // open is taken by something else.
    let in_open_time = met
        .iter()
        .filter(|(by, _)| matches!(by, Constraint::DailyMost | Constraint::Supply));
    in_open_time
        .max_by_key(|&(_, count)| count)
        .or_else(|| met.iter().max_by_key(|&(_, count)| count))
        .map_or(Constraint::PlanStart, |(&by, _)| by)
}

fn not_needed(net_mm: f64) -> PreSoakSummary {
    PreSoakSummary {
        net_mm,
        gross_mm: 0.0,
        planned_mm: 0.0,
        cycles: 0,
        cycles_needed: 0,
        cycle_mm: 0.0,
        by_intake: false,
        soak_min: 0.0,
        ends: None,
        early_by: None,
    }
}

fn summary(waterer: &Waterer, cycles: &Cycles, net_mm: f64, runs: &[Run]) -> PreSoakSummary {
    let gross_mm: f64 = cycles
        .run_s
        .iter()
        .map(|&run| waterer.watering.gross(run).mm())
        .sum();
    let planned_mm: f64 = runs.iter().map(|run| run.depth.mm()).sum();
    let cycle_mm = waterer.watering.gross(cycles.run_s[0]).mm();
    let soak_min = super::water::hours(cycles.pause_s.iter().copied().max().unwrap_or(0)) * 60.0;
    PreSoakSummary {
        net_mm,
        gross_mm,
        planned_mm,
        cycles: runs.len(),
        cycles_needed: cycles.run_s.len(),
        cycle_mm,
        by_intake: cycles.by_intake,
        soak_min,
        ends: runs.last().map(|run| instant(run.end().timestamp())),
        early_by: None,
    }
}
