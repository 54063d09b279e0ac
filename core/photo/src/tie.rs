//! Which stage a photograph belongs to, and how sure that is.
//!
//! A photograph ties to the stage that was open at its true time t. The time has a
//! standard uncertainty u, so the question is asked for the whole window from t - 2u to
//! t + 2u ([`COVERAGE`]: 95 % for a normal distribution, GUM 6.3.3):
//!
//! - the same one stage throughout: **certain**;
//! - no stage throughout: **none open**;
//! - more than one stage at t itself: **several open**;
//! - otherwise a stage's border lies within the window: **borderline**, between the stages
//!   on its two sides. A gap between two stages that lies within the window is bridged.
//!
//! In the hour that daylight saving repeats or skips, both candidates are tied; where they
//! disagree the answer is **ambiguous**. A person's decision wins over all of it.
//!
//! A stage is open from the moment it was opened up to, not including, the moment it was
//! closed.
//!
//! ```
//! use datumtrail_photo::clock::{Moment, TrueTime};
//! use datumtrail_photo::tie::{StageSpan, Tie, UNCHECKED_CLOCK_U_S, tie};
//!
//! let stages = [
//!     StageSpan::new("strip-down", "2026-03-04T08:00:00Z".parse()?, Some("2026-03-04T10:00:00Z".parse()?)),
//!     StageSpan::new("cut-out", "2026-03-04T10:00:00Z".parse()?, None),
//! ];
//! // Half a minute before the border, by a clock known to 20 s.
//! let time = TrueTime::At(Moment { at: "2026-03-04T09:59:30Z".parse()?, u_s: Some(20.0) });
//! assert_eq!(
//!     tie(&time, &stages, None, UNCHECKED_CLOCK_U_S),
//!     Tie::Borderline {
//!         earlier: Some("strip-down".into()),
//!         later: Some("cut-out".into()),
//!         likelier: "strip-down".into(),
//!         border_s: 30.0,
//!     }
//! );
//! # Ok::<(), jiff::Error>(())
//! ```

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};

use crate::clock::{Moment, TrueTime};
use crate::time::Why;

/// How many standard uncertainties the window reaches to either side.
pub const COVERAGE: f64 = 2.0;

/// What to assume, in seconds, for a clock that nobody has checked.
///
/// Common practice, no source: a phone follows the network and is right to a second or
/// two; a pocket camera is set by hand, to the minute, and drifts by a few seconds a day.
/// Two minutes keep both on the safe side without asking about every photograph. A clock
/// that is wrong by hours is beyond any such figure: only checking it helps.
pub const UNCHECKED_CLOCK_U_S: f64 = 120.0;

/// When a stage was open. A stage that was reopened has a span for each time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageSpan {
    /// The stage.
    pub id: String,
    /// When it was opened.
    pub opened: Timestamp,
    /// When it was closed; `None` while it is open.
    pub closed: Option<Timestamp>,
}

impl StageSpan {
    /// A span.
    pub fn new(id: impl Into<String>, opened: Timestamp, closed: Option<Timestamp>) -> StageSpan {
        StageSpan {
            id: id.into(),
            opened,
            closed,
        }
    }

    fn is_open_at(&self, t: Timestamp) -> bool {
        self.opened <= t && self.closed.is_none_or(|closed| t < closed)
    }
}

/// What a person decided.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Decision {
    /// The stage they put the photograph in.
    pub stage: String,
    /// Who.
    pub by: String,
    /// When.
    pub at: Timestamp,
}

/// Which stage a photograph belongs to, and how that is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "tie", rename_all = "snake_case")]
pub enum Tie {
    /// A person said so.
    Decided(Decision),
    /// One stage was open throughout the window.
    Certain {
        /// The stage.
        stage: String,
        /// Seconds to the nearest time at which any stage opened or closed.
        border_s: Option<f64>,
    },
    /// No time in the file, but both neighbours in the camera's numbering, and everything
    /// between them, lie in one stage.
    Inferred {
        /// The stage.
        stage: String,
        /// The dated file before.
        after_file: String,
        /// The dated file behind.
        before_file: String,
    },
    /// A border lies within the window.
    Borderline {
        /// The stage before the border; `None` where none was open.
        earlier: Option<String>,
        /// The stage behind it; `None` where none was open.
        later: Option<String>,
        /// The stage open at the estimated time; where none was, the nearer of the two.
        likelier: String,
        /// Seconds from the estimated time to the border, not negative.
        border_s: f64,
    },
    /// More than one stage was open at that time.
    SeveralOpen {
        /// Those stages, in the order in which they were opened.
        stages: Vec<String>,
    },
    /// No stage was open anywhere in the window.
    NoneOpen {
        /// The stage closed last before it.
        last_closed: Option<String>,
        /// The stage opened first after it.
        next_opened: Option<String>,
    },
    /// The hour that daylight saving repeats or skips, and the answer differs.
    Ambiguous {
        /// The answer for the earlier candidate.
        earlier: Box<Tie>,
        /// The answer for the later candidate.
        later: Box<Tie>,
        /// Whether the hour happens twice or never.
        why: Why,
    },
    /// The file has no usable time.
    NoTime,
}

