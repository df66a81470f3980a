//! The picture of a backtest: for every zone and soil the moisture around the
//! seed in the driest quarter, under the plan and under fixed practice.
//!
//! Hand-written SVG 1.1 without scripts, fonts or links to elsewhere.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Utc};

use super::chart_svg::escaped;
use super::format::fixed;
use super::local_time::short_day;
use crate::backtest::result::{Backtest, Chosen, PracticeResult, SoilResult, ZoneResult};
use crate::backtest::tally::Outcome;
use crate::site::Site;
use crate::site::local_time::{date_of, next_day, start_of_day};

const LEFT: f64 = 58.0;
const RIGHT: f64 = 18.0;
const TOP: f64 = 62.0;
const PANEL: f64 = 190.0;
const PLOT: f64 = 130.0;
const PX_PER_DAY: f64 = 56.0;
/// Shares of available water at the bottom and the top of a plot.
const SHARES: (f64, f64) = (-0.25, 1.5);

const STYLE: &str = "\
text{font-family:system-ui,-apple-system,'Segoe UI',Helvetica,Arial,sans-serif;font-size:12px;\
fill:#2b2f2a}\
.title{font-size:20px;font-weight:600}.small{font-size:10.5px;fill:#5d645b}\
.plot{fill:#fbfaf6}.grid{stroke:#c9cdc4;stroke-width:.6;fill:none}\
.allowed{stroke:#b3261e;stroke-width:1.1;stroke-dasharray:5 3;fill:none}\
.sown{stroke:#8c9288;stroke-width:1;fill:none}\
.plan{stroke:#12796f;stroke-width:1.4;fill:none;stroke-linejoin:round}\
.practice{stroke:#c98a1b;stroke-width:1.1;fill:none;stroke-linejoin:round}";

/// The picture of all zones and soils as an SVG document.
#[must_use]
pub fn backtest_svg(found: &Backtest, site: &Site) -> String {
    let panels: Vec<Panel> = found
        .zones
        .iter()
        .flat_map(|zone| {
            zone.soils
                .iter()
                .map(move |soil| Panel { zone, soil, site })
        })
        .collect();
    let width = panels.iter().map(Panel::width).fold(640.0, f64::max) + LEFT + RIGHT;
    let mut out = String::new();
    let mut y = TOP;
    for panel in &panels {
        panel.draw(&mut out, y);
        y += PANEL;
    }
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}\" height=\"{h}\" \
         viewBox=\"0 0 {w} {h}\" role=\"img\">\n<title>{name}: backtest</title>\n\
         <style>{STYLE}</style>\n<rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n\
         <text class=\"title\" x=\"{LEFT}\" y=\"28\">{name}: backtest</text>\n\
         <text class=\"small\" x=\"{LEFT}\" y=\"46\">Share of available water in the top 3 mm, \
         driest quarter: 1 is field capacity, 0 the wilting point.</text>\n{out}</svg>\n",
        w = fixed(width, 0),
        h = fixed(y, 0),
        name = escaped(&found.site),
    )
}

struct Panel<'a> {
    zone: &'a ZoneResult,
    soil: &'a SoilResult,
    site: &'a Site,
}

