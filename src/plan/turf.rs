//! Standing turf into which seed is sown. It draws on all the soil while the
//! seed is watered by its thin layer, so that its own need is watched beside it:
//! else it would wilt unseen under mists that never get below the seed.

use super::bounds::Bounds;
use super::moment::Bed;
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
    /// Depletion of what is watched [mm].
    #[inline]
    #[must_use]
    pub fn depletion_mm(self, stores: &Stores) -> f64 {
        match self {
            Self::Layer => stores.depletion_mm(),
            Self::Turf => stores.total_depletion_mm(),
        }
    }

    /// Depletion at which water is due [mm].
    #[inline]
    pub(super) fn due_mm(self, bounds: &Bounds) -> f64 {
        match self {
            Self::Layer => bounds.due_mm,
            Self::Turf => bounds.turf_mm,
        }
    }

    /// Depletion from which what is watched is too dry [mm].
    pub(super) fn allowed_mm(self, bounds: &Bounds) -> f64 {
        match self {
            Self::Layer => bounds.allowed_mm,
            Self::Turf => bounds.turf_mm,
        }
    }
}

/// Whether turf stands on a zone.
#[must_use]
pub fn stands_on(bed: &Bed) -> bool {
    matches!(bed.zone.seeding.ground, Ground::Turf { .. })
}
