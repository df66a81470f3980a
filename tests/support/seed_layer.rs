//! Hours until a seed layer is half dry: by the planner's balance, by the
//! balance that it had before, and by Richards' equation. Shared by the bench
//! that prints the comparison and the test that holds its bound.
//!
//! Water contents of the two sides do not compare (Saxton & Rawls here, van
//! Genuchten there), so shares of available water are compared, each by its
//! own field capacity and wilting point. In the column field capacity is the
//! water at which a deep profile drains 0.1 mm/day, the wilting point that at
//! 1500 kPa.

#![allow(dead_code, reason = "the bench and the test each use their part")]

#[path = "restoration.rs"]
pub mod restoration;

use std::sync::Arc;

use restoration::{ForceRestoreSoil, Rise};

use soakmist::agronomy::evaporation;
pub use soakmist::agronomy::texture::ALL as TEXTURES;
use soakmist::balance::demand::HourDemand;
use soakmist::balance::ground::Ground;
use soakmist::balance::record::Stage;
use soakmist::balance::stores::Stores;
use soakmist::column::{
    ClassTable, Column, ColumnSpec, HydraulicFunctions, Initial, NEGLIGIBLE_DRAINAGE, SoilTable,
    SurfaceForcing,
};
use soakmist::site::{SoilKind, TextureName};
use soakmist::units::Depth;

/// Steady demand [mm/h]: a mild, a warm and a hot midday.
pub const DEMANDS_MM_PER_H: [f64; 3] = [0.2, 0.5, 0.9];
/// How deep the ground was soaked to field capacity [mm]; dry beneath.
pub const SOAKS_MM: [f64; 3] = [25.0, 75.0, 150.0];
pub const TABLES: [ClassTable; 2] = [ClassTable::CarselParrish1988, ClassTable::SchaapLeij1998];
/// Seed layer of the comparison [mm].
pub const LAYER_MM: f64 = 10.0;
/// Spells watched: the first after the soak, the others each after a misting
/// of what the layer lacked.
pub const SPELLS: usize = 4;
/// Allowed depletion, share of available water.
const ALLOWED: f64 = 0.5;
/// The seed lies in this much of the top [mm].
const SEED_MM: f64 = 3.0;
const COLUMN_STEP_H: f64 = 0.02;
const PLANNER_STEP_H: f64 = 1.0 / 12.0;
const LONGEST_H: f64 = 96.0;
const WILTING_HEAD_M: f64 = -1500.0 / 9.806_65;

/// One case of the comparison.
#[derive(Debug, Clone, Copy)]
pub struct Case {
    pub texture: TextureName,
    pub demand_mm_per_h: f64,
    pub soak_mm: f64,
    pub layer_mm: f64,
}

/// All 108 cases of a 10 mm layer.
pub fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for texture in TEXTURES {
        for demand_mm_per_h in DEMANDS_MM_PER_H {
            for soak_mm in SOAKS_MM {
                cases.push(Case {
                    texture,
                    demand_mm_per_h,
                    soak_mm,
                    layer_mm: LAYER_MM,
                });
            }
        }
    }
    cases
}

/// A soaked column whose water is read as shares of available water.
pub struct Soil {
    pub column: Column,
    field_capacity: f64,
    available: f64,
}

impl Soil {
    pub fn soaked(table: ClassTable, texture: TextureName, soak_mm: f64) -> Self {
        let soil = table.soil(texture);
        let head_m = -NEGLIGIBLE_DRAINAGE.suction_m(&soil);
        let field_capacity = soil.water_content(-head_m);
        let available = field_capacity - soil.water_content(-WILTING_HEAD_M);
        let initial = Initial::SoakedTo {
            depth_mm: soak_mm,
            head_m,
            below_head_m: WILTING_HEAD_M,
        };
        let mut spec = ColumnSpec::of_table(Arc::new(SoilTable::new(&soil)), initial);
        // A misting stands until it is in: its runoff is not at issue here.
        spec.storage_limit_mm = 5.0;
        Self {
            column: Column::new(spec).expect("the column is sound"),
            field_capacity,
            available,
        }
    }

    /// Depletion of the top as a share of its available water.
    pub fn depletion_share(&self, depth_mm: f64) -> f64 {
        (self.field_capacity - self.column.mean_water_content(0.0, depth_mm)) / self.available
    }

