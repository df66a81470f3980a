//! One connection from its first to its last byte: connect, subscribe, say
//! that we are there, serve, take leave.

use std::collections::VecDeque;
use std::time::Duration;

use tokio::sync::watch;
use tokio::time::{Instant, sleep_until, timeout, timeout_at};

use super::link::Shared;
use super::outbox::{Outgoing, Parcel, Quality};
use super::settings::{Settings, Subscription, TOPICS_AT_ONCE};
use super::status::DownReason;
use super::wire::{WINDOW, Wire, WireEvent};

/// A farewell is said within this, or not at all.
const FAREWELL: Duration = Duration::from_secs(2);

/// So much of that is left to the broker for what it must acknowledge: a
/// local network takes milliseconds.
const ACKNOWLEDGED: Duration = Duration::from_millis(500);

/// How a connection came out.
pub(super) struct Outcome {
    /// Why it ended.
    pub(super) reason: DownReason,
    /// How long it was up.
    pub(super) up_for: Duration,
}

/// One connection.
pub(super) struct Session<'a> {
    shared: &'a Shared,
    wire: Wire,
    /// Messages given to the library and not written yet.
    given: usize,
    /// When the next of them must be written.
    write_due: Option<Instant>,
    /// Messages that the broker must acknowledge and has not yet.
    unacknowledged: usize,
    /// When the answer to a ping must be there.
    pong_due: Option<Instant>,
    /// Since when the link is up.
    up_since: Option<Instant>,
}

impl<'a> Session<'a> {
    /// Runs one connection to its end.
    pub(super) async fn run(shared: &'a Shared, stop: watch::Receiver<bool>) -> Outcome {
        let mut session = Self {
            shared,
            wire: Wire::open(&shared.settings, shared.deliver()),
            given: 0,
            unacknowledged: 0,
            write_due: None,
            pong_due: None,
            up_since: None,
        };
        let mut stop_before_up = stop.clone();
        let begun = tokio::select! {
            begun = session.begin() => begun,
            () = stopped(&mut stop_before_up) => Err(DownReason::Stopped),
        };
        let reason = match begun {
            Err(reason) => reason,
            Ok(refused) => {
                session.up_since = Some(Instant::now());
                // Before the owner hears of it: what it tells on the topic of
                // our presence comes after this.
                session.announce();
                shared.up(refused);
                session.serve(stop).await
            }
        };
        Outcome {
            reason,
            up_for: session.up_since.map_or(Duration::ZERO, |up| up.elapsed()),
        }
    }

