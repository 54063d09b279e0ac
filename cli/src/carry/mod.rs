//! One owner: a command that finds the shop in use is carried to the process that has it, and
//! answers as usual.
//!
//! The owner listens on a socket in a folder of its own in the system's folder for temporary files,
//! which only its user can enter, and writes where that is into the shop folder's file `owner`. A
//! socket in the shop folder itself would fail where its path is long. Both sides see that the
//! other belongs to the same user.
//!
//! A request is what was typed, the folder it was typed in, and who typed it. The answer is what the
//! command prints, piece by piece, and its exit code. Where a command asks something, the question
//! travels one way and the line that is typed the other. When the asking side goes away, the command
//! ends.

mod client;
mod server;
mod wire;

pub use client::carry;
pub use server::Owner;
pub use wire::{Request, Said};

/// The file in the shop folder that says where the owner listens.
const POINTER: &str = "owner";

/// The user that this process runs as, by what the system says of one of its own sockets.
#[cfg(unix)]
fn own_user() -> Option<u32> {
    let (one, _other) = tokio::net::UnixStream::pair().ok()?;
    Some(one.peer_cred().ok()?.uid())
}
