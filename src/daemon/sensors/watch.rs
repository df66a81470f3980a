//! One sensor: its readings are judged and summed up by the hour.
//!
//! The times after which a value that never changes is taken for stuck are
//! our own choice, no source: longer than weather ever stays the same to the
//! last digit, and than a fog, a calm or a night last.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::news::{Fault, SensorNews, SensorProblem};
use crate::daemon::outlook::floor;
use crate::site::{Measures, Sensor};

/// Hours are kept so long.
const KEPT: TimeDelta = TimeDelta::hours(72);
/// So many readings may be missing before a sensor is silent.
const MISSING: i32 = 3;
/// Rain that comes to light after a longer silence belongs to no hour.
const LONGEST_GAP: TimeDelta = TimeDelta::hours(24);
/// The most rain of an hour is not measured over less than this: what falls
/// in a minute may be told in a second.
const SHORTEST_BURST: TimeDelta = TimeDelta::minutes(10);
/// So many equal readings at least before a sensor is stuck.
const EQUAL_READINGS: u32 = 12;
/// A clock that goes back by more was set.
const CLOCK_SET: TimeDelta = TimeDelta::minutes(1);
/// Two amounts of rain closer together are one message that came twice.
const TWICE_WITHIN: TimeDelta = TimeDelta::seconds(1);
/// So much of an hour must be covered by rain readings.
const RAIN_COVER: f64 = 0.9;
/// So many of an hour's readings must be there.
const READINGS_COVER: f64 = 0.5;
/// Fog holds the humidity at its end [%].
const FOG_PCT: f64 = 98.0;
/// Less radiation is night [W/m²].
const NIGHT_W_PER_M2: f64 = 20.0;

/// What a message told a sensor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Told {
    Number(f64),
    Unreadable,
    /// The message was about something else.
    Nothing,
}

/// What is known of one hour.
#[derive(Debug, Clone, Copy, Default)]
struct Bin {
    sum: f64,
    readings: u32,
    /// Part of the hour for which the rain is known.
    covered: f64,
}

/// A reading that was good.
#[derive(Debug, Clone, Copy)]
struct Good {
    value: f64,
    at: DateTime<Utc>,
    /// Since when, and how often, it has been the same.
    same_since: DateTime<Utc>,
    same: u32,
}

/// A counter at an instant.
#[derive(Debug, Clone, Copy)]
struct Base {
    value: f64,
    at: DateTime<Utc>,
}

#[derive(Debug, Clone)]
pub(super) struct Watch {
    pub(super) sensor: Sensor,
    /// Since when its words can reach us; none while the broker is away.
    pub(super) heard_since: Option<DateTime<Utc>>,
    /// From when silence counts.
    waiting_since: Option<DateTime<Utc>>,
    last: Option<Good>,
    /// What was wrong with the last reading.
    complaint: Option<Fault>,
    /// Where the counter of a rain gauge stood when it was last believed.
    base: Option<Base>,
    /// What it said since that did not fit.
    doubted: Option<f64>,
    bins: BTreeMap<DateTime<Utc>, Bin>,
    told: Option<std::mem::Discriminant<Fault>>,
}

impl Watch {
    pub(super) fn new(sensor: Sensor) -> Self {
        Self {
            sensor,
            heard_since: Some(DateTime::UNIX_EPOCH),
            waiting_since: None,
            last: None,
            complaint: None,
            base: None,
            doubted: None,
            bins: BTreeMap::new(),
            told: None,
        }
    }

    pub(super) fn take(&mut self, told: Told, now: DateTime<Utc>) {
        self.mind_the_clock(now);
        match told {
            Told::Nothing => {}
            Told::Unreadable => self.complaint = Some(Fault::Unreadable),
            Told::Number(number) => self.take_value(self.sensor.scale.apply(number), now),
        }
    }

    /// After the clock was set back what was known lies in the future.
    fn mind_the_clock(&mut self, now: DateTime<Utc>) {
        if self.last.is_some_and(|last| last.at > now + CLOCK_SET) {
            self.last = None;
            self.base = None;
            self.doubted = None;
            self.waiting_since = Some(now);
            self.bins.split_off(&floor(now));
        }
        self.waiting_since.get_or_insert(now);
    }

