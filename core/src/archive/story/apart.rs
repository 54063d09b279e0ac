//! What the devices of a crew brought about by working apart.

use crate::archive::words;
use crate::job::conflict::{Conflict, Kind};
use crate::job::view::JobView;

/// Each a sentence.
pub(super) fn tell(view: &JobView) -> Vec<String> {
    // Values are told by themselves.
    let clashes = view.clashes.iter().filter(|c| c.kind != Kind::Value);
    let mut lines: Vec<String> = clashes.map(|clash| told(view, clash)).collect();
    if !view.set_aside.is_empty() {
        let one = "record was set aside, because its device had been removed from the crew when it \
                   wrote it";
        let many = "records were set aside, because their devices had been removed from the crew \
                    when they wrote them";
        lines.push(format!(
            "{}.",
            words::count(view.set_aside.len(), one, many)
        ));
    }
    for skew in view.clocks_apart() {
        let offset = skew.body.offset_s;
        lines.push(format!(
            "The clock of {} was {:.0} s {} that of {}: times that the two wrote differ by that.",
            view.device(&skew.body.device),
            offset.abs(),
            if offset > 0.0 { "ahead of" } else { "behind" },
            view.device(&skew.stamp.by)
        ));
    }
    lines
}

fn told(view: &JobView, clash: &Conflict) -> String {
    let sides: Vec<String> = (clash.sides.iter())
        .map(|side| format!("{} by {}", side.says, view.author(&side.stamp)))
        .collect();
    let end = match &clash.settled {
        Some(settled) => format!(
            "All stand, says {}: {}",
            view.author(&settled.stamp),
            words::one_line(&settled.reason)
        ),
        None => "Nobody has settled it.".into(),
    };
    format!(
        "{}, {}: {}. {end}",
        clash.kind.words(),
        clash.about,
        sides.join("; ")
    )
}
