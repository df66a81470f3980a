//! A site and a plan made by hand, so that outputs are tested without the
//! planner: simple numbers that look like a seeding, not a model of one.

use std::f64::consts::PI;

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Timelike, Utc, Weekday};
use chrono_tz::Tz;
use soakmist::agronomy::weather_record::{HourProvenance, Provenance, WeatherHour};
use soakmist::plan::timetable::*;
use soakmist::report::WeatherSource;
use soakmist::site::local_time::start_of_day;
use soakmist::site::*;
use soakmist::units::{Area, Depth, Flow, Rate, Volume};

const NAMES: [&str; 8] = [
    "square",
    "nets",
    "outfield",
    "pavilion-lawn",
    "bank",
    "roller-path",
    "car-park",
    "rose-bed",
];
const ALLOWED_SEED_MM: f64 = 0.7;

/// A village cricket ground with the first so many of eight zones; beyond
/// eight they are numbered.
pub fn site(zones: usize) -> Site {
    let name = |index: usize| {
        NAMES
            .get(index)
            .map_or_else(|| format!("z{index}"), |n| (*n).into())
    };
    Site {
        name: "Harrowmere Cricket Ground".into(),
        place: Place {
            latitude_deg: 51.1,
            longitude_deg: -0.07,
            elevation_m: 45.0,
            coast: false,
            time_zone: Tz::Europe__London,
        },
        units: UnitSystem::Si,
        supply: Supply {
            flow: Flow::from_l_per_min(60.0),
            master_valve: true,
            pump_start_delay: Some(TimeDelta::seconds(5)),
            cost: Some(WaterCost {
                per_m3: 1.2,
                currency: "GBP".into(),
            }),
        },
        rules: WateringRules::default(),
        quiet_windows: vec![QuietWindow {
            name: "Saturday match".into(),
            zones: vec![],
            days: QuietDays::Weekly(vec![Weekday::Sat]),
            hours: DailyHours {
                from: time(13, 30),
                to: time(18, 0),
            },
            dry_before: TimeDelta::minutes(60),
        }],
        wind_limit: None,
        frost_limit_c: 2.0,
        mqtt: None,
        daemon: soakmist::site::DaemonKeys::default(),
        sensors: Vec::new(),
        night: NightRule {
            dry_before_sunset: TimeDelta::minutes(90),
            start_before_sunrise: TimeDelta::minutes(60),
        },
        zones: (0..zones).map(|index| zone(&name(index))).collect(),
        weather: WeatherSetup::default(),
        defaults_used: vec![
            default(
                "zone.square.runs.longest",
                "20 min",
                "common practice, no source",
            ),
            default(
                "night.dry-before-sunset",
                "90 min",
                "grass should be dry at night",
            ),
        ],
    }
}

fn default(key: &str, value: &str, why: &str) -> DefaultUsed {
    DefaultUsed {
        key: key.into(),
        value: value.into(),
        why: why.into(),
    }
}

pub fn time(hour: u32, minute: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, minute, 0).unwrap()
}

/// One zone: 200 m² at 18 mm/h, so 60 L/min.
pub fn zone(name: &str) -> Zone {
    Zone {
        name: name.into(),
        formerly: Vec::new(),
        area: Area::from_m2(200.0),
        soil: SoilSpec {
            kind: SoilKind::Texture(TextureName::ClayLoam),
            measured: None,
            infiltration_rate: None,
        },
        slope_pct: 1.0,
        sun_share: 1.0,
        sprinkler: Sprinkler {
            precipitation_rate: Rate::from_mm_per_h(18.0),
            distribution_uniformity: 0.7,
            application_efficiency: 0.8,
            flow: Flow::from_l_per_min(60.0),
        },
        valve: None,
        seeding: Seeding {
            at: "2023-08-25T08:00:00Z".parse().unwrap(),
            ground: Ground::Turf {
                cover_fraction: 0.4,
            },
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
            rest: TimeDelta::hours(14),
        },
        runs: RunLimits {
            shortest: TimeDelta::seconds(60),
            longest: TimeDelta::minutes(20),
            soak_time: TimeDelta::minutes(30),
        },
        allowed_depletion: AllowedDepletion {
            seed_layer: 0.4,
            root_zone: 0.5,
        },
        seed_layer: Depth::from_mm(10.0),
        target_root_depth: Depth::from_mm(150.0),
        root_growth_mm_per_day: 8.0,
    }
}

/// A plan of so many days from the given one: a deep soak on the first day,
/// seed on the second, emergence after `days / 2`.
pub fn plan(site: &Site, first: NaiveDate, days: u64) -> Timetable {
    let time_zone = site.place.time_zone;
    let from = start_of_day(time_zone, first);
    let to = start_of_day(time_zone, first + Days::new(days));
    let seeded = start_of_day(time_zone, first + Days::new(1)) + TimeDelta::hours(9);
    let up = first + Days::new((days / 2).max(2));
    let stages = vec![
        (from, Stage::PreSoak),
        (from + TimeDelta::hours(12), Stage::Rest),
        (seeded, Stage::Germination),
        (start_of_day(time_zone, up), Stage::Emergence),
        (
            start_of_day(time_zone, up + Days::new((days / 6).max(1))),
            Stage::Establishment,
        ),
    ];
    let mut runs = Vec::new();
    let mut zones = Vec::new();
    for (index, zone) in site.zones.iter().enumerate() {
        soak(&mut runs, index, from);
        let hours = balance(&mut runs, site, index, (from, to), &stages);
        zones.push(zone_plan(zone, first, up, stages.clone(), hours));
    }
    runs.sort_by_key(|run| (run.start, run.zone));
    Timetable {
        from,
        to,
        zones,
        runs,
        shortfalls: shortfalls(first, time_zone),
        notes: notes(),
    }
}

