//! One function a motif: world, camera and light of each picture.

mod bench;
mod box_section;
mod clock;
mod outside;
mod probing;
mod rear;
mod trolley;

use glam::Vec3;

use super::rail::{Joint, Rear, Works};
use super::render::{self, Camera, Picture, World, lens::Film};

/// What a photograph shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Motif {
    /// The van in the yard, from behind, its left rear corner struck.
    Arrival,
    /// The struck corner from near.
    StruckCorner,
    /// The clock on the shop's wall; hours, minutes and seconds as shown.
    ShopClock { hour: u8, minute: u8, second: u8 },
    /// The collapsed rail's end on the rack, from below.
    CollapsedRail,
    /// The probe in a hole of the sill.
    ProbeSill,
    /// The probe at the collapsed rail's underside.
    ProbeCollapsed,
    /// The rear with bumper and lamp taken off.
    BumperOff,
    /// What was taken off, on a trolley.
    Trolley,
    /// The cut line, scribed and dimensioned.
    CutLine,
    /// Drilling out spot welds.
    Drilling,
    /// The rail after the damaged end came off.
    Stub,
    /// The new section clamped in its joint.
    TrialFit,
    /// Beam, lamp and gaps line up.
    BeamBolted,
    /// The gap beside the lamp.
    PanelGap,
    /// The probe at the new section's end.
    ProbeNewEnd,
    /// The section being moved, a rule at the joint.
    Moving,
    /// The probe at the new section after the move.
    ProbeMoved,
    /// Test welds on coupons.
    Coupons,
    /// A coupon peeled in the vice.
    Peeled,
    /// The welds inside the box before it is closed.
    HiddenWelds,
    /// The same from near.
    HiddenWeldsNear,
    /// The open box along the whole section.
    HiddenWeldsAll,
    /// The closing plate clamped.
    ClosingPlate,
    /// The seams as welded.
    WeldOut,
    /// The seams dressed.
    Dressed,
    /// The finished rail under the probe.
    ProbeFinal,
    /// Primer over the joint.
    Primed,
    /// Wax going into the closed section.
    CavityWax,
    /// The finished van.
    HandOver,
}

/// Which of the two cameras took it: they render colours and grain differently.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Eye {
    Phone,
    Pocket,
}

/// A world with its camera.
struct Shot {
    world: World,
    camera: Camera,
    exposure: f32,
}

/// Draws a motif at the given width and height. The same arguments give the same picture, byte for
/// byte; `seed` varies how the camera was held and what lies around.
pub fn draw(motif: Motif, eye: Eye, (width, height): (usize, usize), seed: u32) -> Picture {
    let mut shot = set_up(motif, seed);
    let wobble = |k: u32| render::noise::hash(seed.wrapping_mul(2_654_435_761) ^ k) - 0.5;
    let distance = shot.camera.eye.distance(shot.camera.at);
    shot.camera.roll += 2.2 * wobble(1);
    shot.camera.eye += Vec3::new(wobble(2), wobble(3), wobble(4)) * distance * 0.03;
    let film = match eye {
        Eye::Phone => Film {
            exposure: shot.exposure,
            white: Vec3::new(1.02, 1.0, 0.97),
            saturation: 1.08,
            rim: 0.30,
            grain: 0.016,
            glow: 0.5,
        },
        Eye::Pocket => Film {
            exposure: shot.exposure * 0.96,
            white: Vec3::new(0.98, 1.0, 1.04),
            saturation: 0.92,
            rim: 0.45,
            grain: 0.034,
            glow: 0.9,
        },
    };
    render::photograph(&shot.world, &shot.camera, &film, width, height, seed)
}

fn set_up(motif: Motif, seed: u32) -> Shot {
    let collapsed = Works {
        rear: Rear::Collapsed,
        joint: Joint::Untouched,
    };
    match motif {
        Motif::Arrival => outside::arrival(seed),
        Motif::StruckCorner => outside::struck_corner(seed),
        Motif::HandOver => outside::hand_over(seed),
        Motif::ShopClock {
            hour,
            minute,
            second,
        } => clock::clock(hour, minute, second, seed),
        Motif::Trolley => trolley::trolley(seed),
        Motif::Coupons => bench::coupons(seed),
        Motif::Peeled => bench::peeled(seed),
        Motif::BumperOff => rear::bumper_off(seed),
        Motif::BeamBolted => rear::beam_bolted(seed),
        Motif::PanelGap => rear::panel_gap(seed),
        Motif::CollapsedRail => box_section::from_below(collapsed, seed),
        Motif::ProbeSill => probing::probe_sill(seed),
        Motif::ProbeCollapsed => {
            probing::probe_under(collapsed, Vec3::new(3395.0, -486.0, 236.0), seed)
        }
        Motif::CutLine => box_section::cut_line(seed),
        Motif::Drilling => box_section::drilling(seed),
        Motif::Stub => box_section::stub(seed),
        Motif::TrialFit => box_section::trial_fit(seed),
        Motif::ProbeNewEnd => probing::probe_end(
            Works {
                rear: Rear::New {
                    rearward: -7.4,
                    drop: 3.8,
                },
                joint: Joint::Bare,
            },
            seed,
        ),
        Motif::Moving => box_section::moving(seed),
        Motif::ProbeMoved => probing::probe_under(
            Works {
                rear: Rear::New {
                    rearward: 0.0,
                    drop: 0.0,
                },
                joint: Joint::Bare,
            },
            Vec3::new(3344.0, -512.0, 258.0),
            seed,
        ),
        Motif::HiddenWelds => box_section::side(Joint::Hidden, 1.0, seed),
        Motif::HiddenWeldsNear => box_section::side(Joint::Hidden, 0.55, seed),
        Motif::HiddenWeldsAll => box_section::whole_box(seed),
        Motif::ClosingPlate => box_section::closing_plate(seed),
        Motif::WeldOut => box_section::side(Joint::Welded, 0.85, seed),
        Motif::Dressed => box_section::side(Joint::Dressed, 0.7, seed),
        Motif::ProbeFinal => probing::probe_end(
            Works {
                rear: Rear::New {
                    rearward: 0.0,
                    drop: 0.0,
                },
                joint: Joint::Dressed,
            },
            seed,
        ),
        Motif::Primed => box_section::side(Joint::Primed, 0.9, seed),
        Motif::CavityWax => box_section::cavity_wax(seed),
    }
}
