//! Sites and weather made for tests: small, plain, and easy to vary.

#![allow(dead_code, reason = "each test binary uses its part")]

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::America::New_York;
use soakmist::agronomy::weather_record::{HourProvenance, Provenance, WeatherHour};
use soakmist::site::*;
use soakmist::units::{Area, Depth, Flow, Rate, Speed};

/// A day of the scenario: the village of Harrowmere, which is invented.
pub fn date(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 8, day).unwrap()
}

/// A clock time.
pub fn clock(hour: u32, minute: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, minute, 0).unwrap()
}

/// A local time in August.
pub fn local(day: u32, hour: u32) -> DateTime<Utc> {
    New_York
        .from_local_datetime(&date(day).and_time(clock(hour, 0)))
        .unwrap()
        .with_timezone(&Utc)
}

/// A site of zones, with nothing forbidden and plenty of water.
pub fn site(zones: Vec<Zone>) -> Site {
    Site {
        name: "Harrowmere".into(),
        place: Place {
            latitude_deg: 36.1,
            longitude_deg: -79.9,
            elevation_m: 270.0,
            coast: false,
            time_zone: New_York,
        },
        units: UnitSystem::Si,
        supply: Supply {
            flow: Flow::from_l_per_min(1000.0),
            master_valve: false,
            pump_start_delay: None,
            cost: None,
        },
        rules: WateringRules::default(),
        quiet_windows: Vec::new(),
        wind_limit: None,
        frost_limit_c: 2.0,
        mqtt: None,
        daemon: soakmist::site::DaemonKeys::default(),
        sensors: Vec::new(),
        night: NightRule {
            dry_before_sunset: TimeDelta::hours(2),
            start_before_sunrise: TimeDelta::hours(2),
        },
        zones,
        weather: WeatherSetup::default(),
        defaults_used: Vec::new(),
    }
}

/// A bare loam zone of 100 m², sown with ryegrass on 22 August at 10 h.
pub fn zone(name: &str) -> Zone {
    let area = Area::from_m2(100.0);
    let rate = Rate::from_mm_per_h(12.0);
    Zone {
        name: name.into(),
        formerly: Vec::new(),
        area,
        soil: SoilSpec {
            kind: SoilKind::Texture(TextureName::Loam),
            measured: None,
            infiltration_rate: None,
        },
        slope_pct: 0.0,
        sun_share: 1.0,
        sprinkler: Sprinkler {
            precipitation_rate: rate,
            distribution_uniformity: 0.7,
            application_efficiency: 0.8,
            flow: rate.over(area),
        },
        valve: None,
        seeding: Seeding {
            at: local(22, 10),
            ground: Ground::Bare,
            mix: vec![SpeciesShare {
                species: Species::PerennialRyegrass,
                share: 1.0,
            }],
            top_dressing: None,
            cover: None,
            soil_state: SoilState::Half,
            emerged: None,
            all_up: None,
        },
        pre_soak: PreSoak {
            wanted: true,
            depth: Depth::from_mm(150.0),
            rest: TimeDelta::hours(12),
        },
        runs: RunLimits {
            shortest: TimeDelta::minutes(1),
            longest: TimeDelta::minutes(30),
            soak_time: TimeDelta::minutes(30),
        },
        allowed_depletion: AllowedDepletion {
            seed_layer: 0.5,
            root_zone: 0.4,
        },
        seed_layer: Depth::from_mm(10.0),
        target_root_depth: Depth::from_mm(150.0),
        root_growth_mm_per_day: 6.0,
    }
}

/// A warm, dry spell: the same day again and again, from local midnight.
pub fn dry_weather(first: NaiveDate, days: i64) -> Vec<WeatherHour> {
    let start = New_York
        .from_local_datetime(&first.and_time(NaiveTime::MIN))
        .unwrap()
        .with_timezone(&Utc);
    let measured = Provenance::Measured;
    (0..days * 24)
        .map(|index| {
            let hour = f64::from(u32::try_from(index % 24).unwrap());
            let sun = (std::f64::consts::PI * (hour - 6.5) / 13.0).sin().max(0.0);
            WeatherHour {
                start: start + TimeDelta::hours(index),
                air_temperature_c: 20.0 + 10.0 * ((hour - 9.0) * std::f64::consts::PI / 12.0).sin(),
                actual_vapour_pressure_kpa: 1.5,
                wind_2m_m_per_s: 1.0 + 2.0 * sun,
                solar_mj_per_m2_h: 2.9 * sun,
                rs_over_rso: 0.85,
                pressure_kpa: 98.1,
                daylight: sun > 0.0,
                rain_mm: 0.0,
                rain_probability: 1.0,
                provenance: HourProvenance {
                    air_temperature: measured,
                    humidity: measured,
                    wind: measured,
                    solar: measured,
                    rain: measured,
                },
            }
        })
        .collect()
}

/// Wind limit in m/s.
pub fn wind(limit: f64) -> Option<Speed> {
    Some(Speed::from_m_per_s(limit))
}

/// Textures from the quickest to the slowest, for sites that are drawn.
pub const TEXTURES: [TextureName; 5] = [
    TextureName::Sand,
    TextureName::SandyLoam,
    TextureName::Loam,
    TextureName::ClayLoam,
    TextureName::Clay,
];

/// Sprinklers that bring so much [mm/h] with such a uniformity on an area.
pub fn sprinkler(mm_per_h: f64, distribution_uniformity: f64, area: Area) -> Sprinkler {
    let rate = Rate::from_mm_per_h(mm_per_h);
    Sprinkler {
        precipitation_rate: rate,
        distribution_uniformity,
        application_efficiency: 0.8,
        flow: rate.over(area),
    }
}

/// Runs of so many seconds to so many minutes, and minutes to soak in.
pub fn run_limits(shortest_s: i64, longest_min: i64, soak_min: i64) -> RunLimits {
    RunLimits {
        shortest: TimeDelta::seconds(shortest_s),
        longest: TimeDelta::minutes(longest_min),
        soak_time: TimeDelta::minutes(soak_min),
    }
}
