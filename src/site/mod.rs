//! The checked model of a site: what the rest of the program may rely on.
//!
//! `schema` turns the text of a site file into a [`Site`] or into all of its
//! diagnostics at once.

pub mod model;

pub use model::*;
