//! `datumtrail survey`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::job::view;
use datumtrail_core::shop::{NewReading, NewSurvey};
use serde_json::json;

use super::{Context, file_name, read};
use crate::args::{Survey, SurveyAdd};
use crate::show::table::Table;
use crate::{output, show};

pub async fn run(context: &Context, command: Survey) -> Result<ExitCode> {
    let job = context.job().await?;
    match command {
        Survey::Add(new) => add(context, new).await?,
        Survey::Point {
            point,
            x,
            y,
            z,
            u,
            units,
            correct,
            survey,
        } => {
            let id = job
                .add_reading(NewReading {
                    survey,
                    point: point.clone(),
                    position: [x, y, z],
                    u_mm: u,
                    units: units.word(),
                    correct,
                })
                .await?;
            output::either(context.json, &json!({ "id": id, "point": point }), || {
                format!("Recorded {point} ({}).", id.short())
            });
        }
        Survey::List => {
            let all = job.view()?;
            output::either(context.json, &json!({ "surveys": all.surveys }), || {
                if all.surveys.is_empty() {
                    return "No surveys yet.".into();
                }
                let mut table =
                    Table::new(&["identity", "stage", "when", "readings", "reference points"]);
                for survey in &all.surveys {
                    let withdrawn = if survey.stands() { "" } else { " (withdrawn)" };
                    table.row(vec![
                        survey.id.short().into(),
                        format!("{}{withdrawn}", survey.body.stage),
                        show::time(&survey.stamp.at),
                        all.readings_of(&survey.id).count().to_string(),
                        survey.body.refs.join(", "),
                    ]);
                }
                table.show()
            });
        }
        Survey::Show { survey } => {
            let all = job.view()?;
            let wanted = match &survey {
                Some(typed) => match all.surveys.iter().rev().find(|s| s.body.stage == *typed) {
                    Some(one) => Some(one),
                    None => Some(view::find(&all.surveys, typed)?),
                },
                None => all.surveys.last(),
            };
            let readings: Vec<_> = all
                .readings
                .iter()
                .filter(|r| wanted.is_some_and(|s| s.id == r.body.survey))
                .collect();
            output::either(context.json, &json!({ "readings": readings }), || {
                let mut table = Table::new(&["point", "x", "y", "z", "identity", ""]);
                for r in &readings {
                    let what = match (&r.withdrawn, &r.replaced_by) {
                        (Some(w), _) => format!("withdrawn: {}", w.reason),
                        (None, Some(by)) => format!("corrected by {}", by.short()),
                        (None, None) => String::new(),
                    };
                    table.row(vec![
                        r.body.point.clone(),
                        format!("{:>10.2}", r.body.x),
                        format!("{:>10.2}", r.body.y),
                        format!("{:>10.2}", r.body.z),
                        r.id.short().into(),
                        what,
                    ]);
                }
                format!(
                    "As observed, in the instrument's own frame, millimetres.\n\n{}",
                    table.show()
                )
            });
        }
    }
    Ok(ExitCode::SUCCESS)
}

async fn add(context: &Context, new: SurveyAdd) -> Result<()> {
    let job = context.job().await?;
    let bytes = match &new.file {
        Some(path) => Some(read(path)?),
        None => None,
    };
    let stated = new.mpe.is_some() || new.u.is_some();
    let id = job
        .add_survey(NewSurvey {
            stage: new.stage.clone(),
            refs: new.refs,
            instrument: new.instrument,
            mpe_mm: new.mpe,
            u_mm: new.u,
            build_spread_mm: new.build_spread,
            build_spread_source: new.build_spread_source,
            file: new.file.as_deref().map(file_name),
            bytes,
            units: new.units.word(),
        })
        .await?;
    let view = job.view()?;
    let count = view.readings_of(&id).count();
    let value = json!({ "id": id, "stage": new.stage, "readings": count });
    output::either(context.json, &value, || {
        let mut out = format!(
            "Recorded the survey {} in {} with {count} readings.",
            id.short(),
            new.stage
        );
        if !stated {
            out += "\nUncertainty not stated: the readings will be compared plainly. State the \
                    instrument's with --mpe or --u.";
        }
        out += "\nSee what it says: datumtrail check";
        show::wrap(&out, show::WIDTH, "  ")
    });
    Ok(())
}
