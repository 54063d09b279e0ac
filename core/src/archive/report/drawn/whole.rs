//! What the archive is, how to check it, and what holds for every page of the report.

use datumtrail_paper::{Cell, Column, Moment, Paper, Settings, Span, Style, Table};
use jiff::Timestamp;

use super::PaperSize;
use crate::archive::story::Story;
use crate::archive::{PROGRAM, file, words};
use crate::job::stage::instant;
use crate::job::view::JobView;

/// Title, running heads, and what a PDF reader shows about it.
pub fn settings(story: &Story, view: &JobView, size: PaperSize) -> Settings {
    let head = &story.head;
    let about = match &head.vehicle {
        Some(vehicle) => format!("{}: {vehicle}", head.name),
        None => head.name.clone(),
    };
    Settings {
        size: super::paper_size(size),
        title: words::one_line(&about),
        language: "en".into(),
        author: head.organization.clone(),
        subject: Some(format!("Report on a structural repair, job {}", head.job)),
        program: Some(PROGRAM.to_owned()),
        // Of the same job told at the same time the same, and of no other.
        identity: Some(format!("{} {}", view.id, head.told)),
        created: moment(&head.told),
        head: [words::one_line(&about), format!("Job {}", head.job)],
        foot: format!("Written {} by {PROGRAM}", words::moment(&head.told)),
    }
}

/// A time of the document, as PDF has it.
fn moment(at: &str) -> Moment {
    let Some((wall, instant)) = words::wall(at).zip(instant(at)) else {
        return Moment::default();
    };
    let as_utc = jiff::tz::Offset::UTC.to_timestamp(wall);
    let ahead = |utc: Timestamp| utc.duration_since(instant).as_secs() / 60;
    let number = |n: i8| u8::try_from(n).unwrap_or(0);
    Moment {
        year: u16::try_from(wall.year()).unwrap_or(0),
        month: number(wall.month()),
        day: number(wall.day()),
        hour: number(wall.hour()),
        minute: number(wall.minute()),
        second: number(wall.second()),
        offset_minutes: as_utc.map_or(0, |utc| i16::try_from(ahead(utc)).unwrap_or(0)),
    }
}

pub fn draw(paper: &mut Paper, story: &Story, document: &[u8]) {
    paper.heading(2, "The archive, and how to check it");
    paper.text(
        Style::BODY,
        "This report is one file of an archive that carries the evidence: the photos, every \
         reading as it was observed, the dimension sheet, and the job's document with its whole \
         history. The report by itself proves nothing; the archive can be checked.",
    );
    let columns = vec![Column::fixed(120.0), Column::text(1.0)];
    let mut table = Table::new("What identifies the job", columns);
    table.style = Style::TABLE.sized(8.5);
    let mut row = |label: &str, text: String| {
        let label = Cell::text(Span::quiet(label)).heads_row();
        table.row(vec![label, Cell::text(text)]);
    };
    row("Job", story.head.job.clone());
    row("Document", story.head.document.clone());
    row("Heads of its history", heads(document));
    let digest = datumtrail_seal::Digest::of(document).to_string();
    row("SHA-512 of job.automerge", digest);
    row(
        "Written",
        format!(
            "{} by {}",
            words::moment(&story.head.told),
            story.head.program
        ),
    );
    paper.table(table);
    paper.text(
        Style::BODY,
        [
            Span::plain("The archive's own number can't stand in here, since this file is part of what it is computed from. It is the SHA-512 of "),
            Span::bold("tagmanifest-sha512.txt"),
            Span::plain(", beside the folder "),
            Span::bold("data"),
            Span::plain(" that holds this report; the SHA-512 of every file, this one too, is in "),
            Span::bold("manifest-sha512.txt"),
            Span::plain(" there. Compare it with another copy of the archive, or keep it where it can't be changed."),
        ],
    );
    paper.text(
        Style::BODY,
        "To check that nothing was altered, in that folder:",
    );
    paper.list(
        Style::BODY,
        [
            "sha512sum -c manifest-sha512.txt (Linux), or shasum -a 512 -c manifest-sha512.txt (macOS)",
            "datumtrail verify FILE, which also compares every photo with the identity under which it was recorded, and computes the measurements again from the readings",
        ],
    );
    let text = format!(
        "The other files are explained in {}; the same story with every photo in full is {}.",
        file::README,
        file::TIMELINE
    );
    paper.text(Style::BODY, text);
}

/// The last changes of the document: they name its state, however it is written down.
fn heads(document: &[u8]) -> String {
    match automerge::Automerge::load(document) {
        Ok(document) => {
            let heads = document.get_heads();
            let heads: Vec<String> = heads.iter().map(ToString::to_string).collect();
            heads.join(" ")
        }
        Err(e) => format!("not to be had: {e}"),
    }
}
