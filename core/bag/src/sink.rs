//! Where a bag is written: a folder or a zip, under a temporary name until all
//! of it is on the disk.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use tempfile::{TempDir, TempPath};

use crate::digest::{Algorithm, Digest, Hasher};
use crate::zip::record::Stamp;
use crate::zip::writer::ZipWriter;
use crate::{BLOCK, Error, tag};

/// An error of copying one file into the bag.
#[derive(Debug)]
pub(crate) enum CopyError {
    /// The content could not be read; the bag is as before.
    Content(io::Error),
    /// The bag could not be written; it is as before.
    Target(io::Error),
    /// Nor could what had been written be taken back.
    Lost(io::Error),
}

/// What was copied.
pub(crate) struct Copied {
    pub bytes: u64,
    pub sha512: Digest,
    /// The digest of its deflated form, in a zip.
    pub packed: Option<Digest>,
}

pub(crate) enum Sink {
    Folder(FolderSink),
    Zip(ZipSink),
}

impl Sink {
    /// Copies one file to `path` in the bag.
    pub fn add(
        &mut self,
        path: &str,
        deflated: bool,
        content: &mut dyn Read,
    ) -> Result<Copied, CopyError> {
        let mut hasher = Hasher::new([Algorithm::Sha512]);
        let mut bytes = 0;
        let mut seen = |block: &[u8]| {
            hasher.update(block);
            bytes += block.len() as u64;
        };
        let packed = match self {
            Self::Folder(folder) => folder.add(path, content, &mut seen).map(|()| None)?,
            Self::Zip(zip) => {
                let name = format!("{}/{path}", zip.top);
                zip.writer.add(&name, deflated, content, &mut seen)?
            }
        };
        match hasher.finish().get(Algorithm::Sha512) {
            Some(sha512) => Ok(Copied {
                bytes,
                sha512: sha512.clone(),
                packed,
            }),
            None => Err(CopyError::Lost(io::Error::other("no digest was made"))),
        }
    }

    /// Waits until all is on the disk, then gives the bag its name.
    pub fn commit(self, overwrite: bool) -> Result<(), Error> {
        match self {
            Self::Folder(folder) => folder.commit(overwrite),
            Self::Zip(zip) => zip.commit(overwrite),
        }
    }
}

/// Reads all of `content` and hands it on in blocks. Gives the number of bytes.
pub(crate) fn pump(
    content: &mut dyn Read,
    mut write: impl FnMut(&[u8]) -> io::Result<()>,
) -> Result<u64, CopyError> {
    let mut block = vec![0; BLOCK];
    let mut bytes = 0;
    loop {
        let filled = match content.read(&mut block) {
            Ok(0) => return Ok(bytes),
            Ok(filled) => filled,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(CopyError::Content(error)),
        };
        let read = block.get(..filled).ok_or_else(|| {
            CopyError::Content(io::Error::other(
                "the stream claims more than it was asked for",
            ))
        })?;
        write(read).map_err(CopyError::Target)?;
        bytes += filled as u64;
    }
}

/// A zip under a temporary name beside its target.
pub(crate) struct ZipSink {
    target: PathBuf,
    pub top: String,
    temporary: TempPath,
    writer: ZipWriter,
}

impl ZipSink {
    pub fn create(target: &Path, top: &str, stamp: Stamp, overwrite: bool) -> Result<Self, Error> {
        refuse_existing(target, overwrite, Path::is_file)?;
        let failed = |source| Error::Write {
            path: target.to_owned(),
            source,
        };
        let temporary = temporary(0o666)
            .tempfile_in(parent(target))
            .map_err(failed)?;
        let (file, temporary) = temporary.into_parts();
        let (target, top) = (target.to_owned(), top.to_owned());
        Ok(Self {
            target,
            top,
            temporary,
            writer: ZipWriter::new(file, stamp).map_err(failed)?,
        })
    }

    fn commit(self, overwrite: bool) -> Result<(), Error> {
        let Self {
            target,
            temporary,
            writer,
            ..
        } = self;
        let failed = |source| Error::Write {
            path: target.clone(),
            source,
        };
        writer.finish().map_err(failed)?;
        if overwrite {
            temporary
                .persist(&target)
                .map_err(|error| failed(error.error))?;
        } else {
            temporary
                .persist_noclobber(&target)
                .map_err(|error| match error.error.kind() {
                    io::ErrorKind::AlreadyExists => Error::Exists {
                        path: target.clone(),
                    },
                    _ => failed(error.error),
                })?;
        }
        sync_folder(parent(&target)).map_err(failed)
    }
}

