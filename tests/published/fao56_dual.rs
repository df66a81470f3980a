//! Allen, Pereira, Raes & Smith 1998, FAO Irrigation and Drainage Paper 56,
//! chapters 6 to 8: the dual crop coefficient.

use soakmist::agronomy::crop_coefficient::{
    TURF_HEIGHT_M, TurfGroup, adjusted_depletion_share, basal_coefficients, climate_adjusted_kcb,
    depletion_share, group,
};
use soakmist::agronomy::evaporation::{
    ClimateOfDay, cover_fraction, evaporation_coefficient, exposed_fraction, kc_max,
    readily_evaporable_water_mm, reduction, total_evaporable_water_mm,
};
use soakmist::agronomy::root_zone::{readily_available_water_mm, stress, total_available_water_mm};
use soakmist::agronomy::texture::from_label;
use soakmist::site::{Species, TextureName};

use crate::near::{assert_near, assert_near_relative, rows};

fn climate(wind_2m_m_per_s: f64, min_relative_humidity_pct: f64) -> ClimateOfDay {
    ClimateOfDay {
        wind_2m_m_per_s,
        min_relative_humidity_pct,
    }
}

#[test]
fn kc_max_matches_eq_72_worked_by_hand() {
    // Worked by hand from eq. 72, four decimals printed.
    assert_near(kc_max(climate(2.0, 45.0), 0.1, 0.15), 1.2000, 0.000_05);
    assert_near(kc_max(climate(3.0, 30.0), 0.1, 0.15), 1.2360, 0.000_05);
    assert_near(kc_max(climate(1.5, 60.0), 0.1, 0.90), 1.1712, 0.000_05);
    // Second term of eq. 72: Kcb + 0.05.
    assert_near(kc_max(climate(2.0, 45.0), 0.1, 1.20), 1.25, 1e-12);
}

#[test]
fn cover_fraction_matches_eq_76_worked_by_hand() {
    // Kcmin 0.15, Kcmax 1.20, h 0.1 m; five decimals printed.
    assert_near(cover_fraction(0.30, 0.15, 1.20, 0.1), 0.129_61, 0.000_005);
    assert_near(cover_fraction(0.90, 0.15, 1.20, 0.1), 0.702_37, 0.000_005);
}

#[test]
fn evaporable_water_matches_table_19() {
    let table = rows(include_str!("../data/crop/table_19.csv"));
    assert_eq!(table.len(), 9);
    for row in table {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let middle =
            |of: &str| (number(&format!("{of}_low")) + number(&format!("{of}_high"))) / 2.0;
        let texture = from_label(&row["texture"]).expect("a texture");
        let total_mm = |depth_mm| total_evaporable_water_mm(middle("fc"), middle("wp"), depth_mm);
        // Printed to the last digit of an exact product.
        assert_near(total_mm(100.0), number("tew_100"), 1e-9);
        assert_near(total_mm(10.0), number("tew_10"), 1e-9);
        assert_near_relative(total_mm(10.0), total_mm(100.0) / 10.0, 1e-12);
        // REW is the middle of its range, and a seed layer is held at its TEW.
        let readily_mm = readily_evaporable_water_mm(texture, total_mm(100.0));
        assert_near(readily_mm, middle("rew"), 1e-9);
        let readily_mm = readily_evaporable_water_mm(texture, total_mm(10.0));
        assert_near(readily_mm, number("tew_10"), 1e-9);
    }
}

#[test]
fn bare_soil_dries_as_eq_74_says() {
    let total_mm = total_evaporable_water_mm(0.15, 0.06, 100.0);
    assert_near(total_mm, 12.0, 1e-9);
    let readily_mm = readily_evaporable_water_mm(TextureName::LoamySand, total_mm);
    assert_near(readily_mm, 6.0, 1e-9);
    let (kcb, kc_max, et0_mm) = (0.15, 1.20, 4.5);

    let mut depletion_mm = 0.0;
    for row in rows(include_str!("../data/crop/bare_soil_drying.csv")) {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let kr = reduction(depletion_mm, total_mm, readily_mm);
        let ke = evaporation_coefficient(kr, kc_max, kcb, exposed_fraction(0.0, 1.0));
        assert_near(depletion_mm, number("de_start"), 0.0005);
        assert_near(kr, number("kr"), 0.000_05);
        assert_near(ke, number("ke"), 0.000_05);
        assert_near(ke * et0_mm, number("e"), 0.0005);
        depletion_mm += ke * et0_mm;
        assert_near(depletion_mm, number("de_end"), 0.0005);
    }
}

