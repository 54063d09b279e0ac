//! What is laid out stays on its page, whatever it is; tables and paragraphs break as they should;
//! and the same blocks give the same bytes.

use proptest::prelude::*;

use crate::drawing::LABEL;
use crate::flow::{Flow, Laid, Page, Role};
use crate::ops::{self, Op};
use crate::text::{INK, Setter, Spans};
use crate::*;

fn settings() -> Settings {
    Settings {
        head: ["The job".into(), "JOB-1".into()],
        foot: "made for a test".into(),
        ..Settings::titled("A test")
    }
}

/// What stands on a page, piece by piece, as a reader gets it.
fn said(page: &Page, roles: impl Fn(Role) -> bool) -> Vec<String> {
    let pieces = page.pieces.iter().filter(|p| roles(p.role));
    let texts = pieces.map(|piece| {
        let runs = piece.ops.iter().filter_map(|op| match op {
            Op::Glyphs(run) => Some(run),
            _ => None,
        });
        let letters =
            runs.flat_map(|run| run.glyphs.iter().map(|g| &run.text[g.text_range.clone()]));
        letters.collect::<String>()
    });
    texts.filter(|t| !t.is_empty()).collect()
}

fn content(role: Role) -> bool {
    matches!(role, Role::Text(_) | Role::Figure(_))
}

/// Everything is within the margins; what runs above and below is on the page.
fn on_the_page(laid: &Laid) -> Result<(), String> {
    let frame = laid.frame;
    for (n, page) in laid.pages.iter().enumerate() {
        for piece in &page.pieces {
            let Some([l, t, r, b]) = ops::bounds(&piece.ops) else {
                continue;
            };
            let held = match piece.role {
                Role::Head | Role::Foot => {
                    l >= frame.left - 0.1 && r <= frame.right + 0.1 && t > 0.0 && b < frame.page.1
                }
                _ => {
                    // A line may be a little lower than its letters.
                    let above = frame.top - 12.0;
                    l >= frame.left - 0.1
                        && r <= frame.right + 0.1
                        && t >= above
                        && b <= frame.bottom + 0.5
                }
            };
            if !held {
                let text = said(page, |role| role == piece.role).join("|");
                return Err(format!(
                    "page {}: {:?} at {l} {t} {r} {b}: {text:.200}",
                    n + 1,
                    piece.role
                ));
            }
        }
    }
    Ok(())
}

fn long_table(rows: usize) -> Table {
    let columns = vec![
        Column::fixed(80.0),
        Column::text(1.0),
        Column::decimal(60.0),
    ];
    let mut table = Table::new("Many rows", columns);
    table.head(vec![Cell::text("Group"), Cell::text("of two").across(2)]);
    table.head(vec![
        Cell::text("Number"),
        Cell::text("Words"),
        Cell::text("Value"),
    ]);
    for n in 0..rows {
        let words = format!("row {n} of the table");
        let value = format!("{:.1}", n as f32 / 3.0);
        table.row(vec![
            Cell::text(format!("N{n}")).heads_row(),
            Cell::text(words),
            Cell::text(value),
        ]);
    }
    table
}

#[test]
fn a_long_table_breaks_with_its_heads_repeated_and_loses_no_row() {
    for size in [Size::A4, Size::Letter] {
        let mut paper = Paper::new(Settings { size, ..settings() });
        paper.heading(1, "A table");
        paper.table(long_table(200));
        let laid = Flow::lay(&paper);
        on_the_page(&laid).unwrap();
        assert!(laid.pages.len() > 3, "{}", laid.pages.len());
        let mut rows = Vec::new();
        for (n, page) in laid.pages.iter().enumerate() {
            let all = said(page, |_| true);
            let head = all.iter().position(|t| t.starts_with("Words")).unwrap();
            let first = all.iter().position(|t| t.starts_with("row ")).unwrap();
            assert!(head < first, "page {n}");
            // For readers the head is there once.
            let heads = said(page, content)
                .iter()
                .filter(|t| t.starts_with("Words"))
                .count();
            assert_eq!(heads, usize::from(n == 0), "page {n}");
            rows.extend(
                said(page, content)
                    .into_iter()
                    .filter(|t| t.starts_with("row ")),
            );
        }
        let wanted: Vec<String> = (0..200).map(|n| format!("row {n} of the table")).collect();
        assert_eq!(rows, wanted);
    }
}

