//! Where each photo lies in the bag: `photos/NN-STAGE/NNN-TIME-NAME`.
//!
//! The folders sort in stage order and the files in the order of the time line, whatever program
//! lists them; the camera's own name stays at the end. Every part is safe on Windows, macOS and
//! Linux ([`datumtrail_bag::safe_name`]), and short enough that the whole path is, too.

use std::path::Path;

use datumtrail_bag::safe_name;

use super::file;
use super::story::PhotoStory;
use super::words;
use crate::job::plan::Plan;

/// Bytes that each part may have. With the top folder, `data/photos/` and the separators this stays
/// below the 200 characters that a bag's paths may have.
const MOST_TOP: usize = 40;
const MOST_STAGE: usize = 40;
const MOST_NAME: usize = 64;

/// The folder of photos whose stage nobody settled.
const UNSETTLED: &str = "98-no-settled-stage";
/// The folder of photos that were withdrawn: they no longer count, and nothing is thrown away.
const WITHDRAWN: &str = "99-withdrawn";

/// The top folder of a zip: the zip's own name without its ending, as RFC 8493 suggests.
pub(super) fn top_folder(target: &Path) -> String {
    let stem = target.file_stem().map(|s| s.to_string_lossy().into_owned());
    short(&stem.unwrap_or_default(), MOST_TOP)
}

/// Gives every photo its place, and its small copy one.
pub(super) fn lay_out(photos: &mut [PhotoStory], plan: &Plan) {
    let digits = photos.len().to_string().len().max(3);
    for photo in photos {
        let folder = folder(photo, plan);
        let time = photo.taken.as_deref().and_then(words::wall).map_or_else(
            || "no-time".to_owned(),
            |time| time.strftime("%Y-%m-%d_%H-%M-%S").to_string(),
        );
        let number = format!("{:0digits$}", photo.number);
        let name = short(&photo.name, MOST_NAME);
        photo.file = Some(format!("{}{folder}/{number}-{time}-{name}", file::PHOTOS));
        photo.preview = photo
            .preview_blob
            .as_ref()
            .map(|_| format!("{}{number}.jpg", file::PREVIEWS));
    }
}

fn folder(photo: &PhotoStory, plan: &Plan) -> String {
    if photo.withdrawn.is_some() {
        return WITHDRAWN.to_owned();
    }
    match &photo.stage {
        None => UNSETTLED.to_owned(),
        Some(stage) => {
            // A stage that the plan no longer has comes behind the others.
            let place = plan.place(stage).map_or(97, |place| (place + 1).min(97));
            stage_folder(place, stage)
        }
    }
}

/// `02-as-found-survey`.
pub(super) fn stage_folder(place: usize, stage: &str) -> String {
    format!("{place:02}-{}", short(stage, MOST_STAGE))
}

/// A safe name of at most so many bytes, which keeps its ending.
fn short(name: &str, most: usize) -> String {
    let name = safe_name(name);
    if name.len() <= most {
        return name;
    }
    let (stem, ending) = match name.rfind('.') {
        Some(dot) if dot > 0 && name.len() - dot <= 12 => name.split_at(dot),
        _ => (name.as_str(), ""),
    };
    let stem = &stem[..stem.floor_char_boundary(most.saturating_sub(ending.len()))];
    safe_name(&format!("{}{ending}", stem.trim_end_matches(['.', ' '])))
}

/// A path as a link in a page that lies beside it: what is not plain in a URL is escaped
/// (RFC 3986, 2.1).
pub(super) fn as_link(path: &str) -> String {
    use std::fmt::Write as _;
    let mut link = String::with_capacity(path.len());
    for byte in path.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
                link.push(char::from(byte));
            }
            // Writing to a String cannot fail.
            _ => _ = write!(link, "%{byte:02X}"),
        }
    }
    link
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn any_name_gives_a_path_that_every_system_can_hold(
            zip in ".{0,80}",
            stage in "[a-z0-9-]{1,60}",
            name in any::<String>(),
        ) {
            let top = top_folder(Path::new(&format!("{zip}.zip")));
            let path = format!(
                "{top}/data/photos/97-{}/12345-2026-05-12_10-11-12-{}",
                short(&stage, MOST_STAGE),
                short(&name, MOST_NAME)
            );
            prop_assert!(datumtrail_bag::check_path(&path).is_ok(), "{:?}", path);
            prop_assert!(as_link(&path).is_ascii());
        }
    }

    #[test]
    fn long_names_keep_their_ending() {
        let name = short(&format!("{}.jpeg", "ü".repeat(90)), MOST_NAME);
        assert!(
            name.len() <= MOST_NAME && name.ends_with("ü.jpeg"),
            "{name}"
        );
        assert_eq!(short("../a?b.jpg", MOST_NAME), "_._a_b.jpg");
    }

    #[test]
    fn links_escape_what_a_url_would_misread() {
        assert_eq!(
            as_link("photos/01 a/b#1%ü.jpg"),
            "photos/01%20a/b%231%25%C3%BC.jpg"
        );
    }
}
