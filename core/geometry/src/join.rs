//! Several set-ups of one stage, joined through shared points.
//!
//! An instrument that must be moved, or two instruments side by side, give readings in frames of
//! their own. Where two frames share three points or more, one can be set up on the other as a
//! vehicle is set up on its sheet ([`crate::fit`]): the readings already there take the place of
//! the sheet, each with its own covariance. The shared points are screened as reference points are
//! ([`crate::screen`]); one that was knocked in between is named and left out.
//!
//! # What comes out
//! Readings in the frame of the first part, one for each point. With `J` the joint's effect on a
//! point and `C` its covariance:
//!
//! ```text
//! a point of the new part only   x = R q + t                covariance R S2 R' + J C J'
//! a shared point                 x = x1 + G (x2 - x1)       covariance V + A C A'
//!                                G = S1 (S1 + S2)^-1        V = S1 - G S1,  A = G J
//! ```
//!
//! Points of one part share the error of its joint. A single verdict needs only each point's own
//! covariance, which holds the whole of it; for what looks at several points at once, [`Common`]
//! keeps the shared part, and [`crate::check::Deviations`] puts it between the points.
//!
//! # What is left out
//! The set-up on the sheet takes the readings of different reference points as independent. They
//! are when all reference points belong to the first part and are not shared; otherwise their
//! common joint error is treated as each one's own, and so is that of a part joined to a joined
//! one. Simulated with reference points shared or spread over both parts, the 95 % intervals hold
//! the truth in 93 to 99 % of the cases, where they would in 95 (`tests/join.rs`).
//!
//! Units: mm. Cost: a screening for each part.
//!
//! ```
//! use datumtrail_geometry::check::Reading;
//! use datumtrail_geometry::join::{Part, join};
//!
//! let shared = [("a", [0.0, 0.0, 0.0]), ("b", [900.0, 0.0, 50.0]), ("c", [0.0, 800.0, 20.0]), ("d", [900.0, 800.0, 0.0])];
//! let first = Part {
//!     name: "rear".into(),
//!     readings: shared.map(|(p, at)| Reading::new(p, at, Some(0.3))).to_vec(),
//! };
//! // The second frame is turned by 90 degrees and reaches a point that the first does not.
//! let mut second = Part {
//!     name: "front".into(),
//!     readings: shared.map(|(p, [x, y, z])| Reading::new(p, [y, -x, z + 40.0], Some(0.3))).to_vec(),
//! };
//! second.readings.push(Reading::new("rail", [100.0, 1500.0, 240.0], Some(0.3)));
//! let joined = join(&[first, second])?;
//! assert_eq!(joined.readings.len(), 5);
//! let rail = &joined.readings[4];
//! assert!((rail.position_mm.x + 1500.0).abs() < 1e-9); // x = -y'
//! assert!(rail.covariance_mm2.is_some_and(|c| c[(0, 0)] > 0.09));
//! # Ok::<(), datumtrail_geometry::join::JoinError>(())
//! ```

use crate::check::Reading;
use crate::fit::{FitError, Reference, SetUp, set_up};
use crate::frame::{Mat3, Vec3};
use crate::screen::{Screening, screen};
use nalgebra::{Matrix3x6, Matrix6};
use serde::Serialize;
use std::collections::HashMap;

/// Fewer shared points cannot fix a frame.
const FEWEST_SHARED: usize = 3;

/// The readings of one set-up of the instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What people call it.
    pub name: String,
    /// At most one for each point, in this set-up's own frame.
    pub readings: Vec<Reading>,
}

/// All parts together.
#[derive(Clone, Debug, PartialEq)]
pub struct Joined {
    /// One for each point, in the frame of the first part.
    pub readings: Vec<Reading>,
    /// How each further part was joined, in the order in which they could be.
    pub joints: Vec<Joint>,
    /// The error that points share through the joints: for [`crate::check::Request::common`].
    pub common: Common,
}

