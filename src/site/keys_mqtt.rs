//! The keys of the broker, of device profiles and of what hangs on the broker
//! beside the zones.

use super::keys::{Kind, TableKeys, default, optional, required};
use crate::units::Dimension;

const TOPIC: Kind =
    Kind::Special("MQTT topic without wildcards; may hold `{channel}` and `{zone}`");
const PAYLOAD: Kind = Kind::Special("payload; see Devices below for what may stand in braces");
const POINTER: Kind = Kind::Special("JSON pointer (RFC 6901), beginning with `/`");
const WORDS: Kind = Kind::Special("a word or a list of words; capitals do not matter");

pub(super) const MQTT: TableKeys = TableKeys {
    path: "mqtt",
    title: "[mqtt]",
    about: "The broker over which valves are driven. Not needed for a timetable; docs/mqtt.md says how the link behaves.",
    keys: &[
        required(
            "host",
            Kind::Text,
            [
                "Name or address of the broker. With TLS its certificate must bear this name.",
                r#""192.168.7.2""#,
            ],
        ),
        optional(
            "port",
            Kind::Special("whole number, 1 to 65535"),
            [
                "1883, and 8883 with [mqtt.tls]",
                "Port of the broker.",
                "1883",
            ],
        ),
        default(
            "version",
            Kind::Word(&["3.1.1", "5"]),
            [
                "3.1.1",
                "nearly all valves and sensors speak it; a broker of version 5 takes it too",
                "Version of MQTT. With 5 the broker also drops an open command that waits there for too long; pings are then at least 5 s apart.",
                r#""5""#,
            ],
        ),
        optional(
            "client-id",
            Kind::Special("name, letters, digits, `-` and `_`, at most 64 characters"),
            [
                "`soakmist-` and the name of the site",
                "Our name at the broker. Nobody else may use it, or both are thrown out in turn.",
                r#""soakmist-harrowmere""#,
            ],
        ),
        default(
            "base-topic",
            Kind::Special("MQTT topic without wildcards"),
            [
                "soakmist",
                "one site a broker is the usual case",
                "What soakmist tells of itself stands below this: presence, status, alarms.",
                r#""harrowmere/soakmist""#,
            ],
        ),
        optional(
            "homie",
            Kind::Special("one level of a topic, `a-z 0-9 -`"),
            [
                "the site is no Homie device",
                "Shows the site and its zones below this level as a device of the open Homie convention, version 4, which home automation finds by itself. `\"homie\"` is where most look. docs/mqtt.md says what stands there, and that `$state` then takes the place of presence.",
                r#""homie""#,
            ],
        ),
        optional(
            "user",
            Kind::Text,
            [
                "no login",
                "User name at the broker. Its password is never in the site file.",
                r#""ground""#,
            ],
        ),
        optional(
            "password-file",
            Kind::Text,
            [
                "with user, the environment variable SOAKMIST_MQTT_PASSWORD holds it",
                "File that holds the password on one line, relative to the site file. Keep it from others: chmod 600.",
                r#""mqtt-password""#,
            ],
        ),
        default(
            "keep-alive",
            Kind::Quantity(Dimension::Duration, 1.0, 30.0),
            [
                "3 s",
                "a dead connection is then known within 5 s, the delay that the valves' supervisor reckons with; own choice, no source",
                "Pause between two pings. Longer saves traffic, and every bound of the supervisor grows with it.",
                r#""5 s""#,
            ],
        ),
        optional(
            "tls",
            Kind::Table,
            [
                "not encrypted",
                "Encryption, with the system's authorities unless it names its own.",
                "[mqtt.tls]",
            ],
        ),
        optional(
            "master-valve",
            Kind::Table,
            [
                "needed where supply.master-valve is true",
                "How the master valve is driven.",
                "[mqtt.master-valve]",
            ],
        ),
        optional(
            "pump",
            Kind::Table,
            [
                "the pump, if any, starts by itself",
                "How the pump is driven.",
                "[mqtt.pump]",
            ],
        ),
        optional(
            "flow-meter",
            Kind::Table,
            [
                "leaks and bursts go unseen",
                "How the flow meter of the whole site is read.",
                "[mqtt.flow-meter]",
            ],
        ),
    ],
};

pub(super) const TLS: TableKeys = TableKeys {
    path: "mqtt.tls",
    title: "[mqtt.tls]",
    about: "An encrypted connection. An empty table trusts the authorities of the system. The broker's certificate is always checked.",
    keys: &[
        optional(
            "ca-file",
            Kind::Text,
            [
                "the authorities of the system",
                "Certificates of the authorities to trust (PEM), relative to the site file.",
                r#""ca.pem""#,
            ],
        ),
        optional(
            "certificate-file",
            Kind::Text,
            [
                "no certificate of ours",
                "Our certificate (PEM), for a broker that asks for one. Needs key-file.",
                r#""ground.pem""#,
            ],
        ),
        optional(
            "key-file",
            Kind::Text,
            [
                "see certificate-file",
                "Its private key (PEM).",
                r#""ground.key""#,
            ],
        ),
    ],
};

