//! SQL of facts. Sets are made anew from the rooms' own tables; nothing is read back.

pub mod months;
mod tried;

pub use tried::{Alike, CameOf, came_of, poured_alike};

use crate::db::WriteTx;
use crate::kernel::Seq;
use serde_json::json;

/// Empties every table of facts, before all are made anew.
pub const WIPE: &[&str] = &[
    "DELETE FROM fact_finding",
    "DELETE FROM fact_batch",
    "DELETE FROM fact_hand",
    "DELETE FROM fact_casting",
    "DELETE FROM fact_shell",
    "DELETE FROM fact_heat",
    "DELETE FROM fact_month_count",
];

/// What the facts are: for each table its name in words, and all its rows as text.
pub const DERIVED: &[(&str, &str)] = &[
    (
        "facts of shells",
        "SELECT json_array(shell_seq, at_ms, poured, leaked, short, lost_mg, alloy, heat_seq, furnace_seq, crucible_seq, kiln_seq, \
         recipe_seq, recipe_version_seq, support, fed, core, coats, patched, place_in_heat, metal_c, shell_c, minutes_out, \
         drying_short_h, pattern_low, pattern_high, material_low, material_high, section_low, section_high, shell_clean, \
         burnout_clean, fired_ms) FROM fact_shell ORDER BY shell_seq",
    ),
    (
        "facts of castings",
        "SELECT json_array(casting_seq, shell_seq, at_ms, poured, alloy, commission_seq, pattern_seq, material, section_mm, attempt, \
         opened, judged, good, first_pass, shell_clean, burnout_clean, pour_clean, breakout_clean, bench_clean) \
         FROM fact_casting ORDER BY casting_seq",
    ),
    ("facts of findings", "SELECT json_array(casting_seq, code, findings) FROM fact_finding ORDER BY casting_seq, code"),
    ("facts of batches", "SELECT json_array(shell_seq, batch_seq) FROM fact_batch ORDER BY shell_seq, batch_seq"),
    ("facts of hands", "SELECT json_array(shell_seq, hand_seq) FROM fact_hand ORDER BY shell_seq, hand_seq"),
    ("facts of heats", "SELECT json_array(heat_seq, at_ms, alloy, furnace_seq, crucible_seq) FROM fact_heat ORDER BY heat_seq"),
    ("months of the shop", "SELECT json_array(begin_ms, name) FROM fact_month ORDER BY begin_ms"),
    (
        "counts by month",
        "SELECT json_array(month_ms, factor, alloy, level, poured, leaked, short, lost_mg) FROM fact_month_count \
         ORDER BY month_ms, factor, alloy, level",
    ),
    ("facts still due", "SELECT json_array(kind, seq) FROM fact_due ORDER BY kind, seq"),
];

/// The shells that a turn reaches: touched themselves, by a casting in them or one that was,
/// by a heat that was poured into them, by the recipe version that they used.
const DUE_SHELLS: &str = "INSERT OR IGNORE INTO fact_due (kind, seq) \
     SELECT 'shell', value FROM json_each(?) \
     UNION SELECT 'shell', c.shell_seq FROM json_each(?) k JOIN casting c ON c.seq = k.value WHERE c.shell_seq IS NOT NULL \
     UNION SELECT 'shell', f.shell_seq FROM json_each(?) k JOIN fact_casting f ON f.casting_seq = k.value \
     UNION SELECT 'shell', p.shell_seq FROM json_each(?) k JOIN pour p ON p.heat_seq = k.value \
     UNION SELECT 'shell', s.seq FROM json_each(?) k JOIN recipe_version v ON v.seq = k.value \
       JOIN shell s ON s.recipe_seq = v.recipe_seq AND s.recipe_version_seq = v.seq";

const DUE_HEATS: &str = "INSERT OR IGNORE INTO fact_due (kind, seq) SELECT 'heat', value FROM json_each(?)";

/// What stood of the shells and heats that are due, children first.
const CLEAR: &[&str] = &[
    "DELETE FROM fact_finding WHERE casting_seq IN (SELECT c.casting_seq FROM fact_due d JOIN fact_casting c ON c.shell_seq = d.seq \
     WHERE d.kind = 'shell')",
    "DELETE FROM fact_casting WHERE shell_seq IN (SELECT seq FROM fact_due WHERE kind = 'shell')",
    "DELETE FROM fact_batch WHERE shell_seq IN (SELECT seq FROM fact_due WHERE kind = 'shell')",
    "DELETE FROM fact_hand WHERE shell_seq IN (SELECT seq FROM fact_due WHERE kind = 'shell')",
    "DELETE FROM fact_shell WHERE shell_seq IN (SELECT seq FROM fact_due WHERE kind = 'shell')",
    "DELETE FROM fact_heat WHERE heat_seq IN (SELECT seq FROM fact_due WHERE kind = 'heat')",
];

