//! Tests of the reader beside them.

use super::*;

/// A year in which the temperature is the hour of the day and radiation the month.
fn epw_text() -> String {
    let mut text = "LOCATION,Harrowmere,-,GBR,invented,000000,51.50,-1.00,0.0,60.0\n".to_owned();
    text.push_str(&"DESIGN CONDITIONS,0\n".repeat(7));
    for place in 0..HOURS_A_YEAR {
        let day =
            chrono::NaiveDate::from_yo_opt(2023, 1).unwrap() + chrono::Days::new(place as u64 / 24);
        let hour = place % 24 + 1;
        text.push_str(&format!(
            "1999,{},{},{hour},60,?9,{hour}.0,5.0,70,101000,0,0,300,{m},0,0,0,0,0,0,200,3.5,5,5,\
             9,9,9,9,9,9,9,9,9,0.0,1.0\n",
            day.month(),
            day.day(),
            m = day.month() * 10,
        ));
    }
    text
}

#[test]
fn an_epw_year_gives_the_hour_that_ends_at_its_stamp() -> Result<(), TypicalYearError> {
    let year = parse(epw_text().as_bytes())?;
    assert_eq!(
        (year.station.as_str(), year.elevation_m.to_string()),
        ("Harrowmere", "60".into())
    );
    let from: DateTime<Utc> = "2028-02-29T13:00:00Z".parse().unwrap();
    let hours = year.between(from, from + TimeDelta::hours(2));
    assert_eq!(hours.len(), 2);
    let value = |reading: Option<Reading>| reading.map(|r| (r.value * 1000.0).round() / 1000.0);
    // The row with hour 14 is the hour from 13:00 to 14:00.
    assert_eq!(value(hours[0].air_temperature_c), Some(14.0));
    assert_eq!(value(hours[0].solar_w_per_m2), Some(20.0));
    assert_eq!(value(hours[0].wind_m_per_s), Some(3.5));
    assert_eq!(value(hours[0].pressure_kpa), Some(101.0));
    assert_eq!(hours[0].rain_mm, None);
    Ok(())
}

#[test]
fn faults_name_the_line_and_the_field() {
    let broken = epw_text().replacen("70,101000", "wet,101000", 1);
    let told = parse(broken.as_bytes()).unwrap_err().to_string();
    assert_eq!(told, "line 9, field 9: \"wet\" is not a number");
    let short: Vec<_> = epw_text().lines().map(str::to_owned).collect();
    let short = short[..8 + 100].join("\n");
    assert_eq!(
        parse(short.as_bytes()).unwrap_err().to_string(),
        "the file has 100 of the 8760 hours of a year; first missing: 01-05, hour 5"
    );
    assert_eq!(
        parse(b"time,temperature\n"),
        Err(TypicalYearError::UnknownFormat)
    );
    assert_eq!(parse(b""), Err(TypicalYearError::UnknownFormat));
}

#[test]
fn a_tmy3_year_is_read_by_the_names_of_its_columns() -> Result<(), TypicalYearError> {
    let mut text = "723170,\"INVENTED\",NC,-5.0,36.100,-79.950,273\n\
        Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),Dry-bulb (C),RHum (%),Pressure (mbar),Wspd (m/s)\n"
        .to_owned();
    for place in 0..HOURS_A_YEAR {
        let day =
            chrono::NaiveDate::from_yo_opt(2023, 1).unwrap() + chrono::Days::new(place as u64 / 24);
        let hour = place % 24 + 1;
        text.push_str(&format!(
            "{},{hour:02}:00,{hour},-9900,80,993,2.1\n",
            day.format("%m/%d/1988")
        ));
    }
    let year = parse(text.as_bytes())?;
    // 17:00 UTC is 12:00 local standard time: the row of 13:00.
    let hours = year.between(
        "2026-07-01T17:00:00Z".parse().unwrap(),
        "2026-07-01T18:00:00Z".parse().unwrap(),
    );
    assert_eq!(hours[0].solar_w_per_m2.map(|r| r.value.round()), Some(13.0));
    assert_eq!(hours[0].air_temperature_c, None, "-9900 is missing");
    Ok(())
}
