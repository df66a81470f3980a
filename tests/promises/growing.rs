//! What a timetable promises of seed on its way to turf: who is up when, what
//! roots and turf want, and which water counts.

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::Provenance;
use soakmist::balance::ground::Ground as BedGround;
use soakmist::plan::timetable::{BalanceHour, Shortfall, ShortfallKind, Stage, Timetable, Trigger};
use soakmist::report::{View, WeatherSource};
use soakmist::site::*;
use soakmist::units::Volume;

use crate::planning::{dry_plan, plan, with_rain};
use crate::support::*;

/// When each stage of the only zone begins.
fn begins(timetable: &Timetable, stage: Stage) -> DateTime<Utc> {
    let mut stages = timetable.zones[0].stages.iter();
    stages.find(|(_, other)| *other == stage).unwrap().0
}

/// Ryegrass and bluegrass in equal parts.
fn slow_and_quick() -> Zone {
    let half = |species| SpeciesShare {
        species,
        share: 0.5,
    };
    let mut zone = zone("square");
    zone.seeding.mix = vec![
        half(Species::PerennialRyegrass),
        half(Species::KentuckyBluegrass),
    ];
    zone
}

/// The first green of a mix is its quickest species. A record of it once ended
/// the watering of the seed, a week or two before the slowest was up.
#[test]
fn the_first_green_that_a_person_saw_does_not_end_the_watering_of_slower_seed() {
    let expected = dry_plan(vec![slow_and_quick()]);
    let mut seen = slow_and_quick();
    seen.seeding.emerged = Some(date(26));
    let seen = dry_plan(vec![seen]);
    assert_eq!(begins(&seen, Stage::Emergence), local(26, 0));
    assert!(begins(&expected, Stage::Emergence) > local(26, 0));
    // Bluegrass 14 to 28 days, all of them good.
    assert_eq!(seen.zones[0].emergence.last, date(22) + TimeDelta::days(28));
    assert!(seen.zones[0].emergence.recorded);
    let runs_on_day = |timetable: &Timetable, day: i64| {
        let from = local(22, 0) + TimeDelta::days(day);
        let runs = timetable.runs.iter();
        runs.filter(|run| run.start >= from && run.start < from + TimeDelta::days(1))
            .count()
    };
    for day in 5..20 {
        let (seen, expected) = (runs_on_day(&seen, day), runs_on_day(&expected, day));
        assert!(seen >= expected.min(4), "day {day}: {seen} of {expected}");
    }
}

/// One species is not up on one day either.
#[test]
fn the_first_seedlings_of_one_species_are_not_all_of_them() {
    let mut seen = zone("square");
    seen.seeding.emerged = Some(date(26));
    let seen = dry_plan(vec![seen]);
    assert_eq!(begins(&seen, Stage::Emergence), local(26, 0));
    assert_eq!(
        begins(&seen, Stage::Establishment),
        local(22, 0) + TimeDelta::days(10)
    );
}

/// A first green two days late says that the bed is colder or drier than the
/// weather tells: the slowest cannot make up for it.
#[test]
fn a_late_first_green_puts_off_the_last_by_as_much() {
    let mut seen = slow_and_quick();
    seen.seeding.emerged = Some(date(29));
    let seen = dry_plan(vec![seen]);
    assert_eq!(
        seen.zones[0].emergence.last,
        date(22) + TimeDelta::days(28 + 2)
    );
    let slowest = &seen.zones[0].emergence.by_species[1];
    assert_eq!(slowest.last, seen.zones[0].emergence.last);
}

#[test]
fn the_day_on_which_a_person_saw_all_of_it_up_ends_the_watering_of_seed() {
    let mut seen = slow_and_quick();
    seen.seeding.emerged = Some(date(26));
    seen.seeding.all_up = Some(date(30));
    let both = dry_plan(vec![seen.clone()]);
    assert_eq!(begins(&both, Stage::Emergence), local(26, 0));
    assert_eq!(begins(&both, Stage::Establishment), local(30, 0));
    assert!(both.zones[0].emergence.all_up_recorded);
    // Who tells only that all is up has seen the first green no later.
    seen.seeding.emerged = None;
    seen.seeding.all_up = Some(date(25));
    let all = dry_plan(vec![seen]);
    assert_eq!(all.zones[0].emergence.first, date(25));
    assert_eq!(begins(&all, Stage::Establishment), local(25, 0));
}

/// The layer of the day on which all is up is that of the day before. Its margin
/// was once given up overnight, for the youngest seedlings.
#[test]
fn the_margin_of_the_seed_layer_fades_with_growth() {
    let timetable = dry_plan(vec![zone("square")]);
    let up = begins(&timetable, Stage::Establishment);
    let used = |from: i64, to: i64| {
        let at = |days| up + TimeDelta::days(days);
        let runs = timetable.runs.iter();
        let runs = runs.filter(|run| run.start >= at(from) && run.start < at(to));
        let at_need = runs.filter(|run| run.reason.moved.is_none());
        at_need
            .map(|run| run.reason.depletion_mm / run.reason.allowed_mm)
            .fold(0.0, f64::max)
    };
    let (before, after, later) = (used(-2, 0), used(0, 1), used(8, 12));
    assert!((0.5..0.67).contains(&before), "{before}");
    // 6 mm of 140 mm in a day: 0.65 + 0.35 · 0.04.
    assert!((0.3..0.68).contains(&after), "{after}");
    assert!((0.68..0.85).contains(&later), "{later}");
}

