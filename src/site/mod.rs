//! The checked model of a site, and how it comes from the text of a file.
//!
//! [`load`] turns the text of a site file into a [`Site`] or into all of its
//! diagnostics at once. Nothing here opens a file.

mod calendar;
mod diagnostic;
mod keys;
mod keys_daemon;
mod keys_mqtt;
mod keys_weather;
mod keys_zone;
pub mod local_time;
pub mod model;
mod model_daemon;
mod model_mqtt;
mod model_weather;
mod notes;
mod read;
mod render;
mod sanity;
mod schema;
mod schema_daemon;
mod schema_device;
mod schema_mqtt;
mod schema_seeding;
mod schema_sensor;
mod schema_site;
mod schema_soil;
mod schema_sprinkler;
mod schema_weather;
mod schema_zone;
mod source;
mod template;
mod time_zone_places;
mod time_zones;
mod values;
mod values_mqtt;
mod words;

pub use diagnostic::{Code, Diagnostic, Diagnostics, Severity};
pub use keys::{Key, Kind, Need, TABLES, TableKeys};
pub use model::*;
pub use model_daemon::*;
pub use model_mqtt::*;
pub use model_weather::*;
pub use schema::{LARGEST_FILE, Loaded, load, load_bytes};
pub use template::{CommandFacts, Field, Template, UnknownPlace};
