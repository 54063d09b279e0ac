//! What an adjusted network says, in plain sentences with figures.

use super::plan::{Deciding, Extra};
use super::quantity::Quantity;
use super::solution::{Contradiction, Solution, State};
use crate::frame::Axis;

impl Solution {
    /// A figure as people name it: "true distance A to B, 1005.0 mm". Empty where there is none.
    pub fn figure_words(&self, index: usize) -> String {
        self.figures.get(index).map_or_else(String::new, |figure| {
            let what = self.quantity_words(figure.quantity);
            format!("{what}, {:.1} mm", figure.value_mm)
        })
    }

    /// A quantity as people name it: "true distance A to B".
    pub fn quantity_words(&self, quantity: Quantity) -> String {
        let name = |p: usize| self.points.get(p).map_or("?", |l| l.name.as_str());
        let what = quantity.words();
        match quantity {
            Quantity::TrueDiagonal { from, to } | Quantity::LevelDiagonal { from, to } => {
                format!("{what} {} to the other side's {}", name(from), name(to))
            }
            quantity => match quantity.points() {
                (a, Some(b)) => format!("{what} {} to {}", name(a), name(b)),
                (a, None) => format!("{what} of {}", name(a)),
            },
        }
    }

    /// An extra reading as a request: "Measure the true distance A to B, about 1005 mm: it brings
    /// the wanted points from 2.1 mm to 0.6 mm of standard uncertainty."
    pub fn extra_words(&self, extra: &Extra) -> String {
        format!(
            "Measure the {}, about {:.0} mm: it brings the wanted points from {:.1} mm to {:.1} mm \
             of standard uncertainty.",
            self.quantity_words(extra.quantity),
            extra.expected_mm,
            extra.before_mm,
            extra.after_mm
        )
    }

    /// A deciding reading as a request.
    pub fn deciding_words(&self, deciding: &Deciding) -> String {
        format!(
            "Measure the {}: {:.1} mm confirms these positions, {:.1} mm the others.",
            self.quantity_words(deciding.quantity),
            deciding.here_mm,
            deciding.there_mm
        )
    }

    /// Everything a person should know before using the positions, most serious first. Empty when
    /// all is determined, checked and consistent.
    pub fn notes(&self) -> Vec<String> {
        let mut notes: Vec<String> = self
            .contradictions
            .iter()
            .map(|c| self.contradiction_words(c))
            .collect();
        if let Some(p) = self.fit.p
            && p < 0.05
            && self.contradictions.iter().all(|c| c.left_out)
        {
            notes.push(format!(
                "All figures together fit worse than their uncertainties allow (chance {:.2} %), \
                 and no single one explains it. The uncertainties may be stated too small.",
                100.0 * p
            ));
        }
        notes.extend(self.undetermined_words());
        notes.extend(self.blind_axes.iter().map(|axis| {
            let (this, that) = match axis {
                Axis::Length => ("forward", "rearward"),
                Axis::Width => ("left", "right"),
                Axis::Height => ("up", "down"),
            };
            format!(
                "These figures cannot tell {this} from {that}: the mirrored positions fit equally \
                 well. The stated positions decided, where there were any."
            )
        }));
        notes.extend(self.alternatives.iter().map(|alternative| {
            let places: Vec<String> = (alternative.points.iter())
                .map(|(p, at)| {
                    let name = self.points.get(*p).map_or("?", |l| l.name.as_str());
                    format!("{name} at ({:.0}, {:.0}, {:.0})", at.x, at.y, at.z)
                })
                .collect();
            format!("The figures fit nearly as well with {}.", places.join(", "))
        }));
        let unchecked = (self.figures.iter())
            .filter(|f| f.state == State::Unchecked)
            .count();
        if unchecked > 0 {
            notes.push(format!(
                "{unchecked} of {} figures are unchecked: no other figure would show an error in \
                 them.",
                self.figures.len()
            ));
        }
        notes
    }

    fn contradiction_words(&self, contradiction: &Contradiction) -> String {
        let list: Vec<String> = contradiction
            .figures
            .iter()
            .map(|&i| self.figure_words(i))
            .collect();
        let expected = contradiction
            .named()
            .and_then(|i| self.figures.get(i)?.expected_mm);
        match (expected, contradiction.left_out) {
            (Some(expected), left_out) => format!(
                "The {} contradicts the rest, which expect {expected:.1} mm ({:.1} times its \
                 standard uncertainty). {}",
                list.join(""),
                contradiction.w.abs(),
                if left_out {
                    "It was left out."
                } else {
                    "It was kept."
                },
            ),
            (None, true) => format!(
                "One of these contradicts the rest, and they cannot be told apart: {}. All were \
                 left out; measure them again.",
                list.join("; ")
            ),
            (None, false) => format!(
                "These figures contradict each other, and nothing tells which is wrong: {}. The \
                 positions rest on all of them; measure them again before using any.",
                list.join("; ")
            ),
        }
    }

    /// Points that share the same undetermined axes share a sentence.
    fn undetermined_words(&self) -> Vec<String> {
        let mut groups: Vec<(Vec<Axis>, Vec<&str>)> = Vec::new();
        for point in &self.points {
            let axes = point.undetermined_axes();
            if axes.is_empty() {
                continue;
            }
            match groups.iter_mut().find(|(a, _)| *a == axes) {
                Some((_, names)) => names.push(&point.name),
                None => groups.push((axes, vec![&point.name])),
            }
        }
        (groups.into_iter())
            .map(|(axes, names)| {
                let axes: Vec<&str> = axes.into_iter().map(Axis::word).collect();
                format!(
                    "Undetermined in {}: {}. These figures do not fix it.",
                    axes.join(" and "),
                    names.join(", ")
                )
            })
            .collect()
    }
}
