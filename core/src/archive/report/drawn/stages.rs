//! The work stage by stage: when each was open, and what was written down.

use datumtrail_paper::{Cell, Column, Paper, Span, Style, Table};

use crate::archive::story::{Chapter, EventKind, NoteStory, Story};
use crate::archive::words;

pub fn draw(paper: &mut Paper, story: &Story) {
    if story.chapters.is_empty() {
        return;
    }
    paper.heading(2, "Stage by stage");
    let columns = vec![
        Column::fixed(100.0),
        Column::fixed(128.0),
        Column::text(1.0),
    ];
    let mut table = Table::new("Stages in the order in which they were opened", columns);
    table.style = Style::TABLE.sized(8.5);
    table.head(
        ["Stage", "When", "What was written down"]
            .map(Cell::text)
            .into(),
    );
    for chapter in &story.chapters {
        let title = match chapter.time {
            Some(time) if time > 1 => format!("{}, opened again ({time})", chapter.title),
            _ => chapter.title.clone(),
        };
        let told = chapter.events.iter().filter(|e| e.kind == EventKind::Note);
        let notes: Vec<&NoteStory> = told.filter_map(|e| story.note(&e.record)).collect();
        let mut written = Vec::new();
        for (n, note) in notes.iter().enumerate() {
            let line = if n == 0 { "" } else { "\n" };
            let by = format!("  {}, {}", note.author, words::short_moment(&note.at));
            written.push(Span::plain(format!("{line}{}", note.text)));
            written.push(Span::quiet(by));
        }
        if written.is_empty() {
            written.push(Span::quiet("no notes, or only with its photos"));
        }
        table.row(vec![
            Cell::text(Span::bold(title)).heads_row(),
            Cell::text(Span::quiet(when(chapter))),
            Cell::text(written),
        ]);
    }
    paper.table(table);
}

fn when(chapter: &Chapter) -> String {
    let mut parts = Vec::new();
    match (&chapter.opened, &chapter.closed) {
        (Some(from), Some(to)) => {
            let same_day = words::day(from) == words::day(to);
            let end = if same_day {
                words::time_of_day(to)
            } else {
                words::short_moment(to)
            };
            parts.push(format!("{} to {end}", words::short_moment(from)));
        }
        (Some(from), None) => parts.push(format!("open since {}", words::short_moment(from))),
        _ => {}
    }
    parts.extend(chapter.opened_by.clone());
    let closed_by = chapter
        .closed_by
        .as_ref()
        .filter(|_| chapter.closed_by != chapter.opened_by);
    parts.extend(closed_by.map(|who| format!("closed by {who}")));
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
    parts.join("\n")
}
