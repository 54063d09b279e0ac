//! The work stage by stage: when each was open, and what was written down.

use datumtrail_paper::{Paper, Span, Style};

use crate::archive::story::{Chapter, EventKind, NoteStory, Story};
use crate::archive::words;

pub fn draw(paper: &mut Paper, story: &Story) {
    if story.chapters.is_empty() {
        return;
    }
    paper.heading(2, "Stage by stage");
    for chapter in &story.chapters {
        let title = match chapter.time {
            Some(time) if time > 1 => format!("{}, opened again ({time})", chapter.title),
            _ => chapter.title.clone(),
        };
        paper.heading(3, &title);
        paper.text(Style::SMALL, when(chapter));
        let told = chapter.events.iter().filter(|e| e.kind == EventKind::Note);
        let notes: Vec<&NoteStory> = told.filter_map(|e| story.note(&e.record)).collect();
        let lines = notes.iter().map(|note| {
            let by = format!("  {}, {}", note.author, words::short_moment(&note.at));
            vec![Span::plain(&*note.text), Span::quiet(by)]
        });
        paper.list(Style::BODY, lines);
    }
}

fn when(chapter: &Chapter) -> String {
    let by = |who: &Option<String>| who.as_ref().map_or(String::new(), |w| format!(" by {w}"));
    let mut parts = Vec::new();
    if let Some(at) = &chapter.opened {
        let who = by(&chapter.opened_by);
        parts.push(format!("Opened {}{who}", words::moment(at)));
    }
    if let Some(at) = &chapter.closed {
        let who = by(&chapter.closed_by);
        parts.push(format!("closed {}{who}", words::moment(at)));
    }
    let kinds = [
        (EventKind::Survey, "survey", "surveys"),
        (EventKind::Photo, "photo", "photos"),
        (EventKind::Tick, "check ticked", "checks ticked"),
    ];
    for (kind, one, many) in kinds {
        match chapter.events.iter().filter(|e| e.kind == kind).count() {
            0 => {}
            n => parts.push(words::count(n, one, many)),
        }
    }
    match parts.is_empty() {
        true => String::new(),
        false => format!("{}.", super::capital(&parts.join("; "))),
    }
}
