//! What docs/sensors.md promises: readings become hours, and a sensor that is
//! silent, stuck or wrong is named and done without.

use chrono::{DateTime, TimeDelta, Utc};
use soakmist::agronomy::weather_record::{Provenance, RawHour};
use soakmist::balance::ground::Ground;
use soakmist::balance::probe::{ProbeReading, correct};
use soakmist::balance::stores::Stores;
use soakmist::daemon::sensors::{Fault, SensorNews, Sensors};
use soakmist::site::{Measures, Scale, Sensor};

use crate::support;

fn noon() -> DateTime<Utc> {
    "2023-08-22T12:00:00Z".parse().unwrap()
}

fn minutes(minutes: i64) -> DateTime<Utc> {
    noon() + TimeDelta::minutes(minutes)
}

fn sensor(name: &str, measures: Measures, bounds: (f64, f64)) -> Sensor {
    Sensor {
        name: name.to_owned(),
        measures,
        topic: "station".to_owned(),
        pointer: None,
        scale: Scale {
            factor: 1.0,
            offset: 0.0,
        },
        bounds,
        every: TimeDelta::minutes(10),
    }
}

fn air() -> Sensor {
    sensor("air", Measures::AirTemperature, (-50.0, 60.0))
}

fn gauge(measures: Measures) -> Sensor {
    sensor("gauge", measures, (0.0, 200.0))
}

fn sensors(all: &[Sensor]) -> Sensors {
    let mut site = support::site(vec![support::zone("square")]);
    site.sensors = all.to_vec();
    Sensors::of(&site)
}

fn say(sensors: &mut Sensors, number: f64, at: i64) -> Vec<SensorNews> {
    sensors.take("station", number.to_string().as_bytes(), false, minutes(at))
}

/// The first hour from noon.
fn first_hour(sensors: &Sensors, now: i64) -> Option<RawHour> {
    let hours = hours(sensors, now);
    hours.into_iter().find(|hour| hour.start == noon())
}

fn hours(sensors: &Sensors, now: i64) -> Vec<RawHour> {
    let hours = sensors.hours(minutes(now)).into_iter();
    hours.map(|hour| hour.hour).collect()
}

fn rain_mm(sensors: &Sensors, now: i64) -> Option<f64> {
    Some(first_hour(sensors, now)?.rain_mm?.value)
}

fn assert_near(got: Option<f64>, expected: f64) {
    let near = got.is_some_and(|got| (got - expected).abs() < 1e-9);
    assert!(near, "{got:?} is not {expected}");
}

#[test]
fn the_readings_of_an_hour_become_its_mean() {
    let mut all = sensors(&[air()]);
    for (index, value) in [20.0, 21.0, 22.0, 23.0, 24.0, 25.0].into_iter().enumerate() {
        say(&mut all, value, 10 * i64::try_from(index).unwrap());
    }
    assert_eq!(first_hour(&all, 59), None, "the hour is not over");
    let hour = first_hour(&all, 60).unwrap();
    let reading = hour.air_temperature_c.unwrap();
    assert_near(Some(reading.value), 22.5);
    assert_eq!(reading.provenance, Provenance::Measured);
    assert_eq!(hour.rain_mm, None, "what nobody measures is missing");
}

#[test]
fn an_hour_of_which_less_than_half_was_read_is_missing() {
    let mut all = sensors(&[air()]);
    say(&mut all, 20.0, 0);
    say(&mut all, 21.0, 10);
    assert_eq!(first_hour(&all, 60), None);
}

#[test]
fn of_two_sensors_the_first_counts_and_the_second_stands_in() {
    let mut second = air();
    second.name = "shed".to_owned();
    second.topic = "shed".to_owned();
    let mut all = sensors(&[air(), second]);
    for at in [0, 10, 20, 30, 40, 50] {
        say(&mut all, 20.0, at);
        all.take("shed", b"30", false, minutes(at));
    }
    for at in [60, 70, 80, 90, 100, 110] {
        all.take("shed", b"31", false, minutes(at));
    }
    let told = hours(&all, 120);
    let values = told
        .iter()
        .map(|hour| hour.air_temperature_c.unwrap().value);
    let values: Vec<f64> = values.collect();
    assert_near(Some(values[0]), 20.0);
    assert_near(Some(values[1]), 31.0);
}

#[test]
fn what_the_broker_had_stored_is_not_taken() {
    let mut all = sensors(&[air()]);
    for at in [0, 10, 20, 30, 40, 50] {
        all.take("station", b"20", true, minutes(at));
    }
    assert_eq!(hours(&all, 60), []);
    let silent = all.look(minutes(0));
    assert_eq!(silent, []);
    assert!(matches!(
        all.look(minutes(31)).as_slice(),
        [SensorNews::Wrong(_)]
    ));
}

