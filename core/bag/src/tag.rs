//! The text of tag files: `bagit.txt`, manifests, `bag-info.txt`
//! (RFC 8493, sections 2.1.1, 2.1.3, 2.2.1, 2.2.2 and 2.3).
//!
//! Nothing here touches a file. Reading is strict: a line that the RFC does not
//! allow is reported with its number, never guessed at.

use crate::digest::{Algorithm, Digest};

/// The bag declaration, byte for byte.
pub(crate) const DECLARATION: &str = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n";

pub(crate) const BAGIT: &str = "bagit.txt";
pub(crate) const BAG_INFO: &str = "bag-info.txt";
pub(crate) const FETCH: &str = "fetch.txt";
pub(crate) const MANIFEST: &str = "manifest-sha512.txt";
pub(crate) const TAG_MANIFEST: &str = "tagmanifest-sha512.txt";
pub(crate) const PAYLOAD: &str = "data/";

/// Characters in a line of `bag-info.txt`, where words allow.
const LINE: usize = 79;

/// RFC 8493's "linear whitespace".
const PADDING: [char; 2] = [' ', '\t'];

/// A line that could not be used, and why.
#[derive(Debug, PartialEq)]
pub(crate) struct BadLine {
    /// Counted from 1.
    pub number: usize,
    pub reason: String,
}

/// Which files a manifest lists.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Covers {
    Payload,
    Tags,
}

impl Covers {
    /// Whether a manifest of this kind lists the file of this path: all but the
    /// tag manifests are listed in one or the other.
    pub fn should_list(self, path: &str) -> bool {
        let payload = path.starts_with(PAYLOAD);
        match self {
            Self::Payload => payload,
            Self::Tags => !payload && !matches!(manifest_kind(path), Some((Self::Tags, _))),
        }
    }
}

/// What a file's name says: does it list payload or tag files, and with which
/// algorithm's digests? `None` for a file that is no manifest.
pub(crate) fn manifest_kind(path: &str) -> Option<(Covers, &str)> {
    let stem = path
        .strip_suffix(".txt")
        .filter(|stem| !stem.contains('/'))?;
    let tags = stem
        .strip_prefix("tagmanifest-")
        .map(|name| (Covers::Tags, name));
    tags.or_else(|| {
        stem.strip_prefix("manifest-")
            .map(|name| (Covers::Payload, name))
    })
}

/// Adds a line to a manifest.
pub(crate) fn push_manifest_line(manifest: &mut String, digest: &Digest, path: &str) {
    manifest.push_str(&format!("{digest}  {}\n", encoded_path(path)));
}

/// Writes CR, LF and `%`, and only those, as `%0D`, `%0A`, `%25`.
pub(crate) fn encoded_path(path: &str) -> String {
    path.replace('%', "%25")
        .replace('\r', "%0D")
        .replace('\n', "%0A")
}

/// The opposite of [`encoded_path`]. Any other `%` stays as it is.
pub(crate) fn decoded_path(path: &str) -> String {
    let mut parts = path.split('%');
    let mut decoded = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (code, rest) = part.split_at_checked(2).unwrap_or((part, ""));
        match code.to_ascii_uppercase().as_str() {
            "25" => decoded.push('%'),
            "0D" => decoded.push('\r'),
            "0A" => decoded.push('\n'),
            _ => {
                decoded.push('%');
                decoded.push_str(code);
            }
        }
        decoded.push_str(rest);
    }
    decoded
}

