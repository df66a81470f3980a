//! USDA texture classes, rules of the Soil Survey Manual, chapter 3.

use soakmist::agronomy::texture::{
    ALL, TextureError, classify, from_label, label, typical_fractions,
};

use crate::near::rows;

#[test]
fn points_of_the_triangle_get_the_class_that_the_rules_name() {
    // tests/data/soil/texture_points.csv, exact, borders included.
    let points = rows(include_str!("../data/soil/texture_points.csv"));
    assert_eq!(points.len(), 60);
    for point in points {
        let number = |name: &str| point[name].parse::<f64>().expect("a number");
        let class = classify(number("sand_pct"), number("clay_pct")).expect("fractions");
        assert_eq!(label(class), point["usda_class"], "point {}", point["id"]);
    }
}

#[test]
fn typical_fractions_of_a_class_belong_to_it() {
    for texture in ALL {
        let fractions = typical_fractions(texture);
        assert_eq!(
            classify(fractions.sand_pct, fractions.clay_pct),
            Ok(texture)
        );
        assert_eq!(from_label(label(texture)), Some(texture));
    }
}

#[test]
fn every_point_of_a_fine_grid_meets_the_rule_of_its_class() {
    // The rules as the manual writes them, one by one and independent of the
    // order in which the code asks; in tenths of a percent, so exact.
    for clay in 0..=1000_i32 {
        for sand in 0..=(1000 - clay) {
            let silt = 1000 - sand - clay;
            let rule = match label(
                classify(f64::from(sand) / 10.0, f64::from(clay) / 10.0).expect("fractions"),
            ) {
                "sand" => 2 * silt + 3 * clay < 300,
                "loamy sand" => 2 * silt + 3 * clay >= 300 && silt + 2 * clay < 300,
                "sandy loam" => {
                    silt + 2 * clay >= 300
                        && ((70..200).contains(&clay) && sand > 520 || clay < 70 && silt < 500)
                }
                "loam" => (70..270).contains(&clay) && (280..500).contains(&silt) && sand <= 520,
                "silt loam" => {
                    silt >= 500 && (120..270).contains(&clay)
                        || (500..800).contains(&silt) && clay < 120
                }
                "silt" => silt >= 800 && clay < 120,
                "sandy clay loam" => (200..350).contains(&clay) && silt < 280 && sand > 450,
                "clay loam" => (270..400).contains(&clay) && sand > 200 && sand <= 450,
                "silty clay loam" => (270..400).contains(&clay) && sand <= 200,
                "sandy clay" => clay >= 350 && sand > 450,
                "silty clay" => clay >= 400 && silt >= 400,
                "clay" => clay >= 400 && sand <= 450 && silt < 400,
                other => panic!("no class: {other}"),
            };
            assert!(rule, "sand {sand}, clay {clay} tenths of a percent");
        }
    }
}

#[test]
fn fractions_that_are_none_are_refused() {
    assert_eq!(
        classify(80.0, 30.0),
        Err(TextureError::Sum {
            sand_pct: 80.0,
            clay_pct: 30.0
        })
    );
    assert_eq!(
        classify(-1.0, 30.0),
        Err(TextureError::Fraction {
            name: "sand",
            pct: -1.0
        })
    );
    assert!(classify(10.0, f64::NAN).is_err());
    assert!(classify(10.0, f64::INFINITY).is_err());
}
