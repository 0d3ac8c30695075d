use super::*;

fn grid() -> String {
    use std::fmt::Write as _;
    let mut out = String::new();
    for stage in Stage::ALL {
        for event in Event::ALL {
            let step = match next(stage, event) {
                Step::To(to) => format!("{to:?}"),
                Step::NotYet(to) => format!("not yet; despite: {to:?}"),
                Step::Needs(problem) => format!("needs ({})", problem.slug()),
                Step::Never(problem) => format!("never ({})", problem.slug()),
            };
            writeln!(out, "{:<10} {:<12} {step}", format!("{stage:?}"), format!("{event:?}")).unwrap();
        }
    }
    out
}

#[test]
fn every_pair_of_stage_and_event_is_decided() {
    let text = grid();
    assert_eq!(text.lines().count(), Stage::ALL.len() * Event::ALL.len());
    insta::assert_snapshot!("route_grid", text);
}

fn at(minute: i64, seq: i64, event: Event) -> Happened {
    let at = Instant::from_ms(minute * 60_000);
    Happened { order: Order { at, seq }, span: (at, at), event, despite: false }
}

#[test]
fn a_straight_run_ends_delivered() {
    use Event::*;
    let run: Vec<_> = [Wax, Shell, Coat, Coat, Fired, Preheat, Pour, Opened, CutOff, Work, Finish, Deliver]
        .into_iter()
        .enumerate()
        .map(|(i, e)| at(i64::try_from(i).unwrap(), i64::try_from(i).unwrap() + 1, e))
        .collect();
    let mut shuffled = run.clone();
    shuffled.reverse();
    assert_eq!(walk(&run), walk(&shuffled));
    assert_eq!(walk(&run).stage, Stage::Delivered);
    assert_eq!(walk(&run).misfit, None);
}

#[test]
fn equal_instants_are_legal_whatever_arrives_first() {
    // Recorded in the wrong order within one minute.
    let run = [at(0, 9, Event::Shell), at(0, 8, Event::Fired), at(0, 7, Event::Pour), at(0, 6, Event::Opened)];
    assert_eq!(walk(&run).stage, Stage::Breakout);
    assert_eq!(walk(&run).misfit, None);
}

#[test]
fn a_day_is_held_only_against_the_day() {
    let mut fired = at(600, 3, Event::Fired);
    fired.span = (Instant::from_ms(0), Instant::from_ms(24 * 60 * 60_000 - 1));
    // Fired "that day", poured at 02:00 of it: legal. Poured the day before: not.
    let legal = [at(0, 1, Event::Shell), at(120, 2, Event::Pour), fired.clone()];
    assert_eq!(walk(&legal).misfit, None);
    let contradicts = [at(-3000, 1, Event::Shell), at(-1440, 2, Event::Pour), fired];
    assert_eq!(walk(&contradicts).misfit.map(|m| m.problem), Some(ProblemType::NotYet));
}

#[test]
fn despite_takes_what_was_never_logged() {
    let mut pour = at(5, 2, Event::Pour);
    assert_eq!(walk(&[at(0, 1, Event::Shell), pour.clone()]).misfit.map(|m| m.problem), Some(ProblemType::NotYet));
    pour.despite = true;
    let walked = walk(&[at(0, 1, Event::Shell), pour]);
    assert_eq!((walked.stage, walked.misfit, walked.not_on_record), (Stage::Pour, None, vec![2]));
}

#[test]
fn stages_are_shown_by_their_names() {
    let names: Vec<&str> = Stage::ALL.iter().map(|s| s.name()).collect();
    let want = ["wax", "shell", "burnout", "preheat", "pour", "breakout", "bench", "done", "delivered", "scrapped", "scrapped"];
    assert_eq!(names, want);
}

const DAY: i64 = 24 * 60;

/// Known to the day only; the record says some minute of it.
fn some_time(day: i64, minute: i64, seq: i64, event: Event) -> Happened {
    let span = (Instant::from_ms(day * DAY * 60_000), Instant::from_ms((day + 1) * DAY * 60_000 - 1));
    Happened { span, ..at(day * DAY + minute, seq, event) }
}

