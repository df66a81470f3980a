//! The keys of the daemon and of the sensors that it listens to.

use super::keys::{Kind, TableKeys, default, optional, required};
use crate::units::Dimension;

pub(super) const DAEMON: TableKeys = TableKeys {
    path: "daemon",
    title: "[daemon]",
    about: "How the running daemon is reached. Not needed for a timetable; docs/daemon-api.md says more.",
    keys: &[
        optional(
            "listen",
            Kind::Special("IP address and port, or `none`"),
            [
                "127.0.0.1:8732, reached from this computer alone",
                "Where the daemon answers `soakmist status` and the other commands. An address that others can reach needs a token.",
                r#""127.0.0.1:8732""#,
            ],
        ),
        optional(
            "token-file",
            Kind::Text,
            [
                "the environment variable SOAKMIST_DAEMON_TOKEN, or no token",
                "File that holds on one line the token which every request must show, relative to the site file. Keep it from others: chmod 600.",
                r#""daemon-token""#,
            ],
        ),
    ],
};

/// What a sensor can measure, as written.
pub(super) const MEASURES: &[&str] = &[
    "air-temperature",
    "relative-humidity",
    "wind",
    "solar",
    "rain-tips",
    "rain-total",
    "rain-amount",
    "soil-moisture",
];

pub(super) const SENSOR: TableKeys = TableKeys {
    path: "sensor",
    title: "[[sensor]]",
    about: "A sensor that reports over the broker of [mqtt]. What it measures comes before any forecast; docs/sensors.md says what happens when it is silent, stuck or wrong. The flow meter is [mqtt.flow-meter].",
    keys: &[
        required(
            "name",
            Kind::Name,
            ["Messages name the sensor by it.", r#""station-air""#],
        ),
        required(
            "measures",
            Kind::Word(MEASURES),
            [
                "What the number is. rain-tips: tips of the bucket counted since ever; rain-total: rain since ever, or since midnight; rain-amount: rain since the message before.",
                r#""air-temperature""#,
            ],
        ),
        required(
            "topic",
            Kind::Special("MQTT topic without wildcards"),
            [
                "Topic of its readings. Several sensors may share one.",
                r#""station/air""#,
            ],
        ),
        optional(
            "pointer",
            Kind::Special("JSON pointer (RFC 6901), beginning with `/`"),
            [
                "the whole payload is the number",
                "Where in a JSON payload the number stands.",
                r#""/temperature""#,
            ],
        ),
        required(
            "unit",
            Kind::Special("unit of what is measured; for rain-tips the depth of one tip"),
            ["What the number is in.", r#""C""#],
        ),
        optional(
            "height",
            Kind::Quantity(Dimension::Length, 0.5, 200.0),
            [
                "needed for wind, without meaning otherwise",
                "Height above ground at which the wind is measured.",
                r#""2 m""#,
            ],
        ),
        default(
            "every",
            Kind::Quantity(Dimension::Duration, 1.0, 21_600.0),
            [
                "10 min",
                "garden stations report every 1 to 10 minutes; common practice, no source",
                "Expected time between two readings. Three missing ones make the sensor silent.",
                r#""60 s""#,
            ],
        ),
        optional(
            "zone",
            Kind::Name,
            [
                "needed for soil-moisture; other sensors stand for the whole site",
                "Zone in which the probe sits.",
                r#""square""#,
            ],
        ),
        optional(
            "weight",
            Kind::Share(0.01, 1.0),
            [
                "20 % for soil-moisture, without meaning otherwise",
                "Share of the difference between probe and balance by which the balance is corrected each hour.",
                r#""30 %""#,
            ],
        ),
        optional(
            "lowest",
            Kind::Special("value with its unit"),
            [
                "the bounds of docs/sensors.md",
                "A reading below this is refused.",
                r#""-20 C""#,
            ],
        ),
        optional(
            "highest",
            Kind::Special("value with its unit"),
            [
                "the bounds of docs/sensors.md",
                "A reading above this is refused.",
                r#""45 C""#,
            ],
        ),
    ],
};
