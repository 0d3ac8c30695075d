//! Who may sign in, who is signed in, and which browsers are the floor's. Secrets are shown
//! once and kept as hashes.

use super::resolve::name_key;
use super::token;
use crate::db::{Cell, Db, Read, Row, WriteTx};
use crate::kernel::{Actor, Clock, Instant, Problem, Role};
use sha2::{Digest as _, Sha256};

const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// How long a session lasts unused, and in all.
#[derive(Clone, Copy, Debug)]
pub struct Lasts {
    /// Unused, in milliseconds.
    pub idle_ms: i64,
    /// From its beginning, in milliseconds.
    pub all_ms: i64,
}

/// On a browser of one's own: a week unused, a month in all.
pub const OWN: Lasts = Lasts { idle_ms: 7 * DAY, all_ms: 30 * DAY };
/// On the floor's tablet: an hour unused, a shift of 14 hours in all.
pub const FLOOR: Lasts = Lasts { idle_ms: HOUR, all_ms: 14 * HOUR };
/// The use of a session is noted this often.
const NOTED_EVERY: i64 = 5 * MINUTE;

fn hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}

/// A person who may sign in.
#[derive(Clone, Debug)]
pub struct Login {
    /// Its number.
    pub n: i64,
    /// The name: written as `by` on what is recorded.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// Hash of the password.
    pub password: Option<String>,
    /// Hash of the PIN.
    pub pin: Option<String>,
    /// Whether it was ended.
    pub ended: bool,
}

const LOGIN: &str = "SELECT n, name, role, password, pin, ended_ms IS NOT NULL FROM login";

fn login(row: &Row) -> Result<Login, Problem> {
    let role = row.text(2)?;
    Ok(Login {
        n: row.int(0)?,
        name: row.text(1)?,
        role: Role::parse(&role).ok_or_else(|| Problem::internal(format!("role of a login: {role}")))?,
        password: row.opt_text(3)?,
        pin: row.opt_text(4)?,
        ended: row.int(5)? != 0,
    })
}

/// The person of that name, unless ended.
///
/// # Errors
/// As the database says.
pub async fn by_name<R: Read>(read: &mut R, name: &str) -> Result<Option<Login>, Problem> {
    let sql = format!("{LOGIN} WHERE key = ? AND ended_ms IS NULL");
    read.fetch_one(&sql, vec![name_key(name).into()]).await?.as_ref().map(login).transpose()
}

/// Everyone, by name.
///
/// # Errors
/// As the database says.
pub async fn people<R: Read>(read: &mut R) -> Result<Vec<Login>, Problem> {
    read.fetch(&format!("{LOGIN} ORDER BY key"), vec![]).await?.iter().map(login).collect()
}

/// Takes a person in, or gives one on file another role and password; signs them out
/// everywhere. A password left out stays what it was; so does a PIN while they are a hand.
///
/// # Errors
/// As the database says.
pub async fn put(tx: &mut WriteTx, name: &str, role: Role, password: Option<&str>) -> Result<i64, Problem> {
    let now = tx.now();
    let sql = "INSERT INTO login (name, key, role, password, created_ms) VALUES (?, ?, ?, ?, ?) \
               ON CONFLICT (key) DO UPDATE SET name = excluded.name, role = excluded.role, ended_ms = NULL, \
               password = coalesce(excluded.password, password), \
               pin = CASE WHEN excluded.role = 'hand' THEN pin END RETURNING n";
    let args = vec![name.into(), name_key(name).into(), role.name().into(), Cell::from(password), now.into()];
    let n = tx.fetch_one(sql, args).await?.ok_or_else(|| Problem::internal("a login has no number"))?.int(0)?;
    sign_out_all(tx, n);
    Ok(n)
}

/// Gives an account another password; its sessions end, but for the one that asked.
pub fn set_password(tx: &mut WriteTx, n: i64, password: &str, but: Option<&str>) {
    tx.push("UPDATE login SET password = ? WHERE n = ?", vec![password.into(), n.into()]);
    sign_out_others(tx, n, but);
}

/// Gives a hand another PIN; its sessions end, but for the one that asked.
pub fn set_own_pin(tx: &mut WriteTx, n: i64, pin: &str, but: Option<&str>) {
    tx.push("UPDATE login SET pin = ? WHERE n = ? AND role = 'hand'", vec![pin.into(), n.into()]);
    sign_out_others(tx, n, but);
}

