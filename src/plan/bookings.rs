//! The shared supply as a calendar: who has booked how much flow when, and
//! how much of a day's water is spoken for.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate};
use chrono_tz::Tz;

use super::timetable::Constraint;
use super::water::hours;
use super::window::Openings;
use crate::site::Site;
use crate::site::local_time::{next_day, start_of_day};

/// Slack for sums of flows [L/min], far below what any meter shows.
const FLOW_SLACK_L_PER_MIN: f64 = 1e-6;

/// A booked run.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Booking {
    from: i64,
    to: i64,
    flow_l_per_min: f64,
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
    /// The same for a shorter run.
    #[must_use]
    pub fn shortened(&self, length: i64) -> Self {
        let length = length.min(self.length);
        Self {
            length,
            volume_l: self.flow_l_per_min * hours(length) * 60.0,
            ..*self
        }
    }
}

/// All bookings of the supply.
#[derive(Debug, Clone)]
pub struct Bookings {
    flow_l_per_min: f64,
    most_per_day_l: Option<f64>,
    time_zone: Tz,
    /// Sorted by start.
    booked: Vec<Booking>,
    longest: i64,
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
            booked: Vec::new(),
            longest: 0,
            day_l: BTreeMap::new(),
        }
    }

    /// The same calendar without what was over before an instant.
    #[must_use]
    pub fn since(&self, at: i64) -> Self {
        let first = self
            .booked
            .partition_point(|other| other.from <= at - self.longest);
        Self {
            booked: self.booked[first..].to_vec(),
            day_l: self
                .day_l
                .range(self.day(at)..)
                .map(|(&day, &used_l)| (day, used_l))
                .collect(),
            ..*self
        }
    }

    /// Books a run.
    pub fn book(&mut self, start: i64, ask: &Ask) {
        let booking = Booking {
            from: start,
            to: start + ask.length,
            flow_l_per_min: ask.flow_l_per_min,
        };
        let index = self.booked.partition_point(|other| other.from <= start);
        self.booked.insert(index, booking);
        self.longest = self.longest.max(ask.length);
        if self.most_per_day_l.is_some() {
            *self.day_l.entry(self.day(start)).or_insert(0.0) += ask.volume_l;
        }
    }

    /// The earliest start from `start` on, or none before `limit`.
    #[must_use]
    pub fn earliest(&self, openings: &Openings, start: i64, limit: i64, ask: &Ask) -> Option<i64> {
        let mut start = start;
        while start < limit {
            start = openings.earliest(start, ask.length);
            if !self.day_allows(start, ask) {
                start = start_of_day(self.time_zone, next_day(self.day(start))).timestamp();
            } else if let Some(full) = self.full(start, ask).last() {
                // Flow stays until one of those that run then has ended.
                start = self.running(full).map(|it| it.to).min().unwrap_or(limit);
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
            } else if let Some(full) = self.full(start, ask).next() {
                // Flow was there since the last of those that run then began.
                let since = self.running(full).map(|it| it.from).max();
                start = since.map_or(limit - 1, |since| since - ask.length);
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

    /// Bookings that overlap a span.
    fn touching(&self, start: i64, length: i64) -> impl Iterator<Item = &Booking> {
        let first = self
            .booked
            .partition_point(|other| other.from <= start - self.longest);
        self.booked[first..]
            .iter()
            .take_while(move |other| other.from < start + length)
            .filter(move |other| other.to > start)
    }

    /// Bookings that run at an instant.
    fn running(&self, at: i64) -> impl Iterator<Item = &Booking> {
        self.touching(at, 1)
    }

    /// Instants at which the flow does not fit beside what is booked, in
    /// order. Flow can only peak where a booking begins, so those instants
    /// are looked at.
    fn full(&self, start: i64, ask: &Ask) -> impl Iterator<Item = i64> {
        let free = self.flow_l_per_min - ask.flow_l_per_min + FLOW_SLACK_L_PER_MIN;
        let beside: Vec<&Booking> = self.touching(start, ask.length).collect();
        let later = beside.partition_point(|other| other.from <= start);
        let begins: Vec<i64> = beside[later..].iter().map(|other| other.from).collect();
        std::iter::once(start).chain(begins).filter(move |&at| {
            let running = beside.iter().filter(|it| it.from <= at && it.to > at);
            running.map(|it| it.flow_l_per_min).sum::<f64>() > free
        })
    }
}
