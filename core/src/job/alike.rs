//! Photos that belong together: shots that came twice, bursts, and photos taken while a reading
//! was. Derived each time; nothing is deleted and nothing is decided here.

use std::collections::HashMap;

use datumtrail_photo::alike::{self, PictureHash, Shot};
use datumtrail_photo::camera::UNNAMED;
use jiff::Timestamp;
use serde::Serialize;

use super::record::{Photo, RecordId};
use super::stage;
use super::tie::Ties;
use super::view::{Entry, JobView};

/// A photo within this many seconds of a reading is offered as its picture: a technician reads a
/// point and photographs it in one go (common practice).
pub const AT_A_READING_S: f64 = 60.0;

/// What belongs together.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Together {
    /// The same shot encoded again, by a messenger for example: each copy's original.
    pub copy_of: HashMap<RecordId, RecordId>,
    /// Bursts, each in the order in which it was taken.
    pub bursts: Vec<Vec<RecordId>>,
    /// Readings that were taken within [`AT_A_READING_S`] of a photo, the nearest first, and those
    /// that a person named.
    pub readings: HashMap<RecordId, Vec<AtReading>>,
}

/// A reading that a photo may show.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct AtReading {
    pub reading: RecordId,
    pub point: String,
    /// None where one of the two has no time.
    pub seconds_apart: Option<f64>,
    /// A person said that the photo shows it.
    pub decided: bool,
}

impl Together {
    /// Finds them among the photos that count.
    pub fn find(view: &JobView, ties: &Ties) -> Self {
        let photos: Vec<&Entry<Photo>> = view.photos.iter().filter(|p| p.stands()).collect();
        let hashed: Vec<(&Entry<Photo>, PictureHash)> = photos
            .iter()
            .filter_map(|p| Some((*p, PictureHash::from_hex(p.body.hash.as_deref()?)?)))
            .collect();
        let shots: Vec<Shot<'_>> = hashed.iter().map(|(p, hash)| shot(p, *hash)).collect();
        let id = |index: usize| hashed.get(index).map(|(p, _)| p.id.clone());
        let mut copy_of = HashMap::new();
        for group in alike::copies(&shots) {
            let Some(original) = id(group.original) else {
                continue;
            };
            for copy in group.copies.into_iter().filter_map(id) {
                copy_of.insert(copy, original.clone());
            }
        }
        let bursts = alike::bursts(&shots)
            .into_iter()
            .map(|run| run.into_iter().filter_map(id).collect())
            .collect();
        Self {
            copy_of,
            bursts,
            readings: readings(view, &photos, ties),
        }
    }

    /// The first photo of the burst that a photo follows in; none for the first itself.
    pub fn folds_into(&self, photo: &RecordId) -> Option<&RecordId> {
        let burst = self.bursts.iter().find(|run| run.contains(photo))?;
        burst.first().filter(|first| *first != photo)
    }

    /// How many photos fold into this one.
    pub fn folded(&self, photo: &RecordId) -> usize {
        let burst = self.bursts.iter().find(|run| run.first() == Some(photo));
        burst.map_or(0, |run| run.len() - 1)
    }
}

fn shot(photo: &Entry<Photo>, hash: PictureHash) -> Shot<'_> {
    let [width, height] = photo.body.size.unwrap_or_default();
    Shot {
        hash,
        pixels: u64::from(width) * u64::from(height),
        bytes: photo.body.bytes,
        // A file that says nothing about its camera contradicts none.
        camera: Some(photo.body.camera.as_str()).filter(|name| *name != UNNAMED),
        taken: photo.body.taken,
        burst: photo.body.burst.as_deref(),
    }
}

fn readings(
    view: &JobView,
    photos: &[&Entry<Photo>],
    ties: &Ties,
) -> HashMap<RecordId, Vec<AtReading>> {
    let timed: HashMap<&RecordId, Timestamp> = view
        .readings
        .iter()
        .filter_map(|r| Some((&r.id, stage::instant(r.body.time.as_deref()?)?)))
        .collect();
    let mut found = HashMap::new();
    for photo in photos {
        let decided: Vec<&RecordId> = view
            .pictures
            .iter()
            .filter(|p| p.stands() && p.body.photo == photo.id)
            .map(|p| &p.body.reading)
            .collect();
        let at = ties.of(&photo.id).and_then(|t| t.moment()).map(|m| m.at);
        let mut near: Vec<AtReading> = view
            .readings
            .iter()
            .filter_map(|r| {
                let time = timed.get(&r.id).copied();
                let apart = time
                    .zip(at)
                    .map(|(a, b)| a.duration_since(b).as_secs_f64().abs());
                let decided = decided.contains(&&r.id);
                let offered = r.stands() && apart.is_some_and(|s| s <= AT_A_READING_S);
                (decided || offered).then(|| AtReading {
                    reading: r.id.clone(),
                    point: r.body.point.clone(),
                    seconds_apart: apart,
                    decided,
                })
            })
            .collect();
        near.sort_by(|a, b| {
            let apart = |r: &AtReading| r.seconds_apart.unwrap_or(f64::INFINITY);
            (b.decided.cmp(&a.decided)).then(apart(a).total_cmp(&apart(b)))
        });
        if !near.is_empty() {
            found.insert(photo.id.clone(), near);
        }
    }
    found
}
