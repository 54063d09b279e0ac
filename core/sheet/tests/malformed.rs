//! Every way in which a file can be wrong, with the exact message: line, column, what stands there,
//! and what to do.

use datumtrail_sheet::{Fault, LoadOptions, MOST_BYTES, SheetError, Units, load, readings};

fn options() -> LoadOptions {
    LoadOptions {
        source: "invented".to_owned(),
        ..LoadOptions::default()
    }
}

fn refuse_bytes(bytes: &[u8]) -> SheetError {
    load::load(bytes, &options()).unwrap_err()
}

/// The messages for a file, one a problem.
fn refuse(text: &str) -> Vec<String> {
    messages(&refuse_bytes(text.as_bytes()))
}

fn refuse_readings(text: &str) -> Vec<String> {
    messages(&readings::load(text.as_bytes(), Units::Mm, None).unwrap_err())
}

fn messages(error: &SheetError) -> Vec<String> {
    match error.problems() {
        [] => vec![error.to_string()],
        problems => problems.iter().map(ToString::to_string).collect(),
    }
}

// ---- no table at all ----

#[test]
fn an_empty_file() {
    for bytes in [&b""[..], b"\xEF\xBB\xBF", b"\r\n \n", b"\t"] {
        assert_eq!(
            refuse_bytes(bytes).to_string(),
            "line 1, column 1: the file is empty; export the table again"
        );
    }
}

#[test]
fn a_header_alone() {
    assert_eq!(
        refuse("\npoint,x,y,z\n\n,,,\n"),
        ["line 2: the header stands here and no row follows; export the table again"]
    );
}

#[test]
fn files_that_are_no_text() {
    let cases: [(&[u8], &str); 6] = [
        (
            b"point,x\nA,\0",
            "line 2, byte 3: a zero byte stands here, so this is a binary file, not a table in text",
        ),
        (
            b"point,x,y,z\r\nTr\xE4ger,1,2,3\r\n",
            "line 2, byte 3: the byte 0xE4 stands here, which is not UTF-8; save the table as CSV \
             (UTF-8)",
        ),
        (
            b"PK\x03\x04\x14\0\x06\0",
            "line 1, byte 1: this is a workbook or a zip, not a table in text; save it as CSV \
             (UTF-8)",
        ),
        (
            b"\xD0\xCF\x11\xE0\xA1\xB1",
            "line 1, byte 1: this is a workbook or a zip, not a table in text; save it as CSV \
             (UTF-8)",
        ),
        (
            b"%PDF-1.7\n",
            "line 1, byte 1: this is a PDF, not a table in text; copy its table into a \
             spreadsheet and save as CSV",
        ),
        (
            b"\xFF\xFEp\0o\0",
            "line 1, byte 1: the text is UTF-16; save it as CSV (UTF-8)",
        ),
    ];
    for (bytes, message) in cases {
        assert_eq!(refuse_bytes(bytes).to_string(), message);
    }
}

#[test]
fn a_file_that_is_too_large() {
    let bytes = vec![b'x'; MOST_BYTES + 1];
    assert_eq!(
        refuse_bytes(&bytes).to_string(),
        "the file has 4194305 bytes and at most 4194304 are read here; it is probably no table"
    );
}

#[test]
fn a_file_with_too_many_rows() {
    let rows: String = (0..10_001).map(|n| format!("P{n},{n},0,0\n")).collect();
    assert_eq!(
        refuse(&format!("point,x,y,z\n{rows}")),
        ["line 10002, column 1 (point): row 10000 was the last that is read here; split the file"]
    );
}

// ---- the header ----

#[test]
fn missing_columns() {
    assert_eq!(
        refuse("point;side;what;x;hight\nA;left;;1;2\n"),
        [
            "line 1: the column y is missing; the header has \"point\", \"side\", \"what\", \"x\", \
             \"hight\": add it, or check the spelling and the separators",
            "line 1: the column z is missing; the header has \"point\", \"side\", \"what\", \"x\", \
             \"hight\": add it, or check the spelling and the separators",
        ]
    );
    assert_eq!(
        refuse("kind,a,b\nwidth,A,B\n"),
        [
            "line 1: the column value is missing; the header has \"kind\", \"a\", \"b\": add it, or \
          check the spelling and the separators"
        ]
    );
}

#[test]
fn a_table_that_begins_with_its_numbers() {
    assert_eq!(
        refuse("A;left;rail;203,5;2;3\nB;left;rail;1;2;3\n"),
        [
            "line 1, column 4: \"203,5\" stands where the name of a column should be; put a line with \
          the names above it, like point,x,y,z"
        ]
    );
}

