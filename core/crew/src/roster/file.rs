//! The roster on disk: one file, replaced as a whole.

use std::path::Path;

use super::{Roster, Signed};
use crate::disk::write_whole;
use crate::error::{CrewError, Result};

const MAGIC: &[u8] = b"datumtrail roster 1\n";

impl Roster {
    /// Reads the roster of a device; an empty one where there is no file.
    ///
    /// # Errors
    /// [`CrewError::Damaged`] if the file is not what was written: a device that forgot a removal
    /// would let a removed one in, so it stops instead.
    pub fn load(path: &Path) -> Result<Self> {
        let bytes = match std::fs::read(path) {
            Ok(bytes) => bytes,
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Err(e) => return Err(CrewError::io(path, e)),
        };
        let damaged = |why: &str| CrewError::Damaged {
            what: path.to_owned(),
            why: why.to_owned(),
        };
        let body = bytes
            .strip_prefix(MAGIC)
            .ok_or_else(|| damaged("this is not a crew's roster"))?;
        let statements: Vec<Signed> =
            postcard::from_bytes(body).map_err(|_| damaged("the roster breaks off"))?;
        let count = statements.len();
        let mut roster = Self::default();
        roster.restore(statements);
        if roster.all.len() != count {
            return Err(damaged("statements in it have been altered"));
        }
        Ok(roster)
    }

    /// Writes the roster so that it survives the power going away.
    pub fn save(&self, path: &Path) -> Result<()> {
        let body = postcard::to_stdvec(&self.statements())
            .map_err(|e| CrewError::Internal(e.to_string()))?;
        write_whole(path, &[MAGIC, &body].concat()).map_err(|e| CrewError::io(path, e))
    }
}
