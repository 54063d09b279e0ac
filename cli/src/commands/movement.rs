//! `datumtrail move`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::geometry::correct::{Allowed, words};
use datumtrail_core::geometry::frame::Axis;
use serde_json::json;

use super::Context;
use crate::args::SlideAxis;
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub async fn run(
    context: &Context,
    points: &[String],
    slide: Option<SlideAxis>,
    survey: Option<&str>,
) -> Result<ExitCode> {
    let allowed = match slide {
        None => Allowed::Free,
        Some(SlideAxis::X) => Allowed::slide_along(Axis::Length),
        Some(SlideAxis::Y) => Allowed::slide_along(Axis::Width),
        Some(SlideAxis::Z) => Allowed::slide_along(Axis::Height),
    };
    let job = context.job().await?;
    let (measured, planned) = job.plan_move(survey, points, &allowed).await?;
    let best = &planned.best;
    let push = words::push(&planned.part, best);
    let turn = words::turn(&planned.part, best);
    let outside = best.outside();
    let value = json!({
        "survey": measured.survey,
        "stage": measured.stage,
        "allowed": words::allowed(&allowed),
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
        say("Measure again after the move: only that shows where the part is.");
        out.push(wrap(show::CAUTION, WIDTH, ""));
        out.join("\n")
    });
    Ok(ExitCode::SUCCESS)
}
