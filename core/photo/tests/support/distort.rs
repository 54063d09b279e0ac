//! The kinds of bad photographs of a time code, from one fault at a time to all of them.

use super::Rng;
use super::scene::{Room, Scene, Shown, uniform};

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distortion {
    None,
    Tilted,
    Turned,
    Small,
    SmallInTwelveMegapixels,
    Blurred,
    VeryBlurred,
    Shaken,
    Glare,
    Noisy,
    Dim,
    Compressed,
    ExifTurned,
    Terminal,
    Cluttered,
    SeveralAtOnce,
    EverythingAtOnce,
}

use Distortion::*;

pub const KINDS: [Distortion; 17] = [
    None,
    Tilted,
    Turned,
    Small,
    SmallInTwelveMegapixels,
    Blurred,
    VeryBlurred,
    Shaken,
    Glare,
    Noisy,
    Dim,
    Compressed,
    ExifTurned,
    Terminal,
    Cluttered,
    SeveralAtOnce,
    EverythingAtOnce,
];

impl Distortion {
    pub fn words(self) -> &'static str {
        match self {
            None => "none",
            Tilted => "tilted by 30 to 50 degrees",
            Turned => "turned in its plane by any angle",
            Small => "6 to 10 % of a 3-megapixel frame's height",
            SmallInTwelveMegapixels => "5 to 8 % of a 12-megapixel frame's height",
            Blurred => "out of focus by 0.2 to 0.4 modules",
            VeryBlurred => "out of focus by 0.4 to 0.7 modules",
            Shaken => "shaken by 0.7 to 1.2 modules",
            Glare => "a lamp's reflection of 100 to 180 of 255",
            Noisy => "noise of 20 to 40 of 255",
            Dim => "dark squares 20, light ones 45 to 70 of 255",
            Compressed => "JPEG quality 12 to 25",
            ExifTurned => "each Exif orientation",
            Terminal => "half blocks on a terminal, with seams",
            Cluttered => "between boxes and chequered things",
            SeveralAtOnce => "a terminal, a bench, and a little of all",
            EverythingAtOnce => "the same, and much of all",
        }
    }
}

/// The scene of this kind for a seed.
pub fn scene(kind: Distortion, seed: u64) -> Scene {
    let mut rng = Rng(seed.wrapping_mul(0x9E37_79B9) ^ kind as u64);
    let mut between = |from, to| uniform(&mut rng, from, to);
    let sign = if seed.is_multiple_of(2) { 1.0 } else { -1.0 };
    let plain = Scene::plain(seed);
    match kind {
        None => plain,
        Tilted => Scene {
            yaw: sign * between(30.0, 50.0),
            pitch: between(-15.0, 15.0),
            ..plain
        },
        Turned => Scene {
            roll: between(0.0, 360.0),
            ..plain
        },
        Small => Scene {
            share: between(0.06, 0.10),
            ..plain
        },
        SmallInTwelveMegapixels => Scene {
            size: (4000, 3000),
            share: between(0.05, 0.08),
            room: Room::Cluttered,
            ..plain
        },
        Blurred => Scene {
            blur: between(0.2, 0.4),
            ..plain
        },
        VeryBlurred => Scene {
            blur: between(0.4, 0.7),
            ..plain
        },
        Shaken => Scene {
            shake: between(0.7, 1.2),
            ..plain
        },
        Glare => Scene {
            glare: (between(100.0, 180.0), between(0.25, 0.5)),
            ..plain
        },
        Noisy => Scene {
            noise: between(20.0, 40.0),
            ..plain
        },
        Dim => Scene {
            levels: (20.0, between(45.0, 70.0)),
            ..plain
        },
        Compressed => Scene {
            quality: between(12.0, 25.0) as u8,
            share: 0.2,
            ..plain
        },
        ExifTurned => Scene {
            orientation: 1 + (seed % 8) as u16,
            share: 0.25,
            ..plain
        },
        Terminal => Scene {
            shown: Shown::Terminal,
            ..plain
        },
        Cluttered => Scene {
            room: Room::Cluttered,
            share: 0.25,
            ..plain
        },
        SeveralAtOnce => Scene {
            shown: Shown::Terminal,
            room: Room::Cluttered,
            share: between(0.15, 0.4),
            yaw: between(-25.0, 25.0),
            pitch: between(-20.0, 20.0),
            roll: between(-15.0, 15.0),
            blur: between(0.0, 0.3),
            shake: between(0.0, 0.3),
            glare: (between(0.0, 80.0), between(0.2, 0.5)),
            noise: between(3.0, 12.0),
            levels: (between(20.0, 50.0), between(150.0, 230.0)),
            quality: between(60.0, 90.0) as u8,
            ..plain
        },
        EverythingAtOnce => Scene {
            shown: Shown::Terminal,
            room: Room::Cluttered,
            share: between(0.10, 0.25),
            yaw: sign * between(20.0, 40.0),
            pitch: between(-25.0, 25.0),
            roll: between(0.0, 360.0),
            blur: between(0.2, 0.45),
            shake: between(0.2, 0.5),
            glare: (between(40.0, 120.0), between(0.2, 0.5)),
            noise: between(8.0, 20.0),
            levels: (between(20.0, 60.0), between(110.0, 200.0)),
            quality: between(35.0, 75.0) as u8,
            orientation: 1 + (seed % 8) as u16,
            ..plain
        },
    }
}
