//! One tram reading against the sheet, and the two diagonals of a symmetrical four. No network is
//! needed for either.

use super::model::Observation;
use super::quantity::Quantity;
use crate::frame::{Mat3, Vec3};

/// How a tram gauge was held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TramKind {
    /// Point to point.
    True,
    /// Projected onto the datum plane: pointers of different lengths make up for the heights.
    Level,
}

impl TramKind {
    /// The word that screens use.
    pub fn word(self) -> &'static str {
        match self {
            TramKind::True => "true",
            TramKind::Level => "level",
        }
    }

    /// The quantity that this kind of reading observes.
    pub fn quantity(self, from: usize, to: usize) -> Quantity {
        match self {
            TramKind::True => Quantity::TrueDistance { from, to },
            TramKind::Level => Quantity::LevelDistance { from, to },
        }
    }

    /// The kind and the ends of a tram reading; None for any other figure.
    pub fn of(quantity: Quantity) -> Option<(TramKind, usize, usize)> {
        match quantity {
            Quantity::TrueDistance { from, to } => Some((TramKind::True, from, to)),
            Quantity::LevelDistance { from, to } => Some((TramKind::Level, from, to)),
            _ => None,
        }
    }

    fn other(self) -> TramKind {
        match self {
            TramKind::True => TramKind::Level,
            TramKind::Level => TramKind::True,
        }
    }

    fn arm(self, p: Vec3, q: Vec3) -> Vec3 {
        let d = q - p;
        match self {
            TramKind::True => d,
            TramKind::Level => Vec3::new(d.x, d.y, 0.0),
        }
    }
}

/// One end of the reading, as the sheet has it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheetEnd {
    /// Millimetres, in the vehicle's frame.
    pub position: Vec3,
    /// How uncertain the sheet is there: the rounding of its print, and the build spread where it
    /// is stated. Square millimetres.
    pub covariance: Mat3,
}

/// A tram reading beside what the sheet says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TramCheck {
    pub kind: TramKind,
    pub reading_mm: f64,
    /// What the sheet gives for this kind.
    pub sheet_mm: f64,
    /// Reading less sheet.
    pub deviation_mm: f64,
    /// Standard uncertainty of the deviation: reading and sheet together.
    pub u_mm: f64,
    /// What the sheet gives for the other kind.
    pub other_sheet_mm: f64,
    /// Reading less that.
    pub other_deviation_mm: f64,
    /// Standard uncertainty of that.
    pub other_u_mm: f64,
    /// Whether the reading should be questioned: see [`compare`].
    pub other_kind_fits: bool,
}

/// Compares a reading with the sheet in the kind it was taken in, and asks whether the other kind
/// would fit it better.
///
/// With e the unit vector between the ends (for a level reading: without its height) the standard
/// uncertainty is sqrt(u^2 + e'(S_p + S_q)e). The other kind fits better when the reading agrees
/// with it at 95 % and fits it at least 19 to 1 better: w^2 for the stated kind exceeds w^2 for the
/// other by 5.9. A damaged vehicle can produce that by chance, so it is a question, never a
/// correction.
///
/// Millimetres. None where the reading or its uncertainty is not a finite number above zero, the
/// sheet's figures are not finite, or the ends coincide.
///
/// ```
/// use datumtrail_geometry::frame::{Mat3, Vec3};
/// use datumtrail_geometry::network::{SheetEnd, TramKind, compare};
///
/// let end = |x, y, z| SheetEnd { position: Vec3::new(x, y, z), covariance: Mat3::zeros() };
/// let (p, q) = (end(0.0, -400.0, 20.0), end(900.0, -400.0, 320.0));
/// // True: 948.7 mm. Someone held the gauge level and wrote "true".
/// let check = compare(900.4, 0.5, TramKind::True, p, q).unwrap();
/// assert!(check.other_kind_fits);
/// assert_eq!(
///     check.question("A", "H").unwrap(),
///     "A to H was entered as a true distance of 900.4 mm; the sheet gives 948.7 mm true and \
///      900.0 mm level. Was the gauge held level?"
/// );
/// ```
pub fn compare(
    reading_mm: f64,
    u_mm: f64,
    kind: TramKind,
    p: SheetEnd,
    q: SheetEnd,
) -> Option<TramCheck> {
    let usable = reading_mm.is_finite() && u_mm.is_finite() && reading_mm > 0.0 && u_mm > 0.0;
    let spread = p.covariance + q.covariance;
    let sheet_is_finite = spread.iter().all(|c| c.is_finite())
        && p.position.iter().chain(&q.position).all(|c| c.is_finite());
    if !usable || !sheet_is_finite {
        return None;
    }
    let sheet = |kind: TramKind| {
        let arm = kind.arm(p.position, q.position);
        let e = arm.try_normalize(1e-9)?;
        let variance = u_mm * u_mm + e.dot(&(spread * e)).max(0.0);
        Some((arm.norm(), variance.sqrt()))
    };
    let (sheet_mm, u) = sheet(kind)?;
    // Straight up and down there is no level distance to mistake it for.
    let (other_sheet_mm, other_u) = sheet(kind.other()).unwrap_or((0.0, u));
    let (deviation, other) = (reading_mm - sheet_mm, reading_mm - other_sheet_mm);
    let (w, other_w) = (deviation / u, other / other_u);
    let agrees = other_w.abs() < 1.96;
    Some(TramCheck {
        kind,
        reading_mm,
        sheet_mm,
        deviation_mm: deviation,
        u_mm: u,
        other_sheet_mm,
        other_deviation_mm: other,
        other_u_mm: other_u,
        other_kind_fits: agrees && w * w - other_w * other_w >= super::judge::RIVAL,
    })
}

