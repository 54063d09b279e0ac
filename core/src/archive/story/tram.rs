//! Tram readings: those of one time that a stage was open are one event.

use datumtrail_geometry::verdict::Verdict;
use datumtrail_sheet::Sheet;
use serde::Serialize;

use crate::archive::words;
use crate::job::plan::Plan;
use crate::job::record::{self, RecordId, TramKind};
use crate::job::stage::{StageState, instant};
use crate::job::tram::{self, FourReport, TramReport};
use crate::job::view::{Entry, JobView};

/// The tram readings of a stage.
#[derive(Clone, Debug, Serialize)]
pub struct TramStory {
    /// The first reading's identity stands for all.
    pub id: RecordId,
    pub stage: String,
    /// The stage's title.
    pub title: String,
    /// When the first and the last were recorded.
    pub at: String,
    pub until: String,
    pub authors: Vec<String>,
    pub instruments: Vec<String>,
    pub readings: Vec<TramRow>,
    /// The diagonals of symmetrical fours.
    pub fours: Vec<FourReport>,
    /// Readings by verdict.
    pub inside: usize,
    pub outside: usize,
    pub too_close_to_call: usize,
}

/// One tram reading that counts.
#[derive(Clone, Debug, Serialize)]
pub struct TramRow {
    pub id: RecordId,
    pub at: String,
    pub author: String,
    #[serde(flatten)]
    pub reading: record::Tram,
    /// Against the sheet; none where the sheet does not have the points.
    pub against: Option<TramReport>,
    /// `2.5 mm longer`.
    pub difference: Option<String>,
}

impl TramStory {
    /// All of them in one phrase: `1 of 8 outside, A to B' 4.2 mm longer`.
    pub fn phrase(&self) -> String {
        let all = self.readings.len();
        let size = |row: &&TramRow| {
            row.against
                .as_ref()
                .map_or(0.0, |seen| seen.deviation_mm.abs())
        };
        let outside = self.readings.iter().filter(|r| is(r, Verdict::Outside));
        let worst = outside.max_by(|a, b| size(a).total_cmp(&size(b)));
        if let Some(worst) = worst {
            return format!(
                "{} of {all} outside, {} {}",
                self.outside,
                ends(&worst.reading),
                worst.difference.as_deref().unwrap_or_default()
            );
        }
        match (self.too_close_to_call, self.inside) {
            (0, 0) => format!(
                "{}, no limits given",
                words::count(all, "reading", "readings")
            ),
            (0, inside) if inside == all => {
                format!("all {} inside", words::count(all, "reading", "readings"))
            }
            (0, inside) => format!("{inside} of {all} inside, no limits given for the others"),
            (close, _) => format!("{close} of {all} too close to call"),
        }
    }

    /// The verdict that stands for all of them: the worst there is.
    pub fn verdict(&self) -> Verdict {
        match (self.outside, self.too_close_to_call, self.inside) {
            (1.., _, _) => Verdict::Outside,
            (0, 1.., _) => Verdict::TooCloseToCall,
            (0, 0, 1..) => Verdict::Inside,
            _ => Verdict::NoLimitGiven,
        }
    }

    /// What to ask, where a reading fits another kind better.
    pub fn questions(&self) -> impl Iterator<Item = &str> {
        let seen = self.readings.iter().filter_map(|r| r.against.as_ref());
        seen.filter_map(|seen| seen.question.as_deref())
    }
}

fn is(row: &TramRow, verdict: Verdict) -> bool {
    row.against.as_ref().is_some_and(|r| r.verdict == verdict)
}

/// `A to B'`, or the one point of a height.
pub(in crate::archive) fn ends(reading: &record::Tram) -> String {
    match &reading.b {
        Some(b) => format!("{} to {b}", reading.a),
        None => format!("{}, height", reading.a),
    }
}

/// A stage, and which time it was open.
type Visit<'a> = (&'a str, usize);

