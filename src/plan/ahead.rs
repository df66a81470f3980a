//! The way of a zone without water, looked at once: a plan looks ahead for the
//! next need, and then goes the same way up to it.

use super::moment::{Bed, Moment, Stepped};

/// Steps that are remembered at most, a day of them: a plan of hundreds of
/// zones that look ahead for weeks would spend more on memory than on steps.
const REMEMBERED: usize = 288;

/// Steps without water from where a zone stands.
#[derive(Debug, Clone, Default)]
pub(super) struct Ahead {
    steps: Vec<Stepped>,
    /// Steps that the zone has gone already.
    gone: usize,
}

impl Ahead {
    /// The next step, where it was looked at and does not lead beyond `to`.
    pub fn go(&mut self, to: i64) -> Option<Stepped> {
        let step = self.steps.get(self.gone).filter(|step| step.after.at <= to);
        let step = step.copied();
        self.gone += usize::from(step.is_some());
        step
    }

    /// Forgets the way: the zone went another.
    pub fn forget(&mut self) {
        self.steps.clear();
        self.gone = 0;
    }

    /// The zone one step after `moment`, not beyond `to`. `count` steps led
    /// from where the zone stands to that moment.
    pub fn look(&mut self, bed: &Bed, moment: Moment, count: usize, to: i64) -> Moment {
        let index = self.gone + count;
        if let Some(known) = self.steps.get(index).filter(|step| step.after.at <= to) {
            return known.after;
        }
        let step = moment.step(bed, to, 0.0);
        // A step that `to` cut short is not one that the zone would go.
        if index == self.steps.len() && index < REMEMBERED && step.after.at < to {
            self.steps.push(step);
        }
        step.after
    }
}