/// From 13:00 to 16:45 UTC of the fourth day.
fn dry_spell(first: NaiveDate) -> SeedDrySpell {
    let from = (first + Days::new(3))
        .and_hms_opt(13, 0, 0)
        .unwrap()
        .and_utc();
    SeedDrySpell {
        from,
        to: from + TimeDelta::minutes(225),
        daylight_hours: 2.5,
        worst_ratio: 1.4,
    }
}

fn zone_plan(
    zone: &Zone,
    first: NaiveDate,
    up: NaiveDate,
    stages: Vec<(DateTime<Utc>, Stage)>,
    hours: Vec<BalanceHour>,
) -> ZonePlan {
    let milestone = |day: u64, kind, text: &str| Milestone {
        date: first + Days::new(day),
        kind,
        text: text.into(),
    };
    ZonePlan {
        name: zone.name.clone(),
        emergence: Emergence {
            first: up,
            last: up + Days::new(5),
            by_species: vec![],
            recorded: false,
            all_up_recorded: false,
        },
        stages,
        milestones: vec![
            milestone(
                0,
                MilestoneKind::MowLow,
                "mow to 20 mm before the soak and take the clippings off",
            ),
            milestone(
                1,
                MilestoneKind::Prepare,
                "scarify and level; the ground has rested overnight",
            ),
            milestone(1, MilestoneKind::Seed, "sow at 09:00 and cover"),
            milestone(
                4,
                MilestoneKind::FirstMow,
                "not before the seedlings hold when tugged",
            ),
        ],
        pre_soak: Some(PreSoakSummary {
            net_mm: 16.4,
            gross_mm: 20.5,
            planned_mm: 20.5,
            cycles: 5,
            cycles_needed: 5,
            cycle_mm: 4.1,
            by_intake: true,
            soak_min: 50.0,
            early_by: None,
            ends: None,
        }),
        hours,
        dry_daylight_hours: 2.5,
        dry_night_hours: 1.25,
        dry_spells: vec![dry_spell(first)],
        seed_daylight_hours: 48.0,
    }
}

fn soak(runs: &mut Vec<Run>, zone: usize, from: DateTime<Utc>) {
    for cycle in 0..5_i32 {
        let minutes = 300 + i64::from(cycle) * 66 + i64::try_from(zone % 4).unwrap() * 15;
        let mut run = run(
            zone,
            from + TimeDelta::minutes(minutes),
            820,
            Stage::PreSoak,
        );
        run.reason.trigger = Trigger::PreSoak;
        run.reason.cycle = Some(Cycle {
            number: usize::try_from(cycle).unwrap() + 1,
            of: 5,
            for_turf: false,
        });
        runs.push(run);
    }
}

pub fn run(zone: usize, start: DateTime<Utc>, seconds: i64, stage: Stage) -> Run {
    let minutes = f64::from(i32::try_from(seconds).unwrap()) / 60.0;
    Run {
        zone,
        start,
        duration: TimeDelta::seconds(seconds),
        depth: Depth::from_mm(18.0 * minutes / 60.0),
        volume: Volume::from_l(60.0 * minutes),
        stage,
        reason: Reason {
            trigger: Trigger::Depletion,
            depletion_mm: 0.7,
            allowed_mm: ALLOWED_SEED_MM,
            demand_since_last_mm: 0.9,
            rain_since_last_mm: 0.0,
            forecast_rain_counted_mm: 0.0,
            moved: None,
            cycle: None,
        },
    }
}