/// The tram readings that count, a stage at a time.
pub(super) fn tell(
    view: &JobView,
    plan: &Plan,
    stages: &[StageState],
    sheet: Option<&Sheet>,
) -> Vec<TramStory> {
    let mut groups: Vec<(Visit<'_>, Vec<&Entry<record::Tram>>)> = Vec::new();
    for entry in tram::standing(view, None) {
        let place = (entry.body.stage.as_str(), span_at(stages, entry));
        match groups.iter_mut().find(|(known, _)| *known == place) {
            Some((_, list)) => list.push(entry),
            None => groups.push((place, vec![entry])),
        }
    }
    let mut told: Vec<TramStory> = groups
        .iter()
        .filter_map(|((stage, _), entries)| group(view, plan, sheet, stage, entries))
        .collect();
    told.sort_by_key(|t| instant(&t.at));
    told
}

/// Which of the times that its stage was open a reading was recorded in.
fn span_at(stages: &[StageState], entry: &Entry<record::Tram>) -> usize {
    let at = instant(&entry.stamp.at);
    let stage = stages.iter().find(|s| s.name == entry.body.stage);
    let spans = stage.map_or(&[][..], |s| s.spans.as_slice());
    spans
        .iter()
        .rposition(|span| instant(&span.opened) <= at)
        .unwrap_or(0)
}

fn group(
    view: &JobView,
    plan: &Plan,
    sheet: Option<&Sheet>,
    stage: &str,
    entries: &[&Entry<record::Tram>],
) -> Option<TramStory> {
    let (first, last) = (entries.first()?, entries.last()?);
    let ours = |id: &RecordId| entries.iter().any(|e| e.id == *id);
    let compared = sheet.map(|sheet| tram::compare(view, sheet, Some(stage), None));
    let (mut reports, fours) = match compared {
        Some(list) => (list.readings, list.fours),
        None => (Vec::new(), Vec::new()),
    };
    reports.retain(|r| ours(&r.reading));
    // The diagonals are those of the newest readings of the stage.
    let newest = tram::standing(view, Some(stage)).last();
    let fours = match newest.is_some_and(|newest| ours(&newest.id)) {
        true => fours,
        false => Vec::new(),
    };
    let readings: Vec<TramRow> = entries
        .iter()
        .map(|entry| {
            let against = reports.iter().find(|r| r.reading == entry.id).cloned();
            TramRow {
                id: entry.id.clone(),
                at: entry.stamp.at.clone(),
                author: view.author(&entry.stamp),
                reading: entry.body.clone(),
                difference: against.as_ref().map(difference),
                against,
            }
        })
        .collect();
    let count = |verdict| readings.iter().filter(|r| is(r, verdict)).count();
    Some(TramStory {
        id: first.id.clone(),
        stage: stage.to_owned(),
        title: plan.title_of(stage).to_owned(),
        at: first.stamp.at.clone(),
        until: last.stamp.at.clone(),
        authors: distinct(entries.iter().map(|e| view.author(&e.stamp))),
        instruments: distinct(entries.iter().filter_map(|e| e.body.instrument.clone())),
        inside: count(Verdict::Inside),
        outside: count(Verdict::Outside),
        too_close_to_call: count(Verdict::TooCloseToCall),
        readings,
        fours,
    })
}

fn difference(seen: &TramReport) -> String {
    let mm = seen.deviation_mm;
    let size = format!("{:.1}", mm.abs());
    if size == "0.0" {
        return "no difference".into();
    }
    let way = match (seen.kind, mm > 0.0) {
        (TramKind::Height, true) => "higher",
        (TramKind::Height, false) => "lower",
        (_, true) => "longer",
        (_, false) => "shorter",
    };
    format!("{size} mm {way}")
}

fn distinct(names: impl Iterator<Item = String>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for name in names {
        if !all.contains(&name) {
            all.push(name);
        }
    }
    all
}
