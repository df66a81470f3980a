//! Saxton & Rawls 2006, Soil Sci. Soc. Am. J. 70:1569–1578.

use soakmist::agronomy::soil_hydraulics::{SoilError, SoilWater, saxton_rawls};
use soakmist::agronomy::texture::{self, TextureError};
use soakmist::site::TextureName;

use crate::near::{assert_near, assert_near_relative, rows};

const ORGANIC_MATTER_PCT: f64 = 2.5;

fn typical(texture: TextureName) -> SoilWater {
    let fractions = texture::typical_fractions(texture);
    saxton_rawls(fractions.sand_pct, fractions.clay_pct, ORGANIC_MATTER_PCT).expect("a soil")
}

#[test]
fn water_contents_and_conductivity_match_an_independent_implementation() {
    // tests/data/soil/saxton_rawls2006.csv; 1e-5 relative, as its header says.
    let vectors = rows(include_str!("../data/soil/saxton_rawls2006.csv"));
    assert_eq!(vectors.len(), 24);
    for row in vectors {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let water = saxton_rawls(
            number("sand_pct"),
            number("clay_pct"),
            number("organic_matter_pct"),
        )
        .expect("a soil");
        let pairs = [
            (water.wilting_point, "wilting_point_v"),
            (water.field_capacity, "field_capacity_v"),
            (water.saturation, "saturation_v"),
            (water.available() * 1000.0, "awc_mm_per_m"),
            (water.saturated_conductivity.mm_per_h(), "ksat_mm_h"),
            (water.bulk_density_g_per_cm3, "bulk_density_g_cm3"),
        ];
        for (actual, name) in pairs {
            assert_near_relative(actual, number(name), 1e-5);
        }
        assert_eq!(
            water.beyond_paper.clay,
            row["id"] == "1",
            "row {}",
            row["id"]
        );
    }
}

#[test]
fn typical_textures_give_the_figures_of_table_3() {
    // Table 3 as printed: wilting point, field capacity, saturation, plant
    // available water [% of volume], conductivity [mm/h], density [g/cm³].
    // Printed figures from memory of the paper, each agreeing with the equations.
    // Half a unit of the last digit: 0.5 %, 0.05 mm/h, 0.005 g/cm³.
    let table = [
        (TextureName::Sand, [5.0, 10.0, 46.0, 5.0, 108.1, 1.43]),
        (TextureName::LoamySand, [5.0, 12.0, 46.0, 7.0, 96.7, 1.43]),
        (TextureName::SandyLoam, [8.0, 18.0, 45.0, 10.0, 50.3, 1.46]),
        (TextureName::Loam, [14.0, 28.0, 46.0, 14.0, 15.5, 1.43]),
        (TextureName::SiltLoam, [11.0, 31.0, 48.0, 20.0, 16.1, 1.38]),
        (TextureName::Silt, [6.0, 30.0, 48.0, 25.0, 22.0, 1.38]),
        (
            TextureName::SandyClayLoam,
            [17.0, 27.0, 43.0, 10.0, 11.3, 1.50],
        ),
        (TextureName::ClayLoam, [22.0, 36.0, 48.0, 14.0, 4.3, 1.39]),
        (
            TextureName::SiltyClayLoam,
            [22.0, 38.0, 51.0, 17.0, 5.7, 1.30],
        ),
        (TextureName::SiltyClay, [27.0, 41.0, 52.0, 14.0, 3.7, 1.26]),
        (TextureName::SandyClay, [25.0, 36.0, 44.0, 11.0, 1.4, 1.47]),
        (TextureName::Clay, [30.0, 42.0, 50.0, 12.0, 1.1, 1.33]),
    ];
    for (texture, [dry, moist, full, available, conductivity, density]) in table {
        let water = typical(texture);
        assert_near(water.wilting_point * 100.0, dry, 0.5);
        assert_near(water.field_capacity * 100.0, moist, 0.5);
        assert_near(water.saturation * 100.0, full, 0.5);
        assert_near(water.available() * 100.0, available, 0.5);
        assert_near(water.saturated_conductivity.mm_per_h(), conductivity, 0.05);
        assert_near(water.bulk_density_g_per_cm3, density, 0.005);
    }
}

