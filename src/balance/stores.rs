//! The water of one zone in three stores, stepped in time.
//!
//! From the top: the surface layer (the seed layer, fixed), the root zone
//! beneath it as far as the roots reach, and the soil below that down to the
//! depth of the pre-soak. Each store is counted as depletion below field
//! capacity. Water fills them from the top and what is left drains out of
//! the bottom; what is counted in equals what is counted out plus the change
//! of the stores (checked to 1e-6 mm by a property test).
//!
//! Own model in this: the three stores and their order of filling. The
//! fluxes are the published ones, named where they are computed.

use serde::{Deserialize, Serialize};

use super::demand::HourDemand;
use super::ground::{Ground, SurfaceLayer};
use crate::agronomy::restoration::Rise;
use crate::agronomy::{evaporation, root_zone};

/// Depletions below field capacity, mm, and the depth of the managed layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stores {
    /// Of the surface layer, 0 to its total evaporable water.
    pub surface_mm: f64,
    /// Of the root zone beneath the surface layer.
    pub root_mm: f64,
    /// Of the soil beneath the root zone.
    pub beneath_mm: f64,
    /// Depth of the managed layer [mm]; at least the surface layer.
    pub layer_mm: f64,
    /// Whether the seed is down: the surface layer is a seedbed.
    pub seeded: bool,
    /// The rise from below, as of the last look.
    rise: Rise,
}

