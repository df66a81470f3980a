//! The devices of a site at the broker: what is sent to each, which topics
//! are read for it. How each kind speaks is configuration, not code.

use std::collections::BTreeMap;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};

use super::link::Link;
use super::outbox::{OpenCommand, OpenText, Parcel, Quality, SendError};
use super::reading::{Readers, Reading};
use super::settings::{Legible, LinkTimes, Subscription};
use super::{Message, from_site, meter};
use crate::clock::Now;
use crate::site::{Acts, CommandFacts, FlowMeter, Mqtt, Site, Valve};
use crate::units::Flow;
use crate::valve::{
    Actuation, Command, CommandId, Device, DeviceId, Feedback, Installation, Meter, MeterFlow,
    Moment, OthersWhenFaulted, PumpDevice, Timing, ZoneDevice,
};

/// All devices of a site.
#[derive(Debug)]
pub struct Devices {
    valves: BTreeMap<DeviceId, Valve>,
    subscriptions: Vec<Subscription>,
    /// By subscription.
    readers: Vec<Readers>,
    timing: Timing,
    meter: Option<FlowMeter>,
}

/// A command of the supervisor to one device.
#[derive(Debug, Clone, Copy)]
pub struct Order {
    /// To which device.
    pub device: DeviceId,
    /// Number of the command.
    pub id: CommandId,
    /// What.
    pub command: Command,
}

impl Devices {
    /// The devices of a site that has a broker.
    #[must_use]
    pub fn of(site: &Site, mqtt: &Mqtt) -> Self {
        let zones = site.zones.iter().enumerate();
        let zones = zones.filter_map(|(index, zone)| {
            Some((DeviceId::Zone(index), zone.valve.as_ref()?.clone()))
        });
        let master = mqtt.master_valve.clone();
        let pump = mqtt.pump.clone();
        let valves = zones
            .chain(master.map(|valve| (DeviceId::Master, valve)))
            .chain(pump.map(|valve| (DeviceId::Pump, valve)));
        let mut this = Self {
            valves: valves.collect(),
            subscriptions: Vec::new(),
            readers: Vec::new(),
            timing: timing(mqtt),
            meter: mqtt.flow_meter.clone(),
        };
        this.gather_topics();
        this
    }

    /// One subscription a topic, however many devices report on it.
    fn gather_topics(&mut self) {
        let mut index: BTreeMap<String, usize> = BTreeMap::new();
        let mut place = |topic: &str, needed: bool, readers: &mut Vec<Readers>| {
            *index.entry(topic.to_owned()).or_insert_with(|| {
                let topic = topic.to_owned();
                self.subscriptions.push(Subscription { topic, needed });
                readers.push(Readers::default());
                readers.len() - 1
            })
        };
        let mut readers = Vec::new();
        for (id, valve) in &self.valves {
            if let Some(state) = &valve.state {
                let at = place(&state.topic, true, &mut readers);
                readers[at].positions.push((*id, state.clone()));
            }
        }
        if let Some(meter) = &self.meter {
            // A valve's topic that brings the flow as well stays needed.
            let at = place(&meter.topic, false, &mut readers);
            readers[at].meter = Some(meter::Gauge::new(meter.clone()));
        }
        self.readers = readers;
    }

    /// Other bounds than those of a real site: for a demonstration, whose
    /// clock runs faster than its network.
    pub fn set_timing(&mut self, timing: Timing) {
        self.timing = timing;
    }

    /// The topics to read.
    #[must_use]
    pub fn subscriptions(&self) -> &[Subscription] {
        &self.subscriptions
    }

    /// What can be read of [`Devices::subscriptions`]. Topics that come after
    /// them are not ours to judge.
    #[must_use]
    pub fn legible(&self) -> Legible {
        let readers = self.readers.clone();
        Legible::by(move |subscription, payload| {
            let readers = readers.get(subscription);
            readers.is_none_or(|readers| readers.can_read(payload))
        })
    }

    /// Whether the daemon drives a device; a zone without a valve is watered
    /// by hand.
    #[must_use]
    pub fn is_driven(&self, id: DeviceId) -> bool {
        self.valves.contains_key(&id)
    }

    /// How a device acts and answers; one that is not driven is silent.
    #[must_use]
    pub fn device(&self, id: DeviceId) -> Device {
        let valve = self.valves.get(&id);
        Device {
            actuation: match valve.map(|valve| valve.acts) {
                Some(Acts::Latching) => Actuation::Latching,
                Some(Acts::SelfClosing) => Actuation::SelfClosing,
                Some(Acts::OnOff) | None => Actuation::OnOff,
            },
            feedback: match valve.and_then(|valve| valve.state.as_ref()) {
                Some(state) if state.echo.is_some() => Feedback::Echo,
                Some(_) => Feedback::Position,
                None => Feedback::Silent,
            },
        }
    }

