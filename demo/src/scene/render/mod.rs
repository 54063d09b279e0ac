//! A small camera: triangles in, a photograph out.
//!
//! The pictures of the demo are drawn, not shipped: a repository should not carry megabytes of
//! pictures that a page of code can make, and a story whose van, rail and welds are one and the
//! same thing in every picture is easier to follow. The drawing is the classical sequence: a
//! depth buffer ([`raster`]), lamps with soft shadows and mirrored surroundings ([`light`]),
//! surfaces ([`shade`]), and what a real camera adds ([`lens`]).
//!
//! Millimetres; z up. Vehicle scenes use the vehicle's frame (x rearward, y right, z up).

pub mod lens;
pub mod light;
pub mod mesh;
pub mod noise;
mod nooks;
pub mod raster;
pub mod shade;

use std::sync::Arc;

use glam::{Mat3, Vec2, Vec3};

use light::{Light, Sky};
use mesh::Mesh;

/// A surface at the point that is being shaded; a [`Paint`] changes it.
#[derive(Clone, Copy, Debug)]
pub struct Surface {
    /// Where on the shape, before it was bent or moved.
    pub rest: Vec3,
    pub place: Vec3,
    pub normal: Vec3,
    /// How wide a pixel is here, in millimetres: fine lines must not be finer.
    pub pixel: f32,
    /// Linear colour.
    pub colour: Vec3,
    /// 0 mirror, 1 chalk.
    pub rough: f32,
    /// 0 paint or plastic, 1 metal.
    pub metal: f32,
    /// Strength of a clear, glossy layer on top.
    pub coat: f32,
    /// Light of its own.
    pub glow: f32,
}

impl Surface {
    /// Becomes `other` to the given part, from 0 to 1: the soft edge between two paints.
    pub fn toward(&mut self, other: &Surface, part: f32) {
        self.colour = self.colour.lerp(other.colour, part);
        self.rough += (other.rough - self.rough) * part;
        self.metal += (other.metal - self.metal) * part;
        self.coat += (other.coat - self.coat) * part;
    }
}

pub type Paint = Arc<dyn Fn(&mut Surface) + Send + Sync>;
pub type Hole = Arc<dyn Fn(Vec3) -> bool + Send + Sync>;

/// What a shape is made of.
#[derive(Clone)]
pub struct Look {
    pub colour: Vec3,
    pub rough: f32,
    pub metal: f32,
    pub coat: f32,
    pub glow: f32,
    /// Edges sharper than this stay sharp, in degrees.
    pub crease: f32,
    pub paint: Option<Paint>,
    /// Where (at rest) the shape is cut away.
    pub hole: Option<Hole>,
}

impl Look {
    /// A matt or glossy non-metal.
    pub fn plain(colour: Vec3, rough: f32) -> Look {
        Look {
            colour,
            rough,
            metal: 0.0,
            coat: 0.0,
            glow: 0.0,
            crease: 40.0,
            paint: None,
            hole: None,
        }
    }

    pub fn metal(colour: Vec3, rough: f32) -> Look {
        Look {
            metal: 1.0,
            ..Look::plain(colour, rough)
        }
    }

    pub fn coat(self, coat: f32) -> Look {
        Look { coat, ..self }
    }

    pub fn glow(self, glow: f32) -> Look {
        Look { glow, ..self }
    }

    pub fn crease(self, crease: f32) -> Look {
        Look { crease, ..self }
    }

    /// Adds a paint on top of what there is.
    pub fn painted(self, paint: impl Fn(&mut Surface) + Send + Sync + 'static) -> Look {
        let paint: Paint = match self.paint.clone() {
            Some(first) => Arc::new(move |s: &mut Surface| {
                first(s);
                paint(s);
            }),
            None => Arc::new(paint),
        };
        Look {
            paint: Some(paint),
            ..self
        }
    }

    pub fn without(self, hole: impl Fn(Vec3) -> bool + Send + Sync + 'static) -> Look {
        Look {
            hole: Some(Arc::new(hole)),
            ..self
        }
    }
}

/// One triangle of the world.
pub struct Face {
    pub place: [Vec3; 3],
    pub rest: [Vec3; 3],
    pub normal: [Vec3; 3],
    /// Across the triangle itself, following its winding.
    pub flat: Vec3,
    pub look: u32,
    pub casts: bool,
}

