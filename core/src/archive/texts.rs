//! The texts beside the page: `job.json` and `README.txt`.

use serde::Serialize;

use super::readers::CopyStory;
use super::story::Story;
use super::{CAUTIONS, report, words};
use crate::error::{Error, Result};
use crate::job::plan::Plan;
use crate::job::view::JobView;

/// The JSON Schema (2020-12) of `job.json`; `tests/outside/schema.py` writes it from the types.
pub(super) const SCHEMA: &str = include_str!("job.schema.json");

const README: &str = include_str!("README.txt");
/// What it says of the report, where there is one.
const README_REPORT: &str = "\
report.pdf          The same for an insurer's file: answer, drawings, numbers and
                    photos on paper (PDF/A, tagged). It needs none of the other
                    files.
";

/// The text of `job.json`: the story, and every record as it stands in the document.
pub(super) fn document_json(story: &Story, view: &JobView) -> Result<String> {
    #[derive(Serialize)]
    struct Document<'a> {
        #[serde(flatten)]
        story: &'a Story,
        records: &'a JobView,
    }
    let document = Document {
        story,
        records: view,
    };
    serde_json::to_string_pretty(&document)
        .map_err(|e| Error::Internal(format!("job.json could not be written: {e}")))
}

/// The text of `README.txt`.
pub(super) fn readme(story: &Story, plan: &Plan) -> String {
    let head = &story.head;
    let about = match (&head.vehicle, &head.organization) {
        (Some(vehicle), Some(shop)) => format!("{vehicle}. {shop}."),
        (Some(text), None) | (None, Some(text)) => format!("{text}."),
        (None, None) => plan.title.clone(),
    };
    README
        .replace("{name}", &words::one_line(&head.name))
        .replace("{about}", &words::one_line(&about))
        .replace("{told}", &words::moment(&head.told))
        .replace("{report}", if report::WRITTEN { README_REPORT } else { "" })
        .replace("{program}", head.program)
        .replace("{job}", &head.job)
        .replace("{cautions}", &CAUTIONS.join("\n"))
        .replace("{copy}", &copy_text(&story.copy))
}

/// Whom the archive is for and what was left out, for the README.
fn copy_text(copy: &CopyStory) -> String {
    let mut text = words::wrapped(&copy.words, "");
    let lines = copy.lines();
    match lines.is_empty() {
        true => text += "\nNothing was left out of it.",
        false => text += "\nLeft out of it:",
    }
    for line in lines {
        text += &format!("\n{}", words::wrapped(&format!("- {line}"), "  "));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::archive::{file, signed};

    #[test]
    fn the_readme_leaves_nothing_to_be_filled_in() {
        let known = [
            "{name}",
            "{about}",
            "{told}",
            "{program}",
            "{report}",
            "{job}",
            "{cautions}",
            "{copy}",
        ];
        let mut text = format!("{README}{README_REPORT}");
        for place in known {
            assert!(text.contains(place), "{place}");
            text = text.replace(place, "");
        }
        assert!(!text.contains('{') && !text.contains('}'));
        for name in [
            file::TIMELINE,
            file::REPORT,
            file::MEASUREMENTS,
            file::READINGS,
            file::TRAMS,
            file::ESTIMATE,
            file::JOB_JSON,
            file::SCHEMA,
            file::DOCUMENT,
            file::CRATE,
            file::SHEET,
            file::PLAN,
            file::PHOTOS,
            file::PREVIEWS,
            file::SEALS,
            signed::PAGE,
        ] {
            assert!(text.contains(name), "{name} is not explained");
        }
    }
}
