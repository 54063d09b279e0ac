//! Datumtrail's core: all the thinking, and no terminal, no HTTP, no FFI.
//!
//! A front end opens a folder, gets a [`Shop`], and touches nothing else:
//!
//! ```
//! # tokio::runtime::Runtime::new().unwrap().block_on(async {
//! use datumtrail_core::shop::{NewJob, NewSheet, NewSurvey, Shop, ShopOptions};
//!
//! let folder = tempfile::tempdir()?;
//! let shop = Shop::open(folder.path(), ShopOptions::default()).await?;
//! let job = shop.new_job(NewJob { name: "Rail end, left".into(), ..Default::default() }).await?;
//!
//! job.load_sheet(NewSheet {
//!     file: "sheet.csv".into(),
//!     bytes: b"point,side,what,x,y,z\nA,left,a,0,-400,0\nA',right,a,0,400,0\n\
//!              B,left,b,2000,-400,10\nB',right,b,2000,400,10\nH,left,h,2900,-450,200\n".to_vec(),
//!     source: "invented for this page".into(),
//!     limit_mm: Some(3.0),
//!     limit_source: Some("the shop's own".into()),
//!     ..Default::default()
//! }).await?;
//!
//! // Readings in any frame: here everything lies 100 mm further along x, and H 5 mm more.
//! let survey = job.add_survey(NewSurvey {
//!     stage: "as-found-survey".into(),
//!     refs: ["A", "A'", "B", "B'"].map(String::from).to_vec(),
//!     u_mm: Some(0.3),
//!     file: Some("readings.csv".into()),
//!     bytes: Some(b"point,x,y,z\nA,100,-400,0\nA',100,400,0\nB,2100,-400,10\nB',2100,400,10\n\
//!                   H,3005,-450,200\n".to_vec()),
//!     ..Default::default()
//! }).await?;
//!
//! let measured = job.check(Some(&survey.id.0)).await?;
//! let report = measured.report();
//! let h = report.points.iter().find(|p| p.point == "H").unwrap();
//! assert!((h.length.deviation_mm.unwrap() - 5.0).abs() < 1e-6);
//! assert_eq!(h.length.verdict.words(), "outside");
//! # shop.close().await;
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! # }).unwrap();
//! ```
//!
//! | module | what is in it |
//! |---|---|
//! | [`geometry`] | pure numbers: set-up, deviations, verdicts, moves (a crate of its own) |
//! | [`sheet`] | dimension sheets and files of readings (a crate of its own) |
//! | [`photo`] | what a photo says, clocks, ties, previews (a crate of its own) |
//! | [`bag`] | BagIt bags, written in one stream and checked to the last byte (a crate of its own) |
//! | [`crew`] | the devices of a shop on their own network (a crate of its own) |
//! | [`store`] | what is on disk |
//! | [`job`] | the job document: its schema, edits, views, hold points |
//! | [`archive`] | what leaves the shop |
//! | [`shop`] | the one door |
//!
//! Deviations, verdicts and ties are computed each time they are asked for; what is stored is what
//! someone observed or decided.

pub use datumtrail_bag as bag;
pub use datumtrail_crew as crew;
pub use datumtrail_geometry as geometry;
pub use datumtrail_photo as photo;
pub use datumtrail_sheet as sheet;

pub mod archive;
pub mod error;
pub mod job;
pub mod shop;
pub mod store;

pub use error::{Error, Result};
pub use shop::Shop;
