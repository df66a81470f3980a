//! The link: one connection after another, for weeks.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::{Notify, watch};
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep};

use super::backoff::{Backoff, throw};
use super::inbox::{Arrival, Inbox};
use super::outbox::{OpenCommand, Outbox, Outgoing, Parcel, SendError};
use super::session::{Outcome, Session, stopped};
use super::settings::Settings;
use super::status::{Counters, DownReason, LinkState, LinkStatus};
use super::wire::Deliver;
use crate::clock::Clock;
use crate::valve::{DeviceId, Moment};

/// So many connections closed by the broker, each soon after it came up …
const SUSPICIOUS_CLOSINGS: usize = 3;
/// … within this look like another client with our id.
const SUSPICIOUS_SPAN: Duration = Duration::from_secs(60);

/// What the link's task and its owner share. Each lock is held for a few
/// lines and never over an await.
pub(super) struct Shared {
    pub(super) settings: Settings,
    clock: Arc<dyn Clock>,
    outbox: Mutex<Outbox>,
    /// Rung by the owner, heard by the session.
    pub(super) outbox_changed: Notify,
    inbox: Arc<InboxAndBell>,
    state: Mutex<State>,
}

/// The inbox and its bell: rung by the polling task and the link, heard by
/// the owner.
struct InboxAndBell {
    inbox: Mutex<Inbox>,
    changed: Notify,
}

struct State {
    now: LinkState,
    connections: u64,
    sent: u64,
    refused_topics: Vec<String>,
}

fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // What a panicking holder left behind is whole: none of the sections
    // that hold a lock can stop half-way.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    pub(super) fn outbox(&self) -> MutexGuard<'_, Outbox> {
        locked(&self.outbox)
    }

    fn now(&self) -> Moment {
        self.clock.now().moment
    }

    /// The next parcel whose moment has not passed.
    pub(super) fn next_parcel(&self) -> Option<Outgoing> {
        let parcel = self.outbox().next(self.now())?;
        locked(&self.state).sent += 1;
        Some(parcel)
    }

    /// Puts each message of a connection into the inbox.
    pub(super) fn deliver(&self) -> Deliver {
        let inbox = Arc::clone(&self.inbox);
        let clock = Arc::clone(&self.clock);
        Arc::new(move |topic, payload, stored| {
            let received = clock.now().moment;
            locked(&inbox.inbox).push(topic, payload, (stored, received));
            inbox.changed.notify_one();
        })
    }

    /// The link is up.
    pub(super) fn up(&self, refused_topics: Vec<String>) {
        for topic in &refused_topics {
            tracing::warn!(topic, "the broker does not let us read this topic");
        }
        {
            let mut state = locked(&self.state);
            state.now = LinkState::Up { since: self.now() };
            state.connections += 1;
            state.refused_topics = refused_topics;
        }
        self.outbox().set_connected(true);
        locked(&self.inbox.inbox).up();
        self.inbox.changed.notify_one();
        tracing::info!(host = self.settings.host, "the broker is connected");
    }

    /// The link is down. Told once per reason, not once per attempt.
    fn down(&self, reason: DownReason) {
        self.outbox().set_connected(false);
        let down = LinkState::Down {
            reason: reason.clone(),
        };
        {
            let mut state = locked(&self.state);
            if state.now == down {
                return;
            }
            state.now = down;
        }
        if reason == DownReason::Stopped {
            tracing::info!("the broker is disconnected");
        } else {
            tracing::warn!(error = %reason, "the broker is not connected");
        }
        locked(&self.inbox.inbox).down(reason);
        self.inbox.changed.notify_one();
    }
}

/// A link to a broker that keeps itself up.
pub struct Link {
    shared: Arc<Shared>,
    stop: watch::Sender<bool>,
    task: JoinHandle<()>,
}

impl Link {
    /// Starts to connect, on the runtime of the caller. `clock` tells the
    /// age of commands.
    #[must_use]
    pub fn start(mut settings: Settings, clock: Arc<dyn Clock>) -> Self {
        settings.times = settings.times.rounded(settings.version);
        let inbox = Inbox::new(&settings.subscriptions, settings.legible.clone());
        let (stop, stopped) = watch::channel(false);
        let reason = DownReason::Starting;
        let shared = Arc::new(Shared {
            outbox: Mutex::new(Outbox::new(settings.times.command)),
            outbox_changed: Notify::new(),
            inbox: Arc::new(InboxAndBell {
                inbox: Mutex::new(inbox),
                changed: Notify::new(),
            }),
            state: Mutex::new(State {
                now: LinkState::Down { reason },
                connections: 0,
                sent: 0,
                refused_topics: Vec::new(),
            }),
            settings,
            clock,
        });
        let task = tokio::spawn(keep_up(Arc::clone(&shared), stopped));
        Self { shared, stop, task }
    }

