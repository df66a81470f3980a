//! Supervisor, devices, link and simulated valves together at a real broker:
//! what the valves do is judged by the water, not by what they say.

#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

use std::sync::Arc;
use std::time::{Duration, Instant};

use soakmist::clock::{Clock, SystemClock};
use soakmist::mqtt::{Arrival, Devices, Link, Order, Reading, Settings};
use soakmist::simulator::{Fault, SimulatedSite, Simulator};
use soakmist::site::{Mqtt, Site, load};
use soakmist::valve::{
    Action, Alarm, DeviceId, Event, FinishedRun, Installation, JournalEntry, OpenOrder, Recovery,
    RunId, Supervisor, Timing,
};

use crate::link::mosquitto::Mosquitto;

const RELAYS: &str = include_str!("../../config/valve-relay-board.toml");
const COUNTDOWN: &str = include_str!("../../config/valve-countdown.toml");
const METER: &str = include_str!("../../config/valve-flow-meter.toml");
const ZONE: DeviceId = DeviceId::Zone(0);
const PATIENCE: Duration = Duration::from_secs(20);

/// Short bounds, still far above what a broker on this machine needs.
fn timing() -> Timing {
    Timing {
        repeat: Duration::from_millis(250),
        repeat_most: Duration::from_secs(1),
        open_bound: Duration::from_millis(1500),
        close_bound: Duration::from_millis(2500),
        most_delay: Duration::from_millis(400),
        link_grace: Duration::from_secs(10),
        stop_bound: Duration::from_secs(3),
    }
}

/// A daemon in small: it carries out what the supervisor says.
struct Rig {
    simulator: Simulator,
    link: Link,
    devices: Devices,
    supervisor: Supervisor,
    raised: Vec<Alarm>,
    finished: Vec<FinishedRun>,
    is_ready: bool,
    unconfirmed: Option<Vec<DeviceId>>,
}

fn site_of(text: &str) -> (Site, Mqtt) {
    // A meter that reports each second, for tests that end.
    let text = text.replace("interval = \"5 s\"", "interval = \"1 s\"");
    let site = load(&text, "site.toml").unwrap().site;
    let mut mqtt = site.mqtt.clone().unwrap();
    (mqtt.login, mqtt.tls) = (None, None);
    mqtt.host = "127.0.0.1".into();
    (site, mqtt)
}

impl Rig {
    fn start(text: &str, port: u16) -> Self {
        let (mut site, mut mqtt) = site_of(text);
        site.supply.pump_start_delay = Some(chrono::TimeDelta::milliseconds(200));
        mqtt.port = port;
        let clock: Arc<dyn Clock> = Arc::new(SystemClock);
        let simulated = SimulatedSite::of(&site, &mqtt, clock.now().moment);
        let look = Duration::from_millis(20);
        let simulator = Simulator::start(simulated, port, Arc::clone(&clock), look);
        let mut devices = Devices::of(&site, &mqtt);
        devices.set_timing(timing());
        let folder = std::path::Path::new("");
        let settings = Settings::of(&mqtt, devices.subscriptions(), folder, |_| None).unwrap();
        let installation = with_quick_meter(devices.installation(&site));
        Self {
            simulator,
            link: Link::start(settings, clock),
            devices,
            supervisor: Supervisor::new(Arc::new(installation)).unwrap(),
            raised: Vec::new(),
            finished: Vec::new(),
            is_ready: false,
            unconfirmed: None,
        }
    }

    fn step(&mut self, event: Event) {
        let now = SystemClock.now();
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
                    // What is not sent now is repeated or given up.
                    let _ = self.devices.send(&self.link, order, now);
                }
                Action::Raise(alarm) => self.raised.push(alarm),
                Action::Journal(JournalEntry::Finished(run)) => self.finished.push(run),
                Action::Ready => self.is_ready = true,
                Action::Stopped { unconfirmed } => self.unconfirmed = Some(unconfirmed),
                Action::Journal(_) | Action::Clear(_) | Action::Refused { .. } => {}
            }
        }
    }

    /// Goes on until something holds, or fails.
    async fn until(&mut self, what: &str, holds: impl Fn(&Self) -> bool) {
        let begun = Instant::now();
        while !holds(self) {
            assert!(
                begun.elapsed() < PATIENCE,
                "not {what}; raised {:?}, {:?}, {:?}",
                self.raised,
                self.link.status(),
                self.supervisor.known().fleet
            );
            tokio::select! {
                arrival = self.link.next() => self.take(arrival),
                () = tokio::time::sleep(Duration::from_millis(20)) => self.step(Event::Tick),
            }
        }
    }

    fn take(&mut self, arrival: Arrival) {
        match arrival {
            Arrival::Up => self.step(Event::LinkUp),
            Arrival::Down(_) => self.step(Event::LinkDown),
            Arrival::Message(message) => {
                for reading in self.devices.read(&message, SystemClock.now().moment) {
                    match reading {
                        Reading::Report(id, report) => self.step(Event::Report(id, report)),
                        Reading::Flow(flow) => self.step(Event::Flow(flow)),
                        Reading::Unclear { text } => panic!("not understood: {text}"),
                    }
                }
            }
        }
    }

    async fn ready(&mut self) {
        self.step(Event::Start(Recovery::default()));
        self.until("ready", |rig| rig.is_ready).await;
    }

    fn order(&mut self, run: u64, duration: Duration) {
        self.step(Event::Open(OpenOrder {
            run: RunId(run),
            zone: 0,
            duration,
            issued: SystemClock.now().moment,
            valid_for: Duration::from_secs(5),
        }));
    }

    fn is_open(&self, id: DeviceId) -> bool {
        self.simulator
            .with(|site| site.valve(id).unwrap().is_open())
    }

    fn open_for(&self) -> Duration {
        let now = SystemClock.now().moment;
        self.simulator
            .with(|site| site.valve(ZONE).unwrap().open_for(now))
    }

    fn water_l(&self) -> f64 {
        self.simulator.with(|site| site.water_l(0))
    }
}

