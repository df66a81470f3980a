//! Faults made on purpose: kills, torn and damaged files, full disks.
#![cfg(feature = "daemon")]
#![expect(
    clippy::disallowed_methods,
    reason = "faults are made in files and processes"
)]

#[path = "../support/beds.rs"]
mod beds;
mod daemon;
#[path = "../support/homie.rs"]
mod homie_rules;
mod kill_at_every_write;
mod link;
mod long;
mod simulated;
mod store;
mod web;