    /// Returns what evaporated [mm].
    pub fn advance(&mut self, hours: f64, water_mm_per_h: f64, demand_mm_per_h: f64) -> f64 {
        let forcing = SurfaceForcing {
            water_mm_per_h,
            potential_evaporation_mm_per_h: demand_mm_per_h,
            root_uptake: None,
        };
        let report = self.column.advance(hours * 3600.0, &forcing);
        report.expect("the column converges").evaporated_mm
    }

    /// Mists what half of a layer's available water is [mm].
    pub fn mist(&mut self, layer_mm: f64) -> f64 {
        let net_mm = ALLOWED * self.available * layer_mm;
        self.advance(net_mm / 6.0, 6.0, 0.0);
        net_mm
    }
}

/// Hours of each spell by Richards' equation, for the layer; and hours of
/// the first spell for the seed's own 3 mm.
pub fn column_hours(table: ClassTable, case: Case) -> ([f64; SPELLS], f64) {
    let mut soil = Soil::soaked(table, case.texture, case.soak_mm);
    let mut seed_h = f64::INFINITY;
    let mut spells = [0.0; SPELLS];
    for (number, spell) in spells.iter_mut().enumerate() {
        while *spell < LONGEST_H && soil.depletion_share(case.layer_mm) < ALLOWED {
            soil.advance(COLUMN_STEP_H, 0.0, case.demand_mm_per_h);
            *spell += COLUMN_STEP_H;
            if number == 0 && seed_h.is_infinite() && soil.depletion_share(SEED_MM) > ALLOWED {
                seed_h = *spell;
            }
        }
        soil.mist(case.layer_mm);
    }
    (spells, seed_h)
}

pub fn ground(texture: TextureName, layer_mm: f64) -> Ground {
    let mut zone = crate::support::zone("nets");
    zone.soil.kind = SoilKind::Texture(texture);
    zone.seed_layer = Depth::from_mm(layer_mm);
    Ground::of(&zone).expect("a texture class is a soil")
}

/// Bare soil that would lose this much while it is wet.
pub fn demand(mm_per_h: f64) -> HourDemand {
    HourDemand {
        start: chrono::DateTime::UNIX_EPOCH,
        et0_mm_per_h: mm_per_h / 1.2,
        kc_max: 1.2,
        kcb: 0.0,
        standing_kcb: 0.0,
        exposed: 1.0,
        mulch_factor: 1.0,
        rain_mm: 0.0,
        all_rain_mm: 0.0,
        rain_runoff_mm: 0.0,
        layer_mm: LAYER_MM,
        due_share: 1.0,
        standing_depletion_share: 0.4,
        depletion_share: ALLOWED,
        stage: Stage::Germination,
        daylight: true,
    }
}

/// Hours of each spell by the planner's balance.
pub fn planner_hours(case: Case) -> [f64; SPELLS] {
    let ground = ground(case.texture, case.layer_mm);
    let demand = demand(case.demand_mm_per_h);
    let mut stores = Stores::soaked_to(&ground, case.soak_mm);
    let allowed_mm = ALLOWED * stores.available_mm(&ground);
    spells(allowed_mm, |water_mm, hours| {
        stores.step(&ground, &demand, hours, water_mm);
        stores.surface_mm
    })
}

/// Hours of each spell by the balance as it was: the whole demand from the
/// layer until it is empty (FAO-56 with REW bounded by TEW), and the restore
/// term of Noilhan & Planton 1989 from one store beneath.
pub fn former_hours(case: Case) -> [f64; SPELLS] {
    let ground = ground(case.texture, case.layer_mm);
    let surface = ground.bare_surface;
    let available_mm = ground.available_share() * case.layer_mm;
    let below_mm = ground.bottom_mm - case.layer_mm;
    let soil = ForceRestoreSoil::of(case.texture);
    let mut depletion_mm = 0.0_f64;
    let mut below_depletion_mm = (ground.bottom_mm - case.soak_mm) * ground.available_share();
    spells(ALLOWED * available_mm, |water_mm, hours| {
        let taken = water_mm.min(depletion_mm);
        depletion_mm -= taken;
        below_depletion_mm -= (water_mm - taken).min(below_depletion_mm);
        let at = |share: f64| (ground.field_capacity - share) / ground.saturation;
        let rise = Rise::of(soil, at(below_depletion_mm / below_mm));
        let stock_mm = (ground.available_share() * below_mm - below_depletion_mm).max(0.0);
        let restored = (rise.mm_per_h(at(depletion_mm / case.layer_mm), case.layer_mm) * hours)
            .min(stock_mm)
            .min(depletion_mm);
        below_depletion_mm += restored;
        depletion_mm -= restored;
        let kr = evaporation::reduction(depletion_mm, surface.evaporable_mm, surface.readily_mm);
        depletion_mm += (kr * case.demand_mm_per_h * hours)
            .min((surface.evaporable_mm - depletion_mm).max(0.0));
        depletion_mm
    })
}

