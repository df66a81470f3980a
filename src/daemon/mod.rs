//! The daemon: the timetable carried out, safely, for weeks.
//!
//! [`Control`] is pure: an [`Event`] and the time go in, [`Action`]s come
//! out. It joins the planner, the valve supervisor and what is known of every
//! zone, and plans again whenever something has changed, and at least hourly.
//! [`Desk`] brings what it decides into the order in which it may be done.
//! [`runtime`] carries that out.
//!
//! What is promised beside `docs/valve-safety.md`:
//! - A run in progress is never torn by a new plan; only a person, a fault or
//!   a stop ends it early.
//! - A run that was missed, whatever kept it, is never given late from an old
//!   plan: the zone is drier for it, and the next plan waters it for that.
//! - Without believable time nothing opens; without weather the plan goes on
//!   as [`outlook`] says, and tells so.
//!
//! | file | idea |
//! |---|---|
//! | `control`, `orders`, `people` | events to actions; runs that are due; requests |
//! | `replanning` | when to plan again, and what is taken over of a plan |
//! | `timekeeping` | the wall clock; what is due by the day |
//! | `field` | what is known of one zone |
//! | `outlook` | the weather, and what stands in for it |
//! | `assignment` | one planning, to be done beside the loop |
//! | `desk`, `unwritten` | the order of writing, opening, closing; what the disk does not take |
//! | `strays` | valves that were left open and that nobody drives any more |
//! | `people`, `objections`, `take_back` | what people ask; what speaks against watering now; slips |
//! | `status`, `notice` | what is told to people |
//! | [`homie`] | the same, as a device of the Homie convention |
//! | `handle` | how faces reach the loop |
//! | [`sensors`] | what they tell becomes hours; who is silent or wrong |
//! | `senses` | the sensors in the loop: weather, balance, news |
//! | [`web`] | JSON over HTTP on this computer |
//! | [`runtime`] | tasks, threads, sockets and signals around the loop |

mod assignment;
mod control;
mod desk;
mod field;
mod handle;
pub mod homie;
mod memory;
mod notice;
mod objections;
mod orders;
pub mod outlook;
mod people;
mod replanning;
pub mod runtime;
mod senses;
pub mod sensors;
mod status;
mod strays;
mod take_back;
mod timekeeping;
mod unwritten;
pub mod web;

pub use assignment::{Assignment, Outcome};
pub use control::{Action, Control, Event, Memory, Settings};
pub use desk::{Desk, Effect, Trouble, Turn, WRITE_BOUND};
pub use handle::{Ask, AskError, Counter, Handle};
pub use memory::assignment_of;
pub use notice::Notice;
pub use people::{Answer, Request, Ticket, seconds};
pub use senses::Told;
pub use status::{RunStatus, Status, ZoneStatus, in_words};
pub use unwritten::LetGo;
