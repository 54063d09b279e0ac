//! `datumtrail survey`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::error::Error;
use datumtrail_core::geometry::blunder::Blunder;
use datumtrail_core::job::{record, view};
use datumtrail_core::shop::{Again, NewReading, NewSurvey, SurveyAdded};
use serde_json::json;

use super::{Context, file_name, read};
use crate::args::{Blunders, Material, Survey, SurveyAdd};
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
            repeat,
            survey,
        } => {
            let id = job
                .add_reading(NewReading {
                    survey,
                    point: point.clone(),
                    position: [x, y, z],
                    u_mm: u,
                    units: units.word(),
                    again: match (correct, repeat) {
                        (true, _) => Again::Correct,
                        (_, true) => Again::Repeat,
                        _ => Again::No,
                    },
                })
                .await?;
            output::either(context.json, &json!({ "id": id, "point": point }), || {
                format!("Recorded {point} ({}).", id.short())
            });
        }
        Survey::Correct { survey, blunder } => {
            let blunder = named(blunder)?;
            let points = job.correct_survey(survey.as_deref(), &blunder).await?;
            output::either(context.json, &json!({ "corrected": points }), || {
                let text = format!(
                    "Corrected: {}. The old readings stay on record. See what it changed: \
                     datumtrail check",
                    points.join(", ")
                );
                show::wrap(&text, show::WIDTH, "")
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
                        match &survey.body.joins {
                            Some(base) => format!("joins {}", base.short()),
                            None => survey.body.refs.join(", "),
                        },
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
                        (None, None) => r.body.why.clone().unwrap_or_default(),
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
    let stated = new.instrument.mpe.is_some() || new.instrument.u.is_some();
    let material = new.material.map(|m| match m {
        Material::Steel => datumtrail_core::geometry::temperature::Material::Steel,
        Material::Aluminium => datumtrail_core::geometry::temperature::Material::Aluminium,
    });
    let SurveyAdded { id, suspicions } = job
        .add_survey(NewSurvey {
            stage: new.stage.clone(),
            refs: new.refs,
            joins: new.joins.clone(),
            instrument: new.instrument_name,
            mpe_mm: new.instrument.mpe,
            mpe_in_space: new.instrument.in_space,
            u_mm: new.instrument.u,
            seating_mm: new.instrument.seating,
            repeatability_mm: new.repeatability,
            temperature: material
                .zip(new.temperature)
                .map(|(material, celsius)| record::Temperature { material, celsius }),
            build_spread_mm: new.instrument.build_spread,
            build_spread_source: new.build_spread_source,
            file: new.file.as_deref().map(file_name),
            bytes,
            units: new.units.word(),
        })
        .await?;
    let view = job.view()?;
    let count = view.readings_of(&id).count();
    let value =
        json!({ "id": id, "stage": new.stage, "readings": count, "suspicions": suspicions });
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
        if !suspicions.is_empty() {
            out += "\nIt can't be set up as it stands.\n";
            out += &show::check::suspected(&suspicions).unwrap_or_default();
        }
        out += "\nSee what it says: datumtrail check";
        show::wrap(&out, show::WIDTH, "  ")
    });
    Ok(())
}

/// The blunder that the options name.
fn named(typed: Blunders) -> Result<Blunder> {
    let invalid = |what: &str, todo: &str| Error::Invalid {
        what: what.into(),
        todo: todo.into(),
    };
    if !typed.swap.is_empty() {
        return match <[String; 2]>::try_from(typed.swap) {
            Ok([a, b]) => Ok(Blunder::LabelsSwapped { a, b }),
            Err(_) => Err(invalid(
                "two labels are swapped, no more, no fewer",
                "--swap A,B",
            )),
        };
    }
    if typed.swap_sides {
        return Ok(Blunder::SidesExchanged);
    }
    if typed.mirror {
        return Ok(Blunder::AxisSign);
    }
    let factor = typed
        .times
        .filter(|f| f.is_finite() && *f != 0.0)
        .ok_or_else(|| {
            invalid(
                "readings can only be multiplied by a number that is not zero",
                "--times 25.4 for inches taken as millimetres",
            )
        })?;
    Ok(match (typed.point, typed.coordinate) {
        (None, _) => Blunder::Units { factor },
        (Some(point), None) => Blunder::ReadingUnits { point, factor },
        (Some(point), Some(coordinate)) => {
            let coordinate = coordinate as usize;
            if factor == -1.0 {
                Blunder::ReadingSign { point, coordinate }
            } else {
                Blunder::DecimalShifted {
                    point,
                    coordinate,
                    factor,
                }
            }
        }
    })
}
