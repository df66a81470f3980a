//! No bytes from the network crash a parser or come out as more hours than
//! its bound, and no value that cannot be on Earth gets through.

#![allow(clippy::unwrap_used, reason = "a test may panic and read the clock")]

use proptest::prelude::*;
use soakmist::weather::Variable;
use soakmist::weather::columns::{self, Clock, Column, ColumnPlan, StampMarks, TimeColumn};
use soakmist::weather::services::iso8601_interval::Interval;
use soakmist::weather::services::{
    MAX_HOURS, ReplyError, ServiceReply, met_norway, open_meteo, us_nws,
};
use soakmist::weather::typical_year;

const FIXTURES: [&[u8]; 3] = [
    include_bytes!("../data/weather/open_meteo.json"),
    include_bytes!("../data/weather/met_norway.json"),
    include_bytes!("../data/weather/us_nws_grid.json"),
];

type Parser = fn(&[u8]) -> Result<ServiceReply, ReplyError>;

fn parsers() -> [Parser; 3] {
    [open_meteo::parse, met_norway::parse, us_nws::parse]
}

/// What must hold of any reply.
fn judge(result: Result<ServiceReply, ReplyError>) -> Result<(), TestCaseError> {
    let Ok(reply) = result else { return Ok(()) };
    prop_assert!(!reply.hours.is_empty() && reply.hours.len() <= MAX_HOURS);
    for pair in reply.hours.windows(2) {
        prop_assert!(pair[0].start < pair[1].start);
    }
    for hour in &reply.hours {
        prop_assert_eq!(hour.start.timestamp().rem_euclid(3600), 0);
        for variable in Variable::ALL {
            if let Some(reading) = variable.of(hour) {
                prop_assert_eq!(variable.plausible(reading.value), Some(reading.value));
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn any_bytes_are_survived(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        for parse in parsers() {
            judge(parse(&bytes))?;
        }
    }

    #[test]
    fn a_good_reply_with_some_bytes_turned_is_survived(
        which in 0usize..3,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        let mut body = FIXTURES[which].to_vec();
        for (at, byte) in changes {
            let at = at.index(body.len());
            body[at] = byte;
        }
        judge(parsers()[which](&body))?;
    }

    #[test]
    fn a_good_reply_with_strange_numbers_is_survived(
        which in 0usize..3,
        changes in prop::collection::vec((any::<prop::sample::Index>(), numbers()), 1..6),
    ) {
        let mut text = String::from_utf8(FIXTURES[which].to_vec()).unwrap();
        for (at, number) in changes {
            let colons: Vec<usize> = text
                .char_indices()
                .filter(|(at, c)| {
                    matches!(c, ':' | ',' | '[') && text[at + 1..].starts_with(|c: char| c.is_ascii_digit())
                })
                .map(|(at, _)| at)
                .collect();
            let start = colons[at.index(colons.len())] + 1;
            let end = start + text[start..].find([',', ']', '}']).unwrap();
            text.replace_range(start..end, &number);
        }
        judge(parsers()[which](text.as_bytes()))?;
    }

    #[test]
    fn any_interval_text_is_survived_and_its_hours_fill_it(
        text in "[0-9]{4}-0[1-9]-1[0-9]T[0-2][0-9]:[0-5][0-9]:00(Z|[+]0[0-9]:30)/P([0-9]{1,7}D)?(T([0-9]{1,3}H)?([0-9]{1,4}M)?)?",
    ) {
        if let Ok(span) = Interval::parse(&text) {
            prop_assert!(span.end > span.start);
            let inside: i64 = span.hours().map(|(_, seconds)| seconds).sum();
            prop_assert_eq!(inside, span.seconds());
        }
    }

    #[test]
    fn rain_of_the_us_service_is_neither_lost_nor_made(
        totals in prop::collection::vec((1u8..13, 0u16..300), 1..30),
        offset_minutes in 0i64..60,
    ) {
        let mut at = chrono::DateTime::from_timestamp(1_780_272_000 + offset_minutes * 60, 0).unwrap();
        let mut expected = 0.0;
        let mut values = Vec::new();
        for (hours, tenths) in totals {
            let amount = f64::from(tenths) / 10.0;
            expected += amount;
            values.push(format!(r#"{{"validTime":"{}/PT{hours}H","value":{amount}}}"#, at.to_rfc3339()));
            at += chrono::TimeDelta::hours(i64::from(hours));
        }
        let body = format!(
            r#"{{"properties":{{"quantitativePrecipitation":{{"uom":"wmoUnit:mm","values":[{}]}}}}}}"#,
            values.join(",")
        );
        let reply = us_nws::parse(body.as_bytes()).unwrap();
        let total: f64 = reply.hours.iter().filter_map(|hour| hour.rain_mm).map(|rain| rain.value).sum();
        prop_assert!((total - expected).abs() < 1e-6, "{total} is not {expected}");
    }
}

/// A plan with every kind of column, as a site file could have it.
fn logger() -> ColumnPlan {
    let column = |header: &str, variable, unit: &str| Column {
        header: header.into(),
        variable,
        unit: unit.into(),
    };
    ColumnPlan {
        separator: b',',
        decimal_comma: false,
        time: TimeColumn {
            header: "t".into(),
            form: Some("%Y-%m-%d %H:%M".into()),
            clock: Clock::Zone(chrono_tz::Europe::London),
            marks: StampMarks::End,
        },
        columns: vec![
            column("a", Variable::AirTemperature, "°F"),
            column("r", Variable::Rain, "in"),
        ],
        wind_height_m: 2.0,
    }
}

proptest! {
    #[test]
    fn any_logger_file_is_survived(
        rows in prop::collection::vec(("[-+]?[0-9]{4,7}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}", numbers(), numbers()), 0..12),
        tail in ".{0,60}",
    ) {
        let mut text = "t,a,r\n".to_owned();
        for (time, a, r) in rows {
            text.push_str(&format!("{time},{a},{r}\n"));
        }
        let _ = columns::parse(text.as_bytes(), &logger());
        text.push_str(&tail);
        let _ = columns::parse(text.as_bytes(), &logger());
        let _ = columns::parse(tail.as_bytes(), &logger());
    }

    #[test]
    fn rain_of_a_logger_is_neither_lost_nor_made(
        start_minute in 0i64..600,
        tenths in prop::collection::vec(0u16..50, 12..200),
    ) {
        // Whole hours of ten-minute readings in winter, so that no hour is in part.
        let start = chrono::DateTime::from_timestamp(1_767_225_600 + start_minute / 10 * 3600, 0).unwrap();
        let whole = tenths.len() / 6 * 6;
        let mut text = "t,a,r\n".to_owned();
        for (index, tenth) in tenths[..whole].iter().enumerate() {
            let stamp = start + chrono::TimeDelta::minutes(10 * (index as i64 + 1));
            let line = format!("{},50,{}\n", stamp.format("%Y-%m-%d %H:%M"), f64::from(*tenth) / 100.0);
            text.push_str(&line);
        }
        let logged = columns::parse(text.as_bytes(), &logger()).unwrap();
        let expected: f64 = tenths[..whole].iter().map(|t| f64::from(*t) / 100.0 * 25.4).sum();
        let total: f64 = logged.hours.iter().map(|hour| hour.rain_mm.unwrap().value).sum();
        prop_assert!((total - expected).abs() < 1e-6);
        prop_assert_eq!(logged.hours.len(), whole / 6);
    }

    #[test]
    fn any_typical_year_is_survived(
        head in prop_oneof![Just("LOCATION,a,b,c,d,1,51.5,-1,0,60"), Just("723170,\"A\",NC,-5,36.1,-79.9,273"), Just("")],
        lines in prop::collection::vec("([0-9]{1,4},){0,5}.{0,30}", 0..14),
    ) {
        let _ = typical_year::parse(format!("{head}\n{}", lines.join("\n")).as_bytes());
    }
}

fn numbers() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("null".to_owned()),
        Just("1e308".to_owned()),
        Just("-1e308".to_owned()),
        Just("\"\"".to_owned()),
        Just("99999999999999999999".to_owned()),
        any::<i64>().prop_map(|n| n.to_string()),
        any::<f64>()
            .prop_filter("finite", |n| n.is_finite())
            .prop_map(|n| n.to_string()),
    ]
}
