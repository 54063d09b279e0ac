//! Hold points: what they ask, what was found, how they opened, and who answers for it.

use datumtrail_paper::text::GREY;
use datumtrail_paper::{Paper, Span, Style};

use super::shapes;
use crate::archive::story::{HoldStory, Story};
use crate::archive::words::{self, capital};

pub fn draw(paper: &mut Paper, story: &Story) {
    if story.holds.is_empty() {
        return;
    }
    paper.heading(2, "Hold points");
    paper.text(
        Style::BODY,
        "Where the plan stops until its evidence is there. What is found is said as it stands in \
         this archive.",
    );
    for hold in &story.holds {
        self::hold(paper, hold);
    }
    if !story.ticks.is_empty() {
        paper.heading(3, "Checks that were ticked");
        let ticks = story.ticks.iter().map(|tick| {
            let said = tick
                .text
                .as_ref()
                .map_or(String::new(), |t| format!(": “{t}”"));
            vec![
                Span::plain(format!("{}{said}", tick.asked)),
                Span::quiet(format!(" ({}, {})", tick.author, words::moment(&tick.at))),
            ]
        });
        paper.list(Style::BODY, ticks);
    }
}

fn hold(paper: &mut Paper, hold: &HoldStory) {
    paper.heading(3, &hold.title);
    paper.text(Style::BODY, &hold.words);
    if let Some(changed) = &hold.changed {
        let but = [Span::bold("But "), Span::bold(&**changed)];
        paper.text(Style::BODY, but);
    }
    let needs = hold.needs.iter().map(|need| {
        let mut spans = vec![Span::plain(format!("{}: ", capital(&need.text)))];
        spans.push(Span::plain(&*need.found));
        if !need.met {
            spans.push(Span::bold(" (missing)"));
        }
        spans
    });
    paper.list(Style::BODY, needs);
    for release in &hold.releases {
        let at = words::moment(&release.at);
        let mut texts = vec![(
            Style::BODY,
            vec![
                Span::bold(&*release.name),
                Span::plain(format!(" answered for it on {at}: “{}” ", release.reason)),
                Span::quiet(format!("(recorded by {})", release.author)),
            ],
        )];
        if !release.missing.is_empty() {
            let missing = release.missing.join("; ");
            let text = format!("Missing at that moment: {missing}");
            texts.push((Style::SMALL.colored(GREY), vec![Span::plain(text)]));
        }
        paper.panel(None, shapes::VERMILION, texts);
    }
}
