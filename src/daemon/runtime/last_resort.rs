//! Closing every valve without the control loop: when it has failed, or when
//! there is no state to run it on.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::sleep;

use crate::clock::Clock;
use crate::daemon::timekeeping::first_command;
use crate::mqtt::{Arrival, Devices, Link, LinkState, Order, Reading};
use crate::site::{Mqtt, Site};
use crate::valve::{self, Action, CommandId, DeviceId, Installation, Recovery, Supervisor};

/// How often the supervisor is told the time, in real time.
const TICK: Duration = Duration::from_millis(100);

/// Everything that is needed to close valves.
pub struct LastResort<'a> {
    /// The site.
    pub site: &'a Site,
    /// Its broker.
    pub mqtt: &'a Mqtt,
    /// Its valves.
    pub installation: Arc<Installation>,
    /// A number that no command has had.
    pub above: CommandId,
    /// The time.
    pub clock: Arc<dyn Clock>,
}

impl LastResort<'_> {
    /// Tells every device to close, again and again, until all have confirmed
    /// or the bound for a stop is over; those that have not. A supervisor of
    /// its own does it, from nothing: everything counts as open.
    ///
    /// Nothing is written down: what runs were begun the next start finds in
    /// the journal, if there is one.
    pub async fn close(self, link: &Link) -> Vec<DeviceId> {
        let everything = || {
            let devices = self.installation.devices();
            devices.map(|(id, _)| id).collect()
        };
        let Ok(mut supervisor) = Supervisor::new(Arc::clone(&self.installation)) else {
            return everything();
        };
        let mut devices = Devices::of(self.site, self.mqtt);
        devices.set_timing(self.installation.timing);
        let last_command = self.above.max(first_command(self.clock.now().utc));
        let recovery = Recovery {
            last_command,
            ..Recovery::default()
        };
        let mut events = vec![valve::Event::Start(recovery), valve::Event::Shutdown];
        if matches!(link.status().state, LinkState::Up { .. }) {
            events.insert(1, valve::Event::LinkUp);
        }
        loop {
            for event in events.drain(..) {
                let now = self.clock.now();
                for action in supervisor.step(event, now.moment) {
                    match action {
                        Action::Publish {
                            device,
                            id,
                            command,
                        } => {
                            let order = Order {
                                device,
                                id,
                                command,
                            };
                            // What is not sent now is repeated.
                            let _ = devices.send(link, order, now);
                        }
                        Action::Stopped { unconfirmed } => return unconfirmed,
                        _ => {}
                    }
                }
            }
            tokio::select! {
                arrival = link.next() => events = heard(arrival, &mut devices, self.clock.as_ref()),
                () = sleep(TICK) => events.push(valve::Event::Tick),
            }
        }
    }
}

fn heard(arrival: Arrival, devices: &mut Devices, clock: &dyn Clock) -> Vec<valve::Event> {
    match arrival {
        Arrival::Up => vec![valve::Event::LinkUp],
        Arrival::Down(_) => vec![valve::Event::LinkDown],
        Arrival::Message(message) => {
            let readings = devices.read(&message, clock.now().moment);
            let reports = readings.into_iter().filter_map(|reading| match reading {
                Reading::Report(id, report) => Some(valve::Event::Report(id, report)),
                Reading::Flow(_) | Reading::Unclear { .. } => None,
            });
            reports.collect()
        }
    }
}
