//! The left rear rail: a channel open to the outside, closed by a plate, welded at its lips.
//!
//! It is drawn in the vehicle's frame at the sheet's places: the joint at x = 3080, the end plate
//! at x = 3521. How it is damaged, cut, joined and closed is told by [`Works`].

use glam::{Vec2, Vec3};

use super::looks::{self, rgb};
use super::rail_surface::{hidden_plugs, lip_plugs, worked};
use super::render::mesh::Mesh;
use super::render::noise::{noise, ramp};
use super::render::{Look, World};
use super::welds;

/// Where the new section meets the old rail.
pub const JOINT: f32 = 3080.0;
/// The rail's end, where the bumper beam is bolted.
pub const END: f32 = 3521.0;
/// Where the old closing plate was parted, ahead of the joint, so that the seams are staggered.
pub const PLATE_FROM: f32 = 2996.0;
pub(crate) const INNER: f32 = -472.0;
pub(crate) const OUTER: f32 = -552.0;
pub(crate) const BOTTOM: f32 = 258.0;
pub(crate) const TOP: f32 = 362.0;
pub(crate) const LIP: f32 = 19.0;
/// Measured holes in the rail's underside: x and radius.
const HOLES: [(f32, f32); 4] = [
    (2954.0, 12.0),
    (3172.0, 12.0),
    (3344.0, 14.0),
    (3440.0, 9.0),
];

/// What is behind the joint.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rear {
    Collapsed,
    Gone,
    /// The new section, moved from where it belongs: rearward, and down at its end.
    New {
        rearward: f32,
        drop: f32,
    },
}

/// What has been done at the joint.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub enum Joint {
    Untouched,
    /// Cut line scribed and dimensioned.
    Marked,
    /// Ground bare for welding.
    Bare,
    /// The welds inside the box are made.
    Hidden,
    /// The closing plate is on, clamped.
    Closed,
    /// All seams welded.
    Welded,
    /// Seams dressed.
    Dressed,
    /// Primer over the bare steel.
    Primed,
    /// Coated and sealed.
    Coated,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Works {
    pub rear: Rear,
    pub joint: Joint,
}

/// How the collapse moved the rail: in folds, forward, inboard and down toward its end.
fn collapse(p: Vec3) -> Vec3 {
    let t = ((p.x - JOINT) / (END - JOINT)).clamp(0.0, 1.2);
    if t <= 0.0 {
        return p;
    }
    let hard = ramp(0.12, 0.5, t) * ramp(1.12, 0.8, t);
    let fold = (t * 4.6 * std::f32::consts::TAU + 0.9 * (noise(p / 60.0) - 0.5)).sin();
    let crumple = noise(p / 34.0) - 0.5 + 0.35 * (noise(p / 15.0) - 0.5);
    let from_middle = Vec2::new(p.y - (INNER + OUTER) / 2.0, p.z - (BOTTOM + TOP) / 2.0);
    // Where the top bulges, the sides cave in.
    let bulge = 1.0
        + hard
            * fold
            * 0.32
            * if from_middle.y.abs() > 45.0 {
                1.0
            } else {
                -0.9
            };
    let out = from_middle * bulge;
    let curl = t * t;
    Vec3::new(
        p.x - 62.0 * t.powf(1.4) + 9.0 * hard * crumple + 0.35 * curl * from_middle.x,
        (INNER + OUTER) / 2.0 + out.x + 26.0 * curl + 16.0 * hard * crumple,
        (BOTTOM + TOP) / 2.0 + out.y - 26.0 * curl + 12.0 * hard * crumple,
    )
}

fn place_rear(rear: Rear) -> impl Fn(Vec3) -> Vec3 {
    move |p| match rear {
        Rear::Collapsed => collapse(p),
        Rear::Gone => p,
        Rear::New { rearward, drop } => {
            let t = (p.x - JOINT) / (END - JOINT);
            p + Vec3::new(rearward, 0.0, -drop * t)
        }
    }
}

