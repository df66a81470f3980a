//! What would mend a shortfall, found by planning again with one constraint
//! relaxed at a time and looking at what is left.
//!
//! A mend names the key that it changes, for whom, and the value as it would be
//! written; whoever writes just that gets the figures that are told. So it is
//! planned as the site itself is, smaller supplies included.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::str::FromStr;

use chrono::TimeDelta;
use rayon::prelude::*;

use super::Span;
use super::schedule::{Prepared, Scheduled};
use super::shortfall::least_dry_hours;
use super::timetable::{Constraint, Shortfall, ShortfallKind};
use super::tried::Tried;
use crate::site::local_time::date_of;
use crate::site::{CoverMaterial, ExceptionEffect, RuleException, Site, Zone};
use crate::units::{Speed, parse_duration, show_duration};

/// A relaxation must take away at least this share of a shortfall to be
/// worth telling, or this share more than the one told before it.
const WORTH_TELLING: f64 = 0.2;
/// Where a plan is too large to try what might mend it.
const NOT_TRIED: &str =
    "what would mend it was not tried in a plan of this size: ask for fewer days";
/// At most this many mends are told of one shortfall.
const MOST_TOLD: usize = 3;
/// A sheet that lets through no more of the sun than this is a heavy one.
const HEAVY_SHEET: f64 = 0.5;
/// What the permit that is tried is called.
const PERMIT: &str = "permit";
/// The longest that a time of [night] may be.
const LONGEST_NIGHT_TIME: TimeDelta = TimeDelta::hours(12);

/// One thing that could be different, in words, and the site with it.
struct Relaxed {
    words: String,
    site: Site,
}

/// Adds to each shortfall what would mend it: its own cause relaxed. `tried` is
/// what is known of the supplies of the site as it is.
pub fn add_mends(found: &mut [Shortfall], prepared: &Prepared, tried: &[Tried]) {
    let (mut causes, skipped) = worth_trying(found, prepared);
    // Whoever is free takes the next: what takes longest goes first.
    causes.sort_by_key(|(_, ways)| Reverse(ways.len()));
    let trials = causes.into_iter().par_bridge();
    let mends: Vec<Vec<(usize, Vec<String>)>> = trials
        .map(|(cause, ways)| mends_of(cause, ways, found, prepared, tried))
        .collect();
    for (index, told) in mends.into_iter().flatten() {
        found[index].mend = told;
    }
    for shortfall in found.iter_mut().filter(|found| found.mend.is_empty()) {
        let words = if skipped.contains(&tried_as(shortfall.cause)) {
            NOT_TRIED
        } else {
            last_resort(shortfall, &prepared.site().zones[shortfall.zone])
        };
        shortfall.mend.push(words.into());
    }
}

/// What mends the shortfalls of one cause, by index: relaxed from the weakest
/// way on, until what is left is no longer worth a plan.
fn mends_of(
    cause: Constraint,
    ways: VecDeque<Relaxed>,
    found: &[Shortfall],
    prepared: &Prepared,
    tried: &[Tried],
) -> Vec<(usize, Vec<String>)> {
    let before = Missing::of(found);
    // Under other rules nothing is known of a supply.
    let mut of_supply = match cause {
        Constraint::Supply => tried.to_vec(),
        _ => Vec::new(),
    };
    let shortfalls = found.iter().enumerate();
    let mut mends: Vec<(usize, Mends)> = shortfalls
        .filter(|(_, shortfall)| tried_as(shortfall.cause) == cause)
        .map(|(index, shortfall)| (index, Mends::of(shortfall, &before)))
        .collect();
    let strongest = ways.back().map(|relaxed| relaxed.words.clone());
    for relaxed in ways {
        let is_worth_telling = |left: &dyn Fn(&Shortfall) -> f64| {
            let mut mends = mends.iter();
            mends.any(|(index, mends)| mends.is_worth_telling(left(&found[*index])))
        };
        if !is_worth_telling(&|_| 0.0) {
            break;
        }
        let site = prepared.under(&relaxed.site);
        let hope = |zones: &[Scheduled]| {
            is_worth_telling(&|shortfall| least_dry_hours(&zones[shortfall.zone], shortfall.kind))
        };
        let Some(first) = site.try_whole_supply(hope) else {
            continue;
        };
        let mut left = Missing::of(&first.shortfalls);
        if is_worth_telling(&|shortfall| left.of_zone(shortfall)) {
            let known = match cause {
                Constraint::Supply => &mut of_supply,
                _ => &mut Vec::new(),
            };
            // What is told is what the site itself would get.
            left = Missing::of(&site.try_smaller(first, known).shortfalls);
        }
        let harm = harm(before.dry_hours(), left.dry_hours());
        for (index, mends) in &mut mends {
            let shortfall = &found[*index];
            let left = left.of_zone(shortfall);
            mends.take((&relaxed.words, &harm), shortfall.kind, left);
        }
    }
    let told = mends.into_iter().map(|(index, mends)| {
        let (shortfall, mut told) = (&found[index], mends.told());
        if told.is_empty() {
            told.extend(strongest.iter().map(|words| in_vain(words, shortfall.kind)));
            let zone = &prepared.site().zones[shortfall.zone];
            told.push(last_resort(shortfall, zone).into());
        }
        (index, told)
    });
    told.collect()
}

