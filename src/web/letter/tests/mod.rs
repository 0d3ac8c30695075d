//! Letters read back by another library than the one that wrote them.

mod hostile;
mod reader;
mod samples;
mod tagged;

use reader::{Page, Shown, read, said_aloud};

use super::{Letter, LetterError, Paper, pdf, texts};

fn pages(letter: &Letter) -> Vec<Page> {
    read(&pdf(letter).unwrap()).1
}

/// Nothing is lost and nothing comes twice: all strings, one after another, blanks and all. The
/// mark and the foot are ornaments and looked for apart.
fn comes_back(letter: &Letter) {
    let mut wanted: Vec<&str> = texts(letter).collect();
    assert_eq!(wanted.pop(), Some(letter.foot.as_str()));
    let mark = letter.shop.mark.as_ref().map(|mark| mark.letters.as_str());
    assert_eq!(Some(wanted.remove(0)), mark);
    let pages = pages(letter);
    assert_eq!(said_aloud(&pages), wanted.concat());
    let ornaments =
        |page: &Page| page.shown.iter().filter(|shown| shown.artifact).map(|shown| shown.text.clone()).collect::<Vec<_>>();
    assert_eq!(ornaments(&pages[0]).first().map(String::as_str), mark);
    for (at, page) in pages.iter().enumerate() {
        let foot = letter.foot.replace("{page}", &(at + 1).to_string()).replace("{pages}", &pages.len().to_string());
        assert_eq!(ornaments(page).last(), Some(&foot));
    }
}

/// Text and rules stand within the margins of 64 points left and right, 50 above, 64 below; the
/// foot alone stands lower.
fn within_margins(pages: &[Page]) {
    for page in pages {
        for shown in &page.shown {
            assert!(shown.left > 64.0 - 0.01 && shown.end() < page.width - 64.0 + 0.05, "{shown:?}");
            let least = if shown.artifact && shown.y < 45.0 { 30.0 } else { 64.0 };
            assert!(shown.y > least && shown.y + shown.size * 0.7 < page.height - 50.0, "{shown:?}");
        }
        for (x, y) in &page.points {
            assert!(*x > 64.0 - 0.01 && *x < page.width - 64.0 + 0.01 && *y > 64.0 && *y < page.height - 50.0 + 0.01, "{x} {y}");
        }
    }
}

fn find<'a>(pages: &'a [Page], text: &str) -> (usize, &'a Shown) {
    let found = pages.iter().enumerate().flat_map(|(at, page)| page.shown.iter().map(move |shown| (at, shown)));
    found.into_iter().find(|(_, shown)| shown.text.trim_end() == text).unwrap_or_else(|| panic!("{text} stands nowhere"))
}

#[test]
fn every_string_comes_back_in_order() {
    for paper in [Paper::A4, Paper::Letter] {
        comes_back(&Letter { paper, ..samples::quote() });
        comes_back(&Letter { paper, ..samples::long() });
    }
}

#[test]
fn letters_of_many_alphabets_are_shown() {
    let words = "Ø µ ½ ü ł Ž ß Þ ı ț ə Ǆ Αλφα Ωμέγα Жанна Љубав Ґанок Қала ế ≤ ≥ ≈ ± × − √ ⌀ → № € ₹ ₴ “a” „b“ «c» — … ✓";
    let letter = Letter { opening: vec![words.into()], ..samples::quote() };
    comes_back(&letter);
}

#[test]
fn a_letter_with_its_accent_apart_is_read_as_it_was_written() {
    let letter = Letter { opening: vec!["Cafe\u{301} Café Zu\u{308}rich Zürich".into()], ..samples::quote() };
    comes_back(&letter);
}

#[test]
fn pages_are_counted() {
    assert_eq!(pages(&samples::quote()).len(), 1);
    assert_eq!(pages(&samples::blank()).len(), 1);
    let long = pages(&samples::long());
    // Sixty rows of two lines of 14 and two of 11.5 points, and 7 around them, in 678 points: eleven to a page.
    assert_eq!(long.len(), 7);
}

#[test]
fn a_sheet_has_its_size() {
    for (paper, width, height) in
        [(Paper::A4, 210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0), (Paper::Letter, 8.5 * 72.0, 11.0 * 72.0)]
    {
        for page in pages(&Letter { paper, ..samples::long() }) {
            assert!((page.width - width).abs() < 0.01 && (page.height - height).abs() < 0.01);
        }
    }
}

