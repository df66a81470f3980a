//! The tables above the zones: place, supply, rules, quiet windows, limits.

use chrono::TimeDelta;
use chrono_tz::{TZ_VARIANTS, Tz};

use super::diagnostic::Code;
use super::model::{
    DateParity, ExceptionEffect, NightRule, Place, QuietDays, QuietWindow, RuleException, Supply,
    WaterCost, WateringRules,
};
use super::notes::{Fault, Notes, Span, cut, nearest};
use super::read::Table;
use super::time_zones::{
    When, has_summer_time, is_fixed, offset_h, offsets_meant, same_clocks, zone_near, zones_near,
};
use super::values::texts;
use crate::units::{Flow, Speed, Volume, show_length};

/// The most dated exceptions, and the most quiet windows.
const MOST_WINDOWS: usize = 500;
/// Local noon by the clock is never this far from noon by the sun [h].
const CLOCK_OFF_THE_SUN_H: f64 = 3.5;
/// Nearer to the equator a time zone may reach across it [°].
const LATITUDE_TOLD_DEG: f64 = 15.0;

/// Where nothing tells which time zone is meant.
const ANY_ZONE: &str = "write an IANA name, continent and city: \"America/New_York\"";

pub(super) fn time_zone(table: &Table, notes: &mut Notes) -> Option<Tz> {
    let name = table.text("time-zone", notes)?;
    // Their own faults are told where the place is read.
    let latitude = table.degrees("latitude", notes);
    let at = latitude.zip(table.degrees("longitude", notes));
    let zone = name.parse::<Tz>().map_err(|_| {
        let what = format!("there is no time zone \"{}\"", cut(&name));
        Fault::new(Code::UnknownWord, what).help(zone_meant(&name, at))
    });
    notes.take(&table.span_of("time-zone"), zone)
}

/// What to write for a name that is no time zone. By the place, where it is
/// known: never a zone an hour or a continent off.
fn zone_meant(name: &str, at: Option<(f64, f64)>) -> String {
    let offsets = offsets_meant(name);
    let near = at.map_or_else(Vec::new, |at| zones_near(at, &[]));
    if !offsets.is_empty() {
        let fitting = at.map_or_else(Vec::new, |at| zones_near(at, &offsets));
        return match (&fitting[..], &near[..]) {
            ([zone], _) => format!(
                "did you mean \"{zone}\"? it is near this place, and its clocks show {} at times",
                cut(name)
            ),
            ([], [zone]) => format!(
                "write an IANA name, continent and city: \"{zone}\" is near this place, but its \
                 clocks never show {}",
                cut(name)
            ),
            ([], zones) | (zones, _) => one_of(zones),
        };
    }
    // Most people know the city and not the continent.
    let is_region = |zone: &&Tz| zone.name().contains('/') && !is_fixed(**zone);
    let fits = |zone: &&Tz| match near.is_empty() {
        true => {
            at.is_none_or(|(_, longitude)| off_the_sun_h(**zone, longitude) <= CLOCK_OFF_THE_SUN_H)
        }
        // An hour off is worse than no proposal.
        false => near.iter().any(|near| same_clocks(*near, **zone)),
    };
    let regions = || TZ_VARIANTS.iter().filter(is_region).filter(fits);
    let names = || regions().map(|zone| zone.name());
    let wanted = city_of(name).replace(' ', "_");
    // Names of one continent are alike by it: the city has to be, too.
    let alike = |full: &&str| nearest(&wanted, [city_of(full)]).is_some();
    let meant = nearest(name, names().filter(alike))
        .or_else(|| names().find(|full| city_of(full).eq_ignore_ascii_case(&wanted)));
    match meant {
        Some(meant) => format!("did you mean \"{meant}\"?"),
        None => one_of(&near),
    }
}

/// The city of `America/New_York`.
fn city_of(name: &str) -> &str {
    name.rsplit('/').next().unwrap_or(name)
}

