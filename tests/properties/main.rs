//! See DEVELOPERS.md.

mod site_file;
