//! Files of every kind with known content, written from code: for the tests in this folder
//! and the examples that the outside checks run.
#![allow(dead_code)] // each user takes its own part

pub mod copies;
pub mod distort;
pub mod heap;
pub mod scene;

use datumtrail_photo::write::{ExifFields, encode_block, exif_block, with_exif};
use exif::experimental::Writer;
use exif::{Field, In, Tag, Value};
use image::codecs::{png::PngEncoder, webp::WebPEncoder};
use image::{ExtendedColorType, ImageEncoder};
use jiff::civil::date;
use jiff::tz::Offset;

/// Every field of which the reader makes something.
pub fn full_fields() -> ExifFields {
    ExifFields {
        date_time_original: Some(date(2026, 3, 4).at(14, 3, 20, 0)),
        date_time_digitized: Some(date(2026, 3, 4).at(14, 3, 21, 0)),
        date_time: Some(date(2026, 3, 5).at(9, 0, 0, 0)),
        sub_sec: Some("25".to_owned()),
        offset: Some(Offset::constant(1)),
        make: Some("Bench".to_owned()),
        model: Some("Pocket 3".to_owned()),
        body_serial: Some("B0042".to_owned()),
        orientation: Some(6),
        gps: Some((-12.5, 170.25)),
        gps_time: Some("2026-03-04T13:03:19.5Z".parse().expect("an instant")),
    }
}

/// A picture that looks different from each of its eight sides: the four quarters have
/// their own brightness (top left 40, top right 100, bottom left 160, bottom right 220),
/// red rises to the right and blue downwards.
pub fn pixels(width: u32, height: u32) -> Vec<u8> {
    let mut rgb = Vec::with_capacity((width * height * 3) as usize);
    for y in 0..height {
        for x in 0..width {
            let quarter = 40 + 60 * u32::from(2 * x >= width) + 120 * u32::from(2 * y >= height);
            rgb.push((quarter + 20 * x / width) as u8);
            rgb.push(quarter as u8);
            rgb.push((quarter + 20 * y / height) as u8);
        }
    }
    rgb
}

/// A picture with the fine detail that real photographs have, so that encoders and
/// decoders have real work: a few waves and seeded noise.
pub fn busy_pixels(width: u32, height: u32, seed: u64) -> Vec<u8> {
    let mut rng = Rng(seed);
    let phase = (rng.next() % 628) as f32 / 100.0;
    let mut rgb = Vec::with_capacity((width * height * 3) as usize);
    for y in 0..height {
        for x in 0..width {
            let (fx, fy) = (x as f32, y as f32);
            let slow = (fx / 310.0 + phase).sin() + (fy / 230.0).cos();
            let fine = (fx / 7.0 + fy / 11.0 + phase).sin() * 0.4;
            let noise = (rng.next() & 15) as f32 - 7.5;
            for shift in [0.0, 0.7, 1.9] {
                let value = 128.0 + 45.0 * (slow + fine + shift).sin() + noise;
                rgb.push(value.clamp(0.0, 255.0) as u8);
            }
        }
    }
    rgb
}

pub fn jpeg_of(rgb: &[u8], width: u32, height: u32, quality: u8) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = jpeg_encoder::Encoder::new(&mut out, quality);
    encoder.set_sampling_factor(jpeg_encoder::SamplingFactor::F_2_2);
    encoder
        .encode(
            rgb,
            width as u16,
            height as u16,
            jpeg_encoder::ColorType::Rgb,
        )
        .expect("encodes");
    out
}

pub fn jpeg(width: u32, height: u32, fields: &ExifFields) -> Vec<u8> {
    let plain = jpeg_of(&pixels(width, height), width, height, 90);
    with_exif(&plain, fields).expect("takes Exif")
}

/// A JPEG whose Exif block holds exactly these fields, however wrong.
pub fn jpeg_with_raw(fields: &[Field]) -> Vec<u8> {
    let plain = jpeg_of(&pixels(64, 48), 64, 48, 90);
    let block = encode_block(fields).expect("encodes");
    datumtrail_photo::write::insert_exif(&plain, &block).expect("takes Exif")
}

pub fn text_field(tag: Tag, text: &[u8]) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Ascii(vec![text.to_vec()]),
    }
}

