//! The type: two weights of one family, and the shaping of a word into glyphs with their true
//! widths. Kerning is used between letters; a word with a figure in it is set without, so that
//! figures stay of one width.

use harfrust::{BufferClusterLevel, Direction, Feature, FontRef, ShapeOptions, ShaperData, Tag, UnicodeBuffer};
use krilla::text::{Font, GlyphId, KrillaGlyph};

use super::LetterError;

static REGULAR: &[u8] = include_bytes!("fonts/letter-regular.ttf");
static STRONG: &[u8] = include_bytes!("fonts/letter-strong.ttf");

/// Height of a capital, as a share of the size.
pub const CAPITAL: f32 = 0.714;
/// Stands for what the type lacks.
pub const REPLACEMENT: char = '\u{FFFD}';

/// The glyph that a font shows for what it lacks. A file made to last may not use it.
const MISSING: u32 = 0;

/// Regular or strong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weight {
    Regular,
    Strong,
}

/// Both weights, ready to set.
pub struct Faces {
    regular: Face,
    strong: Face,
}

struct Face {
    font: Font,
    outlines: FontRef<'static>,
    shaping: ShaperData,
}

/// A word as glyphs. Widths are shares of the size of the type.
#[derive(Debug, Clone, Default)]
pub struct Shaped {
    /// What the glyphs stand for: the word, with � for what the type lacks.
    pub text: String,
    /// The glyphs, each naming the bytes of `text` it stands for.
    pub glyphs: Vec<KrillaGlyph>,
    /// Sum of the advances.
    pub width: f32,
}

impl Faces {
    /// Reads both weights.
    pub fn load() -> Result<Self, LetterError> {
        Ok(Self { regular: Face::load(REGULAR)?, strong: Face::load(STRONG)? })
    }

    /// The font that the file embeds.
    pub fn font(&self, weight: Weight) -> Font {
        self.of(weight).font.clone()
    }

    /// Shapes a word. Where the type lacks a character, � stands instead.
    pub fn shape(&self, weight: Weight, word: &str) -> Shaped {
        // Figures stay of one width.
        self.shaped(weight, word, !word.bytes().any(|b| b.is_ascii_digit()))
    }

    /// Shapes a word without kerning, so that its parts are as wide alone as in it.
    pub fn shape_loose(&self, weight: Weight, word: &str) -> Shaped {
        self.shaped(weight, word, false)
    }

    fn shaped(&self, weight: Weight, word: &str, kerned: bool) -> Shaped {
        let face = self.of(weight);
        let shaped = face.shape(word, kerned);
        if shaped.glyphs.iter().all(|glyph| glyph.glyph_id.to_u32() != MISSING) {
            return shaped;
        }
        face.shape(&face.replaced(word), kerned)
    }

    const fn of(&self, weight: Weight) -> &Face {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Strong => &self.strong,
        }
    }
}

impl Face {
    fn load(bytes: &'static [u8]) -> Result<Self, LetterError> {
        let broken = || LetterError::Writing("the type cannot be read".to_owned());
        let outlines = FontRef::new(bytes).map_err(|_| broken())?;
        let font = Font::new(bytes.to_vec().into(), 0).ok_or_else(broken)?;
        Ok(Self { font, shaping: ShaperData::new(&outlines), outlines })
    }

    fn shape(&self, word: &str, kerned: bool) -> Shaped {
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(word);
        buffer.guess_segment_properties();
        buffer.set_direction(Direction::LeftToRight);
        buffer.set_cluster_level(BufferClusterLevel::MonotoneCharacters);
        let features = [Feature::new(Tag::new(b"kern"), u32::from(kerned), ..)];
        let shaper = self.shaping.shaper(&self.outlines).build();
        let done = shaper.shape(buffer, ShapeOptions::new().features(&features));

        let em = self.font.units_per_em();
        let starts: Vec<usize> = done.glyph_infos().iter().map(|info| info.cluster as usize).collect();
        let mut glyphs = Vec::with_capacity(starts.len());
        for (at, (info, place)) in done.glyph_infos().iter().zip(done.glyph_positions()).enumerate() {
            let start = info.cluster as usize;
            let end = starts.iter().skip(at).find(|next| **next > start).map_or(word.len(), |next| *next);
            let (advance, x, y) = (place.x_advance as f32 / em, place.x_offset as f32 / em, place.y_offset as f32 / em);
            glyphs.push(KrillaGlyph::new(GlyphId::new(info.glyph_id), advance, x, y, 0.0, start..end, None));
        }
        let width = glyphs.iter().map(|glyph| glyph.x_advance).sum();
        Shaped { text: word.to_owned(), glyphs, width }
    }

    /// The word, each character that has no glyph by itself replaced by �.
    fn replaced(&self, word: &str) -> String {
        let has =
            |c: char| self.shape(c.encode_utf8(&mut [0; 4]), false).glyphs.iter().all(|glyph| glyph.glyph_id.to_u32() != MISSING);
        word.chars().map(|c| if has(c) { c } else { REPLACEMENT }).collect()
    }
}
