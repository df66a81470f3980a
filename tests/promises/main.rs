//! What the program promises to people, tried on the binary itself.

mod catch_cans_command;
mod command;
mod soil_command;
