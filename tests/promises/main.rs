//! See DEVELOPERS.md.

mod column;
