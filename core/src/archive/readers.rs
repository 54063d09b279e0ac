//! Whom an archive is for, and what is left out of it: the one table.
//!
//! | | no `--for` | shop | insurer | owner |
//! |---|---|---|---|---|
//! | positions in photos | out, unless asked for | in | out | out |
//! | serial numbers and names in photo files | out | in | out | out |
//! | covered parts of photos | covered | in | covered | covered |
//! | notes for the shop alone, and what rests on them | in | in | out | out |
//! | which device holds which photo, how far clocks were apart | in | in | out | out |
//! | the document's history | in | in | out | out |
//! | devices' names | in | in | in | out |
//!
//! Without `--for` it is the shop's own record, with photos that may be shown to anyone. `--for shop`
//! is the backup, and what the next shop carries on with: nothing is left out of it, and it alone
//! has every original. The other two are for reading: their document is made anew from the records
//! that may go out, since the history of the job's own holds all that was ever typed. They can be
//! verified like any other archive, but not opened in a shop.
//!
//! A seal covers all records of its stage. Where one of them was left out, what was sealed can't be in
//! the copy, and so the seal can't be checked there: the copy then says who sealed the stage, when,
//! and the SHA-512 of what was signed, with which the shop's own archive can be compared.
//!
//! Faces are not looked for: what is covered is what a person covered.

use serde::{Deserialize, Serialize};

use super::export::plan_text;
use super::{sealed, words};
use crate::error::Result;
use crate::job::plan::Plan;
use crate::job::record::RecordId;
use crate::job::view::JobView;
use crate::job::{Keep, Reduced};

/// Whom an archive is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reader {
    /// The shop's own record.
    #[default]
    Record,
    /// Another shop that carries on, or this one after a fire.
    Shop,
    Insurer,
    Owner,
}

/// What an archive may leave out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    Positions,
    Serials,
    CoveredParts,
    InternalNotes,
    Housekeeping,
    History,
    DeviceNames,
}

/// One line of the table.
struct Row {
    part: Part,
    words: &'static str,
    /// Whether it is left out of: the record, the shop's, the insurer's, the owner's.
    left_out: [bool; 4],
}

const IN: bool = false;
const OUT: bool = true;

const TABLE: [Row; 7] = [
    Row {
        part: Part::Positions,
        words: "where photos were taken: the positions in their files",
        left_out: [OUT, IN, OUT, OUT],
    },
    Row {
        part: Part::Serials,
        words: "serial numbers of cameras and names of people in the photos' files",
        left_out: [OUT, IN, OUT, OUT],
    },
    Row {
        part: Part::CoveredParts,
        words: "parts of photos that a person covered, such as faces and number plates",
        left_out: [OUT, IN, OUT, OUT],
    },
    Row {
        part: Part::InternalNotes,
        words: "notes for the shop alone, and lines of the estimate that rest on them",
        left_out: [IN, IN, OUT, OUT],
    },
    Row {
        part: Part::Housekeeping,
        words: "which device holds which photo, and how far devices' clocks were apart",
        left_out: [IN, IN, OUT, OUT],
    },
    Row {
        part: Part::History,
        words: "the history of the job's document: the one in this copy was made anew from the records \
                that are in it",
        left_out: [IN, IN, OUT, OUT],
    },
    Row {
        part: Part::DeviceNames,
        words: "the names of devices; their keys stand in place of them",
        left_out: [IN, IN, IN, OUT],
    },
];

impl Reader {
    /// Whether an archive for this reader leaves it out.
    pub fn leaves_out(self, part: Part) -> bool {
        let column = match self {
            Reader::Record => 0,
            Reader::Shop => 1,
            Reader::Insurer => 2,
            Reader::Owner => 3,
        };
        let row = TABLE.iter().find(|row| row.part == part);
        row.is_none_or(|row| row.left_out.get(column).copied().unwrap_or(OUT))
    }

    /// Whether the document of such an archive is made anew.
    pub fn is_reduced(self) -> bool {
        self.leaves_out(Part::History)
    }

    /// The word for it, as it is typed and stored.
    pub fn word(self) -> &'static str {
        match self {
            Reader::Record => "record",
            Reader::Shop => "shop",
            Reader::Insurer => "insurer",
            Reader::Owner => "owner",
        }
    }

    /// What the archive is, in a sentence.
    fn sentence(self) -> &'static str {
        match self {
            Reader::Record => {
                "This is the shop's whole record, with photos that may be shown to others."
            }
            Reader::Shop => {
                "This is the shop's whole record with every original photo: a backup, and what \
                 another shop carries on with. It may hold what others should not see."
            }
            Reader::Insurer => "This is a copy for an insurer.",
            Reader::Owner => "This is a copy for the vehicle's owner.",
        }
    }
}

