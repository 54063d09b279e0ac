//! A small but real job, made through [`Shop`] in a folder of its own, for tests.
//!
//! Everything in it is invented. It has what an archive must be honest about: a survey that is
//! outside and one that is inside, a move decided between them, tram readings of which one is
//! questionable, a sheet that contradicts itself, a hold point passed by its evidence and one
//! released without, a photo that a person placed, one whose stage nobody settled, a camera whose
//! clock was put right, a corrected reading, a withdrawn note, and a note that tries to be a script.

mod measuring;

pub use measuring::{DISPLACED, DISTANCES};

use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::{ExportOptions, ExportSummary};
use crate::error::Result;
use crate::shop::{
    ClockNote, Job, NewJob, NewNote, NewSheet, PhotoResult, Shop, ShopOptions, ToldClock,
};
use datumtrail_photo::write::{ExifFields, with_exif};
use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::Offset;

/// A note that a careless page would run.
pub const SCRIPT: &str = "<script>alert(\"x\")</script> & <img src=x onerror=alert(1)>";
/// What the sheet's file says, byte for byte.
pub const SHEET: &str = "point,side,what,x,y,z\n\
    A,left,\"front mounting, left\",0,-400,70\n\
    A',right,\"front mounting, right\",0,400,70\n\
    B,left,sill,600,-600,40\n\
    B',right,sill,600,600,40\n\
    C,left,sill,1800,-620,50\n\
    C',right,sill,1800,620,50\n\
    D,left,axle,2100,-540,90\n\
    D',right,axle,2100,540,90\n\
    R,left,rail,3000,-480,230\n\
    R',right,rail,3000,480,230\n\
    E,left,\"rail, end\",3400,-470,260\n\
    E',right,\"rail, end\",3400,470,260\n";

/// A shop in a folder of its own, with the job in it.
pub struct Bench {
    pub folder: tempfile::TempDir,
    pub shop: Shop,
    clock: Arc<ToldClock>,
}

/// A true time on the job's first day, by the shop's clock.
fn at(hour: i8, minute: i8) -> Timestamp {
    let civil = jiff::civil::date(2031, 5, 6).at(hour, minute, 0, 0);
    Offset::constant(1).to_timestamp(civil).unwrap()
}

