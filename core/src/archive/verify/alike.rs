//! Whether two texts or values say the same, where numbers were printed by two computers.
//!
//! The same computation may end in another last bit on another computer, and then rarely in another
//! last digit. So a printed number may differ by one in its last digit; all else must be the same.

use serde_json::Value;

/// Whether two texts say the same.
pub(super) fn same_text(a: &str, b: &str) -> bool {
    a == b || {
        let (mut left, mut right) = (tokens(a), tokens(b));
        loop {
            match (left.next(), right.next()) {
                (None, None) => return true,
                (Some(a), Some(b)) if same_token(a, b) => {}
                _ => return false,
            }
        }
    }
}

/// The first line in which two texts differ, from 1, and what stands there in the second.
pub(super) fn first_difference<'t>(a: &str, b: &'t str) -> Option<(usize, &'t str)> {
    let (mut left, mut right) = (a.lines(), b.lines());
    for line in 1.. {
        match (left.next(), right.next()) {
            (None, None) => return None,
            (Some(a), Some(b)) if same_text(a, b) => {}
            (_, found) => return Some((line, found.unwrap_or_default())),
        }
    }
    None
}

/// Where two values differ, by JSON pointer, at most `most`.
pub(super) fn differences(a: &Value, b: &Value, most: usize) -> Vec<String> {
    let mut all = Vec::new();
    compare(a, b, &mut String::new(), &mut all, most);
    all
}

fn compare(a: &Value, b: &Value, at: &mut String, all: &mut Vec<String>, most: usize) {
    if all.len() >= most {
        return;
    }
    match (a, b) {
        (Value::Object(left), Value::Object(right)) => {
            for (key, value) in left {
                step(at, key, |at| match right.get(key) {
                    Some(other) => compare(value, other, at, all, most),
                    None => all.push(format!("{at} is missing")),
                });
            }
            for key in right.keys().filter(|key| !left.contains_key(*key)) {
                step(at, key, |at| all.push(format!("{at} should not be there")));
            }
        }
        (Value::Array(left), Value::Array(right)) => {
            for (index, (a, b)) in left.iter().zip(right).enumerate() {
                step(at, &index.to_string(), |at| compare(a, b, at, all, most));
            }
            if left.len() != right.len() {
                let (expected, found) = (left.len(), right.len());
                all.push(format!(
                    "{at} has {found} entries and should have {expected}"
                ));
            }
        }
        (Value::Number(left), Value::Number(right)) => {
            let same = match (left.as_f64(), right.as_f64()) {
                _ if left == right => true,
                (Some(a), Some(b)) => (a - b).abs() <= 1e-6 * a.abs().max(1.0),
                _ => false,
            };
            if !same {
                all.push(format!("{at} is {right} and should be {left}"));
            }
        }
        (Value::String(left), Value::String(right)) if same_text(left, right) => {}
        (left, right) if left == right => {}
        _ => all.push(format!("{at} says otherwise")),
    }
}

fn step(at: &mut String, key: &str, inner: impl FnOnce(&mut String)) {
    let length = at.len();
    at.push('/');
    at.push_str(key);
    inner(at);
    at.truncate(length);
}

/// Numbers with a decimal point, and what stands between them.
fn tokens(text: &str) -> impl Iterator<Item = &str> {
    let mut rest = text;
    std::iter::from_fn(move || {
        let first = rest.chars().next()?;
        let digit = |c: char| c.is_ascii_digit() || c == '.';
        let number = digit(first);
        let end = rest.find(|c| digit(c) != number).unwrap_or(rest.len());
        let (token, tail) = rest.split_at(end);
        rest = tail;
        Some(token)
    })
}

fn same_token(a: &str, b: &str) -> bool {
    if a == b {
        return true;
    }
    let decimals = |text: &str| {
        let (_, behind) = text.split_once('.')?;
        (!behind.is_empty() && !behind.contains('.')).then_some(behind.len())
    };
    let (Some(left), Some(right)) = (decimals(a), decimals(b)) else {
        return false;
    };
    let unit = 10_f64.powi(-i32::try_from(left.min(right)).unwrap_or(0));
    match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(a), Ok(b)) => left == right && (a - b).abs() <= 1.5 * unit,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_last_digit_may_differ_and_nothing_else() {
        assert!(same_text("R sits 7.4 mm forward", "R sits 7.5 mm forward"));
        assert!(same_text("d=\"M1.25 3\"", "d=\"M1.26 3\""));
        for (a, b) in [
            ("7.4 mm", "7.6 mm"),
            ("7.4 mm", "0.4 mm"),
            ("7.4 mm", "7.40 mm"),
            ("3 points", "4 points"),
            ("ab12cd", "ab13cd"),
            ("inside", "outside"),
            ("1.2", "1.2 "),
        ] {
            assert!(!same_text(a, b), "{a} {b}");
        }
        assert_eq!(first_difference("a\nb\nc", "a\nx\nc"), Some((2, "x")));
        assert_eq!(first_difference("a\nb", "a"), Some((2, "")));
    }

    #[test]
    fn values_that_differ_are_named_by_their_place() {
        let a = json!({ "p": [1.0, "inside", null], "q": { "r": 0.5 } });
        assert!(differences(&a, &a, 9).is_empty());
        let close = json!({ "p": [1.000_000_1, "inside", null], "q": { "r": 0.5 } });
        assert!(differences(&a, &close, 9).is_empty());
        let other = json!({ "p": [1.0, "outside"], "q": {}, "s": 1 });
        assert_eq!(
            differences(&a, &other, 9),
            [
                "/p/1 says otherwise",
                "/p has 2 entries and should have 3",
                "/q/r is missing",
                "/s should not be there"
            ]
        );
    }
}