/// Shells. `first` is the stream that filled one first; `fire` its kiln loads together, with
/// what came of this shell in each; `gone` the last time a casting in it was given up; `dry`
/// the hours that it was short of dry at the coat, or the kiln, where it was shortest.
///
/// The kiln is that of the last load. Minutes out of the kiln are known where the pour says
/// when the shell came out, else by the time its last kiln load came out; a preheat of
/// several shells says only when the first did, and so nothing of the others. A place in the
/// heat is known where every pour of it is known to the minute.
const SHELLS: &str = "INSERT INTO fact_shell \
 WITH due(shell, hex, recipe, version, journal_n) AS MATERIALIZED ( \
   SELECT d.seq, lower(hex(r.id)), s.recipe_seq, s.recipe_version_seq, r.journal_n FROM fact_due d \
   CROSS JOIN record r ON r.seq = d.seq AND r.void_ms IS NULL CROSS JOIN shell s ON s.seq = d.seq WHERE d.kind = 'shell'), \
 first(shell, seq, at_ms, at_precision, heat, support, metal_c, body) AS MATERIALIZED ( \
   SELECT d.shell, p.seq, r.at_ms, r.at_precision, p.heat_seq, p.support, p.metal_c, j.body FROM due d \
   JOIN pour p ON p.shell_seq = d.shell AND p.continues_seq IS NULL JOIN record r ON r.seq = p.seq AND r.void_ms IS NULL \
   JOIN journal j ON j.n = r.journal_n), \
 load(shell, seq, at_ms, at_precision, purpose, result) AS MATERIALIZED ( \
   SELECT d.shell, b.seq, r.at_ms, r.at_precision, b.purpose, \
     (SELECT e.value ->> 'result' FROM json_each(j.body, '$.shells') e WHERE replace(e.value ->> 'shell_id', '-', '') = d.hex) \
   FROM due d CROSS JOIN bearing y ON y.on_seq = d.shell CROSS JOIN burnout b ON b.seq = y.record_seq \
   CROSS JOIN record r ON r.seq = b.seq AND r.void_ms IS NULL JOIN journal j ON j.n = r.journal_n), \
 fire(shell, first_ms, fired_ms, lost_ms, bad, unknown) AS MATERIALIZED ( \
   SELECT shell, min(at_ms), min(CASE WHEN purpose <> 'dewax' THEN at_ms END), max(CASE WHEN result = 'lost' THEN at_ms END), \
     max(result IN ('cracked', 'lost')), max(result IS NULL) FROM load GROUP BY shell), \
 gone(shell, at_ms) AS MATERIALIZED ( \
   SELECT d.shell, max(r.at_ms) FROM due d CROSS JOIN casting c ON c.shell_seq = d.shell CROSS JOIN bearing y ON y.on_seq = c.seq \
   CROSS JOIN scrap x ON x.seq = y.record_seq JOIN record r ON r.seq = x.seq AND r.void_ms IS NULL GROUP BY d.shell), \
 coats(shell, at_ms, at_precision, n, was_ms, was_precision) AS MATERIALIZED ( \
   SELECT d.shell, r.at_ms, r.at_precision, row_number() OVER w, lag(r.at_ms) OVER w, lag(r.at_precision) OVER w \
   FROM due d CROSS JOIN coat c ON c.shell_seq = d.shell CROSS JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL \
   WINDOW w AS (PARTITION BY d.shell ORDER BY r.at_ms, r.seq)), \
 last(shell, n, at_ms, by_day) AS MATERIALIZED ( \
   SELECT shell, count(*), max(at_ms), max(at_precision = 'day') FROM coats GROUP BY shell), \
 dry(shell, short) AS MATERIALIZED (SELECT shell, max(short) FROM ( \
   SELECT c.shell, (j.body ->> ('$.coats[' || (c.n - 2) || '].dry_hours')) - (c.at_ms - c.was_ms) / 3600000.0 AS short \
   FROM coats c JOIN due d ON d.shell = c.shell JOIN record v ON v.seq = d.version JOIN journal j ON j.n = v.journal_n \
   WHERE c.n > 1 AND c.at_precision = c.was_precision \
   UNION ALL SELECT l.shell, (j.body ->> 'final_dry_hours') - (l.at_ms - c.at_ms) / 3600000.0 \
   FROM load l JOIN last c ON c.shell = l.shell AND c.at_ms <= l.at_ms AND NOT c.by_day JOIN due d ON d.shell = l.shell \
   JOIN record v ON v.seq = d.version JOIN journal j ON j.n = v.journal_n WHERE l.at_precision <> 'day') GROUP BY shell) \
 SELECT d.shell, coalesce(p.at_ms, f.lost_ms, g.at_ms), p.seq IS NOT NULL, \
   EXISTS (SELECT 1 FROM bearing y JOIN leak k ON k.seq = y.record_seq JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL \
     WHERE y.on_seq = d.shell), \
   coalesce((SELECT q.filled <> 'full' FROM pour q JOIN record r ON r.seq = q.seq AND r.void_ms IS NULL \
     WHERE q.shell_seq = d.shell ORDER BY r.at_ms DESC, r.seq DESC LIMIT 1), 0), \
   coalesce((SELECT sum(k.lost_mg) FROM bearing y JOIN leak k ON k.seq = y.record_seq \
     JOIN record r ON r.seq = k.seq AND r.void_ms IS NULL WHERE y.on_seq = d.shell), 0), \
   h.alloy, p.heat, h.furnace_seq, h.crucible_seq, \
   (SELECT b.kiln_seq FROM bearing y JOIN burnout b ON b.seq = y.record_seq JOIN record r ON r.seq = b.seq AND r.void_ms IS NULL \
     WHERE y.on_seq = d.shell ORDER BY r.at_ms DESC, r.seq DESC LIMIT 1), \
   d.recipe, d.version, CASE WHEN instr(coalesce(p.body ->> 'assumed', ''), 'support') = 0 THEN p.support END, j.body ->> 'fed', j.body ->> 'core', c.n, \
   EXISTS (SELECT 1 FROM bearing y JOIN patch x ON x.seq = y.record_seq JOIN record r ON r.seq = x.seq AND r.void_ms IS NULL \
     WHERE y.on_seq = d.shell), \
   CASE WHEN p.seq IS NOT NULL AND NOT EXISTS (SELECT 1 FROM pour q JOIN record r ON r.seq = q.seq AND r.void_ms IS NULL \
       WHERE q.heat_seq = p.heat AND r.at_precision <> 'minute') \
     THEN 1 + (SELECT count(*) FROM pour q JOIN record r ON r.seq = q.seq AND r.void_ms IS NULL \
       WHERE q.heat_seq = p.heat AND q.continues_seq IS NULL AND (r.at_ms, r.seq) < (p.at_ms, p.seq)) END, \
   CASE WHEN instr(coalesce(p.body ->> 'assumed', ''), 'metal_c') = 0 THEN p.metal_c END, \
   CASE WHEN instr(coalesce(p.body ->> 'assumed', ''), 'shell_c') = 0 THEN p.body ->> 'shell_c' END, \
   CASE WHEN p.at_precision = 'minute' THEN coalesce( \
     (p.at_ms / 1000.0 - unixepoch(p.body ->> 'shell_out_at', 'subsec')) / 60.0, \
     (SELECT CASE WHEN o.out_ms > p.at_ms OR o.several THEN NULL ELSE (p.at_ms - o.out_ms) / 60000.0 END FROM ( \
       SELECT r.at_ms, r.seq, b.out_ms, 0 AS several FROM bearing y JOIN burnout b ON b.seq = y.record_seq \
         JOIN record r ON r.seq = b.seq AND r.void_ms IS NULL WHERE y.on_seq = d.shell \
       UNION ALL SELECT r.at_ms, r.seq, b.out_ms, (SELECT count(*) FROM bearing z WHERE z.record_seq = b.seq) > 1 \
         FROM bearing y JOIN preheat b ON b.seq = y.record_seq JOIN record r ON r.seq = b.seq AND r.void_ms IS NULL \
         WHERE y.on_seq = d.shell) o ORDER BY o.at_ms DESC, o.seq DESC LIMIT 1)) END, \
   max(0.0, w.short), NULL, NULL, NULL, NULL, NULL, NULL, \
   NOT EXISTS (SELECT 1 FROM bearing y JOIN patch x ON x.seq = y.record_seq JOIN record r ON r.seq = x.seq AND r.void_ms IS NULL \
     WHERE y.on_seq = d.shell AND (f.fired_ms IS NULL OR r.at_ms <= f.fired_ms)), \
   CASE WHEN f.shell IS NULL THEN NULL \
     WHEN f.bad OR EXISTS (SELECT 1 FROM bearing y JOIN patch x ON x.seq = y.record_seq \
       JOIN record r ON r.seq = x.seq AND r.void_ms IS NULL WHERE y.on_seq = d.shell AND r.at_ms > f.fired_ms) THEN 0 \
     WHEN f.unknown THEN NULL ELSE 1 END, \
   f.first_ms \
 FROM due d JOIN journal j ON j.n = d.journal_n LEFT JOIN first p ON p.shell = d.shell LEFT JOIN heat h ON h.seq = p.heat \
   LEFT JOIN fire f ON f.shell = d.shell LEFT JOIN gone g ON g.shell = d.shell LEFT JOIN last c ON c.shell = d.shell \
   LEFT JOIN dry w ON w.shell = d.shell \
 WHERE p.seq IS NOT NULL OR f.lost_ms IS NOT NULL OR g.at_ms IS NOT NULL";

