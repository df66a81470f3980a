//! Green & Ampt 1911 with Mein & Larson 1973.

use soakmist::agronomy::infiltration::{GreenAmpt, class_parameters};
use soakmist::site::TextureName;
use soakmist::units::Rate;

use crate::near::{assert_near, assert_near_relative, rows};

const HOURS: [&str; 7] = ["0.1", "0.25", "0.5", "1", "2", "4", "8"];

#[test]
fn infiltration_under_steady_rain_matches_an_independent_solver() {
    // tests/data/soil/green_ampt.csv; 1e-5 relative, as its header says.
    let vectors = rows(include_str!("../data/soil/green_ampt.csv"));
    assert_eq!(vectors.len(), 40);
    for row in vectors {
        let number = |name: &str| row[name].parse::<f64>().expect("a number");
        let soil = GreenAmpt {
            conductivity_mm_per_h: number("ksat_mm_h"),
            suction_mm: number("psi_f_mm"),
            moisture_deficit: number("dtheta"),
        };
        let rain = row["rain_mm_h"]
            .parse::<f64>()
            .ok()
            .map(Rate::from_mm_per_h);
        if let Some(ponding) = rain.and_then(|rate| soil.ponding(rate)) {
            assert_eq!(row["ponds"], "1");
            assert_near_relative(ponding.time_h, number("t_ponding_h"), 1e-5);
            assert_near_relative(ponding.depth_mm, number("f_ponding_mm"), 1e-5);
        } else {
            assert_eq!(row["ponds"] == "0", rain.is_some(), "row {}", row["id"]);
        }
        for hours in HOURS {
            let (depth, rate) = (
                number(&format!("F_{hours}h_mm")),
                number(&format!("f_{hours}h_mm_h")),
            );
            let hours: f64 = hours.parse().expect("a number");
            let actual = match rain {
                Some(rain) => {
                    let infiltrated = soil.under_rain(rain, hours);
                    (infiltrated.depth_mm, infiltrated.rate_mm_per_h)
                }
                None => {
                    let depth = soil.ponded_depth_mm(hours);
                    (depth, soil.capacity_mm_per_h(depth))
                }
            };
            assert_near_relative(actual.0, depth, 1e-5);
            assert_near_relative(actual.1, rate, 1e-5);
        }
    }
}

/// Silt loam of Chow, Maidment & Mays 1988, Applied Hydrology (printed results
/// below from memory): effective
/// saturation 0.30, so Δθ = 0.7 × 0.486 = 0.340; ψ 16.7 cm, K 0.65 cm/h.
const SILT_LOAM: GreenAmpt = GreenAmpt {
    conductivity_mm_per_h: 6.5,
    suction_mm: 167.0,
    moisture_deficit: 0.340,
};

#[test]
fn ponded_silt_loam_of_applied_hydrology_example_4_3_1() {
    // Printed after one hour: F 3.17 cm, f 1.81 cm/h. The printed f comes from
    // the rounded F (unrounded 1.816), hence one unit and not half of one.
    let depth_mm = SILT_LOAM.ponded_depth_mm(1.0);
    assert_near(depth_mm / 10.0, 3.17, 0.005);
    assert_near(SILT_LOAM.capacity_mm_per_h(depth_mm) / 10.0, 1.81, 0.01);
}

#[test]
fn time_to_ponding_of_applied_hydrology_example_4_4_1() {
    // Printed: 10.5 h at 1 cm/h; 0.17 h (10 min) and 0.85 cm at 5 cm/h. The
    // first is cut, not rounded (10.551), hence one unit of its last digit.
    let slow = SILT_LOAM
        .ponding(Rate::from_mm_per_h(10.0))
        .expect("it ponds");
    assert_near(slow.time_h, 10.5, 0.1);
    let quick = SILT_LOAM
        .ponding(Rate::from_mm_per_h(50.0))
        .expect("it ponds");
    assert_near(quick.time_h, 0.17, 0.005);
    assert_near(quick.depth_mm / 10.0, 0.85, 0.005);
}

#[test]
fn rain_on_silt_loam_of_applied_hydrology_example_4_4_2() {
    // Printed after one hour of 5 cm/h: F 3.02 cm, f 1.88 cm/h; the latter
    // from rounded steps (unrounded 1.8736), hence one unit.
    let after = SILT_LOAM.under_rain(Rate::from_mm_per_h(50.0), 1.0);
    assert_near(after.depth_mm / 10.0, 3.02, 0.005);
    assert_near(after.rate_mm_per_h / 10.0, 1.88, 0.01);
}

