//! What can be typed about the crew.

use std::net::SocketAddr;

use clap::{Args, Subcommand, ValueEnum};

#[derive(Debug, Subcommand)]
pub enum Crew {
    /// Admit a device: shows a ticket for it, and waits until it has joined
    Invite {
        /// What it may do
        #[arg(long, default_value = "works")]
        role: Role,
        /// What to call it [default: what it calls itself]
        #[arg(long, value_name = "TEXT")]
        name: Option<String>,
        /// How long the ticket is good, while this command runs
        #[arg(long, default_value_t = 10, value_parser = clap::value_parser!(u64).range(1..=1440))]
        minutes: u64,
    },
    /// Join a crew by a ticket
    Join { ticket: String },
    /// The devices of the crew
    List,
    /// Call a device something else
    Rename { device: String, name: String },
    /// Remove a device for good: it is refused, and what has not come from it yet is set aside
    Remove { device: String },
    /// Keep all original photos on this device, or only its own
    Keep {
        what: Keep,
        /// Let go of an original only when so many other devices hold it
        #[arg(long, default_value_t = 2)]
        copies: usize,
        /// Count only devices that said so within this many days; they are asked again, too
        #[arg(long, value_name = "DAYS", default_value_t = 30)]
        days: u32,
    },
    /// Connect to a device of the crew at an address, where the network hides it
    Connect {
        /// Such as 192.0.2.7:47211; `crew list` there shows it while sync runs
        address: SocketAddr,
    },
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Role {
    /// Reads and writes, invites and removes
    Keeps,
    /// Reads and writes
    Works,
    /// Reads
    Looks,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Keep {
    /// Every original of the shop's jobs
    All,
    /// Only what was taken in on this device
    Own,
}

#[derive(Debug, Args)]
pub struct Sync {
    /// End when everything that connected devices know is exchanged
    #[arg(long)]
    pub once: bool,
    /// With --once: end after so many seconds in any case
    #[arg(long, value_name = "SECONDS", default_value_t = 60, requires = "once")]
    pub within: u64,
}
