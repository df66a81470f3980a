//! Opening a device: written down, sent, repeated while valid, given up after
//! a bound.

use super::alarm::Alarm;
use super::command::{FinishCause, Position, RunId};
use super::lease::Lease;
use super::moment::Moment;
use super::state::{Context, Input, ValveState};

/// Begins to open a device that is confirmed closed.
pub(super) fn begin(
    run: Option<RunId>,
    deadline: Moment,
    valid_until: Moment,
    ctx: &mut Context,
) -> ValveState {
    let command = ctx.new_command();
    let lease = Lease {
        deadline,
        ..Lease::new(run, command, ctx.now)
    };
    let opens = run.map(|run| (run, deadline.since(ctx.now)));
    ctx.journal_intent(command, opens, Position::Open);
    ctx.publish_open(command, deadline, valid_until);
    ValveState::Opening {
        lease,
        next_send: ctx.now.after(ctx.timing.repeat * 2),
        valid_until,
    }
}

/// Lets an open device stay open longer, by a new command: a device that
/// closes itself has to be told.
pub(super) fn renew(lease: Lease, deadline: Moment, ctx: &mut Context) -> ValveState {
    let command = ctx.new_command();
    ctx.journal_intent(command, None, Position::Open);
    ctx.publish_open(command, deadline, ctx.now.after(ctx.timing.open_bound));
    // The old number stays: a device that missed the new one still tells the
    // truth when it reports with the old.
    ValveState::Open {
        lease: Lease {
            deadline,
            last_sent: ctx.now,
            ..lease
        },
    }
}

/// Time passes while a device opens.
pub(super) fn tick(
    mut lease: Lease,
    mut next_send: Moment,
    valid_until: Moment,
    ctx: &mut Context,
) -> ValveState {
    let given_up = lease.sent.after(ctx.timing.open_bound).min(lease.deadline);
    if ctx.now >= given_up {
        ctx.alarms.raise(Alarm::NotOpening(ctx.id), ctx.actions);
        let opening = ValveState::Opening {
            lease,
            next_send,
            valid_until,
        };
        return opening.step(Input::Close(FinishCause::NotConfirmedOpen), ctx);
    }
    if ctx.now >= next_send && ctx.now < valid_until && ctx.link_up {
        ctx.publish_open(lease.command, lease.deadline, valid_until);
        lease.last_sent = ctx.now;
        next_send = ctx.now.after(ctx.timing.repeat * 2);
    }
    ValveState::Opening {
        lease,
        next_send,
        valid_until,
    }
}

/// The device says that it is open, or was told and never says anything.
pub(super) fn confirmed(lease: Lease, ctx: &mut Context) -> ValveState {
    ctx.journal_confirmed(lease.command, Position::Open);
    ctx.alarms.clear(Alarm::NotOpening(ctx.id), ctx.actions);
    ValveState::Open {
        lease: Lease {
            seen_open: Some(ctx.now),
            ..lease
        },
    }
}