/// Steps a balance through its spells; `step` takes water [mm] and hours and
/// returns the layer's depletion [mm].
fn spells(allowed_mm: f64, mut step: impl FnMut(f64, f64) -> f64) -> [f64; SPELLS] {
    let mut spells = [0.0; SPELLS];
    let mut water_mm = 0.0;
    for spell in &mut spells {
        let mut before_mm = step(water_mm, 0.0);
        while *spell < LONGEST_H {
            let after_mm = step(0.0, PLANNER_STEP_H);
            if after_mm >= allowed_mm {
                *spell += PLANNER_STEP_H * (allowed_mm - before_mm) / (after_mm - before_mm);
                break;
            }
            *spell += PLANNER_STEP_H;
            before_mm = after_mm;
        }
        water_mm = allowed_mm;
    }
    spells
}

/// What days of misting come to.
#[derive(Debug, Clone, Copy, Default)]
pub struct Misted {
    pub mistings: u32,
    pub water_mm: f64,
    pub evaporated_mm: f64,
    /// Shares of the daylight in which layer and seed were too dry.
    pub layer_dry: f64,
    pub seed_dry: f64,
    /// Highest depletion of the layer by day, share of available water.
    pub worst: f64,
}

/// Demand of a clear day of 12 hours [mm/h], `hour` after sunrise.
fn of_day_mm_per_h(mm_per_day: f64, hour: f64) -> f64 {
    let half_wave = (std::f64::consts::PI * hour / 12.0).sin().max(0.0);
    let day = hour < 12.0;
    f64::from(u8::from(day)) * half_wave * mm_per_day * std::f64::consts::PI / 24.0
}

/// Days of 6 mm with misting by daylight whenever `driver` finds the layer
/// half dry: the planner's balance (None), which knows nothing of the column,
/// or the column itself.
pub fn misted(table: ClassTable, case: Case, days: u32, by_planner: bool) -> Misted {
    let mut soil = Soil::soaked(table, case.texture, case.soak_mm);
    let ground = ground(case.texture, case.layer_mm);
    let mut stores = Stores::soaked_to(&ground, case.soak_mm);
    let allowed_mm = ALLOWED * stores.available_mm(&ground);
    let mut total = Misted::default();
    let steps_per_day = 288_u32;
    let mut daylight = 0.0;
    for step in 0..days * steps_per_day {
        let hour = f64::from(step % steps_per_day) / 12.0;
        let demand_mm_per_h = of_day_mm_per_h(6.0, hour);
        let day = hour < 12.0;
        let due = if by_planner {
            stores.surface_mm >= allowed_mm
        } else {
            soil.depletion_share(case.layer_mm) >= ALLOWED
        };
        let mut water_mm = 0.0;
        if due && day {
            water_mm = if by_planner {
                soil.advance(stores.surface_mm / 12.0, 12.0, 0.0);
                stores.surface_mm
            } else {
                soil.mist(case.layer_mm)
            };
            total.mistings += 1;
            total.water_mm += water_mm;
        }
        stores.step(&ground, &demand(demand_mm_per_h), PLANNER_STEP_H, water_mm);
        total.evaporated_mm += soil.advance(PLANNER_STEP_H, 0.0, demand_mm_per_h);
        if day {
            daylight += 1.0;
            total.worst = total.worst.max(soil.depletion_share(case.layer_mm));
            total.layer_dry += f64::from(u8::from(soil.depletion_share(case.layer_mm) > ALLOWED));
            total.seed_dry += f64::from(u8::from(soil.depletion_share(SEED_MM) > ALLOWED));
        }
    }
    total.layer_dry /= daylight;
    total.seed_dry /= daylight;
    total
}
