//! The measurements of the job: two set-ups as found, a move, a survey of the fit, distances.

use datumtrail_geometry::blunder::Blunder;
use datumtrail_geometry::correct::Allowed;
use datumtrail_geometry::frame::Axis;
use datumtrail_geometry::temperature::Material;
use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};

use super::{Bench, SHEET};
use crate::error::Result;
use crate::job::record::{Temperature, TramKind};
use crate::shop::{Again, Job, NewReading, NewSheet, NewSurvey, NewTram};

const REFERENCES: [&str; 8] = ["A", "A'", "B", "B'", "C", "C'", "D", "D'"];
/// The rail's end, left: where the new part is.
const PART: [&str; 2] = ["R", "E"];
/// How far the part was displaced as found, and how far it was left after the move.
pub const DISPLACED: [f64; 3] = [-21.0, 6.0, -4.0];
const LEFT_OVER: [f64; 3] = [-0.4, 0.2, 0.3];

/// Distances beside the positions. The second width is wrong: the positions make it 1200.
pub const DISTANCES: &str = "kind,a,a_side,b,b_side,value\n\
    width,A,left,A',right,800\n\
    width,B,left,B',right,1210\n\
    true,R,left,E',right,1031.2\n\
    level,R,left,E,left,400\n";

/// A stand of the instrument, and the structure's temperature while it was read from there.
#[derive(Clone, Copy)]
struct Stand {
    turn: [f64; 3],
    at: [f64; 3],
    celsius: f64,
}

const FIRST: Stand = Stand {
    turn: [0.4, -0.3, 1.9],
    at: [1830.0, -2412.0, 655.0],
    celsius: 20.0,
};
/// The same, on a hot day.
const HOT: Stand = Stand {
    celsius: 31.0,
    ..FIRST
};
const SECOND: Stand = Stand {
    turn: [-0.1, 0.2, -0.8],
    at: [-900.0, 3100.0, 410.0],
    celsius: 31.0,
};

impl Bench {
    /// Distances, loaded beside the positions.
    pub(super) async fn more_of_the_sheet(&self, job: &Job<'_>) -> Result<()> {
        job.load_sheet(NewSheet {
            file: "pannier-distances.csv".into(),
            bytes: DISTANCES.as_bytes().to_vec(),
            source: "invented manual, section 6".into(),
            limit_mm: Some(3.0),
            limit_source: Some("invented manual, section 2".into()),
            add: true,
            ..NewSheet::default()
        })
        .await?;
        Ok(())
    }

    /// Two set-ups on a hot day, a repeat, a slip put right, and the move that was decided.
    pub(super) async fn as_found(&self, job: &Job<'_>) -> Result<()> {
        let all: Vec<&str> = names().collect();
        let hot = Temperature {
            material: Material::Steel,
            celsius: HOT.celsius,
        };
        let survey = NewSurvey {
            stage: "as-found-survey".into(),
            refs: REFERENCES.map(String::from).to_vec(),
            instrument: Some("invented arm".into()),
            u_mm: Some(0.4),
            seating_mm: Some(0.2),
            repeatability_mm: Some(0.2),
            temperature: Some(hot),
            file: Some("readings.csv".into()),
            bytes: Some(file(&all, DISPLACED, HOT)),
            ..NewSurvey::default()
        };
        let base = job.add_survey(survey).await?.id;
        self.now(9, 10);
        let shared = ["B", "B'", "D", "D'", "R'", "E'", "R", "E"];
        let further = NewSurvey {
            stage: "as-found-survey".into(),
            joins: Some(base.0.clone()),
            instrument: Some("invented tripod".into()),
            mpe_mm: Some(0.6),
            mpe_in_space: true,
            temperature: Some(hot),
            file: Some("from the rear.csv".into()),
            bytes: Some(file(&shared, DISPLACED, SECOND)),
            ..NewSurvey::default()
        };
        job.add_survey(further).await?;
        self.now(9, 20);
        let again = |point: &str, again, by: f64| {
            let [x, y, z] = reading(point, moved(point, DISPLACED), HOT);
            NewReading {
                survey: Some(base.0.clone()),
                point: point.into(),
                position: [x + by, y, z],
                again,
                ..NewReading::default()
            }
        };
        job.add_reading(again("A", Again::Correct, 0.0)).await?;
        job.add_reading(again("R'", Again::Repeat, 0.1)).await?;
        self.now(9, 25);
        let slide = Allowed::slide_along(Axis::Length);
        let (measured, planned) = job.plan_move(Some(&base.0), &[], &slide).await?;
        job.decide_move(&measured, &planned).await?;
        Ok(())
    }

