//! What a sheet file may leave out or write in its own way, and what comes of it.

use datumtrail_geometry::frame::{Axis, Side};
use datumtrail_sheet::{
    Axes, ControlPoint, Declared, Limit, LoadOptions, Loaded, Sheet, SheetError, Units, Warning,
    load, readings, render,
};

fn options() -> LoadOptions {
    LoadOptions {
        source: "invented".to_owned(),
        ..LoadOptions::default()
    }
}

fn load_with(text: &str, options: &LoadOptions) -> Loaded<Sheet> {
    load::load(text.as_bytes(), options).unwrap()
}

fn sheet(text: &str) -> Sheet {
    load_with(text, &options()).value
}

fn warnings(text: &str) -> Vec<String> {
    let loaded = load_with(text, &options());
    loaded.warnings.iter().map(ToString::to_string).collect()
}

fn limit(mm: f64, source: &str) -> Option<Limit> {
    Some(Limit::new(mm, source).unwrap())
}

#[test]
fn one_sheet_in_many_spellings() {
    let plain = sheet(
        "point,side,what,x,y,z\nA,left,rail end,203,-402.5,71\nA',right,\"rail, end\",203,402.5,71\n",
    );
    for text in [
        "\u{feff}point,side,what,x,y,z\r\nA,left,rail end,203,-402.5,71\r\nA',right,\"rail, end\",203,402.5,71\r\n",
        "Z;Y;X;What;SIDE;Point\n71;-402,5;203;rail end;L;A\n71;402,5;203;rail, end;R;A\u{2019}",
        "point\tside\twhat\tx\ty\tz\n\"A\"\tLeft\t rail  end \t203\t\u{2212}402.5\t71\nA\u{2032}\tRIGHT\trail, end\t203\t+402.5\t71\n",
        "\n\npoint,side,what,x,y,z,,\n,,,,,,,\nA,,rail end,203,-402.5,71,,\n\nA`,,\"rail, end\",203,402.5,71,,\n,,,,,,,\n",
    ] {
        assert_eq!(sheet(text), plain, "{text}");
    }
}

#[test]
fn a_blank_side_is_taken_from_the_width() {
    let sheet = sheet("point,side,x,y,z\nA,,1,-2,3\nB,,1,2,3\nC,,1,0,3\nD,centre,1,0.2,3\n");
    let sides: Vec<Side> = sheet.points().iter().map(|p| p.side).collect();
    assert_eq!(sides, [Side::Left, Side::Right, Side::Centre, Side::Centre]);
}

#[test]
fn a_sheet_in_other_directions_and_inches_is_turned_once() {
    let options = LoadOptions {
        units: Units::In,
        axes: Axes::parse("forward,up,right").unwrap(),
        ..options()
    };
    let text = "point,x,y,z,limit_y,limit_source\nA,-10,2.00,-15.8,0.1,the maker\n";
    let sheet = load_with(text, &options).value;
    let a = sheet.point("A").unwrap();
    assert_eq!(a.position_mm, [254.0, -401.32, 50.8]);
    assert_eq!(a.side, Side::Left);
    assert_eq!(a.step_mm, [25.4, 2.54, 0.254]);
    assert_eq!(a.limits, [None, None, limit(2.54, "the maker")]);
    assert_eq!(a.limit(Axis::Height), limit(2.54, "the maker").as_ref());
    assert_eq!(sheet.declared().axes.to_string(), "forward,up,right");
}

