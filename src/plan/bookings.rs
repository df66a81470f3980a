//! The shared supply as a calendar: who has booked how much flow when, and
//! how much of a day's water is spoken for.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate};
use chrono_tz::Tz;

use super::timetable::Constraint;
use super::window::Openings;
use crate::site::Site;
use crate::site::local_time::{next_day, start_of_day};

/// Slack for sums of flows [L/min], far below what any meter shows.
const FLOW_SLACK_L_PER_MIN: f64 = 1e-6;

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

/// All bookings of the supply.
#[derive(Debug, Clone)]
pub struct Bookings {
    flow_l_per_min: f64,
    most_per_day_l: Option<f64>,
    time_zone: Tz,
    /// The flow in use over time, by start; none before the first step.
    steps: Vec<Step>,
    day_l: BTreeMap<NaiveDate, f64>,
}

impl Bookings {
    /// The empty calendar of a site with a given flow to share.
    #[must_use]
    pub fn of(site: &Site, flow_l_per_min: f64) -> Self {
        Self {
            flow_l_per_min,
            most_per_day_l: site.rules.most_per_day.map(|most| most.l()),
            time_zone: site.place.time_zone,
            steps: Vec::new(),
            day_l: BTreeMap::new(),
        }
    }

    /// The same calendar, empty before an instant.
    #[must_use]
    pub fn since(&self, at: i64) -> Self {
        let mut day_l = BTreeMap::new();
        if self.most_per_day_l.is_some() {
            day_l.extend(self.day_l.range(self.day(at)..));
        }
        Self {
            steps: self.steps[self.running_at(at)..].to_vec(),
            day_l,
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
            *self.day_l.entry(self.day(start)).or_insert(0.0) += ask.volume_l;
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
            if !self.day_allows(start, ask) {
                start = start_of_day(self.time_zone, next_day(self.day(start))).timestamp();
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
            if !self.day_allows(start, ask) {
                start = start_of_day(self.time_zone, self.day(start)).timestamp() - 1;
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
        } else if !self.day_allows(start, ask) {
            Some(Constraint::DailyMost)
        } else if self.full(start, ask).next().is_some() {
            Some(Constraint::Supply)
        } else {
            None
        }
    }

    fn day(&self, at: i64) -> NaiveDate {
        DateTime::from_timestamp(at, 0).map_or(NaiveDate::MIN, |at| {
            at.with_timezone(&self.time_zone).date_naive()
        })
    }

    fn day_allows(&self, start: i64, ask: &Ask) -> bool {
        self.most_per_day_l.is_none_or(|most| {
            let used = self.day_l.get(&self.day(start)).copied().unwrap_or(0.0);
            used + ask.volume_l <= most
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
