//! A sheet as the audit reads it: stations, and the figures printed about them.

use crate::frame::{Side, Vec3};
use crate::network::MOST_POINTS;

/// A named place on the vehicle: a left and a right point, or one on the centre line, or a place
/// of which only distances are printed.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Station {
    pub name: String,
    /// What the left and the right point are called, where that differs from "NAME left".
    pub side_names: Option<(String, String)>,
    /// Printed positions in the vehicle's frame, millimetres.
    pub left: Option<Vec3>,
    pub right: Option<Vec3>,
    pub centre: Option<Vec3>,
    /// To what the positions are rounded, millimetres.
    pub step_mm: f64,
}

impl Station {
    /// A place of which only the name is known, in a sheet rounded to `step_mm`.
    pub fn new(name: impl Into<String>, step_mm: f64) -> Station {
        Station {
            name: name.into(),
            step_mm,
            ..Station::default()
        }
    }

    /// The printed position on a side.
    pub fn position(&self, side: Side) -> Option<Vec3> {
        match side {
            Side::Left => self.left,
            Side::Right => self.right,
            Side::Centre => self.centre,
        }
    }

    /// The name of one of its points, as people know it.
    pub fn label(&self, side: Option<Side>) -> String {
        match (side, &self.side_names) {
            (Some(Side::Left), Some((left, _))) => left.clone(),
            (Some(Side::Right), Some((_, right))) => right.clone(),
            (Some(Side::Centre) | None, _) => self.name.clone(),
            (Some(side), None) => format!("{} {}", self.name, side.word()),
        }
    }

    pub(super) fn has_positions(&self) -> bool {
        self.left.or(self.right).or(self.centre).is_some()
    }
}

/// One end of a printed figure. Without a side it holds for both sides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct End {
    /// The station's place in the sheet's list.
    pub station: usize,
    pub side: Option<Side>,
}

/// What a printed figure claims to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Printed {
    /// Height above the datum plane.
    Height,
    /// From a station's left point to its right one, across.
    Width,
    /// Projected along the vehicle.
    Length,
    /// Point to point.
    TrueDistance,
    /// Projected onto the datum plane.
    LevelDistance,
    /// Between two points of one side; the sheet does not say whether it is true, level or a
    /// projected length.
    SameSide,
    /// From one side to the other; the sheet does not say whether it is true or level.
    Diagonal,
}

impl Printed {
    /// The words that screens use.
    pub fn words(self) -> &'static str {
        match self {
            Printed::Height => "height",
            Printed::Width => "width",
            Printed::Length => "projected length",
            Printed::TrueDistance => "true distance",
            Printed::LevelDistance => "level distance",
            Printed::SameSide => "same-side distance",
            Printed::Diagonal => "diagonal",
        }
    }
}

/// A printed figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figure {
    pub what: Printed,
    pub a: End,
    /// The other end; None for a height or a width.
    pub b: Option<End>,
    pub value_mm: f64,
    /// To what it is rounded.
    pub step_mm: f64,
}

impl Figure {
    /// Whether its ends lie at different stations.
    pub(super) fn joins_stations(&self) -> bool {
        self.b.is_some_and(|b| b.station != self.a.station)
    }

    /// Whether it is a distance from a left point to its own right partner: for a symmetrical pair,
    /// a width by another name.
    pub(super) fn crosses_its_pair(&self) -> bool {
        let sides = (self.a.side, self.b.and_then(|b| b.side));
        let across = matches!(
            self.what,
            Printed::TrueDistance | Printed::LevelDistance | Printed::Diagonal
        );
        let opposite = matches!(
            sides,
            (Some(Side::Left), Some(Side::Right)) | (Some(Side::Right), Some(Side::Left))
        );
        across && opposite && self.b.is_some_and(|b| b.station == self.a.station)
    }
}

/// A sheet to audit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sheet {
    pub stations: Vec<Station>,
    pub figures: Vec<Figure>,
}

