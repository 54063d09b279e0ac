//! Photos and previews: served to members, fetched from whoever has them.
//!
//! The bytes go over iroh-blobs' own protocol, on connections of their own: every piece is checked
//! against the BLAKE3 hash tree as it comes, what has come stays when a connection breaks, and the
//! next one goes on in the middle of the file.

mod fetch;
mod serve;

use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use tokio::sync::Notify;

pub(crate) use self::fetch::fetch_all;
pub(crate) use self::serve::serve;
use crate::engine::{Engine, lock};
use crate::session::Session;
use crate::wire::Control;

/// The most blobs to ask about in one message.
pub(crate) const ASK_MAX: usize = 1024;

/// What is known about what is missing.
#[derive(Default)]
pub(crate) struct State {
    stir: Notify,
    /// The plan below is of what the shop wants now.
    sure: AtomicBool,
    plan: Mutex<Plan>,
}

#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Plan {
    /// Wanted, and a connected device has it.
    pub(crate) coming: usize,
    /// Wanted, and no connected device has it.
    pub(crate) nowhere: usize,
}

impl State {
    /// What the shop wants may have changed.
    pub(crate) fn stir(&self, engine: &Engine) {
        self.sure.store(false, Ordering::SeqCst);
        for session in engine.all_sessions() {
            tell_left(&session, None);
        }
        self.stir.notify_one();
    }

    /// What is missing; none while that isn't known.
    pub(crate) fn plan(&self) -> Option<Plan> {
        let plan = *lock(&self.plan);
        self.sure.load(Ordering::SeqCst).then_some(plan)
    }
}

/// Tells a device how many of its photos we still want, if that is news.
fn tell_left(session: &Session, left: Option<u32>) {
    let mut exchange = lock(&session.exchange);
    if exchange.told_photos_left != Some(left) {
        exchange.told_photos_left = Some(left);
        drop(exchange);
        session.say(Control::PhotosLeft(left));
    }
}
