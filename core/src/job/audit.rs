//! The sheet against itself, before anyone measures.

use datumtrail_geometry::audit::{self, Audit, Doubt, End, Figure, Printed, Station};
use datumtrail_geometry::frame::{Side, Vec3};
use datumtrail_sheet::{ControlPoint, DistanceKind, Sheet, stem};
use serde::Serialize;

use crate::error::{Error, Result};

/// The probability of doubting a sheet without errors.
pub const ALPHA: f64 = 0.05;

/// The interface of `sheet audit --json`.
#[derive(Clone, Debug, Serialize)]
pub struct SheetAudit {
    /// Worst first.
    pub doubts: Vec<Doubt>,
    /// How many comparisons were made.
    pub compared: usize,
    /// A comparison fails from this many standard uncertainties of the print's rounding on.
    pub critical_w: f64,
    /// How distances whose kind the sheet does not say are meant, where one meaning explains them
    /// far better than the others.
    pub meaning: Option<String>,
    /// Pairs whose sides do not mirror each other: how far, millimetres.
    pub asymmetric: Vec<AsymmetricPair>,
    /// Figures that nothing checks: an error in them would go unseen.
    pub unchecked: Vec<String>,
    /// What kept figures out of the comparison.
    pub remarks: Vec<String>,
}

/// A pair that is not symmetrical. Many vehicles have some; it is no doubt.
#[derive(Clone, Debug, Serialize)]
pub struct AsymmetricPair {
    pub point: String,
    /// The left point mirrored to the right, less the right point.
    pub difference_mm: [f64; 3],
}

/// Audits a sheet.
///
/// # Errors
/// [`Error::Measurement`] where it holds nothing that can be compared.
pub fn audit(sheet: &Sheet) -> Result<SheetAudit> {
    let stated = stated(sheet);
    let found = audit::audit(&stated, ALPHA).map_err(|e| {
        Error::Measurement(
            format!("the sheet can't be audited: {e}"),
            "load a sheet with at least a few distances or positions".into(),
        )
    })?;
    Ok(report(&stated, found))
}

fn report(stated: &audit::Sheet, found: Audit) -> SheetAudit {
    let meaning = (found.readings.first())
        .filter(|_| found.meaning_is_clear)
        .map(|best| best.meaning.words());
    let unchecked = found.unchecked.iter().filter_map(|&place| {
        let figure = stated.figures.get(place)?;
        let ends = stated.labels(figure).join(" to ");
        Some(format!("{} {ends}", figure.what.words()))
    });
    SheetAudit {
        unchecked: unchecked.collect(),
        doubts: found.doubts,
        compared: found.tests.len(),
        critical_w: found.critical_w,
        meaning,
        asymmetric: found
            .asymmetric
            .iter()
            .map(|pair| AsymmetricPair {
                point: pair.station.clone(),
                difference_mm: pair.difference.into(),
            })
            .collect(),
        remarks: found.remarks,
    }
}

/// The sheet as the audit reads it. A left point and its right partner are one station.
pub(crate) fn stated(sheet: &Sheet) -> audit::Sheet {
    let mut stations: Vec<Station> = Vec::new();
    // Where each point of the sheet went.
    let mut placed: Vec<(String, End)> = Vec::new();
    for point in sheet.points() {
        if placed.iter().any(|(name, _)| *name == point.name) {
            continue;
        }
        let partner = sheet.partner(&point.name);
        let mut station = Station::new(point.name.clone(), coarsest_step(point));
        if let Some(partner) = partner {
            let (left, right) = match point.side {
                Side::Left => (point, partner),
                _ => (partner, point),
            };
            station.name = stem(&left.name).to_owned();
            station.side_names = Some((left.name.clone(), right.name.clone()));
        }
        for p in std::iter::once(point).chain(partner) {
            let position = Some(Vec3::from(p.position_mm));
            match p.side {
                Side::Left => station.left = position,
                Side::Right => station.right = position,
                Side::Centre => station.centre = position,
            }
            let end = End {
                station: stations.len(),
                side: Some(p.side),
            };
            placed.push((p.name.clone(), end));
        }
        stations.push(station);
    }
    let mut figures = Vec::new();
    for distance in sheet.distances() {
        let mut end = |end: &datumtrail_sheet::End| -> End {
            if let Some((_, known)) = placed.iter().find(|(name, _)| *name == end.point) {
                let side = end.side.or(known.side);
                return End { side, ..*known };
            }
            let known = stations.iter().position(|s| s.name == end.point);
            let station = known.unwrap_or_else(|| {
                stations.push(Station::new(end.point.clone(), distance.step_mm));
                stations.len() - 1
            });
            End {
                station,
                side: end.side,
            }
        };
        let a = end(&distance.a);
        let b = distance.b.as_ref().map(&mut end);
        figures.push(Figure {
            what: printed(distance.kind),
            a,
            // A width belongs to a station as a whole, and so has one end.
            b: b.filter(|_| distance.kind != DistanceKind::Width),
            value_mm: distance.value_mm,
            step_mm: distance.step_mm,
        });
    }
    audit::Sheet { stations, figures }
}

