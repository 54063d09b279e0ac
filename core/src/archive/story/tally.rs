//! How many verdicts of each kind a survey has, and those that matter most.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_geometry::verdict::Verdict;
use serde::Serialize;

use crate::archive::words;
use crate::job::measure::CheckReport;

/// How many verdicts of each kind a survey has, and those that matter most.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Tally {
    /// Points of the sheet that were measured.
    pub points: usize,
    /// Points of the sheet that were not.
    pub not_measured: Vec<String>,
    /// Axes by verdict.
    pub inside: usize,
    pub outside: usize,
    pub too_close_to_call: usize,
    pub no_limit_given: usize,
    pub unchecked: usize,
    /// The axes outside their limits, the largest deviation first.
    pub beyond: Vec<Deviation>,
    /// The axes too close to call, likewise.
    pub close: Vec<Deviation>,
    /// The largest deviation of all along one axis.
    pub largest: Option<Deviation>,
    /// The reference points don't fit the sheet: nothing is called inside.
    pub set_up_doubtful: bool,
    pub uncertainty_stated: bool,
}

/// One deviation along one axis.
#[derive(Clone, Debug, Serialize)]
pub struct Deviation {
    pub point: String,
    pub side: Side,
    pub axis: Axis,
    pub mm: f64,
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    /// `7.4 mm forward`.
    pub words: String,
}

impl Tally {
    /// The verdict that stands for a whole survey: the worst there is.
    pub fn verdict(&self) -> Verdict {
        if self.outside > 0 {
            Verdict::Outside
        } else if self.set_up_doubtful {
            Verdict::Unchecked
        } else if self.too_close_to_call > 0 {
            Verdict::TooCloseToCall
        } else if self.inside > 0 {
            Verdict::Inside
        } else {
            Verdict::NoLimitGiven
        }
    }

    /// The points outside along at least one axis, the worst first.
    pub fn points_outside(&self) -> Vec<&str> {
        points_of(&self.beyond)
    }

    /// The points too close to call along at least one axis.
    pub fn points_close(&self) -> Vec<&str> {
        points_of(&self.close)
    }

    /// The survey in one phrase: `3 points outside, up to 7.4 mm (R6)`.
    pub fn phrase(&self) -> String {
        if self.set_up_doubtful {
            return "the reference points don't fit the sheet".into();
        }
        let outside = self.points_outside().len();
        let close = self.points_close().len();
        match (outside, close, self.beyond.first()) {
            (1.., _, Some(worst)) => format!(
                "{} outside, {} {}",
                words::count(outside, "point", "points"),
                worst.point,
                worst.words
            ),
            (0, 1.., _) => format!(
                "{} too close to call",
                words::count(close, "point", "points")
            ),
            _ if self.inside == 0 => "nothing decided: no limits given".into(),
            _ if self.no_limit_given + self.unchecked > 0 => {
                "inside wherever it could be decided".into()
            }
            _ => format!(
                "all {} inside",
                words::count(self.points, "point", "points")
            ),
        }
    }
}

fn points_of(list: &[Deviation]) -> Vec<&str> {
    let mut points: Vec<&str> = Vec::new();
    for deviation in list {
        if !points.contains(&deviation.point.as_str()) {
            points.push(&deviation.point);
        }
    }
    points
}

/// Counts a survey's verdicts.
pub(super) fn tally(report: &CheckReport<'_>) -> Tally {
    let mut tally = Tally {
        set_up_doubtful: report.setup.doubtful,
        uncertainty_stated: report.setup.uncertainty_stated,
        ..Tally::default()
    };
    for point in &report.points {
        if point.reading_mm.is_none() {
            tally.not_measured.push(point.point.to_owned());
            continue;
        }
        tally.points += 1;
        for (axis, seen) in point.axes() {
            let deviation = seen.deviation_mm.map(|mm| Deviation {
                point: point.point.to_owned(),
                side: point.side,
                axis,
                mm,
                u_mm: seen.u_mm,
                limit_mm: seen.limit_mm,
                words: words::deviation(axis, mm, point.side),
            });
            match seen.verdict {
                Verdict::Inside => tally.inside += 1,
                Verdict::Outside => {
                    tally.outside += 1;
                    tally.beyond.extend(deviation.clone());
                }
                Verdict::TooCloseToCall => {
                    tally.too_close_to_call += 1;
                    tally.close.extend(deviation.clone());
                }
                Verdict::NoLimitGiven => tally.no_limit_given += 1,
                Verdict::Unchecked => tally.unchecked += 1,
                Verdict::NotMeasured => {}
            }
            let size = |d: &Deviation| d.mm.abs();
            if let Some(d) = deviation
                && tally
                    .largest
                    .as_ref()
                    .is_none_or(|most| size(&d) > size(most))
            {
                tally.largest = Some(d);
            }
        }
    }
    for list in [&mut tally.beyond, &mut tally.close] {
        list.sort_by(|a, b| b.mm.abs().total_cmp(&a.mm.abs()));
    }
    tally
}
