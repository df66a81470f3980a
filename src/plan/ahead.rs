//! The way of a zone without water, looked at once: a plan looks ahead for the
//! next need, and then goes the same way up to it.

use super::moment::{Bed, Moment, Step};

/// Steps that all zones of a plan remember together: a plan of hundreds of
/// zones that look ahead for weeks would spend more on memory than on steps.
const REMEMBERED: usize = 60_000;
/// Steps that one zone remembers at most: a week of them.
const REMEMBERED_BY_ONE: usize = 7 * 288;

/// Steps without water from where a zone stands.
#[derive(Debug, Clone)]
pub(super) struct Ahead {
    steps: Vec<(Moment, Step)>,
    /// Steps that the zone has gone already.
    gone: usize,
    /// Steps that are remembered at most.
    most: usize,
}

impl Ahead {
    /// Nothing looked at yet, for one of so many zones of a plan.
    pub fn one_of(zones: usize) -> Self {
        Self {
            steps: Vec::new(),
            gone: 0,
            most: (REMEMBERED / zones.max(1)).min(REMEMBERED_BY_ONE),
        }
    }

    /// Goes the next step, where it was looked at and does not lead beyond `to`.
    pub fn go(&mut self, now: &mut Moment, to: i64) -> Option<Step> {
        let known = self.steps.get(self.gone);
        let &(after, step) = known.filter(|(after, _)| after.at <= to)?;
        *now = after;
        self.gone += 1;
        Some(step)
    }

    /// Forgets the way: the zone went another.
    pub fn forget(&mut self) {
        self.steps.clear();
        self.gone = 0;
    }

    /// Takes `moment` one step on, not beyond `to`. `count` steps led from
    /// where the zone stands to that moment.
    pub fn look(&mut self, bed: &Bed, moment: &mut Moment, count: usize, to: i64) {
        let index = self.gone + count;
        let known = self.steps.get(index);
        if let Some((after, _)) = known.filter(|(after, _)| after.at <= to) {
            *moment = *after;
            return;
        }
        let step = moment.step(bed, to, 0.0);
        // A step that `to` cut short is not one that the zone would go.
        if index == self.steps.len() && index < self.most && moment.at < to {
            self.steps.push((*moment, step));
        }
    }
}
