//! The way of a zone without water, looked at once: a plan looks ahead for the
//! next need, and then goes the same way up to it.

use std::sync::Arc;

use super::moment::{Bed, Moment, Step};

/// Steps that all zones of a plan remember together: a plan of hundreds of
/// zones that look ahead for weeks would spend more on memory than on steps.
const REMEMBERED: usize = 60_000;
/// Steps that one zone remembers at most: a week of them.
const REMEMBERED_BY_ONE: usize = 7 * 288;

/// What happened in each step, and the zone after it; apart, since two small
/// copies are quicker than one large.
#[derive(Debug, Clone, Default)]
struct Way {
    steps: Vec<Step>,
    after: Vec<Moment>,
}

/// Steps without water from where a zone stands.
#[derive(Debug, Clone)]
pub(super) struct Ahead {
    /// Shared, since many plans begin with the same way.
    way: Arc<Way>,
    /// Steps that the zone has gone already.
    gone: usize,
    /// Steps that are remembered at most.
    most: usize,
}

impl Ahead {
    /// Nothing looked at yet, for one of so many zones of a plan.
    pub fn one_of(zones: usize) -> Self {
        Self {
            way: Arc::default(),
            gone: 0,
            most: (REMEMBERED / zones.max(1)).min(REMEMBERED_BY_ONE),
        }
    }

    /// Goes the next step, where it was looked at and does not lead beyond `to`.
    pub fn go(&mut self, now: &mut Moment, to: i64) -> Option<Step> {
        let after = self.way.after.get(self.gone);
        *now = *after.filter(|after| after.at <= to)?;
        self.gone += 1;
        self.way.steps.get(self.gone - 1).copied()
    }

    /// Forgets the way: the zone went another.
    pub fn forget(&mut self) {
        match Arc::get_mut(&mut self.way) {
            Some(way) => {
                way.steps.clear();
                way.after.clear();
            }
            None => self.way = Arc::default(),
        }
        self.gone = 0;
    }

    /// Takes `moment` one step on, not beyond `to`. `count` steps led from
    /// where the zone stands to that moment.
    pub fn look(&mut self, bed: &Bed, moment: &mut Moment, count: usize, to: i64) {
        let index = self.gone + count;
        let known = self.way.after.get(index);
        if let Some(after) = known.filter(|after| after.at <= to) {
            *moment = *after;
            return;
        }
        let step = moment.step(bed, to, 0.0);
        // A step that `to` cut short is not one that the zone would go.
        if index == self.way.steps.len() && index < self.most && moment.at < to {
            let way = Arc::make_mut(&mut self.way);
            way.steps.push(step);
            way.after.push(*moment);
        }
    }
}
