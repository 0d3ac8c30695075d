//! What is said of work, finishing and scrapping.

use crate::kernel::Instant;
use crate::kernel::field::{Children, Day, Kg, Minor, Named, Nested, Parent, Positive, Ref, Text, Whole};
use crate::kernel::id::{Casting, Commission, Hand, Heat, MetalLot, Mould, Patina, Pattern, Piece, Shell, Supplier};
use crate::shop::breakout::FindingBody;
use crate::{body, words};

words! {
    /// What minutes are booked on.
    pub enum Operation {
        /// Making a mould.
        MakeMould = "make_mould",
        /// Pulling a wax.
        PullWax = "pull_wax",
        /// Chasing a wax.
        ChaseWax = "chase_wax",
        /// Cores.
        Core = "core",
        /// Sprues, runners, gates, vents.
        Sprue = "sprue",
        /// Dipping.
        Dip = "dip",
        /// Patching shells.
        Patch = "patch",
        /// Loading the kiln.
        LoadKiln = "load_kiln",
        /// Melting.
        Melt = "melt",
        /// Pouring.
        Pour = "pour",
        /// Knocking off the shell.
        KnockOff = "knock_off",
        /// Cutting off.
        CutOff = "cut_off",
        /// Blasting.
        Blast = "blast",
        /// Chasing metal.
        Chase = "chase",
        /// Welding.
        Weld = "weld",
        /// Straightening.
        Straighten = "straighten",
        /// Putting parts together.
        Assemble = "assemble",
        /// Patina.
        Patina = "patina",
        /// Waxing.
        Wax = "wax",
        /// Mounting.
        Mount = "mount",
        /// Crating.
        Crate = "crate",
        /// Something else.
        Other = "other",
    }
}

body! {
    /// Minutes by operation, on a casting, piece, shell, heat, mould or commission.
    pub struct WorkBody {
        /// On a casting.
        casting_id: Parent<Casting>,
        /// On a piece.
        piece_id: Parent<Piece>,
        /// On a shell.
        shell_id: Parent<Shell>,
        /// On a heat.
        heat_id: Parent<Heat>,
        /// On a mould.
        mould_id: Parent<Mould>,
        /// On a commission.
        commission_id: Parent<Commission>,
        /// What was done.
        operation: Operation,
        /// For how long.
        minutes: Positive<100_000>,
        /// By whom.
        hand: Option<Named<Hand>>,
        /// By which patina.
        patina_id: Option<Ref<Patina>>,
        /// Which version of it; the newest at that time if not said.
        patina_version: Option<Whole<1, 10_000>>,
        /// Bench materials used.
        material_minor: Option<Minor>,
        /// What the casting weighed afterwards.
        mass_after_kg: Option<Kg<1>>,
        /// Weld rod and pins put on.
        rod_kg: Option<Kg<1>>,
        /// From which lot; from outside if not said.
        rod_lot_id: Option<Ref<MetalLot>>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}

body! {
    /// A casting finished.
    pub struct FinishBody {
        /// The casting.
        casting_id: Parent<Casting>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}

body! {
    /// Work done outside the shop on a casting, a piece, a mould or a pattern.
    pub struct OutsideWorkBody {
        /// What is away: a casting.
        casting_id: Option<Ref<Casting>>,
        /// A piece.
        piece_id: Option<Ref<Piece>>,
        /// A mould.
        mould_id: Option<Ref<Mould>>,
        /// A pattern.
        pattern_id: Option<Ref<Pattern>>,
        /// With whom.
        supplier: Named<Supplier>,
        /// What is done there.
        what: Text<200>,
        /// When it is due back.
        due_back_on: Option<Day>,
        /// When it came back; it is away until then.
        back_at: Option<Instant>,
        /// What it costs.
        cost_minor: Option<Minor>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}

words! {
    /// Why a casting was given up.
    pub enum Category {
        /// The wax.
        Wax = "wax",
        /// The shell.
        Shell = "shell",
        /// The burnout.
        Burnout = "burnout",
        /// The metal.
        Metal = "metal",
        /// The pour.
        Pour = "pour",
        /// Breaking it out.
        Breakout = "breakout",
        /// The bench.
        Bench = "bench",
        /// The client.
        Client = "client",
        /// Something else.
        Other = "other",
    }
}

body! {
    /// What brought a casting to an end.
    pub struct Cause {
        /// Where it lies.
        category: Category,
        /// In words.
        text: Option<Text<500>>,
    }
}

body! {
    /// A casting given up.
    pub struct ScrapBody {
        /// The casting.
        casting_id: Parent<Casting>,
        /// Why.
        cause: Nested<Cause>,
        /// At which stage it was seen, if not the one it stood at.
        stage: Option<Text<20>>,
        /// What was found.
        findings: Children<FindingBody>,
        /// What went back into a pool; all of it if not said.
        returned_kg: Option<Kg<0>>,
        /// Which pool.
        returned_lot_id: Option<Ref<MetalLot>>,
        /// Kept for now, returned later.
        kept: Option<bool>,
    }
}