/// Reads the lines `digest path` of a manifest.
pub(crate) fn parse_manifest(
    text: &str,
    algorithm: Algorithm,
) -> (Vec<(String, Digest)>, Vec<BadLine>) {
    let mut listed = Vec::new();
    let mut bad = Vec::new();
    for (number, line) in (1..).zip(lines(text)) {
        let (digest, path) = line.split_once(PADDING).unwrap_or((line, ""));
        let path = path.trim_start_matches(PADDING);
        match Digest::parse(digest) {
            _ if path.is_empty() => bad.push(BadLine {
                number,
                reason: "it is not of the form \"digest path\"".to_owned(),
            }),
            Some(digest) if digest.as_bytes().len() == algorithm.bytes() => {
                listed.push((decoded_path(path), digest));
            }
            _ => bad.push(BadLine {
                number,
                reason: format!("it does not begin with a {} digest", algorithm.label()),
            }),
        }
    }
    (listed, bad)
}

/// The number of the first line that is not written like the first: another
/// case of digits, another gap, another line's end (none at the very end counts).
///
/// All of that is allowed by the RFC, and none of it changes what a manifest
/// says. But nothing covers a tag manifest, so this is how a byte altered in one
/// shows where it would otherwise mean the same.
pub(crate) fn uneven_line(text: &str, listed: &[(String, Digest)]) -> Option<usize> {
    let first = lines(text).next()?;
    let after = text.get(first.len()..)?;
    let end = if after.starts_with("\r\n") {
        "\r\n"
    } else {
        after.get(..1)?
    };
    let (digest, path) = first.split_once(PADDING)?;
    let gap = path.len() - path.trim_start_matches(PADDING).len();
    let gap = first.get(digest.len()..digest.len() + 1 + gap)?;
    let upper = digest.contains(|c: char| c.is_ascii_uppercase());

    let mut rest = text;
    for (number, (path, digest)) in (1..).zip(listed) {
        let digest = digest.to_string();
        let digest = if upper { digest.to_uppercase() } else { digest };
        let line = format!("{digest}{gap}{}{end}", encoded_path(path));
        match rest.strip_prefix(&*line) {
            Some(after) => rest = after,
            None => return Some(number),
        }
    }
    (!rest.is_empty()).then_some(listed.len() + 1)
}

/// Why a label or value cannot go into `bag-info.txt`; `None` if it can.
pub(crate) fn field_trouble(label: &str, value: &str) -> Option<&'static str> {
    if label.is_empty() || label.trim_matches(PADDING) != label {
        return Some("a label must not be empty, nor begin or end with a space");
    }
    if label.contains(':') || label.chars().any(char::is_control) {
        return Some("a label must not have a colon or a control character");
    }
    if value.trim_matches(PADDING) != value || value.chars().any(char::is_control) {
        return Some("a value must be one line, without spaces at its ends");
    }
    None
}

/// Adds a field to a text like `bag-info.txt`, broken between words where it
/// would be longer than 79 characters.
///
/// Breaks replace a single space only, so [`parse_fields`] gives back the value
/// as it was. A word that is longer than a line stays whole.
pub(crate) fn push_field(text: &mut String, label: &str, value: &str) {
    // Words, with runs of two or more spaces kept inside of them.
    let mut words: Vec<String> = Vec::new();
    for piece in value.split(' ') {
        match words.last_mut() {
            Some(last) if piece.is_empty() || last.ends_with(' ') => {
                last.push(' ');
                last.push_str(piece);
            }
            _ => words.push(piece.to_owned()),
        }
    }
    text.push_str(label);
    text.push(':');
    let mut width = label.chars().count() + 1;
    for (i, word) in words.iter().enumerate() {
        let longer = 1 + word.chars().count();
        if i > 0 && width + longer > LINE {
            text.push_str("\n ");
            width = 1;
        }
        text.push(' ');
        text.push_str(word);
        width += longer;
    }
    text.push('\n');
}

