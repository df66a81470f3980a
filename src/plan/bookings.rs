//! The shared supply as a calendar: who has booked how much flow when, and
//! how much of a day's water is spoken for.

use std::sync::Arc;

use super::timetable::Constraint;
use super::water::{hours, whole_seconds};
use super::window::{Openings, SiteClosures};
use crate::site::Site;

/// Slack for sums of flows [L/min], far below what any meter shows.
const FLOW_SLACK_L_PER_MIN: f64 = 1e-6;
/// The same for the water of a day [L].
const DAY_SLACK_L: f64 = 1e-6;

/// Room for steps of runs that are booked in a part of a calendar on trial.
const ROOM: usize = 32;

/// Flow in use from an instant on, until that of the next step.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Step {
    from: i64,
    used_l_per_min: f64,
}

/// What a run asks of the supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ask {
    /// Length [s].
    pub length: i64,
    /// Flow [L/min].
    pub flow_l_per_min: f64,
    /// Volume [L].
    pub volume_l: f64,
}

impl Ask {
    /// Volume of a part of the run [L].
    fn volume_of(&self, seconds: i64) -> f64 {
        self.volume_l * hours(seconds) / hours(self.length.max(1))
    }

    /// Whole seconds of the run that a volume is enough for.
    fn seconds_for(&self, volume_l: f64) -> i64 {
        let share = volume_l.max(0.0) / self.volume_l.max(DAY_SLACK_L);
        whole_seconds(share * hours(self.length) * 3600.0)
    }
}

/// A day with too little water left for its part of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
struct SpentDay {
    /// Its place among the days, from one.
    day: usize,
    /// Seconds of the run that it has water for, fewer than asked.
    left_s: i64,
}

/// The days that a run touches, by place from one (zero is all time before
/// them), with its seconds on each.
fn days_of(midnights: &[i64], start: i64, length: i64) -> impl Iterator<Item = (usize, i64)> {
    let end = start + length;
    let first = midnights.partition_point(|&midnight| midnight <= start);
    let begins = std::iter::once(start).chain(midnights[first..].iter().copied());
    begins
        .take_while(move |&begin| begin < end)
        .enumerate()
        .map(move |(count, begin)| {
            let day = first + count;
            let day_end = midnights.get(day).copied().unwrap_or(i64::MAX);
            (day, day_end.min(end) - begin)
        })
}

/// All bookings of the supply.
#[derive(Debug)]
pub struct Bookings {
    flow_l_per_min: f64,
    most_per_day_l: Option<f64>,
    /// The flow in use over time, by start; none before the first step.
    steps: Vec<Step>,
    /// First second of each local day that the plan touches.
    midnights: Arc<[i64]>,
    /// Water spoken for [L]: before those days, and on each of them.
    day_l: Vec<f64>,
}

impl Clone for Bookings {
    fn clone(&self) -> Self {
        self.with(&self.steps)
    }
}

impl Bookings {
    /// The empty calendar of a site with a given flow to share, over the days
    /// of its closures.
    #[must_use]
    pub fn of(site: &Site, closures: &SiteClosures, flow_l_per_min: f64) -> Self {
        Self {
            flow_l_per_min,
            most_per_day_l: site.rules.most_per_day.map(|most| most.l()),
            steps: Vec::new(),
            midnights: Arc::clone(&closures.midnights),
            day_l: vec![0.0; closures.midnights.len() + 1],
        }
    }

    /// The same calendar without the runs that are over by an instant; the
    /// days keep what is spoken for.
    #[must_use]
    pub fn since(&self, at: i64) -> Self {
        self.with(&self.steps[self.running_at(at)..])
    }

    /// A copy with some of the steps and room for more.
    fn with(&self, kept: &[Step]) -> Self {
        let mut steps = Vec::with_capacity(kept.len() + ROOM);
        steps.extend_from_slice(kept);
        Self {
            steps,
            midnights: Arc::clone(&self.midnights),
            day_l: self.day_l.clone(),
            ..*self
        }
    }

