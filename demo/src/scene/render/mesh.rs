//! Shapes: triangles, and the few ways in which everything in the pictures is made from them.
//!
//! A mesh is a plain list of triangles. Each corner has a place and a *rest* place: where it was
//! when the shape was made, before anything bent or moved it. Paints look at the rest place, so a
//! crushed door keeps its stripe and its handle where they were pressed.

use std::collections::HashMap;

use glam::{Affine3A, Vec2, Vec3};

use super::noise::floor;

/// One corner of a triangle.
#[derive(Clone, Copy, Debug)]
pub struct Corner {
    pub place: Vec3,
    pub rest: Vec3,
}

/// A shape, in millimetres.
#[derive(Clone, Debug, Default)]
pub struct Mesh {
    pub triangles: Vec<[Corner; 3]>,
}

impl Mesh {
    /// A surface over a net of `nu` by `nv` cells; `f` gives the place for (u, v) in [0, 1].
    pub fn net(nu: usize, nv: usize, f: impl Fn(f32, f32) -> Vec3) -> Mesh {
        let rows: Vec<Vec<Vec3>> = (0..=nv)
            .map(|j| {
                (0..=nu)
                    .map(|i| f(i as f32 / nu as f32, j as f32 / nv as f32))
                    .collect()
            })
            .collect();
        Mesh::through(&rows)
    }

    /// A surface through rows of points, all rows equally long.
    pub fn through(rows: &[Vec<Vec3>]) -> Mesh {
        let mut mesh = Mesh::default();
        for pair in rows.windows(2) {
            let (lower, upper) = (&pair[0], &pair[1]);
            for (a, d) in lower.windows(2).zip(upper.windows(2)) {
                mesh.quad(a[0], a[1], d[1], d[0]);
            }
        }
        mesh
    }

    fn quad(&mut self, a: Vec3, b: Vec3, c: Vec3, d: Vec3) {
        // Along the shorter diagonal, so that bends fold where sheet metal would.
        if a.distance_squared(c) <= b.distance_squared(d) {
            self.triangle(a, b, c);
            self.triangle(a, c, d);
        } else {
            self.triangle(a, b, d);
            self.triangle(b, c, d);
        }
    }

    fn triangle(&mut self, a: Vec3, b: Vec3, c: Vec3) {
        if (b - a).cross(c - a).length_squared() > 1e-8 {
            self.triangles
                .push([a, b, c].map(|p| Corner { place: p, rest: p }));
        }
    }

    /// A box of the given size about the origin, its edges rounded with `radius`.
    pub fn block(size: Vec3, radius: f32) -> Mesh {
        let half = size / 2.0;
        let radius = radius.min(half.min_element()).max(0.0);
        let inner = half - Vec3::splat(radius);
        let steps = if radius < 0.01 { 1 } else { 3 };
        // Positions along one edge: the roundings finely, the flat in one piece.
        let along = |h: f32, i: f32| -> Vec<f32> {
            let mut s: Vec<f32> = (0..=steps)
                .map(|k| {
                    let angle = std::f32::consts::FRAC_PI_4 * (1.0 - k as f32 / steps as f32);
                    -(i + radius * angle.tan())
                })
                .map(|v| v.max(-h))
                .collect();
            let mirrored: Vec<f32> = s.iter().rev().map(|v| -v).collect();
            s.extend(mirrored);
            s
        };
        let mut mesh = Mesh::default();
        for axis in 0..3 {
            let (a, b) = ((axis + 1) % 3, (axis + 2) % 3);
            for sign in [-1.0, 1.0] {
                let rows: Vec<Vec<Vec3>> = along(half[b], inner[b])
                    .iter()
                    .map(|&vb| {
                        along(half[a], inner[a])
                            .iter()
                            .map(|&va| {
                                let mut p = Vec3::ZERO;
                                p[axis] = sign * half[axis];
                                p[a] = va;
                                p[b] = vb;
                                let core = p.clamp(-inner, inner);
                                core + radius * (p - core).normalize_or_zero()
                            })
                            .collect()
                    })
                    .collect();
                mesh = mesh.and(Mesh::through(&rows));
            }
        }
        mesh
    }

