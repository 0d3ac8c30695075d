//! Recording quotes and what becomes of them; an accepted one becomes a commission with its pieces.

use super::model::{LineBody, QuoteBody, QuoteStepBody, Step};
use super::store::{self, QuoteRow};
use crate::book::common::{Common, Draft};
use crate::book::verbs::create_as;
use crate::book::{Entry, Room, reach, series};
use crate::db::WriteTx;
use crate::kernel::field::{Body as _, Day, Inline, Kg, Many, Minor, Nested, Parent, Ref, Text};
use crate::kernel::{Fault, Kind, Mass, Money, Problem, ProblemType, Seq};
use crate::science::costing::Mark;
use crate::shop::casting::{Part, PartBody, PieceBody, Pieces};
use crate::shop::commission::{CommissionBody, Commissions, StageBody};
use crate::shop::house::settings;
use crate::shop::house::trade::{self, Trade};
use crate::shop::pattern::{PatternBody, PatternKind, Patterns};
use jiff::civil::Date;
use serde_json::{Map, Value};
use uuid::Uuid;

/// Quotes.
pub enum Quotes {}

/// What of a quote may be corrected: who it is for, and the shop's own notes. The rest was given.
const OPEN: [&str; 2] = ["client_id", "notes"];

impl Room for Quotes {
    const KIND: Kind = Kind::Quote;
    const TABLE: &'static str = "quote";
    const AT_REQUIRED: bool = false;
    type Body = QuoteBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<QuoteBody>) -> Result<(), Problem> {
        let Some(worked) = entry.body.worked.as_ref().map(|worked| worked.0.clone()) else {
            return Err(Problem::internal("a quote that was not worked out"));
        };
        let (base, edition) = if entry.correcting {
            fixed(tx, entry).await?;
            let was = store::one(tx, entry.seq).await?;
            (was.base, was.edition)
        } else {
            numbered(tx, entry).await?
        };
        let until = entry.body.valid_until.map(|day| day.0).ok_or_else(|| Problem::internal("a quote without its last day"))?;
        let whole = |value: &Value| value.as_i64().unwrap_or(0);
        entry.columns = vec![
            ("number", base.into()),
            ("edition", i64::from(edition).into()),
            ("title", entry.body.title.0.as_str().into()),
            ("client_seq", entry.body.client_id.as_ref().map(Ref::seq).into()),
            ("valid_until", until.to_string().into()),
            ("price_minor", whole(&worked["price_minor"]).into()),
            ("p50_minor", whole(&worked["cost_minor"]["p50"]).into()),
            ("p80_minor", whole(&worked["cost_minor"]["p80"]).into()),
            ("median", worked["median_minor"].as_f64().unwrap_or(0.0).into()),
            ("spread", worked["spread"].as_f64().unwrap_or(0.0).into()),
        ];
        Ok(())
    }
}

/// The number and version of a new quote.
async fn numbered(tx: &mut WriteTx, entry: &Entry<QuoteBody>) -> Result<(String, u32), Problem> {
    let (base, edition) = if let Some(of) = &entry.body.revises {
        let before = store::one(tx, of.seq()).await?;
        if before.void {
            return Err(Problem::field("/revises", "void", "That quote is void. Give a new one."));
        }
        let versions = store::versions(tx, &before.base).await?;
        if versions.iter().any(|one| !one.void && taken(one)) {
            let said = "It was accepted: what is agreed is changed on its commission. Give a new quote for more.";
            return Err(Problem::field("/revises", "accepted", said));
        }
        let last = versions.iter().map(|q| q.edition).max().unwrap_or(before.edition);
        (before.base, last + 1)
    } else {
        let year = settings::of(tx).await?.day(entry.at()).year().rem_euclid(100);
        let n = series::take(tx, &format!("quote-{year:02}"), 1).await?;
        (format!("{year:02}-Q{n:03}"), 1)
    };
    series::bind(tx, Kind::Quote.name(), &store::called(&base, edition), entry.seq);
    Ok((base, edition))
}

/// Whether a quote was accepted, or a job stands that was.
fn taken(quote: &QuoteRow) -> bool {
    quote.commission.is_some() || quote.steps.iter().any(|(step, ..)| *step == Step::Accepted)
}

/// A body without the ids in it: a record that is merged into another takes its id along.
fn without_ids(value: &Value) -> Value {
    match value {
        Value::Object(members) => Value::Object(
            members.iter().filter(|(name, _)| !name.ends_with("_id")).map(|(n, v)| (n.clone(), without_ids(v))).collect(),
        ),
        Value::Array(items) => Value::Array(items.iter().map(without_ids).collect()),
        other => other.clone(),
    }
}

