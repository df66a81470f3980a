//! Standing turf into which seed is sown. It draws on all the soil while the
//! seed is watered by its thin layer, so that its own need is watched beside it:
//! else it would wilt unseen under mists that never get below the seed.

use super::moment::{Bed, Moment};
use crate::balance::demand::HourDemand;
use crate::balance::stores::Stores;
use crate::site::Ground;

/// What of a zone is watched for a need.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Watched {
    /// The managed layer: the seed layer, and the soil as far as new roots go.
    Layer,
    /// All the soil, for standing turf.
    Turf,
}

impl Watched {
    /// Depletion, and that at which water is due [mm].
    #[inline]
    pub(super) fn state_mm(self, bed: &Bed, moment: &Moment) -> (f64, f64) {
        let due_mm = match self {
            Self::Layer => moment.due_mm(bed),
            Self::Turf => allowed_mm(bed, moment.demand(bed), &moment.stores),
        };
        (self.depletion_mm(&moment.stores), due_mm)
    }

    /// Whether what is watched is drier than allowed.
    pub(super) fn is_too_dry(self, bed: &Bed, moment: &Moment) -> bool {
        let allowed_mm = match self {
            Self::Layer => moment.allowed_mm(bed),
            Self::Turf => allowed_mm(bed, moment.demand(bed), &moment.stores),
        };
        self.depletion_mm(&moment.stores) > allowed_mm
    }

    /// Depletion of what is watched [mm].
    #[must_use]
    pub fn depletion_mm(self, stores: &Stores) -> f64 {
        match self {
            Self::Layer => stores.depletion_mm(),
            Self::Turf => stores.total_depletion_mm(),
        }
    }
}

/// Whether turf stands on a zone.
#[must_use]
pub fn stands_on(bed: &Bed) -> bool {
    matches!(bed.zone.seeding.ground, Ground::Turf { .. })
}

/// Allowed depletion of all the soil [mm], from which turf is short of water.
#[must_use]
pub fn allowed_mm(bed: &Bed, demand: &HourDemand, stores: &Stores) -> f64 {
    demand.standing_depletion_share * stores.all_available_mm(&bed.ground)
}
