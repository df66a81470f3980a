//! Which time zone a person means: by an offset or an abbreviation that is no
//! name of a zone, and by the place of the site.

use chrono::{NaiveDate, Offset, TimeZone};
use chrono_tz::Tz;

/// Farther than this from its city a zone is not proposed [km].
const NEAR_KM: f64 = 2500.0;
/// Mean radius of the Earth [km].
const EARTH_KM: f64 = 6371.0;

/// Zones in everyday use: name, latitude and longitude of their city [°].
///
/// # Source
/// `zone.tab` of the tz database (public domain), rounded to a tenth of a degree; the choice
/// is our own: the best known name of each region.
#[rustfmt::skip]
const CITIES: [(&str, f64, f64); 120] = [
    ("Europe/London", 51.5, -0.1),
    ("Europe/Dublin", 53.3, -6.2),
    ("Europe/Lisbon", 38.7, -9.1),
    ("Europe/Paris", 48.9, 2.3),
    ("Europe/Brussels", 50.8, 4.3),
    ("Europe/Amsterdam", 52.4, 4.9),
    ("Europe/Berlin", 52.5, 13.4),
    ("Europe/Zurich", 47.4, 8.5),
    ("Europe/Vienna", 48.2, 16.3),
    ("Europe/Rome", 41.9, 12.5),
    ("Europe/Madrid", 40.4, -3.7),
    ("Europe/Copenhagen", 55.7, 12.6),
    ("Europe/Oslo", 59.9, 10.8),
    ("Europe/Stockholm", 59.3, 18.1),
    ("Europe/Helsinki", 60.2, 25.0),
    ("Europe/Tallinn", 59.4, 24.8),
    ("Europe/Riga", 57.0, 24.1),
    ("Europe/Vilnius", 54.7, 25.3),
    ("Europe/Warsaw", 52.2, 21.0),
    ("Europe/Prague", 50.1, 14.4),
    ("Europe/Bratislava", 48.1, 17.1),
    ("Europe/Budapest", 47.5, 19.1),
    ("Europe/Ljubljana", 46.0, 14.5),
    ("Europe/Zagreb", 45.8, 16.0),
    ("Europe/Belgrade", 44.8, 20.5),
    ("Europe/Sofia", 42.7, 23.3),
    ("Europe/Bucharest", 44.4, 26.1),
    ("Europe/Athens", 38.0, 23.7),
    ("Europe/Kyiv", 50.4, 30.5),
    ("Europe/Istanbul", 41.0, 29.0),
    ("Europe/Moscow", 55.8, 37.6),
    ("Atlantic/Reykjavik", 64.2, -21.9),
    ("Atlantic/Canary", 28.1, -15.4),
    ("Atlantic/Azores", 37.7, -25.7),
    ("America/St_Johns", 47.6, -52.7),
    ("America/Halifax", 44.6, -63.6),
    ("America/Toronto", 43.6, -79.4),
    ("America/New_York", 40.7, -74.0),
    ("America/Detroit", 42.3, -83.0),
    ("America/Chicago", 41.9, -87.7),
    ("America/Winnipeg", 49.9, -97.2),
    ("America/Regina", 50.4, -104.7),
    ("America/Denver", 39.7, -105.0),
    ("America/Edmonton", 53.5, -113.5),
    ("America/Phoenix", 33.4, -112.1),
    ("America/Los_Angeles", 34.0, -118.2),
    ("America/Vancouver", 49.3, -123.1),
    ("America/Anchorage", 61.2, -149.9),
    ("Pacific/Honolulu", 21.3, -157.8),
    ("America/Mexico_City", 19.4, -99.2),
    ("America/Guatemala", 14.6, -90.5),
    ("America/Costa_Rica", 9.9, -84.1),
    ("America/Panama", 9.0, -79.5),
    ("America/Havana", 23.1, -82.4),
    ("America/Jamaica", 18.0, -76.8),
    ("America/Puerto_Rico", 18.5, -66.1),
    ("America/Bogota", 4.6, -74.1),
    ("America/Caracas", 10.5, -66.9),
    ("America/Guayaquil", -2.2, -79.8),
    ("America/Lima", -12.1, -77.0),
    ("America/La_Paz", -16.5, -68.2),
    ("America/Asuncion", -25.3, -57.7),
    ("America/Santiago", -33.5, -70.7),
    ("America/Argentina/Buenos_Aires", -34.6, -58.5),
    ("America/Montevideo", -34.9, -56.2),
    ("America/Sao_Paulo", -23.5, -46.6),
    ("America/Manaus", -3.1, -60.0),
    ("America/Fortaleza", -3.7, -38.5),
    ("Africa/Casablanca", 33.6, -7.6),
    ("Africa/Algiers", 36.8, 3.0),
    ("Africa/Tunis", 36.8, 10.2),
    ("Africa/Tripoli", 32.9, 13.2),
    ("Africa/Cairo", 30.1, 31.2),
    ("Africa/Lagos", 6.5, 3.4),
    ("Africa/Abidjan", 5.3, -4.0),
    ("Africa/Khartoum", 15.6, 32.5),
    ("Africa/Nairobi", -1.3, 36.8),
    ("Africa/Johannesburg", -26.2, 28.0),
    ("Africa/Maputo", -26.0, 32.6),
    ("Africa/Windhoek", -22.6, 17.1),
    ("Indian/Mauritius", -20.2, 57.5),
    ("Asia/Jerusalem", 31.8, 35.2),
    ("Asia/Beirut", 33.9, 35.5),
    ("Asia/Baghdad", 33.4, 44.4),
    ("Asia/Riyadh", 24.6, 46.7),
    ("Asia/Tehran", 35.7, 51.4),
    ("Asia/Dubai", 25.3, 55.3),
    ("Asia/Tbilisi", 41.7, 44.8),
    ("Asia/Tashkent", 41.3, 69.3),
    ("Asia/Almaty", 43.2, 77.0),
    ("Asia/Karachi", 24.9, 67.0),
    ("Asia/Kolkata", 22.5, 88.4),
    ("Asia/Kathmandu", 27.7, 85.3),
    ("Asia/Dhaka", 23.7, 90.4),
    ("Asia/Colombo", 6.9, 79.8),
    ("Asia/Yangon", 16.8, 96.2),
    ("Asia/Bangkok", 13.8, 100.5),
    ("Asia/Ho_Chi_Minh", 10.8, 106.7),
    ("Asia/Jakarta", -6.2, 106.8),
    ("Asia/Singapore", 1.3, 103.8),
    ("Asia/Kuala_Lumpur", 3.2, 101.7),
    ("Asia/Manila", 14.6, 121.0),
    ("Asia/Hong_Kong", 22.3, 114.2),
    ("Asia/Shanghai", 31.2, 121.5),
    ("Asia/Taipei", 25.1, 121.5),
    ("Asia/Seoul", 37.5, 127.0),
    ("Asia/Tokyo", 35.6, 139.7),
    ("Asia/Yekaterinburg", 56.9, 60.6),
    ("Asia/Novosibirsk", 55.0, 82.9),
    ("Asia/Vladivostok", 43.2, 131.9),
    ("Australia/Perth", -31.9, 115.8),
    ("Australia/Darwin", -12.5, 130.8),
    ("Australia/Adelaide", -34.9, 138.6),
    ("Australia/Brisbane", -27.5, 153.0),
    ("Australia/Sydney", -33.9, 151.2),
    ("Australia/Melbourne", -37.8, 145.0),
    ("Australia/Hobart", -42.9, 147.3),
    ("Pacific/Auckland", -36.9, 174.8),
    ("Pacific/Fiji", -18.1, 178.4),
    ("Pacific/Guam", 13.5, 144.8),
];

