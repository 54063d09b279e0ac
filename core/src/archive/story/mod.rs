//! The whole job as one story: what was done, what was found, what was decided, and what is open.
//!
//! Everything here is derived from the document each time it is told; nothing of it is stored.
//! It holds words and numbers and no markup, so that the page, `job.json`, and whatever comes
//! later (a report, the desk) all tell the same story.
//!
//! | file | what it tells |
//! |---|---|
//! | `survey` | each survey: how it was taken, what it found |
//! | `basis` | what a survey rests on: uncertainty, temperature, repeats, further set-ups |
//! | `tally` | how many verdicts of each kind a survey has, and those that matter most |
//! | `damage` | what moved, by the first survey of the plan |
//! | `moves` | moves that were decided, and what the next survey found of them |
//! | `tram` | tram readings, those of a stage together |
//! | `sheet` | the dimension sheet, and where it contradicts itself |
//! | `answer` | the answer in plain words |
//! | `open` | what was released without evidence, and what nobody has settled |
//! | `hold` | the hold points, and how they were passed |
//! | `picture` | the photos in stage order, with their times and ties |
//! | `chapter` | the time line: stages in the order in which they were opened, and what happened in each |
//! | `estimate` | what supports the lines of the estimate |
//! | `struck` | records that were withdrawn or corrected |
//! | `people` | people, devices, clocks, and values that two devices set at once |

mod answer;
mod apart;
mod basis;
mod chapter;
mod damage;
mod estimate;
mod hold;
mod moves;
mod open;
mod people;
mod picture;
pub(super) mod sheet;
mod struck;
mod survey;
mod tally;
pub(super) mod tram;

pub use answer::{Answer, Outcome};
pub use basis::SetUpStory;
pub use chapter::{Chapter, Event, EventKind, Gate};
pub use damage::DamageStory;
pub use estimate::{EstimateStory, SupportingReading};
pub use hold::{HoldStory, Passing, ReleaseStory};
pub use moves::{MoveStory, OutcomePoint, OutcomeStory};
pub use people::{ClockStory, ConflictStory, DeviceStory};
pub use picture::{Certainty, PhotoStory};
pub use sheet::{SheetFile, SheetStory};
pub use struck::Struck;
pub use survey::{Checked, Comparison, SurveyStory};
pub use tally::{Deviation, Tally};
pub use tram::{TramRow, TramStory};

use jiff::Timestamp;
use serde::Serialize;

use super::readers::CopyStory;
use super::sealed::{self, SealState};
use super::{CAUTIONS, PROGRAM, words};
use crate::job::hold::Evidence;
use crate::job::measure;
use crate::job::plan::Plan;
use crate::job::record::RecordId;
use crate::job::stage::{self, StageState};
use crate::job::tie::{Ties, zone_of};
use crate::job::view::{JobView, Part, Unreadable};

/// What `job.json` says it is.
pub const FORMAT: &str = "datumtrail.job-story";
/// Its version: it grows when a program that reads an older one would misread a newer one.
pub const VERSION: u32 = 1;

