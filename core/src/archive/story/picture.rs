//! The photos in stage order: when each was taken, how that is known, and which stage it ties to.

use std::collections::HashMap;

use datumtrail_photo::tie::Tie;
use datumtrail_photo::time::{Taken, Why};
use jiff::tz::TimeZone;
use serde::Serialize;

use super::NoteStory;
use crate::archive::outgoing::Copy;
use crate::archive::words;
use crate::job::plan::Plan;
use crate::job::record::{self, RecordId};
use crate::job::tie::{PhotoTie, Ties};
use crate::job::view::{Entry, JobView, Withdrawn};
use crate::store::blobs::BlobId;

/// A photo.
#[derive(Clone, Debug, Serialize)]
pub struct PhotoStory {
    /// Its number in this archive, from 1, in stage order.
    pub number: usize,
    pub id: RecordId,
    /// The file's name as it came.
    pub name: String,
    /// BLAKE3 of its bytes.
    pub blob: BlobId,
    pub bytes: u64,
    pub media_type: String,
    pub camera: String,
    /// The stage, where it is settled.
    pub stage: Option<String>,
    pub stage_title: Option<String>,
    pub certainty: Certainty,
    /// How the stage is known, or why it is not: a sentence without a full stop.
    pub tie: String,
    /// The best estimate of the true time, RFC 3339.
    pub taken: Option<String>,
    /// Its standard uncertainty, seconds; `None` where nobody checked the camera's clock.
    pub taken_u_s: Option<f64>,
    /// Where the time comes from.
    pub time_source: String,
    /// What the camera's clock showed.
    pub camera_showed: Option<String>,
    /// What is known about the camera's clock, in words.
    pub clock: String,
    /// How the satellites' time contradicts the corrected one, where it does: a sentence without
    /// a full stop.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gps_doubt: Option<String>,
    /// The original carries a position.
    pub has_gps: bool,
    /// Notes about it.
    pub notes: Vec<RecordId>,
    /// The readings that it shows, as a person said: `R in Fit survey`.
    pub shows: Vec<String>,
    pub added: String,
    pub added_by: String,
    pub withdrawn: Option<Withdrawn>,
    /// The small copy's identity, and its width and height in pixels.
    pub preview_blob: Option<BlobId>,
    pub preview_size: Option<[u32; 2]>,
    /// Why there is none.
    pub no_preview: Option<String>,
    /// Where the original lies in the archive, below `data/`.
    pub file: Option<String>,
    /// Where the small copy does.
    pub preview: Option<String>,
    /// How the file in the archive differs from the original, where it does.
    pub copy: Option<Copy>,
    /// Why it is not in the archive.
    pub left_out: Option<String>,
}

/// A border nearer than this is mentioned, seconds.
const NEAR_S: f64 = 600.0;

/// How surely a photo belongs to its stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// A person said so.
    Decided,
    /// Its time leaves no doubt.
    Certain,
    /// From the camera's numbering.
    Inferred,
    /// Nobody has settled it.
    Doubtful,
}

pub(super) fn tell(
    view: &JobView,
    plan: &Plan,
    ties: &Ties,
    zone: &TimeZone,
    notes: &[NoteStory],
) -> Vec<PhotoStory> {
    let mut about: HashMap<&RecordId, Vec<RecordId>> = HashMap::new();
    for note in notes {
        if let Some(photo) = &note.photo {
            about.entry(photo).or_default().push(note.id.clone());
        }
    }
    let mut photos: Vec<PhotoStory> = view
        .photos
        .iter()
        .map(|photo| {
            let mut told = one(view, plan, photo, ties.of(&photo.id), zone);
            told.notes = about.remove(&photo.id).unwrap_or_default();
            told
        })
        .collect();
    photos.sort_by_cached_key(|photo| {
        let place = photo.stage.as_deref().and_then(|s| plan.place(s));
        (
            photo.withdrawn.is_some(),
            photo.stage.is_none(),
            place.unwrap_or(usize::MAX),
            photo.stage.clone(),
            photo.taken.is_none(),
            photo.taken.as_deref().and_then(crate::job::stage::instant),
            photo.id.clone(),
        )
    });
    for (index, photo) in photos.iter_mut().enumerate() {
        photo.number = index + 1;
    }
    photos
}

