//! The photographs of the story: which camera, when, of what.

use jiff::Timestamp;

use crate::cameras::{Camera, DemoPhoto, PHONE, POCKET};
use crate::plan::at;
use crate::scene::Motif;

/// Collects photographs and names their files as the cameras do.
struct Roll {
    photos: Vec<DemoPhoto>,
    stage: &'static str,
    /// The pocket camera's counter.
    number: u32,
}

impl Roll {
    fn take(
        &mut self,
        camera: &'static Camera,
        time: Timestamp,
        motif: Motif,
        caption: &'static str,
    ) {
        let file_name = if camera.sub_second {
            let shown = camera.clock(time);
            format!(
                "IMG_{}_{:03}.jpg",
                shown.strftime("%Y%m%d_%H%M%S"),
                shown.millisecond()
            )
        } else {
            self.number += 1;
            format!("P{}.JPG", self.number)
        };
        let seed = u32::try_from(self.photos.len()).unwrap_or_default() + 1;
        self.photos.push(DemoPhoto {
            file_name,
            camera,
            true_time: time,
            stage: self.stage,
            caption,
            motif,
            upright: false,
            seed,
        });
    }

    fn phone(&mut self, time: Timestamp, motif: Motif, caption: &'static str) {
        self.take(&PHONE, time, motif, caption);
    }

    /// As [`Roll::phone`], the phone held upright.
    fn phone_upright(&mut self, time: Timestamp, motif: Motif, caption: &'static str) {
        self.take(&PHONE, time, motif, caption);
        if let Some(photo) = self.photos.last_mut() {
            photo.upright = true;
        }
    }

    fn pocket(&mut self, time: Timestamp, motif: Motif, caption: &'static str) {
        self.take(&POCKET, time, motif, caption);
    }
}

/// All photographs, in the order in which they were taken.
pub fn photos() -> Vec<DemoPhoto> {
    use Motif::*;
    let mut roll = Roll {
        photos: Vec::new(),
        stage: "arrival",
        number: 1_030_411,
    };
    let r = &mut roll;

    r.phone(
        at(12, 8, 12, 4, 318),
        Arrival,
        "The van as it came in, struck at the left rear corner",
    );
    r.phone(
        at(12, 8, 13, 51, 902),
        StruckCorner,
        "The struck corner: bumper torn, lamp gone, quarter pushed in",
    );
    r.pocket(
        at(12, 8, 31, 20, 0),
        ShopClock {
            hour: 8,
            minute: 31,
            second: 20,
        },
        "The shop's clock, to put the camera's right",
    );

    r.stage = "as-found-survey";
    r.phone(
        at(12, 9, 47, 33, 120),
        ProbeSill,
        "Probe at P3, a reference point in the sill",
    );
    r.pocket(
        at(12, 10, 22, 10, 0),
        CollapsedRail,
        "The collapsed end of the left rear rail, from below",
    );
    r.phone_upright(
        at(12, 10, 57, 2, 744),
        ProbeCollapsed,
        "Probe at the folded rail end",
    );

    r.stage = "strip-down";
    r.pocket(
        at(12, 12, 5, 48, 0),
        BumperOff,
        "Bumper and lamp off, beam on the mat",
    );
    r.phone(
        at(12, 13, 20, 15, 56),
        Trolley,
        "What came off, sorted on the trolley",
    );

    r.stage = "cut-out";
    r.phone(
        at(12, 15, 4, 37, 480),
        CutLine,
        "Joint scribed and dimensioned from R3",
    );
    r.pocket(
        at(12, 15, 51, 5, 0),
        Drilling,
        "Spot welds drilled out along the lip",
    );
    r.phone(
        at(12, 17, 2, 41, 233),
        Stub,
        "The rail's stub, edges ground bare",
    );

    r.stage = "trial-fit";
    r.pocket(
        at(13, 8, 20, 30, 0),
        TrialFit,
        "New section clamped in its joint",
    );
    r.phone(
        at(13, 9, 14, 9, 671),
        BeamBolted,
        "Beam and lamp bolted on: everything lines up",
    );

    r.stage = "fit-survey";
    // Four seconds after the border, by a clock that is corrected to the second.
    r.pocket(
        at(13, 9, 38, 4, 0),
        PanelGap,
        "Gap at the door beside the lamp, even",
    );
    r.phone(
        at(13, 10, 11, 26, 398),
        ProbeNewEnd,
        "Probe at R6, the new section's end plate",
    );
    r.pocket(
        at(13, 10, 52, 17, 0),
        Moving,
        "Section drawn rearward with the screw; the bright strip shows by how much",
    );
    r.phone(
        at(13, 11, 27, 54, 10),
        ProbeMoved,
        "Probe at R5 after the move",
    );

    r.stage = "test-welds";
    r.phone(
        at(13, 12, 6, 20, 845),
        Coupons,
        "Test welds on coupons of the same sheet",
    );
    r.pocket(
        at(13, 12, 21, 42, 0),
        Peeled,
        "A coupon peeled in the vice: the nuggets tore out",
    );

    r.stage = "hidden-welds";
    r.phone(
        at(13, 14, 18, 31, 507),
        HiddenWelds,
        "Welds at the sleeve, inside the open box",
    );
    r.phone(
        at(13, 14, 19, 8, 222),
        HiddenWeldsNear,
        "The same welds from near",
    );
    r.pocket(
        at(13, 14, 47, 55, 0),
        HiddenWeldsAll,
        "The open box along the whole section, before the plate goes on",
    );

    r.stage = "closing-panel";
    r.phone(
        at(13, 16, 12, 47, 90),
        ClosingPlate,
        "Closing plate clamped",
    );

    r.stage = "weld-out";
    r.pocket(at(14, 8, 55, 3, 0), WeldOut, "Plugs and seam as welded");
    r.phone(at(14, 9, 58, 12, 615), Dressed, "Seams dressed");

    r.stage = "final-survey";
    r.phone(
        at(14, 11, 6, 39, 774),
        ProbeFinal,
        "Probe at R6, final survey",
    );

    r.stage = "corrosion-protection";
    r.phone(at(14, 13, 2, 25, 130), Primed, "Joint primed");
    r.pocket(
        at(14, 13, 48, 36, 0),
        CavityWax,
        "Cavity wax through the slot",
    );

    r.stage = "hand-over";
    r.phone(at(14, 15, 52, 18, 401), HandOver, "Ready");

    roll.photos
}
