//! The time of an undated file, from its neighbours in the camera's own numbering.
//!
//! Cameras number their files upwards: what lies between `IMG_0011.JPG` and `IMG_0013.JPG`
//! was taken between them (common practice; DCF, CIPA DC-009, asks for ascending file
//! numbers). Only order is used, never the size of a step: one may photograph every minute
//! or once a day. Anywhere in between is equally likely, so over an interval of width w
//! the middle has the standard uncertainty w / sqrt(12) (GUM 4.3.7). Twice that is more
//! than w/2: a tie by an inferred time is settled only if the whole interval, and a little
//! more, lies in one stage.
//!
//! ```
//! use datumtrail_photo::clock::Moment;
//! use datumtrail_photo::numbering::{Inference, Numbered, infer_from_numbering};
//!
//! let dated = |text: &str| text.parse().map(|at| Moment { at, u_s: Some(1.0) });
//! let files = [
//!     Numbered { name: "IMG_0011.JPG", taken: Some(dated("2026-03-04T09:00:00Z")?) },
//!     Numbered { name: "IMG_0012.JPG", taken: None },
//!     Numbered { name: "IMG_0014.JPG", taken: Some(dated("2026-03-04T09:10:00Z")?) },
//! ];
//! match &infer_from_numbering(&files, 120.0)[1] {
//!     Inference::Between { moment, after_file, .. } => {
//!         assert_eq!(moment.at.to_string(), "2026-03-04T09:05:00Z");
//!         assert_eq!(after_file, "IMG_0011.JPG");
//!     }
//!     other => panic!("{other:?}"),
//! }
//! # Ok::<(), jiff::Error>(())
//! ```

use std::collections::{BTreeMap, HashMap};

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use crate::clock::{Moment, TrueTime};

/// A file and, where it has one, its true time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Numbered<'a> {
    /// The file's name, without its folder.
    pub name: &'a str,
    /// Its corrected time; `None` for the files in question.
    pub taken: Option<Moment>,
}

/// What the numbering says about one file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "inference", rename_all = "snake_case")]
pub enum Inference {
    /// It has a time of its own.
    Dated,
    /// Between two dated files.
    Between {
        /// The middle of the interval, with the uncertainty of anywhere in it.
        moment: Moment,
        /// The interval's beginning.
        not_before: Timestamp,
        /// The interval's end.
        not_after: Timestamp,
        /// The dated file before.
        after_file: String,
        /// The dated file behind.
        before_file: String,
    },
    /// Only a dated file before it is known: the time has no upper bound.
    NotBefore {
        /// That file's time.
        at: Timestamp,
        /// That file.
        after_file: String,
    },
    /// Only a dated file behind it is known: the time has no lower bound.
    NotAfter {
        /// That file's time.
        at: Timestamp,
        /// That file.
        before_file: String,
    },
    /// The neighbours' times run against their numbers: the numbering was restarted, or
    /// the files are from two cameras.
    Contradiction {
        /// The dated file before, by number.
        after_file: String,
        /// The dated file behind, by number.
        before_file: String,
    },
    /// No number in the name, or no dated file in that numbering.
    Nothing,
}

impl Inference {
    /// The time to tie by; [`TrueTime::Unknown`] unless the file lies between two others.
    pub fn true_time(&self) -> TrueTime {
        match self {
            Inference::Between {
                moment,
                after_file,
                before_file,
                ..
            } => TrueTime::Inferred {
                moment: *moment,
                after_file: after_file.clone(),
                before_file: before_file.clone(),
            },
            _ => TrueTime::Unknown,
        }
    }
}

/// The dated files that carry one number, and the bounds of their times.
struct Dated<'a> {
    name: &'a str,
    earliest: Moment,
    latest: Moment,
}

