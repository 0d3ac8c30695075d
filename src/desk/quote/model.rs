//! What is said of quotes.

use super::worked::{Seed, Worked};
use crate::kernel::Millimetres;
use crate::kernel::field::{Day, Kg, List, Minor, Nested, Parent, Positive, Ref, Text, UpTo, Whole};
use crate::kernel::id::{Client, Commission, Pattern, Quote, Recipe};
use crate::{body, words};

words! {
    /// What mould the waxes are pulled from.
    pub enum MouldIs {
        /// A new one, made for the job.
        New = "new",
        /// One that is there.
        Existing = "existing",
        /// The client's own.
        Client = "client",
        /// None: printed, or modelled directly.
        None = "none",
    }
}

words! {
    /// How far the metal is worked.
    pub enum Chasing {
        /// Gates off and blasted.
        Plain = "plain",
        /// As the shop does it.
        Usual = "usual",
        /// Seams and skin brought back all over.
        Fine = "fine",
    }
}

words! {
    /// Who bears it when a casting fails.
    pub enum Bears {
        /// The shop: the price covers it.
        Shop = "shop",
        /// The client: each casting more is charged.
        Client = "client",
    }
}

words! {
    /// What became of a quote.
    pub enum Step {
        /// It went to the client.
        Sent = "sent",
        /// The client took it.
        Accepted = "accepted",
        /// The client did not take it.
        Declined = "declined",
    }
}

body! {
    /// One work that is asked for, in so many copies.
    pub struct LineBody {
        /// What it is called; its pattern's name if not said.
        what: Option<Text<200>>,
        /// Its pattern, if that is on file.
        pattern_id: Option<Ref<Pattern>>,
        /// What a copy weighs in metal, where no pattern is on file.
        mass_kg: Option<Kg<1>>,
        /// Or the metal's volume.
        volume_cm3: Option<Positive<100_000_000>>,
        /// Its thinnest section; with a pattern, the pattern's.
        section_mm: Option<Millimetres>,
        /// What it is cast in, from `/v1/trade/alloys`.
        alloy: Text<40>,
        /// How many copies.
        copies: Whole<1, 150>,
        /// How many proofs beside them.
        proofs: Option<Whole<0, 50>>,
        /// In how many parts each is cast and joined; one if not said.
        sections: Option<Whole<1, 50>>,
        /// Its shell recipe.
        recipe_id: Option<Ref<Recipe>>,
        /// Its finish: a patina on file by name, or in words.
        finish: Option<Text<120>>,
        /// Whether it is cast hollow.
        hollow: Option<bool>,
        /// Whether its pattern is gone with its first casting; with a pattern, as that is.
        unique: Option<bool>,
        /// What mould.
        mould: Option<MouldIs>,
        /// What a new mould costs, where that is known; else by the record.
        mould_minor: Option<Minor>,
        /// How far it is chased.
        chasing: Option<Chasing>,
        /// Minutes of chasing a copy, where the caster says; else by the record.
        chase_minutes: Option<Positive<100_000>>,
        /// What a copy's base costs.
        base_minor: Option<Minor>,
        /// What a copy's royalty is.
        royalty_minor: Option<Minor>,
        /// What a copy's crate costs, where that is known; else by the record.
        crate_minor: Option<Minor>,
        /// What freight costs in all.
        freight_minor: Option<Minor>,
        /// What else is bought in, in all.
        bought_minor: Option<Minor>,
        /// What a kg of the metal costs, where it is not to be taken from the book.
        metal_minor_per_kg: Option<Minor>,
        /// Who bears a failed casting; the shop if not said.
        recast_borne_by: Option<Bears>,
        /// What making a unique pattern again would cost.
        remake_minor: Option<Minor>,
    }
}

body! {
    /// A job described, and what the book answered.
    pub struct QuoteBody {
        /// What it is called.
        title: Text<200>,
        /// Who asks.
        client_id: Option<Ref<Client>>,
        /// When it is wanted.
        due_on: Option<Day>,
        /// The works.
        lines: List<Nested<LineBody>, 20>,
        /// The price before tax, where the owner sets it; else by the shop's rules.
        set_price_minor: Option<Minor>,
        /// Percent of tax; the shop's if not said.
        tax_percent: Option<UpTo<100>>,
        /// Until when it holds; the shop's days from now if not said.
        valid_until: Option<Day>,
        /// The quote that this is a new version of.
        revises: Option<Ref<Quote>>,
        /// What stands at the head of the letter.
        opening: Option<Text<2000>>,
        /// Notes for the shop alone.
        notes: Option<Text<4000>>,
        /// With what chance is drawn; dealt by the book if not said.
        seed: Option<Seed>,
        /// What the book worked out; never sent.
        worked: Option<Worked>,
    }
}

body! {
    /// Something that became of a quote.
    pub struct QuoteStepBody {
        /// The quote.
        quote_id: Parent<Quote>,
        /// What; by the path.
        step: Option<Step>,
        /// To whom it was sent, or who said so.
        whom: Option<Text<200>>,
        /// Why it was not taken: price, time, work, no word, other.
        reason: Option<Text<200>>,
        /// Notes.
        notes: Option<Text<1000>>,
        /// The commission it became; made by the book.
        commission_id: Option<Ref<Commission>>,
    }
}

impl LineBody {
    /// Reads the lines of a quote as the journal has them.
    ///
    /// # Errors
    /// When they are not as they were written.
    pub fn read_all(lines: &serde_json::Value) -> Result<Vec<Self>, crate::kernel::Problem> {
        use crate::kernel::field::{Faults, Field as _};
        let mut faults = Faults::default();
        let read = List::<Nested<Self>, 20>::read(Some(lines), "/lines", &mut faults);
        let read = read.filter(|_| faults.0.is_empty());
        read.map(|list| list.0.into_iter().map(|line| line.0).collect())
            .ok_or_else(|| crate::kernel::Problem::internal("a quote's lines cannot be read"))
    }
}
