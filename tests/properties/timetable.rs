//! No timetable ever breaks a constraint of its site, for random sites. The
//! checks here work on local clock times and do not use the planner's own
//! calendars.

use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, TimeDelta, Timelike, Utc};
use proptest::prelude::*;
use soakmist::agronomy::sun::{self, SunDay};
use soakmist::plan::make_timetable;
use soakmist::plan::timetable::{Run, Stage, Timetable};
use soakmist::site::*;
use soakmist::units::{Area, Flow, Rate, Volume};

use crate::support::{clock, date, dry_weather, local, site, wind, zone};

fn random_zone(index: usize) -> impl Strategy<Value = Zone> {
    let textures = [
        TextureName::Sand,
        TextureName::SandyLoam,
        TextureName::Loam,
        TextureName::ClayLoam,
        TextureName::Clay,
    ];
    (
        prop::sample::select(textures.to_vec()),
        30.0..600.0f64,
        4.0..35.0f64,
        0.45..0.9f64,
        (0u32..4, 5u32..19),
        (60i64..240, 5i64..40, 0i64..60),
        (0.0..9.0f64, prop::bool::ANY),
    )
        .prop_map(
            move |(
                texture,
                area,
                rate,
                uniformity,
                (day, hour),
                (shortest, longest, soak),
                (slope, turf),
            )| {
                let mut zone = zone(&format!("zone-{index}"));
                zone.soil.kind = SoilKind::Texture(texture);
                zone.area = Area::from_m2(area);
                zone.slope_pct = slope;
                let rate = Rate::from_mm_per_h(rate);
                zone.sprinkler = Sprinkler {
                    precipitation_rate: rate,
                    distribution_uniformity: uniformity,
                    application_efficiency: 0.8,
                    flow: rate.over(zone.area),
                };
                zone.seeding.at = local(22 + day, hour);
                if turf {
                    zone.seeding.ground = Ground::Turf {
                        cover_fraction: 0.6,
                    };
                }
                zone.runs = RunLimits {
                    shortest: TimeDelta::seconds(shortest),
                    longest: TimeDelta::minutes(longest),
                    soak_time: TimeDelta::minutes(soak),
                };
                zone
            },
        )
}

fn random_site() -> impl Strategy<Value = Site> {
    (
        (1usize..6).prop_flat_map(|n| (0..n).map(random_zone).collect::<Vec<_>>()),
        1.0..4.0f64,
        (0u32..12, 12u32..24, prop::bool::ANY),
        prop::option::of(500.0..60_000.0f64),
        prop::option::of(1.5..4.0f64),
        (9u32..15, 1u32..6, 0i64..120),
    )
        .prop_map(
            |(zones, spare, (open, shut, by_parity), most, wind_limit, quiet)| {
                let largest = zones
                    .iter()
                    .map(|zone| zone.sprinkler.flow.l_per_min())
                    .fold(0.0, f64::max);
                let mut site = site(zones);
                site.supply.flow = Flow::from_l_per_min(largest * spare);
                site.rules = WateringRules {
                    hours: vec![DailyHours {
                        from: clock(open, 0),
                        to: clock(shut, 0),
                    }],
                    dates: if by_parity {
                        DateParity::Odd
                    } else {
                        DateParity::Any
                    },
                    most_per_day: most.map(Volume::from_l),
                    ..WateringRules::default()
                };
                site.wind_limit = wind_limit.and_then(wind);
                let (from, length, dry) = quiet;
                site.quiet_windows = vec![QuietWindow {
                    name: "nets practice".into(),
                    zones: Vec::new(),
                    days: QuietDays::Weekly(vec![chrono::Weekday::Tue, chrono::Weekday::Sat]),
                    hours: DailyHours {
                        from: clock(from, 30),
                        to: clock(from + length, 30),
                    },
                    dry_before: TimeDelta::minutes(dry),
                }];
                site
            },
        )
}

fn plan(site: &Site) -> Timetable {
    make_timetable(site, &dry_weather(date(12), 32), local(20, 0), local(29, 0)).unwrap()
}

fn check_supply(site: &Site, runs: &[Run]) {
    for run in runs {
        let flow: f64 = runs
            .iter()
            .filter(|other| other.start <= run.start && other.end() > run.start)
            .map(|other| site.zones[other.zone].sprinkler.flow.l_per_min())
            .sum();
        assert!(
            flow <= site.supply.flow.l_per_min() + 1e-3,
            "{flow} L/min at {}",
            run.start
        );
    }
}

fn check_lengths_and_soaks(site: &Site, runs: &[Run]) {
    for (index, zone) in site.zones.iter().enumerate() {
        let own: Vec<&Run> = runs.iter().filter(|run| run.zone == index).collect();
        for run in &own {
            assert!(
                run.duration <= zone.runs.longest.max(zone.runs.shortest),
                "{run:?}"
            );
            assert!(
                run.duration + TimeDelta::seconds(5) > zone.runs.shortest,
                "{run:?}"
            );
        }
        for pair in own.windows(2) {
            assert!(
                pair[1].start - pair[0].end() >= zone.runs.soak_time,
                "{pair:?}"
            );
        }
    }
}

