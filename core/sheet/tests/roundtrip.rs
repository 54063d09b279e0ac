//! Whatever a sheet holds comes back from its canonical form, and no bytes make the reader panic.

use datumtrail_geometry::frame::Side;
use datumtrail_sheet::{
    ControlPoint, Declared, Distance, DistanceKind, End, Limit, LoadOptions, Sheet, Units, load,
    readings, render,
};
use proptest::option;
use proptest::prelude::*;

fn options() -> LoadOptions {
    LoadOptions {
        source: "made by a test".to_owned(),
        ..LoadOptions::default()
    }
}

/// Names with what breaks careless tables: quotes, separators, strokes, letters of many scripts.
fn name() -> impl Strategy<Value = String> {
    "[A-Za-z0-9'\";#=._é中-]{1,6}( [A-Za-z0-9'\"]{1,4})?"
}

fn text() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        "[A-Za-z0-9,;'\"#=+.ü-]{1,12}( [A-Za-z,\"]{1,9}){0,3}"
    ]
}

fn side() -> impl Strategy<Value = Side> {
    prop_oneof![Just(Side::Left), Just(Side::Right), Just(Side::Centre)]
}

fn limit() -> impl Strategy<Value = Limit> {
    (1e-6..100.0, "[A-Za-z,\"]{1,9}").prop_map(|(mm, source)| Limit { mm, source })
}

/// Printed numbers, and such as no one prints.
fn coordinate() -> impl Strategy<Value = f64> {
    prop_oneof![
        (-1_000_000..=1_000_000_i32).prop_map(|tenths| f64::from(tenths) / 10.0),
        -100_000.0..100_000.0,
        Just(0.0),
        Just(-0.0),
        Just(5e-324),
    ]
}

fn step() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), Just(0.1), Just(1.0), Just(0.254), 0.0..100.0]
}

prop_compose! {
    fn point()(
        name in name(),
        side in side(),
        what in text(),
        position_mm in [coordinate(), coordinate(), coordinate()],
        step_mm in [step(), step(), step()],
        limits in [option::of(limit()), option::of(limit()), option::of(limit())],
        member in option::of(name()),
        zone in option::of(name()),
    ) -> ControlPoint {
        ControlPoint { name, side, what, position_mm, step_mm, limits, member, zone }
    }
}

prop_compose! {
    fn distance()(
        kind in proptest::sample::select(DistanceKind::ALL.to_vec()),
        points in (name(), name()),
        sides in (option::of(side()), option::of(side())),
        value_mm in 1e-3..9_000.0,
        step_mm in step(),
        limit in option::of(limit()),
    ) -> Distance {
        let a = End { point: points.0, side: sides.0 };
        let b = End { point: points.1, side: sides.1 };
        let b = (kind != DistanceKind::Height).then_some(b);
        Distance { kind, a, b, value_mm, step_mm, limit }
    }
}

/// A sheet of those points and distances that can stand beside the ones before them; none where
/// that leaves nothing.
fn sheet_of(points: Vec<ControlPoint>, distances: Vec<Distance>) -> Option<Sheet> {
    let sheet = |points: &[ControlPoint], distances: &[Distance]| {
        let declared = Declared::default();
        Sheet::new(
            "made by a test",
            declared,
            points.to_vec(),
            distances.to_vec(),
        )
        .ok()
    };
    let mut kept_points = Vec::new();
    for point in points {
        kept_points.push(point);
        if sheet(&kept_points, &[]).is_none() {
            kept_points.pop();
        }
    }
    let mut kept_distances = Vec::new();
    for distance in distances {
        kept_distances.push(distance);
        if sheet(&[], &kept_distances).is_none() {
            kept_distances.pop();
        }
    }
    sheet(&kept_points, &kept_distances)
}

fn canonical(sheet: &Sheet) -> String {
    match sheet.points() {
        [] => render::distances(sheet.distances()),
        points => render::points(points),
    }
}

