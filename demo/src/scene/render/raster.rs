//! Which triangle is seen where: a depth buffer over the picture.
//!
//! Four samples a pixel on a rotated grid keep edges smooth; shading happens later and only for
//! what is seen. The same code with one sample a pixel draws the shadow maps.

use glam::{DVec2, Vec2, Vec3};

use super::{Camera, Face, World};

/// What the buffer holds where nothing was drawn.
pub const NOTHING: u32 = u32::MAX;

/// Where the four samples sit in a pixel.
pub const SAMPLES: [Vec2; 4] = [
    Vec2::new(0.375, 0.125),
    Vec2::new(0.875, 0.375),
    Vec2::new(0.125, 0.625),
    Vec2::new(0.625, 0.875),
];
const CENTRE: [Vec2; 1] = [Vec2::new(0.5, 0.5)];

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
pub struct Buffer<const N: usize> {
    pub width: usize,
    pub height: usize,
    pub seen: Vec<Seen>,
    /// 1 / distance along the camera's axis; 0 where nothing is.
    pub depth: Vec<[f32; N]>,
    /// Index into `seen`, or [`NOTHING`].
    pub index: Vec<[u32; N]>,
}

/// Draws the world with four samples a pixel.
pub fn picture(world: &World, camera: &Camera, width: usize, height: usize) -> Buffer<4> {
    draw(world, camera, width, height, SAMPLES)
}

/// Draws only the distances, one sample a pixel, for shadows.
pub fn shadow(world: &World, camera: &Camera, size: usize) -> Buffer<1> {
    draw(world, camera, size, size, CENTRE)
}

fn draw<const N: usize>(
    world: &World,
    camera: &Camera,
    width: usize,
    height: usize,
    samples: [Vec2; N],
) -> Buffer<N> {
    let mut buffer = Buffer {
        width,
        height,
        seen: Vec::with_capacity(world.faces.len()),
        depth: vec![[0.0; N]; width * height],
        index: vec![[NOTHING; N]; width * height],
    };
    let lens = camera.lens(width, height);
    for (number, face) in world.faces.iter().enumerate() {
        if N == 1 && !face.casts {
            continue;
        }
        let [a, b, c] = face.place;
        let inside = [lens.to_camera(a), lens.to_camera(b), lens.to_camera(c)];
        let near = camera.near;
        if inside[0].z >= near && inside[1].z >= near && inside[2].z >= near {
            fill(
                &mut buffer,
                world,
                face,
                number as u32,
                &lens,
                inside,
                [Vec3::X, Vec3::Y, Vec3::Z],
                &samples,
            );
        } else if inside.iter().any(|p| p.z > near) {
            for (points, weights) in clip(inside, near) {
                fill(
                    &mut buffer,
                    world,
                    face,
                    number as u32,
                    &lens,
                    points,
                    weights,
                    &samples,
                );
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

#[allow(clippy::too_many_arguments)] // one inner loop; a struct would only rename its inputs
fn fill<const N: usize>(
    buffer: &mut Buffer<N>,
    world: &World,
    face: &Face,
    number: u32,
    lens: &super::Lens,
    points: [Vec3; 3],
    weights: [Vec3; 3],
    samples: &[Vec2; N],
) {
    let [p, q, r] = [
        lens.to_screen(points[0]),
        lens.to_screen(points[1]),
        lens.to_screen(points[2]),
    ];
    let (lo, hi) = (p.min(q).min(r), p.max(q).max(r));
    let (w, h) = (buffer.width as f32, buffer.height as f32);
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
    let id = buffer.seen.len() as u32;
    buffer.seen.push(seen);
    let hole = world
        .looks
        .get(face.look as usize)
        .and_then(|l| l.hole.as_ref());

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
        let start = (origin.y as usize + row) * buffer.width + origin.x as usize;
        for column in from as i32 as usize..=to as i32 as usize {
            let x = column as f32;
            let cell = start + column;
            let (Some(depths), Some(indices)) =
                (buffer.depth.get_mut(cell), buffer.index.get_mut(cell))
            else {
                continue;
            };
            for k in 0..N {
                let (px, py) = (x + samples[k].x, y + samples[k].y);
                let within = edges[0].at(px, py) >= 0.0
                    && edges[1].at(px, py) >= 0.0
                    && edges[2].at(px, py) >= 0.0;
                let d = depth.at(px, py);
                if within && d > depths[k] {
                    if let Some(hole) = hole {
                        let b = seen.weights_at(origin + Vec2::new(px, py));
                        if hole(face.rest[0] * b.x + face.rest[1] * b.y + face.rest[2] * b.z) {
                            continue;
                        }
                    }
                    depths[k] = d;
                    indices[k] = id;
                }
            }
        }
    }
}
