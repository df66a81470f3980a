//! One zone's panel of the picture.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Utc};

use super::chart_svg::{DayMark, LEFT, Scale, escaped, most_rain, text_width};
use super::format::{depth, fixed, volume};
use super::model::{View, ZoneView};
use super::words;
use crate::plan::timetable::{BalanceHour, Stage};
use crate::units::Depth;

/// Heights within a panel, from its top.
const STRIP: f64 = 22.0;
const STRIP_HEIGHT: f64 = 15.0;
const PLOT: f64 = 37.0;
const PLOT_HEIGHT: f64 = 76.0;
const WATER_HEIGHT: f64 = 20.0;
/// The plot ends at this share of the allowed depletion; more is cut off.
const TOP_SHARE: f64 = 1.5;

/// Where a panel is.
pub(super) struct Frame<'a> {
    /// The common time axis.
    pub(super) scale: Scale,
    /// Upper edge.
    pub(super) top: f64,
    /// Days for the grid.
    pub(super) days: &'a [DayMark],
}

impl Frame<'_> {
    fn floor(&self) -> f64 {
        self.top + PLOT + PLOT_HEIGHT
    }

    /// Height of a share of the allowed depletion: drier is higher.
    fn y(&self, share: f64) -> f64 {
        self.floor() - share.clamp(0.0, TOP_SHARE) / TOP_SHARE * PLOT_HEIGHT
    }

    fn end(&self) -> f64 {
        LEFT + self.scale.width
    }
}

/// Appends the panel of a zone.
pub(super) fn append(svg: &mut String, view: &View<'_>, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    let _ = writeln!(svg, "<g><title>{}</title>", escaped(&zone.zone.name));
    heading(svg, view, zone, frame);
    stages(svg, view, zone, frame);
    background(svg, zone, frame);
    depletion(svg, zone, frame);
    rain(svg, view, zone, frame);
    lines(svg, frame);
    watering(svg, view, zone, frame);
    svg.push_str("</g>\n");
}

fn heading(svg: &mut String, view: &View<'_>, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    let sums = format!(
        "{}, {}, dry {} h by day, {} h by night",
        words::count(zone.totals.runs, "run", "runs"),
        volume(zone.totals.volume, view.units()),
        fixed(zone.totals.dry_daylight_hours, 1),
        fixed(zone.totals.dry_night_hours, 1)
    );
    let y = frame.top + 15.0;
    let _ = writeln!(
        svg,
        "<text class=\"zone\" x=\"{LEFT}\" y=\"{y:.1}\">{}</text>\
         <text class=\"small\" x=\"{:.1}\" y=\"{y:.1}\" text-anchor=\"end\">{}</text>",
        escaped(&zone.zone.name),
        frame.end(),
        escaped(&sums)
    );
}

fn colour(stage: Stage) -> &'static str {
    match stage {
        Stage::PreSoak => "#a9c9ea",
        Stage::Rest => "#e4e0d6",
        Stage::Germination => "#f3dc9b",
        Stage::Emergence => "#d5e59a",
        Stage::Establishment => "#a9d39a",
        Stage::Maintenance => "#7fba84",
    }
}

fn stages(svg: &mut String, view: &View<'_>, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    let stages = &zone.plan.stages;
    for (index, &(from, stage)) in stages.iter().enumerate() {
        let to = stages.get(index + 1).map_or(view.plan.to, |next| next.0);
        let (left, right) = (frame.scale.x(from), frame.scale.x(to));
        if right <= left {
            continue;
        }
        let _ = write!(
            svg,
            "<rect x=\"{left:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{STRIP_HEIGHT}\" fill=\"{}\"/>",
            frame.top + STRIP,
            right - left,
            colour(stage)
        );
        let candidates = [
            stage_label(view, zone, stage, (from, to)),
            words::stage(stage).into(),
            words::stage_in_short(stage).into(),
        ];
        let fits = |text: &&String| text_width(text) + 5.0 <= right - left;
        if let Some(text) = candidates.iter().find(fits) {
            let _ = write!(
                svg,
                "<text class=\"stage\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
                left + 4.0,
                frame.top + STRIP + 11.0,
                escaped(text)
            );
        }
    }
    svg.push('\n');
}

/// `germination, 0.70 mm allowed`, with both ends where it grows.
fn stage_label(
    view: &View<'_>,
    zone: &ZoneView<'_>,
    stage: Stage,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
) -> String {
    let within =
        |hour: &&BalanceHour| hour.start >= from && hour.start < to && hour.allowed_mm > 0.0;
    let mut hours = zone.plan.hours.iter().filter(within);
    let text = |hour: &BalanceHour| depth(Depth::from_mm(hour.allowed_mm), view.units());
    let Some(first) = hours.next() else {
        return words::stage(stage).into();
    };
    let (first, last) = (text(first), text(hours.next_back().unwrap_or(first)));
    match first == last {
        true => format!("{}, {first} allowed", words::stage(stage)),
        false => format!("{}, {first} to {last} allowed", words::stage(stage)),
    }
}

