//! Borders of the file format.

use chrono::{DateTime, Utc};

use super::*;
use crate::weather::finding::{FindingKind, Treatment};

fn read(text: &str, time_zone: Option<Tz>) -> Result<WeatherFileContents, WeatherCsvError> {
    parse(
        text.as_bytes(),
        &CsvOptions {
            time_zone,
            ..CsvOptions::default()
        },
    )
}

fn ends(contents: &WeatherFileContents) -> Vec<String> {
    let format = |hour: &RawHour| (hour.start + HOUR).format("%dT%HZ").to_string();
    contents.hours.iter().map(format).collect()
}

fn problems(text: &str, time_zone: Option<Tz>) -> Vec<String> {
    match read(text, time_zone) {
        Err(WeatherCsvError::Problems { problems, .. }) => {
            problems.iter().map(ToString::to_string).collect()
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn columns_come_in_any_order_and_values_may_be_missing() -> Result<(), WeatherCsvError> {
    let text = "# a comment\nprecip_mm,air_temp_c,time,sunshine_h\n\
                ,21.5,2023-06-01T12:00:00+02:00,0.5\n0.2,NaN,2023-06-01T13:00:00+02:00,NA\n";
    let contents = read(text, None)?;
    let [first, second] = &contents.hours[..] else {
        panic!("two rows")
    };
    assert_eq!(
        first.start,
        "2023-06-01T09:00:00Z"
            .parse::<DateTime<Utc>>()
            .expect("valid")
    );
    assert_eq!(first.rain_mm, None);
    assert_eq!(first.air_temperature_c.map(|it| it.value), Some(21.5));
    assert_eq!(first.sunshine_h.map(|it| it.value), Some(0.5));
    assert_eq!(second.air_temperature_c, None);
    assert_eq!(second.sunshine_h, None);
    assert_eq!(
        second.rain_mm.map(|it| it.provenance),
        Some(Provenance::Measured)
    );
    assert_eq!(contents.offsets.standard().local_minus_utc(), 7200);
    Ok(())
}

#[test]
fn unknown_columns_are_reported_with_what_may_be_meant() -> Result<(), WeatherCsvError> {
    let text = "time,air_temp_c,solar_wm2,station\n2023-06-01T12:00:00Z,20,500,A\n";
    let findings = read(text, None)?.findings;
    let told: Vec<String> = findings.iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "unknown column \"solar_wm2\"; did you mean solar_w_m2?: not read",
            "unknown column \"station\": not read",
        ]
    );
    Ok(())
}

#[test]
fn every_problem_is_told_with_line_and_column() {
    let text = "time,air_temp_c,precip_mm\n2023-06-01T12:00:00Z,warm,0\n\
                yesterday,20,0\n2023-06-01T14:00:00Z,20\n2023-06-01T15:00:00Z,1e999,0\n";
    assert_eq!(
        problems(text, None),
        [
            "line 2: air_temp_c \"warm\" is not a number; leave the field empty if missing",
            "line 3: time \"yesterday\" is not a time; write the end of the hour like \
             2023-06-01T13:00:00-05:00, or in the site's own time like 2023-06-01 13:00",
            "line 4: 2 fields, but the header has 3; leave a missing value empty, with its comma",
            "line 5: air_temp_c \"1e999\" is not a number; leave the field empty if missing",
        ]
    );
}

#[test]
fn headers_that_cannot_serve_say_what_is_missing() {
    assert_eq!(
        problems("zeit,air_temp\n", None),
        [
            "line 1: no column time; add it to the header",
            "line 1: no column air_temp_c; is \"air_temp\" meant for it?",
        ]
    );
    assert_eq!(
        problems("time;air_temp_c\n2023-06-01T12:00:00Z;20,5\n", None),
        [
            "line 1: fields are not separated by commas; write it with \",\" and \".\", or let \
             [[weather.logger]] in the site file read it as it is, with its own separator, decimal \
             comma, units and form of time"
        ]
    );
    assert_eq!(
        problems("time,air_temp_c,time\n", None),
        ["line 1: column time is there twice; leave one out"]
    );
    assert_eq!(
        problems("time,air_temp_c\n", None),
        ["there is no row of weather"]
    );
    assert_eq!(problems("", None), ["the file is empty"]);
    assert_eq!(problems("\u{feff} \n", None), ["the file is empty"]);
}

#[test]
fn a_few_hot_values_are_a_bad_sensor_and_many_are_fahrenheit() {
    let file = |hot: usize, of: usize| {
        let mut text = String::from("time,air_temp_c\n");
        let start = "2023-06-01T00:00:00Z"
            .parse::<DateTime<Utc>>()
            .expect("valid");
        let mut end = start;
        for index in 0..of {
            end += HOUR;
            let value = if index < hot { 61 } else { 20 };
            text.push_str(&format!("{},{value}\n", end.to_rfc3339()));
        }
        text
    };
    for (hot, of) in [(2, 2), (2, 200), (4, 201)] {
        let read = read(&file(hot, of), None);
        assert!(read.is_ok(), "{hot} of {of}");
    }
    for (hot, of) in [(3, 3), (4, 200)] {
        let told = problems(&file(hot, of), None);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].contains(&format!("{hot} of {of} values")),
            "{told:?}"
        );
    }
}

