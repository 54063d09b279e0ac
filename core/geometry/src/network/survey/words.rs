//! A tram survey in plain sentences.

use super::{SurveyedPoint, TramSurvey};
use crate::frame::{Axis, Side, direction};

impl TramSurvey {
    /// Everything a person should know before using the positions, most serious first.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if !self.suspects.is_empty() {
            let names: Vec<&str> = (self.suspects.iter())
                .filter_map(|&p| self.points.get(p).map(|point| point.name.as_str()))
                .collect();
            notes.push(format!(
                "The readings and the reference points contradict each other, and nothing tells \
                 which is wrong: {} may have moved, or readings from it are wrong. Measure again, \
                 and more between the reference points. Until then nothing is inside.",
                names.join(" or ")
            ));
        }
        let moved = self.moved.iter().filter_map(|&p| self.points.get(p));
        notes.extend(moved.map(moved_words));
        notes.extend(self.solution.notes());
        notes
    }
}

fn moved_words(point: &SurveyedPoint) -> String {
    let side = point.side.unwrap_or(Side::Centre);
    let parts: Vec<String> = (Axis::ALL.into_iter())
        .filter_map(|axis| {
            let (mm, u) = point.axis(axis)?;
            let word = direction(axis, mm, side);
            (mm.abs() > 2.0 * u).then(|| format!("{:.1} mm {word}", mm.abs()))
        })
        .collect();
    let how_far = match parts.is_empty() {
        true => String::new(),
        false => format!(" ({})", parts.join(", ")),
    };
    format!(
        "Reference point {} is not where the sheet has it{how_far}. It moved, or it is as built; \
         it does not hold the network any more.",
        point.name
    )
}