fn sign_out_others(tx: &mut WriteTx, n: i64, but: Option<&str>) {
    let but = but.map_or(Cell::Null, |secret| Cell::from(hash(secret)));
    tx.push("DELETE FROM session WHERE login_n = ? AND hash IS NOT ?", vec![n.into(), but]);
}

/// Gives a hand another PIN, or none; signs them out everywhere.
pub fn set_pin(tx: &mut WriteTx, n: i64, pin: Option<&str>) {
    tx.push("UPDATE login SET pin = ? WHERE n = ? AND role = 'hand'", vec![Cell::from(pin), n.into()]);
    sign_out_all(tx, n);
}

/// Ends a person's right to sign in, by name; answers whether there was one.
///
/// # Errors
/// As the database says.
pub async fn end(tx: &mut WriteTx, name: &str) -> Result<bool, Problem> {
    let now = tx.now();
    let sql = "UPDATE login SET ended_ms = ?, pin = NULL, password = NULL WHERE key = ? AND ended_ms IS NULL RETURNING n";
    let Some(row) = tx.fetch_one(sql, vec![now.into(), name_key(name).into()]).await? else { return Ok(false) };
    sign_out_all(tx, row.int(0)?);
    Ok(true)
}

fn sign_out_all(tx: &mut WriteTx, n: i64) {
    tx.push("DELETE FROM session WHERE login_n = ?", vec![n.into()]);
}

const UNCLAIMED: &str = "NOT EXISTS (SELECT 1 FROM login WHERE role = 'owner' AND ended_ms IS NULL)";

/// Makes a new code for the first start, unless the book has an owner who may sign in. Codes
/// of earlier starts are gone.
///
/// # Errors
/// As the database says.
pub async fn first_run_code(db: &Db) -> Result<Option<String>, Problem> {
    let mut tx = db.write(Actor::new("first start", Role::Owner)).await?;
    let open = tx.fetch_one(&format!("SELECT {UNCLAIMED}"), vec![]).await?.is_some_and(|row| row.int(0).is_ok_and(|n| n == 1));
    tx.push("DELETE FROM first_run", vec![]);
    let code = open.then(|| new_code(db.clock()));
    if let Some(code) = &code {
        tx.push("INSERT INTO first_run (hash) VALUES (?)", vec![hash(&code_key(code)).into()]);
    }
    tx.save(code).await
}

/// Twenty letters and digits in fours: 100 bits.
fn new_code(clock: &Clock) -> String {
    let text: Vec<char> = token::mint(clock).chars().skip(3).take(20).collect();
    text.chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join("-")
}

fn code_key(code: &str) -> String {
    code.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_lowercase().replace('o', "0").replace(['i', 'l'], "1")
}

/// Whether a code of the first start is waiting to be used, and may be: an owner taken in
/// meanwhile from the command line claims the book too.
///
/// # Errors
/// As the database says.
pub async fn unclaimed<R: Read>(read: &mut R) -> Result<bool, Problem> {
    Ok(read.fetch_one(&format!("SELECT 1 FROM first_run WHERE {UNCLAIMED}"), vec![]).await?.is_some())
}

/// Whether that is the code of the first start.
///
/// # Errors
/// As the database says.
pub async fn is_code<R: Read>(read: &mut R, code: &str) -> Result<bool, Problem> {
    let sql = format!("SELECT 1 FROM first_run WHERE hash = ? AND {UNCLAIMED}");
    Ok(read.fetch_one(&sql, vec![hash(&code_key(code)).into()]).await?.is_some())
}

/// Uses the code of the first start up; answers whether it was there and the book unclaimed.
/// Of two who come at once the second finds it gone.
///
/// # Errors
/// As the database says.
pub async fn use_code(tx: &mut WriteTx, code: &str) -> Result<bool, Problem> {
    let sql = format!("DELETE FROM first_run WHERE hash = ? AND {UNCLAIMED} RETURNING 1");
    Ok(tx.fetch_one(&sql, vec![hash(&code_key(code)).into()]).await?.is_some())
}

/// Opens a session and answers its secret; what has run out is swept away.
pub fn open(tx: &mut WriteTx, login: i64, device: Option<i64>) -> String {
    let (now, secret) = (tx.now(), token::mint(&tx.clock));
    tx.push(
        "DELETE FROM session WHERE created_ms < ? OR seen_ms < ?",
        vec![now.plus_ms(-OWN.all_ms).into(), now.plus_ms(-OWN.idle_ms).into()],
    );
    tx.push(
        "INSERT INTO session (hash, login_n, device_n, created_ms, seen_ms) VALUES (?, ?, ?, ?, ?)",
        vec![hash(&secret).into(), login.into(), Cell::from(device), now.into(), now.into()],
    );
    secret
}

