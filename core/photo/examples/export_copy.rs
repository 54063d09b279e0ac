//! Makes the copies that leave a shop: one half of the outside check `tests/outside_kinds.py`.
//!
//! ```text
//! export_copy strip FILE OUT
//! export_copy cover FILE OUT X,Y,W,H...
//! export_copy likeness FILE OUT    writes what can be shown, and says what it is
//! ```

use std::error::Error;

use datumtrail_photo::cover::{Rectangle, cover};
use datumtrail_photo::meta::read_meta_bytes;
use datumtrail_photo::preview::{Likeness, PREVIEW_LONG_SIDE, likeness};
use datumtrail_photo::strip::{LeaveOut, strip};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        ["strip", file, out] => {
            std::fs::write(out, strip(&std::fs::read(file)?, LeaveOut::ALL)?)?;
        }
        ["cover", file, out, rectangles @ ..] => {
            let rectangles: Result<Vec<Rectangle>, _> =
                rectangles.iter().map(|r| r.parse()).collect();
            let copy = cover(&std::fs::read(file)?, &rectangles?, LeaveOut::ALL)?;
            std::fs::write(out, copy.jpeg)?;
        }
        ["likeness", file, out] => {
            let bytes = std::fs::read(file)?;
            let shown = likeness(&bytes, &read_meta_bytes(&bytes)?, PREVIEW_LONG_SIDE);
            match &shown {
                Likeness::Picture(_) => println!("picture"),
                Likeness::Embedded { why, .. } => println!("embedded: {why}"),
                Likeness::Placeholder { why, .. } => println!("placeholder: {why}"),
            }
            if let Some(preview) = shown.preview() {
                std::fs::write(out, &preview.jpeg)?;
            }
        }
        _ => return Err("usage: export_copy strip|cover|likeness FILE OUT [X,Y,W,H...]".into()),
    }
    Ok(())
}
