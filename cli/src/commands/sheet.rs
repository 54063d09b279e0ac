//! `datumtrail sheet`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::error::Error;
use datumtrail_core::geometry::damage::Zone;
use datumtrail_core::job::audit::{SheetAudit, SolvedSheet};
use datumtrail_core::job::damage::PlaceReport;
use datumtrail_core::job::measure;
use datumtrail_core::job::view::Place;
use datumtrail_core::shop::NewSheet;
use serde_json::json;

use super::{Context, file_name, read};
use crate::args::Sheet;
use crate::output;
use crate::show::table::Table;
use crate::show::{WIDTH, wrap};

pub async fn run(context: &Context, command: Sheet) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Sheet::Load {
            file,
            source,
            limit,
            limit_source,
            units,
            axes,
            add,
        } => {
            let loaded = job
                .load_sheet(NewSheet {
                    file: file_name(&file),
                    bytes: read(&file)?,
                    source,
                    limit_mm: limit,
                    limit_source,
                    units: units.word(),
                    axes: Some(axes),
                    add,
                })
                .await?;
            let points = loaded.sheet.points().len();
            let distances = loaded.sheet.distances().len();
            let warnings: Vec<String> = loaded.warnings.iter().map(|w| w.to_string()).collect();
            let value = json!({
                "id": loaded.id, "points": points, "distances": distances, "warnings": warnings,
            });
            output::either(context.json, &value, || {
                let mut out = format!("Loaded {points} control points and {distances} distances.");
                let without = loaded
                    .sheet
                    .points()
                    .iter()
                    .filter(|p| p.limits.iter().any(Option::is_none))
                    .count();
                if without > 0 {
                    out += &format!(
                        "\n{without} of them have no limit, so nothing can be decided there; a \
                         limit needs its source: --limit MM --limit-source TEXT"
                    );
                }
                for warning in &warnings {
                    out += &format!("\nNote: {warning}");
                }
                wrap(&out, WIDTH, "  ")
            });
        }
        Sheet::Audit => {
            let found = job.audit_sheet()?;
            output::either(context.json, &found, || audited(&found));
        }
        Sheet::Solve { front, rear, out } => {
            let solved = job.solve_sheet(&front, &rear)?;
            if let Some(file) = &out {
                super::save(file, solved.csv().as_bytes())?;
            }
            output::either(context.json, &solved, || {
                screen(&solved, out.as_deref().map(|f| f.display().to_string()))
            });
        }
        Sheet::Layout { set, confirm } => {
            let said: Vec<(String, Place)> = set.iter().map(|s| place(s)).collect::<Result<_>>()?;
            let places = match confirm || !said.is_empty() {
                true => job.set_layout(&said).await?,
                false => job.layout()?,
            };
            output::either(context.json, &json!({ "layout": places }), || {
                layout(&places)
            });
        }
        Sheet::Take { from } => {
            let id = job.take_sheet(&from).await?;
            output::either(context.json, &json!({ "id": id }), || {
                format!(
                    "The sheet of {from} is now the one that counts ({}).",
                    id.short()
                )
            });
        }
        Sheet::Show => {
            let view = job.view()?;
            let sheet = measure::sheet_of(&view)?;
            output::either(context.json, &sheet, || {
                let mut table = Table::new(&[
                    "point", "side", "length", "width", "height", "limit", "what",
                ]);
                for p in sheet.points() {
                    let [x, y, z] = p.position_mm;
                    let limit = match &p.limits {
                        [Some(a), Some(b), Some(c)] if a == b && b == c => a.mm.to_string(),
                        [None, None, None] => "none".into(),
                        mixed => mixed
                            .iter()
                            .map(|l| l.as_ref().map_or("–".into(), |l| l.mm.to_string()))
                            .collect::<Vec<String>>()
                            .join("/"),
                    };
                    table.row(vec![
                        p.name.clone(),
                        p.side.word().into(),
                        format!("{x:>8.1}"),
                        format!("{y:>7.1}"),
                        format!("{z:>7.1}"),
                        limit,
                        p.what.clone(),
                    ]);
                }
                let mut out = wrap(&format!("Source: {}", sheet.source()), WIDTH, "  ");
                out += "\nMillimetres; length rearward, width to the right, height up.\n\n";
                out + &table.show()
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// A place as it is typed: POINT=ZONE/MEMBER.
fn place(typed: &str) -> Result<(String, Place)> {
    let parts = typed
        .rsplit_once('=')
        .and_then(|(point, place)| Some((point, place.split_once('/')?)));
    let zone = |word: &str| {
        Zone::ALL
            .into_iter()
            .find(|z| z.word() == word.trim().to_lowercase())
    };
    parts
        .and_then(|(point, (word, member))| {
            let member = member.trim().to_owned();
            let place = Place {
                zone: zone(word)?,
                member,
            };
            (!place.member.is_empty()).then(|| (point.trim().to_owned(), place))
        })
        .ok_or_else(|| Error::Invalid {
            what: format!("«{typed}» is no place"),
            todo: "write POINT=ZONE/MEMBER with front, centre or rear: \"H=front/left rail\""
                .into(),
        })
}

fn layout(places: &[PlaceReport]) -> String {
    let mut table = Table::new(&["point", "zone", "member", ""]);
    for p in places {
        table.row(vec![
            p.point.clone(),
            p.zone.word().into(),
            p.member.clone(),
            if p.proposed { "proposed" } else { "" }.into(),
        ]);
    }
    let mut out = table.show();
    if places.iter().any(|p| p.proposed) {
        out += &wrap(
            "\nWhat is proposed comes from the positions alone. Correct a place with --set \
             \"H=front/left rail\", and confirm the rest: datumtrail sheet layout --confirm",
            WIDTH,
            "",
        );
    }
    out
}

fn audited(found: &SheetAudit) -> String {
    let mut out = vec![crate::show::heading("The sheet against itself")];
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "    "));
    let compared = match found.compared {
        1 => "1 comparison".to_owned(),
        n => format!("{n} comparisons"),
    };
    match found.doubts.len() {
        0 => say(&format!("No doubts. {compared} made.")),
        1 => say(&format!(
            "1 doubt in {compared}. A doubt is a question to the sheet, never a correction."
        )),
        n => say(&format!(
            "{n} doubts in {compared}. A doubt is a question to the sheet, never a correction."
        )),
    }
    say("");
    for doubt in &found.doubts {
        say(&format!("- {}", doubt.words));
        doubt
            .explanations
            .iter()
            .for_each(|e| say(&format!("    Perhaps: {e}.")));
    }
    if let Some(meaning) = &found.meaning {
        say(&format!(
            "Its distances agree best with each other when read so: {meaning}."
        ));
    }
    for pair in &found.asymmetric {
        let [x, y, z] = pair.difference_mm;
        say(&format!(
            "Not symmetrical, which may be so: {} (length {x:+.1}, width {y:+.1}, height {z:+.1} mm).",
            pair.point
        ));
    }
    if !found.unchecked.is_empty() {
        say(&format!(
            "Unchecked, since no other figure would show an error in them: {}.",
            found.unchecked.join("; ")
        ));
    }
    found.remarks.iter().for_each(|r| say(r));
    out.join("\n")
}

fn screen(solved: &SolvedSheet, file: Option<String>) -> String {
    let mut out = vec![crate::show::heading(
        "Coordinates from the sheet's distances",
    )];
    let mut table = Table::new(&["point", "side", "length", "width", "height", "u (mm)"]);
    for p in &solved.points {
        let [x, y, z] = p.position_mm;
        let [a, b, c] = p.u_mm;
        table.row(vec![
            p.point.clone(),
            p.side.word().into(),
            format!("{x:>8.1}"),
            format!("{y:>7.1}"),
            format!("{z:>7.1}"),
            format!("{a:.2} {b:.2} {c:.2}"),
        ]);
    }
    out.push(table.show());
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    if !solved.meaning.is_empty() {
        say(&format!("Read so: {}.", solved.meaning));
    }
    for open in &solved.open {
        say(&format!("Not placed: {}, since {}.", open.point, open.why));
    }
    say("Both sides are taken as symmetrical, because the distances say nothing else.");
    match file {
        Some(file) => say(&format!(
            "Written to {file}. To use it: datumtrail sheet load \"{file}\" --source TEXT"
        )),
        None => say("To use them, write them to a file with --out and load that as a sheet."),
    }
    out.join("\n")
}
