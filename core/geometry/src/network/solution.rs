//! What an adjusted network says: positions, how sure, which figures contradict the rest.

use nalgebra::{DMatrix, DVectorView};

use crate::frame::{Axis, Mat3, Vec3};

use super::judge::OPEN_CHANGE;
use super::quantity::Quantity;
use super::spectrum::Spectrum;

/// The positions and what stands behind them. Made by [`super::Network::adjust`].
#[derive(Clone, Debug)]
pub struct Solution {
    /// One for each point, in the network's order.
    pub points: Vec<Located>,
    /// One for each figure, in the network's order.
    pub figures: Vec<Checked>,
    /// The test of all figures together.
    pub fit: Fit,
    /// A figure is doubted where |w| exceeds this: the two-sided normal quantile for alpha divided
    /// by the number of figures tested.
    pub critical_w: f64,
    /// What contradicts the rest, worst first.
    pub contradictions: Vec<Contradiction>,
    /// The known points, judged by the figures.
    pub known: Vec<KnownCheck>,
    /// How many motions of the whole network the figures leave open: 0 where it is held, 6 for
    /// true distances alone, 3 with heights.
    pub open_motions: usize,
    /// Axes along which the figures cannot tell the network from its mirror image. The stated
    /// positions decided which of the two is given; without any, nothing did.
    pub blind_axes: Vec<Axis>,
    /// Single points, or all points without a height of their own, that fit nearly as well
    /// elsewhere.
    pub alternatives: Vec<Alternative>,
    pub(super) spectrum: Spectrum,
    pub(super) column: Vec<Option<usize>>,
    pub(super) mirror_planes: [f64; 3],
}

/// A point, found.
#[derive(Clone, Debug, PartialEq)]
pub struct Located {
    pub name: String,
    /// Millimetres, in the vehicle's frame, or in the frame of the stated positions.
    pub position: Vec3,
    /// Square millimetres, without the directions of which nothing is known.
    pub covariance: Mat3,
    /// Directions in which no figure should be trusted, weakest first.
    pub undetermined: Vec<Undetermined>,
}

/// A direction in which the figures do not fix a point.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Undetermined {
    /// Unit vector.
    pub direction: Vec3,
    pub why: Why,
}

/// Why a direction is undetermined.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Why {
    /// Moving the point along it changes no figure.
    Open,
    /// It is fixed so weakly that the figures bend over its own uncertainty: what the covariance
    /// says there, this many millimetres, is only an order of magnitude.
    Bent { u_mm: f64 },
}

impl Located {
    /// The standard uncertainty along an axis, or None where the figures do not determine it.
    pub fn u_mm(&self, axis: Axis) -> Option<f64> {
        let i = axis.index();
        let variance = self.covariance[(i, i)];
        let trusted = self.undetermined.iter().all(|u| match u.why {
            Why::Open => u.direction[i].abs() < 1e-4,
            Why::Bent { u_mm } => (u.direction[i] * u_mm).powi(2) < 0.5 * variance,
        });
        trusted.then(|| variance.max(0.0).sqrt())
    }

    /// The axes along which the point is not determined.
    pub fn undetermined_axes(&self) -> Vec<Axis> {
        (Axis::ALL.into_iter())
            .filter(|axis| self.u_mm(*axis).is_none())
            .collect()
    }
}

/// What became of a figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// The others confirm it, within its uncertainty.
    Agrees,
    /// The others contradict it: see [`Solution::contradictions`]. Whether it was left out stands
    /// there.
    Contradicts,
    /// Nothing checks it: a blunder in it would go unseen. Not a good figure, an unchecked one.
    Unchecked,
}

/// A figure, judged by the others.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Checked {
    pub quantity: Quantity,
    pub value_mm: f64,
    pub u_mm: f64,
    /// What the adjusted positions give.
    pub adjusted_mm: f64,
    /// r: the share of an error in this figure that shows in its own residual; 0 where nothing
    /// checks it, near 1 where the others know it better than it does. For a figure left out, as
    /// if it were in use.
    pub redundancy: f64,
    /// w: deviation from what the others say, over its standard uncertainty. None where unchecked.
    pub w: Option<f64>,
    /// What the other figures say this one should be. None where unchecked.
    pub expected_mm: Option<f64>,
    /// The smallest error in this figure that would be found with the stated power. None where
    /// unchecked.
    pub smallest_blunder_mm: Option<f64>,
    /// How far such an error, unfound, would shift the point it shifts most, and which one. None
    /// where the figure is unchecked or left out.
    pub shift: Option<Shift>,
    pub state: State,
}

/// The worst consequence of an error that goes unfound.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    pub point: usize,
    pub mm: f64,
}

