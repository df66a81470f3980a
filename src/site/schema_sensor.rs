//! `[[sensor]]`: what reports over the broker beside valves and flow meter.

use super::diagnostic::Code;
use super::model_daemon::{Measures, Scale, Sensor};
use super::notes::{Fault, Notes, cut};
use super::read::{Table, Value};
use super::values_mqtt;
use crate::units::{WeatherQuantity, conversion, known_units};

/// The most sensors of a site.
const MOST_SENSORS: usize = 100;
/// Share of the difference to a probe that is taken over in an hour: within
/// half a day most of it, within an hour not the noise (own choice, no
/// source).
const USUAL_WEIGHT: f64 = 0.2;

/// What of the site matters to its sensors.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    /// Names of the zones; none where a name could not be read.
    pub(super) zones: &'a [Option<&'a str>],
    pub(super) has_broker: bool,
}

/// None when one of them could not be read.
pub(super) fn sensors(top: &Table, around: Around, notes: &mut Notes) -> Option<Vec<Sensor>> {
    let mut all: Option<Vec<Sensor>> = Some(Vec::new());
    let mut names: Vec<String> = Vec::new();
    for table in top.tables("sensor", MOST_SENSORS, notes) {
        let name = table.text("name", notes);
        let table = table.shown_as(format!("sensor.{}", name.as_deref().unwrap_or("?")));
        if let Some(name) = name.clone() {
            if names.contains(&name) {
                let what = format!("there are two sensors \"{}\"", cut(&name));
                let fault = Fault::new(Code::Duplicate, what);
                notes.error(&table.span_of("name"), fault.help("give each its own name"));
            }
            names.push(name);
        }
        let sensor = sensor(&table, name, around, notes);
        all = all.zip(sensor).map(|(mut all, sensor)| {
            all.push(sensor);
            all
        });
    }
    if !names.is_empty() && !around.has_broker {
        let what = "the sensors report over a broker, but the file names none";
        let fault = Fault::new(Code::MissingKey, what).help("add [mqtt] with its host");
        notes.error(&top.span_of("sensor"), fault);
    }
    all
}

fn sensor(
    table: &Table,
    name: Option<String>,
    around: Around,
    notes: &mut Notes,
) -> Option<Sensor> {
    let word = table.word("measures", notes);
    let topic = values_mqtt::topic(table, "topic", notes);
    let pointer = values_mqtt::pointer(table, "pointer", notes);
    let pointer_is_read = !table.has("pointer") || pointer.is_some();
    let every = table.duration("every", notes);
    let word = word?;
    let quantity = quantity_of(word);
    let scale = scale(table, word, quantity, notes);
    let measures = measures(table, word, around, notes);
    let lowest = bound(table, "lowest", word, notes);
    let highest = bound(table, "highest", word, notes);
    let usual = usual_bounds(measures?);
    let bounds = (lowest?.unwrap_or(usual.0), highest?.unwrap_or(usual.1));
    if bounds.0 >= bounds.1 {
        let what = "no reading can lie between lowest and highest";
        let fault = Fault::new(Code::Contradiction, what).help("set lowest below highest");
        notes.error(&table.span_of("lowest"), fault);
        return None;
    }
    if !pointer_is_read {
        return None;
    }
    Some(Sensor {
        name: name?,
        measures: measures?,
        topic: topic?,
        pointer,
        scale: scale?,
        bounds,
        every: every?,
    })
}

fn quantity_of(word: &str) -> WeatherQuantity {
    match word {
        "air-temperature" => WeatherQuantity::Temperature,
        "wind" => WeatherQuantity::Speed,
        "solar" => WeatherQuantity::Radiation,
        "rain-tips" | "rain-total" | "rain-amount" => WeatherQuantity::RainDepth,
        _ => WeatherQuantity::Percent,
    }
}

/// What a reading can be, in the program's own unit: wider than any weather
/// on record at places where lawns grow, so that only faults fall outside
/// (own choice, no source). For rain the most that one hour can bring.
fn usual_bounds(measures: Measures) -> (f64, f64) {
    match measures {
        Measures::AirTemperature => (-50.0, 60.0),
        // Capacitive sensors say a little more than 100 in fog.
        Measures::RelativeHumidity => (1.0, 105.0),
        Measures::Wind { .. } => (0.0, 75.0),
        // At night pyranometers go a little below zero, and under broken
        // cloud above the radiation at the top of the atmosphere.
        Measures::Solar => (-20.0, 1600.0),
        Measures::RainTotal | Measures::RainAmount => (0.0, 200.0),
        Measures::SoilMoisture { .. } => (0.5, 75.0),
    }
}

