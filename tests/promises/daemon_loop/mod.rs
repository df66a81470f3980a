//! The control loop, driven by hand through weeks: the real planner, the real
//! supervisor, the real store on disk, simulated valves. What the valves let
//! through is judged, not what anybody says.

mod again;
mod bounds;
mod fortnight;
mod people;
mod renamed;
mod sensing;
mod strays;
mod time;
mod world;
mod writing;
mod wrong_clock;
