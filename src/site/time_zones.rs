//! Which time zone a person means: by an offset or an abbreviation that is no
//! name of a zone, and by the place of the site.

use chrono::{NaiveDate, Offset, TimeZone};
use chrono_tz::Tz;

use super::time_zone_places::{CITIES, TOWNS};

/// Farther than this from its city a zone is not proposed [km].
const NEAR_KM: f64 = 1500.0;
/// A town with other clocks that is at most so much farther than the nearest
/// leaves it open which clock a place has, as does any within the distance
/// below, unless the place is in a town itself. Our own choice.
const HARDLY_FARTHER: f64 = 2.0;
/// A zone that words name is not meant if its nearest town is as many times
/// farther than any other, and farther than the distance below. Our own choice.
const FAR_FARTHER: f64 = 3.0;
const MEANT_WITHIN_KM: f64 = 400.0;
const SURE_FROM_KM: f64 = 100.0;
const IN_TOWN_KM: f64 = 20.0;
/// Mean radius of the Earth [km].
const EARTH_KM: f64 = 6371.0;

/// When clocks show an offset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum When {
    /// In winter or in summer.
    Ever,
    /// Without summer time.
    Standard,
    /// In summer time alone.
    Summer,
}

/// An offset that a text means [h], and when clocks show it.
pub(super) type Meant = (f64, When);

/// Abbreviations and names of clocks and their offset [h]; where one has
/// several meanings, all of them.
///
/// # Source
/// The abbreviations of the tz database, from memory; names of clocks without
/// their "standard time" or "daylight time" as people say them.
#[rustfmt::skip]
const CLOCKS: [(&str, When, &[f64]); 57] = [
    ("GMT", When::Ever, &[0.0]), ("UTC", When::Ever, &[0.0]),
    ("WET", When::Standard, &[0.0]), ("WEST", When::Summer, &[1.0]), ("BST", When::Summer, &[1.0]),
    ("IST", When::Ever, &[5.5, 1.0, 2.0]), ("CET", When::Standard, &[1.0]),
    ("CEST", When::Summer, &[2.0]), ("MEZ", When::Standard, &[1.0]), ("MESZ", When::Summer, &[2.0]),
    ("EET", When::Standard, &[2.0]), ("EEST", When::Summer, &[3.0]),
    ("MSK", When::Standard, &[3.0]), ("NST", When::Standard, &[-3.5]),
    ("NDT", When::Summer, &[-2.5]), ("AST", When::Standard, &[-4.0]),
    ("ADT", When::Summer, &[-3.0]), ("EST", When::Standard, &[-5.0]),
    ("EDT", When::Summer, &[-4.0]), ("CST", When::Standard, &[-6.0, 8.0]),
    ("CDT", When::Summer, &[-5.0]), ("MST", When::Standard, &[-7.0]),
    ("MDT", When::Summer, &[-6.0]), ("PST", When::Standard, &[-8.0, 8.0]),
    ("PDT", When::Summer, &[-7.0]), ("AKST", When::Standard, &[-9.0]),
    ("AKDT", When::Summer, &[-8.0]), ("HST", When::Standard, &[-10.0]),
    ("BRT", When::Standard, &[-3.0]), ("ART", When::Standard, &[-3.0]),
    ("SAST", When::Standard, &[2.0]), ("CAT", When::Standard, &[2.0]),
    ("EAT", When::Standard, &[3.0]), ("JST", When::Standard, &[9.0]),
    ("AWST", When::Standard, &[8.0]), ("ACST", When::Standard, &[9.5]),
    ("AEST", When::Standard, &[10.0]), ("AEDT", When::Summer, &[11.0]),
    ("NZST", When::Standard, &[12.0]), ("NZDT", When::Summer, &[13.0]),
    ("WESTERN EUROPEAN", When::Standard, &[0.0]), ("CENTRAL EUROPEAN", When::Standard, &[1.0]),
    ("EASTERN EUROPEAN", When::Standard, &[2.0]), ("BRITISH", When::Standard, &[0.0]),
    ("GREENWICH MEAN", When::Standard, &[0.0]), ("NEWFOUNDLAND", When::Standard, &[-3.5]),
    ("ATLANTIC", When::Standard, &[-4.0]), ("EASTERN", When::Standard, &[-5.0, 10.0]),
    ("CENTRAL", When::Standard, &[-6.0, 9.5]), ("MOUNTAIN", When::Standard, &[-7.0]),
    ("PACIFIC", When::Standard, &[-8.0]), ("ALASKA", When::Standard, &[-9.0]),
    ("HAWAII", When::Standard, &[-10.0]), ("AUSTRALIAN EASTERN", When::Standard, &[10.0]),
    ("AUSTRALIAN CENTRAL", When::Standard, &[9.5]), ("AUSTRALIAN WESTERN", When::Standard, &[8.0]),
    ("NEW ZEALAND", When::Standard, &[12.0]),
];

