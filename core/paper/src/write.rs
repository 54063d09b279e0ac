//! Pages and tree as PDF: PDF/A-2a and PDF/UA-1 in PDF 1.7.

use krilla::annotation::{Annotation, LinkAnnotation, Target};
use krilla::color::rgb;
use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::{Destination, XyzDestination};
use krilla::geom::{PathBuilder, Point, Rect, Size};
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Identifier, SpanTag};
use krilla::{Document, SerializeSettings};

use crate::block::Settings;
use crate::flow::{Bookmark, Laid, Role};
use crate::fonts::Fonts;
use crate::ops::{Op, Path, Segment};
use crate::text::Color;
use crate::{Error, Pdf};

/// A point in time, as a clock on the wall shows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Moment {
    pub year: u16,
    pub month: u8,
    pub day: u8,
    pub hour: u8,
    pub minute: u8,
    pub second: u8,
    /// How far the clock is ahead of UTC, minutes.
    pub offset_minutes: i16,
}

impl Default for Moment {
    /// The beginning of 1970, UTC: nobody said when.
    fn default() -> Self {
        Self {
            year: 1970,
            month: 1,
            day: 1,
            hour: 0,
            minute: 0,
            second: 0,
            offset_minutes: 0,
        }
    }
}

/// Writes laid-out pages.
pub(crate) fn write(settings: &Settings, laid: Laid) -> Result<Pdf, Error> {
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|e| Error::Pdf(format!("{e:?}")))?;
    let mut document = Document::new_with(SerializeSettings {
        configuration,
        ..SerializeSettings::default()
    });
    let mut leaves: Vec<Option<Identifier>> = vec![None; laid.tags.leaves()];
    let mut links: Vec<Option<Identifier>> = vec![None; laid.tags.links()];
    let (width, height) = laid.frame.page;
    let size = Size::from_wh(width, height).ok_or_else(|| Error::Pdf("no paper".into()))?;
    let pages = laid.pages.len();
    for page in &laid.pages {
        let mut sheet = document.start_page_with(PageSettings::new(size));
        let mut surface = sheet.surface();
        for piece in &page.pieces {
            if piece.ops.is_empty() {
                continue;
            }
            let (tag, leaf) = match piece.role {
                Role::Text(leaf) => (ContentTag::Span(SpanTag::empty()), Some(leaf)),
                Role::Figure(leaf) => (ContentTag::Other, Some(leaf)),
                Role::Head => (artifact(ArtifactType::Header), None),
                Role::Foot => (artifact(ArtifactType::Footer), None),
                Role::Artifact => (artifact(ArtifactType::Layout), None),
            };
            let identifier = surface.start_tagged(tag);
            for op in &piece.ops {
                draw(&mut surface, op, &laid.setter.fonts);
            }
            surface.end_tagged();
            if let Some(leaf) = leaf {
                leaves[leaf.0] = Some(identifier);
            }
        }
        surface.finish();
        for link in &page.links {
            let Some(to) = laid.headings.get(link.heading) else {
                continue;
            };
            let [l, t, r, b] = link.edges;
            let Some(edges) = Rect::from_ltrb(l, t, r, b) else {
                continue;
            };
            let target = Target::Destination(Destination::Xyz(destination(to)));
            let annotation = LinkAnnotation::new(edges, target);
            let annotation = Annotation::new_link(annotation, Some(link.alt.clone()));
            links[link.id.0] = Some(sheet.add_tagged_annotation(annotation));
        }
        sheet.finish();
    }
    document.set_tag_tree(laid.tags.tree(&leaves, &links));
    document.set_outline(outline(&laid.headings));
    document.set_metadata(metadata(settings, &laid));
    let bytes = document
        .finish()
        .map_err(|e| Error::Pdf(format!("{e}: {e:?}").chars().take(600).collect()))?;
    Ok(Pdf {
        bytes,
        pages,
        unknown_letters: laid.setter.unknown,
    })
}

fn artifact(kind: ArtifactType) -> ContentTag<'static> {
    ContentTag::Artifact(Artifact::with_kind(kind))
}

fn destination(to: &Bookmark) -> XyzDestination {
    // A little above, so that the heading does not stick to the window's edge.
    let y = (to.y - 12.0).max(0.0);
    XyzDestination::new(to.page, Point::from_xy(0.0, y))
}

