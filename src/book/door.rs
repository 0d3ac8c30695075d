//! The door: the first start, signing in and out, who may come in, tablets of the floor.

use super::own;
use super::resolve::name_key;
use super::secret;
use super::session::{self, Device, Login};
use crate::db::Db;
use crate::kernel::actor::Right;
use crate::kernel::{Actor, Problem, ProblemType, Role};
use crate::web::page::{Cookie, FLOOR, Frame, Kept, SESSION, local};
use crate::web::throttle::Throttle;
use crate::web::visit::Pages;
use crate::web::{Form, Page, Shown, Visit};
use askama::Template;
use std::sync::Arc;

/// How long a browser stays enrolled: what browsers keep at most.
const ENROLLED_S: i64 = 400 * 86_400;
/// The same words whether the name or the password is wrong.
const NO_MATCH: &str = "That name and password do not belong together.";
const NO_PIN: &str = "That name and PIN do not belong together.";

/// What is wrong with a form: the field, and what to do.
pub(super) type Faults = Vec<(&'static str, String)>;

#[derive(Clone)]
pub(super) struct Door {
    pub(super) db: Db,
    pub(super) throttle: Arc<Throttle>,
}

#[derive(Template)]
#[template(path = "setup.html")]
struct SetupPage {
    frame: Frame,
    faults: Faults,
    code: String,
    name: String,
}

#[derive(Template)]
#[template(path = "sign_in.html")]
struct SignInPage {
    frame: Frame,
    faults: Faults,
    name: String,
    then: String,
    kept: Option<Kept>,
    floor: Option<String>,
    hands: Vec<String>,
}

#[derive(Template)]
#[template(path = "kept.html")]
struct KeptPage {
    frame: Frame,
    by: String,
    kept: Kept,
}

struct Person {
    name: String,
    may: &'static str,
    with: &'static str,
    hand: bool,
}

#[derive(Template)]
#[template(path = "people.html")]
struct PeoplePage {
    frame: Frame,
    faults: Faults,
    said: Option<String>,
    by: String,
    people: Vec<Person>,
    devices: Vec<Device>,
    name: String,
    role: String,
}

/// The pages of the door.
#[must_use]
pub fn pages(db: &Db) -> Pages {
    let door = Door { db: db.clone(), throttle: Arc::default() };
    macro_rules! page {
        ($how:ident, $path:literal, $right:ident, $shows:ident) => {{
            let door = door.clone();
            Page::$how($path, Right::$right, move |visit| {
                let door = door.clone();
                async move { door.$shows(visit).await }
            })
        }};
    }
    let sign_in = page!(get, "/sign-in", Open, show_sign_in);
    let handler = sign_in.handler.clone();
    let all = vec![
        sign_in,
        page!(post, "/sign-in", Open, sign_in),
        page!(get, "/setup", Open, show_setup),
        page!(post, "/setup", Open, set_up),
        page!(post, "/sign-out", Open, sign_out),
        page!(get, "/me", Read, show_own),
        page!(post, "/me/password", Read, own_password),
        page!(post, "/me/pin", Read, own_pin),
        page!(get, "/people", Own, show_people),
        page!(post, "/people", Own, take_in),
        page!(post, "/people/pin", Own, give_pin),
        page!(post, "/people/end", Own, shut_person_out),
        page!(post, "/people/enrol", Own, enrol),
        page!(post, "/people/shut", Own, shut_device_out),
    ];
    Pages { all, sign_in: handler }
}

fn session_cookie(secret: String, on_floor: bool) -> Cookie {
    let lasts = if on_floor { session::FLOOR } else { session::OWN };
    Cookie { name: SESSION, value: Some(secret), lasts_s: lasts.all_ms / 1000 }
}

fn name_fault(name: &str) -> Option<String> {
    let fits = !name.is_empty() && name.chars().count() <= 64 && !name.chars().any(char::is_control);
    (!fits).then(|| "Give a name of 1 to 64 characters.".to_owned())
}

impl Door {
    async fn show_own(&self, visit: Visit) -> Result<Shown, Problem> {
        own::show(self, visit).await
    }

    async fn own_password(&self, visit: Visit) -> Result<Shown, Problem> {
        own::change(self, visit, own::What::Password).await
    }

    async fn own_pin(&self, visit: Visit) -> Result<Shown, Problem> {
        own::change(self, visit, own::What::Pin).await
    }

    async fn show_setup(&self, visit: Visit) -> Result<Shown, Problem> {
        if !session::unclaimed(&mut self.db.read().await?).await? {
            return Ok(Shown::go("/sign-in"));
        }
        setup_page(&visit, Vec::new())
    }

    async fn set_up(&self, visit: Visit) -> Result<Shown, Problem> {
        let form = &visit.form;
        let (code, name, password) = (form.get("code"), form.get("name"), form.get("password"));
        let mut faults = Faults::new();
        faults.extend(name_fault(name).map(|said| ("name", said)));
        faults.extend(secret::weakness(password, name).map(|said| ("password", said.to_owned())));
        let tried = match self.throttle.begin("the code of the first start", &visit.address, visit.now) {
            Ok(tried) => tried,
            Err(problem) => return slowed(&problem, |said| setup_page(&visit, vec![("code", said)])),
        };
        let gone = || "That is not the code the server printed, or it was used already.".to_owned();
        if !session::is_code(&mut self.db.read().await?, code).await? {
            faults.insert(0, ("code", gone()));
        }
        if !faults.is_empty() {
            return setup_page(&visit, faults).map(|shown| shown.status(422));
        }
        let hash = secret::hash(self.db.clock(), password).await?;
        let mut tx = self.db.write(Actor::new(name, Role::Owner)).await?;
        if !session::use_code(&mut tx, code).await? {
            tx.leave().await?;
            return setup_page(&visit, vec![("code", gone())]).map(|shown| shown.status(422));
        }
        let n = session::put(&mut tx, name, Role::Owner, Some(&hash)).await?;
        let secret = session::open(&mut tx, n, None);
        let secret = tx.save(secret).await?;
        self.throttle.came_through(&tried);
        tracing::info!("the book was opened by its first owner");
        Ok(Shown::go("/").cookie(session_cookie(secret, false)))
    }

    async fn floor(&self, visit: &Visit) -> Result<Option<Device>, Problem> {
        match &visit.device {
            Some(secret) => session::device(&mut self.db.read().await?, secret).await,
            None => Ok(None),
        }
    }

    async fn sign_in_page(&self, visit: &Visit, faults: Faults) -> Result<Shown, Problem> {
        let floor = self.floor(visit).await?;
        let hands = match floor {
            Some(_) => {
                let people = session::people(&mut self.db.read().await?).await?;
                people.into_iter().filter(|p| p.pin.is_some() && !p.ended).map(|p| p.name).collect()
            }
            None => Vec::new(),
        };
        let mut frame = visit.frame("Sign in");
        (frame.who, frame.faulty) = (None, !faults.is_empty());
        let then = if visit.form.get("then").is_empty() { visit.query.get("then") } else { visit.form.get("then") };
        Shown::page(&SignInPage {
            frame,
            faults,
            name: visit.form.get("name").to_owned(),
            then: local(then).to_owned(),
            kept: visit.kept.clone().or_else(|| kept(&visit.form)),
            floor: floor.map(|d| d.name),
            hands,
        })
    }

    async fn show_sign_in(&self, visit: Visit) -> Result<Shown, Problem> {
        if visit.kept.is_none() && session::unclaimed(&mut self.db.read().await?).await? {
            return Ok(Shown::go("/setup"));
        }
        self.sign_in_page(&visit, Vec::new()).await
    }

    async fn sign_in(&self, visit: Visit) -> Result<Shown, Problem> {
        let (name, by_pin) = (visit.form.get("name").to_owned(), visit.form.get("way") == "pin");
        let floor = self.floor(&visit).await?;
        let field = if by_pin { "pin" } else { "login" };
        let account = format!("{field} {}", name_key(&name));
        let tried = match self.throttle.begin(&account, &visit.address, visit.now) {
            Ok(tried) => tried,
            Err(problem) => {
                tracing::warn!("signing in is slowed: too many tries");
                let shown = self.sign_in_page(&visit, vec![(field, problem.detail)]).await?;
                return Ok(shown.status(429));
            }
        };
        let login = session::by_name(&mut self.db.read().await?, &name).await?;
        let (hash, typed) = if by_pin {
            // A PIN is worth nothing but on a browser of the floor.
            (login.as_ref().and_then(|l| l.pin.clone()).filter(|_| floor.is_some()), visit.form.get("pin"))
        } else {
            (login.as_ref().and_then(|l| l.password.clone()), visit.form.get("password"))
        };
        let fits = secret::matches(hash, typed).await?;
        let Some(login) = login.filter(|_| fits) else {
            tracing::warn!("someone could not be signed in");
            let said = if by_pin { NO_PIN } else { NO_MATCH };
            return Ok(self.sign_in_page(&visit, vec![(field, said.to_owned())]).await?.status(422));
        };
        self.throttle.came_through(&tried);
        let mut tx = self.db.write(Actor::new(login.name.as_str(), login.role)).await?;
        if let Some(old) = &visit.session {
            session::close(&mut tx, old);
        }
        let secret = session::open(&mut tx, login.n, floor.as_ref().map(|d| d.n));
        let secret = tx.save(secret).await?;
        tracing::info!("{} signed in", login.role.name());
        let shown = match kept(&visit.form) {
            Some(kept) => {
                let mut frame = visit.frame("Send what you typed");
                frame.who = Some(Actor::new(login.name.as_str(), Role::Reader));
                Shown::page(&KeptPage { frame, by: login.name, kept })?
            }
            None => Shown::go(visit.form.get("then")),
        };
        Ok(shown.cookie(session_cookie(secret, floor.is_some())))
    }

    async fn sign_out(&self, visit: Visit) -> Result<Shown, Problem> {
        if let Some(secret) = &visit.session {
            let actor = visit.actor.clone().unwrap_or_else(|| Actor::new("nobody", Role::Reader));
            let mut tx = self.db.write(actor).await?;
            session::close(&mut tx, secret);
            tx.save(()).await?;
        }
        Ok(Shown::go("/sign-in").cookie(Cookie { name: SESSION, value: None, lasts_s: 0 }))
    }

    async fn people_page(&self, visit: &Visit, faults: Faults, said: Option<String>) -> Result<Shown, Problem> {
        let mut read = self.db.read().await?;
        let people = session::people(&mut read).await?.iter().filter(|p| !p.ended).map(person).collect();
        let devices = session::devices(&mut read).await?;
        let mut frame = visit.frame("People");
        "/people".clone_into(&mut frame.here);
        frame.faulty = !faults.is_empty();
        let typed = |name: &str| if frame.faulty { visit.form.get(name).to_owned() } else { String::new() };
        let (name, role) = (typed("name"), typed("role"));
        let status = if faults.is_empty() { 200 } else { 422 };
        let by = visit.actor()?.name;
        Shown::page(&PeoplePage { frame, faults, said, by, people, devices, name, role }).map(|shown| shown.status(status))
    }

    async fn show_people(&self, visit: Visit) -> Result<Shown, Problem> {
        self.people_page(&visit, Vec::new(), None).await
    }

    async fn take_in(&self, visit: Visit) -> Result<Shown, Problem> {
        let form = &visit.form;
        let (name, password, pin) = (form.get("name"), form.get("password"), form.get("pin"));
        let role = Role::parse(form.get("role")).unwrap_or(Role::Hand);
        let mut faults = Faults::new();
        faults.extend(name_fault(name).map(|said| ("name", said)));
        if !password.is_empty() {
            faults.extend(secret::weakness(password, name).map(|said| ("password", said.to_owned())));
        } else if pin.is_empty() || role != Role::Hand {
            faults.push(("password", "Give a password; a PIN alone is enough only for those who log.".to_owned()));
        }
        faults.extend(pin_fault(pin, role));
        if session::by_name(&mut self.db.read().await?, name).await?.is_some() {
            faults.push(("name", "Someone of that name may sign in already. Give another name.".to_owned()));
        }
        if !faults.is_empty() {
            return self.people_page(&visit, faults, None).await;
        }
        let clock = self.db.clock();
        let password = if password.is_empty() { None } else { Some(secret::hash(clock, password).await?) };
        let pin = if pin.is_empty() { None } else { Some(secret::hash(clock, pin).await?) };
        let mut tx = self.db.write(visit.actor()?).await?;
        let n = session::put(&mut tx, name, role, password.as_deref()).await?;
        if pin.is_some() {
            session::set_pin(&mut tx, n, pin.as_deref());
        }
        tx.save(()).await?;
        self.people_page(&visit, Vec::new(), Some(format!("{name} may sign in."))).await
    }

    async fn give_pin(&self, visit: Visit) -> Result<Shown, Problem> {
        let (name, pin) = (visit.form.get("name"), visit.form.get("pin"));
        let login = self.known(name).await?;
        let faults: Faults = match pin_fault(pin, login.role) {
            Some(fault) => vec![fault],
            None if pin.is_empty() => vec![("pin", "Give a PIN of 4 to 8 digits.".to_owned())],
            None => Vec::new(),
        };
        if !faults.is_empty() {
            return self.people_page(&visit, faults, None).await;
        }
        let hash = secret::hash(self.db.clock(), pin).await?;
        let mut tx = self.db.write(visit.actor()?).await?;
        session::set_pin(&mut tx, login.n, Some(&hash));
        tx.save(()).await?;
        self.people_page(&visit, Vec::new(), Some(format!("{} has a new PIN.", login.name))).await
    }

    async fn known(&self, name: &str) -> Result<Login, Problem> {
        session::by_name(&mut self.db.read().await?, name)
            .await?
            .ok_or_else(|| Problem::new(ProblemType::NotFound, "Nobody of that name may sign in."))
    }

    async fn shut_person_out(&self, visit: Visit) -> Result<Shown, Problem> {
        let login = self.known(visit.form.get("name")).await?;
        let actor = visit.actor()?;
        if name_key(&login.name) == name_key(&actor.name) {
            return Err(Problem::new(ProblemType::NotAllowed, "You cannot shut yourself out. Another owner can."));
        }
        let mut tx = self.db.write(actor).await?;
        session::end(&mut tx, &login.name).await?;
        tx.save(()).await?;
        self.people_page(&visit, Vec::new(), Some(format!("{} may not sign in any more.", login.name))).await
    }

    async fn enrol(&self, visit: Visit) -> Result<Shown, Problem> {
        let name = visit.form.get("tablet");
        if name.is_empty() || name.chars().count() > 40 || name.chars().any(char::is_control) {
            let faults = vec![("tablet", "Give the browser a name of 1 to 40 characters.".to_owned())];
            return self.people_page(&visit, faults, None).await;
        }
        let mut tx = self.db.write(visit.actor()?).await?;
        let secret = session::enrol(&mut tx, name);
        if let Some(own) = &visit.session {
            session::close(&mut tx, own);
        }
        let secret = tx.save(secret).await?;
        Ok(Shown::go("/sign-in").cookie(Cookie { name: FLOOR, value: Some(secret), lasts_s: ENROLLED_S }).cookie(Cookie {
            name: SESSION,
            value: None,
            lasts_s: 0,
        }))
    }

    async fn shut_device_out(&self, visit: Visit) -> Result<Shown, Problem> {
        let n: i64 = visit.form.get("n").parse().map_err(|_| Problem::new(ProblemType::NotFound, "There is no such tablet."))?;
        let mut tx = self.db.write(visit.actor()?).await?;
        session::shut_out(&mut tx, n);
        tx.save(()).await?;
        self.people_page(&visit, Vec::new(), Some("That tablet is shut out.".to_owned())).await
    }
}

fn setup_page(visit: &Visit, faults: Faults) -> Result<Shown, Problem> {
    let mut frame = visit.frame("Open the book");
    (frame.who, frame.faulty) = (None, !faults.is_empty());
    let (code, name) = (visit.form.get("code").to_owned(), visit.form.get("name").to_owned());
    Shown::page(&SetupPage { frame, faults, code, name })
}

fn slowed(problem: &Problem, page: impl FnOnce(String) -> Result<Shown, Problem>) -> Result<Shown, Problem> {
    page(problem.detail.clone()).map(|shown| shown.status(429))
}

/// What a form of the page where people sign in carries of another form.
fn kept(form: &Form) -> Option<Kept> {
    let (path, typed) = (form.get("kept_path"), form.get("kept"));
    (!path.is_empty()).then(|| Kept { path: local(path).to_owned(), form: Form::decode(typed) })
}

pub(super) fn pin_fault(pin: &str, role: Role) -> Option<(&'static str, String)> {
    if pin.is_empty() {
        return None;
    }
    if role != Role::Hand {
        return Some(("pin", "A PIN is only for those who log.".to_owned()));
    }
    (!secret::is_pin(pin)).then(|| ("pin", "Give 4 to 8 digits, not all alike and not in a row.".to_owned()))
}

fn person(login: &Login) -> Person {
    Person {
        name: login.name.clone(),
        may: match login.role {
            Role::Owner => "do everything",
            Role::Hand => "log what happens",
            Role::Reader => "only read",
        },
        with: match (&login.password, &login.pin) {
            (Some(_), Some(_)) => "password, or PIN on the floor",
            (Some(_), None) => "password",
            (None, Some(_)) => "PIN on the floor",
            (None, None) => "nothing yet",
        },
        hand: login.role == Role::Hand,
    }
}