    /// Books a run.
    pub fn book(&mut self, start: i64, ask: &Ask) {
        let first = self.cut(start);
        let end = self.cut(start + ask.length);
        for step in &mut self.steps[first..end] {
            step.used_l_per_min += ask.flow_l_per_min;
        }
        if self.most_per_day_l.is_some() {
            for (day, seconds) in days_of(&self.midnights, start, ask.length) {
                self.day_l[day] += ask.volume_of(seconds);
            }
        }
    }

    /// The index of the step that begins at an instant, made if need be.
    fn cut(&mut self, at: i64) -> usize {
        let index = self.steps.partition_point(|step| step.from < at);
        if self.steps.get(index).is_none_or(|step| step.from > at) {
            let before = index.checked_sub(1).map(|before| self.steps[before]);
            let step = Step {
                from: at,
                used_l_per_min: before.map_or(0.0, |before| before.used_l_per_min),
            };
            self.steps.insert(index, step);
        }
        index
    }

    /// The index of the step in which an instant falls, or zero before all.
    fn running_at(&self, at: i64) -> usize {
        let later = self.steps.partition_point(|step| step.from <= at);
        later.saturating_sub(1)
    }

    /// The earliest start from `start` on, or none before `limit`.
    #[must_use]
    pub fn earliest(&self, openings: &Openings, start: i64, limit: i64, ask: &Ask) -> Option<i64> {
        let mut start = start;
        while start < limit {
            start = openings.earliest(start, ask.length);
            if let Some(spent) = self.spent_day(start, ask) {
                let tomorrow = self.midnights.get(spent.day);
                start = tomorrow.map_or(limit, |midnight| midnight - spent.left_s);
            } else if let Some((_, to)) = self.full(start, ask).last() {
                start = to;
            } else {
                return Some(start).filter(|&start| start < limit);
            }
        }
        None
    }

    /// The latest start at or before `start`, or none from `limit` on.
    #[must_use]
    pub fn latest(&self, openings: &Openings, start: i64, limit: i64, ask: &Ask) -> Option<i64> {
        let mut start = start;
        while start >= limit {
            start = openings.latest(start, ask.length);
            if let Some(spent) = self.spent_day(start, ask) {
                let today = spent.day.checked_sub(1);
                start = today.map_or(limit - 1, |today| {
                    self.midnights[today] + spent.left_s - ask.length
                });
            } else if let Some((from, _)) = self.full(start, ask).next() {
                start = from - ask.length;
            } else {
                return Some(start).filter(|&start| start >= limit);
            }
        }
        None
    }

    /// What keeps a run from starting at `start`, if anything does.
    #[must_use]
    pub fn obstacle(&self, openings: &Openings, start: i64, ask: &Ask) -> Option<Constraint> {
        if let Some(closure) = openings.in_the_way(start, ask.length) {
            Some(closure.by)
        } else if self.spent_day(start, ask).is_some() {
            Some(Constraint::DailyMost)
        } else if self.full(start, ask).next().is_some() {
            Some(Constraint::Supply)
        } else {
            None
        }
    }

    /// The first day that has too little left for its part of a run.
    fn spent_day(&self, start: i64, ask: &Ask) -> Option<SpentDay> {
        let most = self.most_per_day_l?;
        days_of(&self.midnights, start, ask.length).find_map(|(day, seconds)| {
            let left_l = most - self.day_l[day];
            (ask.volume_of(seconds) > left_l + DAY_SLACK_L).then(|| SpentDay {
                day,
                left_s: ask.seconds_for(left_l).min(seconds - 1),
            })
        })
    }

    /// Spans in which the flow does not fit beside what is booked while a run
    /// from `start` is on, in order.
    fn full(&self, start: i64, ask: &Ask) -> impl Iterator<Item = (i64, i64)> {
        let free = self.flow_l_per_min - ask.flow_l_per_min + FLOW_SLACK_L_PER_MIN;
        let end = start + ask.length;
        // More than the whole supply fits nowhere.
        let never = (free < 0.0).then_some((i64::MIN / 2, i64::MAX));
        let booked = self.steps[self.running_at(start)..]
            .windows(2)
            .map(|pair| (pair[0], pair[1].from))
            .take_while(move |(step, _)| step.from < end)
            .filter(move |&(step, to)| to > start && step.used_l_per_min > free)
            .map(|(step, to)| (step.from, to));
        never.into_iter().chain(booked)
    }
}