/// The column of rain once told what counted on the first zone: none, while
/// its seed germinated, of a wet week ahead.
#[test]
fn the_rain_of_a_day_is_what_falls_and_not_what_counts() {
    let mut weather = with_rain(dry_weather(date(10), 45), 25, 2.0, 6);
    for hour in weather.iter_mut().filter(|hour| hour.rain_mm > 0.0) {
        hour.rain_probability = 0.9;
        hour.provenance.rain = Provenance::Forecast;
    }
    let site = site(vec![zone("square")]);
    let timetable = plan(&site, &weather);
    let sum = |of: fn(&BalanceHour) -> f64| timetable.zones[0].hours.iter().map(of).sum::<f64>();
    assert!(sum(|hour| hour.rain_mm).abs() < 1e-9, "seed counts none");
    assert!((sum(|hour| hour.all_rain_mm) - 12.0).abs() < 1e-9);
    let source = WeatherSource::new("weather.csv", &weather, Vec::new());
    let view = View::new(&site, &timetable, &source, &[]);
    let day = view.days.iter().find(|day| day.date == date(25)).unwrap();
    assert!((day.rain_mm - 12.0).abs() < 1e-9, "{}", day.rain_mm);
}

/// Savva & Frenken 2002, FAO Irrigation Manual, module 8 (from memory): a slope of
/// 12 to 20 % leaves 40 % of the intake. A measurement was made on the slope.
#[test]
fn a_slope_takes_in_less_unless_it_was_measured() {
    let mut bank = zone("bank");
    let level = BedGround::of(&bank).unwrap();
    bank.slope_pct = 18.0;
    let sloping = BedGround::of(&bank).unwrap();
    let share = sloping.intake.mm_per_h() / level.intake.mm_per_h();
    assert!((share - 0.4).abs() < 1e-9, "{share}");
    bank.soil.infiltration_rate = Some(level.intake);
    assert_eq!(BedGround::of(&bank).unwrap().intake, level.intake);
}

/// Snow lies. Once it soaked in at once, at five degrees of frost.
#[test]
fn what_falls_in_the_frost_wets_no_seed() {
    let mut weather = with_rain(dry_weather(date(10), 45), 25, 1.0, 6);
    for hour in weather.iter_mut().filter(|hour| hour.rain_mm > 0.0) {
        hour.air_temperature_c = -5.0;
        hour.actual_vapour_pressure_kpa = 0.3;
    }
    let timetable = plan(&site(vec![zone("square")]), &weather);
    let sum = |of: fn(&BalanceHour) -> f64| timetable.zones[0].hours.iter().map(of).sum::<f64>();
    assert!(sum(|hour| hour.rain_mm).abs() < 1e-9);
    assert!((sum(|hour| hour.all_rain_mm) - 6.0).abs() < 1e-9, "it fell");
}

/// Mists wet the upper 10 mm, standing turf draws on all the soil: once it
/// wilted for five weeks with "0 hours dry" in the plan.
#[test]
fn turf_that_is_overseeded_does_not_wilt_unseen() {
    let mut turf = zone("outfield");
    turf.seeding.ground = Ground::Turf {
        cover_fraction: 0.8,
    };
    turf.seeding.mix[0].species = Species::KentuckyBluegrass;
    // Most of the 150 mm of loam would be gone, were it not for these runs.
    let timetable = dry_plan(vec![turf.clone()]);
    let deep = |timetable: &Timetable| {
        let runs = timetable.runs.iter();
        let deep = runs.filter(|run| run.reason.trigger == Trigger::TurfDepletion);
        deep.map(|run| run.depth.mm()).collect::<Vec<_>>()
    };
    let given = deep(&timetable);
    assert!(given.iter().sum::<f64>() > 15.0, "{given:?}");
    assert!(given.len() < 25, "deep and seldom: {given:?}");
    let is_wilting =
        |found: &&Shortfall| found.kind == ShortfallKind::RootZoneDry && found.hours_dry > 12.0;
    assert!(!timetable.shortfalls.iter().any(|found| is_wilting(&found)));
    // Where the rules leave room for mists only, it is told.
    let mut site = site(vec![turf.clone()]);
    site.rules.most_per_day = Some(Volume::from_l(300.0));
    let told = plan(&site, &dry_weather(date(10), 45));
    let told = told.shortfalls.iter().find(is_wilting);
    assert!(told.is_some());
    // Bare ground has no such need.
    assert!(deep(&dry_plan(vec![zone("square")])).is_empty());
}
