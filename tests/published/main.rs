//! What the literature prints, module by module: every number stands beside
//! its source, and the tolerance is half a unit of its last printed digit.

mod cover;
mod fao56_dual;
mod force_restore;
mod germination;
mod near;