/// The time zones that a place may be in, to choose from.
fn one_of(zones: &[Tz]) -> String {
    let names: Vec<String> = zones.iter().map(|zone| format!("\"{zone}\"")).collect();
    match &names[..] {
        [] => ANY_ZONE.to_owned(),
        [zone] => format!("write an IANA name, continent and city: near this place is {zone}"),
        [others @ .., last] => format!(
            "write an IANA name, continent and city: near this place are {} and {last}, and their \
             clocks differ",
            others.join(", ")
        ),
    }
}

pub(super) fn place(table: &Table, time_zone: Option<Tz>, notes: &mut Notes) -> Option<Place> {
    let latitude = table.degrees("latitude", notes);
    let longitude = table.degrees("longitude", notes);
    let elevation = table.quantity("elevation", notes);
    let coast = table.flag("coast", notes);
    let place = Place {
        latitude_deg: latitude?,
        longitude_deg: longitude?,
        elevation_m: elevation?,
        coast: coast?,
        time_zone: time_zone?,
    };
    doubt_place(table, &place, notes);
    Some(place)
}

/// How far local noon by the clock is from noon by the sun [h].
fn off_the_sun_h(zone: Tz, longitude: f64) -> f64 {
    let off = offset_h(zone, 1).map_or(0.0, |clock| (clock - longitude / 15.0).abs());
    // Across the date line 23 h off is 1 h off.
    off.min(24.0 - off)
}

fn doubt_place(table: &Table, place: &Place, notes: &mut Notes) {
    if !doubt_longitude(table, place, notes) {
        doubt_latitude(table, place, notes);
    }
    doubt_fixed_zone(table, place, notes);
    if !(-50.0..=3000.0).contains(&place.elevation_m) {
        let what = format!(
            "an elevation of {} is unusual for a lawn",
            show_length(place.elevation_m, notes.units)
        );
        let fault =
            Fault::new(Code::Unusual, what).help("if it is right, nothing needs to be done");
        notes.warning(&table.span_of("elevation"), fault);
    }
}

/// A forgotten minus sign puts the sun over the wrong continent, and so does a
/// wrong time zone. Whether the zone is to blame: then the latitude is not.
fn doubt_longitude(table: &Table, place: &Place, notes: &mut Notes) -> bool {
    let longitude = place.longitude_deg;
    let is_off = |longitude| off_the_sun_h(place.time_zone, longitude) > CLOCK_OFF_THE_SUN_H;
    if !is_off(longitude) {
        return false;
    }
    let what = format!(
        "longitude {longitude} is far from the time zone {}: the sun would rise at odd hours, and \
         the plan would water by it",
        place.time_zone
    );
    let is_sign = !is_off(-longitude);
    let near = zone_near((place.latitude_deg, longitude), &[]);
    let help = match (is_sign, near) {
        (true, _) => format!("is {} meant? west of Greenwich it is negative", -longitude),
        (false, Some(zone)) => format!(
            "is the time zone \"{zone}\" meant, which is near this place? or else check the \
             longitude, which is negative west of Greenwich"
        ),
        (false, None) => "west of Greenwich the longitude is negative".to_owned(),
    };
    let fault = Fault::new(Code::WrongPlace, what).help(help);
    notes.warning(&table.span_of("longitude"), fault);
    !is_sign
}

