//! What the program promises to people, tried on the binary itself.

mod command;
mod et0_command;
mod sun_command;
