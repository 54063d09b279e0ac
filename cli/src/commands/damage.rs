//! `datumtrail damage`

use std::process::ExitCode;

use datumtrail_core::Result;
use datumtrail_core::job::damage::Damage;

use super::Context;
use crate::output;
use crate::show::{self, WIDTH, wrap};

pub async fn run(context: &Context, survey: Option<&str>) -> Result<ExitCode> {
    let damage = context.job().await?.damage(survey).await?;
    output::either(context.json, &damage, || screen(&damage));
    Ok(ExitCode::SUCCESS)
}

fn screen(damage: &Damage) -> String {
    let mut out = vec![show::heading(&format!(
        "Damage, by the survey {} in {}",
        damage.survey.short(),
        damage.stage
    ))];
    let mut say = |line: &str, indent: &str| out.push(wrap(line, WIDTH, indent));
    if damage.doubtful {
        say(
            "The reference points disagree and nothing explains it: settle that first \
             (datumtrail check). Until then nothing below can be trusted.",
            "",
        );
        say("", "");
    }
    for zone in &damage.zones {
        for (n, line) in zone.words.iter().enumerate() {
            let lead = if n == 0 { "" } else { "  " };
            say(&format!("{lead}{line}"), "    ");
        }
    }
    say("", "");
    damage.sentences.iter().for_each(|line| say(line, ""));
    say("How far it went, from the reference points outwards:", "");
    for extent in &damage.extent {
        say(&format!("  {}", extent.words), "    ");
    }
    say("", "");
    if damage.build_spread_mm.is_none() {
        say(
            "Build spread not stated: what reads as a small movement may be as built.",
            "",
        );
    }
    if damage.layout_proposed {
        say(
            "Zones and members are proposed from the positions alone. Look at them and confirm or \
             correct them: datumtrail sheet layout",
            "",
        );
    }
    say(
        "Kinds are named where they exceed 2.86 standard uncertainties.",
        "",
    );
    out.push(wrap(show::CAUTION, WIDTH, ""));
    out.join("\n")
}
