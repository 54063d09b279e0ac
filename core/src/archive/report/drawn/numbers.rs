//! The table of deviations: every point and axis, before and after.

use datumtrail_geometry::frame::{Axis, Side, direction};
use datumtrail_paper::{Align, Cell, Column, Group, Paper, Span, Style, Table};

use super::shapes::emblem;
use crate::archive::story::{Story, SurveyStory};
use crate::archive::words;
use crate::job::measure::{AxisReport, CheckReport, PointReport};

pub fn draw(paper: &mut Paper, story: &Story) {
    let Some((after, report)) = story.newest().and_then(|s| Some((s, s.report()?))) else {
        return;
    };
    let before = story
        .comparison
        .as_ref()
        .and_then(|c| story.survey(&c.before));
    let before = before.and_then(|s| Some((s, s.report()?)));
    paper.heading(2, "The numbers");
    let mut lead = "Deviation is reading minus sheet, in the vehicle's own directions; u is its \
                    standard uncertainty. Millimetres."
        .to_owned();
    if let Some(sheet) = &story.sheet {
        lead += &format!(" Sheet: {}.", sheet.source);
    }
    paper.text(Style::BODY, lead);
    let sources = sources(&report);
    table(paper, story, before.as_ref(), (after, &report), &sources);
    let named = sources.iter().enumerate();
    let named: Vec<String> = named
        .map(|(n, source)| format!("{} {source}", letter(n)))
        .collect();
    if !named.is_empty() {
        let text = format!("Where the limits come from: {}.", named.join("; "));
        paper.text(Style::SMALL, text);
    }
    if !report.not_on_sheet.is_empty() {
        let points: Vec<&str> = report
            .not_on_sheet
            .iter()
            .map(|p| p.point.as_str())
            .collect();
        let list = words::list(&points);
        let text = format!("Also measured, and not on the sheet: {list}.");
        paper.text(Style::SMALL, text);
    }
    paper.heading(3, "What the numbers rest on");
    if let Some((before, report)) = &before {
        set_up(paper, before, report);
    }
    set_up(paper, after, &report);
}

/// Each source of a limit once.
fn sources<'a>(report: &'a CheckReport<'a>) -> Vec<&'a str> {
    let mut all = Vec::new();
    for (_, axis) in report.points.iter().flat_map(|p| p.axes()) {
        if let (Some(_), Some(source)) = (axis.limit_mm, axis.limit_source)
            && !all.contains(&source)
        {
            all.push(source);
        }
    }
    all
}

/// `a`, `b`, … `z`, `27`.
fn letter(n: usize) -> String {
    match u8::try_from(n) {
        Ok(n) if n < 26 => char::from(b'a' + n).to_string(),
        _ => (n + 1).to_string(),
    }
}

