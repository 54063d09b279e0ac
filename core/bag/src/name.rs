//! Names that Windows, macOS and Linux can all hold, and tell apart.
//!
//! Sources: Microsoft, "Naming Files, Paths, and Namespaces" (forbidden
//! characters, device names, trailing dots and spaces, the 260 characters of a
//! path); RFC 8493, 5.1.1 (case and normal forms) and 5.1.2. That Apple's file
//! systems compare without regard to case and normal form is common practice.

use std::collections::HashMap;

use icu_normalizer::ComposingNormalizerBorrowed;

use crate::Error;

/// Bytes in a name from [`safe_name`]: well below the 255 that file systems
/// allow, since a path is made of several.
const MAX_SAFE_NAME: usize = 120;

/// Bytes in one name (ext4, APFS and NTFS: 255 of their units; ext4's are bytes).
const MAX_NAME: usize = 255;

/// UTF-16 units in a path, the top folder included. Windows programs mostly
/// stop at 259; the rest is for the folder in which the bag is unpacked.
pub(crate) const MAX_PATH: usize = 200;

/// Makes one file name (no path) out of any text, which every system can hold.
///
/// What is forbidden somewhere becomes `_`, and so does `%`, which bag checkers
/// treat differently in manifests. Names are shortened to 120 bytes, keeping
/// their extension. Two texts may give the same name: making them distinct is
/// the caller's business. The result always passes [`check_path`], and is left
/// alone by a second call.
///
/// ```
/// # use datumtrail_bag::safe_name;
/// assert_eq!(safe_name("left rail: 3/4 view?.jpg"), "left rail_ 3_4 view_.jpg");
/// assert_eq!(safe_name("CON.txt"), "_CON.txt");
/// assert_eq!(safe_name("../secret"), "_._secret");
/// assert_eq!(safe_name("Längsträger.jpg"), "Längsträger.jpg");
/// ```
pub fn safe_name(text: &str) -> String {
    let forbidden = |c: char| c == '%' || reason_against(c).is_some();
    let text: String = text
        .chars()
        .map(|c| if forbidden(c) { '_' } else { c })
        .collect();
    let mut name = trim(&text).to_owned();
    // A file that begins with a dot is hidden on most systems.
    if name.starts_with('.') {
        name.replace_range(..1, "_");
    }
    if is_device(&name) {
        name.insert(0, '_');
    }
    name = shortened(&name, MAX_SAFE_NAME);
    if name.is_empty() {
        "unnamed".to_owned()
    } else {
        name
    }
}

/// Whether every system can hold this path, of names parted by `/`.
///
/// # Errors
/// [`Error::UnsafeName`] with the reason: an empty name, `.` or `..`, a
/// character that is forbidden somewhere, a device name such as `NUL`, a dot or
/// space at an end where Windows drops it, or too long.
pub fn check_path(path: &str) -> Result<(), Error> {
    let refused = |reason| Error::UnsafeName {
        name: path.to_owned(),
        reason,
    };
    path.split('/').try_for_each(check_name).map_err(refused)?;
    if path.encode_utf16().count() > MAX_PATH {
        return Err(refused("the whole path is longer than 200 characters"));
    }
    Ok(())
}

fn check_name(name: &str) -> Result<(), &'static str> {
    if name.is_empty() {
        return Err("it has an empty part");
    }
    if name.len() > MAX_NAME {
        return Err("it is longer than 255 bytes");
    }
    if name == "." || name == ".." {
        return Err("it has a part that stands for another folder");
    }
    if name != trim(name) {
        return Err("it has a space at its beginning, or a dot or a space at its end");
    }
    if let Some(reason) = name.chars().find_map(reason_against) {
        return Err(reason);
    }
    if is_device(name) {
        return Err("Windows keeps this name for a device");
    }
    Ok(())
}

/// Why a character may not be part of a name.
fn reason_against(c: char) -> Option<&'static str> {
    match c {
        '<' | '>' | ':' | '"' | '/' | '\\' | '|' | '?' | '*' => {
            Some("it has one of < > : \" / \\ | ? *")
        }
        c if c.is_control() => Some("it has a control character"),
        // These turn the reading direction: "gpj.exe" could show as "exe.jpg".
        '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => {
            Some("it has a character that turns the reading direction")
        }
        '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}' => {
            Some("it has a character that does not show")
        }
        _ => None,
    }
}

fn trim(name: &str) -> &str {
    name.trim_start_matches(' ').trim_end_matches(['.', ' '])
}

/// `NUL`, `COM1` and the like, alone or before a dot.
fn is_device(name: &str) -> bool {
    let stem = name
        .split('.')
        .next()
        .unwrap_or_default()
        .trim_end_matches(' ');
    let stem = stem.to_uppercase();
    if matches!(&*stem, "CON" | "PRN" | "AUX" | "NUL" | "CONIN$" | "CONOUT$") {
        return true;
    }
    let port = stem
        .strip_prefix("COM")
        .or_else(|| stem.strip_prefix("LPT"));
    let mut rest = port.unwrap_or_default().chars();
    matches!(
        (rest.next(), rest.next()),
        (Some('0'..='9' | '\u{b9}' | '\u{b2}' | '\u{b3}'), None)
    )
}

