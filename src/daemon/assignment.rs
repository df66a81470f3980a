//! One planning: everything that it needs, so that it can be done beside the
//! control loop. Pure.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use super::outlook::{Basis, WeatherBook};
use crate::agronomy::weather_record::GeoPosition;
use crate::plan::rolling::{self, Horizon, RollingPlan, ZoneNow};
use crate::site::Site;

/// Levels are carried on from so long ago: until then weather and records may
/// still be corrected.
const SETTLED: TimeDelta = TimeDelta::hours(48);
/// Weather before the balance begins that the growth is computed from.
const GROWTH: TimeDelta = TimeDelta::days(120);

/// A planning that is to be done.
#[derive(Debug, Clone)]
pub struct Assignment {
    /// State of the control loop for which the plan holds.
    pub revision: u64,
    pub(super) site: Arc<Site>,
    pub(super) zones: Vec<ZoneNow>,
    pub(super) weather: Arc<WeatherBook>,
    pub(super) now: DateTime<Utc>,
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// As in the assignment.
    pub revision: u64,
    /// The plan, or why there is none, in words.
    pub plan: Result<RollingPlan, String>,
    /// The first hour without weather, and what stands in.
    pub stands_in: Option<(DateTime<Utc>, Basis)>,
}

impl Assignment {
    /// Makes the plan.
    #[must_use]
    pub fn carry_out(&self) -> Outcome {
        let mut stands_in = None;
        let plan = self.plan(&mut stands_in);
        Outcome {
            revision: self.revision,
            plan,
            stands_in,
        }
    }

    fn plan(&self, stands_in: &mut Option<(DateTime<Utc>, Basis)>) -> Result<RollingPlan, String> {
        let now = self.now;
        let horizon = Horizon {
            now,
            until: rolling::reach(&self.site, now),
            kept_at: super::outlook::floor(now - SETTLED),
        };
        let runs_end = self.zones.iter().flat_map(|zone| &zone.water);
        let runs_end = runs_end.map(|water| water.to).max();
        let end = runs_end.map_or(horizon.until, |end| end.max(horizon.until));
        let begin = self.zones.iter().map(|zone| zone.at).min();
        let seeding = self.site.zones.iter().map(|zone| zone.seeding.at).min();
        let begin = begin
            .unwrap_or(now)
            .min(seeding.unwrap_or(now).max(now - GROWTH));
        let position = GeoPosition::from(&self.site.place);
        let span = (begin, end + TimeDelta::hours(1));
        let outlook = self.weather.outlook(&position, span, now);
        let outlook = outlook.map_err(|error| error.to_string())?;
        *stands_in = outlook.stands_in;
        rolling::replan(&self.site, &outlook.hours, &self.zones, horizon)
            .map_err(|error| error.to_string())
    }
}
