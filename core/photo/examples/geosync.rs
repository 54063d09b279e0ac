//! Corrects camera times through sync points: one half of the outside check
//! `tests/outside_geosync.py`, which asks ExifTool the same.
//!
//! ```text
//! geosync SYNC... -- CAMERA_TIME...
//! ```
//!
//! A SYNC is `TRUE@CAMERA@U_S`, all times as in `2026-03-04T12:00:00Z`. Prints a line a camera
//! time: the corrected time and its standard uncertainty in seconds.

use std::error::Error;

use datumtrail_photo::clock::{Clock, SyncPoint};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let Some(cut) = args.iter().position(|a| a == "--") else {
        return Err("usage: geosync TRUE@CAMERA@U_S... -- CAMERA_TIME...".into());
    };
    let (points, times) = args.split_at(cut);
    let points = points.iter().map(|text| parse(text));
    let clock = Clock::new(points.collect::<Result<_, _>>()?)?;
    for time in times.iter().skip(1) {
        let moment = clock.correct(time.parse()?);
        let u_s = moment.u_s.ok_or("no sync points")?;
        println!("{:.6} {u_s:.6}", moment.at);
    }
    Ok(())
}

fn parse(text: &str) -> Result<SyncPoint, Box<dyn Error>> {
    let parts: Vec<&str> = text.split('@').collect();
    let [truth, camera, u_s] = parts.as_slice() else {
        return Err(format!("{text:?} is not TRUE@CAMERA@U_S").into());
    };
    Ok(SyncPoint {
        camera: camera.parse()?,
        truth: truth.parse()?,
        u_s: u_s.parse()?,
    })
}
