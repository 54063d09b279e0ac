//! Records that no longer count: shown struck through, with who struck them and why.

use serde::Serialize;

use crate::archive::words;
use crate::job::plan::Plan;
use crate::job::record::{self, Record, RecordId};
use crate::job::view::{Entry, JobView};

/// A record that was withdrawn or corrected.
#[derive(Clone, Debug, Serialize)]
pub struct Struck {
    pub id: RecordId,
    /// The word for its kind.
    pub kind: &'static str,
    /// What it said.
    pub what: String,
    pub at: String,
    pub author: String,
    /// Why it was withdrawn.
    pub reason: Option<String>,
    /// The record that corrects it, and what that says.
    pub replaced_by: Option<RecordId>,
    /// Why it was corrected, where the correction says so.
    pub why: Option<String>,
    pub now: Option<String>,
    pub struck_at: String,
    pub struck_by: String,
}

pub(super) fn tell(view: &JobView, plan: &Plan) -> Vec<Struck> {
    let mut all = Vec::new();
    let survey_name = |id: &RecordId| {
        let survey = view.surveys.iter().find(|s| s.id == *id);
        survey
            .map_or("a survey", |s| plan.title_of(&s.body.stage))
            .to_owned()
    };
    let photo_name = |id: &RecordId| {
        let photo = view.photos.iter().find(|p| p.id == *id);
        photo.map_or_else(|| id.short().to_owned(), |p| p.body.name.clone())
    };
    of(view, &view.sheets, &mut all, |s| {
        format!("{} ({})", s.file, s.source)
    });
    of(view, &view.openings, &mut all, |o| {
        format!(
            "{} opened, {}",
            plan.title_of(&o.stage),
            words::moment(&o.opened)
        )
    });
    of(view, &view.closings, &mut all, |c| {
        format!("closed, {}", words::moment(&c.closed))
    });
    of(view, &view.surveys, &mut all, |s| match &s.joins {
        Some(base) => format!("a further set-up, joined to {}", survey_name(base)),
        None => format!(
            "{}, reference points {}",
            plan.title_of(&s.stage),
            s.refs.join(", ")
        ),
    });
    of(view, &view.readings, &mut all, |r| {
        format!(
            "{}, {}: {} {} {} mm",
            survey_name(&r.survey),
            r.point,
            words::stated(r.x),
            words::stated(r.y),
            words::stated(r.z)
        )
    });
    for one in &mut all {
        let by = |r: &&Entry<record::Reading>| Some(&r.id) == one.replaced_by.as_ref();
        let correction = view.readings.iter().find(by);
        one.why = correction.and_then(|r| r.body.why.clone());
    }
    of(view, &view.trams, &mut all, |t| {
        format!("{}, {}", plan.title_of(&t.stage), t.words())
    });
    of(view, &view.moves, &mut all, |m| {
        format!("{}: {}", survey_name(&m.survey), m.words)
    });
    of(view, &view.photos, &mut all, |p| p.name.clone());
    of(view, &view.covers, &mut all, |c| {
        format!("a part of {}", photo_name(&c.photo))
    });
    of(view, &view.pictures, &mut all, |p| {
        let reading = view.readings.iter().find(|r| r.id == p.reading);
        let point = reading.map_or("a point", |r| r.body.point.as_str());
        format!("{} shows the reading of {point}", photo_name(&p.photo))
    });
    of(view, &view.notes, &mut all, |n| n.text.clone());
    of(view, &view.supports, &mut all, |s| {
        format!("{}, {}: {}", s.operation, s.part, s.reason)
    });
    of(view, &view.ticks, &mut all, |t| t.check.clone());
    of(view, &view.ties, &mut all, |t| {
        format!(
            "{} belongs to {}",
            photo_name(&t.photo),
            plan.title_of(&t.stage)
        )
    });
    of(view, &view.clocks, &mut all, |c| {
        format!(
            "{} showed {} at {}",
            c.camera,
            words::moment(&c.showed),
            words::moment(&c.was)
        )
    });
    all.sort_by(|a, b| a.id.cmp(&b.id));
    all
}

fn of<R: Record>(
    view: &JobView,
    entries: &[Entry<R>],
    all: &mut Vec<Struck>,
    describe: impl Fn(&R) -> String,
) {
    for entry in entries.iter().filter(|e| !e.stands()) {
        let successor = entry
            .replaced_by
            .as_ref()
            .and_then(|id| entries.iter().find(|e| e.id == *id));
        let stamp = match (&entry.withdrawn, successor) {
            (Some(withdrawn), _) => &withdrawn.stamp,
            (None, Some(successor)) => &successor.stamp,
            (None, None) => &entry.stamp,
        };
        all.push(Struck {
            id: entry.id.clone(),
            kind: R::WORD,
            what: describe(&entry.body),
            at: entry.stamp.at.clone(),
            author: view.author(&entry.stamp),
            reason: entry.withdrawn.as_ref().map(|w| w.reason.clone()),
            replaced_by: entry.replaced_by.clone(),
            why: None,
            now: successor.map(|s| describe(&s.body)),
            struck_at: stamp.at.clone(),
            struck_by: view.author(stamp),
        });
    }
}
