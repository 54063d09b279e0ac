//! The story in time: stages, who did them, and what was noted.
//!
//! Three working days of an invented May. All times are true times; what the cameras made of them
//! is in [`crate::cameras`]. The stage keys are those of the plan that ships with the program.

use jiff::Timestamp;
use jiff::civil::date;
use jiff::tz::Offset;

use crate::vehicle::people::{ESTIMATOR, TECHNICIAN, WELDER};

/// The shop's clocks are one hour ahead of UTC ([`crate::vehicle::TIME_ZONE`]).
pub const OFFSET: Offset = Offset::constant(1);

/// A true time on one of the story's days, by the shop's clock: day of May 2026, hour, minute,
/// second, millisecond.
pub fn at(day: i8, hour: i8, minute: i8, second: i8, millisecond: i32) -> Timestamp {
    let civil = date(2026, 5, day).at(hour, minute, second, millisecond * 1_000_000);
    // A fixed offset has no gaps, and 2026 is within range.
    OFFSET.to_timestamp(civil).unwrap_or(Timestamp::UNIX_EPOCH)
}

/// A stage as it went.
#[derive(Clone, Debug, PartialEq)]
pub struct StageTime {
    pub key: &'static str,
    pub opened: Timestamp,
    pub closed: Timestamp,
    /// Who opened and closed it.
    pub by: &'static str,
}

/// The stages in their order.
pub fn stages() -> Vec<StageTime> {
    let stage = |key, opened, closed, by| StageTime {
        key,
        opened,
        closed,
        by,
    };
    vec![
        stage(
            "arrival",
            at(12, 8, 5, 0, 0),
            at(12, 8, 52, 0, 0),
            ESTIMATOR,
        ),
        stage(
            "as-found-survey",
            at(12, 9, 10, 0, 0),
            at(12, 11, 18, 0, 0),
            TECHNICIAN,
        ),
        stage(
            "strip-down",
            at(12, 11, 25, 0, 0),
            at(12, 14, 40, 0, 0),
            WELDER,
        ),
        stage(
            "cut-out",
            at(12, 14, 48, 0, 0),
            at(12, 17, 20, 0, 0),
            TECHNICIAN,
        ),
        stage(
            "trial-fit",
            at(13, 7, 40, 0, 0),
            at(13, 9, 38, 0, 0),
            TECHNICIAN,
        ),
        stage(
            "fit-survey",
            at(13, 9, 38, 0, 0),
            at(13, 11, 52, 0, 0),
            TECHNICIAN,
        ),
        stage(
            "test-welds",
            at(13, 11, 55, 0, 0),
            at(13, 12, 30, 0, 0),
            WELDER,
        ),
        stage(
            "hidden-welds",
            at(13, 13, 10, 0, 0),
            at(13, 15, 5, 0, 0),
            WELDER,
        ),
        stage(
            "closing-panel",
            at(13, 15, 10, 0, 0),
            at(13, 16, 55, 0, 0),
            TECHNICIAN,
        ),
        stage(
            "weld-out",
            at(14, 7, 35, 0, 0),
            at(14, 10, 12, 0, 0),
            WELDER,
        ),
        stage(
            "final-survey",
            at(14, 10, 20, 0, 0),
            at(14, 11, 50, 0, 0),
            TECHNICIAN,
        ),
        stage(
            "corrosion-protection",
            at(14, 12, 35, 0, 0),
            at(14, 14, 50, 0, 0),
            WELDER,
        ),
        stage(
            "hand-over",
            at(14, 15, 30, 0, 0),
            at(14, 16, 20, 0, 0),
            ESTIMATOR,
        ),
    ]
}

/// When each survey's file was taken over from the arm.
pub fn survey_time(survey: crate::truth::Survey) -> Timestamp {
    use crate::truth::Survey;
    match survey {
        Survey::AsFound => at(12, 11, 5, 40, 0),
        Survey::FirstFit => at(13, 10, 26, 10, 0),
        Survey::SecondFit => at(13, 11, 39, 30, 0),
        Survey::Final => at(14, 11, 31, 0, 0),
    }
}

/// What someone wrote down.
#[derive(Clone, Debug, PartialEq)]
pub struct Note {
    pub at: Timestamp,
    pub stage: &'static str,
    pub author: &'static str,
    /// The subject that a hold point asks for, where it does.
    pub about: Option<&'static str>,
    pub text: &'static str,
}

