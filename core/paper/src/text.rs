//! Spans, styles, and text set in lines.

use std::ops::Range;
use std::sync::Arc;

use krilla::text::{GlyphId, KrillaGlyph};
use parley::style::{
    FontFamily, FontFamilyName, FontWeight, LineHeight, OverflowWrap, StyleProperty, TextWrapMode,
};
use parley::{LayoutContext, layout::Line as SetLine};

use crate::fonts::{BOLD_WEIGHT, FAMILY, Fonts, Weight};
use crate::ops::{Glyphs, Op};

/// Red, green and blue, each of 255.
pub type Color = [u8; 3];

/// Almost black.
pub const INK: Color = [26, 26, 26];
/// For what is said in passing; 7 to 1 against white.
pub const GREY: Color = [85, 85, 85];
/// For lines between things.
pub const LINE: Color = [190, 190, 190];

/// Where lines stand between the left and the right edge.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Align {
    #[default]
    Start,
    Centre,
    End,
    /// Numbers of a column, their decimal points one above the other, at the right edge.
    Decimal,
}

/// How text looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Style {
    pub size: f32,
    pub weight: Weight,
    pub color: Color,
    /// From one baseline to the next, in sizes.
    pub leading: f32,
    /// Space above, points; not at the top of a page.
    pub above: f32,
    /// It is not parted from what comes next.
    pub keep: bool,
}

impl Style {
    pub const BODY: Style = Style {
        size: 9.5,
        weight: Weight::Regular,
        color: INK,
        leading: 1.42,
        above: 5.0,
        keep: false,
    };
    /// The one sentence that matters.
    pub const LEAD: Style = Style {
        size: 13.0,
        weight: Weight::Bold,
        color: INK,
        leading: 1.32,
        above: 6.0,
        keep: false,
    };
    pub const SMALL: Style = Style {
        size: 8.0,
        weight: Weight::Regular,
        color: GREY,
        leading: 1.38,
        above: 3.0,
        keep: false,
    };
    pub const TABLE: Style = Style {
        size: 8.0,
        weight: Weight::Regular,
        color: INK,
        leading: 1.3,
        above: 0.0,
        keep: false,
    };

    /// What a heading of a level looks like.
    pub(crate) const fn heading(level: u8) -> Style {
        let (size, above) = match level {
            0 | 1 => (22.0, 0.0),
            2 => (15.0, 22.0),
            3 => (11.0, 14.0),
            _ => (9.5, 10.0),
        };
        Style {
            size,
            weight: Weight::Bold,
            color: INK,
            leading: 1.22,
            above,
            keep: false,
        }
    }

    pub const fn bold(mut self) -> Self {
        self.weight = Weight::Bold;
        self
    }

    pub const fn colored(mut self, color: Color) -> Self {
        self.color = color;
        self
    }

    pub const fn sized(mut self, size: f32) -> Self {
        self.size = size;
        self
    }

    /// Never the last thing on a page.
    pub const fn keep(mut self) -> Self {
        self.keep = true;
        self
    }

    pub const fn above(mut self, points: f32) -> Self {
        self.above = points;
        self
    }
}

/// A stretch of text that may differ from the style around it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Span {
    pub text: String,
    pub bold: bool,
    pub color: Option<Color>,
    /// Relative to the style's size.
    pub size: Option<f32>,
}

impl Span {
    pub fn plain(text: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            ..Self::default()
        }
    }

    pub fn bold(text: impl Into<String>) -> Self {
        Self {
            bold: true,
            ..Self::plain(text)
        }
    }

    /// Grey, for what is said in passing.
    pub fn quiet(text: impl Into<String>) -> Self {
        Self {
            color: Some(GREY),
            ..Self::plain(text)
        }
    }
}

impl From<&str> for Span {
    fn from(text: &str) -> Self {
        Span::plain(text)
    }
}

/// Anything that is text.
pub trait Spans {
    fn spans(self) -> Vec<Span>;
}

impl Spans for &str {
    fn spans(self) -> Vec<Span> {
        vec![Span::plain(self)]
    }
}

impl Spans for &String {
    fn spans(self) -> Vec<Span> {
        vec![Span::plain(self.as_str())]
    }
}

impl Spans for String {
    fn spans(self) -> Vec<Span> {
        vec![Span::plain(self)]
    }
}

