//! The allowed-signers file: whose key is whose (`ssh-keygen(1)`, ALLOWED SIGNERS).
//!
//! One line a key:
//!
//! ```text
//! bench-d75a980182 namespaces="datumtrail" ssh-ed25519 AAAAC3Nza... The bench
//! ```
//!
//! The first word is the *principal*, the name under which a signature is asked about. Ours are a
//! device's name and the beginning of its key, so that two devices of one name stay apart.

use data_encoding::HEXLOWER;
use ssh_key::public::{Ed25519PublicKey, KeyData};

use crate::SealError;
use crate::signature::{NAMESPACE, PublicKey};

/// Hexadecimal digits of the key in a principal.
const KEY_DIGITS: usize = 10;
/// The longest name in a principal, and the longest comment.
const MOST_NAME: usize = 40;
const MOST_COMMENT: usize = 100;

/// One line that counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Allowed {
    pub principal: String,
    /// The namespaces it is confined to; empty for all.
    pub namespaces: Vec<String>,
    pub key: PublicKey,
}

impl Allowed {
    /// Whether it may sign for a namespace.
    pub fn may_sign(&self, namespace: &str) -> bool {
        self.namespaces.is_empty() || self.namespaces.iter().any(|n| n == namespace)
    }
}

/// What a device is called in the list: letters and digits of its name, and the beginning of its
/// key. Wildcards, commas and quotes, which the file gives a meaning, can't be in it.
///
/// ```
/// let key = [0xab; 32];
/// assert_eq!(datumtrail_seal::principal("Wanda's bench, left", &key), "wanda-s-bench-left-ababababab");
/// assert_eq!(datumtrail_seal::principal("床", &key), "device-ababababab");
/// ```
pub fn principal(name: &str, key: &PublicKey) -> String {
    let mut slug = String::new();
    for letter in name.chars() {
        if slug.len() >= MOST_NAME {
            break;
        }
        if letter.is_ascii_alphanumeric() {
            slug.push(letter.to_ascii_lowercase());
        } else if !slug.is_empty() && !slug.ends_with('-') {
            slug.push('-');
        }
    }
    let slug = match slug.trim_matches('-') {
        "" => "device",
        slug => slug,
    };
    let digits = HEXLOWER.encode(key);
    format!("{slug}-{}", digits.get(..KEY_DIGITS).unwrap_or_default())
}

/// The line for a device: only for our namespace. Ends with a line feed.
pub fn allowed_signers_line(name: &str, key: &PublicKey) -> String {
    let data = KeyData::Ed25519(Ed25519PublicKey(*key));
    let public = ssh_key::PublicKey::new(data, "");
    // A key of 32 bytes always has a text.
    let public = public.to_openssh().unwrap_or_default();
    let comment: String = name
        .chars()
        // A quote would open an option's value for whoever reads the line.
        .map(|c| if c.is_control() || c == '"' { ' ' } else { c })
        .take(MOST_COMMENT)
        .collect();
    let line = format!(
        "{} namespaces=\"{NAMESPACE}\" {} {}",
        principal(name, key),
        public.trim(),
        comment.trim()
    );
    format!("{}\n", line.trim_end())
}

/// Reads an allowed-signers file. Keys of other kinds than Ed25519 and lines for certificate
/// authorities can't have made a signature of ours, and are passed over.
///
/// # Errors
/// [`SealError::BadAllowedLine`].
pub fn allowed_signers(text: &str) -> Result<Vec<Allowed>, SealError> {
    let mut all = Vec::new();
    for (index, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        all.extend(parse(line).map_err(|why| SealError::BadAllowedLine {
            line: index + 1,
            why,
        })?);
    }
    Ok(all)
}

fn parse(line: &str) -> Result<Option<Allowed>, String> {
    let fields = fields(line);
    let (principal, rest) = fields.split_first().ok_or("it is empty")?;
    let kind = |field: &String| {
        field.starts_with("ssh-") || field.starts_with("ecdsa-") || field.starts_with("sk-")
    };
    let at = rest.iter().position(kind).ok_or("it has no key")?;
    let (options, key) = rest.split_at(at);
    let [name, base64, ..] = key else {
        return Err("its key is cut off".into());
    };
    let mut namespaces = Vec::new();
    for option in options.iter().flat_map(|o| split_options(o)) {
        if option.eq_ignore_ascii_case("cert-authority") {
            return Ok(None);
        }
        if let Some(list) = value_of(&option, "namespaces") {
            namespaces.extend(list.split(',').map(str::to_owned));
        }
        // A key that counts for a while only: a signature does not say when it was made, so such a
        // line proves nothing here.
        if value_of(&option, "valid-after").is_some() || value_of(&option, "valid-before").is_some()
        {
            return Ok(None);
        }
    }
    if name != "ssh-ed25519" {
        return Ok(None);
    }
    let public = ssh_key::PublicKey::from_openssh(&format!("{name} {base64}"))
        .map_err(|e| format!("its key: {e}"))?;
    let KeyData::Ed25519(key) = public.key_data() else {
        return Ok(None);
    };
    Ok(Some(Allowed {
        principal: principal.clone(),
        namespaces,
        key: key.0,
    }))
}

/// Splits at spaces outside quotes; the quotes stay. A comment may hold half a pair of them.
fn fields(line: &str) -> Vec<String> {
    let mut all = vec![String::new()];
    let mut quoted = false;
    for letter in line.chars() {
        match letter {
            '"' => quoted = !quoted,
            ' ' | '\t' if !quoted => {
                if all.last().is_some_and(|f| !f.is_empty()) {
                    all.push(String::new());
                }
                continue;
            }
            _ => {}
        }
        if let Some(field) = all.last_mut() {
            field.push(letter);
        }
    }
    all.retain(|f| !f.is_empty());
    all
}

/// Splits options at commas outside quotes.
fn split_options(options: &str) -> Vec<String> {
    let mut all = vec![String::new()];
    let mut quoted = false;
    for letter in options.chars() {
        match letter {
            '"' => quoted = !quoted,
            ',' if !quoted => {
                all.push(String::new());
                continue;
            }
            _ => {}
        }
        if let Some(option) = all.last_mut() {
            option.push(letter);
        }
    }
    all
}

/// What stands behind `name="`, up to the closing quote.
fn value_of<'o>(option: &'o str, name: &str) -> Option<&'o str> {
    let (key, value) = option.split_once('=')?;
    key.eq_ignore_ascii_case(name)
        .then(|| value.trim_matches('"'))
}
