//! Precipitation rate and uniformity.

use soakmist::sprinkler::precipitation_rate::{
    Grid, Head, RateError, bucket_flow, can_depth, from_catch, from_flow, from_spacing,
};
use soakmist::sprinkler::uniformity::{
    CatchError, christiansen, cu_from_du, du_from_cu, lower_quarter, scheduling_multiplier,
    upper_quarter,
};
use soakmist::units::customary::{L_PER_GALLON, M2_PER_SQUARE_FOOT, MM_PER_INCH};
use soakmist::units::{Area, Depth, Flow, Volume};

use crate::near::assert_near;

/// Metres in a foot.
const M_PER_FT: f64 = 0.3048;

/// Sixteen cans [mm], worked in the project's references.
const CANS_MM: [f64; 16] = [
    12.0, 10.0, 9.0, 14.0, 11.0, 8.0, 13.0, 10.0, 12.0, 9.0, 11.0, 10.0, 7.0, 13.0, 12.0, 11.0,
];

#[test]
fn sixteen_cans_give_the_worked_uniformity() -> Result<(), CatchError> {
    // By hand: mean 172/16 = 10.750; lowest four 7 8 9 9, mean 8.250;
    // DU_lq 8.25/10.75 = 0.76744; Σ|x − m| = 24.5, CU = 1 − 24.5/172 = 0.85756;
    // SM = 1/(0.4 + 0.6 × 0.76744) = 1.16216 (Irrigation Association 2005);
    // wettest four 14 13 13 12, mean 13, 13/10.75 = 1.20930.
    let du_lq = lower_quarter(&CANS_MM)?;
    assert_near(du_lq, 0.76744, 5e-6);
    assert_near(christiansen(&CANS_MM)?, 0.85756, 5e-6);
    assert_near(scheduling_multiplier(du_lq), 1.16216, 5e-6);
    assert_near(upper_quarter(&CANS_MM)?, 1.20930, 5e-6);
    Ok(())
}

#[test]
fn du_and_cu_follow_keller_and_bliesner() {
    // Keller & Bliesner 1990: DU = 1 − 1.59 (1 − CU), CU = 1 − 0.63 (1 − DU).
    // From the CU above 0.7735 (given with four digits).
    assert_near(du_from_cu(0.85756), 0.7735, 5e-5);
    assert_near(cu_from_du(0.75), 0.8425, 1e-12);
    // The two constants are rounded apart (1/0.63 = 1.587), so there and back
    // misses by at most 0.2 % of 1 − CU.
    assert_near(cu_from_du(du_from_cu(0.8)), 0.8, 0.0005);
}

#[test]
fn a_quarter_of_cans_that_four_does_not_divide_weighs_the_border_can() -> Result<(), CatchError> {
    // By hand, ten cans 1 to 10: the driest 2.5 are 1, 2 and half of 3, mean
    // (1 + 2 + 1.5)/2.5 = 1.8; mean of all 5.5; 0.32727.
    let ten: Vec<f64> = (1..=10).map(f64::from).collect();
    assert_near(lower_quarter(&ten)?, 1.8 / 5.5, 1e-12);
    // Every can twice is the same grass, whatever the count.
    let twice: Vec<f64> = ten.iter().chain(&ten).copied().collect();
    assert_near(lower_quarter(&twice)?, lower_quarter(&ten)?, 1e-12);
    Ok(())
}

#[test]
fn readings_that_say_nothing_are_refused() {
    assert_eq!(
        lower_quarter(&[1.0, 2.0, 3.0]),
        Err(CatchError::TooFew { count: 3 })
    );
    assert_eq!(christiansen(&[0.0; 8]), Err(CatchError::AllEmpty));
    assert_eq!(
        lower_quarter(&[1.0, 2.0, -3.0, 4.0]),
        Err(CatchError::Reading {
            index: 2,
            value: -3.0
        })
    );
    assert!(lower_quarter(&[1.0, f64::NAN, 3.0, 4.0]).is_err());
}

#[test]
fn flow_over_area_is_the_trade_formula_in_both_systems() -> Result<(), RateError> {
    // 96.25 = 231 × 60/144: one gpm on one ft² is 96.25 in/h; a utility's page
    // prints 10 gpm on 1000 ft² as 0.9625 in/h.
    let gpm = |gallons: f64| Flow::from_l_per_min(gallons * L_PER_GALLON);
    let ft2 = |feet: f64| Area::from_m2(feet * M2_PER_SQUARE_FOOT);
    assert_near(
        from_flow(gpm(1.0), ft2(1.0))?.mm_per_h() / MM_PER_INCH,
        96.25,
        1e-9,
    );
    assert_near(
        from_flow(gpm(10.0), ft2(1000.0))?.mm_per_h() / MM_PER_INCH,
        0.9625,
        1e-9,
    );
    // Worked: 12 L/min on 40 m² is 18 mm/h, so 5 mm take 16.67 min.
    let rate = from_flow(Flow::from_l_per_min(12.0), Area::from_m2(40.0))?.mm_per_h();
    assert_near(rate, 18.0, 1e-12);
    assert_near(5.0 / rate * 60.0, 16.67, 0.005);
    assert!(from_flow(gpm(1.0), ft2(0.0)).is_err());
    Ok(())
}

#[test]
fn heads_in_a_grid_give_the_design_rate() -> Result<(), RateError> {
    // Worked: four quarter circles of 1 gpm in a square of 30 ft:
    // 96.3 × 4/900 = 0.428 in/h, 10.87 mm/h.
    let head = Head {
        flow: Flow::from_l_per_min(L_PER_GALLON),
        arc_deg: 90.0,
    };
    let side_m = 30.0 * M_PER_FT;
    let square = Grid::Rectangle {
        along_m: side_m,
        between_m: side_m,
    };
    let rate = from_spacing(head, square)?.mm_per_h();
    assert_near(rate / MM_PER_INCH, 0.428, 0.0005);
    assert_near(rate, 10.87, 0.005);
    // Triangles are closer by 0.866.
    let triangle = from_spacing(head, Grid::Triangle { side_m })?.mm_per_h();
    assert_near(rate / triangle, 0.866, 0.0005);
    assert!(
        from_spacing(
            Head {
                arc_deg: 0.0,
                ..head
            },
            square
        )
        .is_err()
    );
    Ok(())
}

#[test]
fn the_mean_can_over_the_time_is_the_rate() -> Result<(), RateError> {
    // Arithmetic: 10.75 mm in 30 min is 21.5 mm/h.
    assert_near(
        from_catch(Depth::from_mm(10.75), 30.0)?.mm_per_h(),
        21.5,
        1e-12,
    );
    assert!(from_catch(Depth::from_mm(10.75), 0.0).is_err());
    Ok(())
}

#[test]
fn a_can_and_a_bucket_are_plain_arithmetic() -> Result<(), RateError> {
    // By hand: a mouth of 110 mm is 95.033 cm², so 100 mL stand 10.523 mm.
    assert_near(can_depth(100.0, 110.0)?.mm(), 10.523, 0.0005);
    // 10 L in 48 s are 12.5 L/min.
    assert_near(
        bucket_flow(Volume::from_l(10.0), 48.0)?.l_per_min(),
        12.5,
        1e-12,
    );
    assert!(can_depth(100.0, 0.0).is_err());
    assert!(bucket_flow(Volume::from_l(10.0), -1.0).is_err());
    Ok(())
}
