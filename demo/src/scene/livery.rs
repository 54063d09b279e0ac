//! The van's skin: what is painted, what is glass, lamp or trim, where the gaps run.
//!
//! Decided from the rest place of each point, so that a crushed corner carries its stripe, its
//! lamp and its gaps along.

use glam::{Vec2, Vec3};

use super::looks::{self, from_rounded, rgb};
use super::render::noise::{noise, ramp};
use super::render::{Look, Surface};
use super::shop::GROUND;
use super::van::{AXLES, PAINT, State, TYRE, half_width, tail};

/// The look of the skin.
pub fn skin(state: State) -> Look {
    let hub = GROUND + TYRE;
    looks::lacquer(rgb(PAINT))
        .painted(move |s| {
            let p = s.rest;
            if p.z > 1600.0 {
                roof(s);
            } else if p.x > tail(p.z) - 46.0 && p.y.abs() < half_width(p.z) - 60.0 {
                rear(s);
            } else if p.x < 900.0 && is_windscreen(p) {
                glass(s);
            } else if p.x > -420.0 {
                side(s);
            }
            let edge = lamp_edge(p);
            if edge < s.pixel {
                let mut glass = *s;
                lamp(&mut glass, state);
                s.toward(&glass, ramp(s.pixel * 0.7, -s.pixel * 0.7, edge));
            }
            road_film(s);
            if state.struck {
                scars(s);
            }
        })
        .without(move |p| {
            let arch = AXLES
                .iter()
                .any(|x| Vec2::new(p.x - x, p.z - hub).length() < 366.0);
            let lamp_hole = !state.lamps && lamp_edge(p) < 0.0 && p.y < 0.0;
            // Behind the bumper cover the skin ends at the rear panel.
            let behind = p.x > 3380.0 && p.z < 330.0;
            arch && p.y.abs() > 500.0 || lamp_hole || behind
        })
}

/// A gap between panels at distance `d` from it.
fn gap(s: &mut Surface, d: f32, direction: Vec3) {
    let d0 = d.abs();
    let half = (s.pixel * 0.75).max(3.0);
    if d0 < half + 13.0 {
        // A line thinner than a pixel is drawn wider and paler.
        let open = ramp(half * 0.6, half * 1.5, d0);
        s.colour *= 1.0 - (0.96 * 3.0 / half) * (1.0 - open);
        s.coat *= open;
        looks::tilt(s, direction * (d.signum() * 0.55 * ramp(14.0, 4.0, d0)));
    }
}

fn glass(s: &mut Surface) {
    s.colour = Vec3::new(0.010, 0.013, 0.014);
    s.rough = 0.08;
    s.coat = 1.0;
}

/// Glass with its rubber frame; `d` is the distance to its edge, negative inside.
fn pane(s: &mut Surface, d: f32) {
    let soft = s.pixel * 0.7;
    if d > 13.0 + soft {
        return;
    }
    let frame = Surface {
        colour: Vec3::splat(0.012),
        rough: 0.6,
        coat: 0.1,
        ..*s
    };
    s.toward(&frame, ramp(13.0 + soft, 13.0 - soft, d));
    let mut inside = *s;
    glass(&mut inside);
    // Lighter where the far side of the van shows through.
    inside.colour += Vec3::splat(0.010 * ramp(-20.0, -160.0, d));
    s.toward(&inside, ramp(soft, -soft, d));
}

fn is_windscreen(p: Vec3) -> bool {
    (880.0..1500.0).contains(&p.z) && p.y.abs() < half_width(p.z) - 110.0
}

fn roof(s: &mut Surface) {
    // Pressed ribs.
    let rib = (s.rest.y / 190.0).fract().abs() - 0.5;
    if (1500.0..3300.0).contains(&s.rest.x) {
        looks::tilt(
            s,
            Vec3::Y * (0.35 * ramp(0.10, 0.04, (rib.abs() - 0.14).abs()) * rib.signum()),
        );
    }
}

