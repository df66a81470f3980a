//! The lists of the text: what is doubtful, what cannot be met, notes, dates
//! and defaults. In brief a long list ends with a count of the rest.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, NaiveDate, Utc};

use super::columns::{ALARM, PAGE, fit, painted, paragraph};
use super::format::fixed;
use super::header::night_hours;
use super::local_time::{clock, short_day};
use super::model::View;
use super::reason::cause_in_full;
use super::text::Detail;
use super::words;
use crate::plan::timetable::{Shortfall, ShortfallKind};
use crate::site::Zone;
use crate::site::local_time::date_of;

/// Defaults shown before the rest is only counted.
const MOST_DEFAULTS: usize = 12;
/// More shortfalls than this are told by cause first, and the worst after it.
const FEW_SHORTFALLS: usize = 3;
/// Zones dry by night that are shown before the rest is only counted.
const MOST_SHORTFALLS: usize = 12;
/// Doubts, and remarks on the weather, shown before the rest is only counted.
const MOST_DOUBTS: usize = 6;

/// How many entries of a list a page of this detail shows.
pub(super) fn most_of(detail: Detail, in_brief: usize) -> usize {
    match detail {
        Detail::Brief => in_brief,
        Detail::Full => usize::MAX,
    }
}

/// How many entries were left out, where any were.
pub(super) fn more(out: &mut String, count: usize, of_what: &str) {
    if count > 0 {
        let text = format!("and {count} more {of_what}: --full shows all");
        paragraph(out, "  - ", &text, PAGE);
    }
}

/// What is doubtful in the site file; what is grave stands in the head.
pub(super) fn doubts(out: &mut String, view: &View<'_>, detail: Detail) {
    let most = most_of(detail, MOST_DOUBTS);
    let mut doubts: Vec<(&str, Vec<&str>)> = Vec::new();
    for doubt in view.doubts.iter().filter(|doubt| !doubt.grave) {
        let (zone, text) = zone_and_doubt(&doubt.text, &view.site.zones);
        match doubts.iter_mut().find(|(known, _)| *known == text) {
            Some((_, zones)) => zones.extend(zone),
            None => doubts.push((text, zone.into_iter().collect())),
        }
    }
    for (text, zones) in doubts.iter().take(most) {
        let text = match zones.is_empty() {
            true => (*text).to_string(),
            false => format!("{}: {text}", view.who(zones)),
        };
        paragraph(out, "  - ", &text, PAGE);
    }
    more(out, doubts.len().saturating_sub(most), "doubts");
    let text = "`soakmist check` on the site file tells where each stands and what would help";
    paragraph(out, "  ", text, PAGE);
}

/// `zone nets: the shortest run …` is a doubt about the zone `nets`.
pub(super) fn zone_and_doubt<'a>(text: &'a str, zones: &'a [Zone]) -> (Option<&'a str>, &'a str) {
    let Some(rest) = text.strip_prefix("zone ") else {
        return (None, text);
    };
    let owner = zones.iter().find_map(|zone| {
        let doubt = rest.strip_prefix(zone.name.as_str())?.strip_prefix(": ")?;
        Some((Some(zone.name.as_str()), doubt))
    });
    owner.unwrap_or((None, text))
}

/// What is doubtful in the weather, or was estimated.
pub(super) fn weather_remarks(out: &mut String, view: &View<'_>, detail: Detail) {
    let most = most_of(detail, MOST_DOUBTS);
    let remarks = &view.weather.remarks;
    for remark in remarks.iter().take(most) {
        paragraph(out, "  - ", remark, PAGE);
    }
    more(out, remarks.len().saturating_sub(most), "remarks");
}

/// What cannot be met, why, and what would mend it.
pub(super) fn shortfalls(out: &mut String, view: &View<'_>, detail: Detail) {
    let (nightly, mut shortfalls): (Vec<_>, Vec<_>) = view
        .shortfalls()
        .partition(|(_, shortfall)| is_by_night_only(shortfall));
    // A stable sort: what is as bad stays in the order of the site.
    let is_later = |short: &Shortfall| short.kind == ShortfallKind::RootZoneDry;
    shortfalls.sort_by(|(_, a), (_, b)| {
        let by_kind = is_later(a).cmp(&is_later(b));
        by_kind.then(badness(b).total_cmp(&badness(a)))
    });
    let is_brief = detail == Detail::Brief && shortfalls.len() > FEW_SHORTFALLS;
    let mut trifles: Vec<&Shortfall> = Vec::new();
    if is_brief {
        by_cause(out, view, &shortfalls);
        shortfalls.retain(|(_, short)| {
            let is_trifle = is_trifle(short);
            if is_trifle {
                trifles.push(short);
            }
            !is_trifle
        });
    }
    let most = if is_brief { FEW_SHORTFALLS } else { usize::MAX };
    let left_out = shortfalls.len().saturating_sub(most);
    shortfalls.truncate(most);
    for (zone, shortfall) in shortfalls {
        let title = fit(
            &format!("{zone}: {}", words::shortfall(shortfall.kind)),
            PAGE - 2,
        );
        out.push_str(&format!("  {}\n", painted(ALARM, &title)));
        let label = |name: &str| format!("    {name:<6} ");
        paragraph(out, &label("when"), &spell(view, shortfall), PAGE);
        paragraph(
            out,
            &label("cause"),
            &cause_in_full(view.site, shortfall),
            PAGE,
        );
        for mend in &shortfall.mend {
            paragraph(out, &label("mend"), mend, PAGE);
        }
    }
    if left_out > 0 {
        let text = format!("and {left_out} more, less bad than these: --full shows all");
        paragraph(out, "  ", &text, PAGE);
    }
    if !trifles.is_empty() {
        let hours: f64 = trifles.iter().map(|short| short.hours_dry).sum();
        let text = format!(
            "and {} of less than half an hour, {} h in all: nothing to worry about",
            trifles.len(),
            fixed(hours, 1)
        );
        paragraph(out, "  ", &text, PAGE);
    }
    by_night(out, &nightly);
}

