//! The books of a trial: hours too dry, water standing, water lost.

use serde::Serialize;

use super::trial::Patience;
use crate::balance::demand::HourDemand;
use crate::column::{PONDED_FILM_MM, StepReport};

/// Hours after rain in which ponding and runoff are put down to it.
const RAIN_LASTS_H: u32 = 3;

/// The circumstances of a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// Its length [s].
    pub seconds: i64,
    /// Whether the sun is up.
    pub daylight: bool,
    /// Whether rules, night, wind, frost or people keep the valve shut.
    pub shut: bool,
    /// Whether it lies in the reported span.
    pub reported: bool,
    /// Whether the seed is down.
    pub sown: bool,
    /// Whether the seed is judged in it.
    pub judged: bool,
}

/// How moist the seed has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moisture {
    /// Too dry: the top, the seed by water content, the seed by head.
    pub dry: [bool; 3],
    /// Share of available water in the top.
    pub top_share: f64,
    /// Share of available water around the seed.
    pub seed_share: f64,
    /// Water standing on the ground [mm].
    pub film_mm: f64,
}

/// What came of a trial. "Judged" is from an hour after sowing until the
/// slowest species is up; depths are those of the column.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Outcome {
    /// Daylight hours judged.
    pub daylight_h: f64,
    /// Judged daylight hours with the mean of the top 10 mm below threshold.
    pub dry_top_h: f64,
    /// The same for the top 3 mm.
    pub dry_seed_h: f64,
    /// Judged daylight hours with the matric head at 1.5 mm below −50 m.
    pub dry_head_h: f64,
    /// The part of `dry_top_h` in which the plan's valve had to stay shut by
    /// rules, night, wind, frost or people.
    pub dry_top_shut_h: f64,
    /// The part of `dry_seed_h` in which it had to.
    pub dry_seed_shut_h: f64,
    /// Longest spell of the top below threshold, nights included [h].
    pub longest_dry_top_h: f64,
    /// The same for the top 3 mm [h].
    pub longest_dry_seed_h: f64,
    /// Hours with water standing, from sowing on.
    pub ponded_h: f64,
    /// Longest spell of water standing during the deep soak [min].
    pub longest_ponding_of_soak_min: f64,
    /// Longest spell of water standing from sowing on [min].
    pub longest_ponding_min: f64,
    /// The same, not put down to rain (in it or up to 3 h after) [min].
    pub longest_ponding_of_watering_min: f64,
    /// Runoff [mm].
    pub runoff_mm: f64,
    /// Runoff not put down to rain [mm].
    pub runoff_of_watering_mm: f64,
    /// Net drainage below the target depth of the roots [mm].
    pub drained_mm: f64,
    /// Evaporation and transpiration [mm].
    pub evaporated_mm: f64,
    /// Share of available water at the end of each hour from the begin of the
    /// trial: top 10 mm
    /// and top 3 mm.
    #[serde(skip)]
    pub trace: Vec<(f64, f64)>,
}

/// Keeps the books while a trial runs.
#[derive(Debug, Clone, Default)]
pub struct Recorder {
    sums: Outcome,
    daylight_s: i64,
    dry_s: [i64; 3],
    dry_shut_s: [i64; 3],
    dry_spells: [Spell; 2],
    ponding_of_soak: Spell,
    ponding: Spell,
    ponding_of_watering: Spell,
    ponded_s: f64,
    water_mm: f64,
    root_zone_mm: f64,
    /// Hours since rain; none fell before the trial as far as it matters.
    dry_hours: u32,
}

/// A spell that goes on or has ended.
#[derive(Debug, Clone, Copy, Default)]
struct Spell {
    now_s: f64,
    longest_s: f64,
}

impl Spell {
    fn add(&mut self, seconds: f64, goes_on: bool) {
        self.now_s += seconds;
        self.longest_s = self.longest_s.max(self.now_s);
        if !goes_on {
            self.now_s = 0.0;
        }
    }
}

impl Recorder {
    /// Empty books; `root_zone_mm` is the water above the target depth, the
    /// film on the ground included.
    #[must_use]
    pub fn new(root_zone_mm: f64) -> Self {
        Self {
            root_zone_mm,
            dry_hours: RAIN_LASTS_H,
            ..Self::default()
        }
    }

    /// An hour begins.
    pub fn begin_hour(&mut self, hour: &HourDemand) {
        self.dry_hours = if hour.rain_mm > 0.0 {
            0
        } else {
            (self.dry_hours + 1).min(RAIN_LASTS_H)
        };
    }

    /// A step with `water_mm` from rain and sprinklers, and how it ended.
    pub fn note(&mut self, step: &Step, report: &StepReport, water_mm: f64, end: &Moisture) {
        self.note_dryness(step, end);
        if !step.reported {
            return;
        }
        let by_rain = self.dry_hours < RAIN_LASTS_H;
        let stands = end.film_mm >= PONDED_FILM_MM;
        if step.sown {
            self.ponded_s += report.ponded_seconds;
            self.ponding.add(report.ponded_seconds, stands);
            self.ponding_of_watering.add(
                if by_rain { 0.0 } else { report.ponded_seconds },
                stands && !by_rain,
            );
        } else if !by_rain {
            self.ponding_of_soak.add(report.ponded_seconds, stands);
        }
        self.sums.runoff_mm += report.runoff_mm;
        if !by_rain {
            self.sums.runoff_of_watering_mm += report.runoff_mm;
        }
        self.sums.evaporated_mm += report.evaporated_mm + report.transpired_mm;
        self.water_mm += water_mm;
    }

