//! `[weather]`: the sources of weather and how far they are trusted.

use chrono::FixedOffset;
use chrono::format::{Item, StrftimeItems};

use super::diagnostic::Code;
use super::model_weather::{
    LOGGED, Logger, LoggerColumn, LoggerTime, RainTrust, ServiceName, WeatherFile, WeatherSetup,
};
use super::notes::{Fault, Notes, cut};
use super::read::{Data, Table, Value};
use super::values::{texts, word_of};
use crate::units::{conversion, known_units};

/// The most loggers of a site.
const MOST_LOGGERS: usize = 50;
/// The longest address of a contact; a header of a request holds no more.
const LONGEST_CONTACT: usize = 100;

/// An empty setup when the site says nothing of the weather.
pub(super) fn weather(top: &Table, notes: &mut Notes) -> Option<WeatherSetup> {
    if !top.has("weather") {
        return Some(WeatherSetup::default());
    }
    let table = top.subtable("weather", notes)?;
    let file = file(&table, notes);
    let services = services(&table, notes);
    let contact = contact(&table, notes);
    let rain = rain(&table, services.as_deref(), notes);
    let typical_year = table.text("typical-year", notes);
    let tables = table.tables("logger", MOST_LOGGERS, notes);
    let loggers: Vec<_> = tables.iter().map(|table| logger(table, notes)).collect();
    judge_contact(&table, services.as_deref(), notes);
    judge_sources(&table, services.as_deref(), notes);
    Some(WeatherSetup {
        file: file?,
        loggers: loggers.into_iter().collect::<Option<_>>()?,
        services: services?,
        contact,
        rain: rain?,
        typical_year,
    })
}

/// `Some(None)` without a file of the tool's own form.
fn file(table: &Table, notes: &mut Notes) -> Option<Option<WeatherFile>> {
    if !table.has("file") {
        if table.has("wind-height") && !table.misspells(&["file"]) {
            let what = "`wind-height` has no effect without `file`";
            let fault = Fault::new(Code::NoEffect, what)
                .help("a logger has its own; a service gives the wind at 10 m");
            notes.warning(&table.span_of("wind-height"), fault);
            table.quantity("wind-height", notes)?;
        }
        return Some(None);
    }
    let path = table.text("file", notes);
    let wind_height_m = table.quantity("wind-height", notes);
    Some(Some(WeatherFile {
        path: path?,
        wind_height_m: wind_height_m?,
    }))
}

fn services(table: &Table, notes: &mut Notes) -> Option<Vec<ServiceName>> {
    if !table.has("services") {
        return Some(Vec::new());
    }
    let value = table.find("services", notes)?;
    if is_empty_list(&value) {
        return Some(Vec::new());
    }
    let mut services = Some(Vec::new());
    for (text, span) in texts(&value, notes)? {
        let words = ServiceName::ALL.iter().map(|service| service.word());
        let word = notes.take(&span, word_of(text, words));
        match (word.and_then(ServiceName::from_word), &mut services) {
            (Some(service), Some(known)) if known.contains(&service) => {
                let what = format!("\"{}\" is named twice", service.word());
                let fault = Fault::new(Code::NoEffect, what);
                notes.warning(&span, fault.help("it is asked once; take one of them out"));
            }
            (Some(service), Some(known)) => known.push(service),
            (Some(_), None) => {}
            (None, _) => services = None,
        }
    }
    services
}

fn is_empty_list(value: &Value) -> bool {
    match value.data {
        Data::Written(value) => value.as_array().is_some_and(|items| items.is_empty()),
        Data::Default(_) => false,
    }
}

/// What a header of a request may hold of an address.
fn contact(table: &Table, notes: &mut Notes) -> Option<String> {
    let contact = table.text("contact", notes)?;
    let fits = |byte: u8| byte.is_ascii_graphic() && !b"()\\\"".contains(&byte);
    if contact.len() <= LONGEST_CONTACT && contact.bytes().all(fits) {
        return Some(contact);
    }
    let what = format!("\"{}\" cannot be a contact", cut(&contact));
    let help = format!(
        "write a mail address or a web address of plain letters, at most {LONGEST_CONTACT} characters"
    );
    let fault = Fault::new(Code::OutOfRange, what).help(help);
    notes.error(&table.span_of("contact"), fault);
    None
}

/// The trust in expected rain. Where nobody expects any, no default is told.
fn rain(table: &Table, services: Option<&[ServiceName]>, notes: &mut Notes) -> Option<RainTrust> {
    let matters = services.is_none_or(|services| !services.is_empty());
    if !matters && !table.has("rain") {
        return Some(RainTrust::default());
    }
    table.word("rain", notes).and_then(RainTrust::from_word)
}

fn judge_contact(table: &Table, services: Option<&[ServiceName]>, notes: &mut Notes) {
    let services = services.unwrap_or_default();
    let wants = services.iter().find(|service| service.needs_contact());
    if let Some(service) = wants
        && !table.has("contact")
        && !table.misspells(&["contact"])
    {
        let what = format!("`{}` asks every user for a contact", service.word());
        let fault = Fault::new(Code::MissingKey, what);
        notes.error(
            &table.span_of("services"),
            fault.help("add for example `contact = \"you@example.org\"`"),
        );
    }
}

