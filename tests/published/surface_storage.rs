//! Surface storage, intake by slope and the longest run before run-off.

use soakmist::agronomy::surface_storage::{
    bare_soil_mm, basic_intake, longest_run_min, slope_intake_factor, soak_min, turf_intake,
    turf_mm,
};
use soakmist::site::TextureName;
use soakmist::units::Rate;

use crate::near::assert_near;

/// Exact by definition of the inch.
const EXACT: f64 = 1e-12;

#[test]
fn bare_ground_holds_what_the_national_engineering_handbook_allows() {
    // NEH 623, chapter 11: 0–1 % 12.7 mm, 1–3 % 7.6 mm, 3–5 % 2.5 mm, above 0.
    for (slope_pct, expected_mm) in [
        (0.0, 12.7),
        (1.0, 12.7),
        (2.0, 7.6),
        (3.0, 7.6),
        (4.0, 2.5),
        (5.0, 2.5),
        (5.1, 0.0),
        (30.0, 0.0),
    ] {
        assert_near(bare_soil_mm(slope_pct), expected_mm, EXACT);
    }
}

#[test]
fn turf_holds_what_the_irrigation_association_allows() {
    // Irrigation Association 2005, allowable surface accumulation [in].
    let table = [
        (TextureName::Clay, 0.10, [0.20, 0.15, 0.10, 0.10]),
        (TextureName::SiltyClay, 0.15, [0.23, 0.19, 0.16, 0.13]),
        (TextureName::ClayLoam, 0.20, [0.26, 0.22, 0.18, 0.15]),
        (TextureName::Loam, 0.35, [0.30, 0.25, 0.21, 0.17]),
        (TextureName::SandyLoam, 0.40, [0.33, 0.29, 0.24, 0.20]),
        (TextureName::LoamySand, 0.50, [0.36, 0.30, 0.26, 0.22]),
        (TextureName::Sand, 0.60, [0.40, 0.35, 0.30, 0.25]),
    ];
    for (texture, intake_in_per_h, storage_in) in table {
        assert_near(
            turf_intake(texture).mm_per_h(),
            intake_in_per_h * 25.4,
            EXACT,
        );
        for (slope_pct, inches) in [2.0, 5.0, 10.0, 15.0].into_iter().zip(storage_in) {
            assert_near(turf_mm(texture, slope_pct), inches * 25.4, EXACT);
        }
        // Between two printed columns (3 and 4 %) the steeper one holds.
        assert_near(turf_mm(texture, 3.5), storage_in[1] * 25.4, EXACT);
    }
}

#[test]
fn longest_run_on_clay_loam_at_one_and_a_half_inches_an_hour() {
    // Worked from Irrigation Association 2005, t = 60 ASA/(PR − intake): clay
    // loam at 5 % slope, 60 × 0.22/(1.5 − 0.20) = 10.15 min.
    let (texture, rate) = (TextureName::ClayLoam, Rate::from_mm_per_h(1.5 * 25.4));
    let run = longest_run_min(turf_mm(texture, 5.0), rate, turf_intake(texture));
    assert_near(run.expect("it runs off"), 10.15, 0.005);
    assert_eq!(
        longest_run_min(5.0, Rate::from_mm_per_h(4.0), Rate::from_mm_per_h(5.0)),
        None
    );
    // The film of 0.22 in goes in at 0.20 in/h: 66 min.
    assert_near(
        soak_min(turf_mm(texture, 5.0), turf_intake(texture)).expect("it soaks"),
        66.0,
        1e-9,
    );
    assert_eq!(soak_min(5.0, Rate::from_mm_per_h(0.0)), None);
}

#[test]
fn slopes_take_in_less_as_the_fao_manual_says() {
    // Savva & Frenken 2002, module 8: 0–5 none, 6–8 −20, 9–12 −40, 13–20 −60,
    // over 20 −75 %.
    for (slope_pct, factor) in [
        (0.0, 1.0),
        (5.0, 1.0),
        (6.0, 0.8),
        (8.0, 0.8),
        (9.0, 0.6),
        (12.0, 0.6),
        (13.0, 0.4),
        (20.0, 0.4),
        (21.0, 0.25),
    ] {
        assert_near(slope_intake_factor(slope_pct), factor, EXACT);
    }
}

#[test]
fn basic_intake_is_the_fao_table() {
    // Brouwer et al. 1988, Training Manual 5, Annex 2 [mm/h].
    for (texture, low, high) in [
        (TextureName::Sand, 30.0, None),
        (TextureName::SandyLoam, 20.0, Some(30.0)),
        (TextureName::Loam, 10.0, Some(20.0)),
        (TextureName::ClayLoam, 5.0, Some(10.0)),
        (TextureName::Clay, 1.0, Some(5.0)),
    ] {
        let range = basic_intake(texture).expect("a row");
        assert_near(range.low.mm_per_h(), low, EXACT);
        assert_eq!(range.high, high.map(Rate::from_mm_per_h));
    }
    assert_eq!(basic_intake(TextureName::Silt), None);
}
