//! Text as it may be set: no control characters, no invisible ones, single spaces.

/// The text with its line feeds kept, its other control and invisible characters dropped, runs
/// of blanks made one, and nothing blank at the ends of a line. Of empty lines one is kept.
pub fn clean(text: &str) -> String {
    let text = text.replace("\r\n", "\n").replace(['\r', '\u{2028}', '\u{2029}', '\u{85}'], "\n");
    let mut out = String::with_capacity(text.len());
    for line in text.trim_matches(is_blank_or_feed).split('\n') {
        let words = line.split(is_blank).map(visible).filter(|word| !word.is_empty());
        let line = words.collect::<Vec<_>>().join(" ");
        if line.is_empty() && out.ends_with("\n\n") {
            continue;
        }
        out.push_str(&line);
        out.push('\n');
    }
    out.truncate(out.trim_end_matches('\n').len());
    out
}

/// The text on one line.
pub fn one_line(text: &str) -> String {
    clean(text).split('\n').filter(|line| !line.is_empty()).collect::<Vec<_>>().join(" ")
}

/// At most `most` characters of it.
pub fn short(text: &str, most: usize) -> String {
    one_line(text).chars().take(most).collect()
}

/// A blank that a line may be broken at. Spaces that hold figures together are none.
fn is_blank(c: char) -> bool {
    c.is_whitespace() && !matches!(c, '\u{A0}' | '\u{202F}' | '\u{2007}' | '\n')
}

fn is_blank_or_feed(c: char) -> bool {
    c == '\n' || is_blank(c)
}

fn visible(word: &str) -> String {
    word.chars().filter(|c| !c.is_control() && !is_invisible(*c)).collect()
}

/// Joiners, marks of direction, variation selectors, soft hyphens and their like.
fn is_invisible(c: char) -> bool {
    matches!(
        u32::from(c),
        0xAD | 0x34F | 0x61C | 0x115F..=0x1160 | 0x17B4..=0x17B5 | 0x180B..=0x180F | 0x200B..=0x200F | 0x202A..=0x202E
            | 0x2060..=0x206F | 0x3164 | 0xFE00..=0xFE0F | 0xFEFF | 0xFFA0 | 0xFFF0..=0xFFFB | 0xE0000..=0xE0FFF
    )
}
