//! Plans with one supply after another: the site's whole one and, where that
//! leaves anything too dry, the smaller ones that are worth a plan
//! (`supplies`), of which the best is kept.

use rayon::prelude::*;

use super::schedule::{Prepared, Schedule, Scheduled};
use super::shortfall::{DrySeconds, dry_seconds, shortfalls};
use super::supplies;
use super::timetable::Shortfall;

/// A supply that was tried, and what the plan with it leaves too dry.
#[derive(Debug, Clone, PartialEq)]
pub struct Tried {
    flow_l_per_min: f64,
    /// How much at the least, where the plan was given up.
    dry_s: DrySeconds,
    /// None where the plan was given up.
    shortfalls: Option<Vec<Shortfall>>,
}

impl Tried {
    /// The plan with a supply [L/min].
    #[must_use]
    pub fn whole(flow_l_per_min: f64, schedule: &Schedule) -> Self {
        Self {
            flow_l_per_min,
            dry_s: dry_seconds(schedule),
            shortfalls: Some(shortfalls(schedule)),
        }
    }

    /// A plan with a supply [L/min], or what was left of it when it was given
    /// up for another that leaves no more than `dry_s` too dry.
    fn below(flow_l_per_min: f64, dry_s: DrySeconds, schedule: Option<&Schedule>) -> Self {
        let given_up = Self {
            flow_l_per_min,
            dry_s,
            shortfalls: None,
        };
        schedule.map_or(given_up, |schedule| Self::whole(flow_l_per_min, schedule))
    }

    /// What the plan leaves too dry; nothing where it was given up.
    #[must_use]
    pub fn shortfalls(&self) -> &[Shortfall] {
        self.shortfalls.as_deref().unwrap_or_default()
    }

    /// Whether enough is known of it to compare it with a plan.
    fn compares_with(&self, dry_s: DrySeconds) -> bool {
        self.shortfalls.is_some() || self.dry_s >= dry_s
    }
}

impl Prepared<'_> {
    /// The schedule with the site's whole supply or, where that leaves
    /// anything too dry, with the smaller supply that leaves the least.
    #[must_use]
    pub fn schedule(&self) -> Schedule<'_> {
        let supplies = self.supplies();
        self.bettered(self.schedule_with(supplies[0]), &supplies[1..])
            .0
    }

    /// The same sooner, at the price of a plan that may not be needed; besides,
    /// what became of every supply that was tried.
    #[must_use]
    pub fn schedule_in_haste(&self) -> (Schedule<'_>, Vec<Tried>) {
        let supplies = self.supplies();
        let (sure, rest) = supplies.split_at(supplies.len().min(2));
        let planned = sure.par_iter().map(|&flow| self.schedule_with(flow));
        let planned: Vec<_> = planned.collect();
        let with_flows = sure.iter().zip(&planned);
        let mut tried: Vec<_> = with_flows
            .map(|(&flow, plan)| Tried::whole(flow, plan))
            .collect();
        let best = planned.into_iter().reduce(moister);
        let (best, more) = self.bettered(best.expect("there is a whole supply"), rest);
        tried.extend(more);
        (best, tried)
    }

    /// A schedule or, where it leaves anything too dry, the one with a smaller
    /// supply that leaves the least; besides, what became of those tried.
    fn bettered<'s>(&'s self, first: Schedule<'s>, smaller: &[f64]) -> (Schedule<'s>, Vec<Tried>) {
        let dry_s = dry_seconds(&first);
        if dry_s == (0, 0) {
            return (first, Vec::new());
        }
        let planned: Vec<_> = smaller
            .par_iter()
            .map(|&flow| (flow, self.schedule_below(flow, dry_s)))
            .collect();
        let tried = planned.iter();
        let tried = tried.map(|(flow, plan)| Tried::below(*flow, dry_s, plan.as_ref()));
        let tried = tried.collect();
        let planned = planned.into_iter().filter_map(|(_, plan)| plan);
        (planned.fold(first, moister), tried)
    }

    /// The schedule with a supply [L/min], or none once it leaves as much too
    /// dry as another does.
    fn schedule_below(&self, flow_l_per_min: f64, most_dry_s: DrySeconds) -> Option<Schedule<'_>> {
        self.schedule_while(flow_l_per_min, |_, dry_s| dry_s < most_dry_s)
    }

    /// What the plan with the whole supply leaves too dry, or nothing once there
    /// is no hope in it by where the zones are.
    #[must_use]
    pub fn try_whole(&self, hope: impl Fn(&[Scheduled]) -> bool) -> Option<Tried> {
        let flow = self.supplies()[0];
        let schedule = self.schedule_while(flow, |zones, _| hope(zones))?;
        Some(Tried::whole(flow, &schedule))
    }

    /// What the best of all supplies leaves too dry, of which the whole one
    /// has been tried `first`. What is `known` of supplies of a site that
    /// differs from this one in nothing but its supply is not planned again,
    /// and grows by what is.
    #[must_use]
    pub fn try_smaller(&self, first: Tried, known: &mut Vec<Tried>) -> Tried {
        let dry_s = first.dry_s;
        if dry_s == (0, 0) {
            return first;
        }
        let known_of = |flow: f64| {
            known.iter().find(|tried| {
                tried.flow_l_per_min.total_cmp(&flow).is_eq() && tried.compares_with(dry_s)
            })
        };
        let smaller = &self.supplies()[1..];
        let tried: Vec<_> = smaller
            .par_iter()
            .map(|&flow| match known_of(flow) {
                Some(tried) => tried.clone(),
                None => Tried::below(flow, dry_s, self.schedule_below(flow, dry_s).as_ref()),
            })
            .collect();
        known.push(first.clone());
        known.extend_from_slice(&tried);
        let whole = tried.into_iter().filter(|tried| tried.shortfalls.is_some());
        whole.fold(first, |best, other| match other.dry_s < best.dry_s {
            true => other,
            false => best,
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
    match dry_seconds(&second) < dry_seconds(&first) {
        true => second,
        false => first,
    }
}
