//! Makes the photos small enough for paper, on threads of its own while the archive is written.

use std::collections::HashMap;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

use datumtrail_paper::Picture;
use datumtrail_photo::kind::Kind;
use datumtrail_photo::meta::read_meta_bytes;
use datumtrail_photo::orientation::Orientation;
use datumtrail_photo::preview::preview_as;

use crate::job::record::RecordId;

/// With more photos than this there are four on a page.
pub const TWO_A_PAGE: usize = 8;
/// The long side with two pictures a page, pixels: 240 to an inch.
const LARGE: u32 = 1600;
/// With four a page: 300 to an inch.
const SMALL: u32 = 1000;
/// Threads, where there are so many processors.
const THREADS: usize = 2;

/// A picture, or why there is none.
pub type Made = HashMap<RecordId, Result<Picture, String>>;

type Work = (RecordId, Vec<u8>);

/// Pictures on their way.
pub(crate) struct Pictures {
    work: SyncSender<Work>,
    threads: Vec<JoinHandle<Made>>,
}

impl Pictures {
    /// For a job of so many photos.
    pub fn of(photos: usize) -> Self {
        let long_side = if photos > TWO_A_PAGE { SMALL } else { LARGE };
        let processors = std::thread::available_parallelism().map_or(1, usize::from);
        // No photo waits in the channel: each that does would be held in memory.
        let (work, receiver) = sync_channel::<Work>(0);
        let receiver = Arc::new(Mutex::new(receiver));
        let threads = (0..THREADS.min(processors)).map(|_| {
            let receiver = Arc::clone(&receiver);
            std::thread::spawn(move || make(&receiver, long_side))
        });
        Self {
            work,
            threads: threads.collect(),
        }
    }

    /// A photo as it goes out.
    pub fn add(&mut self, photo: &RecordId, bytes: Vec<u8>) {
        // A thread that is gone leaves its pictures missing, and the report says so.
        let _ = self.work.send((photo.clone(), bytes));
    }

    /// All of them.
    pub fn made(self) -> Made {
        drop(self.work);
        let threads = self.threads.into_iter();
        threads.filter_map(|t| t.join().ok()).flatten().collect()
    }
}

fn make(receiver: &Mutex<Receiver<Work>>, long_side: u32) -> Made {
    let mut made = Made::new();
    loop {
        let next = match receiver.lock() {
            Ok(receiver) => receiver.recv(),
            Err(_) => return made,
        };
        let Ok((photo, bytes)) = next else {
            return made;
        };
        // What decodes pictures is not ours, and photos come from anywhere.
        let picture = std::panic::catch_unwind(|| picture(bytes, long_side));
        let picture = picture.unwrap_or_else(|_| Err("it upset the decoder".into()));
        made.insert(photo, picture);
    }
}

/// A longer file is never put into the report as it is.
const PASSED_MAX: usize = 1 << 20;

/// The JPEG itself where it is upright and small enough, else a smaller one.
fn picture(bytes: Vec<u8>, long_side: u32) -> Result<Picture, String> {
    let meta = read_meta_bytes(&bytes).map_err(|e| e.to_string())?;
    let small = match meta.upright_size() {
        Some(size) => size.width.max(size.height) <= long_side,
        None => false,
    };
    // A file can be long for reasons that no paper shows, such as a video behind the picture.
    let short = bytes.len() <= PASSED_MAX;
    if meta.kind == Kind::Jpeg
        && meta.orientation == Orientation::default()
        && small
        && short
        && let Ok(picture) = Picture::jpeg(bytes.clone())
    {
        return Ok(picture);
    }
    let smaller = preview_as(&bytes, meta.kind, meta.orientation, long_side);
    let smaller = smaller.map_err(|e| e.to_string())?;
    Picture::jpeg(smaller.jpeg).map_err(|e| e.to_string())
}
