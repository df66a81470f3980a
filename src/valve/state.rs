//! The state of one device and its only transition function.

use std::time::Duration;

use super::alarm::{Alarm, AlarmSet};
use super::closing::{self, Closing};
use super::command::{
    Action, Command, CommandId, FinishCause, JournalEntry, OpenOrder, Position, Refusal, Report,
    RunId,
};
use super::device::{Device, DeviceId, Feedback};
use super::lease::Lease;
use super::moment::Moment;
use super::opening;
use super::timing::Timing;

/// Where a device is, as far as can be known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ValveState {
    /// Confirmed closed.
    Closed {
        /// The closing that was confirmed.
        command: CommandId,
        /// No new run before this.
        rest_until: Option<Moment>,
        /// A report of open before this may be a late one.
        wary_until: Option<Moment>,
    },
    /// Confirmed closed, and to be opened as soon as the supply is ready.
    Waiting {
        /// The closing that was confirmed.
        command: CommandId,
        /// A report of open before this may be a late one.
        wary_until: Option<Moment>,
        /// What waits.
        order: OpenOrder,
    },
    /// The open command was sent.
    Opening {
        /// The opening.
        lease: Lease,
        /// When to send it again.
        next_send: Moment,
        /// It is not sent from here on.
        valid_until: Moment,
    },
    /// Confirmed open, until the deadline.
    Open {
        /// The opening.
        lease: Lease,
    },
    /// To be closed, not confirmed.
    Closing {
        /// The opening that it ends, if it was open.
        lease: Option<Lease>,
        /// How far it got.
        closing: Closing,
    },
    /// The bound has passed without a confirmation; closing goes on.
    Faulted {
        /// The opening that should have ended.
        lease: Option<Lease>,
        /// How far it got.
        closing: Closing,
    },
}

/// What can happen to one device.
#[derive(Debug, Clone, Copy)]
pub(super) enum Input {
    Wait(OpenOrder),
    Open {
        run: Option<RunId>,
        deadline: Moment,
        valid_until: Moment,
    },
    Renew(Moment),
    Close(FinishCause),
    CloseAgain(FinishCause),
    /// The open command of this number is on its way.
    Sent(CommandId),
    Report(Report),
    Tick,
    LinkUp,
    LinkDown,
}

/// What a transition needs to know and where its actions go.
pub(super) struct Context<'a> {
    pub(super) now: Moment,
    pub(super) id: DeviceId,
    pub(super) device: Device,
    pub(super) rest: Duration,
    pub(super) timing: &'a Timing,
    pub(super) link_up: bool,
    pub(super) last_command: &'a mut CommandId,
    pub(super) alarms: &'a mut AlarmSet,
    pub(super) actions: &'a mut Vec<Action>,
    /// Set when the device becomes faulted.
    pub(super) faulted: bool,
}

impl Context<'_> {
    pub(super) fn new_command(&mut self) -> CommandId {
        self.last_command.0 += 1;
        *self.last_command
    }

    pub(super) fn publish(&mut self, id: CommandId, command: Command) {
        self.actions.push(Action::Publish {
            device: self.id,
            id,
            command,
        });
    }

    pub(super) fn publish_open(&mut self, id: CommandId, deadline: Moment, valid_until: Moment) {
        let command = Command::Open {
            run_time: deadline.since(self.now),
            valid_for: valid_until.since(self.now),
        };
        self.publish(id, command);
    }

    pub(super) fn journal_intent(
        &mut self,
        id: CommandId,
        opens: Option<(RunId, Duration)>,
        to: Position,
    ) {
        self.actions.push(Action::Journal(JournalEntry::Intent {
            id,
            device: self.id,
            opens,
            position: to,
            at: self.now,
        }));
    }

    pub(super) fn journal_confirmed(&mut self, id: CommandId, position: Position) {
        self.actions.push(Action::Journal(JournalEntry::Confirmed {
            id,
            device: self.id,
            position,
            at: self.now,
        }));
    }
}

impl ValveState {
    /// The state in which every device begins: to be closed, whatever the
    /// journal says, since nobody watched it meanwhile.
    pub(super) fn at_start(lease: Option<Lease>, ctx: &mut Context) -> Self {
        let heed_from = ctx.now.after(ctx.timing.most_delay * 2);
        closing::begin(lease, (FinishCause::Restart, ctx.now, heed_from), ctx)
    }

    /// Whether it is confirmed closed.
    #[must_use]
    pub const fn is_closed(&self) -> bool {
        matches!(self, Self::Closed { .. } | Self::Waiting { .. })
    }

    /// Whether it is meant to be open or about to be.
    #[must_use]
    pub const fn is_wanted_open(&self) -> bool {
        matches!(
            self,
            Self::Waiting { .. } | Self::Opening { .. } | Self::Open { .. }
        )
    }

    /// From when on another run may have its place and its water if all goes
    /// well; none while its own run has not begun, and when it is faulted.
    #[must_use]
    pub const fn free_at(&self) -> Option<Moment> {
        match self {
            Self::Closed { rest_until, .. } => *rest_until,
            Self::Closing { closing, .. } => Some(closing.since),
            Self::Opening { lease, .. } | Self::Open { lease } => Some(lease.deadline),
            Self::Waiting { .. } | Self::Faulted { .. } => None,
        }
    }

