//! A vehicle that a maker printed, and an instrument that stands somewhere beside it.
//!
//! Source of the sheet: Renault, workshop repair manual for the Mégane Scénic (from 1995), section
//! 40, "Sub-frame dimensions"; see `core/sheet/tests/published/`.

/// The printed sheet.
pub const SHEET: &str = concat!(
    env!("CARGO_MANIFEST_DIR"),
    "/../core/sheet/tests/published/megane-scenic-1995-underbody.csv"
);

/// The printed points.
pub fn printed() -> Vec<(String, [f64; 3])> {
    let text = std::fs::read_to_string(SHEET).expect("the published sheet");
    text.lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |i: usize| cells[i].parse().expect("a number");
            (cells[0].to_owned(), [number(3), number(4), number(5)])
        })
        .collect()
}

/// An instrument that stands somewhere else and leans: two turns and a shift.
pub fn seen_by_the_instrument([x, y, z]: [f64; 3]) -> [f64; 3] {
    let (s, c) = 0.7_f64.sin_cos();
    let (x, y) = (c * x - s * y, s * x + c * y);
    let (s, c) = (-0.3_f64).sin_cos();
    let (y, z) = (c * y - s * z, s * y + c * z);
    [x + 1234.5, y - 876.25, z + 431.0]
}

/// Readings as a file: what `moved` says about a point, seen by the instrument.
pub fn csv(readings: impl IntoIterator<Item = (String, [f64; 3])>) -> String {
    let mut csv = "point,x,y,z\n".to_owned();
    for (name, [x, y, z]) in readings {
        csv += &format!("{name},{x:?},{y:?},{z:?}\n");
    }
    csv
}

/// Every printed point as the instrument sees it, moved by what `moved` says.
pub fn readings(moved: impl Fn(&str) -> [f64; 3]) -> Vec<(String, [f64; 3])> {
    printed()
        .into_iter()
        .map(|(name, at)| {
            let by = moved(&name);
            let seen = seen_by_the_instrument([at[0] + by[0], at[1] + by[1], at[2] + by[2]]);
            (name, seen)
        })
        .collect()
}

/// A shop with a job on that sheet and a limit of 3 mm.
pub fn shop() -> crate::Shop {
    let shop = crate::Shop::with_job();
    shop.ok(&[
        "sheet",
        "load",
        SHEET,
        "--source",
        "see the tests",
        "--limit",
        "3",
        "--limit-source",
        "the shop's own",
    ]);
    shop
}
