//! Which camera a photograph is from: the key under which its clock's corrections are kept.
//!
//! A clock correction is right for one camera only. A body serial number tells cameras apart;
//! phones write none, so two phones of one model look alike in their files. Then the shop
//! gives a name ("Anna's phone") when it takes the pictures in, and the name is the key.
//!
//! ```
//! use datumtrail_photo::camera::{CameraKey, Known};
//! use datumtrail_photo::meta::Camera;
//!
//! let phone = Camera { make: Some("Bench".into()), model: Some("Phone 2".into()), serial: None };
//! let alike = CameraKey::of(&phone, None);
//! assert_eq!((alike.name(), alike.known_by()), ("Bench Phone 2", Known::ModelOnly));
//! let told = CameraKey::of(&phone, Some("bench phone at lift 2"));
//! assert_eq!((told.name(), told.known_by()), ("bench phone at lift 2", Known::ShopName));
//! ```

use serde::{Deserialize, Serialize};

use crate::meta::Camera;

/// What a file without any word about its camera, and without a name from the shop, gets.
pub const UNNAMED: &str = "unnamed camera";

/// The longest name that a shop can give, in characters.
pub const MAX_NAME: usize = 100;

/// How a camera is told from others, surest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// Its body serial number is in the file.
    Serial,
    /// The shop named it.
    ShopName,
    /// Make and model only: another of the same model has the same key.
    ModelOnly,
    /// Not at all: every camera that says nothing has the same key.
    Nothing,
}

impl Known {
    /// Whether pictures of two cameras may be mixed under one key, so that one clock
    /// correction may be wrong for some of them.
    pub fn may_be_several(self) -> bool {
        self >= Known::ModelOnly
    }
}

/// One camera, as far as it can be told from others.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CameraKey {
    name: String,
    known_by: Known,
}

impl CameraKey {
    /// The key of the camera that a file names, together with the name that the shop gave
    /// when it took the file in. A serial number wins over a name; an empty name is none.
    pub fn of(camera: &Camera, shop_name: Option<&str>) -> CameraKey {
        let given = shop_name.and_then(tidy);
        let (name, known_by) = match (camera.label(), given) {
            (Some(label), _) if camera.serial.is_some() => (label, Known::Serial),
            (_, Some(given)) => (given, Known::ShopName),
            (Some(label), None) => (label, Known::ModelOnly),
            (None, None) => (UNNAMED.to_owned(), Known::Nothing),
        };
        CameraKey { name, known_by }
    }

    /// The name: for people, and for comparing. Two keys are the same camera exactly where
    /// their names are equal.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How it is told from others.
    pub fn known_by(&self) -> Known {
        self.known_by
    }

    /// [`Known::may_be_several`] of this key.
    pub fn may_be_several(&self) -> bool {
        self.known_by.may_be_several()
    }
}

/// Without outer space and control characters, inner space single; `None` if nothing is left.
fn tidy(name: &str) -> Option<String> {
    let words = name.split(|c: char| c.is_whitespace() || c.is_control());
    let words: Vec<&str> = words.filter(|w| !w.is_empty()).collect();
    let cut: String = words.join(" ").chars().take(MAX_NAME).collect();
    (!cut.is_empty()).then_some(cut)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn camera(model: &str, serial: &str) -> Camera {
        let some = |s: &str| (!s.is_empty()).then(|| s.to_owned());
        Camera {
            make: None,
            model: some(model),
            serial: some(serial),
        }
    }

    #[test]
    fn a_serial_number_wins_a_name_comes_next() {
        let cases = [
            (
                "Pocket 3",
                "7",
                Some("mine"),
                "Pocket 3 no. 7",
                Known::Serial,
            ),
            (
                "Pocket 3",
                "",
                Some(" lift\t2 \n"),
                "lift 2",
                Known::ShopName,
            ),
            ("", "", Some("lift 2"), "lift 2", Known::ShopName),
            (
                "Pocket 3",
                "",
                Some(" \u{1b} "),
                "Pocket 3",
                Known::ModelOnly,
            ),
            ("", "", None, UNNAMED, Known::Nothing),
        ];
        for (model, serial, given, name, known_by) in cases {
            let key = CameraKey::of(&camera(model, serial), given);
            assert_eq!((key.name(), key.known_by()), (name, known_by));
            assert_eq!(key.may_be_several(), known_by >= Known::ModelOnly);
        }
    }

    #[test]
    fn names_are_bounded() {
        let long = "é".repeat(500);
        let key = CameraKey::of(&camera("", ""), Some(&long));
        assert_eq!(key.name().chars().count(), MAX_NAME);
    }
}
