//! Signatures as OpenSSH makes them.
//!
//! What is signed is not the message itself but, as `PROTOCOL.sshsig` says,
//!
//! ```text
//! "SSHSIG"  namespace  reserved ""  "sha512"  SHA-512(message)
//! ```
//!
//! with every text preceded by its length, so that a signature can't be taken for one of another
//! purpose. The crate `ssh-key` does the work. Ed25519 is deterministic (RFC 8032, 5.1.6): the same
//! content and key give the same signature, and no random numbers are needed.

use data_encoding::HEXLOWER;
use ssh_key::private::{Ed25519Keypair, KeypairData};
use ssh_key::public::KeyData;
use ssh_key::{HashAlg, LineEnding, PrivateKey, SshSig};

use crate::SealError;
use crate::allowed::allowed_signers;

/// What every signature of ours is for. `ssh-keygen -Y verify` asks for it with `-n`.
pub const NAMESPACE: &str = "datumtrail";

/// An Ed25519 public key.
pub type PublicKey = [u8; 32];

/// Who signed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signer {
    /// Their name in the list of allowed signers.
    pub principal: String,
    pub key: PublicKey,
}

/// The public half of a secret seed.
pub fn public_key(seed: &[u8; 32]) -> PublicKey {
    Ed25519Keypair::from_seed(seed).public.0
}

/// Signs a message. Gives an OpenSSH signature file, armoured.
///
/// # Errors
/// [`SealError::NotSigned`], which does not happen with a key of 32 bytes.
pub fn sign(message: &[u8], seed: &[u8; 32]) -> Result<String, SealError> {
    let not_signed = |e: ssh_key::Error| SealError::NotSigned { why: e.to_string() };
    let keypair = KeypairData::Ed25519(Ed25519Keypair::from_seed(seed));
    let key = PrivateKey::new(keypair, "").map_err(not_signed)?;
    let signature = SshSig::sign(&key, NAMESPACE, HashAlg::Sha512, message).map_err(not_signed)?;
    signature.to_pem(LineEnding::LF).map_err(not_signed)
}

/// Checks a signature over a message against a list of allowed signers, and says who signed.
///
/// # Errors
/// [`SealError::NotASignature`], [`SealError::OtherNamespace`], [`SealError::DoesNotFit`],
/// [`SealError::UnknownSigner`] where the signature fits and its key is not in the list, and
/// [`SealError::BadAllowedLine`].
pub fn verify(message: &[u8], signature: &str, allowed: &str) -> Result<Signer, SealError> {
    let not_one = |why: String| SealError::NotASignature { why };
    let signature = SshSig::from_pem(signature.trim()).map_err(|e| not_one(e.to_string()))?;
    let KeyData::Ed25519(key) = signature.public_key() else {
        let kind = signature.algorithm();
        return Err(not_one(format!("it is made with {kind}, not with Ed25519")));
    };
    if signature.namespace() != NAMESPACE {
        return Err(SealError::OtherNamespace {
            found: signature.namespace().escape_debug().to_string(),
            expected: NAMESPACE,
        });
    }
    let claimed = ssh_key::PublicKey::from(*key);
    claimed
        .verify(NAMESPACE, message, &signature)
        .map_err(|_| SealError::DoesNotFit)?;
    let known = allowed_signers(allowed)?;
    known
        .into_iter()
        .find(|signer| signer.key == key.0 && signer.may_sign(NAMESPACE))
        .map(|signer| Signer {
            principal: signer.principal,
            key: signer.key,
        })
        .ok_or_else(|| SealError::UnknownSigner {
            key: HEXLOWER.encode(&key.0),
        })
}
