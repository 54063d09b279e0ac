//! What time it is: the computer's clock, or one that is told.

use std::sync::Mutex;
use std::sync::PoisonError;

use jiff::Timestamp;

/// Where a shop takes the time from.
pub trait Clock: Send + Sync {
    /// The time now.
    fn now(&self) -> Timestamp;
}

/// The computer's clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> Timestamp {
        Timestamp::now()
    }
}

/// A clock that stands where it was set: for the demo's story and for tests.
#[derive(Debug)]
pub struct ToldClock(Mutex<Timestamp>);

impl ToldClock {
    /// A clock that stands at this time.
    pub fn at(time: Timestamp) -> Self {
        Self(Mutex::new(time))
    }

    /// Sets it.
    pub fn set(&self, time: Timestamp) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = time;
    }
}

impl Clock for ToldClock {
    fn now(&self) -> Timestamp {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
