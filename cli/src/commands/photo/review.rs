//! `datumtrail photo review`

use datumtrail_core::Result;
use datumtrail_core::error::Error;
use datumtrail_core::job::alike::Together;
use datumtrail_core::job::tie::zone_of;
use datumtrail_core::shop::Job;
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
    let failed = |e| Error::io(std::path::Path::new("the terminal"), e);
    let zone = zone_of(&all);
    let stages: Vec<&str> = plan.stages.iter().map(|s| s.key.as_str()).collect();
    output::text(wrap(
        &format!(
            "{} photos. Answer with a number, a stage's name, Enter to leave it open, or q to stop.",
            doubtful.len()
        ),
        WIDTH,
        "",
    ));
    for (photo, tie) in doubtful {
        let taken = tie.moment().map_or_else(
            || "no time".to_owned(),
            |m| {
                zone.to_datetime(m.at)
                    .strftime("%Y-%m-%d %H:%M:%S")
                    .to_string()
            },
        );
        output::text(format!(
            "\n{}  {taken}  {}",
            photo.id.short(),
            photo.body.name
        ));
        output::text(wrap(
            &format!(
                "  {}. {}",
                tie_words(&tie.tie),
                tie.source_words(&photo.body)
            ),
            WIDTH,
            "  ",
        ));
        if let Some(doubt) = tie.gps_doubt(&photo.body) {
            let text = format!(
                "  Look: {doubt}. If it is the clock, set that and not the stage: datumtrail photo \
                 clock."
            );
            output::text(wrap(&text, WIDTH, "  "));
        }
        let offers = tie.tie.candidates();
        for (n, stage) in offers.iter().enumerate() {
            output::text(format!("  {} {stage}", n + 1));
        }
        loop {
            let Some(answer) = output::ask("  stage? ").await.map_err(failed)? else {
                return Ok(());
            };
            match answer.trim() {
                "q" => return Ok(()),
                "" => break,
                typed => {
                    let by_number = typed
                        .parse::<usize>()
                        .ok()
                        .and_then(|n| offers.get(n.wrapping_sub(1)));
                    let stage = by_number.map_or(typed, String::as_str);
                    if !stages.contains(&stage) {
                        output::text(wrap(
                            &format!("  The plan has no stage «{stage}»: {}", stages.join(", ")),
                            WIDTH,
                            "  ",
                        ));
                        continue;
                    }
                    job.tie_photo(&photo.id.0, stage).await?;
                    output::text(format!("  It belongs to {stage}."));
                    break;
                }
            }
        }
    }
    Ok(())
}
