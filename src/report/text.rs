//! The timetable as text for a person: 80 columns, good in a pipe.

use super::chart_text;
use super::columns::{HEADING, PAGE, painted, paragraph};
use super::legend::Printed;
use super::model::View;
use super::{cautions, day_view, header, lists, seed_time, summary};

/// Days that are always told in full.
const DAYS_IN_FULL: usize = 2;

/// How much of the timetable is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Detail {
    /// The first two days in full, then a line a day.
    #[default]
    Brief,
    /// Every day in full.
    Full,
}

/// The timetable for a person. Styled with escapes: strip them where colour
/// is not wanted.
#[must_use]
pub fn timetable_text(view: &View<'_>, detail: Detail) -> String {
    let mut out = String::with_capacity(8192);
    header::append(&mut out, view);
    if view.doubts.iter().any(|doubt| !doubt.grave) {
        heading(&mut out, "Doubtful in the site file");
        lists::doubts(&mut out, view, detail);
    }
    if !view.weather.remarks.is_empty() {
        heading(&mut out, "Remarks on the weather");
        lists::weather_remarks(&mut out, view, detail);
    }
    heading(&mut out, "Zones");
    summary::zones(&mut out, view, detail);
    let in_full = match detail {
        Detail::Brief => DAYS_IN_FULL.min(view.days.len()),
        Detail::Full => view.days.len(),
    };
    let mut printed = Printed::default();
    for day in &view.days[..in_full] {
        out.push('\n');
        day_view::append(&mut out, view, day, &mut printed);
    }
    printed.explain(&mut out);
    if in_full < view.days.len() {
        heading(&mut out, "A line a day (every run: --full)");
        summary::days(&mut out, view, &view.days[in_full..]);
    }
    heading(&mut out, "Totals");
    summary::totals(&mut out, view);
    not_met_and_notes(&mut out, view, detail);
    if !view.milestones.is_empty() {
        heading(&mut out, "Dates that matter");
        lists::milestones(&mut out, view);
    }
    heading(&mut out, "Depletion, as a share of what is allowed");
    chart_text::append(&mut out, view, detail);
    let mut defaults = view.site.defaults_used.iter();
    if defaults.any(crate::site::DefaultUsed::shapes_the_plan) {
        heading(&mut out, "Defaults used, where the site file is silent");
        lists::defaults(&mut out, view, detail);
    }
    heading(&mut out, "Please mind");
    for caution in cautions::CAUTIONS {
        paragraph(&mut out, "- ", caution, PAGE);
    }
    out
}

fn not_met_and_notes(out: &mut String, view: &View<'_>, detail: Detail) {
    let too_cold = seed_time::cold_zones(view);
    if view.shortfalls().next().is_some() || !too_cold.is_empty() {
        heading(out, "What cannot be met");
        for (text, zones) in too_cold {
            paragraph(out, "  ", &format!("{}: {text}", view.who(&zones)), PAGE);
        }
        lists::shortfalls(out, view, detail);
    }
    if view.notes().next().is_some() {
        heading(out, "Notes");
        lists::notes(out, view);
    }
}

fn heading(out: &mut String, text: &str) {
    out.push('\n');
    out.push_str(&painted(HEADING, text));
    out.push('\n');
}
