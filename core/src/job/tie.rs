//! Which stage each photo belongs to: derived each time from the photo's own time, what is known
//! about its camera's clock, the stages' times, and what people decided.

use std::collections::{BTreeMap, HashMap};

use datumtrail_photo::clock::{Clock, Moment, SyncPoint, TrueTime};
use datumtrail_photo::gps::{self, GpsCheck};
use datumtrail_photo::numbering::{Numbered, infer_from_numbering};
use datumtrail_photo::tie::{Decision, Tie, UNCHECKED_CLOCK_U_S, tie};
use datumtrail_photo::time::Taken;
use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use serde::Serialize;

use super::record::{Photo, RecordId};
use super::stage::{self, StageState};
use super::view::{Entry, JobView};

/// A photo's time and stage.
#[derive(Clone, Debug, Serialize)]
pub struct PhotoTie {
    pub photo: RecordId,
    /// The camera's time before correction.
    pub taken: Option<Taken>,
    pub time: TrueTime,
    pub tie: Tie,
}

impl PhotoTie {
    /// The best single estimate of when it was taken, with its uncertainty.
    pub fn moment(&self) -> Option<&Moment> {
        match &self.time {
            TrueTime::At(moment) | TrueTime::Inferred { moment, .. } => Some(moment),
            TrueTime::Either { earlier, .. } => Some(earlier),
            TrueTime::Unknown => None,
        }
    }

    /// What the satellites' time in the file says about the corrected time; none where the file
    /// lacks one of the two. A cross-check: no tie rests on it.
    pub fn gps_check(&self, photo: &Photo) -> Option<GpsCheck> {
        let (TrueTime::At(moment), Some(fix)) = (&self.time, photo.gps_time) else {
            return None;
        };
        Some(gps::check(moment, fix, UNCHECKED_CLOCK_U_S))
    }

    /// Where the satellites' time contradicts the corrected one, and nobody has decided about the
    /// photo: how, and what would mend it, in words.
    pub fn gps_doubt(&self, photo: &Photo) -> Option<String> {
        let Some(GpsCheck::BeforeFix { by_s }) = self.gps_check(photo) else {
            return None;
        };
        if matches!(self.tie, Tie::Decided(_)) {
            return None;
        }
        let by = SignedDuration::from_secs(by_s.round() as i64);
        let mut words = format!(
            "its satellites' time is {by:#} later than its corrected time, so its clock or time \
             zone is wrong"
        );
        if let (Some(Taken::Assumed { .. }), Some(taken), Some(fix)) =
            (&self.taken, photo.taken, photo.gps_time)
            && let Some(offset) = gps::fitting_offset(taken.civil, fix, UNCHECKED_CLOCK_U_S)
        {
            words += &format!("; with the offset {offset} from UTC the two agree");
        }
        Some(words)
    }

    /// Where the time comes from, in words.
    pub fn source_words(&self, photo: &Photo) -> String {
        match (&self.time, &self.taken, &photo.taken) {
            (
                TrueTime::Inferred {
                    after_file,
                    before_file,
                    ..
                },
                _,
                _,
            ) => {
                format!("inferred from the numbering, between {after_file} and {before_file}")
            }
            (TrueTime::Unknown, _, _) => photo
                .no_time
                .clone()
                .unwrap_or_else(|| "the file has no time".into()),
            (_, taken, Some(camera)) => {
                let mut words = camera.source.to_string();
                match taken {
                    Some(Taken::Assumed { zone, .. }) => {
                        words += &format!(", time zone assumed ({zone})");
                    }
                    Some(Taken::Ambiguous { .. }) => words += ", ambiguous: daylight saving",
                    _ => {}
                }
                if self.moment().is_some_and(|m| m.u_s.is_some()) {
                    words += ", clock corrected";
                }
                words
            }
            _ => "the file has no time".into(),
        }
    }
}

/// The ties of all photos of a job that count.
#[derive(Clone, Debug, Default)]
pub struct Ties {
    all: BTreeMap<RecordId, PhotoTie>,
}