    /// What the supervisor must know of the site.
    #[must_use]
    pub fn installation(&self, site: &Site) -> Installation {
        let zones = site.zones.iter().enumerate();
        let zones = zones.map(|(index, zone)| ZoneDevice {
            device: self.device(DeviceId::Zone(index)),
            flow: MeterFlow::from(zone.sprinkler.flow),
            rest: span(zone.runs.soak_time),
        });
        let driven = |id| self.is_driven(id).then(|| self.device(id));
        let longest = site.zones.iter().map(|zone| span(zone.runs.longest)).max();
        Installation {
            zones: zones.collect(),
            master: driven(DeviceId::Master),
            pump: driven(DeviceId::Pump).map(|device| PumpDevice {
                device,
                start_delay: site.supply.pump_start_delay.map_or(Duration::ZERO, span),
            }),
            supply: MeterFlow::from(site.supply.flow),
            meter: self.meter.as_ref().map(|meter| {
                let least = Flow::from_l_per_min(meter.least_l_per_min);
                Meter::new(span(meter.interval), MeterFlow::from(least))
            }),
            timing: self.timing,
            others: OthersWhenFaulted::default(),
            longest_run: longest.unwrap_or_default(),
        }
    }

    /// The message that carries out an order; none for a device that is not
    /// driven. `issued_at` is the wall clock now.
    #[must_use]
    pub fn parcel(&self, order: Order, issued_at: DateTime<Utc>) -> Option<Parcel> {
        let valve = self.valves.get(&order.device)?;
        let (template, quality) = match order.command {
            Command::Open { .. } => (&valve.open, Quality::AtMostOnce),
            Command::Close => (&valve.close, Quality::AtLeastOnce),
        };
        let facts = self.facts(order, issued_at);
        let payload = template.filled(&facts).into_bytes();
        Some(Parcel {
            topic: valve.command_topic.clone(),
            payload,
            quality,
            retain: false,
        })
    }

    /// The numbers of a command.
    fn facts(&self, order: Order, issued_at: DateTime<Utc>) -> CommandFacts {
        let (run_time, valid_for) = match order.command {
            // However long the order is good for: a device that opens late
            // stays open late.
            Command::Open {
                run_time,
                valid_for,
            } => (run_time, valid_for.min(self.timing.most_delay)),
            Command::Close => (Duration::ZERO, Duration::ZERO),
        };
        CommandFacts {
            id: order.id.0,
            run_time,
            issued_at,
            valid_for,
        }
    }

    /// Hands an order to the link; nothing for a device that is not driven.
    ///
    /// # Errors
    /// [`SendError`]; the valve will not hear of it.
    pub fn send(&self, link: &Link, order: Order, now: Now) -> Result<(), SendError> {
        let Some(parcel) = self.parcel(order, now.utc) else {
            return Ok(());
        };
        match order.command {
            Command::Open { valid_for, .. } => {
                let valve = self.valves.get(&order.device);
                let text = valve.map(|valve| OpenText {
                    template: valve.open.clone(),
                    facts: self.facts(order, now.utc),
                });
                let expires = now.moment.after(valid_for);
                link.open(order.device, OpenCommand { parcel, text }, expires)
            }
            Command::Close => link.close(order.device, parcel),
        }
    }

    /// What a message says of the devices, as far as it can be believed: not
    /// what the broker had stored, and not what waited longer than the
    /// supervisor reckons with.
    pub fn read(&mut self, message: &Message, now: Moment) -> Vec<Reading> {
        let is_late = now.since(message.received) > self.timing.most_delay;
        if message.stored || is_late {
            return Vec::new();
        }
        match self.readers.get_mut(message.subscription) {
            Some(readers) => readers.read(&message.payload, message.received),
            None => Vec::new(),
        }
    }
}

/// The supervisor's bounds, as the link can keep them.
fn timing(mqtt: &Mqtt) -> Timing {
    let usual = Timing::default();
    let times = LinkTimes {
        keep_alive: span(mqtt.keep_alive),
        ..LinkTimes::default()
    }
    .rounded(from_site::version(mqtt));
    let most_delay = times.most_delay().max(usual.most_delay);
    Timing {
        most_delay,
        open_bound: usual.open_bound.max(most_delay * 2),
        // A report without an echo needs four travel times to be proof.
        close_bound: usual.close_bound.max(most_delay * 4),
        ..usual
    }
}

/// The loader lets no negative span through.
pub(super) fn span(delta: TimeDelta) -> Duration {
    delta.to_std().unwrap_or_default()
}