impl Tie {
    /// The stage, where it is settled: decided, certain, or inferred.
    pub fn stage(&self) -> Option<&str> {
        match self {
            Tie::Decided(decision) => Some(&decision.stage),
            Tie::Certain { stage, .. } | Tie::Inferred { stage, .. } => Some(stage),
            _ => None,
        }
    }

    /// The stage to offer first to a person who is asked: the settled one, else the likelier.
    pub fn offered(&self) -> Option<&str> {
        match self {
            Tie::Borderline { likelier, .. } => Some(likelier),
            other => other.stage(),
        }
    }

    /// The stages that it may be, the one to offer first in front; each once.
    pub fn candidates(&self) -> Vec<String> {
        let mut all: Vec<String> = self.offered().map(str::to_owned).into_iter().collect();
        let more: Vec<String> = match self {
            Tie::Borderline { earlier, later, .. } => {
                [earlier, later].into_iter().flatten().cloned().collect()
            }
            Tie::SeveralOpen { stages } => stages.clone(),
            Tie::NoneOpen {
                last_closed,
                next_opened,
            } => [last_closed, next_opened]
                .into_iter()
                .flatten()
                .cloned()
                .collect(),
            Tie::Ambiguous { earlier, later, .. } => {
                [earlier.candidates(), later.candidates()].concat()
            }
            _ => Vec::new(),
        };
        for stage in more {
            if !all.contains(&stage) {
                all.push(stage);
            }
        }
        all
    }

    /// Whether a person should be asked.
    pub fn is_doubtful(&self) -> bool {
        self.stage().is_none()
    }
}

/// Ties a photograph to a stage. The module's page has the rules.
///
/// `unchecked_u_s` is the standard uncertainty, in seconds, to assume where the camera's
/// clock was never checked ([`UNCHECKED_CLOCK_U_S`] unless the shop knows better; anything
/// that is no uncertainty is replaced by it). Spans that close before they open count as
/// never open.
pub fn tie(
    time: &TrueTime,
    stages: &[StageSpan],
    decision: Option<&Decision>,
    unchecked_u_s: f64,
) -> Tie {
    if let Some(decision) = decision {
        return Tie::Decided(decision.clone());
    }
    match time {
        TrueTime::Unknown => Tie::NoTime,
        TrueTime::At(moment) => tie_moment(moment, stages, unchecked_u_s),
        TrueTime::Inferred {
            moment,
            after_file,
            before_file,
        } => match tie_moment(moment, stages, unchecked_u_s) {
            Tie::Certain { stage, .. } => Tie::Inferred {
                stage,
                after_file: after_file.clone(),
                before_file: before_file.clone(),
            },
            doubtful => doubtful,
        },
        TrueTime::Either {
            earlier,
            later,
            why,
        } => {
            let earlier = tie_moment(earlier, stages, unchecked_u_s);
            let later = tie_moment(later, stages, unchecked_u_s);
            match (&earlier, &later) {
                (
                    Tie::Certain { stage, border_s },
                    Tie::Certain {
                        stage: other,
                        border_s: other_s,
                    },
                ) if stage == other => Tie::Certain {
                    stage: stage.clone(),
                    border_s: [*border_s, *other_s].into_iter().flatten().reduce(f64::min),
                },
                _ => Tie::Ambiguous {
                    earlier: Box::new(earlier),
                    later: Box::new(later),
                    why: *why,
                },
            }
        }
    }
}

fn tie_moment(moment: &Moment, stages: &[StageSpan], unchecked_u_s: f64) -> Tie {
    let line = TimeLine::new(stages);
    let assumed = if unchecked_u_s.is_finite() && unchecked_u_s >= 0.0 {
        unchecked_u_s
    } else {
        UNCHECKED_CLOCK_U_S
    };
    let t = moment.at;
    let here = line.open_at(t);
    if here.len() > 1 {
        return Tie::SeveralOpen {
            stages: here.into_iter().map(str::to_owned).collect(),
        };
    }
    let (from, to) = window(t, moment.u_s.unwrap_or(assumed));
    let pieces = line.pieces(from, to);
    match pieces.as_slice() {
        [] => line.none_open(t),
        [only] => match only.open.first() {
            Some(stage) => Tie::Certain {
                stage: (*stage).to_owned(),
                border_s: line.nearest_border_s(t),
            },
            None => line.none_open(t),
        },
        several => borderline(several, t),
    }
}

