//! A survey through the geometry: from readings and sheet to set-up, deviations, verdicts and the
//! rule of a hold point. Computed each time it is asked; nothing of it is stored.

use datumtrail_geometry::check::{self, Check, Options, PlacedPoint, Request, SetUpResult, Target};
use datumtrail_geometry::frame::{Axis, Mat3, Side};
use datumtrail_geometry::join::Joint;
use datumtrail_geometry::repeat::Repeat;
use datumtrail_geometry::rule::{self, Answer, Rule};
use datumtrail_geometry::verdict::Verdict;
use datumtrail_sheet::{Axes, LoadOptions, Sheet, Units};
use serde::Serialize;

use super::gather::{self, AtTwenty, Gathered};
use super::record::{self, RecordId};
use super::view::{Entry, JobView};
use crate::error::{Error, Result};

/// A survey with all that follows from it.
#[derive(Clone, Debug)]
pub struct Measured {
    pub survey: RecordId,
    pub stage: String,
    pub check: Check,
    /// What went into it.
    pub gathered: Gathered,
    pub sheet: Sheet,
}

/// The interface of `check --json`: what a survey says.
#[derive(Clone, Debug, Serialize)]
pub struct CheckReport<'a> {
    pub survey: &'a RecordId,
    pub stage: &'a str,
    pub setup: &'a SetUpResult,
    pub points: Vec<PointReport<'a>>,
    pub not_on_sheet: &'a [PlacedPoint],
    /// Points that were read more than once, and how the repeats agree.
    #[serde(skip_serializing_if = "<[Repeat]>::is_empty")]
    pub repeats: &'a [Repeat],
    /// How further set-ups were joined.
    #[serde(skip_serializing_if = "<[Joint]>::is_empty")]
    pub joints: &'a [Joint],
    #[serde(skip_serializing_if = "<[AtTwenty]>::is_empty")]
    pub corrected_to_20: &'a [AtTwenty],
}

/// One control point of the sheet.
#[derive(Clone, Debug, Serialize)]
pub struct PointReport<'a> {
    pub point: &'a str,
    pub side: Side,
    pub what: &'a str,
    pub is_reference: bool,
    pub reading_mm: Option<[f64; 3]>,
    pub spec_mm: [f64; 3],
    pub length: AxisReport<'a>,
    pub width: AxisReport<'a>,
    pub height: AxisReport<'a>,
    pub distance_mm: Option<f64>,
}

/// One axis of one point.
#[derive(Clone, Debug, Serialize)]
pub struct AxisReport<'a> {
    pub deviation_mm: Option<f64>,
    pub u_mm: Option<f64>,
    pub limit_mm: Option<f64>,
    pub limit_source: Option<&'a str>,
    pub p_inside: Option<f64>,
    pub verdict: Verdict,
}

impl AxisReport<'_> {
    /// Whether there is anything to show.
    pub fn measured(&self) -> bool {
        self.deviation_mm.is_some()
    }
}

impl PointReport<'_> {
    /// The three axes in order.
    pub fn axes(&self) -> [(Axis, &AxisReport<'_>); 3] {
        [
            (Axis::Length, &self.length),
            (Axis::Width, &self.width),
            (Axis::Height, &self.height),
        ]
    }
}

/// The sheet that counts.
///
/// # Errors
/// [`Error::Invalid`] if the job has none.
pub fn sheet_of(view: &JobView) -> Result<Sheet> {
    let entry = view.sheet().ok_or_else(|| {
        Error::invalid(
            "the job has no dimension sheet yet",
            "load the maker's dimensions: datumtrail sheet load FILE.csv --source TEXT",
        )
    })?;
    let newest = read_sheet(&entry.body)?;
    let earlier = |id: &RecordId| view.sheets.iter().find(|s| s.id == *id && s.stands());
    let (mut points, mut distances) = (newest.points().to_vec(), newest.distances().to_vec());
    let mut sources = vec![newest.source().to_owned()];
    let mut seen = vec![&entry.id];
    let mut adds_to = entry.body.adds_to.as_ref().and_then(earlier);
    while let Some(more) = adds_to.filter(|more| !seen.contains(&&more.id)) {
        let sheet = read_sheet(&more.body)?;
        points.splice(0..0, sheet.points().iter().cloned());
        distances.splice(0..0, sheet.distances().iter().cloned());
        sources.insert(0, sheet.source().to_owned());
        seen.push(&more.id);
        adds_to = more.body.adds_to.as_ref().and_then(earlier);
    }
    if let [_] = sources.as_slice() {
        return Ok(newest);
    }
    sources.dedup();
    let source = sources.join("; ");
    Sheet::new(&source, newest.declared(), points, distances).map_err(|e| {
        Error::invalid(
            format!("the sheets don't go together: {e}"),
            "withdraw the one that repeats what another has",
        )
    })
}

