//! What the literature prints, module by module: every number stands beside
//! its source, and the tolerance is half a unit of its last printed digit.

mod asce2005;
mod catch_cans;
mod et0_vectors;
mod fao56;
mod green_ampt;
mod near;
mod saxton_rawls2006;
mod sun;
mod surface_storage;
mod texture;