    /// A profile of (radius, height) turned about the z axis.
    pub fn lathe(profile: &[(f32, f32)], segments: usize) -> Mesh {
        let rows: Vec<Vec<Vec3>> = profile
            .iter()
            .map(|&(r, z)| {
                (0..=segments)
                    .map(|i| {
                        let angle = std::f32::consts::TAU * i as f32 / segments as f32;
                        Vec3::new(r * angle.cos(), r * angle.sin(), z)
                    })
                    .collect()
            })
            .collect();
        Mesh::through(&rows)
    }

    /// A round bar along z from 0 to `length`, ends slightly chamfered.
    pub fn rod(radius: f32, length: f32, segments: usize) -> Mesh {
        let c = (radius * 0.12).min(length * 0.2);
        let r = radius;
        Mesh::lathe(
            &[
                (0.0, 0.0),
                (r - c, 0.0),
                (r, c),
                (r, length - c),
                (r - c, length),
                (0.0, length),
            ],
            segments,
        )
    }

    pub fn ball(radius: f32, segments: usize) -> Mesh {
        let profile: Vec<(f32, f32)> = (0..=segments / 2)
            .map(|i| {
                let a = std::f32::consts::PI * (i as f32 / (segments / 2) as f32 - 0.5);
                (radius * a.cos(), radius * a.sin())
            })
            .collect();
        Mesh::lathe(&profile, segments)
    }

    /// A round tube along a path; `radius` as a function of the fraction of the path.
    pub fn tube(path: &[Vec3], segments: usize, radius: impl Fn(f32) -> f32) -> Mesh {
        let ring: Vec<Vec2> = (0..=segments)
            .map(|i| Vec2::from_angle(std::f32::consts::TAU * i as f32 / segments as f32))
            .collect();
        let last = path.len().saturating_sub(1).max(1) as f32;
        let rows: Vec<Vec<Vec3>> = frames(path)
            .iter()
            .enumerate()
            .map(|(i, &(at, right, up))| {
                let r = radius(i as f32 / last);
                ring.iter()
                    .map(|c| at + (right * c.x + up * c.y) * r)
                    .collect()
            })
            .collect();
        let mut mesh = Mesh::through(&rows);
        for row in [rows.first(), rows.last()].into_iter().flatten() {
            let centre = row.iter().copied().sum::<Vec3>() / row.len() as f32;
            for w in row.windows(2) {
                mesh.triangle(centre, w[0], w[1]);
            }
        }
        mesh
    }

    /// A cross-section carried along x from `from` to `to` in `steps`: section coordinates are
    /// (y, z). The section is open; repeat its first point to close it.
    pub fn section(section: &[Vec2], from: f32, to: f32, steps: usize) -> Mesh {
        let rows: Vec<Vec<Vec3>> = (0..=steps)
            .map(|i| {
                let x = from + (to - from) * i as f32 / steps as f32;
                section.iter().map(|p| Vec3::new(x, p.x, p.y)).collect()
            })
            .collect();
        Mesh::through(&rows)
    }

    /// A flat plate with an outline in (x, y), convex or star-shaped about its middle, from z = 0
    /// up to `thickness`.
    pub fn plate(outline: &[Vec2], thickness: f32) -> Mesh {
        let middle = outline.iter().copied().sum::<Vec2>() / outline.len().max(1) as f32;
        let mut mesh = Mesh::default();
        for (i, &a) in outline.iter().enumerate() {
            let b = outline[(i + 1) % outline.len()];
            let (lo, hi) = (0.0, thickness);
            mesh.triangle(middle.extend(hi), a.extend(hi), b.extend(hi));
            mesh.triangle(middle.extend(lo), b.extend(lo), a.extend(lo));
            if thickness > 0.0 {
                mesh.quad(a.extend(lo), b.extend(lo), b.extend(hi), a.extend(hi));
            }
        }
        mesh
    }

