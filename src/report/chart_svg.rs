//! The picture of a plan: a panel a zone, one below the other, with the
//! depletion as a share of what is allowed, watering, rain, nights and stages.
//!
//! Hand-written SVG 1.1 without scripts, fonts or links to elsewhere. Shares
//! instead of millimetres, because what is allowed grows twentyfold while the
//! roots go down and the first weeks would not be seen.

use std::fmt::Write as _;

use chrono::{DateTime, TimeDelta, Utc};

use super::chart_panel;
use super::columns::printable;
use super::format::depth;
use super::model::View;
use crate::site::local_time::start_of_day;
use crate::units::Depth;

/// Space left of the plot, for names of the axis.
pub(super) const LEFT: f64 = 58.0;
const RIGHT: f64 = 18.0;
const TOP: f64 = 104.0;
const BOTTOM: f64 = 34.0;
/// Height of a panel with the gap below it.
pub(super) const PANEL: f64 = 152.0;

const STYLE: &str = "\
text{font-family:system-ui,-apple-system,'Segoe UI',Helvetica,Arial,sans-serif;font-size:12px;\
fill:#2b2f2a}\
.title{font-size:20px;font-weight:600}.sub{fill:#5d645b}.zone{font-size:14px;font-weight:600}\
.small{font-size:10.5px;fill:#5d645b}.stage{font-size:10.5px;fill:#1f241e}\
.night{fill:#dfe4ec}.plot{fill:#fbfaf6}.grid{stroke:#c9cdc4;stroke-width:.6;fill:none}\
.base{stroke:#8c9288;stroke-width:1;fill:none}.area{fill:#d9b77c;fill-opacity:.65}\
.line{stroke:#8a5a14;stroke-width:1.1;fill:none;stroke-linejoin:round}\
.over{fill:#c8321f;fill-opacity:.8}.allowed{stroke:#b3261e;stroke-width:1.1;\
stroke-dasharray:5 3;fill:none}.water{stroke:#12796f;stroke-width:1.6;fill:none}\
.rain{fill:#2f6fc4;fill-opacity:.8}.cut{stroke:#4a0d06;stroke-width:3;fill:none}";

/// Where times are on the picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    from: DateTime<Utc>,
    seconds: f64,
    /// Width of the plot.
    pub(super) width: f64,
}

impl Scale {
    fn new(view: &View<'_>) -> Self {
        const PER_DAY: f64 = 44.0;
        let seconds = seconds(view.plan.to - view.plan.from).max(1.0);
        let width = (seconds / 86_400.0 * PER_DAY).clamp(880.0, 2600.0);
        Self {
            from: view.plan.from,
            seconds,
            width,
        }
    }

    /// Horizontal place of an instant, within the plot.
    pub(super) fn x(&self, time: DateTime<Utc>) -> f64 {
        let share = seconds(time - self.from) / self.seconds;
        LEFT + share.clamp(0.0, 1.0) * self.width
    }

    fn px_per_day(&self) -> f64 {
        self.width * 86_400.0 / self.seconds
    }
}

fn seconds(span: TimeDelta) -> f64 {
    span.as_seconds_f64()
}

/// The picture of all zones of the view as an SVG document.
#[must_use]
pub fn chart_svg(view: &View<'_>) -> String {
    let scale = Scale::new(view);
    let width = LEFT + scale.width + RIGHT;
    let panels: f64 = view.zones.iter().map(|_| PANEL).sum();
    let height = TOP + panels + BOTTOM;
    let mut svg = String::with_capacity(view.zones.len() * 32_768 + 4096);
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width:.0} {height:.0}\" \
         width=\"{width:.0}\" height=\"{height:.0}\" role=\"img\">\n\
         <title>{name}: depletion, watering and rain</title>\n\
         <style>{STYLE}</style>\n\
         <rect width=\"{width:.0}\" height=\"{height:.0}\" fill=\"#ffffff\"/>\n",
        name = escaped(&view.site.name)
    );
    head(&mut svg, view);
    let labels = day_labels(view, scale);
    for (number, zone) in view.zones.iter().enumerate() {
        let top = TOP + f64::from(u32::try_from(number).unwrap_or(u32::MAX)) * PANEL;
        chart_panel::append(
            &mut svg,
            view,
            zone,
            &chart_panel::Frame {
                scale,
                top,
                days: &labels,
            },
        );
    }
    axis(&mut svg, scale, &labels, TOP - 10.0);
    axis(&mut svg, scale, &labels, TOP + panels + 8.0);
    svg.push_str("</svg>\n");
    svg
}

