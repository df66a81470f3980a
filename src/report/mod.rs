//! Every output of a timetable: text, CSV, JSON, iCalendar, SVG, the view for
//! a hose and the balance explained. Values in, text out; nothing is read,
//! nothing is printed.
//!
//! All of them are made from one [`View`]: the plan beside the site, in local
//! time, with the totals. What a person reads and what a machine reads can
//! therefore not differ. To add an output, add a file with one function from
//! `&View` to `String`, and a format in `cli/timetable.rs`.

mod backtest_json;
mod backtest_svg;
mod backtest_text;
mod calendar;
mod cautions;
mod chart_panel;
mod chart_svg;
mod chart_text;
mod columns;
mod csv;
mod day_view;
mod explain;
mod format;
mod hand_watering;
mod header;
mod in_short;
mod json;
mod legend;
mod lists;
mod local_time;
mod model;
mod pre_soak;
mod reason;
mod seed_time;
mod summary;
mod text;
mod weather_source;
pub mod words;

pub use backtest_json::backtest_json;
pub use backtest_svg::backtest_svg;
pub use backtest_text::backtest_text;
pub use calendar::timetable_ical;
pub use cautions::CAUTIONS;
pub use chart_svg::chart_svg;
pub use csv::timetable_csv;
pub use explain::explain_zone;
pub use hand_watering::hand_watering;
pub use in_short::seed_dry;
pub use json::timetable_json;
pub use model::{DatedMilestone, DayView, RunView, SiteDoubt, Totals, View, ZoneView};
pub use reason::{reason_in_full, reason_in_short};
pub use text::{Detail, timetable_text};
pub use weather_source::{MergedWeather, WeatherSource};
