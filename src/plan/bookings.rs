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
            } else if self.flow_allows(start, ask) {
                return Some(start).filter(|&start| start < limit);
            } else {
                start = self
                    .touching(start, ask.length)
                    .map(|other| other.to)
                    .min()
                    .unwrap_or(limit);
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
            } else if self.flow_allows(start, ask) {
                return Some(start).filter(|&start| start >= limit);
            } else {
                start = self
                    .touching(start, ask.length)
                    .map(|other| other.from - ask.length)
                    .max()
                    .unwrap_or(limit - 1);
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
        } else if !self.flow_allows(start, ask) {
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

    /// Whether the flow fits beside what is booked. Flow can only peak where
    /// a booking begins, so those instants are looked at.
    fn flow_allows(&self, start: i64, ask: &Ask) -> bool {
        let free = self.flow_l_per_min - ask.flow_l_per_min + FLOW_SLACK_L_PER_MIN;
        let at = |instant: i64| -> f64 {
            self.touching(instant, 1)
                .map(|other| other.flow_l_per_min)
                .sum()
        };
        if at(start) > free {
            return false;
        }
        self.touching(start, ask.length)
            .filter(|other| other.from > start)
            .all(|other| at(other.from) <= free)
    }
}
