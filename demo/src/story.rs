//! The story, played through the shop's one door: the same methods that the command line calls.
//!
//! Nothing here knows a result. The story hands over a sheet, raw readings, photographs and notes
//! at the times when they came about, asks the engine, and passes on what it answers.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use datumtrail_core::archive::ExportOptions;
use datumtrail_core::error::{Error, Result};
use datumtrail_core::geometry::correct::{Allowed, words};
use datumtrail_core::geometry::frame::Axis;
use datumtrail_core::job::measure::Measured;
use datumtrail_core::job::record::RecordId;
use datumtrail_core::job::stage;
use datumtrail_core::job::tie::Ties;
use datumtrail_core::shop::{
    ClockNote, Job, NewJob, NewNote, NewSheet, NewSupport, NewSurvey, PhotoOptions, PhotoResult,
    Shop, ShopOptions, ToldClock,
};
use jiff::Timestamp;

use crate::cameras::{DemoPhoto, POCKET, photos};
use crate::plan::{Note, StageTime, notes, stages, survey_time};
use crate::readings::{SEED, readings_csv};
use crate::truth::Survey;
use crate::vehicle::{self, people};

/// What happens, as it happens, for whoever shows it.
#[derive(Clone, Debug)]
pub enum Event {
    /// Some of the work is done: so many of so many steps.
    Step {
        done: usize,
        of: usize,
        what: String,
    },
    /// A stage was opened.
    Stage { title: String, time: Timestamp },
    /// Something worth telling.
    Say(String),
    /// The hold point refused, and why.
    Refused { stage: String, missing: Vec<String> },
}

/// What the story came to. All of it is what the engine answered.
#[derive(Clone, Debug)]
pub struct Ending {
    pub shop: PathBuf,
    pub archive: PathBuf,
    pub page: PathBuf,
    pub photos: usize,
    /// Photos that the pocket camera's wrong clock had put elsewhere or nowhere.
    pub photos_retied: usize,
    pub archive_bytes: u64,
    pub files_checked: usize,
    /// The new section's points through the surveys, for the summary.
    pub part: Vec<PartPoint>,
    pub refusals: usize,
}

/// One point of the new section: deviations in millimetres, by survey and axis.
#[derive(Clone, Debug)]
pub struct PartPoint {
    pub name: String,
    pub deviations: Vec<(Survey, [f64; 3])>,
    pub limit_mm: Option<f64>,
}

/// Plays the whole story in a new folder, which must be empty or not there.
///
/// # Errors
/// Whatever the shop says; and [`Error::Invalid`] if the folder is in use for something else.
pub async fn play(folder: &Path, mut tell: impl FnMut(Event)) -> Result<Ending> {
    if folder
        .read_dir()
        .is_ok_and(|mut entries| entries.next().is_some())
    {
        return Err(Error::Invalid {
            what: format!("the folder {} is not empty", folder.display()),
            todo: "name another with --out, or empty it".into(),
        });
    }
    let inbox = folder.join("pictures");
    let photos = photos();
    draw(&photos, &inbox, &mut tell).await?;

    let clock = Arc::new(ToldClock::at(crate::plan::at(12, 8, 0, 0, 0)));
    let options = ShopOptions {
        clock: clock.clone(),
        person: None,
        device_name: Some("front desk".into()),
    };
    let shop = Shop::open(&folder.join("shop"), options).await?;
    let mut teller = Teller {
        shop: &shop,
        job: set_up_job(&shop).await?,
        clock,
        inbox,
        photos: &photos,
        part: vehicle::NEW_SECTION
            .iter()
            .map(|name| PartPoint {
                name: (*name).to_owned(),
                deviations: Vec::new(),
                limit_mm: None,
            })
            .collect(),
        refusals: 0,
        photos_retied: 0,
        tell: &mut tell,
    };
    for stage in stages() {
        teller.stage(&stage).await?;
    }
    teller.support_the_estimate().await?;
    teller.seal().await?;
    let (part, refusals, photos_retied) = (teller.part, teller.refusals, teller.photos_retied);
    let job = teller.job;
    let tell = teller.tell;

    tell(Event::Say(
        "Writing the archive, and checking every byte of it.".into(),
    ));
    let archive = folder.join("pannier-left-rear.zip");
    let options = ExportOptions {
        organization: Some(vehicle::SHOP.into()),
        ..ExportOptions::default()
    };
    let summary = job.export(&archive, &options, |_, _| {}).await?;
    let report = datumtrail_core::archive::verify(&archive)?;
    if !report.is_whole() {
        return Err(Error::Internal(
            "the archive just written does not verify".into(),
        ));
    }
    // The same once more as a folder, so that the page opens with a click.
    let unpacked = folder.join("archive");
    job.export(&unpacked, &options, |_, _| {}).await?;
    let page = unpacked
        .join("data")
        .join(datumtrail_core::archive::file::TIMELINE);
    drop(job);
    shop.close().await;
    Ok(Ending {
        shop: folder.join("shop"),
        archive,
        page,
        photos: photos.len(),
        photos_retied,
        archive_bytes: summary.bytes,
        files_checked: usize::try_from(summary.files).unwrap_or(usize::MAX),
        part,
        refusals,
    })
}

