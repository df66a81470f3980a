//! (to be written)
