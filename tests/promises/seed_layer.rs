//! The planner's seed layer dries as fast as Richards' equation has it, and
//! never more than a tenth later: the bound of docs/seed-layer.md, held on a
//! part of its cases. `cargo bench --bench seed_layer` prints all of them.

use crate::seed_column::{SPELLS, TABLES, cases, column_hours, planner_hours};

/// Planner's hours over those of the column that is drier first, by spell.
fn ratios() -> Vec<(String, [f64; SPELLS])> {
    let part = cases().into_iter().filter(|case| {
        // A demand in the middle from every soak, and every demand from the
        // deepest.
        (case.demand_mm_per_h - 0.5).abs() < 1e-9 || case.soak_mm > 100.0
    });
    part.map(|case| {
        let [(a, _), (b, _)] = TABLES.map(|table| column_hours(table, case));
        let planner = planner_hours(case);
        let ratio = std::array::from_fn(|spell| planner[spell] / a[spell].min(b[spell]));
        (format!("{case:?}"), ratio)
    })
    .collect()
}

#[test]
fn the_seed_layer_is_never_thought_moist_when_it_is_dry() {
    let ratios = ratios();
    assert_eq!(ratios.len(), 60);
    for (case, by_spell) in &ratios {
        for ratio in by_spell {
            assert!(*ratio <= 1.1, "late by {ratio:.2} in {case}: {by_spell:?}");
        }
    }
    let all: Vec<f64> = ratios.iter().flat_map(|(_, spells)| *spells).collect();
    let near = all.iter().filter(|ratio| **ratio >= 0.75).count();
    assert!(near * 10 >= all.len() * 9, "{near} of {} near", all.len());
    let first = ratios
        .iter()
        .filter(|(_, spells)| spells[0] >= 0.75)
        .count();
    assert!(
        first * 10 >= ratios.len() * 9,
        "{first} of {} near",
        ratios.len()
    );
}
