//! `pourbook account`: who may sign in, from the machine that holds the book.

use crate::app;
use crate::book::{secret, session, token};
use crate::db::{Db, Options};
use crate::kernel::{Actor, Clock, Problem, Role};
use std::path::Path;

/// Lets a person sign in with a new password, printed once, or shuts one out; whoever is
/// signed in under that name is signed out.
///
/// # Errors
/// What is wrong, in words.
pub async fn run(data: &Path, name: &str, role: Option<&str>, end: bool) -> Result<(), String> {
    let role = Role::parse(role.unwrap_or("reader")).ok_or("The role is owner, hand or reader.")?;
    let name = name.trim();
    if name.is_empty() || name.chars().count() > 64 || name.chars().any(char::is_control) {
        return Err("Give a name of 1 to 64 characters.".into());
    }
    let clock = Clock::system()?;
    let options = Options { exclusive: false, ..Options::default() };
    let db = Db::open(data, options, clock.clone(), app::SETTLERS).await?;
    if end {
        let was = shut_out(&db, name).await;
        db.close().await;
        return if was.map_err(|p| p.to_string())? { Ok(()) } else { Err(format!("Nobody named {name} may sign in.")) };
    }
    let password = take_in(&db, &clock, name, role).await;
    db.close().await;
    app::say(format_args!("{}", password.map_err(|p| p.to_string())?))
}

/// Answers the password.
async fn take_in(db: &Db, clock: &Clock, name: &str, role: Role) -> Result<String, Problem> {
    let letters: Vec<char> = token::mint(clock).chars().skip(3).take(20).collect();
    let password = letters.chunks(5).map(|five| five.iter().collect::<String>()).collect::<Vec<_>>().join("-");
    let hash = secret::hash(clock, &password).await?;
    let mut tx = db.write(Actor::new("command line", Role::Owner)).await?;
    session::put(&mut tx, name, role, Some(&hash)).await?;
    tx.save(password).await
}

async fn shut_out(db: &Db, name: &str) -> Result<bool, Problem> {
    let mut tx = db.write(Actor::new("command line", Role::Owner)).await?;
    let was = session::end(&mut tx, name).await?;
    tx.save(was).await
}
