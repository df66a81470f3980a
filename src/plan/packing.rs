//! Where the most pressing job goes, with an eye to the jobs that are
//! pressing soon after it.
//!
//! One by one, a job goes as late as it is due. That can leave no room for the
//! next one before its zone gets too dry, though the first could as well have gone earlier.
//! So the next jobs of other zones that would touch the same time are placed
//! on trial; only where one of them comes late for want of supply, a less
//! late schedule is looked for. Nothing but the most pressing job is settled:
//! what its zone needs afterwards is not known before.
//!
//! The search: jobs are placed by their starts, each as early as it can be (a
//! serial schedule, which some order makes optimal for any regular measure,
//! Kolisch 1996, Eur. J. Oper. Res. 90:320–333). Only a job that starts before
//! any other could have ended is worth placing next (Giffler & Thompson 1960,
//! Oper. Res. 8:487–503). A job never starts earlier for another's being
//! placed, so the lateness of all at their earliest starts is the least that a
//! schedule can still have, and what has no chance is given up: branch and
//! bound, which is exact within its steps where no day's most cuts across.
//! Then the jobs in time move as late as they can, by descending end
//! (justification, Valls et al. 2005, Eur. J. Oper. Res. 165:375–386).

use std::cmp::Reverse;

use super::bookings::{Ask, Bookings};
use super::moment::Bed;
use super::shortfall::counted_seconds;
use super::window::{HOUR_S, Openings};

/// At most so many jobs are looked at together.
const TOGETHER: usize = 8;
/// Jobs that are due this long after the time taken by those before [s].
const AHEAD_S: i64 = HOUR_S;
/// At most so many placings are tried for one job.
const STEPS: usize = 100;
/// In a trial no job goes earlier than this before the pressing one's last
/// moment [s].
const EARLIER_S: i64 = 3 * HOUR_S;

/// A job that wants a place in the calendar of the supply.
#[derive(Debug, Clone, Copy)]
pub struct Wanted<'a> {
    /// The zone.
    pub bed: &'a Bed<'a>,
    /// When it may be watered.
    pub openings: &'a Openings,
    /// From when the run is possible and worth giving [s].
    pub release: i64,
    /// The latest start that also leaves room for what must follow [s].
    pub preferred: i64,
    /// The last start that water is due by [s].
    pub latest: i64,
    /// From when a start leaves the zone too dry [s].
    pub dry_from: i64,
    /// Whether it goes as soon as it can rather than as late.
    pub soon: bool,
    /// What it asks of the supply.
    pub ask: Ask,
}

impl Wanted<'_> {
    /// The last start in time that closures leave, or without one the last
    /// moment itself: what makes a job pressing.
    #[must_use]
    pub fn due(&self) -> i64 {
        let due = self.openings.latest(self.latest, self.ask.length);
        if due >= self.release {
            due
        } else {
            self.latest
        }
    }

    /// Where the job goes by itself: as late as it is due, earlier where that time is taken, and later only when there is no other way.
    #[must_use]
    pub fn alone(&self, bookings: &Bookings, until: i64) -> Option<i64> {
        let in_time = if self.soon {
            let limit = self.latest.saturating_add(1);
            bookings.earliest(self.openings, self.release, limit, &self.ask)
        } else {
            self.in_time(bookings, self.release)
        };
        in_time.or_else(|| {
            let from = self.release.max(self.latest);
            bookings.earliest(self.openings, from, until, &self.ask)
        })
    }

    /// The earliest start.
    fn soonest(&self, bookings: &Bookings, until: i64) -> Option<i64> {
        bookings.earliest(self.openings, self.release, until, &self.ask)
    }

    /// The latest start in time that is not before `limit`.
    fn in_time(&self, bookings: &Bookings, limit: i64) -> Option<i64> {
        let latest = |from| bookings.latest(self.openings, from, limit, &self.ask);
        latest(self.preferred).or_else(|| latest(self.latest))
    }

    /// Seconds by which a start leaves the zone too dry; seed counts by day.
    #[must_use]
    pub fn late_s(&self, start: Option<i64>, until: i64) -> i64 {
        counted_seconds(self.bed, self.dry_from, start.unwrap_or(until))
    }
}

