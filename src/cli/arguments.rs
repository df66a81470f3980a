//! Values that several commands take, checked as they are read.

use chrono_tz::Tz;

/// How alike a misspelt time zone must be to be suggested, 0 to 1.
const ALIKE: f64 = 0.8;

fn number_within(text: &str, least: f64, most: f64, unit: &str) -> Result<f64, String> {
    let value: f64 = text
        .parse()
        .map_err(|_| format!("write a number, in {unit}"))?;
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(format!("must be {least} to {most}, in {unit}"))
    }
}

/// A latitude [°].
pub fn latitude(text: &str) -> Result<f64, String> {
    number_within(text, -90.0, 90.0, "degrees, north positive")
}

/// A longitude [°].
pub fn longitude(text: &str) -> Result<f64, String> {
    number_within(text, -180.0, 180.0, "degrees, east positive")
}

/// An elevation [m]: from below the Dead Sea to above the highest pasture.
pub fn elevation(text: &str) -> Result<f64, String> {
    number_within(text, -450.0, 6000.0, "metres above sea level")
}

/// The height of an anemometer [m].
pub fn wind_height(text: &str) -> Result<f64, String> {
    number_within(text, 0.5, 200.0, "metres above ground")
}

/// An IANA time zone.
pub fn time_zone(text: &str) -> Result<Tz, String> {
    text.parse().map_err(|_| {
        let alike = chrono_tz::TZ_VARIANTS
            .iter()
            .map(|zone| (strsim::jaro_winkler(text, zone.name()), zone.name()))
            .filter(|&(alike, _)| alike > ALIKE)
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match alike {
            Some((_, name)) => format!("no such time zone; did you mean {name}?"),
            None => "no such time zone; write one like Europe/London".to_owned(),
        }
    })
}

/// A place for people: 36.10° N, 79.95° W.
pub fn place_in_words(latitude_deg: f64, longitude_deg: f64) -> String {
    let north = if latitude_deg < 0.0 { 'S' } else { 'N' };
    let east = if longitude_deg < 0.0 { 'W' } else { 'E' };
    format!(
        "{:.2}° {north}, {:.2}° {east}",
        latitude_deg.abs(),
        longitude_deg.abs()
    )
}