/// The headings as a tree.
fn outline(headings: &[Bookmark]) -> Outline {
    let mut outline = Outline::new();
    let mut rest = headings;
    while let Some((node, after)) = node(rest) {
        outline.push_child(node);
        rest = after;
    }
    outline
}

/// The first heading with those below it, and what comes after.
fn node(headings: &[Bookmark]) -> Option<(OutlineNode, &[Bookmark])> {
    let (first, mut rest) = headings.split_first()?;
    let mut made = OutlineNode::new(first.title.clone(), destination(first));
    while rest.first().is_some_and(|next| next.level > first.level) {
        let (child, after) = node(rest)?;
        made.push_child(child);
        rest = after;
    }
    Some((made.with_open(first.level < 2), rest))
}

fn metadata(settings: &Settings, laid: &Laid) -> Metadata {
    let text = |text: &str| {
        let mut ignored = 0;
        // Strings in PDF/A may hold 32,767 bytes.
        let clean = laid.setter.fonts.clean(text, &mut ignored);
        clean
            .chars()
            .take(2000)
            .collect::<String>()
            .replace('\n', " ")
    };
    let title = match settings.title.trim() {
        "" => "Untitled".to_owned(),
        title => text(title),
    };
    let language = match settings.language.as_str() {
        "" => "en",
        language => language,
    };
    let mut metadata = Metadata::new()
        .title(title)
        .language(language.to_owned())
        .producer(concat!("datumtrail-paper ", env!("CARGO_PKG_VERSION")).to_owned());
    if let Some(author) = &settings.author {
        metadata = metadata.authors(vec![text(author)]);
    }
    if let Some(subject) = &settings.subject {
        metadata = metadata.description(text(subject));
    }
    if let Some(program) = &settings.program {
        metadata = metadata.creator(text(program));
    }
    if let Some(identity) = &settings.identity {
        metadata = metadata.document_id(identity.clone());
    }
    let at = settings.created;
    let (hours, minutes) = (at.offset_minutes / 60, at.offset_minutes % 60);
    let created = DateTime::new(at.year)
        .month(at.month)
        .day(at.day)
        .hour(at.hour)
        .minute(at.minute)
        .second(at.second)
        .utc_offset_hour(i8::try_from(hours).unwrap_or(0))
        .utc_offset_minute(u8::try_from(minutes.unsigned_abs()).unwrap_or(0));
    metadata.creation_date(created)
}

fn draw(surface: &mut Surface<'_>, op: &Op, fonts: &Fonts) {
    match op {
        Op::Glyphs(run) => {
            surface.set_stroke(None);
            surface.set_fill(Some(fill(run.color)));
            let start = Point::from_xy(run.x, run.y);
            let font = fonts.embedded(run.weight);
            surface.draw_glyphs(start, &run.glyphs, font, &run.text, run.size, false);
        }
        Op::Image {
            image,
            x,
            y,
            width,
            height,
        } => {
            let Some(size) = Size::from_wh(*width, *height) else {
                return;
            };
            let place = krilla::geom::Transform::from_translate(*x, *y);
            surface.push_transform(&place);
            surface.draw_image(image.clone(), size);
            surface.pop();
        }
        Op::Path(path) => shape(surface, path),
    }
}

fn shape(surface: &mut Surface<'_>, path: &Path) {
    let mut builder = PathBuilder::new();
    for segment in &path.segments {
        match *segment {
            Segment::Move(x, y) => builder.move_to(x, y),
            Segment::Line(x, y) => builder.line_to(x, y),
            Segment::Curve([a, b, c, d, e, f]) => builder.cubic_to(a, b, c, d, e, f),
            Segment::Close => builder.close(),
        }
    }
    let Some(outline) = builder.finish() else {
        return;
    };
    if path.fill.is_none() && path.stroke.is_none() {
        return;
    }
    surface.set_fill(path.fill.map(fill));
    surface.set_stroke(path.stroke.map(|stroke| Stroke {
        paint: color(stroke.color).into(),
        width: stroke.width,
        line_cap: LineCap::Round,
        line_join: LineJoin::Round,
        dash: stroke.dashed.then(|| StrokeDash {
            array: vec![2.5, 2.5],
            offset: 0.0,
        }),
        ..Stroke::default()
    }));
    surface.draw_path(&outline);
}

fn fill([r, g, b]: Color) -> Fill {
    Fill {
        paint: color([r, g, b]).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::NonZero,
    }
}

fn color([r, g, b]: Color) -> rgb::Color {
    rgb::Color::new(r, g, b)
}
