//! What the daemon knows of one zone: the water that it got, what people
//! recorded, what runs now.

use std::collections::BTreeMap;
use std::time::Duration;

use chrono::{DateTime, DurationRound, NaiveDate, TimeDelta, Utc};

use crate::balance::probe::ProbeReading;
use crate::balance::stores::Levels;
use crate::clock::Now;
use crate::plan::rolling::{Probe, RainGauge, Water, ZoneNow};
use crate::plan::timetable::Cycle;
use crate::store::{ProbeHour, Record, RecordKind};
use crate::valve::{FinishedRun, Moment, RunId};

/// What people water by hand is taken to have lasted so long.
const BY_HAND: TimeDelta = TimeDelta::minutes(10);
/// A rain gauge is taken to have been emptied at most so long ago.
const GAUGE_REACH: TimeDelta = TimeDelta::hours(24);
/// First pause after an order that was refused; doubles up to the last.
const FIRST_PAUSE_MS: u64 = 2000;
/// Doublings of that pause: up to about four minutes.
const MOST_DOUBLINGS: u32 = 7;

/// A run that was ordered and has not ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ordered {
    /// Its number.
    pub run: RunId,
    /// When it was ordered.
    pub at: Now,
    /// How long.
    pub duration: TimeDelta,
    /// Its place in a split application.
    pub cycle: Option<Cycle>,
}

impl Ordered {
    /// A moment of the run by the wall clock as it goes `now`, in whole
    /// seconds. Both clocks are read one after the other: without the rounding
    /// it would be another at each look.
    #[must_use]
    pub fn wall_time(&self, moment: Moment, now: Now) -> DateTime<Utc> {
        let set_by = whole_seconds(now.utc_at(self.at.moment) - self.at.utc);
        let begun = self.at.utc.timestamp();
        let begun = DateTime::from_timestamp(begun, 0).unwrap_or(self.at.utc);
        begun + set_by + whole_seconds(in_millis(moment.since(self.at.moment)))
    }
}

/// To the nearest.
fn whole_seconds(span: TimeDelta) -> TimeDelta {
    let half = TimeDelta::milliseconds(500);
    TimeDelta::seconds(match span < TimeDelta::zero() {
        true => (span - half).num_seconds(),
        false => (span + half).num_seconds(),
    })
}

/// An open time as the state keeps it: what is planned before a restart must
/// be what is planned after it.
#[must_use]
pub fn in_millis(open: Duration) -> TimeDelta {
    i64::try_from(open.as_millis()).map_or(TimeDelta::MAX, TimeDelta::milliseconds)
}

/// No watering for a while.
#[derive(Debug, Clone, PartialEq)]
pub struct Hold {
    /// Its end.
    pub until: DateTime<Utc>,
    /// Why, in the person's words.
    pub note: String,
}

/// One zone as the daemon knows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// From where the balance is carried on.
    pub base: (DateTime<Utc>, Option<Levels>),
    water: Vec<Water>,
    rain: Vec<RainGauge>,
    /// What its probe said since the balance's instant, by the end of the
    /// hour, and the name of the probe.
    probes: BTreeMap<DateTime<Utc>, (String, ProbeReading)>,
    /// Corrections up to here have been told.
    corrections_told: Option<DateTime<Utc>>,
    /// Place of the last run in a split application.
    cycle: Option<Cycle>,
    /// The run in progress.
    pub ordered: Option<Ordered>,
    /// No watering before its end.
    pub hold: Option<Hold>,
    /// The day on which a person saw the first green.
    pub emerged: Option<NaiveDate>,
    /// The day on which a person saw that all was up.
    pub all_up: Option<NaiveDate>,
    /// When it was last mown.
    pub mown: Option<DateTime<Utc>>,
    /// Orders refused since the last that was not.
    refused: u32,
    /// No order before this.
    pub pause_until: Option<Moment>,
}

impl Field {
    /// A zone of which nothing is known but where its balance begins.
    #[must_use]
    pub fn new(base: (DateTime<Utc>, Option<Levels>)) -> Self {
        Self {
            base,
            water: Vec::new(),
            rain: Vec::new(),
            probes: BTreeMap::new(),
            corrections_told: None,
            cycle: None,
            ordered: None,
            hold: None,
            emerged: None,
            all_up: None,
            mown: None,
            refused: 0,
            pause_until: None,
        }
    }

