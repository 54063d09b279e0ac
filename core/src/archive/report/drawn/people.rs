//! People, devices, seals, cameras' clocks, what was withdrawn or corrected.

use datumtrail_paper::{Cell, Column, Paper, Span, Style, Table};

use crate::archive::story::Story;
use crate::archive::words::{self, capital};
use crate::job::view::JobView;

pub fn draw(paper: &mut Paper, story: &Story, view: &JobView) {
    seals(paper, story, view);
    clocks(paper, story);
    struck(paper, story);
    unsettled(paper, story);
    paper.heading(2, "People and devices");
    if !story.people.is_empty() {
        paper.text(Style::BODY, format!("{}.", words::list(&story.people)));
    }
    let devices = story.devices.iter().map(|device| {
        let name = device.name.as_deref().unwrap_or("A device without a name");
        let records = words::count(device.records, "record", "records");
        vec![
            Span::bold(name),
            Span::plain(format!(", {records}")),
            Span::quiet(format!(", key {}", device.key)),
        ]
    });
    paper.list(Style::BODY, devices);
}

fn seals(paper: &mut Paper, story: &Story, view: &JobView) {
    let standing: Vec<_> = view.seals.iter().filter(|s| s.stands()).collect();
    if standing.is_empty() {
        return;
    }
    paper.heading(2, "Seals");
    paper.text(
        Style::BODY,
        "A seal is a device's signature over a closed stage. Whatever was added or changed \
         afterwards shows when the archive is verified.",
    );
    let columns = vec![
        Column::text(1.2),
        Column::text(1.4),
        Column::text(1.4),
        Column::text(1.0),
    ];
    let mut table = Table::new("Sealed stages", columns);
    table.style = Style::TABLE.sized(8.5);
    table.head(
        ["Stage", "Sealed by", "When", "Key begins"]
            .map(Cell::text)
            .into(),
    );
    for seal in standing {
        let key = &seal.body.stage;
        let stage = story.stages.iter().find(|s| s.name == *key);
        let title = stage.map_or(key.as_str(), |s| s.title.as_str());
        table.row(vec![
            Cell::text(Span::bold(title)).heads_row(),
            Cell::text(view.author(&seal.stamp)),
            Cell::text(words::moment(&seal.stamp.at)),
            // Whole among the devices.
            Cell::text(Span::quiet(
                seal.stamp.by.chars().take(10).collect::<String>(),
            )),
        ]);
    }
    paper.table(table);
}

fn clocks(paper: &mut Paper, story: &Story) {
    if story.clocks.is_empty() {
        return;
    }
    paper.heading(2, "Cameras' clocks");
    let clocks = story.clocks.iter().map(|clock| {
        let text = format!(
            ": {}, good to {}. It showed {} when it was {} ({}; {}).",
            clock.words,
            words::duration(clock.u_s.max(1.0)),
            words::moment(&clock.showed),
            words::moment(&clock.was),
            clock.how,
            clock.author
        );
        vec![Span::bold(&*clock.camera), Span::plain(text)]
    });
    paper.list(Style::BODY, clocks);
}

fn struck(paper: &mut Paper, story: &Story) {
    if story.struck.is_empty() {
        return;
    }
    paper.heading(2, "Withdrawn and corrected");
    paper.text(
        Style::BODY,
        "Nothing is overwritten: what no longer counts stays in the record, with the reason.",
    );
    let lines = story.struck.iter().map(|one| {
        let mut text = format!(": {}", one.what);
        if let Some(now) = &one.now {
            text += &format!(". Now: {now}");
        }
        let reason = one.reason.as_ref().or(one.why.as_ref());
        if let Some(reason) = reason {
            text += &format!(". Why: {}", reason.trim_end_matches('.'));
        }
        vec![
            Span::bold(capital(one.kind)),
            Span::plain(format!("{text}.")),
            Span::quiet(format!(
                " ({}, {})",
                one.struck_by,
                words::moment(&one.struck_at)
            )),
        ]
    });
    paper.list(Style::BODY, lines);
}

fn unsettled(paper: &mut Paper, story: &Story) {
    if story.conflicts.is_empty() && story.unreadable.is_empty() {
        return;
    }
    paper.heading(2, "Not settled between devices");
    let conflicts = story.conflicts.iter().map(|conflict| {
        let values = conflict.values.iter().map(|value| {
            let at = words::moment(&value.at);
            format!("{} ({}, {at})", value.value, value.author)
        });
        let values: Vec<String> = values.collect();
        let what = conflict.what;
        format!(
            "The job's {what}, set by two devices at once: {}.",
            values.join("; or ")
        )
    });
    let unreadable = story.unreadable.iter();
    let unreadable =
        unreadable.map(|one| format!("A record in {} ({}): {}", one.map, one.id, one.why));
    let lines: Vec<String> = conflicts.chain(unreadable).collect();
    paper.list(Style::BODY, lines);
}
