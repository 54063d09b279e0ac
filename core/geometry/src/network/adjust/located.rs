//! What one adjustment says of each point: where it is, how sure, and what is not fixed.

use crate::frame::{Axis, Mat3, Vec3};
use crate::network::judge;
use crate::network::model::Place;
use crate::network::quantity::Quantity;
use crate::network::settle::{Loss, System};
use crate::network::solution::{KnownCheck, Located, Undetermined, Why};
use crate::network::spectrum::Spectrum;
use crate::stats;

pub(super) fn locate(system: &System, at: &[Vec3], spectrum: &Spectrum) -> Vec<Located> {
    (system.network.points().iter().enumerate())
        .map(|(place, point)| {
            let (covariance, undetermined) = match system.column[place] {
                Some(c) => (spectrum.block(c, c), undetermined(system, at, spectrum, c)),
                None => (Mat3::zeros(), Vec::new()),
            };
            Located {
                name: point.name.clone(),
                position: at[place],
                covariance,
                undetermined,
            }
        })
        .collect()
}

/// Below this standard uncertainty no distance on a vehicle bends enough to matter.
const STRAIGHT_MM: f64 = 1.0;

fn undetermined(
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
    column: usize,
) -> Vec<Undetermined> {
    let open = spectrum.lost.fixed_rows::<3>(column);
    let spread: Mat3 = open * open.transpose();
    let eigen = spread.symmetric_eigen();
    let mut answers: Vec<Undetermined> = (eigen.eigenvalues.iter())
        .zip(eigen.eigenvectors.column_iter())
        // a motion of unit length in which this point takes a noticeable part
        .filter(|(lambda, _)| **lambda > 1e-8)
        .map(|(_, v)| Undetermined {
            direction: v.into_owned(),
            why: Why::Open,
        })
        .collect();
    let eigen = spectrum.block(column, column).symmetric_eigen();
    let mut bent: Vec<(f64, Vec3)> = (eigen.eigenvalues.iter())
        .zip(eigen.eigenvectors.column_iter())
        .map(|(variance, v)| (variance.max(0.0).sqrt(), v.into_owned()))
        .filter(|(u, v)| *u > STRAIGHT_MM && bends(system, at, spectrum, column, v, *u))
        .collect();
    bent.sort_by(|a, b| b.0.total_cmp(&a.0));
    answers.extend(bent.into_iter().map(|(u_mm, direction)| Undetermined {
        direction,
        why: Why::Bent { u_mm },
    }));
    answers
}

/// Whether chi-square departs from its parabola within two standard uncertainties: moving the
/// point by 2u along the direction, all others following as the covariance has it, should raise
/// chi-square by 4. Below 2 or above 8 on either side the parabola is no guide.
fn bends(
    system: &System,
    at: &[Vec3],
    spectrum: &Spectrum,
    column: usize,
    direction: &Vec3,
    u: f64,
) -> bool {
    let here = system.cost(at, Loss::Square);
    let regression = spectrum.q.fixed_columns::<3>(column) * direction / u;
    [-2.0, 2.0].into_iter().any(|t| {
        let there = system.moved(at, &(&regression * t));
        let rise = system.cost(&there, Loss::Square) - here;
        !(2.0..=8.0).contains(&rise)
    })
}

/// The known points that carry a covariance, judged by the figures.
pub(super) fn judge_known(system: &System, at: &[Vec3], spectrum: &Spectrum) -> Vec<KnownCheck> {
    (system.priors().iter())
        .filter_map(|&(point, position, weight)| {
            let c = system.column[point]?;
            let s = weight.try_inverse()?;
            let moved = at[point] - position;
            let (t, dof) = judge::known_move(moved, s, spectrum.block(c, c));
            Some(KnownCheck {
                point,
                moved,
                t,
                dof,
                p: (dof > 0).then(|| stats::chi2_exceeds(t, dof)),
            })
        })
        .collect()
}

/// The axes whose sense nothing tells, and for every axis the plane to mirror in.
pub(super) fn blind(system: &System, at: &[Vec3]) -> (Vec<Axis>, [f64; 3]) {
    let known: Vec<Vec3> = (system.network.points().iter())
        .filter_map(|point| match point.place {
            Place::Known { position, .. } => Some(position),
            _ => None,
        })
        .collect();
    // Where one point stands for both sides, right is right by definition.
    let folded = system.network.observations().iter().any(|o| {
        matches!(
            o.quantity,
            Quantity::Span { .. } | Quantity::TrueDiagonal { .. } | Quantity::LevelDiagonal { .. }
        )
    });
    let mut planes = [0.0; 3];
    let axes = Axis::ALL.into_iter().filter(|axis| {
        let i = axis.index();
        let mean = |of: &[Vec3]| of.iter().map(|p| p[i]).sum::<f64>() / of.len() as f64;
        planes[i] = match axis {
            Axis::Width if folded => 0.0,
            _ if known.is_empty() => mean(at),
            _ => mean(&known),
        };
        let in_plane = known.iter().all(|p| (p[i] - planes[i]).abs() < 1e-6);
        let blind = system
            .used()
            .all(|(_, o)| o.quantity.is_blind_to_sign_of(*axis));
        in_plane && blind && !(folded && *axis == Axis::Width)
    });
    (axes.collect(), planes)
}
