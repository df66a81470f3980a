//! One trial: water and weather on one column of soil, and what becomes of
//! the seed in it.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::ground::{GroundError, SEED_HEAD_M, TrueSoil};
use super::tally::{Moisture, Outcome, Recorder, Step, seconds};
use crate::agronomy::evaporation::evaporation_coefficient;
use crate::balance::demand::HourDemand;
use crate::balance::ground::Ground;
use crate::balance::growth::Season;
use crate::balance::record::Stage;
use crate::column::{
    Column, ColumnError, ColumnSpec, Initial, RootUptake, SoilTable, StepReport, SurfaceForcing,
    WaterStress,
};
use crate::plan::window::Openings;
use crate::site::{SoilState, Sprinkler, Zone};

/// Longest step between two looks at the column [s].
const LOOK_S: i64 = 300;
/// Seconds of an hour.
pub(super) const HOUR_S: i64 = 3600;
/// The seed layer is judged by its mean down to here [mm].
pub const TOP_MM: f64 = 10.0;
/// The seed lies within this depth [mm].
pub const SEED_MM: f64 = 3.0;
/// Depth at which the head at the seed is read [mm].
const SEED_AT_MM: f64 = 1.5;

/// What all trials of a zone share.
#[derive(Debug, Clone)]
pub struct Plot<'a> {
    /// The zone.
    pub zone: &'a Zone,
    /// Its ground as the plan believes it to be.
    pub ground: Ground,
    /// Its season in the weather that came.
    pub season: Season,
    /// Demand in the weather that came, from before `begin` to `to`.
    pub demand: Vec<HourDemand>,
    /// When the plan may water it, in the weather that came.
    pub openings: Openings,
    /// First instant of the trial.
    pub begin: DateTime<Utc>,
    /// First instant that is reported.
    pub from: DateTime<Utc>,
    /// End of the span; the trial may end before.
    pub to: DateTime<Utc>,
}

/// A valve that was open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Watered {
    /// When it opened [s].
    pub start: i64,
    /// When it closed [s].
    pub end: i64,
}

/// Which part of the zone a column stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quarter {
    /// The quarter that gets least.
    Driest,
    /// The mean over the zone.
    Mean,
    /// The quarter that gets most: by symmetry as far above the mean.
    Wettest,
}

impl Quarter {
    /// The three, driest first.
    pub const ALL: [Self; 3] = [Self::Driest, Self::Mean, Self::Wettest];

    /// Its share of the mean depth at the ground.
    fn share(self, sprinkler: &Sprinkler) -> f64 {
        match self {
            Self::Driest => sprinkler.distribution_uniformity,
            Self::Mean => 1.0,
            Self::Wettest => 2.0 - sprinkler.distribution_uniformity,
        }
    }
}

/// The ground of a trial, ready to be watered.
#[derive(Debug, Clone)]
pub struct Bed {
    pub(super) column: Column,
    pub(super) soil: TrueSoil,
    error: GroundError,
}

/// Runs that are still to come, and how much they bring.
pub(super) struct Watering<'w> {
    runs: &'w [Watered],
    rate_mm_per_h: f64,
}

/// A column after a step.
pub(super) struct Look<'c> {
    /// Begin of the step [s].
    pub from: i64,
    /// End of the step [s].
    pub to: i64,
    /// The column at its end.
    pub column: &'c Column,
    /// What the water did in it.
    pub report: StepReport,
    /// Rain and water from sprinklers [mm].
    pub water_mm: f64,
}

/// When a trial is not worth going on with: daylight seconds below threshold
/// of the top, of the seed, and by head.
pub type Patience = [i64; 3];

