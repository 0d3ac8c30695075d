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
