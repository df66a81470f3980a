//! The table that people read: 80 columns at most.

use std::io::{self, Write};

use super::Step;
use super::report::{Et0Report, Row};
use crate::agronomy::reference_et::EtMethod;
use crate::agronomy::weather_record::WeatherVariable;
use crate::cli::arguments::place_in_words;

pub(super) fn write(report: &Et0Report, out: &mut impl Write) -> io::Result<()> {
    let settings = &report.settings;
    let method = match settings.method {
        EtMethod::Fao56 => "FAO-56",
        EtMethod::Asce => "ASCE-EWRI 2005 short reference",
    };
    let step = match settings.step {
        Step::Hour => "hourly",
        Step::Day => "daily",
    };
    let place = settings.place;
    writeln!(out, "Reference evapotranspiration (ET0), {method}, {step}")?;
    writeln!(
        out,
        "Place    {}, {} m; wind measured at {} m",
        place_in_words(place.latitude_deg, place.longitude_deg),
        place.elevation_m,
        settings.wind_height_m,
    )?;
    writeln!(out, "Weather  {}", settings.file)?;
    writeln!(out)?;
    match settings.step {
        Step::Hour => hours(report, out)?,
        Step::Day => days(report, out)?,
    }
    writeln!(out)?;
    totals(report, out)?;
    if report.rows.iter().any(|row| !row.estimated.is_empty()) {
        writeln!(
            out,
            "est.: estimated T temperature, H humidity, W wind, S solar radiation"
        )?;
    }
    Ok(())
}

fn hours(report: &Et0Report, out: &mut impl Write) -> io::Result<()> {
    writeln!(
        out,
        "{:25} {:>7} {:>6} {:>6} {:>6} {:>7} {:>7}  est.",
        "end of the hour", "ET0", "T", "ea", "u2", "Rs", "Rn"
    )?;
    let unit = "MJ/m²";
    writeln!(
        out,
        "{:25} {:>7} {:>6} {:>6} {:>6} {unit:>7} {unit:>7}",
        "", "mm", "°C", "kPa", "m/s"
    )?;
    for row in &report.rows {
        let line = format!(
            "{:25} {:7.3} {:6.1} {:6.2} {:6.1} {:7.2} {:7.2}  {}",
            row.time,
            row.et0_mm + 0.0,
            row.air_temp_c,
            row.ea_kpa,
            row.u2_m_s,
            row.rs_mj_m2,
            row.rn_mj_m2,
            letters(row),
        );
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

fn days(report: &Et0Report, out: &mut impl Write) -> io::Result<()> {
    writeln!(
        out,
        "{:10} {:>6} {:>6} {:>6} {:>6} {:>6} {:>7} {:>7} {:>6}  est.",
        "date", "ET0", "Tmin", "Tmax", "ea", "u2", "Rs", "Rn", "H-S"
    )?;
    let unit = "MJ/m²";
    writeln!(
        out,
        "{:10} {:>6} {:>6} {:>6} {:>6} {:>6} {unit:>7} {unit:>7} {:>6}",
        "", "mm", "°C", "°C", "kPa", "m/s", "mm"
    )?;
    for row in &report.rows {
        let line = format!(
            "{:10} {:6.2} {:6.1} {:6.1} {:6.2} {:6.1} {:7.2} {:7.2} {:6.2}  {}",
            row.time,
            row.et0_mm,
            row.temp_min_c.unwrap_or(f64::NAN),
            row.temp_max_c.unwrap_or(f64::NAN),
            row.ea_kpa,
            row.u2_m_s,
            row.rs_mj_m2,
            row.rn_mj_m2,
            row.hargreaves_samani_mm.unwrap_or(f64::NAN),
            letters(row),
        );
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

fn totals(report: &Et0Report, out: &mut impl Write) -> io::Result<()> {
    let (total, count) = (report.total_mm, report.rows.len());
    let Some(most) = report
        .rows
        .iter()
        .max_by(|a, b| a.et0_mm.total_cmp(&b.et0_mm))
    else {
        return Ok(());
    };
    let unit = if report.settings.step == Step::Day {
        "days"
    } else {
        "hours"
    };
    writeln!(
        out,
        "Total {total:.2} mm in {count} {unit}; most {:.2} mm, {}",
        most.et0_mm, most.time
    )?;
    if report.settings.step == Step::Day {
        writeln!(
            out,
            "H-S: Hargreaves-Samani, from temperature alone, to compare with"
        )?;
    }
    Ok(())
}

/// One letter for each variable that was estimated.
fn letters(row: &Row) -> String {
    row.estimated
        .iter()
        .map(|estimated| match estimated.variable {
            WeatherVariable::AirTemperature => 'T',
            WeatherVariable::RelativeHumidity => 'H',
            WeatherVariable::Wind => 'W',
            _ => 'S',
        })
        .collect()
}
