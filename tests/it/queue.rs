//! The writer's queue under hostile use: refusals, people who go away, a full disk.

use pourbook::book::journal::{self, Action};
use pourbook::db::{Cell, Db, Options, Read as _, WriteTx};
use pourbook::kernel::{Actor, Clock, Instant, Problem, ProblemType, Role};
use std::future::Future as _;
use std::path::Path;
use std::task::{Context, Waker};
use std::time::Duration;

async fn open(dir: &Path) -> Db {
    Db::open(dir, Options::default(), Clock::fixed(Instant::from_ms(1_780_000_000_000), 7), &[]).await.unwrap()
}

fn hand() -> Actor {
    Actor::new("Ada", Role::Owner)
}

/// A record with its journal line, as `book` writes them. The first read opens the turn.
async fn client(tx: &mut WriteTx, name: &str) -> Result<i64, Problem> {
    tx.open("SELECT 1 WHERE 0", vec![]).await?;
    let (seq, id) = (tx.deal_seq(), tx.clock.mint());
    let n = journal::append(tx, seq, Action::Create, 1, None, Some("{}"));
    let now = tx.now();
    tx.push(
        "INSERT INTO record (seq, id, kind, at_ms, at_precision, recorded_ms, by, version, journal_n, act_n) \
         VALUES (?, ?, 'client', ?, 'minute', ?, 'Ada', 1, ?, ?)",
        vec![seq.into(), id.into(), now.into(), now.into(), n.into(), n.into()],
    );
    tx.put("client", seq, &[("name", name.into())]);
    Ok(seq)
}

async fn record(db: &Db, name: &str) -> Result<i64, Problem> {
    let mut tx = db.write(hand()).await?;
    match client(&mut tx, name).await {
        Ok(seq) => tx.save(seq).await,
        Err(problem) => Err(tx.refuse(problem).await),
    }
}

async fn names(db: &Db) -> Vec<String> {
    let mut read = db.read().await.unwrap();
    let rows = read.fetch("SELECT name FROM client ORDER BY seq", vec![]).await.unwrap();
    rows.iter().map(|row| row.text(0).unwrap()).collect()
}

/// Records and journal lines are as many as clients, numbered without a gap; the chain holds.
async fn sound(db: &Db, clients: i64) {
    let mut read = db.read().await.unwrap();
    let row = read
        .fetch_one(
            "SELECT (SELECT count(*) FROM client), (SELECT count(*) FROM record), (SELECT max(seq) FROM record), \
             (SELECT count(*) FROM journal), (SELECT max(n) FROM journal)",
            vec![],
        )
        .await
        .unwrap()
        .unwrap();
    for column in 0..5 {
        assert_eq!(row.opt_int(column).unwrap().unwrap_or(0), clients, "column {column}");
    }
    assert_eq!(journal::verify(&mut read).await.unwrap(), None);
}

/// Holds the writer, so that all that asks meanwhile is served in one batch.
async fn held(db: &Db) -> WriteTx {
    db.write(hand()).await.unwrap()
}

async fn waits() {
    for _ in 0..50 {
        tokio::task::yield_now().await;
    }
}

#[tokio::test]
async fn a_batch_shares_one_commit_and_a_refusal_in_it_leaves_the_others() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    let first = held(&db).await;
    let mut waiting = Vec::new();
    for i in 0..8 {
        let db = db.clone();
        waiting.push(tokio::spawn(async move {
            let mut tx = db.write(hand()).await.unwrap();
            let seq = client(&mut tx, &format!("c{i}")).await.unwrap();
            if i == 3 {
                // What it wrote has reached the database when it is refused.
                tx.fetch("SELECT 1", vec![]).await.unwrap();
                Err(tx.refuse(Problem::new(ProblemType::InUse, "no")).await)
            } else {
                tx.save(seq).await
            }
        }));
        waits().await;
    }
    assert_eq!(db.tally().commits(), 0);
    drop(first);
    let mut dealt = Vec::new();
    for (i, one) in waiting.into_iter().enumerate() {
        match one.await.unwrap() {
            Ok(seq) => dealt.push(seq),
            Err(problem) => assert_eq!((i, problem.kind), (3, ProblemType::InUse)),
        }
    }
    assert_eq!(dealt, [1, 2, 3, 4, 5, 6, 7]);
    assert_eq!(db.tally().commits(), 1);
    assert_eq!(names(&db).await, ["c0", "c1", "c2", "c4", "c5", "c6", "c7"]);
    sound(&db, 7).await;
    db.close().await;
}