/// Abbreviations and the offset of their clocks [h]; where one has several
/// meanings, all of them.
///
/// # Source
/// The abbreviations of the tz database, from memory.
#[rustfmt::skip]
const ABBREVIATIONS: [(&str, &[f64]); 40] = [
    ("GMT", &[0.0]), ("UTC", &[0.0]), ("WET", &[0.0]), ("WEST", &[1.0]),
    ("BST", &[1.0]), ("IST", &[5.5, 1.0, 2.0]), ("CET", &[1.0]), ("CEST", &[2.0]),
    ("MEZ", &[1.0]), ("MESZ", &[2.0]), ("EET", &[2.0]), ("EEST", &[3.0]),
    ("MSK", &[3.0]), ("NST", &[-3.5]), ("NDT", &[-2.5]), ("AST", &[-4.0]),
    ("ADT", &[-3.0]), ("EST", &[-5.0]), ("EDT", &[-4.0]), ("CST", &[-6.0, 8.0]),
    ("CDT", &[-5.0]), ("MST", &[-7.0]), ("MDT", &[-6.0]), ("PST", &[-8.0, 8.0]),
    ("PDT", &[-7.0]), ("AKST", &[-9.0]), ("AKDT", &[-8.0]), ("HST", &[-10.0]),
    ("BRT", &[-3.0]), ("ART", &[-3.0]), ("SAST", &[2.0]), ("CAT", &[2.0]),
    ("EAT", &[3.0]), ("JST", &[9.0]), ("AWST", &[8.0]), ("ACST", &[9.5]),
    ("AEST", &[10.0]), ("AEDT", &[11.0]), ("NZST", &[12.0]), ("NZDT", &[13.0]),
];

