//! A site that is not there: valves, pump, water, flow meter and weather
//! station on the topics of a site file, for the demonstration and for tests.
//!
//! The simulated devices are described by the same configuration as real
//! ones: a valve understands what its site's payloads say, and answers where
//! its site reads. [`SimulatedSite`] is pure and knows the truth (what is
//! open, how much water went where), whatever its devices say;
//! [`Simulator`] puts it on a broker.
//!
//! | file | idea |
//! |---|---|
//! | `valve` | one valve or pump, with its faults |
//! | `site` | all of them, and the water |
//! | `station` | the weather station |
//! | `service` | on a broker |
//! | `broker` | a broker of its own, for the demonstration |

#[cfg(feature = "demo")]
mod broker;
mod service;
mod site;
mod station;
mod valve;

#[cfg(feature = "demo")]
pub use broker::{BrokerError, EmbeddedBroker};
pub use service::Simulator;
pub use site::{Publication, SimulatedSite};
pub use station::Station;
pub use valve::{Fault, Number, Reboot, SimulatedValve};
