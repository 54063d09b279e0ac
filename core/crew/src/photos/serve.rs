//! Serving photos: to members only.

use std::sync::Arc;

use iroh::endpoint::Connection;
use iroh_blobs::provider;
use iroh_blobs::provider::events::EventSender;

use crate::engine::{Engine, lock};
use crate::error::Refusal;
use crate::event::Event;
use crate::wire::{close, code};

/// Connections for photos that one device may have open.
const EACH_MAX: usize = 4;

/// Answers requests for blobs until the connection ends. Only reading is possible: the protocol's
/// push requests are switched off.
pub(crate) async fn serve(engine: Arc<Engine>, connection: Connection) {
    let who = connection.remote_id();
    let refusal = {
        // Noted before it is checked, so that a removal in between finds it.
        let mut serving = lock(&engine.serving);
        serving.retain(|(_, one)| one.close_reason().is_none());
        serving.push((who, connection.clone()));
        let open = serving.iter().filter(|(one, _)| *one == who).count();
        drop(serving);
        let roster = engine.roster();
        if roster.is_removed(&who) {
            Some(Refusal::Removed)
        } else if roster.role(&who).is_none() || roster.role(&engine.id).is_none() {
            Some(Refusal::Stranger)
        } else if open > EACH_MAX {
            Some(Refusal::TooMuch)
        } else {
            None
        }
    };
    if let Some(why) = refusal {
        close(&connection, code::of(why), &why.to_string());
        engine.tell(Event::Refused {
            who,
            why,
            by_us: true,
        });
        return;
    }
    provider::handle_connection(
        connection.clone(),
        engine.blobs.clone(),
        EventSender::DEFAULT,
    )
    .await;
    let id = connection.stable_id();
    lock(&engine.serving).retain(|(_, one)| one.stable_id() != id);
}
