//! The crew: the devices of a shop keep the same jobs over their own network, with no server.
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
pub use host::{BlobKind, Host, Wanted};
pub use options::{CrewOptions, NetOptions};
pub use roster::{DocumentHeads, Member, MemberId, Removal, Role, Roster};
pub use ticket::Ticket;
