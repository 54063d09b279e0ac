//! Cut files are noticed wherever they are cut, and what stands behind a picture's end is
//! no fault.

use datumtrail_photo::meta::MetaError;
use datumtrail_photo::whole::check_whole;

mod support;
use support::full_fields;

fn files() -> Vec<(&'static str, Vec<u8>)> {
    let fields = full_fields();
    vec![
        ("jpeg", support::jpeg(64, 48, &fields)),
        ("png", support::png(64, 48, &fields)),
        ("webp", support::webp(64, 48, &fields)),
        ("heic", support::heic(64, 48, 3, &fields)),
        ("mp4", support::movie(b"mp42", 640, 480, 0)),
        ("tiff", support::tiff(64, 48, &fields, true)),
    ]
}

#[test]
fn whole_files_pass_and_every_cut_is_noticed() {
    for (name, bytes) in files() {
        check_whole(&bytes).unwrap();
        // The TIFF writer puts the directories behind the pixels, so any cut breaks it too.
        for len in 0..bytes.len() {
            let error = check_whole(&bytes[..len]).expect_err(name);
            let expected = match len {
                0 => matches!(error, MetaError::Empty),
                // Too short to say what it is.
                1..12 => matches!(
                    error,
                    MetaError::NotAPicture { .. } | MetaError::Truncated { .. }
                ),
                // A file type box cut inside its brand list is not recognised either.
                12..40 => matches!(
                    error,
                    MetaError::NotAPicture { .. } | MetaError::Truncated { .. }
                ),
                _ => matches!(error, MetaError::Truncated { .. }),
            };
            assert!(expected, "{name} cut to {len}: {error}");
        }
    }
}

#[test]
fn what_follows_the_picture_is_not_looked_at() {
    for (name, mut bytes) in files() {
        if name == "heic" || name == "mp4" {
            // Boxes go on to the end of the file; a free one is fine.
            bytes.extend_from_slice(b"\0\0\0\x0Cfreexxxx");
        } else {
            bytes.extend_from_slice(b"a motion picture, as phones append it \xFF\xD8\xFF");
        }
        check_whole(&bytes).unwrap_or_else(|e| panic!("{name}: {e}"));
    }
}

#[test]
fn a_progressive_jpeg_has_many_scans_before_its_end() {
    let mut bytes = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 90);
    encoder.set_progressive(true);
    encoder
        .encode(
            &support::pixels(64, 48),
            64,
            48,
            jpeg_encoder::ColorType::Rgb,
        )
        .unwrap();
    check_whole(&bytes).unwrap();
    let last_scan = bytes.windows(2).rposition(|w| w == [0xFF, 0xDA]).unwrap();
    assert!(check_whole(&bytes[..last_scan]).is_err());
}
