//! Small files that are either the old ones or the new ones, whenever the power goes.

use std::io::Write;
use std::path::Path;

/// Writes a whole file: a temporary one beside it, flushed, renamed over it, and the folder
/// flushed. The folder is made where it isn't there; the file can be read by its owner only.
///
/// # Errors
/// Whatever the file system says; the file that was there before is then untouched.
pub fn write_whole(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder = path
        .parent()
        .ok_or_else(|| std::io::Error::other("a file needs a folder to be in"))?;
    std::fs::create_dir_all(folder)?;
    let mut temporary = tempfile::Builder::new()
        .prefix(".new-")
        .tempfile_in(folder)?;
    temporary.write_all(bytes)?;
    temporary.as_file().sync_data()?;
    temporary.persist(path).map_err(|e| e.error)?;
    // Windows has no way to flush a folder, and needs none: NTFS journals its names.
    #[cfg(unix)]
    std::fs::File::open(folder)?.sync_all()?;
    Ok(())
}
