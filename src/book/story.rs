//! The story of castings: every live record that bears on them, on their shells, and the
//! heats and recipes those refer to, in one read.

use crate::db::{Read, WriteTx};
use crate::kernel::{Instant, Kind, Precision, Problem, Seq};
use serde_json::{Value, json};
use uuid::Uuid;

/// One record of a story.
#[derive(Clone, Debug)]
pub struct Line {
    /// The casting whose story it is.
    pub casting: Seq,
    /// The shell it is on; 0 where it is on the casting itself.
    pub shell: Seq,
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// Its kind.
    pub kind: Kind,
    /// When it happened.
    pub at: Instant,
    /// How precisely that is known.
    pub precision: Precision,
    /// What it says.
    pub body: Value,
}

/// Stories of some castings.
#[derive(Clone, Debug, Default)]
pub struct Story {
    /// The castings, in order.
    pub castings: Vec<Seq>,
    /// All lines: of each casting, in order of (at, seq).
    pub lines: Vec<Line>,
    /// Heats and recipe versions that the lines refer to: (kind, id, at, seq, body).
    pub context: Vec<Context>,
}

/// A record that a story refers to.
#[derive(Clone, Debug)]
pub struct Context {
    /// Its kind.
    pub kind: Kind,
    /// Its number.
    pub seq: Seq,
    /// Its id.
    pub id: Uuid,
    /// What it says.
    pub body: Value,
}

// CROSS JOIN keeps the order of the tables as written: the planner would begin with all
// castings there are.
const SQL: &str = "WITH want(c) AS MATERIALIZED ( \
   SELECT value FROM json_each(?) \
   UNION SELECT b.on_seq FROM json_each(?) s CROSS JOIN bearing b ON b.record_seq = s.value \
     CROSS JOIN record o ON o.seq = b.on_seq AND o.kind = 'casting'), \
 shells(c, s) AS MATERIALIZED ( \
   SELECT w.c, r.seq FROM want w CROSS JOIN bearing b ON b.on_seq = w.c \
     CROSS JOIN record r ON r.seq = b.record_seq AND r.kind = 'shell' AND r.void_ms IS NULL), \
 lines(c, s, seq) AS MATERIALIZED ( \
   SELECT w.c, 0, b.record_seq FROM want w CROSS JOIN bearing b ON b.on_seq = w.c \
   UNION ALL SELECT sh.c, sh.s, b.record_seq FROM shells sh CROSS JOIN bearing b ON b.on_seq = sh.s) \
 SELECT 0, c, 0, NULL, NULL, 0, NULL, NULL FROM want \
 UNION ALL SELECT 1, l.c, l.s, r.id, r.kind, r.at_ms, r.at_precision, json_array(r.seq, j.body) \
   FROM lines l CROSS JOIN record r ON r.seq = l.seq AND r.void_ms IS NULL CROSS JOIN journal j ON j.n = r.journal_n \
 UNION ALL SELECT DISTINCT 2, 0, 0, r.id, r.kind, r.at_ms, r.at_precision, json_array(r.seq, j.body) \
   FROM (SELECT s AS seq FROM shells UNION SELECT seq FROM lines WHERE s <> 0) x \
   CROSS JOIN link k ON k.record_seq = x.seq AND k.member IN ('recipe_version_id', 'heat_id') \
   CROSS JOIN record r ON r.seq = k.target_seq CROSS JOIN journal j ON j.n = r.journal_n";

/// Reads the stories of some castings and of all castings in some shells.
///
/// # Errors
/// As the database says.
pub async fn load<R: Read>(read: &mut R, castings: &[Seq], shells: &[Seq]) -> Result<Story, Problem> {
    let args = vec![json!(castings).to_string().into(), json!(shells).to_string().into()];
    let rows = read.fetch(SQL, args).await?;
    let mut story = Story::default();
    for row in rows {
        let what = row.int(0)?;
        if what == 0 {
            story.castings.push(row.int(1)?);
            continue;
        }
        let kind = row.text(4)?;
        let kind = Kind::parse(&kind).ok_or_else(|| Problem::internal(kind))?;
        let (seq, body): (Seq, String) = serde_json::from_str(&row.text(7)?).map_err(Problem::internal)?;
        let body: Value = serde_json::from_str(&body).map_err(Problem::internal)?;
        let id = row.uuid(3)?;
        if what == 2 {
            story.context.push(Context { kind, seq, id, body });
            continue;
        }
        let precision = row.text(6)?;
        story.lines.push(Line {
            casting: row.int(1)?,
            shell: row.int(2)?,
            seq,
            id,
            kind,
            at: Instant::from_ms(row.int(5)?),
            precision: Precision::parse(&precision).ok_or_else(|| Problem::internal(precision))?,
            body,
        });
    }
    story.castings.sort_unstable();
    story.castings.dedup();
    story.lines.sort_by_key(|l| (l.casting, l.at, l.seq));
    Ok(story)
}

/// The stories of everything a turn touched; read once, kept for the settlers that follow.
///
/// # Errors
/// As the database says.
pub async fn touched(tx: &mut WriteTx) -> Result<Story, Problem> {
    let key = (tx.touched(Kind::Casting), tx.touched(Kind::Shell));
    if let Some(kept) = tx.recall::<Kept>()
        && kept.0 == key
    {
        return Ok(kept.1.clone());
    }
    if key.0.is_empty() && key.1.is_empty() {
        return Ok(Story::default());
    }
    let story = load(tx, &key.0, &key.1).await?;
    tx.remember(Kept(key, story.clone()));
    Ok(story)
}

struct Kept((Vec<Seq>, Vec<Seq>), Story);

impl Story {
    /// The lines of one casting, in order.
    pub fn of(&self, casting: Seq) -> impl Iterator<Item = &Line> {
        self.lines.iter().filter(move |l| l.casting == casting)
    }
    /// The shells in it.
    #[must_use]
    pub fn shells(&self) -> Vec<Seq> {
        let mut out: Vec<Seq> = self.lines.iter().filter(|l| l.kind == Kind::Shell).map(|l| l.seq).collect();
        out.sort_unstable();
        out.dedup();
        out
    }
    /// The records on one shell, each once, in order.
    #[must_use]
    pub fn on_shell(&self, shell: Seq) -> Vec<&Line> {
        let mut out: Vec<&Line> = self.lines.iter().filter(|l| l.shell == shell).collect();
        out.sort_by_key(|l| (l.at, l.seq));
        out.dedup_by_key(|l| l.seq);
        out
    }
    /// The record itself of a shell.
    #[must_use]
    pub fn shell(&self, shell: Seq) -> Option<&Line> {
        self.lines.iter().find(|l| l.kind == Kind::Shell && l.seq == shell)
    }
    /// A record referred to, by id.
    #[must_use]
    pub fn context(&self, id: &str) -> Option<&Context> {
        self.context.iter().find(|c| c.id.to_string() == id)
    }
}

impl Line {
    /// Whether it was recorded in spite of that refusal.
    #[must_use]
    pub fn despite(&self, code: &str) -> bool {
        self.body["despite"].as_array().is_some_and(|d| d.iter().any(|c| c == code))
    }
}