/// What is said of the strongest way where even that is not worth telling.
fn in_vain(words: &str, kind: ShortfallKind) -> String {
    match kind {
        ShortfallKind::PreSoakIncomplete => {
            format!("{words}: gives less than a fifth of what is missing")
        }
        _ => format!("{words}: takes away less than a fifth of the zone's dry hours"),
    }
}

/// What was found to mend one shortfall.
struct Mends {
    missing: f64,
    /// The least that any way left so far.
    least: f64,
    /// What each way leaves, and its words.
    ways: Vec<(f64, String)>,
}

impl Mends {
    fn of(shortfall: &Shortfall, before: &Missing) -> Self {
        let missing = before.of_zone(shortfall);
        Self {
            missing,
            least: missing,
            ways: Vec::new(),
        }
    }

    fn is_worth_telling(&self, left: f64) -> bool {
        self.missing > 0.0 && self.least - left >= WORTH_TELLING * self.missing
    }

    fn take(&mut self, (words, harm): (&str, &str), kind: ShortfallKind, left: f64) {
        if self.is_worth_telling(left) {
            let told = told(words, kind, self.missing, left) + harm;
            self.ways.push((left, told));
            self.least = left;
        }
    }

    /// What is told, the best first.
    fn told(mut self) -> Vec<String> {
        self.ways.sort_by(|a, b| a.0.total_cmp(&b.0));
        let best = self.ways.into_iter().take(MOST_TOLD);
        best.map(|(_, words)| words).collect()
    }
}

/// What a plan of so many zones and days can try, by cause and from the
/// weakest on: of every cause what helps most, of those first that leave most
/// dry. Besides, the causes of which not all could be tried.
fn worth_trying(
    found: &[Shortfall],
    prepared: &Prepared,
) -> (Vec<(Constraint, VecDeque<Relaxed>)>, BTreeSet<Constraint>) {
    let mut missing: BTreeMap<Constraint, f64> = BTreeMap::new();
    for short in found {
        *missing.entry(tried_as(short.cause)).or_insert(0.0) += missing_of(short);
    }
    let mut trials: Vec<(usize, f64, Constraint, Relaxed)> = Vec::new();
    for (cause, missing) in missing {
        // The strongest comes last among its own.
        let all = relaxations(prepared, cause);
        let ranks = (0..all.len()).rev();
        let ranked = ranks.zip(all);
        trials.extend(ranked.map(|(rank, relaxed)| (rank, missing, cause, relaxed)));
    }
    trials.sort_by(|a, b| a.0.cmp(&b.0).then(b.1.total_cmp(&a.1)));
    let skipped = trials.split_off(trials.len().min(prepared.further_plans()));
    let mut waiting: BTreeMap<Constraint, VecDeque<Relaxed>> = BTreeMap::new();
    for (_, _, cause, relaxed) in trials {
        waiting.entry(cause).or_default().push_front(relaxed);
    }
    let skipped = skipped.into_iter().map(|(_, _, cause, _)| cause);
    (waiting.into_iter().collect(), skipped.collect())
}

/// A permit lifts rules and bans alike, so it is tried once.
fn tried_as(cause: Constraint) -> Constraint {
    match cause {
        Constraint::Ban => Constraint::WateringRules,
        other => other,
    }
}

/// What is missing by zone, whatever the cause: dry hours of seed layer and
/// root zone, the share of the soak not given.
struct Missing(BTreeMap<(usize, ShortfallKind), f64>);