/// Reads the fields of a text like `bag-info.txt`, in order.
///
/// A value that goes on over several lines comes out with a single space for
/// each line's end and the padding after it. (The RFC counts the line's end as
/// part of the value; but it recommends breaking long values, and then a space
/// is what it stood for.)
pub(crate) fn parse_fields(text: &str) -> (Vec<(String, String)>, Vec<BadLine>) {
    let mut fields: Vec<(String, String)> = Vec::new();
    let mut bad = Vec::new();
    for (number, line) in (1..).zip(lines(text)) {
        let goes_on = line.starts_with(PADDING);
        match (fields.last_mut(), line.split_once(':')) {
            (Some((_, value)), _) if goes_on => {
                value.push(' ');
                value.push_str(line.trim_matches(PADDING));
            }
            (_, Some((label, value))) if !goes_on && !label.is_empty() => {
                let trimmed = |text: &str| text.trim_matches(PADDING).to_owned();
                fields.push((trimmed(label), trimmed(value)));
            }
            _ => bad.push(BadLine {
                number,
                reason: "it is not of the form \"Label: value\"".to_owned(),
            }),
        }
    }
    (fields, bad)
}

/// What is wrong with a bag declaration; `None` if nothing is.
pub(crate) fn declaration_trouble(text: &str) -> Option<String> {
    let lines: Vec<_> = lines(text).collect();
    let [version, encoding] = lines.as_slice() else {
        return Some("it does not consist of exactly two lines".to_owned());
    };
    let Some(version) = version.strip_prefix("BagIt-Version: ") else {
        return Some("its first line does not give a BagIt-Version".to_owned());
    };
    if !matches!(version, "1.0" | "0.97" | "0.96" | "0.95" | "0.94" | "0.93") {
        return Some(format!(
            "its version, \"{}\", is not known here",
            version.escape_debug()
        ));
    }
    let Some(encoding) = encoding.strip_prefix("Tag-File-Character-Encoding: ") else {
        return Some("its second line does not give a Tag-File-Character-Encoding".to_owned());
    };
    (!encoding.eq_ignore_ascii_case("UTF-8")).then(|| {
        format!(
            "tag files in \"{}\" are not read here, only UTF-8",
            encoding.escape_debug()
        )
    })
}

/// Reads `bytes.files`.
pub(crate) fn parse_oxum(value: &str) -> Option<(u64, u64)> {
    let (bytes, files) = value.split_once('.')?;
    Some((bytes.parse().ok()?, files.parse().ok()?))
}

