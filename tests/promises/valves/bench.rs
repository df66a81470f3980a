//! A supervisor driven by hand, with devices that answer at once.

use std::sync::Arc;
use std::time::Duration;

use soakmist::units::Flow;
use soakmist::valve::{
    Action, Actuation, Alarm, Command, Device, DeviceId, Event, Feedback, FinishedRun,
    Installation, JournalEntry, MeterFlow, Moment, OpenOrder, OthersWhenFaulted, Position,
    Recovery, Refusal, Report, RunId, Supervisor, Timing, ZoneDevice,
};

pub const ECHO: Device = Device {
    actuation: Actuation::OnOff,
    feedback: Feedback::Echo,
};

pub fn seconds(seconds: u64) -> Duration {
    Duration::from_secs(seconds)
}

pub fn litres(l_per_min: f64) -> MeterFlow {
    MeterFlow::from(Flow::from_l_per_min(l_per_min))
}

/// The practice ground of Harrowmere: three zones, a supply for two.
pub fn practice_ground() -> Installation {
    let zone = |l_per_min| ZoneDevice {
        device: ECHO,
        flow: litres(l_per_min),
        rest: seconds(60),
    };
    Installation {
        zones: vec![zone(20.0), zone(25.0), zone(30.0)],
        master: Some(ECHO),
        pump: None,
        supply: litres(50.0),
        meter: None,
        timing: Timing::default(),
        others: OthersWhenFaulted::Hold,
        longest_run: seconds(3600),
    }
}

/// Drives a supervisor by hand. Devices that answer do so at once.
pub struct Bench {
    pub supervisor: Supervisor,
    pub now: Moment,
    pub deaf: Vec<DeviceId>,
    /// Openings wait for the disk, and are not sent.
    pub slow_disk: bool,
    pub done: Vec<Action>,
    runs: u64,
}

impl Bench {
    pub fn new(installation: Installation) -> Self {
        let supervisor = Supervisor::new(Arc::new(installation)).expect("a sound installation");
        Self {
            supervisor,
            now: Moment::from_millis(1_000_000),
            deaf: Vec::new(),
            slow_disk: false,
            done: Vec::new(),
            runs: 0,
        }
    }

    pub fn started(installation: Installation) -> Self {
        let mut bench = Self::new(installation);
        bench.tell(Event::Start(Recovery::default()));
        bench.tell(Event::LinkUp);
        bench.wait(seconds(10));
        assert!(bench.done.contains(&Action::Ready));
        bench.done.clear();
        bench
    }

    pub fn started_slowly(installation: Installation) -> Self {
        let mut bench = Self::new(installation);
        bench.tell(Event::Start(Recovery::default()));
        bench.tell(Event::LinkUp);
        bench.wait(seconds(19));
        assert!(bench.done.contains(&Action::Ready));
        bench.done.clear();
        bench
    }

    pub fn tell(&mut self, event: Event) {
        let actions = self.supervisor.step(event, self.now);
        self.done.extend(actions.iter().cloned());
        for action in actions {
            let Action::Publish {
                device,
                id,
                command,
            } = action
            else {
                continue;
            };
            let opens = matches!(command, Command::Open { .. });
            if opens && self.slow_disk {
                continue;
            }
            if opens {
                self.tell(Event::Sent(device, id));
            }
            if !self.deaf.contains(&device) {
                let position = match command {
                    Command::Open { .. } => Position::Open,
                    Command::Close => Position::Closed,
                };
                let echo = Some(id);
                self.tell(Event::Report(device, Report { position, echo }));
            }
        }
    }

    /// Lets time pass, with a tick at each instant at which one is due.
    pub fn wait(&mut self, span: Duration) {
        let end = self.now.after(span);
        while let Some(due) = self.supervisor.next_due().filter(|due| *due <= end) {
            assert!(
                due > self.now,
                "due at {due:?}, which is past at {:?}",
                self.now
            );
            self.now = due;
            self.tell(Event::Tick);
        }
        self.now = end;
    }

    pub fn order(&mut self, zone: usize, duration: Duration) -> RunId {
        self.runs += 1;
        let run = RunId(self.runs);
        self.tell(Event::Open(OpenOrder {
            run,
            zone,
            duration,
            issued: self.now,
            valid_for: seconds(30),
        }));
        run
    }

    pub fn read_meter(&mut self, flow: MeterFlow, span: Duration) {
        for _ in 0..span.as_secs() {
            self.wait(seconds(1));
            self.tell(Event::Flow(flow));
        }
    }

    pub fn refusal(&self, run: RunId) -> Option<Refusal> {
        self.done.iter().find_map(|action| match action {
            Action::Refused { run: r, refusal } if *r == run => Some(*refusal),
            _ => None,
        })
    }

    pub fn finished(&self, run: RunId) -> Option<FinishedRun> {
        self.done.iter().find_map(|action| match action {
            Action::Journal(JournalEntry::Finished(f)) if f.run == Some(run) => Some(*f),
            _ => None,
        })
    }

    pub fn place(&self, wanted: impl Fn(&Action) -> bool) -> Option<usize> {
        self.done.iter().position(wanted)
    }

    pub fn opened(&self, id: DeviceId) -> Option<usize> {
        self.place(|action| {
            matches!(action, Action::Publish { device, command: Command::Open { .. }, .. } if *device == id)
        })
    }

    pub fn has_alarm(&self, alarm: Alarm) -> bool {
        self.supervisor.known().alarms.contains(alarm)
    }
}