#[test]
fn a_silent_sensor_is_named_once_and_so_is_its_return() {
    let mut all = sensors(&[air()]);
    say(&mut all, 20.0, 0);
    assert_eq!(all.look(minutes(30)), []);
    let news = all.look(minutes(31));
    let [SensorNews::Wrong(problem)] = news.as_slice() else {
        panic!("{news:?}");
    };
    assert_eq!(problem.fault, Fault::Silent(noon()));
    assert_eq!(
        problem.to_string(),
        "sensor air (air temperature) has been silent since 2023-08-22 12:00 UTC: the plan \
         takes the next sensor in its place, else the forecast, else an estimate"
    );
    assert_eq!(all.look(minutes(90)), []);
    assert_eq!(all.problems(minutes(90)).len(), 1);
    let news = say(&mut all, 21.0, 100);
    assert!(matches!(news.as_slice(), [SensorNews::Right { .. }]));
    assert_eq!(all.problems(minutes(101)), []);
}

#[test]
fn what_cannot_be_is_refused_and_told_once() {
    let mut all = sensors(&[air()]);
    let news = say(&mut all, 85.0, 0);
    let [SensorNews::Wrong(problem)] = news.as_slice() else {
        panic!("{news:?}");
    };
    assert!(
        problem
            .to_string()
            .contains("says 85.0 °C, which cannot be")
    );
    assert_eq!(say(&mut all, 86.0, 1), []);
    for junk in [&b"\xff"[..], b"", b"warm", b"nan", b"inf", b"1e999"] {
        all.take("station", junk, false, minutes(2));
        assert_eq!(
            all.problems(minutes(2))[0].fault,
            Fault::Unreadable,
            "{junk:?}"
        );
    }
    assert!(matches!(
        say(&mut all, 20.0, 3).as_slice(),
        [SensorNews::Right { .. }]
    ));
    assert_eq!(hours(&all, 60), []);
}

#[test]
fn a_stuck_sensor_is_named_and_its_hours_are_not_used() {
    let mut all = sensors(&[air()]);
    say(&mut all, 21.0, -10);
    let mut news = Vec::new();
    for at in (0..=12 * 60).step_by(10) {
        news.extend(say(&mut all, 19.5, at));
    }
    let [SensorNews::Wrong(problem)] = news.as_slice() else {
        panic!("{news:?}");
    };
    assert_eq!(problem.fault, Fault::Stuck(noon(), 19.5));
    assert_eq!(first_hour(&all, 13 * 60), None);
    assert!(matches!(
        say(&mut all, 19.6, 730).as_slice(),
        [SensorNews::Right { .. }]
    ));
}