    fn take_value(&mut self, value: f64, now: DateTime<Utc>) {
        // A counter may stand at any height.
        let (low, high) = match self.sensor.measures {
            Measures::RainTotal => (0.0, f64::MAX),
            _ => self.sensor.bounds,
        };
        if !(low..=high).contains(&value) {
            self.complaint = Some(Fault::OutOfRange(value));
            return;
        }
        self.complaint = None;
        let before = self.last;
        let is_same = |last: &Good| (last.value - value).abs() < f64::EPSILON;
        let same = before.filter(is_same);
        self.last = Some(Good {
            value,
            at: now,
            same_since: same.map_or(now, |last| last.same_since),
            same: same.map_or(1, |last| last.same.saturating_add(1)),
        });
        match self.sensor.measures {
            Measures::RainTotal => self.take_total(value, now),
            Measures::RainAmount => self.take_amount(before, value, now),
            _ => self.take_state(value, now),
        }
        self.bins = self.bins.split_off(&floor(now - KEPT));
    }

    fn take_state(&mut self, value: f64, now: DateTime<Utc>) {
        if let Some(since) = self.stuck_since() {
            self.bins.split_off(&floor(since));
            return;
        }
        let bin = self.bins.entry(floor(now)).or_default();
        bin.sum += value;
        bin.readings = bin.readings.saturating_add(1);
    }

    fn take_amount(&mut self, before: Option<Good>, value: f64, now: DateTime<Utc>) {
        let every = self.sensor.every;
        let last = before.filter(|last| now - last.at <= every * MISSING);
        let is_twice = last.is_some_and(|last| {
            now - last.at < TWICE_WITHIN && (last.value - value).abs() < f64::EPSILON
        });
        if is_twice {
            return;
        }
        let from = last.map_or(now - every, |last| last.at);
        if self.is_plausible(value, now - from) {
            self.spread(from, now, value);
        } else {
            self.complaint = Some(Fault::OutOfRange(value));
        }
    }

    /// A counter that falls was set to zero at midnight or by a restart, and
    /// shows what has fallen since; or it said nonsense once. The next reading
    /// tells which: until then nothing is counted. So with one that leaps.
    fn take_total(&mut self, value: f64, now: DateTime<Utc>) {
        let base = self.base.filter(|base| now - base.at <= LONGEST_GAP);
        let Some(base) = base else {
            // The first reading only says where the counter stands.
            self.rebase(value, now);
            return;
        };
        let gap = now - base.at;
        let fits = |from_mm: f64| value >= from_mm && self.is_plausible(value - from_mm, gap);
        if fits(base.value) {
            self.spread(base.at, now, value - base.value);
            self.rebase(value, now);
            return;
        }
        match self.doubted {
            Some(doubted) if fits(doubted) => {
                if value < base.value && self.is_plausible(value, gap) {
                    self.spread(base.at, now, value);
                }
                self.rebase(value, now);
            }
            _ => {
                self.doubted = Some(value);
                if value > base.value {
                    self.complaint = Some(Fault::OutOfRange(value - base.value));
                }
            }
        }
    }

    fn rebase(&mut self, value: f64, at: DateTime<Utc>) {
        self.base = Some(Base { value, at });
        self.doubted = None;
    }

    /// Whether so much rain can fall in a time.
    fn is_plausible(&self, depth_mm: f64, within: TimeDelta) -> bool {
        let hours = within.max(SHORTEST_BURST).as_seconds_f64() / 3600.0;
        depth_mm <= self.sensor.bounds.1 * hours
    }

    /// Rain that fell some time between two readings, evenly.
    fn spread(&mut self, from: DateTime<Utc>, to: DateTime<Utc>, depth_mm: f64) {
        let whole_s = (to - from).as_seconds_f64();
        if whole_s <= 0.0 {
            self.bins.entry(floor(to)).or_default().sum += depth_mm;
            return;
        }
        let mut hour = floor(from);
        while hour < to {
            let next = hour + TimeDelta::hours(1);
            let part_s = (to.min(next) - from.max(hour)).as_seconds_f64();
            let bin = self.bins.entry(hour).or_default();
            bin.sum += depth_mm * part_s / whole_s;
            bin.covered += part_s / 3600.0;
            hour = next;
        }
    }

