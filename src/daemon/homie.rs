//! The site as a device of the Homie convention: the daemon's status in,
//! topics and payloads out.
//!
//! One table lists the properties of a zone, one those of the whole site; what
//! describes them and what they say both come from it. Nothing can be set but
//! `stop`: what a controller keeps for later, or sends twice, must not open a
//! valve. `docs/mqtt.md` says what a controller sees, and why version 4.
//!
//! # Source
//! Homie convention 4.0.0 (18 July 2019), <https://homieiot.github.io/specification/spec-core-v4_0_0/>.

use chrono::{DateTime, SecondsFormat, Utc};
use chrono_tz::Tz;

use super::status::{Status, ZoneStatus};
use crate::site::{Homie, SITE_NODE, Site};

/// The version that is spoken.
const VERSION: &str = "4.0.0";
/// What a property says where there is nothing to say: an empty message would
/// take the retained one away.
const NONE: &str = "none";
/// A list of alarms is cut here [characters].
const LONGEST: usize = 1000;

/// A topic and its payload, retained.
pub type Told = (String, String);

/// One property of a node.
struct Property<Of> {
    id: &'static str,
    name: &'static str,
    datatype: &'static str,
    format: &'static str,
    unit: &'static str,
    /// What it says; none while it is not known.
    says: fn(&Of, &Status) -> Option<String>,
}

impl<Of> Property<Of> {
    const fn text(id: &'static str, name: &'static str, says: Says<Of>) -> Self {
        Self {
            id,
            name,
            datatype: "string",
            format: "",
            unit: "",
            says,
        }
    }

    const fn of(mut self, datatype: &'static str, format: &'static str) -> Self {
        self.datatype = datatype;
        self.format = format;
        self
    }

    const fn in_mm(mut self) -> Self {
        self.datatype = "float";
        self.unit = "mm";
        self
    }
}

type Says<Of> = fn(&Of, &Status) -> Option<String>;

/// The property that can be set.
const STOP: &str = "stop";

type OfZone = Property<ZoneStatus>;
type OfSite = Property<Status>;

const ZONE: [OfZone; 9] = [
    OfZone::text("valve", "Valve", |zone, _| Some(zone.valve.clone())).of(
        "enum",
        "closed,waiting,opening,open,closing,faulted,by hand,unknown",
    ),
    OfZone::text("stage", "Stage of the grass", |zone, _| zone.stage.clone()).of(
        "enum",
        "presoak,rest,germination,emergence,establishment,maintenance",
    ),
    OfZone::text("depletion", "Water missing", |zone, _| {
        depth(zone.depletion_mm)
    })
    .in_mm(),
    OfZone::text("allowed", "Water that may be missing", |zone, _| {
        depth(zone.allowed_mm)
    })
    .in_mm(),
    OfZone::text("open-until", "Open until", |zone, status| {
        Some(time(zone.open_until, status))
    }),
    OfZone::text("next-run", "Next run", |zone, status| {
        Some(time(zone.next_run, status))
    }),
    OfZone::text("last-water", "Last water", |zone, status| {
        Some(time(zone.last_water, status))
    }),
    OfZone::text("held-until", "No watering before", |zone, status| {
        Some(time(zone.held_until, status))
    }),
    OfZone::text(STOP, "Stopped", |zone, _| {
        Some(zone.held_until.is_some().to_string())
    })
    .of("boolean", ""),
];

const SITE: [OfSite; 4] = [
    OfSite::text("phase", "Daemon", |status, _| Some(status.phase.clone()))
        .of("enum", "starting,running,stopping,stopped"),
    OfSite::text("dry-run", "Opens no valve", |status, _| {
        Some(status.dry_run.to_string())
    })
    .of("boolean", ""),
    OfSite::text("alarms", "Alarms", |status, _| Some(alarms(status))),
    OfSite::text(STOP, "All stopped", |status, _| {
        let mut zones = status.zones.iter();
        Some(zones.all(|zone| zone.held_until.is_some()).to_string())
    })
    .of("boolean", ""),
];

/// Describes the device, its nodes and their properties. The same for as long
/// as the site has the same zones and name.
#[must_use]
pub fn attributes(homie: &Homie, status: &Status) -> Vec<Told> {
    let parts = (0..).map_while(|part| attributes_of(homie, status, part));
    parts.flatten().collect()
}

/// A part of these: the device with the node of the site, then the node of
/// each zone; none after the last.
#[must_use]
pub fn attributes_of(homie: &Homie, status: &Status, part: usize) -> Option<Vec<Told>> {
    let mut out = Vec::new();
    let mut tell = |below: String, text: &str| out.push((homie.topic(&below), text.to_owned()));
    if let Some(zone) = part.checked_sub(1) {
        let zone = status.zones.get(zone)?.name.as_str();
        describe_node((zone, zone, "zone"), &ZONE, &mut tell);
        return Some(out);
    }
    let zones: Vec<&str> = status.zones.iter().map(|zone| zone.name.as_str()).collect();
    let nodes = [&[SITE_NODE], zones.as_slice()].concat().join(",");
    for (attribute, text) in [
        ("$homie", VERSION),
        ("$name", &status.site),
        ("$nodes", &nodes),
        ("$extensions", ""),
        ("$implementation", "soakmist"),
    ] {
        tell(attribute.to_owned(), text);
    }
    describe_node((SITE_NODE, &status.site, "site"), &SITE, &mut tell);
    Some(out)
}