/// A table that names no source is most often a slip.
fn judge_sources(table: &Table, services: Option<&[ServiceName]>, notes: &mut Notes) {
    const SOURCES: [&str; 4] = ["file", "services", "typical-year", "logger"];
    let asks_nobody = services.is_some_and(<[_]>::is_empty);
    let named = |name: &&&str| table.has(name) && (**name != "services" || !asks_nobody);
    if SOURCES.iter().find(named).is_none() && !table.misspells(&SOURCES) {
        let fault = Fault::new(Code::MissingKey, "[weather] names no source");
        notes.error(
            &table.span,
            fault.help(
                "add for example `file = \"harrowmere-weather.csv\"` or \
                 `services = [\"open-meteo\"]`",
            ),
        );
    }
}

fn logger(table: &Table, notes: &mut Notes) -> Option<Logger> {
    let path = table.text("file", notes);
    let separator = separator(table, notes);
    let decimal_comma = table.flag("decimal-comma", notes);
    let wind_height_m = table.quantity("wind-height", notes);
    let time = table
        .subtable("time", notes)
        .and_then(|time| logger_time(&time, notes));
    let columns = table
        .subtable("columns", notes)
        .and_then(|columns| logger_columns(&columns, notes));
    if (separator, decimal_comma) == (Some(b','), Some(true)) {
        let what = "a comma cannot stand between fields and inside numbers";
        let fault = Fault::new(Code::Contradiction, what)
            .help("say what separates the fields, for example `separator = \";\"`");
        notes.error(&table.span_of("decimal-comma"), fault);
        return None;
    }
    Some(Logger {
        path: path?,
        separator: separator?,
        decimal_comma: decimal_comma?,
        wind_height_m: wind_height_m?,
        time: time?,
        columns: columns?,
    })
}

fn separator(table: &Table, notes: &mut Notes) -> Option<u8> {
    let value = table.find("separator", notes)?;
    let judged = match value.as_text().map(str::as_bytes) {
        Some(&[byte]) if (byte == b'\t' || (b' '..=b'~').contains(&byte)) && byte != b'"' => {
            Ok(byte)
        }
        _ => Err(value.wrong_type("one character that is neither letter with accent nor quote")),
    };
    notes.take(&value.span, judged)
}

fn logger_time(table: &Table, notes: &mut Notes) -> Option<LoggerTime> {
    let column = table.text("column", notes);
    let form = form(table, notes);
    let offset = clock(table, notes);
    let marks = table.word("marks", notes);
    Some(LoggerTime {
        column: column?,
        form: form?,
        offset: offset?,
        marks_end: marks? == "end",
    })
}

/// `Some(None)` for RFC 3339.
fn form(table: &Table, notes: &mut Notes) -> Option<Option<String>> {
    if !table.has("form") {
        return Some(None);
    }
    let form = table.text("form", notes)?;
    let items: Vec<Item> = StrftimeItems::new(&form).collect();
    let fault = if items.iter().any(|item| matches!(item, Item::Error)) {
        format!("\"{}\" is not a form of a time", cut(&form))
    } else if !items
        .iter()
        .any(|item| matches!(item, Item::Numeric(..) | Item::Fixed(_)))
    {
        format!("\"{}\" holds no part of a time", cut(&form))
    } else {
        return Some(Some(form));
    };
    let help = "for 01.06.2026 14:30 write `form = \"%d.%m.%Y %H:%M\"`";
    notes.error(
        &table.span_of("form"),
        Fault::new(Code::OutOfRange, fault).help(help),
    );
    None
}

/// `Some(None)` for the site's own time zone.
fn clock(table: &Table, notes: &mut Notes) -> Option<Option<FixedOffset>> {
    let value = table.find("clock", notes)?;
    let written = value.as_text().map(str::trim);
    let judged = match (written, written.map(str::parse::<FixedOffset>)) {
        (Some("local"), _) => Ok(None),
        (Some("UTC" | "Z"), _) => Ok(FixedOffset::east_opt(0)),
        (_, Some(Ok(offset))) => Ok(Some(offset)),
        _ => Err(value.wrong_type("\"local\", or an offset from UTC such as \"+01:00\"")),
    };
    notes.take(&value.span, judged)
}

fn logger_columns(table: &Table, notes: &mut Notes) -> Option<Vec<LoggerColumn>> {
    let mut columns = Vec::new();
    let mut faults = false;
    for (name, quantity) in LOGGED {
        if !table.has(name) {
            continue;
        }
        let Some((entries, span)) = table.entries_under(name, notes) else {
            faults = true;
            continue;
        };
        let variable = Table::new("weather.logger.variable", entries, span, notes);
        let column = variable.text("column", notes);
        let unit = variable.text("unit", notes).filter(|unit| {
            let known = conversion(quantity, unit).is_some();
            if !known {
                let what = format!("\"{}\" is not a unit of {name}", cut(unit));
                let help = format!("write {}", known_units(quantity));
                notes.error(
                    &variable.span_of("unit"),
                    Fault::new(Code::BadQuantity, what).help(help),
                );
            }
            known
        });
        match column.zip(unit) {
            Some((column, unit)) => columns.push(LoggerColumn {
                variable: name,
                column,
                unit,
            }),
            None => faults = true,
        }
    }
    if faults {
        return None;
    }
    let names = LOGGED.map(|(name, _)| name);
    if columns.is_empty() {
        if !table.misspells(&names) {
            let fault = Fault::new(Code::MissingKey, "the logger has no column to read");
            notes.error(
                &table.span,
                fault.help("add for example `rain = { column = \"Rain\", unit = \"mm\" }`"),
            );
        }
        return None;
    }
    Some(columns)
}