/// A job, told.
#[derive(Clone, Debug, Serialize)]
pub struct Story {
    /// Always [`FORMAT`].
    pub format: &'static str,
    /// Always [`VERSION`].
    pub version: u32,
    pub head: Head,
    /// Whom this archive is for, and what was left out of it.
    pub copy: CopyStory,
    pub answer: Answer,
    /// The first and the newest survey, where there are two.
    pub comparison: Option<Comparison>,
    /// Every survey that counts, in the order in which they were taken.
    pub surveys: Vec<SurveyStory>,
    /// What moved, by the survey that comes first in the plan; none where that states no
    /// uncertainty.
    pub damage: Option<DamageStory>,
    /// The moves that were decided and count, and what came of them.
    pub moves: Vec<MoveStory>,
    /// The tram readings that count, those of a stage together.
    pub trams: Vec<TramStory>,
    pub holds: Vec<HoldStory>,
    /// The stages of the plan, and when each was open.
    pub stages: Vec<StageState>,
    /// The time line.
    pub chapters: Vec<Chapter>,
    /// In stage order; withdrawn ones at the end.
    pub photos: Vec<PhotoStory>,
    pub notes: Vec<NoteStory>,
    pub ticks: Vec<TickStory>,
    /// What supports the lines of the estimate.
    pub estimate: Vec<EstimateStory>,
    pub sheet: Option<SheetStory>,
    pub clocks: Vec<ClockStory>,
    /// Records that no longer count, with the reason.
    pub struck: Vec<Struck>,
    /// The seals: whose, whether they hold, and what was added or changed since.
    pub seals: Vec<SealState>,
    /// Values that two devices set at once and nobody has settled.
    pub conflicts: Vec<ConflictStory>,
    /// What the devices of a crew brought about by working apart, each a sentence: clashing records,
    /// what was set aside, clocks that differ.
    pub apart: Vec<String>,
    /// Records that this version of the program can't understand. They are in the document.
    pub unreadable: Vec<Unreadable>,
    /// Everyone who wrote a record and said who they are.
    pub people: Vec<String>,
    pub devices: Vec<DeviceStory>,
    pub cautions: [&'static str; 4],
}

/// What the job is about.
#[derive(Clone, Debug, Serialize)]
pub struct Head {
    /// The job's identity, a UUID.
    pub job: String,
    /// The document's, as automerge-repo writes it.
    pub document: String,
    pub name: String,
    pub vehicle: Option<String>,
    pub organization: Option<String>,
    pub part: Option<Part>,
    /// The plan's title.
    pub plan: String,
    /// The IANA time zone in which all times here are shown.
    pub zone: String,
    /// The first and the last time at which something happened, RFC 3339.
    pub from: Option<String>,
    pub to: Option<String>,
    /// When this story was told, RFC 3339, and by which program.
    pub told: String,
    pub program: &'static str,
}

/// Something a person wrote down.
#[derive(Clone, Debug, Serialize)]
pub struct NoteStory {
    pub id: RecordId,
    pub at: String,
    pub author: String,
    pub text: String,
    pub stage: Option<String>,
    pub photo: Option<RecordId>,
    pub about: Option<String>,
}

/// A check of the plan that someone ticked.
#[derive(Clone, Debug, Serialize)]
pub struct TickStory {
    pub id: RecordId,
    pub at: String,
    pub author: String,
    pub check: String,
    /// What the plan asks there, in words.
    pub asked: String,
    pub text: Option<String>,
}

/// What a story needs to know besides the document.
#[derive(Clone, Debug)]
pub struct Telling<'a> {
    pub now: Timestamp,
    /// The shop, where its name is known.
    pub organization: Option<&'a str>,
    /// Whom the archive is for, and what was left out of it.
    pub copy: CopyStory,
}

impl Story {
    /// Tells a job.
    pub fn tell(view: &JobView, plan: &Plan, telling: &Telling<'_>) -> Self {
        let zone = zone_of(view);
        let stages = stage::stages(view, plan);
        let ties = Ties::new(view, &stages);
        let surveys = survey::tell(view, plan);
        let sheet = measure::sheet_of(view).ok();
        let moves = moves::tell(view, &surveys, sheet.as_ref());
        let trams = tram::tell(view, plan, &stages, sheet.as_ref());
        let comparison = survey::compare(&surveys, plan);
        let holds = hold::tell(view, plan, Evidence::new(view, plan, &ties).all());
        let notes = notes(view);
        let ticks = ticks(view, plan);
        let photos = picture::tell(view, plan, &ties, &zone, &notes);
        let chapters = chapter::tell(&chapter::Parts {
            view,
            stages: &stages,
            plan,
            surveys: &surveys,
            moves: &moves,
            trams: &trams,
            photos: &photos,
            notes: &notes,
            ticks: &ticks,
        });
        let struck = struck::tell(view, plan);
        let conflicts = people::conflicts(view);
        let mut story = Self {
            format: FORMAT,
            version: VERSION,
            head: head(view, plan, telling),
            copy: telling.copy.clone(),
            answer: Answer::default(),
            comparison,
            damage: damage::tell(view, &surveys, plan),
            estimate: estimate::tell(view, plan, &surveys),
            surveys,
            moves,
            trams,
            holds,
            stages,
            chapters,
            photos,
            notes,
            ticks,
            sheet: sheet::tell(view, sheet.as_ref()),
            clocks: people::clocks(view),
            struck,
            seals: sealed::states(view, plan),
            conflicts,
            apart: apart::tell(view),
            unreadable: view.unreadable.clone(),
            people: people::people(view),
            devices: people::devices(view),
            cautions: CAUTIONS,
        };
        (story.head.from, story.head.to) = story.reach();
        story.answer = answer::tell(&story);
        story
    }