#[test]
fn a_group_stays_together_and_its_lead_stands_once() {
    let columns = vec![Column::fixed(80.0), Column::text(1.0)];
    let mut table = Table::new("Groups", columns);
    table.head(vec![Cell::text("Point"), Cell::text("Axis")]);
    for n in 0..60 {
        table.group(Group {
            lead: Some(Cell::text(format!("P{n}"))),
            rows: ["length", "width", "height"]
                .map(|axis| vec![Cell::text(format!("{axis} {n}"))])
                .into(),
            ..Group::default()
        });
    }
    let mut paper = Paper::new(settings());
    paper.table(table);
    let laid = Flow::lay(&paper);
    on_the_page(&laid).unwrap();
    let mut leads = 0;
    for page in &laid.pages {
        let text = said(page, content);
        for n in 0..60 {
            let has = |what: String| text.contains(&what);
            assert_eq!(
                has(format!("length {n}")),
                has(format!("height {n}")),
                "{n}"
            );
            leads += usize::from(has(format!("P{n}")));
        }
    }
    assert_eq!(leads, 60);
}

#[test]
fn decimal_points_stand_one_above_the_other() {
    let mut table = Table::new("Numbers", vec![Column::text(1.0), Column::decimal(90.0)]);
    let numbers = ["1.5", "12.25", "100", "0.125"];
    for number in numbers {
        table.row(vec![Cell::text("n").heads_row(), Cell::text(number)]);
    }
    let mut paper = Paper::new(settings());
    paper.table(table);
    let laid = Flow::lay(&paper);
    let mut points = Vec::new();
    for piece in &laid.pages[0].pieces {
        for op in &piece.ops {
            let Op::Glyphs(run) = op else { continue };
            if !numbers.contains(&&*run.text) {
                continue;
            }
            let before = run.text.find('.').unwrap_or(run.text.len());
            let whole = run.glyphs.iter().filter(|g| g.text_range.end <= before);
            let width: f32 = whole.map(|g| g.x_advance * run.size).sum();
            points.push(run.x + width);
        }
    }
    assert_eq!(points.len(), 4);
    let spread = points
        .iter()
        .fold(0.0f32, |m, p| m.max((p - points[0]).abs()));
    assert!(spread < 0.05, "{points:?}");
}

#[test]
fn no_line_of_a_paragraph_stands_alone_and_no_heading_at_the_foot() {
    let text = "Some words that fill a line and a bit more of the page than that. ".repeat(6);
    for lead in 0..60 {
        let mut paper = Paper::new(settings());
        paper.space(lead as f32 * 0.1);
        for _ in 0..lead {
            paper.text(Style::BODY, "A line.");
        }
        paper.heading(2, "A heading");
        paper.text(Style::BODY, &text);
        let laid = Flow::lay(&paper);
        on_the_page(&laid).unwrap();
        let mut total = 0;
        for page in &laid.pages {
            let all = said(page, content);
            let long = all
                .iter()
                .filter(|t| !t.starts_with("A line") && !t.starts_with("A heading"));
            let long = long.count();
            total += long;
            assert!(long != 1, "{lead}: one line alone of {all:?}");
            if let Some(at) = all.iter().position(|t| t.starts_with("A heading")) {
                assert!(all.len() > at + 2, "{lead}: the heading stands alone");
            }
        }
        assert!(total >= 4);
    }
}

#[test]
fn a_title_within_a_table_is_never_the_last_on_a_page() {
    for before in 0..50 {
        let mut table = Table::new("Titles", vec![Column::text(1.0), Column::text(1.0)]);
        for n in 0..before {
            table.row(vec![Cell::text(format!("row {n}")), Cell::text("x")]);
        }
        table.title("A title");
        table.row(vec![Cell::text("below it"), Cell::text("x")]);
        let mut paper = Paper::new(settings());
        paper.table(table);
        let laid = Flow::lay(&paper);
        let has = |page: &Page, what: &str| said(page, content).iter().any(|t| t.trim() == what);
        let titled: Vec<&Page> = laid.pages.iter().filter(|p| has(p, "A title")).collect();
        assert_eq!(titled.len(), 1);
        assert!(has(titled[0], "below it"), "{before}");
    }
}

