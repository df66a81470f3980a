//! The water balance of one zone: a surface layer and four strata beneath it.
//! What is watered is thin while seed germinates and follows the roots down
//! afterwards.
//!
//! - [`ground`]: what the soil of a zone holds, lets in and gives back;
//! - [`growth`]: stage, layer depth and crop coefficient through the season;
//! - [`rain`]: how far expected rain counts;
//! - [`demand`]: hourly demand at the zone from weather, shade, cover, growth;
//! - [`strata`]: the soil beneath the surface layer, and how water rises in it;
//! - [`probe`]: a probe in the soil corrects the balance;
//! - [`stores`]: the water itself, stepped in time with mass conserved.

pub mod demand;
pub mod ground;
pub mod growth;
pub mod probe;
pub mod rain;
pub mod record;
pub mod spin_up;
pub mod stores;
pub mod strata;