impl Missing {
    fn of(found: &[Shortfall]) -> Self {
        let mut missing = BTreeMap::new();
        for short in found {
            *missing.entry((short.zone, short.kind)).or_insert(0.0) += missing_of(short);
        }
        Self(missing)
    }

    fn of_zone(&self, shortfall: &Shortfall) -> f64 {
        let key = (shortfall.zone, shortfall.kind);
        self.0.get(&key).copied().unwrap_or(0.0)
    }

    /// Of all zones, whatever is dry.
    fn dry_hours(&self) -> f64 {
        let dry = self.0.iter();
        let dry = dry.filter(|((_, kind), _)| *kind != ShortfallKind::PreSoakIncomplete);
        dry.map(|(_, hours)| hours).sum()
    }
}

/// What is good for one zone can dry the others.
fn harm(before_h: f64, after_h: f64) -> String {
    match after_h > before_h + 0.05 {
        true => format!("; but {after_h:.1} instead of {before_h:.1} in all zones together"),
        false => String::new(),
    }
}

/// A quantity and how the site file writes it, quotes included: rounded as it
/// is `shown` to people, but without groups of thousands, which a file refuses.
fn as_written<Q: FromStr>(exact: Q, shown: &str) -> (Q, String) {
    let written = shown.replace(',', "");
    (written.parse().unwrap_or(exact), format!("\"{written}\""))
}

fn missing_of(short: &Shortfall) -> f64 {
    match short.kind {
        ShortfallKind::PreSoakIncomplete => short.worst_ratio,
        _ => short.hours_dry + short.night_hours_dry,
    }
}

fn told(words: &str, kind: ShortfallKind, missing: f64, left: f64) -> String {
    match (kind, left > 0.0) {
        (ShortfallKind::PreSoakIncomplete, false) => format!("{words}: gives the whole soak"),
        (ShortfallKind::PreSoakIncomplete, true) => {
            let given = 100.0 * (1.0 - left);
            format!("{words}: gives {given:.0} % of the soak")
        }
        (_, false) => format!("{words}: leaves no dry hours"),
        (_, true) => {
            format!("{words}: leaves {left:.1} of the zone's {missing:.1} dry hours")
        }
    }
}

fn relaxations(prepared: &Prepared, cause: Constraint) -> Vec<Relaxed> {
    let site = prepared.site();
    let with = |words: String, change: &dyn Fn(&mut Site)| {
        let mut relaxed = site.clone();
        change(&mut relaxed);
        Relaxed {
            words,
            site: relaxed,
        }
    };
    match cause {
        // The person who asked can end it.
        Constraint::Hold => Vec::new(),
        Constraint::Supply => [1.25, 1.5, 2.0, 3.0]
            .into_iter()
            .map(|factor| {
                let flow = site.supply.flow * factor;
                let (flow, written) = as_written(flow, &flow.show(site.units));
                let words = format!("supply.flow = {written}");
                with(words, &|site| site.supply.flow = flow)
            })
            .collect(),
        Constraint::WateringRules | Constraint::Ban => {
            let permit = permit_for(site, prepared.span());
            let words = format!(
                "a permit for any hour (rules.exception = [{{ name = \"{PERMIT}\", from = \"{}\", \
                 to = \"{}\", effect = \"permit\" }}], in place of every other)",
                permit.from, permit.to
            );
            vec![with(words, &|site| {
                site.rules.exceptions = vec![permit.clone()];
            })]
        }
        Constraint::DailyMost => [1.5, 2.0]
            .into_iter()
            .filter_map(|factor| {
                let most = site.rules.most_per_day? * factor;
                let (most, written) = as_written(most, &most.show(site.units));
                let words = format!("rules.most-per-day = {written}");
                Some(with(words, &|site| site.rules.most_per_day = Some(most)))
            })
            .collect(),
        Constraint::QuietWindow => vec![
            with(
                halved(
                    "drying time",
                    "dry-before",
                    "[[quiet]]",
                    &mut site.quiet_windows.iter().map(|window| window.dry_before),
                ),
                &|site| {
                    for window in &mut site.quiet_windows {
                        window.dry_before = half(window.dry_before).0;
                    }
                },
            ),
            with(
                "no one on the grass (every [[quiet]] taken out)".into(),
                &|site| site.quiet_windows.clear(),
            ),
        ],
        Constraint::Wind => [1.25, 1.5]
            .into_iter()
            .filter_map(|factor| {
                let limit = Speed::from_m_per_s(site.wind_limit?.m_per_s() * factor);
                let (limit, written) = as_written(limit, &limit.show(site.units));
                let words = format!("limits.wind = {written} (or sprinklers nearer to the ground)");
                Some(with(words, &|site| site.wind_limit = Some(limit)))
            })
            .collect(),
        Constraint::Night => {
            let hour = TimeDelta::hours(1);
            let before_sunset = (site.night.dry_before_sunset - hour).max(TimeDelta::zero());
            let before_sunrise = (site.night.start_before_sunrise + hour).min(LONGEST_NIGHT_TIME);
            let (before_sunset, evening) = time_as_written(before_sunset);
            let (before_sunrise, morning) = time_as_written(before_sunrise);
            let words = format!(
                "an hour nearer to the night (night.dry-before-sunset = {evening}, \
                 night.start-before-sunrise = {morning})"
            );
            vec![with(words, &|site| {
                site.night.dry_before_sunset = before_sunset;
                site.night.start_before_sunrise = before_sunrise;
            })]
        }
        Constraint::SoakTime => vec![with(
            halved(
                "soak time between runs",
                "runs.soak-time",
                "zone",
                &mut site.zones.iter().map(|zone| zone.runs.soak_time),
            ),
            &|site| {
                for zone in &mut site.zones {
                    zone.runs.soak_time = half(zone.runs.soak_time).0;
                }
            },
        )],
        Constraint::Intake | Constraint::Frost | Constraint::PlanStart => Vec::new(),
    }
}

