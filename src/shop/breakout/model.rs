//! What is said of breakouts, cut-offs and findings.

use crate::kernel::field::{Children, Kg, Many, Nested, Parent, Ref, Text};
use crate::kernel::id::{Breakout, Casting, MetalLot, Scrap, Shell, ShellBreakout};
use crate::{body, words};

words! {
    /// What a casting was judged at its breakout.
    pub enum Verdict {
        /// Good as it is.
        Accepted = "accepted",
        /// Good once repaired.
        Repair = "repair",
        /// Failed.
        Scrap = "scrap",
        /// Not judged yet.
        NotJudged = "not_judged",
    }
}

words! {
    /// How bad a finding is.
    pub enum Severity {
        /// A little.
        Minor = "minor",
        /// Much.
        Major = "major",
        /// It decides.
        Critical = "critical",
    }
}

body! {
    /// One defect on one casting.
    pub struct FindingBody {
        /// The breakout it was found at.
        breakout_id: Parent<Breakout>,
        /// The scrapping it was found at.
        scrap_id: Parent<Scrap>,
        /// International defect code or house code, from `/v1/trade/defects`.
        code: Text<20>,
        /// Where on the casting.
        r#where: Option<Text<120>>,
        /// How bad.
        severity: Option<Severity>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}

body! {
    /// A shell opened: what one casting weighed and was judged.
    pub struct BreakoutBody {
        /// The casting.
        casting_id: Ref<Casting>,
        /// What it was judged; not judged if not said.
        verdict: Option<Verdict>,
        /// As broken out, with its gating, when it was alone in its shell.
        gross_kg: Option<Kg<1>>,
        /// Once cut off.
        net_kg: Option<Kg<0>>,
        /// Gating put back into a pool.
        returned_kg: Option<Kg<0>>,
        /// Which pool.
        returned_lot_id: Option<Ref<MetalLot>>,
        /// A scrapped casting kept for now.
        kept: Option<bool>,
        /// What was found.
        findings: Children<FindingBody>,
        /// The whole tree it was knocked out with.
        shell_breakout_id: Parent<ShellBreakout>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}

body! {
    /// One casting of a tree that was knocked out.
    pub struct JudgedBody {
        /// The casting.
        casting_id: Ref<Casting>,
        /// What it was judged; not judged if not said.
        verdict: Option<Verdict>,
        /// A scrapped casting kept for now.
        kept: Option<bool>,
        /// What was found.
        findings: Many<Nested<FindingBody>, 50>,
    }
}

body! {
    /// A whole tree knocked out of its shell.
    pub struct ShellBreakoutBody {
        /// The shell.
        shell_id: Parent<Shell>,
        /// The whole tree.
        gross_kg: Option<Kg<1>>,
        /// What its castings were judged; those not named are not judged.
        castings: Children<JudgedBody>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}

body! {
    /// A casting cut off its tree and weighed.
    pub struct CutOffBody {
        /// The casting.
        casting_id: Parent<Casting>,
        /// Once cut off.
        net_kg: Kg<0>,
        /// Gating put back into a pool.
        returned_kg: Option<Kg<0>>,
        /// Which pool.
        returned_lot_id: Option<Ref<MetalLot>>,
        /// Notes.
        note: Option<Text<1000>>,
    }
}
