//! The daemon itself, as a process, at a real broker: killed, cut off,
//! stopped, misled. Simulated valves tell what the water did.

#![allow(
    clippy::unwrap_used,
    reason = "a test may stop where its own ground is wrong"
)]

mod broker;
mod by_hand;
mod demo;
mod disk;
#[cfg(feature = "demo")]
mod embedded;
#[cfg(feature = "demo")]
mod fast;
mod habits;
mod homie;
mod kills;
mod network;
mod process;
mod reboots;
mod relays;
mod reloads;
mod renamed;
mod rig;
mod sensors;
mod state;
mod stops;
mod strays;
mod tasks;
mod unit;
mod valves;