#[test]
fn a_second_worked_soil_ponds_when_the_formula_says() {
    // Statement: "Rain or Shine" (Oklahoma State University open textbook),
    // problem set 6.5: θi 0.15, θs 0.49, ψ 17 cm, K 0.65 cm/h; rain 1.5 cm/h.
    // Answers worked from Mein–Larson by hand: Fp 4.420 cm, tp 2.947 h; with
    // K halved Fp 1.599 cm, tp 1.066 h.
    let soil = GreenAmpt {
        conductivity_mm_per_h: 6.5,
        suction_mm: 170.0,
        moisture_deficit: 0.34,
    };
    let rain = Rate::from_mm_per_h(15.0);
    let ponding = soil.ponding(rain).expect("it ponds");
    assert_near(ponding.depth_mm / 10.0, 4.420, 0.0005);
    assert_near(ponding.time_h, 2.947, 0.0005);
    let halved = GreenAmpt {
        conductivity_mm_per_h: 3.25,
        ..soil
    };
    let ponding = halved.ponding(rain).expect("it ponds");
    assert_near(ponding.depth_mm / 10.0, 1.599, 0.0005);
    assert_near(ponding.time_h, 1.066, 0.0005);
}

#[test]
fn minutes_to_ponding_by_texture_at_three_rates() {
    // Worked from Rawls, Brakensiek & Miller 1983, Table 2, at effective
    // saturation 0.30, Mein–Larson; minutes at 10, 25 and 40 mm/h. Half a
    // unit of the last digit given.
    let table = [
        (TextureName::Sand, [None, None, None]),
        (TextureName::LoamySand, [None, None, Some((76.4, 0.05))]),
        (
            TextureName::SandyLoam,
            [None, Some((58.9, 0.05)), Some((17.8, 0.05))],
        ),
        (
            TextureName::Loam,
            [Some((83.5, 0.05)), Some((10.2, 0.05)), Some((3.8, 0.05))],
        ),
        (
            TextureName::SiltLoam,
            [Some((632.0, 0.5)), Some((47.9, 0.05)), Some((16.5, 0.05))],
        ),
        (
            TextureName::SandyClayLoam,
            [Some((53.4, 0.05)), Some((7.7, 0.05)), Some((2.9, 0.05))],
        ),
        (
            TextureName::ClayLoam,
            [Some((38.0, 0.05)), Some((5.7, 0.05)), Some((2.2, 0.05))],
        ),
        (
            TextureName::SiltyClayLoam,
            [Some((55.0, 0.05)), Some((8.3, 0.05)), Some((3.2, 0.05))],
        ),
        (
            TextureName::SandyClay,
            [Some((20.6, 0.05)), Some((3.2, 0.05)), Some((1.2, 0.05))],
        ),
        (
            TextureName::SiltyClay,
            [Some((27.3, 0.05)), Some((4.2, 0.05)), Some((1.6, 0.05))],
        ),
        (
            TextureName::Clay,
            [Some((15.8, 0.05)), Some((2.5, 0.05)), Some((1.0, 0.05))],
        ),
    ];
    for (texture, minutes) in table {
        let class = class_parameters(texture);
        let soil = GreenAmpt {
            conductivity_mm_per_h: class.conductivity.mm_per_h(),
            suction_mm: class.suction_mm,
            moisture_deficit: 0.70 * class.effective_porosity,
        };
        for (rate, expected) in [10.0, 25.0, 40.0].into_iter().zip(minutes) {
            let ponding = soil.ponding(Rate::from_mm_per_h(rate));
            assert_eq!(
                ponding.is_some(),
                expected.is_some(),
                "{texture:?} at {rate} mm/h"
            );
            if let (Some(ponding), Some((minutes, tolerance))) = (ponding, expected) {
                assert_near(ponding.time_h * 60.0, minutes, tolerance);
            }
        }
    }
}

#[test]
fn depth_and_time_are_each_others_inverse_over_thirty_powers_of_ten() {
    for exponent in -15..=15 {
        let hours = 10.0_f64.powi(exponent);
        let depth = SILT_LOAM.ponded_depth_mm(hours);
        assert_near_relative(SILT_LOAM.ponded_time_h(depth), hours, 1e-11);
    }
}

#[test]
fn borders_of_the_soil_give_borders_of_the_answer() {
    let full = GreenAmpt {
        moisture_deficit: 0.0,
        ..SILT_LOAM
    };
    assert_near(full.ponded_depth_mm(2.0), 13.0, 1e-12);
    assert_near(full.capacity_mm_per_h(0.0), 6.5, 0.0);
    let tight = GreenAmpt {
        conductivity_mm_per_h: 0.0,
        ..SILT_LOAM
    };
    assert_near(tight.ponded_depth_mm(1e9), 0.0, 0.0);
    assert_near(
        tight.under_rain(Rate::from_mm_per_h(5.0), 1.0).depth_mm,
        0.0,
        0.0,
    );
    assert!(tight.ponded_time_h(1.0).is_infinite());
    assert!(SILT_LOAM.capacity_mm_per_h(0.0).is_infinite());
    let overfull = GreenAmpt {
        moisture_deficit: -0.1,
        ..SILT_LOAM
    };
    assert_near(overfull.ponded_depth_mm(2.0), 13.0, 1e-12);
    let barely = GreenAmpt {
        conductivity_mm_per_h: 1e-300,
        ..SILT_LOAM
    };
    assert!(barely.ponded_depth_mm(1e-300) >= 0.0);
    let thirsty = GreenAmpt {
        suction_mm: 1e300,
        ..SILT_LOAM
    };
    assert!(thirsty.ponded_depth_mm(1.0).is_finite());
}
