//! Brings a growing file to the disk while more is still being written.
//!
//! A bag gets its name only after all of it has reached the disk. Left to the
//! end, that wait comes on top of the time for hashing; done meanwhile, the
//! longer of the two is what it takes.

use std::fs::File;
use std::io;
use std::sync::mpsc::{SyncSender, sync_channel};
use std::thread::{self, JoinHandle};

/// Bytes after which to begin again.
const STEP: u64 = 16 << 20;

pub(crate) struct Flusher {
    wake: SyncSender<()>,
    thread: JoinHandle<io::Result<()>>,
    /// Length of the file at the last wake-up.
    woken_at: u64,
}

impl Flusher {
    pub fn start(file: &File) -> io::Result<Self> {
        let file = file.try_clone()?;
        // Room for one: who is busy need not be woken twice.
        let (wake, woken) = sync_channel(1);
        let thread = thread::Builder::new()
            .name("bag-flush".to_owned())
            .spawn(move || woken.iter().try_for_each(|()| file.sync_data()))?;
        Ok(Self {
            wake,
            thread,
            woken_at: 0,
        })
    }

    /// Says how long the file is now.
    pub fn written(&mut self, len: u64) {
        if len >= self.woken_at + STEP {
            // Fails when it is awake, or has stopped at an error that `finish` gives.
            let _ = self.wake.try_send(());
            self.woken_at = len;
        }
    }

    /// Ends the thread. An error that it met would not come up again at the next
    /// sync of the same file (the system tells it once), so it is given here.
    pub fn finish(self) -> io::Result<()> {
        drop(self.wake);
        let stopped = |_| io::Error::other("the flushing thread stopped");
        self.thread.join().map_err(stopped)?
    }
}
