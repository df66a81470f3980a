//! From a net depth to seconds of run time: uniformity, efficiency, intake
//! and the bounds of a single run.

use crate::agronomy::infiltration::GreenAmpt;
use crate::balance::ground::Ground;
use crate::balance::record::Stage;
use crate::site::{Sprinkler, Zone};
use crate::sprinkler::uniformity::scheduling_multiplier;
use crate::units::{Depth, Rate, Volume};

/// Run times are whole multiples of this [s].
pub const RUN_GRID_S: i64 = 5;

/// How a zone's sprinklers and soil turn time into depth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watering {
    sprinkler: Sprinkler,
    area_m2: f64,
    shortest_s: i64,
    longest_s: i64,
    /// Longest run of which nothing ponds in the wettest quarter, on soil at
    /// field capacity [s].
    ponding_s: Option<i64>,
}

impl Watering {
    /// The watering of a zone on its ground.
    #[must_use]
    pub fn of(zone: &Zone, ground: &Ground) -> Self {
        let soil = moist_soil(ground);
        let ponding_s = soil
            .ponding(wettest_rate(&zone.sprinkler))
            .map(|ponding| whole_seconds(ponding.time_h * 3600.0));
        Self {
            sprinkler: zone.sprinkler,
            area_m2: zone.area.m2(),
            shortest_s: grid_up(zone.runs.shortest.num_seconds().max(RUN_GRID_S)),
            longest_s: zone.runs.longest.num_seconds().max(RUN_GRID_S),
            ponding_s,
        }
    }

    /// The same, with no run that takes more than a day's most water.
    #[must_use]
    pub fn within(mut self, most_per_day: Option<Volume>) -> Self {
        if let Some(most) = most_per_day {
            let most_s = whole_seconds(60.0 * most.l() / self.flow_l_per_min());
            self.longest_s = self.longest_s.min(grid_down(most_s));
        }
        self
    }

    /// Share of the gross depth that counts in the layer.
    ///
    /// While seed germinates the driest quarter is what must stay moist, so
    /// it counts as the lower-quarter mean; afterwards by the scheduling
    /// multiplier, as turf is scheduled (Irrigation Association 2005).
    #[must_use]
    pub fn net_share(&self, stage: Stage) -> f64 {
        let uniformity = self.sprinkler.distribution_uniformity;
        let share = match stage {
            Stage::Rest | Stage::Germination | Stage::Emergence => uniformity,
            Stage::PreSoak | Stage::Establishment | Stage::Maintenance => {
                1.0 / scheduling_multiplier(uniformity)
            }
        };
        share * self.sprinkler.application_efficiency
    }

    /// Rate at which water reaches the layer [mm/h net].
    #[must_use]
    pub fn net_rate_mm_per_h(&self, stage: Stage) -> f64 {
        self.sprinkler.precipitation_rate.mm_per_h() * self.net_share(stage)
    }

    /// Longest run that neither its bound nor the soil's intake forbids [s].
    #[must_use]
    pub fn longest_s(&self) -> i64 {
        let ponding_s = self.ponding_s.unwrap_or(i64::MAX).max(self.shortest_s);
        grid_down(self.longest_s.min(ponding_s)).max(self.shortest_s)
    }

    /// Longest run by the site's own bounds, whatever the soil takes in [s].
    #[must_use]
    pub fn bound_s(&self) -> i64 {
        grid_down(self.longest_s).max(self.shortest_s)
    }

    /// Whether the soil's intake, not the run's own bound, ends a long run.
    #[must_use]
    pub fn intake_limits(&self) -> bool {
        self.ponding_s
            .is_some_and(|ponding_s| ponding_s < self.longest_s)
    }

    /// Whether even the shortest run ponds in the wettest quarter.
    #[must_use]
    pub fn shortest_ponds(&self) -> bool {
        self.ponding_s
            .is_some_and(|ponding_s| ponding_s < self.shortest_s)
    }

    /// Shortest run [s].
    #[must_use]
    pub fn shortest_s(&self) -> i64 {
        self.shortest_s
    }

    /// Run time for a net depth, unbounded above [s].
    #[must_use]
    pub fn seconds_for(&self, net_mm: f64, stage: Stage) -> i64 {
        let seconds = 3600.0 * net_mm.max(0.0) / self.net_rate_mm_per_h(stage);
        grid_up(whole_seconds(seconds.ceil()))
    }

    /// Net depth of a run.
    #[must_use]
    pub fn net_mm(&self, seconds: i64, stage: Stage) -> f64 {
        self.net_rate_mm_per_h(stage) * hours(seconds)
    }

    /// Gross depth of a run, mean over the zone.
    #[must_use]
    pub fn gross(&self, seconds: i64) -> Depth {
        Depth::from_mm(self.sprinkler.precipitation_rate.mm_per_h() * hours(seconds))
    }

    /// Water that a run uses.
    #[must_use]
    pub fn volume(&self, seconds: i64) -> Volume {
        Volume::from_l(self.sprinkler.flow.l_per_min() * hours(seconds) * 60.0)
    }

    /// Flow while the valve is open [L/min].
    #[must_use]
    pub fn flow_l_per_min(&self) -> f64 {
        self.sprinkler.flow.l_per_min()
    }

    /// Watered area [m²].
    #[must_use]
    pub fn area_m2(&self) -> f64 {
        self.area_m2
    }
}

/// Green–Ampt soil at field capacity.
#[must_use]
pub fn moist_soil(ground: &Ground) -> GreenAmpt {
    GreenAmpt {
        conductivity_mm_per_h: ground.intake.mm_per_h(),
        suction_mm: ground.suction_mm,
        moisture_deficit: ground.moist_deficit(),
    }
}

/// Rate at which water reaches the wettest quarter: by symmetry as far above
/// the mean as the driest quarter is below it.
#[must_use]
pub fn wettest_rate(sprinkler: &Sprinkler) -> Rate {
    sprinkler.precipitation_rate
        * (sprinkler.application_efficiency * (2.0 - sprinkler.distribution_uniformity))
}

/// Seconds as hours.
#[must_use]
pub fn hours(seconds: i64) -> f64 {
    #[expect(
        clippy::cast_precision_loss,
        reason = "spans of a plan are far below 2^52 s"
    )]
    let seconds = seconds as f64;
    seconds / 3600.0
}

/// Whole seconds below a number of seconds, bounded to a year.
#[must_use]
pub fn whole_seconds(seconds: f64) -> i64 {
    const YEAR_S: f64 = 366.0 * 86_400.0;
    #[expect(
        clippy::cast_possible_truncation,
        reason = "bounded to a year just before"
    )]
    let whole = seconds.clamp(0.0, YEAR_S) as i64;
    whole
}

/// A run time brought down to the grid.
#[must_use]
pub fn grid_down(seconds: i64) -> i64 {
    seconds / RUN_GRID_S * RUN_GRID_S
}

/// A run time brought up to the grid.
#[must_use]
pub fn grid_up(seconds: i64) -> i64 {
    grid_down(seconds + RUN_GRID_S - 1)
}
