//! soakmist computes run times for irrigation of a seedbed: a deep pre-soak
//! split so that nothing runs off, short misting cycles that keep the seed
//! layer moist, and a taper to deep and infrequent watering as roots go down.
//!
//! The layers, lowest first; a module uses only modules below it:
//!
//! | layer | modules |
//! |---|---|
//! | 5 faces | `cli`, `daemon` |
//! | 4 adapters | [`weather`], `store`, `clock`, `mqtt`, `simulator` |
//! | 3 output | [`report`] |
//! | 2 decisions | [`backtest`], [`plan`], [`balance`], [`valve`] |
//! | 1 formulas | [`agronomy`], [`column`], [`sprinkler`] |
//! | 0 words | [`site`], [`units`] |
//!
//! Layers 0 to 3 take time, weather and site as arguments: they read no
//! clock, no file and no socket.

pub mod agronomy;
pub mod backtest;
pub mod balance;
pub mod cli;
#[cfg(feature = "daemon")]
pub mod clock;
pub mod column;
#[cfg(feature = "daemon")]
pub mod daemon;
#[cfg(feature = "daemon")]
pub mod mqtt;
pub mod plan;
pub mod report;
#[cfg(feature = "daemon")]
pub mod simulator;
pub mod site;
pub mod sprinkler;
#[cfg(feature = "daemon")]
pub mod store;
pub mod units;
pub mod valve;
pub mod weather;
