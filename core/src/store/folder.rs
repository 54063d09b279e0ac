//! The shop folder: where it is, who owns it, and its few settings.

use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::write_whole;
use crate::error::{Error, Result};

/// The layout that this program writes.
const FORMAT: u32 = 1;

/// What a shop folder remembers besides its jobs.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct ShopSettings {
    /// The folder's layout; a newer one is refused.
    pub format: u32,
    /// What people call this device.
    #[serde(default)]
    pub device_name: String,
    /// The IANA time zone in which the shop works; empty means the computer's own.
    #[serde(default)]
    pub zone: String,
    /// The job that commands work on unless they name another.
    #[serde(default)]
    pub current_job: Option<String>,
    /// Whether the device keeps all original photos, or only its own and the previews.
    #[serde(default = "yes")]
    pub keeps_all: bool,
    /// The UDP port for the crew; 0 takes any.
    #[serde(default)]
    pub port: u16,
}

fn yes() -> bool {
    true
}

impl Default for ShopSettings {
    fn default() -> Self {
        Self {
            format: FORMAT,
            device_name: String::new(),
            zone: String::new(),
            current_job: None,
            keeps_all: true,
            port: 0,
        }
    }
}

/// An open shop folder. While it lives, no other process can open the same folder.
#[derive(Debug)]
pub struct ShopFolder {
    path: PathBuf,
    // Held for the lock on it; the system lets go of it even when the process is killed.
    _lock: File,
}

impl ShopFolder {
    /// Opens the folder, making it when it isn't there.
    ///
    /// # Errors
    /// [`Error::ShopInUse`] if another process has it, [`Error::TooNew`] if a newer Datumtrail
    /// wrote it.
    pub fn open(path: &Path) -> Result<(Self, ShopSettings)> {
        std::fs::create_dir_all(path).map_err(|e| Error::io(path, e))?;
        let path = std::path::absolute(path).map_err(|e| Error::io(path, e))?;
        let lock_path = path.join("lock");
        let lock = OpenOptions::new()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&lock_path)
            .map_err(|e| Error::io(&lock_path, e))?;
        match lock.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => return Err(Error::ShopInUse { shop: path }),
            Err(TryLockError::Error(e)) => return Err(Error::io(&lock_path, e)),
        }
        let folder = Self { path, _lock: lock };
        for inner in [folder.documents(), folder.blobs()] {
            std::fs::create_dir_all(&inner).map_err(|e| Error::io(&inner, e))?;
        }
        let settings = folder.read_settings()?;
        Ok((folder, settings))
    }

    /// The folder itself, absolute.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where the documents are.
    pub fn documents(&self) -> PathBuf {
        self.path.join("documents")
    }

    /// Where the photos are.
    pub fn blobs(&self) -> PathBuf {
        self.path.join("blobs")
    }

    /// Where the crew's roster is.
    pub fn crew(&self) -> PathBuf {
        self.path.join("crew")
    }

    /// Where copies are whose originals are elsewhere.
    pub fn copies(&self) -> PathBuf {
        self.path.join("copies")
    }

    /// Keeps the settings.
    pub fn write_settings(&self, settings: &ShopSettings) -> Result<()> {
        let path = self.path.join("shop.toml");
        let text = toml::to_string(settings).map_err(|e| Error::Internal(e.to_string()))?;
        write_whole(&path, text.as_bytes()).map_err(|e| Error::io(&path, e))
    }

    fn read_settings(&self) -> Result<ShopSettings> {
        let path = self.path.join("shop.toml");
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                let settings = ShopSettings::default();
                self.write_settings(&settings)?;
                return Ok(settings);
            }
            Err(e) => return Err(Error::io(&path, e)),
        };
        let settings: ShopSettings = toml::from_str(&text).map_err(|e| Error::Damaged {
            what: path.clone(),
            why: e.to_string().trim_end().to_owned(),
            todo: "mend the line it names, or delete the file to start with plain settings; \
                   the jobs are elsewhere and stay"
                .into(),
        })?;
        if settings.format > FORMAT {
            return Err(Error::TooNew {
                what: path,
                found: settings.format,
                known: FORMAT,
            });
        }
        Ok(settings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_owner_at_a_time() {
        let dir = tempfile::tempdir().unwrap();
        let (first, _) = ShopFolder::open(dir.path()).unwrap();
        assert!(matches!(
            ShopFolder::open(dir.path()),
            Err(Error::ShopInUse { .. })
        ));
        drop(first);
        assert!(ShopFolder::open(dir.path()).is_ok());
    }

    #[test]
    fn damaged_and_newer_settings_are_said_and_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("shop.toml");
        std::fs::write(&file, "format = [").unwrap();
        assert!(matches!(
            ShopFolder::open(dir.path()),
            Err(Error::Damaged { .. })
        ));
        assert_eq!(std::fs::read_to_string(&file).unwrap(), "format = [");
        std::fs::write(&file, "format = 99").unwrap();
        assert!(matches!(
            ShopFolder::open(dir.path()),
            Err(Error::TooNew { found: 99, .. })
        ));
    }
}
