//! How to start the engine.

use std::net::SocketAddr;
use std::path::PathBuf;

use iroh::SecretKey;

use crate::gate::Gate;

/// What the engine works with.
pub struct CrewOptions {
    /// The device's key.
    pub key: SecretKey,
    /// What this device is called, should it found a crew.
    pub name: String,
    /// Where the roster and the last known addresses are kept; made where it isn't there.
    pub folder: PathBuf,
    /// The documents. It must have been built with [`crate::peer_id`] of this device as its peer
    /// identity and with [`CrewOptions::gate`] as its share policy.
    pub repo: samod::Repo,
    /// The repo's share policy.
    pub gate: Gate,
    /// The photos.
    pub blobs: iroh_blobs::api::Store,
    /// How to use the network.
    pub net: NetOptions,
}

/// How to use the network.
#[derive(Clone, Debug)]
pub struct NetOptions {
    /// Announce this device by mDNS and look for others.
    pub mdns: bool,
    /// The UDP port; 0 takes the last one again if it is free, and any other if not.
    pub port: u16,
    /// Listen at these addresses only; at all of the device's if empty. Tests give loopback.
    pub bind: Vec<SocketAddr>,
    /// How many photos to fetch at a time.
    pub photos_at_a_time: usize,
}

impl Default for NetOptions {
    fn default() -> Self {
        Self {
            mdns: true,
            port: 0,
            bind: Vec::new(),
            photos_at_a_time: 4,
        }
    }
}

impl NetOptions {
    /// For tests and benches: loopback only, no mDNS.
    pub fn loopback() -> Self {
        Self {
            mdns: false,
            bind: vec![SocketAddr::from(([127, 0, 0, 1], 0))],
            ..Self::default()
        }
    }
}
