//! Where metal goes back, and whose it is.

use crate::db::{Ask, Cell, Read, Row};
use crate::kernel::{Problem, Seq};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// The heats that were charged from a lot.
pub async fn heats_from<R: Read>(read: &mut R, lot: Seq) -> Result<Vec<Seq>, Problem> {
    let sql = "SELECT DISTINCT to_seq FROM movement WHERE from_kind = 1 AND from_seq = ? AND to_kind = 2";
    read.fetch(sql, vec![lot.into()]).await?.iter().map(|row| row.int(0)).collect()
}

/// What metal goes back as.
#[derive(Clone, Debug)]
pub struct Pool {
    /// The alloy poured.
    pub alloy: String,
    /// The client whose metal alone was charged, heels among it; none where it is the shop's,
    /// or of several owners.
    pub owner: Option<(Seq, Uuid)>,
    /// The default pool: the oldest live returns lot of that alloy and that owner.
    pub lot: Option<(Seq, Uuid)>,
}

/// The one client whose metal was charged into the heat `h`, through all heels.
macro_rules! sole_owner {
    () => {
        "(WITH RECURSIVE pot(heat) AS (SELECT h.heat_seq UNION \
            SELECT m.from_seq FROM pot CROSS JOIN movement m ON m.to_kind = 2 AND m.to_seq = pot.heat WHERE m.from_kind = 2) \
          SELECT CASE WHEN count(DISTINCT coalesce(x.owner_client_seq, 0)) = 1 THEN max(x.owner_client_seq) END \
          FROM pot CROSS JOIN ledger_line e ON e.heat_seq = pot.heat AND e.event = 'charge' \
          CROSS JOIN record q ON q.seq = e.record_seq AND q.void_ms IS NULL CROSS JOIN metal_lot x ON x.seq = e.lot_seq)"
    };
}

/// The oldest live returns lot of an alloy and an owner, of the row `g`.
macro_rules! oldest_pool {
    () => {
        "(SELECT l.seq FROM metal_lot l JOIN record lr ON lr.seq = l.seq \
          WHERE l.alloy = g.alloy AND l.kind = 'returns' AND l.owner_client_seq IS g.owner AND lr.void_ms IS NULL \
          ORDER BY lr.at_ms, lr.seq LIMIT 1)"
    };
}

/// Asks what metal out of castings goes back as.
#[must_use]
pub fn pools_of_castings(castings: &[Seq]) -> Ask {
    Ask {
        sql: concat!(
            "SELECT g.casting, g.alloy, p.seq, p.id, o.seq, o.id FROM ( \
               SELECT k.value AS casting, k.key AS place, r.at_ms AS at_ms, r.seq AS seq, h.alloy AS alloy, ",
            sole_owner!(),
            " AS owner FROM json_each(?) k JOIN ledger_casting c ON c.casting_seq = k.value \
               JOIN ledger_line f ON f.shell_seq = c.shell_seq AND f.event = 'pour' \
               JOIN record r ON r.seq = f.record_seq AND r.void_ms IS NULL JOIN ledger_heat h ON h.heat_seq = f.heat_seq) g \
             LEFT JOIN record o ON o.seq = g.owner LEFT JOIN record p ON p.seq = ",
            oldest_pool!(),
            " ORDER BY g.place, g.at_ms, g.seq"
        ),
        args: vec![json!(castings).to_string().into()],
    }
}

/// Asks what metal out of a heat goes back as.
#[must_use]
pub fn pool_of_heat(heat: Seq) -> Ask {
    Ask {
        sql: concat!(
            "SELECT g.heat, g.alloy, p.seq, p.id, o.seq, o.id FROM (SELECT h.heat_seq AS heat, h.alloy AS alloy, ",
            sole_owner!(),
            " AS owner FROM ledger_heat h WHERE h.heat_seq = ?) g LEFT JOIN record o ON o.seq = g.owner LEFT JOIN record p ON p.seq = ",
            oldest_pool!()
        ),
        args: vec![Cell::Int(heat)],
    }
}

/// Asks for the shop's pool of an alloy, in the name of something.
#[must_use]
pub fn pool_of_alloy(of: Seq, alloy: &str) -> Ask {
    Ask {
        sql: concat!(
            "SELECT g.of, g.alloy, p.seq, p.id, NULL, NULL FROM (SELECT ? AS of, ? AS alloy, NULL AS owner) g LEFT JOIN record p ON p.seq = ",
            oldest_pool!()
        ),
        args: vec![Cell::Int(of), alloy.into()],
    }
}

/// Reads the answer of [`pools_of_castings`] or [`pool_of_heat`]: of each the first pour.
pub fn read_pools(rows: &[Row]) -> Result<BTreeMap<Seq, Pool>, Problem> {
    let mut out = BTreeMap::new();
    for row in rows {
        let lot = row.opt_int(2)?.map(|seq| Ok::<_, Problem>((seq, row.uuid(3)?))).transpose()?;
        let owner = row.opt_int(4)?.map(|seq| Ok::<_, Problem>((seq, row.uuid(5)?))).transpose()?;
        out.entry(row.int(0)?).or_insert(Pool { alloy: row.text(1)?, owner, lot });
    }
    Ok(out)
}
