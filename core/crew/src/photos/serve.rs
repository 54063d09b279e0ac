//! Serving photos: to members only.

use std::sync::Arc;

use iroh::endpoint::Connection;
use iroh_blobs::provider;
use iroh_blobs::provider::events::{
    AbortReason, EventMask, EventSender, ObserveMode, ProviderMessage, RequestMode,
};
use tokio::sync::mpsc;

use crate::engine::{Engine, lock};
use crate::error::Refusal;
use crate::event::Event;
use crate::roster::MemberId;
use crate::wire::{close, code};

/// Connections for photos that one device may have open.
const EACH_MAX: usize = 4;

/// Each request for a photo is looked at before it is answered. The protocol's requests for
/// several at once and for writing are switched off.
const ASKED_FIRST: EventMask = EventMask {
    get: RequestMode::Intercept,
    get_many: RequestMode::Disabled,
    observe: ObserveMode::Intercept,
    ..EventMask::DEFAULT
};

/// Answers requests for blobs until the connection ends.
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
    let (events, asked) = EventSender::channel(EACH_MAX, ASKED_FIRST);
    tokio::join!(
        provider::handle_connection(connection.clone(), engine.blobs.clone(), events),
        answer(&engine, who, asked),
    );
    let id = connection.stable_id();
    lock(&engine.serving).retain(|(_, one)| one.stable_id() != id);
}

/// Lets a member have the photos of jobs that it may have.
async fn answer(engine: &Engine, who: MemberId, mut asked: mpsc::Receiver<ProviderMessage>) {
    while let Some(message) = asked.recv().await {
        match message {
            ProviderMessage::GetRequestReceived(asked) => {
                let request = &asked.inner.request;
                // No lists: one that names photos of somebody else's job would bring them.
                let may =
                    request.ranges.is_blob() && engine.host.may_fetch(request.hash, &who).await;
                let answer = if may {
                    Ok(())
                } else {
                    Err(AbortReason::Permission)
                };
                let _ = asked.tx.send(answer).await;
            }
            ProviderMessage::ObserveRequestReceived(asked) => {
                let _ = asked.tx.send(Err(AbortReason::Permission)).await;
            }
            _ => {}
        }
    }
}
