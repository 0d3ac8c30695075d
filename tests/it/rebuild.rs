//! What is derived anew and found otherwise is put right, and named so that it can be looked at.

use crate::kit::{at_both, id};
use pourbook::app::rebuild;
use pourbook::kernel::{Actor, Role};

#[tokio::test]
async fn what_stood_otherwise_is_named_and_put_right() {
    at_both(async |shop| {
        let (casting, ..) = shop.poured().await;
        for (sql, name) in [
            ("UPDATE casting SET stage = 'bench'", "stages of castings"),
            ("UPDATE casting SET section_mm = 99", "patterns as castings keep them"),
        ] {
            let mut tx = shop.db.write(Actor::new("nobody", Role::Owner)).await.unwrap();
            tx.push(sql, vec![]);
            tx.save(()).await.unwrap();
            let differs = rebuild::run(&shop.db).await.unwrap();
            let said = differs.iter().find(|d| d.starts_with(name)).unwrap_or_else(|| panic!("{name} is not in {differs:?}"));
            assert!(
                said.starts_with(&format!("{name}: 1 rows stood otherwise, 1 rows follow; stood of casting {} [", id(&casting))),
                "{said}"
            );
            assert!(said.contains(&format!("follows of casting {} [", id(&casting))), "{said}");
            assert_eq!(rebuild::run(&shop.db).await.unwrap(), Vec::<String>::new());
        }
    })
    .await;
}