#[test]
fn the_most_particular_limit_counts() {
    let text = "point,x,y,z,limit,limit_x,limit_source,limit_x_source\n\
                A,1,2,3,2,1,page 4,page 5\n\
                B,1,2,3,2,,page 4,\n\
                C,1,2,3,,1,page 4,\n\
                D,1,2,3,,,,\n";
    let options = LoadOptions {
        limit_mm: Some(3.0),
        limit_source: Some("the shop's own".to_owned()),
        ..options()
    };
    let sheet = load_with(text, &options).value;
    let shop = || limit(3.0, "the shop's own");
    let two = || limit(2.0, "page 4");
    let limits: Vec<_> = sheet.points().iter().map(|p| p.limits.clone()).collect();
    assert_eq!(limits[0], [limit(1.0, "page 5"), two(), two()]);
    assert_eq!(limits[1], [two(), two(), two()]);
    assert_eq!(limits[2], [limit(1.0, "page 4"), shop(), shop()]);
    assert_eq!(limits[3], [shop(), shop(), shop()]);
}

#[test]
fn a_stated_source_serves_the_files_limits_only_where_it_is_not_the_shops() {
    let text = "point,x,y,z,limit\nA,1,2,3,2\n";
    let mut options = LoadOptions {
        limit_source: Some("manual, page 4".to_owned()),
        ..options()
    };
    let loaded = load_with(text, &options);
    assert_eq!(
        loaded.value.points()[0].limits[2],
        limit(2.0, "manual, page 4")
    );

    options.limit_mm = Some(3.0);
    let refused = load::load(text.as_bytes(), &options).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "line 2, column 5 (limit): the limit has no source, and a limit without one proves \
         nothing; say whose it is in the column limit_source"
    );
}

#[test]
fn the_print_step_is_the_columns_finest_unless_it_is_stated() {
    let text = "point,x,y,z,step_z\nA,203,-402.5,71,0.5\nB,1966.00,634,70,\n";
    let steps =
        |sheet: &Sheet| -> Vec<[f64; 3]> { sheet.points().iter().map(|p| p.step_mm).collect() };
    assert_eq!(steps(&sheet(text)), [[0.01, 0.1, 0.5], [0.01, 0.1, 1.0]]);
    let stated = LoadOptions {
        step_mm: Some(0.25),
        ..options()
    };
    let sheet = load_with(text, &stated).value;
    assert_eq!(steps(&sheet), [[0.25, 0.25, 0.5], [0.25; 3]]);
}

#[test]
fn members_and_zones() {
    let sheet =
        sheet("point,x,y,z,member,zone\nA,1,2,3,\"rail,\tleft\",\"rear\nend\"\nB,1,2,4,, \n");
    assert_eq!(sheet.points()[0].member.as_deref(), Some("rail, left"));
    assert_eq!(sheet.points()[0].zone.as_deref(), Some("rear end"));
    assert_eq!(sheet.points()[1].member, None);
    assert_eq!(sheet.points()[1].zone, None);
}

#[test]
fn partners_need_opposite_sides_and_no_rival() {
    let sheet = sheet(
        "point,side,x,y,z\nA-L,left,0,-9,0\nA-R,right,0,9,0\nB,left,1,-9,0\nB',right,1,9,0\n\
         B_r,right,2,9,0\nC,centre,3,0,0\nC',right,3,9,0\nD,left,4,-9,0\nD'',left,4,-9,1\n",
    );
    assert_eq!(sheet.partner("A-L").unwrap().name, "A-R");
    assert_eq!(sheet.partner("A-R").unwrap().name, "A-L");
    for alone in ["B", "C", "C'", "D", "D''", "nobody"] {
        assert_eq!(sheet.partner(alone), None, "{alone}");
    }
    let pairs: Vec<&str> = sheet.pairs().map(|(left, _)| left.name.as_str()).collect();
    assert_eq!(pairs, ["A-L"]);
}

#[test]
fn an_unknown_name_is_refused_with_the_nearest() {
    let sheet = sheet("point,x,y,z\nA',1,2,3\n");
    assert_eq!(
        sheet.expect_point("a'").unwrap_err().to_string(),
        "the sheet has no control point \"a'\"; it has \"A'\", and names tell capitals from small \
         letters"
    );
    assert_eq!(sheet.expect_point("A'").unwrap().name, "A'");
}

// ---- warnings ----

