//! SHA-512 and SHA-256 digests in their hexadecimal form.

use std::fmt;

use sha2::{Digest as _, Sha256, Sha512};

/// A SHA-512 (64 byte) or SHA-256 (32 byte) digest; displayed as lower-case
/// hexadecimal digits.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct Digest(Box<[u8]>);

impl Digest {
    /// The SHA-512 of some bytes.
    pub fn sha512(bytes: &[u8]) -> Self {
        Self(Sha512::digest(bytes).as_slice().into())
    }

    /// The digest's bytes.
    pub fn as_bytes(&self) -> &[u8] {
        &self.0
    }

    /// Reads hexadecimal digits of either case; `None` for anything else.
    pub(crate) fn parse(hex: &str) -> Option<Self> {
        let pairs = hex.as_bytes().chunks(2);
        let digit = |byte: u8| char::from(byte).to_digit(16);
        let byte = |pair: &[u8]| match pair {
            [high, low] => u8::try_from(digit(*high)? << 4 | digit(*low)?).ok(),
            _ => None,
        };
        pairs.map(byte).collect::<Option<_>>().map(Self)
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Digest({self})")
    }
}

impl serde::Serialize for Digest {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// The algorithms that a manifest may use here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Algorithm {
    Sha256,
    Sha512,
}

impl Algorithm {
    /// By the name used in file names (RFC 8493, 2.4).
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "sha256" => Some(Self::Sha256),
            "sha512" => Some(Self::Sha512),
            _ => None,
        }
    }

    /// The name people use.
    pub fn label(self) -> &'static str {
        match self {
            Self::Sha256 => "SHA-256",
            Self::Sha512 => "SHA-512",
        }
    }

    /// Length of the digest in bytes.
    pub fn bytes(self) -> usize {
        match self {
            Self::Sha256 => 32,
            Self::Sha512 => 64,
        }
    }
}

/// Several digests of the same bytes, in one pass.
#[derive(Default)]
pub(crate) struct Hasher {
    sha256: Option<Sha256>,
    sha512: Option<Sha512>,
}

impl Hasher {
    pub fn new(algorithms: impl IntoIterator<Item = Algorithm>) -> Self {
        let mut hasher = Self::default();
        for algorithm in algorithms {
            match algorithm {
                Algorithm::Sha256 => hasher.sha256 = Some(Sha256::new()),
                Algorithm::Sha512 => hasher.sha512 = Some(Sha512::new()),
            }
        }
        hasher
    }

    pub fn update(&mut self, bytes: &[u8]) {
        if let Some(sha) = &mut self.sha256 {
            sha.update(bytes);
        }
        if let Some(sha) = &mut self.sha512 {
            sha.update(bytes);
        }
    }

    pub fn finish(self) -> Digests {
        Digests {
            sha256: self
                .sha256
                .map(|sha| Digest(sha.finalize().as_slice().into())),
            sha512: self
                .sha512
                .map(|sha| Digest(sha.finalize().as_slice().into())),
        }
    }
}

/// What a [`Hasher`] found: a digest for each algorithm it was asked for.
pub(crate) struct Digests {
    sha256: Option<Digest>,
    sha512: Option<Digest>,
}

impl Digests {
    pub fn get(&self, algorithm: Algorithm) -> Option<&Digest> {
        match algorithm {
            Algorithm::Sha256 => self.sha256.as_ref(),
            Algorithm::Sha512 => self.sha512.as_ref(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The digests of "abc" (FIPS 180-4, as published with the example
    /// computations of the standard).
    const SHA512_ABC: &str = "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a\
                              2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f";
    const SHA256_ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn published_digests() {
        let mut hasher = Hasher::new([Algorithm::Sha256, Algorithm::Sha512]);
        hasher.update(b"a");
        hasher.update(b"bc");
        let found = hasher.finish();
        assert_eq!(
            found.get(Algorithm::Sha512).unwrap().to_string(),
            SHA512_ABC
        );
        assert_eq!(
            found.get(Algorithm::Sha256).unwrap().to_string(),
            SHA256_ABC
        );
        assert_eq!(Digest::sha512(b"abc").to_string(), SHA512_ABC);
    }

    #[test]
    fn hexadecimal_of_either_case_and_nothing_else() {
        assert_eq!(
            Digest::parse(&SHA512_ABC.to_uppercase()),
            Some(Digest::sha512(b"abc"))
        );
        for bad in ["abc", "zz", "+1", "ab cd", "äb"] {
            assert_eq!(Digest::parse(bad), None, "{bad}");
        }
    }
}
