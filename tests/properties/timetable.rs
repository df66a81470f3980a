//! No timetable ever breaks a constraint of its site, for random sites. The
//! checks here work on local clock times and do not use the planner's own
//! calendars.

use chrono::{DateTime, Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta, Utc};
use proptest::prelude::*;
use soakmist::agronomy::sun::{self, SunDay};
use soakmist::plan::make_timetable;
use soakmist::plan::timetable::{Run, Stage, Timetable};
use soakmist::site::*;

use crate::random_site::random_site;
use crate::support::{date, dry_weather, local};

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

/// Whether a time of day is within hours, which may pass midnight.
fn within(hours: &[DailyHours], time: NaiveTime) -> bool {
    hours.is_empty()
        || hours.iter().any(|hours| {
            let (after, before) = (hours.from <= time, time < hours.to);
            if hours.from < hours.to {
                after && before
            } else {
                after || before
            }
        })
}

/// Whether the rules allow water at a local time.
fn is_allowed(rules: &WateringRules, local: NaiveDateTime) -> bool {
    let (date, time) = (local.date(), local.time());
    let in_force = rules
        .exceptions
        .iter()
        .filter(|exception| exception.from <= date && date <= exception.to);
    let mut permits = in_force
        .clone()
        .filter_map(|exception| match &exception.effect {
            ExceptionEffect::Permit { hours } => Some(hours),
            ExceptionEffect::Ban => None,
        });
    if in_force
        .clone()
        .any(|exception| exception.effect == ExceptionEffect::Ban)
    {
        return false;
    }
    if let Some(hours) = permits.next() {
        return within(hours, time);
    }
    let by_date = match rules.dates {
        DateParity::Any => true,
        DateParity::Odd => date.day() % 2 == 1,
        DateParity::Even => date.day() % 2 == 0,
    };
    let by_weekday = rules.weekdays.is_empty() || rules.weekdays.contains(&date.weekday());
    by_date && by_weekday && within(&rules.hours, time)
}

/// Whether people are on the grass, or will be before it is dry. No clock
/// changes in these weeks.
fn is_quiet(window: &QuietWindow, local: NaiveDateTime) -> bool {
    let QuietDays::Weekly(weekdays) = &window.days else {
        panic!("windows here are weekly");
    };
    let dates = [-1, 0, 1].map(|days| local.date() + TimeDelta::days(days));
    dates.into_iter().any(|date| {
        let ends = if window.hours.to > window.hours.from {
            date
        } else {
            date + TimeDelta::days(1)
        };
        let from = date.and_time(window.hours.from) - window.dry_before;
        weekdays.contains(&date.weekday())
            && from <= local
            && local < ends.and_time(window.hours.to)
    })
}

/// Every second matters little and every minute enough: looks at each minute
/// of each run on the local clock.
fn check_clock(
    site: &Site,
    weather: &[soakmist::agronomy::weather_record::WeatherHour],
    runs: &[Run],
) {
    for run in runs {
        let mut at = run.start;
        while at < run.end() {
            let local = at.with_timezone(&site.place.time_zone).naive_local();
            assert!(is_allowed(&site.rules, local), "{run:?} against the rules");
            for window in &site.quiet_windows {
                assert!(!is_quiet(window, local), "{run:?} in a quiet window");
            }
            let hour = weather.iter().rfind(|hour| hour.start <= at).unwrap();
            if let Some(limit) = site.wind_limit {
                assert!(hour.wind_2m_m_per_s <= limit.m_per_s(), "{run:?} in wind");
            }
            assert!(
                hour.air_temperature_c >= site.frost_limit_c,
                "{run:?} in the cold"
            );
            let zone = &site.zones[run.zone];
            if run.stage != Stage::PreSoak || zone.seeding.ground != Ground::Bare {
                let (from, to) = between_nights(site, local.date());
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
        let seconds = run.duration.num_seconds();
        for second in 0..seconds {
            let at = run.start + TimeDelta::seconds(second);
            let day = at.with_timezone(&site.place.time_zone).date_naive();
            *by_day.entry(day).or_insert(0.0) += run.volume.l() / seconds as f64;
        }
    }
    for (day, used) in by_day {
        assert!(used <= most.l() + 1e-3, "{used} L on {day}");
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
