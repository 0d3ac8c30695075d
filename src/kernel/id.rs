//! Record ids: bare UUIDv7 at the edge, typed by what they are the id of; and the
//! sequence number that stands for a record inside the store.

use std::fmt;
use std::marker::PhantomData;
use uuid::Uuid;

/// The number dealt to a record when it was first recorded; its key in the store.
pub type Seq = i64;

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident $text:literal $collection:literal;)*) => {
        /// Every kind of record there is.
        #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Debug)]
        pub enum Kind { $($(#[$doc])* $name,)* }

        impl Kind {
            /// All of them, in the order of the route.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];
            /// As written in the store.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$name => $text,)* }
            }
            /// As written in paths: `/v1/<collection>`.
            #[must_use]
            pub const fn collection(self) -> &'static str {
                match self { $(Self::$name => $collection,)* }
            }
            /// The type name of the record in the API description.
            #[must_use]
            pub const fn type_name(self) -> &'static str {
                match self { $(Self::$name => stringify!($name),)* }
            }
            /// The inverse of [`Kind::name`].
            #[must_use]
            pub fn parse(text: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|k| k.name() == text)
            }
        }

        $($(#[$doc])* #[derive(Debug)] pub enum $name {}
        impl Kinded for $name { const KIND: Kind = Kind::$name; })*
    };
}

/// A marker type that says which kind an id belongs to.
pub trait Kinded: Send + Sync + 'static {
    /// The kind.
    const KIND: Kind;
}

kinds! {
    /// Someone who works in the shop.
    Hand "hand" "hands";
    /// A kiln.
    Kiln "kiln" "kilns";
    /// A furnace.
    Furnace "furnace" "furnaces";
    /// A crucible.
    Crucible "crucible" "crucibles";
    /// Someone the shop buys from.
    Supplier "supplier" "suppliers";
    /// Who commissions work.
    Client "client" "clients";
    /// Something of a client's that is in the shop.
    Property "property" "properties";
    /// One agreed job.
    Commission "commission" "commissions";
    /// Rubber, plaster or tooling taken from an original.
    Mould "mould" "moulds";
    /// A form on file.
    Pattern "pattern" "patterns";
    /// One finished work owed.
    Piece "piece" "pieces";
    /// One attempt to cast one part of one piece.
    Casting "casting" "castings";
    /// The consumable copy that becomes a casting.
    Wax "wax" "waxes";
    /// A shell recipe.
    Recipe "recipe" "recipes";
    /// One version of a recipe.
    RecipeVersion "recipe_version" "recipe-versions";
    /// One tank of slurry.
    SlurryBatch "slurry_batch" "slurry-batches";
    /// A check of a slurry batch.
    SlurryCheck "slurry_check" "slurry-checks";
    /// One ceramic mould.
    Shell "shell" "shells";
    /// One dip and stucco.
    Coat "coat" "coats";
    /// A repair of a shell before its pour.
    Patch "patch" "patches";
    /// One kiln load that melts out and fires.
    Burnout "burnout" "burnouts";
    /// Shells brought back to heat before a pour.
    Preheat "preheat" "preheats";
    /// Metal in stock.
    MetalLot "metal_lot" "metal-lots";
    /// Metal bought into a pool.
    Receipt "receipt" "receipts";
    /// A lot weighed.
    Count "count" "counts";
    /// Metal sold or written off out of stock.
    Out "out" "outs";
    /// Metal moved from a lot into a pool.
    Transfer "transfer" "transfers";
    /// One melt in one crucible.
    Heat "heat" "heats";
    /// Metal charged into a heat.
    Charge "charge" "charges";
    /// Something done to or read from a melt.
    HeatEvent "heat_event" "heat-events";
    /// One stream of metal into a shell.
    Pour "pour" "pours";
    /// Metal escaping at a pour.
    Leak "leak" "leaks";
    /// The end of a heat.
    Closing "closing" "closings";
    /// A shell opened: what one casting weighed and was judged.
    Breakout "breakout" "breakouts";
    /// A whole tree knocked out of its shell.
    ShellBreakout "shell_breakout" "shell-breakouts";
    /// A casting cut off its tree and weighed.
    CutOff "cut_off" "cut-offs";
    /// One defect on one casting.
    Finding "finding" "findings";
    /// Minutes by operation.
    Work "work" "work";
    /// The parts of a piece joined.
    Assembly "assembly" "assemblies";
    /// A casting finished.
    Finish "finish" "finishes";
    /// A casting given up.
    Scrap "scrap" "scraps";
    /// The next attempt of a part.
    Recast "recast" "recasts";
    /// A piece handed over.
    Delivery "delivery" "deliveries";
    /// A certificate that goes with a piece.
    Certificate "certificate" "certificates";
    /// A piece that is no more, after it was handed over.
    PieceLoss "piece_loss" "piece-losses";
    /// A cost bought in for a commission.
    Cost "cost" "costs";
    /// Money received for a commission.
    Payment "payment" "payments";
    /// A recipe of a finish.
    Patina "patina" "patinas";
    /// One version of a patina.
    PatinaVersion "patina_version" "patina-versions";
    /// Work done outside the shop: what is away for it, and when it is due back.
    OutsideWork "outside_work" "outside-work";
    /// What the shop costs as such: rent, insurance, repairs.
    Expense "expense" "expenses";
    /// Something that went wrong, or nearly did, and what was done.
    Incident "incident" "incidents";
    /// A fair comparison of two ways of working.
    Trial "trial" "trials";
    /// Two shells of a trial and what the coin gave them.
    TrialPair "trial_pair" "trial-pairs";
    /// The end of a trial.
    TrialEnd "trial_end" "trial-ends";
    /// A price worked out for a job that was described.
    Quote "quote" "quotes";
    /// A quote sent, accepted or declined.
    QuoteStep "quote_step" "quote-steps";
    /// A dated setting of the shop.
    Setting "setting" "settings";
    /// A rate or price that the shop reckons with from a day on.
    Rate "rate" "rates";
    /// A shop's own entry in the trade catalogue.
    TradeEntry "trade_entry" "trade-entries";
}

impl Kind {
    /// Whether records of the kind are the owner's alone, in their history too.
    #[must_use]
    pub const fn owners_alone(self) -> bool {
        matches!(self, Self::Quote | Self::QuoteStep)
    }
}

/// The id of a record of kind `K`.
pub struct Id<K>(Uuid, PhantomData<fn() -> K>);

impl<K> Clone for Id<K> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<K> Copy for Id<K> {}
impl<K> PartialEq for Id<K> {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}
impl<K> Eq for Id<K> {}
impl<K> fmt::Debug for Id<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}
impl<K> fmt::Display for Id<K> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0)
    }
}
impl<K> Id<K> {
    /// From the bare id.
    #[must_use]
    pub const fn new(uuid: Uuid) -> Self {
        Self(uuid, PhantomData)
    }
    /// The bare id.
    #[must_use]
    pub const fn uuid(self) -> Uuid {
        self.0
    }
}