/// Draws all the pictures, on all cores.
async fn draw(photos: &[DemoPhoto], inbox: &Path, tell: &mut impl FnMut(Event)) -> Result<()> {
    std::fs::create_dir_all(inbox).map_err(|e| Error::io(inbox, e))?;
    let mut tasks = tokio::task::JoinSet::new();
    let workers = std::thread::available_parallelism().map_or(2, usize::from);
    let mut waiting = photos.iter().cloned();
    let mut done = 0;
    loop {
        while tasks.len() < workers
            && let Some(photo) = waiting.next()
        {
            let path = inbox.join(&photo.file_name);
            tasks.spawn_blocking(move || {
                let jpeg = photo.jpeg().map_err(|e| Error::Internal(e.to_string()))?;
                std::fs::write(&path, jpeg).map_err(|e| Error::io(&path, e))
            });
        }
        let Some(finished) = tasks.join_next().await else {
            return Ok(());
        };
        finished.map_err(|e| Error::Internal(e.to_string()))??;
        done += 1;
        tell(Event::Step {
            done,
            of: photos.len(),
            what: "pictures drawn".into(),
        });
    }
}

async fn set_up_job(shop: &Shop) -> Result<Job<'_>> {
    shop.set_person(Some(people::ESTIMATOR.into()));
    let job = shop
        .new_job(NewJob {
            name: "Order 26-0417, left rear rail end".into(),
            vehicle: Some(vehicle::VEHICLE.into()),
            zone: Some(vehicle::TIME_ZONE.into()),
            plan: None,
        })
        .await?;
    job.load_sheet(NewSheet {
        file: vehicle::SHEET_FILE.into(),
        bytes: vehicle::SHEET_CSV.into(),
        source: vehicle::SHEET_SOURCE.into(),
        limit_source: Some(vehicle::LIMIT_SOURCE.into()),
        ..NewSheet::default()
    })
    .await?;
    let points: Vec<String> = vehicle::NEW_SECTION
        .iter()
        .map(|p| (*p).to_owned())
        .collect();
    job.set_part("left rear rail, end section", &points).await?;
    Ok(job)
}

struct Teller<'a, T: FnMut(Event)> {
    shop: &'a Shop,
    job: Job<'a>,
    clock: Arc<ToldClock>,
    inbox: PathBuf,
    photos: &'a [DemoPhoto],
    part: Vec<PartPoint>,
    refusals: usize,
    photos_retied: usize,
    tell: &'a mut T,
}

