//! How a zone changes through its season whatever the watering: stage, depth
//! of the managed layer, crop coefficient, ground cover, allowed depletion.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;

use super::record::{Emergence, SpeciesEmergence, Stage};
use crate::agronomy::crop_coefficient::{self, TURF_HEIGHT_M, TurfGroup};
use crate::agronomy::{evaporation, germination, roots};
use crate::site::local_time::{date_of, start_of_day};
use crate::site::{CoverRemoval, Ground, Zone};

/// Kcb of a mostly bare surface with the first leaves (FAO-56 ch. 7, Kc min).
const KCB_FIRST_LEAVES: f64 = 0.15;
/// Share of the allowed depletion at which seed is watered. The balance knows
/// the mean of the layer and can be late, and a mist does not wet it evenly:
/// found by backtest, as the most at which soil columns of every texture stay
/// moist through the daylight (docs/backtest-results.md).
const SEED_LAYER_MARGIN: f64 = 0.65;
/// Kc max that stands for the climate in the cover fraction, FAO-56 eq. 76.
const KC_MAX_FOR_COVER: f64 = 1.2;

/// The fixed instants of a zone's season.
#[derive(Debug, Clone, PartialEq)]
pub struct Season {
    /// When the deep soak must have ended.
    pub soak_deadline: DateTime<Utc>,
    /// When the seed goes down.
    pub sown: DateTime<Utc>,
    /// Start of the first day on which grass may show.
    pub first_green: DateTime<Utc>,
    /// Start of the day by which the slowest species should be up.
    pub all_up: DateTime<Utc>,
    /// When the cover comes off; none while it stays, or without one.
    pub cover_off: Option<DateTime<Utc>>,
    /// The emergence window in days.
    pub emergence: Emergence,
    /// Warm-season or cool-season grass, by the larger share of the mix.
    pub group: TurfGroup,
}

/// State of growth in one hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Growth {
    /// Stage at the start of the hour.
    pub stage: Stage,
    /// Depth of the managed layer at the start of the hour [mm].
    pub layer_mm: f64,
    /// Basal crop coefficient of all the grass.
    pub kcb: f64,
    /// The part of it that is standing turf, which roots through all the soil.
    pub standing_kcb: f64,
    /// Share of the ground under leaves.
    pub cover_fraction: f64,
    /// Allowed depletion as a share of available water.
    pub depletion_share: f64,
    /// Share of the allowed depletion at which water is due.
    pub due_share: f64,
    /// Whether a cover lies on the bed.
    pub covered: bool,
}

impl Season {
    /// The season of a zone from daily mean temperatures [°C] by local date.
    #[must_use]
    pub fn of(zone: &Zone, time_zone: Tz, daily_mean_c: &BTreeMap<NaiveDate, f64>) -> Self {
        let sown = zone.seeding.at;
        let emergence = emergence(zone, date_of(time_zone, sown), daily_mean_c);
        let first_green = start_of_day(time_zone, emergence.first).max(sown);
        let all_up = start_of_day(time_zone, emergence.last).max(first_green);
        let cover_off = zone.seeding.cover.and_then(|cover| match cover.removed {
            CoverRemoval::AtEmergence => Some(first_green),
            CoverRemoval::On(date) => Some(start_of_day(time_zone, date)),
            CoverRemoval::Never => None,
        });
        Self {
            soak_deadline: sown - zone.pre_soak.rest,
            sown,
            first_green,
            all_up,
            cover_off,
            emergence,
            group: main_group(zone),
        }
    }

    /// Stage at an instant, given the depth that the roots have reached.
    #[must_use]
    pub fn stage(&self, at: DateTime<Utc>, roots_down: bool) -> Stage {
        if at < self.soak_deadline {
            Stage::PreSoak
        } else if at < self.sown {
            Stage::Rest
        } else if at < self.first_green {
            Stage::Germination
        } else if at < self.all_up {
            Stage::Emergence
        } else if roots_down {
            Stage::Maintenance
        } else {
            Stage::Establishment
        }
    }

    /// Growth hour by hour: one entry per start, which must ascend by hours.
    /// `mean_c` gives the mean temperature of the day of each.
    #[must_use]
    pub fn hours(&self, zone: &Zone, starts: &[(DateTime<Utc>, f64)]) -> Vec<Growth> {
        let seed_mm = zone.seed_layer.mm();
        let target_mm = zone.target_root_depth.mm().max(seed_mm);
        // Growth before the weather begins is taken as at the stated rate.
        let grown_before = starts
            .first()
            .map_or(0.0, |&(first, _)| days_between(self.all_up, first))
            * zone.root_growth_mm_per_day;
        let mut layer_mm = (seed_mm + grown_before).min(target_mm);
        let mut rows = Vec::with_capacity(starts.len());
        for &(start, mean_c) in starts {
            let roots_down = layer_mm >= target_mm;
            let stage = self.stage(start, roots_down);
            let grown = if target_mm > seed_mm {
                (layer_mm - seed_mm) / (target_mm - seed_mm)
            } else {
                1.0
            };
            rows.push(self.growth(zone, stage, start, layer_mm, grown));
            if start >= self.all_up {
                let growth =
                    roots::growth_mm_per_day(zone.root_growth_mm_per_day, mean_c, self.group);
                layer_mm = (layer_mm + growth / 24.0).min(target_mm);
            }
        }
        rows
    }

