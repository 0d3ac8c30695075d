//! Shops that do anything: seeded random operations, most of them legal, in random order.
//! What is refused must be refused in a way that such a slip deserves.

mod again;
mod floor;
mod office;

pub use again::Taken;

use pourbook::db::Db;
use pourbook::demo::{Caller, Dice, Who};
use pourbook::kernel::{Clock, Instant};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// When the first thing happens; the book is written long after.
const BEGINS: i64 = 1_767_250_800_000;
const MINUTE: i64 = 60_000;

/// What was taken and what was refused, by what was tried.
pub type Tried = BTreeMap<&'static str, (usize, usize)>;

/// The clock of a random shop.
pub fn clock(seed: u64) -> Clock {
    Clock::fixed(Instant::from_ms(BEGINS + 300 * 24 * 60 * MINUTE), seed)
}

/// How the slips of a random shop may be refused. Anything else is a fault of the book.
const REFUSALS: [&str; 16] = [
    "already-poured",
    "already-void",
    "before-the-pour",
    "client-metal",
    "crucible-in-use",
    "heat-closed",
    "in-use",
    "lot-short",
    "metal-beyond",
    "metal-short",
    "not-yet",
    "opened",
    "out-of-route",
    "residual-too-large",
    "times-contradict",
    "invalid",
];

/// The codes of fields that a random shop may get wrong.
const FAULTS: [&str; 5] = ["other-owner", "same-lot", "no-pool", "one-receipt", "taken"];

/// What a shop has on its shelves: the shop's own metal, then a client's.
const LOTS: [(&str, i64, i64, bool); 8] = [
    ("ingot", 400, 377_777, false),
    ("ingot", 90, 70_001, false),
    ("returns", 40, 29_333, false),
    ("returns", 0, 0, false),
    ("addition", 9, 13_001, false),
    ("ingot", 120, 0, true),
    ("returns", 30, 0, true),
    ("returns", 0, 0, true),
];

#[derive(Clone, Default)]
struct Shell {
    id: String,
    castings: Vec<String>,
    pours: Vec<String>,
    heat: String,
    /// What is thought to be in it, in g.
    grams: i64,
    opened: bool,
    /// Whether it holds the client's work.
    theirs: bool,
}

#[derive(Clone)]
struct Heat {
    id: String,
    crucible: &'static str,
    theirs: bool,
}

/// A shop at work.
pub struct Shop {
    caller: Caller,
    dice: Dice,
    now: i64,
    recipe: String,
    lots: Vec<String>,
    /// Castings not yet in a shell: the shop's own, the client's.
    free: [Vec<String>; 2],
    shells: Vec<Shell>,
    heats: Vec<Heat>,
    closed: Vec<(String, String)>,
    kept: Vec<String>,
    /// Records that may be corrected or voided: collection and id.
    made: Vec<(&'static str, String)>,
    tried: Tried,
    taken: Taken,
    /// Milliseconds given out, so that no two things happen at one instant.
    ms: i64,
}

/// A mass of a request, from g; with a few mg more, so that no two are quite alike.
fn kg(grams: i64) -> Value {
    json!(grams as f64 / 1000.0)
}

fn text(value: &Value) -> String {
    value.as_str().unwrap().to_owned()
}

/// What stands in every random shop before its first day: recipe, lots, and castings free to
/// be taken into shells. The same requests in the same order, so that tags are the same.
struct Opened {
    caller: Caller,
    recipe: String,
    lots: Vec<String>,
    free: [Vec<String>; 2],
}

async fn opened(db: &Db, seed: u64) -> Opened {
    let mut caller = Caller::new(db, db.clock()).await.unwrap();
    let mut dice = Dice::new(seed ^ 0xfeed);
    let mut post = async |path: &str, body: Value| caller.post(Who::Owner, path, body).await.unwrap();
    let at = Instant::from_ms(BEGINS - 24 * 60 * MINUTE).to_string();
    let coats = json!([{"kind": "prime", "slurry": "prime", "dry_hours": 3}]);
    let recipe = text(&post("/v1/recipes", json!({"name": "One", "at": at, "coats": coats})).await["id"]);
    let pattern = json!({"name": "Form", "material": "wax_casting", "mass_kg": 0.3, "section_mm": 5});
    let pattern = text(&post("/v1/patterns", pattern).await["id"]);
    let client = text(&post("/v1/clients", json!({"name": "Ada"})).await["id"]);
    let mut lots = Vec::new();
    for (kind, mass, cost, theirs) in LOTS {
        let mut body = json!({"alloy": "C87300", "kind": kind, "mass_kg": mass, "cost_minor": cost, "at": at});
        if theirs {
            body["owner_client_id"] = client.as_str().into();
        }
        lots.push(text(&post("/v1/metal-lots", body).await["id"]));
    }
    let mut free = [Vec::new(), Vec::new()];
    for (free, (client, pieces)) in free.iter_mut().zip([(None, 34), (Some(&client), 12)]) {
        let body = json!({"title": "All of it", "at": at, "client_id": client});
        let number = text(&post("/v1/commissions", body).await["number"]);
        for _ in 0..pieces {
            let mut body = json!({"at": at, "pattern_id": pattern, "alloy": "C87300"});
            if dice.chance(300) {
                body["parts"] = json!(["upper", "lower"]);
            }
            let piece = post(&format!("/v1/commissions/{number}/pieces"), body).await;
            free.extend(piece["castings"].as_array().unwrap().iter().map(|c| text(&c["id"])));
        }
    }
    Opened { caller, recipe, lots, free }
}

impl Shop {
    async fn open(db: &Db, seed: u64) -> Self {
        let Opened { caller, recipe, lots, free } = opened(db, seed).await;
        Self {
            caller,
            dice: Dice::new(seed),
            now: BEGINS,
            recipe,
            lots,
            free,
            shells: Vec::new(),
            heats: Vec::new(),
            closed: Vec::new(),
            kept: Vec::new(),
            made: Vec::new(),
            tried: Tried::new(),
            taken: Taken::default(),
            ms: 0,
        }
    }