/// Clocks go forward for summer, and that tells the half of the Earth where
/// a time zone lies; without a change of clocks nothing can be told.
fn doubt_latitude(table: &Table, place: &Place, notes: &mut Notes) {
    let (Some(january), Some(july)) = (offset_h(place.time_zone, 1), offset_h(place.time_zone, 7))
    else {
        return;
    };
    let latitude = place.latitude_deg;
    let summer_in_july = july > january;
    let is_other_half = latitude.abs() > LATITUDE_TOLD_DEG && (latitude > 0.0) != summer_in_july;
    if !has_summer_time(place.time_zone) || !is_other_half {
        return;
    }
    let what = format!(
        "latitude {latitude} is on the other half of the Earth than the time zone {}: summer and \
         winter would be swapped",
        place.time_zone
    );
    // The latitude may be right and the zone wrong.
    let clocks = [(january, When::Ever), (july, When::Ever)];
    let near = zone_near((latitude, place.longitude_deg), &clocks);
    let or_zone = near.map(|zone| format!("; or is the time zone \"{zone}\"?"));
    let help = format!(
        "is {} meant? south of the equator it is negative{}",
        -latitude,
        or_zone.unwrap_or_default()
    );
    let fault = Fault::new(Code::WrongPlace, what).help(help);
    notes.warning(&table.span_of("latitude"), fault);
}

/// A fixed offset where people turn their clocks for summer.
fn doubt_fixed_zone(table: &Table, place: &Place, notes: &mut Notes) {
    let zone = place.time_zone;
    let (true, Some(offset)) = (is_fixed(zone), offset_h(zone, 1)) else {
        return;
    };
    let at = (place.latitude_deg, place.longitude_deg);
    let near = zone_near(at, &[(offset, When::Standard)]);
    let Some(near) = near.filter(|near| has_summer_time(*near)) else {
        return;
    };
    let what = format!(
        "the time zone \"{zone}\" keeps no summer time, but clocks near this place do: in summer \
         all hours would be one off the clock on the wall"
    );
    let fault = Fault::new(Code::Unusual, what).help(format!("is \"{near}\" meant?"));
    notes.warning(&table.span_of("time-zone"), fault);
}

pub(super) fn supply_flow(table: &Table, notes: &mut Notes) -> Option<Flow> {
    table.quantity("flow", notes).map(Flow::from_l_per_min)
}

pub(super) fn supply(table: &Table, flow: Option<Flow>, notes: &mut Notes) -> Option<Supply> {
    let master_valve = table.flag("master-valve", notes);
    let pump_start_delay = table.duration("pump-start-delay", notes);
    let cost = table.quantity("cost", notes);
    let currency = table.text("currency", notes);
    if table.has("cost") && !table.has("currency") {
        let fault = Fault::new(Code::MissingKey, "`cost` has no `currency`");
        notes.error(
            &table.span_of("cost"),
            fault.help("add for example `currency = \"USD\"`"),
        );
    }
    if table.has("currency") && !table.has("cost") {
        let fault = Fault::new(Code::NoEffect, "`currency` has no effect without `cost`");
        notes.warning(
            &table.span_of("currency"),
            fault.help("add for example `cost = \"2.40 per m3\"`"),
        );
    }
    Some(Supply {
        flow: flow?,
        master_valve: master_valve?,
        pump_start_delay,
        cost: cost
            .zip(currency)
            .map(|(per_m3, currency)| WaterCost { per_m3, currency }),
    })
}

pub(super) fn rules(top: &Table, notes: &mut Notes) -> Option<WateringRules> {
    if !top.has("rules") {
        return Some(WateringRules::default());
    }
    let table = top.subtable("rules", notes)?;
    let hours = table.hours("hours", notes);
    let weekdays = table.weekdays("weekdays", notes);
    let dates = table.word("dates", notes);
    let most_per_day = table.quantity("most-per-day", notes).map(Volume::from_l);
    let exceptions = table.tables("exception", MOST_WINDOWS, notes);
    let exceptions: Vec<_> = exceptions
        .iter()
        .map(|table| exception(table, notes))
        .collect();
    Some(WateringRules {
        hours: hours.unwrap_or_default(),
        weekdays: weekdays.unwrap_or_default(),
        dates: match dates? {
            "odd" => DateParity::Odd,
            "even" => DateParity::Even,
            _ => DateParity::Any,
        },
        most_per_day,
        exceptions: exceptions.into_iter().flatten().collect(),
    })
}