/// Everything in front of the camera.
pub struct World {
    pub faces: Vec<Face>,
    pub looks: Vec<Look>,
    pub lights: Vec<Light>,
    pub sky: Sky,
    /// How far apart two surfaces still darken each other.
    pub nook: f32,
}

impl World {
    pub fn new(sky: Sky) -> World {
        World {
            faces: Vec::new(),
            looks: Vec::new(),
            lights: Vec::new(),
            sky,
            nook: 120.0,
        }
    }

    pub fn add(&mut self, mesh: Mesh, look: &Look) {
        self.put(mesh, look, true);
    }

    /// Adds something that throws no shadow: floors, walls, lamps, smoke.
    pub fn add_shadowless(&mut self, mesh: Mesh, look: &Look) {
        self.put(mesh, look, false);
    }

    fn put(&mut self, mesh: Mesh, look: &Look, casts: bool) {
        let id = self.looks.len() as u32;
        let normals = mesh.normals(look.crease);
        self.faces
            .extend(mesh.triangles.iter().zip(normals).map(|(t, normal)| {
                Face {
                    place: t.map(|c| c.place),
                    rest: t.map(|c| c.rest),
                    normal,
                    flat: (t[1].place - t[0].place)
                        .cross(t[2].place - t[0].place)
                        .normalize_or(Vec3::Z),
                    look: id,
                    casts,
                }
            }));
        self.looks.push(look.clone());
    }
}

/// Where the picture is taken from.
#[derive(Clone, Copy, Debug)]
pub struct Camera {
    pub eye: Vec3,
    pub at: Vec3,
    /// Field of view across the picture's shorter side, in degrees.
    pub fov: f32,
    /// How crooked it was held, in degrees.
    pub roll: f32,
    pub near: f32,
    /// Width of the lens opening in millimetres; 0 keeps everything sharp. It is focused on `at`.
    pub aperture: f32,
}

impl Default for Camera {
    fn default() -> Camera {
        Camera {
            eye: Vec3::new(-1000.0, 0.0, 0.0),
            at: Vec3::ZERO,
            fov: 40.0,
            roll: 0.0,
            near: 30.0,
            aperture: 0.0,
        }
    }
}

/// A camera's projection for a picture of a given size.
#[derive(Clone, Copy, Debug)]
pub struct Lens {
    pub eye: Vec3,
    /// Rows: right, down, forward.
    pub axes: Mat3,
    /// Focal length in pixels.
    pub focal: f32,
    pub middle: Vec2,
}

impl Camera {
    pub fn lens(&self, width: usize, height: usize) -> Lens {
        let forward = (self.at - self.eye).normalize_or(Vec3::X);
        let level = forward.cross(Vec3::Z).normalize_or(Vec3::Y);
        let tilt = glam::Quat::from_axis_angle(forward, self.roll.to_radians());
        let right = tilt * level;
        let down = forward.cross(right);
        Lens {
            eye: self.eye,
            axes: Mat3::from_cols(right, down, forward).transpose(),
            focal: width.min(height) as f32 / 2.0 / (self.fov.to_radians() / 2.0).tan(),
            middle: Vec2::new(width as f32, height as f32) / 2.0,
        }
    }
}

impl Lens {
    pub fn to_camera(&self, p: Vec3) -> Vec3 {
        self.axes * (p - self.eye)
    }

    pub fn to_screen(&self, p: Vec3) -> Vec2 {
        self.middle + Vec2::new(p.x, p.y) * (self.focal / p.z)
    }

    /// The direction in the world that a pixel looks in, one unit deep.
    pub fn ray(&self, pixel: Vec2) -> Vec3 {
        let p = (pixel - self.middle) / self.focal;
        self.axes.transpose() * Vec3::new(p.x, p.y, 1.0)
    }
}

/// A finished picture: three bytes a pixel, sRGB, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    pub width: usize,
    pub height: usize,
    pub rgb: Vec<u8>,
}

/// Takes the photograph.
pub fn photograph(
    world: &World,
    camera: &Camera,
    film: &lens::Film,
    width: usize,
    height: usize,
    seed: u32,
) -> Picture {
    let raw = shade::expose(world, camera, width, height, seed);
    lens::develop(raw, camera, film, seed)
}