/// A corner-rounded open line.
fn filleted(points: &[Vec2], radius: f32) -> Vec<Vec2> {
    let mut line = Vec::new();
    for (i, &p) in points.iter().enumerate() {
        if i == 0 || i + 1 == points.len() {
            line.push(p);
            continue;
        }
        let (to, from) = (
            (points[i - 1] - p).normalize_or_zero(),
            (points[i + 1] - p).normalize_or_zero(),
        );
        let (a, b) = (p + to * radius, p + from * radius);
        for k in 0..=4 {
            let t = k as f32 / 4.0;
            line.push(a * (1.0 - t) * (1.0 - t) + p * (2.0 * t * (1.0 - t)) + b * t * t);
        }
    }
    line
}

/// Sheet metal with a thickness, its section carried from `from` to `to`.
fn sheet(section: &[Vec2], from: f32, to: f32, steps: usize, thickness: f32) -> Mesh {
    let line = filleted(section, 9.0);
    let mut fine: Vec<Vec2> = Vec::new();
    for pair in line.windows(2) {
        let n = ((pair[0].distance(pair[1]) / 12.0).ceil() as usize).max(1);
        fine.extend((0..n).map(|k| pair[0].lerp(pair[1], k as f32 / n as f32)));
    }
    fine.extend(line.last());
    let inside: Vec<Vec2> = (0..fine.len())
        .map(|i| {
            let along = fine[(i + 1).min(fine.len() - 1)] - fine[i.saturating_sub(1)];
            fine[i] + along.perp().normalize_or_zero() * thickness
        })
        .collect();
    let mut mesh =
        Mesh::section(&fine, from, to, steps).and(Mesh::section(&inside, from, to, steps));
    for x in [from, to] {
        let edge = |line: &[Vec2]| {
            line.iter()
                .map(|p| Vec3::new(x, p.x, p.y))
                .collect::<Vec<_>>()
        };
        mesh = mesh.and(Mesh::through(&[edge(&fine), edge(&inside)]));
    }
    mesh
}

fn channel() -> Vec<Vec2> {
    vec![
        Vec2::new(OUTER, TOP + LIP),
        Vec2::new(OUTER, TOP),
        Vec2::new(INNER, TOP),
        Vec2::new(INNER, BOTTOM),
        Vec2::new(OUTER, BOTTOM),
        Vec2::new(OUTER, BOTTOM - LIP),
    ]
}

fn plate() -> Vec<Vec2> {
    let y = OUTER - 2.2;
    // A pressed bead stiffens the plate.
    vec![
        Vec2::new(y, TOP + LIP - 1.0),
        Vec2::new(y, TOP - 26.0),
        Vec2::new(y - 7.0, TOP - 42.0),
        Vec2::new(y - 7.0, BOTTOM + 42.0),
        Vec2::new(y, BOTTOM + 26.0),
        Vec2::new(y, BOTTOM - LIP + 1.0),
    ]
}

/// The measured holes, and slots in the plate.
fn holes(p: Vec3) -> bool {
    if (p.z - BOTTOM).abs() < 3.5 {
        return HOLES
            .iter()
            .any(|&(x, r)| Vec2::new(p.x - x, p.y + 512.0).length() < r);
    }
    if p.y < OUTER - 4.0 {
        return [3236.0, 3412.0].iter().any(|x| {
            looks::from_rounded(
                Vec2::new(p.x, p.z),
                Vec2::new(*x, 310.0),
                Vec2::new(44.0, 26.0),
                12.9,
            ) < 0.0
        });
    }
    false
}