    /// Takes a command to open, to be sent before `expires` or never.
    ///
    /// # Errors
    /// [`SendError`]; nothing of it will be sent then.
    pub fn open(
        &self,
        device: DeviceId,
        command: impl Into<OpenCommand>,
        expires: Moment,
    ) -> Result<(), SendError> {
        let now = self.shared.now();
        self.shared.outbox().open(device, command, expires, now)?;
        self.shared.outbox_changed.notify_one();
        Ok(())
    }

    /// Takes a command to close, to be sent as soon as it can be.
    ///
    /// # Errors
    /// [`SendError::TooLarge`].
    pub fn close(&self, device: DeviceId, parcel: Parcel) -> Result<(), SendError> {
        self.shared.outbox().close(device, parcel)?;
        self.shared.outbox_changed.notify_one();
        Ok(())
    }

    /// Takes a report for people and programs.
    ///
    /// # Errors
    /// [`SendError`].
    pub fn report(&self, parcel: Parcel) -> Result<(), SendError> {
        self.shared.outbox().report(parcel)?;
        self.shared.outbox_changed.notify_one();
        Ok(())
    }

    /// Waits for the next thing to be told. One reader at a time; nothing is
    /// lost when the wait is given up.
    pub async fn next(&self) -> Arrival {
        loop {
            let arrival = locked(&self.shared.inbox.inbox).pop();
            if let Some(arrival) = arrival {
                return arrival;
            }
            self.shared.inbox.changed.notified().await;
        }
    }

    /// What the link does and what it counted.
    #[must_use]
    pub fn status(&self) -> LinkStatus {
        let counted = locked(&self.shared.inbox.inbox).counted;
        let expired = self.shared.outbox().expired();
        let state = locked(&self.shared.state);
        LinkStatus {
            state: state.now.clone(),
            counters: Counters {
                connections: state.connections,
                received: counted.received,
                crowded_out: counted.crowded_out,
                oversize: counted.oversize,
                unasked: counted.unasked,
                sent: state.sent,
                expired,
            },
            refused_topics: state.refused_topics.clone(),
        }
    }

    /// Whether the link's task still runs; it ends only by [`Link::stop`] or
    /// by a fault of ours.
    #[must_use]
    pub fn is_running(&self) -> bool {
        !self.task.is_finished()
    }

    /// Sends what waits, says that we are gone, disconnects: about 2 s at
    /// most.
    pub async fn stop(self) {
        // Nobody listens when the task has died.
        let _ = self.stop.send(true);
        if let Err(error) = self.task.await {
            tracing::error!(%error, "the link's task failed");
        }
    }
}

async fn keep_up(shared: Arc<Shared>, mut stop: watch::Receiver<bool>) {
    let times = shared.settings.times;
    let mut backoff = Backoff::new(times.pause, times.pause_most, times.healthy);
    let mut closings = Closings::default();
    let mut attempts = 0_u64;
    loop {
        let Outcome { reason, up_for } = Session::run(&shared, stop.clone()).await;
        let reason = closings.judged(reason, up_for);
        let is_refused = reason.is_refusal();
        shared.down(reason);
        attempts += 1;
        let pause = backoff.after(up_for, is_refused, throw(attempts));
        tokio::select! {
            () = sleep(pause) => {}
            () = stopped(&mut stop) => break,
        }
    }
    shared.down(DownReason::Stopped);
}

/// Connections that the broker closed soon after they came up.
#[derive(Default)]
struct Closings(VecDeque<Instant>);

impl Closings {
    fn judged(&mut self, reason: DownReason, up_for: Duration) -> DownReason {
        if reason != DownReason::Closed || up_for.is_zero() || up_for > SUSPICIOUS_SPAN / 3 {
            return reason;
        }
        let now = Instant::now();
        self.0.push_back(now);
        while self
            .0
            .front()
            .is_some_and(|first| now - *first > SUSPICIOUS_SPAN)
        {
            self.0.pop_front();
        }
        if self.0.len() >= SUSPICIOUS_CLOSINGS {
            DownReason::ClosedAgain
        } else {
            reason
        }
    }
}
