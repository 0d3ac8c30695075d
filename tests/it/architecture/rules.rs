//! The walls: which place may name which, where SQL may stand, and whose a table is.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use super::scan::{self, Mention};
use super::sql;

/// The layers below the rooms, and what each may name besides itself.
const LAYERS: [(&str, &[&str]); 5] = [
    ("kernel", &[]),
    ("science", &["kernel"]),
    ("db", &["kernel"]),
    ("web", &["kernel", "db"]),
    ("book", &["kernel", "db", "web"]),
];

/// The rooms in the order of the work. A room names the ones before it, never after.
const ROOMS: [&str; 13] = [
    "house",
    "client",
    "pattern",
    "commission",
    "casting",
    "metal",
    "shell",
    "burnout",
    "preheat",
    "heat",
    "breakout",
    "bench",
    "delivery",
];

/// The desks, and the two that every desk may name.
const DESKS: [&str; 15] = [
    "facts",
    "cost",
    "report",
    "trial",
    "route_card",
    "start",
    "shells",
    "pour_day",
    "plan",
    "quote",
    "search",
    "history",
    "export",
    "edition",
    "progress",
];
const OPEN_DESKS: [&str; 2] = ["facts", "cost"];

/// The desks that read the tables of any room.
const READERS: [&str; 2] = ["desk/facts", "desk/report"];

/// The layers whose tables every place above may read; writing stays theirs.
const OPEN_TABLES: [&str; 2] = ["db", "book"];

/// The one file that reaches for clock and chance.
const CLOCK: &str = "kernel/clock.rs";

/// A source file, by its path below `src/`.
#[derive(Clone, Debug)]
pub struct Source {
    pub path: String,
    pub text: String,
}

/// A wall gone through.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Breach {
    pub file: String,
    pub line: usize,
    pub what: String,
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "src/{}:{}: {}", self.file, self.line, self.what)
    }
}

/// Where a path of the crate lies.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Place {
    /// `main.rs` and `lib.rs`
    Root,
    App,
    Testkit,
    Layer(usize),
    /// `shop/mod.rs`, `desk/mod.rs`
    Group(&'static str),
    Room(usize),
    Desk(usize),
}

impl Place {
    /// The place of a module path, or why it has none.
    fn of(path: &[String]) -> Result<Self, String> {
        let first = path.first().map(String::as_str);
        let second = path.get(1).map(String::as_str);
        let among = |list: &[&str], name: &str, kind: &str| {
            list.iter()
                .position(|x| *x == name)
                .ok_or_else(|| format!("`{name}` is no {kind} on the list in tests/it/architecture/rules.rs"))
        };
        match (first, second) {
            (None, _) => Ok(Self::Root),
            // The demonstration shop stands over app: it calls the whole service.
            (Some("app" | "demo"), _) => Ok(Self::App),
            (Some("testkit"), _) => Ok(Self::Testkit),
            (Some("shop"), None) => Ok(Self::Group("shop")),
            (Some("desk"), None) => Ok(Self::Group("desk")),
            (Some("shop"), Some(room)) => among(&ROOMS, room, "room").map(Self::Room),
            (Some("desk"), Some(desk)) => among(&DESKS, desk, "desk").map(Self::Desk),
            (Some(name), _) => {
                let layers: Vec<&str> = LAYERS.iter().map(|(n, _)| *n).collect();
                among(&layers, name, "part of the house").map(Self::Layer)
            }
        }
    }

    fn name(self) -> String {
        match self {
            Self::Root => "the crate's root".to_owned(),
            Self::App => "app".to_owned(),
            Self::Testkit => "testkit".to_owned(),
            Self::Layer(n) => LAYERS[n].0.to_owned(),
            Self::Group(name) => name.to_owned(),
            Self::Room(n) => format!("shop/{}", ROOMS[n]),
            Self::Desk(n) => format!("desk/{}", DESKS[n]),
        }
    }

    /// Why this place may not name `to`; `None` if it may.
    fn refuses(self, to: Self, in_test: bool) -> Option<&'static str> {
        match (self, to) {
            (Self::Root | Self::App | Self::Testkit, _) => None,
            (_, Self::Testkit) => (!in_test).then_some("only test code opens the testkit"),
            (_, Self::App) => Some("app knows every room, and no room knows app"),
            (_, Self::Root) => Some("the root has nothing of its own: name the part that is meant"),
            (_, Self::Group(_)) => Some("name the room itself, so that the wall can see which"),
            (Self::Group(_), _) => Some("this file only declares its rooms"),
            (Self::Layer(a), Self::Layer(b)) => {
                (a != b && !LAYERS[a].1.contains(&LAYERS[b].0)).then_some("a layer names only the ones below it")
            }
            (Self::Layer(_), _) => Some("a layer knows no room and no desk"),
            (Self::Room(_) | Self::Desk(_), Self::Layer(_)) => None,
            (Self::Room(a), Self::Room(b)) => (b > a).then_some("a room names only the rooms above it on the list"),
            (Self::Room(_), Self::Desk(_)) => Some("rooms know no desk"),
            (Self::Desk(_), Self::Room(_)) => None,
            (Self::Desk(a), Self::Desk(b)) => {
                (a != b && !OPEN_DESKS.contains(&DESKS[b])).then_some("a desk names no other desk but facts and cost")
            }
        }
    }

    /// Whether SQL may stand in this file of the place.
    fn may_hold_sql(self, file: &str) -> bool {
        let in_store = file.split('/').any(|part| part == "store" || part == "store.rs");
        match self {
            Self::Layer(n) => matches!(LAYERS[n].0, "db" | "book"),
            Self::Room(_) | Self::Desk(_) | Self::Testkit => in_store,
            Self::Root | Self::App | Self::Group(_) => false,
        }
    }
}