impl Spans for Span {
    fn spans(self) -> Vec<Span> {
        vec![self]
    }
}

impl Spans for Vec<Span> {
    fn spans(self) -> Vec<Span> {
        self
    }
}

impl<const N: usize> Spans for [Span; N] {
    fn spans(self) -> Vec<Span> {
        self.into()
    }
}

/// A line of text, its left and top edge at 0.
#[derive(Clone, Debug)]
pub(crate) struct Line {
    pub height: f32,
    pub width: f32,
    pub ops: Vec<Op>,
}

impl Line {
    /// How far right of its place a line begins that is aligned so in so much room.
    fn shift(&mut self, align: Align, room: f32) {
        let free = (room - self.width).max(0.0);
        let by = match align {
            Align::Start => return,
            Align::Centre => free / 2.0,
            Align::End | Align::Decimal => free,
        };
        for op in &mut self.ops {
            op.transform(1.0, by, 0.0);
        }
    }
}

/// Sets text in lines.
pub(crate) struct Setter {
    pub fonts: Fonts,
    layouts: LayoutContext<Color>,
    /// Letters that the fonts don't have.
    pub unknown: usize,
}

impl Setter {
    pub fn new() -> Self {
        Self {
            fonts: Fonts::new(),
            layouts: LayoutContext::new(),
            unknown: 0,
        }
    }

    /// Text in lines no wider than `width`. Words that are longer are broken. No text, no lines.
    pub fn lines(&mut self, spans: &[Span], style: &Style, width: f32, align: Align) -> Vec<Line> {
        let mut text = String::new();
        let mut ranges = Vec::new();
        for span in spans {
            let start = text.len();
            let clean = self.fonts.clean(&span.text, &mut self.unknown);
            text.push_str(&clean);
            ranges.push((start..text.len(), span));
        }
        let kept = text.trim_end().len();
        text.truncate(kept);
        if text.is_empty() {
            return Vec::new();
        }
        let text: Arc<str> = text.into();
        let context = &mut self.fonts.context;
        let mut builder = self.layouts.ranged_builder(context, &text, 1.0, false);
        let family = FontFamily::Single(FontFamilyName::Named(FAMILY.into()));
        builder.push_default(StyleProperty::FontFamily(family));
        builder.push_default(StyleProperty::FontSize(style.size));
        builder.push_default(StyleProperty::FontWeight(weight(style.weight)));
        builder.push_default(StyleProperty::Brush(style.color));
        builder.push_default(LineHeight::Absolute(style.size * style.leading));
        builder.push_default(StyleProperty::OverflowWrap(OverflowWrap::Anywhere));
        for (range, span) in ranges {
            let range = range.start.min(text.len())..range.end.min(text.len());
            if range.is_empty() {
                continue;
            }
            if span.bold {
                let bold = StyleProperty::FontWeight(weight(Weight::Bold));
                builder.push(bold, range.clone());
            }
            if let Some(color) = span.color {
                builder.push(StyleProperty::Brush(color), range.clone());
            }
            if let Some(size) = span.size {
                builder.push(StyleProperty::FontSize(style.size * size), range);
            }
        }
        for range in units(&text) {
            builder.push(StyleProperty::TextWrapMode(TextWrapMode::NoWrap), range);
        }
        let mut layout = builder.build(&*text);
        layout.break_all_lines(Some(width.max(1.0)));
        let styles = layout.styles();
        let lines = layout.lines().map(|line| set(&line, &text, styles));
        let mut lines: Vec<Line> = lines.collect();
        for line in &mut lines {
            line.shift(align, width);
        }
        lines
    }

