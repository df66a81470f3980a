//! The text of a site file to a checked [`Site`], or to all of its
//! diagnostics at once.

use std::collections::BTreeSet;
use std::ops::Range;

use toml::de::DeTable;

use super::diagnostic::{Code, Diagnostic, Diagnostics};
use super::model::{Site, UnitSystem};
use super::notes::{Fault, Notes};
use super::read::Table;
use super::schema_mqtt::Around;
use super::schema_zone::Surroundings;
use super::{
    sanity, schema_daemon, schema_device, schema_mqtt, schema_sensor, schema_site, schema_weather,
    schema_zone,
};

/// The largest site file [bytes].
pub const LARGEST_FILE: usize = 1024 * 1024;

/// A site that can be planned for, and what is doubtful about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Loaded {
    /// The site.
    pub site: Site,
    /// What is doubtful, in the order of the file.
    pub warnings: Vec<Diagnostic>,
}

/// Reads the text of a site file. `file_name` is what diagnostics call it;
/// nothing is opened.
///
/// # Errors
/// All problems of the file at once, when one of them is an error.
///
/// # Example
/// ```
/// let faults = soakmist::site::load("name = 'Harrowmere'\nflow = 3", "site.toml").unwrap_err();
/// assert!(faults.items.iter().any(|item| item.line == 2));
/// ```
pub fn load(text: &str, file_name: &str) -> Result<Loaded, Diagnostics> {
    // Some editors begin a file with a byte order mark.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut notes = Notes::new(text, file_name);
    if text.len() > LARGEST_FILE {
        let what = format!(
            "the file has {} bytes; a site file has at most {LARGEST_FILE}",
            text.len()
        );
        notes.error(
            &(0..0),
            Fault::new(Code::TooLarge, what).help("is this the right file?"),
        );
        return Err(all_of(notes));
    }
    let is_bare = |line: &str| line.trim().is_empty() || line.trim().starts_with('#');
    if text.lines().all(is_bare) {
        let help = "a site file needs `name`, [place] with latitude, longitude, elevation and \
                    time-zone, [supply] with flow, and for each valve a [[zone]] with name, area, \
                    soil, sprinkler and seeding; begin with a copy of config/backyard.toml";
        let fault = Fault::new(Code::MissingKey, "the file says nothing").help(help);
        notes.error(&(0..0), fault);
        return Err(all_of(notes));
    }
    match parse(text, &mut notes) {
        Some(site) if !notes.has_errors() => Ok(Loaded {
            site,
            warnings: notes.into_items(),
        }),
        _ => Err(all_of(notes)),
    }
}

/// Reads the bytes of a site file: [`load`] behind a check that they are
/// UTF-8 text.
///
/// # Errors
/// As [`load`].
pub fn load_bytes(bytes: &[u8], file_name: &str) -> Result<Loaded, Diagnostics> {
    let error = match std::str::from_utf8(bytes) {
        Ok(text) => return load(text, file_name),
        Err(error) => error,
    };
    let at = error.valid_up_to();
    let text = String::from_utf8_lossy(&bytes[..bytes.len().min(LARGEST_FILE)]);
    let mut notes = Notes::new(&text, file_name);
    let fault = Fault::new(Code::NotText, "this is not UTF-8 text")
        .help("save the file as UTF-8 in your editor");
    notes.error(&(at..at + 1), fault);
    Err(all_of(notes))
}

fn all_of(notes: Notes) -> Diagnostics {
    Diagnostics {
        items: notes.into_items(),
    }
}

/// The site, as far as it can be read; every problem is in the notes.
fn parse(text: &str, notes: &mut Notes) -> Option<Site> {
    let (document, faults) = DeTable::parse_recoverable(text);
    let mut told_lines = BTreeSet::new();
    for fault in &faults {
        let what = format!("this is not TOML: {}", fault.message());
        let span = fault.span().unwrap_or(0..0);
        // One comma makes many faults in a line; told is what it is, once.
        let (begin, line) = line_at(text, span.start);
        if let Some(number) = decimal_comma(line) {
            if told_lines.insert(begin) {
                let at = begin + number.start..begin + number.end;
                let written = &line[number];
                let what = format!("this is not TOML: a comma in the number {written}");
                let point = written.replace(',', ".");
                let help = format!("write a decimal point: {point}");
                notes.error(&at, Fault::new(Code::Syntax, what).help(help));
            }
            continue;
        }
        let advice = match fault.message().contains("inline table") {
            true => {
                "what is written as `key = { … }` is closed: write it as a table of its own first, \
                 [key] with its entries below"
            }
            false => "text stands in quotes, and each `key = value` on a line of its own",
        };
        notes.error(&span, Fault::new(Code::Syntax, what).help(advice));
    }
    // What was lost with the broken lines would be told as missing.
    if !faults.is_empty() {
        return None;
    }
    let top = Table::new("", document.get_ref(), 0..0, notes);
    read(&top, notes)
}

