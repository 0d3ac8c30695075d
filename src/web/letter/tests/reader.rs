//! Reads a file back: where each glyph stands and what it says. It knows of the writer only
//! what the standard says of any writer.

use std::collections::BTreeMap;

use lopdf::content::Content;
use lopdf::{Dictionary, Document, Object, ObjectId};

/// A run of text as one operator shows it.
#[derive(Debug, Clone)]
pub struct Shown {
    pub text: String,
    pub left: f32,
    pub right: f32,
    /// From the foot of the page.
    pub y: f32,
    pub size: f32,
    /// Not read out: repeated or ornament.
    pub artifact: bool,
    pub font: String,
    /// Width of each glyph, a share of the size, beside what it says.
    pub widths: Vec<(String, f32)>,
}

/// One page.
pub struct Page {
    pub width: f32,
    pub height: f32,
    pub shown: Vec<Shown>,
    /// Points of all paths.
    pub points: Vec<(f32, f32)>,
}

struct Type {
    /// Width of a glyph that is not listed.
    other: f32,
    widths: BTreeMap<u16, f32>,
    says: BTreeMap<u16, String>,
}

pub fn read(bytes: &[u8]) -> (Document, Vec<Page>) {
    let document = Document::load_mem(bytes).unwrap();
    let pages = document.get_pages().into_values().map(|id| page(&document, id)).collect();
    (document, pages)
}

/// All that the pages say outside of ornaments.
pub fn said_aloud(pages: &[Page]) -> String {
    pages.iter().flat_map(|page| &page.shown).filter(|shown| !shown.artifact).map(|shown| shown.text.as_str()).collect()
}

impl Shown {
    /// Where the last glyph that is no blank ends.
    pub fn end(&self) -> f32 {
        match self.widths.last() {
            Some((said, width)) if said == " " => self.right - width * self.size,
            _ => self.right,
        }
    }
}

type Matrix = [f32; 6];
const UNIT: Matrix = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];

fn times(a: Matrix, b: Matrix) -> Matrix {
    [
        a[0] * b[0] + a[1] * b[2],
        a[0] * b[1] + a[1] * b[3],
        a[2] * b[0] + a[3] * b[2],
        a[2] * b[1] + a[3] * b[3],
        a[4] * b[0] + a[5] * b[2] + b[4],
        a[4] * b[1] + a[5] * b[3] + b[5],
    ]
}

fn matrix(operands: &[Object]) -> Matrix {
    let numbers: Vec<f32> = operands.iter().map(|o| o.as_float().unwrap()).collect();
    numbers.try_into().unwrap()
}

fn page(document: &Document, id: ObjectId) -> Page {
    let dictionary = document.get_dictionary(id).unwrap();
    let corners: Vec<f32> =
        dictionary.get(b"MediaBox").unwrap().as_array().unwrap().iter().map(|o| o.as_float().unwrap()).collect();
    let types: BTreeMap<Vec<u8>, Type> =
        document.get_page_fonts(id).unwrap().into_iter().map(|(name, font)| (name, face(document, font))).collect();
    let content = Content::decode(&document.get_page_content(id)).unwrap();
    let mut page = Page { width: corners[2], height: corners[3], shown: Vec::new(), points: Vec::new() };
    let (mut ctm, mut stack) = (UNIT, Vec::new());
    let (mut text, mut font, mut size) = (UNIT, Vec::new(), 0.0_f32);
    let mut marks: Vec<bool> = Vec::new();
    let mut instead: Vec<Option<String>> = Vec::new();
    for operation in content.operations {
        let operands = &operation.operands;
        match operation.operator.as_str() {
            "q" => stack.push(ctm),
            "Q" => ctm = stack.pop().unwrap(),
            "cm" => ctm = times(matrix(operands), ctm),
            "BT" => text = UNIT,
            "Tm" => text = matrix(operands),
            "Tf" => (font, size) = (operands[0].as_name().unwrap().to_vec(), operands[1].as_float().unwrap()),
            "BMC" | "BDC" => {
                marks.push(operands[0].as_name().unwrap() == b"Artifact");
                let actual = operands.get(1).and_then(|o| o.as_dict().ok()).and_then(|d| d.get(b"ActualText").ok());
                instead.push(actual.map(|text| lopdf::decode_text_string(text).unwrap()));
            }
            "EMC" => {
                marks.pop().unwrap();
                // A text given instead that no glyph has taken up would be lost.
                assert!(instead.pop().unwrap().is_none_or(|text| text.is_empty()));
            }
            "m" | "l" | "c" | "v" | "y" => {
                for pair in operands.chunks(2) {
                    let at = times([1.0, 0.0, 0.0, 1.0, pair[0].as_float().unwrap(), pair[1].as_float().unwrap()], ctm);
                    page.points.push((at[4], at[5]));
                }
            }
            "Tj" | "TJ" => {
                let face = &types[&font];
                let mut shown = show(face, &operation.operands[0], size);
                if let Some(actual) = instead.last_mut().and_then(Option::as_mut) {
                    shown.0 = std::mem::take(actual);
                }
                let start = times(text, ctm);
                let end = times([1.0, 0.0, 0.0, 1.0, shown.2, 0.0], start);
                page.shown.push(Shown {
                    text: shown.0,
                    widths: shown.1,
                    left: start[4],
                    right: end[4],
                    y: start[5],
                    size,
                    artifact: marks.iter().any(|mark| *mark),
                    font: String::from_utf8(font.clone()).unwrap(),
                });
                text = times([1.0, 0.0, 0.0, 1.0, shown.2, 0.0], text);
            }
            "Td" | "TD" | "T*" | "'" | "\"" | "Tc" | "Tw" | "Tz" | "TL" | "Ts" | "Do" | "BI" => {
                panic!("an operator this reader has not learnt: {}", operation.operator)
            }
            _ => {}
        }
    }
    assert!(stack.is_empty() && marks.is_empty());
    page
}