impl<T: FnMut(Event)> Teller<'_, T> {
    /// One stage: opened, worked in, closed.
    async fn stage(&mut self, stage: &StageTime) -> Result<()> {
        self.at(stage.opened, stage.by);
        self.job.open_stage(stage.key, None).await?;
        let view = self.job.view()?;
        let title = self.job.plan(&view)?.title_of(stage.key).to_owned();
        (self.tell)(Event::Stage {
            title,
            time: stage.opened,
        });
        for note in notes()
            .iter()
            .filter(|n| n.stage == stage.key && n.at <= stage.closed)
        {
            for survey in surveys_between(stage, note.at) {
                self.survey(survey).await?;
            }
            self.note(note).await?;
        }
        for survey in surveys_between(stage, stage.closed) {
            self.survey(survey).await?;
        }
        self.at(stage.closed, stage.by);
        // Somebody always tries to close up before the camera came out.
        if stage.key == "hidden-welds" {
            self.try_to_open("closing-panel").await?;
        }
        self.photos_of(stage.key).await?;
        self.job.close_stage(stage.key, None).await?;
        for note in notes()
            .iter()
            .filter(|n| n.stage == stage.key && n.at > stage.closed)
        {
            self.note(note).await?;
        }
        Ok(())
    }

    /// The estimator says which line of the estimate the first survey stands behind.
    async fn support_the_estimate(&mut self) -> Result<()> {
        self.shop.set_person(Some(people::ESTIMATOR.into()));
        let view = self.job.view()?;
        let stage = Survey::AsFound.stage();
        let of_stage = |s: &str| s == stage;
        let mut notes = view.notes.iter();
        let note = notes.find(|n| n.body.stage.as_deref().is_some_and(of_stage));
        let mut surveys = view.surveys.iter();
        let survey = surveys.find(|s| of_stage(&s.body.stage));
        let (Some(note), Some(survey)) = (note, survey) else {
            return Ok(());
        };
        let readings = view.readings_of(&survey.id);
        let readings = readings.filter(|r| vehicle::NEW_SECTION.contains(&r.body.point.as_str()));
        self.job
            .support_estimate(NewSupport {
                note: note.id.0.clone(),
                operation: "replace".into(),
                part: "end section, left rear rail".into(),
                reason: "folded behind the joint; everything measured ahead of it is in place"
                    .into(),
                readings: readings.map(|r| r.id.0.clone()).collect(),
                ..NewSupport::default()
            })
            .await?;
        (self.tell)(Event::Say(format!(
            "{} puts that note and the readings behind a line of the estimate.",
            people::ESTIMATOR
        )));
        Ok(())
    }

    /// The stages that matter most are sealed.
    async fn seal(&mut self) -> Result<()> {
        self.shop.set_person(Some(people::TECHNICIAN.into()));
        for stage in ["as-found-survey", "fit-survey", "hidden-welds"] {
            self.job.seal_stage(stage).await?;
        }
        (self.tell)(Event::Say(format!(
            "{} seals the first survey, the fit and the hidden welds.",
            people::TECHNICIAN
        )));
        Ok(())
    }

    fn at(&self, time: Timestamp, person: &str) {
        self.clock.set(time);
        self.shop.set_person(Some(person.into()));
    }

    async fn note(&mut self, note: &Note) -> Result<()> {
        self.at(note.at, note.author);
        self.job
            .add_note(NewNote {
                text: note.text.into(),
                stage: Some(note.stage.into()),
                about: note.about.map(str::to_owned),
                ..NewNote::default()
            })
            .await?;
        (self.tell)(Event::Say(format!(
            "{} notes: «{}»",
            note.author, note.text
        )));
        Ok(())
    }

    async fn survey(&mut self, survey: Survey) -> Result<()> {
        if self
            .part
            .iter()
            .any(|p| p.deviations.iter().any(|(s, _)| *s == survey))
        {
            return Ok(());
        }
        self.at(survey_time(survey), people::TECHNICIAN);
        let id = self
            .job
            .add_survey(NewSurvey {
                stage: survey.stage().into(),
                refs: vehicle::REFERENCE_POINTS
                    .iter()
                    .map(|p| (*p).to_owned())
                    .collect(),
                instrument: Some(vehicle::INSTRUMENT.into()),
                u_mm: Some(vehicle::INSTRUMENT_U_MM),
                // A bound that is evenly spread becomes a standard deviation (GUM 4.3.7).
                build_spread_mm: Some(vehicle::BUILD_SPREAD_MM / 3f64.sqrt()),
                build_spread_source: Some(
                    "invented: the maker's own inspection of new vans".into(),
                ),
                file: Some(survey.file_name().into()),
                bytes: Some(readings_csv(survey, SEED).into_bytes()),
                ..NewSurvey::default()
            })
            .await?;
        let measured = self.job.check(Some(&id.id.0)).await?;
        let report = measured.report();
        for part in &mut self.part {
            let Some(seen) = report.points.iter().find(|p| p.point == part.name) else {
                continue;
            };
            let axes = seen.axes().map(|(_, a)| a.deviation_mm);
            if let [Some(x), Some(y), Some(z)] = axes {
                part.deviations.push((survey, [x, y, z]));
                part.limit_mm = seen.length.limit_mm;
            }
        }
        let outside: Vec<&str> = report
            .points
            .iter()
            .filter(|p| p.axes().iter().any(|(_, a)| a.verdict.words() == "outside"))
            .map(|p| p.point)
            .collect();
        (self.tell)(Event::Say(match outside.as_slice() {
            [] => format!(
                "Survey of {} points: nothing is outside.",
                measured.measured_points().len()
            ),
            some => format!(
                "Survey of {} points: outside at {}.",
                measured.measured_points().len(),
                some.join(", ")
            ),
        }));
        match survey {
            Survey::AsFound => self.read_the_damage(&id.id).await?,
            Survey::FirstFit => {
                self.try_to_open("hidden-welds").await?;
                self.ask_for_the_move().await?;
            }
            Survey::SecondFit => self.hold_against_the_move(&measured)?,
            Survey::Final => {}
        }
        Ok(())
    }

    async fn read_the_damage(&mut self, survey: &RecordId) -> Result<()> {
        let damage = self.job.damage(Some(&survey.0)).await?;
        let causes = damage.zones.iter().filter(|z| z.finding != "nothing_moved");
        for line in causes.flat_map(|z| &z.words) {
            (self.tell)(Event::Say(line.clone()));
        }
        // Of the members, the one that the new section is part of.
        let view = self.job.view()?;
        let part = view.part().map(|part| part.points).unwrap_or_default();
        let struck = damage.extent.iter().filter(|e| {
            let moved = e.points.iter().any(|p| p.movement == "moved");
            moved && e.points.iter().any(|p| part.contains(&p.point))
        });
        for extent in struck {
            (self.tell)(Event::Say(capital(&extent.words)));
        }
        Ok(())
    }

    fn hold_against_the_move(&mut self, measured: &Measured) -> Result<()> {
        if let Some(outcome) = self.job.move_outcome(measured)? {
            for line in words::achieved(&outcome.points) {
                (self.tell)(Event::Say(line));
            }
        }
        Ok(())
    }

    async fn ask_for_the_move(&mut self) -> Result<()> {
        let (measured, free) = self.job.plan_move(None, &[], &Allowed::Free).await?;
        (self.tell)(Event::Say(format!(
            "The move that brings the section in: {}",
            words::push(&free.part, &free.best)
        )));
        self.job.decide_move(&measured, &free).await?;
        let slide = Allowed::slide_along(Axis::Length);
        let (_, slide) = self.job.plan_move(None, &[], &slide).await?;
        if !slide.best.outside().is_empty() {
            (self.tell)(Event::Say(
                "A slide along the length alone would not bring every point inside.".into(),
            ));
        }
        Ok(())
    }

    async fn try_to_open(&mut self, stage: &str) -> Result<()> {
        match self.job.open_stage(stage, None).await {
            Err(Error::Held { missing, .. }) => {
                self.refusals += 1;
                (self.tell)(Event::Refused {
                    stage: stage.to_owned(),
                    missing,
                });
                Ok(())
            }
            Err(other) => Err(other),
            Ok(_) => Err(Error::Internal(format!("the hold before {stage} was open"))),
        }
    }

    /// Takes in the pictures of a stage, as both cameras were emptied at its end.
    async fn photos_of(&mut self, stage: &str) -> Result<()> {
        let of_stage: Vec<&DemoPhoto> = self.photos.iter().filter(|p| p.stage == stage).collect();
        if of_stage.is_empty() {
            return Ok(());
        }
        let paths = of_stage
            .iter()
            .map(|p| self.inbox.join(&p.file_name))
            .collect();
        let outcomes = self
            .job
            .add_photos(paths, &PhotoOptions::default(), |_| {})
            .await?;
        for outcome in &outcomes {
            if let PhotoResult::Refused(error) = &outcome.result {
                return Err(Error::Internal(format!("the demo's own photo: {error}")));
            }
        }
        (self.tell)(Event::Say(match outcomes.len() {
            1 => "1 photo taken in.".into(),
            n => format!("{n} photos taken in."),
        }));
        if let Some(shows_clock) = of_stage
            .iter()
            .find(|p| Some(*p) == crate::cameras::clock_photo().as_ref().as_ref())
        {
            self.correct_the_clock(shows_clock).await?;
        }
        self.photos_retied += of_stage
            .iter()
            .filter(|p| *p.camera == POCKET && would_stray(p))
            .count();
        self.decide_doubtful(&of_stage).await
    }

    async fn correct_the_clock(&mut self, photo: &DemoPhoto) -> Result<()> {
        let view = self.job.view()?;
        let Some(entry) = view.photos.iter().find(|p| p.body.name == photo.file_name) else {
            return Ok(());
        };
        let was = photo.true_time.to_string();
        let note = ClockNote::PhotoWas {
            photo: entry.id.0.clone(),
            was,
        };
        self.job.set_clock(POCKET.model, note, 1.0).await?;
        (self.tell)(Event::Say(format!(
            "{} shows the shop's clock: the pocket camera is {} slow. Corrected.",
            photo.file_name,
            spoken(POCKET.behind)
        )));
        Ok(())
    }

    /// What stays in doubt, a person decides.
    async fn decide_doubtful(&mut self, of_stage: &[&DemoPhoto]) -> Result<()> {
        let view = self.job.view()?;
        let plan = self.job.plan(&view)?;
        let ties = Ties::new(&view, &stage::stages(&view, &plan));
        for photo in of_stage {
            let Some(entry) = view.photos.iter().find(|p| p.body.name == photo.file_name) else {
                continue;
            };
            if ties.of(&entry.id).is_some_and(|t| t.tie.is_doubtful()) {
                self.job.tie_photo(&entry.id.0, photo.stage).await?;
                (self.tell)(Event::Say(format!(
                    "{} was taken at a border between stages: a person decides for {}.",
                    photo.file_name,
                    plan.title_of(photo.stage).to_lowercase()
                )));
            }
        }
        Ok(())
    }
}

fn surveys_between(stage: &StageTime, until: Timestamp) -> Vec<Survey> {
    Survey::ALL
        .into_iter()
        .filter(|s| s.stage() == stage.key && survey_time(*s) <= until)
        .collect()
}

/// Whether the time that the camera showed lies in another stage, or in none.
fn would_stray(photo: &DemoPhoto) -> bool {
    let Ok(shown) = crate::plan::OFFSET.to_timestamp(photo.camera.clock(photo.true_time)) else {
        return true;
    };
    !stages()
        .iter()
        .any(|s| s.key == photo.stage && s.opened <= shown && shown <= s.closed)
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn spoken(span: jiff::SignedDuration) -> String {
    let seconds = span.as_secs();
    format!(
        "{} h {} min {} s",
        seconds / 3600,
        seconds / 60 % 60,
        seconds % 60
    )
}