/// Refuses a correction of what was given.
async fn fixed(tx: &mut WriteTx, entry: &Entry<QuoteBody>) -> Result<(), Problem> {
    let was = reach::by_seqs(tx, &[entry.seq]).await?.pop().map_or(Value::Null, |found| found.body);
    let mut is = Map::new();
    entry.body.write_members(&mut is);
    let faults: Vec<Fault> = QuoteBody::members()
        .iter()
        .filter(|name| !OPEN.contains(name))
        .filter(|name| without_ids(&was[**name]) != is.get(**name).map_or(Value::Null, without_ids))
        .map(|name| Fault {
            pointer: format!("/{name}"),
            code: "fixed",
            message: "A quote stays as it was given. Give a new version of it: POST /v1/quotes with revises.".into(),
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(Problem::invalid(faults)) }
}

/// What became of quotes.
pub enum QuoteSteps {}

impl Room for QuoteSteps {
    const KIND: Kind = Kind::QuoteStep;
    const TABLE: &'static str = "quote_step";
    const AT_REQUIRED: bool = false;
    type Body = QuoteStepBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<QuoteStepBody>) -> Result<(), Problem> {
        let quote = store::one(tx, entry.body.quote_id.seq()).await?;
        let step = entry.body.step.ok_or_else(|| Problem::field("/step", "required", "Say sent, accepted or declined."))?;
        if entry.correcting {
            let was = quote.steps.iter().find(|(.., seq)| *seq == entry.seq).map(|(step, ..)| *step);
            if was != Some(step) {
                return Err(Problem::field("/step", "fixed", "Void it and record what happened."));
            }
            let commission = entry.body.commission_id.as_ref().map(Ref::seq);
            if commission.is_some() != (step == Step::Accepted) || (commission.is_some() && commission != quote.commission) {
                return Err(Problem::field("/commission_id", "fixed", "The book made the commission; void the step instead."));
            }
        } else {
            let today = settings::of(tx).await?.day(entry.at());
            if entry.at() < quote.at {
                return Err(Problem::field("/at", "before", "That is before the quote was given."));
            }
            let versions = store::versions(tx, &quote.base).await?;
            if let Some(other) = versions.iter().find(|one| !one.void && taken(one)) {
                return Err(Problem::new(ProblemType::QuoteSettled, format!("{} was accepted.", other.number())));
            }
            may(&quote, step, today)?;
            if entry.body.commission_id.is_some() {
                return Err(Problem::field("/commission_id", "in-path", "The book makes the commission; leave it out."));
            }
            if step == Step::Accepted {
                let (seq, id) = agree(tx, &entry.common, &quote).await?;
                entry.body.commission_id = Some(Ref::known(seq, id));
            }
        }
        entry.columns = vec![
            ("quote_seq", quote.seq.into()),
            ("step", step.name().into()),
            ("commission_seq", entry.body.commission_id.as_ref().map(Ref::seq).into()),
        ];
        entry.bear(quote.seq);
        Ok(())
    }
}

/// Whether that may become of a quote, as it stands on a day.
fn may(quote: &QuoteRow, step: Step, today: Date) -> Result<(), Problem> {
    let settled = |said: String| Err(Problem::new(ProblemType::QuoteSettled, said));
    for (done, ..) in &quote.steps {
        match done {
            Step::Accepted => return settled(format!("{} was accepted.", quote.number())),
            Step::Declined => return settled(format!("{} was declined.", quote.number())),
            Step::Sent => {}
        }
    }
    if quote.superseded {
        return settled(format!("A later version of {} was given.", quote.base));
    }
    if step != Step::Declined && quote.valid_until < today {
        return settled(format!("{} held until {}.", quote.number(), quote.valid_until));
    }
    Ok(())
}

