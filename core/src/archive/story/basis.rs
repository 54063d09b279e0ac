//! What a survey rests on besides its readings, in words: how good they are, and what was done with
//! them before the set-up was found.

use datumtrail_geometry::join::Joint;
use datumtrail_geometry::repeat::Repeat;
use datumtrail_geometry::temperature::Material;
use serde::Serialize;

use crate::archive::words;
use crate::job::gather::{self, AtTwenty, Gathered};
use crate::job::record::{self, RecordId};
use crate::job::view::{Entry, JobView};

/// A further set-up that was joined to a survey.
#[derive(Clone, Debug, Serialize)]
pub struct SetUpStory {
    pub id: RecordId,
    pub at: String,
    pub author: String,
    pub instrument: Option<String>,
    /// What is known of the uncertainty of its readings, in words.
    pub uncertainty: String,
    /// Readings that count.
    pub readings: usize,
    pub file: Option<String>,
}

/// The set-ups that joined a survey, in the order in which they were made.
pub(super) fn set_ups(view: &JobView, survey: &Entry<record::Survey>) -> Vec<SetUpStory> {
    view.joined_to(&survey.id)
        .map(|set_up| SetUpStory {
            id: set_up.id.clone(),
            at: set_up.stamp.at.clone(),
            author: view.author(&set_up.stamp),
            instrument: set_up.body.instrument.clone(),
            uncertainty: uncertainty(view, set_up),
            readings: view.readings_of(&set_up.id).count(),
            file: set_up.body.file.clone(),
        })
        .collect()
}

/// How far an undamaged vehicle may itself be from the sheet, and who says so.
pub(super) fn build_spread(survey: &record::Survey) -> Option<String> {
    let mm = survey.build_spread_mm?;
    let source = survey.build_spread_source.as_deref().unwrap_or("no source");
    Some(format!("{} mm ({source})", words::stated(mm)))
}

/// What was stated about the readings' uncertainty: the instrument, what seating adds, and how much
/// of it repeats tell; a phrase without a full stop.
pub(super) fn uncertainty(view: &JobView, survey: &Entry<record::Survey>) -> String {
    let body = &survey.body;
    let own = view.readings_of(&survey.id).filter(|r| r.body.u.is_some());
    let own = own.count();
    let mut parts = Vec::new();
    match (general(body), own) {
        (Some(general), 0) => parts.push(general),
        (Some(general), n) => {
            parts.push(general);
            let readings = words::count(n, "reading", "readings");
            parts.push(format!("{readings} with their own"));
        }
        (None, 0) => return "uncertainty not stated: deviations are compared plainly".into(),
        (None, _) => {
            parts.push("uncertainty as stated with each reading".into());
            parts.extend(body.seating_mm.map(|mm| {
                let mm = words::stated(mm);
                format!("{mm} mm for seating and adapters added")
            }));
        }
    }
    parts.extend(body.repeatability_mm.map(|mm| {
        let mm = words::stated(mm);
        format!("of this {mm} mm differs from one reading of a point to the next")
    }));
    parts.join("; ")
}

/// What the survey states for all its readings.
fn general(survey: &record::Survey) -> Option<String> {
    let all = gather::general_u(survey)?;
    let (mut said, derived) = match (survey.u_mm, survey.mpe_mm) {
        (Some(u), _) => {
            let u = words::stated(u);
            let said = format!("standard uncertainty {u} mm on each axis, as stated");
            (said, false)
        }
        (None, bound) => {
            let place = match survey.mpe_in_space {
                true => "in space, in any direction,",
                false => "on each axis",
            };
            let bound = words::stated(bound?);
            (
                format!("errors of up to {bound} mm {place} as stated"),
                true,
            )
        }
    };
    if let Some(seating) = survey.seating_mm {
        let seating = words::stated(seating);
        said += &format!(
            "; with {seating} mm for seating and adapters a standard uncertainty of {all:.2} mm on \
             each axis"
        );
    } else if derived {
        said += &format!(", hence a standard uncertainty of {all:.2} mm on each axis");
    }
    Some(said)
}

/// What was done with the readings before the set-up was found, each a sentence.
pub(super) fn gathered(gathered: &Gathered, several: bool) -> Vec<String> {
    let mut said = at_twenty(&gathered.corrected_to_20, several);
    said.extend(gathered.joints.iter().map(joint));
    said.extend(repeats(&gathered.repeats));
    said
}

/// One sentence for all set-ups of one temperature.
fn at_twenty(all: &[AtTwenty], several: bool) -> Vec<String> {
    let same = |a: &AtTwenty, b: &AtTwenty| a.temperature == b.temperature;
    let said = all.chunk_by(same).filter_map(|group| {
        let stated = group.first()?.temperature;
        let material = match stated.material {
            Material::Steel => "steel, 12 millionths of a length for each degree",
            Material::Aluminium => "aluminium, 23 millionths of a length for each degree",
        };
        let set_ups: Vec<&str> = group.iter().map(|at| at.survey.short()).collect();
        let whose = match several {
            true => format!("The readings of {}", words::list(&set_ups)),
            false => "The readings".to_owned(),
        };
        let celsius = words::stated(stated.celsius);
        Some(format!(
            "{whose} were brought from {celsius} to 20 °C, as stated: {material}."
        ))
    });
    said.collect()
}

fn joint(joint: &Joint) -> String {
    let mut said = format!(
        "The {} was joined through {}, which agree to {:.2} mm (root mean square).",
        joint.part,
        words::list(&joint.shared),
        joint.rms_mm
    );
    if !joint.moved.is_empty() {
        let (were, their) = match joint.moved.as_slice() {
            [_] => ("was", "its"),
            _ => ("were", "their"),
        };
        said += &format!(
            " {} {were} in another place the second time and left out; {their} first reading \
             stands.",
            words::list(&joint.moved)
        );
    }
    if !joint.settled {
        said += " The shared points disagree and nothing explains it: nothing is called inside.";
    }
    said
}

fn repeats(repeats: &[Repeat]) -> Vec<String> {
    if repeats.is_empty() {
        return Vec::new();
    }
    let points: Vec<String> = repeats
        .iter()
        .map(|r| {
            format!(
                "{} {} times (at most {:.2} mm from the mean)",
                r.point, r.readings, r.farthest_mm
            )
        })
        .collect();
    let mut said = vec![format!(
        "Read more than once and averaged: {}.",
        words::list(&points)
    )];
    let failed = repeats.iter().filter(|r| r.failed);
    said.extend(failed.map(|r| {
        format!(
            "The repeats of {} scatter more than the uncertainty allows: the point was not hit \
             alike, or the instrument moved. Their scatter is added to its uncertainty.",
            r.point
        )
    }));
    said
}