/// Says for each file, in the order given, what its number tells about its time.
///
/// The files should have come together: one camera, one card or folder. Names with the
/// same text before and behind their last number, whatever the case and the extension,
/// form one numbering. `unchecked_u_s` is as in [`crate::tie::tie`].
pub fn infer_from_numbering(files: &[Numbered<'_>], unchecked_u_s: f64) -> Vec<Inference> {
    let mut numberings: HashMap<Series, BTreeMap<u64, Dated<'_>>> = HashMap::new();
    for file in files {
        let (Some(taken), Some((series, number))) = (file.taken, series_of(file.name)) else {
            continue;
        };
        let same_number = numberings.entry(series).or_default().entry(number);
        same_number
            .and_modify(|dated| {
                if taken.at < dated.earliest.at {
                    dated.earliest = taken;
                }
                if taken.at > dated.latest.at {
                    dated.latest = taken;
                }
            })
            .or_insert(Dated {
                name: file.name,
                earliest: taken,
                latest: taken,
            });
    }
    let infer = |file: &Numbered<'_>| {
        if file.taken.is_some() {
            return Inference::Dated;
        }
        let neighbours = series_of(file.name)
            .and_then(|(series, number)| Some((numberings.get(&series)?, number)));
        match neighbours {
            Some((numbering, number)) => between(numbering, number, unchecked_u_s),
            None => Inference::Nothing,
        }
    };
    files.iter().map(infer).collect()
}

fn between(numbering: &BTreeMap<u64, Dated<'_>>, number: u64, unchecked_u_s: f64) -> Inference {
    // A dated file of the same number (a raw file beside its JPEG) bounds both sides.
    let before = numbering.range(..=number).next_back().map(|(_, d)| d);
    let behind = numbering.range(number..).next().map(|(_, d)| d);
    let (before, behind) = match (before, behind) {
        (Some(before), Some(behind)) => (before, behind),
        (Some(before), None) => {
            return Inference::NotBefore {
                at: before.earliest.at,
                after_file: before.name.to_owned(),
            };
        }
        (None, Some(behind)) => {
            return Inference::NotAfter {
                at: behind.latest.at,
                before_file: behind.name.to_owned(),
            };
        }
        (None, None) => return Inference::Nothing,
    };
    let (after_file, before_file) = (before.name.to_owned(), behind.name.to_owned());
    let (from, to) = (before.earliest, behind.latest);
    let width = to.at.duration_since(from.at);
    if width.is_negative() {
        return Inference::Contradiction {
            after_file,
            before_file,
        };
    }
    let bounds_u_s = [from, to]
        .map(|m| m.u_s.unwrap_or(unchecked_u_s))
        .into_iter()
        .fold(0.0, f64::max);
    Inference::Between {
        moment: Moment {
            at: from.at.checked_add(width / 2).unwrap_or(from.at),
            u_s: Some(bounds_u_s.hypot(width.as_secs_f64() / 12f64.sqrt())),
        },
        not_before: from.at,
        not_after: to.at,
        after_file,
        before_file,
    }
}

/// The text around a file's number.
type Series = (String, String);

