//! One zone's points, and every candidate shape fitted to them.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::layout::{SAME_MEMBER_MM, Zone};
use super::measured::{DamageError, Measured, MeasuredPoint};
use super::shape::{Laid, Scope, Shape};
use crate::frame::{Side, Vec3};

/// Points whose lengths differ by less from neighbour to neighbour make one station (mm).
const SAME_STATION_MM: f64 = 60.0;
/// A parameter of which one millimetre moves the points by less is not determined (see
/// `correct::freedoms`).
const LEAST_LEVERAGE: f64 = 0.02;

/// The used points of one zone, from the passenger cell outwards.
pub(super) struct End<'a> {
    pub measured: &'a Measured,
    pub zone: Zone,
    pub used: Vec<usize>,
    pub deviations: DVector<f64>,
    root: Cholesky<f64, Dyn>,
    /// Where each station begins in `used`.
    pub stations: Vec<usize>,
}

/// A candidate with its fit.
pub(super) struct Fit {
    pub laid: Laid,
    pub members: Vec<String>,
    /// The places in `used` of the points that moved.
    pub moved: Vec<usize>,
    pub parameters: DVector<f64>,
    pub covariance: DMatrix<f64>,
    pub chi2: f64,
}

impl<'a> End<'a> {
    pub fn new(
        measured: &'a Measured,
        zone: Zone,
        mut used: Vec<usize>,
    ) -> Result<Self, DamageError> {
        let points = measured.points();
        let out = |i: usize| points[i].spec.x * zone.outward().unwrap_or(1.0);
        // The name decides between points at the same length, so that the order given does not.
        used.sort_by(|&a, &b| {
            out(a)
                .total_cmp(&out(b))
                .then_with(|| points[a].name.cmp(&points[b].name))
        });
        let begins = |k: &usize| *k == 0 || out(used[*k]) - out(used[*k - 1]) > SAME_STATION_MM;
        let stations = (0..used.len()).filter(begins).collect();
        let (deviations, covariance) = measured.select(&used);
        let root = covariance
            .cholesky()
            .ok_or(DamageError::Covariance { zone: zone.word() })?;
        Ok(End {
            measured,
            zone,
            used,
            deviations,
            root,
            stations,
        })
    }

    /// Every shape on every scope and line from every station that leaves readings to check it by;
    /// where two cover the same points, the one that is said more simply.
    pub fn candidates(&self, white: &DMatrix<f64>) -> Vec<Fit> {
        let Some(outward) = self.zone.outward() else {
            return Vec::new();
        };
        let mut seen = BTreeSet::new();
        let mut fits = Vec::new();
        let everything = std::iter::once(Vec::new());
        for members in everything.chain(self.lines()) {
            for scope in Scope::ALL {
                for station in &self.stations {
                    let moved = self.covered(*station, scope, &members);
                    let sides: BTreeSet<Side> = moved.iter().map(|&k| self.side(k)).collect();
                    // What is all on one side is told as that side.
                    let one_side = sides.len() < 2 && !sides.contains(&Side::Centre);
                    if (scope == Scope::Both && one_side) || !seen.insert(moved.clone()) {
                        continue;
                    }
                    for shape in Shape::ALL {
                        let laid = self.lay(shape, scope, &moved, outward);
                        fits.extend(laid.and_then(|laid| self.fit(laid, &members, &moved, white)));
                    }
                }
            }
        }
        fits
    }

    /// The points of a scope and of some members (none: of all) from a place outwards.
    pub fn covered(&self, from: usize, scope: Scope, members: &[String]) -> Vec<usize> {
        let covers = |k: &usize| {
            let p = self.point(self.used[*k]);
            scope.holds(p.side) && (members.is_empty() || members.contains(&p.member))
        };
        (from..self.used.len()).filter(covers).collect()
    }

    /// The members of the zone, each with its opposite on the other side: the nearest in width and
    /// height, if they are each other's nearest.
    fn lines(&self) -> Vec<Vec<String>> {
        let mut at: BTreeMap<&str, (Side, Vec3, f64)> = BTreeMap::new();
        for &i in &self.used {
            let p = self.point(i);
            let entry = at.entry(&p.member).or_insert((p.side, Vec3::zeros(), 0.0));
            entry.1 += Vec3::new(0.0, p.spec.y.abs(), p.spec.z);
            entry.2 += 1.0;
        }
        let nearest = |member: &str| -> Option<&str> {
            let (side, sum, n) = at.get(member)?;
            let apart =
                |(_, (_, other, m)): &(&&str, &(Side, Vec3, f64))| (sum / *n - other / *m).norm();
            let opposite = at
                .iter()
                .filter(|(_, (s, ..))| *s == side.opposite() && s != side);
            let near = opposite.filter(|o| apart(o) <= SAME_MEMBER_MM);
            near.min_by(|a, b| apart(a).total_cmp(&apart(b)))
                .map(|(name, _)| *name)
        };
        let mut lines = Vec::new();
        for (member, (side, ..)) in &at {
            let opposite = nearest(member).filter(|other| nearest(other) == Some(member));
            match opposite {
                // Told once, from the left.
                Some(_) if *side == Side::Right => {}
                Some(other) => lines.push(vec![member.to_string(), other.to_string()]),
                None => lines.push(vec![member.to_string()]),
            }
        }
        lines
    }