    /// The part in place; two labels were swapped, and put right.
    pub(super) async fn fit(&self, job: &Job<'_>) -> Result<()> {
        let all: Vec<&str> = names().collect();
        let text = String::from_utf8(file(&all, LEFT_OVER, FIRST)).unwrap_or_default();
        let swapped = text
            .replace("R',", "?,")
            .replace("E',", "R',")
            .replace("?,", "E',");
        let survey = NewSurvey {
            stage: "fit-survey".into(),
            refs: REFERENCES.map(String::from).to_vec(),
            instrument: Some("invented arm".into()),
            u_mm: Some(0.4),
            file: Some("readings.csv".into()),
            bytes: Some(swapped.into_bytes()),
            ..NewSurvey::default()
        };
        let id = job.add_survey(survey).await?.id;
        let swap = Blunder::LabelsSwapped {
            a: "R'".into(),
            b: "E'".into(),
        };
        job.correct_survey(Some(&id.0), &swap).await?;
        Ok(())
    }

    /// Distances by hand: one is true where it was said to be level.
    pub(super) async fn trams(&self, job: &Job<'_>) -> Result<()> {
        let tram = |kind, a: &str, b: Option<&str>, value| NewTram {
            stage: None,
            kind,
            a: a.into(),
            b: b.map(String::from),
            value,
            units: "mm".into(),
            u_mm: Some(0.6),
            instrument: Some("invented tram gauge".into()),
            replaces: None,
        };
        let between = |a: &str, b: &str| {
            let (a, b) = (on_sheet(a), on_sheet(b));
            (a - b).norm()
        };
        let (wrong, _) = job
            .add_tram(tram(TramKind::True, "R", Some("E'"), 1057.0))
            .await?;
        let corrected = NewTram {
            replaces: Some(wrong.0),
            ..tram(TramKind::True, "R", Some("E'"), 1032.0)
        };
        job.add_tram(corrected).await?;
        let true_length = between("A", "E");
        let said_level = tram(TramKind::Level, "A", Some("E"), true_length);
        job.add_tram(said_level).await?;
        let (one, other) = (between("D", "E'"), between("D'", "E"));
        job.add_tram(tram(TramKind::True, "D", Some("E'"), one + 5.2))
            .await?;
        job.add_tram(tram(TramKind::True, "D'", Some("E"), other - 0.3))
            .await?;
        job.add_tram(tram(TramKind::Height, "E", None, 260.4))
            .await?;
        Ok(())
    }
}

/// The names of the sheet's points.
fn names() -> impl Iterator<Item = &'static str> {
    let lines = SHEET.lines().skip(1);
    lines.filter_map(|line| line.split(',').next())
}

fn moved(point: &str, part: [f64; 3]) -> [f64; 3] {
    if PART.contains(&point) {
        part
    } else {
        [0.0; 3]
    }
}

/// A file of readings of these points, the part displaced.
fn file(points: &[&str], part: [f64; 3], stand: Stand) -> Vec<u8> {
    let mut text = String::from("point,x,y,z\n");
    for point in points {
        let [x, y, z] = reading(point, moved(point, part), stand);
        text += &format!("{point},{x},{y},{z}\n");
    }
    text.into_bytes()
}

/// Where the sheet has a point.
fn on_sheet(name: &str) -> Point3<f64> {
    let line = SHEET.lines().find(|l| l.split(',').next() == Some(name));
    let numbers: Vec<f64> = line
        .unwrap()
        .rsplitn(4, ',')
        .take(3)
        .map(|n| n.parse().unwrap())
        .collect();
    Point3::new(numbers[2], numbers[1], numbers[0])
}

/// Where the instrument sees a point that is displaced from the sheet, in its own frame. The
/// structure is of steel (12e-6 per kelvin), and the instrument reads true lengths.
fn reading(name: &str, moved: [f64; 3], stand: Stand) -> [f64; 3] {
    let place = on_sheet(name) + Vector3::from(moved);
    let place = place * (1.0 + 12e-6 * (stand.celsius - 20.0));
    let [roll, pitch, yaw] = stand.turn;
    let turn = UnitQuaternion::from_euler_angles(roll, pitch, yaw);
    let [x, y, z] = stand.at;
    let seen = Isometry3::from_parts(Translation3::new(x, y, z), turn).transform_point(&place);
    // A little noise, the same every time.
    let noise = |k: f64| {
        ((name.len() as f64 * 3.7 + place.x * 0.01 + k).sin() * 0.2 * 100.0).round() / 100.0
    };
    [
        seen.x + noise(1.0),
        seen.y + noise(2.0),
        seen.z + noise(3.0),
    ]
}
