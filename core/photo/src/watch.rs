//! Watching a folder: what a phone's sync or a card reader drops there, once it is whole.
//!
//! A file appears long before it is complete. It is handed over when three things hold:
//! its size and time of change have stood still for a while ([`Settings::settle`]), it can be
//! opened, and its container reaches its own end ([`crate::whole`]). A file that stands still
//! but isn't whole is waited for longer ([`Settings::patience`]), then reported as unreadable;
//! should it change again, it is looked at again.
//!
//! The system's notifications only wake the watcher up. What counts is the folder itself,
//! which is read at every wake and every few seconds besides: notifications get lost on
//! network drives, and whatever came while nobody watched is found at the start.
//!
//! **Never twice.** A file is known by its bytes. The caller says which are known
//! ([`Watch::start`]'s `seen`, by identity), so a restart, a copy under another name or a
//! rename brings nothing again. The watcher tells; it is the caller who takes the file in,
//! and says afterwards what became of it by remembering it. So nothing is lost if the
//! program ends in between: the file is offered again at the next start.
//!
//! Everything runs in one thread of its own; events come through a channel.

use std::collections::{HashMap, HashSet};
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender};
use std::thread::JoinHandle;
use std::time::{Duration, Instant, SystemTime};

use notify::{RecursiveMode, Watcher};
use thiserror::Error;

use crate::identity::Identity;
use crate::meta::MetaError;
use crate::whole::check_whole;

/// How to watch.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// Whether folders inside the folder are watched too.
    pub recursive: bool,
    /// How long a file must stand still before it is opened.
    pub settle: Duration,
    /// How long a file that stands still but isn't whole is waited for.
    pub patience: Duration,
    /// How often the folder is read even if nothing was heard.
    pub rescan: Duration,
    /// Larger files are reported, not read; in bytes.
    pub largest: u64,
}

impl Default for Settings {
    /// For a folder that a phone's sync fills: two seconds, one minute, five seconds, 512 MB.
    fn default() -> Settings {
        Settings {
            recursive: true,
            settle: Duration::from_secs(2),
            patience: Duration::from_secs(60),
            rescan: Duration::from_secs(5),
            largest: 512 << 20,
        }
    }
}

/// The most files that are looked at in one folder tree.
const MAX_FILES: usize = 100_000;

/// How deep folders inside folders are followed.
const MAX_DEPTH: usize = 16;

/// What the watcher tells.
#[derive(Debug)]
pub enum Event {
    /// A whole file that was not known.
    Arrived {
        /// Where it is.
        path: PathBuf,
        /// Which bytes it is.
        identity: Identity,
    },
    /// A file whose bytes are known already, under this name for the first time.
    Known {
        /// Where it is.
        path: PathBuf,
        /// Which bytes it is.
        identity: Identity,
    },
    /// A file that could not be taken; told once, and again only if it changes.
    Unreadable {
        /// Where it is.
        path: PathBuf,
        /// Why.
        why: Unreadable,
    },
    /// The folder itself can't be read at the moment; it is tried again.
    FolderLost {
        /// What the system said.
        why: std::io::Error,
    },
}

