//! What a survey says about the damage: kinds, causes, and how far it went.

use datumtrail_geometry::damage::{
    self, DamageReading, Explanation, Finding, Kind, Layout, Measured as Points, Scope, Shape,
    SheetPoint, Zone, ZoneDamage,
};
use datumtrail_geometry::extent::{self, Direction, Extent, Movement};
use datumtrail_geometry::frame::{Side, Vec3};
use datumtrail_sheet::Sheet;
use serde::Serialize;

use super::measure::Measured;
use super::record::RecordId;
use super::view::JobView;
use crate::error::{Error, Result};

/// The probability of finding anything on an undamaged vehicle.
pub const ALPHA: f64 = 0.05;

/// The damage by one survey; the interface of `damage --json`.
#[derive(Clone, Debug, Serialize)]
pub struct Damage {
    pub survey: RecordId,
    pub stage: String,
    /// The reference points disagree and nothing explains it: then none of this can be trusted.
    pub doubtful: bool,
    pub build_spread_mm: Option<f64>,
    /// Zones and members were proposed from the geometry, and nobody has confirmed them.
    pub layout_proposed: bool,
    pub layout: Vec<PlaceReport>,
    pub zones: Vec<ZoneReport>,
    /// What a shop needs to know before it orders parts, where it is shown to be so: everything
    /// measured behind a point is inside.
    pub sentences: Vec<String>,
    pub extent: Vec<ExtentReport>,
}

/// Where a point belongs.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlaceReport {
    pub point: String,
    pub side: Side,
    pub zone: Zone,
    pub member: String,
    /// Proposed from the geometry: neither the sheet nor a person says so.
    pub proposed: bool,
}

/// One end of the vehicle, or its middle.
#[derive(Clone, Debug, Serialize)]
pub struct ZoneReport {
    pub zone: Zone,
    pub finding: &'static str,
    /// The measured points there, reference points aside.
    pub points: Vec<String>,
    pub cause: Option<CauseReport>,
    /// Causes that the readings can't tell from it.
    pub or_by: Vec<CauseReport>,
    /// Where no single cause explains the readings: the points that moved by themselves.
    pub moved: Vec<MovedReport>,
    /// The same in sentences.
    pub words: Vec<String>,
}

/// What explains the readings of a zone.
#[derive(Clone, Debug, Serialize)]
pub struct CauseReport {
    pub shape: Shape,
    pub scope: Scope,
    pub members: Vec<String>,
    /// Where it begins.
    pub from: Vec<String>,
    /// What it rests on.
    pub points: Vec<String>,
    pub kinds: Vec<KindReport>,
    pub words: String,
}

/// One kind of damage.
#[derive(Clone, Debug, Serialize)]
pub struct KindReport {
    pub kind: Kind,
    pub side: Option<Side>,
    /// Signed as [`Kind`] says.
    pub size_mm: f64,
    pub u_mm: f64,
    /// It stands out from its uncertainty.
    pub named: bool,
    pub words: String,
}

/// A point that moved by itself.
#[derive(Clone, Debug, Serialize)]
pub struct MovedReport {
    pub point: String,
    pub deviation_mm: [f64; 3],
    pub u_mm: [f64; 3],
}

/// One member in one direction, from the reference points outwards.
#[derive(Clone, Debug, Serialize)]
pub struct ExtentReport {
    pub member: String,
    pub direction: Direction,
    pub points: Vec<ChainReport>,
    pub not_measured: Vec<String>,
    /// It is shown that everything measured behind what moved stayed.
    pub behind_stayed: bool,
    /// And is inside its limits.
    pub behind_is_inside: bool,
    pub words: String,
}

/// One point of a member's chain.
#[derive(Clone, Debug, Serialize)]
pub struct ChainReport {
    pub point: String,
    /// `reference`, `stayed`, `moved` or `cannot_tell`.
    pub movement: &'static str,
    /// The largest move that the reading does not rule out, at 95 % an axis.
    pub hides_mm: Option<f64>,
}