/// Why a sheet cannot be audited.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AuditError {
    #[error("the sheet has neither positions nor figures; there is nothing to audit")]
    Empty,
    #[error(
        "the sheet has {count} {what}, {most} at most are audited together; audit a part of it"
    )]
    TooMany {
        what: &'static str,
        count: usize,
        most: usize,
    },
    #[error("figure {index} names station {place}, but the sheet has only {count}")]
    NoSuchStation {
        index: usize,
        place: usize,
        count: usize,
    },
    #[error("figure {index} ({words}) needs two ends at different stations; correct the row")]
    NeedsTwoEnds { index: usize, words: &'static str },
    #[error("figure {index} ({words}, {value_mm} mm) is not a usable number; correct the row")]
    BadValue {
        index: usize,
        words: &'static str,
        value_mm: f64,
    },
    #[error("{what} is rounded to {step_mm} mm; give a step between 0.001 mm and a metre")]
    BadStep { what: String, step_mm: f64 },
    #[error("the position of {name} is not a usable number; correct the row")]
    BadPosition { name: String },
    #[error("no coordinates can be solved from this sheet: {why}")]
    NoNetwork { why: String },
    #[error("alpha is {0}; give a number between 0 and 1")]
    BadAlpha(f64),
}

impl Sheet {
    /// Refuses what no audit can use.
    pub(super) fn check(&self) -> Result<(), AuditError> {
        let positions = self.stations.iter().any(Station::has_positions);
        if self.figures.is_empty() && !positions {
            return Err(AuditError::Empty);
        }
        for (what, count, most) in [
            ("stations", self.stations.len(), MOST_STATIONS),
            ("figures", self.figures.len(), MOST_FIGURES),
        ] {
            if count > most {
                return Err(AuditError::TooMany { what, count, most });
            }
        }
        for station in &self.stations {
            let all = [station.left, station.right, station.centre];
            if all
                .iter()
                .flatten()
                .any(|p| !p.iter().all(|c| is_usable(*c)))
            {
                return Err(AuditError::BadPosition {
                    name: station.name.clone(),
                });
            }
            if station.has_positions() {
                check_step(station.step_mm, || station.name.clone())?;
            }
        }
        for (index, figure) in self.figures.iter().enumerate() {
            self.check_figure(index, figure)?;
        }
        Ok(())
    }

    fn check_figure(&self, index: usize, figure: &Figure) -> Result<(), AuditError> {
        let words = figure.what.words();
        let count = self.stations.len();
        for end in std::iter::once(figure.a).chain(figure.b) {
            if end.station >= count {
                return Err(AuditError::NoSuchStation {
                    index,
                    place: end.station,
                    count,
                });
            }
        }
        let single = matches!(figure.what, Printed::Height | Printed::Width);
        let joins = figure.joins_stations() || figure.crosses_its_pair();
        if !single && !joins {
            return Err(AuditError::NeedsTwoEnds { index, words });
        }
        let negative = figure.value_mm < 0.0 && figure.what != Printed::Height;
        if !is_usable(figure.value_mm) || negative {
            return Err(AuditError::BadValue {
                index,
                words,
                value_mm: figure.value_mm,
            });
        }
        check_step(figure.step_mm, || format!("figure {index} ({words})"))
    }

    /// The names of a figure's points.
    pub fn labels(&self, figure: &Figure) -> Vec<String> {
        let label = |end: End| {
            (self.stations.get(end.station)).map_or_else(String::new, |s| s.label(end.side))
        };
        std::iter::once(figure.a)
            .chain(figure.b)
            .map(label)
            .collect()
    }

    /// The printed height of a station, from a figure or a position.
    pub(super) fn height(&self, station: usize) -> Option<f64> {
        let printed = (self.figures.iter())
            .find(|f| f.what == Printed::Height && f.a.station == station)
            .map(|f| f.value_mm);
        printed.or_else(|| {
            let s = self.stations.get(station)?;
            s.left.or(s.right).or(s.centre).map(|p| p.z)
        })
    }

    /// The printed width of a station: its figure's place.
    pub(super) fn width(&self, station: usize) -> Option<usize> {
        (self.figures.iter()).position(|f| f.what == Printed::Width && f.a.station == station)
    }
}

/// Half as many as a network may have points: a station is one on either side.
const MOST_STATIONS: usize = MOST_POINTS / 2;
/// Every figure is compared with every other.
const MOST_FIGURES: usize = 2_000;

/// A kilometre is far beyond any vehicle.
fn is_usable(mm: f64) -> bool {
    mm.abs() < 1e6
}

fn check_step(step_mm: f64, what: impl Fn() -> String) -> Result<(), AuditError> {
    if (1e-3..=1e3).contains(&step_mm) {
        Ok(())
    } else {
        Err(AuditError::BadStep {
            what: what(),
            step_mm,
        })
    }
}
