//! The values behind keys: text, numbers, quantities, words and lists.

use chrono::TimeDelta;
use toml::de::{DeArray, DeValue};

use super::diagnostic::Code;
use super::keys::{Key, Kind};
use super::notes::{Fault, Notes, Span, cut, nearest};
use super::read::{Data, Table, Value};
use crate::units::{
    Dimension, QuantityError, UnitSystem, parse_duration, parse_quantity, parse_share,
    show_quantity,
};

/// The longest text for people, in characters.
const LONGEST_TEXT: usize = 120;
/// The longest list.
const LONGEST_LIST: usize = 2000;

impl<'a> Value<'a> {
    /// The text of a string; `None` for anything else.
    pub(super) fn as_text(&self) -> Option<&'a str> {
        match self.data {
            Data::Written(value) => value.as_str(),
            Data::Default(text) => Some(text),
        }
    }

    /// A number as written, without quotes; `None` for anything else.
    pub(super) fn as_number_text(&self) -> Option<&'a str> {
        match self.data {
            Data::Written(DeValue::Integer(number)) if number.radix() == 10 => {
                Some(number.as_str())
            }
            Data::Written(DeValue::Float(number)) => Some(number.as_str()),
            _ => None,
        }
    }
}

/// Text for people: not empty, not long, no control characters.
fn text(value: &Value) -> Result<String, Fault> {
    let text = value
        .as_text()
        .ok_or_else(|| value.wrong_type("text in quotes"))?
        .trim();
    let name = value.key.name;
    if text.is_empty() {
        return Err(
            Fault::new(Code::OutOfRange, format!("`{name}` is empty")).help(format!(
                "write for example `{name} = {}`",
                value.key.example
            )),
        );
    }
    if text.chars().count() > LONGEST_TEXT || text.chars().any(char::is_control) {
        let what = format!("`{name}` is too long or has control characters");
        return Err(Fault::new(Code::OutOfRange, what).help(format!(
            "write at most {LONGEST_TEXT} characters on one line"
        )));
    }
    Ok(text.to_owned())
}

fn flag(value: &Value) -> Result<bool, Fault> {
    match value.data {
        Data::Written(DeValue::Boolean(flag)) => Ok(*flag),
        Data::Default(text) => Ok(text == "true"),
        Data::Written(_) => Err(value.wrong_type("true or false (without quotes)")),
    }
}

fn degrees(value: &Value) -> Result<f64, Fault> {
    let Kind::Degrees(low, high) = value.key.kind else {
        return Err(value.wrong_type("a number"));
    };
    let number = value
        .as_number_text()
        .ok_or_else(|| value.wrong_type("a number in degrees"))?;
    let degrees: f64 = number
        .parse()
        .map_err(|_| value.wrong_type("a number in degrees"))?;
    within(degrees, (low, high), || {
        Fault::new(
            Code::OutOfRange,
            format!("`{}` of {number}° does not exist on Earth", value.key.name),
        )
        .help(format!(
            "write a number from {low} to {high}; north and east are positive"
        ))
    })
}

/// The number when it is finite and in bounds, else the fault.
fn within(
    number: f64,
    (low, high): (f64, f64),
    fault: impl FnOnce() -> Fault,
) -> Result<f64, Fault> {
    if number.is_finite() && number >= low && number <= high {
        Ok(number)
    } else {
        Err(fault())
    }
}

fn share(value: &Value) -> Result<f64, Fault> {
    match value.key.kind {
        Kind::Share(low, high) => bounded_share(value, (low, high)),
        _ => Err(value.wrong_type("a share")),
    }
}

/// A share 0–1 as a number or in per cent, within bounds.
pub(super) fn bounded_share(value: &Value, (low, high): (f64, f64)) -> Result<f64, Fault> {
    let written = value.as_number_text().or_else(|| value.as_text());
    let written = written.ok_or_else(|| value.wrong_type("a share"))?;
    let share = parse_share(written).map_err(|error| bad_quantity(value, &error))?;
    within(share, (low, high), || {
        let help = if share > 1.0 && value.as_number_text().is_some() && share / 100.0 <= high {
            format!("for {written} per cent write \"{written} %\"")
        } else {
            format!("write a share from {} to {}", per_cent(low), per_cent(high))
        };
        let what = format!("`{}` of {} cannot be", value.key.name, cut(written));
        Fault::new(Code::OutOfRange, what).help(help)
    })
}

fn per_cent(share: f64) -> String {
    crate::units::show_share(share)
}

