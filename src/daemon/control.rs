//! The control loop: events to actions.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::assignment::{Assignment, Outcome};
use super::field::{Field, in_millis};
use super::notice::Notice;
use super::orders::Waiting;
use super::outlook::{self, Basis, WeatherBook};
use super::people::{Answer, Request, Ticket};
use super::replanning::Planning;
use super::senses::{Senses, Told};
use super::timekeeping::{Hindrance, first_forgetting};
use crate::agronomy::weather_record::RawHour;
use crate::balance::stores::Levels;
use crate::clock::{ClockProblem, JumpWatch, Now};
use crate::mqtt::Parcel;
use crate::plan::rolling::RollingPlan;
use crate::site::Site;
use crate::site::local_time::date_of;
use crate::store::{Entry, ProbeHour, Record, Stray, Watering};
use crate::valve::{
    self, Command, CommandId, DeviceId, Installation, InstallationError, JournalEntry, Moment,
    Recovery, Supervisor,
};
use crate::weather::frozen::{self, Frozen};
use crate::weather::series::SeriesHour;

/// The first weather is waited for so long.
const FIRST_WEATHER: Duration = Duration::from_secs(10);
/// The wall clock is looked at so often at least.
const LOOK_AFTER: Duration = Duration::from_secs(30);
/// Levels older than this say nothing any more.
const LEVELS_MOST: TimeDelta = TimeDelta::days(30);

/// The name under which the weather in force is kept.
pub(super) const WEATHER_KEPT: &str = "in-force";

/// What the loop is told.
#[derive(Debug)]
pub enum Event {
    /// Comes first and once.
    Start,
    /// Time has passed.
    Tick,
    /// Something for the valve supervisor: reports, the link, the journal.
    Valve(valve::Event),
    /// Hours of weather, from any source.
    Weather(Vec<SeriesHour>),
    /// Something came on a topic of the sensors.
    Sensor(Told),
    /// A planning is done.
    Planned(Box<Outcome>),
    /// A person asks.
    Ask(Request, Ticket),
    /// The site file has changed; its zones and valves have not.
    NewSite(Arc<Site>),
}

/// What is to be done, in order; [`super::Desk`] knows what may overtake.
#[derive(Debug)]
pub enum Action {
    /// Write durably before going on.
    Write(Entry),
    /// Send a command to a device.
    Publish {
        /// To which device.
        device: DeviceId,
        /// Its number.
        id: CommandId,
        /// What.
        command: Command,
    },
    /// Close a valve that the site does not have, over the link. The device
    /// is only a place in its outbox.
    CloseStray(DeviceId, Parcel),
    /// Make a plan and tell [`Event::Planned`].
    Plan(Box<Assignment>),
    /// Answer a person.
    Answer(Ticket, Answer),
    /// Tell people.
    Tell(Notice),
    /// Close everything and begin anew with the same site: the clock has
    /// become another, and the state is to be read by it.
    BeginAnew,
    /// The end: nothing more will come.
    Stopped {
        /// Devices that have not confirmed that they are closed.
        unconfirmed: Vec<DeviceId>,
    },
}

/// What the loop must know of the site.
#[derive(Debug, Clone)]
pub struct Settings {
    /// The site.
    pub site: Arc<Site>,
    /// Its valves.
    pub installation: Arc<Installation>,
    /// Which zones have a valve that we drive.
    pub driven: Vec<bool>,
    /// Everything but opening valves.
    pub dry_run: bool,
    /// The clock is right whatever it shows: it is that of a demonstration.
    pub believe_clock: bool,
    /// An order may wait so long for master valve and pump.
    pub valid_for: Duration,
}

/// What the state says when the daemon starts.
#[derive(Debug, Clone, Default)]
pub struct Memory {
    /// For the supervisor.
    pub recovery: Recovery,
    /// Water applied.
    pub waterings: Vec<Watering>,
    /// What people recorded, by time.
    pub records: Vec<Record>,
    /// The latest levels of each zone.
    pub levels: Vec<Option<(DateTime<Utc>, Levels)>>,
    /// The weather that was known.
    pub weather: Vec<RawHour>,
    /// The hours that were over, as they were observed.
    pub frozen: Vec<SeriesHour>,
    /// What probes in the soil said, by hour.
    pub probes: Vec<ProbeHour>,
    /// Valves that were left open and that the site does not drive any more.
    pub strays: Vec<Stray>,
    /// Names of zones that were told of before and that the site does not have.
    pub gone: Vec<String>,
    /// The latest time in the state.
    pub last_written: Option<DateTime<Utc>>,
}