fn table(
    paper: &mut Paper,
    story: &Story,
    before: Option<&(&SurveyStory, CheckReport<'_>)>,
    (after, report): (&SurveyStory, &CheckReport<'_>),
    sources: &[&str],
) {
    let survey = [
        Column::decimal(28.0),
        Column::fixed(42.0),
        Column::decimal(28.0),
        Column::text(1.0),
    ];
    let mut columns = vec![Column::fixed(76.0), Column::fixed(36.0)];
    let when =
        |s: &SurveyStory, word: &str| format!("{word}{}, {}", s.name, words::short_moment(&s.at));
    let mut heads = vec![Cell::text("Control point").across(2)];
    if let Some((before, _)) = before {
        columns.extend(survey);
        heads.push(
            Cell::text(when(before, "Before: "))
                .across(4)
                .align(Align::Start),
        );
    }
    columns.extend(survey);
    let word = if before.is_some() { "After: " } else { "" };
    heads.push(Cell::text(when(after, word)).across(4).align(Align::Start));
    columns.push(Column::fixed(34.0));
    heads.push(Cell::text(""));
    let mut table = Table::new(
        "Deviations from the sheet, point by point and axis by axis",
        columns,
    );
    table.style = Style::TABLE.sized(7.6);
    table.head(heads);
    let mut second = vec![Cell::text("Name"), Cell::text("Axis")];
    for _ in 0..1 + usize::from(before.is_some()) {
        second.extend([
            Cell::text("mm"),
            Cell::text("way"),
            Cell::text("u"),
            Cell::text("verdict"),
        ]);
    }
    second.push(Cell::text("Limit").align(Align::End));
    table.head(second);
    let part = story
        .head
        .part
        .as_ref()
        .map_or(&[][..], |p| p.points.as_slice());
    for (heading, points) in groups(report, part) {
        table.title(heading);
        for point in points {
            let earlier =
                before.and_then(|(_, r)| r.points.iter().find(|p| p.point == point.point));
            let group = group(point, earlier, before.is_some(), sources);
            table.group(group);
        }
    }
    paper.table(table);
}

/// The new part first, then the others, then what the set-up rests on.
fn groups<'a>(
    report: &'a CheckReport<'a>,
    part: &[String],
) -> Vec<(&'static str, Vec<&'a PointReport<'a>>)> {
    let on_part = |p: &PointReport<'_>| part.iter().any(|name| name == p.point);
    let (new, rest): (Vec<_>, Vec<_>) = report.points.iter().partition(|p| on_part(p));
    let (references, others): (Vec<_>, Vec<_>) = rest.into_iter().partition(|p| p.is_reference);
    let all = [
        ("On the new part", new),
        (
            if part.is_empty() {
                "Control points"
            } else {
                "Other points"
            },
            others,
        ),
        ("Reference points, each judged by the others", references),
    ];
    all.into_iter()
        .filter(|(_, points)| !points.is_empty())
        .collect()
}

fn group(
    point: &PointReport<'_>,
    earlier: Option<&PointReport<'_>>,
    two: bool,
    sources: &[&str],
) -> Group {
    let what = match point.what {
        "" => point.side.word().to_owned(),
        what => format!("{what}, {}", point.side.word()),
    };
    let lead = Cell::text([
        Span::bold(point.point),
        Span::plain("\n"),
        Span {
            size: Some(0.92),
            ..Span::quiet(what)
        },
    ]);
    let mut rows = Vec::new();
    for (axis, seen) in point.axes() {
        let mut row = vec![Cell::text(axis.word())];
        if two {
            match earlier {
                Some(earlier) => {
                    let was = earlier.axes()[axis.index()].1;
                    row.extend(cells(axis, was, point.side));
                }
                None => row.push(
                    Cell::text(Span::quiet("not in this survey"))
                        .across(4)
                        .align(Align::Start),
                ),
            }
        }
        row.extend(cells(axis, seen, point.side));
        row.push(limit(seen, sources));
        rows.push(row);
    }
    Group {
        lead: Some(lead),
        rows,
        ..Group::default()
    }
}

/// Size, direction, uncertainty, verdict.
fn cells(axis: Axis, seen: &AxisReport<'_>, side: Side) -> Vec<Cell> {
    let verdict = Cell::text(seen.verdict.words()).shape(emblem(seen.verdict));
    let Some(mm) = seen.deviation_mm else {
        return vec![Cell::text("–"), Cell::text("–"), Cell::text("–"), verdict];
    };
    let size = format!("{:.1}", mm.abs());
    // What rounds to nothing has no direction.
    let way = if size == "0.0" {
        "–"
    } else {
        direction(axis, mm, side)
    };
    let u = seen.u_mm.map_or("–".to_owned(), |u| format!("{u:.2}"));
    let size = match seen.verdict {
        datumtrail_geometry::verdict::Verdict::Outside => Span::bold(size),
        _ => Span::plain(size),
    };
    vec![
        Cell::text(size),
        Cell::text(way),
        Cell::text(Span::quiet(u)),
        verdict,
    ]
}

fn limit(seen: &AxisReport<'_>, sources: &[&str]) -> Cell {
    let Some(mm) = seen.limit_mm else {
        return Cell::text("none").align(Align::End);
    };
    let at = seen
        .limit_source
        .and_then(|s| sources.iter().position(|known| *known == s));
    let source = at.map_or_else(String::new, |n| format!(" {}", letter(n)));
    Cell::text([
        Span::plain(words::stated(mm)),
        Span {
            size: Some(0.85),
            ..Span::quiet(source)
        },
    ])
    .align(Align::End)
}

/// What a survey's set-up rests on.
fn set_up(paper: &mut Paper, survey: &SurveyStory, report: &CheckReport<'_>) {
    let set_up = report.setup;
    let mut text = format!(
        " Set up on {}, which fit the sheet to {:.2} mm (root mean square",
        words::list(&set_up.used),
        set_up.rms_mm
    );
    if let (Some(chi2), Some(p)) = (set_up.chi2, set_up.p) {
        let p = if p < 0.001 {
            "below 0.001".to_owned()
        } else {
            format!("{p:.2}")
        };
        text += &format!(
            "; chi-square {chi2:.1} with {} degrees of freedom, probability {p}",
            set_up.dof
        );
    }
    text += "). ";
    if let Some(instrument) = &survey.instrument {
        text += &format!("{instrument}, ");
    }
    text += &format!("{}.", survey.uncertainty);
    if let Some(spread) = &survey.build_spread {
        text += &format!(" Build spread: {spread}.");
    }
    let more = survey.gathered.iter().chain(&survey.could_be_missed);
    for line in more {
        text += " ";
        text += line;
    }
    let name = format!("{}, {}.", survey.name, words::moment(&survey.at));
    paper.text(Style::BODY, [Span::bold(name), Span::plain(text)]);
}
