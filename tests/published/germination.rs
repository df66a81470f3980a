//! Larsen & Bibby 2005, Crop Sci. 45:2030–2037, thermal time of three turf
//! species (abstract), beside the field ranges of turf texts.

use chrono::{Days, NaiveDate};
use soakmist::agronomy::germination::{
    days_to_half_germination, emergence_window, first_lookout, progress_per_day,
};
use soakmist::site::Species;

use crate::near::assert_near;

fn sown() -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 8, 28).expect("a date")
}

#[test]
fn half_germination_at_16_degrees_takes_the_published_thermal_time() {
    // Published base and degree-days; the days by hand, 63.9/12.4, 43.8/13.4
    // and 115.6/13.4, two decimals.
    for (species, days) in [
        (Species::PerennialRyegrass, 5.15),
        (Species::FineFescue, 3.27),
        (Species::KentuckyBluegrass, 8.63),
    ] {
        let computed = days_to_half_germination(species, 16.0).expect("a published species");
        assert_near(computed, days, 0.005);
    }
}

#[test]
fn germination_stands_still_at_the_published_base() {
    // Bases 3.6, 2.6 and 2.6 °C.
    for (species, base_c) in [
        (Species::PerennialRyegrass, 3.6),
        (Species::FineFescue, 2.6),
        (Species::KentuckyBluegrass, 2.6),
    ] {
        assert_eq!(days_to_half_germination(species, base_c), None);
        assert_near(progress_per_day(species, base_c), 0.0, 1e-12);
        assert!(progress_per_day(species, base_c + 0.1) > 0.0);
    }
}

#[test]
fn warm_soil_gives_the_field_range_of_every_species() {
    // Days as in turf texts (from memory); the web list that was compared
    // has the same ranges, or ones that overlap them.
    for (species, first, last) in [
        (Species::PerennialRyegrass, 5, 10),
        (Species::TallFescue, 7, 14),
        (Species::FineFescue, 7, 14),
        (Species::CreepingBentgrass, 6, 14),
        (Species::KentuckyBluegrass, 14, 28),
        (Species::Bermudagrass, 10, 21),
        (Species::Zoysiagrass, 14, 21),
        (Species::Buffalograss, 14, 21),
    ] {
        assert_eq!(
            emergence_window(species, sown(), |_| Some(24.0)),
            (sown() + Days::new(first), sown() + Days::new(last)),
            "{species:?}"
        );
    }
}

#[test]
fn the_lookout_comes_with_the_laboratory_and_the_window_with_the_field() {
    // Kentucky bluegrass at 16 °C: half germinated in 8.63 days in the
    // laboratory, first seedlings in the field from day 14 on.
    let lookout = first_lookout(Species::KentuckyBluegrass, sown(), |_| Some(16.0));
    assert_eq!(lookout, sown() + Days::new(9));
    // No thermal time is published for bermudagrass: the window's first day.
    let lookout = first_lookout(Species::Bermudagrass, sown(), |_| Some(24.0));
    assert_eq!(lookout, sown() + Days::new(10));
}
