//! Damage in plain trade words.

use std::collections::BTreeMap;

use super::{DamageReading, Explanation, Finding, Kind, Layout, Scope, Shape, Zone, ZoneDamage};
use crate::correct::words::{displacement, join};

/// How many other explanations are told.
const OTHERS: usize = 3;

/// The zones and members for a person to confirm: what is the sheet's own, and what is proposed.
pub fn layout(layout: &Layout) -> Vec<String> {
    let mut groups: BTreeMap<(Option<Zone>, &str, bool), Vec<String>> = BTreeMap::new();
    for (name, place) in layout.places() {
        let zone = (Some(place.zone), "", place.zone_proposed);
        let member = (None, place.member.as_str(), place.member_proposed);
        for group in [zone, member] {
            groups.entry(group).or_default().push(name.to_string());
        }
    }
    let line = |((zone, member, proposed), names): ((Option<Zone>, &str, bool), Vec<String>)| {
        let what = match zone {
            Some(zone) => capital(zone.word()),
            None => format!("Member {member}"),
        };
        let by = match proposed {
            true => "proposed from the geometry, please confirm",
            false => "as the sheet says",
        };
        format!("{what} ({by}): {}.", join(names).unwrap_or_default())
    };
    // Zones before members.
    let (members, zones): (Vec<_>, Vec<_>) = groups
        .into_iter()
        .partition(|((zone, ..), _)| zone.is_none());
    zones.into_iter().chain(members).map(line).collect()
}

/// One zone's answer: the finding first, then its readings, then what else could explain it.
pub fn zone(answer: &ZoneDamage) -> Vec<String> {
    let mut said = finding(answer);
    if answer.doubtful && answer.finding != Finding::NotMeasured {
        said.push(
            "The reference points contradict each other: this is in doubt until that is settled."
                .into(),
        );
    }
    said
}

fn finding(answer: &ZoneDamage) -> Vec<String> {
    let place = capital(answer.zone.word());
    match &answer.finding {
        Finding::NotMeasured => vec![format!("{place}: not measured.")],
        Finding::NothingMoved => vec![format!(
            "{place}: no movement found ({}).",
            counted(answer.points.len())
        )],
        Finding::Moved { by, or_by } => {
            let mut said = vec![format!("{place}: {}.", cause(answer.zone, by))];
            said.extend(readings(answer.zone, by));
            let others = or_by.iter().take(OTHERS);
            said.extend(others.map(|other| {
                format!(
                    "The readings would also fit: {}.",
                    cause(answer.zone, other)
                )
            }));
            if or_by.len() > OTHERS {
                said.push(format!("And {} more like them.", or_by.len() - OTHERS));
            }
            said
        }
        Finding::Points(moved) if moved.is_empty() => vec![format!(
            "{place}: something moved, but no single cause and no single point explains it; \
             repeat the readings there ({}).",
            join(answer.points.clone()).unwrap_or_default()
        )],
        Finding::Points(moved) => {
            let mut said = vec![format!(
                "{place}: no common cause explains the readings; these points moved by themselves:"
            )];
            said.extend(moved.iter().map(|p| {
                let way =
                    displacement(p.deviation, p.side).unwrap_or("by less than 0.05 mm".into());
                format!("{}: {way} (\u{b1} {:.1} mm).", p.name, 2.0 * p.u.amax())
            }));
            said
        }
    }
}

/// "the left side was pushed as one, from H forward".
pub fn cause(zone: Zone, by: &Explanation) -> String {
    let what = match (by.scope, join(by.members.clone())) {
        (_, Some(members)) if by.members.len() > 1 => format!("the members {members}"),
        (_, Some(member)) => format!("the member {member}"),
        (Scope::Both, None) => format!("the {}", zone.word()),
        (Scope::Left, None) => "the left side".into(),
        (Scope::Right, None) => "the right side".into(),
    };
    let (was, is) = match by.members.len() > 1 {
        true => ("were", "are"),
        false => ("was", "is"),
    };
    let how = match by.shape {
        Shape::Push => format!("{was} pushed as one"),
        Shape::PushEach => format!("{was} pushed, each side as one but not alike"),
        Shape::Block => "swung as one rigid block".into(),
        Shape::Bend => format!("{is} bent, the more the further out"),
        Shape::Warp => format!("{is} warped, the sides opposite ways and the more the further out"),
        Shape::BendAndWarp => format!("{is} bent and warped, the more the further out"),
        Shape::Ramp => format!("{was} pushed, and bent the more the further out"),
    };
    if by.whole_end {
        return format!("{what} {how}");
    }
    let outwards = if zone == Zone::Rear {
        "rearward"
    } else {
        "forward"
    };
    let from = join(by.from.clone()).unwrap_or_default();
    format!("{what} {how}, from {from} {outwards}")
}

/// The named kinds, one sentence each with size, uncertainty and points, and the turn of a block.
pub fn readings(zone: Zone, by: &Explanation) -> Vec<String> {
    let points = join(by.points.clone()).unwrap_or_default();
    let named = by.readings.iter().filter(|r| r.named());
    let mut said: Vec<String> = named
        .map(|r| format!("{} It rests on {points}.", reading(zone, r)))
        .collect();
    if said.is_empty() {
        said.push(format!(
            "No single kind of damage stands out from the uncertainty. It rests on {points}."
        ));
    }
    if let Some(turn) = by.turn {
        said.push(format!(
            "The block is turned by {:.2}\u{b0}.",
            turn.norm().to_degrees()
        ));
    }
    said
}

/// "Mash: shortened by 12.0 mm (u 0.4 mm), left side only."
pub fn reading(zone: Zone, r: &DamageReading) -> String {
    let size = format!("{:.1} mm", r.size_mm.abs());
    let positive = r.size_mm >= 0.0;
    let what = match (r.kind, positive) {
        (Kind::Mash, true) => format!("Mash: the {} is shortened by {size}", zone.word()),
        (Kind::Mash, false) => format!("The {} is drawn out by {size}", zone.word()),
        (Kind::Sidesway, true) => format!("Sidesway: {size} to the right"),
        (Kind::Sidesway, false) => format!("Sidesway: {size} to the left"),
        (Kind::Sag, true) => format!("Kick-up: {size} too high"),
        (Kind::Sag, false) => format!("Sag: {size} too low"),
        (Kind::Diamond, true) => format!("Diamond: the right side sits {size} behind the left"),
        (Kind::Diamond, false) => format!("Diamond: the left side sits {size} behind the right"),
        (Kind::Spread, true) => format!("Spread: the sides are {size} too far apart"),
        (Kind::Spread, false) => format!("Spread: the sides are {size} too close together"),
        (Kind::Twist, true) => format!("Twist: the right side sits {size} above the left"),
        (Kind::Twist, false) => format!("Twist: the left side sits {size} above the right"),
    };
    let side = match r.scope.side() {
        Some(side) => format!(", {} side only", side.word()),
        None => String::new(),
    };
    format!("{what}{side} (standard uncertainty {:.1} mm).", r.u_mm)
}

fn counted(points: usize) -> String {
    match points {
        1 => "1 point measured".into(),
        n => format!("{n} points measured"),
    }
}

pub(crate) fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