    fn instant(&mut self, ms: i64) -> String {
        self.ms += 7;
        Instant::from_ms(ms + self.ms).to_string()
    }

    fn now_text(&mut self) -> String {
        self.instant(self.now)
    }

    /// The time of what happens next; one in five is recorded out of order.
    fn at(&mut self) -> String {
        let late = if self.dice.chance(200) { self.dice.between(1, 240) } else { 0 };
        self.instant(self.now - late * MINUTE)
    }

    fn lot(&mut self, theirs: bool) -> String {
        let n = if theirs { self.dice.between(5, 7) } else { self.dice.between(0, 4) };
        self.lots[usize::try_from(n).unwrap()].clone()
    }

    /// A pool, now and then somebody else's.
    fn pool(&mut self, theirs: bool) -> String {
        let theirs = theirs != self.dice.chance(60);
        let n = self.dice.between(2, 3) + if theirs { 4 } else { 0 };
        self.lots[usize::try_from(n).unwrap()].clone()
    }

    /// An id made by the caller: UUID version 7.
    fn mint(&mut self) -> String {
        let mut part = |digits: u32| self.dice.between(0, (1 << (4 * digits)) - 1);
        let (a, b, c, d, e) = (part(8), part(4), part(3), part(3), part(12));
        format!("{a:08x}-{b:04x}-7{c:03x}-8{d:03x}-{e:012x}")
    }

    /// Asks for something that may be refused, as a shop's slips are; answers what was made.
    async fn try_it(&mut self, what: &'static str, method: &str, path: &str, body: Value) -> Option<Value> {
        let (status, answer) = self.caller.ask(Who::Owner, method, path, Some(&body)).await.unwrap();
        let counted = self.tried.entry(what).or_default();
        if status < 300 {
            counted.0 += 1;
            return Some(answer);
        }
        counted.1 += 1;
        let kind = answer["type"].as_str().unwrap_or("").trim_start_matches("/problems/");
        let codes = answer["errors"].as_array().into_iter().flatten().map(|e| e["code"].as_str().unwrap_or(""));
        let fair = REFUSALS.contains(&kind) && status < 500 && codes.into_iter().all(|c| FAULTS.contains(&c));
        assert!(fair, "{what}: {method} {path} {body}: {status} {answer}");
        None
    }

    /// Records something that may be corrected or voided later.
    async fn make(&mut self, what: &'static str, collection: &'static str, path: &str, mut body: Value) -> Option<Value> {
        body["id"] = self.mint().into();
        if self.dice.chance(80) {
            body["at_precision"] = self.dice.word(&["hour", "day"]).into();
        }
        let made = self.try_it(what, "POST", path, body.clone()).await?;
        self.taken.request(path, body, &made);
        self.made.push((collection, text(&made["id"])));
        for (member, collection) in [("charge", "charges"), ("leaks", "leaks")] {
            let children = made[member].as_array().into_iter().flatten().map(|child| (collection, text(&child["id"])));
            self.made.extend(children);
        }
        Some(made)
    }

    fn count(&mut self, what: &'static str) {
        self.tried.entry(what).or_default().0 += 1;
    }
}

/// Makes a random history of some steps.
pub async fn fill(db: &Db, seed: u64, steps: usize) -> (Tried, Taken) {
    let mut shop = Shop::open(db, seed).await;
    for _ in 0..steps {
        shop.now += shop.dice.between(1, 50) * MINUTE;
        match shop.dice.between(1, 100) {
            1..=5 => shop.wax().await,
            6..=18 => shop.shell().await,
            19..=25 => shop.heat().await,
            26..=30 => shop.charge().await,
            31..=51 => shop.pour().await,
            52..=57 => shop.close().await,
            58 => shop.reopen().await,
            59..=68 => shop.open_shell().await,
            69..=71 => shop.stock().await,
            72..=82 => shop.bench().await,
            83..=84 => shop.give_kept_back().await,
            85 => shop.buy().await,
            86 => shop.price().await,
            87..=95 => shop.correct().await,
            96 => shop.void_with_all().await,
            _ => shop.void().await,
        }
    }
    (shop.tried, shop.taken)
}

/// The same history told otherwise: see [`Taken::tell`].
pub async fn retell(db: &Db, seed: u64, taken: &Taken) -> BTreeMap<String, String> {
    let mut caller = opened(db, seed).await.caller;
    taken.tell(&mut caller, &mut Dice::new(seed ^ 0xbeef)).await
}