fn rear(s: &mut Surface) {
    let p = Vec2::new(s.rest.y, s.rest.z);
    let doors = from_rounded(p, Vec2::new(0.0, 935.0), Vec2::new(1390.0, 1220.0), 70.0);
    gap(s, doors, Vec3::Y * p.x.signum());
    if doors < 0.0 {
        gap(s, p.x, Vec3::Y);
        for side in [-1.0, 1.0] {
            let d = from_rounded(
                p,
                Vec2::new(side * 350.0, 1150.0),
                Vec2::new(540.0, 520.0),
                62.0,
            );
            pane(s, d);
            let press = from_rounded(
                p,
                Vec2::new(side * 350.0, 620.0),
                Vec2::new(560.0, 340.0),
                60.0,
            )
            .abs();
            looks::tilt(s, Vec3::Z * (0.22 * ramp(22.0, 0.0, press)));
        }
        let recess = from_rounded(p, Vec2::new(0.0, 470.0), Vec2::new(560.0, 150.0), 30.0);
        if recess < 0.0 {
            s.colour *= 0.55;
        }
        stripe(s, p.y, -1.0);
    }
}

fn side(s: &mut Surface) {
    let p = Vec2::new(s.rest.x, s.rest.z);
    if p.y < 150.0 && (330.0..2400.0).contains(&p.x) || p.y < 96.0 {
        s.colour = rgb(0x33_35_38);
        s.rough = 0.55;
        s.coat = 0.15;
        return;
    }
    // Front door: its leading edge follows the pillar.
    let lead = 330.0 + ramp(820.0, 1480.0, p.y) * 560.0;
    let door = (p.x - 800.0 - (lead - 330.0) / 2.0).abs() - (1255.0 - lead) / 2.0;
    let door = door.max((p.y - 805.0).abs() - 650.0);
    if (170.0..1470.0).contains(&p.y) {
        gap(s, door, Vec3::X * (p.x - 800.0).signum());
    }
    let slide = from_rounded(p, Vec2::new(1745.0, 820.0), Vec2::new(960.0, 1300.0), 50.0);
    if p.x > 1262.0 {
        gap(s, slide, Vec3::X * (p.x - 1745.0).signum());
    }
    let slant = (p.y - 880.0) * 0.86;
    let window = (460.0 + slant - p.x)
        .max(p.x - 1195.0)
        .max((p.y - 1150.0).abs() - 270.0);
    pane(s, window);
    let flank = from_rounded(p, Vec2::new(1745.0, 1150.0), Vec2::new(780.0, 480.0), 60.0).abs();
    looks::tilt(s, Vec3::Z * (0.20 * ramp(20.0, 0.0, flank)));
    let quarter = from_rounded(p, Vec2::new(2850.0, 1150.0), Vec2::new(1010.0, 480.0), 60.0).abs();
    looks::tilt(s, Vec3::Z * (0.20 * ramp(20.0, 0.0, quarter)));
    if s.rest.y > 0.0 {
        gap(
            s,
            from_rounded(p, Vec2::new(3010.0, 640.0), Vec2::new(170.0, 170.0), 36.0),
            Vec3::X,
        );
    }
    // The arch's lip.
    for x in AXLES {
        let lip = (p - Vec2::new(x, GROUND + TYRE)).length() - 366.0;
        looks::tilt(
            s,
            -(Vec3::new(p.x - x, 0.0, p.y - GROUND - TYRE).normalize_or_zero())
                * (0.5 * ramp(46.0, 20.0, lip)),
        );
    }
    stripe(s, p.y, 1.0);
    emblem(s, p);
}

/// The shop-van's band along the flanks and over the doors.
fn stripe(s: &mut Surface, z: f32, flank: f32) {
    if s.colour.max_element() < 0.25 {
        return; // glass, gaps and trim stay as they are
    }
    let rise = if flank > 0.0 {
        90.0 * ramp(1300.0, 3400.0, s.rest.x)
    } else {
        90.0
    };
    let h = z - 470.0 - rise;
    let shade = s.colour / rgb(PAINT);
    let soft = s.pixel * 0.6;
    let band =
        |from: f32, to: f32| ramp(from - soft, from + soft, h) * ramp(to + soft, to - soft, h);
    s.colour = s.colour.lerp(rgb(looks::BLUE) * shade, band(0.0, 118.0));
    s.colour = s
        .colour
        .lerp(rgb(looks::ORANGE) * shade, band(-34.0, -16.0));
}