/// Too short by day to worry about.
fn is_trifle(shortfall: &Shortfall) -> bool {
    const TRIFLE_H: f64 = 0.5;
    shortfall.kind != ShortfallKind::PreSoakIncomplete && shortfall.hours_dry < TRIFLE_H
}

/// The verdict for the whole site, cause by cause: hours, zones and what would
/// mend the worst of it.
fn by_cause(out: &mut String, view: &View<'_>, shortfalls: &[(&str, &Shortfall)]) {
    let mut causes: BTreeMap<_, Vec<(&str, &Shortfall)>> = BTreeMap::new();
    for &(zone, shortfall) in shortfalls {
        let key = (shortfall.kind, shortfall.cause);
        causes.entry(key).or_default().push((zone, shortfall));
    }
    let hours =
        |of: &[(&str, &Shortfall)]| -> f64 { of.iter().map(|(_, short)| short.hours_dry).sum() };
    let mut causes: Vec<_> = causes.into_iter().collect();
    // What is only trifles is counted below.
    causes.retain(|(_, of)| of.iter().any(|(_, short)| !is_trifle(short)));
    causes.sort_by(|((a, _), of_a), ((b, _), of_b)| {
        a.cmp(b).then(hours(of_b).total_cmp(&hours(of_a)))
    });
    for ((kind, cause), of) in &causes {
        let mut zones: Vec<&str> = of.iter().map(|(zone, _)| *zone).collect();
        zones.dedup();
        let amount = match kind {
            ShortfallKind::PreSoakIncomplete => String::new(),
            _ => format!(" {} h,", fixed(hours(of), 1)),
        };
        let mut text = format!(
            "{}, because {}:{amount} {}",
            words::shortfall(*kind),
            words::because(*cause),
            view.who(&zones)
        );
        if let Some((zone, mend)) = of
            .first()
            .and_then(|(zone, short)| Some((zone, short.mend.first()?)))
        {
            text.push_str(&format!(". For {zone}: {mend}"));
        }
        paragraph(out, "  - ", &text, PAGE);
    }
    paragraph(out, "  ", "The worst of them:", PAGE);
}

/// A seed layer that loses next to nothing more before the morning.
fn is_by_night_only(shortfall: &Shortfall) -> bool {
    shortfall.kind == ShortfallKind::SeedLayerDry && shortfall.hours_dry < 0.05
}

/// Zones that are too dry by night alone, in one paragraph.
fn by_night(out: &mut String, nightly: &[(&str, &Shortfall)]) {
    let zones: Vec<_> = nightly.chunk_by(|(a, _), (b, _)| a == b).collect();
    if zones.is_empty() {
        return;
    }
    let shown = zones.iter().take(MOST_SHORTFALLS).map(|of_zone| {
        let hours = of_zone.iter().map(|(_, short)| short.night_hours_dry).sum();
        let worst = of_zone.iter().map(|(_, short)| short.worst_ratio);
        let worst = fixed(worst.fold(0.0, f64::max) * 100.0, 0);
        format!(
            "{} {} h (at worst {worst} %)",
            of_zone[0].0,
            night_hours(hours)
        )
    });
    let mut shown: Vec<String> = shown.collect();
    if zones.len() > shown.len() {
        shown.push(format!("{} zones more", zones.len() - shown.len()));
    }
    let text = format!(
        "by night only, of the allowed depletion: {}. Look early in the morning; a later last \
         watering or a cover may help",
        shown.join(", ")
    );
    paragraph(out, "  ", &text, PAGE);
}

/// Hours dry, those of night for little; a soak that is not given in full comes first, because all that
/// follows stands on it.
fn badness(shortfall: &Shortfall) -> f64 {
    match shortfall.kind {
        ShortfallKind::PreSoakIncomplete => f64::INFINITY,
        _ => shortfall.hours_dry + 0.1 * shortfall.night_hours_dry,
    }
}