#[test]
fn the_curve_passes_through_the_points_that_define_it() {
    // Equations 11–17: 33 kPa at field capacity, 1500 kPa at the wilting
    // point, air entry at saturation; Ks at saturation and almost nothing at
    // the wilting point; suction falls and conductivity rises with water.
    for texture in texture::ALL {
        let water = typical(texture);
        assert_near_relative(water.matric_suction_kpa(water.field_capacity), 33.0, 1e-12);
        assert_near_relative(water.matric_suction_kpa(water.wilting_point), 1500.0, 1e-9);
        assert_near(
            water.matric_suction_kpa(water.saturation),
            water.air_entry_kpa,
            1e-12,
        );
        assert_near_relative(
            water.conductivity(water.saturation).mm_per_h(),
            water.saturated_conductivity.mm_per_h(),
            1e-12,
        );
        let mut last = (f64::INFINITY, -1.0);
        for step in 1..=100 {
            let theta = water.saturation * f64::from(step) / 100.0;
            let now = (
                water.matric_suction_kpa(theta),
                water.conductivity(theta).mm_per_h(),
            );
            assert!(now.0 <= last.0 && now.1 >= last.1, "{texture:?} at {theta}");
            last = now;
        }
    }
}

#[test]
fn conductivity_at_field_capacity_follows_equation_17() {
    // Worked apart, loam (sand 40, clay 20 %): λ = ln(θ33/θ1500)/ln(1500/33)
    // = 0.186874; K = 15.47566 × (0.27961/0.459478)^(3 + 2/λ) = 0.0171346.
    let water = typical(TextureName::Loam);
    assert_near(water.lambda, 0.186_874, 5e-7);
    assert_near(
        water.conductivity(water.field_capacity).mm_per_h(),
        0.017_134_6,
        5e-8,
    );
}

#[test]
fn what_is_no_soil_is_refused_and_what_is_beyond_the_data_is_flagged() {
    assert_eq!(
        saxton_rawls(70.0, 40.0, 2.5),
        Err(SoilError::Fractions(TextureError::Sum {
            sand_pct: 70.0,
            clay_pct: 40.0
        }))
    );
    assert!(matches!(
        saxton_rawls(f64::NAN, 40.0, 2.5),
        Err(SoilError::Fractions(TextureError::Fraction {
            name: "sand",
            ..
        }))
    ));
    assert_eq!(
        saxton_rawls(40.0, 20.0, -1.0),
        Err(SoilError::OrganicMatter { pct: -1.0 })
    );
    assert!(matches!(
        saxton_rawls(5.0, 60.0, 40.0),
        Err(SoilError::NoCurve { .. })
    ));
    let peaty = saxton_rawls(40.0, 20.0, 9.0).expect("an extrapolation");
    assert!(peaty.beyond_paper.organic_matter && !peaty.beyond_paper.clay);
    assert!(!typical(TextureName::Clay).beyond_paper.any());
}

#[test]
fn every_soil_of_the_triangle_has_a_curve_or_a_refusal() {
    // Within the paper's limits (clay to 60 %, organic matter to 8 %) nothing
    // but a number may come out, and conductivity must be one.
    for clay in 0..=60 {
        for sand in 0..=(100 - clay) {
            for organic in [0.0, 2.5, 8.0] {
                if let Ok(water) = saxton_rawls(f64::from(sand), f64::from(clay), organic) {
                    let ks = water.saturated_conductivity.mm_per_h();
                    assert!(ks.is_finite() && ks > 0.0, "{sand} {clay} {organic}: {ks}");
                    assert!(water.air_entry_kpa.is_finite());
                }
            }
        }
    }
}
