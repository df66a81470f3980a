//! What the service manager (systemd) is told: ready, alive, reloading,
//! stopping. Without one nothing happens.

use std::time::Duration;

use sd_notify::NotifyState;
use tokio::time::Instant;

use crate::daemon::status::Status;

/// A start that goes on has at least so much time left.
const START_LEFT: Duration = Duration::from_secs(30);

/// The line to the service manager.
pub(super) struct Manager {
    /// The watchdog wants to hear of us so often.
    interval: Option<Duration>,
    last: Instant,
    status: String,
}

impl Manager {
    pub(super) fn new() -> Self {
        let asked = sd_notify::watchdog_enabled();
        Self {
            interval: asked.map(|within| within / 3),
            last: Instant::now(),
            status: String::new(),
        }
    }

    /// The loop runs; after [`reloading`] the site in force is the one that
    /// stays.
    pub(super) fn ready(&self) {
        tell(&[NotifyState::Ready]);
    }

    /// The loop has come round once more. Only the loop itself says so: when
    /// it hangs, the manager must notice.
    pub(super) fn alive(&mut self) {
        if self
            .interval
            .is_some_and(|most| self.last.elapsed() >= most)
        {
            self.last = Instant::now();
            tell(&[NotifyState::Watchdog]);
        }
    }

    /// How it stands, in a line.
    pub(super) fn status(&mut self, status: &Status) {
        let line = in_a_line(status);
        if self.status != line {
            tell(&[NotifyState::Status(&line)]);
            self.status = line;
        }
    }

    /// The process ends. Not to be said of valves that are closed for a new
    /// beginning: systemd would kill the process when its bound for a stop is
    /// over.
    pub(super) fn stopping(&self) {
        tell(&[NotifyState::Stopping]);
    }
}

/// The state is still being read: the bound for a start must not end it. May
/// be said often.
pub(super) fn starting() {
    let left = u32::try_from(START_LEFT.as_micros()).unwrap_or(u32::MAX);
    tell(&[NotifyState::ExtendTimeoutUsec(left)]);
}

/// The site file is being read again; [`Manager::ready`] ends it.
pub(super) fn reloading() {
    let now = NotifyState::monotonic_usec_now();
    let state = std::iter::once(NotifyState::Reloading).chain(now.ok());
    tell(&state.collect::<Vec<_>>());
}

fn tell(state: &[NotifyState]) {
    if let Err(error) = sd_notify::notify(state) {
        tracing::debug!(%error, "the service manager does not listen");
    }
}

fn in_a_line(status: &Status) -> String {
    let open = status.zones.iter().filter(|zone| zone.valve == "open");
    let open: Vec<&str> = open.map(|zone| zone.name.as_str()).collect();
    let valves = match open.as_slice() {
        [] => "all closed".to_owned(),
        open => format!("open: {}", open.join(", ")),
    };
    match status.alarms.len() {
        0 => format!("{}, {valves}", status.phase),
        alarms => format!("{}, {valves}, {alarms} alarms", status.phase),
    }
}