/// Splits a name at its last number: `IMG_0012.JPG` is number 12 of `img_` + nothing.
fn series_of(name: &str) -> Option<(Series, u64)> {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let end = stem.rfind(|c: char| c.is_ascii_digit())? + 1;
    let (head, behind) = stem.split_at_checked(end)?;
    let before = head.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = head.get(before.len()..)?.parse().ok()?;
    Some(((before.to_lowercase(), behind.to_lowercase()), number))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_second(1_772_611_200 + 60 * minute).unwrap()
    }

    fn file(name: &str, minute: impl Into<Option<i64>>) -> Numbered<'_> {
        let taken = minute.into().map(|m| Moment {
            at: at(m),
            u_s: Some(1.0),
        });
        Numbered { name, taken }
    }

    fn infer_one(files: &[Numbered<'_>], name: &str) -> Inference {
        let all = infer_from_numbering(files, 120.0);
        assert_eq!(all.len(), files.len());
        let index = files.iter().position(|f| f.name == name).unwrap();
        all[index].clone()
    }

    #[test]
    fn names_split_at_their_last_number() {
        let split =
            |name| series_of(name).map(|((before, behind), n)| format!("{before}|{n}|{behind}"));
        assert_eq!(split("IMG_0012.JPG").as_deref(), Some("img_|12|"));
        assert_eq!(split("dsc00007.arw.jpg").as_deref(), Some("dsc|7|.arw"));
        assert_eq!(split("IMG_0012 (1).jpg").as_deref(), Some("img_0012 (|1|)"));
        assert_eq!(
            split("20260304_140320.jpg").as_deref(),
            Some("20260304_|140320|")
        );
        assert_eq!(split("é7.jpg").as_deref(), Some("é|7|"));
        assert_eq!(split("photo.jpg"), None);
        assert_eq!(split("99999999999999999999999.jpg"), None);
        assert_eq!(split(""), None);
    }

    #[test]
    fn only_order_counts_and_case_and_extension_do_not() {
        let files = [
            file("img_0020.heic", 30),
            file("IMG_0012.JPG", None),
            file("IMG_0003.JPG", 0),
            file("DSC_0012.JPG", 900),
        ];
        let Inference::Between {
            moment,
            not_before,
            not_after,
            ..
        } = infer_one(&files, "IMG_0012.JPG")
        else {
            panic!("between");
        };
        assert_eq!((moment.at, not_before, not_after), (at(15), at(0), at(30)));
        // 1800 s / sqrt(12) = 519.615 s, and one second of the neighbours.
        assert!((moment.u_s.unwrap() - 519.616_204).abs() < 1e-4);
        // Twice that covers the whole interval.
        assert!(2.0 * moment.u_s.unwrap() > 900.0);
    }

    #[test]
    fn one_neighbour_bounds_one_side() {
        let files = [
            file("P1.JPG", None),
            file("P2.JPG", 5),
            file("P3.JPG", None),
        ];
        assert_eq!(
            infer_one(&files, "P1.JPG"),
            Inference::NotAfter {
                at: at(5),
                before_file: "P2.JPG".into()
            }
        );
        assert_eq!(
            infer_one(&files, "P3.JPG"),
            Inference::NotBefore {
                at: at(5),
                after_file: "P2.JPG".into()
            }
        );
        assert_eq!(infer_one(&files, "P3.JPG").true_time(), TrueTime::Unknown);
        assert_eq!(infer_one(&files, "P2.JPG"), Inference::Dated);
        assert_eq!(
            infer_one(&[file("x.jpg", None)], "x.jpg"),
            Inference::Nothing
        );
        assert_eq!(
            infer_one(&[file("x1.jpg", None)], "x1.jpg"),
            Inference::Nothing
        );
    }

    #[test]
    fn numbers_that_run_against_time_infer_nothing() {
        let files = [file("P1.JPG", 60), file("P2.JPG", None), file("P3.JPG", 5)];
        assert!(matches!(
            infer_one(&files, "P2.JPG"),
            Inference::Contradiction { after_file, before_file }
                if after_file == "P1.JPG" && before_file == "P3.JPG"
        ));
    }

    #[test]
    fn two_files_with_the_neighbouring_number_widen_the_interval() {
        let files = [
            file("P1.JPG", 10),
            file("p1.jpg", 2),
            file("P2.JPG", None),
            file("P3.JPG", 20),
        ];
        let Inference::Between { not_before, .. } = infer_one(&files, "P2.JPG") else {
            panic!("between");
        };
        assert_eq!(not_before, at(2));
    }

    #[test]
    fn an_unchecked_neighbour_brings_the_assumed_uncertainty() {
        let unchecked = |name, minute| Numbered {
            name,
            taken: Some(Moment {
                at: at(minute),
                u_s: None,
            }),
        };
        let files = [
            unchecked("P1.JPG", 0),
            file("P2.JPG", None),
            unchecked("P3.JPG", 0),
        ];
        let Inference::Between { moment, .. } = infer_one(&files, "P2.JPG") else {
            panic!("between");
        };
        assert_eq!(moment.u_s, Some(120.0));
    }
}