fn one(
    view: &JobView,
    plan: &Plan,
    photo: &Entry<record::Photo>,
    tied: Option<&PhotoTie>,
    zone: &TimeZone,
) -> PhotoStory {
    let body = &photo.body;
    let moment = tied.and_then(PhotoTie::moment);
    let stage = tied.and_then(|t| t.tie.stage()).map(str::to_owned);
    PhotoStory {
        number: 0,
        id: photo.id.clone(),
        name: body.name.clone(),
        blob: body.blob.clone(),
        bytes: body.bytes,
        media_type: body.media_type.clone(),
        camera: body.camera.clone(),
        stage_title: stage.as_deref().map(|s| plan.title_of(s).to_owned()),
        stage,
        certainty: tied.map_or(Certainty::Doubtful, |t| certainty(&t.tie)),
        tie: tied.map_or_else(|| "withdrawn".into(), |t| tie_words(&t.tie, plan)),
        taken: moment.map(|m| words::written(m.at, zone)),
        taken_u_s: moment.and_then(|m| m.u_s),
        time_source: tied.map_or_else(String::new, |t| t.source_words(body)),
        camera_showed: body.taken.map(|t| t.civil.to_string()),
        clock: tied.map_or_else(String::new, clock_words),
        gps_doubt: tied.and_then(|t| t.gps_doubt(body)),
        has_gps: body.has_gps,
        notes: Vec::new(),
        shows: shows(view, plan, &photo.id),
        added: photo.stamp.at.clone(),
        added_by: view.author(&photo.stamp),
        withdrawn: photo.withdrawn.clone(),
        preview_blob: body.preview.clone(),
        preview_size: body.preview_size,
        no_preview: body.no_preview.clone(),
        file: None,
        preview: None,
        copy: None,
        left_out: None,
    }
}

/// The readings that count and that a photo shows.
fn shows(view: &JobView, plan: &Plan, photo: &RecordId) -> Vec<String> {
    let of_photo = view.pictures.iter();
    let of_photo = of_photo.filter(|p| p.stands() && p.body.photo == *photo);
    of_photo
        .filter_map(|picture| {
            let shown = |r: &&Entry<record::Reading>| r.id == picture.body.reading && r.stands();
            let reading = view.readings.iter().find(shown)?;
            let survey = view.surveys.iter().find(|s| s.id == reading.body.survey)?;
            let title = plan.title_of(&survey.body.stage);
            Some(format!("{} in {title}", reading.body.point))
        })
        .collect()
}

fn certainty(tie: &Tie) -> Certainty {
    match tie {
        Tie::Decided(_) => Certainty::Decided,
        Tie::Certain { .. } => Certainty::Certain,
        Tie::Inferred { .. } => Certainty::Inferred,
        _ => Certainty::Doubtful,
    }
}

fn tie_words(tie: &Tie, plan: &Plan) -> String {
    let title = |stage: &str| plan.title_of(stage).to_owned();
    let or_none = |stage: &Option<String>| stage.as_deref().map_or("no stage".into(), title);
    match tie {
        Tie::Decided(decision) => format!("placed here by {}", decision.by),
        Tie::Certain {
            border_s: Some(s), ..
        } if *s < NEAR_S => format!(
            "by its time, {} from the nearest border",
            words::duration(*s)
        ),
        Tie::Certain { .. } => "by its time".into(),
        Tie::Inferred {
            after_file,
            before_file,
            ..
        } => format!(
            "it has no time: inferred from the numbering, between {after_file} and {before_file}"
        ),
        Tie::Borderline {
            earlier,
            later,
            likelier,
            border_s,
        } => format!(
            "its time is {} from the border between {} and {}, which its clock can't tell apart; \
             likelier {}",
            words::duration(*border_s),
            or_none(earlier),
            or_none(later),
            title(likelier)
        ),
        Tie::SeveralOpen { stages } => {
            let titles: Vec<String> = stages.iter().map(|s| title(s)).collect();
            format!("{} were open at its time", words::list(&titles))
        }
        Tie::NoneOpen {
            last_closed,
            next_opened,
        } => match (last_closed, next_opened) {
            (None, None) => "no stage was open at its time".into(),
            (Some(last), None) => format!("taken after {} was closed", title(last)),
            (None, Some(next)) => format!("taken before {} was opened", title(next)),
            (Some(last), Some(next)) => {
                format!(
                    "taken between {} and {}, when no stage was open",
                    title(last),
                    title(next)
                )
            }
        },
        Tie::Ambiguous {
            earlier,
            later,
            why,
        } => {
            let hour = match why {
                Why::Repeated => "which the clocks went through twice",
                Why::Skipped => "which the clocks left out",
            };
            format!(
                "taken in the hour {hour}: either {}, or {}",
                tie_words(earlier, plan),
                tie_words(later, plan)
            )
        }
        Tie::NoTime => "the file has no time".into(),
    }
}

fn clock_words(tied: &PhotoTie) -> String {
    let Some(moment) = tied.moment() else {
        return String::new();
    };
    let shown = match &tied.taken {
        Some(Taken::Exact { at, .. } | Taken::Assumed { at, .. }) => Some(*at),
        Some(Taken::Ambiguous { earlier, .. }) => Some(*earlier),
        Some(Taken::OutOfRange) | None => None,
    };
    match (shown, moment.u_s) {
        (Some(shown), Some(_)) => {
            words::correction(moment.at.duration_since(shown).as_secs_f64().round() as i64)
        }
        (Some(_), None) => "not checked".into(),
        (None, _) => String::new(),
    }
}