    /// Water was applied: `open` long, until `to`.
    ///
    /// The end is taken up to the next whole second but one, so that no plan
    /// counts the rest of the zone from before its valve was closed.
    pub fn applied(&mut self, open: TimeDelta, to: DateTime<Utc>) {
        let second = TimeDelta::seconds(1);
        let to = to.duration_trunc(second).unwrap_or(to) + second;
        if open > TimeDelta::zero() {
            self.add(Water {
                from: to - open,
                to,
                depth_mm: None,
            });
        }
    }

    /// A run has ended, or water came without one.
    pub fn finished(&mut self, finished: &FinishedRun, now: Now) {
        if let Some(ordered) = self.ordered.filter(|run| Some(run.run) == finished.run) {
            self.cycle = ordered.cycle;
            self.ordered = None;
        }
        self.applied(
            in_millis(finished.applied.estimate),
            now.utc_at(finished.at),
        );
    }

    /// An order was accepted.
    pub fn ordered(&mut self, ordered: Ordered) {
        self.ordered = Some(ordered);
        self.refused = 0;
        self.pause_until = None;
    }

    /// An order was refused, or never came to open the valve.
    pub fn refused(&mut self, now: Moment) -> Moment {
        self.ordered = None;
        let pause_ms = FIRST_PAUSE_MS << self.refused.min(MOST_DOUBLINGS);
        self.refused = self.refused.saturating_add(1);
        let until = now.after(Duration::from_millis(pause_ms));
        self.pause_until = Some(until);
        until
    }

    /// What a person tells. Whether it changes anything for the plan.
    pub fn record(&mut self, record: &Record, date: NaiveDate) -> bool {
        match record.kind {
            RecordKind::Emerged => self.emerged = Some(date),
            RecordKind::AllUp => self.all_up = Some(date),
            RecordKind::HandWatered { depth_mm } => self.add(Water {
                from: record.at - BY_HAND,
                to: record.at,
                depth_mm: Some(depth_mm),
            }),
            RecordKind::Rain { depth_mm } => {
                let last = self.rain.iter().map(|gauge| gauge.to).max();
                let from = record.at - GAUGE_REACH;
                self.rain.push(RainGauge {
                    from: last.map_or(from, |last| last.max(from)),
                    to: record.at,
                    depth_mm,
                });
            }
            RecordKind::Mown => {
                self.mown = Some(record.at);
                return false;
            }
            // Of two holds the later end counts: a stop ends none early.
            RecordKind::Hold { until } => {
                if self.held_until().is_none_or(|held| until > held) {
                    let note = record.note.clone();
                    self.hold = Some(Hold { until, note });
                }
            }
            RecordKind::Resume => self.hold = None,
            // Nothing to add: the others are told again.
            RecordKind::TakenBack { .. } => {}
        }
        true
    }

    /// Forgets all that people told; what valves did stays.
    pub fn forget_records(&mut self) {
        self.water.retain(|water| water.depth_mm.is_none());
        self.rain.clear();
        (self.emerged, self.all_up, self.mown) = (None, None, None);
        self.hold = None;
    }

    /// Lets go of what is in the levels already.
    pub fn settle(&mut self) {
        if let (at, Some(levels)) = self.base {
            self.carry_on(at, levels);
        }
    }

    /// What a probe says of an hour; with no weight it takes its word back.
    pub fn probe(&mut self, hour: &ProbeHour) {
        let at = hour.start + TimeDelta::hours(1);
        let reading = ProbeReading {
            content: hour.content,
            weight: hour.weight,
        };
        if reading.weight > 0.0 && self.base.1.is_none_or(|_| at > self.base.0) {
            self.probes.insert(at, (hour.sensor.clone(), reading));
        } else {
            self.probes.remove(&at);
        }
    }

    /// The name of the probe behind a correction that was not told yet.
    pub fn tell_correction(&mut self, at: DateTime<Utc>) -> Option<String> {
        if self.corrections_told.is_some_and(|told| at <= told) {
            return None;
        }
        let (sensor, _) = self.probes.get(&at)?;
        self.corrections_told = Some(at);
        Some(sensor.clone())
    }

    /// All corrections but the last have been told by an earlier life.
    pub fn told_before(&mut self) {
        self.corrections_told = self.probes.keys().rev().nth(1).copied();
    }

    fn add(&mut self, water: Water) {
        let at = self.water.partition_point(|other| other.from <= water.from);
        self.water.insert(at, water);
    }

