//! Previews: upright, of the right size and colours, from every kind that can be decoded.

use datumtrail_photo::kind::Kind;
use datumtrail_photo::orientation::Orientation;
use datumtrail_photo::preview::{MAX_PIXELS, Preview, PreviewError, preview, preview_as};
use datumtrail_photo::write::ExifFields;
use jpeg_encoder::{ColorType, Encoder, SamplingFactor};

mod support;

/// Decodes a preview with another decoder's entry than the one under test: full size.
fn decoded(small: &Preview) -> (Vec<u8>, usize) {
    let mut decoder = jpeg_decoder::Decoder::new(small.jpeg.as_slice());
    let data = decoder.decode().unwrap();
    let info = decoder.info().unwrap();
    assert_eq!(u32::from(info.width), small.width);
    assert_eq!(u32::from(info.height), small.height);
    (data, info.pixel_format.pixel_bytes())
}

/// Mean green of the four quarters, away from their borders: top left, top right, bottom
/// left, bottom right.
fn quarters(small: &Preview) -> [i32; 4] {
    let (data, channels) = decoded(small);
    let (w, h) = (small.width as usize, small.height as usize);
    [(1, 1), (3, 1), (1, 3), (3, 3)].map(|(qx, qy)| {
        let (cx, cy) = (w * qx / 4, h * qy / 4);
        let mut sum = 0;
        let mut count = 0;
        for y in cy - h / 8..cy + h / 8 {
            for x in cx - w / 8..cx + w / 8 {
                sum += i32::from(data[(y * w + x) * channels + channels / 2]);
                count += 1;
            }
        }
        sum / count
    })
}

fn assert_near(found: [i32; 4], expected: [i32; 4], what: &str) {
    let near = found.iter().zip(expected).all(|(f, e)| (f - e).abs() <= 3);
    assert!(near, "{what}: {found:?} instead of {expected:?}");
}

/// The drawn picture's quarters (see `support::pixels`).
const UPRIGHT: [i32; 4] = [40, 100, 160, 220];

#[test]
fn all_eight_orientations_come_out_upright() {
    for orientation in Orientation::ALL {
        // What the camera stores is the upright picture with the opposite turn. The stored
        // quarters of the drawn picture, turned as the file says:
        let fields = ExifFields {
            orientation: Some(orientation.to_exif()),
            ..Default::default()
        };
        let small = preview(&support::jpeg(1200, 900, &fields), 512).unwrap();
        let [tl, tr, bl, br] = UPRIGHT;
        // Exif 2.32: which stored corner is seen at top left, top right, bottom left,
        // bottom right.
        let expected = match orientation.to_exif() {
            1 => [tl, tr, bl, br],
            2 => [tr, tl, br, bl],
            3 => [br, bl, tr, tl],
            4 => [bl, br, tl, tr],
            5 => [tl, bl, tr, br],
            6 => [bl, tl, br, tr],
            7 => [br, tr, bl, tl],
            _ => [tr, br, tl, bl],
        };
        assert_near(quarters(&small), expected, &format!("{orientation:?}"));
        let size = if orientation.swaps_sides() {
            (384, 512)
        } else {
            (512, 384)
        };
        assert_eq!((small.width, small.height), size, "{orientation:?}");
    }
}

#[test]
fn sizes_fit_the_long_side_and_are_never_enlarged() {
    let cases = [
        // width, height, asked, expected
        (2000, 1500, 512, (512, 384)),
        (1500, 2000, 512, (384, 512)),
        (1000, 10, 512, (512, 5)),
        (2000, 1, 512, (512, 1)),
        (513, 512, 512, (512, 511)),
        (512, 512, 512, (512, 512)),
        (64, 48, 512, (64, 48)),
        (1, 1, 512, (1, 1)),
        (64, 48, 1, (1, 1)),
        (640, 480, 70_000, (640, 480)),
    ];
    for (width, height, asked, expected) in cases {
        let jpeg = support::jpeg(width, height, &ExifFields::default());
        let small = preview(&jpeg, asked).unwrap();
        assert_eq!((small.width, small.height), expected, "{width} by {height}");
        decoded(&small);
    }
    let jpeg = support::jpeg(64, 48, &ExifFields::default());
    assert!(matches!(preview(&jpeg, 0), Err(PreviewError::Internal(_))));
}