/// The control loop of a site. It reads no clock and touches nothing.
#[derive(Debug)]
pub struct Control {
    pub(super) settings: Settings,
    /// The site with what people have recorded.
    pub(super) site: Arc<Site>,
    pub(super) supervisor: Supervisor,
    recovery: Option<Recovery>,
    pub(super) fields: Vec<Field>,
    /// What people recorded, by time.
    pub(super) records: Vec<Record>,
    pub(super) weather: Arc<WeatherBook>,
    frozen: Arc<Frozen>,
    pub(super) senses: Senses,
    pub(super) stale: Option<(DateTime<Utc>, Basis)>,
    pub(super) plan: Option<RollingPlan>,
    /// Why the last planning failed.
    pub(super) not_planned: Option<String>,
    /// Index of the next run of the plan that has not been looked at.
    pub(super) next_run: usize,
    /// The run that is due and waits for a valve to close.
    pub(super) waiting: Option<Waiting>,
    pub(super) planning: Option<Planning>,
    /// At the start the first plan waits for weather, until then.
    pub(super) awaits_weather: Option<Moment>,
    /// When to plan again.
    pub(super) replan_at: Option<Moment>,
    pub(super) planned_at: Option<Moment>,
    /// Rises with everything that makes a plan under way worthless.
    pub(super) revision: u64,
    /// Whether the plan in force was made for what is known now; without, its
    /// runs wait for the next one.
    pub(super) plan_holds: bool,
    /// Valves that nobody drives any more, until a person has looked.
    pub(super) strays: Vec<Stray>,
    pub(super) strays_are_closed: bool,
    pub(super) clock: Option<JumpWatch>,
    pub(super) last_written: Option<DateTime<Utc>>,
    /// When old details are forgotten the next time.
    pub(super) forget_at: Moment,
    pub(super) clock_problem: Option<ClockProblem>,
    /// A clock that shows much more than the state is believed from then on.
    pub(super) believed_at: Moment,
    /// What the state says was read by a clock that was wrong.
    pub(super) is_to_begin_anew: bool,
    /// What that waits for.
    pub(super) hindrance: Option<Hindrance>,
    pub(super) is_stopping: bool,
    pub(super) now: Now,
}

impl Control {
    /// A loop that has not started.
    ///
    /// # Errors
    /// [`InstallationError`] when the valves cannot be supervised.
    pub fn new(settings: Settings, memory: Memory, now: Now) -> Result<Self, InstallationError> {
        let supervisor = Supervisor::new(Arc::clone(&settings.installation))?;
        let zones = settings.site.zones.len();
        let site = Arc::clone(&settings.site);
        let senses = Senses::of(&site);
        let knows_no_weather = memory.weather.is_empty();
        let mut control = Self {
            settings,
            site,
            supervisor,
            recovery: None,
            fields: Vec::with_capacity(zones),
            records: Vec::new(),
            weather: Arc::default(),
            frozen: Arc::default(),
            senses,
            stale: None,
            plan: None,
            not_planned: None,
            next_run: 0,
            waiting: None,
            planning: None,
            awaits_weather: Some(now.moment.after(FIRST_WEATHER)).filter(|_| knows_no_weather),
            replan_at: Some(now.moment),
            planned_at: None,
            revision: 0,
            plan_holds: false,
            strays: Vec::new(),
            strays_are_closed: false,
            clock: None,
            last_written: memory.last_written,
            forget_at: first_forgetting(now.moment),
            clock_problem: None,
            believed_at: first_forgetting(now.moment),
            is_to_begin_anew: false,
            hindrance: None,
            is_stopping: false,
            now,
        };
        control.remember(memory);
        Ok(control)
    }

