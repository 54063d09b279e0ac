//! Which bytes these are: BLAKE3, the hash that the blob store also uses, so one number
//! names a photograph everywhere. Source: the BLAKE3 paper (O'Connor and others, 2020).
//!
//! ```
//! use datumtrail_photo::identity::identity;
//!
//! let id = identity(&b""[..])?;
//! // The published test vector of the empty input.
//! assert_eq!(id.to_hex(), "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262");
//! assert_eq!(id.bytes, 0);
//! # Ok::<(), std::io::Error>(())
//! ```

use std::io::Read;

/// The identity of a file's bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Identity {
    /// The BLAKE3 hash.
    pub blake3: [u8; 32],
    /// How many bytes there are.
    pub bytes: u64,
}

impl Identity {
    /// The hash as 64 lower-case hexadecimal digits.
    pub fn to_hex(&self) -> String {
        blake3::Hash::from_bytes(self.blake3).to_hex().to_string()
    }
}

impl std::fmt::Display for Identity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.to_hex())
    }
}

/// Reads to the end, in constant memory.
///
/// # Errors
/// Whatever the reader reports.
pub fn identity<R: Read>(reader: R) -> std::io::Result<Identity> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(reader)?;
    Ok(Identity {
        blake3: *hasher.finalize().as_bytes(),
        bytes: hasher.count(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reading_in_pieces_gives_the_hash_of_the_whole() {
        struct Pieces<'a>(&'a [u8]);
        impl Read for Pieces<'_> {
            fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
                let n = out.len().min(self.0.len()).min(7);
                let (head, rest) = self.0.split_at(n);
                out[..n].copy_from_slice(head);
                self.0 = rest;
                Ok(n)
            }
        }
        let input: Vec<u8> = (0..100_000u32).map(|i| (i % 251) as u8).collect();
        let id = identity(Pieces(&input)).unwrap();
        assert_eq!(id.blake3, *blake3::hash(&input).as_bytes());
        assert_eq!(id.bytes, 100_000);
        assert_eq!(id.to_string(), id.to_hex());
        assert_eq!(id.to_hex().len(), 64);
    }

    #[test]
    fn a_failing_reader_is_an_error() {
        struct Broken;
        impl Read for Broken {
            fn read(&mut self, _: &mut [u8]) -> std::io::Result<usize> {
                Err(std::io::Error::other("unplugged"))
            }
        }
        assert_eq!(identity(Broken).unwrap_err().to_string(), "unplugged");
    }
}