/// From when to when, how long and how far, in one sentence.
pub(super) fn spell(view: &View<'_>, shortfall: &Shortfall) -> String {
    let zone = view.site.place.time_zone;
    let local = |time: DateTime<Utc>| {
        let local = time.with_timezone(&zone);
        format!("{} {}", short_day(local.date_naive()), clock(local, false))
    };
    let (from, to) = (local(shortfall.from), local(shortfall.to));
    if shortfall.kind == ShortfallKind::PreSoakIncomplete {
        return format!("{from} to {to}");
    }
    let night = shortfall.night_hours_dry;
    let hours = match shortfall.kind {
        ShortfallKind::SeedLayerDry if night >= 0.05 => {
            format!("h of daylight and {} h of night", night_hours(night))
        }
        ShortfallKind::SeedLayerDry => "h of daylight".to_string(),
        _ => "h".to_string(),
    };
    let by_day = fixed(shortfall.hours_dry, 1);
    let mut text = format!("{by_day} {hours} too dry between {from} and {to}");
    if shortfall.longest_h >= 0.05 {
        let longest = fixed(shortfall.longest_h, 1);
        text.push_str(&format!(", the longest spell {longest} h"));
        if shortfall.kind == ShortfallKind::SeedLayerDry {
            text.push_str(" by day");
        }
    }
    if shortfall.worst_ratio.is_finite() {
        text.push_str(&format!(
            "; at worst {} % of the allowed depletion",
            fixed(shortfall.worst_ratio * 100.0, 0)
        ));
    }
    text
}

/// Remarks; zones with the same one stand together.
pub(super) fn notes(out: &mut String, view: &View<'_>) {
    let mut merged: Vec<(&str, Vec<&str>)> = Vec::new();
    for (zone, note) in view.notes() {
        let known = merged.iter().position(|(text, _)| *text == note.text);
        let at = known.unwrap_or(merged.len());
        if known.is_none() {
            merged.push((&note.text, Vec::new()));
        }
        merged[at].1.extend(zone);
    }
    for (text, zones) in merged {
        let text = match zones.is_empty() {
            true => text.to_string(),
            false => format!("{}: {text}", view.who(&zones)),
        };
        paragraph(out, "  - ", &text, PAGE);
    }
}

/// Every date with what to do and why.
pub(super) fn milestones(out: &mut String, view: &View<'_>) {
    for milestone in &view.milestones {
        let label = format!("  {:<10}  ", day_of_plan(view, milestone.date));
        let text = format!(
            "{} ({}): {}",
            words::milestone(milestone.kind),
            view.who(&milestone.zones),
            milestone.text
        );
        paragraph(out, &label, &text, PAGE);
    }
}

/// `Sun 20 Aug`, with its year where it is not one of the plan's.
fn day_of_plan(view: &View<'_>, date: NaiveDate) -> String {
    let time_zone = view.site.place.time_zone;
    let years = [view.plan.from, view.plan.to].map(|at| date_of(time_zone, at).year());
    match years.contains(&date.year()) {
        true => short_day(date),
        false => format!("{} {}", short_day(date), date.year()),
    }
}

/// Defaults, the same one of several zones on one line.
pub(super) fn defaults(out: &mut String, view: &View<'_>, detail: Detail) {
    let mut merged: Vec<(String, Vec<&str>)> = Vec::new();
    let mut place: BTreeMap<String, usize> = BTreeMap::new();
    let defaults = view.site.defaults_used.iter();
    for default in defaults.filter(|default| default.shapes_the_plan()) {
        let (zone, key) = split_key(&default.key, &view.site.zones);
        if zone.is_some_and(|name| !view.zones.iter().any(|zone| zone.zone.name == name)) {
            continue;
        }
        let text = format!("{key} = {} ({})", default.value, default.why);
        let at = *place.entry(text.clone()).or_insert(merged.len());
        if at == merged.len() {
            merged.push((text, Vec::new()));
        }
        merged[at].1.extend(zone);
    }
    let most = most_of(detail, MOST_DEFAULTS);
    for (text, zones) in merged.iter().take(most) {
        let text = match zones.is_empty() {
            true => text.clone(),
            false => format!("{}: {text}", view.who(zones)),
        };
        paragraph(out, "  - ", &text, PAGE);
    }
    more(out, merged.len().saturating_sub(most), "defaults");
}

/// `zone.nets.runs.longest` is `runs.longest` of the zone `nets`.
fn split_key<'a>(key: &'a str, zones: &'a [Zone]) -> (Option<&'a str>, &'a str) {
    let rest = key.strip_prefix("zone.").unwrap_or(key);
    let owner = zones.iter().find_map(|zone| {
        let name = zone.name.as_str();
        Some((name, rest.strip_prefix(name)?.strip_prefix('.')?))
    });
    owner.map_or((None, key), |(name, rest)| (Some(name), rest))
}
