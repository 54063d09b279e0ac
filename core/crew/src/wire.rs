//! What two devices say to each other on their control stream, and how it is framed.
//!
//! Frames are length-delimited and capped; what is in them is postcard. The cap is small until
//! the other side has shown that it belongs to the crew.

use std::net::SocketAddr;

use bytes::Bytes;
use futures_util::{SinkExt, StreamExt};
use iroh::endpoint::{Connection, RecvStream, SendStream};
use iroh_blobs::Hash;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use tokio_util::codec::{FramedRead, FramedWrite, LengthDelimitedCodec};

use crate::error::Refusal;
use crate::roster::{DocumentHeads, Signed, StatementId};
use crate::ticket::Secret;

/// Sessions of the crew.
pub(crate) const ALPN_CREW: &[u8] = b"datumtrail/crew/1";
/// Photos: iroh-blobs' own protocol, served to members only.
pub(crate) const ALPN_PHOTOS: &[u8] = b"datumtrail/photos/1";
/// Joining by a ticket.
pub(crate) const ALPN_JOIN: &[u8] = b"datumtrail/join/1";

/// The most bytes of a frame from somebody who hasn't shown yet who they are.
pub(crate) const STRANGER_MAX: usize = 64 * 1024;
/// The most bytes of a frame from a member.
pub(crate) const MEMBER_MAX: usize = 8 * 1024 * 1024;
/// The most bytes of one message of the document store. A first exchange is one message, so this
/// is also the most that a document may weigh; 20,000 records weigh less than one megabyte.
pub(crate) const DOCUMENT_MAX: usize = 64 * 1024 * 1024;

/// The first message on a control stream, by both sides at once.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Hello {
    pub(crate) crew: StatementId,
    /// That the sender was admitted.
    pub(crate) proof: Vec<Signed>,
    /// Of all its statements.
    pub(crate) digest: [u8; 32],
}

/// The answer to a hello.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum Verdict {
    Welcome {
        /// All the sender's statements, where the digests differ.
        roster: Vec<Signed>,
    },
    Refused(Refusal),
}

/// Everything after the welcome.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum Control {
    /// All documents that the sender has and the receiver may have: once, at the beginning.
    Summary(Vec<Told>),
    /// A document changed and is on the sender's disk.
    Heads(Told),
    /// The receiver of a `Told` has all of it on its disk.
    Have {
        document: [u8; 16],
        turn: u64,
    },
    /// News about the crew.
    Roster(Vec<Signed>),
    /// The sender heard something that rests on what it doesn't know.
    WantRoster,
    /// Four-timestamp exchange, microseconds.
    Ping {
        number: u64,
        sent: i64,
    },
    Pong {
        number: u64,
        sent: i64,
        received: i64,
        answered: i64,
    },
    /// Which of these blobs do you hold?
    Holds {
        number: u64,
        photos: Vec<[u8; 32]>,
    },
    Held {
        number: u64,
        held: Vec<bool>,
    },
    /// Where other devices of the crew are.
    Where(Vec<([u8; 32], SocketAddr)>),
    /// How many photos the sender still wants that the receiver has; none while it doesn't know.
    PhotosLeft(Option<u32>),
}

/// What a device has of a document.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct Told {
    pub(crate) heads: DocumentHeads,
    /// Counts up with each telling, so that an answer fits one of them.
    pub(crate) turn: u64,
}

/// The one message of a device that wants to join.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Ask {
    pub(crate) secret: Secret,
    pub(crate) name: String,
}

/// What it is told.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) enum Answer {
    Welcome { roster: Vec<Signed> },
    Refused(Refusal),
}

pub(crate) fn hash_bytes(hash: &Hash) -> [u8; 32] {
    *hash.as_bytes()
}

/// Reads framed messages.
pub(crate) struct Reader(FramedRead<RecvStream, LengthDelimitedCodec>);

