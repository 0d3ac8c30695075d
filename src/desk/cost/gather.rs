//! The records that cost something, and who bears them.

use super::store;
use crate::book::reach::{self, Found, Reference};
use crate::db::ReadTx;
use crate::kernel::{Instant, Kind, Problem, Seq};
use crate::science::costing::{self, Bearers, Edition, Mark};
use crate::shop::casting::{self, CastingRow};
use crate::shop::house::rates::{self, Rates};
use crate::shop::house::settings::{self, Settings};
use crate::shop::house::trade::{self, Trade};
use crate::shop::metal::{self, CastingFigures, Taken};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Kinds of records that may cost something by themselves.
const COSTLY: &[Kind] = &[
    Kind::Work,
    Kind::Cost,
    Kind::Wax,
    Kind::Shell,
    Kind::Coat,
    Kind::Burnout,
    Kind::Preheat,
    Kind::Heat,
    Kind::Closing,
    Kind::Mould,
    Kind::OutsideWork,
];

/// What is known of the shells in question.
#[derive(Debug)]
pub struct ShellFacts {
    /// Its recipe.
    pub recipe: Option<Seq>,
    /// Its castings.
    pub castings: Vec<Seq>,
    /// Coats on record.
    pub coats: usize,
    /// Surface in mm²; none where no casting's is known.
    pub area_mm2: Option<i64>,
    /// Fired mass in mg, by surface and coats; 0 where the surface is not known.
    pub fired_mg: i64,
}

/// Everything that lines are made from.
pub struct Gathered {
    /// The records, in the order of time.
    pub records: Vec<Found>,
    /// What they refer to.
    pub references: BTreeMap<Seq, Vec<Reference>>,
    /// Who bears what is shared.
    pub bearers: Bearers,
    /// Shells by number.
    pub shells: BTreeMap<Seq, ShellFacts>,
    /// Pours by the day of the shop, in the order of time: of the days in question, all of them.
    pub days: BTreeMap<i64, Vec<Taken>>,
    /// Castings in question: also those that only share with a job.
    pub castings: BTreeMap<Seq, CastingRow>,
    /// What the ledger has of them.
    pub figures: BTreeMap<Seq, CastingFigures>,
    /// The commission of each piece in question.
    pub jobs: BTreeMap<Seq, Seq>,
    /// Each casting's last wax on record.
    pub last_wax: BTreeMap<Seq, Seq>,
    /// Settings.
    pub settings: Arc<Settings>,
    /// Rates.
    pub rates: Arc<Rates>,
}

impl Gathered {
    /// What a record refers to by a member.
    #[must_use]
    pub fn target(&self, record: Seq, member: &str) -> Option<Seq> {
        self.references.get(&record)?.iter().find(|r| r.member == member).map(|r| r.target)
    }
}

/// The day of the shop that an instant is of, counted from 1970-01-01.
fn day_number(settings: &Settings, at: Instant) -> i64 {
    let epoch = jiff::civil::Date::constant(1970, 1, 1);
    settings.day(at).since(epoch).map_or(0, |span| i64::from(span.get_days()))
}

fn unique(seqs: impl IntoIterator<Item = Seq>) -> Vec<Seq> {
    seqs.into_iter().collect::<BTreeSet<_>>().into_iter().collect()
}

fn targets(references: &[Reference], kind: Kind, members: &[&str]) -> Vec<Seq> {
    unique(references.iter().filter(|r| r.kind == kind && members.contains(&r.member.as_str())).map(|r| r.target))
}

fn records(references: &[Reference], kinds: &[Kind]) -> Vec<Seq> {
    unique(references.iter().filter(|r| kinds.contains(&r.kind)).map(|r| r.record))
}

/// Everything that a job costs or shares in.
///
/// # Errors
/// As the database says.
pub async fn of_job(read: &mut ReadTx, commission: Seq) -> Result<Gathered, Problem> {
    of_jobs(read, &[commission]).await
}

