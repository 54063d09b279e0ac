//! The invented van, its invented dimension sheet, and the invented people who repair it.
//!
//! Nothing here exists: no such maker, model, shop, instrument or person. The dimensions are
//! plausible for a small delivery van and were made up for this story.

use nalgebra::Vector3;

/// The dimension sheet as the story loads it: 17 pairs of control points with a limit each,
/// columns `point,side,what,x,y,z,limit,member,zone`, in millimetres.
///
/// Three pairs are not symmetrical by design, as on real vehicles: the front sub-frame's rear
/// mounting (F4) makes room for the exhaust on the right, the jacking points (P2) sit 8 mm apart
/// in length, and the right rail carries its cross member (R5) 2 mm higher.
pub const SHEET_CSV: &str = include_str!("../data/pannier-l1-structure.csv");

/// The name of the sheet's file.
pub const SHEET_FILE: &str = "pannier-l1-structure.csv";

/// Where the dimensions come from.
pub const SHEET_SOURCE: &str = "Ostrivar Pannier L1 body repair manual (invented), section 05.10, \
     structure dimensions; x from the front wheel centres rearward, y from the centre plane to \
     the right, z from the datum plane 210 mm above the road up";

/// Where the limit of 3 mm comes from.
pub const LIMIT_SOURCE: &str =
    "Ostrivar Pannier L1 body repair manual (invented), section 05.02, permitted deviations";

/// Maker, model and plate-free identity of the vehicle.
pub const VEHICLE: &str = "Ostrivar Pannier L1, white, delivery van, 2023";

/// The shop.
pub const SHOP: &str = "Lanternfish Body & Frame";

/// A time zone without a country: one hour ahead of UTC all year round.
pub const TIME_ZONE: &str = "Etc/GMT-1";

/// What measured it.
pub const INSTRUMENT: &str = "Tallybeam T3 measuring arm (invented), No. 0417, checked 2026-04-20";

/// The instrument's standard uncertainty for each axis of one reading, in millimetres.
pub const INSTRUMENT_U_MM: f64 = 0.4;

/// How far an undamaged vehicle may be from its own sheet, each axis, in millimetres: a bound,
/// evenly spread, so its standard uncertainty is this over the square root of three.
pub const BUILD_SPREAD_MM: f64 = 0.3;

/// Points trusted as undamaged: on the platform, ahead of everything that the blow could reach.
pub const REFERENCE_POINTS: [&str; 8] = ["F4", "F4'", "P1", "P1'", "P3", "P3'", "P4", "P4'"];

/// Points of the part that is replaced: the left rear rail's end section.
pub const NEW_SECTION: [&str; 3] = ["R4", "R5", "R6"];

/// Where the new section is joined to the old rail, in the sheet's length.
pub const JOINT_X_MM: f64 = 3080.0;

/// Who does what. All names are invented.
pub mod people {
    /// Structural technician.
    pub const TECHNICIAN: &str = "Juna Tallowmere";
    /// Second technician: welds and corrosion protection.
    pub const WELDER: &str = "Bartle Quillhaven";
    /// Estimator: takes the van in and hands it over.
    pub const ESTIMATOR: &str = "Osric Fennimuir";
}

/// A control point of the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct ControlPoint {
    pub name: &'static str,
    /// Where the sheet has it, in millimetres, in the vehicle's frame.
    pub position: Vector3<f64>,
}

/// The sheet's points, in its order, read from [`SHEET_CSV`] without the engine: the story's
/// truth must not depend on the code that is to find it.
pub fn control_points() -> Vec<ControlPoint> {
    SHEET_CSV
        .lines()
        .skip(1)
        .filter_map(control_point)
        .collect()
}

/// One line of the sheet. The name is its first field and the numbers stand behind the
/// description, which may be quoted.
fn control_point(line: &'static str) -> Option<ControlPoint> {
    let (name, rest) = line.split_once(',')?;
    let (_side, rest) = rest.split_once(',')?;
    let numbers = match rest.strip_prefix('"') {
        Some(quoted) => quoted.split_once("\",")?.1,
        None => rest.split_once(',')?.1,
    };
    let mut fields = numbers.split(',').map(|f| f.parse::<f64>().ok());
    let position = Vector3::new(fields.next()??, fields.next()??, fields.next()??);
    Some(ControlPoint { name, position })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sheet_has_seventeen_pairs() {
        let points = control_points();
        assert_eq!(points.len(), SHEET_CSV.lines().count() - 1);
        assert_eq!(points.len(), 34);
        for left in points.iter().filter(|p| !p.name.ends_with('\'')) {
            let name = format!("{}'", left.name);
            let right = points.iter().find(|p| p.name == name).expect("a pair");
            assert!(left.position.y < 0.0 && right.position.y > 0.0, "{name}");
            let mirrored = Vector3::new(right.position.x, -right.position.y, right.position.z);
            assert!(
                (left.position - mirrored).norm() <= 8.0,
                "{name} is far from its pair"
            );
        }
    }

    #[test]
    fn every_line_has_the_header_s_columns_and_the_limit() {
        assert_eq!(
            SHEET_CSV.lines().next(),
            Some("point,side,what,x,y,z,limit,member,zone")
        );
        for line in SHEET_CSV.lines().skip(1) {
            let after_what = line.rsplit(',').take(6).collect::<Vec<_>>();
            assert_eq!(after_what[2], "3", "{line}");
            assert!(
                ["front", "middle", "rear"].contains(&after_what[0]),
                "{line}"
            );
        }
    }

    #[test]
    fn named_points_are_on_the_sheet() {
        let names: Vec<&str> = control_points().iter().map(|p| p.name).collect();
        for name in REFERENCE_POINTS.iter().chain(&NEW_SECTION) {
            assert!(names.contains(name), "{name}");
        }
    }

    #[test]
    fn the_proportions_are_a_small_van_s() {
        let points = control_points();
        let at = |name: &str| {
            points
                .iter()
                .find(|p| p.name == name)
                .expect("on the sheet")
                .position
        };
        assert!((3500.0..3600.0).contains(&at("R6").x));
        assert!(at("R3").x < JOINT_X_MM && JOINT_X_MM < at("R4").x);
    }
}
