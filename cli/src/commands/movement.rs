//! `datumtrail move`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::error::Error;
use datumtrail_core::geometry::correct::{Allowed, words};
use datumtrail_core::geometry::frame::{Axis, Vec3};
use datumtrail_core::shop::{Job, MoveOutcome};
use serde_json::{Value, json};

use super::Context;
use crate::args::Move;
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, asked: Move) -> Result<ExitCode> {
    let job = context.job().await?;
    if asked.achieved {
        return achieved(context, &job, asked.survey.as_deref()).await;
    }
    let allowed = allowed(&job, &asked)?;
    let (measured, planned) = job
        .plan_move(asked.survey.as_deref(), &asked.points, &allowed)
        .await?;
    let decided = match asked.decide {
        true => Some(job.decide_move(&measured, &planned).await?),
        false => None,
    };
    let best = &planned.best;
    let push = words::push(&planned.part, best);
    let turn = words::turn(&planned.part, best);
    let outside = best.outside();
    let value = json!({
        "survey": measured.survey,
        "stage": measured.stage,
        "allowed": words::allowed(&allowed),
        "decided": decided,
        "words": push,
        "turn_words": turn,
        "pivot_mm": best.rigid.pivot.as_slice(),
        "translation_mm": best.rigid.translation.as_slice(),
        "rotation_rad": best.rigid.rotation.as_slice(),
        "possible": planned.minimax.as_ref().and_then(|m| m.possible()),
        "why_not": planned.minimax.as_ref().and_then(|m| m.impossible.as_ref()).map(|proof| words::why_not(&planned.part, proof)),
        "all_inside_afterwards": outside.is_empty() && best.without_limit().is_empty(),
        "points": best.points.iter().map(|p| json!({
            "point": p.name,
            "side": p.side,
            "before_mm": p.before.as_slice(),
            "move_mm": p.displacement.as_slice(),
            "expected_mm": p.deviation.as_slice(),
            "u_mm": p.u.as_ref().map(|u| u.as_slice()),
            "limit_mm": p.limits,
        })).collect::<Vec<_>>(),
    });
    output::either(context.json, &value, || {
        let mut out = vec![show::heading(&format!(
            "Move, by the survey {} in {}",
            measured.survey.short(),
            measured.stage
        ))];
        let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
        say(&push);
        turn.iter().for_each(|line| say(line));
        say("");
        words::at_each_point(best).iter().for_each(|line| say(line));
        say("");
        say("Expected afterwards:");
        words::expected(best).iter().for_each(|line| say(line));
        words::left_alone(best).iter().for_each(|line| say(line));
        say("");
        if let Some(minimax) = planned.minimax.as_ref().filter(|_| !outside.is_empty()) {
            say("Not every point comes inside its limits by this move.");
            words::minimax(&planned.part, minimax)
                .iter()
                .for_each(|line| say(line));
            say("");
        }
        match &decided {
            Some(id) => say(&format!(
                "On record as decided ({}). The next survey is held against it.",
                id.short()
            )),
            None => say("To hold the next survey against it, put it on record: add --decide."),
        }
        say("Measure again after the move: only that shows where the part is.");
        out.push(wrap(show::CAUTION, WIDTH, ""));
        out.join("\n")
    });
    Ok(ExitCode::SUCCESS)
}

/// The freedoms that the options leave.
fn allowed(job: &Job<'_>, asked: &Move) -> Result<Allowed> {
    let Some(slide) = asked.slide.as_deref() else {
        return Ok(Allowed::Free);
    };
    let (along, _) = line(job, slide)?;
    let Some(turn) = asked.turn.as_deref() else {
        return Ok(Allowed::Slide { along });
    };
    let (axis, through) = line(job, turn)?;
    let through = match through {
        Some(point) => point,
        None => job.middle_of(&asked.points)?.into(),
    };
    Ok(Allowed::SlideAndTurn {
        along,
        axis,
        through,
    })
}

/// A line as it is typed: its direction, and a point on it where the line has a place.
fn line(job: &Job<'_>, typed: &str) -> Result<(Vec3, Option<Vec3>)> {
    let parts: Vec<&str> = typed.split(',').map(str::trim).collect();
    let numbers: Option<Vec<f64>> = parts.iter().map(|p| p.parse().ok()).collect();
    match (parts.as_slice(), numbers.as_deref()) {
        (_, Some(&[x, y, z])) => Ok((Vec3::new(x, y, z), None)),
        ([letter], None) => {
            let axis = match letter.to_lowercase().as_str() {
                "x" | "length" => Axis::Length,
                "y" | "width" => Axis::Width,
                "z" | "height" => Axis::Height,
                _ => return Err(no_line(typed)),
            };
            Ok((axis.unit(), None))
        }
        ([from, to], _) => {
            let (along, at) = job.line(from, to)?;
            Ok((along.into(), Some(at.into())))
        }
        _ => Err(no_line(typed)),
    }
}

fn no_line(typed: &str) -> Error {
    Error::Invalid {
        what: format!("«{typed}» is no line"),
        todo: "give x, y or z, two control points FROM,TO, or a vector such as 1,0,0.2".into(),
    }
}

async fn achieved(context: &Context, job: &Job<'_>, survey: Option<&str>) -> Result<ExitCode> {
    let measured = job.check(survey).await?;
    let Some(found) = job.move_outcome(&measured)? else {
        return Err(Error::Invalid {
            what: format!(
                "no move was put on record before the survey {}",
                measured.survey.short()
            ),
            todo: "put one on record before making it: datumtrail move --decide".into(),
        });
    };
    output::either(context.json, &outcome_json(&found), || {
        format!("{}\n{}", outcome(&found), wrap(show::CAUTION, WIDTH, ""))
    });
    Ok(ExitCode::SUCCESS)
}

fn outcome_json(found: &MoveOutcome) -> Value {
    json!({
        "move": found.decided.id,
        "survey": found.survey,
        "points": found.points.iter().map(|p| json!({
            "point": p.name,
            "side": p.side,
            "asked_mm": p.asked.as_slice(),
            "made_mm": p.made.as_slice(),
            "predicted_mm": p.predicted.as_slice(),
            "achieved_mm": p.achieved.as_slice(),
            "u_mm": p.u.as_ref().map(|u| u.as_slice()),
            "as_predicted": Axis::ALL.map(|axis| p.as_predicted(axis)),
        })).collect::<Vec<_>>(),
    })
}

/// Predicted against achieved.
pub fn outcome(found: &MoveOutcome) -> String {
    let mut out = vec![show::heading(&format!(
        "The move of {} against the survey {}",
        show::time(&found.decided.stamp.at),
        found.survey.short()
    ))];
    let mut say = |line: &str| out.push(wrap(line, WIDTH, "  "));
    say(&format!(
        "Asked for {}: {}",
        found.decided.body.allowed, found.decided.body.words
    ));
    let measured: Vec<&str> = found.points.iter().map(|p| p.name.as_str()).collect();
    let of_move = found.decided.body.points.iter();
    let missing: Vec<&str> = of_move
        .map(|p| p.point.as_str())
        .filter(|p| !measured.contains(p))
        .collect();
    words::achieved(&found.points)
        .iter()
        .for_each(|line| say(line));
    if !missing.is_empty() {
        say(&format!("Not measured since: {}.", missing.join(", ")));
    }
    out.push(String::new());
    out.join("\n")
}