fn bad_quantity(value: &Value, error: &QuantityError) -> Fault {
    let name = value.key.name;
    if let QuantityError::MissingUnit { number, dimension } = error {
        let (unit, accepted) = (
            usual_unit(*dimension, value.units),
            dimension.accepted_units(),
        );
        return Fault::new(
            Code::BadQuantity,
            format!("`{name}` of {number} has no unit"),
        )
        .help(format!(
            "write `{name} = \"{number} {unit}\"`; accepted are {accepted}"
        ));
    }
    let fault = Fault::new(Code::BadQuantity, format!("`{name}`: {error}"));
    if let Some(help) = value.as_text().and_then(|text| without_comma(text, value)) {
        return fault.help(help);
    }
    let example = example(value.key, value.units);
    fault.help(format!("write for example `{name} = {example}`"))
}

/// How to write a quantity with a comma in its number: `"1900 ft2"` for 1,900
/// and `"5.5 gpm"` for 5,5. Three digits behind a comma are mostly thousands; both
/// are told.
fn without_comma(written: &str, value: &Value) -> Option<String> {
    let (Kind::Quantity(dimension, ..) | Kind::QuantityOrNone(dimension, ..)) = value.key.kind
    else {
        return None;
    };
    let (_, rest) = written.split_once(',')?;
    let behind = rest.bytes().take_while(u8::is_ascii_digit).count();
    let (plain, point) = (written.replace(',', ""), written.replace(',', "."));
    let is_one = |text: &str| parse_quantity(text, dimension).is_ok();
    let write = |text: &str| format!("write `{} = \"{}\"`", value.key.name, cut(text));
    match (behind == 3 && is_one(&plain), is_one(&point)) {
        (true, true) => Some(format!(
            "{}, or \"{}\" if the comma is a decimal point",
            write(&plain),
            cut(&point)
        )),
        (true, false) => Some(write(&plain)),
        (false, true) => Some(write(&point)),
        (false, false) => None,
    }
}

/// The unit in which people of the site write.
fn usual_unit(dimension: Dimension, units: UnitSystem) -> String {
    let one = match units {
        UnitSystem::Si => None,
        UnitSystem::UsCustomary => show_quantity(1.0, dimension, units),
    };
    let unit = one.and_then(|one| Some(as_typed(one.split_once(' ')?.1)));
    unit.unwrap_or_else(|| dimension.si_unit().to_owned())
}

/// The example of a key in the units of the site.
fn example(key: &Key, units: UnitSystem) -> String {
    let shown = match key.kind {
        Kind::Quantity(dimension, ..) | Kind::QuantityOrNone(dimension, ..)
            if units == UnitSystem::UsCustomary =>
        {
            let si = parse_quantity(key.example.trim_matches('"'), dimension).ok();
            si.and_then(|si| show_quantity(si, dimension, units))
        }
        _ => None,
    };
    shown.map_or_else(
        || key.example.to_owned(),
        |shown| format!("\"{}\"", as_typed(&shown)),
    )
}

/// As it is written in a file: `4521 ft2`.
fn as_typed(shown: &str) -> String {
    shown
        .replace(',', "")
        .replace('²', "2")
        .replace('³', "3")
        .replace('°', "")
}

/// The text of a quantity, or what is wrong with its type.
fn quantity_text<'a>(value: &Value<'a>, dimension: Dimension) -> Result<&'a str, Fault> {
    if let Some(number) = value.as_number_text() {
        let error = QuantityError::MissingUnit {
            number: cut(number),
            dimension,
        };
        return Err(bad_quantity(value, &error));
    }
    value
        .as_text()
        .ok_or_else(|| value.wrong_type("a quantity with its unit, in quotes"))
}

fn quantity(value: &Value) -> Result<f64, Fault> {
    let (dimension, low, high) = match value.key.kind {
        Kind::Quantity(dimension, low, high) | Kind::QuantityOrNone(dimension, low, high) => {
            (dimension, low, high)
        }
        _ => return Err(value.wrong_type("a quantity")),
    };
    let written = quantity_text(value, dimension)?;
    let si = parse_quantity(written, dimension).map_err(|error| bad_quantity(value, &error))?;
    within(si, (low, high), || {
        let what = format!("`{}` of {} cannot be", value.key.name, cut(written));
        Fault::new(Code::OutOfRange, what).possible(low, high, dimension)
    })
}

fn duration(value: &Value) -> Result<TimeDelta, Fault> {
    quantity(value)?;
    let written = quantity_text(value, Dimension::Duration)?;
    parse_duration(written).map_err(|error| bad_quantity(value, &error))
}

