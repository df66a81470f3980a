//! What a missing variable costs: daily ET0 of the real year with each single
//! variable missing, and with all but temperature missing, against the year with all
//! of them. docs/weather.md has the table; this keeps it true.

#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::collections::BTreeMap;

use chrono::{NaiveDate, TimeDelta};
use soakmist::agronomy::missing_data::complete;
use soakmist::agronomy::reference_et::{EtMethod, hourly_et0_mm};
use soakmist::agronomy::weather_record::RawHour;
use soakmist::weather::Variable;
use soakmist::weather::series::{MergeRules, Source, SourceKind, merge};

use crate::real_year;

const TABLE: &str = include_str!("../../docs/weather.md");

/// Daily ET0 [mm] by local standard day.
fn daily(hours: &[RawHour]) -> BTreeMap<NaiveDate, f64> {
    let mut days = BTreeMap::new();
    for hour in complete(hours, &real_year::place()).unwrap().hours {
        let day = (hour.start - TimeDelta::hours(5)).date_naive();
        *days.entry(day).or_insert(0.0) += hourly_et0_mm(&hour.et_hour(), EtMethod::Fao56);
    }
    days
}

fn without(missing: &[Variable]) -> BTreeMap<NaiveDate, f64> {
    let mut hours = real_year::hours();
    for hour in &mut hours {
        for variable in missing {
            variable.set(hour, None);
        }
    }
    daily(&hours)
}

/// One line of the table: mean error, mean absolute error, 95 % of days within,
/// and the error of the year's sum.
fn line(name: &str, missing: &[Variable]) -> String {
    told(name, &without(missing))
}

fn told(name: &str, some: &BTreeMap<NaiveDate, f64>) -> String {
    let all = without(&[]);
    let errors: Vec<f64> = all.iter().map(|(day, full)| some[day] - full).collect();
    #[expect(clippy::cast_precision_loss, reason = "365 days")]
    let count = errors.len() as f64;
    let mean = errors.iter().sum::<f64>() / count;
    let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    sizes.sort_by(f64::total_cmp);
    let mean_size = sizes.iter().sum::<f64>() / count;
    let within = sizes[sizes.len() * 95 / 100];
    let year = 100.0 * errors.iter().sum::<f64>() / all.values().sum::<f64>();
    format!("| {name} | {mean:+.2} | {mean_size:.2} | {within:.2} | {year:+.1} % |")
}

#[test]
fn the_table_of_missing_variables_holds() {
    let all_but_temperature = [
        Variable::RelativeHumidity,
        Variable::Wind,
        Variable::Solar,
        Variable::Pressure,
        Variable::Rain,
    ];
    let lines = [
        line("relative humidity", &[Variable::RelativeHumidity]),
        line("wind speed", &[Variable::Wind]),
        line("solar radiation", &[Variable::Solar]),
        line("pressure", &[Variable::Pressure]),
        line("all but temperature", &all_but_temperature),
    ];
    for line in lines {
        assert!(TABLE.contains(&line), "docs/weather.md lacks\n{line}");
    }
}

/// The year as a garden's station and a service tell it: the station has air,
/// humidity and wind and is silent on every tenth day; the service has all but
/// wind, is 1 °C too warm, leaves out two hours of each day and every thirtieth
/// day. Merged like any other sources.
fn split_in_two() -> Vec<RawHour> {
    let source = |name: &str, kind, hours| Source {
        name: name.to_owned(),
        kind,
        received: None,
        hours,
        earlier: Vec::new(),
    };
    let year = real_year::hours();
    let (mut station, mut service) = (year.clone(), year.clone());
    for hour in &mut station {
        for variable in [Variable::Solar, Variable::Rain, Variable::Pressure] {
            variable.set(hour, None);
        }
    }
    for hour in &mut service {
        Variable::Wind.set(hour, None);
        if let Some(air) = &mut hour.air_temperature_c {
            air.value += 1.0;
        }
    }
    let kept = |keep: fn(usize) -> bool, hours: Vec<RawHour>| -> Vec<RawHour> {
        let numbered = hours.into_iter().enumerate();
        let kept = numbered.filter(|(index, _)| keep(*index));
        kept.map(|(_, hour)| hour).collect()
    };
    let station = kept(|index| index / 24 % 10 != 4, station);
    let is_told = |index: usize| index / 24 % 30 != 14 && !matches!(index % 24, 11 | 17);
    let service = kept(is_told, service);
    let (from, last) = (year[0].start, year[year.len() - 1].start);
    let to = last + TimeDelta::hours(1);
    let rules = MergeRules {
        from,
        to,
        now: to,
        oldest_forecast: MergeRules::OLDEST_FORECAST,
    };
    let sources = [
        source("station", SourceKind::Sensor, station),
        source("service", SourceKind::Service, service),
    ];
    merge(&sources, &[], &real_year::place(), &rules).raw()
}

#[test]
fn a_station_and_a_service_with_gaps_give_back_the_year_within_the_stated_error() {
    let line = told("station and service, with gaps", &daily(&split_in_two()));
    assert!(TABLE.contains(&line), "docs/weather.md lacks\n{line}");
}

#[test]
fn an_hour_without_temperature_now_and_then_costs_next_to_nothing() {
    let mut hours = real_year::hours();
    for hour in hours.iter_mut().skip(5).step_by(13) {
        hour.air_temperature_c = None;
    }
    let (all, some) = (without(&[]), daily(&hours));
    let worst = all
        .iter()
        .map(|(day, full)| (some[day] - full).abs())
        .fold(0.0, f64::max);
    // Two hours a day drawn between neighbours: a tenth of a millimetre at most.
    assert!(worst < 0.15, "{worst}");
}
