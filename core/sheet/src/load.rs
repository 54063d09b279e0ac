//! From a file to a sheet, all of it or nothing.
//!
//! Two kinds of table are read, told apart by their header:
//!
//! | table | needed | may also have |
//! |---|---|---|
//! | control points | `point` `x` `y` `z` | `side` `what` `limit` `limit_x` `limit_y` `limit_z` `limit_source` `limit_x_source` `limit_y_source` `limit_z_source` `member` `zone` `step_x` `step_y` `step_z` |
//! | distances | `kind` `a` `value` | `a_side` `b` `b_side` `limit` `limit_source` `step` |
//!
//! **Side.** `left`, `right`, `centre` (or `center`, or the first letter). A blank one is taken
//! from the width: right of the zero plane, left of it, and centre only where the width is printed
//! as zero.
//!
//! **Limits.** Along each axis the most particular statement counts: the axis's own column, then
//! `limit`, then the sheet-wide limit of the options. Sources go with them: `limit_y_source`, then
//! `limit_source`, then [`LoadOptions::limit_source`] if that is not already the source of a
//! sheet-wide limit. A limit for which none of these is given is refused. Columns count in the
//! file's units; the sheet-wide limit is in millimetres.
//!
//! **Print step.** How a coordinate was rounded shows in its digits, but not in its own alone:
//! makers drop trailing zeros, so a column with `203` and `402.5` was printed to 0.1 mm throughout,
//! and a whole `203` in it is 203.0. So the finest step of a column counts for all of it, unless
//! the file says it in `step_x`, `step_y`, `step_z` or the person in [`LoadOptions::step_mm`]. One
//! number with more digits than the rest makes the whole column look finer than it is: 0.01 mm
//! instead of 0.1 mm takes 0.03 mm from a standard uncertainty that instruments measure in tenths.
//! Where a maker rounds to halves, only a person can say so.

use std::collections::HashMap;

use datumtrail_geometry::frame::Side;

use crate::axes::Axes;
use crate::decimal::Decimal;
use crate::distance::{Distance, DistanceKind, End};
use crate::error::SheetError;
use crate::header::{Field, Schema};
use crate::limit::{self, Limit};
use crate::names::parse_side;
use crate::point::{ControlPoint, checked_coordinate, checked_step};
use crate::problem::{Collector, Fault, Problem};
use crate::sheet::{Declared, Sheet};
use crate::table::{Row, Table};
use crate::units::Units;
use crate::warning::{Warning, examine};

static POINTS: [Field; 19] = [
    Field::text("point"),
    Field::text("side").optional(),
    Field::text("what").optional(),
    Field::number("x"),
    Field::number("y"),
    Field::number("z"),
    Field::number("limit").optional(),
    Field::number("limit_x").optional(),
    Field::number("limit_y").optional(),
    Field::number("limit_z").optional(),
    Field::text("limit_source").optional(),
    Field::text("limit_x_source").optional(),
    Field::text("limit_y_source").optional(),
    Field::text("limit_z_source").optional(),
    Field::text("member").optional(),
    Field::text("zone").optional(),
    Field::number("step_x").optional(),
    Field::number("step_y").optional(),
    Field::number("step_z").optional(),
];

static DISTANCES: [Field; 9] = [
    Field::text("kind"),
    Field::text("a"),
    Field::text("a_side").optional(),
    Field::text("b").optional(),
    Field::text("b_side").optional(),
    Field::number("value"),
    Field::number("step").optional(),
    Field::number("limit").optional(),
    Field::text("limit_source").optional(),
];

const POSITION: [&str; 3] = ["x", "y", "z"];
const LIMIT: [&str; 3] = ["limit_x", "limit_y", "limit_z"];
const STEP: [&str; 3] = ["step_x", "step_y", "step_z"];