pub fn png(width: u32, height: u32, fields: &ExifFields) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = PngEncoder::new(&mut out);
    encoder
        .set_exif_metadata(exif_block(fields).expect("encodes"))
        .expect("PNG takes Exif");
    encoder
        .write_image(
            &pixels(width, height),
            width,
            height,
            ExtendedColorType::Rgb8,
        )
        .expect("encodes");
    out
}

pub fn webp(width: u32, height: u32, fields: &ExifFields) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = WebPEncoder::new_lossless(&mut out);
    encoder
        .set_exif_metadata(exif_block(fields).expect("encodes"))
        .expect("WebP takes Exif");
    encoder
        .write_image(
            &pixels(width, height),
            width,
            height,
            ExtendedColorType::Rgb8,
        )
        .expect("encodes");
    out
}

/// An uncompressed TIFF in either byte order.
pub fn tiff(width: u32, height: u32, fields: &ExifFields, little_endian: bool) -> Vec<u8> {
    let short = |tag, values: &[u16]| Field {
        tag,
        ifd_num: In::PRIMARY,
        value: Value::Short(values.to_vec()),
    };
    let mut all = fields.to_fields().expect("in range");
    all.extend([
        short(Tag::ImageWidth, &[width as u16]),
        short(Tag::ImageLength, &[height as u16]),
        short(Tag::BitsPerSample, &[8, 8, 8]),
        short(Tag::Compression, &[1]),
        short(Tag::PhotometricInterpretation, &[2]),
        short(Tag::SamplesPerPixel, &[3]),
        short(Tag::RowsPerStrip, &[height as u16]),
        short(Tag::PlanarConfiguration, &[1]),
    ]);
    let data = pixels(width, height);
    let strips = [data.as_slice()];
    let mut writer = Writer::new();
    for field in &all {
        writer.push_field(field);
    }
    writer.set_strips(&strips, In::PRIMARY);
    let mut out = std::io::Cursor::new(Vec::new());
    writer.write(&mut out, little_endian).expect("encodes");
    out.into_inner()
}

fn boxed(name: &[u8; 4], parts: &[&[u8]]) -> Vec<u8> {
    let body: usize = parts.iter().map(|p| p.len()).sum();
    let mut out = Vec::from((8 + body as u32).to_be_bytes());
    out.extend_from_slice(name);
    for part in parts {
        out.extend_from_slice(part);
    }
    out
}

fn full_boxed(name: &[u8; 4], version: u8, parts: &[&[u8]]) -> Vec<u8> {
    let mut all: Vec<&[u8]> = Vec::from([&[0, 0, 0][..]]);
    all.extend(parts);
    let head = [version];
    all.insert(0, &head);
    boxed(name, &all)
}

/// The frame of a HEIC file: everything but a picture that could be decoded. `turns` are
/// quarter turns to the left, as the format counts them.
pub fn heic(width: u32, height: u32, turns: u8, fields: &ExifFields) -> Vec<u8> {
    let exif = exif_block(fields).expect("encodes");
    let exif_item = [&[0, 0, 0, 0][..], &exif].concat();
    let picture = b"no HEVC data here";

    let ftyp = boxed(b"ftyp", &[b"heic\0\0\0\0mif1heic"]);
    let hdlr = full_boxed(b"hdlr", 0, &[&[0; 4], b"pict", &[0; 13]]);
    let pitm = full_boxed(b"pitm", 0, &[&1u16.to_be_bytes()]);
    let infe =
        |id: u16, kind: &[u8; 4]| full_boxed(b"infe", 2, &[&id.to_be_bytes(), &[0, 0], kind, &[0]]);
    let iinf = full_boxed(
        b"iinf",
        0,
        &[&2u16.to_be_bytes(), &infe(1, b"hvc1"), &infe(2, b"Exif")],
    );
    let ispe = full_boxed(b"ispe", 0, &[&width.to_be_bytes(), &height.to_be_bytes()]);
    let irot = boxed(b"irot", &[&[turns]]);
    let ipco = boxed(b"ipco", &[&ispe, &irot]);
    let ipma = full_boxed(
        b"ipma",
        0,
        &[&1u32.to_be_bytes(), &1u16.to_be_bytes(), &[2, 0x01, 0x82]],
    );
    let iprp = boxed(b"iprp", &[&ipco, &ipma]);

    // Offsets are known once the size of everything before the data is.
    let iloc = |first: u32| {
        let mut items = Vec::new();
        for (id, offset, len) in [
            (1u16, first, picture.len() as u32),
            (2, first + picture.len() as u32, exif_item.len() as u32),
        ] {
            items.extend_from_slice(&id.to_be_bytes());
            items.extend_from_slice(&0u16.to_be_bytes());
            items.extend_from_slice(&1u16.to_be_bytes());
            items.extend_from_slice(&offset.to_be_bytes());
            items.extend_from_slice(&len.to_be_bytes());
        }
        full_boxed(b"iloc", 0, &[&[0x44, 0x00], &2u16.to_be_bytes(), &items])
    };
    let meta = |first| full_boxed(b"meta", 0, &[&hdlr, &pitm, &iloc(first), &iinf, &iprp]);
    let data_at = ftyp.len() + meta(0).len() + 8;
    let mdat = boxed(b"mdat", &[picture, &exif_item]);
    [ftyp, meta(data_at as u32), mdat].concat()
}

