//! The three published tables load as they stand. Their sources are in `published/README.md`.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_sheet::{Distance, DistanceKind, LoadOptions, Loaded, Sheet, load, render};

const MEGANE: &[u8] = include_bytes!("published/megane-scenic-1995-underbody.csv");
const SAAB: &[u8] = include_bytes!("published/saab-9-2x-2005-centre.csv");
const TRIBECA: &[u8] = include_bytes!("published/tribeca-2008-centre.csv");

fn load_plain(bytes: &[u8]) -> Loaded<Sheet> {
    let options = LoadOptions {
        source: "see published/README.md".to_owned(),
        ..LoadOptions::default()
    };
    load::load(bytes, &options).unwrap()
}

#[test]
fn the_megane_sheet_has_its_23_points() {
    let loaded = load_plain(MEGANE);
    assert_eq!(loaded.warnings, []);
    let sheet = loaded.value;
    assert_eq!(sheet.points().len(), 23);
    assert_eq!(sheet.distances(), []);

    let b = sheet.point("B").unwrap();
    assert_eq!(b.side, Side::Left);
    assert_eq!(b.what, "rear axle front mounting");
    assert_eq!(b.position_mm, [1966.0, -634.12, 70.0]);
    assert_eq!(b.limit(Axis::Length), None);
}

/// Lengths and heights are printed to 0.1 mm, and the width of B alone to 0.01 mm.
#[test]
fn the_finest_digit_of_a_column_counts_for_all_of_it() {
    let sheet = load_plain(MEGANE).value;
    for point in sheet.points() {
        assert_eq!(point.step_mm, [0.1, 0.01, 0.1], "{}", point.name);
    }
    let [x, ..] = sheet.points()[0].rounding_mm2();
    assert!((x - 0.01 / 12.0).abs() < 1e-15);
}

#[test]
fn the_megane_points_pair_up_but_for_m() {
    let sheet = load_plain(MEGANE).value;
    let pairs: Vec<(&str, &str)> = sheet
        .pairs()
        .map(|(left, right)| (left.name.as_str(), right.name.as_str()))
        .collect();
    let expected = [
        ("A", "A'"),
        ("B", "B'"),
        ("B1", "B1'"),
        ("C", "C'"),
        ("D", "D'"),
        ("F", "F'"),
        ("F1", "F1'"),
        ("G", "G'"),
        ("H", "H'"),
        ("J", "J'"),
        ("L", "L'"),
    ];
    assert_eq!(pairs, expected);
    assert_eq!(sheet.partner("M"), None);
    assert_eq!(sheet.partner("J'").unwrap().name, "J");
}

fn count(distances: &[Distance], kind: DistanceKind) -> usize {
    distances.iter().filter(|d| d.kind == kind).count()
}

#[test]
fn the_saab_distances_load_with_their_sides() {
    let loaded = load_plain(SAAB);
    assert_eq!(loaded.warnings, []);
    let distances = loaded.value.distances().to_vec();
    assert_eq!(distances.len(), 50);
    assert_eq!(count(&distances, DistanceKind::Height), 12);
    assert_eq!(count(&distances, DistanceKind::Width), 14);
    assert_eq!(count(&distances, DistanceKind::SameSide), 12);
    assert_eq!(count(&distances, DistanceKind::Diagonal), 12);

    let last = distances.last().unwrap();
    assert_eq!(
        (last.a.point.as_str(), last.a.side),
        ("88", Some(Side::Left))
    );
    let b = last.b.as_ref().unwrap();
    assert_eq!((b.point.as_str(), b.side), ("89", Some(Side::Right)));
    assert_eq!((last.value_mm, last.step_mm), (1192.0, 1.0));
}

#[test]
fn the_tribeca_distances_load_without_columns_for_sides() {
    let loaded = load_plain(TRIBECA);
    assert_eq!(loaded.warnings, []);
    let distances = loaded.value.distances().to_vec();
    let lines = TRIBECA.split(|b| *b == b'\n').filter(|l| !l.is_empty());
    assert_eq!(distances.len(), lines.count() - 1);
    assert_eq!(count(&distances, DistanceKind::Height), 16);
    assert_eq!(count(&distances, DistanceKind::ProjectedLength), 21);

    // A height below the zero line, and a width of a point to its partner of the same name.
    let below = distances.iter().find(|d| d.a.point == "88").unwrap();
    assert_eq!((below.value_mm, &below.b), (-10.0, &None));
    let width = distances.iter().find(|d| d.kind == DistanceKind::Width);
    assert_eq!(width.unwrap().b.as_ref().unwrap().point, "75");
}

#[test]
fn the_published_tables_survive_their_canonical_form() {
    for bytes in [MEGANE, SAAB, TRIBECA] {
        let sheet = load_plain(bytes).value;
        let canonical = match sheet.points() {
            [] => render::distances(sheet.distances()),
            points => render::points(points),
        };
        assert_eq!(load_plain(canonical.as_bytes()).value, sheet);
    }
}