#[test]
fn a_doubled_column() {
    assert_eq!(
        refuse("\n\npoint,x,y,z, X \nA,1,2,3,4\n"),
        ["line 3, column 5 (X): x already stands in column 2; keep one of the two"]
    );
    assert_eq!(
        refuse("point,x,y,z,maker's \u{1b}[31m\nA,1,2,3\n"),
        [
            "line 2, column 5 (maker's \\u{1b}[31m): the row ends after 4 of the header's 5 fields; \
          complete it"
        ]
    );
}

// ---- rows ----

#[test]
fn rows_of_the_wrong_length() {
    assert_eq!(
        refuse(
            "point,what,x,y,z\nA,rail,1,2\nB,rail, left,1,2,3\nC,rail,1,5,2,3,4\nD,rail,1,2,3\n"
        ),
        [
            "line 2, column 5 (z): the row ends after 4 of the header's 5 fields; complete it",
            "line 3, column 6: the row has 6 fields where the header has 5; put a text with \
             separators in it in quotes, and where decimals are written with a comma, separate \
             the fields with semicolons",
            "line 4, column 6: the row has 7 fields where the header has 5; put a text with \
             separators in it in quotes, and where decimals are written with a comma, separate \
             the fields with semicolons",
        ]
    );
    assert_eq!(
        refuse("point;x;y;z\nA;1;2;3;4\n"),
        [
            "line 2, column 5: the row has 5 fields where the header has 4; put a text with \
          separators in it in quotes"
        ]
    );
}

#[test]
fn something_under_no_name() {
    assert_eq!(
        refuse("point,x,y,z,\nA,1,2,3,see note\n"),
        [
            "line 2, column 5: \"see note\" stands in a column without a name; name the column or \
          clear it"
        ]
    );
}

#[test]
fn a_quote_that_is_not_closed() {
    let message = "line 2, column 2 (what): the text runs over the end of the line and takes in \
                   other fields, so a quote is probably not closed; close it, or write \"\" for a \
                   quote that belongs to the text";
    assert_eq!(
        refuse("point,what,x,y,z\nA,\"rail,1,2,3\nB,rail,1,2,3\n"),
        [message]
    );
    // Two of them leave the right number of fields, and would lose a point in silence.
    assert_eq!(
        refuse("point,what,x,y,z\nA,\"rail,1,2,3\nB,\"rail,1,2,3\n"),
        [message]
    );
}

// ---- cells ----

#[test]
fn what_is_not_a_number() {
    assert_eq!(
        refuse(
            "point,x,y,z\nA,12a,,3\nB,NaN,inf,-Infinity\nC,\"402,5\",\"1,966.5\",1.97E+03\n\
             D,203 mm,1e9,9999999999999999999999999999999\n"
        ),
        [
            "line 2, column 2 (x): \"12a\" is not a number; write digits with a sign before them, \
             like -402.5, and no unit",
            "line 2, column 3 (y): nothing stands here, and it is needed; fill it in",
            "line 3, column 2 (x): \"NaN\" is not a finite number; measure it again or remove the \
             row",
            "line 3, column 3 (y): \"inf\" is not a finite number; measure it again or remove the \
             row",
            "line 3, column 4 (z): \"-Infinity\" is not a finite number; measure it again or \
             remove the row",
            "line 4, column 2 (x): \"402,5\" has a comma, which separates fields in this file; \
             write a decimal point, or separate the fields with semicolons",
            "line 4, column 3 (y): \"1,966.5\" has more than one decimal sign; write it without \
             thousands marks",
            "line 4, column 4 (z): \"1.97E+03\" is a short form that dropped digits; have the \
             spreadsheet show the number in full and export again",
            "line 5, column 2 (x): \"203 mm\" is not a number; write digits with a sign before \
             them, like -402.5, and no unit",
            "line 5, column 3 (y): \"1e9\" is a short form that dropped digits; have the \
             spreadsheet show the number in full and export again",
        ]
    );
    assert_eq!(
        refuse("point,x,y,z\nA,1,2,9999999999999999999999999999999\n"),
        [
            "line 2, column 4 (z): \"9999999999999999999999999999999\" has more than 30 digits; round it"
        ]
    );
}

#[test]
fn two_decimal_signs_in_one_file() {
    assert_eq!(
        refuse("point;x;y;z\nA;203;-402,5;71\nB;1.966;-634,12;70\n"),
        [
            "line 3, column 2 (x): \"1.966\" has a point, but this file writes decimals with a comma, \
          so it could be a thousands mark; write every number with the same decimal sign and no \
          thousands marks"
        ]
    );
}