/// Loads the canonical form, and compares so that -0 differs from 0.
fn comes_back(sheet: &Sheet) -> Result<(), TestCaseError> {
    let table = canonical(sheet);
    let again = load::load(table.as_bytes(), &options())
        .map_err(|error| TestCaseError::fail(format!("{error}\n{table}")))?;
    prop_assert_eq!(format!("{:?}", again.value), format!("{sheet:?}"));
    Ok(())
}

proptest! {
    #[test]
    fn points_come_back_bit_for_bit(points in prop::collection::vec(point(), 1..12)) {
        let sheet = sheet_of(points, vec![]).unwrap();
        comes_back(&sheet)?;
    }

    #[test]
    fn distances_come_back_bit_for_bit(distances in prop::collection::vec(distance(), 1..12)) {
        if let Some(sheet) = sheet_of(vec![], distances) {
            comes_back(&sheet)?;
        }
    }

    #[test]
    fn a_sheet_comes_back_from_json(
        points in prop::collection::vec(point(), 1..6),
        distances in prop::collection::vec(distance(), 0..3),
    ) {
        let sheet = sheet_of(points, distances).unwrap();
        let json = serde_json::to_string(&sheet).unwrap();
        prop_assert_eq!(serde_json::from_str::<Sheet>(&json).unwrap(), sheet);
    }

    /// The inch is exactly 25.4 mm: a number of ten-thousandths of an inch is a whole number of
    /// 254 hundred-thousandths of a millimetre.
    #[test]
    fn inches_are_exact(ten_thousandths in -9_999_999_i64..9_999_999) {
        let sign = if ten_thousandths < 0 { "-" } else { "" };
        let size = ten_thousandths.unsigned_abs();
        let printed = format!("{sign}{}.{:04}", size / 10_000, size % 10_000);
        let file = format!("point,x,y,z\nA,{printed},0,0\n");
        let inches = readings::load(file.as_bytes(), Units::In, None);
        let expected = (ten_thousandths * 254) as f64 / 100_000.0;
        if expected.abs() <= 100_000.0 {
            prop_assert_eq!(inches.unwrap().value[0].position_mm[0], expected);
        }
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        reads_or_refuses(&bytes)?;
    }

    /// Pieces of real tables in any order reach deeper than random bytes.
    #[test]
    fn no_pieces_of_tables_make_it_panic(
        header in proptest::sample::select(vec![
            "point,side,what,x,y,z\n",
            "\u{feff}point;x;y;z;limit;limit_source;u;time\r\n",
            "kind,a,a_side,b,b_side,value\n",
            "kind\ta\tb\tvalue\r",
            "",
        ]),
        pieces in prop::collection::vec(proptest::sample::select(vec![
            "A", "A'", "left", "r", "203", "-402.5", "402,5", "1e9", "1E+03", "NaN", "\"", "\"\"",
            ",", ",", ",", ";", ";", "\t", "\n", "\n", "\r\n", "\r", " ", "height", "width",
            "true", "2026-03-02T14:05:00Z", "\u{0}", "\u{202e}", "é", "99999999999999999999999999",
        ]), 0..60),
    ) {
        reads_or_refuses(format!("{header}{}", pieces.concat()).as_bytes())?;
    }
}

/// A file is read or refused with a message; what was read survives its canonical form.
fn reads_or_refuses(bytes: &[u8]) -> Result<(), TestCaseError> {
    if let Err(error) = readings::load(bytes, Units::In, None) {
        prop_assert!(!error.to_string().is_empty());
    }
    match load::load(bytes, &options()) {
        Err(error) => prop_assert!(error.to_string().lines().count() == 1, "{}", error),
        Ok(loaded) => {
            let sheet = loaded.value;
            let again = load::load(canonical(&sheet).as_bytes(), &options());
            prop_assert_eq!(again.unwrap().value, sheet);
        }
    }
    Ok(())
}
