//! `datumtrail tram`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::geometry::frame::direction;
use datumtrail_core::job::record::TramKind;
use datumtrail_core::job::tram::{SolvedPoint, TramList, TramReport, TramSolved};
use datumtrail_core::shop::{Job, NewTram, TramFile, TramQuestion};
use serde_json::json;

use super::{Context, file_name, read};
use crate::args::{Kind, Tram};
use crate::output;
use crate::show::table::Table;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, command: Tram) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Tram::Add {
            p,
            q,
            value,
            kind,
            about,
        } => {
            let kind = match kind {
                Kind::True => TramKind::True,
                Kind::Level => TramKind::Level,
            };
            let new = typed(kind, p, Some(q), value, about);
            add(context, &job, new).await?;
        }
        Tram::Height { p, value, about } => {
            let new = typed(TramKind::Height, p, None, value, about);
            add(context, &job, new).await?;
        }
        Tram::Import { file, about } => {
            let count = job
                .import_trams(TramFile {
                    stage: about.stage,
                    file: file_name(&file),
                    bytes: read(&file)?,
                    units: about.units.word(),
                    u_mm: about.u,
                    instrument: about.instrument,
                })
                .await?;
            output::either(context.json, &json!({ "readings": count }), || {
                let plural = if count == 1 { "" } else { "s" };
                format!("Recorded {count} tram reading{plural}. Compare them: datumtrail tram list")
            });
        }
        Tram::List {
            stage,
            build_spread,
        } => {
            let list = job.compare_trams(stage.as_deref(), build_spread)?;
            output::either(context.json, &list, || listed(&list));
        }
        Tram::Solve {
            refs,
            stage,
            build_spread,
            reach,
        } => {
            let solved = job.solve_trams(&TramQuestion {
                stage,
                refs,
                build_spread_mm: build_spread,
                reach_mm: reach,
            })?;
            output::either(context.json, &solved, || screen(&solved));
        }
    }
    Ok(ExitCode::SUCCESS)
}

fn typed(
    kind: TramKind,
    a: String,
    b: Option<String>,
    value: f64,
    about: crate::args::TramAbout,
) -> NewTram {
    let general = about.general;
    NewTram {
        stage: general.stage,
        kind,
        a,
        b,
        value,
        units: general.units.word(),
        u_mm: general.u,
        instrument: general.instrument,
        replaces: about.corrects,
    }
}

async fn add(context: &Context, job: &Job<'_>, new: NewTram) -> Result<()> {
    let (id, stage) = job.add_tram(new).await?;
    let list = job.compare_trams(Some(&stage), None)?;
    let report = list.readings.iter().find(|r| r.reading == id);
    output::either(
        context.json,
        &json!({ "id": id, "against_sheet": report }),
        || {
            let mut out = format!("Recorded ({}).", id.short());
            if let Some(r) = report {
                out += &format!("\n{}", against(r));
                out.extend(r.question.iter().map(|q| format!("\n{q}")));
            }
            wrap(&out, WIDTH, "  ")
        },
    );
    Ok(())
}

