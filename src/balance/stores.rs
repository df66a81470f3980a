//! The water of one zone in five stores, stepped in time.
//!
//! From the top: the surface layer (the seed layer, fixed) and four strata of
//! soil beneath it, down to the depth of the pre-soak. Each is counted as
//! depletion below field capacity. The root zone is as much of the strata as the
//! roots reach. Water fills the stores from the top and what is left drains out
//! of the bottom; what is counted in equals what is counted out plus the change
//! of the stores (checked to 1e-6 mm by a property test).
//!
//! Own model in this: the stores, their order of filling and what passes
//! between them (see [`crate::agronomy::drying`]). The other fluxes are the
//! published ones, named where they are computed.

use serde::{Deserialize, Serialize};

use super::demand::HourDemand;
use super::ground::{Ground, SurfaceLayer};
use super::strata;
use crate::agronomy::{drying, evaporation, root_zone};

/// Depletions below field capacity, mm, and the depth of the managed layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stores {
    /// Of the surface layer, 0 to its total evaporable water.
    pub surface_mm: f64,
    /// Of the strata beneath it, from the top.
    pub strata_mm: [f64; strata::COUNT],
    /// Depth of the managed layer [mm]; at least the surface layer.
    pub layer_mm: f64,
    /// Whether the seed is down: the surface layer is a seedbed.
    pub seeded: bool,
    /// Share of each stratum that the managed layer has reached.
    rooted: [f64; strata::COUNT],
}

/// The stores as they are kept over restarts: what does not follow from the
/// ground. Depletions in mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    /// Of the surface layer.
    pub surface_mm: f64,
    /// Of the strata beneath it, from the top.
    pub strata_mm: [f64; strata::COUNT],
    /// Depth of the managed layer [mm].
    pub layer_mm: f64,
    /// Whether the seed is down.
    pub seeded: bool,
}

/// What moved in a step, mm.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Flows {
    /// Evaporation from the surface layer.
    pub evaporation_mm: f64,
    /// Transpiration from surface layer and root zone.
    pub transpiration_mm: f64,
    /// Rise from beneath into the surface layer; below zero where the layer
    /// gives water down.
    pub restored_mm: f64,
    /// Water that left the bottom.
    pub drainage_mm: f64,
}

impl Stores {
    /// A bare soil with the same depletion at every depth.
    #[must_use]
    pub fn uniform(ground: &Ground, depletion_share: f64) -> Self {
        let surface = &ground.bare_surface;
        Self {
            surface_mm: (depletion_share * surface.thickness_mm).min(surface.evaporable_mm),
            strata_mm: ground.strata.thickness_mm.map(|mm| depletion_share * mm),
            layer_mm: surface.thickness_mm,
            seeded: false,
            rooted: [0.0; strata::COUNT],
        }
    }

    /// What is kept of the stores.
    #[must_use]
    pub fn levels(&self) -> Levels {
        Levels {
            surface_mm: self.surface_mm,
            strata_mm: self.strata_mm,
            layer_mm: self.layer_mm,
            seeded: self.seeded,
        }
    }

    /// Stores from what was kept. The ground may have been corrected since:
    /// no store is drier than the ground can be.
    #[must_use]
    pub fn at_levels(ground: &Ground, levels: &Levels) -> Self {
        let mut stores = Self {
            seeded: levels.seeded,
            ..Self::uniform(ground, 0.0)
        };
        let surface = *stores.surface(ground);
        stores.surface_mm = levels.surface_mm.clamp(0.0, surface.evaporable_mm);
        let share = ground.available_share();
        let strata = stores.strata_mm.iter_mut().zip(ground.strata.thickness_mm);
        for ((depletion_mm, thickness_mm), kept_mm) in strata.zip(levels.strata_mm) {
            *depletion_mm = kept_mm.clamp(0.0, share * thickness_mm);
        }
        stores.grow_to(ground, levels.layer_mm);
        stores
    }