/// How one part was joined to what was there.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Joint {
    pub part: String,
    /// The shared points it rests on.
    pub shared: Vec<String>,
    /// Shared points that were in another place the second time, and are left out; their first
    /// reading stands.
    pub moved: Vec<String>,
    pub rms_mm: f64,
    pub dof: usize,
    /// `None` where a shared point has no stated uncertainty.
    pub chi2: Option<f64>,
    pub p: Option<f64>,
    /// The shared points agree within their uncertainties, or those that do not were named. Where
    /// not, nothing may be called inside.
    pub settled: bool,
}

/// What the points of joined parts share: the errors of the joints.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Common {
    /// C of each joint.
    joints: Vec<Matrix6<f64>>,
    /// How the joints' errors reach each point, frame of the first part.
    reach: HashMap<String, Vec<(usize, Matrix3x6<f64>)>>,
    /// Parts whose shared points disagree.
    unsettled: Vec<String>,
}

impl Common {
    /// The covariance that two points share through the joints, mm^2, frame of the first part.
    pub fn between(&self, a: &str, b: &str) -> Mat3 {
        let of = |point| self.reach.get(point).map_or(&[][..], Vec::as_slice);
        let mut sum = Mat3::zeros();
        for (joint, left) in of(a) {
            for (_, right) in of(b).iter().filter(|(other, _)| other == joint) {
                if let Some(c) = self.joints.get(*joint) {
                    sum += left * c * right.transpose();
                }
            }
        }
        sum
    }

    /// The parts whose shared points disagree and whose place is therefore in doubt.
    pub fn unsettled(&self) -> &[String] {
        &self.unsettled
    }
}

/// Why parts could not be joined.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum JoinError {
    #[error("there is nothing to join: give the readings of at least one set-up")]
    Nothing,
    #[error("in {part}, point {point} is read twice: average or withdraw one first")]
    ReadTwice { part: String, point: String },
    #[error(
        "{part} shares {count} points with the set-ups it could be joined to, and three are \
         needed: measure further points from both places"
    )]
    TooFewShared { part: String, count: usize },
    #[error("{part} cannot be joined: {source}")]
    Fit { part: String, source: FitError },
}

/// Joins parts: the first gives the frame, and each other part is joined as soon as it shares three
/// points with what is there.
///
/// # Errors
/// See [`JoinError`].
pub fn join(parts: &[Part]) -> Result<Joined, JoinError> {
    for part in parts {
        let mut seen: Vec<&str> = part.readings.iter().map(|r| r.point.as_str()).collect();
        seen.sort_unstable();
        if let Some(point) = seen.windows(2).find_map(|pair| match pair {
            [a, b] if a == b => Some(*a),
            _ => None,
        }) {
            return Err(JoinError::ReadTwice {
                part: part.name.clone(),
                point: point.to_owned(),
            });
        }
    }
    let (first, others) = parts.split_first().ok_or(JoinError::Nothing)?;
    let mut joined = Joined {
        readings: first.readings.clone(),
        joints: Vec::new(),
        common: Common::default(),
    };
    let mut left: Vec<&Part> = others.iter().collect();
    while !left.is_empty() {
        // The part that shares most is joined first, so that errors pile up least.
        let (place, count) = left
            .iter()
            .map(|part| shared(&joined.readings, part).len())
            .enumerate()
            .max_by(|a, b| a.1.cmp(&b.1).then(b.0.cmp(&a.0)))
            .unwrap_or_default();
        let part = left.remove(place);
        if count < FEWEST_SHARED {
            let part = part.name.clone();
            return Err(JoinError::TooFewShared { part, count });
        }
        attach(&mut joined, part)?;
    }
    Ok(joined)
}

/// Places of the readings in `there` and in `part` that are of one point.
fn shared(there: &[Reading], part: &Part) -> Vec<(usize, usize)> {
    let new: HashMap<&str, usize> = part
        .readings
        .iter()
        .enumerate()
        .map(|(k, r)| (r.point.as_str(), k))
        .collect();
    there
        .iter()
        .enumerate()
        .filter_map(|(k, r)| Some((k, *new.get(r.point.as_str())?)))
        .collect()
}

