//! Tram readings, and where the dimension sheet contradicts itself.

use datumtrail_paper::{Cell, Column, Paper, Span, Style, Table};

use super::shapes::emblem;
use crate::archive::story::{SheetStory, Story, TramStory};
use crate::archive::words::{self, capital};

/// How many names a list here holds.
const NAMED: usize = 12;

pub fn draw(paper: &mut Paper, story: &Story) {
    if !story.trams.is_empty() {
        paper.heading(2, "Tram readings");
        paper.text(
            Style::BODY,
            "Distances, each compared with the sheet by itself. True is from point to point, level \
             is projected onto the datum plane; u is the standard uncertainty of the difference. \
             Millimetres.",
        );
        for trams in &story.trams {
            self::trams(paper, trams);
        }
    }
    if let Some(sheet) = &story.sheet {
        self::sheet(paper, sheet);
    }
}

fn trams(paper: &mut Paper, trams: &TramStory) {
    let heading = format!("{}: {}", trams.title, trams.phrase());
    paper.heading(3, &heading);
    let columns = vec![
        Column::text(1.3),
        Column::fixed(38.0),
        Column::decimal(50.0),
        Column::decimal(50.0),
        Column::text(1.0),
        Column::decimal(32.0),
        Column::fixed(38.0),
        Column::text(1.6),
    ];
    let mut table = Table::new("Tram readings against the sheet", columns);
    let heads = [
        "Between",
        "Kind",
        "Reading",
        "Sheet",
        "Difference",
        "u",
        "Limit",
        "Verdict",
    ];
    table.head(heads.map(Cell::text).into());
    for row in &trams.readings {
        let reading = &row.reading;
        let between = match &reading.b {
            Some(b) => format!("{} to {b}", reading.a),
            None => format!("{}, height", reading.a),
        };
        let mut cells = vec![
            Cell::text(Span::bold(between)).heads_row(),
            Cell::text(reading.kind.words()),
            Cell::text(words::stated(reading.value_mm)),
        ];
        match &row.against {
            Some(seen) => {
                let limit = seen.limit_mm.map_or("none".into(), words::stated);
                let u = seen.u_mm.map_or("–".to_owned(), |u| format!("{u:.2}"));
                let verdict = Cell::text(seen.verdict.words());
                cells.extend([
                    Cell::text(format!("{:.1}", seen.sheet_mm)),
                    Cell::text(row.difference.as_deref().unwrap_or("–")),
                    Cell::text(u),
                    Cell::text(limit),
                    verdict.shape(emblem(seen.verdict)),
                ]);
            }
            None => cells.push(Cell::text(Span::quiet("not on the sheet")).across(5)),
        }
        table.row(cells);
    }
    paper.table(table);
    let questions = trams.questions().map(str::to_owned);
    let fours = trams.fours.iter().map(|f| f.words.clone());
    let said: Vec<String> = questions.chain(fours).collect();
    paper.list(Style::BODY, said);
    let mut by = format!(
        "{}, {}",
        words::count(trams.readings.len(), "reading", "readings"),
        words::list(&trams.authors)
    );
    if !trams.instruments.is_empty() {
        by += &format!(", with {}", words::list(&trams.instruments));
    }
    paper.text(Style::SMALL, format!("{by}; {}.", words::moment(&trams.at)));
}

fn sheet(paper: &mut Paper, sheet: &SheetStory) {
    paper.heading(2, "The dimension sheet");
    let points = words::count(sheet.points, "control point", "control points");
    let contents = match sheet.distances {
        0 => format!("{points}."),
        n => format!("{points} and {}.", words::count(n, "distance", "distances")),
    };
    paper.text(Style::BODY, contents);
    let files = sheet.files.iter().map(|file| {
        vec![
            Span::bold(&*file.file),
            Span::plain(format!(": {}", file.source)),
            Span::quiet(format!(
                " (loaded {}, {})",
                words::moment(&file.at),
                file.author
            )),
        ]
    });
    paper.list(Style::BODY, files);
    if sheet.earlier > 0 {
        let (one, many) = (
            "earlier sheet no longer counts",
            "earlier sheets no longer count",
        );
        let text = format!("{}.", words::count(sheet.earlier, one, many));
        paper.text(Style::SMALL, text);
    }
    if let Some(why) = &sheet.not_audited {
        paper.text(
            Style::SMALL,
            format!("It was not held against itself: {why}."),
        );
    }
    let Some(audit) = &sheet.audit else { return };
    let compared = words::count(audit.compared, "comparison", "comparisons");
    if audit.doubts.is_empty() {
        let text = format!(
            "The sheet agrees with itself: {compared} of its figures with each other, none fails."
        );
        paper.text(Style::BODY, text);
    } else {
        paper.heading(3, "Where the sheet contradicts itself");
        let text = format!(
            "{} of its figures with each other; one fails where printed and expected differ by \
             more than {:.1} standard uncertainties of the print's rounding. Nothing was corrected.",
            capital(&compared),
            audit.critical_w
        );
        paper.text(Style::SMALL, text);
        let doubts = audit.doubts.iter().map(|doubt| {
            let mut spans = vec![Span::plain(format!("{}.", capital(&doubt.words)))];
            if !doubt.explanations.is_empty() {
                let could = doubt.explanations.join("; ");
                spans.push(Span::quiet(format!(" It could be: {could}.")));
            }
            spans
        });
        paper.list(Style::BODY, doubts);
    }
    let asymmetric: Vec<&str> = audit.asymmetric.iter().map(|p| p.point.as_str()).collect();
    let mut remarks = Vec::new();
    if !asymmetric.is_empty() {
        let points = words::short_list(&asymmetric, NAMED);
        remarks.push(format!(
            "Left and right do not mirror each other at {points}. Many vehicles have such pairs."
        ));
    }
    if !audit.unchecked.is_empty() {
        let figures = words::short_list(&audit.unchecked, NAMED);
        remarks.push(format!(
            "An error in these figures would go unseen, since nothing checks them: {figures}."
        ));
    }
    remarks.extend(audit.remarks.iter().cloned());
    paper.list(Style::SMALL, remarks);
}
