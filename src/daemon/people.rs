//! What people ask of the running daemon.

use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Serialize};

use super::control::{Action, Control};
use super::orders::Wanted;
use crate::site::Zone;
use crate::site::local_time::date_of;
use crate::store::{Entry, Record, RecordKind};
use crate::valve::{self, Alarm, Refusal, ValveState};

/// After a stop nothing waters for so long, unless a person says otherwise:
/// the next plan would otherwise open the valve again at once.
const REST_AFTER_STOP: TimeDelta = TimeDelta::hours(1);
/// The same stop is written down again only after this.
const STOP_AGAIN: TimeDelta = TimeDelta::minutes(5);
/// The longest hold: seed would be lost by then.
const LONGEST_HOLD: TimeDelta = TimeDelta::days(60);
/// The deepest watering or rain that is believed [mm].
const DEEPEST_MM: f64 = 300.0;
/// Words of a person that are kept [characters].
const LONGEST_NOTE: usize = 200;

/// Whom to answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ticket(pub u64);

/// A request of a person. Zones are named; none is all of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "ask", deny_unknown_fields)]
pub enum Request {
    /// Close, and water nothing there for an hour.
    Stop {
        /// Zone.
        zone: Option<String>,
    },
    /// Water now.
    Water {
        /// Zone.
        zone: String,
        /// How long [s].
        seconds: u32,
        /// Though a plan would not: in a hold, against the rules, with people
        /// on the grass.
        #[serde(default)]
        anyway: bool,
    },
    /// Something has happened.
    Record {
        /// Zone.
        zone: Option<String>,
        /// What.
        what: RecordKind,
        /// In the person's words.
        #[serde(default)]
        note: String,
    },
    /// The last record was a slip.
    TakeBack {
        /// Zone.
        zone: Option<String>,
    },
    /// Water nothing for a while.
    Hold {
        /// Zone.
        zone: Option<String>,
        /// How long [s].
        seconds: u32,
        /// In the person's words.
        #[serde(default)]
        note: String,
    },
    /// The hold is over.
    Resume {
        /// Zone.
        zone: Option<String>,
    },
    /// A person has looked after the alarms that wait for one.
    Acknowledge,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "answer", content = "text")]
pub enum Answer {
    /// It is done; in words.
    Done(String),
    /// It is not; why, in words.
    Refused(String),
}

impl Control {
    pub(super) fn serve(&mut self, request: Request, out: &mut Vec<Action>) -> Answer {
        let answer = match request {
            Request::Stop { zone } => self.stop(zone.as_deref(), out),
            Request::Water {
                zone,
                seconds,
                anyway,
            } => self.water(&zone, (seconds, anyway), out),
            Request::Record { zone, what, note } => self.record(zone.as_deref(), what, &note, out),
            Request::TakeBack { zone } => self.take_back(zone.as_deref(), out),
            Request::Hold {
                zone,
                seconds,
                note,
            } => self.hold(zone.as_deref(), seconds, &note, out),
            Request::Resume { zone } => self.resume(zone.as_deref(), out),
            Request::Acknowledge => Ok(self.acknowledge(out)),
        };
        match answer {
            Ok(text) => Answer::Done(text),
            Err(text) => Answer::Refused(text),
        }
    }

    pub(super) fn zone(&self, name: Option<&str>) -> Result<Option<usize>, String> {
        let Some(name) = name else { return Ok(None) };
        let zones = &self.site.zones;
        match zones.iter().position(|zone| zone.name == name) {
            Some(index) => Ok(Some(index)),
            None => {
                let names: Vec<&str> = zones.iter().map(|zone| zone.name.as_str()).collect();
                Err(format!(
                    "no zone {name:?} in this site; it has {}",
                    names.join(", ")
                ))
            }
        }
    }

    pub(super) fn name(&self, zone: Option<usize>) -> &str {
        zone.and_then(|zone| self.site.zones.get(zone))
            .map_or("the whole site", |zone| zone.name.as_str())
    }

    fn close(&mut self, zone: Option<usize>, out: &mut Vec<Action>) {
        let event = zone.map_or(valve::Event::CloseAll, valve::Event::Close);
        self.drive(event, out);
    }

    pub(super) fn keep(
        &mut self,
        zone: Option<usize>,
        kind: RecordKind,
        note: &str,
        out: &mut Vec<Action>,
    ) {
        let record = Record {
            zone,
            kind,
            at: self.now.utc,
            note: note.chars().take(LONGEST_NOTE).collect(),
        };
        self.take_record(&record);
        out.push(Action::Write(Entry::Record(record)));
    }

