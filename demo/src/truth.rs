//! What was physically the case when each survey was taken.
//!
//! These are the only places where the damage and the misplaced part exist. Nothing of it is
//! handed on but raw readings in the instrument's own frame (see [`crate::readings`]); the engine
//! has to find it.

use nalgebra::Vector3;

use crate::random::Random;
use crate::vehicle::{BUILD_SPREAD_MM, ControlPoint, JOINT_X_MM, NEW_SECTION, control_points};

/// The four surveys of the story.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Survey {
    /// The van as it came in: the left rear rail's end collapsed.
    AsFound,
    /// The new section bolted and clamped, and everything lines up.
    FirstFit,
    /// After the section was moved.
    SecondFit,
    /// After welding.
    Final,
}

impl Survey {
    pub const ALL: [Survey; 4] = [
        Survey::AsFound,
        Survey::FirstFit,
        Survey::SecondFit,
        Survey::Final,
    ];

    /// The stage in which it is taken (a key of the shipped plan).
    pub fn stage(self) -> &'static str {
        match self {
            Survey::AsFound => "as-found-survey",
            Survey::FirstFit | Survey::SecondFit => "fit-survey",
            Survey::Final => "final-survey",
        }
    }

    /// A name for its file of readings.
    pub fn file_name(self) -> &'static str {
        match self {
            Survey::AsFound => "as-found.csv",
            Survey::FirstFit => "fit-1.csv",
            Survey::SecondFit => "fit-2.csv",
            Survey::Final => "final.csv",
        }
    }
}

/// One van: the same build at every survey.
const VAN_SEED: u64 = 0x0417;

/// Where a control point truly was at a survey, in the vehicle's frame, in millimetres.
pub fn positions(survey: Survey) -> Vec<(&'static str, Vector3<f64>)> {
    control_points()
        .iter()
        .map(|p| (p.name, p.position + displacement(survey, p)))
        .collect()
}

/// How far a control point was from its place on the sheet: what the van's build, the blow, the
/// fit and the welding did.
pub fn displacement(survey: Survey, point: &ControlPoint) -> Vector3<f64> {
    as_built(survey, point) + moved(survey, point)
}

/// The van's own deviation from its sheet, within [`BUILD_SPREAD_MM`]. The new section is a part
/// of its own and has its own.
fn as_built(survey: Survey, point: &ControlPoint) -> Vector3<f64> {
    let new_part = survey != Survey::AsFound && NEW_SECTION.contains(&point.name);
    let mut hash = VAN_SEED + u64::from(new_part);
    for byte in point.name.bytes() {
        hash = hash.wrapping_mul(1099).wrapping_add(u64::from(byte));
    }
    let mut random = Random::new(hash);
    Vector3::from_fn(|_, _| random.within(BUILD_SPREAD_MM))
}

/// What happened to the structure.
fn moved(survey: Survey, point: &ControlPoint) -> Vector3<f64> {
    match survey {
        Survey::AsFound => collapse(point),
        // 7.4 mm too deep in its joint, and sagging toward its end.
        Survey::FirstFit => section(
            point,
            Vector3::new(-7.4, -0.5, 0.0),
            Vector3::new(0.0, 0.0, -3.9),
        ),
        Survey::SecondFit => section(
            point,
            Vector3::new(-0.25, 0.1, 0.0),
            Vector3::new(0.0, 0.0, -0.2),
        ),
        // Shrinking welds pulled it.
        Survey::Final => section(
            point,
            Vector3::new(-0.55, 0.1, 0.05),
            Vector3::new(0.0, 0.3, 0.35),
        ),
    }
}

/// The blow: nothing ahead of the joint moved. Behind it the rail folded, forward most of all,
/// and took the rear panel's corner and, a little, the door opening's lower corner along.
fn collapse(point: &ControlPoint) -> Vector3<f64> {
    let at_end = Vector3::new(-34.0, 12.0, -9.0);
    match point.name {
        "R4" | "R5" | "R6" => at_end * along_section(point).powf(1.4),
        "B1" => Vector3::new(-26.0, 8.0, -4.0),
        "D1" => Vector3::new(-4.6, 1.8, -0.9),
        _ => Vector3::zeros(),
    }
}

/// A rigid displacement of the new section: `whole` for all of it, and `end` added at its end and
/// nothing at the joint (a small turn about the joint; its cosine is 1 to within 1e-4).
fn section(point: &ControlPoint, whole: Vector3<f64>, end: Vector3<f64>) -> Vector3<f64> {
    if NEW_SECTION.contains(&point.name) {
        whole + end * along_section(point)
    } else {
        Vector3::zeros()
    }
}

/// 0 at the joint, 1 at the rail's end plate.
fn along_section(point: &ControlPoint) -> f64 {
    const END_X_MM: f64 = 3521.0;
    ((point.position.x - JOINT_X_MM) / (END_X_MM - JOINT_X_MM)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(survey: Survey, name: &str) -> Vector3<f64> {
        let points = control_points();
        let point = points
            .iter()
            .find(|p| p.name == name)
            .expect("on the sheet");
        displacement(survey, point)
    }

    #[test]
    fn the_blow_reached_nothing_ahead_of_the_joint() {
        for p in control_points() {
            let d = displacement(Survey::AsFound, &p);
            if p.position.x < JOINT_X_MM || p.name.ends_with('\'') {
                assert!(d.amax() <= BUILD_SPREAD_MM, "{}: {d}", p.name);
            }
        }
        let end = at(Survey::AsFound, "R6");
        assert!(
            (-40.0..-20.0).contains(&end.x) && end.y > 5.0 && end.z < -5.0,
            "{end}"
        );
        let lengths: Vec<f64> = NEW_SECTION
            .iter()
            .map(|n| at(Survey::AsFound, n).norm())
            .collect();
        assert!(
            lengths.windows(2).all(|w| w[0] < w[1]),
            "fades toward the joint: {lengths:?}"
        );
    }

    #[test]
    fn the_first_fit_is_too_deep_and_too_low_at_its_end_only() {
        for p in control_points() {
            let d = displacement(Survey::FirstFit, &p);
            if NEW_SECTION.contains(&p.name) {
                assert!((-8.0..-7.0).contains(&d.x), "{}: {d}", p.name);
                assert!(d.y.abs() < 1.0, "{}: {d}", p.name);
            } else {
                assert!(d.amax() <= BUILD_SPREAD_MM, "{}: {d}", p.name);
            }
        }
        let end = at(Survey::FirstFit, "R6").z;
        assert!((-4.3..-3.4).contains(&end), "{end}");
        assert!(at(Survey::FirstFit, "R4").z.abs() < 1.5);
    }

    #[test]
    fn the_move_brought_it_in_and_welding_left_it_in() {
        for p in control_points() {
            let fit = displacement(Survey::SecondFit, &p);
            let welded = displacement(Survey::Final, &p);
            assert!(fit.amax() <= 0.8, "{}: {fit}", p.name);
            assert!(welded.amax() <= 1.2, "{}: {welded}", p.name);
            assert!((welded - fit).norm() <= 0.8, "{}: weld shrinkage", p.name);
        }
    }

    #[test]
    fn the_van_is_the_same_van_at_every_survey() {
        for p in control_points()
            .iter()
            .filter(|p| p.position.x < JOINT_X_MM)
        {
            let first = displacement(Survey::AsFound, p);
            assert!(
                Survey::ALL.iter().all(|s| displacement(*s, p) == first),
                "{}",
                p.name
            );
        }
    }
}