/// The offset of a time zone from UTC in a month [h]. Any year does, to tell
/// on which side of the Earth a place lies.
pub(super) fn offset_h(zone: Tz, month: u32) -> Option<f64> {
    offset_on(zone, (month, 15)).map(|seconds| f64::from(seconds) / 3600.0)
}

/// The offset of a time zone on a day of that year (month, day) [s].
fn offset_on(zone: Tz, (month, day): (u32, u32)) -> Option<i32> {
    let noon = NaiveDate::from_ymd_opt(2023, month, day)?.and_hms_opt(12, 0, 0)?;
    let offset = zone.offset_from_utc_datetime(&noon).fix();
    Some(offset.local_minus_utc())
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
/// `UTC-05:00`, `AEST`, `Mountain Time`. Empty where it means none.
pub(super) fn offsets_meant(text: &str) -> Vec<Meant> {
    let text = text.trim().to_ascii_uppercase();
    // "Mountain Daylight Time" is a clock that is at another offset in winter.
    let said = ["TIME", "STANDARD", "DAYLIGHT", "SUMMER"];
    let words = text.split([' ', '_']).filter(|word| !said.contains(word));
    let name = words.collect::<Vec<&str>>().join(" ");
    let known = CLOCKS.iter().find(|(known, ..)| *known == name);
    if let Some((_, when, offsets)) = known {
        return offsets.iter().map(|offset| (*offset, *when)).collect();
    }
    let rest = text.strip_prefix("GMT").or(text.strip_prefix("UTC"));
    let hours = signed_hours(rest.unwrap_or(&text));
    hours.map(|hours| (hours, When::Ever)).into_iter().collect()
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

/// The time zones that a place may be in, the nearest first: more than one
/// where towns with other clocks are hardly farther. Of zones whose clocks show
/// one of the offsets `meant`; of all without any.
pub(super) fn zones_near((latitude, longitude): (f64, f64), meant: &[Meant]) -> Vec<Tz> {
    let cities = CITIES.iter().map(|(name, lat, lon)| (*name, (*lat, *lon)));
    let towns = TOWNS
        .iter()
        .flat_map(|(name, all)| all.iter().map(|at| (*name, *at)));
    let distances = cities.chain(towns).filter_map(|(name, town)| {
        let km = distance_km((latitude, longitude), town);
        (km <= NEAR_KM).then_some((km, name.parse::<Tz>().ok()?))
    });
    let mut near: Vec<(f64, Tz)> = distances.collect();
    let nearest_km = near.iter().map(|(km, _)| *km).fold(NEAR_KM, f64::min);
    // Far beyond the nearest town the words are as likely wrong as the place.
    let meant_km = (nearest_km * FAR_FARTHER).max(MEANT_WITHIN_KM);
    let fits = |zone: Tz| meant.iter().any(|meant| shows(zone, *meant));
    near.retain(|(km, zone)| meant.is_empty() || (*km <= meant_km && fits(*zone)));
    near.sort_by(|a, b| a.0.total_cmp(&b.0));
    let reach_km = near.first().map_or(0.0, |(nearest_km, _)| {
        (nearest_km * HARDLY_FARTHER).max(SURE_FROM_KM)
    });
    // A town itself is where its zone is.
    let is_town = near.first().is_some_and(|(km, _)| *km < IN_TOWN_KM);
    let mut zones: Vec<Tz> = Vec::new();
    for (km, zone) in near {
        let is_rival = zones.is_empty() || (!is_town && km <= reach_km);
        if is_rival && !zones.iter().any(|known| same_clocks(*known, zone)) {
            zones.push(zone);
        }
    }
    zones
}

/// The one time zone that a place is in, where that is sure.
pub(super) fn zone_near(place: (f64, f64), meant: &[Meant]) -> Option<Tz> {
    match zones_near(place, meant)[..] {
        [zone] => Some(zone),
        _ => None,
    }
}

/// Whether the clocks of a zone show an offset when they should.
fn shows(zone: Tz, (meant, when): Meant) -> bool {
    let Some((january, july)) = offset_h(zone, 1).zip(offset_h(zone, 7)) else {
        return false;
    };
    let (standard, summer) = (january.min(july), january.max(july));
    match when {
        When::Ever => is_same(standard, meant) || is_same(summer, meant),
        When::Standard => is_same(standard, meant),
        When::Summer => is_same(summer, meant) && !is_same(standard, meant),
    }
}

/// Whether clocks of both zones show the same all the year.
pub(super) fn same_clocks(a: Tz, b: Tz) -> bool {
    let days = (1..=12).flat_map(|month| [1, 8, 15, 22, 28].map(|day| (month, day)));
    a == b
        || days
            .into_iter()
            .all(|day| offset_on(a, day) == offset_on(b, day))
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
        zone_near(place, &offsets).map(Tz::name)
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
        let cities = CITIES.iter().map(|(name, lat, lon)| (*name, (*lat, *lon)));
        let towns = TOWNS
            .iter()
            .flat_map(|(name, all)| all.iter().map(|at| (*name, *at)));
        for (name, (latitude, longitude)) in cities.chain(towns) {
            let zone: Tz = name.parse().unwrap();
            let off = offset_h(zone, 1).unwrap() - longitude / 15.0;
            assert!(off.abs() < 3.5 || (24.0 - off.abs()) < 3.5, "{name}: {off}");
            assert_eq!(zone_near((latitude, longitude), &[]), Some(zone), "{name}");
        }
    }

    #[test]
    fn a_clock_is_named_where_it_is_sure_and_else_those_that_it_may_be() {
        let boise = (43.6, -116.2);
        for text in [
            "Mountain Time",
            "mountain standard time",
            "MST",
            "MDT",
            "UTC-7",
        ] {
            assert_eq!(meant(text, boise), Some("America/Boise"), "{text}");
        }
        assert_eq!(meant("Eastern", (27.95, -82.46)), Some("America/New_York"));
        assert_eq!(
            meant("Mountain Time", (40.8, -111.9)),
            Some("America/Denver")
        );
        // Pacific clocks show UTC-7 in summer, but that is no Mountain Time.
        assert_eq!(meant("MST", (47.6, -122.3)), None);
        let near =
            |place| -> Vec<&str> { zones_near(place, &[]).into_iter().map(Tz::name).collect() };
        assert_eq!(near((27.95, -82.46)), ["America/New_York"]);
        // On the border of two zones both are named.
        let border = near((36.0, -85.0));
        assert!(border.contains(&"America/New_York"), "{border:?}");
        assert!(border.contains(&"America/Chicago"), "{border:?}");
        assert_eq!(zone_near((36.0, -85.0), &[]), None);
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