#[test]
fn a_misspelt_column_is_named() {
    assert_eq!(
        warnings("point,x,y,z,limt\nA,0,-400,0,3\nB,900,400,0,3\n"),
        ["column 5 (limt) was not read; if it should have been, check its spelling"]
    );
}

#[test]
fn a_side_against_the_sign_of_the_width() {
    assert_eq!(
        warnings(
            "point,side,x,y,z\nA,left,0,-400,0\nB,right,900,-402.5,0\nC,left,900,-300,0\nD,right,0,400,0\n"
        ),
        [
            "\"B\" belongs to the right and lies 402.5 mm left of the zero plane; check the side and \
          the sign"
        ]
    );
}

#[test]
fn a_sheet_that_counts_width_to_the_left() {
    assert_eq!(
        warnings("point,side,x,y,z\nA,left,0,400,0\nB,right,900,-402.5,0\nC,centre,900,0,0\n"),
        [
            "all 2 points with a side lie on the other side of the zero plane; the sheet probably \
          counts width the other way, so load it with other axes, like forward,left,up"
        ]
    );
}

#[test]
fn a_sheet_without_signs() {
    assert_eq!(
        warnings("point,x,y,z\nA,0,400,0\nB,900,402.5,0\nC,900,300,0\nD,0,420,0\n"),
        [
            "every point lies right of the zero plane, so this may not be the vehicle's centre \
          plane, or the signs of one side are missing"
        ]
    );
}

#[test]
fn a_sheet_of_another_size() {
    let cases = [
        (
            "110",
            "4",
            "the points span 110 mm when read in mm; the file may be in inches",
        ),
        (
            "2.8",
            "0.4",
            "the points span 2.8 mm when read in mm; the file may be in metres; convert it to mm",
        ),
        (
            "30000.5",
            "400",
            "the points span 30000.5 mm when read in mm; check the units and the decimal sign",
        ),
    ];
    for (length, width, message) in cases {
        let text = format!("point,x,y,z\nA,0,-{width},0\nB,{length},{width},0\n");
        assert_eq!(warnings(&text), [message]);
    }
    let inches = LoadOptions {
        units: Units::In,
        ..options()
    };
    let loaded = load_with("point,x,y,z\nA,0,-400,0\nB,2800,400,0\n", &inches);
    assert_eq!(
        loaded.warnings[0].to_string(),
        "the points span 71120 mm when read in in; the file may be in mm"
    );
}

#[test]
fn two_points_in_one_place() {
    let loaded = load_with(
        "point,x,y,z\nA,0,-400,7\nB,900,400,0\nC,0.0,-400.0,7.00\n",
        &options(),
    );
    let expected = Warning::SamePlace {
        first: "A".to_owned(),
        second: "C".to_owned(),
    };
    assert_eq!(loaded.warnings, [expected]);
}

#[test]
fn a_source_for_limits_that_are_not_there() {
    let stated = LoadOptions {
        limit_source: Some("manual, page 4".to_owned()),
        ..options()
    };
    let loaded = load_with("point,x,y,z\nA,0,-400,7\nB,900,400,0\n", &stated);
    assert_eq!(loaded.warnings, [Warning::NoLimit]);
}

// ---- sheets that are not from a file ----

fn bare(name: &str) -> ControlPoint {
    ControlPoint {
        name: name.to_owned(),
        side: Side::Left,
        what: String::new(),
        position_mm: [1.0, -2.0, 3.0],
        step_mm: [0.0; 3],
        limits: [None, None, None],
        member: None,
        zone: None,
    }
}

fn made(points: Vec<ControlPoint>) -> Result<Sheet, SheetError> {
    Sheet::new("invented", Declared::default(), points, vec![])
}