#[test]
fn one_message_may_tell_several_sensors_or_one_of_them() {
    let mut warm = air();
    warm.pointer = Some("/t".to_owned());
    let mut damp = sensor("damp", Measures::RelativeHumidity, (1.0, 105.0));
    damp.pointer = Some("/rh".to_owned());
    let mut all = sensors(&[warm, damp]);
    assert_eq!(all.subscriptions().len(), 1);
    assert!(!all.subscriptions()[0].needed);
    for at in [0, 10, 20, 30, 40, 50] {
        all.take(
            "station",
            br#"{"t": "20.5", "rh": 104}"#,
            false,
            minutes(at),
        );
        all.take(
            "station",
            br#"{"t": 20.5, "rh": null}"#,
            false,
            minutes(at + 1),
        );
        all.take("station", br#"{"battery": 3}"#, false, minutes(at + 2));
    }
    let hour = first_hour(&all, 60).unwrap();
    assert_near(hour.air_temperature_c.map(|reading| reading.value), 20.5);
    assert_near(
        hour.relative_humidity_pct.map(|reading| reading.value),
        100.0,
    );
    let news = all.take("station", br#"{"t": [1]}"#, false, minutes(61));
    assert_eq!(news.len(), 1);
}

#[test]
fn a_counter_of_rain_counts_from_its_first_reading_and_over_midnight() {
    let mut all = sensors(&[gauge(Measures::RainTotal)]);
    for (at, total) in [
        (-10, 123.4),
        (0, 123.4),
        (10, 123.6),
        (20, 124.0),
        (30, 0.0),
    ] {
        assert_eq!(say(&mut all, total, at), []);
    }
    // Set to zero at midnight; 0.2 mm since.
    for (at, total) in [(40, 0.2), (50, 0.2), (60, 0.2)] {
        say(&mut all, total, at);
    }
    assert_near(rain_mm(&all, 60), 0.6 + 0.2);
    assert_eq!(first_hour(&all, 60).unwrap().rain_probability, Some(1.0));
}

#[test]
fn one_wrong_number_of_a_counter_makes_no_rain() {
    for wrong in [0.0, 6553.5] {
        let mut all = sensors(&[gauge(Measures::RainTotal)]);
        for (at, total) in [(0, 123.4), (10, wrong), (20, 123.6), (30, 123.6)] {
            say(&mut all, total, at);
        }
        for at in [40, 50, 60] {
            say(&mut all, 123.6, at);
        }
        assert_near(rain_mm(&all, 60), 0.2);
        assert_eq!(all.problems(minutes(61)), []);
    }
}

#[test]
fn a_counter_that_leaped_for_good_goes_on_from_there_without_rain() {
    let mut all = sensors(&[gauge(Measures::RainTotal)]);
    say(&mut all, 10.0, 0);
    let news = say(&mut all, 900.0, 10);
    assert!(matches!(news.as_slice(), [SensorNews::Wrong(_)]));
    for (at, total) in [
        (20, 900.2),
        (30, 900.4),
        (40, 900.4),
        (50, 900.4),
        (60, 900.4),
    ] {
        say(&mut all, total, at);
    }
    // Known from 12:20 on only, so not for the whole hour.
    assert_eq!(rain_mm(&all, 60), None);
    for at in [70, 80, 90, 100, 110, 120] {
        say(&mut all, 900.6, at);
    }
    let told = hours(&all, 120);
    assert_near(told.last().unwrap().rain_mm.map(|rain| rain.value), 0.2);
}

#[test]
fn rain_after_a_silence_is_spread_over_it_and_after_a_long_one_left_out() {
    let mut all = sensors(&[gauge(Measures::RainTotal)]);
    say(&mut all, 10.0, 0);
    say(&mut all, 16.0, 180);
    assert_near(rain_mm(&all, 180), 2.0);
    let mut all = sensors(&[gauge(Measures::RainTotal)]);
    say(&mut all, 10.0, 0);
    say(&mut all, 16.0, 25 * 60);
    assert_eq!(hours(&all, 26 * 60), []);
}

#[test]
fn amounts_of_rain_add_up_and_a_message_that_comes_twice_counts_once() {
    let mut all = sensors(&[gauge(Measures::RainAmount)]);
    for at in [0, 10, 20, 30, 40, 50, 60] {
        say(&mut all, 0.2, at);
        say(&mut all, 0.2, at);
    }
    assert_near(rain_mm(&all, 60), 6.0 * 0.2);
}

#[test]
fn a_clock_that_is_set_back_begins_anew() {
    let mut all = sensors(&[air()]);
    for at in [600, 610, 620, 630, 640, 650] {
        say(&mut all, 30.0, at);
    }
    for (at, value) in [(0, 20.0), (10, 20.1), (20, 20.2), (30, 20.3)] {
        assert_eq!(say(&mut all, value, at), []);
    }
    let told = hours(&all, 60);
    assert_eq!(told.len(), 1);
    assert_near(
        told[0].air_temperature_c.map(|reading| reading.value),
        20.15,
    );
    // Nothing of the future is left.
    assert_eq!(hours(&all, 1000).len(), 1);
}

#[test]
fn a_probe_is_heard_for_its_zone_alone() {
    let measures = Measures::SoilMoisture {
        zone: 0,
        weight: 0.2,
    };
    let mut all = sensors(&[sensor("probe", measures, (0.5, 75.0))]);
    for at in [0, 10, 20] {
        say(&mut all, 18.0, at);
    }
    assert_eq!(all.probe_hours(minutes(59)), [], "the hour is not over");
    let probed = all.probe_hours(minutes(60));
    assert_eq!(probed.len(), 1);
    assert_eq!((probed[0].zone, probed[0].start), (0, noon()));
    assert_near(Some(probed[0].content), 0.18);
    assert_eq!(hours(&all, 60), [], "a probe is no weather");
}

#[test]
fn a_probe_moves_the_balance_by_its_weight_and_never_by_much() {
    let ground = Ground::of(&support::zone("square")).unwrap();
    let mut levels = Stores::uniform(&ground, 0.05).levels();
    levels.surface_mm = 1.5;
    let depth_mm: f64 = ground.strata.thickness_mm.iter().sum();
    let reading = |below: f64, weight| ProbeReading {
        content: ground.field_capacity - 0.05 - below,
        weight,
    };
    // 0.2 of 4 % of the volume.
    let drier = correct(&ground, &levels, reading(0.04, 0.2));
    assert_near(Some(-drier.added_mm), 0.2 * 0.04 * depth_mm);
    assert_near(Some(drier.levels.surface_mm), 1.5);
    // However far off, at most 2 %.
    let far = correct(&ground, &levels, reading(0.09, 1.0));
    assert_near(Some(-far.added_mm), 0.02 * depth_mm);
    let wetter = correct(&ground, &levels, reading(-0.5, 1.0));
    assert_near(Some(wetter.added_mm), 0.02 * depth_mm);
    assert!(wetter.to_string().contains("mm put into the balance"));
    // Again and again it comes to the probe, and no further than the soil goes.
    let mut driest = levels;
    for _ in 0..500 {
        driest = correct(&ground, &driest, reading(0.9, 0.2)).levels;
    }
    let share = ground.field_capacity - ground.wilting_point;
    for (depletion_mm, thickness_mm) in driest.strata_mm.iter().zip(ground.strata.thickness_mm) {
        assert!(*depletion_mm <= share * thickness_mm + 1e-9);
    }
}