    fn growth(
        &self,
        zone: &Zone,
        stage: Stage,
        start: DateTime<Utc>,
        layer_mm: f64,
        grown: f64,
    ) -> Growth {
        let grown = if start < self.all_up { 0.0 } else { grown };
        let kcb_full = crop_coefficient::basal_coefficients(self.group).middle;
        let standing = match zone.seeding.ground {
            Ground::Bare => 0.0,
            Ground::Turf { cover_fraction } => cover_fraction,
        };
        // FAO-56 Annex 8 ties Kcb and root depth together; here Kcb follows
        // the roots from the first leaves to full turf.
        let seedling_kcb = match stage {
            Stage::PreSoak | Stage::Rest | Stage::Germination => 0.0,
            _ => KCB_FIRST_LEAVES + (kcb_full - KCB_FIRST_LEAVES) * grown,
        };
        let seedling_cover = evaporation::cover_fraction(
            seedling_kcb,
            KCB_FIRST_LEAVES,
            KC_MAX_FOR_COVER,
            TURF_HEIGHT_M,
        );
        let standing_kcb = standing * kcb_full;
        let allowed = zone.allowed_depletion;
        Growth {
            stage,
            layer_mm,
            kcb: standing_kcb.max(seedling_kcb),
            standing_kcb,
            cover_fraction: standing.max(seedling_cover),
            depletion_share: allowed.seed_layer + (allowed.root_zone - allowed.seed_layer) * grown,
            // Nothing changes in the ground on the day on which all is up: the
            // margin fades as roots leave the thin layer.
            due_share: SEED_LAYER_MARGIN + (1.0 - SEED_LAYER_MARGIN) * grown,
            covered: zone.seeding.cover.is_some()
                && start >= self.sown
                && self.cover_off.is_none_or(|off| start < off),
        }
    }
}

/// The emergence window of a mix, from the quickest species to the slowest,
/// with what a person recorded of it.
///
/// A first green later than expected says that the seedbed is colder or drier
/// than the weather tells. The slower species lie in the same bed, so that they
/// are late by as many days at least. An early one moves nothing: it may
/// be the seed, and the last must not be left dry (own model).
fn emergence(zone: &Zone, sown: NaiveDate, daily_mean_c: &BTreeMap<NaiveDate, f64>) -> Emergence {
    let seeding = &zone.seeding;
    let mut by_species: Vec<SpeciesEmergence> = seeding
        .mix
        .iter()
        .map(|part| {
            let (first, last) = germination::emergence_window(part.species, sown, |date| {
                daily_mean_c.get(&date).copied()
            });
            SpeciesEmergence {
                species: part.species,
                first,
                last,
            }
        })
        .collect();
    let quickest = by_species.iter().map(|species| species.first).min();
    let expected = quickest.unwrap_or(sown);
    let first = seeding.emerged.unwrap_or(expected);
    let late = (first - expected).max(TimeDelta::zero());
    for species in &mut by_species {
        species.first += late;
        species.last += late;
    }
    let slowest = by_species.iter().map(|species| species.last).max();
    let last = seeding.all_up.unwrap_or(slowest.unwrap_or(sown).max(first));
    Emergence {
        first: first.min(last),
        last,
        by_species,
        recorded: seeding.emerged.is_some(),
        all_up_recorded: seeding.all_up.is_some(),
    }
}

/// The group that holds the larger share of the mix; cool season at a tie.
fn main_group(zone: &Zone) -> TurfGroup {
    let warm: f64 = zone
        .seeding
        .mix
        .iter()
        .filter(|part| crop_coefficient::group(part.species) == TurfGroup::WarmSeason)
        .map(|part| part.share)
        .sum();
    if warm > 0.5 {
        TurfGroup::WarmSeason
    } else {
        TurfGroup::CoolSeason
    }
}

/// Days from one instant to a later one; 0 when it is not later.
fn days_between(from: DateTime<Utc>, to: DateTime<Utc>) -> f64 {
    (to - from).as_seconds_f64().max(0.0) / 86_400.0
}
