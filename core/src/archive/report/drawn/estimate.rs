//! Notes that support a line of the estimate, with the photos and readings that show it.

use datumtrail_paper::{Cell, Column, Paper, Span, Style, Table};

use crate::archive::story::Story;
use crate::archive::words;
use crate::job::record::RecordId;
use crate::job::view::JobView;

pub fn draw(paper: &mut Paper, story: &Story, view: &JobView) {
    let standing: Vec<_> = view.supports.iter().filter(|s| s.stands()).collect();
    if standing.is_empty() {
        return;
    }
    paper.heading(2, "For the estimate");
    paper.text(
        Style::BODY,
        "Notes that somebody marked as supporting a line of the estimate. Photos by their numbers \
         in this report.",
    );
    let columns = vec![
        Column::text(0.9),
        Column::text(1.1),
        Column::text(2.2),
        Column::text(1.5),
    ];
    let mut table = Table::new("Lines of the estimate and what supports them", columns);
    table.style = Style::TABLE.sized(8.5);
    table.head(
        ["Operation", "Part", "Why", "Shown by"]
            .map(Cell::text)
            .into(),
    );
    for support in standing {
        let body = &support.body;
        let mut why = vec![Span::plain(&*body.reason)];
        // A note that this copy leaves out is not in its story.
        if let Some(note) = story.note(&body.note) {
            why.push(Span::quiet(format!("\n“{}” {}", note.text, note.author)));
        }
        table.row(vec![
            Cell::text(Span::bold(&*body.operation)).heads_row(),
            Cell::text(&*body.part),
            Cell::text(why),
            Cell::text(shown(story, view, &body.photos, &body.readings)),
        ]);
    }
    paper.table(table);
}

fn shown(story: &Story, view: &JobView, photos: &[RecordId], readings: &[RecordId]) -> String {
    let photos = photos.iter().filter_map(|id| story.photo(id));
    let photos: Vec<String> = photos.map(|p| p.number.to_string()).collect();
    let readings = readings.iter().filter_map(|id| {
        let reading = view.readings.iter().find(|r| r.id == *id && r.stands())?;
        let survey = story.survey(&reading.body.survey);
        let name = survey.map_or("a survey", |s| s.name.as_str());
        Some(format!("{} in {name}", reading.body.point))
    });
    let readings: Vec<String> = readings.collect();
    let mut parts = Vec::new();
    match photos.as_slice() {
        [] => {}
        [one] => parts.push(format!("photo {one}")),
        many => parts.push(format!("photos {}", words::list(many))),
    }
    match readings.as_slice() {
        [] => {}
        [one] => parts.push(format!("reading of {one}")),
        many => parts.push(format!("readings of {}", words::list(many))),
    }
    match parts.is_empty() {
        true => "nothing named".into(),
        false => parts.join("; "),
    }
}
