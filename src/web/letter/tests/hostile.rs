//! What nobody writes on a letter, written on one.

use proptest::prelude::*;

use super::reader::{read, said_aloud};
use super::{pages, samples, within_margins};
use crate::web::letter::{Day, Head, Letter, Mark, Paper, Row, pdf, texts};

/// Signs the type lacks, letters from right to left, controls, invisible ones, loose accents.
pub const STRANGE: &str = "fire \u{1F525} family \u{1F468}\u{200D}\u{1F469}\u{200D}\u{1F467} שלום عربى 銅 nul \0 bell \u{7} \u{202E}evil\u{202C} \u{FEFF}\u{FFFE}\u{E000}\u{10FFFF} \u{301}\u{301}\u{1F1E6} a\u{300}\u{301}\u{302}\u{303}\u{304} \r\n\t\u{B}\u{C}\u{85}\u{2028} end";

/// A letter on which every text is this one.
pub fn everywhere(text: &str) -> Letter {
    let own = || text.to_owned();
    Letter {
        shop: Head { name: own(), lines: vec![own(), own()], mark: Some(Mark { letters: own() }) },
        title: own(),
        facts: vec![(own(), own()); 2],
        opening: vec![own(); 2],
        heads: std::array::from_fn(|_| own()),
        table: vec![Row { what: own(), detail: vec![own(); 2], count: own(), each: own(), amount: own() }; 2],
        sums: vec![(own(), own(), false), (own(), own(), true)],
        stages_title: own(),
        stages: vec![(own(), own(), own()); 2],
        terms: vec![own()],
        sign: vec![own(); 4],
        foot: own(),
        lang: own(),
        dated: Some(Day { year: 2026, month: 99, day: 0 }),
        paper: Paper::Letter,
    }
}

/// Letters and figures, sorted: a row taller than a page is painted page by page, not cell by cell.
fn kept(text: &str) -> String {
    let mut kept: Vec<char> = text.chars().filter(char::is_ascii_alphanumeric).collect();
    kept.sort_unstable();
    kept.into_iter().collect()
}

fn keeps_its_letters(letter: &Letter) {
    let (_, pages) = read(&pdf(letter).unwrap());
    within_margins(&pages);
    let mut wanted: Vec<&str> = texts(letter).collect();
    wanted.pop();
    if letter.shop.mark.is_some() {
        wanted.remove(0);
    }
    assert_eq!(kept(&said_aloud(&pages)), kept(&wanted.concat()));
}

#[test]
fn strange_texts_are_set() {
    for text in [
        "",
        " ",
        "\n",
        "\0",
        "\u{FFFD}",
        "\u{301}",
        "\u{200D}",
        "🔥",
        "שלום",
        "{page}{pages}",
        "a\n\n\n\nb",
        "-",
        "\u{A0}",
        STRANGE,
    ] {
        let letter = everywhere(text);
        keeps_its_letters(&letter);
        assert_eq!(pdf(&letter), pdf(&letter));
    }
}

#[test]
fn what_the_type_lacks_is_seen() {
    let pages = pages(&Letter { opening: vec!["a\u{1F525}b \0c\u{200B}d שלום".into()], ..samples::blank() });
    assert_eq!(said_aloud(&pages), "a\u{FFFD}b cd \u{FFFD}\u{FFFD}\u{FFFD}\u{FFFD}");
    let seen = pages[0].shown.iter().flat_map(|shown| &shown.widths).filter(|(said, _)| said == "\u{FFFD}");
    assert!(seen.into_iter().all(|(_, width)| *width > 0.5));
}

#[test]
fn a_long_word_is_broken_in_every_place() {
    let word: String = (0..10_000_u32).map(|n| char::from_digit(10 + n % 26, 36).unwrap()).collect();
    keeps_its_letters(&everywhere(&word[..3_000]));
    let letter = Letter { opening: vec![word.clone()], ..samples::blank() };
    assert_eq!(said_aloud(&pages(&letter)), word);
}

#[test]
fn a_long_word_is_broken_after_a_hyphen_where_one_is_near() {
    let letter = Letter { opening: vec!["heron-and-crane-".repeat(12)], ..samples::blank() };
    let pages = pages(&letter);
    assert!(pages[0].shown.len() > 1 && pages[0].shown.iter().all(|shown| shown.text.ends_with('-')));
}

#[test]
fn a_row_taller_than_a_page_flows_on() {
    let mut letter = samples::quote();
    letter.table[1].detail = vec!["tall ".repeat(4_000).trim_end().to_owned()];
    keeps_its_letters(&letter);
    assert!(pages(&letter).len() > 3);
}

fn any_letter() -> impl Strategy<Value = Letter> {
    let text = || prop_oneof![any::<String>(), "[a-zA-Z0-9 .,/-]{0,90}", "[a-z]{60,200}"];
    let row = (text(), prop::collection::vec(text(), 0..3), text(), text(), text())
        .prop_map(|(what, detail, count, each, amount)| Row { what, detail, count, each, amount });
    let head = (text(), prop::collection::vec(text(), 0..4), prop::option::of(text())).prop_map(|(name, lines, mark)| Head {
        name,
        lines,
        mark: mark.map(|letters| Mark { letters }),
    });
    let figures = (prop::collection::vec(row, 0..9), prop::collection::vec((text(), text(), any::<bool>()), 0..4));
    let words = (text(), prop::collection::vec((text(), text()), 0..4), prop::collection::vec(text(), 0..3), text(), text());
    let after = (prop::collection::vec((text(), text(), text()), 1..4), prop::collection::vec(text(), 0..4), text());
    (head, figures, words, after, any::<bool>()).prop_map(
        |(shop, (table, sums), (title, facts, opening, foot, lang), (stages, terms, stages_title), a4)| {
            // Without rows no heads are set.
            let heads =
                if table.is_empty() { Default::default() } else { ["What", "Count", "Each", "Amount"].map(str::to_owned) };
            let paper = if a4 { Paper::A4 } else { Paper::Letter };
            Letter {
                shop,
                title,
                facts,
                opening,
                heads,
                table,
                sums,
                stages_title,
                stages,
                sign: terms.clone(),
                terms,
                foot,
                lang,
                dated: None,
                paper,
            }
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    #[test]
    fn any_letter_is_set_within_its_margins(letter in any_letter()) {
        keeps_its_letters(&letter);
    }
}