    /// Since when it has said the same for too long.
    fn stuck_since(&self) -> Option<DateTime<Utc>> {
        let last = self.last?;
        let longest = match self.sensor.measures {
            Measures::RainTotal | Measures::RainAmount => return None,
            Measures::RelativeHumidity if last.value >= FOG_PCT => TimeDelta::hours(48),
            Measures::AirTemperature | Measures::RelativeHumidity => TimeDelta::hours(12),
            Measures::Wind { .. } if last.value > 0.0 => TimeDelta::hours(12),
            Measures::Wind { .. } => TimeDelta::hours(48),
            Measures::Solar if last.value > NIGHT_W_PER_M2 => TimeDelta::hours(6),
            Measures::Solar => TimeDelta::hours(40),
            Measures::SoilMoisture { .. } => TimeDelta::days(7),
        };
        let is_stuck = last.same >= EQUAL_READINGS && last.at - last.same_since >= longest;
        is_stuck.then_some(last.same_since)
    }

    fn fault(&self, now: DateTime<Utc>) -> Option<Fault> {
        let heard = self.last.map(|last| last.at).or(self.waiting_since)?;
        let is_silent = now - heard > self.sensor.every * MISSING && self.is_listened_to(now);
        let stuck = self.stuck_since().zip(self.last);
        // Who says nonsense is not silent, but of no more use.
        self.complaint
            .or(is_silent.then_some(Fault::Silent(heard)))
            .or(stuck.map(|(since, last)| Fault::Stuck(since, last.value)))
    }

    /// Whether it could be heard for long enough; what was told of it before
    /// stays true until it speaks.
    fn is_listened_to(&self, now: DateTime<Utc>) -> bool {
        let silent = std::mem::discriminant(&Fault::Silent(now));
        let is_long = |since: DateTime<Utc>| now - since > self.sensor.every * MISSING;
        self.told == Some(silent) || self.heard_since.is_some_and(is_long)
    }

    pub(super) fn problem(&self, now: DateTime<Utc>) -> Option<SensorProblem> {
        let fault = self.fault(now)?;
        Some(SensorProblem {
            sensor: self.sensor.name.clone(),
            measures: self.sensor.measures.name(),
            unit: self.sensor.measures.unit(),
            fault,
        })
    }

    /// What has changed since it was last asked.
    pub(super) fn news(&mut self, now: DateTime<Utc>) -> Option<SensorNews> {
        self.waiting_since.get_or_insert(now);
        let problem = self.problem(now);
        let kind = problem.as_ref().map(|p| std::mem::discriminant(&p.fault));
        if kind == std::mem::replace(&mut self.told, kind) {
            return None;
        }
        Some(match problem {
            Some(problem) => SensorNews::Wrong(problem),
            None => SensorNews::Right {
                sensor: self.sensor.name.clone(),
            },
        })
    }

    /// The hours of which anything is known.
    pub(super) fn known_hours(&self) -> impl Iterator<Item = DateTime<Utc>> + '_ {
        self.bins.keys().copied()
    }

    /// The mean of an hour, where enough of it was read.
    pub(super) fn mean(&self, hour: DateTime<Utc>) -> Option<f64> {
        let bin = self.bins.get(&hour)?;
        let every_s = self.sensor.every.as_seconds_f64();
        let expected = (3600.0 / every_s * READINGS_COVER).max(1.0);
        let is_enough = bin.readings > 0 && f64::from(bin.readings) >= expected.floor();
        is_enough.then(|| bin.sum / f64::from(bin.readings))
    }

    /// The rain of an hour [mm], where it is known for the whole hour.
    pub(super) fn rain_mm(&self, hour: DateTime<Utc>) -> Option<f64> {
        let bin = self.bins.get(&hour)?;
        // The parts may add up to a little more where messages came twice.
        (bin.covered >= RAIN_COVER).then_some(bin.sum.min(self.sensor.bounds.1))
    }
}
