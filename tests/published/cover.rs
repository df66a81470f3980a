//! Mulch: FAO-56 chapter 10 beside a field measurement.

use soakmist::agronomy::cover::mulch_evaporation_factor;

use crate::near::assert_near;

#[test]
fn mulch_saves_5_percent_for_each_10_percent_of_ground() {
    // Allen et al. 1998, FAO-56, chapter 10, from memory of the paper.
    for (cover, factor) in [(0.0, 1.0), (0.1, 0.95), (0.5, 0.75), (1.0, 0.5)] {
        assert_near(mulch_evaporation_factor(cover), factor, 1e-12);
    }
}

#[test]
fn the_mulch_rule_is_near_what_straw_saved_in_the_field() {
    // Greb 1966, Soil Sci. Soc. Am. J. 30(6), abstract: straw over 30, 60 and
    // 90 % of a wet soil cut its loss by 16, 33 and 49 % in 20 days. This
    // judges the rule of another paper, so 5 points are allowed; a fit through
    // zero has 0.54 per share of cover where the rule has 0.5.
    for (cover, saved) in [(0.30, 0.16), (0.60, 0.33), (0.90, 0.49)] {
        assert_near(1.0 - mulch_evaporation_factor(cover), saved, 0.05);
    }
}
