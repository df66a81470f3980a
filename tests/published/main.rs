//! What the literature prints, module by module: every number stands beside
//! its source, and the tolerance is half a unit of its last printed digit.

mod asce2005;
mod catch_cans;
mod cover;
mod et0_vectors;
mod fao56;
mod fao56_dual;
mod force_restore;
mod germination;
mod green_ampt;
#[cfg(feature = "daemon")]
mod homie;
#[cfg(feature = "daemon")]
#[path = "../support/homie.rs"]
mod homie_rules;
mod near;
#[path = "../support/restoration.rs"]
mod restoration;
mod richards;
mod saxton_rawls2006;
mod sun;
mod surface_storage;
mod texture;
