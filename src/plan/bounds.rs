//! How much may be lost in a zone before water is due, and before it is too
//! dry: the same through the steps of an hour, until the seed goes down.

use super::moment::{Bed, HourAndSeed, Moment};
use super::turf;
use crate::balance::demand::HourDemand;

/// Depletion counts as above the allowed one from this excess [mm].
pub(super) const DRY_SLACK_MM: f64 = 1e-6;

/// Bounds of depletion in one hour [mm].
#[derive(Debug, Clone, Copy)]
pub(super) struct Bounds {
    /// Of the managed layer, from which it is too dry.
    pub allowed_mm: f64,
    /// Of the managed layer, at which water is due: the less of what is
    /// allowed the nearer the layer is to that of the seed.
    pub due_mm: f64,
    /// Of all the soil, from which standing turf is short of water; infinite
    /// where none stands.
    pub turf_mm: f64,
    /// What they hold for; none where they are worked out again in any case.
    held_for: Option<HourAndSeed>,
}

impl Bounds {
    fn of(bed: &Bed, moment: &Moment, demand: &HourDemand) -> Self {
        let stores = &moment.stores;
        let allowed_mm = demand.depletion_share * stores.available_mm(&bed.ground);
        let turf_mm = if turf::stands_on(bed) {
            demand.standing_depletion_share * stores.all_available_mm(&bed.ground)
        } else {
            f64::INFINITY
        };
        Self {
            allowed_mm,
            due_mm: demand.due_share * allowed_mm,
            turf_mm,
            held_for: None,
        }
    }

    /// Bounds that hold for no hour.
    pub fn unknown() -> Self {
        Self {
            allowed_mm: f64::INFINITY,
            due_mm: f64::INFINITY,
            turf_mm: f64::INFINITY,
            held_for: None,
        }
    }

    /// In the hour that lies ahead of a moment, or in which it is.
    #[inline]
    pub fn ahead(bed: &Bed, moment: &Moment) -> Self {
        Self::of(bed, moment, moment.demand(bed))
    }

    /// In the hour in which the last step was taken: worked out again where
    /// these hold for another.
    #[inline]
    pub fn keep_behind(&mut self, bed: &Bed, moment: &Moment) {
        if self.held_for != Some(moment.hour_and_seed()) {
            self.take_behind(bed, moment);
        }
    }

    fn take_behind(&mut self, bed: &Bed, moment: &Moment) {
        *self = Self {
            held_for: Some(moment.hour_and_seed()),
            ..Self::of(bed, moment, moment.demand_before(bed))
        };
    }

    /// Whether a depletion of the layer, or of all the soil for standing turf,
    /// is too much [mm].
    #[inline]
    pub fn are_passed(&self, layer_mm: f64, soil_mm: f64) -> bool {
        layer_mm > self.allowed_mm + DRY_SLACK_MM || self.is_turf_short(soil_mm)
    }

    /// Whether a depletion of all the soil leaves standing turf short of water [mm].
    #[inline]
    pub fn is_turf_short(&self, soil_mm: f64) -> bool {
        soil_mm > self.turf_mm + DRY_SLACK_MM
    }
}

/// Depletion over what is allowed of it, where it is more than that.
pub(super) fn too_dry(depletion_mm: f64, allowed_mm: f64) -> Option<f64> {
    (depletion_mm > allowed_mm + DRY_SLACK_MM).then(|| depletion_mm / allowed_mm.max(DRY_SLACK_MM))
}