/// Adds the rail.
pub fn add(world: &mut World, works: Works) {
    let Works { rear, joint } = works;
    let old = looks::old_structure().without(holes).crease(42.0);
    let on_old = old.clone().painted(worked(joint, false));
    let ahead = if rear == Rear::Collapsed { END } else { JOINT };
    let fine = if rear == Rear::Collapsed { 150 } else { 12 };
    world.add(
        sheet(&channel(), 2560.0, ahead, fine, 2.0).bend(place_rear(rear)),
        &on_old,
    );
    let marked = old.clone().painted(worked(
        if joint == Joint::Marked {
            joint
        } else {
            Joint::Untouched
        },
        true,
    ));
    let plate_end = if rear == Rear::Collapsed {
        END
    } else {
        PLATE_FROM
    };
    world.add(
        sheet(&plate(), 2560.0, plate_end, fine, 1.6).bend(place_rear(rear)),
        &marked,
    );

    match rear {
        Rear::Collapsed => {
            end_plate(world, &old, collapse);
            spots(world, 2600.0, END - 20.0, collapse);
        }
        Rear::Gone => spots(world, 2600.0, PLATE_FROM - 10.0, |p| p),
        Rear::New { .. } => {
            spots(world, 2600.0, PLATE_FROM - 10.0, |p| p);
            let black = looks::new_part().without(holes).crease(28.0);
            let section = black.clone().painted(worked(joint, false));
            world.add(
                sheet(&channel(), JOINT + 0.8, END, 24, 2.0).bend(place_rear(rear)),
                &section,
            );
            end_plate(world, &black, place_rear(rear));
            if joint >= Joint::Bare {
                inside(world, joint);
            }
            if joint >= Joint::Closed {
                let plate_look = black.painted(worked(joint, true));
                world.add(
                    sheet(&plate(), PLATE_FROM + 0.8, END - 14.0, 24, 1.6).bend(place_rear(rear)),
                    &plate_look,
                );
                outside(world, joint);
            }
        }
    }
}

/// The plate at the rail's end with its four bolt holes.
fn end_plate(world: &mut World, look: &Look, bend: impl Fn(Vec3) -> Vec3) {
    let with_holes = look.clone().without(|p| {
        [
            (-548.0, 282.0),
            (-548.0, 352.0),
            (-480.0, 282.0),
            (-480.0, 352.0),
        ]
        .iter()
        .any(|(y, z)| Vec2::new(p.y - y, p.z - z).length() < 7.5)
            || Vec2::new(p.y + 514.0, p.z - 317.0).length() < 16.0
    });
    for x in [END, END + 4.0] {
        let face = Mesh::net(18, 18, |u, v| {
            Vec3::new(x, -576.0 + 124.0 * u, 244.0 + 146.0 * v)
        });
        world.add(face.bend(&bend), &with_holes);
    }
    let rim = |u: f32, v: f32| Vec3::new(0.0, -576.0 + 124.0 * u, 244.0 + 146.0 * v);
    for (a, b) in [
        ((0.0, 0.0), (1.0, 0.0)),
        ((1.0, 0.0), (1.0, 1.0)),
        ((1.0, 1.0), (0.0, 1.0)),
        ((0.0, 1.0), (0.0, 0.0)),
    ] {
        let edge = Mesh::net(18, 1, |t, x| {
            rim(a.0 + (b.0 - a.0) * t, a.1 + (b.1 - a.1) * t) + Vec3::X * (END + 4.0 * x)
        });
        world.add(edge.bend(&bend), look);
    }
}

/// The old spot welds along the lips.
fn spots(world: &mut World, from: f32, to: f32, bend: impl Fn(Vec3) -> Vec3) {
    let look = looks::old_structure().painted(|s| s.colour *= 0.72);
    let mut x = from;
    while x < to {
        for z in [TOP + 10.0, BOTTOM - 10.0] {
            let dish = Mesh::lathe(&[(0.0, -0.6), (2.6, -0.5), (3.6, 0.7), (5.0, 0.2)], 14);
            let at = Vec3::new(x, OUTER - 3.0, z);
            world.add(dish.along(Vec3::NEG_Y).bend(|p| bend(p + at)), &look);
        }
        x += 38.0;
    }
}

