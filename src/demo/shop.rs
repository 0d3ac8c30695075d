//! The shop as the generator knows it, and its agenda.

use super::caller::Caller;
use super::dice::Dice;
use super::{BEGINS, ENDS};
use std::collections::{BTreeMap, VecDeque};

/// A minute, an hour and a day in milliseconds.
pub const MINUTE: i64 = 60_000;
/// An hour.
pub const HOUR: i64 = 60 * MINUTE;
/// A day.
pub const DAY: i64 = 24 * HOUR;

/// What is to be done at some time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Task {
    /// Castings are chosen for a pour day.
    Plan(usize),
    /// A wax is made.
    Wax(usize),
    /// The shells of a batch are built.
    Build(usize),
    /// A rack of a batch, of one recipe, gets its next coat.
    Coat(usize, usize, usize),
    /// A batch goes into the kiln.
    Burn(usize),
    /// A batch is poured.
    Pour(usize),
    /// A shell is knocked out.
    Open(usize),
    /// The castings of a shell are cut off.
    Cut(usize),
    /// A step of work at the bench.
    Bench(usize, usize),
    /// A casting is given up at the bench.
    Scrap(usize),
    /// A casting is asked for again.
    Recast(usize),
    /// A piece goes out.
    Deliver(usize),
    /// The slurry is checked.
    Slurry,
}

/// An alloy that the shop pours.
pub struct Alloy {
    /// Its designation.
    pub code: &'static str,
    /// Metal for wax, in percent by mass.
    pub ratio: i64,
    /// Price of ingot, minor units a kg.
    pub price: i64,
    /// Pouring temperature.
    pub metal_c: i64,
    /// Kg of ingot bought at a time.
    pub parcel: i64,
    /// Furnace.
    pub furnace: &'static str,
}

/// Alloys: the first is poured most.
pub const ALLOYS: [Alloy; 3] = [
    Alloy { code: "C87300", ratio: 880, price: 940, metal_c: 1130, parcel: 250, furnace: "Gas furnace, large" },
    Alloy { code: "C90500", ratio: 925, price: 1120, metal_c: 1160, parcel: 120, furnace: "Gas furnace, large" },
    Alloy { code: "A356.0", ratio: 285, price: 410, metal_c: 715, parcel: 60, furnace: "Electric furnace, small" },
];

/// A pattern on file.
#[derive(Clone, Debug)]
pub struct Pattern {
    pub id: String,
    pub wax_g: i64,
    pub unique: bool,
    pub mould_id: Option<String>,
    pub marks: i64,
}

/// A recipe with the leak rate that the shop does not know, in a thousand.
#[derive(Clone, Debug)]
pub struct Recipe {
    pub id: String,
    pub coats: Vec<(&'static str, &'static str, &'static str, i64)>,
    pub leak: i64,
    pub leak_later: i64,
}

/// A piece and its castings.
#[derive(Clone, Debug)]
pub struct Piece {
    pub id: String,
    pub parts: usize,
    pub finished: usize,
    /// Its edition mark; empty without one.
    pub mark: String,
}

/// A casting, with what is true of it.
#[derive(Clone, Debug)]
pub struct Casting {
    pub tag: String,
    pub piece: usize,
    pub pattern: usize,
    pub alloy: usize,
    pub wax_mg: i64,
    pub gone: bool,
    pub net: i64,
    pub mass: i64,
    pub verdict: &'static str,
}

/// A shell, with what is true of it.
#[derive(Clone, Debug)]
pub struct Shell {
    pub tag: String,
    pub castings: Vec<usize>,
    pub recipe: usize,
    pub alloy: usize,
    pub gating: i64,
    pub hurried: bool,
    pub cracked: bool,
    /// Dipped in the tank that went off.
    pub soft: bool,
    pub lost: bool,
    pub unlogged: bool,
    /// As the ledger will have it, in mg.
    pub poured: i64,
    pub leaked: i64,
    pub short: bool,
    pub gross: i64,
    pub says_gross: bool,
    pub saw: i64,
    /// Let go unexplained between pour and scale.
    pub odd: i64,
}

/// The castings of one pour day.
#[derive(Clone, Debug)]
pub struct Batch {
    pub day: i64,
    pub castings: Vec<usize>,
    pub shells: Vec<usize>,
}

/// Ingot at hand.
#[derive(Clone, Debug, Default)]
pub struct Stock {
    pub ingot: String,
    pub left: i64,
    pub pool: String,
    /// Left in the crucible.
    pub heel: i64,
}

/// The shop.
pub struct Shop {
    pub caller: Caller,
    pub dice: Dice,
    pub put_in: i64,
    pub heats: usize,
    pub clients: Vec<String>,
    pub patterns: Vec<Pattern>,
    pub uniques: Vec<Pattern>,
    pub recipes: Vec<Recipe>,
    pub slurries: Vec<String>,
    /// The backup tank that went off, while it is in use.
    pub gelled: String,
    pub patinas: Vec<String>,
    pub pieces: Vec<Piece>,
    pub castings: Vec<Casting>,
    pub shells: Vec<Shell>,
    pub batches: Vec<Batch>,
    pub stock: Vec<Stock>,
    pub additions: Vec<String>,
    pub waiting: VecDeque<usize>,
    /// Oddities that happen once, by name.
    pub once: Vec<&'static str>,
    pub commissions: usize,
    /// The trial's id, and how shells in its pairs are to stand.
    pub trial: String,
    pub stands: BTreeMap<usize, &'static str>,
    agenda: BTreeMap<(i64, u64), Task>,
    dealt: u64,
}

impl Shop {
    /// An empty shop with its pour days planned.
    pub fn new(caller: Caller, seed: u64) -> Self {
        let mut shop = Self {
            caller,
            dice: Dice::new(seed),
            put_in: 0,
            heats: 0,
            clients: Vec::new(),
            patterns: Vec::new(),
            uniques: Vec::new(),
            recipes: Vec::new(),
            slurries: Vec::new(),
            gelled: String::new(),
            patinas: Vec::new(),
            pieces: Vec::new(),
            castings: Vec::new(),
            shells: Vec::new(),
            batches: Vec::new(),
            stock: Vec::new(),
            additions: Vec::new(),
            waiting: VecDeque::new(),
            once: Vec::new(),
            commissions: 0,
            trial: String::new(),
            stands: BTreeMap::new(),
            agenda: BTreeMap::new(),
            dealt: 0,
        };
        shop.plan_days();
        shop
    }

