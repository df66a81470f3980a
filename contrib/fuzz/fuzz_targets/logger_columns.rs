//! Any file under a plan with local time and one with offsets in the text.
#![no_main]

use libfuzzer_sys::fuzz_target;
use soakmist::weather::Variable;
use soakmist::weather::columns::{Clock, Column, ColumnPlan, StampMarks, TimeColumn, parse};

fn plan(form: Option<&str>, separator: u8) -> ColumnPlan {
    let column = |header: &str, variable, unit: &str| Column {
        header: header.into(),
        variable,
        unit: unit.into(),
    };
    ColumnPlan {
        separator,
        decimal_comma: separator == b';',
        time: TimeColumn {
            header: "t".into(),
            form: form.map(str::to_owned),
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

fuzz_target!(|bytes: &[u8]| {
    for plan in [plan(Some("%Y-%m-%d %H:%M"), b','), plan(None, b';')] {
        if let Ok(logged) = parse(bytes, &plan) {
            assert!(logged.hours.windows(2).all(|pair| pair[0].start < pair[1].start));
        }
    }
});
