//! One point alone, the others held: a small descent, and the mirror images it may have.
//!
//! Distances to points in a plane are the same on both sides of it. So a position found from
//! distances may have a second one that fits as well: reflected in the plane through the points it
//! was measured from, or in the upright plane through them; a length along the vehicle is the same
//! ahead of its far end and behind it. [`Local::reflections`] gives those candidates; the descent
//! then finds the minimum near each.

use super::model::Observation;
use super::quantity::Quantity;
use super::settle::{Loss, System};
use crate::frame::{Mat3, Vec3};

/// One point, with the figures that touch it. `spread(index)` is the variance that the far end
/// adds to a figure: zero to take the others as exact.
pub(super) struct Local<'a> {
    pub point: usize,
    figures: Vec<(&'a Observation, f64)>,
    prior: Option<(Vec3, Mat3)>,
}

impl<'a> Local<'a> {
    pub fn new(
        system: &System<'a>,
        point: usize,
        mut spread: impl FnMut(usize, &Observation) -> f64,
    ) -> Local<'a> {
        let figures = (system.used())
            .filter(|(_, o)| o.quantity.touches(point))
            .map(|(index, o)| (o, 1.0 / (o.u_mm * o.u_mm + spread(index, o))))
            .collect();
        let prior = (system.priors().iter())
            .find(|(place, ..)| *place == point)
            .map(|&(_, position, weight)| (position, weight));
        Local {
            point,
            figures,
            prior,
        }
    }

    /// The points at the far ends of its figures, each once, in order.
    pub fn neighbours(&self) -> Vec<usize> {
        let mut places: Vec<usize> = (self.figures.iter())
            .flat_map(|(o, _)| {
                let (a, b) = o.quantity.points();
                [Some(a), b].into_iter().flatten()
            })
            .filter(|&p| p != self.point)
            .collect();
        places.sort_unstable();
        places.dedup();
        places
    }

    /// Forgets the figures whose far end fails the test.
    pub fn keep_only(&mut self, keep: impl Fn(usize) -> bool) {
        let point = self.point;
        self.figures.retain(|(o, _)| {
            let (a, b) = o.quantity.points();
            (a == point || keep(a)) && b.is_none_or(|b| b == point || keep(b))
        });
    }

    pub fn cost(&self, at: &[Vec3], loss: Loss) -> f64 {
        let figures: f64 = (self.figures.iter())
            .map(|(o, weight)| loss.cost((o.value_mm - o.quantity.predict(at)) * weight.sqrt()))
            .sum();
        figures
            + self.prior.map_or(0.0, |(position, weight)| {
                let v = position - at[self.point];
                v.dot(&(weight * v))
            })
    }

    /// Moves the point, in place, to the nearest minimum; returns the cost there.
    pub fn settle(&self, at: &mut [Vec3], loss: Loss) -> f64 {
        let mut damping = 1e-3;
        let mut cost = self.cost(at, loss);
        for _ in 0..100 {
            let (mut n, mut g) = (Mat3::zeros(), Vec3::zeros());
            for (o, weight) in &self.figures {
                let v = o.value_mm - o.quantity.predict(at);
                let weight = weight * loss.weight(v * weight.sqrt());
                let own: Vec3 = (o.quantity.gradient(at).parts())
                    .filter(|(place, _)| *place == self.point)
                    .map(|(_, gradient)| gradient)
                    .sum();
                n += own * own.transpose() * weight;
                g += own * (v * weight);
            }
            if let Some((position, weight)) = self.prior {
                n += weight;
                g += weight * (position - at[self.point]);
            }
            let scale = n.trace().max(f64::MIN_POSITIVE);
            let before = at[self.point];
            let mut improved = false;
            while damping < 1e9 {
                let Some(factor) = (n + Mat3::identity() * (damping * scale)).cholesky() else {
                    damping *= 10.0;
                    continue;
                };
                at[self.point] = before + factor.solve(&g);
                let next = self.cost(at, loss);
                if next < cost {
                    improved = cost - next > 1e-9;
                    cost = next;
                    damping = (damping / 10.0).max(1e-9);
                    break;
                }
                at[self.point] = before;
                damping *= 10.0;
            }
            if !improved {
                break;
            }
        }
        cost
    }

    /// Where the point could be mirrored to: in the plane through its neighbours, in the upright
    /// plane along them, and across the vehicle in the far end of a length.
    pub fn reflections(&self, at: &[Vec3]) -> Vec<Vec3> {
        let around: Vec<Vec3> = self.neighbours().iter().map(|&p| at[p]).collect();
        let mut answers = Vec::new();
        if around.len() >= 2 {
            let level: Vec<Vec3> = around.iter().map(|p| Vec3::new(p.x, p.y, 0.0)).collect();
            if let Some((_, along)) = principal(&level) {
                let normal = Vec3::new(-along.y, along.x, 0.0);
                answers.extend(mirrored(at[self.point], &around, normal));
            }
        }
        if around.len() >= 3
            && let Some((normal, _)) = principal(&around)
        {
            answers.extend(mirrored(at[self.point], &around, normal));
        }
        for (o, _) in &self.figures {
            if let Quantity::Length { from, to } = o.quantity {
                let far = if from == self.point { to } else { from };
                answers.extend(mirrored(at[self.point], &[at[far]], Vec3::x()));
            }
        }
        answers
    }
}

/// The directions of least and of most spread of some points.
pub(super) fn principal(points: &[Vec3]) -> Option<(Vec3, Vec3)> {
    let centre = points.iter().sum::<Vec3>() / points.len() as f64;
    let scatter: Mat3 = (points.iter())
        .map(|p| (p - centre) * (p - centre).transpose())
        .sum();
    let eigen = scatter.symmetric_eigen();
    let least = eigen.eigenvectors.column(eigen.eigenvalues.imin());
    let most = eigen.eigenvectors.column(eigen.eigenvalues.imax());
    (eigen.eigenvalues.max() > 1e-12).then(|| (least.into_owned(), most.into_owned()))
}

fn mirrored(p: Vec3, plane: &[Vec3], normal: Vec3) -> Option<Vec3> {
    let normal = normal.try_normalize(1e-9)?;
    let centre = plane.iter().sum::<Vec3>() / plane.len() as f64;
    Some(p - normal * (2.0 * normal.dot(&(p - centre))))
}