/// Everything that some jobs cost or share in: as many questions as for one.
///
/// # Errors
/// As the database says.
pub async fn of_jobs(read: &mut ReadTx, commissions: &[Seq]) -> Result<Gathered, Problem> {
    let own = casting::by_commissions(read, commissions).await?;
    let castings: Vec<Seq> = own.iter().map(|c| c.seq).collect();
    let pieces = store::pieces_of(read, commissions).await?.into_iter().map(|(seq, _)| seq);
    let mut on_job: Vec<Seq> = pieces.chain(commissions.iter().copied()).collect();
    let of_castings = reach::referring(read, &castings, &[Kind::Shell, Kind::Wax, Kind::Work, Kind::OutsideWork]).await?;
    let shells = records(&of_castings, &[Kind::Shell]);
    let of_shells = reach::referring(read, &shells, &[Kind::Coat, Kind::Burnout, Kind::Preheat, Kind::Pour, Kind::Work]).await?;
    let pours = records(&of_shells, &[Kind::Pour]);
    let waxes = records(&of_castings, &[Kind::Wax]);
    let named = [pours.clone(), waxes].concat();
    let patterns = unique(own.iter().map(|c| c.pattern_seq).chain(on_job.iter().copied()));
    let mut more = reach::referred(read, &[named, patterns].concat()).await?;
    // A piece in parts may have the mould of any of their patterns, and of its own.
    let of_pieces = targets(&more, Kind::Piece, &["pattern_id", "parts"]);
    more.extend(reach::referred(read, &of_pieces).await?);
    let heats = targets(&more, Kind::Pour, &["heat_id"]);
    let moulds = unique(targets(&more, Kind::Pattern, &["mould_id"]).into_iter().chain(targets(&more, Kind::Wax, &["mould_id"])));
    on_job.extend(heats.iter().chain(&moulds));
    let of_rest = reach::referring(read, &on_job, &[Kind::Work, Kind::Cost, Kind::Closing, Kind::OutsideWork]).await?;
    let all = [&of_castings[..], &of_shells, &of_rest].concat();
    let mut wanted = records(&all, COSTLY);
    wanted.extend(heats.iter().chain(&moulds));
    let found = reach::by_seqs(read, &unique(wanted)).await?;
    let settings = settings::of(read).await?;
    let pours = reach::by_seqs(read, &pours).await?;
    let days: BTreeSet<i64> = pours.iter().map(|p| day_number(&settings, p.at)).collect();
    complete(read, settings, found, &castings, &shells, &days).await
}

/// Everything that was recorded to have cost something from an instant up to another.
///
/// # Errors
/// As the database says.
pub async fn between(read: &mut ReadTx, from: Instant, to: Instant) -> Result<Gathered, Problem> {
    let found = reach::between(read, COSTLY, from, to).await?;
    let settings = settings::of(read).await?;
    let pours = reach::between(read, &[Kind::Pour], from, to).await?;
    let days: BTreeSet<i64> = pours.iter().map(|p| day_number(&settings, p.at)).collect();
    complete(read, settings, found, &[], &[], &days).await
}

/// The instants between which a day of the shop lies.
fn span(settings: &Settings, day: i64) -> Option<(Instant, Instant)> {
    let date = jiff::civil::Date::constant(1970, 1, 1).checked_add(jiff::Span::new().try_days(day).ok()?).ok()?;
    Some((settings.begin(date)?, settings.begin(date.tomorrow().ok()?)?))
}