/// Polls a future `polls` times, leaving time between for the driver's thread, and drops it.
async fn give_up_after<F: Future>(future: F, polls: usize) -> bool {
    let mut future = Box::pin(future);
    for _ in 0..polls {
        if future.as_mut().poll(&mut Context::from_waker(Waker::noop())).is_ready() {
            return true;
        }
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
    false
}

#[tokio::test]
async fn whoever_goes_away_at_any_moment_harms_nobody_else() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    let mut stand = 0;
    for polls in 0..14 {
        // Alone, opening the batch.
        give_up_after(record(&db, "gone"), polls).await;
        let seq = tokio::time::timeout(Duration::from_secs(5), record(&db, "kept")).await.expect("the writer hangs").unwrap();
        // In the midst of others.
        let first = held(&db).await;
        let (before, after) = (db.clone(), db.clone());
        let before = tokio::spawn(async move { record(&before, "kept").await });
        waits().await;
        let gone = give_up_after(record(&db, "gone"), 1);
        assert!(!gone.await);
        let mut midst = Box::pin(record(&db, "gone"));
        assert!(midst.as_mut().poll(&mut Context::from_waker(Waker::noop())).is_pending());
        let after = tokio::spawn(async move { record(&after, "kept").await });
        waits().await;
        drop(first);
        for _ in 0..polls {
            if midst.as_mut().poll(&mut Context::from_waker(Waker::noop())).is_ready() {
                break;
            }
            tokio::time::sleep(Duration::from_millis(1)).await;
        }
        drop(midst);
        for one in [before, after] {
            let dealt = tokio::time::timeout(Duration::from_secs(5), one).await.expect("the writer hangs").unwrap().unwrap();
            assert!(dealt > seq);
        }
        let standing = names(&db).await;
        let kept = standing.iter().filter(|n| *n == "kept").count();
        assert_eq!(kept, 3 * (polls + 1), "after {polls} polls");
        stand = standing.len();
    }
    sound(&db, i64::try_from(stand).unwrap()).await;
    db.close().await;
}

#[tokio::test]
async fn the_one_who_opens_a_batch_may_go_away_before_the_numbers_were_read() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    record(&db, "one").await.unwrap();
    let mut given_up = 0;
    for round in 0..20 {
        let mut opener = held(&db).await;
        let next = db.clone();
        let next = tokio::spawn(async move { record(&next, "next").await });
        waits().await;
        // The script is sent; its answer is never fetched, unless the driver was very quick.
        given_up += i32::from(!give_up_after(opener.open("SELECT 1", vec![]), 1).await);
        drop(opener);
        assert_eq!(next.await.unwrap().unwrap(), round + 2);
    }
    assert!(given_up > 0);
    sound(&db, 21).await;
    db.close().await;
}

#[tokio::test]
async fn a_turn_given_up_once_it_is_whole_stands_and_does_not_take_the_batch_with_it() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    let first = held(&db).await;
    let (before, whole) = (db.clone(), db.clone());
    let before = tokio::spawn(async move { record(&before, "before").await });
    waits().await;
    let whole = tokio::spawn(async move {
        let mut tx = whole.write(hand()).await.unwrap();
        client(&mut tx, "whole").await.unwrap();
        let mut saving = Box::pin(tx.save(()));
        assert!(saving.as_mut().poll(&mut Context::from_waker(Waker::noop())).is_pending());
        // The driver's thread has carried out the release; nobody fetches its word.
        tokio::time::sleep(Duration::from_millis(100)).await;
    });
    waits().await;
    let after = db.clone();
    let after = tokio::spawn(async move { record(&after, "after").await });
    waits().await;
    drop(first);
    whole.await.unwrap();
    assert_eq!(before.await.unwrap().unwrap(), 1);
    assert_eq!(after.await.unwrap().unwrap(), 3);
    assert_eq!(names(&db).await, ["before", "whole", "after"]);
    assert_eq!(db.tally().commits(), 1);
    sound(&db, 3).await;
    db.close().await;
}

#[tokio::test]
async fn a_commit_that_fails_fails_all_that_shared_it_and_the_next_write_works() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    let first = held(&db).await;
    let mut waiting = Vec::new();
    for i in 0..4 {
        let db = db.clone();
        waiting.push(tokio::spawn(async move {
            let mut tx = db.write(hand()).await?;
            let seq = client(&mut tx, "lost").await?;
            if i == 2 {
                // A reference that is deferred to the commit and does not hold there.
                tx.push("UPDATE record SET journal_n = 999 WHERE seq = ?", vec![Cell::Int(seq)]);
            }
            tx.save(seq).await
        }));
        waits().await;
    }
    drop(first);
    for one in waiting {
        assert_eq!(one.await.unwrap().unwrap_err().kind, ProblemType::Busy);
    }
    assert_eq!(db.tally().commits(), 0);
    assert_eq!(record(&db, "next").await.unwrap(), 1);
    sound(&db, 1).await;
    db.close().await;
}