/// Writes framed messages.
pub(crate) struct Writer(FramedWrite<SendStream, LengthDelimitedCodec>);

pub(crate) fn codec(max: usize) -> LengthDelimitedCodec {
    LengthDelimitedCodec::builder()
        .max_frame_length(max)
        .new_codec()
}

pub(crate) fn framed(send: SendStream, recv: RecvStream) -> (Writer, Reader) {
    (
        Writer(FramedWrite::new(send, codec(MEMBER_MAX))),
        Reader(FramedRead::new(recv, codec(STRANGER_MAX))),
    )
}

impl Reader {
    /// Takes longer frames from now on.
    pub(crate) fn trust(&mut self) {
        self.0.decoder_mut().set_max_frame_length(MEMBER_MAX);
    }

    /// The next message.
    ///
    /// # Errors
    /// [`Refusal::Garbage`] for what can't be read or is too long, [`Refusal::Closing`] where
    /// the stream has ended.
    pub(crate) async fn read<T: DeserializeOwned>(&mut self) -> Result<T, Refusal> {
        match self.0.next().await {
            Some(Ok(frame)) => postcard::from_bytes(&frame).map_err(|_| Refusal::Garbage),
            Some(Err(e)) if e.kind() == std::io::ErrorKind::InvalidData => Err(Refusal::Garbage),
            Some(Err(_)) | None => Err(Refusal::Closing),
        }
    }
}

impl Writer {
    pub(crate) async fn write<T: Serialize>(&mut self, message: &T) -> Result<(), Refusal> {
        let bytes = postcard::to_stdvec(message).map_err(|_| Refusal::Garbage)?;
        self.0
            .send(Bytes::from(bytes))
            .await
            .map_err(|_| Refusal::Closing)
    }

    /// Says that nothing more comes and waits until the other side has it all.
    pub(crate) async fn finish(mut self) {
        let _ = SinkExt::<Bytes>::flush(&mut self.0).await;
        let mut stream = self.0.into_inner();
        let _ = stream.finish();
        let _ = stream.stopped().await;
    }
}

/// Why a connection is closed, as QUIC's application error codes.
pub(crate) mod code {
    use super::Refusal;
    use iroh::endpoint::VarInt;

    pub(crate) const STOPPING: u32 = 0;
    pub(crate) const DUPLICATE: u32 = 1;
    pub(crate) const SUPERSEDED: u32 = 2;
    pub(crate) const IDLE: u32 = 3;
    const REFUSED: u32 = 16;

    const ORDER: [Refusal; 10] = [
        Refusal::Stranger,
        Refusal::Removed,
        Refusal::TicketUnknown,
        Refusal::TicketExpired,
        Refusal::TicketUsed,
        Refusal::TooManyAttempts,
        Refusal::AlreadyMember,
        Refusal::Garbage,
        Refusal::Silent,
        Refusal::TooMuch,
    ];

    pub(crate) fn of(why: Refusal) -> u32 {
        ORDER
            .iter()
            .position(|one| *one == why)
            .and_then(|at| u32::try_from(at).ok())
            .map_or(STOPPING, |at| REFUSED + at)
    }

    pub(crate) fn refusal(code: VarInt) -> Option<Refusal> {
        let at = code.into_inner().checked_sub(u64::from(REFUSED))?;
        ORDER.get(usize::try_from(at).ok()?).copied()
    }
}

/// Closes a connection with a reason that the other side understands.
pub(crate) fn close(connection: &Connection, code: u32, word: &str) {
    connection.close(code.into(), word.as_bytes());
}

/// Why the other side closed a connection, if it gave one of our reasons.
pub(crate) fn refusal_of(connection: &Connection) -> Option<Refusal> {
    match connection.close_reason()? {
        iroh::endpoint::ConnectionError::ApplicationClosed(frame) => {
            code::refusal(frame.error_code)
        }
        _ => None,
    }
}