async fn complete(
    read: &mut ReadTx,
    settings: Arc<Settings>,
    found: Vec<Found>,
    castings: &[Seq],
    shells: &[Seq],
    days: &BTreeSet<i64>,
) -> Result<Gathered, Problem> {
    let (rates, trade) = (rates::of(read).await?, trade::of(read).await?);
    let seqs: Vec<Seq> = found.iter().map(|r| r.seq).collect();
    let references = reach::referred(read, &seqs).await?;
    let of_kind = |kind: Kind| found.iter().filter(move |r| r.kind == kind).map(|r| r.seq);
    let heats = unique(of_kind(Kind::Heat).chain(targets_any(&references, "heat_id")));
    let taken = metal::taken_from(read, &heats).await?;
    let spans: Vec<(Instant, Instant)> = days.iter().filter_map(|day| span(&settings, *day)).collect();
    let on_days = metal::taken_within(read, &spans).await?;
    let in_loads: Vec<&Reference> = references.iter().filter(|r| matches!(r.member.as_str(), "shells" | "shell_ids")).collect();
    let all_shells = unique(
        shells
            .iter()
            .copied()
            .chain(of_kind(Kind::Shell))
            .chain(targets_any(&references, "shell_id"))
            .chain(in_loads.iter().map(|r| r.target))
            .chain(taken.iter().chain(&on_days).map(|t| t.shell)),
    );
    let shell_records = reach::by_seqs(read, &all_shells).await?;
    let shell_references = reach::referred(read, &all_shells).await?;
    let coats = reach::referring(read, &all_shells, &[Kind::Coat]).await?;
    let all_castings = unique(
        castings
            .iter()
            .copied()
            .chain(targets_any(&shell_references, "casting_ids"))
            .chain(targets_any(&references, "casting_id")),
    );
    let rows = casting::by_seqs(read, &all_castings).await?;
    let figures = metal::casting_figures(read, &all_castings).await?;
    let moulds = unique(of_kind(Kind::Mould).chain(targets_any(&references, "mould_id")));
    let editions = editions(read, &moulds).await?;
    let patterns = reach::by_seqs(read, &unique(rows.iter().map(|c| c.pattern_seq))).await?;
    let pieces = unique(
        rows.iter()
            .map(|c| c.piece_seq)
            .chain(targets_any(&references, "piece_id"))
            .chain(editions.values().flat_map(|e| e.pieces.iter().copied())),
    );
    let of_pieces = reach::referred(read, &pieces).await?;
    let jobs = of_pieces.iter().filter(|r| r.member == "commission_id").map(|r| (r.record, r.target)).collect();
    let castings: BTreeMap<Seq, CastingRow> = rows.into_iter().map(|c| (c.seq, c)).collect();
    let figures: BTreeMap<Seq, CastingFigures> = figures.into_iter().map(|f| (f.seq, f)).collect();
    let areas = Areas { trade: &trade, patterns: &patterns, castings: &castings };
    let mut shells = BTreeMap::new();
    for record in shell_records {
        let own: Vec<Seq> = shell_references
            .iter()
            .filter(|r| r.record == record.seq && r.member == "casting_ids")
            .map(|r| r.target)
            .filter(|c| castings.get(c).is_some_and(|row| !row.void))
            .collect();
        let coats = coats.iter().filter(|r| r.target == record.seq).count();
        let area_mm2 = areas.of_shell(&record.body, &own, settings.number("gating_rod_mm", record.at));
        let fired_mg = area_mm2.map_or(0, |area| fired(&settings, record.at, area, coats));
        let recipe = shell_references.iter().find(|r| r.record == record.seq && r.member == "recipe_id").map(|r| r.target);
        shells.insert(record.seq, ShellFacts { recipe, castings: own, coats, area_mm2, fired_mg });
    }
    let mut bearers = Bearers { moulds: editions, ..Bearers::default() };
    for (shell, facts) in &shells {
        let weighed = facts.castings.iter().map(|c| (*c, figures.get(c).map_or(0, |f| f.estimate.mg()))).collect::<Vec<_>>();
        bearers.shells.insert(*shell, weighed);
    }
    for one in &taken {
        add(bearers.heats.entry(one.heat).or_default(), one.shell, one.mass.mg());
    }
    let mut days_taken: BTreeMap<i64, Vec<Taken>> = BTreeMap::new();
    for one in &on_days {
        let day = day_number(&settings, one.at);
        add(bearers.days.entry(day).or_default(), one.shell, one.mass.mg());
        days_taken.entry(day).or_default().push(*one);
    }
    for one in &in_loads {
        let fired = shells.get(&one.target).map_or(0, |s| s.fired_mg);
        add(bearers.loads.entry(one.record).or_default(), one.target, fired);
    }
    for load in bearers.loads.values_mut() {
        fill_unknown(load);
    }
    let last_wax = last_waxes(&found, &references);
    let mut by_record: BTreeMap<Seq, Vec<Reference>> = BTreeMap::new();
    for one in references {
        by_record.entry(one.record).or_default().push(one);
    }
    Ok(Gathered {
        records: found,
        references: by_record,
        bearers,
        shells,
        days: days_taken,
        castings,
        figures,
        jobs,
        last_wax,
        settings,
        rates,
    })
}

