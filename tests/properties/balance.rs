//! Water is conserved in the balance of a zone, whatever happens to it.

use proptest::prelude::*;
use soakmist::balance::demand::HourDemand;
use soakmist::balance::ground::Ground;
use soakmist::balance::record::Stage;
use soakmist::balance::stores::Stores;
use soakmist::site::{DressingMaterial, SoilKind, TopDressing};
use soakmist::units::Depth;

use crate::support::{date, zone};

/// Demand drawn from beyond what weather brings.
fn demand() -> impl Strategy<Value = HourDemand> {
    (
        0.0..2.0f64,
        0.0..1.3f64,
        0.0..1.0f64,
        0.01..1.0f64,
        0.05..0.9f64,
    )
        .prop_map(|(et0, kcb, standing, exposed, share)| HourDemand {
            start: date(22).and_time(chrono::NaiveTime::MIN).and_utc(),
            et0_mm_per_h: et0,
            kc_max: 1.2_f64.max(kcb + 0.05),
            kcb,
            standing_kcb: standing * kcb,
            exposed,
            mulch_factor: 1.0,
            rain_mm: 0.0,
            all_rain_mm: 0.0,
            rain_runoff_mm: 0.0,
            layer_mm: 10.0,
            due_share: 1.0,
            standing_depletion_share: 0.4,
            depletion_share: share,
            stage: Stage::Establishment,
            daylight: true,
        })
}

proptest! {
    #[test]
    fn what_goes_in_less_what_goes_out_is_what_stays(
        sand in 0.0..100.0f64,
        clay_share in 0.0..0.6f64,
        dressing_mm in 0.0..8.0f64,
        start in 0.0..0.25f64,
        steps in prop::collection::vec((demand(), 0.0..4.0f64, 1u32..=12, 0.0..3.0f64), 1..200),
    ) {
        let mut zone = zone("nets");
        zone.soil.kind = SoilKind::Fractions {
            sand_pct: sand,
            clay_pct: clay_share * (100.0 - sand),
            organic_matter_pct: 2.5,
        };
        zone.seeding.top_dressing = Some(TopDressing {
            material: DressingMaterial::Peat,
            thickness: Depth::from_mm(dressing_mm),
        });
        let Ok(ground) = Ground::of(&zone) else { return Ok(()) };
        let mut stores = Stores::uniform(&ground, start.min(ground.available_share()));
        for (index, (demand, water_mm, per_hour, growth_mm)) in steps.iter().enumerate() {
            if index == 5 {
                let before = stores.total_depletion_mm();
                stores.sow(&ground);
                prop_assert!((stores.total_depletion_mm() - before).abs() < 1e-6);
            }
            let before = stores.total_depletion_mm();
            stores.grow_to(&ground, stores.layer_mm + growth_mm);
            prop_assert!((stores.total_depletion_mm() - before).abs() < 1e-6);
            let flows = stores.step(&ground, demand, 1.0 / f64::from(*per_hour), *water_mm);
            let change = before - stores.total_depletion_mm();
            let balance =
                water_mm - flows.evaporation_mm - flows.transpiration_mm - flows.drainage_mm - change;
            prop_assert!(balance.abs() < 1e-6, "out of balance by {balance} mm");
            let surface = stores.surface(&ground);
            prop_assert!(stores.surface_mm >= -1e-9 && stores.surface_mm <= surface.evaporable_mm + 1e-9);
            prop_assert!(stores.strata_mm.iter().all(|depletion_mm| *depletion_mm >= -1e-9));
            prop_assert!(flows.evaporation_mm >= 0.0 && flows.restored_mm.is_finite());
        }
    }
}