fn coarsest_step(point: &ControlPoint) -> f64 {
    point.step_mm.into_iter().fold(0.0, f64::max)
}

fn printed(kind: DistanceKind) -> Printed {
    match kind {
        DistanceKind::True => Printed::TrueDistance,
        DistanceKind::Level => Printed::LevelDistance,
        DistanceKind::Width => Printed::Width,
        DistanceKind::Height => Printed::Height,
        DistanceKind::ProjectedLength => Printed::Length,
        DistanceKind::SameSide => Printed::SameSide,
        DistanceKind::Diagonal => Printed::Diagonal,
    }
}

/// Coordinates solved from a sheet's distances; the interface of `sheet solve --json`.
#[derive(Clone, Debug, Serialize)]
pub struct SolvedSheet {
    pub points: Vec<SolvedStation>,
    /// What the distances leave open, and why.
    pub open: Vec<OpenStation>,
    /// How distances whose kind the sheet does not say were read; empty where it says all.
    pub meaning: String,
}

/// A control point with its coordinates.
#[derive(Clone, Debug, Serialize)]
pub struct SolvedStation {
    pub point: String,
    pub side: Side,
    pub position_mm: [f64; 3],
    pub u_mm: [f64; 3],
}

/// A station that could not be placed.
#[derive(Clone, Debug, Serialize)]
pub struct OpenStation {
    pub point: String,
    pub why: String,
}

/// Solves for coordinates. `front` and `rear` are two names of the sheet, `front` nearer to the
/// vehicle's front; its length is zero.
///
/// # Errors
/// [`Error::Unknown`] for a name that the sheet's distances don't have; [`Error::Measurement`]
/// where they don't determine anything.
pub fn solve(sheet: &Sheet, front: &str, rear: &str) -> Result<SolvedSheet> {
    let stated = stated(sheet);
    let place = |name: &str| {
        let found = stated.stations.iter().position(|s| s.name == name);
        found.ok_or_else(|| Error::Unknown {
            kind: "point of the sheet's distances",
            name: name.to_owned(),
            todo: "name two points as the sheet does: --front A --rear B".into(),
        })
    };
    let (front, rear) = (place(front)?, place(rear)?);
    let found = audit::positions(&stated, front, rear, ALPHA).map_err(|e| {
        Error::Measurement(
            e.to_string(),
            "look at the audit first: datumtrail sheet audit".into(),
        )
    })?;
    let station = |place: usize| stated.stations.get(place);
    let mut points = Vec::new();
    for placed in &found.placed {
        let Some(s) = station(placed.station) else {
            continue;
        };
        let [x, y, z] = <[f64; 3]>::from(placed.right);
        let sides: &[(Side, f64)] = match y < 0.5 {
            true => &[(Side::Centre, 0.0)],
            false => &[(Side::Left, -1.0), (Side::Right, 1.0)],
        };
        points.extend(sides.iter().map(|(side, sign)| SolvedStation {
            point: s.label(Some(*side)),
            side: *side,
            position_mm: [x, sign * y + 0.0, z],
            u_mm: placed.u_mm,
        }));
    }
    let open = found.open.iter().filter_map(|(place, why)| {
        Some(OpenStation {
            point: station(*place)?.name.clone(),
            why: why.clone(),
        })
    });
    Ok(SolvedSheet {
        points,
        open: open.collect(),
        meaning: found.meaning.words(),
    })
}

impl SolvedSheet {
    /// The coordinates as a sheet to load. The print step of each is such that its rounding is as
    /// uncertain as the coordinate: step = u sqrt(12).
    pub fn csv(&self) -> String {
        let mut csv = "point,side,what,x,y,z,step_x,step_y,step_z\n".to_owned();
        for p in &self.points {
            let [x, y, z] = p.position_mm;
            let [sx, sy, sz] = p.u_mm.map(|u| (u * 12f64.sqrt()).max(0.01));
            csv += &format!(
                "{},{},,{x:.2},{y:.2},{z:.2},{sx:.2},{sy:.2},{sz:.2}\n",
                p.point,
                p.side.word()
            );
        }
        csv
    }
}