    pub fn and(mut self, other: Mesh) -> Mesh {
        self.triangles.extend(other.triangles);
        self
    }

    /// Moves every corner; the rest place stays.
    pub fn bend(mut self, f: impl Fn(Vec3) -> Vec3) -> Mesh {
        for corner in self.triangles.iter_mut().flatten() {
            corner.place = f(corner.place);
        }
        self
    }

    pub fn put(self, transform: Affine3A) -> Mesh {
        self.bend(|p| transform.transform_point3(p))
    }

    pub fn at(self, x: f32, y: f32, z: f32) -> Mesh {
        self.bend(|p| p + Vec3::new(x, y, z))
    }

    /// Turns the shape's z axis into `axis`.
    pub fn along(self, axis: Vec3) -> Mesh {
        let turn = glam::Quat::from_rotation_arc(Vec3::Z, axis.normalize_or(Vec3::Z));
        self.bend(|p| turn * p)
    }

    /// Takes the present place as the rest place.
    pub fn settle(mut self) -> Mesh {
        for corner in self.triangles.iter_mut().flatten() {
            corner.rest = corner.place;
        }
        self
    }

    /// A normal for each corner: the triangles that meet there are averaged, except across edges
    /// sharper than `crease` degrees.
    pub fn normals(&self, crease: f32) -> Vec<[Vec3; 3]> {
        let flat: Vec<Vec3> = self
            .triangles
            .iter()
            .map(|[a, b, c]| (b.place - a.place).cross(c.place - a.place))
            .collect();
        let units: Vec<Vec3> = flat.iter().map(|n| n.normalize_or_zero()).collect();
        let key = |p: Vec3| {
            let q = p * 64.0;
            [floor(q.x + 0.5), floor(q.y + 0.5), floor(q.z + 0.5)]
        };
        // The corners that meet at a place are a chain through `next`.
        const END: u32 = u32::MAX;
        let mut first: HashMap<[i32; 3], u32, Mix> =
            HashMap::with_capacity_and_hasher(self.triangles.len(), Mix);
        let mut next = Vec::with_capacity(3 * self.triangles.len());
        let mut own_chain = Vec::with_capacity(3 * self.triangles.len());
        let mut heads: Vec<u32> = Vec::new();
        for c in self.triangles.iter().flatten() {
            let number = next.len() as u32;
            let chain = *first.entry(key(c.place)).or_insert(heads.len() as u32);
            if chain as usize == heads.len() {
                heads.push(END);
            }
            next.push(heads[chain as usize]);
            heads[chain as usize] = number;
            own_chain.push(chain);
        }
        let least = crease.to_radians().cos();
        units
            .iter()
            .enumerate()
            .map(|(t, unit)| {
                [0, 1, 2].map(|k| {
                    let mut sum = Vec3::ZERO;
                    let mut corner = heads[own_chain[3 * t + k] as usize];
                    while corner != END {
                        let other = corner as usize / 3;
                        let along = units[other].dot(*unit);
                        // Winding is not promised, so the other side of a sheet counts as well.
                        if along.abs() >= least {
                            sum += flat[other] * along.signum();
                        }
                        corner = next[corner as usize];
                    }
                    sum.normalize_or(*unit)
                })
            })
            .collect()
    }
}

/// A path's frames: place, and two directions across, carried along without twisting.
fn frames(path: &[Vec3]) -> Vec<(Vec3, Vec3, Vec3)> {
    let mut right = Vec3::ZERO;
    (0..path.len())
        .map(|i| {
            let before = path[i.saturating_sub(1)];
            let after = path[(i + 1).min(path.len() - 1)];
            let along = (after - before).normalize_or(Vec3::Z);
            let start = if right == Vec3::ZERO {
                along.any_orthonormal_vector()
            } else {
                right
            };
            right = (start - along * along.dot(start)).normalize_or(along.any_orthonormal_vector());
            (path[i], right, along.cross(right))
        })
        .collect()
}

