//! What the literature prints, module by module: every number stands beside
//! its source, and the tolerance is half a unit of its last printed digit.

mod catch_cans;
mod green_ampt;
mod near;
mod saxton_rawls2006;
mod surface_storage;
mod texture;