/// Ends a session.
pub fn close(tx: &mut WriteTx, secret: &str) {
    tx.push("DELETE FROM session WHERE hash = ?", vec![hash(secret).into()]);
}

/// Someone who is signed in.
#[derive(Clone, Debug)]
pub struct SignedIn {
    /// Who; on the floor's tablet a hand, whatever else they may be.
    pub actor: Actor,
    /// Whether its use should be noted.
    pub stale: bool,
}

/// Whose session that is, if it has not run out.
///
/// # Errors
/// As the database says; never an answer of "nobody" because the database was busy.
pub async fn holder<R: Read>(read: &mut R, secret: &str, now: Instant) -> Result<Option<SignedIn>, Problem> {
    let sql = "SELECT l.name, l.role, s.created_ms, s.seen_ms, s.device_n IS NOT NULL, d.ended_ms IS NOT NULL FROM session s \
               JOIN login l ON l.n = s.login_n AND l.ended_ms IS NULL LEFT JOIN device d ON d.n = s.device_n WHERE s.hash = ?";
    let Some(row) = read.fetch_one(sql, vec![hash(secret).into()]).await? else { return Ok(None) };
    let (begun, seen, on_floor, shut) = (row.int(2)?, row.int(3)?, row.int(4)? != 0, row.int(5)? != 0);
    let lasts = if on_floor { FLOOR } else { OWN };
    if shut || now.ms() - begun > lasts.all_ms || now.ms() - seen > lasts.idle_ms {
        return Ok(None);
    }
    let role = row.text(1)?;
    let role = Role::parse(&role).ok_or_else(|| Problem::internal(format!("role of a login: {role}")))?;
    let role = if on_floor && role == Role::Owner { Role::Hand } else { role };
    Ok(Some(SignedIn { actor: Actor::new(row.text(0)?, role), stale: now.ms() - seen > NOTED_EVERY }))
}

/// Notes that a session was used now.
///
/// # Errors
/// As the database says.
pub async fn note(db: &Db, secret: &str, actor: &Actor) -> Result<(), Problem> {
    let mut tx = db.write(actor.clone()).await?;
    let now = tx.now();
    tx.push("UPDATE session SET seen_ms = ? WHERE hash = ? AND seen_ms < ?", vec![now.into(), hash(secret).into(), now.into()]);
    tx.save(()).await
}

/// A browser of the floor.
#[derive(Clone, Debug)]
pub struct Device {
    /// Its number.
    pub n: i64,
    /// Its name.
    pub name: String,
    /// Who enrolled it.
    pub by: String,
    /// When.
    pub since: Instant,
}

const DEVICE: &str = "SELECT n, name, by, created_ms FROM device WHERE ended_ms IS NULL";

fn device_row(row: &Row) -> Result<Device, Problem> {
    Ok(Device { n: row.int(0)?, name: row.text(1)?, by: row.text(2)?, since: Instant::from_ms(row.int(3)?) })
}

/// The browser that holds that secret.
///
/// # Errors
/// As the database says.
pub async fn device<R: Read>(read: &mut R, secret: &str) -> Result<Option<Device>, Problem> {
    read.fetch_one(&format!("{DEVICE} AND hash = ?"), vec![hash(secret).into()]).await?.as_ref().map(device_row).transpose()
}

/// All browsers of the floor.
///
/// # Errors
/// As the database says.
pub async fn devices<R: Read>(read: &mut R) -> Result<Vec<Device>, Problem> {
    read.fetch(&format!("{DEVICE} ORDER BY name, n"), vec![]).await?.iter().map(device_row).collect()
}

/// Enrols a browser and answers its secret.
pub fn enrol(tx: &mut WriteTx, name: &str) -> String {
    let (now, by, secret) = (tx.now(), tx.actor.name.clone(), token::mint(&tx.clock));
    tx.push(
        "INSERT INTO device (hash, name, by, created_ms) VALUES (?, ?, ?, ?)",
        vec![hash(&secret).into(), name.into(), by.into(), now.into()],
    );
    secret
}

/// Shuts a browser of the floor out, and whoever is signed in there.
pub fn shut_out(tx: &mut WriteTx, n: i64) {
    let now = tx.now();
    tx.push("UPDATE device SET ended_ms = ? WHERE n = ? AND ended_ms IS NULL", vec![now.into(), n.into()]);
    tx.push("DELETE FROM session WHERE device_n = ?", vec![n.into()]);
}
