//! What the literature prints, module by module: every number stands beside
//! its source, and the tolerance is half a unit of its last printed digit.

mod asce2005;
mod et0_vectors;
mod fao56;
mod near;
mod sun;