    /// The balance is carried on from later levels.
    pub fn carry_on(&mut self, at: DateTime<Utc>, levels: Levels) {
        self.base = (at, Some(levels));
        self.water.retain(|water| water.to > at);
        self.rain.retain(|gauge| gauge.to > at - GAUGE_REACH);
        self.probes.retain(|probed, _| *probed > at);
    }

    /// For a plan that is made now, while the run in progress lasts until
    /// `ends`. Water dated after now, by a clock that was
    /// ahead, counts as having come just now: it is not forgotten.
    #[must_use]
    pub fn now(&self, now: Now, is_left_out: bool, ends: Option<Moment>) -> ZoneNow {
        let mut water: Vec<Water> = self
            .water
            .iter()
            .map(|water| {
                let ahead = (water.to - now.utc).max(TimeDelta::zero());
                // Rounding up of ends is no clock that was ahead.
                let ahead = if ahead > TimeDelta::seconds(2) {
                    ahead
                } else {
                    TimeDelta::zero()
                };
                Water {
                    from: water.from - ahead,
                    to: water.to - ahead,
                    ..*water
                }
            })
            .collect();
        water.sort_by_key(|water| (water.from, water.to));
        if let Some((ordered, ends)) = self.ordered.zip(ends) {
            let to = now.utc_at(ends);
            water.push(Water {
                from: to - ordered.duration,
                to,
                depth_mm: None,
            });
        }
        ZoneNow {
            at: self.base.0.min(now.utc),
            levels: self.base.1,
            water,
            rain: self.rain.clone(),
            probes: self
                .probes
                .iter()
                .map(|(&at, &(_, reading))| Probe { at, reading })
                .collect(),
            cycle: match &self.ordered {
                Some(ordered) => ordered.cycle,
                None => self.cycle,
            },
            held_until: self.held_until().filter(|until| *until > now.utc),
            is_left_out,
        }
    }

    /// End of the hold.
    #[must_use]
    pub fn held_until(&self) -> Option<DateTime<Utc>> {
        self.hold.as_ref().map(|hold| hold.until)
    }

    /// How long its valve was open from an instant to `now`, as far as is kept,
    /// with what the run in progress has been ordered for.
    #[must_use]
    pub fn open_since(&self, from: DateTime<Utc>, now: DateTime<Utc>) -> TimeDelta {
        let by_valve = self.water.iter().filter(|water| water.depth_mm.is_none());
        let open =
            by_valve.map(|water| (water.to.min(now) - water.from.max(from)).max(TimeDelta::zero()));
        let ordered = self.ordered.map_or(TimeDelta::zero(), |run| run.duration);
        open.fold(ordered, |sum, open| sum + open)
    }

    /// The last water and its length, for people.
    #[must_use]
    pub fn last_water(&self) -> Option<&Water> {
        self.water.last()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::balance::strata;

    #[test]
    fn sixty_days_leave_no_more_behind_than_the_time_since_the_last_levels() {
        let levels = Levels {
            surface_mm: 1.0,
            strata_mm: [1.0; strata::COUNT],
            layer_mm: 10.0,
            seeded: true,
        };
        let begin = DateTime::UNIX_EPOCH;
        let mut field = Field::new((begin, None));
        // Water and a probe every hour, a gauge every second one; levels every
        // six hours, as of two days ago.
        for hour in 0..60 * 24 {
            let now = begin + TimeDelta::hours(hour);
            field.applied(TimeDelta::minutes(5), now);
            field.probe(&ProbeHour {
                zone: 0,
                start: now - TimeDelta::hours(1),
                seen: now,
                sensor: "probe".to_owned(),
                content: 0.2,
                weight: 0.2,
            });
            if hour % 2 == 0 {
                let rain = Record {
                    zone: Some(0),
                    kind: RecordKind::Rain { depth_mm: 1.0 },
                    at: now,
                    note: String::new(),
                };
                field.record(&rain, now.date_naive());
            }
            if hour % 6 == 0 {
                field.carry_on(now - TimeDelta::hours(48), levels);
            }
            let (water, rain) = (field.water.len(), field.rain.len());
            assert!(water <= 48 + 6, "{water} waterings after {hour} h");
            assert!(field.probes.len() <= 48 + 6);
            assert!(rain <= (48 + 24 + 6) / 2, "{rain} gauges after {hour} h");
        }
    }
}
