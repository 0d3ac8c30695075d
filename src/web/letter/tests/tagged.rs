//! What readers by ear are told.

use std::collections::BTreeMap;

use lopdf::{Dictionary, Document, Object, ObjectId};

use super::reader::read;
use super::{pdf, samples};
use crate::web::letter::Letter;

/// The tags in reading order: how often each kind comes, and what content they hold.
#[derive(Default)]
struct Heard {
    kinds: BTreeMap<String, usize>,
    content: Vec<(ObjectId, i64)>,
}

fn hear(document: &Document, node: &Object, heard: &mut Heard, page: Option<ObjectId>) {
    let node = document.dereference(node).unwrap().1;
    if let Ok(several) = node.as_array() {
        return several.iter().for_each(|one| hear(document, one, heard, page));
    }
    if let Ok(mark) = node.as_i64() {
        return heard.content.push((page.unwrap(), mark));
    }
    let node = node.as_dict().unwrap();
    let page = node.get(b"Pg").and_then(Object::as_reference).ok().or(page);
    if let Ok(mark) = node.get(b"MCID") {
        return heard.content.push((page.unwrap(), mark.as_i64().unwrap()));
    }
    if let Ok(kind) = node.get(b"S") {
        *heard.kinds.entry(String::from_utf8(kind.as_name().unwrap().to_vec()).unwrap()).or_default() += 1;
    }
    if let Ok(children) = node.get(b"K") {
        hear(document, children, heard, page);
    }
}

fn heard(letter: &Letter) -> (Document, Heard) {
    let (document, _) = read(&pdf(letter).unwrap());
    let mut heard = Heard::default();
    let root = document.catalog().unwrap().get_deref(b"StructTreeRoot", &document).unwrap().clone();
    hear(&document, &root, &mut heard, None);
    (document, heard)
}

fn text(dictionary: &Dictionary, key: &[u8]) -> String {
    lopdf::decode_text_string(dictionary.get(key).unwrap()).unwrap()
}

fn metadata(document: &Document) -> String {
    let stream = document.catalog().unwrap().get_deref(b"Metadata", document).unwrap().as_stream().unwrap();
    String::from_utf8(stream.get_plain_content().unwrap()).unwrap()
}

#[test]
fn the_tags_hold_all_content_in_the_order_it_is_painted() {
    for letter in [samples::quote(), samples::long()] {
        let (document, heard) = heard(&letter);
        let (_, pages) = read(&pdf(&letter).unwrap());
        let order: Vec<ObjectId> = document.get_pages().into_values().collect();
        let wanted: Vec<(ObjectId, i64)> = order
            .iter()
            .zip(&pages)
            .flat_map(|(id, page)| (0..).zip(page.shown.iter().filter(|shown| !shown.artifact)).map(|(mark, _)| (*id, mark)))
            .collect();
        assert_eq!(heard.content, wanted);
    }
}

#[test]
fn rows_and_heads_are_told_apart() {
    let (_, heard) = heard(&samples::quote());
    // Facts 3, head and rows 6, sums 3, stages 3; heads: of rows 3 + 3 + 3, of columns 4.
    let counts =
        [("Table", 4), ("TR", 15), ("TH", 13), ("TD", 3 + 5 * 4 + 3 + 2 * 3), ("H1", 1), ("H2", 1), ("THead", 1), ("TBody", 1)];
    for (kind, count) in counts {
        assert_eq!(heard.kinds.get(kind), Some(&count), "{kind}");
    }
    // Name, five lines of address, two paragraphs, two terms, two to sign.
    assert_eq!(heard.kinds.get("P"), Some(&12));
}

#[test]
fn title_and_language_are_kept() {
    let (document, _) = heard(&samples::quote());
    let information = document.trailer.get_deref(b"Info", &document).unwrap().as_dict().unwrap();
    assert_eq!(text(information, b"Title"), "Quote 26-Q014, version 2");
    assert_eq!(text(information, b"Author"), "Harrow Lane Foundry");
    assert_eq!(text(information, b"CreationDate"), "D:20261128000000Z");
    assert_eq!(text(document.catalog().unwrap(), b"Lang"), "en-GB");
    let (document, _) = heard(&Letter { lang: "no such tag".into(), ..samples::quote() });
    assert_eq!(text(document.catalog().unwrap(), b"Lang"), "en");
}

#[test]
fn the_standards_are_named() {
    let (document, _) = heard(&samples::quote());
    let dated = metadata(&document);
    assert!(dated.contains("<pdfuaid:part>1<") && dated.contains("<pdfaid:part>2<") && dated.contains("<pdfaid:conformance>A<"));
    let (document, _) = heard(&Letter { dated: None, ..samples::quote() });
    let undated = metadata(&document);
    assert!(undated.contains("<pdfuaid:part>1<") && !undated.contains("<pdfaid:part>") && !undated.contains("CreateDate"));
}