/// The last wax of each casting that was weighed; `found` is in the order of time.
fn last_waxes(found: &[Found], references: &[Reference]) -> BTreeMap<Seq, Seq> {
    let weighed = found.iter().filter(|r| r.kind == Kind::Wax && !r.body["wax_kg"].is_null());
    let of = |wax: &Found| references.iter().find(|r| r.record == wax.seq && r.member == "casting_id").map(|r| r.target);
    weighed.filter_map(|wax| Some((of(wax)?, wax.seq))).collect()
}

fn targets_any<'r>(references: &'r [Reference], member: &'r str) -> impl Iterator<Item = Seq> + 'r {
    references.iter().filter(move |r| r.member == member).map(|r| r.target)
}

fn add(to: &mut Vec<(Seq, i64)>, seq: Seq, weight: i64) {
    match to.iter_mut().find(|(s, _)| *s == seq) {
        Some((_, w)) => *w = w.saturating_add(weight),
        None => to.push((seq, weight)),
    }
}

/// A shell whose mass nobody can say counts as one like the others of its load.
fn fill_unknown(load: &mut [(Seq, i64)]) {
    let known: Vec<i64> = load.iter().map(|(_, w)| *w).filter(|w| *w > 0).collect();
    let Ok(count) = i64::try_from(known.len()) else { return };
    if count > 0 {
        let mean = known.iter().sum::<i64>() / count;
        for (_, weight) in load.iter_mut().filter(|(_, w)| *w == 0) {
            *weight = mean.max(1);
        }
    }
}

/// Fired mass in mg of so many coats on a surface in mm², by the shop's thickness and density.
#[expect(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "an estimate; areas are bounded by fields")]
fn fired(settings: &Settings, at: Instant, area_mm2: i64, coats: usize) -> i64 {
    let thick = settings.number("shell_coat_mm", at) * coats as f64;
    let mg_per_mm3 = settings.number("shell_density_kg_m3", at) / 1000.0;
    (area_mm2 as f64 * thick * mg_per_mm3).round() as i64
}

