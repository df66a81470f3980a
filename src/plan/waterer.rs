//! One zone's demands on the scheduler: its next job, where it may go in the
//! calendar of the supply, and the run that comes of it.

use super::bookings::{Ask, Bookings};
use super::bounds::Bounds;
use super::course::{Course, Need, instant, span, watched_from};
use super::moment::Bed;
use super::packing::Wanted;
use super::timetable::{Constraint, Cycle, Moved, Reason, Run, Stage, Trigger};
use super::turf::{self, Watched};
use super::water::{Watering, grid_down, hours};
use super::window::{HOUR_S, Openings};

/// Counted rain in this time ahead makes a run smaller [s].
const RAIN_AHEAD_S: i64 = 6 * HOUR_S;
/// At most this share of a run is left to rain that is only expected.
const LEFT_TO_RAIN: f64 = 0.5;
/// A run is worth giving early once this share of the allowance is used.
const WORTHWHILE_SHARE: f64 = 0.25;
/// A layer that lasts longer than this is watered in the morning [s].
const MORNING_FROM_S: i64 = 12 * HOUR_S;
/// A morning run may start this long before its latest hour [s].
const MORNING_S: i64 = 4 * HOUR_S;
/// Share of the allowance that must be used by then; a run much before the
/// need would make watering shallow and frequent again.
const MORNING_SHARE: f64 = 0.6;
/// A closure of this length is worth going into with a full layer [s].
const LONG_CLOSURE_S: i64 = 2 * HOUR_S;
/// So long after a run or a seeding a plan goes on with what it began [s].
const RESUMED_WITHIN_S: i64 = 6 * HOUR_S;
/// So long after its last moment an opening is looked for that holds a run [s].
const SHUT_OUT_S: i64 = 7 * 24 * HOUR_S;
/// A shift smaller than this is not worth telling [s].
const TOLD_FROM_S: i64 = 120;

/// What a zone wants next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job {
    /// From when the run is possible and worth giving [s].
    pub release: i64,
    /// The last start that water is due by [s]: before seed gets too dry.
    pub latest: i64,
    /// The latest start that also leaves room for what must follow [s].
    pub preferred: i64,
    /// From when a start leaves something too dry [s].
    pub dry_from: i64,
    /// Run time to plan for [s].
    pub length: i64,
    /// Depletion of the layer at the last moment [mm].
    pub needed_mm: f64,
    /// Why.
    pub trigger: Trigger,
    /// Position in a split application.
    pub cycle: Option<Cycle>,
}

/// A job that could not start in time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Late {
    /// When it should have started [s].
    pub from: i64,
    /// When it did, or the end of the plan [s].
    pub to: i64,
    /// What kept it.
    pub by: Constraint,
}

/// A zone with everything that the scheduler needs of it.
#[derive(Debug, Clone)]
pub struct Waterer<'a> {
    /// Index of the zone in the site.
    pub index: usize,
    /// What does not change.
    pub bed: &'a Bed<'a>,
    /// Where the zone is on its way.
    pub course: Course,
    /// From time to depth.
    pub watering: Watering,
    /// When it may be watered.
    pub openings: &'a Openings,
    /// The latest hour of each morning for deep watering [s].
    pub mornings: &'a [i64],
    /// Jobs that came late.
    pub late: Vec<Late>,
    /// End of the last run [s].
    pub last_end: Option<i64>,
}

