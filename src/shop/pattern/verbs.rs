//! Recording patterns and moulds.

use super::model::{MouldBody, PatternBody, PatternKind};
use crate::book::{Entry, Room};
use crate::db::WriteTx;
use crate::kernel::field::Ref;
use crate::kernel::{Fault, Kind, Problem};
use crate::shop::house::trade;

/// Patterns.
pub enum Patterns {}

impl Room for Patterns {
    const KIND: Kind = Kind::Pattern;
    const TABLE: &'static str = "pattern";
    const AT_REQUIRED: bool = false;
    type Body = PatternBody;

    async fn enter(tx: &mut WriteTx, entry: &mut Entry<PatternBody>) -> Result<(), Problem> {
        let mut faults = Vec::new();
        let catalogue = trade::of(tx).await?;
        match catalogue.pattern_material(&entry.body.material.0) {
            Some(material) => entry.body.material.0.clone_from(&material.code),
            None => faults.push(Fault {
                pointer: "/material".into(),
                code: "not-in-catalogue",
                message: format!(
                    "{} is not in /v1/trade/pattern-materials. Take one of those, or let the owner add it.",
                    entry.body.material.0
                ),
            }),
        }
        match (&entry.body.mass_kg, &entry.body.volume_cm3) {
            (None, None) => faults.push(Fault {
                pointer: "/mass_kg".into(),
                code: "required",
                message: "Give mass_kg, or volume_cm3 where it was not weighed.".into(),
            }),
            (Some(_), Some(_)) => faults.push(Fault {
                pointer: "/volume_cm3".into(),
                code: "one-of",
                message: "Give mass_kg or volume_cm3, not both.".into(),
            }),
            _ => {}
        }
        if !faults.is_empty() {
            return Err(Problem::invalid(faults));
        }
        let body = &entry.body;
        let kind = body.kind.unwrap_or(PatternKind::File);
        let columns: Vec<(&'static str, crate::db::Cell)> = vec![
            ("name", body.name.0.as_str().into()),
            ("material", body.material.0.as_str().into()),
            ("kind", kind.name().into()),
            ("mass_mg", body.mass_kg.map(|m| m.0).into()),
            ("volume_cm3", body.volume_cm3.map(|v| v.0).into()),
            ("section_mm", body.section_mm.get().into()),
            ("owner_client_seq", body.owner_client_id.as_ref().map(Ref::seq).into()),
        ];
        entry.columns = columns;
        entry.body.kind = Some(kind);
        Ok(())
    }
}

/// Moulds.
pub enum Moulds {}

impl Room for Moulds {
    const KIND: Kind = Kind::Mould;
    const TABLE: &'static str = "mould";
    const AT_REQUIRED: bool = false;
    type Body = MouldBody;

    async fn enter(_: &mut WriteTx, entry: &mut Entry<MouldBody>) -> Result<(), Problem> {
        let body = &entry.body;
        entry.columns = vec![
            ("name", body.name.0.as_str().into()),
            ("owner_client_seq", body.owner_client_id.as_ref().map(Ref::seq).into()),
            ("cost_minor", body.cost_minor.map(|c| c.0).into()),
            ("keep_until", body.keep_until.map(|d| d.0.to_string()).into()),
        ];
        Ok(())
    }
}
