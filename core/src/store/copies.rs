//! Copies of photos that came with an archive in place of their originals: without a position, say,
//! or with covered parts. They are kept apart from the photos themselves and never taken for one.
//!
//! ```text
//! copies/ORIGINAL/COPY.json   how it differs, and what it is a copy of
//! copies/ORIGINAL/COPY        its bytes
//! ```
//!
//! with the BLAKE3 identities of the original's and the copy's bytes for names.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::blobs::BlobId;
use super::write_whole;
use crate::error::{Error, Result};

/// What is known of a copy.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct KeptCopy {
    pub original: BlobId,
    pub copy: BlobId,
    /// The photo's name.
    pub name: String,
    /// How it differs from the original, a sentence without a full stop.
    pub differs: String,
}

/// The copies of one shop folder.
#[derive(Clone, Debug)]
pub struct Copies {
    root: PathBuf,
}

impl Copies {
    /// Those in `root`, which is made when the first one comes.
    pub fn new(root: PathBuf) -> Self {
        Self { root }
    }

    /// Keeps a copy. When this returns, it is on the disk.
    ///
    /// # Errors
    /// [`Error::NotSaved`]; [`Error::Invalid`] for what is no identity, or not that of the bytes.
    pub fn keep(&self, about: &KeptCopy, bytes: &[u8]) -> Result<()> {
        let folder = self.folder(&about.original)?;
        if blake3::hash(bytes).to_hex().as_str() != about.copy.0 {
            return Err(Error::invalid(
                format!("the copy of {} is not what it says it is", about.name),
                "get the archive again from someone who has it whole",
            ));
        }
        let not_saved = |path: &PathBuf, source| Error::NotSaved {
            path: path.clone(),
            source,
        };
        std::fs::create_dir_all(&folder).map_err(|e| not_saved(&folder, e))?;
        for above in [&self.root, &folder] {
            super::sync_folder(above).map_err(|e| not_saved(above, e))?;
        }
        let text = serde_json::to_vec_pretty(about).map_err(|e| Error::Internal(e.to_string()))?;
        let path = folder.join(&about.copy.0);
        write_whole(&path, bytes).map_err(|e| not_saved(&path, e))?;
        // The description last: a copy that has one is whole.
        let path = folder.join(format!("{}.json", about.copy.0));
        write_whole(&path, &text).map_err(|e| not_saved(&path, e))
    }

    /// A copy of that original, with its bytes; none where there is none that is whole.
    pub fn find(&self, original: &BlobId) -> Option<(KeptCopy, Vec<u8>)> {
        let folder = self.folder(original).ok()?;
        let mut paths: Vec<PathBuf> = std::fs::read_dir(&folder)
            .ok()?
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter(|path| path.extension().is_some_and(|ending| ending == "json"))
            .collect();
        paths.sort();
        paths.into_iter().find_map(|path| {
            let about: KeptCopy = serde_json::from_slice(&std::fs::read(&path).ok()?).ok()?;
            let bytes = std::fs::read(path.with_extension("")).ok()?;
            let whole = blake3::hash(&bytes).to_hex().as_str() == about.copy.0;
            (whole && about.original == *original).then_some((about, bytes))
        })
    }

    /// Where the copies of an original lie. Only an identity may become a path.
    fn folder(&self, original: &BlobId) -> Result<PathBuf> {
        match original.bytes() {
            Some(_) => Ok(self.root.join(&original.0)),
            None => Err(Error::invalid(
                format!("«{original}» is not the identity of a photo"),
                "an identity has 64 hexadecimal digits",
            )),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(bytes: &[u8]) -> BlobId {
        BlobId(blake3::hash(bytes).to_hex().to_string())
    }

    #[test]
    fn a_copy_is_found_by_its_original_and_only_while_it_is_whole() {
        let folder = tempfile::tempdir().unwrap();
        let copies = Copies::new(folder.path().join("copies"));
        let about = KeptCopy {
            original: id(b"original"),
            copy: id(b"copy"),
            name: "P1.JPG".into(),
            differs: "the position is left out".into(),
        };
        assert!(copies.find(&about.original).is_none());
        assert!(copies.keep(&about, b"another").is_err());
        copies.keep(&about, b"copy").unwrap();
        assert_eq!(
            copies.find(&about.original),
            Some((about.clone(), b"copy".to_vec()))
        );
        assert!(copies.find(&about.copy).is_none());
        let path = folder.path().join("copies").join(&about.original.0);
        std::fs::write(path.join(&about.copy.0), b"c0py").unwrap();
        assert!(copies.find(&about.original).is_none());
        let outside = KeptCopy {
            original: BlobId("../../x".into()),
            ..about
        };
        assert!(copies.keep(&outside, b"copy").is_err());
    }
}
