//! One series that can be trusted: the best source wins value by value, and
//! nothing is mended in silence.

#![allow(
    clippy::unwrap_used,
    clippy::cast_possible_truncation,
    reason = "a test may panic"
)]

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::{Provenance, RawHour, Reading};
use soakmist::weather::FindingKind;
use soakmist::weather::Variable;
use soakmist::weather::bias::Bias;
use soakmist::weather::doubt::Doubt;
use soakmist::weather::series::{MergeRules, Series, SeriesHour, Source, SourceKind, merge};

use crate::real_year::{self, Noise};

fn time(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

fn source(name: &str, kind: SourceKind, hours: Vec<RawHour>) -> Source {
    Source {
        name: name.to_owned(),
        kind,
        received: None,
        hours,
    }
}

/// Ten days of July of the real year; the present is after the seventh.
fn july() -> (Vec<RawHour>, MergeRules) {
    let (from, to) = (time("2023-07-01T05:00:00Z"), time("2023-07-11T05:00:00Z"));
    let hours: Vec<RawHour> = real_year::hours()
        .into_iter()
        .filter(|h| h.start >= from && h.start < to)
        .collect();
    assert_eq!(hours.len(), 240);
    let now = time("2023-07-08T05:00:00Z");
    (
        hours,
        MergeRules {
            from,
            to,
            now,
            oldest_forecast: MergeRules::OLDEST_FORECAST,
        },
    )
}

fn merged(sources: &[Source], frozen: &[SeriesHour], rules: &MergeRules) -> Series {
    merge(sources, frozen, &real_year::place(), rules)
}

fn set_all(hours: &mut [RawHour], variable: Variable, change: impl Fn(f64) -> f64) {
    for hour in hours {
        let reading = variable.of(hour).unwrap();
        variable.set(
            hour,
            Some(Reading {
                value: change(reading.value),
                ..reading
            }),
        );
    }
}

fn provenance(series: &Series, index: usize, variable: Variable) -> Option<Provenance> {
    series.hours[index]
        .marks
        .get(&variable)
        .map(|mark| mark.provenance)
}

#[test]
fn observed_beats_forecast_beats_climate_variable_by_variable() {
    let (truth, rules) = july();
    // The garden has a thermometer only, and only for the past; the service knows
    // no radiation; the typical year knows all.
    let mut sensor: Vec<RawHour> = truth[..168].to_vec();
    let mut service = truth.clone();
    for hour in &mut sensor {
        for variable in Variable::ALL
            .into_iter()
            .filter(|v| *v != Variable::AirTemperature)
        {
            variable.set(hour, None);
        }
    }
    for hour in &mut service {
        hour.solar_w_per_m2 = None;
        hour.rain_probability = Some(0.3);
    }
    let series = merged(
        &[
            source("typical", SourceKind::TypicalYear, truth.clone()),
            source("service", SourceKind::Service, service),
            source("thermometer", SourceKind::Sensor, sensor),
        ],
        &[],
        &rules,
    );
    assert_eq!(series.hours.len(), 240);
    assert_eq!(series.gaps, []);
    let (past, future) = (100, 200);
    assert_eq!(
        provenance(&series, past, Variable::AirTemperature),
        Some(Provenance::Measured)
    );
    assert_eq!(
        provenance(&series, future, Variable::AirTemperature),
        Some(Provenance::Forecast)
    );
    assert_eq!(
        provenance(&series, past, Variable::Wind),
        Some(Provenance::Forecast)
    );
    assert_eq!(
        provenance(&series, past, Variable::Solar),
        Some(Provenance::Climate)
    );
    assert_eq!(series.hours[past].marks[&Variable::Solar].source, "typical");
    assert_eq!(series.hours[past].hour.wind_height_m.round() as i32, 10);
}

#[test]
fn rain_of_a_typical_year_counts_as_none() {
    let (truth, rules) = july();
    let rain: f64 = truth
        .iter()
        .filter_map(|hour| hour.rain_mm)
        .map(|r| r.value)
        .sum();
    assert!(rain > 1.0, "the days must have rain to show it");
    let series = merged(
        &[source("typical", SourceKind::TypicalYear, truth)],
        &[],
        &rules,
    );
    assert!(
        series
            .hours
            .iter()
            .all(|h| h.hour.rain_mm.is_some_and(|r| r.value.abs() < 1e-12))
    );
}

#[test]
fn a_measured_past_stays_and_a_forecast_past_is_replaced_once_a_sensor_speaks() {
    let (truth, rules) = july();
    let mut warmer = truth.clone();
    set_all(&mut warmer, Variable::AirTemperature, |t| t + 5.0);
    let first = merged(
        &[
            source("gauge", SourceKind::Sensor, truth[..100].to_vec()),
            source("service", SourceKind::Service, truth.clone()),
        ],
        &[],
        &rules,
    );
    let frozen = first.past(rules.now);
    assert_eq!(frozen.len(), 168);
    // Later: the sensor's file was changed, a late part came, the service thinks anew.
    let again = merged(
        &[
            source("gauge", SourceKind::Sensor, warmer[..140].to_vec()),
            source("service", SourceKind::Service, warmer.clone()),
        ],
        &frozen,
        &rules,
    );
    let warmer_by = |index: usize| {
        let value = |series: &Series| series.hours[index].hour.air_temperature_c.unwrap().value;
        (value(&again) - value(&first)).round() as i32
    };
    assert_eq!(warmer_by(50), 0, "measured: stays");
    assert_eq!(warmer_by(120), 5, "was forecast, now measured: replaced");
    assert_eq!(warmer_by(150), 0, "was forecast and still is: stays");
    assert_eq!(warmer_by(200), 5, "the future is what the service says now");
    // What is kept survives being written and read.
    let text = serde_json::to_string(&frozen).unwrap();
    assert_eq!(
        serde_json::from_str::<Vec<SeriesHour>>(&text).unwrap(),
        frozen
    );
}

#[test]
fn what_nobody_knows_is_told_and_not_made_up_here() {
    let (mut truth, rules) = july();
    for hour in truth.iter_mut().skip(10).take(3) {
        hour.air_temperature_c = None;
        hour.rain_mm = None;
    }
    truth.remove(50);
    let at = |index: i64| rules.from + TimeDelta::hours(index);
    let series = merged(&[source("station", SourceKind::Sensor, truth)], &[], &rules);
    assert_eq!(provenance(&series, 11, Variable::AirTemperature), None);
    let gaps: Vec<_> = series
        .gaps
        .iter()
        .map(|gap| (gap.variable, gap.from, gap.to))
        .collect();
    let temperature = Variable::AirTemperature;
    assert_eq!(
        gaps[..2],
        [(temperature, at(10), at(13)), (temperature, at(50), at(51))]
    );
    assert!(gaps.contains(&(Variable::Rain, at(10), at(13))));
    // An hour of which nothing is known is no hour for the rules that complete.
    assert_eq!((series.hours.len(), series.raw().len()), (240, 239));
}

#[test]
fn a_forecast_that_is_too_old_is_not_used_and_told() {
    let (truth, rules) = july();
    let mut old = source("service", SourceKind::Service, truth);
    old.received = Some(rules.now - TimeDelta::hours(37));
    let series = merged(&[old.clone()], &[], &rules);
    assert!(matches!(series.doubts[..], [Doubt::TooOld { .. }]));
    assert!(series.hours.iter().all(|hour| hour.marks.is_empty()));
    old.received = Some(rules.now - TimeDelta::hours(35));
    assert_eq!(merged(&[old], &[], &rules).doubts, []);
}

#[test]
fn radiation_of_a_logger_with_a_wrong_clock_is_told_and_not_used() {
    let (mut wrong, rules) = july();
    for hour in &mut wrong {
        hour.start += TimeDelta::hours(5); // local time read as UTC
    }
    let series = merged(&[source("station", SourceKind::Sensor, wrong)], &[], &rules);
    let told = |kind: FindingKind| {
        series
            .doubts
            .iter()
            .any(|doubt| matches!(doubt, Doubt::Finding { finding, .. } if finding.kind == kind))
    };
    assert!(told(FindingKind::RadiationAtNight));
    assert!(
        series
            .gaps
            .iter()
            .any(|gap| gap.variable == Variable::Solar)
    );
}

#[test]
fn sensor_and_service_that_disagree_beyond_a_bound_are_told() {
    let (truth, rules) = july();
    let mut sheltered = truth.clone();
    set_all(&mut sheltered, Variable::AirTemperature, |t| t + 4.0);
    set_all(&mut sheltered, Variable::RelativeHumidity, |rh| rh - 2.0);
    let series = merged(
        &[
            source("south wall", SourceKind::Sensor, sheltered),
            source("service", SourceKind::Service, truth),
        ],
        &[],
        &rules,
    );
    assert_eq!(series.doubts.len(), 1);
    let text = series.doubts[0].to_string();
    assert!(
        text.starts_with(
            "air temperature: south wall is 4.0 °C on average above service over 168 hours"
        ),
        "{text}"
    );
}

/// A service that is 2.5 °C too cold in the afternoon, sees twice the wind and
/// has noise of its own.
fn biased(truth: &[RawHour]) -> Vec<RawHour> {
    use chrono::Timelike;
    let mut noise = Noise(20_230_701);
    let mut out = truth.to_vec();
    for hour in &mut out {
        let afternoon = (16..23).contains(&hour.start.hour());
        let cold = if afternoon { 2.5 } else { 0.0 };
        let temperature = hour.air_temperature_c.unwrap();
        hour.air_temperature_c = Some(Reading {
            value: temperature.value - cold + noise.normal(),
            ..temperature
        });
        let wind = hour.wind_m_per_s.unwrap();
        hour.wind_m_per_s = Some(Reading {
            value: wind.value * 2.0,
            ..wind
        });
    }
    out
}

fn mean_error(variable: Variable, one: &[RawHour], other: &[RawHour]) -> f64 {
    let errors: Vec<f64> = one
        .iter()
        .zip(other)
        .filter_map(|(a, b)| Some((variable.of(a)?.value - variable.of(b)?.value).abs()))
        .collect();
    errors.iter().sum::<f64>() / errors.len() as f64
}

#[test]
fn two_weeks_teach_what_a_service_gets_wrong_here() {
    let year = real_year::hours();
    let now = time("2023-07-15T05:00:00Z");
    let start = year.iter().position(|hour| hour.start == now).unwrap();
    let (past, future) = (&year[start - 14 * 24..start], &year[start..start + 72]);
    let service = biased(&year[start - 14 * 24..start + 72]);
    let bias = Bias::learn(past, &service, now);
    let mut corrected = service[14 * 24..].to_vec();
    let before = |variable| mean_error(variable, &service[14 * 24..], future);
    bias.apply(&mut corrected);
    let after = |variable| mean_error(variable, &corrected, future);
    // What remains of the temperature is the noise: mean |normal| = 0.80.
    assert!(before(Variable::AirTemperature) > 1.2);
    assert!(
        after(Variable::AirTemperature) < 0.95,
        "{}",
        after(Variable::AirTemperature)
    );
    assert!(
        after(Variable::Wind) < 0.35 * before(Variable::Wind),
        "{}",
        after(Variable::Wind)
    );
    // Rain is left alone.
    assert!(bias.of(Variable::Rain).is_none());
}

#[test]
fn a_broken_sensor_turns_no_forecast_upside_down() {
    let (truth, rules) = july();
    let mut broken = truth.clone();
    set_all(&mut broken, Variable::AirTemperature, |_| 60.0);
    set_all(&mut broken, Variable::Wind, |_| 0.0);
    let bias = Bias::learn(&broken, &truth, rules.now);
    for correction in bias.of(Variable::AirTemperature).unwrap().values() {
        assert!(correction.bounded && correction.add <= 4.0);
    }
    for correction in bias.of(Variable::Wind).unwrap().values() {
        assert!(correction.times >= 0.3);
    }
    let mut hours = truth;
    bias.apply(&mut hours);
    assert!(
        hours
            .iter()
            .all(|h| h.air_temperature_c.unwrap().value < 45.0)
    );
}

#[test]
fn few_days_teach_nothing() {
    let (truth, _) = july();
    let three_days = &truth[..72];
    let now = three_days[71].start + TimeDelta::hours(1);
    assert!(Bias::learn(three_days, &biased(three_days), now).is_empty());
}

#[test]
fn the_clear_part_of_the_sky_becomes_hours_of_sunshine_while_the_sun_is_up() {
    let (truth, rules) = july();
    let mut service = truth;
    for hour in &mut service {
        hour.solar_w_per_m2 = None;
        hour.sunshine_h = Some(Reading {
            value: 0.5,
            provenance: Provenance::Estimated,
        });
    }
    let series = merged(
        &[source("service", SourceKind::Service, service)],
        &[],
        &rules,
    );
    // 05:00 UTC is 01:00 in Greensboro in summer, 17:00 UTC is 13:00.
    let at = |index: usize| series.hours[index].hour.sunshine_h.unwrap().value;
    assert!(at(0).abs() < 1e-12);
    assert!((at(12) - 0.5).abs() < 1e-12);
    assert!(series.gaps.is_empty(), "sunshine stands in for radiation");
}