#[test]
fn absurd_sizes() {
    assert_eq!(
        refuse("point,x,y,z\nA,100000.1,0,-2000000\n"),
        [
            "line 2, column 2 (x): 100000.1 mm is farther than 100000 mm from zero; check the \
             units and the decimal sign",
            "line 2, column 4 (z): -2000000 mm is farther than 100000 mm from zero; check the \
             units and the decimal sign",
        ]
    );
}

#[test]
fn names_and_sides() {
    let long = "N".repeat(61);
    assert_eq!(
        refuse(&format!(
            "point,side,what,x,y,z\n ,left,,1,2,3\n\"A,B\",middle,,1,2,3\n{long},r,,1,2,3\n\
             C,l,evil\u{202e}txt,1,2,3\n"
        )),
        [
            "line 2, column 1 (point): nothing stands here, and it is needed; fill it in",
            "line 3, column 1 (point): \"A,B\" has a comma in it, and lists of points are \
             separated by commas; give it another name",
            "line 3, column 2 (side): \"middle\" is no side; write left, right or centre",
            "line 4, column 1 (point): the text is 61 characters long and at most 60 are read \
             here; shorten it",
            "line 5, column 3 (what): \"evil\\u{202e}txt\" holds an invisible character, U+202E; \
             type the text again",
        ]
    );
}

#[test]
fn a_point_that_stands_twice() {
    assert_eq!(
        refuse("point,x,y,z\nA\u{2019},1,2,3\nB,1,2,3\n\nA',4,5,6\n"),
        [
            "line 5, column 1 (point): \"A'\" stands in line 2 already; a sheet has one position for \
          a control point, so remove one, or give each of the two a name of its own"
        ]
    );
    assert_eq!(
        refuse("point,side,x,y,z\n84,left,1,-2,3\n84,right,1,2,3\n"),
        [
            "line 3, column 1 (point): \"84\" stands in line 2 already; a sheet has one position for \
          a control point, so remove one, or give each of the two a name of its own, like 84 and \
          84'"
        ]
    );
}

#[test]
fn limits() {
    assert_eq!(
        refuse(
            "point,x,y,z,limit,limit_y,limit_source\nA,1,2,3,0,,maker\nB,1,2,3,,-1,maker\nC,1,2,3,3,,\nD,1,2,3,300,,maker\n"
        ),
        [
            "line 2, column 5 (limit): a limit of 0 mm is not one: it must be above 0 and at most \
             100 mm; correct it, or leave the cell blank where the maker gives none",
            "line 3, column 6 (limit_y): a limit of -1 mm is not one: it must be above 0 and at \
             most 100 mm; correct it, or leave the cell blank where the maker gives none",
            "line 4, column 5 (limit): the limit has no source, and a limit without one proves \
             nothing; say whose it is in the column limit_source",
            "line 5, column 5 (limit): a limit of 300 mm is not one: it must be above 0 and at \
             most 100 mm; correct it, or leave the cell blank where the maker gives none",
        ]
    );
}

#[test]
fn print_steps() {
    assert_eq!(
        refuse("point,x,y,z,step_x\nA,1,2,3,-0.1\n"),
        [
            "line 2, column 5 (step_x): a print step of -0.1 mm is not one: it must be from 0 to 100 \
          mm"
        ]
    );
}

// ---- distances ----

