//! The simulated site on a broker.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::sleep;

use super::site::{Publication, SimulatedSite};
use super::valve::Reboot;
use crate::clock::Clock;
use crate::mqtt::{
    Arrival, Legible, Link, LinkTimes, Parcel, Presence, Quality, Settings, Subscription, Version,
};
use crate::valve::DeviceId;

/// A simulated site that runs on a broker.
pub struct Simulator {
    site: Arc<Mutex<SimulatedSite>>,
    clock: Arc<dyn Clock>,
    /// What the owner makes happen goes out at the next look.
    unsent: Arc<Mutex<Vec<Publication>>>,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

impl Simulator {
    /// Starts on the runtime of the caller, at the broker on this machine at
    /// `port`; looks at its clock every `look` of real time.
    #[must_use]
    pub fn start(site: SimulatedSite, port: u16, clock: Arc<dyn Clock>, look: Duration) -> Self {
        let topics = site.command_topics();
        let link = Link::start(settings(&topics, port), Arc::clone(&clock));
        let site = Arc::new(Mutex::new(site));
        let unsent = Arc::new(Mutex::new(Vec::new()));
        let (stop, stopped) = watch::channel(false);
        let service = Service {
            site: Arc::clone(&site),
            unsent: Arc::clone(&unsent),
            clock: Arc::clone(&clock),
            topics,
            link,
            look,
        };
        let task = tokio::spawn(service.run(stopped));
        Self {
            site,
            clock,
            unsent,
            stop,
            task,
        }
    }

    /// Looks at the site, or makes something happen there.
    pub fn with<T>(&self, act: impl FnOnce(&mut SimulatedSite) -> T) -> T {
        let mut site = self.site.lock().unwrap_or_else(PoisonError::into_inner);
        self.say(site.advance(self.clock.now()));
        act(&mut site)
    }

    /// A valve opens by itself.
    pub fn open_by_itself(&self, id: DeviceId) {
        let now = self.clock.now();
        let told = self.with(|site| site.open_by_itself(id, now));
        self.say(told);
    }

    /// A device loses power for a moment.
    pub fn reboot(&self, id: DeviceId, how: Reboot) {
        let now = self.clock.now();
        let told = self.with(|site| site.reboot(id, how, now));
        self.say(told);
    }

    /// At its next look.
    fn say(&self, told: Vec<Publication>) {
        self.unsent
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .extend(told);
    }

    /// Leaves the broker.
    pub async fn stop(self) {
        // Nobody listens when the task has died.
        let _ = self.stop.send(true);
        if let Err(error) = self.task.await {
            tracing::error!(%error, "the simulator's task failed");
        }
    }
}

fn settings(topics: &[String], port: u16) -> Settings {
    let topic = |topic: &String| Subscription {
        topic: topic.clone(),
        needed: true,
    };
    Settings {
        host: "127.0.0.1".to_owned(),
        port,
        version: Version::default(),
        client_id: "soakmist-simulator".to_owned(),
        login: None,
        tls: None,
        presence: Presence {
            topic: "soakmist-simulator/presence".to_owned(),
            online: "online".to_owned(),
            offline: "offline".to_owned(),
            lost: "offline".to_owned(),
        },
        subscriptions: topics.iter().map(topic).collect(),
        legible: Legible::default(),
        times: LinkTimes::default(),
    }
}

/// The one task of the simulator. Its locks are held for a few lines and
/// never over an await.
struct Service {
    site: Arc<Mutex<SimulatedSite>>,
    unsent: Arc<Mutex<Vec<Publication>>>,
    clock: Arc<dyn Clock>,
    topics: Vec<String>,
    link: Link,
    look: Duration,
}

impl Service {
    async fn run(self, mut stop: watch::Receiver<bool>) {
        loop {
            tokio::select! {
                arrival = self.link.next() => {
                    if let Arrival::Message(message) = arrival {
                        let topic = &self.topics[message.subscription];
                        let payload = String::from_utf8_lossy(&message.payload);
                        let now = self.clock.now();
                        let told = self.site().hear(topic, &payload, now);
                        self.publish(told);
                    }
                }
                () = sleep(self.look) => {
                    let told = self.site().advance(self.clock.now());
                    self.publish(told);
                }
                () = stopped(&mut stop) => break,
            }
        }
        self.link.stop().await;
    }

    fn site(&self) -> std::sync::MutexGuard<'_, SimulatedSite> {
        self.site.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn publish(&self, told: Vec<Publication>) {
        let mut unsent = self.unsent.lock().unwrap_or_else(PoisonError::into_inner);
        for Publication { topic, payload } in unsent.drain(..).chain(told) {
            let parcel = Parcel {
                topic,
                payload: payload.into_bytes(),
                quality: Quality::AtLeastOnce,
                retain: true,
            };
            if let Err(error) = self.link.report(parcel) {
                tracing::warn!(%error, "a simulated device cannot report");
            }
        }
    }
}

async fn stopped(stop: &mut watch::Receiver<bool>) {
    let _ = stop.wait_for(|stop| *stop).await;
}