    /// When a tick can next change something, if ever.
    pub(super) fn due(&self, link_up: bool, timing: &Timing) -> Option<Moment> {
        match self {
            Self::Closed {
                rest_until,
                wary_until,
                ..
            } => [*rest_until, *wary_until].into_iter().flatten().min(),
            Self::Waiting { order, .. } => Some(order.expires()),
            Self::Opening {
                lease,
                next_send,
                valid_until,
            } => {
                let given_up = lease.sent.after(timing.open_bound).min(lease.deadline);
                let send = (next_send < valid_until).then_some(*next_send);
                [Some(given_up), send].into_iter().flatten().min()
            }
            Self::Open { lease } => Some(lease.deadline),
            Self::Closing { lease, closing } => {
                let fault = closing.fault_at(lease.is_some(), timing);
                let send = link_up.then_some(closing.next_send);
                [fault, send].into_iter().flatten().min()
            }
            Self::Faulted { closing, .. } => link_up.then_some(closing.next_send),
        }
    }

    /// The only way from one state to another.
    pub(super) fn step(self, input: Input, ctx: &mut Context) -> Self {
        match (self, input) {
            (
                Self::Closed {
                    command,
                    wary_until,
                    ..
                },
                Input::Wait(order),
            ) => Self::Waiting {
                command,
                wary_until,
                order,
            },
            (
                Self::Closed { .. } | Self::Waiting { .. },
                Input::Open {
                    run,
                    deadline,
                    valid_until,
                },
            ) => opening::begin(run, deadline, valid_until, ctx),
            (Self::Open { lease }, Input::Renew(deadline)) => opening::renew(lease, deadline, ctx),
            (_, Input::Close(cause)) => self.close(cause, ctx),
            (_, Input::CloseAgain(cause)) => self.close_again(cause, ctx),
            // One that never says anything is taken at its word from here.
            (Self::Opening { lease, .. }, Input::Sent(command))
                if ctx.device.feedback == Feedback::Silent && command == lease.command =>
            {
                opening::confirmed(lease, ctx)
            }
            (_, Input::Report(report)) => self.report(report, ctx),
            (_, Input::Tick) => self.tick(ctx),
            (Self::Opening { .. }, Input::LinkDown) => self.close(FinishCause::LinkLost, ctx),
            (_, Input::LinkUp) => self.link_up(ctx),
            (
                _,
                Input::Wait(_)
                | Input::Open { .. }
                | Input::Renew(_)
                | Input::Sent(_)
                | Input::LinkDown,
            ) => self,
        }
    }

    fn close(self, cause: FinishCause, ctx: &mut Context) -> Self {
        match self {
            Self::Waiting {
                command,
                wary_until,
                order,
            } => {
                ctx.actions.push(Action::Refused {
                    run: order.run,
                    refusal: Refusal::Ended,
                });
                Self::Closed {
                    command,
                    rest_until: None,
                    wary_until: wary_until.filter(|until| *until > ctx.now),
                }
            }
            Self::Opening { lease, .. } | Self::Open { lease } => {
                let heed_from = lease.heed_from(ctx.timing);
                closing::begin(Some(lease), (cause, ctx.now, heed_from), ctx)
            }
            Self::Closed { .. } | Self::Closing { .. } | Self::Faulted { .. } => self,
        }
    }

    /// Closes even what is confirmed closed: something says otherwise.
    fn close_again(self, cause: FinishCause, ctx: &mut Context) -> Self {
        match self.close(cause, ctx) {
            Self::Closed { .. } => {
                let heed_from = ctx.now.after(ctx.timing.most_delay);
                closing::begin(None, (cause, ctx.now, heed_from), ctx)
            }
            state => state,
        }
    }

    fn link_up(self, ctx: &mut Context) -> Self {
        match self {
            // A closing may have been lost with the connection: say it again.
            Self::Closed { command, .. } | Self::Waiting { command, .. } => {
                ctx.publish(command, Command::Close);
                self
            }
            Self::Closing { lease, closing } => closing::tick(lease, closing.hurried(ctx), ctx),
            Self::Faulted { lease, closing } => {
                closing::tick_faulted(lease, closing.hurried(ctx), ctx)
            }
            Self::Opening { .. } | Self::Open { .. } => self,
        }
    }