/// What a person says about a sheet that its file does not.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LoadOptions {
    /// Where the numbers were printed. Needed.
    pub source: String,
    /// What the file counts in.
    pub units: Units,
    /// Where its x, y and z grow.
    pub axes: Axes,
    /// A limit for every axis of every point, and for every distance, that the file gives none
    /// for, in millimetres.
    pub limit_mm: Option<f64>,
    /// Whose that limit is; needed with one. Without one, the source of the limits in the file
    /// that name none.
    pub limit_source: Option<String>,
    /// How finely the whole sheet is printed, in millimetres, where its digits don't show it.
    pub step_mm: Option<f64>,
}

/// What was loaded, and what a person should look at. Nothing in the warnings stopped the loading.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded<T> {
    pub value: T,
    pub warnings: Vec<Warning>,
}

/// Reads a table that has one value a row, all of it or nothing.
///
/// # Errors
/// [`SheetError::Faulty`] with everything that is wrong in the file, or why it is no table.
pub(crate) fn read_rows<T>(
    bytes: &[u8],
    schema: &'static Schema,
    mut read: impl FnMut(&Row<'_>, &mut Collector) -> Option<T>,
) -> Result<Loaded<Vec<T>>, SheetError> {
    let mut problems = Collector::default();
    let table = Table::read(bytes, &[schema], &mut problems)?;
    let value = table
        .rows()
        .filter_map(|row| read(&row, &mut problems))
        .collect();
    match problems.finish() {
        Some(faulty) => Err(SheetError::Faulty(faulty)),
        None => Ok(Loaded {
            value,
            warnings: Warning::unknown_columns(&table),
        }),
    }
}

/// The name of a point, which a sheet has where one is given.
pub(crate) fn on_sheet(
    row: &Row<'_>,
    column: &str,
    name: String,
    sheet: Option<&Sheet>,
) -> Result<String, Problem> {
    match sheet {
        Some(sheet) if sheet.point(&name).is_none() => {
            Err(row.problem(column, sheet.unknown(&name)))
        }
        _ => Ok(name),
    }
}

/// Reads a sheet of control points or of distances from the bytes of a file.
///
/// # Errors
/// [`SheetError::Faulty`] with everything that is wrong in the file, by line and column; or why it
/// is no table at all; or what is wrong in the options. Nothing is half loaded.
pub fn load(bytes: &[u8], options: &LoadOptions) -> Result<Loaded<Sheet>, SheetError> {
    let defaults = Defaults::new(options)?;
    let mut problems = Collector::default();
    let table = Table::read(bytes, &[&POINTS, &DISTANCES], &mut problems)?;
    let (points, distances) = match table.kind() {
        0 => (read_points(&table, &defaults, &mut problems), Vec::new()),
        _ => (Vec::new(), read_distances(&table, &defaults, &mut problems)),
    };
    if let Some(faulty) = problems.finish() {
        return Err(SheetError::Faulty(faulty));
    }
    let declared = Declared {
        units: options.units,
        axes: options.axes,
    };
    let sheet = Sheet::new(&options.source, declared, points, distances)?;

    let mut warnings = Warning::unknown_columns(&table);
    if options.limit_source.is_some() && options.limit_mm.is_none() && !has_limits(&sheet) {
        warnings.push(Warning::NoLimit);
    }
    warnings.extend(examine(&sheet));
    Ok(Loaded {
        value: sheet,
        warnings,
    })
}

fn has_limits(sheet: &Sheet) -> bool {
    let of_points = sheet.points().iter().flat_map(|p| &p.limits);
    let of_distances = sheet.distances().iter().map(|d| &d.limit);
    of_points.chain(of_distances).any(Option::is_some)
}

/// The options, checked.
struct Defaults {
    units: Units,
    axes: Axes,
    /// For what the file gives no limit for.
    limit: Option<Limit>,
    /// For limits of the file that name no source.
    limit_source: Option<String>,
    step_mm: Option<f64>,
}

impl Defaults {
    fn new(options: &LoadOptions) -> Result<Defaults, SheetError> {
        if options.source.trim().is_empty() {
            return Err(SheetError::NoSource);
        }
        let source = options.limit_source.as_deref().unwrap_or_default();
        let limit = options
            .limit_mm
            .map(|mm| Limit::new(mm, source))
            .transpose()?;
        let step_mm = options
            .step_mm
            .map(checked_step)
            .transpose()
            .map_err(|fault| SheetError::record("the print step", fault))?;
        Ok(Defaults {
            units: options.units,
            axes: options.axes,
            limit_source: match limit {
                Some(_) => None,
                None => options.limit_source.clone(),
            },
            limit,
            step_mm,
        })
    }

    /// The row's limit from one column, with its source from the column that goes with it, from
    /// that of the row, or from the options.
    fn row_limit(&self, row: &Row<'_>, column: &str) -> Result<Option<Limit>, Problem> {
        let Some(number) = row.number(column)? else {
            return Ok(None);
        };
        let source = row
            .text(&format!("{column}_source"))?
            .or(row.text("limit_source")?)
            .or_else(|| self.limit_source.clone())
            .unwrap_or_default();
        limit::checked(number.in_mm(self.units), &source)
            .map(Some)
            .map_err(|fault| row.problem(column, fault))
    }

    /// The row's stated step, or that of the whole sheet.
    fn stated_step(&self, row: &Row<'_>, column: &str) -> Result<Option<f64>, Problem> {
        match row.number(column)? {
            Some(number) => checked_step(number.in_mm(self.units))
                .map(Some)
                .map_err(|fault| row.problem(column, fault)),
            None => Ok(self.step_mm),
        }
    }
}

/// Reads one value for each of three columns; `None` when any of them had a problem.
fn three<T>(
    columns: [&str; 3],
    problems: &mut Collector,
    read: impl Fn(&str) -> Result<T, Problem>,
) -> Option<[T; 3]> {
    let [x, y, z] = columns.map(|column| problems.note(read(column)));
    Some([x?, y?, z?])
}

/// A point whose step is not yet known, for that takes the whole column.
struct Draft {
    point: ControlPoint,
    /// In the file's own order of axes.
    printed: [Decimal; 3],
    stated_step: [Option<f64>; 3],
}

fn read_points(table: &Table, defaults: &Defaults, problems: &mut Collector) -> Vec<ControlPoint> {
    let mut seen: HashMap<String, u64> = HashMap::new();
    let mut drafts = Vec::new();
    for row in table.rows() {
        let Some(draft) = read_point(&row, defaults, problems) else {
            continue;
        };
        let name = draft.point.name.clone();
        match seen.get(&name) {
            Some(&first) => {
                problems.push(row.problem("point", Fault::PointDoubled { name, first }));
            }
            None => {
                seen.insert(name, row.line());
                drafts.push(draft);
            }
        }
    }

    let mut finest = [f64::INFINITY; 3];
    for draft in &drafts {
        for (finest, printed) in finest.iter_mut().zip(draft.printed) {
            *finest = finest.min(printed.step_in_mm(defaults.units));
        }
    }
    drafts
        .into_iter()
        .map(|draft| {
            let mut steps = finest;
            for (step, stated) in steps.iter_mut().zip(draft.stated_step) {
                *step = stated.unwrap_or(*step);
            }
            ControlPoint {
                step_mm: defaults.axes.carry(steps),
                ..draft.point
            }
        })
        .collect()
}

/// Reads every cell of the row before giving up on it, so that all of its problems are reported.
fn read_point(row: &Row<'_>, defaults: &Defaults, problems: &mut Collector) -> Option<Draft> {
    let name = problems.note(row.needed("point", row.name("point")));
    let side = problems.note(row.cell("side", parse_side));
    let what = problems.note(row.text("what"));
    let printed = three(POSITION, problems, |column| {
        let number = row.needed(column, row.number(column))?;
        checked_coordinate(number.in_mm(defaults.units))
            .map(|_| number)
            .map_err(|fault| row.problem(column, fault))
    });
    let own_limits = read_limits(row, defaults, problems);
    let stated_step = three(STEP, problems, |column| defaults.stated_step(row, column));
    let member = problems.note(row.text("member"));
    let zone = problems.note(row.text("zone"));

    let printed = printed?;
    let own_position = printed.map(|number| number.in_mm(defaults.units));
    let position_mm = defaults.axes.place(own_position);
    let [_, width, _] = position_mm;
    let point = ControlPoint {
        name: name?,
        side: side?.unwrap_or_else(|| side_of(width)),
        what: what?.unwrap_or_default(),
        position_mm,
        step_mm: [0.0; 3],
        limits: defaults.axes.carry(own_limits?),
        member: member?,
        zone: zone?,
    };
    Some(Draft {
        point,
        printed,
        stated_step: stated_step?,
    })
}

fn side_of(width_mm: f64) -> Side {
    if width_mm > 0.0 {
        Side::Right
    } else if width_mm < 0.0 {
        Side::Left
    } else {
        Side::Centre
    }
}

/// The limits along the file's own axes.
fn read_limits(
    row: &Row<'_>,
    defaults: &Defaults,
    problems: &mut Collector,
) -> Option<[Option<Limit>; 3]> {
    let for_all = problems.note(defaults.row_limit(row, "limit"));
    let own = three(LIMIT, problems, |column| defaults.row_limit(row, column));
    let fallback = for_all?.or_else(|| defaults.limit.clone());
    Some(own?.map(|limit| limit.or_else(|| fallback.clone())))
}

fn read_distances(table: &Table, defaults: &Defaults, problems: &mut Collector) -> Vec<Distance> {
    let mut seen = HashMap::new();
    let mut finest = f64::INFINITY;
    let mut drafts = Vec::new();
    for row in table.rows() {
        let Some((distance, stated_step, printed)) = read_distance(&row, defaults, problems) else {
            continue;
        };
        finest = finest.min(printed.step_in_mm(defaults.units));
        match seen.get(&distance.key()) {
            Some(&first) => {
                problems.push(row.problem("kind", Fault::DistanceDoubled { first }));
            }
            None => {
                seen.insert(distance.key(), row.line());
                drafts.push((distance, stated_step));
            }
        }
    }
    drafts
        .into_iter()
        .map(|(distance, stated_step)| Distance {
            step_mm: stated_step.unwrap_or(finest),
            ..distance
        })
        .collect()
}

fn read_distance(
    row: &Row<'_>,
    defaults: &Defaults,
    problems: &mut Collector,
) -> Option<(Distance, Option<f64>, Decimal)> {
    let kind = problems.note(row.needed("kind", row.cell("kind", DistanceKind::parse)));
    let a = problems.note(row.needed("a", read_end(row, "a", "a_side")));
    let b = problems.note(read_end(row, "b", "b_side"));
    let printed = problems.note(row.needed("value", row.number("value")));
    let stated_step = problems.note(defaults.stated_step(row, "step"));
    let limit = problems.note(defaults.row_limit(row, "limit"));

    let (printed, stated_step) = (printed?, stated_step?);
    let distance = Distance {
        kind: kind?,
        a: a?,
        b: b?,
        value_mm: printed.in_mm(defaults.units),
        step_mm: 0.0,
        limit: limit?.or_else(|| defaults.limit.clone()),
    };
    let checked = distance
        .checked()
        .map_err(|(column, fault)| row.problem(column, fault));
    problems
        .note(checked)
        .map(|distance| (distance, stated_step, printed))
}

fn read_end(row: &Row<'_>, name: &str, side: &str) -> Result<Option<End>, Problem> {
    let point = row.name(name)?;
    let given = row.cell(side, parse_side)?;
    match (point, given) {
        (Some(point), side) => Ok(Some(End { point, side })),
        (None, None) => Ok(None),
        (None, Some(_)) => Err(row.problem(side, Fault::SideAlone)),
    }
}