    fn settings(&self) -> &'a Settings {
        &self.shared.settings
    }

    /// Connects and subscribes; the topics that we may not read and can do
    /// without.
    async fn begin(&mut self) -> Result<Vec<String>, DownReason> {
        // The library has its own bound on connecting; this one is for the
        // case that it does not keep it.
        let connect = self.settings().times.connect * 2;
        self.wait_for(connect, "the connection", |event| {
            matches!(event, WireEvent::Connected).then_some(())
        })
        .await?;
        let mut refused = Vec::new();
        for topics in self.settings().subscriptions.chunks(TOPICS_AT_ONCE) {
            self.subscribe(topics, &mut refused).await?;
        }
        Ok(refused)
    }

    /// A SUBSCRIBE shares its numbers with messages, so none is sent before
    /// its answer.
    async fn subscribe(
        &mut self,
        topics: &[Subscription],
        refused: &mut Vec<String>,
    ) -> Result<(), DownReason> {
        self.wire.subscribe(topics)?;
        let bound = self.settings().times.subscribe;
        let granted = self
            .wait_for(bound, "the answer to a subscription", |event| match event {
                WireEvent::Subscribed(granted) => Some(granted),
                _ => None,
            })
            .await?;
        if granted.len() != topics.len() {
            let what = "an answer to another subscription than ours";
            return Err(DownReason::Nonsense(what.to_owned()));
        }
        for (topic, _) in topics.iter().zip(granted).filter(|(_, granted)| !granted) {
            if topic.needed {
                return Err(DownReason::TopicRefused(topic.topic.clone()));
            }
            refused.push(topic.topic.clone());
        }
        Ok(())
    }

    /// The next event that `wanted` takes, within a bound.
    async fn wait_for<T>(
        &mut self,
        bound: Duration,
        what: &'static str,
        wanted: impl Fn(WireEvent) -> Option<T>,
    ) -> Result<T, DownReason> {
        let due = Instant::now() + bound;
        loop {
            let event = timeout_at(due, self.wire.events.recv()).await;
            match event.map_err(|_| DownReason::TimedOut(what))? {
                Some(WireEvent::Ended(reason)) => return Err(ended(reason)),
                Some(event) => {
                    if let Some(found) = wanted(event) {
                        return Ok(found);
                    }
                }
                None => return Err(ended_without_a_word()),
            }
        }
    }

    /// Sends and watches until the end.
    async fn serve(&mut self, mut stop: watch::Receiver<bool>) -> DownReason {
        loop {
            if let Err(reason) = self.hand_over() {
                return reason;
            }
            let due = [self.write_due, self.pong_due].into_iter().flatten().min();
            // Nothing due: woken by an event long before this.
            let due = due.unwrap_or_else(|| Instant::now() + Duration::from_secs(3600));
            tokio::select! {
                event = self.wire.events.recv() => {
                    if let Some(reason) = self.take(event) {
                        return reason;
                    }
                }
                () = self.shared.outbox_changed.notified() => {}
                () = sleep_until(due) => {
                    if let Some(reason) = self.overdue() {
                        return reason;
                    }
                }
                () = stopped(&mut stop) => return self.take_leave().await,
            }
        }
    }

    fn announce(&self) {
        let presence = &self.settings().presence;
        let parcel = presence_parcel(&presence.topic, &presence.online);
        if let Err(error) = self.shared.outbox().report(parcel) {
            tracing::warn!(%error, "presence cannot be announced");
        }
    }

    /// Gives the library what it can write now, and no more: what waits here
    /// can still be replaced or expire.
    fn hand_over(&mut self) -> Result<(), DownReason> {
        while self.given < WINDOW {
            let Some(next) = self.shared.next_parcel() else {
                return Ok(());
            };
            self.give(next)?;
        }
        Ok(())
    }

    fn give(&mut self, next: Outgoing) -> Result<(), DownReason> {
        let is_acknowledged = next.parcel.quality == Quality::AtLeastOnce;
        self.wire.publish(next.parcel, next.valid_for)?;
        self.unacknowledged += usize::from(is_acknowledged);
        self.given += 1;
        let due = Instant::now() + self.settings().times.write;
        self.write_due.get_or_insert(due);
        Ok(())
    }

    /// Takes an event; the reason when it ends the connection.
    fn take(&mut self, event: Option<WireEvent>) -> Option<DownReason> {
        let Some(event) = event else {
            return Some(ended_without_a_word());
        };
        match event {
            WireEvent::Written => {
                self.given = self.given.saturating_sub(1);
                let next = Instant::now() + self.settings().times.write;
                self.write_due = (self.given > 0).then_some(next);
            }
            WireEvent::Acknowledged => {
                self.unacknowledged = self.unacknowledged.saturating_sub(1);
            }
            WireEvent::PingSent => {
                self.pong_due = Some(Instant::now() + self.settings().times.pong)
            }
            WireEvent::Pong => self.pong_due = None,
            WireEvent::Ended(reason) => return Some(ended(reason)),
            WireEvent::Connected | WireEvent::Subscribed(_) => {}
        }
        None
    }

    fn overdue(&self) -> Option<DownReason> {
        let now = Instant::now();
        let is_over = |due: Option<Instant>| due.is_some_and(|due| now >= due);
        if is_over(self.write_due) {
            return Some(DownReason::TimedOut("the writing of a message"));
        }
        is_over(self.pong_due).then_some(DownReason::TimedOut("the answer to a ping"))
    }

    /// Sends what waits, says that we are gone, and ends the connection.
    async fn take_leave(&mut self) -> DownReason {
        let presence = &self.settings().presence;
        let offline = presence_parcel(&presence.topic, &presence.offline);
        let mut last = VecDeque::from([Outgoing {
            parcel: offline,
            valid_for: None,
        }]);
        let leave = async {
            loop {
                while self.given < WINDOW {
                    let next = self.shared.next_parcel().or_else(|| last.pop_front());
                    let Some(next) = next else { break };
                    self.give(next)?;
                }
                if self.given == 0 {
                    break;
                }
                let event = self.wire.events.recv().await;
                if let Some(reason) = self.take(event) {
                    return Err(reason);
                }
            }
            // Closed with an acknowledgement unread, the connection would be
            // reset, and the broker take the farewell for a loss.
            let heard = async {
                while self.unacknowledged > 0 {
                    let event = self.wire.events.recv().await;
                    if let Some(reason) = self.take(event) {
                        return Err(reason);
                    }
                }
                Ok(())
            };
            // A broker that acknowledges nothing gets its farewell as well.
            timeout(ACKNOWLEDGED, heard).await.unwrap_or(Ok(()))?;
            self.wire.disconnect()?;
            while !matches!(
                self.wire.events.recv().await,
                None | Some(WireEvent::Ended(_))
            ) {}
            Ok::<(), DownReason>(())
        };
        // Whether it worked or not, this is the end; the last will covers it.
        match timeout(FAREWELL, leave).await {
            Ok(Ok(())) => DownReason::Stopped,
            Ok(Err(error)) => {
                tracing::debug!(%error, "no farewell to the broker");
                DownReason::Stopped
            }
            Err(_) => DownReason::Stopped,
        }
    }
}

/// Waits for the signal to stop; its sender gone is one.
pub(super) async fn stopped(stop: &mut watch::Receiver<bool>) {
    let _ = stop.wait_for(|stop| *stop).await;
}

fn presence_parcel(topic: &str, text: &str) -> Parcel {
    Parcel {
        topic: topic.to_owned(),
        payload: text.into(),
        quality: Quality::AtLeastOnce,
        retain: true,
    }
}

fn ended(reason: Option<DownReason>) -> DownReason {
    reason.unwrap_or(DownReason::Stopped)
}

fn ended_without_a_word() -> DownReason {
    DownReason::Nonsense("what makes the MQTT library fail".to_owned())
}
