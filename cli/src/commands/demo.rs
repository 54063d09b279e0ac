//! `datumtrail demo`

use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use datumtrail_core::error::{Error, Result};
use datumtrail_core::geometry::frame::{Axis, Side, direction};
use datumtrail_demo::story::{self, Ending, Event, PartPoint};
use datumtrail_demo::truth::Survey;
use indicatif::{ProgressBar, ProgressStyle};
use jiff::tz::TimeZone;
use serde_json::json;

use crate::output;
use crate::show::table::Table;
use crate::show::{self, WIDTH, wrap};

pub async fn run(out: Option<PathBuf>, json: bool) -> Result<ExitCode> {
    let folder = match out {
        Some(folder) => folder,
        None => new_folder()?,
    };
    let began = Instant::now();
    let bar = if json {
        ProgressBar::hidden()
    } else {
        ProgressBar::new(0)
    };
    if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos} of {len} {msg}") {
        bar.set_style(style);
    }
    if !json {
        output::text(wrap(
            "A small delivery van, struck at its left rear corner. Everything is invented but \
             the computation: the story hands over raw readings, and the program finds the rest.\n",
            WIDTH,
            "",
        ));
    }
    let zone = TimeZone::get(datumtrail_demo::vehicle::TIME_ZONE).unwrap_or(TimeZone::UTC);
    let ending = story::play(&folder, |event| {
        if let Event::Step { done, of, what } = &event {
            bar.set_length(*of as u64);
            bar.set_position(*done as u64);
            bar.set_message(what.clone());
            if done == of {
                bar.finish_and_clear();
            }
        } else if !json {
            bar.suspend(|| output::text(line(&event, &zone)));
        }
    })
    .await?;
    let value = json!({
        "shop": ending.shop,
        "archive": ending.archive,
        "timeline": ending.page,
        "photos": ending.photos,
        "refusals": ending.refusals,
        "seconds": began.elapsed().as_secs_f64(),
    });
    output::either(json, &value, || {
        summary(&ending, began.elapsed().as_secs_f64())
    });
    Ok(ExitCode::SUCCESS)
}

fn line(event: &Event, zone: &TimeZone) -> String {
    match event {
        Event::Step { what, .. } => what.clone(),
        Event::Stage { title, time } => {
            let time = zone.to_datetime(*time).strftime("%d %b %H:%M").to_string();
            format!("\n{title}  ({time})")
        }
        Event::Say(text) => wrap(&format!("  {text}"), WIDTH, "  "),
        Event::Refused { stage, missing } => {
            let mut out = vec![format!("  □ {stage} stays shut. Missing:")];
            out.extend(
                missing
                    .iter()
                    .map(|m| wrap(&format!("    - {m}"), WIDTH, "      ")),
            );
            out.join("\n")
        }
    }
}

fn summary(ending: &Ending, seconds: f64) -> String {
    let mut table = Table::new(&[
        "new section",
        "as found",
        "first fit",
        "second fit",
        "final",
    ]);
    for point in &ending.part {
        for axis in Axis::ALL {
            let mut row = vec![format!("{} {}", point.name, axis.word())];
            row.extend(Survey::ALL.iter().map(|s| deviation(point, *s, axis)));
            table.row(row);
        }
    }
    let limits: Vec<String> = ending
        .part
        .iter()
        .filter_map(|p| p.limit_mm)
        .map(|l| l.to_string())
        .collect();
    let mut out = vec![
        String::new(),
        show::heading("What it came to"),
        table.show(),
        wrap(
            &format!(
                "Millimetres from the sheet; the limit is {} mm. Everything bolted up at the first \
                 fit; only measuring found it. The hold points refused {} times. {} of {} photos \
                 would have gone astray by the pocket camera's wrong clock.",
                limits.first().map_or("not given", String::as_str),
                ending.refusals,
                ending.photos_retied,
                ending.photos
            ),
            WIDTH,
            "",
        ),
        String::new(),
        format!("Archive   {}", ending.archive.display()),
        format!("Timeline  {}", ending.page.display()),
        format!("Shop      {}", ending.shop.display()),
        String::new(),
        format!(
            "{:.1} MB, {} files, every byte checked. {seconds:.1} s in all.",
            ending.archive_bytes as f64 / 1e6,
            ending.files_checked
        ),
        format!(
            "Look around: datumtrail --shop {} job show",
            ending.shop.display()
        ),
    ];
    out.push(wrap(show::CAUTION, WIDTH, ""));
    out.join("\n")
}

fn deviation(point: &PartPoint, survey: Survey, axis: Axis) -> String {
    let Some((_, mm)) = point.deviations.iter().find(|(s, _)| *s == survey) else {
        return "–".into();
    };
    let value = mm[axis.index()];
    let over = point.limit_mm.is_some_and(|limit| value.abs() > limit);
    let mark = if over { "►" } else { " " };
    let word = if value.abs() < 0.05 {
        ""
    } else {
        direction(axis, value, Side::Left)
    };
    format!("{mark}{:>4.1} {word}", value.abs())
}

/// A folder that stays when the program ends: people want to look at what is in it.
fn new_folder() -> Result<PathBuf> {
    let base = std::env::temp_dir();
    let process = std::process::id();
    for n in 0..1000 {
        let folder = base.join(format!("datumtrail-demo-{process}-{n}"));
        match std::fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => {}
            Err(e) => return Err(Error::io(&folder, e)),
        }
    }
    Err(Error::Internal(
        "no name is free for the demo's folder".into(),
    ))
}