/// Plot, nights and days.
fn background(svg: &mut String, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    let (top, width) = (frame.top + PLOT, frame.scale.width);
    let _ = write!(
        svg,
        "<rect class=\"plot\" x=\"{LEFT}\" y=\"{top:.1}\" width=\"{width:.1}\" \
         height=\"{PLOT_HEIGHT}\"/><path class=\"night\" d=\""
    );
    for night in zone.plan.hours.chunk_by(|a, b| a.daylight == b.daylight) {
        if let ([first, ..], Some(last)) = (night, night.last())
            && !first.daylight
        {
            let (left, right) = (frame.scale.x(first.start), frame.scale.x(end_of(last)));
            let _ = write!(
                svg,
                "M{left:.1} {top:.1}V{:.1}H{right:.1}V{top:.1}Z",
                frame.floor()
            );
        }
    }
    svg.push_str("\"/><path class=\"grid\" d=\"");
    for day in frame.days {
        let _ = write!(svg, "M{:.1} {top:.1}V{:.1}", day.x, frame.floor());
    }
    let _ = writeln!(
        svg,
        "M{LEFT} {y:.1}H{:.1}\"/>",
        frame.end(),
        y = frame.y(0.5)
    );
}

fn end_of(hour: &BalanceHour) -> DateTime<Utc> {
    hour.start + TimeDelta::hours(1)
}

/// The depletion as an area and a line; what is beyond the allowed in red.
fn depletion(svg: &mut String, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    let mut line = String::with_capacity(zone.plan.hours.len() * 14);
    let mut red = String::new();
    let mut cut = String::new();
    for hour in &zone.plan.hours {
        let x = frame.scale.x(end_of(hour));
        let (worst, end) = (
            share(hour, hour.worst_depletion_mm),
            share(hour, hour.depletion_mm),
        );
        let _ = write!(line, "L{x:.1} {:.1}", frame.y(worst));
        if worst - end > 0.01 {
            let _ = write!(line, "V{:.1}", frame.y(end));
        }
        if worst > 1.0 {
            let left = frame.scale.x(hour.start);
            let (low, high) = (frame.y(1.0), frame.y(worst));
            let _ = write!(red, "M{left:.1} {low:.1}V{high:.1}H{x:.1}V{low:.1}Z");
            if worst > TOP_SHARE {
                let _ = write!(cut, "M{left:.1} {high:.1}H{x:.1}");
            }
        }
    }
    let first = zone
        .plan
        .hours
        .first()
        .map_or(0.0, |hour| share(hour, hour.depletion_mm));
    let start = format!("{LEFT} {:.1}", frame.y(first));
    let last = zone
        .plan
        .hours
        .last()
        .map_or(LEFT, |hour| frame.scale.x(end_of(hour)));
    let floor = frame.floor();
    let _ = write!(
        svg,
        "<path class=\"area\" d=\"M{LEFT} {floor:.1}L{start}{line}L{last:.1} {floor:.1}Z\"/>\
         <path class=\"line\" d=\"M{start}{line}\"/>"
    );
    if !red.is_empty() {
        let _ = write!(svg, "<path class=\"over\" d=\"{red}\"/>");
    }
    if !cut.is_empty() {
        let _ = write!(svg, "<path class=\"cut\" d=\"{cut}\"/>");
    }
    svg.push('\n');
}

fn share(hour: &BalanceHour, depletion_mm: f64) -> f64 {
    if hour.allowed_mm > 0.0 {
        depletion_mm / hour.allowed_mm
    } else {
        0.0
    }
}

/// Bars that hang from the top.
fn rain(svg: &mut String, view: &View<'_>, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    const TALLEST: f64 = 30.0;
    let most = most_rain(view);
    if most <= 0.0 {
        return;
    }
    svg.push_str("<path class=\"rain\" d=\"");
    for hour in zone.plan.hours.iter().filter(|hour| hour.all_rain_mm > 0.0) {
        let (left, right) = (frame.scale.x(hour.start), frame.scale.x(end_of(hour)));
        let right = right.max(left + 1.5);
        let tall = (hour.all_rain_mm / most * TALLEST).max(1.5);
        let top = frame.top + PLOT;
        let _ = write!(svg, "M{left:.1} {top:.1}v{tall:.1}H{right:.1}V{top:.1}Z");
    }
    svg.push_str("\"/>\n");
}

/// The allowed depletion, the base, and the names of the axis.
fn lines(svg: &mut String, frame: &Frame<'_>) {
    let (end, floor, allowed) = (frame.end(), frame.floor(), frame.y(1.0));
    let label = LEFT - 6.0;
    let _ = write!(
        svg,
        "<path class=\"allowed\" d=\"M{LEFT} {allowed:.1}H{end:.1}\"/>\
         <path class=\"base\" d=\"M{LEFT} {floor:.1}H{end:.1}\"/>"
    );
    let labels = [
        ("150 %", frame.y(TOP_SHARE)),
        ("100 %", allowed),
        ("50 %", frame.y(0.5)),
        ("0 %", floor),
    ];
    for (text, y) in labels {
        let _ = write!(
            svg,
            "<text class=\"small\" x=\"{label}\" y=\"{:.1}\" text-anchor=\"end\">{text}</text>",
            y + 3.5
        );
    }
    svg.push('\n');
}

/// A tick a run below the base, longer for a deeper one.
fn watering(svg: &mut String, view: &View<'_>, zone: &ZoneView<'_>, frame: &Frame<'_>) {
    const SHORTEST: f64 = 5.0;
    let runs = || view.runs.iter().filter(|run| run.run.zone == zone.index);
    let deepest = runs().map(|run| run.run.depth.mm()).fold(0.0, f64::max);
    svg.push_str("<path class=\"water\" d=\"");
    for run in runs() {
        let share = if deepest > 0.0 {
            run.run.depth.mm() / deepest
        } else {
            0.0
        };
        let long = SHORTEST + share * (WATER_HEIGHT - SHORTEST);
        let _ = write!(
            svg,
            "M{:.1} {:.1}v{long:.1}",
            frame.scale.x(run.run.start),
            frame.floor() + 2.0
        );
    }
    svg.push_str("\"/>\n");
}
