//! From needs to a timetable, under every constraint of the site at once.

pub mod timetable;