fn exception(table: &Table, notes: &mut Notes) -> Option<RuleException> {
    let name = table.text("name", notes);
    let from = table.date("from", notes);
    let to = table.date("to", notes);
    let zones = zones_named(table, notes);
    let effect = table.word("effect", notes);
    let hours = table.hours("hours", notes).unwrap_or_default();
    if let (Some(from), Some(to)) = (from, to)
        && to < from
    {
        let fault = Fault::new(
            Code::Contradiction,
            format!("it ends on {to}, before it begins on {from}"),
        );
        notes.error(
            &table.span_of("to"),
            fault.help("`to` is the last day, included"),
        );
    }
    if effect == Some("ban") && table.has("hours") {
        let fault = Fault::new(Code::NoEffect, "a ban holds all day; `hours` has no effect");
        notes.warning(
            &table.span_of("hours"),
            fault.help("hours belong to a permit"),
        );
    }
    Some(RuleException {
        name: name?,
        from: from?,
        to: to?,
        zones,
        effect: match effect? {
            "ban" => ExceptionEffect::Ban,
            _ => ExceptionEffect::Permit { hours },
        },
    })
}

/// The zones named by `zones`; whether they exist is judged later.
fn zones_named(table: &Table, notes: &mut Notes) -> Vec<String> {
    let items = table
        .find("zones", notes)
        .and_then(|value| texts(&value, notes));
    let name = |(text, span): (&str, Span)| {
        notes.zone_references.push((text.to_owned(), span));
        text.to_owned()
    };
    items.into_iter().flatten().map(name).collect()
}

pub(super) fn quiet_windows(top: &Table, notes: &mut Notes) -> Option<Vec<QuietWindow>> {
    let tables = top.tables("quiet", MOST_WINDOWS, notes);
    let windows: Vec<_> = tables
        .iter()
        .map(|table| quiet_window(table, notes))
        .collect();
    let windows: Option<Vec<_>> = windows.into_iter().collect();
    windows.map(|windows| windows.concat())
}

/// One window for each span of hours.
fn quiet_window(table: &Table, notes: &mut Notes) -> Option<Vec<QuietWindow>> {
    let name = table.text("name", notes);
    let zones = zones_named(table, notes);
    let weekdays = table.weekdays("weekdays", notes);
    let dates = table.dates("dates", notes);
    let hours = table.hours("hours", notes);
    let dry_before = table.duration("dry-before", notes);
    if table.has("weekdays") && table.has("dates") {
        let fault = Fault::new(
            Code::Contradiction,
            "`dates` and `weekdays` exclude each other",
        );
        notes.error(
            &table.span_of("dates"),
            fault.help("write two [[quiet]] tables"),
        );
    }
    let window = QuietWindow {
        name: name?,
        zones,
        days: match dates {
            Some(dates) => QuietDays::Dates(dates),
            None => QuietDays::Weekly(weekdays.unwrap_or_default()),
        },
        hours: *hours.as_ref()?.first()?,
        dry_before: dry_before?,
    };
    let each = hours?.into_iter().map(|hours| QuietWindow {
        hours,
        ..window.clone()
    });
    Some(each.collect())
}

pub(super) fn limits(top: &Table, notes: &mut Notes) -> Option<(Option<Speed>, f64)> {
    let table = top.subtable_or_empty("limits", notes)?;
    let wind = table.quantity_or_none("wind", notes);
    let frost = table.quantity("frost", notes);
    Some((wind?.map(Speed::from_m_per_s), frost?))
}

pub(super) fn night(top: &Table, notes: &mut Notes) -> Option<NightRule> {
    let table = top.subtable_or_empty("night", notes)?;
    let dry_before_sunset: Option<TimeDelta> = table.duration("dry-before-sunset", notes);
    let start_before_sunrise = table.duration("start-before-sunrise", notes);
    Some(NightRule {
        dry_before_sunset: dry_before_sunset?,
        start_before_sunrise: start_before_sunrise?,
    })
}
