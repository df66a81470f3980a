//! Dates for the person on site: what the watering alone does not do.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;

use super::moment::Bed;
use super::timetable::{Milestone, MilestoneKind, Stage};
use crate::agronomy::germination;
use crate::agronomy::roots::{self, FirstMow, FirstMowRule, LEAF_GROWTH_MM_PER_DAY_AT_20C};
use crate::site::local_time::date_of;
use crate::site::{Cover, CoverMaterial, CoverRemoval, Ground, Seeding};

/// Height to which the young grass is kept [mm] (common practice, no source).
const KEPT_HEIGHT_MM: f64 = 40.0;

/// The dates of one zone, in order. Where its deep soak is planned it begins
/// at `soak_begins`.
#[must_use]
pub fn milestones(
    bed: &Bed,
    soak_begins: Option<DateTime<Utc>>,
    days: &BTreeMap<NaiveDate, f64>,
    time_zone: Tz,
) -> Vec<Milestone> {
    let mean_c = |date: NaiveDate| days.get(&date).copied();
    let season = &bed.season;
    let sown = date_of(time_zone, season.sown);
    let soak = date_of(time_zone, soak_begins.unwrap_or(season.soak_deadline));
    let emergence = &season.emergence;
    let mut dates = Vec::new();
    let mut on = |date: NaiveDate, kind: MilestoneKind, text: String| {
        dates.push(Milestone { date, kind, text });
    };
    if matches!(bed.zone.seeding.ground, Ground::Turf { .. }) {
        on(
            day_before(soak),
            MilestoneKind::MowLow,
            "mow the standing turf low and take the clippings off, before the soak".into(),
        );
    }
    on(
        sown,
        MilestoneKind::Prepare,
        preparing(&bed.zone.seeding.ground).into(),
    );
    let hour = season.sown.with_timezone(&time_zone).format("%H:%M");
    on(
        sown,
        MilestoneKind::Seed,
        sowing(&bed.zone.seeding, &hour.to_string()),
    );
    if let Some(cover) = &bed.zone.seeding.cover {
        on(
            first_lookout(bed, sown, mean_c),
            MilestoneKind::CheckCover,
            match comes_off(cover) {
                true => {
                    "lift a corner of the cover: seed layer dark and moist, nothing washed together"
                }
                false => {
                    "part the mulch in places: seed layer dark and moist, nothing washed together"
                }
            }
            .into(),
        );
        if let Some(off) = season.cover_off.filter(|_| comes_off(cover)) {
            on(
                date_of(time_zone, off),
                MilestoneKind::RemoveCover,
                removing(cover).into(),
            );
        }
    }
    if !emergence.recorded {
        on(
            emergence.first,
            MilestoneKind::WatchEmergence,
            watching(bed, sown),
        );
    } else if !emergence.all_up_recorded {
        on(
            emergence.last,
            MilestoneKind::WatchEmergence,
            "the last of the seed should be up and its misting ends; on the day that you see it all up, earlier or later, write `all-up` into the site file".into(),
        );
    }
    if !is_too_cold(bed, sown) {
        on(
            first_mow(bed, mean_c),
            MilestoneKind::FirstMow,
            "no mowing before this day; then a sharp blade, dry ground, and no more than a third off"
                .into(),
        );
    }
    if let Some(down) = bed
        .demand
        .iter()
        .find(|hour| hour.stage == Stage::Maintenance)
    {
        on(
            date_of(time_zone, down.start),
            MilestoneKind::TaperDone,
            "deep and infrequent watering from here".into(),
        );
    }
    dates.sort_by_key(|milestone| (milestone.date, milestone.kind));
    dates
}

/// Standing turf is opened, not levelled.
fn preparing(ground: &Ground) -> &'static str {
    match ground {
        Ground::Bare => {
            "once the ground no longer sticks to the boot, loosen it and rake it level; wetter, it smears"
        }
        Ground::Turf { .. } => {
            "once the ground no longer sticks to the boot, scarify the turf so that the seed comes to lie on soil"
        }
    }
}

/// What the zone has of it: not every seed is dressed and covered.
fn sowing(seeding: &Seeding, hour: &str) -> String {
    let sow = format!("sow at {hour}");
    let mut steps = vec![sow.as_str()];
    if seeding.top_dressing.is_some() {
        steps.push("dress");
    }
    match seeding.cover.map(|cover| cover.material) {
        Some(CoverMaterial::Mulch { .. }) => steps.push("mulch"),
        Some(CoverMaterial::Sheet { .. }) => steps.push("cover"),
        None => {}
    }
    match steps.as_slice() {
        [most @ .., last] if !most.is_empty() => format!("{} and {last}", most.join(", ")),
        _ => format!("{sow} and rake it in lightly"),
    }
}

/// On the first day on which green may show it is not there yet.
fn removing(cover: &Cover) -> &'static str {
    match cover.removed {
        CoverRemoval::AtEmergence => {
            "from today, once you see green under it: take the cover off towards evening; bare seedlings need more water at once"
        }
        CoverRemoval::On(_) | CoverRemoval::Never => {
            "take the cover off towards evening; bare seedlings need more water at once"
        }
    }
}

fn is_too_cold(bed: &Bed, sown: NaiveDate) -> bool {
    let emergence = &bed.season.emergence;
    let mut species = emergence.by_species.iter();
    !emergence.recorded && species.any(|of| germination::too_cold(of.species, sown, of.first))
}

fn watching(bed: &Bed, sown: NaiveDate) -> String {
    let emergence = &bed.season.emergence;
    if is_too_cold(bed, sown) {
        return "too cold for the seed to come up soon: no day can be promised, look from time to time"
            .into();
    }
    let last = emergence.last.format("%-d %b");
    let rest = match emergence.by_species.len() {
        0 | 1 => format!("the rest by {last}"),
        _ => format!("the slowest species by {last}"),
    };
    format!(
        "the first green may show from today, {rest}; when it does, write `emerged` into the site file"
    )
}

/// A mulch stays and rots; a sheet comes off.
fn comes_off(cover: &Cover) -> bool {
    matches!(cover.material, CoverMaterial::Sheet { .. })
}

/// The first day on which any species of the mix is worth looking for.
fn first_lookout(
    bed: &Bed,
    sown: NaiveDate,
    mean_c: impl Fn(NaiveDate) -> Option<f64> + Copy,
) -> NaiveDate {
    bed.zone
        .seeding
        .mix
        .iter()
        .map(|part| germination::first_lookout(part.species, sown, mean_c))
        .min()
        .unwrap_or(sown)
}

fn first_mow(bed: &Bed, mean_c: impl Fn(NaiveDate) -> Option<f64>) -> NaiveDate {
    let mow = FirstMow {
        kept_height_mm: KEPT_HEIGHT_MM,
        rule: FirstMowRule::OneThird,
        leaf_growth_mm_per_day_at_20c: LEAF_GROWTH_MM_PER_DAY_AT_20C,
        group: bed.season.group,
    };
    // The quickest seedlings are high enough first, but the last must hold too.
    roots::first_mow(bed.season.emergence.last, mow, mean_c)
}

fn day_before(date: NaiveDate) -> NaiveDate {
    date.pred_opt().unwrap_or(date)
}
