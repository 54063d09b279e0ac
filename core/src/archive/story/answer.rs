//! The answer in plain words: where the structure sits, what that rests on, and what is open.

use serde::Serialize;

use super::open;
use super::{Story, SurveyStory, Tally, TramStory};
use crate::archive::words;
use crate::job::record::RecordId;

/// The answer of a job.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Answer {
    pub outcome: Outcome,
    /// One sentence.
    pub sentence: String,
    /// What it rests on, each a sentence.
    pub details: Vec<String>,
    /// The survey it rests on: the newest.
    pub survey: Option<RecordId>,
    /// Hold points that were passed without their evidence, and who answers for it.
    pub released: Vec<String>,
    /// What nobody has settled yet, each a sentence.
    pub open: Vec<String>,
}

/// The kinds of answer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// Everything measured is inside its limits.
    Inside,
    Outside,
    TooCloseToCall,
    /// Measured, and yet nothing can be said: no limits, or a set-up that doesn't fit.
    NotDecided,
    #[default]
    NotMeasured,
}

pub(super) fn tell(story: &Story) -> Answer {
    let mut answer = match story.surveys.last() {
        None => story.trams.last().map_or_else(
            || Answer {
                sentence: "Nothing was measured.".into(),
                ..Answer::default()
            },
            of_trams,
        ),
        Some(newest) => of_survey(story, newest),
    };
    answer.released = open::released(story);
    answer.open = open::open(story);
    answer
}

/// Distances alone: they can show that something is off, and not where it sits.
fn of_trams(newest: &TramStory) -> Answer {
    let phrase = newest.phrase();
    let (outcome, sentence) = match newest.outside {
        0 => (
            Outcome::NotDecided,
            format!("No survey was made. Tram readings: {phrase}."),
        ),
        _ => (Outcome::Outside, format!("Tram readings: {phrase}.")),
    };
    Answer {
        outcome,
        sentence,
        details: vec![format!(
            "{}, {}. Each distance was compared with the sheet by itself.",
            newest.title,
            words::moment(&newest.at)
        )],
        ..Answer::default()
    }
}

fn of_survey(story: &Story, newest: &SurveyStory) -> Answer {
    let Some(tally) = &newest.tally else {
        return Answer {
            outcome: Outcome::NotDecided,
            sentence: "The newest survey can't be computed.".into(),
            details: match &newest.check {
                super::Checked::Impossible(why) => vec![format!("{why}.")],
                super::Checked::Done(_) => Vec::new(),
            },
            survey: Some(newest.id.clone()),
            ..Answer::default()
        };
    };
    let (outcome, sentence) = judge(story, tally);
    Answer {
        outcome,
        sentence,
        details: details(story, newest, tally),
        survey: Some(newest.id.clone()),
        ..Answer::default()
    }
}

fn judge(story: &Story, tally: &Tally) -> (Outcome, String) {
    let outside = tally.points_outside();
    let close = tally.points_close();
    let sit = |n: usize| if n == 1 { "sits" } else { "sit" };
    if tally.set_up_doubtful {
        return (
            Outcome::NotDecided,
            "The reference points don't fit the sheet, so nothing is called inside.".into(),
        );
    }
    if let Some(worst) = tally.beyond.first() {
        let sentence = format!(
            "{} {} outside the limits: {} by {}.",
            words::short_list(&outside, 5),
            sit(outside.len()),
            worst.point,
            worst.words,
        );
        return (Outcome::Outside, sentence);
    }
    if !close.is_empty() {
        let sentence = format!(
            "No point is outside its limits, but {} {} too close to call.",
            words::short_list(&close, 5),
            sit(close.len())
        );
        return (Outcome::TooCloseToCall, sentence);
    }
    let part = story.head.part.as_ref();
    let absent: Vec<&String> = part
        .iter()
        .flat_map(|part| &part.points)
        .filter(|p| tally.not_measured.contains(p))
        .collect();
    if !absent.is_empty() {
        let sentence = format!(
            "The newest survey did not measure {} on the new part.",
            words::short_list(&absent, 5)
        );
        return (Outcome::NotDecided, sentence);
    }
    if tally.inside == 0 {
        return (
            Outcome::NotDecided,
            "It was measured, and no limits are given: nothing is decided.".into(),
        );
    }
    let everything = tally.no_limit_given + tally.unchecked == 0;
    let sentence = match (part, everything) {
        (Some(part), true) => format!(
            "The new part ({}) sits inside its limits, and so does every other point measured.",
            words::one_line(&part.name)
        ),
        (None, true) => "Every point that was measured sits inside its limits.".into(),
        (_, false) => "Every axis that could be decided is inside its limits.".into(),
    };
    (Outcome::Inside, sentence)
}

