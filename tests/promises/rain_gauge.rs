//! A rain gauge in the hands of the planner: its rain is rain like any other.

use chrono::TimeDelta;
use soakmist::agronomy::weather_record::WeatherHour;
use soakmist::plan::rolling::{Horizon, REACH, RainGauge, ZoneNow, replan};
use soakmist::site::*;

use crate::support::*;

/// Clay on a bank: it lets in a few millimetres an hour and holds no film.
fn bank() -> Zone {
    let mut zone = zone("bank");
    zone.soil.kind = SoilKind::Texture(TextureName::Clay);
    zone.slope_pct = 10.0;
    zone
}

/// Weather with so much rain from 3 to 4 h on the 24th.
fn weather(rain_mm: f64) -> Vec<WeatherHour> {
    let mut weather = dry_weather(date(10), 45);
    for hour in &mut weather {
        if hour.start == local(24, 3) {
            hour.rain_mm = rain_mm;
        }
    }
    weather
}

/// What the soil beneath the seed layer lacks an hour later [mm].
fn lacks_mm(told_mm: f64, gauge_mm: Option<f64>) -> f64 {
    let site = site(vec![bank()]);
    let now = local(24, 5);
    let zone = ZoneNow {
        at: local(24, 0),
        levels: None,
        water: Vec::new(),
        probes: Vec::new(),
        rain: gauge_mm
            .map(|depth_mm| RainGauge {
                from: local(24, 3),
                to: local(24, 4),
                depth_mm,
            })
            .into_iter()
            .collect(),
        cycle: None,
        held_until: None,
        is_left_out: false,
    };
    let horizon = Horizon {
        now,
        until: now + REACH,
        kept_at: now - TimeDelta::minutes(30),
    };
    let plan = replan(&site, &weather(told_mm), &[zone], horizon).unwrap();
    plan.zones[0].kept.1.strata_mm.iter().sum()
}

/// Of 40 mm in an hour clay takes in a few. A gauge of them once wetted the
/// whole root zone, and the next water came days late.
#[test]
fn rain_of_a_gauge_runs_off_as_that_of_the_weather_does() {
    let told = lacks_mm(40.0, None);
    let dry = lacks_mm(0.0, None);
    assert!(dry > told + 0.5, "{dry} mm dry, {told} mm after rain");
    assert!(told > 1.0, "most of it runs off: {told}");
    // Where the weather told none of it, less of it, and more of it.
    for told_mm in [0.0, 10.0, 80.0] {
        let gauged = lacks_mm(told_mm, Some(40.0));
        assert!((gauged - told).abs() < 1e-9, "{gauged} is not {told}");
    }
}