#[test]
fn every_subsampling_and_progressive_files() {
    let rgb = support::pixels(1300, 900);
    for sampling in [
        SamplingFactor::F_1_1,
        SamplingFactor::F_2_1,
        SamplingFactor::F_1_2,
        SamplingFactor::F_2_2,
        SamplingFactor::F_4_1,
    ] {
        for progressive in [false, true] {
            let mut jpeg = Vec::new();
            let mut encoder = Encoder::new(&mut jpeg, 92);
            encoder.set_sampling_factor(sampling);
            encoder.set_progressive(progressive);
            encoder.encode(&rgb, 1300, 900, ColorType::Rgb).unwrap();
            let small = preview(&jpeg, 512).unwrap();
            assert_near(
                quarters(&small),
                UPRIGHT,
                &format!("{sampling:?}, progressive {progressive}"),
            );
        }
    }
}

#[test]
fn grey_and_cmyk_jpegs() {
    let (width, height) = (1200u16, 800u16);
    let rgb = support::pixels(width.into(), height.into());
    let encode = |data: &[u8], color| {
        let mut jpeg = Vec::new();
        Encoder::new(&mut jpeg, 92)
            .encode(data, width, height, color)
            .unwrap();
        preview(&jpeg, 512).unwrap()
    };
    let grey: Vec<u8> = rgb.chunks_exact(3).map(|p| p[1]).collect();
    let small = encode(&grey, ColorType::Luma);
    assert_near(quarters(&small), UPRIGHT, "grey");
    assert_eq!(decoded(&small).1, 1, "grey stays grey");

    // Ink is what is missing of the light; half of the missing green as black.
    for color in [ColorType::Cmyk, ColorType::CmykAsYcck] {
        let inks: Vec<u8> = rgb
            .chunks_exact(3)
            .flat_map(|p| {
                let black = (255 - p[1]) / 2;
                let light = f32::from(255 - black);
                let ink = |c: u8| 255 - (f32::from(c) * 255.0 / light).round().min(255.0) as u8;
                [ink(p[0]), ink(p[1]), ink(p[2]), black]
            })
            .collect();
        assert_near(
            quarters(&encode(&inks, color)),
            UPRIGHT,
            &format!("{color:?}"),
        );
    }
}

#[test]
fn png_webp_and_tiff() {
    let fields = ExifFields {
        orientation: Some(3),
        ..Default::default()
    };
    for (kind, bytes) in [
        (Kind::Png, support::png(600, 400, &fields)),
        (Kind::WebP, support::webp(600, 400, &fields)),
        (Kind::Tiff, support::tiff(600, 400, &fields, true)),
        (Kind::Tiff, support::tiff(600, 400, &fields, false)),
    ] {
        let small = preview(&bytes, 512).unwrap();
        assert_eq!((small.width, small.height), (512, 341), "{kind}");
        assert_near(quarters(&small), [220, 160, 100, 40], &kind.to_string());
    }
}

#[test]
fn transparent_and_sixteen_bit_pngs() {
    use image::{ExtendedColorType, ImageEncoder, codecs::png::PngEncoder};
    let png = |data: &[u8], color| {
        let mut out = Vec::new();
        PngEncoder::new(&mut out)
            .write_image(data, 64, 64, color)
            .unwrap();
        quarters(&preview(&out, 512).unwrap())
    };
    // Black, half transparent: 255 * (1 - 128/255) = 127 on white.
    let half_black = [0, 0, 0, 128].repeat(64 * 64);
    assert_near(png(&half_black, ExtendedColorType::Rgba8), [127; 4], "RGBA");
    let half_black = [0, 128].repeat(64 * 64);
    assert_near(
        png(&half_black, ExtendedColorType::La8),
        [127; 4],
        "grey, alpha",
    );
    let sixteen: Vec<u8> = 0x6400u16.to_ne_bytes().repeat(64 * 64);
    assert_near(
        png(&sixteen, ExtendedColorType::L16),
        [100; 4],
        "16-bit grey",
    );
}