    fn remember(&mut self, memory: Memory) {
        let now = self.now.utc;
        for zone in 0..self.site.zones.len() {
            let known = memory.levels.get(zone).copied().flatten();
            let known = known.filter(|(at, _)| *at > now - LEVELS_MOST);
            self.fields.push(Field::new(match known {
                Some((at, levels)) => (at, Some(levels)),
                None => (outlook::floor(now), None),
            }));
        }
        for watering in memory.waterings {
            if let Some(field) = watering.zone.and_then(|zone| self.fields.get_mut(zone)) {
                field.applied(in_millis(watering.applied.estimate), watering.ended);
            }
        }
        for record in &memory.records {
            self.take_record(record);
        }
        for probe in &memory.probes {
            if let Some(field) = self.fields.get_mut(probe.zone) {
                field.probe(probe);
            }
        }
        for field in &mut self.fields {
            field.told_before();
            field.settle();
        }
        let _known = Arc::make_mut(&mut self.weather).take(&memory.weather, now);
        self.frozen = Arc::new(Frozen::of(memory.frozen));
        self.recovery = Some(memory.recovery);
        self.strays = memory.strays;
    }

    /// Takes an event at an instant and answers what is to be done.
    pub fn step(&mut self, event: Event, now: Now) -> Vec<Action> {
        self.now = now;
        let mut out = Vec::new();
        self.look_at_clock(&mut out);
        match event {
            Event::Start => {
                let recovery = self.recovery.take().unwrap_or_default();
                self.drive(valve::Event::Start(recovery), &mut out);
                self.tell_of_strays(&mut out);
            }
            Event::Tick => self.drive(valve::Event::Tick, &mut out),
            Event::Valve(event) => self.take_valve_event(event, &mut out),
            Event::Weather(hours) => {
                self.awaits_weather = None;
                self.lay_weather(&hours, &mut out);
            }
            Event::Sensor(told) => self.sense(&told),
            Event::Planned(outcome) => self.adopt(*outcome, &mut out),
            Event::Ask(request, ticket) => {
                let answer = self.serve(request, &mut out);
                out.push(Action::Answer(ticket, answer));
            }
            Event::NewSite(site) => {
                if self.settings.site.sensors != site.sensors {
                    self.senses = Senses::of(&site);
                    self.listen_to_sensors();
                }
                self.settings.site = site;
                self.refresh_site();
                self.changed();
            }
        }
        self.look_at_sensors(&mut out);
        self.forget_if_due(&mut out);
        self.begin_due_runs(&mut out);
        self.plan_if_due(&mut out);
        self.begin_anew_if_due(&mut out);
        out
    }

    /// Lays hours over the weather that is known, and plans with them. Of an
    /// hour that is over only what is better known by now is laid over it.
    /// By a wrong clock the stored hours were not read: news are not laid over
    /// them unseen.
    pub(super) fn lay_weather(&mut self, hours: &[SeriesHour], out: &mut Vec<Action>) {
        if !self.is_clock_right() {
            return;
        }
        let now = self.now.utc;
        let frozen = Arc::make_mut(&mut self.frozen).take(hours, now);
        let others = hours.iter();
        let others = others.filter(|hour| !Frozen::reaches(hour.hour.start, now));
        let laid: Vec<RawHour> = frozen.iter().chain(others).map(|hour| hour.hour).collect();
        let news = Arc::make_mut(&mut self.weather).take(&laid, now);
        self.keep_weather(news, &frozen, out);
    }

    /// Sensors have taken back what they measured: any source knows better.
    pub(super) fn doubt_weather(&mut self, hours: &[RawHour], out: &mut Vec<Action>) {
        let frozen = Arc::make_mut(&mut self.frozen).doubt(hours);
        let news = Arc::make_mut(&mut self.weather).doubt(hours);
        self.keep_weather(news, &frozen, out);
    }

    fn keep_weather(&mut self, news: Vec<RawHour>, frozen: &[SeriesHour], out: &mut Vec<Action>) {
        if !self.settings.dry_run {
            let seen = self.now.utc;
            let kept = news.into_iter().map(|hour| Entry::Weather {
                source: WEATHER_KEPT.to_owned(),
                hour,
                seen,
            });
            out.extend(kept.map(Action::Write));
            // A finite set of numbers can always be written as JSON.
            let frozen = frozen.iter().filter_map(|hour| {
                let json = frozen::to_json(hour).ok()?;
                Some(Entry::FrozenHour(hour.hour.start, json))
            });
            out.extend(frozen.map(Action::Write));
        }
        self.replan_soon();
    }

