//! What the engine tells.

use std::net::SocketAddr;
use std::time::Duration;

use iroh_blobs::Hash;
use jiff::Timestamp;
use samod::DocumentId;

use crate::error::Refusal;
use crate::host::BlobKind;
use crate::roster::{MemberId, Role};

/// What happened.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Event {
    /// A device of the crew is connected.
    PeerUp(Peer),
    /// It no longer is.
    PeerDown {
        /// The device.
        who: MemberId,
        /// What the network or the other side said.
        why: String,
    },
    /// A device was turned away, by us or by it.
    Refused {
        /// The other device.
        who: MemberId,
        /// Why.
        why: Refusal,
        /// Whether we turned it away; otherwise it turned us away.
        by_us: bool,
    },
    /// A device accepted an invitation of ours.
    Joined {
        /// The new device.
        who: MemberId,
        /// What it is called.
        name: String,
        /// What it may do.
        role: Role,
    },
    /// The crew is another than before: devices came, went, or were renamed.
    RosterChanged,
    /// A document came here for the first time.
    DocumentArrived(DocumentId),
    /// A document changed, by whomever.
    DocumentChanged(DocumentId),
    /// A document could not be written to the disk.
    DocumentNotSaved {
        /// The document.
        document: DocumentId,
        /// Why.
        why: String,
    },
    /// A photo or preview is complete, and the shop has kept it.
    PhotoArrived {
        /// Its identity.
        hash: Hash,
        /// Preview or original.
        kind: BlobKind,
        /// Where it came from.
        from: MemberId,
    },
    /// A photo could not be fetched or kept; it will be tried again.
    PhotoFailed {
        /// Its identity.
        hash: Hash,
        /// Why.
        why: String,
    },
    /// How far a device's clock is from ours.
    ClockOffset {
        /// The device.
        who: MemberId,
        /// By how much.
        offset: ClockOffset,
    },
}

/// A connected device.
#[derive(Clone, Debug, PartialEq)]
pub struct Peer {
    /// The device.
    pub id: MemberId,
    /// What it is called.
    pub name: String,
    /// What it may do.
    pub role: Role,
    /// Since when, by our clock.
    pub since: Timestamp,
    /// Where it is, as far as known.
    pub address: Option<SocketAddr>,
    /// How far its clock is from ours, once measured.
    pub offset: Option<ClockOffset>,
    /// Bytes that the session has sent and received so far, photos apart.
    pub bytes: (u64, u64),
}

/// Another device's clock against ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ClockOffset {
    /// What to add to our time to get theirs, in microseconds.
    pub micros: i64,
    /// The greatest error of that, in microseconds: half the shortest round trip, if both
    /// directions may take any part of it.
    pub bound_micros: u64,
}

/// How an exchange ended.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Settled {
    /// The devices with which it was.
    pub with: Vec<MemberId>,
    /// What is missing, in sentences for people; empty if everything was exchanged.
    pub missing: Vec<String>,
    /// Documents that a connected device has and we don't have whole, or the other way round.
    pub documents: usize,
    /// Photos and previews that we want and that are not here.
    pub photos: usize,
    /// How long it took.
    pub took: Duration,
}

impl Settled {
    /// Whether everything that connected devices know was exchanged.
    pub fn is_whole(&self) -> bool {
        self.missing.is_empty()
    }
}