/// Makes the commission that a quote becomes, with its pieces and stages.
async fn agree(tx: &mut WriteTx, common: &Common, quote: &QuoteRow) -> Result<(Seq, Uuid), Problem> {
    let found = reach::by_seqs(tx, &[quote.seq]).await?.pop().ok_or_else(|| Problem::internal("a quote without its record"))?;
    let body = found.body;
    let references = reach::referred(tx, &[quote.seq]).await?;
    let client = references.iter().find(|r| r.member == "client_id").map(|r| r.target);
    let client = match client {
        Some(seq) => reach::by_seqs(tx, &[seq]).await?.pop().map(|client| Ref::known(client.seq, client.id)),
        None => None,
    };
    let price = &body["worked"]["price"];
    let minor = |value: &Value| value.as_i64().map(|minor| Minor(Money::from_minor(minor)));
    let stages = price["stages"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|stage| {
            let amount_minor = minor(&stage["amount_minor"])?;
            Some(Nested(StageBody { r#for: Text(stage["for"].as_str()?.to_owned()), amount_minor, due_on: None }))
        })
        .collect();
    let commission = CommissionBody {
        title: Text(quote.title.clone()),
        client_id: client,
        due_on: body["due_on"].as_str().and_then(|day| day.parse().ok()).map(Day),
        price_minor: minor(&price["total_minor"]),
        stages: Many(stages),
        quote_id: Some(Ref::known(quote.seq, quote.id)),
        quoted_p50_minor: Some(Minor(quote.p50)),
        quoted_p80_minor: Some(Minor(quote.p80)),
        notes: None,
    };
    let (seq, id) = create_as::<Commissions>(tx, Draft { common: common.along(), body: commission }).await?;
    let lines = LineBody::read_all(&body["lines"])?;
    let worked = body["worked"]["lines"].as_array().cloned().unwrap_or_default();
    let trade = trade::of(tx).await?;
    for (line, worked) in lines.iter().zip(&worked) {
        let pattern = pattern(tx, common, line, worked, &trade).await?;
        for mark in marks(line) {
            let parts = (1..=line.sections.map_or(1, |n| n.0)).filter(|_| line.sections.is_some_and(|n| n.0 > 1));
            let parts = parts
                .map(|n| Part(PartBody { name: Text(format!("part {n}")), pattern_id: None, mass_kg: None, section_mm: None }));
            let piece = PieceBody {
                commission_id: Parent(Ref::known(seq, id)),
                pattern_id: Some(pattern.clone()),
                pattern: Inline(None),
                alloy: Text(worked["alloy"].as_str().unwrap_or(&line.alloy.0).to_owned()),
                edition_mark: mark.map(Text),
                maker: None,
                parts: Many(parts.collect()),
            };
            create_as::<Pieces>(tx, Draft { common: common.along(), body: piece }).await?;
        }
    }
    Ok((seq, id))
}

/// The pattern of a line: the one on file, or one made of what was asked for.
async fn pattern(
    tx: &mut WriteTx,
    common: &Common,
    line: &LineBody,
    worked: &Value,
    trade: &Trade,
) -> Result<Ref<crate::kernel::id::Pattern>, Problem> {
    if let Some(on_file) = &line.pattern_id {
        let id = Uuid::parse_str(&on_file.0.asked).map_err(Problem::internal)?;
        let found = store::by_id(tx, id).await?.ok_or_else(|| Problem::internal("a quote's pattern is gone"))?;
        return Ok(Ref::known(found, id));
    }
    let (metal, wax) = (
        trade.alloy(&line.alloy.0).and_then(|alloy| alloy.density_g_cm3).unwrap_or(8.36),
        trade.pattern_material("wax_casting").and_then(|wax| wax.density_g_cm3).unwrap_or(0.95),
    );
    let kg = worked["copy_kg"].as_f64().unwrap_or(0.0) * wax / metal;
    #[expect(clippy::cast_possible_truncation, reason = "a mass of a quote is bounded")]
    let mass = Mass::from_mg((kg * 1e6).round().max(1.0) as i64);
    let section = worked["section_mm"].as_f64().and_then(crate::kernel::Millimetres::new);
    let section_mm = section.or(line.section_mm).ok_or_else(|| Problem::internal("a quote's line without its section"))?;
    let kind = if worked["unique"] == true { PatternKind::Unique } else { PatternKind::Mould };
    let name: String = worked["what"].as_str().unwrap_or("as quoted").chars().take(120).collect();
    let body = PatternBody {
        name: Text(name),
        material: Text("wax_casting".into()),
        mass_kg: Some(Kg(mass)),
        volume_cm3: None,
        section_mm,
        kind: Some(kind),
        mould_id: None,
        dimensions_mm: None,
        area_cm2: None,
        owner_client_id: None,
        shelf: None,
        notes: Some(Text("Made of what was quoted; weigh the wax when it is there.".into())),
    };
    let (seq, id) = create_as::<Patterns>(tx, Draft { common: common.along(), body }).await?;
    Ok(Ref::known(seq, id))
}

/// The marks of a line's pieces: `1/8` to `8/8`, `AP 1/2`; none where one alone is cast.
fn marks(line: &LineBody) -> Vec<Option<String>> {
    let (copies, proofs) = (line.copies.0, line.proofs.map_or(0, |n| n.0));
    if copies == 1 && proofs == 0 {
        return vec![None];
    }
    let run = |kind: &str, of: i64| {
        let of = u32::try_from(of).unwrap_or(0);
        (1..=of).map(|n| Some(Mark { kind: kind.to_owned(), n, of }.text())).collect::<Vec<_>>()
    };
    [run("", copies), run("AP", proofs)].concat()
}
