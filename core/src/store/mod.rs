//! What is on disk: one shop folder, owned by one process at a time.
//!
//! ```text
//! SHOP/
//!   shop.toml     format, device name, time zone, the current job
//!   device.key    the device's Ed25519 secret key, readable by its owner only
//!   lock          held by the process that owns the folder
//!   documents/    the job documents, in the layout of automerge-repo's file storage
//!   crew/         who is in the crew, and where its devices were last met
//!   blobs/        photos and previews, by BLAKE3 identity
//!   copies/       copies of photos that came with archives in place of their originals
//! ```
//!
//! Every write that is acknowledged has reached the disk: [`durable`] for documents, [`blobs`]
//! for photos, [`copies`] for their copies, [`write_whole`] for the small files.

pub mod blobs;
pub mod copies;
pub mod durable;
mod folder;
mod keys;
mod sweep;

pub use folder::{ShopFolder, ShopSettings};
pub use keys::{DeviceId, DeviceKey};

use std::io::Write;
use std::path::Path;

/// How the names of files begin that are not whole yet.
const HALF_WRITTEN: &str = ".new-";

/// Writes a whole file so that after a crash either the old or the new content is there: a
/// temporary file beside it, flushed, renamed over it, and the folder flushed.
///
/// # Errors
/// Whatever the file system says; the file that was there before is then untouched.
pub fn write_whole(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder = path
        .parent()
        .ok_or_else(|| std::io::Error::other("a file needs a folder to be in"))?;
    let mut temporary = tempfile::Builder::new()
        .prefix(HALF_WRITTEN)
        .tempfile_in(folder)?;
    temporary.write_all(bytes)?;
    temporary.as_file().sync_data()?;
    temporary.persist(path).map_err(|e| e.error)?;
    sync_folder(folder)
}

/// Makes the names in a folder durable.
pub(crate) fn sync_folder(folder: &Path) -> std::io::Result<()> {
    // Windows has no way to flush a folder, and needs none: NTFS journals its names.
    #[cfg(unix)]
    std::fs::File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}
