//! What the demonstration prints: a line for whatever happens.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::{Arc, Mutex, PoisonError};

use chrono::NaiveDate;

use super::super::output::paragraph;
use crate::clock::Now;
use crate::daemon::{Notice, Status, in_words, outlook};
use crate::plan::timetable::{Reason, Trigger};
use crate::report::words::constraint_in_short;
use crate::simulator::SimulatedSite;
use crate::site::Site;

/// The page as it grows.
pub(super) struct Page {
    site: Arc<Site>,
    seen: Mutex<Seen>,
}

#[derive(Default)]
struct Seen {
    date: Option<NaiveDate>,
    runs: BTreeMap<usize, u32>,
}

impl Page {
    pub(super) fn new(site: Arc<Site>) -> Self {
        Self {
            site,
            seen: Mutex::default(),
        }
    }

    /// Prints what has happened, if it is worth a line.
    pub(super) fn hear(&self, notice: &Notice, now: Now) {
        let Some((zone, what)) = self.line(notice) else {
            return;
        };
        let local = now.utc.with_timezone(&self.site.place.time_zone);
        let mut seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        if let Notice::Begins { zone, .. } = notice {
            *seen.runs.entry(*zone).or_default() += 1;
        }
        if seen.date != Some(local.date_naive()) {
            seen.date = Some(local.date_naive());
            anstream::println!("\n{}", local.format("%A %-d %B %Y"));
        }
        let clock = local.format("%H:%M").to_string();
        anstream::print!("{}", lines(&clock, &zone, &what));
    }

    fn line(&self, notice: &Notice) -> Option<(String, String)> {
        let name = |zone: usize| {
            let zone = self.site.zones.get(zone);
            zone.map_or_else(String::new, |zone| zone.name.clone())
        };
        let all = String::new;
        Some(match notice {
            Notice::Ready => (all(), "every valve has confirmed that it is closed".into()),
            Notice::Begins {
                zone,
                duration,
                reason,
                ..
            } => {
                let length = minutes(duration.num_seconds());
                let why = reason.as_ref().map(why).unwrap_or_default();
                (name(*zone), format!("opens for {length}{why}"))
            }
            Notice::Ended(run) => {
                let open_s = run.applied.estimate.as_secs_f64();
                let flow = self.site.zones.get(run.zone)?.sprinkler.flow;
                let water_l = flow.l_per_min() * open_s / 60.0;
                let seconds = i64::try_from(run.applied.estimate.as_secs()).unwrap_or(0);
                let length = minutes(seconds);
                (
                    name(run.zone),
                    format!("closed after {length}, {water_l:.0} L"),
                )
            }
            Notice::Refused { zone, refusal } => {
                (name(*zone), format!("not opened, {refusal}: planned anew"))
            }
            Notice::Waits { zone } => {
                (name(*zone), "waits for the valve before it to close".into())
            }
            Notice::Missed { zone, .. } => (name(*zone), "missed: planned anew".into()),
            Notice::Alarm(alarm) => (all(), format!("ALARM {}", in_words(&self.site, *alarm))),
            Notice::AlarmOver(alarm) => (all(), format!("over: {}", in_words(&self.site, *alarm))),
            Notice::NotPlanned(why) => (all(), format!("no plan can be made: {why}")),
            Notice::Stray(what) => (all(), format!("ALARM {what}")),
            Notice::WeatherStale(from, basis) => (all(), outlook::in_words(*from, *basis)),
            Notice::ClockWrong(problem) => (all(), problem.to_string()),
            Notice::AnewWaits(what) => (all(), what.clone()),
            Notice::Sensor(news) => (all(), news.to_string()),
            Notice::Corrected {
                zone, correction, ..
            } => (name(*zone), correction.to_string()),
            Notice::Planned { .. }
            | Notice::ClockRight
            | Notice::ClockSet(_)
            | Notice::WeatherFresh => return None,
        })
    }

    /// What the ground got, by the simulated water, not by what anybody says.
    pub(super) fn summary(&self, truth: &SimulatedSite, status: &Status) -> String {
        let seen = self.seen.lock().unwrap_or_else(PoisonError::into_inner);
        let mut text =
            String::from("\n  zone             runs      water   lost, of what may be   next\n");
        for (index, zone) in status.zones.iter().enumerate() {
            let runs = seen.runs.get(&index).copied().unwrap_or(0);
            let water_l = truth.water_l(index);
            let layer = match (zone.depletion_mm, zone.allowed_mm) {
                (Some(down), Some(allowed)) => format!("{down:.2} of {allowed:.2} mm"),
                _ => "unknown".to_owned(),
            };
            let name = &zone.name;
            let next = status.runs.iter().find(|run| run.zone == *name);
            let next = next.map_or_else(
                || "later".to_owned(),
                |run| {
                    let local = run.start.with_timezone(&self.site.place.time_zone);
                    local.format("%a %H:%M").to_string()
                },
            );
            let _ = writeln!(
                text,
                "  {name:<15} {runs:>5} {water_l:>8.0} L   {layer:<20}   {next}"
            );
        }
        text
    }
}

/// What happened, in lines of a terminal.
fn lines(clock: &str, zone: &str, what: &str) -> String {
    paragraph(&format!("  {clock}  {zone:<15} "), what)
}

fn why(reason: &Reason) -> String {
    let down = format!(
        "{:.2} of {:.2} mm lost",
        reason.depletion_mm, reason.allowed_mm
    );
    match reason.trigger {
        Trigger::PreSoak => match reason.cycle {
            Some(cycle) => format!(": deep soak, {} of {}", cycle.number, cycle.of),
            None => ": deep soak".to_owned(),
        },
        Trigger::AfterSeeding => ": first water on the seed".to_owned(),
        Trigger::AheadOfConstraint => match reason.moved {
            Some(moved) => format!(": {down}, early for: {}", constraint_in_short(moved.by)),
            None => format!(": {down}, early"),
        },
        Trigger::EarlyMorning | Trigger::Depletion | Trigger::TurfDepletion => format!(": {down}"),
    }
}

/// Not to be taken for a time of the day.
fn minutes(seconds: i64) -> String {
    format!("{} min {:02} s", seconds / 60, seconds % 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_words_of_the_demonstration_keep_to_80_columns() {
        let what = "ALARM ".to_owned() + &"the valve does not close, shut the water off ".repeat(6);
        let page = lines("06:40", "outfield-north", &what);
        assert!(page.lines().count() > 3, "{page}");
        assert!(
            page.lines().all(|line| line.chars().count() <= 80),
            "{page}"
        );
        assert!(
            page.lines()
                .skip(1)
                .all(|line| line.starts_with(&" ".repeat(25))),
            "{page}"
        );
        assert_eq!(
            lines("06:40", "nets", "missed"),
            "  06:40  nets            missed\n"
        );
    }
}
