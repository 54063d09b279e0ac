//! The device's own key: who wrote a record.

use std::fmt;
use std::path::Path;

use crate::error::{Error, Result};

/// A device's public identity: its Ed25519 public key in hexadecimal, 64 digits.
#[derive(
    Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize,
)]
#[serde(transparent)]
pub struct DeviceId(pub String);

impl DeviceId {
    /// The first ten digits: enough for a person to tell a shop's devices apart.
    pub fn short(&self) -> &str {
        self.0.get(..10).unwrap_or(&self.0)
    }
}

impl fmt::Display for DeviceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The device's secret key. It never leaves the shop folder.
#[derive(Clone)]
pub struct DeviceKey(iroh::SecretKey);

impl DeviceKey {
    /// Reads the key of a shop folder, or makes one there if it has none.
    ///
    /// # Errors
    /// [`Error::Damaged`] if the file is not a key; it is never replaced, because a new key would
    /// be a new device.
    pub fn load_or_create(folder: &Path) -> Result<Self> {
        let path = folder.join("device.key");
        match std::fs::read(&path) {
            Ok(bytes) => {
                let bytes: [u8; 32] = bytes.try_into().map_err(|_| Error::Damaged {
                    what: path.clone(),
                    why: "the device's key must be 32 bytes long".into(),
                    todo: "restore the file from a backup; without it this is a new device".into(),
                })?;
                Ok(Self(iroh::SecretKey::from_bytes(&bytes)))
            }
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                let key = iroh::SecretKey::generate();
                write_private(&path, &key.to_bytes()).map_err(|e| Error::io(&path, e))?;
                Ok(Self(key))
            }
            Err(e) => Err(Error::io(&path, e)),
        }
    }

    /// The public half as the network knows it.
    pub(crate) fn member(&self) -> datumtrail_crew::MemberId {
        self.0.public()
    }

    /// The key itself, for the connections to other devices.
    pub(crate) fn for_network(&self) -> iroh::SecretKey {
        self.0.clone()
    }

    /// The public half.
    pub fn id(&self) -> DeviceId {
        DeviceId(self.0.public().to_string())
    }

    /// The public half's bytes.
    pub fn public(&self) -> [u8; 32] {
        *self.0.public().as_bytes()
    }

    /// Signs a message, as an OpenSSH signature file. The secret stays in here.
    ///
    /// # Errors
    /// [`Error::Internal`], which does not happen with a key that could be read.
    pub fn sign(&self, message: &[u8]) -> Result<String> {
        datumtrail_seal::sign(message, &self.0.to_bytes())
            .map_err(|e| Error::Internal(e.to_string()))
    }
}

impl DeviceId {
    /// The public key's bytes; none where this is no key.
    pub fn bytes(&self) -> Option<[u8; 32]> {
        let bytes = data_encoding::HEXLOWER.decode(self.0.as_bytes()).ok()?;
        bytes.try_into().ok()
    }
}

impl fmt::Debug for DeviceKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "DeviceKey({})", self.id().short())
    }
}

fn write_private(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    // tempfile makes its files readable by their owner only, and the rename keeps that.
    super::write_whole(path, bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_signature_is_that_of_the_public_half() {
        let folder = tempfile::tempdir().unwrap();
        let key = DeviceKey::load_or_create(folder.path()).unwrap();
        assert_eq!(key.id().bytes(), Some(key.public()));
        let signature = key.sign(b"a stage").unwrap();
        let allowed = datumtrail_seal::allowed_signers_line("bench", &key.public());
        let signer = datumtrail_seal::verify(b"a stage", &signature, &allowed).unwrap();
        assert_eq!(signer.key, key.public());
        assert!(datumtrail_seal::verify(b"a stagE", &signature, &allowed).is_err());
        assert_eq!(DeviceId("no key".into()).bytes(), None);
    }
}
