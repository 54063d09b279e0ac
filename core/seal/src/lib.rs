//! Seals: a signature over JSON that anyone can check, with a program that nearly every computer
//! has.
//!
//! A seal is three texts, and no format of its own:
//!
//! 1. **What is sealed**: a JSON value in the one form that RFC 8785 (JSON Canonicalization Scheme)
//!    gives it, so that the same content is always the same bytes ([`canonical`]).
//! 2. **The signature** over those bytes, by the device's Ed25519 key (RFC 8032), as an OpenSSH
//!    signature file (SSHSIG, OpenSSH's `PROTOCOL.sshsig`) in the namespace [`NAMESPACE`]
//!    ([`sign`]).
//! 3. **Whose key that is**: a line of an allowed-signers file, as `ssh-keygen(1)` describes it under
//!    ALLOWED SIGNERS ([`allowed_signers_line`]).
//!
//! With these three in files, this checks the signature without any program of ours:
//!
//! ```text
//! ssh-keygen -Y verify -f allowed_signers -I bench-d75a980182 -n datumtrail \
//!            -s stage.json.sig < stage.json
//! ```
//!
//! [`how_to_verify`] writes that down for whoever opens an archive. [`verify`] does the same here.
//!
//! What a signature shows: that who held the key signed exactly these bytes. It does not show when,
//! nor that the key belongs to who the allowed-signers file says: that rests on how the reader came
//! by the file.
//!
//! ```
//! use datumtrail_seal::{allowed_signers_line, canonical, public_key, sign, verify};
//!
//! let seed = [7; 32]; // a device's secret; never a constant outside an example
//! let sealed = canonical(&serde_json::json!({ "stage": "fit-survey", "photos": 3 }))?;
//! assert_eq!(sealed, r#"{"photos":3,"stage":"fit-survey"}"#);
//!
//! let signature = sign(sealed.as_bytes(), &seed)?;
//! let allowed = allowed_signers_line("bench", &public_key(&seed));
//! let signer = verify(sealed.as_bytes(), &signature, &allowed)?;
//! assert!(signer.principal.starts_with("bench-"));
//! assert!(verify(b"something else", &signature, &allowed).is_err());
//! # Ok::<(), datumtrail_seal::SealError>(())
//! ```
//!
//! | file | what it is |
//! |---|---|
//! | `canonical` | JSON in its canonical form, and its digest |
//! | `signature` | signing and checking |
//! | `allowed` | the allowed-signers file |
//! | `page` | the page that says how to check |

mod allowed;
mod canonical;
mod error;
mod page;
mod signature;

pub use allowed::{Allowed, allowed_signers, allowed_signers_line, principal};
pub use canonical::{Digest, canonical, digest};
pub use error::SealError;
pub use page::{SealedFile, how_to_verify};
pub use signature::{NAMESPACE, PublicKey, Signer, public_key, sign, verify};
