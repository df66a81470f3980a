//! Quantities that cross module borders, as newtypes over one SI unit each,
//! how they are read from text and how they are shown to people.
//!
//! Conversions between units happen only in this folder. Formulas inside a
//! module use plain `f64` with the unit as a suffix of the name.

pub mod customary;
mod dimension;
mod display;
mod parse;
mod prose;
mod quantity;
mod system;
mod weather_unit;

pub use dimension::Dimension;
pub use display::{
    in_thousands, show_duration, show_length, show_price, show_quantity, show_share,
    show_temperature,
};
pub use parse::{QuantityError, parse_duration, parse_quantity, parse_share};
pub use prose::in_units;
pub use quantity::{Area, Depth, Flow, Rate, Speed, Volume};
pub use system::UnitSystem;
pub use weather_unit::{Linear, WeatherQuantity, conversion, known_units};
