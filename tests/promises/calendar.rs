//! The calendar loads in any calendar program: the rules of RFC 5545, checked
//! on the bytes and through a parser.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDateTime, Utc};
use icalendar::{Calendar, Component, EventLike};
use soakmist::plan::timetable::Timetable;
use soakmist::report::{Detail, View, reason_in_full, timetable_ical};
use soakmist::site::Site;

use crate::sample;

fn plan() -> (Site, Timetable) {
    let site = sample::site(8);
    let plan = sample::plan(&site, sample::thursday(), 28);
    (site, plan)
}

fn ical(site: &Site, plan: &Timetable, detail: Detail) -> String {
    let weather = sample::weather(672);
    timetable_ical(&View::new(site, plan, &weather, &[]), detail)
}

/// RFC 5545, 3.1: a line break and one blank are taken out again.
fn unfolded(text: &str) -> Vec<String> {
    text.replace("\r\n ", "")
        .split_terminator("\r\n")
        .map(String::from)
        .collect()
}

/// Values of a property in every event, in order.
fn values<'a>(lines: &'a [String], name: &str) -> Vec<&'a str> {
    let value = |line: &'a String| {
        let (key, value) = line.split_once(':')?;
        (key.split(';').next() == Some(name)).then_some(value)
    };
    lines.iter().filter_map(value).collect()
}

fn utc(stamp: &str) -> DateTime<Utc> {
    NaiveDateTime::parse_from_str(stamp, "%Y%m%dT%H%M%SZ")
        .unwrap()
        .and_utc()
}

#[test]
fn lines_end_in_crlf_and_hold_at_most_75_octets() {
    let (mut site, plan) = plan();
    // Letters of two and three octets at every place of the fold.
    site.quiet_windows[0].name = "Dorffest für Ältere, Jüngere; 芝生の日 ".repeat(7);
    for detail in [Detail::Brief, Detail::Full] {
        let text = ical(&site, &plan, detail);
        assert!(text.ends_with("END:VCALENDAR\r\n"));
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
        assert_eq!(text.matches('\r').count(), text.matches("\r\n").count());
        for line in text.split("\r\n") {
            assert!(line.len() <= 75, "{} octets: {line}", line.len());
        }
    }
}

#[test]
fn calendar_and_events_have_what_rfc_5545_requires_once() {
    let (site, plan) = plan();
    for detail in [Detail::Brief, Detail::Full] {
        let lines = unfolded(&ical(&site, &plan, detail));
        // 3.6: VERSION and PRODID are required and must not occur more than once.
        assert_eq!(values(&lines, "VERSION"), ["2.0"]);
        assert_eq!(values(&lines, "PRODID").len(), 1);
        assert!(values(&lines, "PRODID")[0].contains("soakmist"));
        let events = lines.iter().filter(|line| *line == "BEGIN:VEVENT").count();
        // 3.6.1: each event has one UID, one DTSTAMP, one DTSTART.
        for name in ["UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY"] {
            assert_eq!(values(&lines, name).len(), events, "{name}");
        }
        // RFC 7986, 5.2: the calendar itself may have a description too.
        assert_eq!(values(&lines, "DESCRIPTION").len(), events + 1);
        let ids: BTreeSet<_> = values(&lines, "UID").into_iter().collect();
        assert_eq!(ids.len(), events, "identifiers are unique");
        // Nothing of the clock of the machine: the stamp is the plan's start.
        assert!(
            values(&lines, "DTSTAMP")
                .iter()
                .all(|stamp| utc(stamp) == plan.from)
        );
    }
}

#[test]
fn times_are_utc_and_dates_are_whole_days_with_the_end_excluded() {
    let (site, plan) = plan();
    let lines = unfolded(&ical(&site, &plan, Detail::Brief));
    assert!(lines.contains(&"DTSTART;VALUE=DATE:20230824".to_string()));
    assert!(lines.contains(&"DTEND;VALUE=DATE:20230825".to_string()));
    for line in lines.iter().filter(|line| line.starts_with("DT")) {
        let (key, value) = line.split_once(':').unwrap();
        assert_eq!(value.ends_with('Z'), !key.ends_with("VALUE=DATE"), "{line}");
        assert!(!key.contains("TZID"), "{line}");
    }
}

