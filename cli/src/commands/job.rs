//! `datumtrail job`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::job::stage::State;
use datumtrail_core::job::view::{JobView, Settled};
use datumtrail_core::shop::{Job as Open, NewJob};
use jiff::SignedDuration;
use serde_json::json;

use super::{Context, conflicts, read};
use crate::args::Job;
use crate::output;
use crate::show::table::Table;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, command: Job) -> Result<ExitCode> {
    match command {
        Job::New {
            name,
            vehicle,
            zone,
            plan,
        } => {
            let plan = match plan {
                Some(path) => Some(super::plan::text(read(&path)?)?),
                None => None,
            };
            let job = context
                .shop
                .new_job(NewJob {
                    name: name.clone(),
                    vehicle,
                    zone,
                    plan,
                })
                .await?;
            let id = job.document();
            output::either(context.json, &json!({ "id": id, "name": name }), || {
                format!("Made the job «{name}» ({id}). Commands work on it from now on.")
            });
        }
        Job::List => {
            let jobs = context.shop.jobs().await?;
            let values: Vec<_> = jobs
                .iter()
                .map(|job| {
                    json!({
                        "id": job.id,
                        "name": job.name.value,
                        "name_conflict": job.name.conflict,
                        "vehicle": job.vehicle.value,
                        "current": job.current,
                        "photos": job.photos,
                        "readings": job.readings,
                        "notes": job.notes,
                    })
                })
                .collect();
            output::either(context.json, &json!({ "jobs": values }), || {
                if jobs.is_empty() {
                    return "No jobs yet. Make one: datumtrail job new NAME".into();
                }
                let mut table =
                    Table::new(&["", "name", "readings", "photos", "notes", "identity"]);
                for job in &jobs {
                    table.row(vec![
                        if job.current {
                            "→".into()
                        } else {
                            String::new()
                        },
                        settled(&job.name),
                        job.readings.to_string(),
                        job.photos.to_string(),
                        job.notes.to_string(),
                        job.id.clone(),
                    ]);
                }
                table.show()
            });
        }
        Job::Use { job } => {
            let job = context.shop.job(Some(&job)).await?;
            context.shop.use_job(&job.document())?;
            let name = job.view()?.title().to_owned();
            output::either(context.json, &json!({ "id": job.document() }), || {
                format!("Commands work on «{name}» from now on.")
            });
        }
        Job::Show => {
            let job = context.job().await?;
            let view = job.view()?;
            if context.json {
                output::either(true, &view, String::new);
            } else {
                output::text(summary(&job, &view)?);
            }
        }
        Job::Conflicts => conflicts::list(context, &context.job().await?)?,
        Job::Settle { records, reason } => {
            conflicts::settle(context, &context.job().await?, &records, &reason).await?;
        }
        Job::Share { with, everyone } => share(context, &with, everyone).await?,
        Job::Rename { name } => {
            context.job().await?.rename(&name).await?;
            output::either(context.json, &json!({ "name": name }), || {
                format!("The job is called «{name}» now.")
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

async fn share(context: &Context, to: &[String], everyone: bool) -> Result<()> {
    let job = context.job().await?;
    if everyone || !to.is_empty() {
        let to = (!everyone).then_some(to);
        job.limit_to(to).await?;
    }
    let view = job.view()?;
    let limited = view.limited_to();
    output::either(
        context.json,
        &json!({ "limited_to": limited }),
        || match &limited {
            None => "Every member of the crew has the job.".into(),
            Some(devices) => {
                let names: Vec<String> = devices.iter().map(|d| view.device(d)).collect();
                wrap(
                    &format!(
                        "Only these devices get the job from now on: {}. What others already \
                         hold, they keep.",
                        names.join(", ")
                    ),
                    WIDTH,
                    "",
                )
            }
        },
    );
    Ok(())
}

/// A value, or all of them where several stand.
fn settled(value: &Settled) -> String {
    let shown = value.value.clone().unwrap_or_else(|| "(none)".into());
    if value.conflict.is_empty() {
        shown
    } else {
        format!(
            "{shown} (and {} more, set at the same time)",
            value.conflict.len() - 1
        )
    }
}

fn summary(job: &Open<'_>, view: &JobView) -> Result<String> {
    let mut out = vec![show::heading(&settled(&view.name))];
    if view.vehicle.value.is_some() {
        out.push(format!("Vehicle   {}", settled(&view.vehicle)));
    }
    if let Some(part) = view.part() {
        out.push(format!(
            "Part      {} ({})",
            part.name,
            part.points.join(", ")
        ));
    }
    out.push(match view.sheet() {
        Some(sheet) => format!(
            "Sheet     {}",
            wrap(&sheet.body.source, WIDTH - 10, "").replace('\n', "\n          ")
        ),
        None => "Sheet     none yet: datumtrail sheet load FILE.csv --source TEXT".into(),
    });
    let count =
        |n: usize, one: &str, many: &str| format!("{n} {}", if n == 1 { one } else { many });
    out.push(format!(
        "Record    {}, {}, {}, {}",
        count(
            view.surveys.iter().filter(|s| s.stands()).count(),
            "survey",
            "surveys"
        ),
        count(
            view.readings.iter().filter(|r| r.stands()).count(),
            "reading",
            "readings"
        ),
        count(
            view.photos.iter().filter(|p| p.stands()).count(),
            "photo",
            "photos"
        ),
        count(
            view.notes.iter().filter(|n| n.stands()).count(),
            "note",
            "notes"
        ),
    ));
    let stages = job.stages()?;
    let open: Vec<&str> = stages
        .iter()
        .filter(|s| s.state == State::Open)
        .map(|s| s.title.as_str())
        .collect();
    let done = stages.iter().filter(|s| s.state == State::Closed).count();
    out.push(format!(
        "Stages    {done} of {} closed; open: {}",
        stages.len(),
        if open.is_empty() {
            "none".into()
        } else {
            open.join(", ")
        }
    ));
    let seals = job.seals()?;
    let sealed: Vec<String> = stages
        .iter()
        .filter_map(|stage| {
            let since = super::seal::of_stage(&seals, &stage.name)?;
            Some(format!("{} ({since} since)", stage.title))
        })
        .collect();
    if !sealed.is_empty() {
        let list = wrap(&sealed.join(", "), WIDTH - 10, "").replace('\n', "\n          ");
        out.push(format!("Seals     {list}"));
    }
    out.push(String::new());
    out.push(super::hold::list(&job.holds()?));
    for skew in view.clocks_apart() {
        let offset = skew.body.offset_s;
        let line = format!(
            "Clocks    {} was {:#} {} {} when they met: times that the two wrote differ by that",
            view.device(&skew.body.device),
            SignedDuration::from_secs(offset.abs().round() as i64),
            if offset > 0.0 { "ahead of" } else { "behind" },
            view.device(&skew.stamp.by),
        );
        out.push(wrap(&line, WIDTH, "          "));
    }
    let open = job.conflicts()?;
    let open = open.iter().filter(|c| c.settled.is_none()).count();
    if open > 0 || !view.set_aside.is_empty() {
        let mut said = Vec::new();
        if open > 0 {
            said.push(count(open, "conflict is open", "conflicts are open"));
        }
        if !view.set_aside.is_empty() {
            said.push(count(
                view.set_aside.len(),
                "record is set aside",
                "records are set aside",
            ));
        }
        let line = format!("{}: datumtrail job conflicts", said.join(" and "));
        out.push(wrap(&line, WIDTH, ""));
    }
    if !view.unreadable.is_empty() {
        out.push(wrap(
            &format!(
                "{} can't be shown by this version; they are kept.",
                count(view.unreadable.len(), "record", "records")
            ),
            WIDTH,
            "",
        ));
    }
    Ok(out.join("\n"))
}
