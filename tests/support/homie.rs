//! The rules of the Homie convention 4.0.0 (18 July 2019,
//! <https://homieiot.github.io/specification/spec-core-v4_0_0/>) for what a
//! device publishes, written from its text and not from our code.

#![allow(dead_code, reason = "each test binary uses its part")]

use std::collections::{BTreeMap, BTreeSet};

pub type Topics = BTreeMap<String, String>;

/// "MAY contain lowercase letters from a to z, numbers from 0 to 9 as well as
/// the hyphen"; "MUST NOT start or end with a hyphen" (Topic IDs).
pub fn is_id(text: &str) -> bool {
    let allowed = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    !text.is_empty() && text.bytes().all(allowed) && !text.starts_with('-') && !text.ends_with('-')
}

/// Whether a payload is valid for a property (Payload).
fn is_valid(payload: &str, datatype: &str, format: &str) -> bool {
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    match datatype {
        "string" => payload.chars().count() <= 268_435_456,
        "integer" => digits(payload.strip_prefix('-').unwrap_or(payload)),
        "float" => {
            let allowed = |b: u8| b.is_ascii_digit() || b"-eE.".contains(&b);
            payload.bytes().all(allowed) && payload.parse::<f64>().is_ok_and(f64::is_finite)
        }
        "boolean" => ["true", "false"].contains(&payload),
        "enum" => payload == payload.trim() && format.split(',').any(|word| word == payload),
        _ => false,
    }
}

/// What breaks a rule, for the device `root/device` with these topics.
pub fn broken_rules(root: &str, device: &str, topics: &Topics) -> Vec<String> {
    let mut check = Check {
        base: format!("{root}/{device}"),
        topics,
        known: BTreeSet::new(),
        broken: Vec::new(),
    };
    check.rule(is_id(device), "Devices: the device ID is an ID", device);
    check.device();
    let unknown: Vec<&String> = topics
        .keys()
        .filter(|topic| !check.known.contains(*topic))
        .collect();
    for topic in unknown {
        check.rule(false, "no topic beside those of the convention", topic);
    }
    check.broken
}

struct Check<'a> {
    base: String,
    topics: &'a Topics,
    known: BTreeSet<String>,
    broken: Vec<String>,
}

impl Check<'_> {
    fn rule(&mut self, holds: bool, rule: &str, what: &str) {
        if !holds {
            self.broken.push(format!("{rule}: {what}"));
        }
    }

    fn find(&mut self, below: &str) -> Option<String> {
        let topic = format!("{}/{below}", self.base);
        let payload = self.topics.get(&topic).cloned();
        self.known.insert(topic);
        payload
    }

    fn needed(&mut self, below: &str) -> String {
        let payload = self.find(below);
        self.rule(payload.is_some(), "a required topic is missing", below);
        payload.unwrap_or_default()
    }

    fn ids(&mut self, list: &str, of: &str) -> Vec<String> {
        let ids: Vec<String> = list.split(',').map(str::to_owned).collect();
        self.rule(ids.iter().all(|id| is_id(id)), "IDs", list);
        let unique: BTreeSet<&String> = ids.iter().collect();
        self.rule(unique.len() == ids.len(), "unique IDs", of);
        ids
    }

    /// Device Attributes, Device Lifecycle.
    fn device(&mut self) {
        let version = self.needed("$homie");
        self.rule(version == "4.0.0", "the version", &version);
        self.needed("$name");
        self.needed("$extensions");
        self.find("$implementation");
        let state = self.needed("$state");
        let states = ["init", "ready", "disconnected", "sleeping", "lost", "alert"];
        self.rule(states.contains(&state.as_str()), "six states", &state);
        let nodes = self.needed("$nodes");
        for node in self.ids(&nodes, "$nodes") {
            self.node(&node);
        }
    }

    /// Node Attributes: "All listed attributes are required".
    fn node(&mut self, node: &str) {
        self.needed(&format!("{node}/$name"));
        self.needed(&format!("{node}/$type"));
        let properties = self.needed(&format!("{node}/$properties"));
        for property in self.ids(&properties, node) {
            self.property(&format!("{node}/{property}"));
        }
    }

    /// Property Attributes, Payload.
    fn property(&mut self, property: &str) {
        self.needed(&format!("{property}/$name"));
        let datatype = self.needed(&format!("{property}/$datatype"));
        let format = self.find(&format!("{property}/$format"));
        let format = format.unwrap_or_default();
        self.find(&format!("{property}/$unit"));
        for flag in ["$settable", "$retained"] {
            let said = self.find(&format!("{property}/{flag}"));
            let holds = said.is_none_or(|said| is_valid(&said, "boolean", ""));
            self.rule(holds, "a flag is a boolean", property);
        }
        if datatype == "enum" {
            let words = format.split(',');
            self.rule(
                words.clone().all(|word| is_valid(word, "enum", &format)) && !format.is_empty(),
                "an enum lists its values",
                property,
            );
        }
        // One that is not known yet says nothing.
        if let Some(payload) = self.find(property) {
            let holds = is_valid(&payload, &datatype, &format);
            self.rule(holds, "a valid payload", &format!("{property} {payload:?}"));
        }
    }
}
