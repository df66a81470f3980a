//! Valves that were open when the daemon died and that the site file does not
//! drive any more: each is told to close once a start, and a person to look.

use std::collections::BTreeMap;
use std::time::Duration;

use super::control::{Action, Control};
use super::notice::Notice;
use crate::mqtt::{Parcel, Quality};
use crate::site::{CommandFacts, Site, Template, Valve};
use crate::store::{CloseCommand, Entry, Stray};
use crate::valve::DeviceId;

impl Control {
    /// They are told of at the start.
    pub(super) fn tell_of_strays(&self, out: &mut Vec<Action>) {
        let strays = self.strays.iter().map(in_words);
        out.extend(strays.map(|stray| Action::Tell(Notice::Stray(stray))));
    }

    /// The broker is there: each is told to close, once in the life of the
    /// loop. Another may use the topic by now.
    pub(super) fn close_strays(&mut self, out: &mut Vec<Action>) {
        if std::mem::replace(&mut self.strays_are_closed, true) {
            return;
        }
        let facts = CommandFacts {
            // All of ours were just told to close by numbers up to this one.
            id: self.supervisor.known().last_command.0,
            run_time: Duration::ZERO,
            issued_at: self.now.utc,
            valid_for: Duration::ZERO,
        };
        let closings = self.strays.iter().filter_map(|stray| {
            let close = stray.close.as_ref()?;
            let payload = Template::parse(&close.payload, &[]).ok()?;
            Some(Parcel {
                topic: close.topic.clone(),
                payload: payload.filled(&facts).into_bytes(),
                quality: Quality::AtLeastOnce,
                retain: false,
            })
        });
        let zones = self.site.zones.len();
        out.extend(closings.enumerate().map(|(index, parcel)| {
            let device = DeviceId::Zone(zones + index);
            Action::CloseStray(device, parcel)
        }));
    }

    /// A person has looked; how many there were.
    pub(super) fn see_strays(&mut self, out: &mut Vec<Action>) -> usize {
        let seen = std::mem::take(&mut self.strays);
        if !seen.is_empty() {
            out.push(Action::Write(Entry::StraysSeen));
        }
        seen.len()
    }
}

/// One of them, for a person.
pub(super) fn in_words(stray: &Stray) -> String {
    let name = &stray.name;
    let told = match &stray.close {
        Some(close) => format!("it was told to close once more, on {:?}", close.topic),
        None => "how to close it is not known".to_owned(),
    };
    format!(
        "{name} was open when soakmist last ended without a stop, and the site file drives it no \
         more or in another way: {told}; look whether it is shut, then acknowledge"
    )
}

/// How each device of a site is told to close.
pub(super) fn closings(site: &Site) -> BTreeMap<DeviceId, CloseCommand> {
    let zones = site.zones.iter().enumerate();
    let zones = zones.map(|(zone, of)| (DeviceId::Zone(zone), of.valve.as_ref()));
    let mqtt = site.mqtt.as_ref();
    let supply = [
        (DeviceId::Master, mqtt.and_then(|m| m.master_valve.as_ref())),
        (DeviceId::Pump, mqtt.and_then(|m| m.pump.as_ref())),
    ];
    let command = |valve: &Valve| CloseCommand {
        topic: valve.command_topic.clone(),
        payload: valve.close.text(),
    };
    let devices = zones.chain(supply);
    devices
        .filter_map(|(id, valve)| Some((id, command(valve?))))
        .collect()
}
