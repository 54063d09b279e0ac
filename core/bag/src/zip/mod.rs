//! The zip format, as much of it as a bag needs.
//!
//! Source: PKWARE, "APPNOTE.TXT, .ZIP File Format Specification" 6.3.10; section
//! numbers in this folder are its.
//!
//! Why not a library: to know that no byte of a zip was altered, the reader has
//! to derive each byte that the writer wrote. So both stand on one description
//! of the records ([`record`]), which a general library keeps to itself.

pub(crate) mod directory;
pub(crate) mod entry;
mod flush;
pub(crate) mod record;
pub(crate) mod writer;

pub(crate) use directory::Directory;
pub(crate) use record::{Entry, Method};