#[test]
fn numbers_are_not_parted_from_their_units() {
    let mut setter = Setter::new();
    let text = "a deviation of ± 12.25 mm and 95 % ".repeat(40);
    for width in [60.0, 83.0, 121.0, 200.0] {
        let lines = setter.lines(&text.as_str().spans(), &Style::BODY, width, Align::Start);
        for line in &lines {
            let piece = Page {
                pieces: vec![crate::flow::Piece {
                    role: Role::Artifact,
                    ops: line.ops.clone(),
                }],
                links: Vec::new(),
            };
            let line = said(&piece, |_| true).concat();
            let first = line.split(' ').next().unwrap_or_default();
            assert!(
                first != "mm" && first != "%" && first != "12.25",
                "{width}: {line}"
            );
        }
    }
}

#[test]
fn contents_lead_to_the_pages_where_the_headings_are() {
    let mut paper = Paper::new(settings());
    paper.heading(1, "A paper");
    paper.contents("Contents", 2);
    for n in 0..8 {
        paper.new_page();
        paper.heading(2, &format!("Section {n}"));
        paper.text(Style::BODY, "Words.");
    }
    let laid = Flow::lay(&paper);
    assert_eq!(laid.pages.len(), 9);
    let contents = said(&laid.pages[0], content);
    for n in 0..8 {
        let wanted = format!("Section {n}{}", n + 2);
        assert!(contents.contains(&wanted), "{wanted} in {contents:?}");
    }
    assert_eq!(laid.pages[0].links.len(), 8);
    let foot = said(&laid.pages[4], |role| role == Role::Foot);
    assert!(foot.contains(&"page 5 of 9".to_owned()), "{foot:?}");
    let head = said(&laid.pages[4], |role| role == Role::Head);
    assert_eq!(head, ["The job", "JOB-1"]);
}

#[test]
fn the_fonts_have_what_the_reports_say() {
    let setter = Setter::new();
    let needed = "µμ±→←↑↓≤≥×·–—…’‘“”„«»°²³½¼≈√σ∞≠−ßäöüÄÖÜéèêëçñåæøœłőűžščřğışİĐđþðŵŷ€£§©ΑΩαω";
    for letter in (' '..='~')
        .chain('\u{a0}'..='\u{17f}')
        .chain(needed.chars())
    {
        if letter == '\u{ad}' || letter == '\u{149}' {
            // The soft hyphen is taken out, and the other is deprecated.
            continue;
        }
        let composed = setter.fonts.clean(&letter.to_string(), &mut 0);
        assert!(
            !composed.contains("[U+"),
            "{letter:?} (U+{:04X})",
            u32::from(letter)
        );
    }
}

#[test]
fn letters_that_the_fonts_lack_are_named_and_counted() {
    let setter = Setter::new();
    let mut unknown = 0;
    let clean = setter
        .fonts
        .clean("e\u{301} 中\u{200d}a\u{0}\tb\r\nc\u{e000}", &mut unknown);
    assert_eq!(clean, "é [U+4E2D]a b\nc[U+E000]");
    assert_eq!(unknown, 2);
}

#[test]
fn a_jpeg_goes_in_as_it_is_and_what_is_none_is_refused() {
    let mut jpeg = Vec::new();
    let encoder = jpeg_encoder::Encoder::new(&mut jpeg, 80);
    let pixels = vec![120u8; 40 * 30 * 3];
    encoder
        .encode(&pixels, 40, 30, jpeg_encoder::ColorType::Rgb)
        .unwrap();
    let picture = Picture::jpeg(jpeg.clone()).unwrap();
    assert_eq!((picture.width, picture.height), (40, 30));
    let mut gallery = Gallery {
        columns: 2,
        ..Gallery::default()
    };
    for n in 0..9 {
        let mut print = Print {
            picture: (n != 4).then(|| picture.clone()),
            missing: "not in this archive".into(),
            alt: "a grey picture".into(),
            ..Print::default()
        };
        print.caption(Style::SMALL, format!("Picture {n}"));
        gallery.prints.push(print);
    }
    let mut paper = Paper::new(settings());
    paper.heading(1, "Pictures");
    paper.gallery(gallery);
    let laid = Flow::lay(&paper);
    on_the_page(&laid).unwrap();
    assert_eq!(laid.pages.len(), 3, "four a page");
    let pdf = paper.finish().unwrap();
    let held = pdf
        .bytes
        .windows(jpeg.len())
        .filter(|w| **w == *jpeg)
        .count();
    assert_eq!(held, 1, "once, unchanged, however often it is shown");

    for bad in [
        &b""[..],
        b"\xff\xd8",
        b"GIF89a",
        b"\xff\xd8\xff\xe0\0\x02\xff\xda\0\0",
    ] {
        assert!(Picture::jpeg(bad.to_vec()).is_err());
    }
}

