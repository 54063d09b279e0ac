//! What members say about the crew, signed.

use iroh::{EndpointId, SecretKey, Signature};
use jiff::Timestamp;
use samod::DocumentId;
use serde::{Deserialize, Serialize};

/// A device: its Ed25519 public key, which is also its address on the network.
pub type MemberId = EndpointId;

/// The most characters of a device's name.
pub const NAME_MAX: usize = 60;

/// What keeps a signature over a statement from passing for a signature over anything else.
const DOMAIN: &[u8] = b"datumtrail crew statement 1\0";

/// The most bytes of one statement: a removal names the heads of every job.
const BODY_MAX: usize = 256 * 1024;
/// And of one that removes nobody.
const ORDINARY_BODY_MAX: usize = 1024;
/// The most bytes of heads in a removal, so that there is room for what the removed device signed.
pub(super) const HEADS_WEIGHT_MAX: usize = 192 * 1024;

/// Times after this (the year 2200) are nobody's clock, in milliseconds since 1970.
const AT_MAX_MS: i64 = 7_258_118_400_000;

/// What a device may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Role {
    /// Reads only: every other device ignores what it writes.
    Looks,
    /// Reads and writes.
    Works,
    /// Reads, writes, invites and removes.
    Keeps,
}

impl std::fmt::Display for Role {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Role::Looks => "looks",
            Role::Works => "works",
            Role::Keeps => "keeps",
        })
    }
}

impl std::str::FromStr for Role {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            "looks" => Ok(Role::Looks),
            "works" => Ok(Role::Works),
            "keeps" => Ok(Role::Keeps),
            other => Err(format!("«{other}» is none of looks, works, keeps")),
        }
    }
}

/// What identifies a statement: BLAKE3 of its signer and body.
pub type StatementId = [u8; 32];

/// The heads of one document, as 32-byte change hashes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DocumentHeads {
    document: [u8; 16],
    heads: Vec<[u8; 32]>,
}

impl DocumentHeads {
    /// The heads that a document has now.
    pub fn new(document: &DocumentId, heads: &[automerge::ChangeHash]) -> Self {
        let mut id = [0; 16];
        id.copy_from_slice(document.as_bytes());
        let mut heads: Vec<[u8; 32]> = heads.iter().map(|h| h.0).collect();
        heads.sort_unstable();
        Self {
            document: id,
            heads,
        }
    }

    /// The document.
    pub fn document(&self) -> DocumentId {
        // Sixteen bytes are always an identity.
        DocumentId::try_from(self.document.to_vec()).expect("sixteen bytes")
    }

    /// The most bytes that it takes in a statement.
    pub(super) fn weight(&self) -> usize {
        // The lengths of both are written in no more than five bytes each.
        26 + 32 * self.heads.len()
    }

    /// Its heads, sorted.
    pub fn heads(&self) -> Vec<automerge::ChangeHash> {
        self.heads
            .iter()
            .map(|h| automerge::ChangeHash(*h))
            .collect()
    }
}

/// What is said.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) enum Statement {
    /// A crew begins with its signer.
    Found { at_ms: i64, nonce: [u8; 16] },
    /// This key is a device of the crew.
    Admit {
        crew: StatementId,
        member: [u8; 32],
        role: Role,
        at_ms: i64,
    },
    /// This device is called so.
    Name {
        crew: StatementId,
        member: [u8; 32],
        name: String,
        at_ms: i64,
    },
    /// This device is out.
    Remove {
        crew: StatementId,
        member: [u8; 32],
        at_ms: i64,
        /// What the signer knew to be signed by the removed device, sorted: the rest of it is void.
        known: Vec<StatementId>,
        /// What the signer had of each job.
        heads: Vec<DocumentHeads>,
    },
}

impl Statement {
    pub(crate) fn at(&self) -> Timestamp {
        Timestamp::from_millisecond(self.at_ms()).unwrap_or(Timestamp::UNIX_EPOCH)
    }

    fn at_ms(&self) -> i64 {
        let (Statement::Found { at_ms, .. }
        | Statement::Admit { at_ms, .. }
        | Statement::Name { at_ms, .. }
        | Statement::Remove { at_ms, .. }) = self;
        *at_ms
    }