#[test]
fn at_most_twenty_problems_are_told_in_full() {
    let text = format!("time,air_temp_c\n{}", "2023-06-01T12:00:00Z,x\n".repeat(50));
    match read(&text, None) {
        Err(WeatherCsvError::Problems { problems, more, .. }) => {
            assert_eq!((problems.len(), more), (20, 30));
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn stamps_without_offset_need_a_time_zone() -> Result<(), WeatherCsvError> {
    let text = "time,air_temp_c\n2023-06-01 12:00,20\n";
    assert_eq!(
        problems(text, None),
        [
            "line 2: time \"2023-06-01 12:00:00\" has no offset from UTC; write it like \
          2023-06-01T12:00:00-05:00, or give the time zone"
        ]
    );
    let contents = read(text, Some(chrono_tz::Europe::Berlin))?;
    assert_eq!(ends(&contents), ["01T10Z"]);
    Ok(())
}

#[test]
fn the_repeated_hour_of_autumn_is_told_by_its_order() -> Result<(), WeatherCsvError> {
    // Berlin, 27 October 2024: 02:00 to 03:00 comes twice.
    let text = "time,air_temp_c\n2024-10-27T01:00,9\n2024-10-27T02:00,8\n\
                2024-10-27T02:00,7\n2024-10-27T03:00,6\n";
    let contents = read(text, Some(chrono_tz::Europe::Berlin))?;
    assert_eq!(ends(&contents), ["26T23Z", "27T00Z", "27T01Z", "27T02Z"]);
    assert_eq!(contents.findings, []);
    let offset_h = |index: usize| {
        contents
            .offsets
            .at(contents.hours[index].start + HOUR)
            .local_minus_utc()
            / 3600
    };
    assert_eq!([0, 1, 2, 3].map(offset_h), [2, 2, 1, 1]);
    Ok(())
}

#[test]
fn one_copy_of_a_repeated_hour_is_reported() -> Result<(), WeatherCsvError> {
    let text = "time,air_temp_c\n2024-10-27T01:00,9\n2024-10-27T02:00,8\n2024-10-27T03:00,6\n";
    let contents = read(text, Some(chrono_tz::Europe::Berlin))?;
    assert_eq!(ends(&contents), ["26T23Z", "27T00Z", "27T02Z"]);
    let [finding] = &contents.findings[..] else {
        panic!("{:?}", contents.findings)
    };
    assert_eq!(finding.kind, FindingKind::AmbiguousStamp);
    assert_eq!(finding.treatment, Treatment::Kept);
    Ok(())
}

#[test]
fn a_row_of_the_skipped_hour_of_spring_is_left_out_and_named() -> Result<(), WeatherCsvError> {
    // Berlin, 31 March 2024: clocks go from 02:00 to 03:00.
    let text = "time,air_temp_c\n2024-03-31T01:00,9\n2024-03-31T02:00,8\n2024-03-31T03:00,7\n";
    let contents = read(text, Some(chrono_tz::Europe::Berlin))?;
    assert_eq!(ends(&contents), ["31T00Z", "31T01Z"]);
    let last_c = contents.hours[1]
        .air_temperature_c
        .map(|reading| reading.value);
    assert!(last_c.is_some_and(|value| (value - 7.0).abs() < 1e-9));
    let [finding] = &contents.findings[..] else {
        panic!("{:?}", contents.findings)
    };
    assert_eq!(
        finding.to_string(),
        "line 3: the time \"2024-03-31 02:00\" does not exist in Europe/Berlin, where clocks went \
         forward; if the logger keeps one clock all year, write stamps with its offset: that row is \
         left out"
    );
    Ok(())
}

#[test]
fn rows_a_day_apart_are_told_to_be_no_hours() {
    for text in [
        "time,air_temp_c\n2024-03-01,9\n2024-03-02,8\n2024-03-03,7\n",
        "time,air_temp_c\n2024-03-01T00:00Z,9\n2024-03-02T00:00Z,8\n2024-03-03T00:00Z,7\n",
        "time,air_temp_c\n01.03.2024,9\n02.03.2024,8\n",
    ] {
        let [told] = &problems(text, None)[..] else {
            panic!("one problem in {text}")
        };
        assert!(told.contains("a plan needs every hour"), "{told}");
    }
    // A spreadsheet's midnight among hours is told by its line.
    let text = "time,air_temp_c\n2024-03-01T23:00Z,9\n2024-03-02,8\n2024-03-02T01:00Z,7\n";
    let [told] = &problems(text, None)[..] else {
        panic!("one problem")
    };
    assert!(
        told.starts_with("line 3: time \"2024-03-02\" is not a time"),
        "{told}"
    );
}

#[test]
fn what_another_form_of_file_needs_is_named() {
    for text in [
        "time;air_temp_c\n2024-03-01T00:00Z;9\n",
        "time,air_temp_f\n2024-03-01T00:00Z,49\n",
        "time,air_temp_c\n2024-03-01T00:00Z,\"9,5\"\n",
    ] {
        let told = problems(text, None).join("\n");
        assert!(told.contains("[[weather.logger]]"), "{told}");
    }
}

#[test]
fn offending_text_is_cut_and_escaped() {
    let text = format!("time,air_temp_c\n\"\u{1b}[31m{}\",20\n", "x".repeat(500));
    let [told] = &problems(&text, None)[..] else {
        panic!("one problem")
    };
    assert!(told.len() < 200 && !told.contains('\u{1b}'), "{told}");
}

#[test]
fn a_file_may_begin_with_a_byte_order_mark() -> Result<(), WeatherCsvError> {
    let contents = read("\u{feff}time,air_temp_c\n2023-06-01T12:00:00Z,20\n", None)?;
    assert_eq!(contents.hours.len(), 1);
    Ok(())
}

#[test]
fn of_a_file_of_another_kind_a_hundred_columns_are_named_at_most() {
    let header: Vec<String> = (0..5000).map(|index| format!("col{index}")).collect();
    let text = format!("time,air_temp_c,{}\n", header.join(","));
    let row = format!("2023-06-01T13:00:00+02:00,24.5{}\n", ",".repeat(5000));
    let contents = read(&format!("{text}{row}"), None).unwrap();
    let unknown = |finding: &&Finding| matches!(finding.kind, FindingKind::UnknownColumn { .. });
    assert_eq!(contents.findings.iter().filter(unknown).count(), 100);
}
