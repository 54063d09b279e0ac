//! What was done, and the answer.

use datumtrail_geometry::verdict::Verdict;
use datumtrail_paper::{Cell, Column, Paper, Span, Style, Table};

use super::shapes::{self, emblem};
use crate::archive::story::{Outcome, Story};
use crate::archive::words;
use crate::job::stage::instant;

pub fn draw(paper: &mut Paper, story: &Story) {
    let head = &story.head;
    let kind = match &head.organization {
        Some(shop) => format!("Report on a structural repair, {shop}"),
        None => "Report on a structural repair".to_owned(),
    };
    paper.text(Style::SMALL.sized(9.0), kind);
    paper.heading(1, &head.name);
    if let Some(vehicle) = &head.vehicle {
        paper.text(Style::BODY.sized(11.5).above(3.0), vehicle);
    }
    facts(paper, story);
    answer(paper, story);
    paper.contents("Contents", 2);
}

fn facts(paper: &mut Paper, story: &Story) {
    let head = &story.head;
    let columns = vec![Column::fixed(84.0), Column::text(1.0)];
    let mut table = Table::new("The job at a glance", columns);
    table.style = Style::TABLE.sized(9.0);
    table.above = 12.0;
    let mut row = |label: &str, text: String| {
        let label = Cell::text(Span::quiet(label)).heads_row();
        table.row(vec![label, Cell::text(text)]);
    };
    row("Work", head.plan.clone());
    if let Some(part) = &head.part {
        let points = words::list(&part.points);
        row("New part", format!("{} ({points})", part.name));
    }
    if let (Some(from), Some(to)) = (&head.from, &head.to) {
        let (first, last) = (words::day(from), words::day(to));
        let when = if first == last {
            first
        } else {
            format!("{first} to {last}")
        };
        row("When", format!("{when} (times in {})", head.zone));
    }
    row("Evidence", evidence(story));
    if !story.people.is_empty() {
        row("By", words::list(&story.people));
    }
    row("Job reference", head.job.clone());
    paper.table(table);
}

fn evidence(story: &Story) -> String {
    let trams: usize = story.trams.iter().map(|t| t.readings.len()).sum();
    let photos = story
        .photos
        .iter()
        .filter(|p| p.withdrawn.is_none())
        .count();
    let all = [
        (story.surveys.len(), "survey", "surveys"),
        (trams, "tram reading", "tram readings"),
        (photos, "photo", "photos"),
        (story.notes.len(), "note", "notes"),
    ];
    let there = all.into_iter().filter(|(n, ..)| *n > 0);
    let there: Vec<String> = there
        .map(|(n, one, many)| words::count(n, one, many))
        .collect();
    match there.is_empty() {
        true => "nothing yet".into(),
        false => there.join(", "),
    }
}

fn answer(paper: &mut Paper, story: &Story) {
    let answer = &story.answer;
    paper.heading(2, "The answer");
    let verdict = match answer.outcome {
        Outcome::Inside => Verdict::Inside,
        Outcome::Outside => Verdict::Outside,
        Outcome::TooCloseToCall => Verdict::TooCloseToCall,
        Outcome::NotDecided => Verdict::Unchecked,
        Outcome::NotMeasured => Verdict::NotMeasured,
    };
    let bar = match verdict {
        Verdict::Inside => shapes::BLUE,
        Verdict::Outside => shapes::VERMILION,
        Verdict::TooCloseToCall => shapes::AMBER,
        _ => shapes::SOFT,
    };
    let mut texts = vec![(Style::LEAD, vec![Span::plain(&*answer.sentence)])];
    let details = answer
        .details
        .iter()
        .map(|line| (Style::BODY.above(3.0), vec![Span::plain(&**line)]));
    texts.extend(details);
    paper.panel(Some(emblem(verdict).scaled(1.35)), bar, texts);
    if !answer.released.is_empty() {
        paper.heading(3, "Released without evidence");
        paper.list(Style::BODY, answer.released.iter());
    }
    trail(paper, story);
    if !answer.open.is_empty() {
        paper.heading(3, "Not settled");
        paper.list(Style::BODY, answer.open.iter());
    }
    if let Some(newest) = story.newest().filter(|s| !s.warnings.is_empty()) {
        paper.heading(3, "Good to know about the newest survey");
        paper.list(Style::BODY, newest.warnings.iter());
    }
    paper.heading(3, "Cautions");
    paper.text(Style::BODY, story.cautions.join(" "));
}

/// Every survey, move and round of tram readings in one line each.
fn trail(paper: &mut Paper, story: &Story) {
    let surveys = story.surveys.iter().map(|survey| {
        let (verdict, phrase) = match &survey.tally {
            Some(tally) => (tally.verdict(), tally.phrase()),
            None => (Verdict::Unchecked, "can't be computed".into()),
        };
        (&survey.at, Some(verdict), survey.name.clone(), phrase)
    });
    let trams = story.trams.iter().map(|trams| {
        let name = format!("{}, tram", trams.title);
        (&trams.at, Some(trams.verdict()), name, trams.phrase())
    });
    let moves = story.moves.iter().map(|decided| {
        let phrase = decided.words.trim_end_matches('.').to_owned();
        (&decided.at, None, "Move decided".to_owned(), phrase)
    });
    let mut steps: Vec<_> = surveys.chain(trams).chain(moves).collect();
    if steps.len() < 2 {
        return;
    }
    steps.sort_by_key(|(at, ..)| instant(at));
    paper.heading(3, "How it got there");
    let columns = vec![Column::fixed(76.0), Column::fixed(150.0), Column::text(1.0)];
    let mut table = Table::new("Every survey, move and round of tram readings", columns);
    table.style = Style::TABLE.sized(8.5);
    table.above = 4.0;
    table.head(["When", "What", "What it found"].map(Cell::text).into());
    for (at, verdict, name, phrase) in steps {
        let what = Cell::text(Span::bold(name));
        let found = match verdict {
            Some(verdict) => Cell::text(phrase).shape(emblem(verdict)),
            None => Cell::text(phrase),
        };
        table.row(vec![
            Cell::text(words::short_moment(at)).heads_row(),
            what,
            found,
        ]);
    }
    paper.table(table);
}
