//! Devices as they are in the ground, and the wire between them and us. What
//! they do is what the checker believes; what they say may be false.

use std::time::Duration;

use soakmist::valve::{Actuation, Command, CommandId, Device, Feedback, Moment, Position, Report};

/// Length of one step of model time.
pub const TICK: Duration = Duration::from_secs(1);

/// A moment in model time.
pub fn moment(tick: u8) -> Moment {
    Moment::from_millis(u64::from(tick) * 1000 + 100_000)
}

pub fn ticks(span: Duration) -> u8 {
    u8::try_from(span.as_secs()).unwrap_or(u8::MAX)
}

/// What is wrong with a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Fault {
    None,
    /// Stays as it is once it is open, and says nothing more.
    Deaf,
    /// Stays as it is once it is open, and says that it has closed.
    Lying,
    /// May open by itself.
    OpensItself,
    /// May miss a closing pulse, and says that it has closed.
    MissesPulse,
    /// May lose power and come back open, its last number forgotten.
    BootsOpen,
    /// May lose power and come back closed, its last number forgotten.
    BootsClosed,
}

/// A device in the ground.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Ground {
    pub nature: Device,
    pub fault: Fault,
    pub open: bool,
    /// The last command carried out.
    pub last: CommandId,
    /// What a device that loses power knows of it afterwards.
    pub stored: CommandId,
    /// When a self-closing device closes.
    pub lease_end: Option<u8>,
    /// The open command under which water flowed first, since when, and for
    /// how long before that.
    pub flowing: Option<Flowing>,
}

/// An account of the water let through under one open command.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Flowing {
    pub command: CommandId,
    pub since: Option<u8>,
    pub total: u8,
}

impl Ground {
    pub fn new(nature: Device, fault: Fault) -> Self {
        Self {
            nature,
            fault,
            open: false,
            last: CommandId::default(),
            stored: CommandId::default(),
            lease_end: None,
            flowing: None,
        }
    }

    /// Whether what it says is what it is, and it does what it is told.
    pub fn is_sound(&self) -> bool {
        matches!(
            self.fault,
            Fault::None | Fault::OpensItself | Fault::BootsOpen | Fault::BootsClosed
        )
    }

    /// Whether it may be open without a command.
    pub fn opens_alone(&self) -> bool {
        matches!(self.fault, Fault::OpensItself | Fault::BootsOpen)
    }

    /// Carries out a command; the report that it gives. `slips` is a closing
    /// pulse that moves nothing.
    pub fn obey(
        &mut self,
        id: CommandId,
        command: Command,
        now: u8,
        slips: bool,
    ) -> Option<Report> {
        let heeds_order = self.nature.feedback == Feedback::Echo;
        if heeds_order && id < self.last {
            return Some(self.says());
        }
        if self.open && self.fault == Fault::Deaf {
            return None;
        }
        if self.boots() && id != self.last {
            self.stored = self.last;
        }
        self.last = id;
        if self.open && self.fault == Fault::Lying {
            return Some(Report {
                position: Position::Closed,
                echo: Some(id),
            });
        }
        match command {
            Command::Open { run_time, .. } => self.begin(id, run_time, now),
            Command::Close if slips => {
                return Some(Report {
                    position: Position::Closed,
                    echo: Some(id),
                });
            }
            Command::Close => self.shut(now),
        }
        Some(self.says())
    }

    fn begin(&mut self, id: CommandId, run_time: Duration, now: u8) {
        if self.nature.actuation == Actuation::SelfClosing {
            self.lease_end = Some(now.saturating_add(ticks(run_time)));
        }
        if !self.open {
            self.open = true;
            let total = match self.flowing {
                Some(flowing) if flowing.command == id => flowing.total,
                _ => 0,
            };
            self.flowing = Some(Flowing {
                command: id,
                since: Some(now),
                total,
            });
        }
    }

    pub fn shut(&mut self, now: u8) {
        self.open = false;
        self.lease_end = None;
        if let Some(flowing) = &mut self.flowing
            && let Some(since) = flowing.since.take()
        {
            flowing.total += now - since;
        }
    }

    /// Opens without a command.
    pub fn open_itself(&mut self) -> Report {
        self.open = true;
        self.says()
    }

    pub fn boots(&self) -> bool {
        matches!(self.fault, Fault::BootsOpen | Fault::BootsClosed)
    }

    /// Loses power and comes back, with no number or the one before the last.
    /// Its countdown is gone.
    pub fn reboot(&mut self, knows_number: bool, now: u8) -> Report {
        self.last = match knows_number {
            true => self.stored,
            false => CommandId::default(),
        };
        self.lease_end = None;
        match self.fault {
            Fault::BootsClosed => self.shut(now),
            _ => self.open = true,
        }
        self.says()
    }

    pub fn says(&self) -> Report {
        Report {
            position: if self.open {
                Position::Open
            } else {
                Position::Closed
            },
            echo: (self.nature.feedback == Feedback::Echo).then_some(self.last),
        }
    }
}

/// Messages one way, oldest first, each with the tick of its sending.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Wire<T>(pub Vec<(u8, T)>);

impl<T> Default for Wire<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}
