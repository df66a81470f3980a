//! What speaks against watering a zone when a person asks for it: a plan would
//! not water then, and people may stand on the grass, or the law forbid it.

use chrono::TimeDelta;

use super::control::Control;
use super::outlook::floor;
use crate::agronomy::weather_record::GeoPosition;
use crate::plan::course::instant;
use crate::plan::timetable::Constraint;
use crate::plan::window::SiteClosures;
use crate::site::local_time::{date_of, start_of_day};
use crate::units::Volume;

/// So far ahead is looked for the end of what keeps a valve shut.
const LOOK_AHEAD: TimeDelta = TimeDelta::days(2);

impl Control {
    /// Why a plan would not water a zone for `span` from now, in words; none
    /// where it might.
    pub(super) fn objection(&self, zone: usize, span: TimeDelta) -> Option<String> {
        self.hold_of(zone)
            .or_else(|| self.closure_of(zone, span))
            .or_else(|| self.day_of(zone, span))
    }

    fn hold_of(&self, zone: usize) -> Option<String> {
        let hold = self.fields.get(zone)?.hold.as_ref()?;
        let until = self.local(hold.until);
        (hold.until > self.now.utc).then(|| match hold.note.as_str() {
            "" => format!("nothing is to water there before {until}"),
            note => format!("nothing is to water there before {until} ({note})"),
        })
    }

    /// Rules, bans, people on the grass, night, wind and frost.
    fn closure_of(&self, zone: usize, span: TimeDelta) -> Option<String> {
        let (site, now) = (&self.site, self.now.utc);
        let to = now + LOOK_AHEAD;
        let position = GeoPosition::from(&site.place);
        // Without weather the rules still hold.
        let weather = self.weather.outlook(&position, (floor(now), to), now);
        let weather = weather.map(|outlook| outlook.hours).unwrap_or_default();
        let date = |at| date_of(site.place.time_zone, at);
        // The night before today is one of yesterday.
        let first = date(now - TimeDelta::days(1));
        let closures = SiteClosures::of(site, &weather, first, date(to));
        let openings = closures.openings(site, site.zones.get(zone)?, false);
        let closure = openings.in_the_way(now.timestamp(), span.num_seconds())?;
        let from = instant(closure.from).max(now);
        let when = match closure.to >= to.timestamp() {
            true => format!("from {} on", self.local(from)),
            false => format!(
                "{} to {}",
                self.local(from),
                self.local(instant(closure.to))
            ),
        };
        Some(format!("{}, {when}", in_words(closure.by)))
    }

    /// The day's most, where a run would pass it.
    fn day_of(&self, zone: usize, span: TimeDelta) -> Option<String> {
        let most_l = self.site.rules.most_per_day?.l();
        let time_zone = self.site.place.time_zone;
        let midnight = start_of_day(time_zone, date_of(time_zone, self.now.utc));
        let fields = self.fields.iter().enumerate();
        let used_l = fields.map(|(zone, field)| {
            let open = field.open_since(midnight, self.now.utc);
            self.volume_l(zone, open)
        });
        let used_l: f64 = used_l.sum();
        let left_l = (most_l - used_l).max(0.0);
        (self.volume_l(zone, span) > left_l).then(|| {
            let shown = |l| Volume::from_l(l).show(self.site.units);
            let (most, left) = (shown(most_l), shown(left_l));
            format!("the most for a day is {most}, of which {left} are left")
        })
    }

    fn volume_l(&self, zone: usize, open: TimeDelta) -> f64 {
        self.site.zones[zone].sprinkler.flow.l_per_min() * open.as_seconds_f64() / 60.0
    }
}

/// What keeps a valve shut, as an answer to a person.
fn in_words(by: Constraint) -> &'static str {
    match by {
        Constraint::Ban => "watering is banned",
        Constraint::WateringRules => "the watering rules of the site file do not allow it",
        Constraint::QuietWindow => "people are on the grass, or it is to be dry for them",
        Constraint::Night => "the grass is to be dry at night",
        Constraint::Wind => "the wind is above the limit",
        Constraint::Frost => "it is colder than the limit, and wet ground may freeze",
        _ => "the valve is to stay shut",
    }
}
