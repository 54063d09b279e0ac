//! The damage in words, how far it went, the moves and what came of them.

use datumtrail_geometry::extent::Direction;
use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_paper::{Cell, Column, Group, Paper, Span, Style, Table};

use crate::archive::story::{DamageStory, MoveStory, OutcomeStory, Story};
use crate::archive::words::{self, capital};
use crate::job::damage::ExtentReport;

pub fn draw(paper: &mut Paper, story: &Story) {
    if let Some(damage) = &story.damage {
        self::damage(paper, damage);
    }
    if !story.moves.is_empty() {
        paper.heading(2, "Moves, and what came of them");
        for decided in &story.moves {
            self::decided(paper, story, decided);
        }
    }
}

fn damage(paper: &mut Paper, damage: &DamageStory) {
    paper.heading(2, "What moved");
    let lead = format!(
        "{}, {}: where the structure stood against the sheet, read for its causes. A kind of \
         damage is named where it exceeds 2.86 standard uncertainties.",
        damage.name,
        words::moment(&damage.at)
    );
    paper.text(Style::BODY, lead);
    let found = |finding: &str| !["nothing_moved", "not_measured"].contains(&finding);
    let (told, quiet): (Vec<_>, Vec<_>) =
        damage.reading.zones.iter().partition(|z| found(z.finding));
    for zone in told {
        if let Some((finding, rest)) = zone.words.split_first() {
            paper.text(Style::BODY.bold().above(8.0), finding);
            paper.list(Style::BODY, rest.iter());
        }
    }
    for line in quiet.iter().flat_map(|z| &z.words) {
        paper.text(Style::BODY, line);
    }
    extent(paper, damage);
    if !damage.cautions.is_empty() {
        paper.list(Style::SMALL, damage.cautions.iter());
    }
}

/// Along each member: first what moved, then the others in one sentence for each direction.
fn extent(paper: &mut Paper, damage: &DamageStory) {
    let extents = &damage.reading.extent;
    if extents.is_empty() {
        return;
    }
    paper.heading(3, "How far it went");
    for line in &damage.reading.sentences {
        paper.text(Style::BODY, line);
    }
    let (still, told): (Vec<_>, Vec<_>) = extents.iter().partition(|e| all_still(e));
    let mut lines: Vec<String> = told.iter().map(|e| e.words.clone()).collect();
    for (direction, way) in [
        (Direction::Forward, "forward"),
        (Direction::Rearward, "rearward"),
    ] {
        let members = still.iter().filter(|e| e.direction == direction);
        let members: Vec<&str> = members.map(|e| e.member.as_str()).collect();
        if !members.is_empty() {
            lines.push(format!(
                "No movement, and every point inside its limits, {way} along {}.",
                words::list(&members)
            ));
        }
    }
    paper.text(
        Style::SMALL,
        "Along each member, from the reference points outwards.",
    );
    paper.list(Style::BODY, lines);
}

/// Every point of it stayed and is inside: nothing to tell but that.
fn all_still(extent: &ExtentReport) -> bool {
    let moved = |movement: &str| movement != "reference" && movement != "stayed";
    extent.behind_is_inside
        && extent.not_measured.is_empty()
        && !extent.points.iter().any(|p| moved(p.movement))
}

fn decided(paper: &mut Paper, story: &Story, decided: &MoveStory) {
    let heading = format!("Decided {}", words::moment(&decided.at));
    paper.heading(3, &heading);
    paper.text(Style::BODY.bold(), &decided.words);
    let text = format!(
        "{}. By {}; allowed was {}. Point by point:",
        decided.author, decided.survey_name, decided.allowed
    );
    paper.text(Style::BODY, text);
    paper.list(Style::BODY, decided.expected.iter());
    match &decided.outcome {
        Some(outcome) => self::outcome(paper, story, outcome),
        None => paper.text(Style::BODY, "No survey has shown what came of it."),
    }
}

fn outcome(paper: &mut Paper, story: &Story, outcome: &OutcomeStory) {
    let report = story.survey(&outcome.survey).and_then(|s| s.report());
    let side = |name: &str| {
        let points = report.iter().flat_map(|r| &r.points);
        let mut of_name = points.filter(|p| p.point == name);
        of_name.next().map_or(Side::Centre, |p| p.side)
    };
    let (name, at) = (&outcome.survey_name, words::moment(&outcome.at));
    let lead = [
        Span::bold("What came of it: "),
        Span::plain(format!("{name}, {at}.")),
    ];
    paper.text(Style::BODY.above(8.0), lead.to_vec());
    paper.list(Style::BODY, outcome.words.iter());
    let columns = vec![
        Column::fixed(70.0),
        Column::fixed(56.0),
        Column::text(1.0),
        Column::text(1.0),
        Column::decimal(40.0),
        Column::text(1.3),
    ];
    let mut table = Table::new(
        "Deviations that the move promised and that were found",
        columns,
    );
    let heads = [
        "Point",
        "Axis",
        "Promised, mm",
        "Found, mm",
        "u",
        "As promised",
    ];
    table.head(heads.map(Cell::text).into());
    for point in &outcome.points {
        let side = side(&point.point);
        let rows = Axis::ALL.map(|axis| {
            let n = axis.index();
            let agrees = match point.as_predicted[n] {
                Some(true) => "yes, within 2 u",
                Some(false) => "no, beyond 2 u",
                None => "uncertainty not stated",
            };
            let u = point
                .u_mm
                .map_or("–".to_owned(), |u| format!("{:.2}", u[n]));
            vec![
                Cell::text(capital(axis.word())),
                Cell::text(against(axis, point.predicted_mm[n], side)),
                Cell::text(against(axis, point.achieved_mm[n], side)),
                Cell::text(u),
                Cell::text(agrees),
            ]
        });
        table.group(Group {
            lead: Some(Cell::text(Span::bold(&*point.point))),
            rows: rows.into(),
            ..Group::default()
        });
    }
    paper.table(table);
    if !outcome.not_measured.is_empty() {
        let text = format!(
            "Not measured since: {}.",
            words::list(&outcome.not_measured)
        );
        paper.text(Style::BODY, text);
    }
}

/// A deviation without its unit, which the head of the column has.
fn against(axis: Axis, mm: f64, side: Side) -> String {
    words::deviation(axis, mm, side).replace(" mm", "")
}
