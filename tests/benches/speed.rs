//! How fast: `cargo bench -p datumtrail-tests`. DEVELOPERS.md has the figures.

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use datumtrail_core::geometry::check::{Reading, Request, Target, check};
use datumtrail_core::geometry::frame::Side;
use datumtrail_core::job::hold::Evidence;
use datumtrail_core::job::stage;
use datumtrail_core::job::tie::Ties;
use datumtrail_core::shop::{
    NewJob, NewReading, NewSheet, NewSurvey, PhotoOptions, Shop, ShopOptions,
};

/// Set-up, deviations and verdicts for 40 points. Goal: below 1 ms.
fn forty_points(c: &mut Criterion) {
    let at = |n: u32| {
        let side = if n.is_multiple_of(2) { -450.0 } else { 450.0 };
        let n = f64::from(n);
        [n * 90.0, side + n, 37.0 * (n % 7.0)]
    };
    let readings: Vec<Reading> = (0..40)
        .map(|n| Reading::new(format!("P{n}"), at(n), Some(0.4)))
        .collect();
    let targets: Vec<Target> = (0..40)
        .map(|n| Target::new(format!("P{n}"), Side::Left, at(n), 0.1).with_limit(3.0))
        .collect();
    let references: Vec<String> = (0..8).map(|n| format!("P{n}")).collect();
    c.bench_function("check, 40 points of which 8 reference points", |b| {
        b.iter(|| {
            check(black_box(&Request::new(&readings, &targets, &references)))
                .map(|c| c.points.len())
        })
    });
}

const SHEET: &str = "point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\n\
                     B,left,b,2000,-400,10\nB',right,b,2000,400,10\nH,left,h,2900,-450,200\n";

/// Opening a job of 2,000 photos and 500 readings and computing what its summary shows. Goal:
/// below 250 ms.
fn large_job(c: &mut Criterion) {
    let runtime = tokio::runtime::Runtime::new().expect("a runtime");
    let dir = tempfile::tempdir().expect("a folder");
    let folder = dir.path().join("shop");
    runtime.block_on(async {
        let shop = Shop::open(&folder, ShopOptions::default())
            .await
            .expect("a shop");
        let job = shop
            .new_job(NewJob {
                name: "large".into(),
                ..NewJob::default()
            })
            .await
            .expect("a job");
        job.load_sheet(NewSheet {
            file: "sheet.csv".into(),
            bytes: SHEET.into(),
            source: "invented".into(),
            ..NewSheet::default()
        })
        .await
        .expect("a sheet");
        for n in 0..125 {
            let survey = job
                .add_survey(NewSurvey {
                    stage: "as-found-survey".into(),
                    refs: ["A", "A'", "B", "B'"].map(String::from).to_vec(),
                    u_mm: Some(0.5),
                    ..NewSurvey::default()
                })
                .await
                .expect("a survey");
            for (point, at) in [
                ("A", [0.0, -400.0, 0.0]),
                ("A'", [0.0, 400.0, 0.0]),
                ("B", [2000.0, -400.0, 10.0]),
                ("B'", [2000.0, 400.0, 10.0]),
            ] {
                job.add_reading(NewReading {
                    survey: Some(survey.id.0.clone()),
                    point: point.into(),
                    position: [at[0], at[1] + f64::from(n), at[2]],
                    ..NewReading::default()
                })
                .await
                .expect("a reading");
            }
        }
        let photos = dir.path().join("photos");
        std::fs::create_dir(&photos).expect("a folder");
        let paths = (0..2000_u64)
            .map(|n| {
                let path = photos.join(format!("IMG_{n:04}.jpg"));
                let mut jpeg = Vec::new();
                let shade = (n % 251) as u8;
                jpeg_encoder::Encoder::new(&mut jpeg, 80)
                    .encode(&[shade; 32 * 24 * 3], 32, 24, jpeg_encoder::ColorType::Rgb)
                    .expect("a picture");
                // The number behind the end of the picture makes each file its own.
                jpeg.extend(n.to_le_bytes());
                std::fs::write(&path, jpeg).expect("a file");
                path
            })
            .collect();
        let done = job
            .add_photos(paths, &PhotoOptions::default(), |_| {})
            .await
            .expect("photos");
        assert_eq!(done.len(), 2000);
        drop(job);
        shop.close().await;
    });
    let mut group = c.benchmark_group("job");
    group.sample_size(20);
    group.bench_function("open and sum up 2,000 photos and 500 readings", |b| {
        b.iter(|| {
            runtime.block_on(async {
                let shop = Shop::open(&folder, ShopOptions::default())
                    .await
                    .expect("a shop");
                let job = shop.job(None).await.expect("the job");
                let view = job.view().expect("a view");
                let plan = job.plan(&view).expect("a plan");
                let stages = stage::stages(&view, &plan);
                let ties = Ties::new(&view, &stages);
                let holds = Evidence::new(&view, &plan, &ties).all();
                assert_eq!((view.photos.len(), view.readings.len()), (2000, 500));
                black_box(holds.len());
                drop(job);
                shop.close().await;
            })
        })
    });
    group.finish();
}

criterion_group!(benches, forty_points, large_job);
criterion_main!(benches);
