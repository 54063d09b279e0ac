//! What the audit found: every test it made, and the doubts that remain.

use serde::{Deserialize, Serialize};

use super::sheet::Printed;
use crate::frame::Vec3;

/// What was compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// Lengths along the vehicle that must add up.
    Chain,
    /// A diagonal against the widths and the same-side distance of its four points.
    Diagonal,
    /// The two diagonals of a symmetrical four, which must be equal.
    Diagonals,
    /// One coordinate of a left point against its right partner.
    Mirror,
    /// A point printed on the other side of the centre plane than its side says.
    Side,
    /// A figure against all others together.
    Figure,
    /// A printed coordinate against all figures together.
    Position,
}

/// One comparison, passed or not.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Test {
    pub kind: Kind,
    /// The names of the points or stations concerned.
    pub points: Vec<String>,
    pub printed_mm: f64,
    /// What the rest of the sheet makes it.
    pub expected_mm: f64,
    /// Standard uncertainty of printed less expected, from the rounding of the print.
    pub u_mm: f64,
    /// The comparison in words, as it reads when it fails.
    pub words: String,
    /// What would explain a failure: suggestions, most likely first.
    pub explanations: Vec<String>,
    /// The figures that took part, by their places in the sheet.
    pub figures: Vec<usize>,
}

impl Test {
    /// printed less expected, in standard uncertainties.
    pub fn w(&self) -> f64 {
        (self.printed_mm - self.expected_mm) / self.u_mm
    }
}

/// A place where the sheet contradicts itself.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Doubt {
    pub kind: Kind,
    pub points: Vec<String>,
    pub printed_mm: f64,
    pub expected_mm: f64,
    /// In standard uncertainties of the print's rounding.
    pub w: f64,
    /// In one sentence.
    pub words: String,
    /// Suggestions only: nothing is ever corrected silently.
    pub explanations: Vec<String>,
}

impl From<&Test> for Doubt {
    fn from(test: &Test) -> Doubt {
        Doubt {
            kind: test.kind,
            points: test.points.clone(),
            printed_mm: test.printed_mm,
            expected_mm: test.expected_mm,
            w: test.w(),
            words: test.words.clone(),
            explanations: test.explanations.clone(),
        }
    }
}

/// A pair whose left does not mirror its right. Many vehicles have such pairs: it is listed, not
/// doubted.
#[derive(Clone, Debug, PartialEq)]
pub struct Asymmetry {
    pub station: String,
    /// The left point mirrored to the right, less the right point: length, width, height in
    /// millimetres.
    pub difference: Vec3,
}

/// How a sheet's unlabelled distances may be meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Meaning {
    /// True, level or projected length; None where the sheet has no same-side distances.
    pub same_side: Option<Printed>,
    /// True or level; None where the sheet has no unlabelled diagonals.
    pub diagonal: Option<Printed>,
}

impl Meaning {
    /// "same-side distances as projected lengths, diagonals as true distances"
    pub fn words(&self) -> String {
        let part =
            |what: &str, is: Option<Printed>| is.map(|is| format!("{what} as {}s", is.words()));
        let parts = [
            part("same-side distances", self.same_side),
            part("diagonals", self.diagonal),
        ];
        parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
    }
}

/// One meaning of the unlabelled distances, tried on the whole sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reading {
    pub meaning: Meaning,
    /// Chi-square of the figures kept, plus the squared critical value for each left out. The
    /// smaller, the better this meaning explains the sheet; 5.9 less is 19 times likelier.
    pub score: f64,
    /// How many figures contradict the rest under this meaning.
    pub left_out: usize,
}

/// The whole audit.
#[derive(Clone, Debug, PartialEq)]
pub struct Audit {
    /// Worst first.
    pub doubts: Vec<Doubt>,
    /// Every comparison made, the passed ones too.
    pub tests: Vec<Test>,
    /// A test fails where |w| exceeds this.
    pub critical_w: f64,
    pub asymmetric: Vec<Asymmetry>,
    /// The meanings tried for unlabelled distances, best first. Empty where the sheet labels its
    /// distances.
    pub readings: Vec<Reading>,
    /// Whether the best of them is 19 times likelier than the next.
    pub meaning_is_clear: bool,
    /// Figures that nothing checks, by their places in the sheet.
    pub unchecked: Vec<usize>,
    /// What kept figures out of the comparison of all with all, in words.
    pub remarks: Vec<String>,
}

impl Audit {
    /// Whether a test passed.
    pub fn passed(&self, test: &Test) -> bool {
        test.w().abs() <= self.critical_w
    }
}