impl TramCheck {
    /// The question to ask where the other kind fits better, with its figures.
    pub fn question(&self, from: &str, to: &str) -> Option<String> {
        let other = self.kind.other();
        let held = match other {
            TramKind::Level => "Was the gauge held level?",
            TramKind::True => "Was it measured point to point?",
        };
        self.other_kind_fits.then(|| {
            format!(
                "{from} to {to} was entered as a {} distance of {:.1} mm; the sheet gives \
                 {:.1} mm {} and {:.1} mm {}. {held}",
                self.kind.word(),
                self.reading_mm,
                self.sheet_mm,
                self.kind.word(),
                self.other_sheet_mm,
                other.word(),
            )
        })
    }
}

/// The two diagonals of a symmetrical four: two pairs of points, one ahead of the other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diagonals {
    /// Front left to rear right, with its standard uncertainty.
    pub left_to_right: (f64, f64),
    /// Front right to rear left, with its standard uncertainty.
    pub right_to_left: (f64, f64),
    /// The sheet's left-to-right diagonal less its right-to-left one: 0 for a symmetrical four.
    pub sheet_difference_mm: f64,
    /// Width of the front pair and of the rear pair, from the sheet or measured.
    pub widths: (f64, f64),
    /// How far the rear pair lies behind the front pair.
    pub length_mm: f64,
}

/// What the two diagonals say together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DiagonalCheck {
    /// Left-to-right less right-to-left, less what the sheet gives.
    pub difference_mm: f64,
    pub u_mm: f64,
    /// difference / u.
    pub w: f64,
    /// If the rear pair moved sideways: this far to the right (negative: left) of the front pair.
    pub side_shift_mm: f64,
    pub side_shift_u_mm: f64,
    /// If one side lies back instead (a diamond): the right side this far rearward (negative:
    /// forward) of the left.
    pub diamond_mm: f64,
    pub diamond_u_mm: f64,
}

/// Compares the diagonals of a symmetrical four.
///
/// With front width a, rear width b, length c and the rear pair shifted sideways by s, the level
/// diagonals are D1^2 = c^2 + ((a+b)/2 + s)^2 and D2^2 = c^2 + ((a+b)/2 - s)^2, and heights add
/// the same to both: D1^2 - D2^2 = 2 s (a + b). With the right side k behind the left instead,
/// D1^2 - D2^2 = (c+k)^2 - (c-k)^2 = 4 k c. Two diagonals cannot tell the two apart: both readings
/// of them are returned.
///
/// For an asymmetrical sheet the printed difference is taken off first, as D2 (first order).
/// Millimetres. None where a number is not finite or not above zero where it must be.
///
/// ```
/// use datumtrail_geometry::network::{Diagonals, diagonals};
///
/// // 1000 mm long, 800 mm wide, the rear pair shifted 5 mm to the right.
/// let d = |across: f64| (1_000_000.0 + across * across).sqrt();
/// let check = diagonals(&Diagonals {
///     left_to_right: (d(805.0), 0.5),
///     right_to_left: (d(795.0), 0.5),
///     sheet_difference_mm: 0.0,
///     widths: (800.0, 800.0),
///     length_mm: 1000.0,
/// }).unwrap();
/// assert!((check.side_shift_mm - 5.0).abs() < 1e-9);
/// assert!((check.diamond_mm - 4.0).abs() < 1e-9);
/// assert!(check.w > 8.0);
/// ```
pub fn diagonals(four: &Diagonals) -> Option<DiagonalCheck> {
    let (d1, u1) = four.left_to_right;
    let (d2, u2) = four.right_to_left;
    let (a, b) = four.widths;
    let c = four.length_mm;
    let positive = [d1, u1, d2, u2, a, b, c];
    let usable = positive.iter().all(|v| v.is_finite() && *v > 0.0);
    if !usable || !four.sheet_difference_mm.is_finite() {
        return None;
    }
    let difference = d1 - d2 - four.sheet_difference_mm;
    let u = u1.hypot(u2);
    let d1 = d2 + difference;
    let squares = d1 * d1 - d2 * d2;
    // d(D1^2 - D2^2) = 2 D1 dD1 - 2 D2 dD2
    let squares_u = 2.0 * (d1 * u1).hypot(d2 * u2);
    Some(DiagonalCheck {
        difference_mm: difference,
        u_mm: u,
        w: difference / u,
        side_shift_mm: squares / (2.0 * (a + b)),
        side_shift_u_mm: squares_u / (2.0 * (a + b)),
        diamond_mm: squares / (4.0 * c),
        diamond_u_mm: squares_u / (4.0 * c),
    })
}

