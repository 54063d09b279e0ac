//! `zip-layout.txt`: what a zip's bytes depend on besides the bag's content.
//!
//! With this tag file and the content at hand, every byte of a zip written here
//! can be derived (see [`structure`](crate::structure)):
//!
//! ```text
//! Zip-Layout: 1
//! Zip-Top: job-17
//! Zip-Time: 2031-05-06T14:30:00
//! Deflated: 3f…e2 data/readings.csv
//! ```
//!
//! A deflated file has many compressed forms that unpack to the same content,
//! so each gets a line with the SHA-512 of its compressed form. All others are
//! stored. Entries stand in the order `bagit.txt`, payload as in the payload
//! manifest, other tag files as in the tag manifest, tag manifest.

use jiff::civil::DateTime;

use crate::digest::Digest;
use crate::tag;

pub(crate) const FILE: &str = "zip-layout.txt";

const ABOUT: &str = "how the zip around this bag is made, so that a checker can account for \
                     every byte of it; of no meaning once unpacked";

/// The content of `zip-layout.txt`.
#[derive(Debug, PartialEq)]
pub(crate) struct Layout {
    /// The folder that everything lies in.
    pub top: String,
    /// The time of every entry.
    pub time: DateTime,
    /// Path in the bag and digest of the compressed form.
    pub deflated: Vec<(String, Digest)>,
}

impl Layout {
    pub fn text(&self) -> String {
        let mut text = String::new();
        tag::push_field(&mut text, "About", ABOUT);
        tag::push_field(&mut text, "Zip-Layout", "1");
        tag::push_field(&mut text, "Zip-Top", &self.top);
        tag::push_field(&mut text, "Zip-Time", &self.time.to_string());
        for (path, digest) in &self.deflated {
            // Not broken over lines, since a path may have runs of spaces.
            text.push_str(&format!("Deflated: {digest} {}\n", tag::encoded_path(path)));
        }
        text
    }

    /// # Errors
    /// What was not understood.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (fields, bad) = tag::parse_fields(text);
        if let Some(line) = bad.first() {
            return Err(format!("line {}: {}", line.number, line.reason));
        }
        let one = |label: &str| {
            let found = fields.iter().find(|field| field.0 == label);
            found
                .map(|field| &*field.1)
                .ok_or_else(|| format!("it has no {label}"))
        };
        if one("Zip-Layout")? != "1" {
            return Err("its Zip-Layout is of a kind not known here".to_owned());
        }
        let time = one("Zip-Time")?;
        let deflated = fields
            .iter()
            .filter(|field| field.0 == "Deflated")
            .map(|(_, value)| {
                let (digest, path) = value.split_once(' ')?;
                Some((tag::decoded_path(path), Digest::parse(digest)?))
            });
        Ok(Self {
            top: one("Zip-Top")?.to_owned(),
            time: time
                .parse()
                .map_err(|_| format!("its Zip-Time, {time}, is no time"))?,
            deflated: deflated
                .collect::<Option<_>>()
                .ok_or("a Deflated line is not of the form \"digest path\"")?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comes_back_as_it_was() {
        let layout = Layout {
            top: "job  17".to_owned(),
            time: jiff::civil::date(2031, 5, 6).at(14, 30, 2, 0),
            deflated: vec![
                ("data/a  100%.csv".to_owned(), Digest::sha512(b"a")),
                ("data/ä.html".to_owned(), Digest::sha512(b"b")),
            ],
        };
        let text = layout.text();
        assert!(text.contains("\nZip-Time: 2031-05-06T14:30:02\n"), "{text}");
        assert_eq!(Layout::parse(&text), Ok(layout));
    }

    #[test]
    fn what_is_not_understood_is_said() {
        let good = "Zip-Layout: 1\nZip-Top: a\nZip-Time: 2031-05-06T14:30:02\n";
        assert!(Layout::parse(good).is_ok());
        for (from, to) in [
            ("1\n", "2\n"),
            ("Zip-Top", "Top"),
            ("-05", "-13"),
            ("T14", "Deflated: x"),
        ] {
            assert!(Layout::parse(&good.replacen(from, to, 1)).is_err(), "{to}");
        }
    }
}