/// The offset of a time zone from UTC in a month [h]. Any year does, to tell
/// on which side of the Earth a place lies.
pub(super) fn offset_h(zone: Tz, month: u32) -> Option<f64> {
    let noon = NaiveDate::from_ymd_opt(2023, month, 15)?.and_hms_opt(12, 0, 0)?;
    let offset = zone.offset_from_utc_datetime(&noon).fix();
    Some(f64::from(offset.local_minus_utc()) / 3600.0)
}

/// Whether its clocks go forward for summer.
pub(super) fn has_summer_time(zone: Tz) -> bool {
    let (january, july) = (offset_h(zone, 1), offset_h(zone, 7));
    january
        .zip(july)
        .is_some_and(|(january, july)| !is_same(january, july))
}

/// A zone that is an offset and no region, such as `EST` or `Etc/GMT+5`.
pub(super) fn is_fixed(zone: Tz) -> bool {
    let name = zone.name();
    (!name.contains('/') || name.starts_with("Etc/")) && !has_summer_time(zone)
}

/// The offsets that a text means which is no name of a zone: `GMT+1`,
/// `UTC-05:00`, `AEST`. Empty where it means none.
pub(super) fn offsets_meant(text: &str) -> Vec<f64> {
    let text = text.trim().to_ascii_uppercase();
    let known = ABBREVIATIONS.iter().find(|(name, _)| *name == text);
    if let Some((_, offsets)) = known {
        return offsets.to_vec();
    }
    let rest = text.strip_prefix("GMT").or(text.strip_prefix("UTC"));
    signed_hours(rest.unwrap_or(&text)).into_iter().collect()
}

/// `+1`, `-05:00`, `+0530`.
fn signed_hours(text: &str) -> Option<f64> {
    let text = text.trim().replace('\u{2212}', "-");
    let sign = match text.chars().next()? {
        '+' => 1.0,
        '-' => -1.0,
        _ => return None,
    };
    let digits = text[1..].trim();
    let (hours, minutes) = match digits.split_once(':') {
        Some(parts) => parts,
        None if digits.len() == 4 && digits.is_ascii() => digits.split_at(2),
        None => (digits, "0"),
    };
    let (hours, minutes): (u8, u8) = (hours.parse().ok()?, minutes.parse().ok()?);
    (hours <= 14 && minutes < 60).then(|| sign * (f64::from(hours) + f64::from(minutes) / 60.0))
}