/// Castings. One given up before its shell was poured was not poured; a time known only to
/// the hour or day is held against the hour or day. What was never broken out on record is
/// in nothing that needs the breakout.
const CASTINGS: &str = "INSERT INTO fact_casting \
 WITH due(casting, shell, scrap_ms, verdict, opened) AS MATERIALIZED ( \
   SELECT c.seq, f.shell_seq, \
     (SELECT min(CASE WHEN NOT f.poured THEN q.at_ms WHEN q.at_precision = 'minute' THEN q.at_ms \
        WHEN q.at_precision = 'hour' AND q.at_ms / 3600000 = f.at_ms / 3600000 THEN f.at_ms \
        WHEN q.at_precision = 'day' AND q.at_ms / 86400000 = f.at_ms / 86400000 THEN f.at_ms ELSE q.at_ms END) \
      FROM bearing y JOIN scrap x ON x.seq = y.record_seq JOIN record q ON q.seq = x.seq AND q.void_ms IS NULL WHERE y.on_seq = c.seq), \
     nullif((SELECT b.verdict FROM breakout b JOIN record q ON q.seq = b.seq AND q.void_ms IS NULL WHERE b.casting_seq = c.seq \
       ORDER BY q.at_ms DESC, q.seq DESC LIMIT 1), 'not_judged'), \
     EXISTS (SELECT 1 FROM breakout b JOIN record q ON q.seq = b.seq AND q.void_ms IS NULL WHERE b.casting_seq = c.seq) \
   FROM fact_due d JOIN fact_shell f ON f.shell_seq = d.seq JOIN casting c ON c.shell_seq = d.seq \
   JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL WHERE d.kind = 'shell'), \
 told(casting, shell, scrap_ms, verdict, opened, poured) AS MATERIALIZED ( \
   SELECT d.casting, d.shell, d.scrap_ms, d.verdict, d.opened, f.poured AND (d.scrap_ms IS NULL OR d.scrap_ms >= f.at_ms) \
   FROM due d JOIN fact_shell f ON f.shell_seq = d.shell) \
 SELECT c.seq, f.shell_seq, CASE WHEN t.poured THEN f.at_ms ELSE coalesce(t.scrap_ms, f.at_ms) END, t.poured, \
   coalesce(f.alloy, c.alloy), c.commission_seq, c.pattern_seq, c.material, c.section_mm, c.attempt, \
   t.poured AND t.opened, t.poured AND (c.verdict IS NOT NULL OR c.stage = 'scrapped'), \
   t.poured AND coalesce(c.verdict IN ('accepted', 'repair'), 0) AND c.stage <> 'scrapped', \
   CASE WHEN NOT t.poured OR c.stage = 'scrapped' THEN 0 WHEN t.verdict IS NULL THEN NULL ELSE t.verdict = 'accepted' END, \
   CASE WHEN NOT t.poured AND (f.fired_ms IS NULL OR t.scrap_ms < f.fired_ms) THEN 0 ELSE f.shell_clean END, \
   CASE WHEN t.poured THEN f.burnout_clean WHEN f.fired_ms IS NULL OR t.scrap_ms < f.fired_ms THEN NULL ELSE 0 END, \
   CASE WHEN t.poured THEN NOT (f.leaked OR f.short) END, \
   CASE WHEN NOT t.poured THEN NULL WHEN t.verdict IS NOT NULL THEN t.verdict = 'accepted' WHEN c.stage = 'scrapped' THEN 0 END, \
   CASE WHEN NOT t.poured OR t.verdict IS NULL OR t.verdict = 'scrap' THEN NULL WHEN c.stage = 'scrapped' THEN 0 \
     WHEN c.stage IN ('done', 'delivered') THEN 1 END \
 FROM told t JOIN casting c ON c.seq = t.casting JOIN fact_shell f ON f.shell_seq = t.shell \
 WHERE t.poured OR t.scrap_ms IS NOT NULL OR c.stage = 'scrapped'";

