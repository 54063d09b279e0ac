//! A table held against what is computed again.

use crate::archive::words;

/// Two results of the same computation may differ by this much, in millimetres or in probability:
/// far below anything that matters, and far above what two computers' last digits do.
pub const TOLERANCE: f64 = 1e-6;

/// Where a table differs from what was computed again, one sentence each, at most `most`.
///
/// Numbers may differ by [`TOLERANCE`]; all else must be the same.
pub fn differences(computed: &str, found: &[u8], most: usize) -> Vec<String> {
    let mut all = Vec::new();
    let mut ours = csv::ReaderBuilder::new().from_reader(computed.as_bytes());
    let mut theirs = csv::ReaderBuilder::new().flexible(true).from_reader(found);
    let header = ours.headers().cloned().unwrap_or_default();
    match theirs.headers() {
        Ok(found) if *found == header => {}
        Ok(_) => return vec!["its columns are not the expected ones".into()],
        Err(e) => return vec![format!("it can't be read: {e}")],
    }
    let (mut ours, mut theirs) = (ours.records(), theirs.records());
    for line in 2.. {
        if all.len() >= most {
            break;
        }
        match (ours.next(), theirs.next()) {
            (None, None) => break,
            (Some(Ok(a)), Some(Ok(b))) => {
                let named = |column: &str| {
                    let at = header.iter().position(|h| h == column);
                    at.and_then(|at| a.get(at)).unwrap_or_default()
                };
                let place = [named("point"), named("axis")].join(" ");
                for (column, name) in header.iter().enumerate() {
                    let a = a.get(column).unwrap_or_default();
                    let b = b.get(column).unwrap_or_default();
                    if !same(a, b) {
                        all.push(format!(
                            "line {line} ({}): {name} is {}, and {} was computed from the readings",
                            place.trim(),
                            shown(b),
                            shown(a)
                        ));
                    }
                }
            }
            (Some(_), None) => {
                all.push(format!(
                    "it ends before line {line}, and there should be more"
                ));
                break;
            }
            (None, Some(_)) => {
                all.push(format!(
                    "line {line} and those behind it should not be there"
                ));
                break;
            }
            (_, Some(Err(e))) => {
                all.push(format!("line {line} can't be read: {e}"));
                break;
            }
            (Some(Err(e)), _) => {
                all.push(format!("what was computed can't be read: {e}"));
                break;
            }
        }
    }
    all.truncate(most);
    all
}

fn same(a: &str, b: &str) -> bool {
    if a == b {
        return true;
    }
    match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(a), Ok(b)) => (a - b).abs() <= TOLERANCE,
        _ => false,
    }
}

fn shown(value: &str) -> String {
    match value {
        "" => "empty".into(),
        text => format!("«{}»", words::cut(text, 60)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_are_named_by_line_and_column() {
        let computed = "point,axis,u_mm\nA,length,0.5\nB,width,1e-9\n";
        let none = differences(
            computed,
            b"point,axis,u_mm\nA,length,0.5000000001\nB,width,0\n",
            9,
        );
        assert_eq!(none, Vec::<String>::new());
        let one = differences(
            computed,
            b"point,axis,u_mm\nA,length,0.6\nB,width,1e-9\n",
            9,
        );
        assert_eq!(
            one,
            ["line 2 (A length): u_mm is «0.6», and «0.5» was computed from the readings"]
        );
        for (found, expected) in [
            ("point,axis,u_mm\nA,length,0.5\n", "ends before line 3"),
            (
                "point,axis,u_mm\nA,length,0.5\nB,width,0\nC,width,0\n",
                "line 4",
            ),
            ("point,axis\nA,length\n", "columns"),
            ("point,axis,u_mm\nA,length,\nB,width,1e-9\n", "empty"),
            ("point,axis,u_mm\nA,length,NaN\nB,width,1e-9\n", "«NaN»"),
        ] {
            let all = differences(computed, found.as_bytes(), 9);
            assert!(all.len() == 1 && all[0].contains(expected), "{all:?}");
        }
    }
}
