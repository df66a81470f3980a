//! The topics that are read, and who reads them.

use crate::daemon::senses::Told;
use crate::daemon::sensors::Sensors;
use crate::mqtt::{Message, Subscription};
use crate::site::Site;

/// The topics that are read, by subscription.
pub(super) struct Topics {
    names: Vec<String>,
    /// Whether sensors read it.
    are_sensed: Vec<bool>,
}

impl Topics {
    pub(super) fn of(site: &Site, subscriptions: &[Subscription]) -> Self {
        let sensed = Sensors::of(site).subscriptions();
        let is_sensed = |topic: &String| sensed.iter().any(|s| s.topic == *topic);
        let names = subscriptions.iter().map(|s| s.topic.clone());
        let names: Vec<String> = names.collect();
        Self {
            are_sensed: names.iter().map(is_sensed).collect(),
            names,
        }
    }

    pub(super) fn name(&self, message: &Message) -> &str {
        let name = self.names.get(message.subscription);
        name.map_or("", String::as_str)
    }

    /// What a message tells the sensors, if they read its topic.
    pub(super) fn sensed(&self, message: &Message) -> Option<Told> {
        let is_sensed = self.are_sensed.get(message.subscription);
        is_sensed.copied().unwrap_or(false).then(|| Told {
            topic: self.name(message).to_owned(),
            payload: message.payload.clone(),
            stored: message.stored,
            received: message.received,
        })
    }
}
