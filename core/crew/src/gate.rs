//! Which documents go to whom: the share policy of the document store.
//!
//! The shop makes a gate before it opens its document store, and hands the same gate to the
//! engine later. Until then nothing goes to anybody.
//!
//! A document of which both devices said on meeting that they have the same heads isn't
//! announced: it costs nothing on the wire until somebody changes it.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex, PoisonError, RwLock};

use futures_util::stream::BoxStream;
use futures_util::{Stream, StreamExt, stream};
use samod::{DocumentId, PeerId, ShareConfig, SharePolicy};
use tokio::sync::watch;

use crate::roster::{MemberId, Role};

/// The name of a device in the document store's protocol: every message there carries both sides',
/// so it is short. Half of a hash of the key, since only members get so far as to use one.
pub fn peer_id(member: &MemberId) -> PeerId {
    let hash = blake3::derive_key("datumtrail crew peer id 1", member.as_bytes());
    PeerId::from(data_encoding::BASE64URL_NOPAD.encode(&hash[..12]))
}

/// Who may have what; see [`Gate::set`].
pub(crate) type Rule = dyn Fn(&DocumentId, &MemberId) -> Option<Role> + Send + Sync;

/// The share policy. Clones are the same gate.
#[derive(Clone, Default)]
pub struct Gate(Arc<Inner>);

#[derive(Default)]
struct Inner {
    rule: RwLock<Option<Arc<Rule>>>,
    peers: Mutex<HashMap<PeerId, Known>>,
    turn: Turn,
}

struct Known {
    member: MemberId,
    /// Documents with the same heads on both sides since they met.
    quiet: HashSet<DocumentId>,
}

struct Turn(watch::Sender<u64>);

impl Default for Turn {
    fn default() -> Self {
        Self(watch::Sender::new(0))
    }
}

impl Gate {
    /// A closed gate.
    pub fn new() -> Self {
        Self::default()
    }

    /// Opens the gate by a rule: the member's role for a document, or none where it may not have
    /// it.
    pub(crate) fn set(&self, rule: Arc<Rule>) {
        *self.0.rule.write().unwrap_or_else(PoisonError::into_inner) = Some(rule);
        self.look_again();
    }

    /// Closes it.
    pub(crate) fn close(&self) {
        *self.0.rule.write().unwrap_or_else(PoisonError::into_inner) = None;
        self.look_again();
    }

    /// A peer that is about to be connected, and the documents that need no announcement.
    pub(crate) fn meet(&self, member: MemberId, quiet: HashSet<DocumentId>) {
        let known = Known { member, quiet };
        self.peers().insert(peer_id(&member), known);
        self.look_again();
    }

    /// A document changed here: everybody has to hear of it.
    pub(crate) fn changed(&self, document: &DocumentId) {
        let mut any = false;
        for known in self.peers().values_mut() {
            any |= known.quiet.remove(document);
        }
        if any {
            self.look_again();
        }
    }

    /// Makes every open decision anew.
    pub(crate) fn look_again(&self) {
        self.0.turn.0.send_modify(|n| *n = n.wrapping_add(1));
    }

    fn peers(&self) -> std::sync::MutexGuard<'_, HashMap<PeerId, Known>> {
        self.0.peers.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn decide(&self, document: &DocumentId, peer: &PeerId) -> ShareConfig {
        let rule = self
            .0
            .rule
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone();
        let Some(rule) = rule else {
            return ShareConfig::none();
        };
        let (member, quiet) = match self.peers().get(peer) {
            Some(known) => (known.member, known.quiet.contains(document)),
            None => return ShareConfig::none(),
        };
        match rule(document, &member) {
            None => ShareConfig::none(),
            Some(Role::Looks) => ShareConfig::read_only().with_announce(!quiet),
            Some(Role::Works | Role::Keeps) => ShareConfig::read_write().with_announce(!quiet),
        }
    }
}

impl SharePolicy for Gate {
    fn share(
        &self,
        document: DocumentId,
        peer: PeerId,
    ) -> impl Stream<Item = ShareConfig> + Send + 'static {
        let gate = self.clone();
        let mut turns = gate.0.turn.0.subscribe();
        turns.mark_changed();
        let decisions: BoxStream<'static, ShareConfig> =
            stream::unfold((gate, turns, None), move |(gate, mut turns, last)| {
                let (document, peer) = (document.clone(), peer.clone());
                async move {
                    loop {
                        turns.changed().await.ok()?;
                        let decision = gate.decide(&document, &peer);
                        if Some(decision) != last {
                            return Some((decision, (gate, turns, Some(decision))));
                        }
                    }
                }
            })
            .boxed();
        decisions
    }
}

impl std::fmt::Debug for Gate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Gate")
    }
}
