//! `/me`: one's own password and PIN.

use super::door::{Door, Faults, pin_fault};
use super::{secret, session};
use crate::kernel::Problem;
use crate::kernel::actor::Role;
use crate::web::{Frame, Shown, Visit};
use askama::Template;

#[derive(Template)]
#[template(path = "own.html")]
struct OwnPage {
    frame: Frame,
    faults: Faults,
    said: String,
    by: String,
    may_pin: bool,
    has_password: bool,
}

/// What is changed: a password, or the PIN of the floor.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum What {
    Password,
    Pin,
}

const WRONG: &str = "That is not the one you sign in with now.";

async fn page(door: &Door, visit: &Visit, faults: Faults, said: &str) -> Result<Shown, Problem> {
    let by = visit.actor()?.name;
    let login = session::by_name(&mut door.db.read().await?, &by).await?;
    let mut frame = visit.frame("Your password");
    "/me".clone_into(&mut frame.here);
    frame.faulty = !faults.is_empty();
    let status = if faults.is_empty() { 200 } else { 422 };
    let may_pin = login.as_ref().is_some_and(|l| l.role == Role::Hand && l.pin.is_some());
    let has_password = login.is_some_and(|l| l.password.is_some());
    Shown::page(&OwnPage { frame, faults, said: said.to_owned(), by, may_pin, has_password }).map(|shown| shown.status(status))
}

/// Shows the page.
pub(super) async fn show(door: &Door, visit: Visit) -> Result<Shown, Problem> {
    let said = if visit.query.get("done").is_empty() { "" } else { "It is changed. Everywhere else you are signed out." };
    page(door, &visit, Vec::new(), said).await
}

/// Changes one's password or PIN, once the one in use was given. Other sessions end.
pub(super) async fn change(door: &Door, visit: Visit, what: What) -> Result<Shown, Problem> {
    let actor = visit.actor()?;
    let (now_field, new_field) = if what == What::Pin { ("pin_now", "pin_new") } else { ("now", "new") };
    let (current, new) = (visit.form.get(now_field), visit.form.get(new_field));
    let Some(login) = session::by_name(&mut door.db.read().await?, &actor.name).await? else {
        return page(door, &visit, vec![(now_field, "You sign in with a token, which has no password.".to_owned())], "").await;
    };
    let mut faults = Faults::new();
    match what {
        What::Password => faults.extend(secret::weakness(new, &login.name).map(|said| (new_field, said.to_owned()))),
        What::Pin if new.is_empty() => faults.push((new_field, "Give a PIN of 4 to 8 digits.".to_owned())),
        What::Pin => faults.extend(pin_fault(new, login.role).map(|(_, said)| (new_field, said))),
    }
    let tried = match door.throttle.begin(&format!("own {}", login.name), &visit.address, visit.now) {
        Ok(tried) => tried,
        Err(problem) => return page(door, &visit, vec![(now_field, problem.detail)], "").await.map(|shown| shown.status(429)),
    };
    let hash = if what == What::Pin { login.pin.clone() } else { login.password.clone() };
    if !secret::matches(hash, current).await? {
        faults.insert(0, (now_field, WRONG.to_owned()));
        return page(door, &visit, faults, "").await;
    }
    door.throttle.came_through(&tried);
    if !faults.is_empty() {
        return page(door, &visit, faults, "").await;
    }
    let hash = secret::hash(door.db.clock(), new).await?;
    let mut tx = door.db.write(actor).await?;
    match what {
        What::Password => session::set_password(&mut tx, login.n, &hash, visit.session.as_deref()),
        What::Pin => session::set_own_pin(&mut tx, login.n, &hash, visit.session.as_deref()),
    }
    tx.save(()).await?;
    Ok(Shown::go("/me?done=1"))
}