    /// Bare soil at field capacity down to a depth [mm] and so dry beneath
    /// that it gives nothing.
    #[must_use]
    pub fn soaked_to(ground: &Ground, depth_mm: f64) -> Self {
        let mut stores = Self::uniform(ground, 0.0);
        stores.reach(ground, depth_mm);
        let dry_mm = ground.strata.dry_mm();
        let wet = std::mem::take(&mut stores.rooted);
        for ((depletion, dry), wet) in stores.strata_mm.iter_mut().zip(dry_mm).zip(wet) {
            *depletion = dry * (1.0 - wet);
        }
        stores
    }

    /// The surface layer as it is now.
    #[inline]
    #[must_use]
    pub fn surface<'a>(&self, ground: &'a Ground) -> &'a SurfaceLayer {
        if self.seeded {
            &ground.seedbed_surface
        } else {
            &ground.bare_surface
        }
    }

    /// Depletion of the managed layer [mm].
    #[inline]
    #[must_use]
    pub fn depletion_mm(&self) -> f64 {
        self.surface_mm + self.root_mm()
    }

    /// Depletion of all modelled soil [mm].
    #[inline]
    #[must_use]
    pub fn total_depletion_mm(&self) -> f64 {
        self.surface_mm + self.below_mm()
    }

    /// Depletion of the root zone beneath the surface layer [mm].
    #[inline]
    #[must_use]
    pub fn root_mm(&self) -> f64 {
        let strata = self.strata_mm.iter().zip(self.rooted);
        strata.map(|(mm, rooted)| mm * rooted).sum()
    }

    /// Depletion of all soil beneath the surface layer [mm].
    #[inline]
    #[must_use]
    pub fn below_mm(&self) -> f64 {
        self.strata_mm.iter().sum()
    }

    /// Total available water of the managed layer [mm].
    #[inline]
    #[must_use]
    pub fn available_mm(&self, ground: &Ground) -> f64 {
        self.surface(ground).available_mm + self.root_available_mm(ground)
    }

    /// Total available water of all modelled soil [mm].
    #[inline]
    #[must_use]
    pub fn all_available_mm(&self, ground: &Ground) -> f64 {
        let below_mm = ground.bottom_mm - self.layer_mm;
        self.available_mm(ground) + ground.available_share() * below_mm
    }

    #[inline]
    fn root_available_mm(&self, ground: &Ground) -> f64 {
        ground.available_share() * (self.layer_mm - self.surface(ground).thickness_mm)
    }

    /// The seed goes down: wetted top-dressing becomes part of the surface
    /// layer and the soil that it displaces counts with what is beneath.
    pub fn sow(&mut self, ground: &Ground) {
        let kept = ground.seedbed_surface.soil_share * self.surface_mm;
        self.strata_mm[0] += self.surface_mm - kept;
        self.surface_mm = kept;
        self.seeded = true;
    }

    /// Takes the managed layer down to `depth_mm`, and never up.
    pub fn grow_to(&mut self, ground: &Ground, depth_mm: f64) {
        if depth_mm > self.layer_mm {
            self.layer_mm = depth_mm.min(ground.bottom_mm);
            self.reach(ground, self.layer_mm);
        }
    }

    fn reach(&mut self, ground: &Ground, depth_mm: f64) {
        let mut left_mm = depth_mm - self.surface(ground).thickness_mm;
        for (rooted, thickness_mm) in self.rooted.iter_mut().zip(ground.strata.thickness_mm) {
            *rooted = (left_mm / thickness_mm).clamp(0.0, 1.0);
            left_mm -= thickness_mm;
        }
    }

    /// One step of `hours`, with `water_mm` infiltrating in it.
    ///
    /// Steps of minutes: a plan takes five at most, the unwatered weeks before
    /// it fifteen. The demand is that of the hour in which the step lies.
    pub fn step(
        &mut self,
        ground: &Ground,
        demand: &HourDemand,
        hours: f64,
        water_mm: f64,
    ) -> Flows {
        let drainage_mm = self.fill(water_mm);
        let surface = self.surface(ground);
        // Rise and evaporation act at once: both see the layer as it is now.
        let wetness = drying::potential(1.0 - self.surface_mm * surface.share_per_mm);
        let let_go_mm_per_h = surface.most_out_mm_per_h(wetness);
        let restored_mm = self.restore(ground, surface, hours);
        let evaporation_mm = self.evaporate(surface, demand, hours, let_go_mm_per_h);
        let transpiration_mm = self.transpire(ground, demand, hours);
        Flows {
            evaporation_mm,
            transpiration_mm,
            restored_mm,
            drainage_mm,
        }
    }

    /// Fills from the top; returns what leaves the bottom.
    fn fill(&mut self, water_mm: f64) -> f64 {
        let mut left = water_mm;
        if left > 0.0 {
            for store in std::iter::once(&mut self.surface_mm).chain(&mut self.strata_mm) {
                let taken = left.min(*store);
                *store -= taken;
                left -= taken;
            }
        }
        left
    }

    /// Moist soil beneath gives water to a drying surface layer, and a wetted
    /// one to drier soil beneath.
    #[inline]
    fn restore(&mut self, ground: &Ground, surface: &SurfaceLayer, hours: f64) -> f64 {
        let strata = &ground.strata;
        let restored = strata.exchange(surface, self.surface_mm, &mut self.strata_mm, hours);
        self.surface_mm -= restored;
        restored
    }

    /// Evaporation, FAO-56 eq. 71 and 74, within what the soil lets go and
    /// what can evaporate.
    #[inline]
    fn evaporate(
        &mut self,
        surface: &SurfaceLayer,
        demand: &HourDemand,
        hours: f64,
        let_go_mm_per_h: f64,
    ) -> f64 {
        let kr = evaporation::reduction(self.surface_mm, surface.evaporable_mm, surface.readily_mm);
        let ke =
            evaporation::evaporation_coefficient(kr, demand.kc_max, demand.kcb, demand.exposed);
        let wanted_mm_per_h = ke * demand.et0_mm_per_h * demand.mulch_factor;
        let evaporated = (wanted_mm_per_h.min(let_go_mm_per_h) * hours)
            .min((surface.evaporable_mm - self.surface_mm).max(0.0));
        self.surface_mm += evaporated;
        evaporated
    }

    /// Transpiration, Kcb·Ks·ET0 (FAO-56 eq. 80, 84): of the seedlings from
    /// surface layer and root zone, of standing turf from all the soil, by
    /// the water that each store still has.
    fn transpire(&mut self, ground: &Ground, demand: &HourDemand, hours: f64) -> f64 {
        let seedlings = (demand.kcb - demand.standing_kcb) * demand.et0_mm_per_h * hours;
        let standing = demand.standing_kcb * demand.et0_mm_per_h * hours;
        let mut taken = 0.0;
        if seedlings > 0.0 {
            let share = demand.depletion_share;
            let stress = root_zone::stress(self.available_mm(ground), self.depletion_mm(), share);
            taken += self.take(ground, seedlings * stress, self.rooted);
        }
        if standing > 0.0 {
            let share = demand.standing_depletion_share;
            let available = self.all_available_mm(ground);
            let stress = root_zone::stress(available, self.total_depletion_mm(), share);
            taken += self.take(ground, standing * stress, [1.0; strata::COUNT]);
        }
        taken
    }

    /// Takes water from surface layer and strata in proportion to what each
    /// has within reach of roots; returns what there was to take.
    fn take(&mut self, ground: &Ground, wanted_mm: f64, reached: [f64; strata::COUNT]) -> f64 {
        let mut stocks_mm = reached;
        let strata = self.strata_mm.iter().zip(ground.strata.thickness_mm);
        for (stock, (depletion_mm, thickness_mm)) in stocks_mm.iter_mut().zip(strata) {
            *stock *= (ground.available_share() * thickness_mm - depletion_mm).max(0.0);
        }
        let surface_mm = (self.surface(ground).available_mm - self.surface_mm).max(0.0);
        let stock = surface_mm + stocks_mm.iter().sum::<f64>();
        if stock <= 0.0 {
            return 0.0;
        }
        let taken = wanted_mm.min(stock);
        let of_stock = taken / stock;
        self.surface_mm += of_stock * surface_mm;
        for (depletion_mm, stock_mm) in self.strata_mm.iter_mut().zip(stocks_mm) {
            *depletion_mm += of_stock * stock_mm;
        }
        taken
    }
}
