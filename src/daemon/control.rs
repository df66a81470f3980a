//! The control loop: events to actions.

use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::assignment::{Assignment, Outcome};
use super::field::Field;
use super::notice::Notice;
use super::orders::Waiting;
use super::outlook::{self, Basis, WeatherBook};
use super::people::{Answer, Request, Ticket};
use super::senses::{Senses, Told};
use crate::agronomy::weather_record::RawHour;
use crate::balance::stores::Levels;
use crate::clock::{ClockProblem, JumpWatch, Now, judge};
use crate::plan::rolling::RollingPlan;
use crate::site::Site;
use crate::site::local_time::date_of;
use crate::store::{Entry, Record, Watering};
use crate::valve::{
    self, Command, CommandId, DeviceId, Installation, InstallationError, JournalEntry, Moment,
    Recovery, Supervisor,
};

/// A plan is never older.
const REPLAN_AFTER: Duration = Duration::from_secs(3600);
/// Pause between two plans that nothing urgent asks for.
const REPLAN_PAUSE: Duration = Duration::from_secs(2);
/// A planning that takes longer is given up; the old plan goes on.
const PLANNING_MOST: Duration = Duration::from_secs(60);
/// The first weather is waited for so long.
const FIRST_WEATHER: Duration = Duration::from_secs(10);
/// The wall clock is looked at so often at least.
const LOOK_AFTER: Duration = Duration::from_secs(30);
/// Levels older than this say nothing any more.
const LEVELS_MOST: TimeDelta = TimeDelta::days(30);
/// Levels are written down again after this.
const LEVELS_WRITTEN_AFTER: TimeDelta = TimeDelta::hours(6);
/// Missing weather nearer than this is told.
const STALE_WITHIN: TimeDelta = TimeDelta::hours(24);

/// The name under which the weather in force is kept.
pub(super) const WEATHER_KEPT: &str = "in-force";
/// 2020-01-01 [s since 1970].
const COMMANDS_SINCE_S: i64 = 1_577_836_800;

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
    Weather(Vec<RawHour>),
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
    /// Make a plan and tell [`Event::Planned`].
    Plan(Box<Assignment>),
    /// Answer a person.
    Answer(Ticket, Answer),
    /// Tell people.
    Tell(Notice),
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
    /// The latest time in the state.
    pub last_written: Option<DateTime<Utc>>,
}