/// A time span and how the site file writes it, as it is shown to people.
fn time_as_written(exact: TimeDelta) -> (TimeDelta, String) {
    let written = show_duration(exact);
    let planned = parse_duration(&written).unwrap_or(exact);
    (planned, format!("\"{written}\""))
}

/// Half a time span, as it is written.
fn half(time: TimeDelta) -> (TimeDelta, String) {
    time_as_written(time / 2)
}

/// Half of a time that every zone or window has; the new one in the words of
/// the file where it is one for all.
fn halved(what: &str, key: &str, of: &str, times: &mut dyn Iterator<Item = TimeDelta>) -> String {
    let halves: BTreeSet<(TimeDelta, String)> = times.map(half).collect();
    let which = match halves.first().filter(|_| halves.len() == 1) {
        Some((_, written)) => format!("{key} = {written} in every {of}"),
        None => format!("{key} halved in every {of}"),
    };
    format!("half the {what} ({which})")
}

fn permit_for(site: &Site, span: &Span) -> RuleException {
    let time_zone = site.place.time_zone;
    RuleException {
        name: PERMIT.into(),
        from: date_of(time_zone, span.begin),
        to: date_of(time_zone, span.to),
        zones: Vec::new(),
        effect: ExceptionEffect::Permit { hours: Vec::new() },
    }
}

/// What to say when relaxing the cause alone does not mend it. None of this
/// was planned with, which is said; a top-dressing is not named: tried on
/// several sites, peat and sand made the seed drier than bare ground.
fn last_resort(shortfall: &Shortfall, zone: &Zone) -> &'static str {
    let is_soak = shortfall.kind == ShortfallKind::PreSoakIncomplete;
    let is_seed = shortfall.kind == ShortfallKind::SeedLayerDry;
    let is_shaded = match zone.seeding.cover.map(|cover| cover.material) {
        Some(CoverMaterial::Mulch { .. }) => true,
        Some(CoverMaterial::Sheet { transmission }) => transmission <= HEAVY_SHEET,
        None => false,
    };
    match shortfall.cause {
        Constraint::Intake if !is_soak => {
            "not tried: the soil takes too little at once; sprinklers with a lower rate may help"
        }
        Constraint::Frost => "not tried: water by hand when the air is warmer, or sow later",
        Constraint::PlanStart => "not tried: begin the plan earlier, or sow later",
        _ if is_soak => "not tried: sow some days later, or soak by hand what is missing",
        Constraint::SoakTime => "not tried: longer runs may help",
        _ if is_seed && is_shaded => "not tried: sowing in cooler weeks may help",
        _ if is_seed => {
            "not tried: a heavy sheet or a mulch over the seed, or sowing in cooler weeks, may help"
        }
        _ => "not tried: more water at each run, or a day of watering by hand, may help",
    }
}
