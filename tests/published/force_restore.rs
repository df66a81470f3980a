//! Noilhan & Planton 1989, Mon. Weather Rev. 117:536–549: the restore term.

use soakmist::agronomy::texture::from_label;
use soakmist::site::TextureName;

use crate::near::{assert_near, rows};
use crate::restoration::{ForceRestoreSoil, Rise};

#[test]
fn the_restore_flux_matches_its_check_points() {
    let (subsoil, surface) = (0.75, 0.5);
    let points = rows(include_str!("../data/crop/force_restore.csv"));
    assert_eq!(points.len(), 11);
    for row in points {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let texture = from_label(&row["texture"]).expect("a texture");
        let soil = ForceRestoreSoil::of(texture);
        let equilibrium = soil.equilibrium_saturation(subsoil) * soil.saturation;
        assert_near(equilibrium, number("wgeq"), 0.000_05);
        assert_near(soil.restore_coefficient(subsoil), number("c2"), 0.0005);
        let mm_per_day = Rise::of(soil, subsoil).mm_per_h(surface, 10.0) * 24.0;
        assert_near(mm_per_day, number("flux_mm_per_day"), 0.0005);
    }
}

#[test]
fn silt_has_no_row_and_takes_that_of_silt_loam() {
    assert_eq!(
        ForceRestoreSoil::of(TextureName::Silt),
        ForceRestoreSoil::of(TextureName::SiltLoam)
    );
}

#[test]
fn a_saturated_surface_over_saturated_soil_is_at_rest() {
    // wgeq = wsat at x = 1, whatever a and p.
    for texture in [TextureName::Sand, TextureName::Loam, TextureName::Clay] {
        let soil = ForceRestoreSoil::of(texture);
        assert_near(soil.equilibrium_saturation(1.0), 1.0, 1e-12);
        assert_near(Rise::of(soil, 1.0).mm_per_h(1.0, 10.0), 0.0, 1e-12);
    }
}