    fn crew(&self) -> Option<&StatementId> {
        match self {
            Statement::Found { .. } => None,
            Statement::Admit { crew, .. }
            | Statement::Name { crew, .. }
            | Statement::Remove { crew, .. } => Some(crew),
        }
    }
}

/// A statement as it travels: the bytes that were signed, never encoded again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Signed {
    by: [u8; 32],
    body: Vec<u8>,
    signature: ([u8; 32], [u8; 32]),
}

/// A statement whose signature fits.
#[derive(Clone, Debug)]
pub(crate) struct Checked {
    pub(crate) id: StatementId,
    pub(crate) by: [u8; 32],
    pub(crate) says: Statement,
    pub(crate) signed: Signed,
}

impl Signed {
    pub(crate) fn new(key: &SecretKey, says: &Statement) -> Self {
        // Nothing in a statement can fail to be encoded into memory.
        let body = postcard::to_stdvec(says).expect("plain data");
        let signature = key.sign(&message(&body)).to_bytes();
        let (mut r, mut s) = ([0; 32], [0; 32]);
        r.copy_from_slice(&signature[..32]);
        s.copy_from_slice(&signature[32..]);
        Self {
            by: *key.public().as_bytes(),
            body,
            signature: (r, s),
        }
    }

    pub(crate) fn id(&self) -> StatementId {
        let mut hasher = blake3::Hasher::new();
        hasher.update(DOMAIN);
        hasher.update(&self.by);
        hasher.update(&self.body);
        *hasher.finalize().as_bytes()
    }

    /// The bytes that it takes, signature and all, give or take a few.
    pub(crate) fn weight(&self) -> usize {
        self.body.len() + 100
    }

    /// Checks the signature and the form. Says nothing about whether the signer had the right.
    pub(crate) fn check(self) -> Result<Checked, &'static str> {
        if self.body.len() > BODY_MAX {
            return Err("it is too long");
        }
        let by = EndpointId::from_bytes(&self.by).map_err(|_| "its signer has no key")?;
        let mut signature = [0; 64];
        signature[..32].copy_from_slice(&self.signature.0);
        signature[32..].copy_from_slice(&self.signature.1);
        by.verify(&message(&self.body), &Signature::from_bytes(&signature))
            .map_err(|_| "its signature is wrong")?;
        let (says, rest): (Statement, _) =
            postcard::take_from_bytes(&self.body).map_err(|_| "it can't be read")?;
        // One statement has one form, or two of them could say the same under two identities.
        if !rest.is_empty() || postcard::to_stdvec(&says).ok().as_ref() != Some(&self.body) {
            return Err("it is not in its one form");
        }
        if !(0..=AT_MAX_MS).contains(&says.at_ms()) {
            return Err("its time is absurd");
        }
        match &says {
            Statement::Remove { known, .. } if !known.is_sorted_by(|a, b| a < b) => {
                return Err("what it knows is not in order");
            }
            Statement::Remove { .. } => {}
            _ if self.body.len() > ORDINARY_BODY_MAX => return Err("it is too long"),
            _ => {}
        }
        if let Statement::Name { name, .. } = &says
            && !name_is_good(name)
        {
            return Err("its name can't be used");
        }
        if let Statement::Admit { member, .. } = &says
            && EndpointId::from_bytes(member).is_err()
        {
            return Err("it admits no key");
        }
        Ok(Checked {
            id: self.id(),
            by: self.by,
            says,
            signed: self,
        })
    }
}

impl Checked {
    /// The crew it belongs to: a founding is its own.
    pub(crate) fn crew(&self) -> StatementId {
        *self.says.crew().unwrap_or(&self.id)
    }
}

fn message(body: &[u8]) -> Vec<u8> {
    [DOMAIN, body].concat()
}

/// Whether a device can be called so.
pub fn name_is_good(name: &str) -> bool {
    let length = name.chars().count();
    (1..=NAME_MAX).contains(&length) && name.trim() == name && !name.chars().any(char::is_control)
}
