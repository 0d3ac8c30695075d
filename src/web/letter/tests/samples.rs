//! Letters to try.

use crate::web::letter::{Day, Head, Letter, Mark, Paper, Row};

pub fn strings(texts: &[&str]) -> Vec<String> {
    texts.iter().map(|text| (*text).to_owned()).collect()
}

pub fn row(what: &str, detail: &[&str], count: &str, each: &str, amount: &str) -> Row {
    Row { what: what.into(), detail: strings(detail), count: count.into(), each: each.into(), amount: amount.into() }
}

fn pair(name: &str, value: &str) -> (String, String) {
    (name.into(), value.into())
}

/// A quote as a shop would send it.
pub fn quote() -> Letter {
    let stage = |what: &str, when: &str, amount: &str| (what.to_owned(), when.to_owned(), amount.to_owned());
    Letter {
        shop: Head {
            name: "Harrow Lane Foundry".into(),
            lines: strings(&[
                "14 Harrow Lane",
                "Oakbridge OX9 4TT",
                "+44 1632 960 114",
                "office@harrowlane.example",
                "VAT GB 000 1234 56",
            ]),
            mark: Some(Mark { letters: "HLF".into() }),
        },
        title: "Quote 26-Q014, version 2".into(),
        facts: vec![
            pair("Date", "28 November 2026"),
            pair("For", "Zofia Łukasiewicz, Atelier Żuraw, ul. Młyńska 7, 61-730 Poznań"),
            pair("Valid until", "31 January 2027"),
        ],
        opening: strings(&[
            "Thank you for the two plasters and for your visit. We are glad to offer the casting of the edition in silicon bronze, with chasing and patina as we settled at the bench. Prices hold for the patterns as we saw them on 21 November.",
            "Each piece is cast in ceramic shell from your plaster, cut from its gates, welded where parts meet, and chased so that no seam is seen. The first piece is shown to you before the others are poured.",
        ]),
        heads: ["What", "Count", "Each", "Amount"].map(str::to_owned),
        table: vec![
            row(
                "Rubber mould of “Heron”, two parts with plaster jacket",
                &["Kept dry for you for five years; then we ask."],
                "1",
                "£640.00",
                "£640.00",
            ),
            row(
                "“Heron”, edition of four",
                &[
                    "Silicon bronze, about 11.4 kg each, height 62 cm, wall 4–5 mm",
                    "Cast in three parts, welded, chased; steel pin Ø 12 mm, tapped M10 × 25",
                ],
                "4",
                "£1,485.00",
                "£5,940.00",
            ),
            row("Patina, brown on black, waxed", &["Two coats of paste wax, ½ h cure between"], "4", "£180.00", "£720.00"),
            row("Base plate, aluminium, 250 × 180 × 8 mm", &["Flat to ± 0.2 mm, grain 80 µm"], "4", "£62.50", "£250.00"),
            row("Crate and carriage to Poznań", &[], "1", "£410.00", "£410.00"),
        ],
        sums: vec![
            ("Net".into(), "£7,960.00".into(), false),
            ("VAT, 0 % (export)".into(), "£0.00".into(), false),
            ("Total".into(), "£7,960.00".into(), true),
        ],
        stages_title: "Payment".into(),
        stages: vec![
            stage("With your order", "on acceptance", "£2,388.00"),
            stage("When the first piece is shown", "about 5 March 2027", "£2,786.00"),
            stage("Before carriage", "about 16 April 2027", "£2,786.00"),
        ],
        terms: strings(&[
            "Weights are estimates from the plaster; the price does not follow them unless the pattern changes. A casting that fails with us is poured again at our cost, and the dates then move by the weeks it takes.",
            "Moulds and patterns stay yours. Copyright in the work stays with the sculptor, and we cast no piece beyond the edition.",
        ]),
        sign: strings(&["Accepted: name and signature", "Date"]),
        foot: "Quote 26-Q014 v2 · page {page} of {pages}".into(),
        lang: "en-GB".into(),
        dated: Some(Day { year: 2026, month: 11, day: 28 }),
        paper: Paper::A4,
    }
}

/// A long quote in German and several alphabets.
pub fn long() -> Letter {
    let mut letter = quote();
    letter.lang = "de-AT".into();
    letter.paper = Paper::Letter;
    letter.title = "Angebot 26-Q031, Fassung 1".into();
    letter.table = (1..=60)
        .map(|n| {
            let detail = format!("Teil {n}: Durchmesser ⌀ {} mm, Wandstärke ≤ 5 mm, Ωmega Ђорђе Жанна Škoda", n * 7);
            row(
                &format!("Türgriff Nr. {n} nach Modell „Großmutter“, mit Übermaß für die Nacharbeit"),
                &[&detail],
                &format!("{} Stück", n * 3),
                &format!("{},50 €", n * 17),
                &format!("{}.{:03},50 €", n, n * 11),
            )
        })
        .collect();
    letter
}

/// A letter with nothing on it.
pub fn blank() -> Letter {
    Letter {
        shop: Head { name: String::new(), lines: Vec::new(), mark: None },
        title: String::new(),
        facts: Vec::new(),
        opening: Vec::new(),
        heads: Default::default(),
        table: Vec::new(),
        sums: Vec::new(),
        stages_title: String::new(),
        stages: Vec::new(),
        terms: Vec::new(),
        sign: Vec::new(),
        foot: String::new(),
        lang: String::new(),
        dated: None,
        paper: Paper::A4,
    }
}