/// Where the `pressing` job goes, or none before `until`. `following` are
/// the next jobs of other zones by their last moments.
#[must_use]
pub fn place<'a>(
    pressing: Wanted<'a>,
    following: impl Iterator<Item = Wanted<'a>>,
    bookings: &'a Bookings,
    until: i64,
) -> Option<i64> {
    let start = pressing.alone(bookings, until);
    let reach = start.map_or(i64::MIN, |start| start + pressing.ask.length);
    let mut following = following.peekable();
    if !following.peek().is_some_and(|job| is_near(job, reach)) {
        return start;
    }
    let mut trial = Trial::of(pressing, start, bookings, until);
    trial.gather(following);
    if trial.late_s == trial.least_late_s {
        return start;
    }
    trial.better().unwrap_or(start)
}

/// Whether a job is due in or soon after the time up to `reach` that those
/// before it take.
fn is_near(job: &Wanted, reach: i64) -> bool {
    job.due() < reach.saturating_add(AHEAD_S)
}

/// Jobs placed together for a look at what comes of it.
struct Trial<'a> {
    jobs: Vec<Wanted<'a>>,
    /// The settled bookings.
    settled: &'a Bookings,
    /// No job goes earlier [s].
    earliest: i64,
    until: i64,
    /// End of the time that the jobs take one by one [s].
    reach: i64,
    /// Bookings near the jobs with them one by one.
    tried: Bookings,
    /// Lateness of the jobs one by one [s].
    late_s: i64,
    /// Lateness if each had the supply to itself beside what is settled [s].
    least_late_s: i64,
}

impl<'a> Trial<'a> {
    fn of(pressing: Wanted<'a>, start: Option<i64>, settled: &'a Bookings, until: i64) -> Self {
        let earliest = pressing.latest - EARLIER_S;
        let pressing = Wanted {
            release: pressing.release.max(earliest),
            ..pressing
        };
        let late_s = pressing.late_s(start, until);
        let mut trial = Self {
            jobs: vec![pressing],
            tried: settled.since(earliest),
            settled,
            earliest,
            until,
            reach: i64::MIN,
            late_s,
            least_late_s: late_s,
        };
        trial.take(start, &pressing);
        trial
    }

    fn take(&mut self, start: Option<i64>, job: &Wanted) {
        if let Some(start) = start {
            self.tried.book(start, &job.ask);
            self.reach = self.reach.max(start + job.ask.length);
        }
    }

    /// Takes in the jobs whose last moment falls into the time that those
    /// before them take.
    fn gather(&mut self, following: impl Iterator<Item = Wanted<'a>>) {
        for mut job in following {
            if !is_near(&job, self.reach) || self.jobs.len() == TOGETHER {
                return;
            }
            job.release = job.release.max(self.earliest);
            let start = job.alone(&self.tried, self.until);
            let late_s = job.late_s(start, self.until);
            if late_s > 0 {
                self.late_s += late_s;
                let undisturbed = job.alone(self.settled, self.until);
                self.least_late_s += job.late_s(undisturbed, self.until);
            }
            self.take(start, &job);
            self.jobs.push(job);
        }
    }

    /// Where the first job goes in a less late schedule, if one is found.
    fn better(&self) -> Option<Option<i64>> {
        let mut search = Search {
            trial: self,
            late_s: self.late_s,
            found: None,
            steps: STEPS,
        };
        search.complete(&self.unplaced());
        search.found.map(|starts| self.moved_late(&starts))
    }

    /// All jobs yet to be placed, each beside nothing but what is settled.
    fn unplaced(&self) -> Partial {
        let settled = self.settled.since(self.earliest);
        let soonest = |job: &Wanted| job.soonest(&settled, self.until);
        let starts: Vec<_> = self.jobs.iter().map(soonest).collect();
        let late_s = |(job, start): (&Wanted, &Option<i64>)| job.late_s(*start, self.until);
        Partial {
            bookings: settled,
            late_s: self.jobs.iter().zip(&starts).map(late_s).sum(),
            open: (0..starts.len()).collect(),
            starts,
        }
    }