    fn tick(self, ctx: &mut Context) -> Self {
        let passed = |moment: Option<Moment>| moment.filter(|moment| *moment > ctx.now);
        match self {
            Self::Closed {
                command,
                rest_until,
                wary_until,
            } => Self::Closed {
                command,
                rest_until: passed(rest_until),
                wary_until: passed(wary_until),
            },
            Self::Waiting {
                order,
                command,
                wary_until,
            } if ctx.now >= order.expires() => {
                ctx.actions.push(Action::Refused {
                    run: order.run,
                    refusal: Refusal::Late,
                });
                Self::Closed {
                    command,
                    rest_until: None,
                    wary_until: passed(wary_until),
                }
            }
            Self::Opening {
                lease,
                next_send,
                valid_until,
            } => opening::tick(lease, next_send, valid_until, ctx),
            Self::Open { lease } if ctx.now >= lease.deadline => {
                self.close(FinishCause::Deadline, ctx)
            }
            Self::Closing { lease, closing } => closing::tick(lease, closing, ctx),
            Self::Faulted { lease, closing } => closing::tick_faulted(lease, closing, ctx),
            Self::Waiting { .. } | Self::Open { .. } => self,
        }
    }

    fn report(self, report: Report, ctx: &mut Context) -> Self {
        match (self, report.position) {
            (Self::Opening { lease, .. }, Position::Open)
                if is_fresh(report, lease.command, ctx) =>
            {
                opening::confirmed(lease, ctx)
            }
            (Self::Open { lease }, Position::Closed)
                if proves_closed(report, lease.command, lease.heed_from(ctx.timing), ctx) =>
            {
                closing::early(lease, ctx)
            }
            // Too early to be believed, or by an old number: it may be a late
            // one, or the device has lost power.
            (Self::Open { lease }, Position::Closed) => {
                let lease = lease.doubted();
                if ctx.now > lease.heed_from(ctx.timing) {
                    return closing::early(lease, ctx);
                }
                Self::Open { lease }
            }
            (
                Self::Closing { lease, closing } | Self::Faulted { lease, closing },
                Position::Closed,
            ) if proves_closed(report, closing.command, closing.heed_from, ctx) => {
                self.closed(lease, closing, ctx)
            }
            (
                Self::Closing {
                    lease: Some(lease),
                    closing,
                },
                Position::Closed,
            ) if is_of_before(report, lease, ctx) => Self::Closing {
                lease: Some(lease.doubted()),
                closing,
            },
            (
                Self::Faulted {
                    lease: Some(lease),
                    closing,
                },
                Position::Closed,
            ) if is_of_before(report, lease, ctx) => Self::Faulted {
                lease: Some(lease.doubted()),
                closing,
            },
            // Whatever number it gives: one that lost power counts anew.
            (
                Self::Closed {
                    command,
                    wary_until,
                    ..
                }
                | Self::Waiting {
                    command,
                    wary_until,
                    ..
                },
                Position::Open,
            ) => {
                let may_be_late = wary_until.is_some_and(|until| ctx.now < until)
                    && (ctx.device.feedback != Feedback::Echo
                        || report.echo.is_some_and(|echo| echo < command));
                self.opened_itself(may_be_late, ctx)
            }
            _ => self,
        }
    }

    /// A closing is proven: the next round of it, or the end.
    fn closed(self, lease: Option<Lease>, closing: Closing, ctx: &mut Context) -> Self {
        if closing.rounds_left == 0 {
            return closing::confirmed(lease, closing, ctx);
        }
        let closing = closing.next_round(ctx);
        match self {
            Self::Faulted { .. } => Self::Faulted { lease, closing },
            _ => Self::Closing { lease, closing },
        }
    }

    /// It says that it is open. A report that may be a late one is answered
    /// with a closing and no more: it might tell of a device that lost power
    /// and came back open, and tell so once only.
    fn opened_itself(self, may_be_late: bool, ctx: &mut Context) -> Self {
        // An order that waits is refused: the valve must be shut first.
        let state = self.close(FinishCause::OpenedItself, ctx);
        if may_be_late {
            return state.close_again(FinishCause::OpenedItself, ctx);
        }
        ctx.alarms.raise(Alarm::OpenedItself(ctx.id), ctx.actions);
        let began = ctx.now.before(ctx.timing.most_delay);
        let lease = Lease {
            seen_open: Some(ctx.now),
            ..Lease::new(None, CommandId::default(), began)
        };
        let heed_from = ctx.now.after(ctx.timing.most_delay);
        let why = (FinishCause::OpenedItself, ctx.now, heed_from);
        closing::begin(Some(lease), why, ctx)
    }
}

/// Whether a report tells of the time after `command`, as far as it shows.
fn is_fresh(report: Report, command: CommandId, ctx: &Context) -> bool {
    match ctx.device.feedback {
        Feedback::Echo => report.echo.is_some_and(|echo| echo >= command),
        Feedback::Position => true,
        Feedback::Silent => false,
    }
}

/// Whether a report gives a number from before an opening that was confirmed:
/// it is a late one, or the device has lost power since.
fn is_of_before(report: Report, lease: Lease, ctx: &Context) -> bool {
    ctx.device.feedback == Feedback::Echo && !is_fresh(report, lease.command, ctx)
}

/// Whether a report of closed proves that the device closed after `command`.
/// Without an echo it does when it cannot stem from before.
fn proves_closed(report: Report, command: CommandId, heed_from: Moment, ctx: &Context) -> bool {
    is_fresh(report, command, ctx) && (ctx.device.feedback == Feedback::Echo || ctx.now > heed_from)
}
