//! The crew: the devices of a shop keep the same jobs over their own network, with no server.
//!
//! A shop folder is opened by one process, and that process runs one [`Crew`] engine. The engine
//! finds the other devices, decides who may talk, and keeps documents, photos and clocks
//! together. It knows nothing of jobs: what it needs to know it asks its [`Host`].
//!
//! ```no_run
//! # use std::sync::Arc;
//! # use std::time::Duration;
//! use datumtrail_crew::{Crew, CrewOptions, Event, Gate, Host, Invite, NetOptions, Role, peer_id};
//! # async fn all(host: Arc<dyn Host>, key: iroh::SecretKey, blobs: iroh_blobs::api::Store)
//! # -> Result<(), Box<dyn std::error::Error>> {
//! // The document store gets the crew's gate before there is a crew: it lets nothing through yet.
//! let gate = Gate::new();
//! let repo = samod::Repo::build_tokio()
//!     .with_peer_id(peer_id(&key.public()))
//!     .with_share_policy(gate.clone())
//!     .load()
//!     .await;
//! let options = CrewOptions {
//!     key,
//!     name: "desk".into(),
//!     folder: "shop/crew".into(),
//!     repo,
//!     gate,
//!     blobs,
//!     net: NetOptions::default(),
//! };
//! let crew = Crew::start(options, host).await?;
//! let mut events = crew.events();
//! let ticket = crew
//!     .invite(Invite { role: Role::Works, name: None, valid: Duration::from_secs(600) })
//!     .await?;
//! println!("{ticket}");
//! while let Ok(event) = events.recv().await {
//!     if let Event::Joined { name, .. } = event {
//!         println!("{name} is in");
//!         break;
//!     }
//! }
//! let settled = crew.settled(Duration::from_secs(60)).await;
//! println!("{}", settled.missing.join("\n"));
//! crew.stop().await;
//! # Ok(()) }
//! ```
//!
//! # How it works
//! * **Identity.** A device is its Ed25519 key. The same key signs statements about the crew and
//!   is the device's address on the network, so whoever is at the other end of a connection is
//!   known before the first byte.
//! * **Joining.** A [`Ticket`] holds the inviter's key and addresses and a secret of 128 bits. The
//!   newcomer dials that key and shows the secret; the inviter compares it in constant time, and
//!   signs an admission. One device, until the ticket expires by the inviter's clock; twenty wrong
//!   secrets void all open tickets. Tickets are in memory: they end with the engine.
//! * **Who is in** follows from a set of signed statements ([`roster`]) that every device keeps
//!   and passes on. [`Role::Keeps`] invites and removes, [`Role::Works`] reads and writes,
//!   [`Role::Looks`] reads, which is enforced by everybody else.
//! * **Finding each other.** mDNS; the addresses of the last meeting; what other devices of the
//!   crew say about where the rest is (addresses of private networks only); [`Crew::connect`].
//! * **A session** is one QUIC connection between two devices. If both dial at once, the one with
//!   the smaller key chooses which connection it is. On it run a control stream of our own, and
//!   the stream of the document store (samod), bound to the authenticated key.
//! * **Documents.** On meeting, both tell the heads of every document that the other may have.
//!   Where they are the same nothing is exchanged until somebody changes something. A device
//!   says that it has something once the host has seen it onto the disk ([`Host::saved`]), so
//!   [`Crew::settled`] knows what is safe on the other side too.
//! * **Photos** go over iroh-blobs on connections of their own, to members only, checked against
//!   BLAKE3 as they come, resumed in mid-file, previews before originals and otherwise in the
//!   order in which the host wants them, from any device that has them. The store's garbage
//!   collection must be off, or protect what [`Host::wanted`] lists.
//! * **Clocks.** Four time stamps, best of eight exchanges, with a bound on the error
//!   ([`ClockOffset`]). Nothing in the protocol depends on clocks being right.
//!
//! # What is encrypted, and what can be seen
//! Everything between devices goes through TLS 1.3 (QUIC), both ends authenticated by their keys.
//! Relays, outside look-ups, port mapping and network probes are off: only devices on the local
//! network are contacted. mDNS announces the device's key, addresses and port under the service
//! name `datumtrail`, and no name of a person, device or job. So somebody on the same network can
//! see that Datumtrail runs, on how many devices, and how much they exchange. Who connects
//! without belonging to the crew learns the crew's identity (a hash) and the chain of keys by
//! which the device was admitted, with roles and times; no names, no documents, no photos.
//! Nothing is encrypted on the disk: use the device's own disk encryption.
//!
//! # What a stolen phone gives away
//! Everything that it holds, and until it is removed everything that its role allows. Removing
//! it ([`Crew::remove`]) at any device that keeps the crew closes its connections everywhere that
//! the news reaches: at once where devices are connected, otherwise when they next meet. A device
//! that hasn't heard yet still talks to it.
//!
//! A removal is for good: the key is out, a found phone joins again with a new shop folder. It
//! carries the heads of every document as the remover had them ([`Removal::heads`]), by which the
//! host tells what the removed device wrote afterwards: that is no ancestor of those heads. Work
//! that the device did before and hadn't passed on yet is set aside along with it.
//!
//! # What this does not protect against
//! * Changes to documents aren't signed. Within the crew a device that works is trusted to write
//!   under its own name; one that lies can write under another's, and one that is still in can
//!   pass a removed device's work on as its own. Seals and signed archives are what proves things
//!   to outsiders.
//! * A device that keeps the crew can invite and remove. If it is stolen, two devices may end up
//!   removing each other: then both are out, because from the statements alone nobody can tell
//!   the thief from the owner. The thief can take down only those who removed it. So let at least
//!   two devices keep the crew, neither of which leaves the building, and let phones work.
//! * A reader can copy what it reads.
//! * Somebody on the network can be a nuisance: block, delay, or fill the handshake queue from
//!   many addresses. Frames, streams, windows, handshakes and their time are bounded, so that it
//!   costs no memory; it can cost time.
//!
//! # When the founder's device is lost
//! Nothing depends on it. Any other device that keeps the crew removes the lost one and invites
//! its successor. If it was the *only* one that kept the crew, the rest goes on working together,
//! but nobody can invite or remove: restore its `device.key` from a backup, or begin anew by
//! deleting `crew/roster` in each of the remaining shop folders (jobs and photos stay), founding
//! on one of them, and inviting the others.
#![warn(missing_docs)]

#[cfg(test)]
extern crate self as datumtrail_crew;

mod addresses;
mod clock;
mod crew;
mod disk;
mod documents;
mod door;
mod engine;
mod error;
mod event;
mod gate;
mod host;
#[cfg(test)]
mod hostile;
mod invitations;
mod join;
mod net;
mod options;
mod photos;
pub mod roster;
mod session;
mod stream;
pub mod ticket;
mod wire;

pub use crew::{Crew, Invite};
pub use error::{CrewError, Refusal, Result};
pub use event::{ClockOffset, Event, Peer, Settled};
pub use gate::{Gate, peer_id};
pub use host::{Access, BlobKind, Host, Wanted};
pub use options::{CrewOptions, NetOptions};
pub use roster::{DocumentHeads, Member, MemberId, Removal, Role, Roster};
pub use ticket::Ticket;
