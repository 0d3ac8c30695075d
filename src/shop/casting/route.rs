//! The route of a casting: its stages, what may follow what, and what depends on what.
//!
//! [`next`] decides every pair of stage and event; `tests::grid` shows the whole table.
//! [`walk`] follows the live records of one casting in order and says where it stands and
//! which record does not fit.

use crate::kernel::{Instant, Order, ProblemType};

/// Where a casting stands. `Lost` (its shell was lost) is shown as scrapped.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug, Hash)]
pub enum Stage {
    /// Owed, or a wax.
    Wax,
    /// In a shell.
    Shell,
    /// Its shell has been in the kiln.
    Burnout,
    /// Its shell was brought back to heat.
    Preheat,
    /// Metal is in its shell.
    Pour,
    /// Its shell was opened.
    Breakout,
    /// On the bench.
    Bench,
    /// Finished.
    Done,
    /// Handed over.
    Delivered,
    /// Given up.
    Scrapped,
    /// Given up because its shell was lost.
    Lost,
}

/// What may happen to a casting or its shell.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
pub enum Event {
    /// The wax was made or weighed.
    Wax,
    /// It was taken into a shell.
    Shell,
    /// Its shell got a coat.
    Coat,
    /// Its shell was patched.
    Patch,
    /// Its shell came sound or cracked out of a burnout, or the result is not known yet.
    Fired,
    /// Its shell was lost in the burnout.
    LostInKiln,
    /// Its shell was preheated.
    Preheat,
    /// Metal went into its shell.
    Pour,
    /// A further stream into the same shell.
    Stream,
    /// Its shell was opened and it was judged good, for repair, or not judged.
    Opened,
    /// Its shell was opened and it was judged scrap.
    OpenedScrap,
    /// It was cut off and weighed.
    CutOff,
    /// It was joined to other parts of its piece.
    Join,
    /// Minutes were spent on it.
    Work,
    /// It was finished.
    Finish,
    /// It was given up.
    Scrap,
    /// It was handed over.
    Deliver,
}

/// The decision on a pair of stage and event.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Step {
    /// It goes on, and stands there.
    To(Stage),
    /// What must come before is not on record; said again with `despite`, it stands there.
    NotYet(Stage),
    /// What must come before is not on record and cannot be done without.
    Needs(ProblemType),
    /// No shop can do that.
    Never(ProblemType),
}

impl Stage {
    /// All of them.
    pub const ALL: [Self; 11] = [
        Self::Wax,
        Self::Shell,
        Self::Burnout,
        Self::Preheat,
        Self::Pour,
        Self::Breakout,
        Self::Bench,
        Self::Done,
        Self::Delivered,
        Self::Scrapped,
        Self::Lost,
    ];
    /// As shown.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Wax => "wax",
            Self::Shell => "shell",
            Self::Burnout => "burnout",
            Self::Preheat => "preheat",
            Self::Pour => "pour",
            Self::Breakout => "breakout",
            Self::Bench => "bench",
            Self::Done => "done",
            Self::Delivered => "delivered",
            Self::Scrapped | Self::Lost => "scrapped",
        }
    }
}

impl Event {
    /// All of them, in the natural order of the route.
    pub const ALL: [Self; 17] = [
        Self::Wax,
        Self::Shell,
        Self::Coat,
        Self::Patch,
        Self::Fired,
        Self::LostInKiln,
        Self::Preheat,
        Self::Pour,
        Self::Stream,
        Self::Opened,
        Self::OpenedScrap,
        Self::CutOff,
        Self::Join,
        Self::Work,
        Self::Finish,
        Self::Deliver,
        Self::Scrap,
    ];
    /// Its place in the natural order, which decides between equal instants.
    #[must_use]
    pub fn rank(self) -> usize {
        Self::ALL.iter().position(|e| *e == self).unwrap_or(usize::MAX)
    }
}