/// A planning under way.
#[derive(Debug, Clone, Copy)]
struct Planning {
    since: Moment,
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
    levels_written: Vec<Option<DateTime<Utc>>>,
    weather: Arc<WeatherBook>,
    pub(super) senses: Senses,
    pub(super) stale: Option<(DateTime<Utc>, Basis)>,
    pub(super) plan: Option<RollingPlan>,
    /// Why the last planning failed.
    pub(super) not_planned: Option<String>,
    /// Index of the next run of the plan that has not been looked at.
    pub(super) next_run: usize,
    /// The run that is due and waits for a valve to close.
    pub(super) waiting: Option<Waiting>,
    planning: Option<Planning>,
    /// At the start the first plan waits for weather, until then.
    awaits_weather: Option<Moment>,
    /// When to plan again.
    replan_at: Option<Moment>,
    planned_at: Option<Moment>,
    /// Rises with everything that makes a plan under way worthless.
    pub(super) revision: u64,
    /// Whether the plan in force was made for what is known now; without, its
    /// runs wait for the next one.
    pub(super) plan_holds: bool,
    clock: Option<JumpWatch>,
    last_written: Option<DateTime<Utc>>,
    pub(super) clock_problem: Option<ClockProblem>,
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
            levels_written: vec![None; zones],
            weather: Arc::default(),
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
            clock: None,
            last_written: memory.last_written,
            clock_problem: None,
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
            self.levels_written[zone] = known.map(|(at, _)| at);
            self.fields.push(Field::new(match known {
                Some((at, levels)) => (at, Some(levels)),
                None => (outlook::floor(now), None),
            }));
        }
        for watering in memory.waterings {
            if let Some(field) = watering.zone.and_then(|zone| self.fields.get_mut(zone)) {
                let open = TimeDelta::from_std(watering.applied.estimate).unwrap_or_default();
                field.applied(open, watering.ended);
            }
        }
        for record in &memory.records {
            self.take_record(record);
        }
        let _known = Arc::make_mut(&mut self.weather).take(&memory.weather, now);
        self.recovery = Some(memory.recovery);
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
        self.begin_due_runs(&mut out);
        self.plan_if_due(&mut out);
        out
    }

    /// Lays hours over the weather that is known, and plans with them.
    pub(super) fn lay_weather(&mut self, hours: &[RawHour], out: &mut Vec<Action>) {
        let news = Arc::make_mut(&mut self.weather).take(hours, self.now.utc);
        self.keep_weather(news, out);
    }

    /// Sensors have taken back what they measured: any source knows better.
    pub(super) fn doubt_weather(&mut self, hours: &[RawHour], out: &mut Vec<Action>) {
        let news = Arc::make_mut(&mut self.weather).doubt(hours);
        self.keep_weather(news, out);
    }

    fn keep_weather(&mut self, news: Vec<RawHour>, out: &mut Vec<Action>) {
        if !self.settings.dry_run {
            let kept = news.into_iter();
            let kept = kept.map(|hour| Entry::Weather(WEATHER_KEPT.to_owned(), hour));
            out.extend(kept.map(Action::Write));
        }
        self.replan_soon();
    }

    fn take_valve_event(&mut self, event: valve::Event, out: &mut Vec<Action>) {
        match event {
            valve::Event::Shutdown | valve::Event::TaskDied => self.is_stopping = true,
            valve::Event::LinkUp | valve::Event::JournalRecovered => self.replan_soon(),
            _ => {}
        }
        let link = self.supervisor.known().link;
        self.drive(event, out);
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

    fn look_at_clock(&mut self, out: &mut Vec<Action>) {
        let step = self
            .clock
            .get_or_insert(JumpWatch::new(self.now))
            .look(self.now);
        if let Some(step) = step {
            out.push(Action::Tell(Notice::ClockSet(step)));
            // Somebody has set it while we watched: they know better.
            self.last_written = None;
            self.plan = None;
            self.listen_to_sensors();
            self.changed();
        }
        let problem = match self.settings.believe_clock {
            true => None,
            false => judge(self.now.utc, self.last_written).err(),
        };
        if problem.is_none() {
            // From here on the clock is watched by its steps.
            self.last_written = None;
        }
        let is_news = problem.is_some() != self.clock_problem.is_some();
        self.clock_problem = problem;
        match problem {
            Some(problem) if is_news => out.push(Action::Tell(Notice::ClockWrong(problem))),
            None if is_news => {
                out.push(Action::Tell(Notice::ClockRight));
                self.rebase();
                self.changed();
            }
            _ => {}
        }
    }

    /// The clock has become right: a balance that was to begin at a wrong
    /// time begins now.
    fn rebase(&mut self) {
        let now = outlook::floor(self.now.utc);
        for field in &mut self.fields {
            if field.base.1.is_none() {
                field.base.0 = now;
            }
        }
    }

    /// What was planned or is being planned no longer holds.
    pub(super) fn changed(&mut self) {
        self.revision += 1;
        self.plan_holds = false;
        self.replan_by(self.now.moment);
    }

    /// Plans again at the next chance. Not at once after the last time: news
    /// may come one after the other.
    pub(super) fn replan_soon(&mut self) {
        let now = self.now.moment;
        let next = self.planned_at.map_or(now, |at| at.after(REPLAN_PAUSE));
        self.replan_by(next.max(now));
    }

    pub(super) fn replan_by(&mut self, at: Moment) {
        self.replan_at = Some(self.replan_at.map_or(at, |known| known.min(at)));
    }

    /// Whether runs may be begun now.
    pub(super) fn may_begin(&self) -> bool {
        let known = self.supervisor.known();
        let is_served = known.phase == valve::Phase::Running && known.link == valve::Link::Up;
        (is_served || self.settings.dry_run) && !self.is_stopping && self.clock_problem.is_none()
    }

    /// Whether a plan is awaited that may change what is due.
    pub(super) fn is_planning(&self) -> bool {
        let now = self.now.moment;
        self.planning
            .is_some_and(|planning| now.since(planning.since) < PLANNING_MOST)
    }

    fn plan_if_due(&mut self, out: &mut Vec<Action>) {
        let now = self.now.moment;
        let is_due = self.replan_at.is_some_and(|at| now >= at)
            || self
                .planned_at
                .is_some_and(|at| now.since(at) >= REPLAN_AFTER);
        let is_early = self.awaits_weather.is_some_and(|until| now < until);
        if !is_due
            || is_early
            || self.is_planning()
            || self.is_stopping
            || self.clock_problem.is_some()
        {
            return;
        }
        self.replan_at = None;
        self.planned_at = Some(now);
        self.planning = Some(Planning { since: now });
        let zones = self.fields.iter().enumerate();
        let zones = zones
            .map(|(zone, field)| field.now(self.now, self.is_left_out(zone), self.run_ends(zone)));
        out.push(Action::Plan(Box::new(Assignment {
            revision: self.revision,
            site: Arc::clone(&self.site),
            zones: zones.collect(),
            weather: Arc::clone(&self.weather),
            // The next whole second, on which runs can begin.
            now: whole_second(self.now.utc),
        })));
    }

    fn adopt(&mut self, outcome: Outcome, out: &mut Vec<Action>) {
        self.planning = None;
        if outcome.revision != self.revision {
            self.changed();
            return;
        }
        self.plan_holds = true;
        self.note_weather(&outcome, out);
        let plan = match outcome.plan {
            Ok(plan) => plan,
            Err(why) => {
                self.not_planned = Some(why.clone());
                out.push(Action::Tell(Notice::NotPlanned(why)));
                return;
            }
        };
        self.not_planned = None;
        for (zone, state) in plan.zones.iter().enumerate() {
            self.carry_on(zone, state.kept, out);
        }
        let next = plan.runs.first().map(|run| (run.zone, run.start));
        out.push(Action::Tell(Notice::Planned {
            runs: plan.runs.len(),
            next,
            shortfalls: plan.shortfalls.len(),
        }));
        self.plan = Some(plan);
        self.next_run = 0;
    }

    fn note_weather(&mut self, outcome: &Outcome, out: &mut Vec<Action>) {
        let near = self.now.utc + STALE_WITHIN;
        let stale = outcome.stands_in.filter(|(from, _)| *from < near);
        if stale.is_some() != self.stale.is_some() {
            out.push(Action::Tell(match stale {
                Some((from, basis)) => Notice::WeatherStale(from, basis),
                None => Notice::WeatherFresh,
            }));
        }
        self.stale = stale;
    }

    fn carry_on(&mut self, zone: usize, kept: (DateTime<Utc>, Levels), out: &mut Vec<Action>) {
        let at = kept.0;
        let base = &self.fields[zone].base;
        if base.1.is_some() && at <= base.0 {
            return;
        }
        let levels = self.corrected(zone, kept, out);
        self.fields[zone].carry_on(at, levels);
        let written = self.levels_written[zone];
        if self.settings.dry_run || written.is_some_and(|last| at - last < LEVELS_WRITTEN_AFTER) {
            return;
        }
        // A finite set of numbers can always be written as JSON.
        if let Ok(state) = serde_json::to_value(levels) {
            self.levels_written[zone] = Some(at);
            out.push(Action::Write(Entry::Balance(zone, at, state)));
        }
    }

    /// Takes in what a person recorded, before or now.
    pub(super) fn take_record(&mut self, record: &Record) {
        let date = date_of(self.site.place.time_zone, record.at);
        let mut matters = false;
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
            zone.seeding.emerged = field.emerged.or(zone.seeding.emerged);
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

    /// When the next plan is due, while one can be made.
    fn next_plan(&self) -> Option<Moment> {
        if self.is_planning() || self.is_stopping || self.clock_problem.is_some() {
            return None;
        }
        let hourly = self.planned_at.map(|at| at.after(REPLAN_AFTER));
        let due = [self.replan_at, hourly].into_iter().flatten().min();
        due.map(|due| due.max(self.awaits_weather.unwrap_or(due)))
    }
}

/// A number below which no command is given at an instant: seconds since 2020.
///
/// A device may ignore numbers below the last that it heard. Numbers that
/// follow the time stay above it even when the state was lost. Without a
/// believable clock it is zero, and the journal alone counts.
#[must_use]
pub fn first_command(now: DateTime<Utc>) -> CommandId {
    if judge(now, None).is_err() {
        return CommandId(0);
    }
    let seconds = now.timestamp() - COMMANDS_SINCE_S;
    CommandId(u64::try_from(seconds).unwrap_or(0))
}

/// The first whole second from an instant on.
fn whole_second(at: DateTime<Utc>) -> DateTime<Utc> {
    let whole = DateTime::from_timestamp(at.timestamp(), 0).unwrap_or(at);
    if whole < at {
        whole + TimeDelta::seconds(1)
    } else {
        whole
    }
}