/// Lines ended by LF, CR or both, of which the last may lack its end.
pub(crate) fn lines(text: &str) -> impl Iterator<Item = &str> {
    text.split_inclusive('\n')
        .map(|line| line.strip_suffix('\n').unwrap_or(line))
        .map(|line| line.strip_suffix('\r').unwrap_or(line))
        .flat_map(|line| line.split('\r'))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_three_characters_are_encoded() {
        let path = "data/100% of\r\na é:*?\t%41";
        let encoded = encoded_path(path);
        assert_eq!(encoded, "data/100%25 of%0D%0Aa é:*?\t%2541");
        assert_eq!(decoded_path(&encoded), path);
        // Not an encoding of ours, and no reason to fail.
        assert_eq!(decoded_path("a%41%0d%é%"), "a%41\r%é%");
    }

    #[test]
    fn manifests_as_the_rfc_allows_them() {
        let digest = Digest::sha512(b"");
        let upper = digest.to_string().to_uppercase();
        let text =
            format!("{digest}  data/a b\r\n{upper}\t data/c\rnonsense\n{digest}\nab data/d\n");
        let (listed, bad) = parse_manifest(&text, Algorithm::Sha512);
        assert_eq!(
            listed,
            [
                ("data/a b".to_owned(), digest.clone()),
                ("data/c".to_owned(), digest)
            ]
        );
        assert_eq!(
            bad.iter().map(|line| line.number).collect::<Vec<_>>(),
            [3, 4, 5]
        );
    }

    #[test]
    fn a_line_unlike_the_others() {
        let digest = Digest::sha512(b"");
        let line = format!("{digest}  data/100%25\n");
        let even = line.repeat(3);
        let uneven = |text: &str| uneven_line(text, &parse_manifest(text, Algorithm::Sha512).0);
        assert_eq!(uneven(&even), None);
        assert_eq!(uneven(&even.replace('\n', "\r\n")), None);
        assert_eq!(uneven(&even.to_uppercase().replace("  ", "\t")), None);
        for (from, to) in [
            ("\n", "\r"),
            ("  ", " \t"),
            ("cf83e", "cf83E"),
            ("\n", "\r\n"),
        ] {
            let second = format!("{line}{}{line}", line.replacen(from, to, 1));
            assert_eq!(uneven(&second), Some(2), "{from:?} {to:?}");
        }
        assert_eq!(uneven(even.trim_end()), Some(3));
    }

    #[test]
    fn names_of_manifests() {
        assert_eq!(
            manifest_kind("manifest-sha512.txt"),
            Some((Covers::Payload, "sha512"))
        );
        assert_eq!(
            manifest_kind("tagmanifest-md5.txt"),
            Some((Covers::Tags, "md5"))
        );
        assert_eq!(manifest_kind("data/manifest-md5.txt"), None);
        assert_eq!(manifest_kind("bag-info.txt"), None);
    }

    /// The example of RFC 8493, 2.2.2, has a value over two lines.
    #[test]
    fn value_over_two_lines() {
        let text = "Source-Organization: FOO University\n\
                    External-Description: Uncompressed greyscale TIFF images from the\n      \
                    FOO papers colle...\nBagging-Date: 2008-01-15\n";
        let (fields, bad) = parse_fields(text);
        assert!(bad.is_empty());
        assert_eq!(fields.len(), 3);
        assert_eq!(
            fields[1].1,
            "Uncompressed greyscale TIFF images from the FOO papers colle..."
        );
        assert_eq!(parse_fields(" no label\nnone here\n: x\n").1.len(), 3);
    }

    #[test]
    fn declarations() {
        assert_eq!(declaration_trouble(DECLARATION), None);
        assert_eq!(
            declaration_trouble(&DECLARATION.replace('\n', "\r\n")),
            None
        );
        for (from, to) in [
            ("1.0", "7.0"),
            ("UTF-8", "KOI8-R"),
            (": ", ":"),
            ("\n", "\n\n"),
        ] {
            assert!(
                declaration_trouble(&DECLARATION.replace(from, to)).is_some(),
                "{to:?}"
            );
        }
        assert!(declaration_trouble(&format!("\u{feff}{DECLARATION}")).is_some());
    }

    proptest! {
        #[test]
        fn fields_come_back_as_they_were(label in "[A-Z][a-zA-Z -]{0,20}[a-z]", value in "([^\\pC\\s]{1,30} {1,3}){0,20}[^\\pC\\s]{0,90}") {
            let value = value.trim().to_owned();
            prop_assume!(field_trouble(&label, &value).is_none());
            let mut text = String::new();
            push_field(&mut text, &label, &value);
            for line in text.split('\n') {
                // Longer only where there is no single space to break at.
                let content = line.strip_prefix(&format!("{label}:")).unwrap_or(line);
                let words = content.trim_matches(PADDING).split(' ').collect::<Vec<_>>();
                let breakable = words.windows(2).any(|pair| !pair.contains(&""));
                prop_assert!(line.chars().count() <= LINE || !breakable, "{}", line);
            }
            prop_assert_eq!(parse_fields(&text), (vec![(label, value)], vec![]));
        }

        #[test]
        fn any_path_comes_back(path in any::<String>()) {
            let encoded = encoded_path(&path);
            prop_assert!(!encoded.contains(['\r', '\n']));
            prop_assert_eq!(decoded_path(&encoded), path);
        }

        #[test]
        fn no_text_panics(text in any::<String>()) {
            parse_fields(&text);
            parse_manifest(&text, Algorithm::Sha256);
            declaration_trouble(&text);
        }
    }
}