/// Every second matters little and every minute enough: looks at each minute
/// of each run on the local clock.
fn check_clock(
    site: &Site,
    weather: &[soakmist::agronomy::weather_record::WeatherHour],
    runs: &[Run],
) {
    let hours = site.rules.hours[0];
    let quiet = &site.quiet_windows[0];
    for run in runs {
        let mut at = run.start;
        while at < run.end() {
            let local = at.with_timezone(&site.place.time_zone);
            assert!(
                hours.from <= local.time() && local.time() < hours.to || hours.to == NaiveTime::MIN,
                "{run:?}"
            );
            if site.rules.dates == DateParity::Odd {
                assert_eq!(local.day() % 2, 1, "{run:?}");
            }
            if [chrono::Weekday::Tue, chrono::Weekday::Sat].contains(&local.weekday()) {
                let from = i64::from(quiet.hours.from.num_seconds_from_midnight())
                    - quiet.dry_before.num_seconds();
                let to = i64::from(quiet.hours.to.num_seconds_from_midnight());
                let now = i64::from(local.time().num_seconds_from_midnight());
                assert!(now < from || now >= to, "{run:?} in a quiet window");
            }
            if let Some(limit) = site.wind_limit {
                let hour = weather.iter().rfind(|hour| hour.start <= at).unwrap();
                assert!(hour.wind_2m_m_per_s <= limit.m_per_s(), "{run:?} in wind");
            }
            if run.stage != Stage::PreSoak {
                let (from, to) = between_nights(site, local.date_naive());
                assert!(from <= at && at < to, "{run:?} by night");
            }
            at += TimeDelta::minutes(1);
        }
    }
}

/// From when to when the grass may be wet on a day.
fn between_nights(site: &Site, date: NaiveDate) -> (DateTime<Utc>, DateTime<Utc>) {
    let place = &site.place;
    let day = sun::sun_day(
        place.latitude_deg,
        place.longitude_deg,
        date,
        place.time_zone,
    );
    let Ok(SunDay::RiseAndSet {
        sunrise, sunset, ..
    }) = day
    else {
        panic!("the sun rises and sets at Harrowmere");
    };
    (
        sunrise - site.night.start_before_sunrise,
        sunset - site.night.dry_before_sunset,
    )
}

fn check_days(site: &Site, runs: &[Run]) {
    let Some(most) = site.rules.most_per_day else {
        return;
    };
    let mut by_day = std::collections::BTreeMap::new();
    for run in runs {
        let day = run.start.with_timezone(&site.place.time_zone).date_naive();
        *by_day.entry(day).or_insert(0.0) += run.volume.l();
    }
    for (day, used) in by_day {
        assert!(used <= most.l() + 1e-6, "{used} L on {day}");
    }
}

/// Seconds by daylight in which seed is too dry, of all zones: whole ones, so
/// that they add up exactly.
fn dry_seconds(timetable: &Timetable) -> f64 {
    let zones = timetable.zones.iter();
    zones
        .map(|zone| (zone.dry_daylight_hours * 3600.0).round())
        .sum()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 64,
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_timetable_breaks_supply_window_run_length_or_soak(site in random_site()) {
        let weather = dry_weather(date(12), 32);
        let timetable = plan(&site);
        check_supply(&site, &timetable.runs);
        check_lengths_and_soaks(&site, &timetable.runs);
        check_clock(&site, &weather, &timetable.runs);
        check_days(&site, &timetable.runs);
    }

    #[test]
    fn more_supply_never_leaves_seed_drier(site in random_site(), factor in 1.05..4.0f64) {
        let mut richer = site.clone();
        richer.supply.flow = richer.supply.flow * factor;
        let (before, after) = (plan(&site), plan(&richer));
        let (before, after) = (dry_seconds(&before), dry_seconds(&after));
        prop_assert!(
            after <= before,
            "{before} s dry, {after} s with {factor} times the supply"
        );
    }

    #[test]
    fn the_same_input_gives_the_same_timetable(site in random_site()) {
        prop_assert_eq!(plan(&site), plan(&site));
    }

    /// Every hour too dry by daylight while seed germinates is in a shortfall.
    #[test]
    fn nothing_is_silently_dry(site in random_site()) {
        let timetable = plan(&site);
        for (index, zone) in timetable.zones.iter().enumerate() {
            let told: f64 = timetable.shortfalls.iter()
                .filter(|shortfall| shortfall.zone == index
                    && shortfall.kind == soakmist::plan::timetable::ShortfallKind::SeedLayerDry)
                .map(|shortfall| shortfall.hours_dry)
                .sum();
            prop_assert!((told - zone.dry_daylight_hours).abs() < 0.1, "{told} told of {}", zone.dry_daylight_hours);
        }
    }
}