/// A parcel with wings, on the flanks: no letters.
fn emblem(s: &mut Surface, p: Vec2) {
    let q = p - Vec2::new(2850.0, 1130.0);
    let q = if s.rest.y < 0.0 {
        q
    } else {
        Vec2::new(-q.x, q.y)
    };
    let soft = s.pixel * 0.7;
    let parcel = from_rounded(q, Vec2::ZERO, Vec2::new(250.0, 220.0), 22.0);
    let tape = (q.x.abs() - 17.0).min((q.y - 30.0).abs() - 9.0);
    let printed = ramp(soft, -soft, parcel) * ramp(-soft, soft, tape);
    s.colour = s.colour.lerp(rgb(looks::ORANGE), printed);
    for k in 0..3 {
        let y = 62.0 - k as f32 * 62.0;
        let length = 250.0 - k as f32 * 60.0;
        let wing = from_rounded(
            q,
            Vec2::new(-165.0 - length / 2.0, y),
            Vec2::new(length, 30.0),
            15.0,
        );
        s.colour = s.colour.lerp(rgb(looks::BLUE), ramp(soft, -soft, wing));
    }
}

/// Distance to the edge of a tail lamp; negative inside.
fn lamp_edge(p: Vec3) -> f32 {
    (560.0 - p.z)
        .max(p.z - 905.0)
        .max(3515.0 - p.x)
        .max(742.0 - p.y.abs())
}

fn lamp(s: &mut Surface, state: State) {
    let p = s.rest;
    let across = p.y.abs() - half_width(p.z) + 64.0 + (3640.0 - p.x) * 0.5;
    lamp_glass(s, Vec2::new(across * 0.6, p.z - 732.0));
    if state.struck && p.y < 0.0 {
        let shard = noise(p / 34.0);
        if shard > 0.42 || p.z < 690.0 {
            s.colour = Vec3::splat(0.02 + 0.05 * noise(p / 9.0));
            s.coat = 0.1;
            s.rough = 0.8;
        }
    }
}

/// Lamp glass: tail light above, indicator, reversing light below, with its optics' ribs.
pub fn lamp_glass(s: &mut Surface, p: Vec2) {
    let (colour, bright) = if p.y > 50.0 {
        (rgb(0xb0_14_0c), 0.9)
    } else if p.y > -50.0 {
        (rgb(0xe0_84_0a), 0.9)
    } else if p.y > -110.0 {
        (rgb(0xd8_dc_dc), 0.7)
    } else {
        (rgb(0xa0_12_0a), 0.8)
    };
    let rib = 0.72 + 0.28 * ((p.y * 0.42).sin() * 0.5 + 0.5);
    let cell = 0.85 + 0.15 * ((p.x * 0.35).sin() * 0.5 + 0.5);
    s.colour = colour * (bright * rib * cell);
    let border = [50.0, -50.0, -110.0]
        .iter()
        .map(|b: &f32| (p.y - b).abs())
        .fold(f32::MAX, f32::min);
    s.colour *= 0.25 + 0.75 * ramp(1.0, 4.0, border);
    s.coat = 1.0;
    s.rough = 0.4;
}

/// Road dust on the lower flanks.
fn road_film(s: &mut Surface) {
    let p = s.rest;
    let low =
        ramp(520.0, 90.0, p.z) * ramp(0.3, 0.75, noise(p / 210.0) * 0.7 + 0.3 * noise(p / 30.0));
    s.colour = s.colour.lerp(rgb(0x8e_83_70), 0.34 * low);
    s.coat *= 1.0 - 0.55 * low;
}

/// Bare and scraped places around the blow.
fn scars(s: &mut Surface) {
    let p = s.rest;
    let near = ramp(620.0, 180.0, p.distance(Vec3::new(3640.0, -800.0, 400.0)));
    let scrape = noise(Vec3::new(p.x / 130.0, p.y / 90.0, p.z / 5.0));
    let chip = 0.6 * noise(p / 22.0) + 0.4 * noise(p / 6.0);
    let bare = ramp(0.62, 0.74, scrape * 0.75 + chip * 0.35) * near;
    s.colour = s.colour.lerp(rgb(0x4a_4c_4e), 0.9 * bare);
    s.rough += 0.3 * bare;
    s.coat *= 1.0 - 0.9 * bare;
    let primer = ramp(0.52, 0.6, scrape * 0.75 + chip * 0.35) * near * (1.0 - bare);
    s.colour = s.colour.lerp(rgb(0xb9_b6_ae), 0.6 * primer);
}
