//! A process to be killed: works in a shop and says, line by line, what was acknowledged.
//!
//! `worker SHOP FIRST` adds readings, notes and photos for ever, numbered from FIRST, and prints
//! `ack KIND ID NUMBER` after each. On an error it prints it and ends with 1.

use std::io::Write;
use std::path::Path;

use datumtrail_core::error::{Error, Result};
use datumtrail_core::shop::{
    NewJob, NewNote, NewReading, NewSheet, NewSurvey, PhotoOptions, PhotoResult, Shop, ShopOptions,
};

const SHEET: &str = "point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\n\
                     B,left,b,2000,-400,10\nB',right,b,2000,400,10\nH,left,h,2900,-450,200\n";

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let first = args[2].parse().expect("a number");
    if let Err(error) = runtime.block_on(work(Path::new(&args[1]), first)) {
        eprintln!("{error}. What to do: {}", error.todo());
        std::process::exit(1);
    }
}

async fn work(folder: &Path, first: u64) -> Result<()> {
    let shop = Shop::open(folder, ShopOptions::default()).await?;
    let job = match shop.job(None).await {
        Ok(job) => job,
        Err(Error::Invalid { .. }) => {
            shop.new_job(NewJob {
                name: "killed".into(),
                ..NewJob::default()
            })
            .await?
        }
        Err(other) => return Err(other),
    };
    // The last one may have been killed between the two.
    if job.view()?.sheet().is_none() {
        job.load_sheet(NewSheet {
            file: "sheet.csv".into(),
            bytes: SHEET.into(),
            source: "invented".into(),
            ..NewSheet::default()
        })
        .await?;
    }
    for number in first.. {
        match number % 3 {
            0 => {
                let survey = job
                    .add_survey(NewSurvey {
                        stage: "as-found-survey".into(),
                        refs: ["A", "A'", "B", "B'"].map(String::from).to_vec(),
                        u_mm: Some(0.5),
                        ..NewSurvey::default()
                    })
                    .await?;
                ack("survey", &survey.id.0, number);
                let reading = job
                    .add_reading(NewReading {
                        survey: Some(survey.id.0),
                        point: "H".into(),
                        position: [number as f64, 0.5, -1.25],
                        ..NewReading::default()
                    })
                    .await?;
                ack("reading", &reading.0, number);
            }
            1 => {
                let note = job
                    .add_note(NewNote {
                        text: format!("note {number}"),
                        ..NewNote::default()
                    })
                    .await?;
                ack("note", &note.0, number);
            }
            _ => {
                let path = folder.with_file_name(format!("photo-{number}.jpg"));
                std::fs::write(&path, datumtrail_tests::picture(number))
                    .map_err(|e| Error::io(&path, e))?;
                for outcome in job
                    .add_photos(vec![path], &PhotoOptions::default(), |_| {})
                    .await?
                {
                    match outcome.result {
                        PhotoResult::Added { id, .. } => ack("photo", &id.0, number),
                        PhotoResult::Already { .. } => {}
                        PhotoResult::Refused(error) => return Err(error),
                    }
                }
            }
        }
    }
    Ok(())
}

fn ack(kind: &str, id: &str, number: u64) {
    let mut out = std::io::stdout().lock();
    // Flushed, for what stays in a buffer was not said.
    let _ = writeln!(out, "ack {kind} {id} {number}");
    let _ = out.flush();
}
