//! The keys of the sources of weather.

use super::keys::{Kind, TableKeys, default, optional, required};
use crate::units::Dimension;

pub(super) const WEATHER: TableKeys = TableKeys {
    path: "weather",
    title: "[weather]",
    about: "Where the weather comes from; name at least one source. Own sensors beat services, services beat a typical year; docs/weather.md has the rules. With nothing but `file` nothing is ever asked of the network.",
    keys: &[
        optional(
            "file",
            Kind::Text,
            [
                "another source must be named",
                "A file in the tool's own form; path, relative to the site file.",
                r#""harrowmere-weather.csv""#,
            ],
        ),
        default(
            "wind-height",
            Kind::Quantity(Dimension::Length, 0.5, 200.0),
            [
                "10 m",
                "weather services and airports measure wind at 10 m; a garden station stands at 2 m or 3 m",
                "Height at which the file's wind was measured.",
                r#""2 m""#,
            ],
        ),
        optional(
            "services",
            Kind::Special("list of `\"open-meteo\"`, `\"met-norway\"`, `\"us-nws\"`; may be empty"),
            [
                "nobody is asked",
                "Public services to ask over the internet, the most trusted first.",
                r#"["open-meteo", "met-norway"]"#,
            ],
        ),
        optional(
            "contact",
            Kind::Special("mail or web address, at most 100 characters"),
            [
                "services that want one cannot be named",
                "Whom the services may write to; sent to them with each request. `met-norway` and `us-nws` want it.",
                r#""groundskeeper@harrowmere.example""#,
            ],
        ),
        default(
            "rain",
            Kind::Word(&["never", "cautious", "expected", "as-forecast"]),
            [
                "cautious",
                "seed must not dry for rain that stays away",
                "How far expected rain counts, from nothing to all of it; rain foretold without a probability is taken as an even chance. For a seed layer it never counts, whatever stands here.",
                r#""never""#,
            ],
        ),
        optional(
            "typical-year",
            Kind::Text,
            [
                "nothing is known beyond the forecast",
                "A typical year (EPW or TMY3) for hours that nothing else knows; path, relative to the site file. Its rain counts as none.",
                r#""greensboro.epw""#,
            ],
        ),
        optional(
            "logger",
            Kind::Tables,
            [
                "no logger",
                "Loggers whose exports are read as they are.",
                "[[weather.logger]]",
            ],
        ),
    ],
};

pub(super) const LOGGER: TableKeys = TableKeys {
    path: "weather.logger",
    title: "[[weather.logger]]",
    about: "A logger's export, read as it is: CSV with a line of headers, in any step up to an hour.",
    keys: &[
        required(
            "file",
            Kind::Text,
            ["Path, relative to the site file.", r#""pavilion.csv""#],
        ),
        default(
            "separator",
            Kind::Special("one ASCII character; `\"\\t\"` is the tab"),
            [
                ",",
                "the C of CSV",
                "What stands between the fields.",
                r#"";""#,
            ],
        ),
        default(
            "decimal-comma",
            Kind::Flag,
            [
                "false",
                "most loggers write a point",
                "Whether numbers have a decimal comma.",
                "true",
            ],
        ),
        default(
            "wind-height",
            Kind::Quantity(Dimension::Length, 0.5, 200.0),
            [
                "2 m",
                "a garden station stands at 2 m or 3 m",
                "Height at which its wind was measured.",
                r#""3 m""#,
            ],
        ),
        required(
            "time",
            Kind::Table,
            ["The column of the time.", "[weather.logger.time]"],
        ),
        required(
            "columns",
            Kind::Table,
            [
                "The columns of the variables, at least one.",
                "[weather.logger.columns]",
            ],
        ),
    ],
};

pub(super) const TIME: TableKeys = TableKeys {
    path: "weather.logger.time",
    title: "[weather.logger.time]",
    about: "How a logger writes the time.",
    keys: &[
        required("column", Kind::Text, ["Header of the column.", r#""Date""#]),
        optional(
            "form",
            Kind::Special("form of a time in the words of strftime"),
            [
                "RFC 3339 with offset, such as 2026-06-01T14:00:00+01:00",
                "How the time is written: %Y year, %m month, %d day, %H hour, %M minute, %S second.",
                r#""%d.%m.%Y %H:%M""#,
            ],
        ),
        default(
            "clock",
            Kind::Special("`\"local\"`, or an offset such as `\"+01:00\"`"),
            [
                "local",
                "most loggers are set by a watch",
                "Which clock a form without offset is of: the site's own time zone, or one without summer time.",
                r#""+01:00""#,
            ],
        ),
        default(
            "marks",
            Kind::Word(&["start", "end"]),
            [
                "end",
                "loggers write a reading when its step is over",
                "Which end of its step a stamp marks.",
                r#""start""#,
            ],
        ),
    ],
};

const COLUMN: Kind = Kind::Special("table of `column` and `unit`");

pub(super) const COLUMNS: TableKeys = TableKeys {
    path: "weather.logger.columns",
    title: "[weather.logger.columns]",
    about: "Header and unit of each variable that the logger gives.",
    keys: &[
        optional(
            "air-temperature",
            COLUMN,
            [
                "not taken from here",
                "°C, °F or K.",
                r#"{ column = "Temp", unit = "°F" }"#,
            ],
        ),
        optional(
            "relative-humidity",
            COLUMN,
            [
                "not taken from here",
                "% or 0-1.",
                r#"{ column = "Hum", unit = "%" }"#,
            ],
        ),
        optional(
            "wind",
            COLUMN,
            [
                "not taken from here",
                "Mean speed: m/s, km/h, mph, kn or ft/s.",
                r#"{ column = "Wind", unit = "km/h" }"#,
            ],
        ),
        optional(
            "solar",
            COLUMN,
            [
                "not taken from here",
                "Global radiation: W/m2, MJ/m2 (of the hour) or langley.",
                r#"{ column = "Solar", unit = "W/m2" }"#,
            ],
        ),
        optional(
            "sunshine",
            COLUMN,
            [
                "not taken from here",
                "Sunshine within the step: h, min or s.",
                r#"{ column = "Sun", unit = "min" }"#,
            ],
        ),
        optional(
            "rain",
            COLUMN,
            [
                "not taken from here",
                "Rain within the step, not a running total: mm, cm or in.",
                r#"{ column = "Rain", unit = "in" }"#,
            ],
        ),
        optional(
            "pressure",
            COLUMN,
            [
                "not taken from here",
                "At the ground, not at sea level: kPa, hPa, Pa, inHg or mmHg.",
                r#"{ column = "Baro", unit = "hPa" }"#,
            ],
        ),
    ],
};

pub(super) const VARIABLE: TableKeys = TableKeys {
    path: "weather.logger.variable",
    title: "a variable of [weather.logger.columns]",
    about: "One column.",
    keys: &[
        required("column", Kind::Text, ["Its header.", r#""Temp""#]),
        required(
            "unit",
            Kind::Text,
            ["Its unit; those known stand above.", r#""°F""#],
        ),
    ],
};