/// The line of a text around a byte, and the byte at which it begins.
fn line_at(text: &str, at: usize) -> (usize, &str) {
    let before = text.get(..at).unwrap_or(text);
    let begin = before.rfind('\n').map_or(0, |end| end + 1);
    let line = &text[begin..];
    (begin, line.split('\n').next().unwrap_or(line))
}

/// Where in a line a number without quotes has a comma for its point: `= 43,6`.
fn decimal_comma(line: &str) -> Option<Range<usize>> {
    let digits = |from: usize| {
        let rest = &line.as_bytes()[from..];
        from + rest.iter().take_while(|byte| byte.is_ascii_digit()).count()
    };
    line.match_indices('=').find_map(|(equals, _)| {
        let rest = line[equals + 1..].trim_start();
        let begin = line.len() - rest.len();
        let whole = begin + usize::from(rest.starts_with(['-', '+']));
        let comma = digits(whole);
        let end = (line[comma..].starts_with(',')).then(|| digits(comma + 1))?;
        (comma > whole && end > comma + 1).then_some(begin..end)
    })
}

fn read(top: &Table, notes: &mut Notes) -> Option<Site> {
    let name = top.text("name", notes);
    let units = top.word("units", notes).map(|word| match word {
        "us" => UnitSystem::UsCustomary,
        _ => UnitSystem::Si,
    });
    notes.units = units.unwrap_or(UnitSystem::Si);
    let place = top.subtable("place", notes);
    let time_zone = place
        .as_ref()
        .and_then(|table| schema_site::time_zone(table, notes));
    let place = place.and_then(|table| schema_site::place(&table, time_zone, notes));
    let supply = top.subtable("supply", notes);
    let supply_flow = supply
        .as_ref()
        .and_then(|table| schema_site::supply_flow(table, notes));
    let supply = supply.and_then(|table| schema_site::supply(&table, supply_flow, notes));
    let rules = schema_site::rules(top, notes);
    let quiet_windows = schema_site::quiet_windows(top, notes);
    let limits = schema_site::limits(top, notes);
    let night = schema_site::night(top, notes);
    let weather = schema_weather::weather(top, notes);
    let devices = schema_device::devices(top, notes);
    let around = Surroundings {
        time_zone,
        supply_flow,
        devices: &devices,
    };
    let zones = schema_zone::zones(top, around, notes);

    let at_broker = Around {
        site_name: name.as_deref(),
        supply: supply.as_ref(),
        devices: &devices,
    };
    let mqtt = schema_mqtt::mqtt(top, at_broker, notes);

    let daemon = schema_daemon::daemon(top, notes);
    let names: Vec<Option<&str>> = zones.iter().map(|zone| zone.name.as_deref()).collect();
    let around = schema_sensor::Around {
        zones: &names,
        has_broker: top.has("mqtt"),
    };
    let sensors = schema_sensor::sensors(top, around, notes);

    sanity::zone_names(&zones, notes);
    sanity::former_names(&zones, notes);
    sanity::years(&zones, notes);
    sanity::quiet(top, quiet_windows.as_deref().unwrap_or_default(), notes);
    let span = top.span_of("mqtt");
    let at_broker = mqtt.as_ref().and_then(Option::as_ref);
    sanity::homie_nodes(&zones, at_broker, notes);
    sanity::valves(&zones, at_broker.map(|mqtt| (mqtt, &span)), notes);
    if let (Some(rules), Some(time_zone)) = (&rules, time_zone) {
        sanity::times(
            &sanity::rules_span(top),
            rules,
            &sanity::sowings(&zones, time_zone),
            notes,
        );
    }
    let (wind_limit, frost_limit_c) = limits?;
    Some(Site {
        name: name?,
        units: units?,
        place: place?,
        supply: supply?,
        rules: rules?,
        quiet_windows: quiet_windows?,
        wind_limit,
        frost_limit_c,
        night: night?,
        mqtt: mqtt?,
        daemon: daemon?,
        sensors: sensors?,
        zones: zones
            .into_iter()
            .map(|read| read.zone)
            .collect::<Option<_>>()?,
        weather: weather?,
        defaults_used: std::mem::take(&mut notes.defaults),
    })
}