/// What is inside the box at the joint: the sleeve, and the welds once they are made.
fn inside(world: &mut World, joint: Joint) {
    let sleeve = vec![
        Vec2::new(OUTER + 10.0, TOP - 2.6),
        Vec2::new(INNER - 2.6, TOP - 2.6),
        Vec2::new(INNER - 2.6, BOTTOM + 2.6),
        Vec2::new(OUTER + 10.0, BOTTOM + 2.6),
    ];
    let heated: Vec<Vec3> = hidden_plugs().into_iter().map(|p| p.0).collect();
    let look = looks::ground_steel().crease(28.0).painted(move |s| {
        s.colour *= 0.8;
        if joint >= Joint::Hidden {
            let p = s.rest;
            let d = heated
                .iter()
                .map(|q| p.distance(*q) - 4.0)
                .fold(f32::MAX, f32::min);
            looks::heat(s, d);
        }
    });
    world.add(sheet(&sleeve, JOINT - 78.0, JOINT + 78.0, 14, 2.0), &look);
    if joint >= Joint::Hidden {
        for (at, normal) in hidden_plugs() {
            welds::plug_weld(world, at, normal, 6.4);
        }
        // Short fillets hold the sleeve's edges.
        for x in [-78.0, 78.0] {
            for (z0, z1) in [(276.0, 300.0), (322.0, 346.0)] {
                let path: Vec<Vec3> = (0..=12)
                    .map(|i| Vec3::new(JOINT + x, INNER - 3.6, z0 + (z1 - z0) * i as f32 / 12.0))
                    .collect();
                welds::bead(world, &path, 3.6);
            }
        }
    }
}

/// Seams outside: welded or dressed.
fn outside(world: &mut World, joint: Joint) {
    if joint == Joint::Closed {
        // Holes punched for the plug welds, still open.
        let open = Look::plain(Vec3::splat(0.01), 0.9);
        let ring = looks::ground_steel();
        for (at, normal) in lip_plugs() {
            world.add(
                Mesh::lathe(&[(0.0, 0.1), (4.2, 0.1)], 16)
                    .along(normal)
                    .bend(|p| p + at + normal * 0.6),
                &open,
            );
            world.add(
                Mesh::lathe(&[(4.2, 0.2), (4.9, 0.5), (5.6, 0.1)], 16)
                    .along(normal)
                    .bend(|p| p + at + normal * 0.6),
                &ring,
            );
        }
        return;
    }
    let seam: Vec<Vec3> = (0..=70)
        .map(|i| {
            let z = BOTTOM - LIP + 2.0 + (TOP - BOTTOM + 2.0 * LIP - 4.0) * i as f32 / 70.0;
            let bead_y = if (BOTTOM + 42.0..TOP - 42.0).contains(&z) {
                7.0
            } else {
                7.0 * ramp(26.0, 42.0, (z - BOTTOM).min(TOP - z))
            };
            Vec3::new(PLATE_FROM, OUTER - 2.6 - bead_y, z)
        })
        .collect();
    if joint == Joint::Welded {
        for (at, normal) in lip_plugs() {
            welds::plug_weld(world, at, normal, 5.6);
        }
        welds::bead(world, &seam, 3.8);
    } else if joint == Joint::Dressed {
        let flat = looks::ground_steel();
        for (at, normal) in lip_plugs() {
            world.add(
                Mesh::lathe(&[(0.0, 0.5), (5.0, 0.45), (6.4, 0.0)], 16)
                    .along(normal)
                    .bend(|p| p + at + normal * 0.4),
                &flat,
            );
        }
    } else if joint >= Joint::Coated {
        let sealer = looks::plastic(rgb(0xb9_b5_a8));
        world.add(
            Mesh::tube(&seam, 8, |t| 4.0 + 0.7 * noise(Vec3::splat(t * 40.0))),
            &sealer,
        );
        for z in [TOP + LIP, BOTTOM - LIP] {
            let line: Vec<Vec3> = (0..=60)
                .map(|i| Vec3::new(PLATE_FROM + 500.0 * i as f32 / 60.0, OUTER - 1.5, z))
                .collect();
            world.add(
                Mesh::tube(&line, 8, |t| 3.8 + 1.1 * noise(Vec3::splat(t * 55.0 + z))),
                &sealer,
            );
        }
    }
}