    /// Pour days, counted back from the last one, which is the last day of the book. Two
    /// batches are under way when it ends.
    fn plan_days(&mut self) {
        let last = ENDS - 9 * HOUR;
        let mut days = vec![last + 15 * DAY, last + 9 * DAY, last, last - 3 * DAY];
        let mut day = last - 13 * DAY;
        while day > BEGINS + 22 * DAY {
            days.push(day);
            day -= if days.len().is_multiple_of(2) { 10 } else { 11 } * DAY;
        }
        days.sort_unstable();
        for day in days {
            let batch = self.batches.len();
            self.batches.push(Batch { day, castings: Vec::new(), shells: Vec::new() });
            self.later(day - 17 * DAY, Task::Plan(batch));
        }
        let mut check = BEGINS + DAY;
        while check < ENDS {
            self.later(check, Task::Slurry);
            check += 7 * DAY;
        }
    }

    /// Puts something on the agenda; what would come after the end never happens.
    pub fn later(&mut self, when: i64, task: Task) {
        if when < ENDS {
            self.agenda.insert((when, self.dealt), task);
            self.dealt += 1;
        }
    }

    /// Whether something that happens once happens now.
    pub fn first(&mut self, what: &'static str) -> bool {
        let fresh = !self.once.contains(&what);
        if fresh {
            self.once.push(what);
        }
        fresh
    }

    /// Works the agenda off.
    ///
    /// # Errors
    /// What the book refuses.
    pub async fn run(&mut self) -> Result<(), String> {
        while let Some(((now, _), task)) = self.agenda.pop_first() {
            self.caller.tick(now);
            match task {
                Task::Plan(batch) => self.plan(batch, now).await?,
                Task::Wax(casting) => self.wax(casting, now).await?,
                Task::Build(batch) => self.build(batch, now).await?,
                Task::Coat(batch, recipe, n) => self.coat(batch, recipe, n, now).await?,
                Task::Burn(batch) => self.burn(batch, now).await?,
                Task::Pour(batch) => self.pour(batch, now).await?,
                Task::Open(shell) => self.open_shell(shell, now).await?,
                Task::Cut(shell) => self.cut(shell, now).await?,
                Task::Bench(casting, step) => self.bench(casting, step, now).await?,
                Task::Scrap(casting) => self.scrap(casting, now).await?,
                Task::Recast(casting) => self.recast(casting, now).await?,
                Task::Deliver(piece) => self.deliver(piece, now).await?,
                Task::Slurry => self.slurry(now).await?,
            }
        }
        self.caller.tick(ENDS);
        Ok(())
    }
}