/// A bucket emptied by a sine of the day and filled when it is empty.
fn balance(
    runs: &mut Vec<Run>,
    site: &Site,
    zone: usize,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
    stages: &[(DateTime<Utc>, Stage)],
) -> Vec<BalanceHour> {
    let mut hours = Vec::new();
    let (mut depletion, mut start) = (0.2, from);
    let stretch = 1.0 + f64::from(u32::try_from(zone % 8).unwrap()) * 0.08;
    while start < to {
        let local = start.with_timezone(&site.place.time_zone);
        let stage = stages
            .iter()
            .rev()
            .find(|(begin, _)| *begin <= start)
            .unwrap()
            .1;
        let allowed = match stage {
            Stage::Establishment => ALLOWED_SEED_MM + root_days(stages, start) * 0.8,
            _ => ALLOWED_SEED_MM,
        };
        let sun = ((f64::from(local.hour()) - 6.0) / 13.0 * PI).sin();
        let daylight = (6..19).contains(&local.hour());
        let et0 = if daylight { 0.35 * sun.max(0.0) } else { 0.01 } / stretch;
        let rain = if hours.len() % 160 == 75 { 3.0 } else { 0.0 };
        depletion = (depletion + 0.9 * et0 - rain - 0.02_f64).max(0.0);
        if matches!(stage, Stage::PreSoak | Stage::Rest) {
            depletion = depletion.min(0.3);
        }
        let worst = depletion;
        let mut irrigation = 0.0;
        let waters = matches!(
            stage,
            Stage::Germination | Stage::Emergence | Stage::Establishment
        );
        if waters && daylight && depletion + 0.3 > allowed {
            let at = start + TimeDelta::seconds(900 + 130 * i64::try_from(zone).unwrap());
            let seconds = if stage == Stage::Establishment {
                1100
            } else {
                130
            };
            let mut run = run(zone, at, seconds, stage);
            run.reason.depletion_mm = depletion;
            run.reason.allowed_mm = allowed;
            adorn(&mut run, runs.len());
            irrigation = depletion;
            depletion = 0.0;
            runs.push(run);
        }
        hours.push(BalanceHour {
            start,
            et0_mm: et0,
            evaporation_mm: 0.8 * et0,
            transpiration_mm: 0.1 * et0,
            rain_mm: rain,
            all_rain_mm: rain,
            irrigation_mm: irrigation,
            restored_mm: 0.02,
            drainage_mm: 0.0,
            runoff_mm: 0.0,
            depletion_mm: depletion,
            worst_depletion_mm: worst,
            allowed_mm: allowed,
            total_available_mm: allowed / 0.4,
            layer_mm: 10.0,
            daylight,
            stage,
        });
        start += TimeDelta::hours(1);
    }
    hours
}

fn root_days(stages: &[(DateTime<Utc>, Stage)], now: DateTime<Utc>) -> f64 {
    let begin = stages.last().unwrap().0;
    f64::from(i32::try_from((now - begin).num_hours()).unwrap()) / 24.0
}

/// Every kind of reason comes up in turn.
fn adorn(run: &mut Run, number: usize) {
    let moved = |by, minutes| Some(Moved { by, minutes });
    match number % 9 {
        1 => run.reason.moved = moved(Constraint::Supply, 12),
        3 => {
            run.reason.trigger = Trigger::AheadOfConstraint;
            run.reason.moved = moved(Constraint::QuietWindow, -95);
        }
        5 => run.reason.forecast_rain_counted_mm = 2.0,
        6 => {
            run.reason.cycle = Some(Cycle {
                number: 1,
                of: 2,
                for_turf: false,
            })
        }
        7 => run.reason.rain_since_last_mm = 0.4,
        8 => run.reason.moved = moved(Constraint::Night, 190),
        _ => {}
    }
}

fn shortfalls(first: NaiveDate, time_zone: Tz) -> Vec<Shortfall> {
    let day = start_of_day(time_zone, first + Days::new(2));
    vec![Shortfall {
        zone: 0,
        kind: ShortfallKind::SeedLayerDry,
        from: day + TimeDelta::hours(13),
        to: day + TimeDelta::hours(18),
        hours_dry: 2.5,
        night_hours_dry: 1.2,
        longest_h: 2.5,
        worst_ratio: 1.84,
        cause: Constraint::QuietWindow,
        mend: vec![
            "water the square at 12:20 by hand: 2.5 h dry become none".into(),
            "a dry-before time of 30 min instead of 60 min for \"Saturday match\"".into(),
        ],
    }]
}

fn notes() -> Vec<PlanNote> {
    vec![PlanNote {
        zone: Some(0),
        text: "The sprinklers are faster than the soil takes water in.".into(),
    }]
}

/// Weather of which the radiation was estimated in part.
pub fn weather(hours: usize) -> WeatherSource {
    let measured = HourProvenance {
        air_temperature: Provenance::Measured,
        humidity: Provenance::Measured,
        wind: Provenance::Measured,
        solar: Provenance::Measured,
        rain: Provenance::Measured,
    };
    let hour = WeatherHour {
        start: "2023-08-24T00:00:00Z".parse().unwrap(),
        air_temperature_c: 18.0,
        actual_vapour_pressure_kpa: 1.4,
        wind_2m_m_per_s: 2.0,
        solar_mj_per_m2_h: 1.0,
        rs_over_rso: 0.8,
        pressure_kpa: 101.0,
        daylight: true,
        rain_mm: 0.0,
        rain_probability: 1.0,
        provenance: measured,
    };
    let mut series = vec![hour; hours];
    for hour in series.iter_mut().take(12) {
        hour.provenance.solar = Provenance::Estimated;
    }
    let remarks = vec![
        "rain missing in 3 hours: taken as none".into(),
        "wind speed stood still at 2 (is the sensor stuck?), 9 h: used as they are".into(),
    ];
    WeatherSource::new("harrowmere-august.csv", &series, remarks)
}

/// The first day of the usual plan, a Thursday.
pub fn thursday() -> NaiveDate {
    NaiveDate::from_ymd_opt(2023, 8, 24).unwrap()
}