impl Ties {
    /// Ties every photo.
    pub fn new(view: &JobView, stages: &[StageState]) -> Self {
        let zone = zone_of(view);
        let clocks = clocks(view);
        let spans = stage::for_ties(stages);
        let decisions = decisions(view);
        let photos: Vec<&Entry<Photo>> = view.photos.iter().filter(|p| p.stands()).collect();
        let mut times: Vec<(Option<Taken>, TrueTime)> = photos
            .iter()
            .map(|photo| {
                let taken = photo.body.taken.map(|t| t.resolve(&zone));
                let time = match (&taken, clocks.get(photo.body.camera.as_str())) {
                    (None, _) => TrueTime::Unknown,
                    (Some(taken), Some(clock)) => clock.apply(taken),
                    (Some(taken), None) => Clock::unchecked().apply(taken),
                };
                (taken, time)
            })
            .collect();
        infer(&photos, &mut times);
        let all = photos
            .iter()
            .zip(times)
            .map(|(photo, (taken, time))| {
                let tie = tie(&time, &spans, decisions.get(&photo.id), UNCHECKED_CLOCK_U_S);
                let tied = PhotoTie {
                    photo: photo.id.clone(),
                    taken,
                    time,
                    tie,
                };
                (photo.id.clone(), tied)
            })
            .collect();
        Self { all }
    }

    /// The tie of a photo that counts.
    pub fn of(&self, photo: &RecordId) -> Option<&PhotoTie> {
        self.all.get(photo)
    }

    /// Photos that certainly belong to a stage, by their times.
    pub fn certain_in<'a>(&'a self, stage: &'a str) -> impl Iterator<Item = &'a PhotoTie> {
        self.all
            .values()
            .filter(move |t| t.tie.stage() == Some(stage))
    }

    /// Photos that may belong to a stage, and that a person should decide.
    pub fn offered_in<'a>(&'a self, stage: &'a str) -> impl Iterator<Item = &'a PhotoTie> {
        self.all
            .values()
            .filter(move |t| t.tie.is_doubtful() && t.tie.offered() == Some(stage))
    }

    /// All, in the order in which the photos were taken in.
    pub fn iter(&self) -> impl Iterator<Item = &PhotoTie> {
        self.all.values()
    }
}

/// The job's time zone; UTC where it names none that is known.
pub fn zone_of(view: &JobView) -> TimeZone {
    view.zone
        .value
        .as_deref()
        .and_then(|name| TimeZone::get(name).ok())
        .unwrap_or(TimeZone::UTC)
}

/// What is known about each camera's clock.
fn clocks(view: &JobView) -> HashMap<&str, Clock> {
    let mut points: HashMap<&str, Vec<SyncPoint>> = HashMap::new();
    for entry in view.clocks.iter().filter(|c| c.stands()) {
        let c = &entry.body;
        if let (Some(camera), Some(truth)) = (stage::instant(&c.showed), stage::instant(&c.was)) {
            points.entry(&c.camera).or_default().push(SyncPoint {
                camera,
                truth,
                u_s: c.u_s,
            });
        }
    }
    points
        .into_iter()
        .filter_map(|(camera, mut points)| {
            // Should two points contradict each other, the newest ones that agree count.
            while !points.is_empty() {
                match Clock::new(points.clone()) {
                    Ok(clock) => return Some((camera, clock)),
                    Err(_) => drop(points.remove(0)),
                }
            }
            None
        })
        .collect()
}

fn decisions(view: &JobView) -> HashMap<RecordId, Decision> {
    // In the order of their identities, so that the latest word stands.
    view.ties
        .iter()
        .filter(|t| t.stands())
        .map(|t| {
            let decision = Decision {
                stage: t.body.stage.clone(),
                by: view.author(&t.stamp),
                at: stage::instant(&t.stamp.at).unwrap_or(Timestamp::UNIX_EPOCH),
            };
            (t.body.photo.clone(), decision)
        })
        .collect()
}

/// Photos without a time, from their neighbours in the same camera's numbering.
fn infer(photos: &[&Entry<Photo>], times: &mut [(Option<Taken>, TrueTime)]) {
    if times
        .iter()
        .all(|(_, time)| !matches!(time, TrueTime::Unknown))
    {
        return;
    }
    let numbered: Vec<Numbered<'_>> = photos
        .iter()
        .zip(times.iter())
        .map(|(photo, (_, time))| Numbered {
            name: &photo.body.name,
            taken: match time {
                TrueTime::At(moment) => Some(*moment),
                _ => None,
            },
        })
        .collect();
    let inferred = infer_from_numbering(&numbered, UNCHECKED_CLOCK_U_S);
    for ((_, time), inference) in times.iter_mut().zip(inferred) {
        if matches!(time, TrueTime::Unknown) {
            *time = inference.true_time();
        }
    }
}