impl Waterer<'_> {
    /// The first watering after the seed is down.
    #[must_use]
    pub fn first_job(&mut self, until: i64) -> Option<Job> {
        let sown = self.bed.season.sown.timestamp();
        if sown >= until {
            return None;
        }
        if self.course.now().at > sown {
            return self.next_job(until);
        }
        self.course.advance(self.bed, sown, 0.0);
        self.job_after_seeding(sown, until)
            .or_else(|| self.next_job(until))
    }

    /// The first watering of the seed, at an instant that the zone has
    /// reached; none when it is moist.
    fn job_after_seeding(&self, at: i64, until: i64) -> Option<Job> {
        let needed = self
            .watering
            .seconds_for(self.course.now().stores.depletion_mm(), Stage::Germination);
        let release = at.max(self.free_from());
        (needed >= self.watering.shortest_s()).then(|| {
            self.preferred(Job {
                release,
                latest: at,
                preferred: at,
                dry_from: watched_from(self.bed).max(at),
                length: self.length_for(needed, (release, at), until),
                needed_mm: self.course.now().stores.depletion_mm(),
                trigger: Trigger::AfterSeeding,
                cycle: None,
            })
        })
    }

    /// What a zone wants next that is planned again on its way: the cycles
    /// that are left of a split application, the first watering after the
    /// seeding that has not been given yet, or else its next need.
    #[must_use]
    pub fn resumed_job(&mut self, cycle: Option<Cycle>, until: i64) -> Option<Job> {
        let now = self.course.now().at;
        let sown = self.bed.season.sown.timestamp();
        let is_fresh = self
            .last_end
            .is_some_and(|end| now - end < RESUMED_WITHIN_S && end > sown);
        let has_turf = turf::stands_on(self.bed);
        if let Some(cycle) = cycle.filter(|cycle| is_fresh && (has_turf || !cycle.for_turf)) {
            return self.job_after(Some(cycle), until);
        }
        let is_unwatered = self.last_end.is_none_or(|end| end <= sown);
        if is_unwatered && now > sown && now - sown < RESUMED_WITHIN_S {
            return self
                .job_after_seeding(now, until)
                .or_else(|| self.next_job(until));
        }
        self.first_job(until)
    }

    /// The next need as a job, or none before `until`.
    #[must_use]
    pub fn next_job(&mut self, until: i64) -> Option<Job> {
        let worthwhile_mm = self.worthwhile_mm(Watched::Layer);
        let look = self
            .course
            .next_need(self.bed, Watched::Layer, worthwhile_mm, until);
        let layer = look.need;
        let before = layer.map_or(until, |need| need.latest - 1);
        look.is_turf_short
            .then(|| self.turf_need(before))
            .flatten()
            .map(|need| (need, Trigger::TurfDepletion))
            .or(layer.map(|need| (need, Trigger::Depletion)))
            .map(|(need, trigger)| self.job_for(need, trigger, until))
    }

    /// The next need of standing turf, where it comes before an instant.
    fn turf_need(&mut self, before: i64) -> Option<Need> {
        let worthwhile_mm = self.worthwhile_mm(Watched::Turf);
        self.course
            .next_need(self.bed, Watched::Turf, worthwhile_mm, before)
            .need
    }

    /// Depletion from which a run is worth giving where the zone is now [mm].
    fn worthwhile_mm(&self, watched: Watched) -> f64 {
        let now = self.course.now();
        let bounds = Bounds::ahead(self.bed, now);
        let due_mm = watched.due_mm(&bounds);
        if watched == Watched::Turf {
            return WORTHWHILE_SHARE * due_mm;
        }
        let stage = self.bed.demand_at(now.at).stage;
        self.watering
            .net_mm(self.watering.shortest_s(), stage)
            .max(WORTHWHILE_SHARE * bounds.allowed_mm)
            // A layer that holds less than the shortest run must not stay dry
            // for want of room for it; what is too much drains below.
            .min(due_mm)
    }

    fn job_for(&self, need: Need, trigger: Trigger, until: i64) -> Job {
        let stage = self.bed.demand_at(need.latest).stage;
        let needed = self.watering.seconds_for(need.depletion_mm, stage);
        let release = need.worthwhile_from.max(self.free_from());
        let length = self.length_for(needed, (release, need.latest), until);
        self.preferred(Job {
            release,
            latest: need.latest,
            preferred: need.latest,
            dry_from: need.dry_from,
            length,
            needed_mm: need.depletion_mm,
            trigger,
            cycle: self.first_cycle(needed, length, trigger),
        })
    }

    /// Run time for what is needed [s], of a run that may go from `release` to
    /// `latest`. Where no opening up to `until` holds it whole it is as long as one can hold:
    /// half of it in time, or later, is better than all of it never.
    fn length_for(&self, needed: i64, (release, latest): (i64, i64), until: i64) -> i64 {
        let shortest = self.watering.shortest_s();
        let wanted = needed.clamp(shortest, self.watering.longest_s());
        let latest = latest.max(release);
        let mut held = 0;
        for (start, length) in self.openings.stretches(release) {
            let enough = if start > latest { wanted / 2 } else { wanted };
            if held >= enough || start > until.min(latest.saturating_add(SHUT_OUT_S)) {
                break;
            }
            held = held.max(length.min(wanted));
        }
        grid_down(held).max(shortest)
    }

    /// End of the soak time after the last run.
    fn free_from(&self) -> i64 {
        let soak_s = self.bed.zone.runs.soak_time.num_seconds();
        self.last_end.map_or(i64::MIN, |end| end + soak_s)
    }

    /// The first cycle of a split application, or none when one run does it:
    /// what is left must be worth another run.
    fn first_cycle(&self, needed: i64, length: i64, trigger: Trigger) -> Option<Cycle> {
        let left = needed - length;
        if left < self.watering.shortest_s() {
            return None;
        }
        let more = usize::try_from((left + length - 1) / length.max(1)).unwrap_or(1);
        Some(Cycle {
            number: 1,
            of: 1 + more,
            for_turf: trigger == Trigger::TurfDepletion,
        })
    }

    /// What a job asks of the supply.
    #[must_use]
    pub fn ask(&self, length: i64) -> Ask {
        Ask {
            length,
            flow_l_per_min: self.watering.flow_l_per_min(),
            volume_l: self.watering.volume(length).l(),
        }
    }

    /// A job as it is placed in the calendar of the supply. Later cycles of
    /// a split application go as soon as they can.
    #[must_use]
    pub fn wanted(&self, job: &Job) -> Wanted<'_> {
        Wanted {
            bed: self.bed,
            openings: self.openings,
            release: job.release,
            preferred: job.preferred,
            latest: job.latest,
            dry_from: job.dry_from,
            soon: self.is_later_cycle(job),
            ask: self.ask(job.length),
        }
    }

    /// Where a job goes when the grass is up: in the morning of the day of its
    /// need, once the layer lasts for days (common practice, no source).
    #[must_use]
    pub fn place_in_the_morning(&mut self, job: &Job, bookings: &Bookings) -> Option<i64> {
        let deep = self.bed.demand_at(job.latest).stage >= Stage::Establishment;
        if !deep || job.trigger != Trigger::Depletion || self.is_later_cycle(job) {
            return None;
        }
        let index = self
            .mornings
            .partition_point(|&morning| morning <= job.latest)
            .checked_sub(1)?;
        let latest = self.mornings[index];
        let earliest = job
            .release
            .max(latest - MORNING_S)
            .max(self.last_end.map_or(i64::MIN, |end| end + MORNING_FROM_S));
        if latest < earliest {
            return None;
        }
        let stores = self.course.dry_ahead(self.bed, earliest);
        let used = stores.depletion_mm() / (job.needed_mm).max(f64::MIN_POSITIVE);
        let start = bookings.latest(self.openings, latest, earliest, &self.ask(job.length))?;
        (used >= MORNING_SHARE).then_some(start)
    }

    /// A job with the latest start that leaves room for what must follow.
    fn preferred(&self, job: Job) -> Job {
        let latest = self
            .whole_s(&job)
            .map(|whole_s| self.openings.latest(job.latest, whole_s));
        Job {
            preferred: latest
                .filter(|&latest| latest >= job.release)
                .unwrap_or(job.latest),
            ..job
        }
    }

    /// Length of what must be done before the next closure [s], where that is
    /// more than the run: all cycles of a split application, or one more run
    /// that fills the layer up just before a long closure begins.
    fn whole_s(&self, job: &Job) -> Option<i64> {
        let soak_s = self.bed.zone.runs.soak_time.num_seconds();
        let count = match job.cycle {
            Some(cycle) => i64::try_from(cycle.of).unwrap_or(i64::MAX / 1_000_000),
            None => self.shut_out_after(job, soak_s).then_some(2)?,
        };
        Some(count * job.length + (count - 1) * soak_s)
    }

    /// Whether a run at the last moment would leave some time before a long
    /// closure, but not enough to water again, while an earlier one would
    /// leave room for a second run that is worth giving.
    fn shut_out_after(&self, job: &Job, soak_s: i64) -> bool {
        let end = job.latest + job.length;
        let again_s = soak_s + self.watering.shortest_s();
        let demand = self.bed.demand_at(job.latest);
        let used_mm = demand.kc_max * demand.et0_mm_per_h * hours(again_s);
        if used_mm
            < self
                .watering
                .net_mm(self.watering.shortest_s(), demand.stage)
        {
            return false;
        }
        self.openings
            .in_the_way(end, again_s)
            .is_some_and(|closure| {
                closure.from > end && closure.to - closure.from >= LONG_CLOSURE_S
            })
    }

    /// Gives the run of a job at `start`; returns it with the job that the
    /// zone wants after it. No run where rain has done it since its moment.
    pub fn give(
        &mut self,
        job: &Job,
        start: i64,
        bookings: &mut Bookings,
        until: i64,
    ) -> (Option<Run>, Option<Job>) {
        let by_choice = self.is_later_cycle(job) || job.trigger == Trigger::EarlyMorning;
        let obstacle = (start != job.latest && !by_choice)
            .then(|| self.obstacle(job, start, bookings))
            .flatten();
        if start > job.latest {
            self.note_delay(job, start, bookings);
        }
        self.course.advance(self.bed, start, 0.0);
        let watched = watched_by(job.trigger);
        let depletion_mm = watched.depletion_mm(&self.course.now().stores);
        if start > job.latest && depletion_mm < self.worthwhile_mm(watched) {
            return (None, self.job_after(None, until));
        }
        // Demand is by the hour, and the seed goes down within one.
        let stage = self.bed.demand_at(start).stage.max(Stage::Germination);
        let allowed_mm = watched.allowed_mm(&Bounds::ahead(self.bed, self.course.now()));
        let rain_mm = self.rain_ahead_mm(start).min(LEFT_TO_RAIN * depletion_mm);
        let needed = self.watering.seconds_for(depletion_mm - rain_mm, stage);
        let wanted = needed.clamp(self.watering.shortest_s(), self.watering.longest_s());
        let fits = wanted <= job.length
            || bookings
                .obstacle(self.openings, start, &self.ask(wanted))
                .is_none();
        let length = if fits { wanted } else { job.length };
        let reason = Reason {
            trigger: if start + TOLD_FROM_S < job.latest
                && obstacle.is_some()
                && job.trigger == Trigger::Depletion
            {
                Trigger::AheadOfConstraint
            } else {
                job.trigger
            },
            depletion_mm,
            allowed_mm,
            demand_since_last_mm: self.course.since().demand_mm,
            rain_since_last_mm: self.course.since().rain_mm,
            forecast_rain_counted_mm: rain_mm,
            moved: obstacle
                .filter(|_| (start - job.latest).abs() >= TOLD_FROM_S)
                .map(|by| Moved {
                    by,
                    minutes: (start - job.latest) / 60,
                }),
            cycle: if self.is_later_cycle(job) {
                job.cycle
            } else {
                self.first_cycle(needed, length, job.trigger)
            },
        };
        bookings.book(start, &self.ask(length));
        let run = self.run(start, length, stage, reason);
        let cycle_after = run.reason.cycle;
        (Some(run), self.job_after(cycle_after, until))
    }

    /// Notes what kept a job from `job.latest` to `until`, piece by piece:
    /// closures, the soak time after the last run, and otherwise the supply.
    pub fn note_delay(&mut self, job: &Job, until: i64, bookings: &Bookings) {
        let ask = self.ask(job.length);
        let mut from = job.latest;
        while from < until {
            let (to, by) = match self.openings.in_the_way(from, ask.length) {
                Some(closure) => (closure.to, closure.by),
                None if from < self.free_from() => (self.free_from(), Constraint::SoakTime),
                None => {
                    let next = self.openings.in_the_way(from, until - from);
                    let by = bookings.obstacle(self.openings, from, &ask);
                    let otherwise = if from < job.release {
                        Constraint::PlanStart
                    } else {
                        Constraint::Supply
                    };
                    (
                        next.map_or(until, |closure| closure.from),
                        by.unwrap_or(otherwise),
                    )
                }
            };
            let to = to.clamp(from + 1, until);
            self.late.push(Late { from, to, by });
            from = to;
        }
    }

    fn is_later_cycle(&self, job: &Job) -> bool {
        job.cycle.is_some_and(|cycle| cycle.number > 1)
    }

    /// What moved a job away from the moment of its need.
    fn obstacle(&self, job: &Job, start: i64, bookings: &Bookings) -> Option<Constraint> {
        let ask = self.ask(job.length);
        if start > job.latest && job.release > job.latest {
            return bookings.obstacle(self.openings, job.release, &ask).or(Some(
                if start > job.release {
                    Constraint::Supply
                } else if self.free_from() > job.latest {
                    Constraint::SoakTime
                } else {
                    Constraint::PlanStart
                },
            ));
        }
        bookings
            .obstacle(self.openings, job.latest, &ask)
            .or_else(|| {
                // Room for this run, but not for what must follow it.
                let whole_s = self.whole_s(job)?;
                let closure = self.openings.in_the_way(job.latest, whole_s)?;
                Some(closure.by)
            })
            // Nothing yet: other zones have it next.
            .or(Some(Constraint::Supply))
    }

    /// Opens the valve in the plan: carries the zone through a booked run.
    pub fn run(&mut self, start: i64, length: i64, stage: Stage, reason: Reason) -> Run {
        self.course.advance(self.bed, start, 0.0);
        self.course.begin_sums();
        self.course.advance(
            self.bed,
            start + length,
            self.watering.net_rate_mm_per_h(stage),
        );
        self.last_end = Some(start + length);
        Run {
            zone: self.index,
            start: instant(start),
            duration: span(length),
            depth: self.watering.gross(length),
            volume: self.watering.volume(length),
            stage,
            reason,
        }
    }

    /// The next cycle of a split application, or the next need.
    #[must_use]
    pub fn job_after(&mut self, cycle_done: Option<Cycle>, until: i64) -> Option<Job> {
        let natural = self.next_job(until);
        let Some(done) = cycle_done.filter(|done| done.number < done.of) else {
            return natural;
        };
        let now = self.course.now().at;
        let stage = self.bed.demand_at(now).stage;
        let trigger = if done.for_turf {
            Trigger::TurfDepletion
        } else {
            Trigger::Depletion
        };
        let needed_mm = watched_by(trigger).depletion_mm(&self.course.now().stores);
        let needed = self.watering.seconds_for(needed_mm, stage);
        if needed < self.watering.shortest_s() {
            return natural;
        }
        let (release, latest) = (self.free_from(), natural.map_or(until, |job| job.latest));
        Some(self.preferred(Job {
            release,
            latest,
            preferred: latest,
            dry_from: natural.map_or(until, |job| job.dry_from),
            length: self.length_for(needed, (release, latest), until),
            needed_mm,
            trigger,
            cycle: Some(Cycle {
                number: done.number + 1,
                ..done
            }),
        }))
    }

    /// Rain counted in the hours after `start` [mm].
    fn rain_ahead_mm(&self, start: i64) -> f64 {
        let last = (start + RAIN_AHEAD_S).min(self.bed.end());
        let mut at = start;
        let mut rain_mm = 0.0;
        while at < last {
            let hour = self.bed.demand_at(at);
            let next = (hour.start.timestamp() + HOUR_S).min(last);
            rain_mm += (hour.rain_mm - hour.rain_runoff_mm) * hours(next - at);
            at = next;
        }
        rain_mm
    }
}

/// What a run fills.
fn watched_by(trigger: Trigger) -> Watched {
    match trigger {
        Trigger::TurfDepletion => Watched::Turf,
        _ => Watched::Layer,
    }
}
