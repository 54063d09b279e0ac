//! The one door: open a folder, get a shop. Every front end calls these methods and shows these
//! errors.

mod analysis;
mod cameras;
mod clock;
mod crew;
mod export;
mod folder;
mod job;
mod notes;
mod open;
mod photos;
mod seals;
mod sheets;
mod stages;
mod surveys;
mod trams;

pub use analysis::{MoveOutcome, SetUpChoice};
pub use cameras::ClockNote;
pub use clock::{Clock, SystemClock, ToldClock};
pub use crew::Dropped;
pub use folder::{JobSummary, NewJob, Shop, ShopOptions};
pub use job::Job;
pub use notes::{NewNote, NewSupport};
pub use open::{NotWhole, OpenOptions, Opened};
pub use photos::{PhotoOptions, PhotoOutcome, PhotoResult, shared_clock};
pub use sheets::{NewSheet, SheetLoaded};
pub use surveys::{Again, NewReading, NewSurvey, SurveyAdded};
pub use trams::{NewTram, TramFile, TramQuestion};