    /// Text on one line, cut with an ellipsis where it is too long.
    pub fn one_line(
        &mut self,
        text: &str,
        style: &Style,
        width: f32,
        align: Align,
    ) -> Option<Line> {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        // No letter is narrower than a tenth of its height: what is longer is cut in any case.
        let most = ((width / (style.size * 0.1)).max(1.0) as usize).saturating_add(1);
        let whole = text;
        let text: String = whole.chars().take(most).collect();
        let before = self.unknown;
        let mut set = |text: &str| {
            let mut lines = self.lines(&[text.into()], style, f32::MAX, Align::Start);
            (!lines.is_empty()).then(|| lines.swap_remove(0))
        };
        let mut line = set(&text)?;
        if line.width > width || text.len() < whole.len() {
            // The longest beginning that fits, by halving.
            let letters: Vec<usize> = text.char_indices().map(|(at, _)| at).collect();
            let (mut fits, mut too_long) = (0, letters.len());
            while fits + 1 < too_long {
                let middle = usize::midpoint(fits, too_long);
                let cut = format!("{}…", text[..letters[middle]].trim_end());
                match set(&cut) {
                    Some(shorter) if shorter.width <= width => {
                        line = shorter;
                        fits = middle;
                    }
                    _ => too_long = middle,
                }
            }
            if fits == 0 {
                return None;
            }
        }
        self.unknown = before + self.fonts_unknown(&whole);
        line.shift(align, width);
        Some(line)
    }

    fn fonts_unknown(&self, text: &str) -> usize {
        let mut unknown = 0;
        self.fonts.clean(text, &mut unknown);
        unknown
    }
}

/// Where a number and its unit stand, which no line's end may part: `± 1.2 mm`, `95 %`, `14 min`.
fn units(text: &str) -> Vec<Range<usize>> {
    const UNITS: [&str; 7] = ["mm", "%", "min", "s", "h", "u", "kB"];
    let mut ranges = Vec::new();
    for (at, _) in text.match_indices(' ') {
        let (before, after) = (&text[..at], &text[at + 1..]);
        let unit = after
            .split(|c: char| !c.is_alphanumeric() && c != '%')
            .next();
        let number = |c: char| c.is_ascii_digit() || c == '.';
        let digits = before.len() - before.trim_end_matches(number).len();
        match unit {
            Some(unit) if (1..=8).contains(&digits) && UNITS.contains(&unit) => {
                let number = at - digits;
                let sign = text[..number].strip_suffix("± ").map_or(number, str::len);
                ranges.push(sign..at + 1 + unit.len());
            }
            _ => {}
        }
    }
    ranges
}

fn weight(weight: Weight) -> FontWeight {
    FontWeight::new(match weight {
        Weight::Regular => 400.0,
        Weight::Bold => BOLD_WEIGHT,
    })
}

/// One line of a layout. The letters keep the space behind their last word: what reads the text
/// out of the PDF then knows that the word ended there.
fn set(
    line: &SetLine<'_, Color>,
    text: &Arc<str>,
    styles: &[parley::layout::Style<Color>],
) -> Line {
    let metrics = line.metrics();
    let width = (metrics.advance - metrics.hanging_advance).max(0.0);
    let mut ops: Vec<Op> = Vec::new();
    let mut x = 0.0;
    for run in line.runs() {
        let size = run.font_size();
        let bold = run.font_attrs().weight.value() >= BOLD_WEIGHT;
        let mut style_now = None;
        for cluster in run.visual_clusters() {
            if cluster.is_hard_line_break() {
                continue;
            }
            if cluster.is_ligature_continuation() {
                // It has no glyphs of its own: its letters belong to the ligature before.
                if let Some(Op::Glyphs(last)) = ops.last_mut()
                    && let Some(glyph) = last.glyphs.last_mut()
                {
                    glyph.text_range.end = cluster.text_range().end;
                }
                continue;
            }
            for glyph in cluster.glyphs() {
                if style_now != Some(cluster.style_index()) {
                    style_now = Some(cluster.style_index());
                    ops.push(Op::Glyphs(Glyphs {
                        x,
                        y: metrics.baseline - metrics.block_min_coord,
                        width: 0.0,
                        weight: if bold { Weight::Bold } else { Weight::Regular },
                        size,
                        color: styles[usize::from(cluster.style_index())].brush,
                        glyphs: Vec::new(),
                        text: Arc::clone(text),
                    }));
                }
                let Some(Op::Glyphs(now)) = ops.last_mut() else {
                    continue;
                };
                now.glyphs.push(KrillaGlyph::new(
                    GlyphId::new(glyph.id),
                    glyph.advance / size,
                    glyph.x / size,
                    glyph.y / size,
                    0.0,
                    cluster.text_range(),
                    None,
                ));
                x += glyph.advance;
                now.width = x.min(width) - now.x;
            }
        }
    }
    Line {
        height: metrics.line_height,
        width,
        ops,
    }
}
