//! A sheet back as a table, for an archive to carry.
//!
//! The canonical form: millimetres, our axes, commas, decimal points, `\n`; numbers with the digits
//! that identify them and no more; the print steps in columns of their own, for after a change of
//! units the digits no longer show them. Loaded again with the same source it gives the same points
//! and distances, bit for bit. The source is not in the table: whoever writes the file states it.

use datumtrail_geometry::frame::Axis;

use crate::distance::Distance;
use crate::limit::Limit;
use crate::point::ControlPoint;

/// The control points as a table, in their order.
///
/// ```
/// use datumtrail_sheet::{LoadOptions, load, render};
///
/// let options = LoadOptions {
///     source: "typed for this example".to_owned(),
///     limit_mm: Some(3.0),
///     limit_source: Some("the shop's own".to_owned()),
///     ..LoadOptions::default()
/// };
/// let file = "Point; X; Y; Z\nA; 203; -402,5; 71\n".as_bytes();
/// let sheet = load::load(file, &options)?.value;
/// assert_eq!(
///     render::points(sheet.points()),
///     "point,side,what,x,y,z,step_x,step_y,step_z,limit_x,limit_y,limit_z,limit_source\n\
///      A,left,,203,-402.5,71,1,0.1,1,3,3,3,the shop's own\n"
/// );
/// # Ok::<(), datumtrail_sheet::SheetError>(())
/// ```
pub fn points(points: &[ControlPoint]) -> String {
    let limits = points.iter().any(|p| p.limits.iter().any(Option::is_some));
    let one_source = points.iter().all(has_one_source);
    let members = points.iter().any(|p| p.member.is_some());
    let zones = points.iter().any(|p| p.zone.is_some());

    let mut header = vec![
        "point", "side", "what", "x", "y", "z", "step_x", "step_y", "step_z",
    ];
    if limits {
        header.extend(["limit_x", "limit_y", "limit_z"]);
        if one_source {
            header.push("limit_source");
        } else {
            header.extend(["limit_x_source", "limit_y_source", "limit_z_source"]);
        }
    }
    header.extend(members.then_some("member"));
    header.extend(zones.then_some("zone"));

    let mut table = Lines::new(&header);
    for point in points {
        let mut row = vec![
            point.name.clone(),
            point.side.word().to_owned(),
            point.what.clone(),
        ];
        row.extend(point.position_mm.map(number));
        row.extend(point.step_mm.map(number));
        if limits {
            let of_axes = Axis::ALL.map(|axis| point.limit(axis));
            row.extend(of_axes.map(limit_mm));
            if one_source {
                row.push(limit_source(of_axes.into_iter().flatten().next()));
            } else {
                row.extend(of_axes.map(limit_source));
            }
        }
        row.extend(members.then(|| point.member.clone().unwrap_or_default()));
        row.extend(zones.then(|| point.zone.clone().unwrap_or_default()));
        table.push(&row);
    }
    table.text
}

/// The distances as a table, in their order.
pub fn distances(distances: &[Distance]) -> String {
    let limits = distances.iter().any(|d| d.limit.is_some());
    let mut header = vec!["kind", "a", "a_side", "b", "b_side", "value", "step"];
    if limits {
        header.extend(["limit", "limit_source"]);
    }
    let mut table = Lines::new(&header);
    for distance in distances {
        let mut row = vec![distance.kind.word().to_owned()];
        for end in [Some(&distance.a), distance.b.as_ref()] {
            row.push(end.map(|end| end.point.clone()).unwrap_or_default());
            let side = end.and_then(|end| end.side).map(|side| side.word());
            row.push(side.unwrap_or_default().to_owned());
        }
        row.extend([distance.value_mm, distance.step_mm].map(number));
        if limits {
            let limit = distance.limit.as_ref();
            row.extend([limit_mm(limit), limit_source(limit)]);
        }
        table.push(&row);
    }
    table.text
}

fn has_one_source(point: &ControlPoint) -> bool {
    let mut sources = point.limits.iter().flatten().map(|limit| &limit.source);
    let first = sources.next();
    sources.all(|source| Some(source) == first)
}

/// The shortest digits that read back as the same number; never an exponent, and no negative zero.
fn number(mm: f64) -> String {
    (mm + 0.0).to_string()
}

fn limit_mm(limit: Option<&Limit>) -> String {
    limit.map(|limit| number(limit.mm)).unwrap_or_default()
}

fn limit_source(limit: Option<&Limit>) -> String {
    limit.map(|limit| limit.source.clone()).unwrap_or_default()
}

/// Lines of comma-separated fields, quoted where they need it (RFC 4180).
struct Lines {
    text: String,
}

impl Lines {
    fn new(header: &[&str]) -> Lines {
        let mut lines = Lines {
            text: String::new(),
        };
        lines.push(header);
        lines
    }

    fn push(&mut self, fields: &[impl AsRef<str>]) {
        for (at, field) in fields.iter().enumerate() {
            if at > 0 {
                self.text.push(',');
            }
            let field = field.as_ref();
            if field.contains([',', '"', '\n', '\r']) {
                self.text.push('"');
                self.text.push_str(&field.replace('"', "\"\""));
                self.text.push('"');
            } else {
                self.text.push_str(field);
            }
        }
        self.text.push('\n');
    }
}