/// The two neighbouring pieces whose border is nearest to `t`, and which of them is likelier.
fn borderline(pieces: &[Piece<'_>], t: Timestamp) -> Tie {
    // A border has two edges where a gap was bridged; the nearer one counts.
    let edge_s = |pair: &[Piece<'_>]| match pair {
        [before, behind] => apart_s(t, before.to).min(apart_s(t, behind.from)),
        _ => f64::INFINITY,
    };
    let nearest = pieces
        .windows(2)
        .min_by(|a, b| edge_s(a).total_cmp(&edge_s(b)));
    let Some(pair @ [before, behind]) = nearest else {
        return Tie::NoTime; // fewer than two pieces have no border
    };
    // Of an overlap, the side's own stage is the one that is not on the other side.
    let side = |piece: &Piece<'_>, other: &Piece<'_>| {
        let own = piece.open.iter().find(|s| !other.open.contains(s));
        own.or(piece.open.first()).map(|s| (*s).to_owned())
    };
    let (earlier, later) = (side(before, behind), side(behind, before));
    let before_is_nearer = apart_s(t, before.to) < apart_s(t, behind.from);
    let t_is_before = t < before.to || (t < behind.from && before_is_nearer);
    let likelier = match (&earlier, &later) {
        (Some(earlier), Some(_)) if t_is_before => earlier,
        (_, Some(later)) => later,
        (Some(earlier), None) => earlier,
        (None, None) => return Tie::NoTime, // neighbouring pieces differ
    };
    Tie::Borderline {
        likelier: likelier.clone(),
        border_s: edge_s(pair),
        earlier,
        later,
    }
}

fn window(t: Timestamp, u_s: f64) -> (Timestamp, Timestamp) {
    let reach = SignedDuration::try_from_secs_f64(COVERAGE * u_s).unwrap_or(SignedDuration::MAX);
    (
        t.checked_sub(reach).unwrap_or(Timestamp::MIN),
        t.checked_add(reach).unwrap_or(Timestamp::MAX),
    )
}

fn apart_s(a: Timestamp, b: Timestamp) -> f64 {
    b.duration_since(a).as_secs_f64().abs()
}

/// A part of the window in which the same stages are open.
struct Piece<'a> {
    from: Timestamp,
    to: Timestamp,
    open: Vec<&'a str>,
}

/// The stages' spans, in the order in which they were opened.
struct TimeLine<'a> {
    spans: Vec<&'a StageSpan>,
    /// Every time at which a stage opens or closes, ascending.
    borders: Vec<Timestamp>,
}

impl<'a> TimeLine<'a> {
    fn new(stages: &'a [StageSpan]) -> TimeLine<'a> {
        let mut spans: Vec<&StageSpan> = stages
            .iter()
            .filter(|s| s.closed.is_none_or(|closed| closed > s.opened))
            .collect();
        spans.sort_by_key(|s| s.opened);
        let mut borders: Vec<Timestamp> = spans
            .iter()
            .flat_map(|s| [Some(s.opened), s.closed])
            .flatten()
            .collect();
        borders.sort_unstable();
        borders.dedup();
        TimeLine { spans, borders }
    }

    /// The stages open at t, each once, in the order in which they were opened.
    fn open_at(&self, t: Timestamp) -> Vec<&'a str> {
        let mut open: Vec<&str> = Vec::new();
        for span in self.spans.iter().filter(|s| s.is_open_at(t)) {
            if !open.contains(&span.id.as_str()) {
                open.push(&span.id);
            }
        }
        open
    }

    /// The window in pieces within which the same stages are open. A piece without any
    /// is left out where stages stand on both its sides: it is a gap to be bridged.
    fn pieces(&self, from: Timestamp, to: Timestamp) -> Vec<Piece<'a>> {
        let within = self.borders.iter().filter(|b| **b > from && **b <= to);
        let starts: Vec<Timestamp> = std::iter::once(from).chain(within.copied()).collect();
        let ends = starts.iter().skip(1).copied().chain([to]);
        let mut all: Vec<Piece<'_>> = starts
            .iter()
            .zip(ends)
            .map(|(start, end)| Piece {
                from: *start,
                to: end,
                open: self.open_at(*start),
            })
            .collect();
        let last = all.len() - 1;
        let mut index = 0;
        all.retain(|piece| {
            let outer = index == 0 || index == last;
            index += 1;
            outer || !piece.open.is_empty()
        });
        all.dedup_by(|next, kept| {
            let same = next.open == kept.open;
            if same {
                kept.to = next.to;
            }
            same
        });
        all
    }

    fn none_open(&self, t: Timestamp) -> Tie {
        let closed = |s: &&&StageSpan| s.closed.is_some_and(|closed| closed <= t);
        let last_closed = self.spans.iter().filter(closed).max_by_key(|s| s.closed);
        let next_opened = self.spans.iter().find(|s| s.opened > t);
        Tie::NoneOpen {
            last_closed: last_closed.map(|s| s.id.clone()),
            next_opened: next_opened.map(|s| s.id.clone()),
        }
    }

    fn nearest_border_s(&self, t: Timestamp) -> Option<f64> {
        self.borders.iter().map(|b| apart_s(t, *b)).reduce(f64::min)
    }
}

#[cfg(test)]
mod tests;