#[test]
fn distances() {
    let header = "kind,a,a_side,b,b_side,value\n";
    let cases = [
        (
            "girth,A,,B,,100",
            "line 2, column 1 (kind): \"girth\" is no kind of distance; write true, level, width, \
             height, projected-length, same-side or diagonal",
        ),
        (
            "true,A,,,,100",
            "line 2, column 4 (b): a true distance needs its second point",
        ),
        (
            "height,A,,B,,100",
            "line 2, column 4 (b): a height is counted from the sheet's zero line and has one \
             point; clear the second",
        ),
        (
            "level,A,left,A,left,100",
            "line 2, column 4 (b): a level distance from \"A\" to itself is no distance; name two \
             points or two sides",
        ),
        (
            "same-side,A,left,B,right,100",
            "line 2, column 5 (b_side): a same-side distance runs along one side, but its ends \
             say left and right; correct the sides or the kind",
        ),
        (
            "diagonal,A,left,B,left,100",
            "line 2, column 5 (b_side): a diagonal runs from one side to the other, but its ends \
             say left and left; correct the sides or the kind",
        ),
        (
            "width,A,left,,right,100",
            "line 2, column 5 (b_side): a side stands here without its point; name the point or \
             clear the side",
        ),
        (
            "width,A,,A,,0",
            "line 2, column 6 (value): a width of 0 mm is not one: it must be above 0 and at most \
             100000 mm",
        ),
        (
            "projected length,A,,B,,-1",
            "line 2, column 6 (value): a projected length of -1 mm is not one: it must be from 0 \
             to 100000 mm",
        ),
        (
            "height,A,,,,-100001",
            "line 2, column 6 (value): -100001 mm is farther than 100000 mm from zero; check the \
             units and the decimal sign",
        ),
        (
            "true,,,B,,1",
            "line 2, column 2 (a): nothing stands here, and it is needed; fill it in",
        ),
    ];
    for (row, message) in cases {
        assert_eq!(refuse(&format!("{header}{row}\n")), [message]);
    }
    assert_eq!(
        refuse(&format!(
            "{header}diagonal,A,l,B,r,900\ndiagonal,B,right,A,left,901\n"
        )),
        [
            "line 3, column 1 (kind): the same distance stands in line 2 already; a sheet has one \
          value for it, so remove one"
        ]
    );
}

// ---- readings ----

#[test]
fn readings_with_bad_uncertainties_and_times() {
    assert_eq!(
        refuse_readings(
            "point,x,y,z,u_x,u_y,u_z,time\nA,1,2,3,0.1,,0.1,\nB,1,2,3,0,1,1,\nC,1,2,3,,,,2026-03-02 14:05\n"
        ),
        [
            "line 2, column 6 (u_y): only some of the three axes have an uncertainty; give u_x, \
             u_y and u_z, or one u for all",
            "line 3, column 5 (u_x): a standard uncertainty of 0 mm is not one: it must be above \
             0 and at most 100 mm; leave the cell blank where it is not known",
            "line 4, column 8 (time): \"2026-03-02 14:05\" is no RFC 3339 time; write date, time \
             and offset from UTC, like 2026-03-02T14:05:00+01:00",
        ]
    );
}

#[test]
fn readings_of_points_that_the_sheet_lacks() {
    let sheet = load::load(b"point,x,y,z\nA,1,2,3\nA',1,-2,3\n", &options()).unwrap();
    let sheet = Some(&sheet.value);
    let error = readings::load(
        b"point,x,y,z\nA\xe2\x80\x99,1,2,3\na,1,2,3\nQ,1,2,x\n",
        Units::Mm,
        sheet,
    );
    assert_eq!(
        messages(&error.unwrap_err()),
        [
            "line 3, column 1 (point): the sheet has no control point \"a\"; it has \"A\", and \
             names tell capitals from small letters",
            "line 4, column 1 (point): the sheet has no control point \"Q\"; check the name, or \
             that this is the sheet of this vehicle",
            "line 4, column 4 (z): \"x\" is not a number; write digits with a sign before them, \
             like -402.5, and no unit",
        ]
    );
}

// ---- what the person states ----

#[test]
fn options_without_sources() {
    let file = b"point,x,y,z\nA,1,2,3\n";
    let no_source = LoadOptions::default();
    assert_eq!(load::load(file, &no_source), Err(SheetError::NoSource));

    let no_limit_source = LoadOptions {
        limit_mm: Some(3.0),
        ..options()
    };
    assert_eq!(
        load::load(file, &no_limit_source),
        Err(SheetError::LimitWithoutSource { mm: 3.0 })
    );
}

// ---- many at once ----

#[test]
fn ten_problems_are_listed_and_the_rest_counted() {
    let rows: String = (0..25).map(|n| format!("P{n},bad,0,0\n")).collect();
    let error = refuse_bytes(format!("point,x,y,z\n{rows}").as_bytes());
    let SheetError::Faulty(problems) = &error else {
        panic!("{error}");
    };
    assert_eq!((problems.listed().len(), problems.count()), (10, 25));
    assert!(matches!(problems.listed()[9].fault, Fault::Number { .. }));
    assert_eq!(
        error.to_string(),
        "line 2, column 2 (x): \"bad\" is not a number; write digits with a sign before them, like \
         -402.5, and no unit (and 24 more problems)"
    );
}

#[test]
fn a_long_cell_is_cut_in_the_message() {
    let message = refuse(&format!("point,x,y,z\nA,{},0,0\n", "ab".repeat(500)));
    let cut = "ab".repeat(20);
    assert!(message[0].starts_with(&format!("line 2, column 2 (x): \"{cut}\"... is not")));
}