    /// Tells the answer again, after the archive has said which photos it could not take along.
    pub(crate) fn settle(&mut self) {
        self.answer = answer::tell(self);
    }

    /// The survey of that identity.
    pub fn survey(&self, id: &RecordId) -> Option<&SurveyStory> {
        self.surveys.iter().find(|s| s.id == *id)
    }

    /// The move that a survey was the first to follow, with what it found.
    pub fn outcome_in(&self, survey: &RecordId) -> Option<(&MoveStory, &OutcomeStory)> {
        self.moves.iter().find_map(|decided| {
            let outcome = decided.outcome.as_ref()?;
            (outcome.survey == *survey).then_some((decided, outcome))
        })
    }

    /// Whether a chapter is the last time that its stage was open: what holds for the stage as a
    /// whole is told there.
    pub fn last_of(&self, chapter: &Chapter) -> bool {
        let mut times = self.chapters.iter().filter(|c| c.stage == chapter.stage);
        times
            .next_back()
            .is_some_and(|last| std::ptr::eq(last, chapter))
    }

    /// The photo of that identity.
    pub fn photo(&self, id: &RecordId) -> Option<&PhotoStory> {
        self.photos.iter().find(|p| p.id == *id)
    }

    /// The note of that identity.
    pub fn note(&self, id: &RecordId) -> Option<&NoteStory> {
        self.notes.iter().find(|n| n.id == *id)
    }

    /// The survey that the answer rests on.
    pub fn newest(&self) -> Option<&SurveyStory> {
        self.answer.survey.as_ref().and_then(|id| self.survey(id))
    }

    /// The first and the last time at which something happened.
    fn reach(&self) -> (Option<String>, Option<String>) {
        let spans = self.stages.iter().flat_map(|s| &s.spans);
        let times = spans
            .flat_map(|s| [Some(&s.opened), s.closed.as_ref()])
            .flatten()
            .chain(self.surveys.iter().map(|s| &s.at))
            .chain(self.moves.iter().map(|m| &m.at))
            .chain(self.trams.iter().flat_map(|t| [&t.at, &t.until]))
            .chain(self.notes.iter().map(|n| &n.at));
        let mut times: Vec<(Timestamp, &String)> = times
            .filter_map(|text| Some((stage::instant(text)?, text)))
            .collect();
        times.sort_by_key(|(at, _)| *at);
        let text = |(_, text): &(Timestamp, &String)| (*text).clone();
        (times.first().map(text), times.last().map(text))
    }
}

fn head(view: &JobView, plan: &Plan, telling: &Telling<'_>) -> Head {
    let zone = zone_of(view);
    Head {
        job: view.id.clone(),
        document: view.document.clone(),
        name: view.title().to_owned(),
        vehicle: view.vehicle.value.clone(),
        organization: telling.organization.map(str::to_owned),
        part: view.part(),
        plan: plan.title.clone(),
        zone: zone.iana_name().unwrap_or("UTC").to_owned(),
        from: None,
        to: None,
        told: words::written(telling.now, &zone),
        program: PROGRAM,
    }
}

fn notes(view: &JobView) -> Vec<NoteStory> {
    let standing = view.notes.iter().filter(|n| n.stands());
    standing
        .map(|note| NoteStory {
            id: note.id.clone(),
            at: note.stamp.at.clone(),
            author: view.author(&note.stamp),
            text: note.body.text.clone(),
            stage: note.body.stage.clone(),
            photo: note.body.photo.clone(),
            about: note.body.about.clone(),
        })
        .collect()
}

fn ticks(view: &JobView, plan: &Plan) -> Vec<TickStory> {
    use crate::job::plan::Need;
    let asked = |wanted: &str| {
        plan.holds
            .iter()
            .flat_map(|h| &h.needs)
            .find_map(|need| match need {
                Need::Check { key, text } if key == wanted => text.clone(),
                _ => None,
            })
    };
    let standing = view.ticks.iter().filter(|t| t.stands());
    standing
        .map(|tick| TickStory {
            id: tick.id.clone(),
            at: tick.stamp.at.clone(),
            author: view.author(&tick.stamp),
            check: tick.body.check.clone(),
            asked: asked(&tick.body.check).unwrap_or_else(|| tick.body.check.clone()),
            text: tick.body.text.clone(),
        })
        .collect()
}