/// The frame of a video: its index, behind data that are no pictures.
pub fn movie(brand: &[u8; 4], width: u32, height: u32, created_unix_s: i64) -> Vec<u8> {
    let since_1904 = ((created_unix_s + 2_082_844_800) as u32).to_be_bytes();
    let ftyp = boxed(b"ftyp", &[brand, &[0; 4], brand]);
    let mdat = boxed(b"mdat", &[&[7; 1000]]);
    // Times, scale, length, rate, volume, reserved, matrix, reserved, next track.
    let matrix = [0x1_0000u32, 0, 0, 0, 0x1_0000, 0, 0, 0, 0x4000_0000]
        .map(u32::to_be_bytes)
        .concat();
    let mvhd = full_boxed(
        b"mvhd",
        0,
        &[
            &since_1904,
            &since_1904,
            &1000u32.to_be_bytes(),
            &2000u32.to_be_bytes(),
            &0x1_0000u32.to_be_bytes(),
            &0x100u16.to_be_bytes(),
            &[0; 10],
            &matrix,
            &[0; 24],
            &2u32.to_be_bytes(),
        ],
    );
    let tkhd = full_boxed(
        b"tkhd",
        0,
        &[
            &since_1904,
            &since_1904,
            &1u32.to_be_bytes(),
            &[0; 4],
            &2000u32.to_be_bytes(),
            &[0; 16],
            &matrix,
            &(width << 16).to_be_bytes(),
            &(height << 16).to_be_bytes(),
        ],
    );
    let trak = boxed(b"trak", &[&tkhd]);
    let moov = boxed(b"moov", &[&mvhd, &trak]);
    [ftyp, mdat, moov].concat()
}

/// A JPEG with a second picture behind it, as phones write HDR shots (CIPA DC-007, the
/// multi-picture format): an index in APP2 says where the second one is.
pub fn multi_picture(width: u32, height: u32, fields: &ExifFields) -> Vec<u8> {
    let first = jpeg(width, height, fields);
    let second = jpeg_of(&pixels(width, height), width, height, 60);
    let long = |n: usize| (n as u32).to_be_bytes();
    let mut index = Vec::from(*b"MPF\0MM\0*\0\0\0\x08\0\x03");
    index.extend(*b"\xB0\0\0\x07\0\0\0\x040100");
    index.extend(*b"\xB0\x01\0\x04\0\0\0\x01\0\0\0\x02");
    index.extend(*b"\xB0\x02\0\x07\0\0\0\x20\0\0\0\x32\0\0\0\0");
    let length = index.len() + 32;
    let first_length = first.len() + length + 4;
    index.extend([long(0x2003_0000), long(first_length), long(0), long(0)].concat());
    // Offsets count from the byte order mark: behind SOI, marker, length and name.
    let second_at = first_length - 10;
    index.extend([long(0), long(second.len()), long(second_at), long(0)].concat());
    let marker = [
        &[0xFF, 0xE2][..],
        &(length as u16 + 2).to_be_bytes(),
        &index,
    ]
    .concat();
    [&first[..2], &marker, &first[2..], &second].concat()
}

/// A JPEG with a short video behind its end.
pub fn motion_photo(width: u32, height: u32, fields: &ExifFields) -> Vec<u8> {
    [
        jpeg(width, height, fields),
        movie(b"mp42", width, height, 0),
    ]
    .concat()
}

/// A small generator of repeatable pseudo-random numbers (SplitMix64, Steele and others
/// 2014).
pub struct Rng(pub u64);

impl Rng {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }
}