fn attach(joined: &mut Joined, part: &Part) -> Result<(), JoinError> {
    let pairs = shared(&joined.readings, part);
    let both = |(a, b): &(usize, usize)| joined.readings.get(*a).zip(part.readings.get(*b));
    let stated = pairs
        .iter()
        .filter_map(both)
        .all(|(old, new)| old.covariance_mm2.is_some() && new.covariance_mm2.is_some());
    let references: Vec<Reference> = pairs
        .iter()
        .filter_map(both)
        .map(|(old, new)| Reference {
            reading: new.position_mm,
            reading_covariance: new
                .covariance_mm2
                .filter(|_| stated)
                .unwrap_or_else(Mat3::identity),
            target: old.position_mm,
            target_covariance: old.covariance_mm2.filter(|_| stated).unwrap_or_default(),
        })
        .collect();
    let names: Vec<String> = pairs
        .iter()
        .filter_map(both)
        .map(|(old, _)| old.point.clone())
        .collect();
    let refused = |source| JoinError::Fit {
        part: part.name.clone(),
        source,
    };
    let screening = if stated {
        screen(&references).map_err(refused)?
    } else {
        Screening::unscreened(set_up(&references).map_err(refused)?)
    };
    let fitted = &screening.set_up;
    let pick = |places: &[usize]| -> Vec<String> {
        places
            .iter()
            .filter_map(|&k| names.get(k).cloned())
            .collect()
    };
    let joint = Joint {
        part: part.name.clone(),
        shared: pick(&screening.kept),
        moved: pick(&screening.moved),
        rms_mm: fitted.rms,
        dof: fitted.degrees_of_freedom,
        chi2: stated.then_some(fitted.chi2),
        p: stated.then(|| fitted.chi2_probability()),
        settled: screening.is_settled(),
    };
    if !joint.settled {
        joined.common.unsettled.push(part.name.clone());
    }
    let index = joined.common.joints.len();
    joined.common.joints.push(if stated {
        fitted.covariance
    } else {
        Matrix6::zeros()
    });

    let places: HashMap<&str, usize> = pairs
        .iter()
        .filter_map(|&(a, b)| Some((part.readings.get(b)?.point.as_str(), a)))
        .collect();
    for new in &part.readings {
        if joint.moved.contains(&new.point) {
            continue;
        }
        let reach = joined.common.reach.entry(new.point.clone()).or_default();
        match places.get(new.point.as_str()) {
            None => {
                let (reading, jacobian) = carried(fitted, new, stated);
                reach.push((index, jacobian));
                joined.readings.push(reading);
            }
            // Without uncertainties there are no weights: the first reading stands.
            Some(_) if !stated => {}
            Some(&place) => {
                if let Some(old) = joined.readings.get_mut(place) {
                    merge(fitted, old, new, index, reach);
                }
            }
        }
    }
    joined.joints.push(joint);
    Ok(())
}

/// A reading of the new part only, in the frame of the first.
fn carried(fitted: &SetUp, new: &Reading, stated: bool) -> (Reading, Matrix3x6<f64>) {
    let position_mm = fitted.apply(new.position_mm);
    let reading = Reading {
        point: new.point.clone(),
        position_mm,
        covariance_mm2: new
            .covariance_mm2
            .filter(|_| stated)
            .map(|own| fitted.place(new.position_mm, own).covariance),
    };
    (reading, fitted.jacobian(position_mm))
}

/// The two readings of a shared point, weighted.
fn merge(
    fitted: &SetUp,
    old: &mut Reading,
    new: &Reading,
    joint: usize,
    reach: &mut Vec<(usize, Matrix3x6<f64>)>,
) {
    let (Some(s1), Some(s2)) = (old.covariance_mm2, new.covariance_mm2) else {
        return;
    };
    let Some(sum) = (s1 + fitted.turn_covariance(s2)).cholesky() else {
        return;
    };
    let gain = s1 * sum.inverse();
    let seen: Vec3 = fitted.apply(new.position_mm);
    let added = gain * fitted.jacobian(seen);
    for (_, before) in reach.iter_mut() {
        *before = (Mat3::identity() - gain) * *before;
    }
    reach.push((joint, added));
    let covariance = s1 - gain * s1 + added * fitted.covariance * added.transpose();
    old.position_mm += gain * (seen - old.position_mm);
    old.covariance_mm2 = Some((covariance + covariance.transpose()) / 2.0);
}