/// A cheap hasher for lattice keys; the standard one is safe against attackers, of whom a drawing
/// has none, and takes a third of the time of a picture.
#[derive(Clone, Copy, Default)]
struct Mix;

impl std::hash::BuildHasher for Mix {
    type Hasher = MixHasher;
    fn build_hasher(&self) -> MixHasher {
        MixHasher(0)
    }
}

struct MixHasher(u64);

impl std::hash::Hasher for MixHasher {
    fn finish(&self) -> u64 {
        self.0
    }
    fn write(&mut self, bytes: &[u8]) {
        for &b in bytes {
            self.write_i32(i32::from(b));
        }
    }
    fn write_i32(&mut self, v: i32) {
        self.0 = (self.0.rotate_left(23) ^ u64::from(v as u32)).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        self.0 ^= self.0 >> 29;
    }
}

/// A rounded rectangle as a closed outline of (x, y), its first point repeated at the end.
pub fn rounded(width: f32, height: f32, radius: f32, steps: usize) -> Vec<Vec2> {
    let half = Vec2::new(width / 2.0 - radius, height / 2.0 - radius);
    let mut outline = Vec::new();
    for (quarter, centre) in [
        half,
        Vec2::new(-half.x, half.y),
        -half,
        Vec2::new(half.x, -half.y),
    ]
    .iter()
    .enumerate()
    {
        for k in 0..=steps {
            let angle = std::f32::consts::FRAC_PI_2 * (quarter as f32 + k as f32 / steps as f32);
            outline.push(*centre + radius * Vec2::from_angle(angle));
        }
    }
    if let Some(&first) = outline.first() {
        outline.push(first);
    }
    outline
}

/// A smooth path through points (Catmull-Rom), `steps` pieces between neighbours.
pub fn smooth(points: &[Vec3], steps: usize) -> Vec<Vec3> {
    let get = |i: isize| points[i.clamp(0, points.len() as isize - 1) as usize];
    let mut path = Vec::new();
    for i in 0..points.len().saturating_sub(1) as isize {
        let (a, b, c, d) = (get(i - 1), get(i), get(i + 1), get(i + 2));
        for k in 0..steps {
            let t = k as f32 / steps as f32;
            path.push(
                0.5 * (2.0 * b
                    + (c - a) * t
                    + (2.0 * a - 5.0 * b + 4.0 * c - d) * t * t
                    + (3.0 * b - a - 3.0 * c + d) * t * t * t),
            );
        }
    }
    path.extend(points.last());
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_has_its_size_and_smooth_outward_normals() {
        let block = Mesh::block(Vec3::new(100.0, 60.0, 40.0), 8.0);
        let far = block
            .triangles
            .iter()
            .flatten()
            .map(|c| c.place.abs())
            .fold(Vec3::ZERO, Vec3::max);
        assert!((far - Vec3::new(50.0, 30.0, 20.0)).length() < 1e-3, "{far}");
        for (t, n) in block.triangles.iter().zip(block.normals(40.0)) {
            for (c, n) in t.iter().zip(n) {
                assert!((n.length() - 1.0).abs() < 1e-4);
                // Winding is not promised; the line of the normal is.
                assert!(n.dot(c.place).abs() > 1.0);
            }
        }
    }

    #[test]
    fn bending_keeps_the_rest_place() {
        let bent = Mesh::rod(5.0, 50.0, 8).at(0.0, 0.0, 100.0);
        for c in bent.triangles.iter().flatten() {
            assert!((c.place - c.rest - Vec3::Z * 100.0).length() < 1e-3);
        }
    }

    #[test]
    fn a_smooth_path_passes_through_its_points() {
        let points = [
            Vec3::ZERO,
            Vec3::new(10.0, 5.0, 0.0),
            Vec3::new(20.0, 0.0, 3.0),
        ];
        let path = smooth(&points, 4);
        assert_eq!(path.len(), 9);
        assert!(
            points
                .iter()
                .all(|p| path.iter().any(|q| q.distance(*p) < 1e-4))
        );
    }
}