    /// Lays a shape onto the points that moved; `None` where they can't tell it.
    fn lay(&self, shape: Shape, scope: Scope, moved: &[usize], outward: f64) -> Option<Laid> {
        let points: Vec<(Vec3, Side)> = moved
            .iter()
            .map(|&k| self.point(self.used[k]))
            .map(|p| (p.spec, p.side))
            .collect();
        let n = points.len() as f64;
        let middle = points.iter().map(|(x, _)| x).sum::<Vec3>() / n;
        let radius = points
            .iter()
            .map(|(x, _)| (x - middle).norm_squared())
            .sum::<f64>()
            / n;
        let (innermost, outermost) = (points.first()?.0.x, points.last()?.0.x);
        let hinge = self.hinge(*moved.first()?, outward);
        if shape.needs_both_sides() && scope != Scope::Both {
            return None;
        }
        let bends = !matches!(shape, Shape::Push | Shape::PushEach | Shape::Block);
        let several_stations = (outermost - innermost).abs() > SAME_STATION_MM;
        if bends && !(several_stations && hinge.is_some()) {
            return None;
        }
        let laid = Laid {
            shape,
            scope,
            outward,
            hinge: hinge.unwrap_or(innermost),
            end: outermost,
            middle,
            radius: radius.sqrt().max(1.0),
            basis: DMatrix::zeros(0, 0),
        }
        .determined_by(&points, LEAST_LEVERAGE);
        let all = laid.full_effect(middle, Side::Centre).ncols();
        // A block may leave the turn about a line of points open; another shape must be whole. And
        // a point's worth of readings must be left to check the shape by.
        let whole = shape == Shape::Block || laid.parameters() == all;
        let checked = 3 * moved.len() >= laid.parameters() + 3;
        (whole && checked).then_some(laid)
    }

    /// The length at which a bend from here outwards begins: the next point inwards, of the zone
    /// or of the passenger cell, reference points included.
    fn hinge(&self, from: usize, outward: f64) -> Option<f64> {
        let begins = self.point(*self.used.get(from)?).spec.x * outward;
        let inwards = self.measured.points().iter().map(|p| p.spec.x * outward);
        let nearest = inwards
            .filter(|x| *x < begins - SAME_STATION_MM)
            .reduce(f64::max)?;
        Some(nearest * outward)
    }

    fn fit(
        &self,
        laid: Laid,
        members: &[String],
        moved: &[usize],
        white: &DMatrix<f64>,
    ) -> Option<Fit> {
        let design = self.design(&laid, moved);
        let (parameters, covariance, chi2) = self.solve(design, white)?;
        Some(Fit {
            laid,
            members: members.to_vec(),
            moved: moved.to_vec(),
            parameters,
            covariance,
            chi2,
        })
    }

    /// What each parameter does to each deviation.
    fn design(&self, laid: &Laid, moved: &[usize]) -> DMatrix<f64> {
        let mut design = DMatrix::zeros(self.deviations.len(), laid.parameters());
        for &k in moved {
            let p = self.point(self.used[k]);
            design
                .rows_mut(3 * k, 3)
                .copy_from(&laid.effect(p.spec, p.side));
        }
        design
    }

    /// Whether everything that `simple` can say, `rich` can say too: then it is no other
    /// explanation, only one with more freedom.
    pub fn includes(&self, rich: &Fit, simple: &Fit) -> bool {
        let all = self.design(&rich.laid, &rich.moved);
        let part = self.design(&simple.laid, &simple.moved);
        let Some(normal) = (all.transpose() * &all).cholesky() else {
            return false;
        };
        let left = &part - &all * normal.solve(&(all.transpose() * &part));
        left.amax() < 1e-6 * part.amax()
    }

    /// Generalised least squares: the parameters, their covariance, and the chi-square left.
    pub fn solve(
        &self,
        design: DMatrix<f64>,
        white: &DMatrix<f64>,
    ) -> Option<(DVector<f64>, DMatrix<f64>, f64)> {
        let design = self.whiten(design);
        let covariance = (design.transpose() * &design).cholesky()?.inverse();
        let parameters = &covariance * (design.transpose() * white);
        let chi2 = (white - design * &parameters).norm_squared();
        Some((parameters.column(0).into_owned(), covariance, chi2))
    }

    /// Makes the errors independent with variance one.
    pub fn whiten(&self, columns: DMatrix<f64>) -> DMatrix<f64> {
        // The factor has a positive diagonal, so the triangular system has a solution.
        self.root
            .l_dirty()
            .solve_lower_triangular(&columns)
            .unwrap_or(columns)
    }

    fn side(&self, k: usize) -> Side {
        self.point(self.used[k]).side
    }

    pub fn point(&self, i: usize) -> &MeasuredPoint {
        &self.measured.points()[i]
    }
}