#[test]
fn the_colour_profile_goes_along_and_exif_does_not() {
    let profile = b"a colour profile of no meaning".to_vec();
    let mut jpeg = Vec::new();
    let mut encoder = Encoder::new(&mut jpeg, 90);
    encoder.add_icc_profile(&profile).unwrap();
    encoder
        .encode(&support::pixels(64, 48), 64, 48, ColorType::Rgb)
        .unwrap();
    let jpeg = datumtrail_photo::write::with_exif(&jpeg, &support::full_fields()).unwrap();
    let small = preview(&jpeg, 512).unwrap();
    let mut decoder = jpeg_decoder::Decoder::new(small.jpeg.as_slice());
    decoder.decode().unwrap();
    assert_eq!(decoder.icc_profile(), Some(profile));
    assert_eq!(decoder.exif_data(), None);
}

#[test]
fn what_cannot_be_decoded_says_so() {
    let heic = support::heic(64, 48, 0, &support::full_fields());
    let error = preview(&heic, 512).unwrap_err();
    assert!(
        match error {
            PreviewError::NoDecoder { kind } => kind == Kind::Heic && cfg!(not(feature = "heic")),
            // The file has no picture: with a decoder, that is what is said.
            PreviewError::Damaged { kind, .. } => kind == Kind::Heic && cfg!(feature = "heic"),
            _ => false,
        },
        "{error}"
    );
    let movie = support::movie(b"mp42", 640, 480, 0);
    assert!(matches!(
        preview(&movie, 512),
        Err(PreviewError::NoDecoder { .. })
    ));
    assert!(matches!(preview(b"text", 512), Err(PreviewError::Meta(_))));

    let jpeg = support::jpeg(640, 480, &ExifFields::default());
    let error = preview(&jpeg[..jpeg.len() / 2], 512).unwrap_err();
    assert!(
        matches!(
            error,
            PreviewError::Damaged {
                kind: Kind::Jpeg,
                ..
            }
        ),
        "{error}"
    );
    let png = support::png(640, 480, &ExifFields::default());
    let error = preview(&png[..png.len() / 2], 512).unwrap_err();
    assert!(
        matches!(
            error,
            PreviewError::Damaged {
                kind: Kind::Png,
                ..
            }
        ),
        "{error}"
    );
}

#[test]
fn headers_that_promise_too_much_are_refused_at_once() {
    let jpeg = support::jpeg(64, 48, &ExifFields::default());
    let frame = jpeg.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    let with_size = |width: u16, height: u16| {
        let mut bytes = jpeg.clone();
        bytes[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
        bytes[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
        bytes
    };
    let error = preview(&with_size(65_535, 65_535), 512).unwrap_err();
    assert!(matches!(error, PreviewError::TooLarge { .. }), "{error}");
    assert!(u64::from(u16::MAX).pow(2) > MAX_PIXELS);
    let error = preview(&with_size(9_000, 9_000), 512).unwrap_err();
    assert!(
        error.to_string().contains("promises more pixels"),
        "{error}"
    );
}

#[test]
fn the_callers_orientation_is_used() {
    let jpeg = support::jpeg(640, 480, &ExifFields::default());
    let small = preview_as(&jpeg, Kind::Jpeg, Orientation::TurnHalf, 512).unwrap();
    assert_near(quarters(&small), [220, 160, 100, 40], "half a turn");
}
