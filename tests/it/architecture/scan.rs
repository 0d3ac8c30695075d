//! Reads one source file as tokens and lists what the walls care about: every path
//! into the crate, wherever it stands, and every string literal.
//!
//! Tokens rather than a syntax tree, because what stands inside a macro call is
//! nothing but tokens, and a wall with a hole the size of `json!` is no wall.

use proc_macro2::{Delimiter, Spacing, TokenStream, TokenTree};

/// A path into the crate, resolved from the crate's root.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Mention {
    pub line: usize,
    pub path: Vec<String>,
    pub in_test: bool,
}

/// A string literal.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Text {
    pub line: usize,
    pub text: String,
}

/// What one file says.
#[derive(Default, Debug)]
pub struct Scan {
    pub mentions: Vec<Mention>,
    pub texts: Vec<Text>,
    /// Lines of `use`, and of bare relative paths through a module declared here.
    pub uses: Vec<usize>,
    /// Tables declared here: `const TABLE: &'static str = "…"`.
    pub tables: Vec<String>,
    /// Macros made here with `#[macro_export]`: they stand at the root for all.
    pub macros: Vec<String>,
    /// Ways round the walls, with what is wrong about them.
    pub tricks: Vec<(usize, &'static str)>,
}

/// Reads `text`, the source of the module `module`.
pub fn scan(module: &[String], in_test: bool, text: &str) -> Result<Scan, String> {
    let tokens: TokenStream = text.parse().map_err(|e| format!("cannot be read as Rust: {e}"))?;
    let mut reader = Reader { module: module.to_vec(), in_test, exports: false, out: Scan::default() };
    reader.walk(&tokens.into_iter().collect::<Vec<_>>());
    Ok(reader.out)
}

struct Reader {
    module: Vec<String>,
    in_test: bool,
    exports: bool,
    out: Scan,
}

impl Reader {
    fn walk(&mut self, tokens: &[TokenTree]) {
        let mut test_item = false;
        let mut i = 0;
        while let Some(token) = tokens.get(i) {
            match token {
                TokenTree::Punct(p) if p.as_char() == '#' => {
                    let at = i + 1 + usize::from(is_punct(tokens.get(i + 1), '!'));
                    if let Some(TokenTree::Group(g)) = tokens.get(at)
                        && g.delimiter() == Delimiter::Bracket
                    {
                        let inner = g.stream().into_iter().collect::<Vec<_>>();
                        test_item |= self.attribute(&inner);
                        i = at;
                    }
                }
                TokenTree::Punct(p) if p.as_char() == ';' => test_item = false,
                TokenTree::Group(g) => {
                    let inner = g.stream().into_iter().collect::<Vec<_>>();
                    let pushed = match g.delimiter() {
                        Delimiter::Brace => inline_module(tokens, i),
                        _ => None,
                    };
                    let was = self.in_test;
                    self.in_test |= test_item;
                    let depth = self.module.len();
                    self.module.extend(pushed);
                    self.walk(&inner);
                    self.module.truncate(depth);
                    self.in_test = was;
                    if g.delimiter() == Delimiter::Brace {
                        test_item = false;
                    }
                }
                TokenTree::Literal(l) => self.literal(&l.to_string(), l.span().start().line),
                TokenTree::Ident(name) => {
                    let was = self.in_test;
                    self.in_test |= test_item;
                    i = self.ident(tokens, i, &name.to_string());
                    self.in_test = was;
                }
                TokenTree::Punct(_) => {}
            }
            i += 1;
        }
    }

    /// Reads an attribute; true when it makes the next item test code.
    fn attribute(&mut self, inner: &[TokenTree]) -> bool {
        let name = inner.first().map(ToString::to_string).unwrap_or_default();
        match name.as_str() {
            "doc" => return false,
            // A neighbouring file under another name stays in its room.
            "path" if inner.iter().any(|t| t.to_string().contains(['/', '\\'])) => {
                let line = inner[0].span().start().line;
                self.out.tricks.push((line, "`#[path]` moves a module out of its room"));
            }
            "cfg" => {
                if let Some(TokenTree::Group(g)) = inner.get(1) {
                    return g.stream().to_string() == "test";
                }
            }
            "macro_export" => self.exports = true,
            "test" => return true,
            _ => {}
        }
        self.walk(inner);
        false
    }

    /// Handles an identifier at `i`; gives the index of the last token it used.
    fn ident(&mut self, tokens: &[TokenTree], i: usize, name: &str) -> usize {
        let line = tokens[i].span().start().line;
        match name {
            "use" => self.out.uses.push(line),
            "TABLE" if i > 0 && tokens[i - 1].to_string() == "const" => {
                let value =
                    tokens[i..].iter().take_while(|t| !is_punct(Some(t), ';')).skip_while(|t| !is_punct(Some(t), '=')).nth(1);
                let table = value.and_then(|v| unquote(&v.to_string()));
                self.out.tables.extend(table.filter(|t| !t.is_empty()));
            }
            "macro_rules" => {
                let made = tokens.get(i + 2).map(ToString::to_string);
                self.out.macros.extend(made.filter(|_| self.exports));
                self.exports = false;
            }
            "include" if is_punct(tokens.get(i + 1), '!') => {
                self.out.tricks.push((line, "`include!` brings in code from outside its room"));
            }
            "crate" if matches!(tokens.get(i + 1), Some(TokenTree::Ident(n)) if n == "as") => {
                self.out.tricks.push((line, "the crate under another name hides what is named"));
            }
            "store" if declared_public(tokens, i) => {
                self.out.tricks.push((line, "`store` is private to its room: write `mod store;`"));
            }
            "disallowed_methods" => {
                self.out.tricks.push((line, "only src/kernel/clock.rs may reach for clock and chance"));
            }
            "crate" | "self" | "super" | "pourbook" if is_path_sep(tokens, i + 1) && !is_path_sep_before(tokens, i) => {
                return self.path(tokens, i, &[]);
            }
            _ => {}
        }
        i
    }

