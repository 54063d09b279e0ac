//! Which triangle is seen where: a depth buffer over the picture.
//!
//! Four samples a pixel on a rotated grid keep edges smooth; shading happens later and only for
//! what is seen. The same code draws the shadow maps.

use glam::{DVec2, Vec2, Vec3, Vec4};

use super::{Camera, Face, Lens, World};

/// What the buffer holds where nothing was drawn.
pub const NOTHING: u32 = u32::MAX;

/// Where the four samples sit in a pixel of the picture.
pub const SAMPLES: [Vec2; 4] = [
    Vec2::new(0.375, 0.125),
    Vec2::new(0.875, 0.375),
    Vec2::new(0.125, 0.625),
    Vec2::new(0.625, 0.875),
];
/// In a shadow map, the four samples of a cell are a finer grid.
pub const GRID: [Vec2; 4] = [
    Vec2::new(0.25, 0.25),
    Vec2::new(0.75, 0.25),
    Vec2::new(0.25, 0.75),
    Vec2::new(0.75, 0.75),
];

/// A linear function of the pixel, relative to the triangle's own corner of the screen (32-bit
/// numbers would not hold it relative to the screen's).
#[derive(Clone, Copy, Debug, Default)]
struct Plane {
    dx: f32,
    dy: f32,
    c: f32,
}

impl Plane {
    fn at(&self, x: f32, y: f32) -> f32 {
        self.dx * x + self.dy * y + self.c
    }
}

/// A triangle on the screen, after clipping: its part of a face, and how to find the weights of
/// its corners at any pixel.
#[derive(Clone, Copy, Debug)]
pub struct Seen {
    /// Index into [`World`]'s faces.
    pub face: u32,
    origin: Vec2,
    edges: [Plane; 3],

    inverse: [f32; 3],
    /// The corners as weights of the face's own corners (they differ only where it was clipped).
    weights: [Vec3; 3],
}

impl Seen {
    /// The weights of the face's three corners at a pixel, in space (not on the screen).
    pub fn weights_at(&self, pixel: Vec2) -> Vec3 {
        let p = pixel - self.origin;
        let mut sum = 0.0;
        let mut total = Vec3::ZERO;
        for k in 0..3 {
            let w = self.edges[k].at(p.x, p.y).clamp(0.0, 1.0) * self.inverse[k];
            sum += w;
            total += self.weights[k] * w;
        }
        if sum > 0.0 {
            total / sum
        } else {
            self.weights[0]
        }
    }
}

/// The picture as seen: for each sample the nearest triangle and its inverse distance.
pub struct Buffer {
    pub width: usize,
    pub height: usize,
    pub seen: Vec<Seen>,
    /// 1 / distance along the camera's axis; 0 where nothing is.
    pub depth: Vec<Vec4>,
    /// Index into `seen`, or [`NOTHING`].
    pub index: Vec<[u32; 4]>,
}

/// Draws the world with four samples a pixel.
pub fn picture(world: &World, camera: &Camera, width: usize, height: usize) -> Buffer {
    draw(world, camera, width, height, &SAMPLES, |_| true)
}

/// Draws what throws shadows, as a lamp sees it: cells of two by two samples.
pub fn shadow(world: &World, camera: &Camera, cells: usize) -> Buffer {
    draw(world, camera, cells, cells, &GRID, |face| face.casts)
}

fn draw(
    world: &World,
    camera: &Camera,
    width: usize,
    height: usize,
    samples: &[Vec2; 4],
    wanted: impl Fn(&Face) -> bool,
) -> Buffer {
    let mut buffer = Buffer {
        width,
        height,
        seen: Vec::with_capacity(world.faces.len()),
        depth: vec![Vec4::ZERO; width * height],
        index: vec![[NOTHING; 4]; width * height],
    };
    let lens = camera.lens(width, height);
    let across = Vec4::from_array(samples.map(|s| s.x));
    let down = Vec4::from_array(samples.map(|s| s.y));
    let mut pen = Pen {
        buffer: &mut buffer,
        world,
        lens,
        across,
        down,
    };
    let near = camera.near;
    // Surroundings come first in a world; drawn last, most of them is hidden already.
    for (number, face) in world.faces.iter().enumerate().rev() {
        if !wanted(face) {
            continue;
        }
        let [a, b, c] = face.place;
        let inside = [lens.to_camera(a), lens.to_camera(b), lens.to_camera(c)];
        if inside[0].z >= near && inside[1].z >= near && inside[2].z >= near {
            pen.fill(face, number as u32, inside, [Vec3::X, Vec3::Y, Vec3::Z]);
        } else if inside.iter().any(|p| p.z > near) {
            for (points, weights) in clip(inside, near) {
                pen.fill(face, number as u32, points, weights);
            }
        }
    }
    buffer
}

