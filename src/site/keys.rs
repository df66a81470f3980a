//! Every key of a site file: its kind, its bounds, its default and why.
//!
//! The loader reads through this list, the tables of docs/site-file.md are
//! tested against it, and a default is read like a value in the file: there
//! is one place for each of them.

use super::{keys_daemon, keys_mqtt, keys_weather, keys_zone};
use crate::units::Dimension;

/// A table of a site file and the keys that may stand in it.
#[derive(Debug)]
pub struct TableKeys {
    /// Path such as `zone.seeding`; empty for the top of the file.
    pub path: &'static str,
    /// How people write its head, such as `[[zone]]`.
    pub title: &'static str,
    /// What the table is for.
    pub about: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
}

/// One key.
#[derive(Debug)]
pub struct Key {
    /// Name, kebab-case.
    pub name: &'static str,
    /// What may stand behind it.
    pub kind: Kind,
    /// Whether it must be there, and what holds when it is not.
    pub need: Need,
    /// What it does.
    pub effect: &'static str,
    /// An example as written in a file.
    pub example: &'static str,
}

/// What may stand behind a key. Bounds are included unless said.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// Text for people.
    Text,
    /// A zone name, `[a-z0-9-]+`.
    Name,
    /// `true` or `false`.
    Flag,
    /// A number in degrees.
    Degrees(f64, f64),
    /// A share as a number 0 to 1 or in per cent.
    Share(f64, f64),
    /// A quantity with its unit; bounds in the SI unit of the dimension.
    Quantity(Dimension, f64, f64),
    /// The same, or the word `none`.
    QuantityOrNone(Dimension, f64, f64),
    /// One of these words.
    Word(&'static [&'static str]),
    /// A local date and time.
    Moment,
    /// A date.
    Date,
    /// A list of dates.
    Dates,
    /// A span of hours or a list of them.
    Hours,
    /// A list of weekdays or spans of them.
    Weekdays,
    /// A list of zone names.
    Zones,
    /// Something described in words here and read by its own function.
    Special(&'static str),
    /// A table of its own.
    Table,
    /// Any number of tables.
    Tables,
}

/// Whether a key must be there.
#[derive(Debug, Clone, Copy)]
pub enum Need {
    /// The file is refused without it.
    Required,
    /// May be left out; the text says what then holds.
    Optional(&'static str),
    /// May be left out; this value, written as in a file, then holds.
    Default {
        /// The value.
        value: &'static str,
        /// Why this value.
        why: &'static str,
    },
}

const fn key(name: &'static str, kind: Kind, need: Need, texts: [&'static str; 2]) -> Key {
    Key {
        name,
        kind,
        need,
        effect: texts[0],
        example: texts[1],
    }
}

pub(super) const fn required(name: &'static str, kind: Kind, texts: [&'static str; 2]) -> Key {
    key(name, kind, Need::Required, texts)
}

/// `texts`: what holds without it, effect, example.
pub(super) const fn optional(name: &'static str, kind: Kind, texts: [&'static str; 3]) -> Key {
    key(name, kind, Need::Optional(texts[0]), [texts[1], texts[2]])
}

/// `texts`: default, why, effect, example.
pub(super) const fn default(name: &'static str, kind: Kind, texts: [&'static str; 4]) -> Key {
    let need = Need::Default {
        value: texts[0],
        why: texts[1],
    };
    key(name, kind, need, [texts[2], texts[3]])
}

