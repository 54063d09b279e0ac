//! The crew: the devices that share the shop's jobs.

use super::folder::Shop;
use crate::error::{Error, Result};

impl Shop {
    /// The key of a member that a person named.
    pub(super) fn member(&self, typed: &str) -> Result<String> {
        let typed = typed.trim();
        let is_key = typed.len() == 64 && typed.bytes().all(|b| b.is_ascii_hexdigit());
        if is_key {
            return Ok(typed.to_ascii_lowercase());
        }
        Err(Error::Unknown {
            kind: "device",
            name: typed.to_owned(),
            todo: "type its key".into(),
        })
    }
}