fn details(story: &Story, newest: &SurveyStory, tally: &Tally) -> Vec<String> {
    let mut lines = vec![measured(newest, tally)];
    if !tally.uncertainty_stated {
        lines.push(
            "Uncertainty not stated: deviations were compared with their limits plainly.".into(),
        );
    } else if tally.inside + tally.outside + tally.too_close_to_call > 0 {
        lines.push(
            "Inside means: with a probability of at least 95 %, for each axis by itself; \
             outside: with at most 5 %."
                .into(),
        );
    }
    lines.extend(limits(newest));
    let since: Vec<&str> = story
        .stages
        .iter()
        .filter(|s| s.spans.iter().any(|span| later(&span.opened, &newest.at)))
        .map(|s| s.title.as_str())
        .collect();
    if !since.is_empty() {
        lines.push(format!(
            "Begun after that survey, and not covered by it: {}.",
            words::list(&since)
        ));
    }
    lines
}

/// What was measured, and with which verdicts.
fn measured(newest: &SurveyStory, tally: &Tally) -> String {
    let kinds = [
        (tally.inside, "inside"),
        (tally.outside, "outside"),
        (tally.too_close_to_call, "too close to call"),
        (tally.no_limit_given, "with no limit given"),
        (tally.unchecked, "unchecked"),
    ];
    let kinds: Vec<String> = kinds
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| format!("{n} {what}"))
        .collect();
    let points = match tally.not_measured.len() {
        0 => format!("all {} points", tally.points),
        absent => format!("{} of the {} points", tally.points, tally.points + absent),
    };
    let verdicts = match kinds.as_slice() {
        [one] => format!("all {one}"),
        _ => words::list(&kinds),
    };
    format!(
        "{}, {}: {points} of the sheet measured, each along three axes; of these {verdicts}.",
        newest.name,
        words::moment(&newest.at),
    )
}

/// Where the limits come from: each source once, with what it gives.
fn limits(newest: &SurveyStory) -> Vec<String> {
    let Some(report) = newest.report() else {
        return Vec::new();
    };
    let mut sources: Vec<(&str, Vec<String>)> = Vec::new();
    for (_, axis) in report.points.iter().flat_map(|p| p.axes()) {
        let (Some(mm), Some(source)) = (axis.limit_mm, axis.limit_source) else {
            continue;
        };
        let mm = words::stated(mm);
        match sources.iter_mut().find(|(s, _)| *s == source) {
            Some((_, sizes)) if sizes.contains(&mm) => {}
            Some((_, sizes)) => sizes.push(mm),
            None => sources.push((source, vec![mm])),
        }
    }
    sources
        .into_iter()
        .map(|(source, sizes)| {
            let word = if sizes.len() == 1 { "Limit" } else { "Limits" };
            format!("{word}: {} mm ({source}).", words::short_list(&sizes, 6))
        })
        .collect()
}

fn later(a: &str, b: &str) -> bool {
    use crate::job::stage::instant;
    match (instant(a), instant(b)) {
        (Some(a), Some(b)) => a > b,
        _ => false,
    }
}
