//! See DEVELOPERS.md.

mod check_command;
mod docs_site_file;
mod site_file;
