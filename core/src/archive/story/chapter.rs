//! The time line: every time a stage was open is a chapter, and what happened in it its events.

use jiff::Timestamp;
use serde::Serialize;

use super::{MoveStory, NoteStory, PhotoStory, SurveyStory, TickStory, TramStory};
use crate::job::plan::Plan;
use crate::job::record::RecordId;
use crate::job::stage::{StageState, instant};
use crate::job::view::JobView;

/// One time that a stage was open, or what belongs to none.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Chapter {
    /// `None` for what belongs to no stage.
    pub stage: Option<String>,
    pub title: String,
    /// Which time it was, where the stage was opened more than once.
    pub time: Option<usize>,
    pub opened: Option<String>,
    pub opened_by: Option<String>,
    pub closed: Option<String>,
    pub closed_by: Option<String>,
    /// Hold points that were passed here for the first time.
    pub gates: Vec<Gate>,
    /// In the order in which they happened.
    pub events: Vec<Event>,
}

/// A hold point that was passed.
#[derive(Clone, Debug, Serialize)]
pub struct Gate {
    pub hold: String,
    pub by_evidence: bool,
    /// The release that opened it, where its evidence did not.
    pub release: Option<RecordId>,
}

/// Something that happened.
#[derive(Clone, Debug, Serialize)]
pub struct Event {
    pub kind: EventKind,
    pub record: RecordId,
    /// RFC 3339; `None` for a photo without a time.
    pub at: Option<String>,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum EventKind {
    Photo,
    Note,
    Survey,
    /// The tram readings of a stage; the record is the first of them.
    Trams,
    /// A move that was decided.
    Move,
    Tick,
}

/// What the time line is made of.
pub(super) struct Parts<'a> {
    pub view: &'a JobView,
    pub plan: &'a Plan,
    pub stages: &'a [StageState],
    pub surveys: &'a [SurveyStory],
    pub moves: &'a [MoveStory],
    pub trams: &'a [TramStory],
    pub photos: &'a [PhotoStory],
    pub notes: &'a [NoteStory],
    pub ticks: &'a [TickStory],
}

pub(super) fn tell(parts: &Parts<'_>) -> Vec<Chapter> {
    let mut line = Line {
        chapters: openings(parts),
        loose: Chapter {
            title: "In no stage".into(),
            ..Chapter::default()
        },
        plan: parts.plan,
    };
    for survey in parts.surveys {
        line.put(
            Some(&survey.stage),
            EventKind::Survey,
            &survey.id,
            Some(&survey.at),
        );
    }
    for trams in parts.trams {
        let stage = Some(trams.stage.as_str());
        line.put(stage, EventKind::Trams, &trams.id, Some(&trams.at));
    }
    for decided in parts.moves {
        // A move has no stage of its own: it is told where it was decided, else with its survey.
        let stage = match line.open_at(instant(&decided.at)) {
            Some(_) => None,
            None => decided.stage.as_deref(),
        };
        line.put(stage, EventKind::Move, &decided.id, Some(&decided.at));
    }
    for note in parts.notes {
        // A note about a photo is told with the photo.
        let told = note.photo.as_ref().is_some_and(|id| {
            parts
                .photos
                .iter()
                .any(|p| p.id == *id && p.withdrawn.is_none())
        });
        if !told {
            line.put(
                note.stage.as_deref(),
                EventKind::Note,
                &note.id,
                Some(&note.at),
            );
        }
    }
    for tick in parts.ticks {
        line.put(None, EventKind::Tick, &tick.id, Some(&tick.at));
    }
    for photo in parts.photos.iter().filter(|p| p.withdrawn.is_none()) {
        let at = photo.taken.as_deref();
        match &photo.stage {
            Some(stage) => line.put(Some(stage), EventKind::Photo, &photo.id, at),
            // Whose stage nobody settled is not put into one here either.
            None => line.loose.events.push(Event {
                kind: EventKind::Photo,
                record: photo.id.clone(),
                at: photo.taken.clone(),
            }),
        }
    }
    line.finish()
}