/// Reads a stored sheet again.
pub(crate) fn read_sheet(stored: &record::Sheet) -> Result<Sheet> {
    let table = |source| Error::Table {
        file: stored.file.clone().into(),
        source,
    };
    let options = LoadOptions {
        source: stored.source.clone(),
        units: Units::parse(&stored.units).map_err(table)?,
        axes: match &stored.axes {
            Some(axes) => Axes::parse(axes).map_err(table)?,
            None => Axes::default(),
        },
        limit_mm: stored.limit_mm,
        limit_source: stored.limit_source.clone(),
        step_mm: None,
    };
    let loaded = datumtrail_sheet::load::load(stored.text.as_bytes(), &options).map_err(table)?;
    Ok(loaded.value)
}

/// Computes a survey with all set-ups that join it.
///
/// # Errors
/// [`Error::Measurement`] where the readings don't determine a set-up, with the reason.
pub fn measure(view: &JobView, survey: &Entry<record::Survey>) -> Result<Measured> {
    measure_with(view, survey, Options::default())
}

/// The same with a person's explicit choices.
///
/// # Errors
/// As [`measure`].
pub fn measure_with(
    view: &JobView,
    survey: &Entry<record::Survey>,
    options: Options,
) -> Result<Measured> {
    let sheet = sheet_of(view)?;
    let gathered = gather::gather(view, survey)?;
    let targets = targets(&sheet);
    let request = Request {
        build_spread_mm: survey.body.build_spread_mm,
        common: gathered.common.as_ref(),
        options,
        ..Request::new(&gathered.readings, &targets, &survey.body.refs)
    };
    let check = check::check(&request).map_err(|e| {
        Error::Measurement(
            format!(
                "the survey {} of {}: {e}",
                survey.id.short(),
                survey.body.stage
            ),
            "measure more reference points, or name others with --refs".into(),
        )
    })?;
    Ok(Measured {
        survey: survey.id.clone(),
        stage: survey.body.stage.clone(),
        check,
        gathered,
        sheet,
    })
}

/// The sheet's points as the geometry takes them.
pub(crate) fn targets(sheet: &Sheet) -> Vec<Target> {
    sheet.points().iter().map(target).collect()
}

fn target(point: &datumtrail_sheet::ControlPoint) -> Target {
    let mut target = Target::new(point.name.clone(), point.side, point.position_mm, 0.0);
    let [x, y, z] = point.rounding_mm2();
    target.print_covariance_mm2 = Mat3::from_diagonal(&[x, y, z].into());
    target.limits_mm = [0, 1, 2].map(|axis| point.limits[axis].as_ref().map(|l| l.mm));
    target
}

impl Measured {
    /// The survey as `check --json` shows it.
    pub fn report(&self) -> CheckReport<'_> {
        CheckReport {
            survey: &self.survey,
            stage: &self.stage,
            setup: &self.check.setup,
            points: self
                .check
                .points
                .iter()
                .filter_map(|result| {
                    let on_sheet = self.sheet.point(&result.point)?;
                    let axis = |axis: Axis| {
                        let seen = result.axis(axis);
                        AxisReport {
                            deviation_mm: seen.deviation_mm,
                            u_mm: seen.u_mm,
                            limit_mm: seen.limit_mm,
                            limit_source: on_sheet.limit(axis).map(|l| l.source.as_str()),
                            p_inside: seen.p_inside,
                            verdict: seen.verdict,
                        }
                    };
                    Some(PointReport {
                        point: &result.point,
                        side: result.side,
                        what: &on_sheet.what,
                        is_reference: result.is_reference,
                        reading_mm: result.reading_mm,
                        spec_mm: result.spec_mm,
                        length: axis(Axis::Length),
                        width: axis(Axis::Width),
                        height: axis(Axis::Height),
                        distance_mm: result.distance_mm,
                    })
                })
                .collect(),
            not_on_sheet: &self.check.not_on_sheet,
            repeats: &self.gathered.repeats,
            joints: &self.gathered.joints,
            corrected_to_20: &self.gathered.corrected_to_20,
        }
    }

    /// Whether these points meet a rule.
    pub fn meets(&self, rule: Rule, points: &[String]) -> Answer {
        rule::meets(rule, &self.check, points)
    }

    /// The names of the points that were measured and are on the sheet.
    pub fn measured_points(&self) -> Vec<String> {
        self.check
            .points
            .iter()
            .filter(|p| p.reading_mm.is_some())
            .map(|p| p.point.clone())
            .collect()
    }
}