/// "A to B', true: 1422.5 mm; the sheet gives 1420.0 mm, so 2.5 mm longer (±1.2): inside".
fn against(r: &TramReport) -> String {
    let prints = if r.printed { "prints" } else { "gives" };
    let way = match (r.kind, r.deviation_mm > 0.0) {
        _ if r.deviation_mm.abs() < 0.05 => "no difference".to_owned(),
        (TramKind::Height, true) => format!("{:.1} mm higher", r.deviation_mm),
        (TramKind::Height, false) => format!("{:.1} mm lower", -r.deviation_mm),
        (_, true) => format!("{:.1} mm longer", r.deviation_mm),
        (_, false) => format!("{:.1} mm shorter", -r.deviation_mm),
    };
    let u = match r.u_mm {
        Some(u) => format!(" (±{:.1})", 2.0 * u),
        None => " (uncertainty not stated)".into(),
    };
    format!(
        "{}; the sheet {prints} {:.1} mm: {way}{u}. {}.",
        r.words,
        r.sheet_mm,
        sentence(r.verdict.words())
    )
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn listed(list: &TramList) -> String {
    if list.readings.is_empty() {
        return "No tram readings yet.".into();
    }
    let stage = list.stage.as_deref().unwrap_or("all stages");
    let mut out = vec![show::heading(&format!(
        "Tram readings of {stage} against the sheet"
    ))];
    let mut table = Table::new(&[
        "from",
        "to",
        "kind",
        "reading",
        "sheet",
        "difference",
        "verdict",
        "identity",
    ]);
    for r in &list.readings {
        let spread = r
            .u_mm
            .map_or(String::new(), |u| format!(" ±{:.1}", 2.0 * u));
        table.row(vec![
            r.a.clone(),
            r.b.clone().unwrap_or_default(),
            r.kind.words().into(),
            format!("{:>7.1}", r.value_mm),
            format!("{:>7.1}", r.sheet_mm),
            format!("{}{spread}", signed(r.deviation_mm)),
            r.verdict.words().into(),
            r.reading.short().into(),
        ]);
    }
    out.push(table.show());
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    list.readings
        .iter()
        .filter_map(|r| r.question.as_deref())
        .for_each(&mut say);
    if !list.fours.is_empty() {
        say("Diagonals of symmetrical fours:");
        list.fours
            .iter()
            .for_each(|four| say(&format!("  {}", four.words)));
    }
    say("± is twice the standard uncertainty. Positions: datumtrail tram solve --refs A,A',...");
    out.push(wrap(show::CAUTION, WIDTH, ""));
    out.join("\n")
}

fn screen(solved: &TramSolved) -> String {
    let stage = solved.stage.as_deref().unwrap_or("all stages");
    let mut out = vec![show::heading(&format!(
        "Positions from the tram readings of {stage}"
    ))];
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    say(&format!(
        "Held by {}. {} readings for {} points; chi-square {:.1} with {} degrees of freedom{}.",
        solved.refs.join(", "),
        solved.figures.len(),
        solved.points.len(),
        solved.chi2,
        solved.dof,
        solved
            .p
            .map_or(String::new(), |p| format!(", probability {p:.2}")),
    ));
    solved
        .notes
        .iter()
        .for_each(|note| say(&format!("Note: {note}")));
    say("");
    let heads = ["length", "width"].map(|head| format!("{head:<24}"));
    out.push(format!("Point    {}height", heads.concat()));
    out.extend(solved.points.iter().map(point));
    out.push(
        "* reference point, judged by the others      ± is twice the standard uncertainty\n".into(),
    );
    let mut table = Table::new(&["reading", "off by", "w", "r", "state"]);
    for f in &solved.figures {
        let off = f.expected_mm.map(|expected| f.value_mm - expected);
        table.row(vec![
            f.words.clone(),
            off.map_or(String::new(), signed),
            f.w.map_or(String::new(), signed),
            format!("{:.2}", f.redundancy),
            f.state.into(),
        ]);
    }
    out.push(table.show());
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    say(
        "off by: against what the other readings expect (mm); w: the same in standard \
         uncertainties; r: the share of an error that would show, 0 where nothing checks it.",
    );
    for (n, next) in solved.next.iter().enumerate() {
        let what = match (&next.b, next.kind) {
            (Some(b), kind) => format!("{} to {b}, {}", next.a, kind.words()),
            (None, _) => format!("the height of {}", next.a),
        };
        let lead = if n == 0 {
            "What would help most next"
        } else {
            "Then"
        };
        say(&format!(
            "{lead}: {what} (about {:.0} mm); the open positions would be known to {:.1} instead \
             of {:.1} mm.",
            next.expected_mm, next.after_mm, next.before_mm
        ));
    }
    out.push(wrap(show::CAUTION, WIDTH, ""));
    out.join("\n")
}

fn point(point: &SolvedPoint) -> String {
    let mark = if point.is_reference { "*" } else { " " };
    let mut line = format!("{:<7}{mark} ", point.point);
    for (axis, seen) in point.axes() {
        let cell = match (seen.deviation_mm, seen.u_mm) {
            (Some(mm), Some(u)) => {
                let word = direction(axis, mm, point.side);
                let shape = show::check::shape(seen.verdict, mm);
                format!("{shape} {:.1} ±{:.1} {word}", mm.abs(), 2.0 * u)
            }
            _ => " ?   undetermined".to_owned(),
        };
        line.push_str(&format!("{cell:<23} "));
    }
    line.trim_end().to_owned()
}

/// One decimal with its sign, and no sign for what rounds to nothing.
fn signed(value: f64) -> String {
    if value.abs() < 0.05 {
        "0.0".into()
    } else {
        format!("{value:+.1}")
    }
}
