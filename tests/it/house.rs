//! Small rules of the house that no other tool holds.

use std::fs;
use std::path::{Path, PathBuf};

/// The longest a source file may be; past it, it has become two things.
const MOST_LINES: usize = 500;

/// Files that may be longer, each with its reason.
const EXCUSED: [(&str, &str); 3] = [
    ("migrations/schema.sql", "generated: the sum of all migrations"),
    ("tests/reference/outside_ledger.py", "a second account of one page, read beside that page from top to bottom"),
    ("tests/reference/test_outside_ledger.py", "histories worked by hand, which are long because they are complete"),
];

/// Folders whose files are read, and the kinds of file that are written by hand.
const FOLDERS: [&str; 6] = ["src", "tests", "benches", "templates", "migrations", "assets"];
const KINDS: [&str; 7] = ["rs", "py", "sql", "html", "css", "js", "mjs"];

/// Words that say "not done". Written in two parts, so that this file passes itself.
const UNDONE: [&str; 3] = [concat!("TO", "DO"), concat!("FIX", "ME"), concat!("unimpl", "emented")];

/// Every file below `root`, in no order, but for what npm fetched. A folder that is not there
/// has none.
pub fn files_below(root: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(root) else {
        return Vec::new();
    };
    entries
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.file_name().is_none_or(|name| name != "node_modules"))
        .flat_map(|path| if path.is_dir() { files_below(&path) } else { vec![path] })
        .collect()
}

/// The files written by hand, by their path from the crate's root.
fn written() -> Vec<(String, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    FOLDERS
        .iter()
        .flat_map(|folder| files_below(&root.join(folder)))
        .filter(|p| p.extension().is_some_and(|e| KINDS.iter().any(|k| e == *k)))
        .map(|p| {
            let name = p.strip_prefix(root).unwrap().to_str().unwrap().replace('\\', "/");
            (name, fs::read_to_string(&p).unwrap())
        })
        .collect()
}

fn too_long(name: &str, text: &str) -> Option<String> {
    let lines = text.lines().count();
    let excused = EXCUSED.iter().any(|(file, _)| *file == name);
    (lines > MOST_LINES && !excused).then(|| format!("{name} has {lines} lines, over {MOST_LINES}"))
}

fn undone(name: &str, text: &str) -> Vec<String> {
    let marks = |line: &str| UNDONE.iter().find(|word| line.contains(**word)).copied();
    text.lines().enumerate().filter_map(|(n, line)| marks(line).map(|w| format!("{name}:{} says {w}", n + 1))).collect()
}

#[test]
fn source_files_stay_short() {
    let files = written();
    let long: Vec<String> = files.iter().filter_map(|(n, t)| too_long(n, t)).collect();
    assert!(long.is_empty(), "split by subject: {long:#?}");
    for (file, reason) in EXCUSED {
        let text = files.iter().find(|(name, _)| name == file).map(|(_, text)| text);
        let needed = text.is_some_and(|t| t.lines().count() > MOST_LINES);
        assert!(needed, "{file} needs no excuse any more ({reason})");
    }
}

#[test]
fn nothing_is_left_undone() {
    let marks: Vec<String> = written().iter().flat_map(|(n, t)| undone(n, t)).collect();
    assert!(marks.is_empty(), "finish it or open an issue: {marks:#?}");
}

/// Links of a page to files that are not there; `here` is the folder of the page.
fn dead_links(here: &Path, page: &str) -> Vec<String> {
    let links = page.split("](").skip(1).filter_map(|rest| rest.split([')', '#']).next());
    links.filter(|link| !link.is_empty() && !link.contains("://") && !here.join(link).exists()).map(str::to_owned).collect()
}

#[test]
fn pages_link_to_what_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut pages = vec![root.join("README.md"), root.join("DEVELOPERS.md"), root.join("benches/README.md")];
    pages.extend(files_below(&root.join("docs")));
    for page in pages.into_iter().filter(|p| p.extension().is_some_and(|e| e == "md")) {
        let dead = dead_links(page.parent().unwrap(), &fs::read_to_string(&page).unwrap());
        assert!(dead.is_empty(), "{}: {dead:?}", page.display());
    }
    assert_eq!(dead_links(root, "[a](docs/no.md), [b](docs/ledger.md#x), [c](https://example.org)"), ["docs/no.md"]);
}

#[test]
fn these_rules_can_fail() {
    let lines = "a line\n".repeat(MOST_LINES);
    assert_eq!(too_long("src/a.rs", &lines), None);
    assert!(too_long("src/a.rs", &format!("{lines}one more\n")).is_some());
    for word in UNDONE {
        assert_eq!(undone("src/a.rs", &format!("fn f() {{}}\n// {word} later")).len(), 1, "{word}");
    }
    assert_eq!(undone("src/a.rs", "let todo = 1;"), Vec::<String>::new());
    assert!(written().iter().any(|(name, _)| name == "tests/it/house.rs"), "nothing was read");
}