/// A meter whose readings count at once.
fn with_quick_meter(mut installation: Installation) -> Installation {
    if let Some(meter) = &mut installation.meter {
        meter.settle = Duration::from_millis(300);
        meter.persist = Duration::from_millis(1200);
    }
    installation
}

/// What was booked as applied must hold the truth between its bounds.
fn assert_booked(rig: &Rig) {
    let run = rig.finished.last().unwrap();
    let truth = rig.open_for();
    let slack = Duration::from_millis(30);
    assert!(
        run.applied.least <= truth + slack && truth <= run.applied.most + slack,
        "open for {truth:?}, booked {:?}",
        run.applied
    );
}

async fn waters_and_closes(text: &str) {
    let broker = Mosquitto::start();
    waters_and_closes_at(text, broker.port).await;
}

async fn waters_and_closes_at(text: &str, port: u16) {
    let mut rig = Rig::start(text, port);
    rig.ready().await;
    rig.order(1, Duration::from_secs(2));
    rig.until("open", |rig| rig.is_open(ZONE)).await;
    rig.until("finished", |rig| !rig.finished.is_empty()).await;
    assert!(!rig.is_open(ZONE));
    let open_for = rig.open_for();
    let span = Duration::from_millis(1900)..Duration::from_millis(2700);
    assert!(span.contains(&open_for), "{open_for:?}");
    assert_booked(&rig);
    assert!(rig.water_l() > 0.0);
    assert_eq!(rig.raised, []);
    rig.step(Event::Shutdown);
    rig.until("stopped", |rig| rig.unconfirmed.is_some()).await;
    assert_eq!(rig.unconfirmed, Some(Vec::new()));
    rig.link.stop().await;
    rig.simulator.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_relay_board_behind_a_master_valve_waters_for_the_time_it_is_told() {
    waters_and_closes(RELAYS).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn countdown_valves_with_a_pump_water_for_the_time_they_are_told() {
    waters_and_closes(COUNTDOWN).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn latching_valves_with_a_meter_water_for_the_time_they_are_told() {
    waters_and_closes(METER).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_deaf_valve_is_an_alarm_and_nothing_is_opened() {
    let broker = Mosquitto::start();
    let mut rig = Rig::start(RELAYS, broker.port);
    rig.simulator.with(|site| site.set_fault(ZONE, Fault::Deaf));
    rig.step(Event::Start(Recovery::default()));
    rig.until("alarmed", |rig| {
        rig.raised.contains(&Alarm::NotClosing(ZONE))
    })
    .await;
    assert!(!rig.is_ready);
    rig.order(1, Duration::from_secs(2));
    assert!(!rig.is_open(DeviceId::Master));
    // It is told on, and once it hears, all is well.
    rig.simulator.with(|site| site.set_fault(ZONE, Fault::None));
    rig.until("ready", |rig| rig.is_ready).await;
    rig.link.stop().await;
    rig.simulator.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_sticks_is_an_alarm_and_the_master_valve_stops_the_water() {
    let broker = Mosquitto::start();
    let mut rig = Rig::start(RELAYS, broker.port);
    rig.ready().await;
    rig.simulator
        .with(|site| site.set_fault(ZONE, Fault::Stuck));
    rig.order(1, Duration::from_secs(1));
    rig.until("alarmed", |rig| {
        rig.raised.contains(&Alarm::NotClosing(ZONE))
    })
    .await;
    rig.until("shut by the master valve", |rig| {
        !rig.is_open(DeviceId::Master)
    })
    .await;
    assert!(rig.is_open(ZONE));
    let water_l = rig.water_l();
    tokio::time::sleep(Duration::from_millis(300)).await;
    assert!((rig.water_l() - water_l).abs() < 1e-9);
    rig.link.stop().await;
    rig.simulator.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_lies_is_given_away_by_the_meter() {
    let broker = Mosquitto::start();
    let mut rig = Rig::start(METER, broker.port);
    rig.ready().await;
    rig.simulator
        .with(|site| site.set_fault(ZONE, Fault::Lying));
    rig.order(1, Duration::from_secs(60));
    rig.until("given away", |rig| rig.raised.contains(&Alarm::DrySupply))
        .await;
    rig.until("given up", |rig| !rig.finished.is_empty()).await;
    rig.link.stop().await;
    rig.simulator.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_valve_that_opens_by_itself_is_shut_and_told() {
    let broker = Mosquitto::start();
    let mut rig = Rig::start(RELAYS, broker.port);
    rig.ready().await;
    // Reports soon after a closing may be late ones.
    let quiet = Instant::now() + timing().most_delay * 3;
    rig.until("quiet", |_| Instant::now() > quiet).await;
    rig.simulator.open_by_itself(ZONE);
    rig.until("told", |rig| {
        rig.raised.contains(&Alarm::OpenedItself(ZONE))
    })
    .await;
    rig.until("shut", |rig| !rig.is_open(ZONE)).await;
    rig.link.stop().await;
    rig.simulator.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_burst_and_a_leak_are_found_by_the_meter() {
    let broker = Mosquitto::start();
    let mut rig = Rig::start(METER, broker.port);
    rig.ready().await;
    rig.simulator.with(|site| site.set_leak(5.0));
    rig.until("found", |rig| rig.raised.contains(&Alarm::Leak))
        .await;
    rig.simulator.with(|site| site.set_leak(0.0));
    rig.until("over", |rig| {
        !rig.supervisor.known().alarms.contains(Alarm::Leak)
            && rig.supervisor.known().fleet.all_closed()
    })
    .await;
    rig.simulator.with(|site| site.set_zone_flow(0, 45.0));
    rig.order(1, Duration::from_secs(60));
    rig.until("found", |rig| rig.raised.contains(&Alarm::Burst(0)))
        .await;
    rig.until("shut", |rig| !rig.is_open(ZONE)).await;
    rig.link.stop().await;
    rig.simulator.stop().await;
}

/// Broker and daemon are out of reach of each other while a valve is open.
#[tokio::test(flavor = "multi_thread")]
async fn a_countdown_valve_closes_without_a_broker_and_is_found_closed_later() {
    let mut broker = Mosquitto::start();
    let mut rig = Rig::start(COUNTDOWN, broker.port);
    rig.ready().await;
    rig.order(1, Duration::from_secs(2));
    rig.until("open", |rig| rig.is_open(ZONE)).await;
    broker.kill();
    rig.until("closed by itself", |rig| !rig.is_open(ZONE))
        .await;
    let open_for = rig.open_for();
    assert!(open_for <= Duration::from_millis(2050), "{open_for:?}");
    broker.restart();
    rig.until("booked", |rig| !rig.finished.is_empty()).await;
    assert_booked(&rig);
    rig.link.stop().await;
    rig.simulator.stop().await;
}

/// The broker dies while a plain relay is open and comes back after the
/// deadline: it is closed as soon as it can be reached.
#[tokio::test(flavor = "multi_thread")]
async fn a_relay_is_closed_as_soon_as_the_broker_is_back() {
    let mut broker = Mosquitto::start();
    let mut rig = Rig::start(RELAYS, broker.port);
    rig.ready().await;
    rig.order(1, Duration::from_secs(1));
    rig.until("open", |rig| rig.is_open(ZONE)).await;
    broker.kill();
    let past = Instant::now() + Duration::from_millis(1500);
    rig.until("past the deadline", |_| Instant::now() > past)
        .await;
    assert!(rig.is_open(ZONE));
    broker.restart();
    rig.until("closed", |rig| !rig.is_open(ZONE)).await;
    rig.until("booked", |rig| !rig.finished.is_empty()).await;
    assert_booked(&rig);
    rig.link.stop().await;
    rig.simulator.stop().await;
}

/// The eight zones of the cricket ground, with master valve, pump and meter.
#[tokio::test(flavor = "multi_thread")]
async fn the_whole_ground_waters_for_the_time_it_is_told() {
    waters_and_closes(include_str!("../../config/harrowmere.toml")).await;
}

/// The demonstration needs no broker: it brings its own.
#[cfg(feature = "demo")]
#[tokio::test(flavor = "multi_thread")]
async fn the_embedded_broker_is_enough_to_water() {
    let broker = soakmist::simulator::EmbeddedBroker::start().await.unwrap();
    for text in [COUNTDOWN, METER, RELAYS] {
        waters_and_closes_at(text, broker.port()).await;
    }
}