    /// Reads the path that starts at `i`, below `prefix`; gives its last index.
    fn path(&mut self, tokens: &[TokenTree], mut i: usize, prefix: &[String]) -> usize {
        let line = tokens[i].span().start().line;
        let mut segments = prefix.to_vec();
        loop {
            match tokens.get(i) {
                Some(TokenTree::Ident(name)) => {
                    segments.push(name.to_string().trim_start_matches("r#").to_owned());
                    if is_path_sep(tokens, i + 1) {
                        i += 3;
                        continue;
                    }
                    self.mention(line, &segments);
                    return i;
                }
                Some(TokenTree::Group(g)) if g.delimiter() == Delimiter::Brace => {
                    let inner = g.stream().into_iter().collect::<Vec<_>>();
                    for branch in inner.split(|t| is_punct(Some(t), ',')).filter(|b| !b.is_empty()) {
                        self.path(branch, 0, &segments);
                    }
                    return i;
                }
                Some(TokenTree::Punct(p)) if p.as_char() == '*' => {
                    self.mention(line, &segments);
                    return i;
                }
                // `::<`, `::$name` and the like end what can be read.
                _ => {
                    self.mention(line, &segments);
                    return i - 1;
                }
            }
        }
    }

    fn mention(&mut self, line: usize, segments: &[String]) {
        let mut path = match segments.first().map(String::as_str) {
            Some("crate" | "pourbook") => Vec::new(),
            _ => self.module.clone(),
        };
        for (n, segment) in segments.iter().enumerate() {
            match segment.as_str() {
                "crate" | "pourbook" if n == 0 => {}
                "self" => {}
                "super" => {
                    path.pop();
                }
                name => path.push(name.to_owned()),
            }
        }
        self.out.mentions.push(Mention { line, path, in_test: self.in_test });
    }

    fn literal(&mut self, source: &str, line: usize) {
        let Some(text) = unquote(source) else { return };
        // Attributes such as serde's `with` carry paths in strings.
        let is_path = text.contains("::") && text.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '_' | ':'));
        if is_path && let Ok(tokens) = text.parse::<TokenStream>() {
            let inner = tokens.into_iter().collect::<Vec<_>>();
            let first = self.out.mentions.len();
            self.walk(&inner);
            self.out.mentions[first..].iter_mut().for_each(|m| m.line = line);
        }
        self.out.texts.push(Text { line, text });
    }
}

/// The name in `mod name { … }`, if the brace at `i` is one.
fn inline_module(tokens: &[TokenTree], i: usize) -> Option<String> {
    match (i.checked_sub(2).and_then(|k| tokens.get(k)), i.checked_sub(1).and_then(|k| tokens.get(k))) {
        (Some(TokenTree::Ident(keyword)), Some(TokenTree::Ident(name))) if keyword == "mod" => Some(name.to_string()),
        _ => None,
    }
}

/// Whether the name at `i` stands in `pub mod name` or `pub(…) mod name`.
fn declared_public(tokens: &[TokenTree], i: usize) -> bool {
    let before = |back: usize| i.checked_sub(back).and_then(|k| tokens.get(k)).map(ToString::to_string);
    before(1).as_deref() == Some("mod")
        && (before(2).as_deref() == Some("pub")
            || before(2).is_some_and(|g| g.starts_with('(')) && before(3).as_deref() == Some("pub"))
}

fn is_punct(token: Option<&TokenTree>, c: char) -> bool {
    matches!(token, Some(TokenTree::Punct(p)) if p.as_char() == c)
}

/// Whether `::` stands at `i`.
fn is_path_sep(tokens: &[TokenTree], i: usize) -> bool {
    matches!(tokens.get(i), Some(TokenTree::Punct(p)) if p.as_char() == ':' && p.spacing() == Spacing::Joint)
        && is_punct(tokens.get(i + 1), ':')
}

/// Whether `name::` stands before `i`, so that this is no start of a path.
fn is_path_sep_before(tokens: &[TokenTree], i: usize) -> bool {
    i >= 3 && is_path_sep(tokens, i - 2) && matches!(tokens[i - 3], TokenTree::Ident(_))
}

/// The content of a string literal, plain, raw, byte or C; `None` for any other.
fn unquote(source: &str) -> Option<String> {
    let body = source.trim_start_matches(['b', 'c']);
    if let Some(raw) = body.strip_prefix('r') {
        let hashes = raw.len() - raw.trim_start_matches('#').len();
        let inner = raw.get(hashes + 1..raw.len().checked_sub(hashes + 1)?)?;
        return Some(inner.to_owned());
    }
    let inner = body.strip_prefix('"')?.strip_suffix('"')?;
    let mut text = String::with_capacity(inner.len());
    let mut chars = inner.chars();
    while let Some(c) = chars.next() {
        match (c, if c == '\\' { chars.next() } else { None }) {
            ('\\', Some('n')) => text.push('\n'),
            ('\\', Some('t' | 'r' | '\n')) => text.push(' '),
            ('\\', Some(other)) => text.push(other),
            _ => text.push(c),
        }
    }
    Some(text)
}