/// The test of all figures together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// The weighted sum of squared residuals.
    pub chi2: f64,
    /// Figures in use, known coordinates included, beyond what the positions need.
    pub dof: usize,
    /// The probability of so large a chi-square by chance; None without degrees of freedom.
    pub p: Option<f64>,
}

/// Figures that the rest contradicts.
#[derive(Clone, Debug, PartialEq)]
pub struct Contradiction {
    /// One where the wrong figure can be named. Several where each of them could explain it nearly
    /// as well (a likelihood within 19 to 1 of the best): measure these again.
    pub figures: Vec<usize>,
    /// The standardised deviation of the first.
    pub w: f64,
    /// Whether they were left out. Several are left out together, or kept together where the
    /// network would fall apart without them; then the positions rest on a contradiction.
    pub left_out: bool,
}

impl Contradiction {
    /// The wrong figure, where it can be named.
    pub fn named(&self) -> Option<usize> {
        match self.figures[..] {
            [one] => Some(one),
            _ => None,
        }
    }
}

/// A known point, judged by the figures: how far they would move it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KnownCheck {
    pub point: usize,
    /// Where the figures put it, less where it was stated.
    pub moved: Vec3,
    /// Chi-square of that, against what it may be by chance.
    pub t: f64,
    pub dof: usize,
    /// The probability of so large a value by chance; None where nothing checks the point.
    pub p: Option<f64>,
}

/// Other positions that the figures allow nearly as well.
#[derive(Clone, Debug, PartialEq)]
pub struct Alternative {
    /// Which points lie elsewhere, and where.
    pub points: Vec<(usize, Vec3)>,
    /// How much worse the figures fit there: below 5.9, so at most 19 to 1 against it.
    pub chi2_rise: f64,
}

impl Solution {
    /// The covariance between two points in square millimetres; zero for rigidly held ones.
    pub fn covariance(&self, a: usize, b: usize) -> Mat3 {
        match (self.column.get(a), self.column.get(b)) {
            (Some(&Some(ca)), Some(&Some(cb))) => self.spectrum.block(ca, cb),
            _ => Mat3::zeros(),
        }
    }

    /// Whether the positions may be relied on: every contradiction was named or left out, and what
    /// is left passes the test of all figures together at `alpha`.
    pub fn is_sound(&self, alpha: f64) -> bool {
        let settled = self.contradictions.iter().all(|c| c.left_out);
        settled && self.fit.p.is_none_or(|p| p >= alpha)
    }

    /// The positions mirrored along an axis: for a blind axis, the other solution.
    pub fn mirrored(&self, axis: Axis) -> Vec<Vec3> {
        let i = axis.index();
        (self.points.iter())
            .map(|point| {
                let mut p = point.position;
                p[i] = 2.0 * self.mirror_planes[i] - p[i];
                p
            })
            .collect()
    }

    /// Any quantity between the points as the network has it, with its standard uncertainty; None
    /// where the figures leave it open.
    ///
    /// Use it for distances that nobody measured, and for the distances that a free network knows
    /// better than its coordinates.
    pub fn derived(&self, quantity: Quantity) -> Option<(f64, f64)> {
        let (a, b) = quantity.points();
        let count = self.points.len();
        if a >= count || b.is_some_and(|b| b >= count) {
            return None;
        }
        let at: Vec<Vec3> = self.points.iter().map(|p| p.position).collect();
        let row = self.sparse_row(quantity, &at);
        let along = |motion: DVectorView<f64>| -> f64 {
            row.iter().map(|&(column, g)| g * motion[column]).sum()
        };
        let change = |space: &DMatrix<f64>| -> f64 {
            let squares = space.column_iter().map(|motion| along(motion).powi(2));
            squares.sum::<f64>().sqrt()
        };
        let spectrum = &self.spectrum;
        let determined =
            change(&spectrum.lost) < OPEN_CHANGE && change(&spectrum.rigid) < OPEN_CHANGE;
        let variance: f64 = (row.iter())
            .map(|&(column, g)| g * along(spectrum.q.column(column)))
            .sum();
        determined.then(|| (quantity.predict(&at), variance.max(0.0).sqrt()))
    }

    /// The derivative of a quantity by the movable coordinates it touches: column and value.
    pub(super) fn sparse_row(&self, quantity: Quantity, at: &[Vec3]) -> Vec<(usize, f64)> {
        (quantity.gradient(at).parts())
            .filter_map(|(place, gradient)| Some((self.column.get(place).copied()??, gradient)))
            .flat_map(|(c, gradient)| [0, 1, 2].map(|i| (c + i, gradient[i])))
            .collect()
    }
}
