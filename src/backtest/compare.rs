//! The plan beside fixed practice on one soil.
//!
//! Practice begins an hour after sowing, on ground that was soaked and first
//! watered as the plan did it, so that only what follows is compared. It knows
//! no rule, no rain and no supply. How long its runs must be to keep the
//! driest quarter as moist is found by halving, on a grid far finer than that
//! of most timers.

use super::BacktestError;
use super::ground::{GroundError, TrueSoil};
use super::practice::{PRACTICES, Practice, RULE_OF_THUMB_MM};
use super::result::{Chosen, Drawn, PracticeResult, Quarters, SoilResult, Verdict, Water};
use super::tally::{Outcome, seconds};
use super::taper::Taper;
use super::trial::{Bed, Patience, Plot, Quarter, Watered};
use crate::column::{ClassTable, ColumnError};
use crate::site::Site;

/// Grid of the length of fixed runs [s].
const GRID_S: i64 = 15;
/// Longest fixed run that is tried, in steps of the grid: 45 minutes.
const MOST: i64 = 180;
/// Ponding that is allowed [min].
const PONDING_MIN: f64 = 15.0;
/// Runoff that counts as none [mm].
const NO_RUNOFF_MM: f64 = 0.05;

/// A plan and the practices on one soil.
pub(super) struct Contest<'a> {
    pub site: &'a Site,
    pub plot: &'a Plot<'a>,
    pub table: (ClassTable, &'static str),
    /// The plan's runs on this zone.
    pub exact: &'a [Watered],
    /// Their water from sowing on.
    pub water: Water,
}

