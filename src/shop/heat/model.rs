//! What is said of heats, charges, events, pours, leaks and closings.

use crate::kernel::field::{Children, Kg, Minor, Named, Parent, Ref, Text, UpTo};
use crate::kernel::id::{Crucible, Furnace, Heat, MetalLot, Pour, Shell};
use crate::kernel::{Celsius, Instant};
use crate::{body, words};

body! {
    /// Metal charged into a heat.
    pub struct ChargeBody {
        /// The heat.
        heat_id: Parent<Heat>,
        /// From which lot.
        lot_id: Ref<MetalLot>,
        /// How much.
        mass_kg: Kg<1>,
    }
}

body! {
    /// One melt in one crucible.
    pub struct HeatBody {
        /// What it is poured as, from `/v1/trade/alloys`.
        alloy: Text<40>,
        /// The furnace.
        furnace: Named<Furnace>,
        /// The crucible.
        crucible: Option<Named<Crucible>>,
        /// What was charged.
        charge: Children<ChargeBody>,
        /// Notes.
        notes: Option<Text<2000>>,
    }
}

words! {
    /// What was done to a melt.
    pub enum EventKind {
        /// Skimmed.
        Skim = "skim",
        /// Fluxed.
        Flux = "flux",
        /// Degassed.
        Degas = "degas",
        /// Deoxidised.
        Deoxidise = "deoxidise",
        /// Its temperature read.
        Temperature = "temperature",
        /// Ready to be poured.
        Ready = "ready",
    }
}

body! {
    /// Something done to or read from a melt. With a lot and a mass it is a charge line.
    pub struct HeatEventBody {
        /// The heat.
        heat_id: Parent<Heat>,
        /// What.
        kind: EventKind,
        /// The metal.
        metal_c: Option<Celsius>,
        /// What was added, from which lot.
        lot_id: Option<Ref<MetalLot>>,
        /// How much was added.
        mass_kg: Option<Kg<1>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

words! {
    /// How a shell stood at its pour.
    pub enum Support {
        /// Hung in the open.
        OpenRack = "open_rack",
        /// Buried in sand.
        Buried = "buried",
        /// Half buried.
        HalfBuried = "half_buried",
        /// Standing by itself.
        Standing = "standing",
    }
}

words! {
    /// Whether it filled.
    pub enum Filled {
        /// It did.
        Full = "full",
        /// It stayed short.
        Short = "short",
        /// The stream was stopped.
        Stopped = "stopped",
    }
}

words! {
    /// How the mass of a pour is known.
    pub enum Basis {
        /// Read off a scale.
        Weighed = "weighed",
        /// By eye.
        Estimated = "estimated",
    }
}

words! {
    /// Where metal got out.
    pub enum Place {
        /// At the cup.
        Cup = "cup",
        /// At the sprue.
        Sprue = "sprue",
        /// At a runner.
        Runner = "runner",
        /// At a gate.
        Gate = "gate",
        /// At a vent.
        Vent = "vent",
        /// At the casting.
        Casting = "casting",
    }
}

words! {
    /// What was done about a leak.
    pub enum Response {
        /// It froze off by itself.
        FrozeOff = "froze_off",
        /// It was plugged.
        Plugged = "plugged",
        /// The pour was stopped.
        Stopped = "stopped",
        /// Nothing.
        Nothing = "none",
    }
}

body! {
    /// Metal escaping at a pour.
    pub struct LeakBody {
        /// The pour.
        pour_id: Parent<Pour>,
        /// Where.
        r#where: Place,
        /// What was done.
        response: Response,
        /// Lost for good.
        lost_kg: Option<Kg<0>>,
        /// Swept up.
        swept_kg: Option<Kg<0>>,
        /// Into which pool.
        swept_lot_id: Option<Ref<MetalLot>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// One stream of metal into a shell.
    pub struct PourBody {
        /// The heat.
        heat_id: Parent<Heat>,
        /// The shell.
        shell_id: Ref<Shell>,
        /// How it stood.
        support: Support,
        /// Whether it filled.
        filled: Filled,
        /// What went in.
        poured_kg: Option<Kg<1>>,
        /// How that is known; weighed if not said.
        poured_basis: Option<Basis>,
        /// The metal.
        metal_c: Option<Celsius>,
        /// The shell as it left the kiln.
        shell_out_c: Option<Celsius>,
        /// When it left the kiln.
        shell_out_at: Option<Instant>,
        /// The shell as the metal went in.
        shell_c: Option<Celsius>,
        /// How long it took.
        pour_seconds: Option<UpTo<10_000>>,
        /// The first stream, where this is a further one.
        continues_pour_id: Option<Ref<Pour>>,
        /// Where it leaked.
        leaks: Children<LeakBody>,
        /// Notes.
        note: Option<Text<500>>,
    }
}

body! {
    /// The end of a heat.
    pub struct ClosingBody {
        /// The heat.
        heat_id: Parent<Heat>,
        /// Into ingot moulds.
        pigged_kg: Option<Kg<0>>,
        /// Into which pool.
        pigged_lot_id: Option<Ref<MetalLot>>,
        /// Skimmed off.
        dross_kg: Option<Kg<0>>,
        /// Spilled.
        spilled_kg: Option<Kg<0>>,
        /// Left in the crucible.
        heel_kg: Option<Kg<0>>,
        /// Fuel, by its price.
        fuel_minor: Option<Minor>,
        /// Gas burnt.
        fuel_kg: Option<Kg<0>>,
        /// What the gas bottles weighed before, where that is how fuel is known.
        bottles_before_kg: Option<Kg<0>>,
        /// And after.
        bottles_after_kg: Option<Kg<0>>,
        /// Current used.
        fuel_kwh: Option<UpTo<1_000_000>>,
        /// Notes.
        note: Option<Text<500>>,
    }
}
