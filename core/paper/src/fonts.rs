//! The embedded fonts, and which letters they have.
//!
//! PDF/A forbids a glyph that stands for "no such letter", and a reader must not take a box for a
//! letter. So every text is cleaned before it is set: what the fonts don't have is shown by its
//! number, `[U+4E2D]`, and counted.

use std::sync::Arc;

use icu_normalizer::ComposingNormalizerBorrowed;
use parley::FontContext;
use parley::fontique::{
    Blob, Charmap, Collection, CollectionOptions, FontInfoOverride, SourceCache,
};

const REGULAR: &[u8] = include_bytes!("../fonts/IBMPlexSans-Regular.ttf");
const BOLD: &[u8] = include_bytes!("../fonts/IBMPlexSans-SemiBold.ttf");
/// The name under which both are known here.
pub(crate) const FAMILY: &str = "paper";
/// How bold is told from regular.
pub(crate) const BOLD_WEIGHT: f32 = 600.0;

/// Regular or bold.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Weight {
    #[default]
    Regular,
    Bold,
}

/// Both fonts, ready to set and to embed.
pub(crate) struct Fonts {
    pub context: FontContext,
    regular: krilla::text::Font,
    bold: krilla::text::Font,
    /// Which letter is which glyph, in each font.
    letters: Vec<Charmap<'static>>,
}

impl Fonts {
    pub fn new() -> Self {
        let mut collection = Collection::new(CollectionOptions {
            shared: false,
            // What is installed must not change the paper.
            system_fonts: false,
        });
        let mut letters = Vec::new();
        for bytes in [REGULAR, BOLD] {
            let name = FontInfoOverride {
                family_name: Some(FAMILY),
                ..FontInfoOverride::default()
            };
            let families = collection.register_fonts(Blob::new(Arc::new(bytes)), Some(name));
            let fonts = families.iter().flat_map(|(_, fonts)| fonts);
            letters.extend(fonts.filter_map(|f| f.charmap_index().charmap(bytes)));
        }
        let font = |bytes: &'static [u8]| {
            krilla::text::Font::new(bytes.into(), 0).expect("the embedded font is whole")
        };
        Self {
            context: FontContext {
                collection,
                source_cache: SourceCache::default(),
            },
            regular: font(REGULAR),
            bold: font(BOLD),
            letters,
        }
    }

    pub fn embedded(&self, weight: Weight) -> krilla::text::Font {
        match weight {
            Weight::Regular => self.regular.clone(),
            Weight::Bold => self.bold.clone(),
        }
    }

    /// Text as it can be set: composed, without control characters, every letter in the fonts.
    /// Adds the number of letters that are not to `unknown`.
    pub fn clean(&self, text: &str, unknown: &mut usize) -> String {
        let composed = ComposingNormalizerBorrowed::new_nfc().normalize(text);
        let mut clean = String::with_capacity(composed.len());
        let mut letters = composed.chars().peekable();
        while let Some(letter) = letters.next() {
            match letter {
                '\r' if letters.peek() == Some(&'\n') => {}
                '\n' | '\r' | '\u{b}' | '\u{c}' | '\u{85}' | '\u{2028}' | '\u{2029}' => {
                    clean.push('\n');
                }
                '\t' => clean.push(' '),
                _ if letter.is_control() || unseen(letter) => {}
                _ if self.has(letter) => clean.push(letter),
                _ if letter.is_whitespace() => clean.push(' '),
                _ => {
                    *unknown += 1;
                    clean.push_str(&format!("[U+{:04X}]", u32::from(letter)));
                }
            }
        }
        clean
    }

    /// Whether both fonts have a letter.
    pub fn has(&self, letter: char) -> bool {
        // Private letters mean something else in every font.
        let private = matches!(u32::from(letter), 0xe000..=0xf8ff | 0xf0000..=0x0010_ffff);
        let glyph = |map: &Charmap<'_>| map.map(letter).is_some_and(|glyph| glyph != 0);
        !private && self.letters.len() == 2 && self.letters.iter().all(glyph)
    }
}

/// Marks that only steer how text is set: joiners, directions, variation selectors, tags.
fn unseen(letter: char) -> bool {
    matches!(
        u32::from(letter),
        0xad | 0x34f | 0x61c | 0x115f..=0x1160 | 0x17b4..=0x17b5 | 0x180b..=0x180f
            | 0x200b..=0x200f | 0x202a..=0x202e | 0x2060..=0x206f | 0x3164 | 0xfe00..=0xfe0f
            | 0xfeff | 0xffa0 | 0xfff0..=0xfffb | 0xfffe..=0xffff | 0x1bca0..=0x1bca3
            | 0x1d173..=0x1d17a | 0xe0000..=0xe0fff
    )
}
