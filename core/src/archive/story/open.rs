//! What was released without its evidence, and what nobody has settled.

use super::{Certainty, Story, TramStory};
use crate::archive::words;
use crate::job::hold;
use crate::job::stage::{State, instant};

/// Hold points that were passed without their evidence, and who answers for it.
pub(super) fn released(story: &Story) -> Vec<String> {
    let mut lines = Vec::new();
    for hold in &story.holds {
        for release in &hold.releases {
            let used = hold
                .passed
                .iter()
                .any(|p| p.release.as_ref() == Some(&release.id));
            lines.push(format!(
                "{}: {} without its evidence by {}, {}: {}",
                hold.title,
                if used { "passed" } else { "released" },
                release.name,
                words::moment(&release.at),
                words::one_line(&release.reason)
            ));
        }
    }
    lines
}

/// What nobody has settled yet, each a sentence.
pub(super) fn open(story: &Story) -> Vec<String> {
    let mut lines = Vec::new();
    for hold in &story.holds {
        if let Some(words) = &hold.changed {
            lines.push(format!("{}: {words}", hold.title));
        }
    }
    lines.extend(measuring(story));
    let standing = || story.photos.iter().filter(|p| p.withdrawn.is_none());
    let doubtful = standing()
        .filter(|p| p.certainty == Certainty::Doubtful)
        .count();
    if doubtful > 0 {
        let one = "photo has no settled stage";
        lines.push(format!(
            "{}.",
            words::count(doubtful, one, "photos have no settled stage")
        ));
    }
    let left_out: Vec<&str> = story
        .photos
        .iter()
        .filter(|p| p.left_out.is_some())
        .map(|p| p.name.as_str())
        .collect();
    if !left_out.is_empty() {
        lines.push(format!(
            "The bytes of {} are not in this archive: {}.",
            words::count(left_out.len(), "photo", "photos"),
            words::short_list(&left_out, 5)
        ));
    }
    for seal in &story.seals {
        if let Some(why) = &seal.broken {
            lines.push(format!("The seal of {} does not hold: {why}.", seal.title));
        }
    }
    for conflict in &story.conflicts {
        lines.push(format!(
            "Two devices gave the job different values for its {} at once; both are shown below.",
            conflict.what
        ));
    }
    lines.extend(story.apart.iter().cloned());
    if !story.unreadable.is_empty() {
        lines.push(format!(
            "{} not understood by this version of the program; the document keeps them.",
            words::count(story.unreadable.len(), "record was", "records were")
        ));
    }
    let open: Vec<&str> = story
        .stages
        .iter()
        .filter(|s| s.state == State::Open)
        .map(|s| s.title.as_str())
        .collect();
    if !open.is_empty() {
        lines.push(format!(
            "Still open when this was written: {}.",
            words::list(&open)
        ));
    }
    let closed: Vec<&str> = story
        .holds
        .iter()
        .filter(|h| h.state == hold::State::Closed && h.passed.is_empty())
        .map(|h| h.title.as_str())
        .collect();
    if !closed.is_empty() {
        lines.push(format!(
            "Hold points still closed: {}.",
            words::list(&closed)
        ));
    }
    lines
}

/// What the measuring left open: the sheet's own contradictions, distances, moves nobody followed.
fn measuring(story: &Story) -> Vec<String> {
    let mut lines = Vec::new();
    let audit = story.sheet.as_ref().and_then(|s| s.audit.as_ref());
    let doubts = audit.map_or(0, |a| a.doubts.len());
    if doubts > 0 {
        let places = words::count(doubts, "place", "places");
        lines.push(format!(
            "The dimension sheet contradicts itself in {places}, named below."
        ));
    }
    for trams in with_the_newest(story) {
        if trams.outside > 0 && !story.surveys.is_empty() {
            lines.push(format!(
                "Tram readings, {}: {}.",
                trams.title,
                trams.phrase()
            ));
        }
        lines.extend(trams.fours.iter().filter(|f| f.stands_out).map(|four| {
            format!(
                "Tram readings, {}: the diagonals of {} differ by {:.1} mm more than the sheet has \
                 it, which is more than chance.",
                trams.title,
                words::list(&four.points),
                four.difference_mm.abs()
            )
        }));
    }
    let asked: usize = story.trams.iter().map(|t| t.questions().count()).sum();
    if asked > 0 {
        lines.push(format!(
            "{} a question, asked in the time line.",
            words::count(asked, "tram reading raises", "tram readings raise")
        ));
    }
    let unfollowed = story.moves.iter().filter(|m| m.outcome.is_none());
    lines.extend(unfollowed.map(|m| {
        format!(
            "No survey has shown what came of the move decided {}.",
            words::moment(&m.at)
        )
    }));
    lines
}

/// The tram readings that say something about how the vehicle stands now: those of the newest
/// survey's stage, and later ones; where there is no survey, the last.
fn with_the_newest(story: &Story) -> Vec<&TramStory> {
    let Some(newest) = story.surveys.last() else {
        return story.trams.last().into_iter().collect();
    };
    let since = |at: &str| instant(at) >= instant(&newest.at);
    let all = story.trams.iter();
    all.filter(|t| t.stage == newest.stage || since(&t.until))
        .collect()
}
