//! `/pages`: every page there is to go to, in the order of a piece's way through the shop.

use crate::kernel::actor::Right;
use crate::web::Page;
use crate::web::page::Visit;
use crate::web::sheet::{Cell, Sheet, Table};

/// A page: words, path, what it is for, and who may.
type Place = (&'static str, &'static str, &'static str, Right);

/// What is logged, looked up and asked: words, path, what it is for, and who may.
const PLACES: &[(&str, &[Place])] = &[
    (
        "Before the metal",
        &[
            ("Quotes", "/quotes", "what a job will cost, and how sure that is", Right::Own),
            ("Jobs", "/jobs", "commissions: what is owed, to whom, by when", Right::Read),
            ("Clients", "/clients", "who commissions work", Right::Read),
            ("Clients' property", "/property", "what of theirs is here, and what went back", Right::Read),
            ("Patterns", "/patterns", "forms on file, and what was cast from them", Right::Read),
            ("Moulds", "/moulds", "where they stand, and their editions", Right::Read),
            ("Shells", "/shells", "every shell from its first coat to its pour", Right::Read),
            ("Dip", "/dip", "the next coat of each rack", Right::Log),
            ("Slurry", "/slurry", "tanks and their checks", Right::Read),
            ("Shell recipes", "/recipes", "coats in order, in versions", Right::Read),
            ("Kiln", "/kiln", "shells in, shells out, and the bad ones", Right::Log),
        ],
    ),
    (
        "The metal",
        &[
            ("Heats", "/heats", "lit, charged, ready, poured, closed", Right::Read),
            ("Pour day", "/pour-day", "the hour that matters, tapped or logged after", Right::Log),
        ],
    ),
    (
        "After the metal",
        &[
            ("Break out", "/breakout", "shells opened: the whole tree, and the bad ones", Right::Read),
            ("Cut off", "/cut-off", "what each casting weighs", Right::Read),
            ("Bench", "/bench", "minutes, verdicts, finished, scrapped, handed over", Right::Read),
            ("Patinas", "/patinas", "finishes in versions, with their samples", Right::Read),
            ("Away", "/away", "out of the house to be worked on, and due back", Right::Read),
        ],
    ),
    (
        "What we make of it",
        &[
            ("Reports", "/reports", "leaks, defects, yields, losses, where all metal is", Right::Read),
            ("Trials", "/trials", "two ways of working, compared by pairs and a coin", Right::Read),
        ],
    ),
    (
        "The record",
        &[
            ("Kilns, furnaces, crucibles, hands, suppliers", "/things", "what has a name", Right::Read),
            ("Incidents", "/incidents", "what went wrong, or nearly did", Right::Read),
            ("History", "/history", "what was written into the book, and undoing it", Right::Read),
            ("People", "/people", "who may come in, and tablets of the floor", Right::Own),
        ],
    ),
];

/// The page.
#[must_use]
pub fn pages() -> Vec<Page> {
    vec![Page::get("/pages", Right::Read, |visit: Visit| async move {
        let mut sheet = Sheet::new(&visit, "All pages");
        let role = visit.actor()?.role;
        for (heading, places) in PLACES {
            let mut table = Table::new(heading, "", &["Page", "What it is for"]);
            for (words, path, about, right) in *places {
                if role.may(*right) {
                    table.row([Cell::text(*words).to(*path), Cell::text(*about)]);
                }
            }
            if !table.rows.is_empty() {
                sheet.table(table);
            }
        }
        sheet.show()
    })]
}