/// The notes, in the order in which they were written.
pub fn notes() -> Vec<Note> {
    let note = |at, stage, author, text| Note {
        at,
        stage,
        author,
        about: None,
        text,
    };
    vec![
        note(
            at(12, 8, 24, 0, 0),
            "arrival",
            ESTIMATOR,
            "Backed into by a lorry, left rear corner. Lamp gone, bumper torn, quarter pushed in. Rear doors open and shut.",
        ),
        note(
            at(12, 11, 14, 0, 0),
            "as-found-survey",
            TECHNICIAN,
            "End of the left rear rail folded. R3, ahead of the joint, reads in place: end section only.",
        ),
        note(
            at(12, 13, 5, 0, 0),
            "strip-down",
            WELDER,
            "Beam bent beyond use. Left end plate sheared two bolts. Wiring to the lamp intact, tied back.",
        ),
        note(
            at(12, 15, 2, 0, 0),
            "cut-out",
            TECHNICIAN,
            "Joint scribed 126 mm behind R3 as the manual has it. Plate parted 84 mm further forward, seams staggered.",
        ),
        note(
            at(13, 9, 21, 0, 0),
            "trial-fit",
            TECHNICIAN,
            "New section clamped. Everything bolts up: beam on, lamp in, gaps at door and quarter line up.",
        ),
        note(
            at(13, 11, 2, 0, 0),
            "fit-survey",
            TECHNICIAN,
            "Clamps off, section drawn out of its joint with the screw and lifted at the end. Clamped again, measuring again.",
        ),
        note(
            at(13, 12, 24, 0, 0),
            "test-welds",
            WELDER,
            "Plug and butt welds on coupons cut from the old section, same sheet, 1.8 on 2.0 mm. Peeled in the vice: nuggets tear out whole. Settings kept.",
        ),
        note(
            at(13, 14, 52, 0, 0),
            "hidden-welds",
            WELDER,
            "Sleeve plugged, twelve holes. Butt seam in short runs, cooled in between.",
        ),
        note(
            at(13, 16, 40, 0, 0),
            "closing-panel",
            TECHNICIAN,
            "Lips primed with weld-through, plate clamped from the joint rearward.",
        ),
        note(
            at(14, 9, 30, 0, 0),
            "weld-out",
            WELDER,
            "Plugs stepped from the middle outward to keep the pull down. Seams dressed flush, edges left.",
        ),
        note(
            at(14, 14, 40, 0, 0),
            "corrosion-protection",
            WELDER,
            "Epoxy primer, seam sealer, cavity wax through both slots until it ran from the drain holes.",
        ),
        Note {
            about: Some("scans-and-calibrations"),
            ..note(
                at(14, 15, 12, 0, 0),
                "corrosion-protection",
                ESTIMATOR,
                "Scan before: lamp circuit and parking sensors left. Scan after: no codes. Rear sensors calibrated, printout in the folder.",
            )
        },
        note(
            at(14, 16, 10, 0, 0),
            "hand-over",
            ESTIMATOR,
            "Owner shown the timeline. Refinish of the quarter is a job of its own.",
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::truth::Survey;

    #[test]
    fn stages_follow_each_other() {
        let stages = stages();
        assert_eq!(stages.len(), 13);
        for s in &stages {
            assert!(s.opened < s.closed, "{}", s.key);
        }
        for pair in stages.windows(2) {
            assert!(
                pair[0].closed <= pair[1].opened,
                "{} and {}",
                pair[0].key,
                pair[1].key
            );
        }
    }

    #[test]
    fn surveys_are_taken_while_their_stage_is_open() {
        let stages = stages();
        for survey in Survey::ALL {
            let stage = stages
                .iter()
                .find(|s| s.key == survey.stage())
                .expect("a stage");
            let time = survey_time(survey);
            assert!(stage.opened < time && time < stage.closed, "{survey:?}");
        }
        assert!(survey_time(Survey::FirstFit) < survey_time(Survey::SecondFit));
    }

    #[test]
    fn notes_are_in_order_and_belong_to_stages() {
        let stages = stages();
        let notes = notes();
        for note in &notes {
            let stage = stages
                .iter()
                .find(|s| s.key == note.stage)
                .expect("a stage");
            // A note may be written after its stage closed, not before it opened.
            assert!(note.at >= stage.opened, "{}", note.text);
        }
        assert!(notes.windows(2).all(|w| w[0].at < w[1].at));
        assert!(
            notes
                .iter()
                .any(|n| n.stage == "trial-fit" && n.text.contains("bolts up"))
        );
        assert!(
            notes
                .iter()
                .any(|n| n.stage == "test-welds" && n.text.contains("same sheet"))
        );
        assert!(
            notes
                .iter()
                .any(|n| n.about == Some("scans-and-calibrations"))
        );
    }

    #[test]
    fn the_clock_on_the_wall_is_one_hour_ahead() {
        assert_eq!(at(12, 8, 5, 0, 0).to_string(), "2026-05-12T07:05:00Z");
    }
}
