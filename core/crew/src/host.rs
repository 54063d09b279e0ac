//! What the engine asks of the shop that it serves.

use futures_util::future::BoxFuture;
use iroh_blobs::Hash;
use jiff::Timestamp;
use samod::{DocHandle, DocumentId};

use crate::roster::MemberId;

/// The shop. The engine calls these from its own tasks, several at a time; none may block the
/// thread for long. Errors are sentences for people: they are shown as what is missing.
pub trait Host: Send + Sync + 'static {
    /// This device's clock.
    fn now(&self) -> Timestamp;

    /// The documents on this device's disk. Asked once, when the engine starts; later ones are
    /// announced with [`crate::Crew::document_added`].
    fn documents(&self) -> BoxFuture<'_, Vec<DocumentId>>;

    /// Whether a member may have a document. Only asked about members; strangers and removed
    /// devices get nothing anyway. Must answer at once and without calling the engine; after the
    /// answer has changed call [`crate::Crew::access_changed`].
    fn access(&self, document: &DocumentId, member: &MemberId) -> Access {
        let _ = (document, member);
        Access::Granted
    }

    /// What people call a document, for messages; its identity where that isn't known.
    fn name_of(&self, document: &DocumentId) -> String {
        document.to_string()
    }

    /// Waits until the document as it is now is on the disk. Others are told that this device
    /// has it only afterwards.
    ///
    /// # Errors
    /// Why it could not be written.
    fn saved<'a>(&'a self, document: &'a DocHandle) -> BoxFuture<'a, Result<(), String>>;

    /// The photos and previews that this device should hold and doesn't, the most wanted first.
    /// Asked again after every change of a document, and after [`crate::Crew::photos_changed`].
    fn wanted(&self) -> BoxFuture<'_, Vec<Wanted>>;

    /// These blobs are complete in the store, every byte checked against its identity, and not
    /// yet flushed. The shop flushes them and writes its receipts. Several at once, so that one
    /// flush can do for all of them.
    ///
    /// # Errors
    /// Why they could not be kept. They are then asked for again.
    fn arrived(&self, photos: Vec<Wanted>) -> BoxFuture<'_, Result<(), String>>;

    /// Of each blob: whether this device has all of it on its disk, means to keep it, and may
    /// give it to that member. Another device asks before it fetches, and before it drops its own
    /// copy.
    fn holds<'a>(&'a self, photos: Vec<Hash>, member: &'a MemberId) -> BoxFuture<'a, Vec<bool>>;

    /// Whether a member may have a blob: it belongs to a document that the member may have.
    fn may_fetch<'a>(&'a self, photo: Hash, member: &'a MemberId) -> BoxFuture<'a, bool>;
}

/// Whether a member may have a document.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// It may.
    Granted,
    /// It may not.
    Denied,
    /// Nobody knows yet, because the document has not come or can't be read: it is taken from
    /// whoever says to have it, and offered to nobody.
    Unread,
}

/// A blob that a device should hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Wanted {
    /// BLAKE3 of its bytes.
    pub hash: Hash,
    /// Its length, as the document states it; 0 where unknown.
    pub bytes: u64,
    /// Whether it is the small picture or the photo itself.
    pub kind: BlobKind,
}

/// Previews go before originals, whatever the order in which the host lists them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BlobKind {
    /// The small picture.
    Preview,
    /// The photo as it came.
    Original,
}