    fn note_dryness(&mut self, step: &Step, end: &Moisture) {
        if !step.judged {
            return;
        }
        for (spell, dry) in self.dry_spells.iter_mut().zip(end.dry) {
            spell.add(if dry { seconds(step.seconds) } else { 0.0 }, dry);
        }
        if !step.daylight {
            return;
        }
        self.daylight_s += step.seconds;
        let sums = self.dry_s.iter_mut().zip(&mut self.dry_shut_s);
        for ((sum, shut), _) in sums.zip(end.dry).filter(|(_, dry)| *dry) {
            *sum += step.seconds;
            *shut += if step.shut { step.seconds } else { 0 };
        }
    }

    /// An hour ends.
    pub fn end_hour(&mut self, end: &Moisture) {
        self.sums.trace.push((end.top_share, end.seed_share));
    }

    /// Whether more daylight was too dry than patience allows.
    #[must_use]
    pub fn lost(&self, patience: Patience) -> bool {
        self.dry_s
            .iter()
            .zip(patience)
            .any(|(&dry, allowed)| dry > allowed)
    }

    /// The outcome, with the water above the target depth at the end.
    #[must_use]
    pub fn finish(self, root_zone_mm: f64) -> Outcome {
        let [dry_top_s, dry_seed_s, dry_head_s] = self.dry_s;
        let [dry_top_shut_s, dry_seed_shut_s, _] = self.dry_shut_s;
        let [top, seed] = self.dry_spells;
        Outcome {
            daylight_h: hours(self.daylight_s),
            dry_top_h: hours(dry_top_s),
            dry_seed_h: hours(dry_seed_s),
            dry_head_h: hours(dry_head_s),
            dry_top_shut_h: hours(dry_top_shut_s),
            dry_seed_shut_h: hours(dry_seed_shut_s),
            longest_dry_top_h: top.longest_s / 3600.0,
            longest_dry_seed_h: seed.longest_s / 3600.0,
            ponded_h: self.ponded_s / 3600.0,
            longest_ponding_of_soak_min: self.ponding_of_soak.longest_s / 60.0,
            longest_ponding_min: self.ponding.longest_s / 60.0,
            longest_ponding_of_watering_min: self.ponding_of_watering.longest_s / 60.0,
            drained_mm: self.water_mm
                - self.sums.runoff_mm
                - self.sums.evaporated_mm
                - (root_zone_mm - self.root_zone_mm),
            ..self.sums
        }
    }
}

impl Outcome {
    /// Each figure by itself at a share of the outcomes in ascending order:
    /// 0.5 is the median, 0.9 what a tenth of them exceed.
    #[must_use]
    pub fn at_share(outcomes: &[&Self], share: f64) -> Self {
        let of = |figure: fn(&Self) -> f64| at_share(outcomes.iter().map(|o| figure(o)), share);
        Self {
            daylight_h: of(|o| o.daylight_h),
            dry_top_h: of(|o| o.dry_top_h),
            dry_seed_h: of(|o| o.dry_seed_h),
            dry_head_h: of(|o| o.dry_head_h),
            dry_top_shut_h: of(|o| o.dry_top_shut_h),
            dry_seed_shut_h: of(|o| o.dry_seed_shut_h),
            longest_dry_top_h: of(|o| o.longest_dry_top_h),
            longest_dry_seed_h: of(|o| o.longest_dry_seed_h),
            ponded_h: of(|o| o.ponded_h),
            longest_ponding_of_soak_min: of(|o| o.longest_ponding_of_soak_min),
            longest_ponding_min: of(|o| o.longest_ponding_min),
            longest_ponding_of_watering_min: of(|o| o.longest_ponding_of_watering_min),
            runoff_mm: of(|o| o.runoff_mm),
            runoff_of_watering_mm: of(|o| o.runoff_of_watering_mm),
            drained_mm: of(|o| o.drained_mm),
            evaporated_mm: of(|o| o.evaporated_mm),
            trace: Vec::new(),
        }
    }

    /// Seconds of daylight below threshold: top, seed, head.
    #[must_use]
    pub fn dry_s(&self) -> Patience {
        [self.dry_top_h, self.dry_seed_h, self.dry_head_h]
            .map(|hours| crate::plan::water::whole_seconds((hours * 3600.0).round()))
    }
}

/// A number of seconds as the books sum it.
#[must_use]
pub fn seconds(whole: i64) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "spans are far below 2^52 s")]
    let seconds = whole as f64;
    seconds
}

/// Hours of a number of seconds.
pub(super) fn hours(whole: i64) -> f64 {
    seconds(whole) / 3600.0
}

/// The value at a share of the values in ascending order, 0 without any: the
/// smallest of which at least that share lies at or below it.
#[must_use]
pub fn at_share(values: impl Iterator<Item = f64>, share: f64) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let mut needed = 0.0;
    let count = seconds(i64::try_from(values.len()).unwrap_or(i64::MAX));
    values
        .iter()
        .copied()
        .find(|_| {
            needed += 1.0;
            needed >= share * count - 1e-9
        })
        .unwrap_or(0.0)
}
