//! A QR code that says what time it is: shown on a screen, photographed with any camera, and
//! read back from the photograph, it tells how wrong that camera's clock is.
//!
//! **What the code says.** Plain text, so that any scanner shows a person what it is:
//!
//! ```text
//! DATUMTRAIL/1 2026-03-04T14:03:20Z
//! ```
//!
//! a name, the version of this format, and an instant in UTC (RFC 3339) to the whole second.
//! All 33 characters are among the 45 that QR codes in 5.5 bits each (ISO/IEC 18004, 7.4.4),
//! so version 2 holds them with error correction M: 25 modules a side, as coarse as can be.
//!
//! **What it means.** The screen changes the code at each whole second, so a photographed
//! code was up between 0 and 1 s ago: as good as any moment in it, hence half a second on,
//! with a standard uncertainty of 1/sqrt(12) s (GUM 4.3.7). A terminal and a screen show it a
//! little late, at most [`DISPLAY_LATENCY_S`], uniform too. A camera that writes whole seconds
//! adds as much again: see [`TimeCode::sync_point`].
//!
//! ```
//! use datumtrail_photo::timecode::TimeCode;
//!
//! let code = TimeCode::showing("2026-03-04T14:03:20.125Z".parse()?);
//! assert_eq!(code.text(), "DATUMTRAIL/1 2026-03-04T14:03:20Z");
//! assert_eq!(TimeCode::parse(&code.text())?, code);
//!
//! let modules = code.modules();
//! assert_eq!(modules.side(), 25);
//! for line in modules.half_blocks() {
//!     println!("{line}"); // dark on light, whatever the terminal's own colours
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use jiff::{SignedDuration, Timestamp};
use qrcodegen::{QrCode, QrCodeEcc, QrSegment, Version};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::clock::{Moment, SyncPoint};
use crate::time::{CameraTime, Taken};

mod find;

pub use find::{Found, find};
pub(crate) use find::{GLANCE, glance};

/// What every code of this version starts with.
const HEAD: &str = "DATUMTRAIL/1 ";

/// What every code of any version starts with.
const NAME: &str = "DATUMTRAIL/";

/// The longest text that is looked at; scanners may hand over any code in the picture.
const MAX_TEXT: usize = 100;

/// The most, in seconds, by which the code appears late on a screen.
///
/// Common practice, no source: a terminal redraws within some 20 ms, a screen shows it a frame
/// or two later, and slow panels need another 50 ms. Rounded up.
pub const DISPLAY_LATENCY_S: f64 = 0.2;

/// The light border that a code needs on each side, in modules (ISO/IEC 18004, 6.3.8).
pub const QUIET: usize = 4;

/// An instant that a code shows, to the whole second.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct TimeCode {
    second: Timestamp,
}

/// Why a text is no time code.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum TimeCodeError {
    /// Some other QR code.
    #[error(
        "this QR code is no time code; photograph the one that `datumtrail photo timecode` shows"
    )]
    Other,
    /// A time code of another version of the program.
    #[error(
        "this time code is of a version ({version:?}) that this program does not know; update it, \
         or show the code with this program"
    )]
    Version {
        /// What stands where the version should.
        version: String,
    },
    /// A time code whose time is none.
    #[error("this time code says {time:?}, which is no instant; show it again")]
    Time {
        /// What stands where the time should.
        time: String,
    },
    /// Without a time of its own, the photograph says nothing about its camera's clock.
    #[error(
        "the photograph has no time of its own to compare with the code; \
         set the camera's clock, or take another picture"
    )]
    NoCameraTime,
    /// In the hour that daylight saving repeats or skips, the camera's time is two instants.
    #[error(
        "the camera's time is ambiguous, because daylight saving begins or ends in that hour; \
         photograph the code again outside it"
    )]
    Ambiguous,
    /// The time by the camera leaves the calendar.
    #[error("the camera's time is outside the calendar; set the camera's clock")]
    OutOfRange,
}

impl TimeCode {
    /// The code to show at `now`: that of the second it lies in.
    pub fn showing(now: Timestamp) -> TimeCode {
        let second = now.as_second() - i64::from(now.subsec_nanosecond() < 0);
        TimeCode {
            // A whole second beside a valid instant is one, but for the very first.
            second: Timestamp::from_second(second).unwrap_or(Timestamp::MIN),
        }
    }

    /// The second that the code shows.
    pub fn second(&self) -> Timestamp {
        self.second
    }

    /// When the next code is due.
    pub fn next_at(&self) -> Timestamp {
        self.second
            .checked_add(SignedDuration::from_secs(1))
            .unwrap_or(Timestamp::MAX)
    }

    /// What the code says.
    pub fn text(&self) -> String {
        format!("{HEAD}{:.0}", self.second)
    }