impl Contest<'_> {
    /// Holds the contest, given what came of the plan on the exact ground.
    pub(super) fn hold(
        &self,
        plan: &[Outcome],
        drawn: Option<Drawn>,
    ) -> Result<SoilResult, BacktestError> {
        let error = GroundError::NONE;
        let soil = TrueSoil::of(self.plot.zone, &self.plot.ground, self.table.0, &error);
        let (practices, taper) = self
            .plot
            .bed(soil, error)
            .and_then(|bed| {
                let practices = self.practices(&bed, plan[0].dry_s())?;
                Ok((practices, Taper::of(self.plot, &bed, self.exact)?))
            })
            .map_err(|source| BacktestError::Column {
                zone: self.plot.zone.name.clone(),
                source,
            })?;
        let threshold = soil.threshold(self.plot.zone.allowed_depletion.seed_layer);
        let plan = Quarters::of(plan);
        Ok(SoilResult {
            table: self.table.1,
            field_capacity: soil.field_capacity,
            wilting_point: soil.wilting_point,
            threshold,
            threshold_suction_m: soil.suction_m(threshold),
            verdict: self.verdict(&plan, &practices),
            plan,
            drawn,
            taper,
            practices,
        })
    }

    fn practices(&self, bed: &Bed, patience: Patience) -> Result<Vec<PracticeResult>, ColumnError> {
        let mut results = Vec::new();
        for practice in &PRACTICES {
            let length_s = self.rule_of_thumb_s(practice);
            results.push(self.practice(bed, practice, (Chosen::RuleOfThumb, Some(length_s)))?);
        }
        for practice in &PRACTICES {
            let length_s = self.as_moist_s(bed, practice, patience)?;
            results.push(self.practice(bed, practice, (Chosen::AsMoist, length_s))?);
        }
        Ok(results)
    }

    fn rule_of_thumb_s(&self, practice: &Practice) -> i64 {
        let a_day_s =
            3600.0 * RULE_OF_THUMB_MM / self.plot.zone.sprinkler.precipitation_rate.mm_per_h();
        let runs = seconds(i64::try_from(practice.runs_per_day()).unwrap_or(1));
        crate::plan::water::whole_seconds((a_day_s / runs / 60.0).round() * 60.0).max(60)
    }

    /// The shortest run that leaves the driest quarter no drier than
    /// patience allows; none when even the longest does.
    fn as_moist_s(
        &self,
        bed: &Bed,
        practice: &Practice,
        patience: Patience,
    ) -> Result<Option<i64>, ColumnError> {
        let will_do = |steps: i64| -> Result<bool, ColumnError> {
            let runs = self.runs(practice, steps * GRID_S);
            let tried = self
                .plot
                .try_out(bed, (&runs, Quarter::Driest), Some(patience))?;
            Ok(tried.is_some())
        };
        // Doubling first: long runs are slow to try where they pond.
        let mut high = 2;
        while !will_do(high)? {
            if high >= MOST {
                return Ok(None);
            }
            high = (2 * high).min(MOST);
        }
        let mut low = if high == 2 { 0 } else { high / 2 };
        while high - low > 1 {
            let middle = low.midpoint(high);
            if will_do(middle)? {
                high = middle;
            } else {
                low = middle;
            }
        }
        Ok(Some(high * GRID_S))
    }

    fn practice(
        &self,
        bed: &Bed,
        practice: &Practice,
        (chosen, length_s): (Chosen, Option<i64>),
    ) -> Result<PracticeResult, ColumnError> {
        let runs = length_s.map(|length_s| self.runs(practice, length_s));
        let outcome = match &runs {
            Some(runs) => {
                let outcomes: Result<Vec<Outcome>, ColumnError> = Quarter::ALL
                    .iter()
                    .map(|&quarter| {
                        self.plot
                            .try_out(bed, (runs, quarter), None)
                            .map(Option::unwrap_or_default)
                    })
                    .collect();
                Some(Quarters::of(&outcomes?))
            }
            None => None,
        };
        Ok(PracticeResult {
            name: practice.name,
            runs_per_day: practice.runs_per_day(),
            chosen,
            length_s,
            watered: runs.map(|runs| self.water_of(&runs)),
            outcome,
        })
    }

    /// The runs of a practice, behind those that it shares with the plan.
    fn runs(&self, practice: &Practice, length_s: i64) -> Vec<Watered> {
        let from = self.plot.judged_from().timestamp();
        let to = self.plot.judged_to().timestamp();
        let mut runs: Vec<Watered> = self
            .exact
            .iter()
            .filter(|run| run.start < from)
            .copied()
            .collect();
        let shared_until = runs.last().map_or(from, |run| run.end.max(from));
        let time_zone = self.site.place.time_zone;
        runs.extend(practice.runs((shared_until, to), length_s, time_zone));
        runs
    }

    /// Water of runs from sowing on.
    fn water_of(&self, runs: &[Watered]) -> Water {
        let sown = self.plot.season.sown.max(self.plot.from).timestamp();
        let sprinkler = &self.plot.zone.sprinkler;
        let mut water = Water::default();
        for run in runs.iter().filter(|run| run.start >= sown) {
            let hours = seconds(run.end - run.start) / 3600.0;
            water.runs += 1;
            water.gross_mm += sprinkler.precipitation_rate.mm_per_h() * hours;
            water.litres += sprinkler.flow.l_per_min() * hours * 60.0;
        }
        water.cost = cost(self.site, water.litres);
        water
    }

    fn verdict(&self, plan: &Quarters, practices: &[PracticeResult]) -> Verdict {
        let (driest, wettest) = (&plan.driest, &plan.wettest);
        let share = |hours: f64| hours / driest.daylight_h.max(f64::MIN_POSITIVE);
        let cheapest = practices
            .iter()
            .filter(|practice| practice.chosen == Chosen::AsMoist)
            .filter_map(|practice| Some((practice.name, practice.watered?.gross_mm)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        Verdict {
            dry_top_share: share(driest.dry_top_h),
            dry_seed_share: share(driest.dry_seed_h),
            dry_head_share: share(driest.dry_head_h),
            no_runoff: wettest.runoff_of_watering_mm < NO_RUNOFF_MM,
            no_ponding: wettest.longest_ponding_of_watering_min <= PONDING_MIN,
            cheapest_practice: cheapest.map(|practice| practice.0),
            saving: cheapest.map(|practice| 1.0 - self.water.gross_mm / practice.1),
        }
    }
}

/// What a volume costs at the site's price.
pub(super) fn cost(site: &Site, litres: f64) -> Option<f64> {
    let cost = site.supply.cost.as_ref()?;
    Some(cost.per_m3 * litres / 1000.0)
}