fn head(svg: &mut String, view: &View<'_>) {
    let (Some(first), Some(last)) = (view.days.first(), view.days.last()) else {
        return;
    };
    let span = format!(
        "{} to {}, local time of {}",
        first.date.format("%-d %B"),
        last.date.format("%-d %B %Y"),
        view.site.place.time_zone
    );
    let _ = write!(
        svg,
        "<text class=\"title\" x=\"{LEFT}\" y=\"32\">{}</text>\n\
         <text class=\"sub\" x=\"{LEFT}\" y=\"52\">Depletion of each zone as a share of what is \
         allowed. {}</text>\n",
        escaped(&view.site.name),
        escaped(&span)
    );
    legend(svg, view);
}

fn legend(svg: &mut String, view: &View<'_>) {
    let rain = match most_rain(view) {
        most if most > 0.0 => {
            format!(
                "rain, tallest bar {} in an hour",
                depth(Depth::from_mm(most), view.units())
            )
        }
        _ => "rain (none)".to_string(),
    };
    let entries: [(&str, String); 7] = [
        (
            "<rect class=\"area\" y=\"-8\" width=\"16\" height=\"9\"/>",
            "depletion".into(),
        ),
        (
            "<rect class=\"over\" y=\"-8\" width=\"16\" height=\"9\"/>",
            "drier than allowed".into(),
        ),
        (
            "<path class=\"cut\" d=\"M0 -7H16\"/>",
            "over 150 %, cut off".into(),
        ),
        ("<path class=\"allowed\" d=\"M0 -4H16\"/>", "allowed".into()),
        (
            "<path class=\"water\" d=\"M3 -8V1M8 -8V1M13 -8V1\"/>",
            "watering, longer is deeper".into(),
        ),
        (
            "<rect class=\"rain\" x=\"4\" y=\"-8\" width=\"5\" height=\"9\"/>",
            rain,
        ),
        (
            "<rect class=\"night\" y=\"-8\" width=\"16\" height=\"9\"/>",
            "night".into(),
        ),
    ];
    let mut x = LEFT;
    for (mark, text) in entries {
        let _ = writeln!(
            svg,
            "<g transform=\"translate({x:.0} 74)\">{mark}<text class=\"small\" x=\"21\">{}</text></g>",
            escaped(&text)
        );
        x += 21.0 + text_width(&text) + 22.0;
    }
}

/// Most rain in an hour [mm], the same on every zone.
pub(super) fn most_rain(view: &View<'_>) -> f64 {
    let hours = view.zones.first().map_or(&[][..], |zone| &zone.plan.hours);
    hours
        .iter()
        .map(|hour| hour.all_rain_mm)
        .fold(0.0, f64::max)
}

/// A local day's beginning, and the label it carries, if any.
pub(super) struct DayMark {
    /// Where it begins.
    pub(super) x: f64,
    label: Option<String>,
}

fn day_labels(view: &View<'_>, scale: Scale) -> Vec<DayMark> {
    const LABEL_WIDTH: f64 = 46.0;
    let steps = [1_usize, 2, 7, 14, 28];
    let per_day = scale.px_per_day();
    let wide = |step: &usize| f64::from(u32::try_from(*step).unwrap_or(1)) * per_day >= LABEL_WIDTH;
    let step = steps.into_iter().find(wide).unwrap_or(56);
    let marks = view.days.iter().enumerate().map(|(index, day)| {
        let form = if per_day > 90.0 {
            "%a %-d %b"
        } else {
            "%-d %b"
        };
        DayMark {
            x: scale.x(start_of_day(view.site.place.time_zone, day.date)),
            label: (index % step == 0).then(|| day.date.format(form).to_string()),
        }
    });
    marks.collect()
}

fn axis(svg: &mut String, scale: Scale, days: &[DayMark], y: f64) {
    let end = LEFT + scale.width;
    for day in days {
        let Some(label) = &day.label else { continue };
        if day.x + 3.0 + text_width(label) <= end + RIGHT {
            let _ = writeln!(
                svg,
                "<text class=\"small\" x=\"{:.1}\" y=\"{y:.1}\">{label}</text>",
                day.x + 3.0
            );
        }
    }
}

/// Rough width of a small text in px, for what must fit.
pub(super) fn text_width(text: &str) -> f64 {
    const PER_COLUMN: f64 = 5.9;
    f64::from(u32::try_from(super::columns::width(text)).unwrap_or(u32::MAX)) * PER_COLUMN
}

/// Text that is safe between tags and in attributes.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in printable(text).chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Not characters in XML 1.0.
            '\u{fffe}' | '\u{ffff}' => out.push(' '),
            other => out.push(other),
        }
    }
    out
}
