//! The sheet: what the maker publishes for one vehicle.

use std::collections::HashMap;

use datumtrail_geometry::frame::Side;
use serde::{Deserialize, Serialize};

use crate::axes::Axes;
use crate::distance::Distance;
use crate::error::SheetError;
use crate::names::{clean_text, stem};
use crate::point::ControlPoint;
use crate::problem::{Fault, shown};
use crate::units::Units;

/// The dimensions published for one vehicle: control points and distances, in millimetres and in
/// the vehicle's frame, under one source.
///
/// A sheet is made whole by [`load`](crate::load::load) or [`Sheet::new`] and does not change, so
/// whoever holds one knows: every number is finite and of a vehicle's size, no point or distance
/// stands twice, every limit has a source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Parts")]
pub struct Sheet {
    source: String,
    declared: Declared,
    points: Vec<ControlPoint>,
    distances: Vec<Distance>,
}

/// What a sheet was declared to count in when it was loaded; kept for the record. Nothing has to be
/// converted any more.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Declared {
    /// The units of the file.
    pub units: Units,
    /// The directions of its columns.
    pub axes: Axes,
}

impl Sheet {
    /// A sheet from its parts, with the same checks as from a file. Texts are cleaned likewise:
    /// single spaces, plain strokes in names.
    ///
    /// # Errors
    /// [`SheetError::NoSource`], [`SheetError::Nothing`], or [`SheetError::Record`] naming the
    /// point or distance that a file would be refused for. The place in a message about a doubled
    /// one is its position in the list.
    pub fn new(
        source: &str,
        declared: Declared,
        points: Vec<ControlPoint>,
        distances: Vec<Distance>,
    ) -> Result<Sheet, SheetError> {
        let source = clean_text(source).map_err(|fault| SheetError::record("the source", fault))?;
        if source.is_empty() {
            return Err(SheetError::NoSource);
        }
        if points.is_empty() && distances.is_empty() {
            return Err(SheetError::Nothing);
        }
        Ok(Sheet {
            source,
            declared,
            points: checked_points(points)?,
            distances: checked_distances(distances)?,
        })
    }

    /// Where the numbers were printed.
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The units and directions of the file it came from.
    pub fn declared(&self) -> Declared {
        self.declared
    }

    /// The control points, in the order of the file.
    pub fn points(&self) -> &[ControlPoint] {
        &self.points
    }

    /// The distances, in the order of the file.
    pub fn distances(&self) -> &[Distance] {
        &self.distances
    }

    /// The point of that name, which is compared letter by letter: clean a typed one with
    /// [`point_name`](crate::point_name) first.
    pub fn point(&self, name: &str) -> Option<&ControlPoint> {
        self.points.iter().find(|point| point.name == name)
    }

    /// The point of that name, or an error that a person can act on.
    ///
    /// # Errors
    /// [`SheetError::PointUnknown`], which names the point that differs only in capitals where
    /// there is one.
    pub fn expect_point(&self, name: &str) -> Result<&ControlPoint, SheetError> {
        self.point(name)
            .ok_or_else(|| SheetError::PointUnknown(self.unknown(name)))
    }

    /// Why a name is not in the sheet.
    pub(crate) fn unknown(&self, name: &str) -> Fault {
        let near = self
            .points
            .iter()
            .find(|point| point.name.to_lowercase() == name.to_lowercase());
        Fault::PointUnknown {
            name: name.to_owned(),
            near: near.map(|point| point.name.clone()),
        }
    }

    /// The point that mirrors the named one: on the other side, with a name that has the same
    /// [`stem`]. None for a point of the centre, for one whose partner is not in the sheet, and
    /// where two points could be it.
    pub fn partner(&self, name: &str) -> Option<&ControlPoint> {
        let point = self.point(name)?;
        if point.side == Side::Centre {
            return None;
        }
        let mut partners = self.points.iter().filter(|other| {
            other.side == point.side.opposite() && stem(&other.name) == stem(&point.name)
        });
        match (partners.next(), partners.next()) {
            (Some(partner), None) => Some(partner),
            _ => None,
        }
    }

    /// Every left point with its right-hand partner, in the order of the left ones.
    pub fn pairs(&self) -> impl Iterator<Item = (&ControlPoint, &ControlPoint)> {
        self.points
            .iter()
            .filter(|point| point.side == Side::Left)
            .filter_map(|left| {
                let right = self.partner(&left.name)?;
                // Two left points may claim the same right one; then neither has it.
                let back = self.partner(&right.name)?;
                (back.name == left.name).then_some((left, right))
            })
    }
}

fn checked_points(points: Vec<ControlPoint>) -> Result<Vec<ControlPoint>, SheetError> {
    let mut seen = HashMap::new();
    let mut checked = Vec::with_capacity(points.len());
    for (at, point) in points.into_iter().enumerate() {
        let what = format!("the sheet's point {}", shown(&point.name));
        let refused = |fault| SheetError::record(what.as_str(), fault);
        let point = point.checked().map_err(refused)?;
        let place = at as u64 + 1;
        if let Some(first) = seen.insert(point.name.clone(), place) {
            let name = point.name;
            return Err(refused(Fault::PointDoubled { name, first }));
        }
        checked.push(point);
    }
    Ok(checked)
}

fn checked_distances(distances: Vec<Distance>) -> Result<Vec<Distance>, SheetError> {
    let mut seen = HashMap::new();
    let mut checked = Vec::with_capacity(distances.len());
    for (at, distance) in distances.into_iter().enumerate() {
        let place = at as u64 + 1;
        let refused = |fault| SheetError::record(format!("the sheet's distance {place}"), fault);
        let distance = distance.checked().map_err(|(_, fault)| refused(fault))?;
        if let Some(first) = seen.insert(distance.key(), place) {
            return Err(refused(Fault::DistanceDoubled { first }));
        }
        checked.push(distance);
    }
    Ok(checked)
}

/// What serde reads, before the checks of [`Sheet::new`].
#[derive(Deserialize)]
struct Parts {
    source: String,
    #[serde(default)]
    declared: Declared,
    #[serde(default)]
    points: Vec<ControlPoint>,
    #[serde(default)]
    distances: Vec<Distance>,
}

impl TryFrom<Parts> for Sheet {
    type Error = SheetError;
    fn try_from(parts: Parts) -> Result<Sheet, SheetError> {
        Sheet::new(&parts.source, parts.declared, parts.points, parts.distances)
    }
}
