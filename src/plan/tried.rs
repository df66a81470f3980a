//! Plans with one supply after another: the site's whole one and, where that
//! leaves anything too dry, the smaller ones that are worth a plan
//! (`supplies`), of which the best is kept.

use rayon::prelude::*;

use super::schedule::{Prepared, Schedule, Scheduled};
use super::shortfall::{DrySeconds, dry_seconds, shortfalls};
use super::supplies;
use super::timetable::Shortfall;

/// What a plan leaves that was made to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Finished {
    dry_s: DrySeconds,
    /// What it could not meet, without mends.
    pub shortfalls: Vec<Shortfall>,
}

/// A supply with which a plan was tried.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    flow_l_per_min: f64,
    outcome: Outcome,
}

#[derive(Debug, Clone, PartialEq)]
enum Outcome {
    Finished(Finished),
    /// Given up since it leaves at least so much too dry.
    GivenUp(DrySeconds),
}

impl Finished {
    fn of(schedule: &Schedule) -> Self {
        Self {
            dry_s: dry_seconds(schedule),
            shortfalls: shortfalls(schedule),
        }
    }
}

impl Tried {
    fn finished(flow_l_per_min: f64, finished: Finished) -> Self {
        Self {
            flow_l_per_min,
            outcome: Outcome::Finished(finished),
        }
    }

    /// A plan that was given up, and so is none, once it left `most_dry_s`.
    fn below(flow_l_per_min: f64, most_dry_s: DrySeconds, schedule: Option<&Schedule>) -> Self {
        let outcome = match schedule {
            Some(schedule) => Outcome::Finished(Finished::of(schedule)),
            None => Outcome::GivenUp(most_dry_s),
        };
        Self {
            flow_l_per_min,
            outcome,
        }
    }

    /// Whether it is the plan with a supply, as far as a plan that leaves
    /// `dry_s` can be compared with it.
    fn tells_of(&self, flow_l_per_min: f64, dry_s: DrySeconds) -> bool {
        let is_enough = match &self.outcome {
            Outcome::Finished(_) => true,
            Outcome::GivenUp(at_least) => *at_least >= dry_s,
        };
        is_enough && self.flow_l_per_min.total_cmp(&flow_l_per_min).is_eq()
    }
}

impl Prepared<'_> {
    /// The schedule with the site's whole supply or, where that leaves
    /// anything too dry, with the smaller supply that leaves the least.
    #[must_use]
    pub fn schedule(&self) -> Schedule<'_> {
        let supplies = self.supplies();
        let first = self.schedule_with(supplies[0]);
        let smaller = self.schedules_below(&supplies[1..], dry_seconds(&first));
        smaller.into_iter().flatten().fold(first, moister)
    }

    /// The same sooner, at the price of a plan that may not be needed; besides,
    /// what became of every supply that was tried.
    #[must_use]
    pub fn schedule_in_haste(&self) -> (Schedule<'_>, Vec<Tried>) {
        let supplies = self.supplies();
        let (sure, rest) = supplies.split_at(supplies.len().min(2));
        let planned = sure.par_iter().map(|&flow| self.schedule_with(flow));
        let planned: Vec<_> = planned.collect();
        let tried = sure.iter().zip(&planned);
        let tried = tried.map(|(&flow, plan)| Tried::finished(flow, Finished::of(plan)));
        let mut tried: Vec<_> = tried.collect();
        let best = planned.into_iter().reduce(moister);
        let best = best.expect("there is a whole supply");
        let most_dry_s = dry_seconds(&best);
        let smaller = self.schedules_below(rest, most_dry_s);
        let below = rest.iter().zip(&smaller);
        tried.extend(below.map(|(&flow, plan)| Tried::below(flow, most_dry_s, plan.as_ref())));
        (smaller.into_iter().flatten().fold(best, moister), tried)
    }

    /// For each supply [L/min] the schedule or, once it leaves as much too dry as
    /// another does, none; nothing where that leaves nothing too dry.
    fn schedules_below(&self, flows: &[f64], most_dry_s: DrySeconds) -> Vec<Option<Schedule<'_>>> {
        if most_dry_s == (0, 0) {
            return Vec::new();
        }
        let flows = flows.par_iter();
        let schedules = flows.map(|&flow| self.schedule_below(flow, most_dry_s));
        schedules.collect()
    }

    /// The schedule with a supply [L/min], or none once it leaves as much too
    /// dry as another does.
    fn schedule_below(&self, flow_l_per_min: f64, most_dry_s: DrySeconds) -> Option<Schedule<'_>> {
        self.schedule_while(flow_l_per_min, |_, dry_s| dry_s < most_dry_s)
    }

    /// The plan with the whole supply, or none once there is no hope in it by
    /// where the zones are.
    #[must_use]
    pub fn try_whole_supply(&self, hope: impl Fn(&[Scheduled]) -> bool) -> Option<Finished> {
        let flow = self.supplies()[0];
        let schedule = self.schedule_while(flow, |zones, _| hope(zones))?;
        Some(Finished::of(&schedule))
    }

    /// The best plan of all supplies, of which the whole one has been tried
    /// `first`. What is `known` of supplies of a site that differs from this
    /// one in nothing but its supply is not planned again, and grows by what is.
    #[must_use]
    pub fn try_smaller(&self, first: Finished, known: &mut Vec<Tried>) -> Finished {
        let dry_s = first.dry_s;
        if dry_s == (0, 0) {
            return first;
        }
        let supplies = self.supplies();
        let known_of = |flow| known.iter().find(|tried| tried.tells_of(flow, dry_s));
        let smaller = supplies[1..].par_iter();
        let tried = smaller.map(|&flow| match known_of(flow) {
            Some(tried) => (tried.clone(), false),
            None => {
                let schedule = self.schedule_below(flow, dry_s);
                (Tried::below(flow, dry_s, schedule.as_ref()), true)
            }
        });
        let tried: Vec<_> = tried.collect();
        known.push(Tried::finished(supplies[0], first.clone()));
        let new = tried.iter().filter(|(_, is_new)| *is_new);
        known.extend(new.map(|(tried, _)| tried.clone()));
        tried
            .into_iter()
            .fold(first, |best, (tried, _)| match tried.outcome {
                Outcome::Finished(other) if other.dry_s < best.dry_s => other,
                _ => best,
            })
    }

    /// The supplies that are worth a plan, the whole one first [L/min].
    fn supplies(&self) -> Vec<f64> {
        let flows = self.beds().map(|bed| bed.zone.sprinkler.flow.l_per_min());
        let flows: Vec<f64> = flows.collect();
        let supply = self.site().supply.flow.l_per_min();
        supplies::to_try(&flows, supply, self.further_plans())
    }
}

/// The schedule that leaves less too dry; the first where they are alike.
fn moister<'s>(first: Schedule<'s>, second: Schedule<'s>) -> Schedule<'s> {
    if dry_seconds(&second) < dry_seconds(&first) {
        second
    } else {
        first
    }
}
