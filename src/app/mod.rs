//! The program as values: its present state, what can happen, and what that asks of the shell.
//!
//! [`update`] takes a message, changes the model and returns effects; nothing else changes the
//! model. This room knows no terminal, no device and no database, and reads no clock: the moment
//! comes with the message.

mod acting;
mod blowing;
mod care;
mod choose;
mod cold;
mod course;
mod demo;
mod discriminating;
#[cfg(test)]
mod discriminating_laws;
mod effect;
mod first;
mod goal;
mod lateness;
mod leaving;
#[cfg(test)]
mod leaving_laws;
mod listed;
mod memory;
#[cfg(test)]
mod memory_laws;
mod message;
mod model;
mod notice;
mod noting;
mod offer;
mod offers;
mod opened;
mod opening;
mod options;
#[cfg(test)]
mod pedal_laws;
mod place;
mod playing;
#[cfg(test)]
mod practice_laws;
mod practising;
mod session;
#[cfg(test)]
mod session_laws;
mod stepping;
mod switching;
mod update;
mod warming;
mod words;
mod writing;

pub use blowing::{Blowing, DROWNED, trouble};
pub use care::Care;
pub use choose::Choose;
pub use discriminating::{Asking, Button, Discriminating, ToPlay};
pub use effect::Effect;
pub use first::{FirstStart, QUESTIONS, Question};
pub use lateness::Lateness;
pub use listed::{Listed, Opens};
pub use message::{Action, Message};
pub use model::{Model, Overlay, Page, SoundState};
pub use notice::Notice;
pub use offer::{Offer, Offers};
pub use opened::{HomeworkGoal, OpenedDrill};
pub use options::Options;
pub use place::{HeardPlace, Sounding};
pub use practising::{Practising, planned, prints, score_of, scores};
pub use session::{Came, Outcome, Session, SessionPlan, Stands, part_words};
pub use update::update;
pub use warming::{WarmMusic, Warming};
pub use words::Words;
