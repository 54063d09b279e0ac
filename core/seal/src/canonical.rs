//! JSON in its canonical form (RFC 8785), and the digest of that.
//!
//! The form: no spaces; the names of an object sorted by their UTF-16 code units; numbers as
//! ECMAScript prints a double; texts with the shortest escapes, otherwise as they are. So the same
//! content is always the same bytes, whoever writes them, and a digest of it means the content.
//!
//! The work is done by the crate `serde_json_canonicalizer`. One thing is added: a whole number that
//! would be rounded is refused, since two contents with one digest are no seal.
//!
//! Cost: linear in the size, with sorting for each object.

use std::fmt;

use data_encoding::HEXLOWER;
use serde_json::Value;
use sha2::{Digest as _, Sha512};

use crate::SealError;

/// The largest whole number up to which a double holds every one (RFC 7493, 2.2).
const LARGEST: u64 = (1 << 53) - 1;

/// A value in its canonical form.
///
/// # Errors
/// [`SealError::NumberTooLarge`].
///
/// ```
/// use datumtrail_seal::canonical;
///
/// let value: serde_json::Value = serde_json::from_str(r#"{ "b": 1E30, "a": [4.50, "€"] }"#).unwrap();
/// assert_eq!(canonical(&value)?, r#"{"a":[4.5,"€"],"b":1e+30}"#);
/// # Ok::<(), datumtrail_seal::SealError>(())
/// ```
pub fn canonical(value: &Value) -> Result<String, SealError> {
    check_numbers(value)?;
    written(value)
}

fn written(value: &Value) -> Result<String, SealError> {
    serde_json_canonicalizer::to_string(value)
        .map_err(|e| SealError::NotCanonical { why: e.to_string() })
}

/// SHA-512 of a value's canonical form.
///
/// # Errors
/// As [`canonical`].
pub fn digest(value: &Value) -> Result<Digest, SealError> {
    Ok(Digest::of(canonical(value)?.as_bytes()))
}

/// Refuses a large whole number that would be written as another one. What a double's own text reads
/// back as, such as `295147905179352830000`, is written as itself.
fn check_numbers(value: &Value) -> Result<(), SealError> {
    match value {
        Value::Number(number) => {
            let magnitude = match (number.as_u64(), number.as_i64()) {
                (Some(n), _) => Some(n),
                (None, Some(n)) => Some(n.unsigned_abs()),
                (None, None) => None,
            };
            if magnitude.is_none_or(|n| n <= LARGEST) || written(value)? == number.to_string() {
                return Ok(());
            }
            Err(SealError::NumberTooLarge {
                number: number.to_string(),
            })
        }
        Value::Array(items) => items.iter().try_for_each(check_numbers),
        Value::Object(fields) => fields.values().try_for_each(check_numbers),
        Value::Null | Value::Bool(_) | Value::String(_) => Ok(()),
    }
}

/// A SHA-512. As text 128 hexadecimal digits, which is what `sha512sum` prints.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Digest([u8; 64]);

impl Digest {
    /// The digest of some bytes.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha512::digest(bytes).into())
    }

    /// The bytes.
    pub fn as_bytes(&self) -> &[u8; 64] {
        &self.0
    }

    /// Reads 128 hexadecimal digits.
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = HEXLOWER.decode(text.to_lowercase().as_bytes()).ok()?;
        bytes.try_into().ok().map(Self)
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&HEXLOWER.encode(&self.0))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Digest({self})")
    }
}