const TOP: TableKeys = TableKeys {
    path: "",
    title: "the top of the file",
    about: "Who and how. These two keys stand above the first table.",
    keys: &[
        required(
            "name",
            Kind::Text,
            ["Name of the site in every output.", r#""Harrowmere""#],
        ),
        default(
            "units",
            Kind::Word(&["si", "us"]),
            [
                "si",
                "SI is what the computation uses",
                "Units of the output; a value in the file may use either system.",
                r#""us""#,
            ],
        ),
        required("place", Kind::Table, ["Where the site is.", "[place]"]),
        required(
            "supply",
            Kind::Table,
            ["What brings the water.", "[supply]"],
        ),
        optional(
            "rules",
            Kind::Table,
            [
                "any hour, any day",
                "Watering rules of an authority.",
                "[rules]",
            ],
        ),
        optional(
            "quiet",
            Kind::Tables,
            [
                "nobody is ever on the grass",
                "When people are on the grass.",
                "[[quiet]]",
            ],
        ),
        optional(
            "limits",
            Kind::Table,
            ["the defaults below", "Wind and frost.", "[limits]"],
        ),
        optional(
            "night",
            Kind::Table,
            [
                "the defaults below",
                "Keeping the grass dry at night.",
                "[night]",
            ],
        ),
        optional(
            "weather",
            Kind::Table,
            [
                "the command line must name one",
                "Where the weather comes from.",
                "[weather]",
            ],
        ),
        optional(
            "mqtt",
            Kind::Table,
            [
                "no valve is driven",
                "The broker over which valves are driven.",
                "[mqtt]",
            ],
        ),
        optional(
            "device",
            Kind::Tables,
            [
                "valves are relays that understand ON and OFF",
                "Kinds of valves and relay boards.",
                "[[device]]",
            ],
        ),
        optional(
            "sensor",
            Kind::Tables,
            [
                "the weather comes from a file or a service alone",
                "Sensors that report over the broker.",
                "[[sensor]]",
            ],
        ),
        optional(
            "daemon",
            Kind::Table,
            [
                "the defaults below",
                "Where the running daemon answers.",
                "[daemon]",
            ],
        ),
        optional(
            "all-zones",
            Kind::Table,
            [
                "zones inherit nothing",
                "Any key of [[zone]] except name and formerly, for every zone that does not set it itself.",
                "[all-zones]",
            ],
        ),
        required("zone", Kind::Tables, ["What one valve waters.", "[[zone]]"]),
    ],
};

const PLACE: TableKeys = TableKeys {
    path: "place",
    title: "[place]",
    about: "Where the site is: sun, air pressure and local time follow from it.",
    keys: &[
        required(
            "latitude",
            Kind::Degrees(-90.0, 90.0),
            ["North positive. Sets the sun.", "36.1"],
        ),
        required(
            "longitude",
            Kind::Degrees(-180.0, 180.0),
            ["East positive. Sets the sun.", "-79.9"],
        ),
        required(
            "elevation",
            Kind::Quantity(Dimension::Length, -430.0, 6000.0),
            [
                "Above sea level. Sets air pressure and clear-sky radiation.",
                r#""270 m""#,
            ],
        ),
        default(
            "coast",
            Kind::Flag,
            [
                "false",
                "most places lie inland",
                "Whether the sea or a great lake governs the air. Sets how much sun is taken from \
                 the day's range of temperature, where the weather has no radiation.",
                "true",
            ],
        ),
        required(
            "time-zone",
            Kind::Text,
            [
                "IANA name. Every local time of the file and of the output is in it.",
                r#""America/New_York""#,
            ],
        ),
    ],
};

const SUPPLY: TableKeys = TableKeys {
    path: "supply",
    title: "[supply]",
    about: "The water that all zones share.",
    keys: &[
        required(
            "flow",
            Kind::Quantity(Dimension::Flow, 0.5, 20_000.0),
            [
                "The most that may flow at once; decides how many zones run together. Measure it with bucket and watch.",
                r#""60 L/min""#,
            ],
        ),
        default(
            "master-valve",
            Kind::Flag,
            [
                "false",
                "most small systems have none",
                "Whether a master valve opens before and closes after the zone valves.",
                "true",
            ],
        ),
        optional(
            "pump-start-delay",
            Kind::Quantity(Dimension::Duration, 0.0, 600.0),
            [
                "no pump",
                "Time from pump start to full pressure.",
                r#""10 s""#,
            ],
        ),
        optional(
            "cost",
            Kind::Quantity(Dimension::Price, 0.0, 1000.0),
            [
                "no cost is shown",
                "Price of water, for the totals. Needs currency.",
                r#""2.40 per m3""#,
            ],
        ),
        optional(
            "currency",
            Kind::Text,
            [
                "no cost is shown",
                "Currency of cost, as people write it.",
                r#""USD""#,
            ],
        ),
    ],
};

const RULES: TableKeys = TableKeys {
    path: "rules",
    title: "[rules]",
    about: "Watering rules of an authority or a licence. A plan never breaks them; it says where they let seed dry.",
    keys: &[
        optional(
            "hours",
            Kind::Hours,
            [
                "any hour",
                "Hours in which watering is allowed; an end before the start is on the next day.",
                r#"["20:00-08:00"]"#,
            ],
        ),
        optional(
            "weekdays",
            Kind::Weekdays,
            [
                "every day",
                "Days on which it is allowed.",
                r#"["mon", "wed-fri"]"#,
            ],
        ),
        default(
            "dates",
            Kind::Word(&["any", "odd", "even"]),
            [
                "any",
                "no such rule is known",
                "Odd or even days of the month only.",
                r#""odd""#,
            ],
        ),
        optional(
            "most-per-day",
            Kind::Quantity(Dimension::Volume, 1.0, 1e9),
            [
                "no such limit",
                "The most water on one local day, all zones together.",
                r#""20 m3""#,
            ],
        ),
        optional(
            "exception",
            Kind::Tables,
            [
                "no exceptions",
                "Dated permits and bans. A ban beats a permit; either beats the rules.",
                "[[rules.exception]]",
            ],
        ),
    ],
};

const EXCEPTION: TableKeys = TableKeys {
    path: "rules.exception",
    title: "[[rules.exception]]",
    about: "A dated exception, such as a seeding permit or a hosepipe ban.",
    keys: &[
        required(
            "name",
            Kind::Text,
            [
                "What people call it; reasons name it.",
                r#""seeding permit""#,
            ],
        ),
        required("from", Kind::Date, ["First local day.", r#""2023-08-18""#]),
        required(
            "to",
            Kind::Date,
            ["Last local day, included.", r#""2023-09-24""#],
        ),
        optional(
            "zones",
            Kind::Zones,
            ["all zones", "Zones it is for.", r#"["square", "nets"]"#],
        ),
        required(
            "effect",
            Kind::Word(&["permit", "ban"]),
            [
                "permit: every day is allowed, in hours (any hour without them). ban: no watering at all.",
                r#""permit""#,
            ],
        ),
        optional(
            "hours",
            Kind::Hours,
            ["any hour", "Hours of a permit.", r#"["06:00-19:00"]"#],
        ),
    ],
};

const QUIET: TableKeys = TableKeys {
    path: "quiet",
    title: "[[quiet]]",
    about: "A time when people are on the grass. Give weekdays or dates; with neither it is every day.",
    keys: &[
        required(
            "name",
            Kind::Text,
            ["What it is; reasons name it.", r#""Saturday match""#],
        ),
        optional(
            "zones",
            Kind::Zones,
            ["all zones", "Zones it is for.", r#"["outfield"]"#],
        ),
        optional(
            "weekdays",
            Kind::Weekdays,
            ["see dates", "Every week on these days.", r#"["sat"]"#],
        ),
        optional(
            "dates",
            Kind::Dates,
            ["see weekdays", "On these dates only.", r#"["2023-09-02"]"#],
        ),
        required(
            "hours",
            Kind::Hours,
            ["No watering in these hours.", r#""11:00-19:00""#],
        ),
        default(
            "dry-before",
            Kind::Quantity(Dimension::Duration, 0.0, 86_400.0),
            [
                "1 h",
                "common practice, no source: leaves dry in about an hour of daylight",
                "Watering ends this long before, so that the grass dries.",
                r#""90 min""#,
            ],
        ),
    ],
};

const LIMITS: TableKeys = TableKeys {
    path: "limits",
    title: "[limits]",
    about: "Weather in which sprinkling does more harm than good.",
    keys: &[
        default(
            "wind",
            Kind::QuantityOrNone(Dimension::Speed, 0.5, 30.0),
            [
                "4 m/s",
                "above about 4 m/s uniformity falls and drift grows (Yacoubi et al. 2012)",
                "No sprinkling while the wind at 2 m is above this.",
                r#""9 mph""#,
            ],
        ),
        default(
            "frost",
            Kind::Quantity(Dimension::Temperature, -10.0, 15.0),
            [
                "3 C",
                "common practice, no source: a wet surface freezes below about 3 °C screen temperature on clear nights",
                "No sprinkling while the air is colder than this.",
                r#""37 F""#,
            ],
        ),
    ],
};

const NIGHT: TableKeys = TableKeys {
    path: "night",
    title: "[night]",
    about: "Grass that is wet all night gets ill.",
    keys: &[
        default(
            "dry-before-sunset",
            Kind::Quantity(Dimension::Duration, 0.0, 43_200.0),
            [
                "2 h",
                "avoid wet leaves at night in warm weather (Univ. Maryland Extension); the two hours are common practice",
                "The last watering ends this long before sunset. Pre-soak on unsown ground is free of it.",
                r#""90 min""#,
            ],
        ),
        default(
            "start-before-sunrise",
            Kind::Quantity(Dimension::Duration, 0.0, 43_200.0),
            [
                "2 h",
                "leaves are wet from dew then anyway; common practice, no source",
                "The first watering begins no earlier than this long before sunrise.",
                r#""1 h""#,
            ],
        ),
    ],
};

/// Every table of a site file.
pub const TABLES: &[TableKeys] = &[
    TOP,
    PLACE,
    SUPPLY,
    RULES,
    EXCEPTION,
    QUIET,
    LIMITS,
    NIGHT,
    keys_weather::WEATHER,
    keys_weather::LOGGER,
    keys_weather::TIME,
    keys_weather::COLUMNS,
    keys_weather::VARIABLE,
    keys_mqtt::MQTT,
    keys_mqtt::TLS,
    keys_mqtt::MASTER,
    keys_mqtt::PUMP,
    keys_mqtt::FLOW_METER,
    keys_mqtt::DEVICE,
    keys_daemon::SENSOR,
    keys_daemon::DAEMON,
    keys_zone::ZONE,
    keys_zone::SOIL,
    keys_zone::SPRINKLER,
    keys_mqtt::VALVE,
    keys_zone::SEEDING,
    keys_zone::TOP_DRESSING,
    keys_zone::COVER,
    keys_zone::PRE_SOAK,
    keys_zone::RUNS,
    keys_zone::ROOTS,
    keys_zone::DEPLETION,
];

/// The keys of one table.
pub(super) fn table(path: &str) -> &'static TableKeys {
    TABLES
        .iter()
        .find(|table| table.path == path)
        .expect("the loader asks only for tables of the list, and a test loads each")
}

impl TableKeys {
    /// The entry of one key.
    pub(super) fn key(&self, name: &str) -> &'static Key {
        self.keys
            .iter()
            .find(|key| key.name == name)
            .expect("the loader asks only for keys of the list, and a test reads each")
    }
}
