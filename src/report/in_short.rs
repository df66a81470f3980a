//! What a person must hear about a plan whatever form it is written in: seed
//! that dries, weather that was estimated, and the cautions in a few words.

use super::format::fixed;
use super::header;
use super::model::View;
use super::words;
use crate::plan::timetable::SeedDrySpell;

/// The cautions of [`super::cautions`], in a few words.
pub(super) const CAUTION: &str = "Taps on the same supply need a backflow preventer. Wet ground \
    is slippery: keep people off. Check the local rules and hours for watering. Where local codes \
    or a licensed irrigator say otherwise, follow them.";

/// Shorter dry spells are not told one by one [h].
const LONG_SPELL_H: f64 = 1.0;
/// More zones than this are counted, not named.
const MOST_NAMED: usize = 5;

/// A long dry spell of a zone.
pub(super) struct Spell<'a> {
    /// Name of the zone.
    pub(super) zone: &'a str,
    /// The spell.
    pub(super) spell: &'a SeedDrySpell,
    /// Hours of it by night.
    pub(super) night_hours: f64,
}

/// The long dry spells of the zones shown, by begin and then zone.
pub(super) fn long_dry_spells<'a>(view: &View<'a>) -> Vec<Spell<'a>> {
    const SECONDS_PER_HOUR: f64 = 3600.0;
    let mut spells = Vec::new();
    for zone in &view.zones {
        for spell in &zone.plan.dry_spells {
            let hours = (spell.to - spell.from).as_seconds_f64() / SECONDS_PER_HOUR;
            if hours >= LONG_SPELL_H {
                spells.push(Spell {
                    zone: &zone.zone.name,
                    spell,
                    night_hours: (hours - spell.daylight_hours).max(0.0),
                });
            }
        }
    }
    spells.sort_by_key(|spell| spell.spell.from);
    spells
}

/// Sources that failed, seed that dries and weather that was estimated, a
/// sentence each; nothing where all is well.
pub(super) fn warnings_in_short(view: &View<'_>) -> Vec<String> {
    let alarms = view.weather.alarms().map(str::to_owned);
    let own = seed_dry(view).into_iter().chain(estimated(view));
    alarms.chain(own).collect()
}

/// The zones whose seed the plan leaves drier than allowed, in a sentence.
#[must_use]
pub fn seed_dry(view: &View<'_>) -> Option<String> {
    let mut dry: Vec<_> = view.zones.iter().filter(|zone| zone.is_dry()).collect();
    if dry.is_empty() {
        return None;
    }
    let longest = |zone: &super::model::ZoneView<'_>| zone.totals.dry_daylight_hours;
    dry.sort_by(|a, b| longest(b).total_cmp(&longest(a)));
    let named = dry.iter().take(MOST_NAMED).map(|zone| {
        format!(
            "{} ({} h by day, {} h by night)",
            zone.zone.name,
            fixed(zone.totals.dry_daylight_hours, 1),
            fixed(zone.totals.dry_night_hours, 1)
        )
    });
    let mut names: Vec<String> = named.collect();
    if let more @ 1.. = dry.len().saturating_sub(MOST_NAMED) {
        names.push(words::count(more, "more zone", "more zones"));
    }
    Some(format!(
        "seed is drier than allowed for some hours: {}",
        words::list(&names)
    ))
}

/// What of the weather was estimated.
pub(super) fn estimated(view: &View<'_>) -> Option<String> {
    let of_hours = words::count(view.weather.hours, "hour", "hours");
    let variables = header::estimated(view.weather)?;
    Some(format!("weather estimated: {variables}, of {of_hours}"))
}
