//! The document store's own stream within a session.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use futures_util::future::BoxFuture;
use futures_util::{FutureExt, SinkExt, StreamExt};
use iroh::endpoint::{RecvStream, SendStream};
use samod::{BackoffConfig, DialError, Dialer, DialerHandle, Repo, Transport, Url};
use tokio_util::codec::{FramedRead, FramedWrite};

use crate::engine::{Engine, lock};
use crate::error::Refusal;
use crate::gate::peer_id;
use crate::roster::MemberId;
use crate::session::Session;
use crate::wire::{DOCUMENT_MAX, close, code, codec};

/// How long the store's own greeting may take. It would wait for ever.
const GREETING_MAX: Duration = Duration::from_secs(10);

/// Hands one transport over, once: a lost connection is the session's business, not the store's.
struct Once {
    transport: Mutex<Option<Transport>>,
}

/// Dials the other side over streams that are open.
pub(crate) fn dial_over(
    repo: &Repo,
    send: SendStream,
    recv: RecvStream,
    peer: &MemberId,
) -> Result<DialerHandle<UsedUp>, Refusal> {
    let dialer = Once {
        transport: Mutex::new(Some(transport(send, recv, peer))),
    };
    // samod 0.16 may look for the dialer before it has noted it, and counts that as a failure. What
    // has been handed over once is not handed over again, whatever stands here.
    let soon = BackoffConfig {
        initial_delay: Duration::from_millis(1),
        max_delay: Duration::from_millis(10),
        max_retries: Some(10),
    };
    repo.dial(soon, Arc::new(dialer))
        .map_err(|_| Refusal::Closing)
}

#[derive(Debug, thiserror::Error)]
#[error("the connection is used up")]
pub(crate) struct UsedUp;

impl Dialer for Once {
    type Error = UsedUp;

    fn url(&self) -> Url {
        address()
    }

    fn connect(&self) -> BoxFuture<'static, Result<Transport, DialError<Self::Error>>> {
        let transport = lock(&self.transport).take();
        async move { transport.ok_or(DialError::PermanentFailure(UsedUp)) }.boxed()
    }
}

/// What the store writes into its log for a connection.
pub(crate) fn address() -> Url {
    Url::parse("datumtrail-crew://session").expect("a valid address")
}

/// Opens the stream, or takes the one that the chooser opens, and hands it to the store.
pub(crate) async fn start(
    engine: &Arc<Engine>,
    session: &Arc<Session>,
    chooser: bool,
) -> Result<(), Refusal> {
    let closing = |_| Refusal::Closing;
    if chooser {
        let (send, recv) = session.connection.open_bi().await.map_err(closing)?;
        let handle = dial_over(&engine.repo, send, recv, &session.peer)?;
        let established = tokio::time::timeout(GREETING_MAX, handle.established()).await;
        if !matches!(established, Ok(Ok(_))) {
            handle.close();
            return Err(Refusal::Silent);
        }
        let connection = session.connection.clone();
        engine.spawn(async move {
            let mut events = handle.events();
            // The store gives a stream up on its own when a frame is too long.
            loop {
                tokio::select! {
                    _ = connection.closed() => break,
                    event = events.next() => {
                        if event.is_none() || !handle.is_connected() {
                            close(&connection, code::STOPPING, "the document stream ended");
                            break;
                        }
                    }
                }
            }
            handle.close();
        });
    } else {
        let (send, recv) = session.connection.accept_bi().await.map_err(closing)?;
        let handle = engine
            .acceptor
            .accept(transport(send, recv, &session.peer))
            .map_err(|_| Refusal::Closing)?;
        let established = tokio::time::timeout(GREETING_MAX, handle.handshake_complete()).await;
        if !matches!(established, Ok(Ok(_))) {
            return Err(Refusal::Silent);
        }
        let connection = session.connection.clone();
        engine.spawn(async move {
            let mut events = handle.events();
            loop {
                tokio::select! {
                    _ = connection.closed() => break,
                    event = events.next() => {
                        if !matches!(event, Some(samod::AcceptorEvent::ClientConnected { .. })) {
                            close(&connection, code::STOPPING, "the document stream ended");
                            break;
                        }
                    }
                }
            }
        });
    }
    Ok(())
}

fn transport(send: SendStream, recv: RecvStream, peer: &MemberId) -> Transport {
    let stream =
        FramedRead::new(recv, codec(DOCUMENT_MAX)).map(|frame| frame.map(|bytes| bytes.to_vec()));
    let sink = FramedWrite::new(send, codec(DOCUMENT_MAX)).with(|message: Vec<u8>| {
        std::future::ready(Ok::<_, std::io::Error>(bytes::Bytes::from(message)))
    });
    Transport::new(stream, sink).with_expected_peer_id(peer_id(peer))
}
