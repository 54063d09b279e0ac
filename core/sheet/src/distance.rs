//! Distances that a sheet prints, and their kinds.
//!
//! Tables of distances mix kinds: widths from side to side, heights above a zero line, lengths
//! projected onto the vehicle's axis, true lengths of diagonals. Each is kept as what it was
//! printed as; whether they agree with each other is the audit's question.

use datumtrail_geometry::frame::Side;
use serde::{Deserialize, Serialize};

use crate::limit::{self, Limit};
use crate::names::clean_name;
use crate::point::{MOST_COORDINATE_MM, checked_coordinate, checked_step};
use crate::problem::Fault;

/// Which distance a number is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DistanceKind {
    /// From point to point.
    True,
    /// Projected onto the datum plane: without the difference in height.
    Level,
    /// From side to side, along the vehicle's width.
    Width,
    /// Above the sheet's zero line (below it where negative); of one point.
    Height,
    /// Along the vehicle's length only.
    ProjectedLength,
    /// Between two points of one side; the sheet does not say whether true or level.
    SameSide,
    /// Between points of opposite sides; the sheet does not say whether true or level.
    Diagonal,
}

impl DistanceKind {
    /// All kinds.
    pub const ALL: [DistanceKind; 7] = [
        DistanceKind::True,
        DistanceKind::Level,
        DistanceKind::Width,
        DistanceKind::Height,
        DistanceKind::ProjectedLength,
        DistanceKind::SameSide,
        DistanceKind::Diagonal,
    ];

    /// The word in a file.
    pub fn word(self) -> &'static str {
        match self {
            DistanceKind::True => "true",
            DistanceKind::Level => "level",
            DistanceKind::Width => "width",
            DistanceKind::Height => "height",
            DistanceKind::ProjectedLength => "projected-length",
            DistanceKind::SameSide => "same-side",
            DistanceKind::Diagonal => "diagonal",
        }
    }

    /// The words in a sentence.
    fn spoken(self) -> &'static str {
        match self {
            DistanceKind::True => "true distance",
            DistanceKind::Level => "level distance",
            DistanceKind::Width => "width",
            DistanceKind::Height => "height",
            DistanceKind::ProjectedLength => "projected length",
            DistanceKind::SameSide => "same-side distance",
            DistanceKind::Diagonal => "diagonal",
        }
    }

    pub(crate) fn parse(text: &str) -> Result<DistanceKind, Fault> {
        let word = text.trim().to_lowercase().replace([' ', '_'], "-");
        DistanceKind::ALL
            .into_iter()
            .find(|kind| kind.word() == word)
            .ok_or_else(|| Fault::Kind {
                text: text.to_owned(),
            })
    }

    /// Whether it runs along one side (`true`) or from side to side, where the kind says so.
    fn along_one_side(self) -> Option<bool> {
        match self {
            DistanceKind::Width | DistanceKind::Diagonal => Some(false),
            DistanceKind::SameSide => Some(true),
            _ => None,
        }
    }
}

/// One end of a distance.
///
/// Tables of distances often give a point and its partner one name, so an end may need its side to
/// say which of the two it is. Without one the end is either.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct End {
    /// The point's name, as in the sheet.
    pub point: String,
    /// Its side, where the table gives one.
    pub side: Option<Side>,
}

/// One printed distance.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Distance {
    /// What was measured.
    pub kind: DistanceKind,
    /// From here.
    pub a: End,
    /// To here; none for a height.
    pub b: Option<End>,
    /// In millimetres.
    pub value_mm: f64,
    /// How finely it is printed, in millimetres: variance step^2 / 12.
    pub step_mm: f64,
    /// The permitted deviation, where one is given.
    pub limit: Option<Limit>,
}

/// What makes two distances the same: kind and ends, in whichever order these stand.
pub(crate) type Key = (DistanceKind, End, Option<End>);

impl Distance {
    pub(crate) fn key(&self) -> Key {
        match &self.b {
            Some(b) if *b < self.a => (self.kind, b.clone(), Some(self.a.clone())),
            b => (self.kind, self.a.clone(), b.clone()),
        }
    }

    /// The distance with its names cleaned as a file's are.
    ///
    /// # Errors
    /// What a file would be refused for, with the column that the fault is in.
    pub(crate) fn checked(self) -> Result<Distance, (&'static str, Fault)> {
        let clean = |end: End, column| {
            let point = clean_name(&end.point).map_err(|fault| (column, fault))?;
            Ok(End { point, ..end })
        };
        let a = clean(self.a, "a")?;
        let b = self.b.map(|b| clean(b, "b")).transpose()?;
        check_ends(self.kind, &a, b.as_ref())?;
        let value_mm = checked_size(self.kind, self.value_mm).map_err(|fault| ("value", fault))?;
        let step_mm = checked_step(self.step_mm).map_err(|fault| ("step", fault))?;
        let limit = self
            .limit
            .map(|limit| limit::checked(limit.mm, &limit.source))
            .transpose()
            .map_err(|fault| ("limit", fault))?;
        Ok(Distance {
            kind: self.kind,
            a,
            b,
            value_mm,
            step_mm,
            limit,
        })
    }
}

/// Whether the ends suit the kind.
fn check_ends(kind: DistanceKind, a: &End, b: Option<&End>) -> Result<(), (&'static str, Fault)> {
    let spoken = kind.spoken();
    let b = match (kind, b) {
        (DistanceKind::Height, None) => return Ok(()),
        (DistanceKind::Height, Some(_)) => return Err(("b", Fault::EndSurplus)),
        (_, None) => return Err(("b", Fault::EndMissing { kind: spoken })),
        (_, Some(b)) => b,
    };
    if let (Some(a_side), Some(b_side), Some(along)) = (a.side, b.side, kind.along_one_side()) {
        // Across, one end may be on the centre line; only one and the same side is wrong.
        if along != (a_side == b_side) {
            return Err((
                "b_side",
                Fault::EndSides {
                    kind: spoken,
                    along,
                    a: a_side,
                    b: b_side,
                },
            ));
        }
    }
    // A width from a name to itself runs from the point to its partner, which shares the name.
    let across = kind.along_one_side() == Some(false) && a.side.is_none() && b.side.is_none();
    if a == b && !across {
        let name = a.point.clone();
        return Err(("b", Fault::EndsSame { kind: spoken, name }));
    }
    Ok(())
}

fn checked_size(kind: DistanceKind, mm: f64) -> Result<f64, Fault> {
    let most = MOST_COORDINATE_MM;
    if kind == DistanceKind::Height {
        return checked_coordinate(mm);
    }
    // Two points may lie side by side, so that only their projected length may be zero.
    let zero = kind == DistanceKind::ProjectedLength;
    if (mm > 0.0 || zero && mm == 0.0) && mm <= most {
        return Ok(mm + 0.0);
    }
    let kind = kind.spoken();
    Err(Fault::DistanceSize {
        kind,
        mm,
        zero,
        most,
    })
}