impl Bench {
    /// The shop with the finished job.
    pub async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let clock = Arc::new(ToldClock::at(at(7, 0)));
        let options = ShopOptions {
            clock: clock.clone(),
            person: Some("Wanda Kestrelby".into()),
            device_name: Some("bench".into()),
        };
        let shop = Shop::open(&folder.path().join("shop"), options)
            .await
            .unwrap();
        let bench = Self {
            folder,
            shop,
            clock,
        };
        bench.build().await.unwrap();
        bench
    }

    pub async fn job(&self) -> Job<'_> {
        self.shop.job(None).await.unwrap()
    }

    /// Where an archive of that name goes.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Exports with nothing left out.
    pub async fn export(&self, name: &str) -> Result<ExportSummary> {
        let options = ExportOptions {
            organization: Some("Lanternfish Body & Frame".into()),
            allow_missing: false,
            with_location: false,
            ..ExportOptions::default()
        };
        self.job()
            .await
            .export(&self.path(name), &options, |_, _| {})
            .await
    }

    fn now(&self, hour: i8, minute: i8) {
        self.clock.set(at(hour, minute));
    }

    async fn build(&self) -> Result<()> {
        let job = self
            .shop
            .new_job(NewJob {
                name: "Left rear rail & \"corner\"".into(),
                vehicle: Some("Ostrivar Pannier L1".into()),
                zone: Some("Etc/GMT-1".into()),
                plan: None,
            })
            .await?;
        job.load_sheet(NewSheet {
            file: "pannier.csv".into(),
            bytes: SHEET.as_bytes().to_vec(),
            source: "invented manual, section 5".into(),
            limit_mm: Some(3.0),
            limit_source: Some("invented manual, section 2".into()),
            ..NewSheet::default()
        })
        .await?;
        self.more_of_the_sheet(&job).await?;
        job.set_part("rail end section, left", &["R".into(), "E".into()])
            .await?;

        self.now(8, 0);
        job.open_stage("arrival", None).await?;
        let note = |text: &str| NewNote {
            text: text.into(),
            ..NewNote::default()
        };
        job.add_note(note(SCRIPT)).await?;
        let wrong = job.add_note(note("Right rear corner.")).await?;
        job.withdraw(wrong.short(), "it is the left one").await?;
        self.now(8, 30);
        job.close_stage("arrival", None).await?;

        job.open_stage("as-found-survey", None).await?;
        self.now(9, 0);
        self.as_found(&job).await?;
        self.now(9, 30);
        job.close_stage("as-found-survey", None).await?;

        job.open_stage("fit-survey", None).await?;
        self.now(11, 0);
        self.fit(&job).await?;
        self.now(11, 20);
        self.trams(&job).await?;
        self.now(11, 30);
        job.close_stage("fit-survey", None).await?;

        job.open_stage("test-welds", None).await?;
        self.now(11, 40);
        job.add_note(note("Peeled in the vice: nuggets tear out whole."))
            .await?;
        self.now(12, 0);
        job.close_stage("test-welds", None).await?;
        self.photos(&job).await?;

        self.now(13, 0);
        job.open_stage("hidden-welds", None).await?;
        self.now(13, 30);
        job.close_stage("hidden-welds", None).await?;
        job.release(
            "closing",
            "Osric Fennimuir",
            "the camera fell into the cavity wax; I looked at every weld",
        )
        .await?;
        job.open_stage("closing-panel", None).await?;
        self.now(14, 0);
        job.close_stage("closing-panel", None).await?;
        Ok(())
    }

    /// Six photos: two of the phone in `test-welds`, one of the pocket camera there once its clock
    /// is put right, one between stages, and one without a time that a person placed, and one
    /// without a time that nobody did.
    async fn photos(&self, job: &Job<'_>) -> Result<()> {
        let folder = self.folder.path().join("camera");
        std::fs::create_dir_all(&folder).unwrap();
        let phone = |h, m| {
            Some((
                civil(h, m),
                Some(Offset::constant(1)),
                "Lumarek",
                "Fennel 7",
            ))
        };
        let pocket = |h, m| Some((civil(h, m), None, "Wrenfield", "Pocket C12"));
        let paths = vec![
            picture(&folder, "weld one.jpg", 1, phone(11, 45)),
            picture(&folder, "weld#2 <b>.jpg", 2, phone(11, 50)),
            picture(&folder, "P1.JPG", 3, pocket(10, 48)),
            picture(&folder, "lunch.jpg", 4, phone(12, 30)),
            picture(&folder, "scan.jpg", 5, None),
            picture(&folder, "nowhere.jpg", 6, None),
        ];
        self.now(12, 40);
        let outcomes = job
            .add_photos(paths, &crate::shop::PhotoOptions::default(), |_| {})
            .await?;
        let id = |index: usize| match &outcomes[index].result {
            PhotoResult::Added { id, .. } => id.clone(),
            other => panic!("{other:?}"),
        };
        job.set_clock(
            "Pocket",
            ClockNote::PhotoWas {
                photo: id(2).0,
                was: "2031-05-06T11:48:00+01:00".into(),
            },
            2.0,
        )
        .await?;
        job.tie_photo(&id(4).0, "as-found-survey").await?;
        job.add_note(NewNote {
            text: "The fold, from below".into(),
            stage: Some("as-found-survey".into()),
            photo: Some(id(4).0),
            ..NewNote::default()
        })
        .await?;
        Ok(())
    }
}

fn civil(hour: i8, minute: i8) -> DateTime {
    jiff::civil::date(2031, 5, 6).at(hour, minute, 0, 0)
}

type Taken = (DateTime, Option<Offset>, &'static str, &'static str);

/// Draws a picture with true Exif.
fn picture(folder: &Path, name: &str, seed: u8, taken: Option<Taken>) -> PathBuf {
    const WIDTH: u16 = 96;
    const HEIGHT: u16 = 72;
    let mut pixels = Vec::new();
    for y in 0..HEIGHT {
        for x in 0..WIDTH {
            let stripe = if (x / 8 + y / 8) % 2 == 0 { 60 } else { 200 };
            pixels.extend([stripe, seed.wrapping_mul(40), (x * 2) as u8]);
        }
    }
    let mut jpeg = Vec::new();
    jpeg_encoder::Encoder::new(&mut jpeg, 85)
        .encode(&pixels, WIDTH, HEIGHT, jpeg_encoder::ColorType::Rgb)
        .unwrap();
    let fields = match taken {
        Some((time, offset, make, model)) => ExifFields {
            date_time_original: Some(time),
            offset,
            make: Some(make.into()),
            model: Some(model.into()),
            ..ExifFields::default()
        },
        None => ExifFields::default(),
    };
    let path = folder.join(name);
    std::fs::write(&path, with_exif(&jpeg, &fields).unwrap()).unwrap();
    path
}