pub(super) const DEVICE: TableKeys = TableKeys {
    path: "device",
    title: "[[device]]",
    about: "A kind of valve or relay board: how it is told and how it answers. Zones name it by `valve.device`; topics and payloads may hold their `{channel}` and `{zone}`.",
    keys: &[
        required("name", Kind::Name, ["Zones name it.", r#""relay-board""#]),
        default(
            "acts",
            Kind::Word(&["on-off", "latching", "self-closing"]),
            [
                "on-off",
                "a relay that holds is the commonest",
                "on-off: open until told to close. latching: moved by a pulse, closed twice to be sure. self-closing: the open payload carries the run time and the device closes itself, also when everything else has failed.",
                r#""self-closing""#,
            ],
        ),
        optional(
            "command-topic",
            TOPIC,
            [
                "each zone gives its own",
                "Topic for commands.",
                r#""board/{channel}/set""#,
            ],
        ),
        default(
            "open",
            PAYLOAD,
            [
                "ON",
                "what most relays understand",
                "Payload that opens.",
                r#"'{"on":true,"seconds":{seconds}}'"#,
            ],
        ),
        default(
            "close",
            PAYLOAD,
            [
                "OFF",
                "what most relays understand",
                "Payload that closes.",
                r#"'{"on":false}'"#,
            ],
        ),
        optional(
            "state-topic",
            TOPIC,
            [
                "each zone gives its own, or the device says nothing",
                "Topic on which the device tells its position, after every command and not retained only.",
                r#""board/{channel}/state""#,
            ],
        ),
        optional(
            "state-pointer",
            POINTER,
            [
                "the whole payload is the position",
                "Where in a JSON payload the position stands; may hold {channel}.",
                r#""/relay/{channel}/on""#,
            ],
        ),
        optional(
            "state-open",
            WORDS,
            [
                "on, open, opened, 1, true",
                "What the device says for open.",
                r#"["on", "running"]"#,
            ],
        ),
        optional(
            "state-closed",
            WORDS,
            [
                "off, closed, close, 0, false",
                "What the device says for closed.",
                r#"["off", "idle"]"#,
            ],
        ),
        optional(
            "echo-pointer",
            POINTER,
            [
                "answers cannot be told from late ones, so closing takes longer to confirm",
                "Where in a JSON payload the device repeats the {id} of the last command it carried out.",
                r#""/id""#,
            ],
        ),
    ],
};

/// `texts`: path, title, about.
const fn driven(texts: [&'static str; 3]) -> TableKeys {
    TableKeys {
        path: texts[0],
        title: texts[1],
        about: texts[2],
        keys: VALVE_KEYS,
    }
}

const VALVE_KEYS: &[super::keys::Key] = &[
    optional(
        "device",
        Kind::Name,
        [
            "a relay that understands ON and OFF and says the same",
            "Name of a [[device]].",
            r#""relay-board""#,
        ],
    ),
    optional(
        "channel",
        Kind::Special(
            "letters, digits, `-`, `_` and `.`, at most 32 characters, or a whole number",
        ),
        [
            "the device has one valve only",
            "Which output of the device: fills {channel}.",
            r#""3""#,
        ],
    ),
    optional(
        "command-topic",
        TOPIC,
        [
            "as the device says, or not driven",
            "MQTT topic for commands.",
            r#""ground/valve/1/set""#,
        ],
    ),
    optional(
        "state-topic",
        TOPIC,
        [
            "as the device says, or not confirmed",
            "MQTT topic on which the valve reports its state.",
            r#""ground/valve/1/state""#,
        ],
    ),
];

pub(super) const VALVE: TableKeys = driven([
    "zone.valve",
    "[zone.valve]",
    "How the daemon drives the valve. Not needed for a timetable.",
]);

pub(super) const MASTER: TableKeys = driven([
    "mqtt.master-valve",
    "[mqtt.master-valve]",
    "How the master valve is driven; {zone} is `master-valve`.",
]);

pub(super) const PUMP: TableKeys = driven([
    "mqtt.pump",
    "[mqtt.pump]",
    "How the pump is driven: opening starts it; {zone} is `pump`.",
]);

pub(super) const FLOW_METER: TableKeys = TableKeys {
    path: "mqtt.flow-meter",
    title: "[mqtt.flow-meter]",
    about: "The meter behind which all zones lie. It finds leaks, bursts, blocked nozzles and a dry supply.",
    keys: &[
        required(
            "topic",
            Kind::Special("MQTT topic without wildcards"),
            ["Topic of its readings.", r#""ground/meter""#],
        ),
        optional(
            "pointer",
            POINTER,
            [
                "the whole payload is the number",
                "Where in a JSON payload the number stands.",
                r#""/flow""#,
            ],
        ),
        required(
            "unit",
            Kind::Special("a unit of flow, or of volume for a meter that counts"),
            [
                "What 1 means. A volume is a running total, from which the flow is worked out.",
                r#""L/min""#,
            ],
        ),
        default(
            "interval",
            Kind::Quantity(Dimension::Duration, 1.0, 3600.0),
            [
                "10 s",
                "meters for gardens report every few seconds while water flows; common practice, no source",
                "Expected time between two readings. Three missing ones while a valve is open are an alarm.",
                r#""5 s""#,
            ],
        ),
        default(
            "least",
            Kind::Quantity(Dimension::Flow, 0.0, 1000.0),
            [
                "0.5 L/min",
                "small turbine meters begin to turn at about this flow; common practice, no source",
                "More than this with everything closed is a leak.",
                r#""1 L/min""#,
            ],
        ),
    ],
};
