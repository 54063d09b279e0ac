//! Canonical JSON against RFC 8785's own examples.

use data_encoding::HEXLOWER;
use datumtrail_seal::{Digest, SealError, canonical, digest};
use proptest::prelude::*;
use serde_json::{Value, json};

/// RFC 8785, 3.2.2: the input; 3.2.4: the canonical form, byte for byte.
#[test]
fn the_rfc_s_example() {
    let input = r#"{
        "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]
    }"#;
    let expected = "\
        7b 22 6c 69 74 65 72 61 6c 73 22 3a 5b 6e 75 6c 6c 2c 74 72 \
        75 65 2c 66 61 6c 73 65 5d 2c 22 6e 75 6d 62 65 72 73 22 3a \
        5b 33 33 33 33 33 33 33 33 33 2e 33 33 33 33 33 33 33 2c 31 \
        65 2b 33 30 2c 34 2e 35 2c 30 2e 30 30 32 2c 31 65 2d 32 37 \
        5d 2c 22 73 74 72 69 6e 67 22 3a 22 e2 82 ac 24 5c 75 30 30 \
        30 66 5c 6e 41 27 42 5c 22 5c 5c 5c 5c 5c 22 2f 22 7d";
    let expected = HEXLOWER
        .decode(expected.replace(' ', "").as_bytes())
        .unwrap();
    let input: Value = serde_json::from_str(input).unwrap();
    assert_eq!(canonical(&input).unwrap().as_bytes(), expected);
}

/// RFC 8785, 3.2.3: names are sorted by their UTF-16 code units, so that a name beyond the basic
/// plane comes before U+FB33.
#[test]
fn the_rfc_s_sorting() {
    let input = r#"{
        "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One", "\ud83d\ude00": "Emoji: Grinning Face", "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis"
    }"#;
    let input: Value = serde_json::from_str(input).unwrap();
    let text = canonical(&input).unwrap();
    let order = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ];
    let places: Vec<usize> = order.iter().map(|o| text.find(o).unwrap()).collect();
    assert!(places.is_sorted(), "{text}");
}

/// RFC 8785, appendix B: doubles by their bits, and how they are printed.
#[test]
fn the_rfc_s_numbers() {
    let cases: [(u64, &str); 24] = [
        (0x0000_0000_0000_0000, "0"),
        (0x8000_0000_0000_0000, "0"),
        (0x0000_0000_0000_0001, "5e-324"),
        (0x8000_0000_0000_0001, "-5e-324"),
        (0x7fef_ffff_ffff_ffff, "1.7976931348623157e+308"),
        (0xffef_ffff_ffff_ffff, "-1.7976931348623157e+308"),
        (0x4340_0000_0000_0000, "9007199254740992"),
        (0xc340_0000_0000_0000, "-9007199254740992"),
        (0x4430_0000_0000_0000, "295147905179352830000"),
        (0x44b5_2d02_c7e1_4af5, "9.999999999999997e+22"),
        (0x44b5_2d02_c7e1_4af6, "1e+23"),
        (0x44b5_2d02_c7e1_4af7, "1.0000000000000001e+23"),
        (0x444b_1ae4_d6e2_ef4e, "999999999999999700000"),
        (0x444b_1ae4_d6e2_ef4f, "999999999999999900000"),
        (0x444b_1ae4_d6e2_ef50, "1e+21"),
        (0x3eb0_c6f7_a0b5_ed8c, "9.999999999999997e-7"),
        (0x3eb0_c6f7_a0b5_ed8d, "0.000001"),
        (0x41b3_de43_5555_5553, "333333333.3333332"),
        (0x41b3_de43_5555_5554, "333333333.33333325"),
        (0x41b3_de43_5555_5555, "333333333.3333333"),
        (0x41b3_de43_5555_5556, "333333333.3333334"),
        (0x41b3_de43_5555_5557, "333333333.33333343"),
        (0xbecb_f647_612f_3696, "-0.0000033333333333333333"),
        (0x4314_3ff3_c1cb_0959, "1424953923781206.2"),
    ];
    for (bits, expected) in cases {
        let number = f64::from_bits(bits);
        assert_eq!(canonical(&json!(number)).unwrap(), expected, "{bits:x}");
    }
}

#[test]
fn whole_numbers_that_would_be_rounded_are_refused() {
    assert_eq!(
        canonical(&json!(9_007_199_254_740_991_u64)).unwrap(),
        "9007199254740991"
    );
    for number in [json!(9_007_199_254_740_993_u64), json!(i64::MIN)] {
        let nested = json!({ "a": [{ "b": number }] });
        assert!(matches!(
            canonical(&nested),
            Err(SealError::NumberTooLarge { .. })
        ));
        assert!(digest(&nested).is_err());
    }
    // The text of a double, read back as a whole number: it is written as itself.
    let text = "431064069230478140";
    let read: Value = serde_json::from_str(text).unwrap();
    assert!(read.is_u64());
    assert_eq!(canonical(&read).unwrap(), text);
}

/// FIPS 180-4's example "abc" for SHA-512, and the digest's text read back.
#[test]
fn a_digest_is_sha_512_of_the_canonical_form() {
    let abc = "ddaf35a193617abacc417349ae20413112e6fa4e89a97ea20a9eeee64b55d39a\
               2192992a274fc1a836ba3c23a3feebbd454d4423643ce80e2a9ac94fa54ca49f";
    assert_eq!(Digest::of(b"abc").to_string(), abc);
    assert_eq!(Digest::parse(&abc.to_uppercase()), Some(Digest::of(b"abc")));
    assert_eq!(Digest::parse("ddaf"), None);
    let (one, same) = (json!({ "a": 1.0, "b": [] }), r#"{ "b": [], "a": 1 }"#);
    let same: Value = serde_json::from_str(same).unwrap();
    assert_eq!(digest(&one).unwrap(), digest(&same).unwrap());
    assert_ne!(digest(&one).unwrap(), digest(&json!({ "a": 1 })).unwrap());
}

fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        (-1_000_000_i64..1_000_000).prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<String>().prop_map(Value::from),
    ];
    leaf.prop_recursive(3, 24, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::btree_map(any::<String>(), inner, 0..6)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

proptest! {
    /// Reading a canonical form and writing it again changes nothing, and no order of names does.
    #[test]
    fn the_canonical_form_is_a_fixed_point(value in any_json()) {
        let text = canonical(&value).unwrap();
        let again: Value = serde_json::from_str(&text).unwrap();
        prop_assert_eq!(&canonical(&again).unwrap(), &text);
        if let Value::Object(fields) = value {
            let turned = Value::Object(fields.into_iter().rev().collect());
            prop_assert_eq!(canonical(&turned).unwrap(), text);
        }
    }
}
