//! Control points: what a sheet says about one place on the structure.

use datumtrail_geometry::frame::{Axis, Side};
use serde::{Deserialize, Serialize};

use crate::limit::{self, Limit};
use crate::names::{clean_name, clean_text};
use crate::problem::Fault;

/// No coordinate is farther from its zero plane: 100 m, several of the longest vehicles.
pub const MOST_COORDINATE_MM: f64 = 100_000.0;
/// No sheet is printed more coarsely.
pub const MOST_STEP_MM: f64 = 100.0;

/// A named, measurable place on the structure, in the vehicle's frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ControlPoint {
    /// Unique in its sheet; capitals count.
    pub name: String,
    /// Which side of the vehicle it belongs to.
    pub side: Side,
    /// What is there, in the maker's words; may be empty.
    pub what: String,
    /// Length, width, height in millimetres: x rearward, y to the right, z up.
    pub position_mm: [f64; 3],
    /// How finely each coordinate is printed, in millimetres: see [`ControlPoint::rounding_mm2`].
    pub step_mm: [f64; 3],
    /// The permitted deviation along each axis, where one is given.
    pub limits: [Option<Limit>; 3],
    /// The member it sits on, such as a rail, where the sheet says so.
    pub member: Option<String>,
    /// The part of the vehicle it is in, such as front, where the sheet says so.
    pub zone: Option<String>,
}

impl ControlPoint {
    /// The limit along an axis, where one is given.
    pub fn limit(&self, axis: Axis) -> Option<&Limit> {
        self.limits.get(axis.index()).and_then(Option::as_ref)
    }

    /// The variance of each coordinate that comes from printing it rounded, in square
    /// millimetres: step^2 / 12, an even spread over one step (GUM, JCGM 100:2008, 4.3.7).
    pub fn rounding_mm2(&self) -> [f64; 3] {
        self.step_mm.map(|step| step * step / 12.0)
    }

    /// The point with its texts cleaned as a file's are.
    ///
    /// # Errors
    /// What a file would be refused for.
    pub(crate) fn checked(self) -> Result<ControlPoint, Fault> {
        let [x, y, z] = self.position_mm.map(checked_coordinate);
        let [step_x, step_y, step_z] = self.step_mm.map(checked_step);
        let mut limits = self.limits;
        for limit in limits.iter_mut().flatten() {
            *limit = limit::checked(limit.mm, &limit.source)?;
        }
        let optional = |text: Option<String>| {
            let text = clean_text(&text.unwrap_or_default())?;
            Ok((!text.is_empty()).then_some(text))
        };
        Ok(ControlPoint {
            name: clean_name(&self.name)?,
            what: clean_text(&self.what)?,
            member: optional(self.member)?,
            zone: optional(self.zone)?,
            position_mm: [x?, y?, z?],
            step_mm: [step_x?, step_y?, step_z?],
            limits,
            side: self.side,
        })
    }
}

/// The coordinate, with a negative zero made a plain one.
pub(crate) fn checked_coordinate(mm: f64) -> Result<f64, Fault> {
    if mm.abs() <= MOST_COORDINATE_MM {
        Ok(mm + 0.0)
    } else {
        Err(Fault::TooFar {
            mm,
            most: MOST_COORDINATE_MM,
        })
    }
}

pub(crate) fn checked_step(mm: f64) -> Result<f64, Fault> {
    if (0.0..=MOST_STEP_MM).contains(&mm) {
        Ok(mm + 0.0)
    } else {
        Err(Fault::Step {
            mm,
            most: MOST_STEP_MM,
        })
    }
}