#[test]
fn the_dual_coefficient_runs_ten_days_like_example_35() {
    let total_mm = total_evaporable_water_mm(0.23, 0.10, 100.0);
    assert_near(total_mm, 18.0, 1e-9);
    let (readily_mm, wetted, height_m, kc_min) = (8.0, 0.8, 0.3, 0.15);

    let mut depletion_mm = total_mm;
    for row in rows(include_str!("../data/crop/dual_ten_days.csv")) {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let (kcb, et0_mm) = (number("kcb"), number("et0"));
        let limit = kc_max(climate(1.6, 35.0), height_m, kcb);
        assert_near(limit, 1.212_03, 0.000_005);

        let water_mm = number("p") + number("i") / wetted;
        let percolation_mm = (water_mm - depletion_mm).max(0.0);
        depletion_mm = (depletion_mm - water_mm).max(0.0);
        assert_near(percolation_mm, number("dp"), 0.005);
        assert_near(depletion_mm, number("de_start"), 0.0005);

        let covered = cover_fraction(kcb, kc_min, limit, height_m);
        let exposed = exposed_fraction(covered, wetted);
        let kr = reduction(depletion_mm, total_mm, readily_mm);
        let ke = evaporation_coefficient(kr, limit, kcb, exposed);
        assert_near(1.0 - covered, number("open"), 0.000_05);
        assert_near(exposed, number("few"), 0.000_05);
        assert_near(kr, number("kr"), 0.000_05);
        assert_near(ke, number("ke"), 0.000_05);
        assert_near(ke * et0_mm, number("e"), 0.0005);
        assert_near((kcb + ke) * et0_mm, number("etc"), 0.0005);
        depletion_mm += ke * et0_mm / exposed;
        assert_near(depletion_mm, number("de_end"), 0.0005);
    }
}

#[test]
fn evaporation_is_held_to_the_exposed_and_wetted_ground() {
    // Eq. 71, right-hand side: Ke ≤ few·Kcmax. By hand: 0.2 × 1.2.
    assert_near(evaporation_coefficient(1.0, 1.2, 0.15, 0.2), 0.24, 1e-12);
}

#[test]
fn turf_has_the_coefficients_of_tables_12_17_and_22() {
    // From memory of the paper: Kcb ini / mid / end, p, height 0.10 m.
    let cool = basal_coefficients(group(Species::TallFescue));
    assert_near(cool.initial, 0.85, 1e-12);
    assert_near(cool.middle, 0.90, 1e-12);
    assert_near(cool.end, 0.90, 1e-12);
    let warm = basal_coefficients(group(Species::Bermudagrass));
    assert_near(warm.initial, 0.75, 1e-12);
    assert_near(warm.middle, 0.80, 1e-12);
    assert_near(warm.end, 0.80, 1e-12);
    assert_near(depletion_share(TurfGroup::CoolSeason), 0.40, 1e-12);
    assert_near(depletion_share(TurfGroup::WarmSeason), 0.50, 1e-12);
    assert_near(TURF_HEIGHT_M, 0.10, 1e-12);
}

#[test]
fn kcb_follows_the_climate_by_eq_70() {
    // The climate term is that of eq. 72: +0.0360 at u2 3, RHmin 30, h 0.1.
    assert_near(
        climate_adjusted_kcb(0.90, climate(3.0, 30.0), 0.1),
        0.9360,
        0.000_05,
    );
    assert_near(
        climate_adjusted_kcb(0.90, climate(2.0, 45.0), 0.1),
        0.90,
        1e-12,
    );
    assert_near(
        climate_adjusted_kcb(0.30, climate(3.0, 30.0), 0.1),
        0.30,
        1e-12,
    );
}

#[test]
fn stress_follows_eq_82_to_84() {
    // Saxton & Rawls loam (0.2796, 0.1370), 150 mm of roots, cool season,
    // ETc 7 mm/day. By hand: TAW 21.39, p 0.40 − 0.08 = 0.32, RAW 6.8448;
    // at Dr 12: (21.39 − 12)/(0.68 × 21.39) = 0.64557.
    let total_mm = total_available_water_mm(0.2796, 0.1370, 150.0);
    let share = adjusted_depletion_share(depletion_share(TurfGroup::CoolSeason), 7.0);
    assert_near(total_mm, 21.39, 1e-9);
    assert_near(share, 0.32, 1e-12);
    assert_near(readily_available_water_mm(total_mm, share), 6.8448, 1e-9);
    assert_near(stress(total_mm, 6.8, share), 1.0, 1e-12);
    assert_near(stress(total_mm, 12.0, share), 0.645_57, 0.000_005);
}