async fn pages(db: &Db, most: i64) {
    let mut tx = db.write(hand()).await.unwrap();
    // A PRAGMA takes no bound value.
    tx.fetch(&format!("PRAGMA max_page_count = {most}"), vec![]).await.unwrap();
    tx.leave().await.unwrap();
}

#[tokio::test]
async fn a_full_disk_is_busy_and_writes_are_taken_once_there_is_room() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    record(&db, "before").await.unwrap();
    // SQLite raises the least it is given to the size that the file has.
    pages(&db, 1).await;
    let large = "x".repeat(200_000);
    let first = held(&db).await;
    let mut waiting = Vec::new();
    for name in ["small".to_owned(), large, "after".to_owned()] {
        let db = db.clone();
        waiting.push(tokio::spawn(async move { record(&db, &name).await }));
        waits().await;
    }
    drop(first);
    let mut told = Vec::new();
    for one in waiting {
        told.push(one.await.unwrap().map_err(|p| p.kind));
    }
    assert_eq!(told[1], Err(ProblemType::Busy));
    // Whoever was told that it stands finds it; whoever was told busy does not.
    let standing = names(&db).await;
    for (name, told) in [("small", &told[0]), ("after", &told[2])] {
        assert_eq!(standing.iter().any(|n| n == name), told.is_ok(), "{name}: {told:?}");
        assert!(told.is_ok() || *told == Err(ProblemType::Busy), "{name}: {told:?}");
    }
    pages(&db, 1_000_000).await;
    record(&db, "room").await.unwrap();
    sound(&db, i64::try_from(standing.len()).unwrap() + 1).await;
    db.close().await;
}

#[tokio::test]
async fn closing_serves_those_who_wait_and_takes_no_more() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    let first = held(&db).await;
    let mut waiting = Vec::new();
    for _ in 0..40 {
        let db = db.clone();
        waiting.push(tokio::spawn(async move { record(&db, "waited").await }));
    }
    waits().await;
    let closing = db.clone();
    let closing = tokio::spawn(async move { closing.close().await });
    waits().await;
    assert_eq!(record(&db, "late").await.unwrap_err().kind, ProblemType::Busy);
    drop(first);
    for one in waiting {
        one.await.unwrap().unwrap();
    }
    closing.await.unwrap();
    drop(db);
    let db = open(dir.path()).await;
    sound(&db, 40).await;
    db.close().await;
}

#[tokio::test]
async fn what_a_turn_changed_of_things_kept_is_seen_by_the_next_of_its_batch_and_undone_with_it() {
    let dir = tempfile::tempdir().unwrap();
    let db = open(dir.path()).await;
    let kept = |db: &Db| {
        let db = db.clone();
        async move { db.read().await.unwrap().shared().get::<String>().map(|s| (*s).clone()) }
    };
    db.read().await.unwrap().shared().put(std::sync::Arc::new("old".to_owned()));
    let first = held(&db).await;
    let changing = db.clone();
    let changing = tokio::spawn(async move {
        let mut tx = changing.write(hand()).await.unwrap();
        client(&mut tx, "changes").await.unwrap();
        tx.forget_shared();
        assert_eq!(tx.shared().get::<String>(), None);
        tx.shared().put(std::sync::Arc::new("mine".to_owned()));
        tx.save(()).await
    });
    waits().await;
    let next = db.clone();
    let next = tokio::spawn(async move {
        let tx = next.write(hand()).await.unwrap();
        let seen = tx.shared().get::<String>();
        tx.leave().await.unwrap();
        seen
    });
    waits().await;
    drop(first);
    changing.await.unwrap().unwrap();
    assert_eq!(next.await.unwrap(), None);
    assert_eq!(kept(&db).await, None);
    // Refused: what was kept stays.
    db.read().await.unwrap().shared().put(std::sync::Arc::new("new".to_owned()));
    let mut tx = db.write(hand()).await.unwrap();
    client(&mut tx, "refused").await.unwrap();
    tx.forget_shared();
    tx.leave().await.unwrap();
    assert_eq!(kept(&db).await.as_deref(), Some("new"));
    db.close().await;
}