/// The stores as they are kept over restarts: what does not follow from the
/// ground. Depletions in mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Levels {
    /// Of the surface layer.
    pub surface_mm: f64,
    /// Of the root zone beneath it.
    pub root_mm: f64,
    /// Of the soil beneath that.
    pub beneath_mm: f64,
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
    /// Rise from beneath into the surface layer.
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
            root_mm: 0.0,
            beneath_mm: depletion_share * (ground.bottom_mm - surface.thickness_mm),
            layer_mm: surface.thickness_mm,
            seeded: false,
            rise: Rise::of(
                ground.restoration,
                (ground.field_capacity - depletion_share) / ground.saturation,
            ),
        }
    }

    /// What is kept of the stores.
    #[must_use]
    pub fn levels(&self) -> Levels {
        Levels {
            surface_mm: self.surface_mm,
            root_mm: self.root_mm,
            beneath_mm: self.beneath_mm,
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
        stores.layer_mm = levels
            .layer_mm
            .clamp(surface.thickness_mm, ground.bottom_mm);
        let share = ground.available_share();
        let below_mm = ground.bottom_mm - stores.layer_mm;
        stores.surface_mm = levels.surface_mm.clamp(0.0, surface.evaporable_mm);
        stores.root_mm = levels.root_mm.clamp(0.0, stores.root_available_mm(ground));
        stores.beneath_mm = levels.beneath_mm.clamp(0.0, share * below_mm);
        stores.look_below(ground);
        stores
    }

    /// Brings the rise from below up to date with the soil there. Once an
    /// hour is enough: the soil below changes by less than a hundredth.
    pub fn look_below(&mut self, ground: &Ground) {
        let below_mm = ground.bottom_mm - self.surface(ground).thickness_mm;
        let depletion_share = (self.root_mm + self.beneath_mm) / below_mm;
        let saturation = (ground.field_capacity - depletion_share) / ground.saturation;
        self.rise = Rise::of(ground.restoration, saturation);
    }

    /// The surface layer as it is now.
    #[must_use]
    pub fn surface<'a>(&self, ground: &'a Ground) -> &'a SurfaceLayer {
        if self.seeded {
            &ground.seedbed_surface
        } else {
            &ground.bare_surface
        }
    }

    /// Depletion of the managed layer [mm].
    #[must_use]
    pub fn depletion_mm(&self) -> f64 {
        self.surface_mm + self.root_mm
    }

    /// Depletion of all modelled soil [mm].
    #[must_use]
    pub fn total_depletion_mm(&self) -> f64 {
        self.surface_mm + self.root_mm + self.beneath_mm
    }

    /// Total available water of the managed layer [mm].
    #[must_use]
    pub fn available_mm(&self, ground: &Ground) -> f64 {
        self.surface(ground).available_mm + self.root_available_mm(ground)
    }

    fn root_available_mm(&self, ground: &Ground) -> f64 {
        ground.available_share() * (self.layer_mm - self.surface(ground).thickness_mm)
    }

    /// The seed goes down: wetted top-dressing becomes part of the surface
    /// layer and the soil that it displaces counts with what is beneath.
    pub fn sow(&mut self, ground: &Ground) {
        let kept = ground.seedbed_surface.soil_share * self.surface_mm;
        self.beneath_mm += self.surface_mm - kept;
        self.surface_mm = kept;
        self.seeded = true;
    }

    /// Takes the managed layer down to `depth_mm`; the soil that it grows
    /// into brings its share of the depletion beneath.
    pub fn grow_to(&mut self, ground: &Ground, depth_mm: f64) {
        let depth_mm = depth_mm.clamp(self.layer_mm, ground.bottom_mm);
        let below_mm = ground.bottom_mm - self.layer_mm;
        if below_mm > 0.0 {
            let moved = self.beneath_mm * (depth_mm - self.layer_mm) / below_mm;
            self.root_mm += moved;
            self.beneath_mm -= moved;
        }
        self.layer_mm = depth_mm;
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
        let restored_mm = self.restore(ground, hours);
        let evaporation_mm = self.evaporate(ground, demand, hours);
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
        for store in [
            &mut self.surface_mm,
            &mut self.root_mm,
            &mut self.beneath_mm,
        ] {
            let taken = left.min(*store);
            *store -= taken;
            left -= taken;
        }
        left
    }

    /// Moist soil beneath gives water back to the surface layer (Noilhan &
    /// Planton 1989, restore term), from root zone and beneath alike, never
    /// more than it has above the wilting point.
    fn restore(&mut self, ground: &Ground, hours: f64) -> f64 {
        let surface = self.surface(ground);
        let below_mm = ground.bottom_mm - surface.thickness_mm;
        let below_depletion = self.root_mm + self.beneath_mm;
        let below_stock = ground.available_share() * below_mm - below_depletion;
        if below_stock <= 0.0 || self.surface_mm <= 0.0 {
            return 0.0;
        }
        // In terms of the soil's own pores, whatever lies in the layer.
        let surface_saturation =
            (ground.field_capacity - self.surface_mm / surface.thickness_mm) / ground.saturation;
        let rate = self.rise.mm_per_h(surface_saturation, surface.thickness_mm);
        let restored = (rate * surface.reached_share * hours)
            .min(below_stock)
            .min(self.surface_mm);
        let from_root = restored * (self.root_stock_mm(ground) / below_stock).min(1.0);
        self.root_mm += from_root;
        self.beneath_mm += restored - from_root;
        self.surface_mm -= restored;
        restored
    }

    /// Evaporation, FAO-56 eq. 71 and 74, within what can evaporate.
    fn evaporate(&mut self, ground: &Ground, demand: &HourDemand, hours: f64) -> f64 {
        let surface = self.surface(ground);
        let kr = evaporation::reduction(self.surface_mm, surface.evaporable_mm, surface.readily_mm);
        let ke =
            evaporation::evaporation_coefficient(kr, demand.kc_max, demand.kcb, demand.exposed);
        let evaporated = (ke * demand.et0_mm_per_h * demand.mulch_factor * hours)
            .min((surface.evaporable_mm - self.surface_mm).max(0.0));
        self.surface_mm += evaporated;
        evaporated
    }

    /// Transpiration, Kcb·Ks·ET0 (FAO-56 eq. 80, 84): of the seedlings from
    /// surface layer and root zone, of standing turf from all the soil, by
    /// the water that each store still has.
    fn transpire(&mut self, ground: &Ground, demand: &HourDemand, hours: f64) -> f64 {
        let share = demand.depletion_share;
        let seedlings = (demand.kcb - demand.standing_kcb) * demand.et0_mm_per_h * hours;
        let standing = demand.standing_kcb * demand.et0_mm_per_h * hours;
        let mut taken = 0.0;
        if seedlings > 0.0 {
            let stocks = [
                self.surface_stock_mm(ground),
                self.root_stock_mm(ground),
                0.0,
            ];
            let stress = root_zone::stress(self.available_mm(ground), self.depletion_mm(), share);
            taken += self.take(seedlings * stress, stocks);
        }
        if standing > 0.0 {
            let below_mm = ground.bottom_mm - self.layer_mm;
            let beneath = (ground.available_share() * below_mm - self.beneath_mm).max(0.0);
            let stocks = [
                self.surface_stock_mm(ground),
                self.root_stock_mm(ground),
                beneath,
            ];
            let available = self.available_mm(ground) + ground.available_share() * below_mm;
            let stress = root_zone::stress(available, self.total_depletion_mm(), share);
            taken += self.take(standing * stress, stocks);
        }
        taken
    }

    fn surface_stock_mm(&self, ground: &Ground) -> f64 {
        (self.surface(ground).available_mm - self.surface_mm).max(0.0)
    }

    fn root_stock_mm(&self, ground: &Ground) -> f64 {
        (self.root_available_mm(ground) - self.root_mm).max(0.0)
    }

    /// Takes water from the three stores in proportion to their stocks;
    /// returns what there was to take.
    fn take(&mut self, wanted_mm: f64, stocks_mm: [f64; 3]) -> f64 {
        let stock: f64 = stocks_mm.iter().sum();
        if stock <= 0.0 {
            return 0.0;
        }
        let taken = wanted_mm.min(stock);
        self.surface_mm += taken * stocks_mm[0] / stock;
        self.root_mm += taken * stocks_mm[1] / stock;
        self.beneath_mm += taken * stocks_mm[2] / stock;
        taken
    }
}