#[test]
fn nothing_stands_beyond_the_margins() {
    for letter in [samples::quote(), samples::long(), Letter { paper: Paper::A4, ..samples::long() }] {
        within_margins(&pages(&letter));
    }
}

#[test]
fn a_row_stays_whole_under_a_head() {
    let letter = samples::long();
    let pages = pages(&letter);
    let mut rows_on = vec![0; pages.len()];
    for n in 1..=60 {
        let (first, _) = find(&pages, &format!("{} Stück", n * 3));
        let whole: String = pages[first].shown.iter().map(|shown| shown.text.as_str()).collect();
        let row = &letter.table[n - 1];
        for text in [&row.what, &row.detail[0], &row.each, &row.amount] {
            assert!(whole.contains(text.as_str()), "{text}");
        }
        rows_on[first] += 1;
    }
    for (page, rows) in pages.iter().zip(rows_on) {
        let heads: Vec<&Shown> = page.shown.iter().filter(|shown| letter.heads.contains(&shown.text)).collect();
        assert_eq!(heads.len(), if rows > 0 { 4 } else { 0 });
    }
    // The sums do not leave the last row behind.
    assert_eq!(find(&pages, "180 Stück").0, find(&pages, "Total").0);
}

#[test]
fn figures_stand_under_one_another() {
    for letter in [samples::quote(), samples::long()] {
        let pages = pages(&letter);
        let edge = letter.paper.size().0 - 64.0;
        let shown: Vec<&Shown> = pages.iter().flat_map(|page| &page.shown).collect();
        let ends = |text: &str, edge: f32| shown.iter().any(|shown| shown.text == text && (shown.right - edge).abs() < 0.1);
        let of = |text: &str| find(&pages, text).1.right;
        let [_, count, each, _] = &letter.heads;
        for row in &letter.table {
            assert!(ends(&row.amount, edge) && ends(&row.each, of(each)) && ends(&row.count, of(count)), "{row:?}");
        }
        for text in letter.sums.iter().map(|sum| &sum.1).chain(letter.stages.iter().map(|stage| &stage.2)) {
            assert!(ends(text, edge), "{text}");
        }
        let digits = pages.iter().flat_map(|page| &page.shown).flat_map(|shown| &shown.widths);
        let widths: Vec<f32> =
            digits.filter(|(said, _)| said.len() == 1 && said.as_bytes()[0].is_ascii_digit()).map(|(_, width)| *width).collect();
        assert!(widths.len() > 50 && widths.iter().all(|width| (width - widths[0]).abs() < 1e-6));
    }
}

#[test]
fn strong_and_regular_are_two_types() {
    let pages = pages(&samples::quote());
    let total = &find(&pages, "Total").1.font;
    assert_ne!(total, &find(&pages, "Net").1.font);
    assert_eq!(total, &find(&pages, "Payment").1.font);
}

#[test]
fn the_same_letter_gives_the_same_bytes() {
    let letter = samples::long();
    assert_eq!(pdf(&letter), pdf(&letter.clone()));
    assert_ne!(pdf(&letter), pdf(&Letter { opening: vec!["Otherwise".into()], ..letter }));
}

#[test]
fn what_is_too_large_is_refused() {
    let rows = |count| Letter { table: vec![samples::row("x", &[], "1", "2", "3"); count], ..samples::quote() };
    assert!(pdf(&rows(200)).is_ok());
    assert_eq!(pdf(&rows(201)), Err(LetterError::Rows(201)));
    let text = |bytes: usize| Letter { terms: vec!["long ".repeat(bytes / 5)], ..samples::blank() };
    assert!(pdf(&text(399_995)).is_ok());
    assert_eq!(pdf(&text(400_005)), Err(LetterError::Text(400_005)));
    let feeds = Letter { terms: vec!["a\n".repeat(100_000)], ..samples::blank() };
    assert_eq!(pdf(&feeds), Err(LetterError::Pages));
}

/// Keeps sample letters in the folder that `POURBOOK_LETTERS` names, to be looked at.
#[test]
fn samples_to_look_at() {
    let Some(folder) = std::env::var_os("POURBOOK_LETTERS").map(std::path::PathBuf::from) else { return };
    for (name, letter) in
        [("quote", samples::quote()), ("long", samples::long()), ("hostile", hostile::everywhere(hostile::STRANGE))]
    {
        let start = std::time::Instant::now();
        let bytes = pdf(&letter).unwrap();
        println!("{name}: {:?}, {} bytes", start.elapsed(), bytes.len());
        std::fs::write(folder.join(name).with_extension("pdf"), bytes).unwrap();
    }
}
