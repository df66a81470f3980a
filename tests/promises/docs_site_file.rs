//! docs/site-file.md names every key that the loader accepts, with unit,
//! bounds, default and why, and no other. With `SOAKMIST_WRITE_DOCS=1` the
//! test writes the tables instead of comparing them.

#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test reads files and may panic"
)]

use std::fmt::Write;

use soakmist::site::{Code, Key, Kind, Need, TABLES};
use soakmist::units::{Dimension, show_share};

const PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/site-file.md");

const DIMENSIONS: [(&str, Dimension); 11] = [
    ("depth", Dimension::Depth),
    ("height", Dimension::Length),
    ("rate", Dimension::Rate),
    ("growth of roots", Dimension::Growth),
    ("flow", Dimension::Flow),
    ("area", Dimension::Area),
    ("volume", Dimension::Volume),
    ("wind speed", Dimension::Speed),
    ("temperature", Dimension::Temperature),
    ("time span", Dimension::Duration),
    ("price of water", Dimension::Price),
];

fn bounds(dimension: Dimension, low: f64, high: f64) -> String {
    let unit = dimension.si_unit();
    format!("{}, {low} to {high} {unit}", dimension.noun())
}

fn kind_in_words(kind: Kind) -> String {
    match kind {
        Kind::Text => "text".into(),
        Kind::Name => "name, `a-z 0-9 -`, at most 32 characters".into(),
        Kind::Flag => "`true` or `false`".into(),
        Kind::Degrees(low, high) => format!("number of degrees, {low} to {high}"),
        Kind::Share(low, high) => format!("share, {} to {}", show_share(low), show_share(high)),
        Kind::Quantity(dimension, low, high) => bounds(dimension, low, high),
        Kind::QuantityOrNone(dimension, low, high) => {
            format!("{}, or `\"none\"`", bounds(dimension, low, high))
        }
        Kind::Word(words) => {
            let quoted: Vec<String> = words.iter().map(|word| format!("`\"{word}\"`")).collect();
            quoted.join(", ")
        }
        Kind::Moment => "local date and time".into(),
        Kind::Date => "date".into(),
        Kind::Dates => "list of dates".into(),
        Kind::Hours => "hours or a list of them".into(),
        Kind::Weekdays => "list of weekdays".into(),
        Kind::Zones => "list of zone names".into(),
        Kind::Special(words) => words.into(),
        Kind::Table => "table".into(),
        Kind::Tables => "any number of tables".into(),
    }
}

fn need_in_words(need: Need) -> String {
    match need {
        Need::Required => "**needed**".into(),
        Need::Optional(otherwise) => format!("may be left out: {otherwise}"),
        Need::Default { value, why } => format!("`{value}`: {why}"),
    }
}

fn key_row(key: &Key) -> String {
    let kind = kind_in_words(key.kind);
    let (need, effect) = (need_in_words(key.need), key.effect);
    let example = key.example.replace('|', "\\|");
    format!(
        "| `{}` | {kind} | {need} | {effect} E.g. `{example}` |",
        key.name
    )
}

fn keys() -> String {
    let mut out = String::new();
    for table in TABLES {
        let title = if table.path.is_empty() {
            "The top of the file".to_owned()
        } else {
            format!("`{}`", table.title)
        };
        let _ = write!(out, "### {title}\n\n{}\n\n", table.about);
        out.push_str("| key | what | default and why | effect |\n|---|---|---|---|\n");
        for key in table.keys {
            let _ = writeln!(out, "{}", key_row(key));
        }
        out.push('\n');
    }
    out.trim_end().to_owned() + "\n"
}

fn units() -> String {
    let mut out = String::from("| quantity | units |\n|---|---|\n");
    for (name, dimension) in DIMENSIONS {
        let _ = writeln!(out, "| {name} | {} |", dimension.accepted_units());
    }
    out
}

fn codes() -> String {
    let mut out = String::from("| code | meaning |\n|---|---|\n");
    for code in Code::ALL {
        let _ = writeln!(out, "| `{code}` | {} |", code.meaning());
    }
    out
}

/// The document with the part behind `marker` replaced.
fn replaced(document: &str, marker: &str, part: &str) -> String {
    let head = format!("<!-- {marker}: tested against the code -->\n");
    let start = document.find(&head).unwrap() + head.len();
    let end = start + document[start..].find("<!-- end -->").unwrap();
    format!("{}{part}{}", &document[..start], &document[end..])
}

#[test]
fn the_document_is_the_list_of_keys() {
    let written = std::fs::read_to_string(PATH).unwrap();
    let mut expected = written.clone();
    for (marker, part) in [("units", units()), ("keys", keys()), ("codes", codes())] {
        expected = replaced(&expected, marker, &part);
    }
    if std::env::var_os("SOAKMIST_WRITE_DOCS").is_some() {
        std::fs::write(PATH, &expected).unwrap();
        return;
    }
    assert!(
        written == expected,
        "docs/site-file.md is behind the code; run this test with SOAKMIST_WRITE_DOCS=1 and review the diff"
    );
}
