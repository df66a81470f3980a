//! The way of a zone without water, looked at once: a plan looks ahead for the
//! next need, and then goes the same way up to it.
//!
//! Of the way only every hour is remembered, and only as far as nothing gets too
//! dry on it: what lies between two marks is quicker stepped again than kept.

use std::ops::Range;
use std::sync::Arc;

use super::bounds::Bounds;
use super::moment::Bed;
use super::stand::Stand;
use super::turf::Watched;

/// Marks that all zones of a plan remember together.
const REMEMBERED: usize = 30_000;
/// Marks that one zone remembers at most: two months.
const REMEMBERED_BY_ONE: usize = 60 * 24;

/// Marks on the way without water from where a zone stands.
#[derive(Debug, Clone)]
pub(super) struct Ahead {
    /// By time; shared, since many plans begin with the same way.
    marks: Arc<Vec<Stand>>,
    /// Marks that are remembered at most.
    most: usize,
}

impl Ahead {
    /// Nothing looked at yet, for one of so many zones of a plan.
    pub fn one_of(zones: usize) -> Self {
        Self {
            marks: Arc::default(),
            most: (REMEMBERED / zones.max(1)).min(REMEMBERED_BY_ONE),
        }
    }

    /// The last mark up to `to` that is later than `at`.
    pub fn mark(&self, at: i64, to: i64) -> Option<&Stand> {
        let later = self.marks.partition_point(|mark| mark.now.at <= to);
        let mark = &self.marks[later.checked_sub(1)?];
        (mark.now.at > at).then_some(mark)
    }

    /// Remembers a stand at the end of an hour of the way.
    fn remember(&mut self, stand: &Stand) {
        let at = stand.now.at;
        let is_new = self.marks.last().is_none_or(|last| last.now.at < at);
        if is_new && self.marks.len() < self.most {
            Arc::make_mut(&mut self.marks).push(*stand);
        }
    }

    /// Forgets the way: the zone went another.
    pub fn forget(&mut self) {
        match Arc::get_mut(&mut self.marks) {
            Some(marks) => marks.clear(),
            None => self.marks = Arc::default(),
        }
    }
}

/// Who goes ahead of a zone without water, to see what comes.
pub(super) struct Scout {
    /// Where it got to.
    pub stand: Stand,
    /// Depletion of the managed layer there [mm].
    layer_mm: f64,
    /// Depletion of all the soil there [mm].
    pub soil_mm: f64,
    /// Bounds in the hour of its last step.
    pub bounds: Bounds,
    /// When it counts whether something is too dry [s].
    watched: Range<i64>,
    /// Whether nothing got too dry so far.
    is_clean: bool,
}

impl Scout {
    /// Sets out from where a zone stands, or from a mark on its way.
    pub fn from(stand: &Stand, watched: Range<i64>) -> Self {
        Self {
            stand: *stand,
            layer_mm: stand.now.stores.depletion_mm(),
            soil_mm: stand.now.stores.total_depletion_mm(),
            bounds: Bounds::unknown(),
            watched,
            is_clean: true,
        }
    }

    /// Depletion of what is watched [mm].
    #[inline]
    pub fn depletion_mm(&self, watched: Watched) -> f64 {
        match watched {
            Watched::Layer => self.layer_mm,
            Watched::Turf => self.soil_mm,
        }
    }

    /// Goes one step towards `to` and leaves a mark where one is due.
    #[inline(always)]
    pub fn step(&mut self, bed: &Bed, ahead: &mut Ahead, to: i64) {
        let from = self.stand.now.at;
        self.stand.step(bed, to, 0.0, &self.watched);
        self.layer_mm = self.stand.now.stores.depletion_mm();
        self.soil_mm = self.stand.now.stores.total_depletion_mm();
        self.bounds.keep_behind(bed, &self.stand.now);
        if self.bounds.are_passed(self.layer_mm, self.soil_mm) && self.watched.contains(&from) {
            self.is_clean = false;
        }
        if self.is_clean && self.stand.now.is_past_hour() {
            ahead.remember(&self.stand);
        }
    }
}