/// The zone in everyday use that is nearest to a place, of those whose clocks
/// show one of the `offsets` in January or in July; of all without any.
pub(super) fn nearest_zone((latitude, longitude): (f64, f64), offsets: &[f64]) -> Option<Tz> {
    let fits = |zone: Tz| {
        let shown = [offset_h(zone, 1), offset_h(zone, 7)];
        let is_one = |meant: &f64| shown.iter().flatten().any(|h| is_same(*h, *meant));
        offsets.is_empty() || offsets.iter().any(is_one)
    };
    let cities = CITIES
        .iter()
        .filter_map(|(name, city_latitude, city_longitude)| {
            let zone = name.parse::<Tz>().ok()?;
            let km = distance_km((latitude, longitude), (*city_latitude, *city_longitude));
            (km <= NEAR_KM && fits(zone)).then_some((km, zone))
        });
    cities
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, zone)| zone)
}

fn is_same(a: f64, b: f64) -> bool {
    (a - b).abs() < 0.01
}

/// Along the great circle (haversine).
fn distance_km(a: (f64, f64), b: (f64, f64)) -> f64 {
    let (lat_a, lat_b) = (a.0.to_radians(), b.0.to_radians());
    let half = |from: f64, to: f64| ((to - from) / 2.0).sin().powi(2);
    let (lon_a, lon_b) = (a.1.to_radians(), b.1.to_radians());
    let chord = half(lat_a, lat_b) + lat_a.cos() * lat_b.cos() * half(lon_a, lon_b);
    2.0 * EARTH_KM * chord.sqrt().min(1.0).asin()
}

#[cfg(test)]
mod tests {
    use super::*;

    const MELBOURNE: (f64, f64) = (-37.8, 144.9);
    const OXFORD: (f64, f64) = (51.7, -1.2);
    const GREENSBORO: (f64, f64) = (36.1, -79.9);

    fn meant(text: &str, place: (f64, f64)) -> Option<&'static str> {
        let offsets = offsets_meant(text);
        assert!(!offsets.is_empty(), "{text}");
        nearest_zone(place, &offsets).map(Tz::name)
    }

    #[test]
    fn offsets_and_abbreviations_are_told_by_the_place_and_never_a_continent_off() {
        for text in ["AEST", "AEDT", "UTC+11", "GMT+10:00", "+1000", "utc +11"] {
            assert_eq!(
                meant(text, MELBOURNE),
                Some("Australia/Melbourne"),
                "{text}"
            );
        }
        for text in ["BST", "GMT+1", "UTC", "gmt"] {
            assert_eq!(meant(text, OXFORD), Some("Europe/London"), "{text}");
        }
        for text in ["EST", "EDT", "UTC-5", "GMT-04:00"] {
            assert_eq!(meant(text, GREENSBORO), Some("America/New_York"), "{text}");
        }
        assert_eq!(meant("CET", (52.5, 12.0)), Some("Europe/Berlin"));
        assert_eq!(meant("MST", (33.4, -112.1)), Some("America/Phoenix"));
        assert_eq!(meant("EST", MELBOURNE), None);
        assert_eq!(meant("UTC+11", OXFORD), None);
        for text in ["Melbourne", "+99", "GMT+", "UTC+1:75", ""] {
            assert!(offsets_meant(text).is_empty(), "{text}");
        }
    }

    #[test]
    fn every_zone_of_the_list_exists_and_lies_where_its_clocks_say() {
        for (name, latitude, longitude) in CITIES {
            let zone: Tz = name.parse().unwrap();
            let off = offset_h(zone, 1).unwrap() - longitude / 15.0;
            assert!(off.abs() < 3.5 || (24.0 - off.abs()) < 3.5, "{name}: {off}");
            assert_eq!(
                nearest_zone((latitude, longitude), &[]),
                Some(zone),
                "{name}"
            );
        }
    }

    #[test]
    fn fixed_offsets_are_no_regions() {
        for name in ["EST", "MST", "Etc/GMT+5", "UTC"] {
            assert!(is_fixed(name.parse().unwrap()), "{name}");
        }
        for name in ["America/Phoenix", "CET", "Europe/London"] {
            assert!(!is_fixed(name.parse().unwrap()), "{name}");
        }
    }
}
