//! What Homie controllers set: a stop, and nothing else.
//!
//! A stop is obeyed whenever it comes. One that the broker had stored is not:
//! it would stop the watering anew at every connection, until the seed is dry.

use std::collections::{BTreeMap, BTreeSet};

use crate::daemon::homie;
use crate::daemon::people::Request;
use crate::mqtt::{Message, Subscription};
use crate::site::Site;

/// The topics of stops.
#[derive(Default)]
pub(super) struct Stops {
    /// By subscription: its topic, and the zone; none is the whole site.
    topics: BTreeMap<usize, (String, Option<String>)>,
    /// Where something else than a stop was told already.
    told: BTreeSet<usize>,
}

/// What a message on such a topic comes to.
#[derive(Debug, PartialEq)]
pub(super) enum Set {
    /// To be asked of the loop.
    Ask(Request),
    /// Nothing; the property of this topic is to be told again, so that a
    /// switch springs back.
    Again(String),
}

impl Stops {
    pub(super) fn of(site: &Site, subscriptions: &[Subscription]) -> Self {
        let homie = site.mqtt.as_ref().and_then(|mqtt| mqtt.homie.as_ref());
        let stops = homie.map(|homie| homie::stops(homie, site));
        let mut stops: BTreeMap<_, _> = stops.unwrap_or_default().into_iter().collect();
        let topics = subscriptions.iter().enumerate();
        let topics = topics.filter_map(|(index, subscription)| {
            let (topic, zone) = stops.remove_entry(&subscription.topic)?;
            Some((index, (topic, zone)))
        });
        Self {
            topics: topics.collect(),
            told: BTreeSet::new(),
        }
    }

    /// None for a message on another topic.
    pub(super) fn take(&mut self, message: &Message) -> Option<Set> {
        let (topic, zone) = self.topics.get(&message.subscription)?;
        let is_stop = message.payload.trim_ascii() == b"true";
        if is_stop && !message.stored {
            return Some(Set::Ask(Request::Stop { zone: zone.clone() }));
        }
        if self.told.insert(message.subscription) {
            let why = match message.stored {
                true => "a retained command is not obeyed: remove it from the broker",
                false => "only `true` can be set: `soakmist resume` lets water again",
            };
            tracing::warn!(topic, "{why}");
        }
        let property = topic.strip_suffix("/set").unwrap_or(topic);
        Some(Set::Again(property.to_owned()))
    }
}