fn openings(parts: &Parts<'_>) -> Vec<Chapter> {
    let mut chapters = Vec::new();
    for stage in parts.stages {
        for (index, span) in stage.spans.iter().enumerate() {
            chapters.push(Chapter {
                stage: Some(stage.name.clone()),
                title: stage.title.clone(),
                time: (stage.spans.len() > 1).then_some(index + 1),
                opened: Some(span.opened.clone()),
                opened_by: Some(parts.view.author(&span.opened_by)),
                closed: span.closed.clone(),
                closed_by: span.closed_by.as_ref().map(|s| parts.view.author(s)),
                gates: span
                    .passed
                    .iter()
                    .map(|passed| Gate {
                        hold: passed.hold.clone(),
                        by_evidence: passed.how == "evidence",
                        release: passed.release.clone(),
                    })
                    .collect(),
                events: Vec::new(),
            });
        }
    }
    chapters.sort_by_key(|c| c.opened.as_deref().and_then(instant));
    // A gate that stands open is not told again at every stage behind it.
    let mut told: Vec<(String, bool, Option<RecordId>)> = Vec::new();
    for chapter in &mut chapters {
        chapter.gates.retain(|gate| {
            let key = (gate.hold.clone(), gate.by_evidence, gate.release.clone());
            let new = !told.contains(&key);
            told.push(key);
            new
        });
    }
    chapters
}

struct Line<'a> {
    chapters: Vec<Chapter>,
    loose: Chapter,
    plan: &'a Plan,
}

impl Line<'_> {
    fn put(&mut self, stage: Option<&str>, kind: EventKind, record: &RecordId, at: Option<&str>) {
        let event = Event {
            kind,
            record: record.clone(),
            at: at.map(str::to_owned),
        };
        let time = at.and_then(instant);
        let found = match stage {
            Some(stage) => Some(self.chapter_of(stage, time)),
            None => self.open_at(time),
        };
        match found.and_then(|index| self.chapters.get_mut(index)) {
            Some(chapter) => chapter.events.push(event),
            None => self.loose.events.push(event),
        }
    }

    /// The stage's chapter at that time, else the last one before it, else its first; a stage that
    /// was never opened gets a chapter without times.
    fn chapter_of(&mut self, stage: &str, at: Option<Timestamp>) -> usize {
        let mut found = None;
        for (index, chapter) in self.chapters.iter().enumerate() {
            if chapter.stage.as_deref() != Some(stage) {
                continue;
            }
            let opened = chapter.opened.as_deref().and_then(instant);
            if found.is_none() || opened <= at {
                found = Some(index);
            }
        }
        found.unwrap_or_else(|| {
            self.chapters.push(Chapter {
                stage: Some(stage.to_owned()),
                title: self.plan.title_of(stage).to_owned(),
                ..Chapter::default()
            });
            self.chapters.len() - 1
        })
    }

    /// The chapter that was open at that time, the latest of several.
    fn open_at(&self, at: Option<Timestamp>) -> Option<usize> {
        let at = at?;
        self.chapters.iter().rposition(|chapter| {
            let end = chapter.closed.as_deref().and_then(instant);
            chapter
                .opened
                .as_deref()
                .and_then(instant)
                .is_some_and(|opened| opened <= at)
                && end.is_none_or(|end| at <= end)
        })
    }

    fn finish(mut self) -> Vec<Chapter> {
        let time_of = |event: &Event| event.at.as_deref().and_then(instant);
        for chapter in self.chapters.iter_mut().chain([&mut self.loose]) {
            // Stable: what has no time, or the same, keeps its order. The timeless come last.
            chapter.events.sort_by_key(|e| (e.at.is_none(), time_of(e)));
        }
        self.chapters.sort_by_key(|chapter| {
            let first = chapter.events.first().and_then(time_of);
            let start = chapter.opened.as_deref().and_then(instant).or(first);
            (start.is_none(), start)
        });
        if !self.loose.events.is_empty() {
            self.chapters.push(self.loose);
        }
        self.chapters
    }
}
