//! Pure formulas of water, weather, soil and grass: one idea a file, each
//! with its source. Numbers in, numbers out; no site, no clock, no files.

pub mod atmosphere;
pub mod cover;
pub mod crop_coefficient;
pub mod daily;
pub mod drying;
pub mod et0_series;
pub mod evaporation;
mod exponential;
pub mod germination;
pub mod infiltration;
pub mod missing_data;
pub mod radiation;
pub mod reference_et;
pub mod root_zone;
pub mod roots;
pub mod soil_hydraulics;
pub mod solar_time;
pub mod sun;
pub mod surface_storage;
pub mod texture;
pub mod top_dressing;
pub mod weather_record;
