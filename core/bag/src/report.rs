//! What a check found, in words.

use std::fmt;

use serde::Serialize;

/// The result of checking a bag.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// The fields of `bag-info.txt`, in order.
    pub info: Vec<(String, String)>,
    /// Files under `data/` that are there.
    pub payload_files: u64,
    /// Their bytes.
    pub payload_bytes: u64,
    /// How far the bytes around the content were checked.
    pub structure: Structure,
    /// What is wrong; nothing, in a bag that is whole.
    pub problems: Vec<Problem>,
    /// How many more problems there are than listed (at most 1000 are).
    pub more_problems: u64,
    /// What is not wrong but good to know: what was not checked, and why.
    pub notes: Vec<String>,
}

impl Report {
    /// Whether nothing was found altered, missing or added.
    ///
    /// A report that must also vouch for the bytes between a zip's files asks
    /// for [`structure`](Self::structure) to be [`Structure::Checked`] or
    /// [`Structure::Folder`] as well.
    pub fn is_whole(&self) -> bool {
        self.problems.is_empty()
    }
}

impl fmt::Display for Report {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = if self.is_whole() {
            "whole"
        } else {
            "NOT WHOLE"
        };
        writeln!(
            f,
            "{whole}: {} files, {} bytes; {}",
            self.payload_files, self.payload_bytes, self.structure
        )?;
        for problem in &self.problems {
            writeln!(f, "  {problem}")?;
        }
        if self.more_problems > 0 {
            writeln!(f, "  and {} more", self.more_problems)?;
        }
        self.notes
            .iter()
            .try_for_each(|note| writeln!(f, "  note: {note}"))
    }
}

/// How far the bytes around the content were checked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Structure {
    /// A folder: there are none.
    Folder,
    /// Each byte of the zip was derived from the content and compared.
    Checked,
    /// Headers and directory could not be derived, for this reason; gaps,
    /// overlaps and names that disagree were looked for.
    NotChecked(String),
}

impl fmt::Display for Structure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Folder => f.write_str("a folder"),
            Self::Checked => f.write_str("every byte of the zip checked"),
            Self::NotChecked(reason) => write!(f, "the zip's headers were not checked: {reason}"),
        }
    }
}

/// Something that keeps a bag from being whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// Where.
    pub place: Place,
    /// What, for programs.
    pub kind: Kind,
    /// What, for people.
    pub detail: String,
}

impl Problem {
    pub(crate) fn file(path: &str, kind: Kind, detail: impl Into<String>) -> Self {
        Self {
            place: Place::File(path.to_owned()),
            kind,
            detail: detail.into(),
        }
    }

    pub(crate) fn byte(at: u64, kind: Kind, detail: impl Into<String>) -> Self {
        Self::bytes(at, at.saturating_add(1), kind, detail)
    }

    pub(crate) fn bytes(from: u64, to: u64, kind: Kind, detail: impl Into<String>) -> Self {
        Self {
            place: Place::Bytes { from, to },
            kind,
            detail: detail.into(),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}: {}", self.place, self.kind, self.detail)
    }
}

/// Where a problem is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Place {
    /// A file of the bag, by its path below the bag's top folder.
    File(String),
    /// Bytes of the zip, counted from 0; the second is the first one after.
    Bytes {
        /// The first.
        from: u64,
        /// The first one after.
        to: u64,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "{}", path.escape_debug()),
            Self::Bytes { from, to } if to.saturating_sub(*from) <= 1 => write!(f, "byte {from}"),
            Self::Bytes { from, to } => write!(f, "bytes {from} to {}", to - 1),
        }
    }
}

/// Kinds of problem.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum Kind {
    /// The content is not what its digest says.
    Altered,
    /// It is listed, but not there.
    Missing,
    /// A payload file that no manifest lists.
    Added,
    /// A tag file that no tag manifest lists.
    Unlisted,
    /// It is there, but cannot be read.
    Unreadable,
    /// A tag file has a line that breaks the rules.
    Malformed,
    /// The payload's size or number of files is not the one declared.
    Oxum,
    /// Several entries of the zip have the same name.
    Duplicate,
    /// An entry of the zip would land outside the bag's folder.
    Outside,
    /// A byte of the zip's headers, directory or compressed form is not the one
    /// that follows from the content.
    Structure,
    /// Bytes of the zip that belong to nothing.
    Unaccounted,
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Altered => "altered",
            Self::Missing => "missing",
            Self::Added => "added",
            Self::Unlisted => "not listed",
            Self::Unreadable => "unreadable",
            Self::Malformed => "malformed",
            Self::Oxum => "wrong total",
            Self::Duplicate => "twice in the zip",
            Self::Outside => "outside the bag",
            Self::Structure => "zip altered",
            Self::Unaccounted => "belongs to nothing",
        })
    }
}

/// Collects problems up to a number, so that a hostile bag cannot fill the
/// memory with them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Problems {
    pub listed: Vec<Problem>,
    pub more: u64,
}

impl Problems {
    const MOST: usize = 1000;

    pub fn push(&mut self, problem: Problem) {
        if self.listed.len() < Self::MOST {
            self.listed.push(problem);
        } else {
            self.more += 1;
        }
    }
}

impl Extend<Problem> for Problems {
    fn extend<I: IntoIterator<Item = Problem>>(&mut self, problems: I) {
        problems.into_iter().for_each(|problem| self.push(problem));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_as_a_sentence() {
        let mut problems = Problems::default();
        problems.push(Problem::file(
            "data/a\n.csv",
            Kind::Missing,
            "the manifest lists it",
        ));
        problems.extend((0..1200).map(|i| Problem::bytes(i, i + 2, Kind::Unaccounted, "x")));
        let report = Report {
            info: vec![],
            payload_files: 0,
            payload_bytes: 0,
            structure: Structure::Checked,
            problems: problems.listed,
            more_problems: problems.more,
            notes: vec![],
        };
        let text = report.to_string();
        assert!(
            text.starts_with("NOT WHOLE: 0 files, 0 bytes; every byte"),
            "{text}"
        );
        assert!(
            text.contains("data/a\\n.csv: missing: the manifest lists it\n"),
            "{text}"
        );
        assert!(
            text.contains("bytes 3 to 4: belongs to nothing: x\n"),
            "{text}"
        );
        assert!(text.ends_with("and 201 more\n"), "{text}");
        let json = serde_json::to_value(&report).unwrap();
        assert_eq!(json["problems"][0]["kind"], "missing");
        assert_eq!(json["problems"][1]["place"]["bytes"]["from"], 0);
        assert_eq!(json["structure"], "checked");
    }
}