/// Decides every pair of stage and event.
#[must_use]
pub const fn next(stage: Stage, event: Event) -> Step {
    use ProblemType::{AlreadyPoured, NotYet as Missing, Opened as OpenedAlready, OutOfRoute, TimesContradict};
    use Stage::{Bench, Breakout, Burnout, Delivered, Done, Lost, Pour, Preheat, Scrapped, Shell, Wax};
    use Step::{Needs, Never, NotYet, To};
    match (stage, event) {
        // Minutes may be booked at any time; on the bench they move an opened casting on.
        (Breakout | Bench, Event::Work) => To(Bench),
        (at, Event::Work) => To(at),

        // Given up before its shell went on: the shell goes on without it, and what it
        // weighed may still be learnt.
        (Scrapped, Event::Coat | Event::Patch | Event::Fired | Event::Preheat | Event::Pour | Event::Stream) => To(Scrapped),
        (Scrapped, Event::Opened | Event::OpenedScrap | Event::CutOff | Event::Scrap) => To(Scrapped),
        (Scrapped, Event::LostInKiln) => To(Lost),
        (Scrapped, Event::Wax | Event::Shell | Event::Join | Event::Finish | Event::Deliver) => Never(OutOfRoute),
        (Lost, _) => Never(OutOfRoute),

        (Wax, Event::Wax) => To(Wax),
        (_, Event::Wax) => Never(TimesContradict),
        (Wax, Event::Shell) => To(Shell),
        (_, Event::Shell) => Never(OutOfRoute),

        // Before it is in a shell nothing can happen to its shell.
        (Wax, Event::Coat | Event::Patch | Event::Fired | Event::LostInKiln | Event::Preheat | Event::Pour | Event::Stream) => {
            Never(TimesContradict)
        }

        (Shell, Event::Coat | Event::Patch) => To(Shell),
        (at @ (Burnout | Preheat), Event::Coat | Event::Patch) => To(at),
        (Shell | Burnout | Preheat, Event::Fired) => To(Burnout),
        (Shell | Burnout | Preheat, Event::LostInKiln) => To(Lost),
        (Burnout | Preheat, Event::Preheat) => To(Preheat),
        (Shell, Event::Preheat) => NotYet(Preheat),
        (Burnout | Preheat, Event::Pour) => To(Pour),
        (Shell, Event::Pour) => NotYet(Pour),
        (Shell | Burnout | Preheat, Event::Stream) => Needs(Missing),
        (Pour, Event::Coat | Event::Patch | Event::Fired | Event::LostInKiln | Event::Preheat) => Never(TimesContradict),
        (Pour, Event::Pour) => Never(AlreadyPoured),
        (Pour, Event::Stream) => To(Pour),
        (
            Breakout | Bench | Done | Delivered,
            Event::Coat | Event::Patch | Event::Fired | Event::LostInKiln | Event::Preheat | Event::Pour | Event::Stream,
        ) => Never(OpenedAlready),

        // A shell and a pour cannot be done without.
        (
            Wax | Shell | Burnout | Preheat,
            Event::Opened | Event::OpenedScrap | Event::CutOff | Event::Join | Event::Finish | Event::Deliver,
        ) => Needs(Missing),
        (Pour, Event::Opened) => To(Breakout),
        (Pour, Event::OpenedScrap) => To(Scrapped),
        (Pour, Event::CutOff | Event::Join) => NotYet(Bench),
        (Pour, Event::Finish) => NotYet(Done),
        (Pour | Breakout | Bench, Event::Deliver) => NotYet(Delivered),
        (Breakout | Bench | Done | Delivered, Event::Opened | Event::OpenedScrap) => Never(OutOfRoute),
        (Breakout | Bench, Event::CutOff | Event::Join) => To(Bench),
        (at @ (Done | Delivered), Event::CutOff | Event::Join) => To(at),
        (Breakout | Bench, Event::Finish) => To(Done),
        (Done | Delivered, Event::Finish) => Never(OutOfRoute),
        (Done, Event::Deliver) => To(Delivered),
        (Delivered, Event::Deliver | Event::Scrap) => Never(OutOfRoute),
        (Wax | Shell | Burnout | Preheat | Pour | Breakout | Bench | Done, Event::Scrap) => To(Scrapped),
    }
}