/// Cuts a name to so many bytes, at the end of its stem.
fn shortened(name: &str, most: usize) -> String {
    if name.len() <= most {
        return name.to_owned();
    }
    let (stem, extension) = match name.rfind('.') {
        Some(dot) if dot > 0 && name.len() - dot <= 16 => name.split_at(dot),
        _ => (name, ""),
    };
    let stem = &stem[..stem.floor_char_boundary(most - extension.len())];
    format!("{}{extension}", trim(stem))
}

/// A text's canonical composition: the form in which names are compared.
pub(crate) fn composed(text: &str) -> String {
    ComposingNormalizerBorrowed::new_nfc()
        .normalize(text)
        .into_owned()
}

/// The names that are in use, so that no two become one on any system.
#[derive(Default)]
pub(crate) struct Names {
    files: HashMap<String, String>,
    folders: HashMap<String, String>,
}

impl Names {
    /// Whether the path can be added.
    ///
    /// # Errors
    /// [`Error::NameTaken`] where it, or a folder on its way, differs from an
    /// earlier one only in case or normal form, where it is there already, or
    /// where a file and a folder would have the same name.
    pub fn check(&self, path: &str) -> Result<(), Error> {
        let taken = |other: &str| {
            Err(Error::NameTaken {
                name: path.to_owned(),
                other: other.to_owned(),
            })
        };
        let key = Self::key(path);
        if let Some(other) = self.files.get(&key).or_else(|| self.folders.get(&key)) {
            return taken(other);
        }
        for folder in Self::folders_of(path) {
            let key = Self::key(folder);
            if let Some(other) = self.files.get(&key) {
                return taken(other);
            }
            if let Some(other) = self.folders.get(&key).filter(|other| *other != folder) {
                return taken(other);
            }
        }
        Ok(())
    }

    pub fn add(&mut self, path: &str) {
        self.files.insert(Self::key(path), path.to_owned());
        for folder in Self::folders_of(path) {
            self.folders.insert(Self::key(folder), folder.to_owned());
        }
    }

    fn folders_of(path: &str) -> impl Iterator<Item = &str> {
        path.match_indices('/').map(|(at, _)| &path[..at])
    }

    /// The same for two names that a file system may take for one. Case is
    /// folded by way of upper case, which is what NTFS compares; `ß` and `ss`
    /// are thereby held to be equal although no file system does.
    fn key(name: &str) -> String {
        composed(&name.to_uppercase().to_lowercase())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_windows_cannot_hold_is_refused() {
        let bad = [
            "",
            "a//b",
            "/a",
            "a/",
            ".",
            "a/../b",
            "a\\b",
            "C:",
            "a?",
            "a*b",
            "a\tb",
            "a\u{0}",
            "a.",
            "a ",
            " a",
            "nul",
            "NUL.txt",
            "Com1.tar.gz",
            "lpt\u{b9}",
            "aux .txt",
            "CONIN$",
            "a\u{202e}gpj.exe",
        ];
        for name in bad {
            assert!(check_path(name).is_err(), "{name:?}");
        }
        for name in [
            "COM",
            "COM10",
            "console.txt",
            "a.b.c",
            ".keep",
            "100%",
            "a b",
            "Ä/ö.jpg",
        ] {
            assert!(check_path(name).is_ok(), "{name:?}");
        }
        assert!(check_path(&"x".repeat(256)).is_err());
        assert!(check_path(&["x".repeat(99), "y".repeat(101)].join("/")).is_err());
        assert!(check_path(&["x".repeat(99), "y".repeat(100)].join("/")).is_ok());
    }

    #[test]
    fn extension_survives_shortening() {
        let name = safe_name(&format!("{}.jpeg", "ü".repeat(200)));
        assert!(
            name.len() <= MAX_SAFE_NAME && name.ends_with("ü.jpeg"),
            "{name}"
        );
        assert_eq!(safe_name(""), "unnamed");
        assert_eq!(safe_name(" . "), "unnamed");
        assert_eq!(safe_name(".hidden"), "_hidden");
    }

    #[test]
    fn names_that_some_system_takes_for_one() {
        let mut names = Names::default();
        names.add("data/Photos/Größe.jpg");
        for taken in [
            "data/Photos/Größe.jpg",
            "data/Photos/GRÖßE.JPG",
            "data/Photos/Gro\u{308}ße.jpg",
            "data/photos/other.jpg",
            "data/Photos",
            "data/Photos/Größe.jpg/x",
        ] {
            assert!(names.check(taken).is_err(), "{taken}");
        }
        assert!(names.check("data/Photos/Grösse2.jpg").is_ok());
    }

    proptest! {
        #[test]
        fn any_text_becomes_safe(text in any::<String>()) {
            let name = safe_name(&text);
            prop_assert!(check_path(&name).is_ok(), "{:?}", name);
            prop_assert!(!name.contains('/') && name.len() <= MAX_SAFE_NAME);
            prop_assert_eq!(safe_name(&name), name);
        }

        #[test]
        fn awkward_text_becomes_safe(text in r"[conCON.1 %:/\x{1}ä~-]{0,8}(\.| )?[a-z. ]{0,140}") {
            let name = safe_name(&text);
            prop_assert!(check_path(&name).is_ok(), "{:?}", name);
            prop_assert_eq!(safe_name(&name), name);
        }
    }
}