/// A symmetrical four whose two diagonals were read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Four {
    /// The pair ahead, left and right, by the places of its points.
    pub front: (usize, usize),
    /// The pair behind it.
    pub rear: (usize, usize),
    /// The two readings by their places: front left to rear right, front right to rear left.
    pub readings: (usize, usize),
    pub check: DiagonalCheck,
}

/// Every symmetrical four among `pairs` (left and right, by their places in `sheet`) of which both
/// diagonals were read in the same kind, compared by [`diagonals`]. The sheet's own uncertainty is
/// part of each diagonal's. Of repeated readings the first is taken: average them before.
///
/// ```
/// use datumtrail_geometry::frame::{Mat3, Vec3};
/// use datumtrail_geometry::network::{Observation, SheetEnd, TramKind, cross_diagonals};
///
/// let end = |x, y| Some(SheetEnd { position: Vec3::new(x, y, 0.0), covariance: Mat3::zeros() });
/// let sheet = [end(0.0, -400.0), end(0.0, 400.0), end(1000.0, -400.0), end(1000.0, 400.0)];
/// let read = |from, to, mm| Observation::new(TramKind::True.quantity(from, to), mm, 0.5);
/// let readings = [read(3, 0, 1283.8), read(1, 2, 1277.5)];
/// let fours = cross_diagonals(&sheet, &[(2, 3), (0, 1)], &readings);
/// assert_eq!((fours[0].front, fours[0].readings), ((0, 1), (0, 1)));
/// assert!((fours[0].check.difference_mm - 6.3).abs() < 1e-9);
/// ```
pub fn cross_diagonals(
    sheet: &[Option<SheetEnd>],
    pairs: &[(usize, usize)],
    readings: &[Observation],
) -> Vec<Four> {
    let mut fours = Vec::new();
    for (i, &one) in pairs.iter().enumerate() {
        for &other in &pairs[i + 1..] {
            for kind in [TramKind::True, TramKind::Level] {
                fours.extend(four(sheet, one, other, kind, readings));
            }
        }
    }
    fours
}

fn four(
    sheet: &[Option<SheetEnd>],
    one: (usize, usize),
    other: (usize, usize),
    kind: TramKind,
    readings: &[Observation],
) -> Option<Four> {
    let at = |place: usize| *sheet.get(place)?;
    let middle = |pair: (usize, usize)| {
        let (left, right) = (at(pair.0)?.position, at(pair.1)?.position);
        Some(((left.x + right.x) / 2.0, right.y - left.y))
    };
    let (front, rear) = if middle(one)?.0 <= middle(other)?.0 {
        (one, other)
    } else {
        (other, one)
    };
    let ((front_x, front_width), (rear_x, rear_width)) = (middle(front)?, middle(rear)?);
    // A reading's place, with its value and uncertainty, and what the sheet gives for it.
    let diagonal = |p: usize, q: usize| {
        let place = (readings.iter()).position(|o| {
            TramKind::of(o.quantity)
                .is_some_and(|(k, a, b)| k == kind && ((a, b) == (p, q) || (a, b) == (q, p)))
        })?;
        let reading = readings.get(place)?;
        let check = compare(reading.value_mm, reading.u_mm, kind, at(p)?, at(q)?)?;
        Some((place, (check.reading_mm, check.u_mm), check.sheet_mm))
    };
    let (first, left_to_right, sheet_first) = diagonal(front.0, rear.1)?;
    let (second, right_to_left, sheet_second) = diagonal(front.1, rear.0)?;
    let check = diagonals(&Diagonals {
        left_to_right,
        right_to_left,
        sheet_difference_mm: sheet_first - sheet_second,
        widths: (front_width, rear_width),
        length_mm: rear_x - front_x,
    })?;
    Some(Four {
        front,
        rear,
        readings: (first, second),
        check,
    })
}