    /// Reads what a code says.
    ///
    /// # Errors
    /// [`TimeCodeError::Other`], [`TimeCodeError::Version`], [`TimeCodeError::Time`].
    pub fn parse(text: &str) -> Result<TimeCode, TimeCodeError> {
        if text.len() > MAX_TEXT || !text.starts_with(NAME) {
            return Err(TimeCodeError::Other);
        }
        let Some(time) = text.strip_prefix(HEAD) else {
            let version = text.get(NAME.len()..).unwrap_or_default();
            let version = version.split(' ').next().unwrap_or_default();
            return Err(TimeCodeError::Version {
                version: version.to_owned(),
            });
        };
        // Exactly one spelling of each second, so that a misread one is seldom another.
        let code = time.parse().map(TimeCode::showing);
        code.ok()
            .filter(|code| code.text() == text)
            .ok_or_else(|| TimeCodeError::Time {
                time: time.to_owned(),
            })
    }

    /// When a photograph that shows this code was taken. The module's page has the reasoning.
    pub fn moment(&self) -> Moment {
        let late = 0.5 + DISPLAY_LATENCY_S / 2.0;
        let at = self.second.checked_add(SignedDuration::from_secs_f64(late));
        Moment {
            at: at.unwrap_or(self.second),
            u_s: Some(1f64.hypot(DISPLAY_LATENCY_S) / 12f64.sqrt()),
        }
    }

    /// What a photograph of this code says about its camera's clock. `taken` is the
    /// photograph's own time, `resolved` the instant made of it.
    ///
    /// A clock face is cut off: one that shows whole seconds stands, on average, half a second
    /// further on than it shows. With a last digit worth w the reading is w/2 later, with a
    /// standard uncertainty of w/sqrt(12).
    ///
    /// # Errors
    /// [`TimeCodeError::Ambiguous`] and [`TimeCodeError::OutOfRange`], as `resolved` is.
    pub fn sync_point(
        &self,
        taken: &CameraTime,
        resolved: &Taken,
    ) -> Result<SyncPoint, TimeCodeError> {
        let shown = match resolved {
            Taken::Exact { at, .. } | Taken::Assumed { at, .. } => *at,
            Taken::Ambiguous { .. } => return Err(TimeCodeError::Ambiguous),
            Taken::OutOfRange => return Err(TimeCodeError::OutOfRange),
        };
        let digit_s = 10f64.powi(-i32::from(taken.sub_sec_digits));
        let camera = shown
            .checked_add(SignedDuration::from_secs_f64(digit_s / 2.0))
            .map_err(|_| TimeCodeError::OutOfRange)?;
        let Moment { at, u_s } = self.moment();
        Ok(SyncPoint {
            camera,
            truth: at,
            u_s: u_s.unwrap_or_default().hypot(digit_s / 12f64.sqrt()),
        })
    }

    /// The code's modules, without the light border.
    pub fn modules(&self) -> Modules {
        // Today's times fit version 2; those of other millennia have more digits and get the
        // smallest version that holds them.
        Modules::of(&self.text(), 2).unwrap_or(Modules {
            side: 0,
            dark: Vec::new(),
        })
    }
}

/// The squares of a QR code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Modules {
    side: usize,
    dark: Vec<bool>,
}

impl Modules {
    /// The code of a text, with error correction of level M (ISO/IEC 18004), in the smallest
    /// version from `least` on; none for a text too long for any.
    pub fn of(text: &str, least: u8) -> Option<Self> {
        let code = QrCode::encode_segments_advanced(
            &QrSegment::make_segments(text),
            QrCodeEcc::Medium,
            Version::new(least.clamp(1, 40)),
            Version::MAX,
            None,
            true,
        );
        let code = code.ok()?;
        let sides = 0..code.size();
        let dark = sides
            .clone()
            .flat_map(|y| sides.clone().map(move |x| (x, y)))
            .map(|(x, y)| code.get_module(x, y))
            .collect();
        Some(Self {
            side: code.size().unsigned_abs() as usize,
            dark,
        })
    }

    /// How many modules a side has, without the light border.
    pub fn side(&self) -> usize {
        self.side
    }

    /// Whether the module in this column and row is dark. Outside the code none is, which is
    /// the light border.
    pub fn is_dark(&self, column: usize, row: usize) -> bool {
        let inside = column < self.side && row < self.side;
        inside && self.dark.get(row * self.side + column) == Some(&true)
    }

    /// The code for a terminal: two rows of modules in each line, light border included, in
    /// black on bright white by ANSI escapes (ECMA-48), so that it is dark on light whatever
    /// colours the terminal has. 33 columns and 17 lines for today's times.
    pub fn half_blocks(&self) -> Vec<String> {
        let from = -(QUIET as isize);
        let to = (self.side + QUIET) as isize;
        let dark = |x: isize, y: isize| {
            let inside = usize::try_from(x).ok().zip(usize::try_from(y).ok());
            inside.is_some_and(|(x, y)| self.is_dark(x, y))
        };
        (from..to)
            .step_by(2)
            .map(|y| {
                let squares = (from..to).map(|x| match (dark(x, y), dark(x, y + 1)) {
                    (true, true) => '█',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (false, false) => ' ',
                });
                let squares: String = squares.collect();
                format!("\u{1b}[30;107m{squares}\u{1b}[0m")
            })
            .collect()
    }
}

#[cfg(test)]
mod tests;