    pub(super) fn clock_is_needed(&self) -> Result<(), String> {
        match self.clock_problem {
            Some(problem) => Err(problem.to_string()),
            None => Ok(()),
        }
    }

    fn stop(&mut self, zone: Option<&str>, out: &mut Vec<Action>) -> Result<String, String> {
        let zone = self.zone(zone)?;
        self.close(zone, out);
        let name = self.name(zone).to_owned();
        if self.clock_is_needed().is_err() {
            return Ok(format!("{name}: closing"));
        }
        let until = self.now.utc + REST_AFTER_STOP;
        self.keep(zone, RecordKind::Hold { until }, "stopped", out);
        Ok(format!(
            "{name}: closing; nothing waters there before {}. \
             `soakmist hold` makes it longer, `soakmist resume` ends it",
            self.local(self.held_until(zone).unwrap_or(until))
        ))
    }

    /// Whether a stop would change hardly anything: nothing there is open or
    /// about to be, nor will be for most of its time.
    pub(in crate::daemon) fn is_done(&self, request: &Request) -> bool {
        let Request::Stop { zone } = request else {
            return false;
        };
        let Ok(asked) = self.zone(zone.as_deref()) else {
            return false;
        };
        let most = self.now.utc + REST_AFTER_STOP - STOP_AGAIN;
        let valves = &self.supervisor.known().fleet.zones;
        let is_shut = |zone: usize| {
            let valve = valves.get(zone);
            !valve.is_some_and(|valve| {
                matches!(
                    valve,
                    ValveState::Waiting { .. }
                        | ValveState::Opening { .. }
                        | ValveState::Open { .. }
                )
            })
        };
        let mut zones = self.fields.iter().enumerate();
        zones.all(|(zone, field)| {
            let is_asked = asked.is_none_or(|asked| asked == zone);
            let is_held = field.held_until().is_some_and(|until| until > most);
            !is_asked || (is_held && is_shut(zone))
        })
    }

    fn water(
        &mut self,
        zone: &str,
        (seconds, anyway): (u32, bool),
        out: &mut Vec<Action>,
    ) -> Result<String, String> {
        let zone = self.zone(Some(zone))?;
        let Some(zone) = zone else {
            return Err(Refusal::UnknownZone.to_string());
        };
        self.clock_is_needed()?;
        if !self.settings.driven.get(zone).copied().unwrap_or(false) {
            return Err(format!(
                "{} has no valve in the site file: water it by hand and record that",
                self.name(Some(zone))
            ));
        }
        let duration = TimeDelta::seconds(i64::from(seconds));
        let objection = self.objection(zone, duration);
        if let Some(objection) = objection.as_ref().filter(|_| !anyway) {
            return Err(format!(
                "{}: {objection}. Ask with --anyway to water all the same",
                self.name(Some(zone))
            ));
        }
        let wanted = Wanted {
            zone,
            duration,
            cycle: None,
            reason: None,
        };
        let begun = self.begin(wanted, out);
        begun.map_err(|refusal| self.why_not(zone, refusal))?;
        self.changed();
        let name = self.name(Some(zone));
        Ok(match objection {
            Some(objection) => format!("{name}: watering for {seconds} s, though {objection}"),
            None => format!("{name}: watering for {seconds} s"),
        })
    }

    /// A refusal with what a person needs to ask again.
    fn why_not(&self, zone: usize, refusal: Refusal) -> String {
        let name = self.name(Some(zone));
        match refusal {
            Refusal::Resting => {
                let valve = self.supervisor.known().fleet.zones.get(zone);
                let free = valve.and_then(ValveState::free_at);
                let until = free.map(|at| self.local(self.now.utc_at(at) + TimeDelta::minutes(1)));
                match until {
                    Some(until) => format!("{name}: {refusal}; ask again from {until} on"),
                    None => format!("{name}: {refusal}"),
                }
            }
            Refusal::RunTime => {
                let longest = self.settings.installation.longest_run.as_secs();
                format!("{name}: {refusal}, {longest} s")
            }
            _ => format!("{name}: {refusal}"),
        }
    }

    fn record(
        &mut self,
        zone: Option<&str>,
        what: RecordKind,
        note: &str,
        out: &mut Vec<Action>,
    ) -> Result<String, String> {
        self.clock_is_needed()?;
        let zone = self.zone(zone)?;
        match what {
            RecordKind::HandWatered { depth_mm } | RecordKind::Rain { depth_mm }
                if !(0.0..=DEEPEST_MM).contains(&depth_mm) =>
            {
                return Err(format!("a depth must be 0 to {DEEPEST_MM} mm"));
            }
            RecordKind::Hold { .. } | RecordKind::Resume | RecordKind::TakenBack { .. } => {
                return Err("use hold, resume or take-back for that".to_owned());
            }
            RecordKind::Emerged | RecordKind::AllUp => self.can_be_up(zone)?,
            _ => {}
        }
        self.keep(zone, what, note, out);
        Ok(format!("{}: recorded", self.name(zone)))
    }

