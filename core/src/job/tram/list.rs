//! Every tram reading against the sheet.

use datumtrail_geometry::fit::Belief;
use datumtrail_geometry::frame::Axis;
use datumtrail_geometry::network::{self, TramCheck, TramKind};
use datumtrail_geometry::verdict::{self, Verdict};
use datumtrail_sheet::{DistanceKind, Sheet};
use serde::Serialize;

use super::fours::{self, FourReport};
use super::{UNSTATED_U_MM, end, standing};
use crate::job::record::{self, RecordId};
use crate::job::view::{Entry, JobView};

/// One reading against the sheet.
#[derive(Clone, Debug, Serialize)]
pub struct TramReport {
    pub reading: RecordId,
    pub words: String,
    pub kind: record::TramKind,
    pub a: String,
    pub b: Option<String>,
    pub value_mm: f64,
    /// What the sheet gives in the same kind, and whether it prints it or its positions give it.
    pub sheet_mm: f64,
    pub printed: bool,
    /// Reading minus sheet.
    pub deviation_mm: f64,
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    pub limit_source: Option<String>,
    pub p_inside: Option<f64>,
    pub verdict: Verdict,
    /// What to ask, where the other kind fits better.
    pub question: Option<String>,
}

/// The interface of `tram list --json`.
#[derive(Clone, Debug, Serialize)]
pub struct TramList {
    pub stage: Option<String>,
    pub readings: Vec<TramReport>,
    pub fours: Vec<FourReport>,
}

/// Every reading against the sheet, and the fours. A reading that the sheet can't judge is left out.
pub fn compare(
    view: &JobView,
    sheet: &Sheet,
    stage: Option<&str>,
    build_spread_mm: Option<f64>,
) -> TramList {
    let readings: Vec<_> = standing(view, stage).collect();
    TramList {
        stage: stage.map(str::to_owned),
        readings: readings
            .iter()
            .filter_map(|entry| one(sheet, entry, build_spread_mm))
            .collect(),
        fours: fours::find(sheet, &readings, build_spread_mm),
    }
}

fn one(
    sheet: &Sheet,
    entry: &Entry<record::Tram>,
    build_spread_mm: Option<f64>,
) -> Option<TramReport> {
    let body = &entry.body;
    let a = sheet.point(&body.a)?;
    let u = body.u_mm.unwrap_or(UNSTATED_U_MM);
    let build = build_spread_mm.unwrap_or(0.0);
    let (mut sheet_mm, mut u_mm, question) = match (&body.b, body.kind) {
        (Some(b), kind) => {
            let b = sheet.point(b)?;
            let kind = match kind {
                record::TramKind::Level => TramKind::Level,
                _ => TramKind::True,
            };
            let check: TramCheck =
                network::compare(body.value_mm, u, kind, end(a, build), end(b, build))?;
            let question = check.question(&a.name, &b.name);
            (check.sheet_mm, check.u_mm, question)
        }
        (None, _) => {
            let [.., rounding] = a.rounding_mm2();
            let [.., z] = a.position_mm;
            (z, (u * u + rounding + build * build).sqrt(), None)
        }
    };
    let printed = printed(sheet, body);
    let mut limit = None;
    if let Some(distance) = printed {
        sheet_mm = distance.value_mm;
        u_mm = (u * u + distance.step_mm * distance.step_mm / 12.0 + build * build).sqrt();
        limit = distance.limit.as_ref();
    } else if body.b.is_none() {
        limit = a.limit(Axis::Height);
    }
    let deviation_mm = body.value_mm - sheet_mm;
    let u_mm = body.u_mm.map(|_| u_mm);
    let judged = verdict::judge(deviation_mm, u_mm, limit.map(|l| l.mm), Belief::Normal);
    Some(TramReport {
        reading: entry.id.clone(),
        words: body.words(),
        kind: body.kind,
        a: body.a.clone(),
        b: body.b.clone(),
        value_mm: body.value_mm,
        sheet_mm,
        printed: printed.is_some(),
        deviation_mm,
        u_mm,
        limit_mm: limit.map(|l| l.mm),
        limit_source: limit.map(|l| l.source.clone()),
        p_inside: judged.p_inside,
        verdict: judged.verdict,
        question,
    })
}

/// The figure that the sheet prints for just this distance.
fn printed<'s>(sheet: &'s Sheet, body: &record::Tram) -> Option<&'s datumtrail_sheet::Distance> {
    let kind = match body.kind {
        record::TramKind::True => DistanceKind::True,
        record::TramKind::Level => DistanceKind::Level,
        record::TramKind::Height => DistanceKind::Height,
    };
    sheet.distances().iter().find(|d| {
        let (a, b) = (&d.a.point, d.b.as_ref().map(|b| &b.point));
        let there = *a == body.a && b == body.b.as_ref();
        let back = b == Some(&body.a) && body.b.as_ref() == Some(a);
        d.kind == kind && (there || back)
    })
}