fn measures(table: &Table, word: &str, around: Around, notes: &mut Notes) -> Option<Measures> {
    let height = table.quantity("height", notes);
    let weight = table.share("weight", notes);
    let zone = zone(table, around, notes);
    let uses: &[&str] = match word {
        "wind" => &["height"],
        "soil-moisture" => &["zone", "weight"],
        _ => &[],
    };
    for key in ["height", "zone", "weight"] {
        if table.has(key) && !uses.contains(&key) {
            let what = format!("`{key}` has no meaning for {word}");
            let fault = Fault::new(Code::NoEffect, what).help("leave it out");
            notes.warning(&table.span_of(key), fault);
        }
    }
    let missing = |key: &str, example: &str, notes: &mut Notes| {
        if !table.has(key) {
            let fault = Fault::new(Code::MissingKey, format!("`{key}` is missing for {word}"));
            let fault = fault.help(format!("add for example `{key} = \"{example}\"`"));
            notes.error(&table.span, fault);
        }
    };
    Some(match word {
        "air-temperature" => Measures::AirTemperature,
        "relative-humidity" => Measures::RelativeHumidity,
        "wind" => {
            missing("height", "2 m", notes);
            Measures::Wind { height_m: height? }
        }
        "solar" => Measures::Solar,
        "rain-amount" => Measures::RainAmount,
        "soil-moisture" => {
            missing(
                "zone",
                around
                    .zones
                    .iter()
                    .find_map(|name| *name)
                    .unwrap_or("square"),
                notes,
            );
            let weight = if table.has("weight") {
                weight
            } else {
                Some(USUAL_WEIGHT)
            };
            Measures::SoilMoisture {
                zone: zone?,
                weight: weight?,
            }
        }
        _ => Measures::RainTotal,
    })
}

/// The index of the zone that is named; a name that does not exist is told
/// together with all others.
fn zone(table: &Table, around: Around, notes: &mut Notes) -> Option<usize> {
    let name = table.text("zone", notes)?;
    let found = around.zones.iter().position(|zone| *zone == Some(&name));
    if found.is_none() {
        notes.zone_references.push((name, table.span_of("zone")));
    }
    found
}

/// `C`, or `0.2 mm` for a bucket that tips at that depth.
fn scale(table: &Table, word: &str, quantity: WeatherQuantity, notes: &mut Notes) -> Option<Scale> {
    let value = table.find("unit", notes)?;
    let read = text_of(&value).and_then(|text| {
        let (number, unit) = number_and_unit(text);
        let wants_number = word == "rain-tips";
        let linear = linear(word, quantity, unit);
        match (number, linear) {
            (None, Some((factor, offset))) if !wants_number => Ok(Scale { factor, offset }),
            (Some(tip), Some((factor, _))) if wants_number && tip > 0.0 && tip * factor <= 10.0 => {
                Ok(Scale {
                    factor: tip * factor,
                    offset: 0.0,
                })
            }
            (_, Some(_)) => {
                let what = format!("\"{}\" does not say what the number is in", cut(text));
                let help = if wants_number {
                    "write the depth of one tip, up to 10 mm: \"0.2 mm\""
                } else {
                    "write the unit alone"
                };
                Err(Fault::new(Code::BadQuantity, what).help(help))
            }
            (_, None) => Err(no_unit(text, word, quantity)),
        }
    });
    notes.take(&value.span, read)
}

/// A bound of the readings; `Some(None)` when there is none.
fn bound(table: &Table, key: &str, word: &str, notes: &mut Notes) -> Option<Option<f64>> {
    if !table.has(key) {
        return Some(None);
    }
    let value = table.find(key, notes)?;
    let quantity = quantity_of(word);
    let read = text_of(&value).and_then(|text| {
        let (number, unit) = number_and_unit(text);
        match (number, linear(word, quantity, unit)) {
            (Some(number), Some((factor, offset))) => Ok(Some(number * factor + offset)),
            (None, Some(_)) => {
                let what = format!("\"{}\" has no number", cut(text));
                Err(Fault::new(Code::BadQuantity, what).help("write a number and its unit"))
            }
            (_, None) => Err(no_unit(text, word, quantity)),
        }
    });
    notes.take(&value.span, read)
}

fn text_of<'a>(value: &Value<'a>) -> Result<&'a str, Fault> {
    let text = value.as_text().map(str::trim);
    text.ok_or_else(|| value.wrong_type("text in quotes"))
}

/// The number at the beginning, if any, and what follows.
fn number_and_unit(text: &str) -> (Option<f64>, &str) {
    let ends = text.find(|c: char| !(c.is_ascii_digit() || "+-.".contains(c)));
    let (number, unit) = text.split_at(ends.unwrap_or(text.len()));
    match number.parse::<f64>() {
        // The unit `0-1` begins with a digit.
        Ok(number) if number.is_finite() && !unit.is_empty() => (Some(number), unit.trim()),
        _ => (None, text),
    }
}

fn linear(word: &str, quantity: WeatherQuantity, unit: &str) -> Option<(f64, f64)> {
    let unit = match (word, unit) {
        ("soil-moisture", "m3/m3" | "m³/m³") => "0-1",
        _ => unit,
    };
    let linear = conversion(quantity, unit)?;
    let offset = linear.apply(0.0);
    Some((linear.apply(1.0) - offset, offset))
}

fn no_unit(text: &str, word: &str, quantity: WeatherQuantity) -> Fault {
    let what = format!("\"{}\" is no unit of {word}", cut(text));
    let soil = if word == "soil-moisture" {
        ", or m3/m3"
    } else {
        ""
    };
    let help = format!("write one of {}{soil}", known_units(quantity));
    Fault::new(Code::BadQuantity, what).help(help)
}