impl Panel<'_> {
    fn width(&self) -> f64 {
        (self.zone.judged_to - self.zone.begin).as_seconds_f64() / 86_400.0 * PX_PER_DAY
    }

    fn x(&self, at: DateTime<Utc>) -> f64 {
        LEFT + (at - self.zone.begin).as_seconds_f64() / 86_400.0 * PX_PER_DAY
    }

    fn draw(&self, out: &mut String, top: f64) {
        let compared = self.compared();
        let label = match compared {
            Some(practice) => format!(
                "{}, {}: plan (green) beside {} fixed runs a day of {} s (amber)",
                self.zone.name,
                self.soil.table,
                practice.runs_per_day,
                practice.length_s.unwrap_or(0)
            ),
            None => format!("{}, {}: plan", self.zone.name, self.soil.table),
        };
        let _ = writeln!(
            out,
            "<text x=\"{LEFT}\" y=\"{}\">{}</text>",
            fixed(top + 12.0, 1),
            escaped(&label)
        );
        let plot = top + 20.0;
        self.frame(out, plot);
        if let Some(outcome) = compared.and_then(|practice| practice.outcome.as_ref()) {
            self.line(out, "practice", &outcome.driest, plot);
        }
        self.line(out, "plan", &self.soil.plan.driest, plot);
    }

    /// The cheapest practice as moist or, where none is, the first by rule
    /// of thumb.
    fn compared(&self) -> Option<&PracticeResult> {
        let cheapest = self.soil.verdict.cheapest_practice;
        let practices = &self.soil.practices;
        practices
            .iter()
            .find(|p| p.chosen == Chosen::AsMoist && Some(p.name) == cheapest)
            .or_else(|| practices.iter().find(|p| p.chosen == Chosen::RuleOfThumb))
    }

    fn frame(&self, out: &mut String, plot: f64) {
        let width = self.width();
        let _ = writeln!(
            out,
            "<rect class=\"plot\" x=\"{LEFT}\" y=\"{}\" width=\"{}\" height=\"{PLOT}\"/>",
            fixed(plot, 1),
            fixed(width, 1)
        );
        for share in [0.0, 0.5, 1.0, 1.5] {
            let y = y(share, plot);
            let _ = writeln!(
                out,
                "<path class=\"grid\" d=\"M{LEFT} {y}h{}\"/><text class=\"small\" x=\"{}\" \
                 y=\"{y}\" text-anchor=\"end\">{}</text>",
                fixed(width, 1),
                fixed(LEFT - 6.0, 1),
                fixed(share, 1)
            );
        }
        let _ = writeln!(
            out,
            "<path class=\"allowed\" d=\"M{LEFT} {}h{}\"/>",
            y(1.0 - self.zone.allowed_depletion, plot),
            fixed(width, 1)
        );
        let _ = writeln!(
            out,
            "<path class=\"sown\" d=\"M{} {}v{PLOT}\"/>",
            fixed(self.x(self.zone.sown.max(self.zone.begin)), 1),
            fixed(plot, 1)
        );
        self.days(out, plot);
    }

    fn days(&self, out: &mut String, plot: f64) {
        let time_zone = self.site.place.time_zone;
        let mut date = date_of(time_zone, self.zone.begin + TimeDelta::hours(23));
        while start_of_day(time_zone, date) < self.zone.judged_to {
            let x = fixed(self.x(start_of_day(time_zone, date)), 1);
            let day = short_day(date);
            let day = day.split_once(' ').map_or(day.as_str(), |(_, day)| day);
            let _ = writeln!(
                out,
                "<path class=\"grid\" d=\"M{x} {}v{PLOT}\"/><text class=\"small\" x=\"{x}\" \
                 y=\"{}\">{}</text>",
                fixed(plot, 1),
                fixed(plot + PLOT + 13.0, 1),
                escaped(day)
            );
            date = next_day(date);
        }
    }

    fn line(&self, out: &mut String, class: &str, outcome: &Outcome, plot: f64) {
        let _ = write!(out, "<path class=\"{class}\" d=\"");
        let mut at = self.zone.begin;
        for (index, &(_, seed)) in outcome.trace.iter().enumerate() {
            at += TimeDelta::hours(1);
            let pen = if index == 0 { 'M' } else { 'L' };
            let _ = write!(out, "{pen}{} {}", fixed(self.x(at), 1), y(seed, plot));
        }
        out.push_str("\"/>\n");
    }
}

/// The height of a share of available water.
fn y(share: f64, plot: f64) -> String {
    let (low, high) = SHARES;
    let up = (share.clamp(low, high) - low) / (high - low);
    fixed(plot + PLOT * (1.0 - up), 1)
}