/// The word of the list that is written, spaces and case forgiven.
pub(super) fn word_of<'w>(
    written: &str,
    list: impl Iterator<Item = &'w str> + Clone,
) -> Result<&'w str, Fault> {
    let plain = written.trim().to_lowercase().replace([' ', '_'], "-");
    if let Some(word) = list.clone().find(|word| *word == plain) {
        return Ok(word);
    }
    let help = match nearest(&plain, list.clone()) {
        Some(meant) => format!("did you mean \"{meant}\"?"),
        None => format!("write one of {}", list.collect::<Vec<_>>().join(", ")),
    };
    Err(Fault::new(
        Code::UnknownWord,
        format!("\"{}\" is not possible here", cut(written)),
    )
    .help(help))
}

fn word(value: &Value) -> Result<&'static str, Fault> {
    let Kind::Word(list) = value.key.kind else {
        return Err(value.wrong_type("a word"));
    };
    let written = value
        .as_text()
        .ok_or_else(|| value.wrong_type("a word in quotes"))?;
    word_of(written, list.iter().copied())
}

/// The entries of a list of sensible length.
pub(super) fn list<'a>(value: &Value<'a>, wanted: &str) -> Result<&'a DeArray<'a>, Fault> {
    let Data::Written(DeValue::Array(items)) = value.data else {
        return Err(value.wrong_type(wanted));
    };
    let (name, length) = (value.key.name, items.len());
    match length {
        // An empty list would silently mean the opposite: all of them.
        0 => Err(
            Fault::new(Code::Contradiction, format!("`{name}` is an empty list"))
                .help("name at least one, or leave the key out"),
        ),
        1..=LONGEST_LIST => Ok(items),
        _ => Err(
            Fault::new(Code::TooMany, format!("`{name}` has {length} entries"))
                .help(format!("at most {LONGEST_LIST} are read")),
        ),
    }
}

/// One text of a list and its place.
pub(super) type Item<'a> = (&'a str, Span);

/// The texts of a list, or a single text.
pub(super) fn texts<'a>(value: &Value<'a>, notes: &mut Notes) -> Option<Vec<Item<'a>>> {
    if let Some(text) = value.as_text() {
        return Some(vec![(text, value.span.clone())]);
    }
    let items = notes.take(&value.span, list(value, "a list of texts"))?;
    let mut all = Some(Vec::with_capacity(items.len()));
    for item in items.iter() {
        match item.get_ref().as_str() {
            Some(text) => {
                if let Some(all) = &mut all {
                    all.push((text, item.span()));
                }
            }
            None => {
                let what = format!("an entry of `{}` is not text in quotes", value.key.name);
                let help = format!(
                    "write for example `{} = {}`",
                    value.key.name, value.key.example
                );
                notes.error(&item.span(), Fault::new(Code::WrongType, what).help(help));
                all = None;
            }
        }
    }
    all
}

macro_rules! readers {
    ($($(#[$doc:meta])* $name:ident -> $type:ty;)*) => {
        impl Table<'_> {
            $(
                $(#[$doc])*
                pub(super) fn $name(&self, key: &str, notes: &mut Notes) -> Option<$type> {
                    let value = self.find(key, notes)?;
                    notes.take(&value.span, $name(&value))
                }
            )*
        }
    };
}

readers! {
    /// Text for people.
    text -> String;
    /// True or false.
    flag -> bool;
    /// A number in degrees.
    degrees -> f64;
    /// A share, 0 to 1.
    share -> f64;
    /// A quantity in the SI unit of its dimension.
    quantity -> f64;
    /// A time span.
    duration -> TimeDelta;
    /// One of the words of the key's list.
    word -> &'static str;
}

impl Table<'_> {
    /// A share that has this default (value, why).
    pub(super) fn share_or(
        &self,
        key: &str,
        default: (&'static str, &'static str),
        notes: &mut Notes,
    ) -> Option<f64> {
        let value = self.find_or(key, default, notes)?;
        notes.take(&value.span, share(&value))
    }

    /// A quantity, or `Some(None)` for the word `none`.
    pub(super) fn quantity_or_none(&self, key: &str, notes: &mut Notes) -> Option<Option<f64>> {
        let value = self.find(key, notes)?;
        if value.as_text().is_some_and(|text| text.trim() == "none") {
            return Some(None);
        }
        notes.take(&value.span, quantity(&value)).map(Some)
    }
}
