//! See DEVELOPERS.md.

mod richards;