/// The module that a file holds: `shop/heat/mod.rs` is `shop::heat`.
fn module_of(file: &str) -> Vec<String> {
    let stem = file.strip_suffix(".rs").unwrap_or(file);
    let mut parts: Vec<String> = stem.split('/').map(str::to_owned).collect();
    let root = parts.len() == 1 && matches!(stem, "main" | "lib");
    if root || parts.last().is_some_and(|p| p == "mod") {
        parts.pop();
    }
    parts
}

/// A file that has a place, and what it says.
struct Read<'a> {
    file: &'a str,
    place: Place,
    scan: scan::Scan,
}

/// Every breach in a set of files, in the order of files and lines.
pub fn check(sources: &[Source]) -> Vec<Breach> {
    let mut breaches = Vec::new();
    let mut reads = Vec::new();
    for source in sources {
        match read(source) {
            Ok(read) => reads.push(read),
            Err(what) => breaches.push(Breach { file: source.path.clone(), line: 1, what }),
        }
    }
    // A macro made with #[macro_export] stands at the root, but belongs where it is made.
    let macros: BTreeMap<&str, Place> =
        reads.iter().flat_map(|r| r.scan.macros.iter().map(|name| (name.as_str(), r.place))).collect();
    // A table belongs to the place that declares it, or else inserts into it.
    let mut owners = Owners::new();
    let mut statements = Vec::new();
    for Read { file, place, scan } in &reads {
        for table in &scan.tables {
            owners.entry(table.clone()).or_default().insert(place.name());
        }
        let mut breach = |line: usize, what: String| {
            breaches.push(Breach { file: (*file).to_owned(), line, what });
        };
        for (line, trick) in &scan.tricks {
            if !(*file == CLOCK && trick.contains(CLOCK)) {
                breach(*line, (*trick).to_owned());
            }
        }
        if let Place::Group(_) = place {
            for line in &scan.uses {
                breach(*line, "this file only declares its rooms".to_owned());
            }
        }
        for mention in &scan.mentions {
            if let Some(why) = judge(*place, mention, &macros) {
                breach(mention.line, why);
            }
        }
        for text in scan.texts.iter().filter(|t| sql::is_sql(&t.text)) {
            if place.may_hold_sql(file) {
                statements.push((*file, text.line, *place, text.text.as_str()));
            } else {
                breach(text.line, "SQL stands outside a store.rs".to_owned());
            }
        }
    }
    breaches.extend(judge_tables(owners, &statements));
    breaches.sort();
    breaches.dedup();
    breaches
}

/// Reads a file; says why if it has no place or is no Rust.
fn read(source: &Source) -> Result<Read<'_>, String> {
    let file = source.path.as_str();
    let module = module_of(file);
    let place = Place::of(&module)?;
    let tests = file.ends_with("tests.rs") || file.contains("/tests/");
    let scan = scan::scan(&module, tests, &source.text)?;
    Ok(Read { file, place, scan })
}

/// Why a path may not stand where it does.
fn judge(from: Place, mention: &Mention, macros: &BTreeMap<&str, Place>) -> Option<String> {
    if matches!(from, Place::Root | Place::App | Place::Testkit) {
        return None;
    }
    let made = match mention.path.as_slice() {
        [name] => macros.get(name.as_str()).copied(),
        _ => None,
    };
    let to = match made.map_or_else(|| Place::of(&mention.path), Ok) {
        Ok(to) => to,
        Err(why) => return Some(why),
    };
    let why = from.refuses(to, mention.in_test)?;
    Some(format!("{} names {}: {why}", from.name(), to.name()))
}

type Statement<'a> = (&'a str, usize, Place, &'a str);
type Owners = BTreeMap<String, BTreeSet<String>>;

/// Who names whose table.
fn judge_tables(mut owners: Owners, statements: &[Statement<'_>]) -> Vec<Breach> {
    let named = statements.iter().flat_map(|(file, line, place, text)| {
        sql::tables(text).into_iter().map(move |(how, table)| (*file, *line, *place, how, table))
    });
    let named: Vec<_> = named.filter(|(_, _, place, ..)| *place != Place::Testkit).collect();
    for (_, _, place, how, table) in &named {
        if *how == sql::Use::Insert {
            owners.entry(table.clone()).or_default().insert(place.name());
        }
    }
    let mut breaches = Vec::new();
    for (file, line, place, how, table) in named {
        let Some(owner) = owners.get(&table) else {
            continue;
        };
        let me = place.name();
        let what = if owner.len() > 1 && how == sql::Use::Insert {
            let all = owner.iter().map(String::as_str).collect::<Vec<_>>().join(" and ");
            format!("table `{table}` is filled by {all}: a table has one owner")
        } else if owner.contains(&me) {
            continue;
        } else {
            let open = matches!(place, Place::Room(_) | Place::Desk(_) | Place::Layer(_))
                && owner.iter().all(|o| OPEN_TABLES.contains(&o.as_str()));
            if how == sql::Use::Read && (open || READERS.contains(&me.as_str())) {
                continue;
            }
            let verb = if how == sql::Use::Read { "reads" } else { "writes" };
            let all = owner.iter().map(String::as_str).collect::<Vec<_>>().join(" and ");
            format!("{me} {verb} table `{table}`, which is {all}'s: call its functions instead")
        };
        breaches.push(Breach { file: file.to_owned(), line, what });
    }
    breaches
}
