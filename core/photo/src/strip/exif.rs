//! Which Exif fields a copy keeps. Tags: Exif 2.32 (CIPA DC-008-2019), table 4 and following.

use exif::experimental::Writer;
use exif::{Context, Exif, Field, In, Tag};

use super::{LeaveOut, Shape};

/// What says when, by which model and how the picture was taken, and how to show it.
const KEPT: [Tag; 52] = [
    Tag::Make,
    Tag::Model,
    Tag::Orientation,
    Tag::Software,
    Tag::DateTime,
    Tag::XResolution,
    Tag::YResolution,
    Tag::ResolutionUnit,
    Tag::YCbCrPositioning,
    Tag::ExifVersion,
    Tag::DateTimeOriginal,
    Tag::DateTimeDigitized,
    Tag::OffsetTime,
    Tag::OffsetTimeOriginal,
    Tag::OffsetTimeDigitized,
    Tag::SubSecTime,
    Tag::SubSecTimeOriginal,
    Tag::SubSecTimeDigitized,
    Tag::ComponentsConfiguration,
    Tag::FlashpixVersion,
    Tag::ColorSpace,
    Tag::PixelXDimension,
    Tag::PixelYDimension,
    Tag::ExposureTime,
    Tag::FNumber,
    Tag::ExposureProgram,
    Tag::PhotographicSensitivity,
    Tag::SensitivityType,
    Tag::RecommendedExposureIndex,
    Tag::ShutterSpeedValue,
    Tag::ApertureValue,
    Tag::BrightnessValue,
    Tag::ExposureBiasValue,
    Tag::MaxApertureValue,
    Tag::SubjectDistance,
    Tag::MeteringMode,
    Tag::LightSource,
    Tag::Flash,
    Tag::FocalLength,
    Tag::SensingMethod,
    Tag::FileSource,
    Tag::SceneType,
    Tag::CustomRendered,
    Tag::ExposureMode,
    Tag::WhiteBalance,
    Tag::DigitalZoomRatio,
    Tag::FocalLengthIn35mmFilm,
    Tag::SceneCaptureType,
    Tag::LensSpecification,
    Tag::LensMake,
    Tag::LensModel,
    Tag::SubjectDistanceRange,
];

const NAMES: [Tag; 3] = [Tag::Artist, Tag::Copyright, Tag::CameraOwnerName];

const SERIALS: [Tag; 3] = [
    Tag::BodySerialNumber,
    Tag::LensSerialNumber,
    Tag::ImageUniqueID,
];

/// What is no longer true of a picture that was turned.
const SHAPE: [Tag; 3] = [Tag::Orientation, Tag::PixelXDimension, Tag::PixelYDimension];

/// The block with the kept fields; `None` where none is left, or one can't be written.
pub(super) fn kept(exif: &Exif, leave_out: LeaveOut, shape: Shape) -> Option<Vec<u8>> {
    let stays = |field: &&Field| {
        let tag = field.tag;
        let wanted = KEPT.contains(&tag)
            || (!leave_out.names && NAMES.contains(&tag))
            || (!leave_out.serials && SERIALS.contains(&tag))
            || (!leave_out.location && tag.context() == Context::Gps);
        let holds = shape == Shape::AsIs || !SHAPE.contains(&tag);
        field.ifd_num == In::PRIMARY && wanted && holds
    };
    let fields: Vec<&Field> = exif.fields().filter(stays).collect();
    if fields.is_empty() {
        return None;
    }
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, exif.little_endian()).ok()?;
    Some(block.into_inner())
}