impl Plot<'_> {
    /// The column as it is when the trial begins.
    ///
    /// Its water is what the site file states or, where that is computed from
    /// the weather, what weeks of that weather leave of half the available
    /// water.
    ///
    /// # Errors
    /// [`ColumnError`] from the column.
    pub fn bed(&self, soil: TrueSoil, error: GroundError) -> Result<Bed, ColumnError> {
        let table = Arc::new(SoilTable::new(&soil.functions));
        let state = self.zone.seeding.soil_state;
        let used = self.ground.depletion_share(state) / self.ground.available_share();
        let mut spec = ColumnSpec::of_table(table, Initial::WaterContent(soil.threshold(used)));
        spec.storage_limit_mm = self.ground.surface_storage.mm();
        let mut column = Column::new(spec)?;
        if state == SoilState::FromWeather {
            for hour in self.demand.iter().filter(|hour| hour.start < self.begin) {
                column.advance(3600.0, &self.forcing(hour, 0.0))?;
            }
        }
        Ok(Bed {
            column,
            soil,
            error,
        })
    }

    /// Waters a bed through the trial and judges it; none when patience ends.
    /// `watered` is in order and does not overlap.
    ///
    /// # Errors
    /// [`ColumnError`] from the column.
    pub fn try_out(
        &self,
        bed: &Bed,
        (watered, quarter): (&[Watered], Quarter),
        patience: Option<Patience>,
    ) -> Result<Option<Outcome>, ColumnError> {
        let mut column = bed.column.clone();
        let mut recorder = Recorder::new(self.root_zone_water(&column));
        let mut watering = self.watering(bed, (watered, quarter));
        for hour in self.hours_to(self.judged_to()) {
            recorder.begin_hour(hour);
            let mut moisture = self.moisture(&column, &bed.soil);
            self.water_hour(&mut column, hour, &mut watering, |look| {
                moisture = self.moisture(look.column, &bed.soil);
                let step = self.step(hour, look.from, look.to);
                recorder.note(&step, &look.report, look.water_mm, &moisture);
            })?;
            recorder.end_hour(&moisture);
            if patience.is_some_and(|patience| recorder.lost(patience)) {
                return Ok(None);
            }
        }
        Ok(Some(recorder.finish(self.root_zone_water(&column))))
    }

    /// The hours from the begin of the trial to an instant.
    pub(super) fn hours_to(&self, to: DateTime<Utc>) -> impl Iterator<Item = &HourDemand> {
        self.demand
            .iter()
            .filter(move |hour| hour.start >= self.begin && hour.start < to)
    }

    /// The runs as they reach a part of the zone.
    pub(super) fn watering<'w>(
        &self,
        bed: &Bed,
        (runs, quarter): (&'w [Watered], Quarter),
    ) -> Watering<'w> {
        let sprinkler = &self.zone.sprinkler;
        Watering {
            runs,
            rate_mm_per_h: sprinkler.precipitation_rate.mm_per_h()
                * sprinkler.application_efficiency
                * quarter.share(sprinkler)
                * bed.error.rate,
        }
    }

    /// Waters a column through an hour and shows it after every step.
    ///
    /// # Errors
    /// [`ColumnError`] from the column.
    pub(super) fn water_hour(
        &self,
        column: &mut Column,
        hour: &HourDemand,
        watering: &mut Watering,
        mut see: impl FnMut(&Look),
    ) -> Result<(), ColumnError> {
        let mut at = hour.start.timestamp();
        let end_s = at + HOUR_S;
        while at < end_s {
            let (open, end) = next_look(&mut watering.runs, at);
            let rate = if open { watering.rate_mm_per_h } else { 0.0 };
            let span_s = seconds(end - at);
            let report = column.advance(span_s, &self.forcing(hour, rate))?;
            see(&Look {
                from: at,
                to: end,
                column,
                report,
                water_mm: (rate + hour.rain_mm) * span_s / 3600.0,
            });
            at = end;
        }
        Ok(())
    }

    /// What the weather and the sprinklers do to the column.
    fn forcing(&self, hour: &HourDemand, irrigation_mm_per_h: f64) -> SurfaceForcing {
        let evaporation = evaporation_coefficient(1.0, hour.kc_max, hour.kcb, hour.exposed);
        let depth_mm = if hour.standing_kcb > 0.0 {
            self.ground.bottom_mm
        } else {
            hour.layer_mm
        };
        SurfaceForcing {
            water_mm_per_h: irrigation_mm_per_h + hour.rain_mm,
            potential_evaporation_mm_per_h: evaporation * hour.et0_mm_per_h * hour.mulch_factor,
            root_uptake: (hour.kcb > 0.0).then_some(RootUptake {
                potential_mm_per_h: hour.kcb * hour.et0_mm_per_h,
                depth_mm,
                stress: WaterStress::GRASS,
            }),
        }
    }

    fn moisture(&self, column: &Column, soil: &TrueSoil) -> Moisture {
        let threshold = soil.threshold(self.zone.allowed_depletion.seed_layer);
        let top = column.mean_water_content(0.0, TOP_MM);
        let seed = column.mean_water_content(0.0, SEED_MM);
        let available = soil.field_capacity - soil.wilting_point;
        Moisture {
            dry: [
                top < threshold,
                seed < threshold,
                column.head_at(SEED_AT_MM) < SEED_HEAD_M,
            ],
            top_share: (top - soil.wilting_point) / available,
            seed_share: (seed - soil.wilting_point) / available,
            film_mm: column.film_mm(),
        }
    }

    fn step(&self, hour: &HourDemand, from: i64, to: i64) -> Step {
        Step {
            seconds: to - from,
            daylight: hour.daylight,
            shut: self.openings.in_the_way(from, to - from).is_some(),
            reported: from >= self.from.timestamp(),
            sown: from >= self.season.sown.timestamp(),
            judged: from >= self.judged_from().timestamp() && is_seed_stage(hour.stage),
        }
    }

    /// From when the seed is judged: it goes down dry, and has an hour.
    #[must_use]
    pub fn judged_from(&self) -> DateTime<Utc> {
        (self.season.sown + TimeDelta::hours(1)).max(self.from)
    }

    /// Until when the seed is judged: until the slowest species is up.
    #[must_use]
    pub fn judged_to(&self) -> DateTime<Utc> {
        self.season.all_up.min(self.to)
    }

    fn root_zone_water(&self, column: &Column) -> f64 {
        let depth_mm = self.zone.target_root_depth.mm();
        column.mean_water_content(0.0, depth_mm) * depth_mm + column.film_mm()
    }
}

fn is_seed_stage(stage: Stage) -> bool {
    matches!(stage, Stage::Germination | Stage::Emergence)
}

/// Whether the valve is open at an instant, and when to look again. Runs that
/// are over are dropped.
fn next_look(watered: &mut &[Watered], at: i64) -> (bool, i64) {
    let over = watered.partition_point(|run| run.end <= at);
    *watered = &watered[over..];
    let look = (at.div_euclid(LOOK_S) + 1) * LOOK_S;
    match watered.first() {
        Some(run) if run.start <= at => (true, look.min(run.end)),
        Some(run) => (false, look.min(run.start)),
        None => (false, look),
    }
}