/// Why a file could not be taken.
#[derive(Debug, Error)]
pub enum Unreadable {
    /// It is no picture, or never became whole.
    #[error(transparent)]
    File(#[from] MetaError),
    /// The system would not give it.
    #[error("the file could not be read")]
    Io(#[source] std::io::Error),
    /// Larger than [`Settings::largest`].
    #[error("the file has {bytes} bytes; files of up to {largest} are taken in from a folder")]
    TooLarge {
        /// Its size.
        bytes: u64,
        /// The limit.
        largest: u64,
    },
}

/// Why a folder can't be watched.
#[derive(Debug, Error)]
pub enum WatchError {
    /// There is no such folder, or it may not be read.
    #[error("{} can't be watched", folder.display())]
    Folder {
        /// What was given.
        folder: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// The system starts no more threads.
    #[error("the watcher could not be started")]
    Thread(#[source] std::io::Error),
}

/// A folder being watched. Dropping it stops the watcher.
pub struct Watch {
    events: Receiver<Event>,
    wake: Sender<Wake>,
    thread: Option<JoinHandle<()>>,
}

enum Wake {
    Changed,
    Stop,
}

impl Watch {
    /// Starts to watch. `seen` are the BLAKE3 hashes of files that are known
    /// ([`Identity::blake3`]).
    ///
    /// # Errors
    /// [`WatchError::Folder`] where there is no such folder.
    pub fn start(
        folder: &Path,
        seen: HashSet<[u8; 32]>,
        settings: Settings,
    ) -> Result<Watch, WatchError> {
        let lost = |source| WatchError::Folder {
            folder: folder.to_owned(),
            source,
        };
        let folder = folder.canonicalize().map_err(lost)?;
        std::fs::read_dir(&folder).map_err(lost)?;
        let (tell, events) = mpsc::channel();
        let (wake, woken) = mpsc::channel();
        let bell = wake.clone();
        let watcher = Folder {
            root: folder,
            settings,
            seen,
            files: HashMap::new(),
            is_lost: false,
        };
        let thread = std::thread::Builder::new()
            .name("folder watch".to_owned())
            .spawn(move || watcher.run(&tell, &woken, bell))
            .map_err(WatchError::Thread)?;
        Ok(Watch {
            events,
            wake,
            thread: Some(thread),
        })
    }

    /// The next event, waiting up to `timeout` for it.
    pub fn next(&self, timeout: Duration) -> Option<Event> {
        self.events.recv_timeout(timeout).ok()
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        // The thread may have ended by itself; then nobody listens, and that is fine.
        let _ = self.wake.send(Wake::Stop);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// What is remembered of a file: how it looked, and how far it got.
struct Seen {
    bytes: u64,
    changed: Option<SystemTime>,
    /// Since when it has looked like this.
    since: Instant,
    /// When it was last opened.
    opened: Option<Instant>,
    /// Whether everything about it, as it looks now, was told.
    is_told: bool,
}

struct Folder {
    root: PathBuf,
    settings: Settings,
    seen: HashSet<[u8; 32]>,
    files: HashMap<PathBuf, Seen>,
    is_lost: bool,
}

impl Folder {
    fn run(mut self, tell: &Sender<Event>, woken: &Receiver<Wake>, bell: Sender<Wake>) {
        let mut notifier = notify::recommended_watcher(move |_: notify::Result<notify::Event>| {
            // Whoever listened has stopped; nothing is left to wake.
            let _ = bell.send(Wake::Changed);
        })
        .ok();
        let mode = match self.settings.recursive {
            true => RecursiveMode::Recursive,
            false => RecursiveMode::NonRecursive,
        };
        // Without notifications (none left, a drive that has none) reading the folder does.
        if let Some(notifier) = &mut notifier {
            let _ = notifier.watch(&self.root, mode);
        }
        loop {
            let Ok(wait) = self.look(tell) else {
                return; // nobody listens any more
            };
            match woken.recv_timeout(wait) {
                Ok(Wake::Changed) => {
                    // A copy in progress rings for each block: listen to the rest at once.
                    std::thread::sleep(Duration::from_millis(20));
                    if woken.try_iter().any(|w| matches!(w, Wake::Stop)) {
                        return;
                    }
                }
                Err(RecvTimeoutError::Timeout) => {}
                Ok(Wake::Stop) | Err(RecvTimeoutError::Disconnected) => return,
            }
        }
    }

    /// Reads the folder once; returns how long to wait for a notification.
    fn look(&mut self, tell: &Sender<Event>) -> Result<Duration, mpsc::SendError<Event>> {
        let now = Instant::now();
        let found = match list(&self.root, self.settings.recursive) {
            Ok(found) => found,
            Err(why) => {
                if !std::mem::replace(&mut self.is_lost, true) {
                    tell.send(Event::FolderLost { why })?;
                }
                return Ok(self.settings.rescan);
            }
        };
        self.is_lost = false;
        self.files.retain(|path, _| found.contains_key(path));
        let mut wait = self.settings.rescan;
        for (path, (bytes, changed)) in found {
            let file = self.files.entry(path.clone()).or_insert(Seen {
                bytes,
                changed,
                since: now,
                opened: None,
                is_told: false,
            });
            if (file.bytes, file.changed) != (bytes, changed) {
                *file = Seen {
                    bytes,
                    changed,
                    since: now,
                    opened: None,
                    is_told: false,
                };
            }
            if file.is_told {
                continue;
            }
            let still = now.duration_since(file.since);
            // A file that wasn't whole is opened again after a while, not at every wake.
            let rested = file
                .opened
                .is_none_or(|t| now.duration_since(t) >= self.settings.settle);
            if still < self.settings.settle || !rested {
                wait = wait.min(self.settings.settle);
                continue;
            }
            file.opened = Some(now);
            let is_last = still >= self.settings.patience;
            let outcome = take(&path, bytes, self.settings.largest);
            let event = match outcome {
                Ok(identity) if self.seen.insert(identity.blake3) => {
                    Some(Event::Arrived { path, identity })
                }
                Ok(identity) => Some(Event::Known { path, identity }),
                Err(why) if is_last || is_final(&why) => Some(Event::Unreadable { path, why }),
                Err(_) => None,
            };
            match event {
                Some(event) => {
                    file.is_told = true;
                    tell.send(event)?;
                }
                None => wait = wait.min(self.settings.settle),
            }
        }
        Ok(wait.max(Duration::from_millis(10)))
    }
}

/// Whether waiting can't help: it is something else, not something unfinished.
fn is_final(why: &Unreadable) -> bool {
    matches!(
        why,
        Unreadable::TooLarge { .. } | Unreadable::File(MetaError::NotAPicture { .. })
    )
}

/// Reads a file whole: its identity, if it is a picture that reaches its end and did not
/// change while it was read.
fn take(path: &Path, bytes: u64, largest: u64) -> Result<Identity, Unreadable> {
    if bytes > largest {
        return Err(Unreadable::TooLarge { bytes, largest });
    }
    let mut file = File::open(path).map_err(Unreadable::Io)?;
    let mut content = Vec::new();
    let limit = largest.saturating_add(1);
    let read = file.by_ref().take(limit).read_to_end(&mut content);
    read.map_err(Unreadable::Io)?;
    check_whole(&content)?;
    let after = file.metadata().map_err(Unreadable::Io)?.len();
    if content.len() as u64 != bytes || after != bytes {
        let grown = std::io::Error::other("it was still changing while it was read");
        return Err(Unreadable::Io(grown));
    }
    crate::identity::identity(content.as_slice()).map_err(Unreadable::Io)
}

type Found = HashMap<PathBuf, (u64, Option<SystemTime>)>;

/// The plain files below a folder with their sizes and times; links are not followed, and
/// names that begin with a dot or end like a download in progress are passed over.
fn list(root: &Path, recursive: bool) -> std::io::Result<Found> {
    let mut found = Found::new();
    let mut folders = vec![(root.to_owned(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        let entries = match std::fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) if depth == 0 => return Err(error),
            Err(_) => continue, // a folder that just went away, or that isn't ours
        };
        for entry in entries.flatten() {
            let path = entry.path();
            let Ok(kind) = entry.file_type() else {
                continue;
            };
            if is_passed_over(&path) {
                continue;
            }
            if kind.is_dir() && recursive && depth < MAX_DEPTH {
                folders.push((path, depth + 1));
            } else if kind.is_file()
                && found.len() < MAX_FILES
                && let Ok(facts) = entry.metadata()
            {
                found.insert(path, (facts.len(), facts.modified().ok()));
            }
        }
    }
    Ok(found)
}

fn is_passed_over(path: &Path) -> bool {
    let name = path
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .to_lowercase();
    let unfinished = [".tmp", ".part", ".partial", ".crdownload", ".download"];
    name.starts_with('.') || unfinished.iter().any(|end| name.ends_with(end))
}

#[cfg(test)]
mod tests;
