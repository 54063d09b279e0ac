//! Cameras' clocks, and what people say about photos.

use datumtrail_photo::timecode;
use jiff::SignedDuration;

use super::folder::{written, zone_of};
use super::job::{Job, parse_time};
use super::photos::Taking;
use crate::error::{Error, Result};
use crate::job::record::{self, RecordId};
use crate::job::view::{self, JobView};

/// What is known about a camera's clock.
#[derive(Clone, Debug)]
pub enum ClockNote {
    /// What has to be added to the camera's time.
    Offset(SignedDuration),
    /// The true time at which a photo was taken.
    PhotoWas { photo: String, was: String },
}

impl Job<'_> {
    /// Says to which stage a photo belongs. This wins over its time.
    pub async fn tie_photo(&self, photo: &str, stage: &str) -> Result<RecordId> {
        let all = self.view()?;
        let plan = self.plan(&all)?;
        let stage = plan.stage(stage)?.key.clone();
        let photo = view::find(&all.photos, photo)?.id.clone();
        self.add(record::Tie { photo, stage }).await
    }

    /// Says what a camera's clock showed at a known moment.
    ///
    /// `u_s` is the standard uncertainty of that in seconds.
    pub async fn set_clock(&self, camera: &str, note: ClockNote, u_s: f64) -> Result<RecordId> {
        if !(u_s.is_finite() && (0.0..=86_400.0).contains(&u_s)) {
            return Err(Error::invalid(
                format!("{u_s} is no uncertainty in seconds"),
                "give seconds between 0 and 86400",
            ));
        }
        let all = self.view()?;
        let zone = zone_of(&all);
        let camera = pick_camera(&all, camera)?;
        let instant = |photo: &record::Photo| -> Result<jiff::Timestamp> {
            use datumtrail_photo::time::Taken;
            match photo.taken.map(|t| t.resolve(&zone)) {
                Some(Taken::Exact { at, .. } | Taken::Assumed { at, .. }) => Ok(at),
                _ => Err(Error::invalid(
                    format!(
                        "{} has no time of its own that could be compared",
                        photo.name
                    ),
                    "take another photo of the same camera",
                )),
            }
        };
        let (showed, was, how, photo) = match note {
            ClockNote::Offset(offset) => {
                let newest = all
                    .photos
                    .iter()
                    .filter(|p| p.stands() && p.body.camera == camera)
                    .filter_map(|p| instant(&p.body).ok())
                    .max()
                    .unwrap_or_else(|| self.shop.now());
                let was = newest.checked_add(offset).map_err(|_| {
                    Error::invalid("that offset leaves the calendar", "give a smaller one")
                })?;
                (
                    newest,
                    was,
                    "an offset that a person stated".to_owned(),
                    None,
                )
            }
            ClockNote::PhotoWas { photo, was } => {
                let entry = view::find(&all.photos, &photo)?;
                if entry.body.camera != camera {
                    return Err(Error::invalid(
                        format!("{} was taken by {}", entry.body.name, entry.body.camera),
                        "name that camera, or another photo",
                    ));
                }
                let showed = instant(&entry.body)?;
                let was = parse_time(&was, &zone)?;
                let how = format!("{} shows the true time, read by a person", entry.body.name);
                (showed, was, how, Some(entry.id.clone()))
            }
        };
        self.add(record::ClockPoint {
            camera,
            showed: written(showed, &zone),
            was: written(was, &zone),
            u_s,
            how,
            photo,
        })
        .await
    }

    /// Looks for a time code in a photo with all patience, and sets its camera's clock by it.
    ///
    /// # Errors
    /// [`Error::Invalid`] where none is found, or the photo has no time of its own.
    pub async fn set_clock_by_code(&self, photo: &str) -> Result<(RecordId, SignedDuration)> {
        let all = self.view()?;
        let entry = view::find(&all.photos, photo)?;
        let bytes = self.photo_bytes(&entry.body.blob).await?;
        let search = tokio::task::spawn_blocking(move || timecode::find(&bytes));
        let found = search.await.map_err(|e| Error::Internal(e.to_string()))?;
        let name = &entry.body.name;
        let found = found
            .map_err(|e| Error::invalid(format!("{name}: {e}"), "photograph the code again"))?
            .ok_or_else(|| {
                Error::invalid(
                    format!("no time code is found in {name}"),
                    "photograph the code larger and straight, or say the true time with --was",
                )
            })?;
        let taking = Taking {
            stage: None,
            camera: None,
            zone: zone_of(&all),
        };
        let (point, off) = taking
            .clock_point(&found.code, &entry.body, &entry.id)
            .map_err(|e| Error::invalid(format!("{name}: {e}"), "say the true time with --was"))?;
        Ok((self.add(point).await?, off))
    }

    /// Covers a part of a photo in whatever leaves the shop. The original stays as it is.
    pub async fn cover_photo(
        &self,
        photo: &str,
        [x, y, width, height]: [u32; 4],
    ) -> Result<RecordId> {
        let all = self.view()?;
        let entry = view::find(&all.photos, photo)?;
        if width == 0 || height == 0 {
            return Err(Error::invalid(
                "that rectangle covers nothing",
                "give x,y,width,height in pixels of the upright picture",
            ));
        }
        if entry.body.preview.is_none() {
            return Err(Error::invalid(
                format!(
                    "{} can't be covered: its picture can't be decoded",
                    entry.body.name
                ),
                "withdraw it, or leave it out of the export",
            ));
        }
        let photo = entry.id.clone();
        self.add(record::Cover {
            photo,
            x,
            y,
            width,
            height,
        })
        .await
    }

    /// Says that a photo shows how a reading was taken: by the reading's identity, or the point's
    /// name for its newest reading.
    pub async fn picture_of(&self, photo: &str, reading: &str) -> Result<RecordId> {
        let all = self.view()?;
        let photo = view::find(&all.photos, photo)?.id.clone();
        let by_point = all
            .readings
            .iter()
            .rev()
            .find(|r| r.stands() && r.body.point == reading);
        let reading = match by_point {
            Some(found) => found.id.clone(),
            None => view::find(&all.readings, reading)?.id.clone(),
        };
        self.add(record::Picture { photo, reading }).await
    }
}

/// The camera that a person means by its name or a part of it.
fn pick_camera(view: &JobView, typed: &str) -> Result<String> {
    let mut cameras: Vec<&str> = view.photos.iter().map(|p| p.body.camera.as_str()).collect();
    cameras.sort_unstable();
    cameras.dedup();
    if cameras.contains(&typed) {
        return Ok(typed.to_owned());
    }
    let wanted = typed.to_lowercase();
    let fits: Vec<&&str> = cameras
        .iter()
        .filter(|c| !wanted.is_empty() && c.to_lowercase().contains(&wanted))
        .collect();
    match fits.as_slice() {
        [one] => Ok((**one).to_owned()),
        [] => Err(Error::Unknown {
            kind: "camera",
            name: typed.to_owned(),
            todo: if cameras.is_empty() {
                "no photos are in the job yet".into()
            } else {
                format!("the job has photos from {}", cameras.join("; "))
            },
        }),
        _ => Err(Error::invalid(
            format!("«{typed}» fits several cameras"),
            format!("say which: {}", cameras.join("; ")),
        )),
    }
}