#[test]
fn every_run_lies_within_an_event_and_in_full_is_one() {
    let (site, mut plan) = plan();
    for zone in &mut plan.zones {
        zone.dry_spells.clear();
    }
    let spans = |detail| {
        let lines = unfolded(&ical(&site, &plan, detail));
        let starts = values(&lines, "DTSTART")
            .into_iter()
            .filter(|v| v.ends_with('Z'))
            .map(utc);
        let ends = values(&lines, "DTEND")
            .into_iter()
            .filter(|v| v.ends_with('Z'))
            .map(utc);
        starts.zip(ends).collect::<Vec<_>>()
    };
    let rounds = spans(Detail::Brief);
    for run in &plan.runs {
        assert!(
            rounds
                .iter()
                .any(|(from, to)| *from <= run.start && run.end() <= *to)
        );
    }
    let runs: Vec<_> = plan.runs.iter().map(|run| (run.start, run.end())).collect();
    assert_eq!(spans(Detail::Full), runs);
    assert!(
        rounds.len() * 3 < runs.len(),
        "{} rounds for {} runs",
        rounds.len(),
        runs.len()
    );
}

#[test]
fn a_parser_reads_back_names_times_and_reasons() {
    let (mut site, plan) = plan();
    site.name = "Harrowmere; green, \"new\" \\ old".into();
    let text = ical(&site, &plan, Detail::Full);
    let calendar: Calendar = text.parse().unwrap();
    let events: Vec<_> = calendar.events().collect();
    let called = |event: &icalendar::Event, start: &str| {
        event
            .get_summary()
            .is_some_and(|text| text.starts_with(start))
    };
    let watering: Vec<_> = events
        .iter()
        .filter(|event| called(event, "Water "))
        .collect();
    assert_eq!(watering.len(), plan.runs.len());
    for (event, run) in watering.iter().zip(&plan.runs) {
        let description = event.get_description().unwrap();
        assert!(
            description.contains(&reason_in_full(&site, run)),
            "{description}"
        );
        assert!(
            event
                .get_summary()
                .unwrap()
                .contains(&site.zones[run.zone].name)
        );
        assert_eq!(event.get_location(), Some(site.name.as_str()));
    }
    let dry = events
        .iter()
        .filter(|event| called(event, "Seed may dry: "))
        .count();
    assert_eq!(dry, plan.zones.len(), "a dry spell each");
    let mind = events
        .iter()
        .filter(|event| called(event, "Watering: please mind"))
        .count();
    let dates = events.len() - watering.len() - dry - mind;
    assert_eq!((mind, dates), (1, 4), "mow low, prepare, seed, first mow");
}

#[test]
fn hostile_names_add_no_lines() {
    let (mut site, plan) = plan();
    site.name = "x\r\nBEGIN:VEVENT\r\nUID:evil".into();
    site.quiet_windows[0].name = "m\nEND:VCALENDAR".into();
    let lines = unfolded(&ical(&site, &plan, Detail::Full));
    assert!(!lines.contains(&"UID:evil".to_string()));
    assert_eq!(
        lines.iter().filter(|line| *line == "END:VCALENDAR").count(),
        1
    );
}

#[test]
fn an_event_keeps_its_identifier_when_the_plan_shifts_by_minutes() {
    let (site, plan) = plan();
    let mut later = plan.clone();
    for run in &mut later.runs {
        run.start += chrono::TimeDelta::minutes(3);
    }
    let ids = |plan: &Timetable| {
        let lines = unfolded(&ical(&site, plan, Detail::Brief));
        values(&lines, "UID")
            .into_iter()
            .map(String::from)
            .collect::<Vec<_>>()
    };
    assert_eq!(ids(&plan), ids(&later));
}