/// The edition of each of some moulds: pieces of patterns pulled from it, and pieces with a wax
/// pulled from it.
async fn editions(read: &mut ReadTx, moulds: &[Seq]) -> Result<BTreeMap<Seq, Edition>, Problem> {
    if moulds.is_empty() {
        return Ok(BTreeMap::new());
    }
    let pulled = reach::referring(read, moulds, &[Kind::Pattern, Kind::Wax]).await?;
    let patterns = records(&pulled, &[Kind::Pattern]);
    let by_pattern = reach::referring(read, &patterns, &[Kind::Piece]).await?;
    let waxes = reach::referred(read, &records(&pulled, &[Kind::Wax])).await?;
    let rows = casting::by_seqs(read, &targets(&waxes, Kind::Wax, &["casting_id"])).await?;
    let mut pieces: BTreeMap<Seq, BTreeSet<Seq>> = moulds.iter().map(|mould| (*mould, BTreeSet::new())).collect();
    for one in &pulled {
        let of_it = pieces.entry(one.target).or_default();
        if one.kind == Kind::Pattern {
            of_it.extend(by_pattern.iter().filter(|p| p.target == one.record).map(|p| p.record));
        } else {
            let casting = waxes.iter().find(|w| w.record == one.record && w.member == "casting_id").map(|w| w.target);
            of_it.extend(rows.iter().filter(|c| Some(c.seq) == casting && !c.void).map(|c| c.piece_seq));
        }
    }
    let all = reach::by_seqs(read, &unique(pieces.values().flatten().copied())).await?;
    Ok(pieces
        .into_iter()
        .map(|(mould, pieces)| {
            // Void pieces are not found, and bear nothing.
            let mut of_it: Vec<&Found> = all.iter().filter(|p| pieces.contains(&p.seq)).collect();
            of_it.sort_by_key(|p| p.seq);
            let marks: Vec<Mark> =
                of_it.iter().filter_map(|p| Mark::parse(p.body["edition_mark"].as_str().unwrap_or_default())).collect();
            let copies = costing::copies(&marks);
            (mould, Edition { copies, pieces: of_it.iter().map(|p| p.seq).collect() })
        })
        .collect())
}

struct Areas<'g> {
    trade: &'g Trade,
    patterns: &'g [Found],
    castings: &'g BTreeMap<Seq, CastingRow>,
}

impl Areas<'_> {
    /// The volume in mm³ of so many mg of a pattern material: 1 mg at 1 g/cm³ is 1 mm³.
    #[expect(clippy::cast_precision_loss, reason = "an estimate, bounded by Mass::MAX")]
    fn volume(&self, mg: i64, material: &str) -> Option<f64> {
        let density = self.trade.pattern_material(material)?.density_g_cm3?;
        (density > 0.0).then(|| mg as f64 / density)
    }
    /// The surface of a casting in mm²: its pattern's as measured, else that of a wall of its
    /// thinnest section, of its wax as weighed or of its pattern.
    fn of_casting(&self, casting: &CastingRow, faces: costing::Faces) -> Option<f64> {
        let pattern = self.patterns.iter().find(|p| p.seq == casting.pattern_seq);
        if let Some(cm2) = pattern.and_then(|p| p.body["area_cm2"].as_f64()) {
            return Some(cm2 * 100.0);
        }
        let volume = casting
            .wax_mg
            .or(casting.mass_mg)
            .and_then(|mg| self.volume(mg, &casting.material))
            .or_else(|| casting.volume_cm3.map(|cm3| cm3 * 1000.0))?;
        (volume > 0.0 && casting.section_mm > 0.0).then(|| costing::wall(volume, casting.section_mm, faces))
    }
    /// The surface of a shell in mm²: of its castings and of its gating; nothing where that of a
    /// casting is not known.
    #[expect(clippy::cast_possible_truncation, reason = "an estimate, bounded by the fields it is from")]
    fn of_shell(&self, body: &Value, castings: &[Seq], rod_mm: f64) -> Option<i64> {
        let faces = if body["core"] == "poured" { costing::Faces::Outer } else { costing::Faces::Both };
        let rows = castings.iter().filter_map(|seq| self.castings.get(seq));
        let of_castings: f64 = rows.map(|row| self.of_casting(row, faces)).sum::<Option<f64>>()?;
        let material = body["gating_material"].as_str().unwrap_or("wax_casting");
        let of_mass = || {
            let mg = crate::kernel::json::scaled(body["gating_kg"].as_number()?, 6)?;
            self.volume(i64::try_from(mg).ok()?, material)
        };
        let gating = body["gating_cm3"].as_f64().map(|cm3| cm3 * 1000.0).or_else(of_mass).unwrap_or(0.0);
        let area = of_castings + if gating > 0.0 { costing::rod(gating, rod_mm) } else { 0.0 };
        (area > 0.0).then(|| area.round() as i64)
    }
}
