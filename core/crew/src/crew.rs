//! The engine: what a front end calls.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use iroh_blobs::Hash;
use samod::DocHandle;
use tokio::sync::broadcast;

use crate::error::Result;
use crate::event::{Event, Peer, Settled};
use crate::host::Host;
use crate::options::CrewOptions;
use crate::roster::{Member, MemberId, Removal, Role};
use crate::ticket::Ticket;

/// What a new device will be.
#[derive(Clone, Debug)]
pub struct Invite {
    /// What it may do.
    pub role: Role,
    /// What it will be called; none leaves it to the device.
    pub name: Option<String>,
    /// How long the ticket is good.
    pub valid: Duration,
}

/// A running engine. It can be shared behind an [`Arc`]; [`Crew::stop`] ends it.
pub struct Crew {
    host: Arc<dyn Host>,
}

impl Crew {
    /// Starts the engine: listens, announces itself, and connects to every device of the crew
    /// that it can find. Works without a crew too, until one is founded or joined.
    ///
    /// # Errors
    /// [`crate::CrewError::Network`] if no socket can be had, [`crate::CrewError::Damaged`] if
    /// the roster can't be read.
    pub async fn start(options: CrewOptions, host: Arc<dyn Host>) -> Result<Self> {
        let _ = options;
        Ok(Self { host })
    }

    /// Closes every connection and the sockets. The document and blob stores stay open.
    pub async fn stop(&self) {
        let _ = &self.host;
    }

    /// This device.
    pub fn id(&self) -> MemberId {
        todo!()
    }

    /// What happens from now on. A receiver that falls behind by more than some hundred events
    /// loses the oldest.
    pub fn events(&self) -> broadcast::Receiver<Event> {
        todo!()
    }

    /// Where this device listens now.
    pub fn addresses(&self) -> Vec<SocketAddr> {
        todo!()
    }

    /// The devices of the crew, by name; empty where there is no crew.
    pub fn members(&self) -> Vec<Member> {
        todo!()
    }

    /// What this device may do; none if it is in no crew, or was removed.
    pub fn role(&self) -> Option<Role> {
        todo!()
    }

    /// The removals that count, with what to set aside.
    pub fn removals(&self) -> Vec<Removal> {
        todo!()
    }

    /// The device that a person means, by name or the first digits of its key.
    pub fn find(&self, typed: &str) -> Result<MemberId> {
        let _ = typed;
        todo!()
    }

    /// Founds a crew with this device as its first. [`Crew::invite`] does so where there is none.
    pub async fn found(&self) -> Result<()> {
        todo!()
    }

    /// Writes a ticket for one device. It is void once used, expired, or when the engine stops.
    pub async fn invite(&self, invite: Invite) -> Result<Ticket> {
        let _ = invite;
        todo!()
    }

    /// Joins a crew by a ticket. `name` is what this device is called unless the ticket says.
    ///
    /// # Errors
    /// [`crate::CrewError::InCrew`], [`crate::CrewError::Unreachable`], or
    /// [`crate::CrewError::Refused`] with the inviter's reason.
    pub async fn join(&self, ticket: &Ticket, name: &str) -> Result<()> {
        let _ = (ticket, name);
        todo!()
    }

    /// Calls a device something else.
    pub async fn rename(&self, member: MemberId, name: &str) -> Result<()> {
        let _ = (member, name);
        todo!()
    }

    /// Removes a device for good, closes its connections and tells everybody.
    pub async fn remove(&self, member: MemberId) -> Result<()> {
        let _ = member;
        todo!()
    }

    /// Connects to whichever device of the crew is at an address, where discovery is blocked.
    pub async fn connect(&self, address: SocketAddr) -> Result<MemberId> {
        let _ = address;
        todo!()
    }

    /// The connected devices.
    pub fn peers(&self) -> Vec<Peer> {
        todo!()
    }

    /// Waits until everything known has been exchanged with the connected devices: every
    /// document in both directions and on the disk, every photo wanted here that one of them
    /// has. Returns what is missing when the time is over. With nobody connected it waits for
    /// somebody first.
    pub async fn settled(&self, within: Duration) -> Settled {
        let _ = within;
        todo!()
    }

    /// A document was made here, or opened that [`Host::documents`] didn't list.
    pub async fn document_added(&self, document: &DocHandle) {
        let _ = document;
        todo!()
    }

    /// What the shop wants to hold has changed.
    pub fn photos_changed(&self) {
        todo!()
    }

    /// Answers of [`Host::may_have`] have changed.
    pub fn access_changed(&self) {
        todo!()
    }

    /// Asks every connected device which of these blobs it still holds. Devices that don't answer
    /// in time are left out.
    pub async fn still_held(
        &self,
        photos: &[Hash],
        within: Duration,
    ) -> Vec<(MemberId, Vec<bool>)> {
        let _ = (photos, within);
        todo!()
    }
}
