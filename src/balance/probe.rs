//! A probe in the soil corrects the balance: by a share of the difference,
//! and never by much at once.
//!
//! The probe stands for the soil beneath the surface layer; of the centimetre
//! in which seed lies it says nothing, and that is left alone. Own model:
//! a fixed gain, as in the simplest observers. A probe that is wrong by a
//! little pulls the balance off by no more than that; one that is wrong by
//! much moves it slowly enough for people to see it in the log.

use std::fmt;

use super::ground::Ground;
use super::stores::Levels;

/// The most that one correction changes the water content (own choice, no
/// source) [volume share].
const MOST_AT_ONCE: f64 = 0.02;

/// What a probe says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProbeReading {
    /// Water content, volume share.
    pub content: f64,
    /// Share of the difference that is taken over, 0 to 1.
    pub weight: f64,
}

/// What became of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Correction {
    /// The levels, corrected.
    pub levels: Levels,
    /// Mean water content of the balance before, volume share.
    pub balance: f64,
    /// Of the probe, volume share.
    pub probe: f64,
    /// Water put into the balance [mm]; below zero it is taken out.
    pub added_mm: f64,
}

/// The levels corrected by a probe.
///
/// With θ the mean content of the strata, θp that of the probe and w the
/// weight, each stratum is moved by w·(θp − θ), at most 0.02 either way,
/// and stays between wilting point and field capacity. A probe above field
/// capacity says that nothing is missing: the balance knows no more than that.
#[must_use]
pub fn correct(ground: &Ground, levels: &Levels, reading: ProbeReading) -> Correction {
    let thickness_mm = ground.strata.thickness_mm;
    let depth_mm: f64 = thickness_mm.iter().sum();
    let before_mm: f64 = levels.strata_mm.iter().sum();
    let balance = ground.field_capacity - before_mm / depth_mm;
    let aim = reading
        .content
        .clamp(ground.wilting_point, ground.field_capacity);
    let weight = reading.weight.clamp(0.0, 1.0);
    let change = (weight * (aim - balance)).clamp(-MOST_AT_ONCE, MOST_AT_ONCE);
    let mut corrected = *levels;
    let strata = corrected.strata_mm.iter_mut().zip(thickness_mm);
    for (depletion_mm, thickness_mm) in strata {
        let most_mm = ground.available_share() * thickness_mm;
        *depletion_mm = (*depletion_mm - change * thickness_mm).clamp(0.0, most_mm);
    }
    Correction {
        levels: corrected,
        balance,
        probe: reading.content,
        added_mm: before_mm - corrected.strata_mm.iter().sum::<f64>(),
    }
}

impl fmt::Display for Correction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (probe, balance) = (self.probe * 100.0, self.balance * 100.0);
        write!(
            f,
            "the probe says {probe:.1} % water, the balance {balance:.1} %: {:.1} mm ",
            self.added_mm.abs()
        )?;
        f.write_str(if self.added_mm < 0.0 {
            "taken out of the balance"
        } else {
            "put into the balance"
        })
    }
}
