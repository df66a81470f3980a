//! One module per promise. See DEVELOPERS.md.

mod valve_model;
mod valves;
