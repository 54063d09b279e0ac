//! Displacements, deviations and directions as phrases.

use crate::frame::{Axis, Side, Vec3, direction};

/// Below this nothing is said (mm): one decimal would print 0.0.
pub const NOTHING_MM: f64 = 0.05;

/// "7.2 mm rearward, 0.4 mm inboard and 3.6 mm up", or `None` if every component is nothing.
pub fn displacement(v: Vec3, side: Side) -> Option<String> {
    let components = Axis::ALL.map(|axis| (axis, v[axis.index()]));
    let said = components
        .iter()
        .filter(|(_, c)| c.abs() >= NOTHING_MM)
        .map(|&(axis, c)| format!("{:.1} mm {}", c.abs(), direction(axis, c, side)));
    join(said.collect())
}

/// Where a deviation puts a point: "1.2 mm too far rearward and 0.4 mm too high".
pub fn deviation(v: Vec3, side: Side) -> Option<String> {
    let components = Axis::ALL.map(|axis| (axis, v[axis.index()]));
    let said = components
        .iter()
        .filter(|(_, c)| c.abs() >= NOTHING_MM)
        .map(|&(axis, c)| format!("{:.1} mm {}", c.abs(), too_far(axis, c, side)));
    join(said.collect())
}

/// "too far rearward", "too high".
pub fn too_far(axis: Axis, component: f64, side: Side) -> String {
    match (axis, component >= 0.0) {
        (Axis::Height, true) => "too high".into(),
        (Axis::Height, false) => "too low".into(),
        _ => format!("too far {}", direction(axis, component, side)),
    }
}

pub(super) fn main_axis(v: Vec3) -> Option<Axis> {
    let v = v.try_normalize(0.0)?;
    Axis::ALL
        .into_iter()
        .find(|axis| v[axis.index()].abs() > 1.0 - 1e-6)
}

/// "the length", or the direction spelled out.
pub(super) fn line_in_words(v: Vec3) -> String {
    match main_axis(v) {
        Some(axis) => format!("the {}", axis.word()),
        None => format!("the line {}", way_in_words(v)),
    }
}

/// "rearward", or "along 98 % rearward, 17 % right".
pub(super) fn way_in_words(v: Vec3) -> String {
    if let Some(axis) = main_axis(v) {
        return direction(axis, v[axis.index()], Side::Centre).into();
    }
    let v = v.normalize();
    let shares = Axis::ALL
        .into_iter()
        .filter(|axis| v[axis.index()].abs() >= 0.005)
        .map(|axis| {
            let share = v[axis.index()];
            format!(
                "{:.2} {}",
                share.abs(),
                direction(axis, share, Side::Centre)
            )
        });
    let shares: Vec<String> = shares.collect();
    format!("({} for each mm)", shares.join(", "))
}

/// "a, b and c"; `None` for an empty list.
pub(crate) fn join(mut items: Vec<String>) -> Option<String> {
    let last = items.pop()?;
    if items.is_empty() {
        return Some(last);
    }
    Some(format!("{} and {last}", items.join(", ")))
}
