//! Closing a device: sent at once, repeated until confirmed, faulted after a
//! bound, and then repeated on.

use super::alarm::Alarm;
use super::command::{
    Action, Command, CommandId, FinishCause, FinishedRun, JournalEntry, Position,
};
use super::device::{DeviceId, Feedback};
use super::lease::Lease;
use super::moment::Moment;
use super::state::{Context, ValveState};
use super::timing::Timing;

/// Closings after which a device that says nothing is taken as closed.
const SILENT_CLOSINGS: u8 = 3;

/// A closing that is not confirmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Closing {
    /// Its command.
    pub command: CommandId,
    /// Why.
    pub cause: FinishCause,
    /// The device may have been open at least until here.
    pub held_until: Moment,
    /// When the closing began.
    pub since: Moment,
    /// When its command was first sent.
    pub first_sent: Option<Moment>,
    /// When to send it again.
    pub next_send: Moment,
    /// How often it was sent (stays at 255).
    pub attempts: u8,
    /// A report without an echo counts after this.
    pub heed_from: Moment,
    /// How many more closings follow once this one is confirmed.
    pub rounds_left: u8,
}

impl Closing {
    /// When it becomes a fault. A device that may be open has the bound from
    /// the beginning; one that is only to be checked, from the first sending,
    /// so that a start without a broker is one alarm and not one a valve.
    pub(super) fn fault_at(&self, may_be_open: bool, timing: &Timing) -> Option<Moment> {
        let from = if may_be_open {
            Some(self.since)
        } else {
            self.first_sent
        };
        from.map(|from| from.after(timing.close_bound))
    }

    /// To be sent at once, and the pauses begin anew.
    pub(super) fn hurried(self, ctx: &Context) -> Self {
        Self {
            next_send: ctx.now,
            attempts: 0,
            ..self
        }
    }

    /// The same again under a new number, so that a report on the last one
    /// does not count for this one.
    pub(super) fn next_round(self, ctx: &mut Context) -> Self {
        let mut next = Self {
            command: ctx.new_command(),
            rounds_left: self.rounds_left - 1,
            heed_from: ctx.now.after(ctx.timing.most_delay),
            ..self.hurried(ctx)
        };
        next.send_when_due(false, ctx);
        next
    }

    fn send_when_due(&mut self, faulted: bool, ctx: &mut Context) {
        if !ctx.link_up || ctx.now < self.next_send {
            return;
        }
        ctx.publish(self.command, Command::Close);
        self.first_sent.get_or_insert(ctx.now);
        self.attempts = self.attempts.saturating_add(1);
        self.next_send = ctx.now.after(ctx.timing.pause(self.attempts, faulted));
    }

    fn is_taken_as_closed(&self, ctx: &Context) -> bool {
        ctx.device.feedback == Feedback::Silent
            && self.attempts >= SILENT_CLOSINGS
            && ctx.now >= self.next_send
    }
}

/// Begins a closing: why, until when the device may have been open at least,
/// and from when a report without an echo counts.
pub(super) fn begin(
    lease: Option<Lease>,
    (cause, held_until, heed_from): (FinishCause, Moment, Moment),
    ctx: &mut Context,
) -> ValveState {
    let mut closing = Closing {
        command: ctx.new_command(),
        cause,
        held_until,
        since: ctx.now,
        first_sent: None,
        next_send: ctx.now,
        attempts: 0,
        heed_from,
        rounds_left: ctx.device.actuation.further_closings(),
    };
    // Unlike an opening, a closing goes out before it is written down: it
    // must not wait for a slow disk, and sending it twice harms nobody.
    closing.send_when_due(false, ctx);
    ctx.journal_intent(closing.command, None, Position::Closed);
    ValveState::Closing { lease, closing }
}

/// The device says that it closed before it was told. It is told all the
/// same: a late copy of the open command might open it again.
pub(super) fn early(lease: Lease, ctx: &mut Context) -> ValveState {
    let held_until = ctx.now.before(ctx.timing.most_delay);
    let cause = if ctx.now.after(ctx.timing.most_delay) >= lease.deadline {
        FinishCause::Deadline
    } else {
        FinishCause::ClosedItself
    };
    begin(
        Some(lease),
        (cause, held_until, lease.heed_from(ctx.timing)),
        ctx,
    )
}

/// Time passes while a device closes.
pub(super) fn tick(lease: Option<Lease>, mut closing: Closing, ctx: &mut Context) -> ValveState {
    if closing.is_taken_as_closed(ctx) {
        return confirmed(lease, closing, ctx);
    }
    closing.send_when_due(false, ctx);
    let bound = closing.fault_at(lease.is_some(), ctx.timing);
    if bound.is_some_and(|bound| ctx.now >= bound) {
        ctx.alarms.raise(Alarm::NotClosing(ctx.id), ctx.actions);
        ctx.faulted = true;
        return ValveState::Faulted { lease, closing };
    }
    ValveState::Closing { lease, closing }
}

/// Time passes while a device is faulted.
pub(super) fn tick_faulted(
    lease: Option<Lease>,
    mut closing: Closing,
    ctx: &mut Context,
) -> ValveState {
    if closing.is_taken_as_closed(ctx) {
        return confirmed(lease, closing, ctx);
    }
    closing.send_when_due(true, ctx);
    ValveState::Faulted { lease, closing }
}

/// The closing is confirmed; what was applied is written down.
pub(super) fn confirmed(lease: Option<Lease>, closing: Closing, ctx: &mut Context) -> ValveState {
    ctx.journal_confirmed(closing.command, Position::Closed);
    if let (Some(lease), DeviceId::Zone(zone)) = (lease, ctx.id) {
        let span = (closing.held_until, ctx.now);
        ctx.actions
            .push(Action::Journal(JournalEntry::Finished(FinishedRun {
                run: lease.run,
                zone,
                applied: lease.applied(span, ctx.device, ctx.timing),
                cause: closing.cause,
                at: ctx.now,
            })));
    }
    ctx.alarms.clear(Alarm::NotClosing(ctx.id), ctx.actions);
    let rest = lease.map(|_| ctx.now.after(ctx.rest));
    ValveState::Closed {
        command: closing.command,
        rest_until: rest.filter(|until| *until > ctx.now),
        wary_until: Some(ctx.now.after(ctx.timing.most_delay * 2)),
    }
}
