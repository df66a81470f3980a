//! See DEVELOPERS.md.

mod weather_csv;
