//! Where devices were when they were last met, for networks that block discovery.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::Notify;

use crate::disk::write_whole;
use crate::engine::{Engine, lock};
use crate::roster::MemberId;

/// The most addresses kept for a device.
const EACH_MAX: usize = 4;
/// Meetings come in swarms; what they bring is written together.
const PAUSE: Duration = Duration::from_secs(1);

/// The file: a line `port NUMBER` for this device's own UDP port, then a line for each address,
/// the device's key before it, the last one first.
#[derive(Debug, Default)]
pub(crate) struct Addresses {
    path: PathBuf,
    port: u16,
    known: BTreeMap<MemberId, Vec<SocketAddr>>,
    unsaved: bool,
    changed: Arc<Notify>,
}

impl Addresses {
    /// Reads the file. What can't be read in it is passed over: all of it is only a help.
    pub(crate) fn load(path: &Path) -> Self {
        let mut addresses = Self {
            path: path.to_owned(),
            ..Self::default()
        };
        let text = std::fs::read_to_string(path).unwrap_or_default();
        for line in text.lines() {
            let Some((first, second)) = line.split_once(' ') else {
                continue;
            };
            if first == "port" {
                addresses.port = second.parse().unwrap_or(0);
            } else if let (Ok(member), Ok(address)) = (first.parse(), second.parse()) {
                addresses.known.entry(member).or_default().push(address);
            }
        }
        addresses
    }

    /// The port of this device the last time, or 0.
    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    pub(crate) fn of(&self, member: &MemberId) -> Vec<SocketAddr> {
        self.known.get(member).cloned().unwrap_or_default()
    }

    pub(crate) fn set_port(&mut self, port: u16) {
        if self.port != port {
            self.port = port;
            self.change();
        }
    }

    pub(crate) fn met(&mut self, member: MemberId, address: SocketAddr) {
        let known = self.known.entry(member).or_default();
        if known.first() == Some(&address) {
            return;
        }
        known.retain(|one| *one != address);
        known.insert(0, address);
        known.truncate(EACH_MAX);
        self.change();
    }

    /// Somebody else says where a device is: that is worth less than an own meeting.
    pub(crate) fn heard(&mut self, member: MemberId, address: SocketAddr) {
        let known = self.known.entry(member).or_default();
        if known.contains(&address) {
            return;
        }
        known.truncate(EACH_MAX - 1);
        known.push(address);
        self.change();
    }

    fn change(&mut self) {
        self.unsaved = true;
        self.changed.notify_one();
    }

    /// Writes what isn't written yet.
    pub(crate) fn save(&mut self) {
        if let Some((path, text)) = self.take_unsaved() {
            write(&path, &text);
        }
    }

    fn take_unsaved(&mut self) -> Option<(PathBuf, String)> {
        if !std::mem::take(&mut self.unsaved) {
            return None;
        }
        let mut text = format!("port {}\n", self.port);
        for (member, addresses) in &self.known {
            for address in addresses {
                text.push_str(&format!("{member} {address}\n"));
            }
        }
        Some((self.path.clone(), text))
    }
}

fn write(path: &Path, text: &str) {
    if let Err(e) = write_whole(path, text.as_bytes()) {
        tracing::warn!(path = %path.display(), error = %e, "addresses were not kept");
    }
}

/// Writes changes for as long as the engine runs, on a thread where waiting for the disk keeps
/// nobody up. What came last is written by [`Addresses::save`] when the engine stops.
pub(crate) async fn keep(engine: Arc<Engine>) {
    let changed = Arc::clone(&lock(&engine.addresses).changed);
    loop {
        changed.notified().await;
        tokio::time::sleep(PAUSE).await;
        let unsaved = lock(&engine.addresses).take_unsaved();
        if let Some((path, text)) = unsaved {
            let writing = engine.tasks.spawn_blocking(move || write(&path, &text));
            let _ = writing.await;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_meeting_is_tried_first() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("addresses");
        let member = iroh::SecretKey::from_bytes(&[3; 32]).public();
        let mut addresses = Addresses::load(&path);
        addresses.set_port(4000);
        for n in 1..=6u16 {
            addresses.met(member, SocketAddr::from(([10, 0, 0, 1], n)));
        }
        addresses.met(member, SocketAddr::from(([10, 0, 0, 1], 4)));
        assert!(!path.exists(), "written together, not one by one");
        addresses.save();
        let again = Addresses::load(&path);
        assert_eq!(again.port(), 4000);
        let ports: Vec<u16> = again.of(&member).iter().map(SocketAddr::port).collect();
        assert_eq!(ports, [4, 6, 5, 3]);
        std::fs::write(&path, "garbage\nport x\n\u{0}\n").unwrap();
        assert_eq!(Addresses::load(&path).port(), 0);
    }
}
