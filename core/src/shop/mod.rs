//! The one door: open a folder, get a shop. Every front end calls these methods and shows these
//! errors.

mod clock;
mod export;
mod folder;
mod job;
mod notes;
mod photos;
mod stages;
mod surveys;

pub use clock::{Clock, SystemClock, ToldClock};
pub use folder::{JobSummary, NewJob, Shop, ShopOptions};
pub use job::Job;
pub use notes::NewNote;
pub use photos::{ClockNote, PhotoOutcome, PhotoResult};
pub use surveys::{NewReading, NewSheet, NewSurvey, SheetLoaded};