/// One record of a casting's route.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Happened {
    /// Its place in the one order.
    pub order: Order,
    /// The span its time may stand for: both ends alike unless known only to the hour or day.
    pub span: (Instant, Instant),
    /// What happened.
    pub event: Event,
    /// Whether it was said with `not_on_record`.
    pub despite: bool,
}

/// A record that does not fit where it stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit {
    /// Which.
    pub seq: i64,
    /// Where the casting stood.
    pub stage: Stage,
    /// What happened.
    pub event: Event,
    /// How it is refused.
    pub problem: ProblemType,
}

/// Where a casting stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Walked {
    /// Its stage.
    pub stage: Stage,
    /// Since when.
    pub since: Option<Instant>,
    /// The stage at which it was given up or lost, if it was: in the kiln burnout, at the
    /// opening breakout, else where it stood.
    pub lost_at: Option<Stage>,
    /// The first record that does not fit, if any.
    pub misfit: Option<Misfit>,
    /// Records that stand only because it was said that an earlier stage was never logged.
    pub not_on_record: Vec<i64>,
}

/// Follows the live records of one casting.
#[must_use]
pub fn walk(records: &[Happened]) -> Walked {
    let mut out = Walked { stage: Stage::Wax, since: None, lost_at: None, misfit: None, not_on_record: Vec::new() };
    for record in in_order(records) {
        let step = next(out.stage, record.event);
        let to = match step {
            Step::To(stage) => stage,
            Step::NotYet(stage) if record.despite => {
                out.not_on_record.push(record.order.seq);
                stage
            }
            Step::NotYet(_) => return misfit(out, record, ProblemType::NotYet),
            Step::Needs(problem) | Step::Never(problem) => return misfit(out, record, problem),
        };
        if to != out.stage {
            if out.lost_at.is_none() && matches!(to, Stage::Scrapped | Stage::Lost) {
                out.lost_at = Some(match record.event {
                    Event::LostInKiln => Stage::Burnout,
                    Event::OpenedScrap => Stage::Breakout,
                    _ => out.stage,
                });
            }
            out.stage = to;
            out.since = Some(record.order.at);
        }
    }
    out
}

fn misfit(mut out: Walked, record: &Happened, problem: ProblemType) -> Walked {
    out.misfit = Some(Misfit { seq: record.order.seq, stage: out.stage, event: record.event, problem });
    out
}

/// Records in the order they are held to: by time; at equal instants by the natural order
/// of the route; a time known only to the hour or day takes the place within its span that
/// the natural order gives it.
fn in_order(records: &[Happened]) -> Vec<&Happened> {
    let (mut exact, mut loose): (Vec<&Happened>, Vec<&Happened>) = records.iter().partition(|r| r.span.0 == r.span.1);
    exact.sort_by_key(|r| (r.order.at, r.event.rank(), r.order.seq));
    loose.sort_by_key(|r| (r.span.0, r.event.rank(), r.order.seq));
    for record in loose {
        let meets = |r: &&Happened| r.span.1 >= record.span.0 && r.span.0 <= record.span.1;
        let place = match (exact.iter().position(meets), exact.iter().rposition(meets)) {
            (Some(first), Some(last)) => {
                let within = exact.get(first..=last).unwrap_or(&[]);
                let later = within.iter().position(|r| r.event.rank() > record.event.rank());
                first + later.unwrap_or(within.len())
            }
            _ => exact.iter().position(|r| r.span.0 > record.span.1).unwrap_or(exact.len()),
        };
        exact.insert(place, record);
    }
    exact
}

#[cfg(test)]
#[path = "route_tests.rs"]
mod tests;
