//! `datumtrail photo review`

use std::collections::HashMap;

use datumtrail_core::Result;
use datumtrail_core::error::Error;
use datumtrail_core::job::alike::Together;
use datumtrail_core::job::record::{Photo, RecordId};
use datumtrail_core::job::tie::{PhotoTie, zone_of};
use datumtrail_core::job::view::Entry;
use datumtrail_core::photo::tie::Tie;
use datumtrail_core::shop::Job;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

use super::{list, tie_words, ties_of};
use crate::commands::Context;
use crate::output;
use crate::show::{WIDTH, wrap};

/// Asks about each doubtful photo; the answers are on the disk one by one.
pub async fn run(context: &Context, job: &Job<'_>) -> Result<()> {
    let all = job.view()?;
    let plan = job.plan(&all)?;
    let ties = ties_of(job)?;
    let together = Together::find(&all, &ties);
    let doubtful: Vec<_> = all
        .photos
        .iter()
        .filter_map(|p| Some((p, ties.of(&p.id)?)))
        .filter(|(p, t)| t.tie.is_doubtful() || t.gps_doubt(&p.body).is_some())
        .collect();
    if context.json {
        let values: Vec<Value> = doubtful
            .iter()
            .map(|(p, t)| list::value(&all, p, t, &together))
            .collect();
        output::either(true, &json!({ "photos": values }), String::new);
        return Ok(());
    }
    if doubtful.is_empty() {
        output::text("No photo's stage is doubtful.");
        return Ok(());
    }
    let zone = zone_of(&all);
    let stages: Vec<&str> = plan.stages.iter().map(|s| s.key.as_str()).collect();
    let photos = if doubtful.len() == 1 {
        "photo"
    } else {
        "photos"
    };
    output::text(wrap(
        &format!(
            "{} {photos}. Answer with a number, a stage's name, Enter to leave it open, or q to stop.",
            doubtful.len()
        ),
        WIDTH,
        "",
    ));
    // What is decided on the way, which the ties that were read before don't know.
    let mut decided: HashMap<RecordId, String> = HashMap::new();
    for (photo, tie) in doubtful {
        let mut offers = tie.tie.candidates();
        let original = together.copy_of.get(&photo.id);
        let original = original.and_then(|id| all.photos.iter().find(|p| p.id == *id));
        let copied = original.and_then(|original| {
            let tie = ties.of(&original.id).and_then(|tie| tie.tie.stage());
            decided.get(&original.id).map(String::as_str).or(tie)
        });
        offers.extend(copied.map(str::to_owned).filter(|s| !offers.contains(s)));
        if offers.is_empty() {
            offers = plan.stages.iter().map(|s| s.key.clone()).collect();
        }
        show(photo, tie, &zone);
        if let Some(original) = original {
            let (id, name) = (original.id.short(), &original.body.name);
            let place = copied.map_or("whose stage is doubtful too".to_owned(), |s| {
                format!("in {s}")
            });
            let text = format!("  Looks like the same shot as {id} {name}, {place}.");
            output::text(wrap(&text, WIDTH, "  "));
        }
        output::text(choices(&offers));
        match ask(&offers, &stages).await? {
            Answer::Stage(stage) => {
                job.tie_photo(&photo.id.0, &stage).await?;
                output::text(format!("  It belongs to {stage}."));
                decided.insert(photo.id.clone(), stage);
            }
            Answer::LeaveOpen => {}
            Answer::Stop => return Ok(()),
        }
    }
    Ok(())
}

/// The photo, and why its stage is doubtful.
fn show(photo: &Entry<Photo>, tie: &PhotoTie, zone: &TimeZone) {
    let time = |at| {
        zone.to_datetime(at)
            .strftime("%Y-%m-%d %H:%M:%S")
            .to_string()
    };
    let taken = (tie.moment()).map_or_else(|| "no time".to_owned(), |moment| time(moment.at));
    output::text(format!(
        "\n{}  {taken}  {}",
        photo.id.short(),
        photo.body.name
    ));
    let source = tie.source_words(&photo.body);
    let why = match tie.tie {
        Tie::NoTime => format!("  {source}"),
        _ => format!("  {}; {source}", tie_words(&tie.tie)),
    };
    output::text(wrap(&why, WIDTH, "  "));
    if let Some(doubt) = tie.gps_doubt(&photo.body) {
        let text = format!(
            "  Look: {doubt}. If it is the clock, set that and not the stage: datumtrail photo \
             clock."
        );
        output::text(wrap(&text, WIDTH, "  "));
    }
}

/// The stages with their numbers, in columns.
fn choices(offers: &[String]) -> String {
    let numbered = offers.iter().enumerate();
    let entries: Vec<String> = numbered
        .map(|(n, stage)| format!("{} {stage}", n + 1))
        .collect();
    let column = entries.iter().map(|e| e.chars().count()).max().unwrap_or(0) + 2;
    let lines = entries.chunks((WIDTH / column).max(1)).map(|line| {
        let padded: String = line.iter().map(|e| format!("{e:<column$}")).collect();
        format!("  {}", padded.trim_end())
    });
    lines.collect::<Vec<_>>().join("\n")
}

enum Answer {
    Stage(String),
    LeaveOpen,
    Stop,
}

/// Asks until the answer is one.
async fn ask(offers: &[String], stages: &[&str]) -> Result<Answer> {
    let failed = |e| Error::io(std::path::Path::new("the terminal"), e);
    loop {
        let Some(answer) = output::ask("  stage? ").await.map_err(failed)? else {
            return Ok(Answer::Stop);
        };
        let typed = match answer.trim() {
            "q" => return Ok(Answer::Stop),
            "" => return Ok(Answer::LeaveOpen),
            typed => typed,
        };
        let number = typed.parse::<usize>().ok();
        let offered = number.and_then(|n| offers.get(n.wrapping_sub(1)));
        let stage = offered.map_or(typed, String::as_str);
        if stages.contains(&stage) {
            return Ok(Answer::Stage(stage.to_owned()));
        }
        let text = format!("  The plan has no stage «{stage}»: {}", stages.join(", "));
        output::text(wrap(&text, WIDTH, "  "));
    }
}