#[test]
fn a_sheet_from_parts_meets_the_same_checks() {
    assert_eq!(made(vec![]), Err(SheetError::Nothing));
    assert_eq!(
        made(vec![bare("A\u{2019}"), bare("A'")])
            .unwrap_err()
            .to_string(),
        "the sheet's point \"A'\": \"A'\" stands in line 1 already; a sheet has one position for a \
         control point, so remove one, or give each of the two a name of its own"
    );
    let far = ControlPoint {
        position_mm: [0.0, f64::NAN, 0.0],
        ..bare("A")
    };
    assert!(made(vec![far]).is_err());
    let unlimited = ControlPoint {
        limits: [
            Some(Limit {
                mm: 3.0,
                source: " ".to_owned(),
            }),
            None,
            None,
        ],
        ..bare("A")
    };
    assert!(made(vec![unlimited]).is_err());
}

#[test]
fn json_that_breaks_a_rule_is_refused() {
    let sheet = made(vec![bare("A"), bare("B")]).unwrap();
    let json = serde_json::to_string(&sheet).unwrap();
    assert_eq!(serde_json::from_str::<Sheet>(&json).unwrap(), sheet);
    let doubled = json.replace("\"name\":\"B\"", "\"name\":\"A\"");
    assert!(serde_json::from_str::<Sheet>(&doubled).is_err());
}

#[test]
fn limits_of_several_sources_keep_them_in_the_table() {
    let mut point = bare("A");
    point.limits = [limit(1.0, "page, 5"), None, limit(3.0, "the shop's own")];
    assert_eq!(
        render::points(made(vec![point]).unwrap().points()),
        "point,side,what,x,y,z,step_x,step_y,step_z,limit_x,limit_y,limit_z,limit_x_source,\
         limit_y_source,limit_z_source\n\
         A,left,,1,-2,3,0,0,0,1,,3,\"page, 5\",,the shop's own\n"
    );
}

// ---- readings ----

#[test]
fn readings_keep_repeats_uncertainties_and_times() {
    let text = "Point;X;Y;Z;U;U_z;Time\n\
                A;1,25;2;3;0,5;0,7;2026-03-02T14:05:00+01:00\n\
                A;1,35;2;3;;;2026-03-02t14:05:00.25z\n";
    let mut loaded = readings::load(text.as_bytes(), Units::Mm, None).unwrap();
    let second = loaded.value.pop().unwrap();
    let first = loaded.value.pop().unwrap();
    assert_eq!(first.point, second.point);
    assert_eq!(first.position_mm, [1.25, 2.0, 3.0]);
    assert_eq!(first.u_mm, Some([0.5, 0.5, 0.7]));
    assert_eq!(second.u_mm, None);
    assert_eq!(second.time.as_deref(), Some("2026-03-02t14:05:00.25z"));
}

/// The shapes are those of RFC 3339, section 5.6; whether a day exists is the calendar's.
#[test]
fn times() {
    for good in [
        "1985-04-12T23:20:50.52Z", // RFC 3339, section 5.8
        "1996-12-19T16:39:57-08:00",
        "1990-12-31T23:59:60Z",
        "1990-12-31T15:59:60-08:00",
        "1937-01-01T12:00:27.87+00:20",
    ] {
        assert_eq!(readings::check_time(good), Ok(()), "{good}");
    }
    for bad in [
        "",
        "2026-03-02",
        "2026-03-02T14:05:00",
        "2026-03-02T14:05Z",
        "2026-03-02T14:05:00+01",
        "2026-03-02T14:05:00.Z",
        "2026-02-30T14:05:00Z",
        "2026-03-02T25:05:00Z",
        "2026-03-02T14:05:00+01:00[Europe/Berlin]",
        "20260302T140500Z",
        "yesterday at 14:05 Z",
        "äääääääääääääääääääZ",
    ] {
        assert!(readings::check_time(bad).is_err(), "{bad}");
    }
}

#[test]
fn readings_in_inches() {
    let loaded = readings::load(b"point,x,y,z,u\nA,10,0.1,-1,0.01\n", Units::In, None).unwrap();
    assert_eq!(loaded.value[0].position_mm, [254.0, 2.54, -25.4]);
    assert_eq!(loaded.value[0].u_mm, Some([0.254; 3]));
}