/// What is said, the width of each glyph, and how far the pen moves.
fn show(face: &Type, operand: &Object, size: f32) -> (String, Vec<(String, f32)>, f32) {
    let (mut says, mut widths, mut moved) = (String::new(), Vec::new(), 0.0);
    let alone = [operand.clone()];
    for part in operand.as_array().map_or(&alone[..], Vec::as_slice) {
        if let Ok(bytes) = part.as_str() {
            for code in bytes.chunks(2) {
                let code = u16::from_be_bytes([code[0], code[1]]);
                let width = face.widths.get(&code).unwrap_or(&face.other) / 1000.0;
                let said = face.says.get(&code).cloned().unwrap_or_default();
                says.push_str(&said);
                widths.push((said, width));
                moved += width * size;
            }
        } else {
            moved -= part.as_float().unwrap() / 1000.0 * size;
        }
    }
    (says, widths, moved)
}

fn face(document: &Document, font: &Dictionary) -> Type {
    assert_eq!(font.get(b"Encoding").unwrap().as_name().unwrap(), b"Identity-H");
    let child = &font.get_deref(b"DescendantFonts", document).unwrap().as_array().unwrap()[0];
    let child = document.dereference(child).unwrap().1.as_dict().unwrap();
    let mut widths = BTreeMap::new();
    let listed = child.get_deref(b"W", document).unwrap().as_array().unwrap();
    let mut at = 0;
    while at < listed.len() {
        let first = u16::try_from(listed[at].as_i64().unwrap()).unwrap();
        if let Ok(several) = listed[at + 1].as_array() {
            for (step, width) in (0..).zip(several) {
                widths.insert(first + step, width.as_float().unwrap());
            }
            at += 2;
        } else {
            let last = u16::try_from(listed[at + 1].as_i64().unwrap()).unwrap();
            let width = listed[at + 2].as_float().unwrap();
            widths.extend((first..=last).map(|code| (code, width)));
            at += 3;
        }
    }
    let map = font.get_deref(b"ToUnicode", document).unwrap().as_stream().unwrap().decompressed_content().unwrap();
    let other = child.get(b"DW").map_or(1000.0, |width| width.as_float().unwrap());
    Type { other, widths, says: said(&String::from_utf8(map).unwrap()) }
}

/// The codes of a `ToUnicode` map: its `bfchar` and `bfrange` entries.
fn said(map: &str) -> BTreeMap<u16, String> {
    let mut says = BTreeMap::new();
    let mut within = "";
    for line in map.lines().map(str::trim) {
        if line.ends_with("beginbfchar") || line.ends_with("beginbfrange") {
            within = if line.ends_with("beginbfchar") { "char" } else { "range" };
            continue;
        }
        if line.starts_with("endbf") {
            within = "";
        }
        let numbers: Vec<&str> = line.split(['<', '>']).map(str::trim).filter(|part| !part.is_empty()).collect();
        let code = |at: usize| u16::from_str_radix(numbers[at], 16).unwrap();
        match within {
            "char" => drop(says.insert(code(0), utf16(numbers[1]))),
            "range" => {
                for (step, one) in (0..).zip(code(0)..=code(1)) {
                    let mut units = units(numbers[2]);
                    *units.last_mut().unwrap() += step;
                    says.insert(one, String::from_utf16(&units).unwrap());
                }
            }
            _ => {}
        }
    }
    says
}

fn units(hex: &str) -> Vec<u16> {
    let hex: Vec<char> = hex.chars().filter(|c| !c.is_whitespace()).collect();
    hex.chunks(4).map(|unit| u16::from_str_radix(&unit.iter().collect::<String>(), 16).unwrap()).collect()
}

fn utf16(hex: &str) -> String {
    String::from_utf16(&units(hex)).unwrap()
}
