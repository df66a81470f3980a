//! Sprinklers and hoses: how fast they water and how evenly.

pub mod precipitation_rate;
pub mod uniformity;