/// One of everything, from a text.
fn everything(size: Size, texts: &[String]) -> Paper {
    let text = |n: usize| {
        texts
            .get(n % texts.len().max(1))
            .cloned()
            .unwrap_or_default()
    };
    let mut paper = Paper::new(Settings {
        size,
        head: [text(0), text(1)],
        foot: text(2),
        author: Some(text(3)),
        subject: Some(text(1)),
        ..Settings::titled(&text(0))
    });
    paper.heading(1, &text(0));
    paper.contents(&text(1), 3);
    paper.heading(2, &text(1));
    paper.heading(3, &text(2));
    paper.panel(
        None,
        INK,
        vec![
            (Style::LEAD, text(2).spans()),
            (Style::BODY, text(0).spans()),
        ],
    );
    paper.list(Style::BODY, texts.iter().cloned());
    let spans = texts
        .iter()
        .map(|t| Span::bold(t.as_str()))
        .collect::<Vec<_>>();
    paper.text(Style::BODY, spans);
    let mut drawing = Drawing::new(300.0, 80.0);
    for (n, anchor) in [Anchor::Start, Anchor::Middle, Anchor::End]
        .into_iter()
        .enumerate()
    {
        drawing.text(150.0, 20.0 * n as f32 + 20.0, anchor, text(n), &LABEL);
    }
    paper.figure_kept(drawing.clone().scaled(0.7), &text(4));
    paper.figure(drawing, &text(3));
    paper.text(Style::BODY.keep(), text(4));
    let columns = vec![
        Column::fixed(70.0),
        Column::decimal(50.0),
        Column::text(1.0),
    ];
    let mut table = Table::new(&text(0), columns);
    table.head(vec![Cell::text(text(3)), Cell::text(text(1)).across(2)]);
    table.group(Group {
        lead: Some(Cell::text(text(2))),
        rows: vec![
            vec![Cell::text(text(0)), Cell::text(text(1))],
            vec![Cell::text(text(2)), Cell::text(text(3))],
        ],
        ..Group::default()
    });
    table.title(&text(4));
    table.row(vec![
        Cell::text(text(1)),
        Cell::text(text(4)),
        Cell::text(text(0)),
    ]);
    paper.table(table);
    let mut print = Print {
        missing: text(1),
        alt: text(2),
        ..Print::default()
    };
    print.caption(Style::SMALL, text(3));
    paper.gallery(Gallery {
        columns: 2,
        prints: vec![print.clone(), print],
    });
    paper
}

fn any_text() -> impl Strategy<Value = String> {
    prop_oneof![
        2 => any::<String>(),
        2 => "[ -~äöüßéèłžµ±→中ع\\n]{0,400}",
        1 => "[a-z]{200,2000}",
        1 => Just(String::new()),
        1 => Just("\u{202e}\u{0}\u{feff} \u{301}\u{fffe}\u{10ffff}👩‍🔧".to_owned()),
        1 => "([a-z]{1,9} ){500,1500}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn whatever_is_said_stays_on_the_page(
        texts in proptest::collection::vec(any_text(), 1..6),
        letter in any::<bool>(),
    ) {
        let size = if letter { Size::Letter } else { Size::A4 };
        let paper = everything(size, &texts);
        let laid = Flow::lay(&paper);
        prop_assert_eq!(on_the_page(&laid), Ok(()));
        let pdf = paper.finish();
        prop_assert!(pdf.is_ok(), "{}", pdf.unwrap_err());
    }
}

#[test]
fn the_same_blocks_give_the_same_bytes() {
    let texts = ["One".to_owned(), "Two words".to_owned(), "3.5".to_owned()];
    let first = everything(Size::A4, &texts).finish().unwrap();
    let second = everything(Size::A4, &texts).finish().unwrap();
    assert!(first.bytes == second.bytes);
    assert_ne!(
        first.bytes,
        everything(Size::Letter, &texts).finish().unwrap().bytes
    );
}