fn stands(records: &[Happened]) -> (Stage, Option<i64>, Option<ProblemType>) {
    let walked = walk(records);
    (walked.stage, walked.since.map(|at| at.ms() / 60_000), walked.misfit.map(|m| m.problem))
}

#[test]
fn what_is_known_to_the_minute_keeps_its_order_beside_a_day() {
    // Fired again after a preheat, on a day of which only the coat's hour is not known.
    let records = [
        at(-5, 1, Event::Shell),
        some_time(0, 600, 2, Event::Coat),
        at(1, 3, Event::Fired),
        at(5, 4, Event::Preheat),
        at(10, 5, Event::Fired),
    ];
    assert_eq!(stands(&records), (Stage::Burnout, Some(10), None));
}

#[test]
fn a_day_comes_after_its_like_on_that_day() {
    let records = [at(-5, 1, Event::Shell), at(10, 2, Event::Fired), some_time(0, 3, 3, Event::Fired)];
    assert_eq!(stands(&records), (Stage::Burnout, Some(10), None));
}

#[test]
fn a_day_takes_its_place_between_other_days() {
    let records = [at(-5, 1, Event::Shell), at(2 * DAY, 2, Event::Pour), some_time(1, 0, 3, Event::Fired)];
    assert_eq!(stands(&records), (Stage::Pour, Some(2 * DAY), None));
    let records = [at(-5, 1, Event::Shell), some_time(3, 0, 3, Event::Fired)];
    assert_eq!(stands(&records), (Stage::Burnout, Some(3 * DAY), None));
}

#[test]
fn both_ends_of_a_day_are_of_it() {
    // Poured at its very first instant: fired before that.
    let records = [at(-5, 1, Event::Shell), at(DAY, 2, Event::Pour), some_time(1, 60, 3, Event::Fired)];
    assert_eq!(stands(&records), (Stage::Pour, Some(DAY), None));
    // Taken into a shell at its very last: fired after that.
    let mut shell = at(0, 2, Event::Shell);
    shell.order.at = Instant::from_ms(2 * DAY * 60_000 - 1);
    shell.span = (shell.order.at, shell.order.at);
    let records = [at(DAY + 1, 1, Event::Wax), shell, some_time(1, 60, 3, Event::Fired)];
    assert_eq!(stands(&records), (Stage::Burnout, Some(DAY + 60), None));
}

#[test]
fn the_misfit_is_named_as_it_stood() {
    let found = walk(&[at(0, 1, Event::Shell), at(3, 7, Event::Finish)]).misfit;
    let want = Misfit { seq: 7, stage: Stage::Shell, event: Event::Finish, problem: ProblemType::NotYet };
    assert_eq!(found, Some(want));
    let found = walk(&[at(0, 1, Event::Shell), at(3, 7, Event::Wax)]).misfit;
    assert_eq!(found.map(|m| m.problem), Some(ProblemType::TimesContradict));
}

#[test]
fn where_it_was_lost() {
    use Event::*;
    let walked = |events: &[Event]| {
        let run: Vec<_> = events.iter().zip(1..).map(|(event, n)| at(n, n, *event)).collect();
        walk(&run)
    };
    assert_eq!(walked(&[Wax, Shell, Fired, Pour, Opened, Finish, Deliver]).lost_at, None);
    assert_eq!(walked(&[Wax, Shell, LostInKiln]).lost_at, Some(Stage::Burnout));
    assert_eq!(walked(&[Wax, Shell, Fired, Pour, OpenedScrap]).lost_at, Some(Stage::Breakout));
    assert_eq!(walked(&[Wax, Shell, Fired, Pour, Opened, Work, Scrap]).lost_at, Some(Stage::Bench));
    assert_eq!(walked(&[Wax, Scrap]).lost_at, Some(Stage::Wax));
}
