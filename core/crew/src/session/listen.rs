//! The control stream while a session lasts.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Instant;

use samod::DocumentId;
use tokio::sync::mpsc;

use super::Session;
use crate::clock;
use crate::engine::{Engine, lock};
use crate::error::Refusal;
use crate::event::Event;
use crate::wire::{Control, Reader, Writer, close, code, refusal_of};

pub(super) async fn write_all(
    session: Arc<Session>,
    mut writer: Writer,
    mut waiting: mpsc::Receiver<Control>,
) {
    while let Some(message) = waiting.recv().await {
        if writer.write(&message).await.is_err() {
            break;
        }
    }
    drop(session);
}

pub(super) async fn run(engine: Arc<Engine>, session: Arc<Session>, mut reader: Reader) {
    let fault = tokio::select! {
        fault = listen(&engine, &session, &mut reader) => Some(fault),
        _ = session.connection.closed() => None,
    };
    if let Some(why) = fault {
        close(&session.connection, code::of(why), &why.to_string());
        if why == Refusal::Garbage || why == Refusal::TooMuch {
            engine.tell(Event::Refused {
                who: session.peer,
                why,
                by_us: true,
            });
        }
    }
    let theirs = refusal_of(&session.connection);
    let why = session.connection.closed().await.to_string();
    let was_current = {
        let mut sessions = lock(&engine.sessions);
        let current = sessions
            .get(&session.peer)
            .is_some_and(|now| Arc::ptr_eq(now, &session));
        if current {
            sessions.remove(&session.peer);
        }
        current
    };
    if let Some(why) = theirs {
        engine.tell(Event::Refused {
            who: session.peer,
            why,
            by_us: false,
        });
    }
    if was_current || !session.superseded.load(Ordering::Relaxed) {
        engine.tell(Event::PeerDown {
            who: session.peer,
            why,
        });
    }
    if let Some(photos) = session.photos.lock().await.take() {
        close(&photos, code::STOPPING, "the session ended");
    }
    engine.dial_now.notify_one();
}

async fn listen(engine: &Arc<Engine>, session: &Arc<Session>, reader: &mut Reader) -> Refusal {
    loop {
        let message: Control = match reader.read().await {
            Ok(message) => message,
            Err(why) => return why,
        };
        match message {
            Control::Summary(_) => return Refusal::Garbage,
            Control::Heads(told) => engine.documents.heard(engine, session, told),
            Control::Have { document, turn } => {
                let Ok(document) = DocumentId::try_from(document.to_vec()) else {
                    return Refusal::Garbage;
                };
                lock(&session.exchange).has(document, turn);
                engine.stirred.notify_waiters();
            }
            Control::Roster(statements) => match engine.hear(statements, session.peer).await {
                Ok(merged) => {
                    if merged.unsupported > 0 && !session.asked_roster.swap(true, Ordering::Relaxed)
                    {
                        session.say(Control::WantRoster);
                    }
                }
                Err(e) => tracing::error!(error = %e, "news about the crew were not kept"),
            },
            Control::WantRoster => {
                if !session.gave_roster.swap(true, Ordering::Relaxed) {
                    let all = engine.roster().statements();
                    session.say(Control::Roster(all));
                }
            }
            Control::Ping { number, sent } => {
                let now = engine.host.now().as_microsecond();
                session.say(Control::Pong {
                    number,
                    sent,
                    received: now,
                    answered: engine.host.now().as_microsecond(),
                });
            }
            Control::Pong {
                number,
                sent,
                received,
                answered,
            } => {
                let exchanged = clock::Exchanged {
                    sent,
                    received,
                    answered,
                    back: engine.host.now().as_microsecond(),
                };
                if let Some(waiting) = lock(&session.pings).remove(&number) {
                    let _ = waiting.send(exchanged);
                }
            }
            Control::Holds { number, photos } => {
                if photos.len() > crate::photos::ASK_MAX {
                    return Refusal::TooMuch;
                }
                let photos = photos.into_iter().map(iroh_blobs::Hash::from_bytes);
                let held = engine.host.holds(photos.collect(), &session.peer).await;
                session.say(Control::Held { number, held });
            }
            Control::Held { number, held } => {
                if let Some(waiting) = lock(&session.holds).remove(&number) {
                    let _ = waiting.send(held);
                }
            }
            Control::Where(mut places) => {
                places.truncate(lock(&session.places).allow(places.len(), Instant::now()));
                crate::door::heard_where(engine, places);
            }
            Control::PhotosLeft(left) => {
                lock(&session.exchange).photos_left = left;
                engine.stirred.notify_waiters();
            }
        }
    }
}