/// Cuts a triangle at the near plane: one or two triangles, with their corners as weights.
fn clip(points: [Vec3; 3], near: f32) -> Vec<([Vec3; 3], [Vec3; 3])> {
    let unit = [Vec3::X, Vec3::Y, Vec3::Z];
    let mut kept: Vec<(Vec3, Vec3)> = Vec::with_capacity(4);
    for i in 0..3 {
        let j = (i + 1) % 3;
        let (a, b) = (points[i], points[j]);
        if a.z >= near {
            kept.push((a, unit[i]));
        }
        if (a.z >= near) != (b.z >= near) {
            let t = (near - a.z) / (b.z - a.z);
            kept.push((a.lerp(b, t), unit[i].lerp(unit[j], t)));
        }
    }
    (1..kept.len().saturating_sub(1))
        .map(|i| {
            let corners = [kept[0], kept[i], kept[i + 1]];
            (corners.map(|c| c.0), corners.map(|c| c.1))
        })
        .collect()
}

/// Fills triangles into a buffer.
struct Pen<'a> {
    buffer: &'a mut Buffer,
    world: &'a World,
    lens: Lens,
    /// Where the samples sit in a pixel.
    across: Vec4,
    down: Vec4,
}

impl Pen<'_> {
    /// Fills one triangle, given in the camera's frame, all of it in front of the near plane.
    fn fill(&mut self, face: &Face, number: u32, points: [Vec3; 3], weights: [Vec3; 3]) {
        let [p, q, r] = [
            self.lens.to_screen(points[0]),
            self.lens.to_screen(points[1]),
            self.lens.to_screen(points[2]),
        ];
        let (lo, hi) = (p.min(q).min(r), p.max(q).max(r));
        let (w, h) = (self.buffer.width as f32, self.buffer.height as f32);
        if hi.x <= 0.0 || hi.y <= 0.0 || lo.x >= w || lo.y >= h {
            return;
        }
        let origin = Vec2::new((lo.x.max(0.0) as i32) as f32, (lo.y.max(0.0) as i32) as f32);
        let end = Vec2::new(
            (hi.x.min(w - 1.0) as i32) as f32,
            (hi.y.min(h - 1.0) as i32) as f32,
        );
        let (p, q, r) = (
            (p - origin).as_dvec2(),
            (q - origin).as_dvec2(),
            (r - origin).as_dvec2(),
        );
        let area = (q - p).perp_dot(r - p);
        if area.abs() < 1e-6 {
            return;
        }
        let over = 1.0 / area;
        // Each corner's weight: 1 there, 0 along the side opposite.
        let plane = |a: DVec2, b: DVec2| Plane {
            dx: ((a.y - b.y) * over) as f32,
            dy: ((b.x - a.x) * over) as f32,
            c: (a.perp_dot(b) * over) as f32,
        };
        let edges = [plane(q, r), plane(r, p), plane(p, q)];
        let inverse = [1.0 / points[0].z, 1.0 / points[1].z, 1.0 / points[2].z];
        let mut depth = Plane::default();
        for k in 0..3 {
            depth.dx += edges[k].dx * inverse[k];
            depth.dy += edges[k].dy * inverse[k];
            depth.c += edges[k].c * inverse[k];
        }
        let seen = Seen {
            face: number,
            origin,
            edges,
            inverse,
            weights,
        };
        let id = self.buffer.seen.len() as u32;
        self.buffer.seen.push(seen);
        let hole = self
            .world
            .looks
            .get(face.look as usize)
            .and_then(|l| l.hole.as_ref());

        let spread = |p: &Plane| self.across * p.dx + self.down * p.dy;
        let [s0, s1, s2] = [spread(&edges[0]), spread(&edges[1]), spread(&edges[2])];
        let s_depth = spread(&depth);
        for row in 0..=(end.y - origin.y) as usize {
            let y = row as f32;
            // The part of the row where all three edges can be positive.
            let (mut from, mut to) = (0.0f32, end.x - origin.x);
            for e in &edges {
                let most = e.c + (e.dy * y).max(e.dy * (y + 1.0));
                if e.dx > 1e-12 {
                    from = from.max(-most / e.dx - 1.0);
                } else if e.dx < -1e-12 {
                    to = to.min(-most / e.dx);
                } else if most < 0.0 {
                    to = -1.0;
                }
            }
            if to < from {
                continue;
            }
            let start = (origin.y as usize + row) * self.buffer.width + origin.x as usize;
            for column in from as i32 as usize..=to as i32 as usize {
                let x = column as f32;
                let cell = start + column;
                let (Some(depths), Some(indices)) = (
                    self.buffer.depth.get_mut(cell),
                    self.buffer.index.get_mut(cell),
                ) else {
                    continue;
                };
                let d = s_depth + depth.at(x, y);
                let mut shown = (s0 + edges[0].at(x, y)).cmpge(Vec4::ZERO)
                    & (s1 + edges[1].at(x, y)).cmpge(Vec4::ZERO)
                    & (s2 + edges[2].at(x, y)).cmpge(Vec4::ZERO)
                    & d.cmpgt(*depths);
                if !shown.any() {
                    continue;
                }
                if let Some(hole) = hole {
                    for k in 0..4 {
                        if shown.test(k) {
                            let at = origin + Vec2::new(x + self.across[k], y + self.down[k]);
                            let b = seen.weights_at(at);
                            let rest = face.rest[0] * b.x + face.rest[1] * b.y + face.rest[2] * b.z;
                            shown.set(k, !hole(rest));
                        }
                    }
                }
                *depths = Vec4::select(shown, d, *depths);
                for (k, index) in indices.iter_mut().enumerate() {
                    if shown.test(k) {
                        *index = id;
                    }
                }
            }
        }
    }
}
