//! Tells SQL from prose, and which tables a statement names.

/// What a statement does with a table.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub enum Use {
    Read,
    Insert,
    Change,
}

/// Whether a string literal is SQL. Prose that happens to begin with "Select" is not:
/// a statement is written in one case throughout, and has its second keyword.
pub fn is_sql(text: &str) -> bool {
    let words = words(text);
    let word = |i: usize| words.get(i).map_or("", |w| w.text.as_str());
    let has_after = |i: usize, partner: &str| words[i..].iter().any(|w| w.text == partner);
    let loud = words.iter().enumerate().any(|(i, w)| match w.text.as_str() {
        "SELECT" | "DELETE" => has_after(i, "FROM"),
        "INSERT" | "REPLACE" => has_after(i, "INTO"),
        "UPDATE" => has_after(i, "SET"),
        _ => false,
    });
    let quiet = match word(0) {
        "select" => has_after(0, "from"),
        "insert" | "replace" => word(1) == "into" || word(1) == "or" && has_after(0, "into"),
        "delete" => word(1) == "from",
        "update" => word(2) == "set" || word(1) == "or" && has_after(0, "set"),
        "with" => has_after(0, "select") && has_after(0, "from") && text.contains('('),
        "create" | "alter" | "drop" => matches!(word(1), "table" | "index" | "view" | "trigger"),
        "SELECT" | "PRAGMA" | "VACUUM" | "SAVEPOINT" | "ATTACH" => words.len() > 1,
        "pragma" => words.len() > 1,
        "BEGIN" | "begin" => {
            matches!(word(1), "IMMEDIATE" | "immediate" | "EXCLUSIVE" | "exclusive")
        }
        "CREATE" | "ALTER" | "DROP" => {
            matches!(word(1), "TABLE" | "INDEX" | "UNIQUE" | "VIEW" | "TRIGGER" | "VIRTUAL" | "TEMP")
        }
        _ => false,
    };
    loud || quiet
}

/// The tables a statement names, in order, without the names it makes itself by `WITH`.
pub fn tables(text: &str) -> Vec<(Use, String)> {
    let words = words(text);
    let lower: Vec<String> = words.iter().map(|w| w.text.to_lowercase()).collect();
    let at = |i: usize| lower.get(i).map_or("", String::as_str);
    let mut found = Vec::new();
    let mut i = 0;
    while i < lower.len() {
        let previous = if i == 0 { "" } else { at(i - 1) };
        match at(i) {
            "from" if previous == "distinct" => {}
            "from" if previous == "delete" => name(&words, i + 1, Use::Change, &mut found),
            "from" => list(&words, i + 1, &mut found),
            "join" => name(&words, i + 1, Use::Read, &mut found),
            "into" if previous != "vacuum" => name(&words, i + 1, Use::Insert, &mut found),
            "update" if !matches!(at(i + 1), "set" | "of" | "on") && previous != "for" => {
                let skip = if at(i + 1) == "or" { 2 } else { 0 };
                name(&words, i + 1 + skip, Use::Change, &mut found);
            }
            _ => {}
        }
        i += 1;
    }
    let made: Vec<&String> = (0..lower.len())
        .filter(|&i| {
            words[i].is_name && (at(i + 1) == "as" && matches!(at(i + 2), "(" | "not" | "materialized"))
                || words[i].is_name && at(i + 1) == "(" && closes_into_as(&lower, i + 1)
        })
        .map(|i| &lower[i])
        .collect();
    found.retain(|(_, table)| !made.contains(&table));
    found
}

/// Whether the bracket opened at `i` is followed by `AS (`, as in `WITH t(a, b) AS (…)`.
fn closes_into_as(lower: &[String], i: usize) -> bool {
    let close = lower[i..].iter().position(|w| w == ")").map(|n| n + i);
    close.is_some_and(|c| lower.get(c + 1).is_some_and(|w| w == "as") && lower.get(c + 2).is_some_and(|w| w == "("))
}

/// `FROM a, b AS c, d`
fn list(words: &[Word], mut i: usize, found: &mut Vec<(Use, String)>) {
    loop {
        name(words, i, Use::Read, found);
        let mut k = i + if words.get(i + 1).is_some_and(|w| w.text == ".") { 3 } else { 1 };
        if words.get(k).is_some_and(|w| w.text.eq_ignore_ascii_case("as")) {
            k += 2;
        } else if words.get(k).is_some_and(|w| w.is_name && !ends_a_list(&w.text)) {
            k += 1;
        }
        if words.get(k).is_none_or(|w| w.text != ",") {
            return;
        }
        i = k + 1;
    }
}

/// Whether a word after a table is the next clause and not an alias.
fn ends_a_list(word: &str) -> bool {
    const CLAUSES: [&str; 22] = [
        "where",
        "order",
        "group",
        "having",
        "limit",
        "union",
        "except",
        "intersect",
        "window",
        "join",
        "left",
        "right",
        "full",
        "inner",
        "cross",
        "natural",
        "on",
        "using",
        "indexed",
        "not",
        "set",
        "returning",
    ];
    CLAUSES.contains(&word.to_lowercase().as_str())
}

fn name(words: &[Word], i: usize, how: Use, found: &mut Vec<(Use, String)>) {
    let Some(first) = words.get(i).filter(|w| w.is_name) else {
        return;
    };
    let qualified = words.get(i + 1).is_some_and(|w| w.text == ".");
    let table = if qualified { words.get(i + 2) } else { Some(first) };
    // A function such as json_each(…) is no table, but the list of an insert is.
    let called = words.get(i + 1).is_some_and(|w| w.text == "(") && how == Use::Read;
    if let Some(table) = table.filter(|w| w.is_name && !called) {
        found.push((how, table.text.to_lowercase()));
    }
}

struct Word {
    text: String,
    is_name: bool,
}

/// Words and signs of a statement; its string values and comments are left out.
fn words(text: &str) -> Vec<Word> {
    let chars: Vec<char> = text.chars().collect();
    let mut words = Vec::new();
    let mut i = 0;
    while i < chars.len() {
        let c = chars[i];
        let until = |from: usize, end: char| chars[from..].iter().position(|&x| x == end).map_or(chars.len(), |n| n + from);
        if c.is_alphabetic() || c == '_' {
            let end = chars[i..].iter().position(|x| !x.is_alphanumeric() && *x != '_');
            let end = end.map_or(chars.len(), |n| n + i);
            words.push(Word { text: chars[i..end].iter().collect(), is_name: true });
            i = end;
        } else if c == '\'' {
            i = until(i + 1, '\'') + 1;
        } else if c == '-' && chars.get(i + 1) == Some(&'-') {
            i = until(i, '\n');
        } else if matches!(c, '"' | '`' | '[') {
            let end = until(i + 1, if c == '[' { ']' } else { c });
            words.push(Word { text: chars[i + 1..end].iter().collect(), is_name: true });
            i = end + 1;
        } else {
            if !c.is_whitespace() {
                words.push(Word { text: c.to_string(), is_name: false });
            }
            i += 1;
        }
    }
    words
}