    /// Nothing is up on the day of sowing, and such a record would change
    /// nothing.
    fn can_be_up(&self, zone: Option<usize>) -> Result<(), String> {
        let time_zone = self.site.place.time_zone;
        let today = date_of(time_zone, self.now.utc);
        let zones = self.site.zones.iter().enumerate();
        let mut asked = zones.filter(|(index, _)| zone.is_none_or(|zone| zone == *index));
        let sown = |(_, zone): (_, &Zone)| date_of(time_zone, zone.seeding.at);
        match asked.clone().any(|zone| sown(zone) < today) {
            true => Ok(()),
            false => Err(format!(
                "{}: sown on {}, so that nothing can be up before the day after",
                self.name(zone),
                asked.next().map(sown).unwrap_or(today).format("%a %d %b")
            )),
        }
    }

    fn hold(
        &mut self,
        zone: Option<&str>,
        seconds: u32,
        note: &str,
        out: &mut Vec<Action>,
    ) -> Result<String, String> {
        self.clock_is_needed()?;
        let zone = self.zone(zone)?;
        let span = TimeDelta::seconds(i64::from(seconds));
        if span <= TimeDelta::zero() || span > LONGEST_HOLD {
            return Err("a hold lasts up to 60 days: give a time such as 24h".to_owned());
        }
        let until = self.now.utc + span;
        self.close(zone, out);
        self.keep(zone, RecordKind::Hold { until }, note, out);
        let held = self.held_until(zone).unwrap_or(until);
        let name = self.name(zone);
        let text = format!("{name}: no watering before {}", self.local(held));
        Ok(match held > until {
            true => text + ", as was said before. `soakmist resume` ends that",
            false => text,
        })
    }

    /// Before this nothing waters there; for the whole site the first end.
    fn held_until(&self, zone: Option<usize>) -> Option<DateTime<Utc>> {
        let fields = self.fields.iter().enumerate();
        let asked = fields.filter(|(index, _)| zone.is_none_or(|zone| zone == *index));
        asked.filter_map(|(_, field)| field.held_until()).min()
    }

    fn resume(&mut self, zone: Option<&str>, out: &mut Vec<Action>) -> Result<String, String> {
        self.clock_is_needed()?;
        let zone = self.zone(zone)?;
        self.keep(zone, RecordKind::Resume, "", out);
        Ok(format!("{}: watering goes on", self.name(zone)))
    }

    fn acknowledge(&mut self, out: &mut Vec<Action>) -> String {
        let alarms = self.supervisor.known().alarms.iter();
        let waiting: Vec<Alarm> = alarms.filter(|alarm| alarm.waits_for_a_person()).collect();
        for alarm in &waiting {
            self.drive(valve::Event::Acknowledge(*alarm), out);
        }
        let mut count = waiting.len();
        if self
            .clock_problem
            .is_some_and(|problem| problem.may_be_the_state())
        {
            self.believe_clock(TimeDelta::zero(), out);
            self.look_at_clock(out);
            count += 1;
        }
        self.changed();
        match count + self.see_strays(out) {
            0 => "no alarm waits for a person".to_owned(),
            count => format!("{count} acknowledged"),
        }
    }

    /// An instant for people, in the site's time.
    pub(super) fn local(&self, at: DateTime<Utc>) -> String {
        let local = at.with_timezone(&self.site.place.time_zone);
        local.format("%a %d %b %H:%M").to_string()
    }
}

/// A time that a person gives, as a whole number of seconds.
///
/// # Errors
/// What to write instead, in words.
pub fn seconds(text: &str) -> Result<u32, String> {
    let wrong = || format!("{text:?} is no length of time: write one such as 5min, 90s or 24h");
    let text = text.trim();
    let digits = text.find(|c: char| !c.is_ascii_digit() && c != '.');
    let (number, unit) = text.split_at(digits.ok_or_else(wrong)?);
    let number: f64 = number.parse().map_err(|_| wrong())?;
    let unit = match unit.trim() {
        "s" | "sec" => 1.0,
        "min" | "m" => 60.0,
        "h" | "hours" | "hour" => 3600.0,
        "d" | "days" | "day" => 86_400.0,
        _ => return Err(wrong()),
    };
    let span = Duration::try_from_secs_f64(number * unit).map_err(|_| wrong())?;
    u32::try_from(span.as_secs())
        .ok()
        .filter(|seconds| *seconds > 0)
        .ok_or_else(wrong)
}