/// A folder under a temporary name beside its target.
pub(crate) struct FolderSink {
    target: PathBuf,
    temporary: TempDir,
    folders: BTreeSet<PathBuf>,
}

impl FolderSink {
    pub fn create(target: &Path, overwrite: bool) -> Result<Self, Error> {
        refuse_existing(target, overwrite, |path| path.join(tag::BAGIT).is_file())?;
        let temporary = temporary(0o777)
            .tempdir_in(parent(target))
            .map_err(|source| Error::Write {
                path: target.to_owned(),
                source,
            })?;
        let folders = BTreeSet::from([temporary.path().to_owned()]);
        Ok(Self {
            target: target.to_owned(),
            temporary,
            folders,
        })
    }

    fn add(
        &mut self,
        path: &str,
        content: &mut dyn Read,
        seen: &mut dyn FnMut(&[u8]),
    ) -> Result<(), CopyError> {
        let mut folder = self.temporary.path().to_owned();
        let (folders, name) = path.rsplit_once('/').unwrap_or(("", path));
        for part in folders.split('/').filter(|part| !part.is_empty()) {
            folder.push(part);
            if !self.folders.contains(&folder) {
                fs::create_dir(&folder).map_err(CopyError::Target)?;
                self.folders.insert(folder.clone());
            }
        }
        let file_path = folder.join(name);
        let mut file = File::create_new(&file_path).map_err(CopyError::Target)?;
        let copied = pump(content, |block| {
            seen(block);
            file.write_all(block)
        });
        let done = copied.and_then(|_| file.sync_all().map_err(CopyError::Target));
        done.map_err(|error| match fs::remove_file(&file_path) {
            Ok(()) => error,
            Err(undo) => CopyError::Lost(undo),
        })
    }

    fn commit(self, overwrite: bool) -> Result<(), Error> {
        let Self {
            target,
            temporary,
            folders,
        } = self;
        let failed = |source| Error::Write {
            path: target.clone(),
            source,
        };
        folders
            .iter()
            .try_for_each(|folder| sync_folder(folder))
            .map_err(failed)?;
        // Looked at again, as late as possible: renaming would silently replace
        // an empty folder.
        refuse_existing(&target, overwrite, |path| path.join(tag::BAGIT).is_file())?;
        if fs::symlink_metadata(&target).is_err() {
            fs::rename(temporary.path(), &target).map_err(failed)?;
        } else {
            // A folder cannot be replaced in one step. The old bag steps aside,
            // comes back if the new one cannot take its place, and goes last.
            let aside = self::temporary(0o777).tempdir_in(parent(&target));
            let aside = aside.map_err(failed)?;
            let old = aside.path().join("old");
            fs::rename(&target, &old).map_err(failed)?;
            if let Err(error) = fs::rename(temporary.path(), &target) {
                if fs::rename(&old, &target).is_err() {
                    // It must not go with the temporary folder.
                    let kept = aside.keep().join("old");
                    return Err(failed(io::Error::other(format!(
                        "{error}; the earlier bag is now {}",
                        kept.display()
                    ))));
                }
                return Err(failed(error));
            }
        }
        // It has another name now, and there is nothing left to remove.
        let _ = temporary.keep();
        sync_folder(parent(&target)).map_err(failed)
    }
}

/// Refuses what is under the final name, unless it may be replaced and is what
/// would be replaced.
fn refuse_existing(
    target: &Path,
    overwrite: bool,
    replaceable: impl Fn(&Path) -> bool,
) -> Result<(), Error> {
    match fs::symlink_metadata(target) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(source) => Err(Error::Write {
            path: target.to_owned(),
            source,
        }),
        Ok(_) if !overwrite => Err(Error::Exists {
            path: target.to_owned(),
        }),
        Ok(_) if !replaceable(target) => Err(Error::NotReplaceable {
            path: target.to_owned(),
        }),
        Ok(_) => Ok(()),
    }
}

/// A hidden neighbour of the target; removed with the last handle to it.
fn temporary(
    #[cfg_attr(not(unix), allow(unused))] mode: u32,
) -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".bag-").suffix(".part");
    // Temporary files are private by default; this one becomes an ordinary file,
    // and the user's umask decides who may read it.
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(fs::Permissions::from_mode(mode));
    }
    builder
}

/// The folder that a target is in.
fn parent(target: &Path) -> &Path {
    match target.parent() {
        Some(parent) if parent != Path::new("") => parent,
        _ => Path::new("."),
    }
}

/// Makes the names in a folder durable, where the system needs it.
fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) {
        File::open(folder)?.sync_all()
    } else {
        Ok(())
    }
}