    /// Where the first job goes once all that start in time have moved as
    /// late as they can.
    fn moved_late(&self, starts: &[Option<i64>]) -> Option<i64> {
        let mut bookings = self.settled.since(self.earliest);
        let mut placed: Vec<(Reverse<i64>, usize, i64)> = Vec::with_capacity(starts.len());
        for (index, (job, start)) in self.jobs.iter().zip(starts).enumerate() {
            let Some(start) = *start else { continue };
            if job.soon || start > job.latest {
                bookings.book(start, &job.ask);
            } else {
                let end = start + job.ask.length;
                placed.push((Reverse(end), index, start));
            }
        }
        placed.sort_unstable();
        for (_, index, start) in placed {
            let job = &self.jobs[index];
            let late = job.in_time(&bookings, start).unwrap_or(start);
            if index == 0 {
                return Some(late);
            }
            bookings.book(late, &job.ask);
        }
        starts[0]
    }
}

/// A schedule of which some jobs have their place.
struct Partial {
    bookings: Bookings,
    /// Where each job starts, and where at the earliest if it is open.
    starts: Vec<Option<i64>>,
    /// The jobs without a place, by their last moments.
    open: Vec<usize>,
    /// Lateness at these starts, and so the least of any completion [s].
    late_s: i64,
}

/// The search for the schedule of the jobs that is least late.
struct Search<'t, 'a> {
    trial: &'t Trial<'a>,
    /// Lateness to be less than [s].
    late_s: i64,
    /// Starts of the jobs in the best schedule so far.
    found: Option<Vec<Option<i64>>>,
    /// Placings that may still be tried.
    steps: usize,
}

impl Search<'_, '_> {
    /// Completes a schedule in every way that can be less late than what is
    /// found, the least late step first.
    fn complete(&mut self, partial: &Partial) {
        let can_start = |&index: &usize| partial.starts[index].is_some();
        if partial.open.len() <= 1 || !partial.open.iter().any(can_start) {
            self.late_s = partial.late_s;
            self.found = Some(partial.starts.clone());
            return;
        }
        // Whoever starts after another could have ended wastes that time.
        let end = |&index: &usize| Some(partial.starts[index]? + self.length(index));
        let first_end = partial.open.iter().filter_map(end).min();
        let mut steps = Vec::with_capacity(partial.open.len());
        for &index in &partial.open {
            let wastes =
                first_end.is_some_and(|end| partial.starts[index].is_none_or(|start| start >= end));
            if wastes {
                continue;
            }
            let Some(left) = self.steps.checked_sub(1) else {
                break;
            };
            self.steps = left;
            steps.push(self.placed(partial, index));
        }
        steps.sort_by_key(|step| step.late_s);
        for step in &steps {
            if step.late_s < self.late_s {
                self.complete(step);
            }
        }
    }

    fn length(&self, index: usize) -> i64 {
        self.trial.jobs[index].ask.length
    }

    /// The schedule with one more job in its place.
    fn placed(&self, partial: &Partial, index: usize) -> Partial {
        let (jobs, until) = (&self.trial.jobs, self.trial.until);
        let mut bookings = partial.bookings.clone();
        if let Some(start) = partial.starts[index] {
            bookings.book(start, &jobs[index].ask);
        }
        let open = partial.open.iter().copied();
        let open: Vec<_> = open.filter(|&other| other != index).collect();
        let mut starts = partial.starts.clone();
        let mut late_s = partial.late_s;
        for &other in &open {
            let job = &jobs[other];
            let before = starts[other];
            let after =
                before.and_then(|from| bookings.earliest(job.openings, from, until, &job.ask));
            if after != before {
                late_s += job.late_s(after, until) - job.late_s(before, until);
                starts[other] = after;
            }
        }
        Partial {
            bookings,
            starts,
            open,
            late_s,
        }
    }
}