/// Reads the damage from a survey.
///
/// # Errors
/// [`Error::Measurement`] where no uncertainty is stated, since then movement and error can't be
/// told apart.
pub fn read(view: &JobView, measured: &Measured) -> Result<Damage> {
    let (layout, places) = layout(view, &measured.sheet);
    let refused = |what: String, todo: &str| Error::Measurement(what, todo.into());
    let points = Points::of_check(&measured.check, &layout)
        .map_err(|e| refused(e.to_string(), "look at the readings of the survey"))?
        .ok_or_else(|| {
            refused(
                format!(
                    "the survey {} states no uncertainty, so movement can't be told from error",
                    measured.survey.short()
                ),
                "add the survey with the instrument's --mpe or --u",
            )
        })?;
    let zones = damage::read(&points, ALPHA)
        .map_err(|e| refused(e.to_string(), "look at the readings of the survey"))?;
    let extents = extent::read(&points, Some(&layout), extent::Options::default());
    let whole = extent::whole(&points, Some(&layout), extent::Options::default());
    let survey = view.surveys.iter().find(|s| s.id == measured.survey);
    Ok(Damage {
        sentences: whole.iter().filter_map(extent::words::sentence).collect(),
        survey: measured.survey.clone(),
        stage: measured.stage.clone(),
        doubtful: measured.check.setup.doubtful,
        build_spread_mm: survey.and_then(|s| s.body.build_spread_mm),
        layout_proposed: places.iter().any(|p| p.proposed),
        layout: places,
        zones: zones.iter().map(zone).collect(),
        extent: extents.iter().map(member).collect(),
    })
}

/// Where the sheet's points belong: what a person confirmed comes first, then the sheet's own
/// columns, then what the geometry proposes.
pub fn layout(view: &JobView, sheet: &Sheet) -> (Layout, Vec<PlaceReport>) {
    let confirmed = view.layout();
    let points: Vec<SheetPoint> = sheet
        .points()
        .iter()
        .map(|p| {
            let by_person = confirmed.get(&p.name);
            SheetPoint {
                name: p.name.clone(),
                side: p.side,
                spec: Vec3::from(p.position_mm),
                zone: by_person
                    .map(|place| place.zone)
                    .or_else(|| Zone::of_word(p.zone.as_deref()?)),
                member: by_person
                    .map(|place| place.member.clone())
                    .or_else(|| p.member.clone()),
            }
        })
        .collect();
    let layout = Layout::propose(&points);
    let places = sheet
        .points()
        .iter()
        .filter_map(|p| {
            let place = layout.place(&p.name)?;
            Some(PlaceReport {
                point: p.name.clone(),
                side: p.side,
                zone: place.zone,
                member: place.member.clone(),
                proposed: place.zone_proposed || place.member_proposed,
            })
        })
        .collect();
    (layout, places)
}

fn zone(answer: &ZoneDamage) -> ZoneReport {
    let cause = |by: &Explanation| cause(answer.zone, by);
    let mut report = ZoneReport {
        zone: answer.zone,
        finding: "",
        points: answer.points.clone(),
        cause: None,
        or_by: Vec::new(),
        moved: Vec::new(),
        words: damage::words::zone(answer),
    };
    match &answer.finding {
        Finding::NotMeasured => report.finding = "not_measured",
        Finding::NothingMoved => report.finding = "nothing_moved",
        Finding::Moved { by, or_by } => {
            report.finding = "moved";
            report.cause = Some(cause(by));
            report.or_by = or_by.iter().map(cause).collect();
        }
        Finding::Points(moved) => {
            report.finding = "points";
            let one = |p: &damage::MovedPoint| MovedReport {
                point: p.name.clone(),
                deviation_mm: p.deviation.into(),
                u_mm: p.u.into(),
            };
            report.moved = moved.iter().map(one).collect();
        }
    }
    report
}

fn cause(zone: Zone, by: &Explanation) -> CauseReport {
    let kind = |r: &DamageReading| KindReport {
        kind: r.kind,
        side: r.scope.side(),
        size_mm: r.size_mm,
        u_mm: r.u_mm,
        named: r.named(),
        words: damage::words::reading(zone, r),
    };
    CauseReport {
        shape: by.shape,
        scope: by.scope,
        members: by.members.clone(),
        from: by.from.clone(),
        points: by.points.clone(),
        kinds: by.readings.iter().map(kind).collect(),
        words: damage::words::cause(zone, by),
    }
}

fn member(extent: &Extent) -> ExtentReport {
    let point = |p: &extent::ChainPoint| {
        let (movement, hides_mm) = match p.movement {
            Movement::Reference => ("reference", None),
            Movement::Stayed { hides_mm } => ("stayed", Some(hides_mm)),
            Movement::Moved => ("moved", None),
            Movement::CannotTell { hides_mm, .. } => ("cannot_tell", Some(hides_mm)),
        };
        ChainReport {
            point: p.name.clone(),
            movement,
            hides_mm: hides_mm.filter(|mm| mm.is_finite()),
        }
    };
    ExtentReport {
        member: extent.member.clone(),
        direction: extent.direction,
        points: extent.chain.iter().map(point).collect(),
        not_measured: extent.not_measured.clone(),
        behind_stayed: extent.behind_stayed(),
        behind_is_inside: extent.behind_is_inside(),
        words: extent::words::conclusion(extent),
    }
}