/// `node`: id, name, type.
fn describe_node<Of>(
    node: (&str, &str, &str),
    properties: &[Property<Of>],
    tell: &mut impl FnMut(String, &str),
) {
    let (id, name, kind) = node;
    let ids: Vec<&str> = properties.iter().map(|property| property.id).collect();
    tell(format!("{id}/$name"), name);
    tell(format!("{id}/$type"), kind);
    tell(format!("{id}/$properties"), &ids.join(","));
    for property in properties {
        let mut tell = |attribute: &str, text: &str| {
            tell(format!("{id}/{}/{attribute}", property.id), text);
        };
        tell("$name", property.name);
        tell("$datatype", property.datatype);
        for (attribute, text) in [("$format", property.format), ("$unit", property.unit)] {
            if !text.is_empty() {
                tell(attribute, text);
            }
        }
        if property.id == STOP {
            tell("$settable", "true");
        }
    }
}

/// Every topic of the node of a zone.
#[must_use]
pub fn topics_of(homie: &Homie, zone: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut tell = |below: String, _: &str| out.push(homie.topic(&below));
    describe_node((zone, zone, "zone"), &ZONE, &mut tell);
    for property in &ZONE {
        tell(format!("{zone}/{}", property.id), "");
    }
    out
}

/// What the properties say now; what is not known yet says nothing.
#[must_use]
pub fn values(homie: &Homie, status: &Status) -> Vec<Told> {
    let site = said(SITE_NODE, &SITE, status, status);
    let zones = status.zones.iter();
    let zones = zones.flat_map(|zone| said(&zone.name, &ZONE, zone, status));
    let all = site.into_iter().chain(zones);
    all.map(|(below, text)| (homie.topic(&below), text))
        .collect()
}

fn said<Of>(node: &str, properties: &[Property<Of>], of: &Of, status: &Status) -> Vec<Told> {
    let told = properties.iter().filter_map(|property| {
        let text = (property.says)(of, status)?;
        Some((format!("{node}/{}", property.id), text))
    });
    told.collect()
}

/// How the device is, to be told when everything else has been.
#[must_use]
pub fn state(status: &Status) -> &'static str {
    if !status.alarms.is_empty() {
        "alert"
    } else if status.phase == "starting" {
        "init"
    } else {
        "ready"
    }
}

/// The topics on which a controller stops, and the zone that each stops; none
/// is the whole site.
#[must_use]
pub fn stops(homie: &Homie, site: &Site) -> Vec<(String, Option<String>)> {
    let topic = |node: &str| homie.topic(&format!("{node}/{STOP}/set"));
    let zones = site.zones.iter();
    let zones = zones.map(|zone| (topic(&zone.name), Some(zone.name.clone())));
    std::iter::once((topic(SITE_NODE), None))
        .chain(zones)
        .collect()
}

fn depth(mm: Option<f64>) -> Option<String> {
    mm.filter(|mm| mm.is_finite()).map(|mm| format!("{mm:.2}"))
}

/// An instant in the site's own time, with its offset.
fn time(at: Option<DateTime<Utc>>, status: &Status) -> String {
    let Some(at) = at else {
        return NONE.to_owned();
    };
    let zone: Tz = status.time_zone.parse().unwrap_or(Tz::UTC);
    at.with_timezone(&zone)
        .to_rfc3339_opts(SecondsFormat::Secs, true)
}

/// What is wrong, in words; one sentence after the other.
fn alarms(status: &Status) -> String {
    let all = status.alarms.iter().chain(&status.weather_problem);
    let all: Vec<&str> = all.map(String::as_str).collect();
    match all.as_slice() {
        [] => NONE.to_owned(),
        all => all.join("; ").chars().take(LONGEST).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::balance::record::Stage;

    #[test]
    fn everything_that_is_told_of_a_zone_can_be_taken_away() {
        let status: Status = serde_json::from_value(serde_json::json!({
            "site": "Harrowmere", "now": DateTime::UNIX_EPOCH, "time_zone": "Europe/London",
            "phase": "running", "dry_run": false, "broker": true,
            "clock_problem": null, "weather_problem": null, "alarms": [],
            "zones": [{
                "name": "square", "valve": "closed", "stage": "germination",
                "depletion_mm": 1.0, "allowed_mm": 4.0, "open_until": null, "next_run": null,
                "last_water": null, "held_until": null, "mown": null
            }],
            "runs": [], "shortfalls": []
        }))
        .unwrap();
        let homie = Homie {
            root: "homie".to_owned(),
            device: "ground".to_owned(),
        };
        let told = attributes(&homie, &status).into_iter();
        let told = told.chain(values(&homie, &status)).map(|(topic, _)| topic);
        let told = told.filter(|topic| topic.starts_with("homie/ground/square/"));
        let mut told: Vec<String> = told.collect();
        let mut taken = topics_of(&homie, "square");
        told.sort();
        taken.sort();
        assert_eq!(taken, told);
    }

    #[test]
    fn every_stage_is_one_of_the_words_of_its_property() {
        for stage in [
            Stage::PreSoak,
            Stage::Rest,
            Stage::Germination,
            Stage::Emergence,
            Stage::Establishment,
            Stage::Maintenance,
        ] {
            let word = crate::daemon::status::stage_word(stage);
            assert!(ZONE[1].format.split(',').any(|known| known == word));
        }
    }
}
