//! Pages into the file.

use krilla::configure::{Accessibility, Archival, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::error::KrillaError;
use krilla::geom::{Path, PathBuilder, Point};
use krilla::metadata::{DateTime, Metadata};
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Stroke;
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use krilla::{Document, SerializeSettings};

use super::clean::{clean, short};
use super::face::Faces;
use super::flow::Ink;
use super::lines::{Line, one};
use super::parts::{SIDE, SMALL, TOP};
use super::tags::{Place, Tags};
use super::{Day, Letter, LetterError};

/// Width of a rule.
const RULE: f32 = 0.6;
/// Width of the ring; a thin one stands within.
const BAND: f32 = 1.4;
/// The foot's baseline over the lower edge of the sheet.
const FOOT: f32 = 38.0;
/// Title of a letter that has none: the standard asks for one.
const UNTITLED: &str = "–";

/// Paints all pages and gives the file.
pub fn paint(letter: &Letter, faces: &Faces, pages: Vec<Vec<Ink>>, mut tags: Tags) -> Result<Vec<u8>, LetterError> {
    let standards = ConfigurationBuilder::new().with_accessibility_validator(Accessibility::UA1);
    let standards = if letter.dated.is_some() { standards.with_archival_validator(Archival::A2_A) } else { standards };
    let configuration = standards.finish().map_err(|error| LetterError::Writing(format!("{error:?}")))?;
    let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let (width, height) = letter.paper.size();
    let count = pages.len();
    for (at, inks) in pages.into_iter().enumerate() {
        let settings = PageSettings::from_wh(width, height).ok_or_else(|| LetterError::Writing("no such sheet".to_owned()))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for ink in inks {
            put(&mut surface, faces, ink, &mut tags);
        }
        foot(&mut surface, faces, letter, at + 1, count);
        surface.finish();
        page.finish();
    }
    let lang = language(&letter.lang);
    describe(&mut document, letter, lang);
    document.set_tag_tree(tags.tree(lang));
    document.finish().map_err(|error| LetterError::Writing(reason(&error)))
}

fn reason(error: &KrillaError) -> String {
    match error {
        KrillaError::Validation(faults) => format!("{:?}", faults.iter().map(|(fault, _)| fault).collect::<Vec<_>>()),
        other => other.to_string(),
    }
}

fn put(surface: &mut Surface, faces: &Faces, ink: Ink, tags: &mut Tags) {
    match ink {
        Ink::Text { x, y, line, place } => text(surface, faces, &line, (x + SIDE, y + TOP), place, tags),
        Ink::Rule { from, to, y } => {
            let mut path = PathBuilder::new();
            path.move_to(from + SIDE, y + TOP);
            path.line_to(to + SIDE, y + TOP);
            stroke(surface, path.finish(), RULE);
        }
        Ink::Ring { x, y, radius } => {
            stroke(surface, ring(x + SIDE, y + TOP, radius - BAND / 2.0), BAND);
            stroke(surface, ring(x + SIDE, y + TOP, radius - 2.6 * BAND), RULE);
        }
    }
}

fn text(surface: &mut Surface, faces: &Faces, line: &Line, (x, y): (f32, f32), place: Place, tags: &mut Tags) {
    if line.glyphs.is_empty() {
        return;
    }
    let tag = match place {
        Place::In(_) => ContentTag::Span(SpanTag::empty()),
        Place::Ornament => ContentTag::Artifact(Artifact::with_kind(ArtifactType::PaginationOther)),
        Place::Foot => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Footer)),
    };
    let mark = surface.start_tagged(tag);
    surface.draw_glyphs(Point::from_xy(x, y), &line.glyphs, faces.font(line.style.weight), &line.text, line.style.size, false);
    surface.end_tagged();
    if let Place::In(node) = place {
        tags.mark(node, mark);
    }
}

fn foot(surface: &mut Surface, faces: &Faces, letter: &Letter, page: usize, pages: usize) {
    let (width, height) = letter.paper.size();
    let words = letter.foot.replace("{page}", &page.to_string()).replace("{pages}", &pages.to_string());
    if let Some(line) = one(faces, &words, SMALL, width - 2.0 * SIDE) {
        text(surface, faces, &line, (SIDE, height - FOOT), Place::Foot, &mut Tags::default());
    }
}

fn stroke(surface: &mut Surface, path: Option<Path>, width: f32) {
    let Some(path) = path else { return };
    surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)));
    surface.set_fill(None);
    surface.set_stroke(Some(Stroke { width, ..Stroke::default() }));
    surface.draw_path(&path);
    surface.set_stroke(None);
    surface.end_tagged();
}

fn ring(x: f32, y: f32, radius: f32) -> Option<Path> {
    /// How far the controls of a quarter of a circle stand from its ends.
    const ARC: f32 = 0.552_28;
    let at = |across: f32, down: f32| (x + radius * across, y + radius * down);
    let mut path = PathBuilder::new();
    path.move_to(x, y - radius);
    let mut curve = |a: (f32, f32), b: (f32, f32), c: (f32, f32)| path.cubic_to(a.0, a.1, b.0, b.1, c.0, c.1);
    curve(at(ARC, -1.0), at(1.0, -ARC), at(1.0, 0.0));
    curve(at(1.0, ARC), at(ARC, 1.0), at(0.0, 1.0));
    curve(at(-ARC, 1.0), at(-1.0, ARC), at(-1.0, 0.0));
    curve(at(-1.0, -ARC), at(-ARC, -1.0), at(0.0, -1.0));
    path.close();
    path.finish()
}

fn describe(document: &mut Document, letter: &Letter, lang: &str) {
    let title = Some(short(&letter.title, 200)).filter(|title| !title.is_empty()).unwrap_or_else(|| UNTITLED.to_owned());
    let author = short(&letter.shop.name, 200);
    let metadata = Metadata::new()
        .title(title.clone())
        .language(lang.to_owned())
        .document_id(format!("{author}\n{title}\n{}", clean(&letter.foot)));
    let metadata = if author.is_empty() { metadata } else { metadata.authors(vec![author]) };
    document.set_metadata(match letter.dated {
        Some(Day { year, month, day }) => metadata.creation_date(DateTime::new(year).month(month).day(day)),
        None => metadata,
    });
    let mut outline = Outline::new();
    outline.push_child(OutlineNode::new(title, XyzDestination::new(0, Point::from_xy(SIDE, TOP))));
    document.set_outline(outline);
}

/// The language as a tag that readers know the form of.
fn language(lang: &str) -> &str {
    let mut parts = lang.split('-');
    let first = parts.next().is_some_and(|part| (2..=3).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_alphabetic()));
    let others = parts.all(|part| (1..=8).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_alphanumeric()));
    if first && others && lang.len() <= 35 { lang } else { "en" }
}
