//! Tests of the reader beside them.

use super::*;
use crate::agronomy::weather_record::Reading;

fn plan() -> ColumnPlan {
    let column = |header: &str, variable, unit: &str| Column {
        header: header.into(),
        variable,
        unit: unit.into(),
    };
    ColumnPlan {
        separator: b';',
        decimal_comma: true,
        time: TimeColumn {
            header: "Zeit".into(),
            form: Some("%d.%m.%Y %H:%M".into()),
            clock: Clock::Zone(chrono_tz::Europe::London),
            marks: StampMarks::End,
        },
        columns: vec![
            column("Temp", Variable::AirTemperature, "°F"),
            column("Regen", Variable::Rain, "in"),
        ],
        wind_height_m: 2.0,
    }
}

const EXPORT: &str = "Zeit;Temp;Regen;Akku\n\
    01.06.2026 13:30;50,0;0,1;12\n\
    01.06.2026 14:00;68,0;0,0;12\n\
    01.06.2026 14:30;68,0;---;12\n\
    01.06.2026 15:00;68,0;0,2;12\n";

#[test]
fn an_export_in_its_own_words_becomes_hours() -> Result<(), ColumnError> {
    let logged = parse(EXPORT.as_bytes(), &plan())?;
    assert_eq!(logged.step, TimeDelta::minutes(30));
    // 13:00 to 14:00 in British summer time begins at 12:00 UTC.
    assert_eq!(
        logged.hours[0].start,
        "2026-06-01T12:00:00Z".parse::<DateTime<Utc>>().unwrap()
    );
    let value = |reading: Option<Reading>| reading.map(|r| (r.value * 1e6).round() / 1e6);
    assert_eq!(value(logged.hours[0].air_temperature_c), Some(15.0));
    assert_eq!(value(logged.hours[0].rain_mm), Some(2.54));
    // A reading of the gauge is missing: what fell is not known.
    assert_eq!(value(logged.hours[1].rain_mm), None);
    assert_eq!(value(logged.hours[1].air_temperature_c), Some(20.0));
    Ok(())
}

#[test]
fn the_doubled_hour_of_autumn_is_told_and_left_out() -> Result<(), ColumnError> {
    let text =
        "Zeit;Temp;Regen\n25.10.2026 00:30;50;0\n25.10.2026 01:30;50;0\n25.10.2026 02:30;50;0\n";
    let logged = parse(text.as_bytes(), &plan())?;
    assert_eq!(logged.ambiguous_lines, [3]);
    assert_eq!(logged.hours.len(), 2);
    Ok(())
}

#[test]
fn faults_name_line_and_column_and_say_how_to_mend() {
    let told = |text: &str| parse(text.as_bytes(), &plan()).unwrap_err().to_string();
    assert_eq!(
        told(&EXPORT.replacen("68,0;0,0", "warm;0,0", 1)),
        "line 3, column \"Temp\": \"warm\" is not a number"
    );
    assert_eq!(
        told(&EXPORT.replace("Regen", "Rain")),
        "there is no column \"Regen\"; the file has Zeit, Temp, Rain, Akku"
    );
    assert_eq!(
        told(&EXPORT.replacen("01.06.2026 14:00", "2026-06-01 14:00", 1)),
        "line 3: \"2026-06-01 14:00\" is not a time of the form %d.%m.%Y %H:%M"
    );
    assert!(told(&EXPORT.replacen("14:30", "13:10", 1)).starts_with("line 4: the time does not"));
    assert_eq!(told("Zeit;Temp;Regen\n"), "the file has no readings");
    let mut beaufort = plan();
    beaufort.columns[0].unit = "m/s".into();
    assert_eq!(
        parse(EXPORT.as_bytes(), &beaufort).unwrap_err().to_string(),
        "column \"Temp\": \"m/s\" is not a unit of air temperature; write °C, °F or K"
    );
}