    /// The hours that are over, as they were observed: for the next gathering.
    #[must_use]
    pub fn frozen(&self) -> &Arc<Frozen> {
        &self.frozen
    }

    fn take_valve_event(&mut self, event: valve::Event, out: &mut Vec<Action>) {
        match event {
            valve::Event::Shutdown | valve::Event::TaskDied => self.is_stopping = true,
            valve::Event::LinkUp | valve::Event::JournalRecovered => self.replan_soon(),
            _ => {}
        }
        let link = self.supervisor.known().link;
        let is_up = event == valve::Event::LinkUp;
        self.drive(event, out);
        if is_up {
            self.close_strays(out);
        }
        if self.supervisor.known().link != link {
            self.listen_to_sensors();
        }
    }

    /// Tells the supervisor, and takes in what it answers.
    pub(super) fn drive(&mut self, event: valve::Event, out: &mut Vec<Action>) {
        for action in self.supervisor.step(event, self.now.moment) {
            match action {
                valve::Action::Journal(entry) => {
                    if let JournalEntry::Finished(finished) = entry {
                        self.take_finished(&finished, out);
                    }
                    out.push(Action::Write(Entry::Valve(entry)));
                }
                valve::Action::Publish {
                    device,
                    id,
                    command,
                } => out.push(Action::Publish {
                    device,
                    id,
                    command,
                }),
                valve::Action::Raise(alarm) => {
                    out.push(Action::Write(Entry::Alarm(alarm, true)));
                    out.push(Action::Tell(Notice::Alarm(alarm)));
                    self.replan_soon();
                }
                valve::Action::Clear(alarm) => {
                    out.push(Action::Write(Entry::Alarm(alarm, false)));
                    out.push(Action::Tell(Notice::AlarmOver(alarm)));
                    self.replan_soon();
                }
                valve::Action::Refused { run, refusal } => self.take_refusal(run, refusal, out),
                valve::Action::Ready => {
                    out.push(Action::Tell(Notice::Ready));
                    self.changed();
                }
                valve::Action::Stopped { unconfirmed } => {
                    out.push(Action::Stopped { unconfirmed });
                }
            }
        }
    }

    /// Whether runs may be begun now.
    pub(super) fn may_begin(&self) -> bool {
        let known = self.supervisor.known();
        let is_served = known.phase == valve::Phase::Running && known.link == valve::Link::Up;
        (is_served || self.settings.dry_run) && !self.is_stopping && self.is_clock_right()
    }

    /// Takes in what a person recorded, before or now.
    pub(super) fn take_record(&mut self, record: &Record) {
        let date = date_of(self.site.place.time_zone, record.at);
        let mut matters = self.remember_record(record);
        for (zone, field) in self.fields.iter_mut().enumerate() {
            if record.zone.is_none_or(|only| only == zone) {
                matters |= field.record(record, date);
            }
        }
        if matters {
            self.refresh_site();
            self.changed();
        }
    }

    /// The site file's site with what people have seen.
    fn refresh_site(&mut self) {
        let mut site = Site::clone(&self.settings.site);
        for (zone, field) in site.zones.iter_mut().zip(&self.fields) {
            let seeding = &mut zone.seeding;
            let sown = date_of(site.place.time_zone, seeding.at);
            // What was seen of an earlier seeding says nothing of this one.
            let of_this_seed = |seen: Option<NaiveDate>| seen.filter(|day| *day > sown);
            seeding.emerged = of_this_seed(field.emerged).or(seeding.emerged);
            seeding.all_up = of_this_seed(field.all_up).or(seeding.all_up);
        }
        self.site = Arc::new(site);
    }

    /// The site with what people have recorded.
    #[must_use]
    pub fn site(&self) -> &Site {
        &self.site
    }

    /// The moment at which [`Event::Tick`] is due at the latest.
    #[must_use]
    pub fn next_due(&self) -> Moment {
        let now = self.now.moment;
        let look = now.after(LOOK_AFTER);
        [
            self.next_plan(),
            self.supervisor.next_due(),
            self.next_begin(),
        ]
        .into_iter()
        .flatten()
        .fold(look, Moment::min)
        .max(now)
    }
}