/// What an archive says of itself: whom it is for, and what was left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct CopyStory {
    /// Whom it is for.
    #[serde(rename = "for")]
    pub reader: Reader,
    /// What it is, in a sentence.
    pub words: String,
    /// What was left out.
    pub left_out: Vec<LeftOutPart>,
    /// Seals that can't be in the copy, since something that they cover was left out.
    pub seals: Vec<WithheldSeal>,
}

/// Something that was left out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LeftOutPart {
    pub part: Part,
    /// What it is, in words.
    pub words: String,
    /// How many there were, where they can be counted.
    pub count: Option<usize>,
}

/// A seal that can't be in the copy.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WithheldSeal {
    /// The seal's identity in the job.
    pub id: RecordId,
    pub stage: String,
    pub title: String,
    pub at: String,
    pub author: String,
    /// SHA-512 of what was signed, hexadecimal.
    pub sha512: String,
}

/// What an archive for that reader says of itself. `view` is the whole job, `reduced` what the copy
/// has of it.
pub(crate) fn tell(
    reader: Reader,
    with_location: bool,
    view: &JobView,
    reduced: Option<&Reduced>,
    seals: Vec<WithheldSeal>,
) -> CopyStory {
    let covered = |id: &RecordId| {
        let mut covers = view.covers.iter();
        covers.any(|cover| cover.stands() && cover.body.photo == *id)
    };
    let count = |part: Part| match part {
        Part::Positions => Some(view.photos.iter().filter(|p| p.body.has_gps).count()),
        Part::CoveredParts => Some(view.photos.iter().filter(|p| covered(&p.id)).count()),
        Part::InternalNotes => reduced.map(|r| r.internal_notes),
        Part::Housekeeping => reduced.map(|r| r.housekeeping),
        Part::DeviceNames => Some(view.devices.len()),
        Part::Serials | Part::History => None,
    };
    let goes = |row: &&Row| {
        let asked = row.part == Part::Positions && with_location;
        reader.leaves_out(row.part) && !asked
    };
    CopyStory {
        reader,
        words: reader.sentence().to_owned(),
        left_out: TABLE
            .iter()
            .filter(goes)
            .map(|row| LeftOutPart {
                part: row.part,
                words: row.words.to_owned(),
                count: count(row.part),
            })
            .collect(),
        seals,
    }
}

impl CopyStory {
    /// What was left out, a sentence for each; for text and page.
    pub fn lines(&self) -> Vec<String> {
        let parts = self.left_out.iter().map(|left_out| {
            let counted = match (left_out.part, left_out.count) {
                (_, None) => String::new(),
                (_, Some(0)) => " (there were none)".into(),
                (Part::Positions | Part::CoveredParts, Some(n)) => {
                    format!(" ({})", words::count(n, "photo", "photos"))
                }
                (Part::InternalNotes, Some(n)) => {
                    format!(" ({})", words::count(n, "note", "notes"))
                }
                (Part::DeviceNames, Some(n)) => format!(" ({})", words::count(n, "name", "names")),
                (_, Some(n)) => format!(" ({})", words::count(n, "record", "records")),
            };
            format!("{}{counted}", left_out.words)
        });
        let seals = self.seals.iter().map(|seal| {
            format!(
                "the seal of {}, {}, {}: it covers what was left out, so that it can't be checked \
                 here. SHA-512 of what was signed: {}",
                seal.title,
                seal.author,
                words::moment(&seal.at),
                seal.sha512
            )
        });
        parts.chain(seals).collect()
    }
}

/// What the document of a copy for that reader keeps.
pub(super) fn kept(reader: Reader) -> Keep<'static> {
    Keep {
        copy_for: reader.word(),
        internal_notes: !reader.leaves_out(Part::InternalNotes),
        housekeeping: !reader.leaves_out(Part::Housekeeping),
        device_names: !reader.leaves_out(Part::DeviceNames),
    }
}

/// Seals that can't go out, as the copy tells of them.
pub(super) fn withheld_seals(
    view: &JobView,
    withheld: &[RecordId],
    reader: Reader,
) -> Result<Vec<WithheldSeal>> {
    let plan = Plan::parse(plan_text(view))?;
    // What the copy does not name, this must not name either.
    let mut view = view.clone();
    if reader.leaves_out(Part::DeviceNames) {
        view.devices.clear();
    }
    let states = sealed::states(&view, &plan).into_iter();
    let states = states.filter(|state| withheld.contains(&state.id));
    Ok(states
        .map(|state| WithheldSeal {
            id: state.id,
            stage: state.stage,
            title: state.title,
            at: state.at,
            author: state.author,
            sha512: state.sha512,
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_left_out_for_the_next_shop_and_the_most_for_the_owner() {
        for row in &TABLE {
            assert!(!Reader::Shop.leaves_out(row.part));
            assert!(Reader::Owner.leaves_out(row.part), "{:?}", row.part);
        }
        assert!(!Reader::Insurer.leaves_out(Part::DeviceNames));
        assert!(!Reader::Record.is_reduced() && Reader::Insurer.is_reduced());
    }
}
