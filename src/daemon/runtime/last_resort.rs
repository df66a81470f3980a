//! Closing every valve without the control loop: when it has failed, when
//! there is no state to run it on, or while that is still being read.

use std::sync::Arc;
use std::time::Duration;

use tokio::time::sleep;

use super::manager;
use crate::clock::Clock;
use crate::daemon::timekeeping::first_command;
use crate::mqtt::{Arrival, Devices, Link, LinkState, Order, Reading};
use crate::site::{Mqtt, Site};
use crate::valve::{
    self, Action, Begun, CommandId, DeviceId, Installation, Moment, Recovery, Supervisor,
};

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
        let Some(mut closing) = Closing::begin(&self, link) else {
            let devices = self.installation.devices();
            return devices.map(|(id, _)| id).collect();
        };
        let mut events = vec![valve::Event::Shutdown];
        loop {
            if let Some(unconfirmed) = closing.take(events) {
                return unconfirmed;
            }
            events = closing.hear().await;
        }
    }

    /// The same for as long as something else takes, however long.
    pub(super) async fn close_during<T>(
        self,
        link: &Link,
        mut work: impl Future<Output = T> + Unpin,
    ) -> (T, Closed) {
        let Some(mut closing) = Closing::begin(&self, link) else {
            return (work.await, Closed::default());
        };
        loop {
            manager::starting();
            tokio::select! {
                done = &mut work => return (done, closing.closed()),
                events = closing.hear() => { closing.take(events); }
            }
        }
    }
}

/// What was done before the state was read.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Closed {
    /// The highest number of a command.
    last_command: CommandId,
    /// When the first closing went out, if any did.
    sent: Option<Moment>,
}

impl Closed {
    /// What the loop must know of it: numbers that were used, and that a run
    /// in progress was probably open until then.
    pub(super) fn note(self, recovery: &mut Recovery) {
        recovery.last_command = recovery.last_command.max(self.last_command);
        for run in &mut recovery.unfinished {
            if let Begun::SameBoot { closing, .. } = &mut run.begun {
                *closing = closing.or(self.sent);
            }
        }
    }
}

/// A closing of everything, under way.
struct Closing<'a> {
    supervisor: Supervisor,
    devices: Devices,
    link: &'a Link,
    clock: &'a dyn Clock,
    sent: Option<Moment>,
}

impl<'a> Closing<'a> {
    /// None for an installation that cannot be supervised.
    fn begin(resort: &'a LastResort, link: &'a Link) -> Option<Self> {
        let supervisor = Supervisor::new(Arc::clone(&resort.installation)).ok()?;
        let mut devices = Devices::of(resort.site, resort.mqtt);
        devices.set_timing(resort.installation.timing);
        let clock = resort.clock.as_ref();
        let recovery = Recovery {
            last_command: resort.above.max(first_command(clock.now().utc)),
            ..Recovery::default()
        };
        let mut closing = Self {
            supervisor,
            devices,
            link,
            clock,
            sent: None,
        };
        let mut events = vec![valve::Event::Start(recovery)];
        if matches!(link.status().state, LinkState::Up { .. }) {
            events.push(valve::Event::LinkUp);
        }
        closing.take(events);
        Some(closing)
    }

    /// Takes what has happened; at the end, which devices have not confirmed.
    fn take(&mut self, events: Vec<valve::Event>) -> Option<Vec<DeviceId>> {
        for event in events {
            let now = self.clock.now();
            for action in self.supervisor.step(event, now.moment) {
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
                        let _ = self.devices.send(self.link, order, now);
                        self.sent.get_or_insert(now.moment);
                    }
                    Action::Stopped { unconfirmed } => return Some(unconfirmed),
                    _ => {}
                }
            }
        }
        None
    }

    /// Waits until something happens. Nothing is lost when that is given up.
    async fn hear(&mut self) -> Vec<valve::Event> {
        tokio::select! {
            arrival = self.link.next() => heard(arrival, &mut self.devices, self.clock),
            () = sleep(TICK) => vec![valve::Event::Tick],
        }
    }

    fn closed(&self) -> Closed {
        Closed {
            last_command: self.supervisor.known().last_command,
            sent: self.sent,
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
