//! What a paper is made of.

use crate::drawing::Drawing;
use crate::flow::Flow;
use crate::picture::Picture;
use crate::size::Size;
use crate::table::Table;
use crate::text::{Color, Span, Spans, Style};
use crate::write::{self, Moment};
use crate::{Error, Pdf};

/// What holds for the whole paper.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    pub size: Size,
    pub title: String,
    /// An IETF language tag; `en` where empty.
    pub language: String,
    pub author: Option<String>,
    pub subject: Option<String>,
    /// The program that made the contents.
    pub program: Option<String>,
    /// What tells this document from every other; of the same input the same.
    pub identity: Option<String>,
    /// When the contents were put together; PDF/A wants to know.
    pub created: Moment,
    /// Above every page, left and right.
    pub head: [String; 2],
    /// Below every page, left; the page number stands right.
    pub foot: String,
}

impl Settings {
    pub fn titled(title: &str) -> Self {
        Self {
            title: title.to_owned(),
            ..Self::default()
        }
    }
}

/// A piece of the paper.
#[derive(Clone, Debug)]
pub(crate) enum Block {
    Heading(u8, String),
    Text(Style, Vec<Span>),
    List(Style, Vec<Vec<Span>>),
    Panel(Panel),
    Table(Table),
    Figure {
        drawing: Drawing,
        alt: String,
        keep: bool,
    },
    Gallery(Gallery),
    Contents(String, u8),
    NewPage,
    Space(f32),
}

/// Paragraphs with a bar at their left, and perhaps a drawing at their head.
#[derive(Clone, Debug)]
pub(crate) struct Panel {
    pub shape: Option<Drawing>,
    pub bar: Color,
    pub texts: Vec<(Style, Vec<Span>)>,
}

/// Pictures beside and below each other, each with its caption.
#[derive(Clone, Debug, Default)]
pub struct Gallery {
    /// Pictures beside each other. There are two rows a page at most, so it is two pictures a page
    /// with one column and four with two.
    pub columns: usize,
    pub prints: Vec<Print>,
}

/// One picture of a gallery.
#[derive(Clone, Debug, Default)]
pub struct Print {
    pub picture: Option<Picture>,
    /// What stands in the picture's place where there is none.
    pub missing: String,
    /// What it shows, for those who can't see it.
    pub alt: String,
    pub caption: Vec<(Style, Vec<Span>)>,
}

impl Print {
    pub fn caption(&mut self, style: Style, text: impl Spans) {
        self.caption.push((style, text.spans()));
    }
}

/// A paper on its way.
#[derive(Clone, Debug)]
pub struct Paper {
    pub(crate) settings: Settings,
    pub(crate) blocks: Vec<Block>,
}

impl Paper {
    pub fn new(settings: Settings) -> Self {
        Self {
            settings,
            blocks: Vec::new(),
        }
    }

    /// A heading; level 1 is the paper's title. It is also a bookmark, and never stands alone at
    /// the foot of a page.
    pub fn heading(&mut self, level: u8, text: &str) {
        // Without letters it would be no heading, and its bookmark nothing to choose.
        if !text.trim().is_empty() {
            let text = text.to_owned();
            self.blocks.push(Block::Heading(level.clamp(1, 6), text));
        }
    }

    pub fn text(&mut self, style: Style, text: impl Spans) {
        self.blocks.push(Block::Text(style, text.spans()));
    }

    /// Items with a dot before each.
    pub fn list<T: Spans>(&mut self, style: Style, items: impl IntoIterator<Item = T>) {
        let items: Vec<Vec<Span>> = items.into_iter().map(Spans::spans).collect();
        if !items.is_empty() {
            self.blocks.push(Block::List(style, items));
        }
    }

    /// Paragraphs that stand out: a bar at their left, and perhaps a drawing at their head.
    pub fn panel(&mut self, shape: Option<Drawing>, bar: Color, texts: Vec<(Style, Vec<Span>)>) {
        self.blocks.push(Block::Panel(Panel { shape, bar, texts }));
    }

    pub fn table(&mut self, table: Table) {
        if !table.groups.is_empty() {
            self.blocks.push(Block::Table(table));
        }
    }

    /// A drawing across the page, made smaller where it is too large. `alt` says what it shows.
    pub fn figure(&mut self, drawing: Drawing, alt: &str) {
        self.put_figure(drawing, alt, false);
    }

    /// The same, never the last thing on a page.
    pub fn figure_kept(&mut self, drawing: Drawing, alt: &str) {
        self.put_figure(drawing, alt, true);
    }

    fn put_figure(&mut self, drawing: Drawing, alt: &str, keep: bool) {
        let alt = alt.to_owned();
        self.blocks.push(Block::Figure { drawing, alt, keep });
    }

    pub fn gallery(&mut self, gallery: Gallery) {
        if !gallery.prints.is_empty() {
            self.blocks.push(Block::Gallery(gallery));
        }
    }

    /// The headings down to a level, without the title, with their pages.
    pub fn contents(&mut self, title: &str, deepest: u8) {
        let title = title.to_owned();
        self.blocks.push(Block::Contents(title, deepest));
    }

    /// What follows begins on a new page, unless it does anyway.
    pub fn new_page(&mut self) {
        self.blocks.push(Block::NewPage);
    }

    pub fn space(&mut self, points: f32) {
        self.blocks.push(Block::Space(points.clamp(0.0, 200.0)));
    }

    /// Lays it out and writes it.
    ///
    /// # Errors
    /// [`Error::Pdf`] where the result would not be PDF/A: a mistake of ours.
    pub fn finish(self) -> Result<Pdf, Error> {
        let laid = Flow::lay(&self);
        write::write(&self.settings, laid)
    }
}