/// What hangs on the castings, and the heats.
const REST: &[&str] = &[
    "UPDATE fact_shell SET (pattern_low, pattern_high, material_low, material_high, section_low, section_high) = ( \
       SELECT min(c.pattern_seq), max(c.pattern_seq), min(c.material), max(c.material), min(c.section_mm), max(c.section_mm) \
       FROM fact_casting c WHERE c.shell_seq = fact_shell.shell_seq AND c.poured = fact_shell.poured) \
     WHERE shell_seq IN (SELECT seq FROM fact_due WHERE kind = 'shell')",
    "INSERT INTO fact_finding (casting_seq, code, findings) SELECT c.casting_seq, n.code, count(*) \
     FROM fact_due d JOIN fact_casting c ON c.shell_seq = d.seq JOIN finding n ON n.casting_seq = c.casting_seq \
     JOIN record r ON r.seq = n.seq AND r.void_ms IS NULL WHERE d.kind = 'shell' GROUP BY c.casting_seq, n.code",
    "INSERT INTO fact_batch (shell_seq, batch_seq) SELECT DISTINCT f.shell_seq, c.slurry_batch_seq \
     FROM fact_due d JOIN fact_shell f ON f.shell_seq = d.seq JOIN coat c ON c.shell_seq = d.seq \
     JOIN record r ON r.seq = c.seq AND r.void_ms IS NULL WHERE d.kind = 'shell' AND c.slurry_batch_seq IS NOT NULL",
    "INSERT INTO fact_hand (shell_seq, hand_seq) SELECT f.shell_seq, k.hand_seq FROM fact_due d \
       JOIN fact_shell f ON f.shell_seq = d.seq JOIN record_hand k ON k.record_seq = d.seq JOIN record r ON r.seq = d.seq JOIN journal j ON j.n = r.journal_n \
         AND instr(coalesce(j.body ->> 'assumed', ''), 'hands') = 0 WHERE d.kind = 'shell' \
     UNION SELECT f.shell_seq, k.hand_seq FROM fact_due d JOIN fact_shell f ON f.shell_seq = d.seq JOIN bearing y ON y.on_seq = d.seq \
       JOIN record r ON r.seq = y.record_seq AND r.void_ms IS NULL AND r.kind IN ('coat', 'patch', 'burnout', 'preheat', 'pour') \
       JOIN journal j ON j.n = r.journal_n AND instr(coalesce(j.body ->> 'assumed', ''), 'hands') = 0 \
       JOIN record_hand k ON k.record_seq = r.seq WHERE d.kind = 'shell'",
    "INSERT INTO fact_heat (heat_seq, at_ms, alloy, furnace_seq, crucible_seq) SELECT h.seq, \
       coalesce((SELECT min(q.at_ms) FROM pour p JOIN record q ON q.seq = p.seq AND q.void_ms IS NULL WHERE p.heat_seq = h.seq), r.at_ms), \
       h.alloy, h.furnace_seq, h.crucible_seq \
     FROM fact_due d JOIN heat h ON h.seq = d.seq JOIN record r ON r.seq = h.seq AND r.void_ms IS NULL WHERE d.kind = 'heat'",
];

/// Makes anew the facts that some shells, castings, heats and recipe versions reach.
pub fn make_anew(tx: &mut WriteTx, shells: &[Seq], castings: &[Seq], heats: &[Seq], versions: &[Seq]) {
    let list = |seqs: &[Seq]| json!(seqs).to_string().into();
    tx.push(DUE_SHELLS, vec![list(shells), list(castings), list(castings), list(heats), list(versions)]);
    tx.push(DUE_HEATS, vec![list(heats)]);
    months::note(tx);
    for sql in CLEAR {
        tx.push(sql, vec![]);
    }
    tx.push(SHELLS, vec![]);
    tx.push(CASTINGS, vec![]);
    for sql in REST {
        tx.push(sql, vec![]);
    }
    months::count(tx);
    tx.push("DELETE FROM fact_due", vec![]);
}
