//! Two things of one name that are one: their records move, each journalled, and nothing is lost.

use crate::browser::Browser;
use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

#[tokio::test]
async fn what_names_a_thing_names_the_other_after_they_are_merged() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let kiln = |n: usize| json!({"kiln": format!("Kiln {n}"), "target_c": 700, "shell_ids": [id(&shell)], "at": at(4, "06:00"), "hands": ["Ann", "Anna"]});
        let heated = shop.post("/v1/preheats", &kiln(1)).await.made();
        let other = shop.post("/v1/kilns", &json!({"name": "Kiln 2"})).await.made();
        let path = |name: &str| format!("/v1/kilns/{}/merge", name.replace(' ', "%20"));
        let work = json!({"operation": "chase_wax", "minutes": 20, "at": at(1, "09:30"), "hand": "Anna"});
        let work = shop.post(&format!("/v1/castings/{}/work", id(&casting)), &work).await.made();
        shop.post("/v1/rates", &json!({"what": "hand_hour", "hand_id": "Anna", "from_on": "2026-01-01", "amount_minor": 3000})).await.made();
        let merged = shop.post(&path("Kiln 1"), &json!({"into": "Kiln 2", "reason": "one kiln, written twice"})).await.is(200);
        assert_eq!((&merged["moved"], &merged["left"]), (&json!(1), &json!(0)));
        assert_eq!(merged["also_called"], json!(["Kiln 1"]));
        let now = shop.get(&format!("/v1/preheats/{}", id(&heated))).await.is(200);
        assert_eq!(now["kiln"], other["id"]);
        // Each record says in its journal that it was moved, and why.
        let journal = shop.get(&format!("/v1/journal?record={}", id(&heated))).await.is(200);
        let last = journal["items"].as_array().unwrap().last().unwrap();
        assert_eq!(last["reason"], "merged into Kiln 2: one kiln, written twice");
        // The old name means the one that stayed; the old thing is void.
        let later = shop.post("/v1/preheats", &json!({"kiln": "kiln 1", "target_c": 700, "shell_ids": [id(&shell)], "at": at(4, "07:00")})).await.made();
        assert_eq!(later["kiln"], other["id"]);
        assert!(later["first_use"].is_null(), "{later:#}");
        let from = heated["kiln"].as_str().unwrap();
        assert!(shop.get(&format!("/v1/kilns/{from}")).await.is(200)["void"].is_object());
        // A hand: in the list of hands, on the bench and in a rate; whoever stood twice stands once.
        let ann = shop.post("/v1/hands/Ann/merge", &json!({"into": "Anna"})).await.is(200);
        assert_eq!(ann["moved"], json!(1));
        let now = shop.get(&format!("/v1/preheats/{}", id(&heated))).await.is(200);
        assert_eq!(now["hands"], json!([ann["id"]]));
        let back = shop.post("/v1/hands", &json!({"name": "Anne"})).await.made();
        let anne = shop.post("/v1/hands/Anna/merge", &json!({"into": id(&back)})).await.is(200);
        assert_eq!(anne["also_called"], json!(["Anna", "Ann"]));
        assert_eq!(shop.get(&format!("/v1/work/{}", id(&work))).await.is(200)["hand"], back["id"]);
        assert_eq!(shop.get("/v1/rates").await.is(200)["items"][0]["hand_id"], back["id"]);
        // What names the one that went by its id means the one that stayed; that one's own page says that it is void.
        let by_id = json!({"operation": "chase_wax", "minutes": 5, "at": at(1, "10:30"), "hand": ann["id"], "hands": [ann["id"]]});
        let by_id = shop.post(&format!("/v1/castings/{}/work", id(&casting)), &by_id).await.made();
        assert_eq!((&by_id["hand"], &by_id["hands"]), (&back["id"], &json!([back["id"]])));
        shop.void(&format!("/v1/hands/{}", id(&ann))).await.refused("already-void");
        // Renamed, it is still found by what else it is called.
        let path = format!("/v1/hands/{}", id(&back));
        shop.patch(&path, &json!({"name": "Annika"})).await.is(200);
        assert_eq!(shop.get("/v1/hands/Ann").await.is(200)["id"], back["id"]);
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn what_cannot_be_merged_is_refused_and_nothing_moves() {
    at_both(async |shop| {
        let one = id(&shop.post("/v1/hands", &json!({"name": "One"})).await.made());
        shop.post("/v1/hands", &json!({"name": "Two"})).await.made();
        for hand in ["One", "Two"] {
            let rate = json!({"what": "hand_hour", "hand_id": hand, "from_on": "2026-01-01", "amount_minor": 3000});
            shop.post("/v1/rates", &rate).await.made();
        }
        let before = shop.written().await;
        let path = format!("/v1/hands/{one}/merge");
        let faults = async |body: &Value| shop.post(&path, body).await.faults();
        assert_eq!(faults(&json!({"into": "One"})).await, [("/into".to_owned(), "itself".to_owned())]);
        assert_eq!(faults(&json!({"into": "Three"})).await, [("/into".to_owned(), "not-found".to_owned())]);
        let bad = [("/into".to_owned(), "required".to_owned()), ("/onto".to_owned(), "unknown-field".to_owned())];
        let mut got = faults(&json!({"onto": "Two"})).await;
        got.sort();
        assert_eq!(got, bad);
        // Each has a rate from that day on, and one hand cannot have both.
        let refused = shop.post(&path, &json!({"into": "Two"})).await;
        assert_eq!(refused.faults(), [("/from_on".to_owned(), "taken".to_owned())]);
        assert_eq!(shop.written().await, before);
    })
    .await;
}

#[tokio::test]
async fn a_crucible_says_when_it_held_another_metal_or_has_had_its_heats() {
    at_both(async |shop| {
        let pot = json!({"name": "Pot", "heats_before": 8, "life_heats": 10});
        let pot = id(&shop.post("/v1/crucibles", &pot).await.made());
        let lot = shop.lot(100.0, 90_000).await;
        let heat = async |day: u32, alloy: &str| {
            let body = json!({"at": at(day, "08:00"), "crucible": "Pot", "alloy": alloy});
            shop.heat_from(&lot, 10.0, &body).await
        };
        let close = async |day: u32, heat: &str| {
            let body = json!({"at": at(day, "10:00"), "pigged_kg": 9.9, "dross_kg": 0.1});
            shop.post(&format!("/v1/heats/{heat}/close"), &body).await.made()
        };
        let codes = async |heat: &str| -> Vec<String> {
            let heat = shop.get(&format!("/v1/heats/{heat}")).await.is(200);
            let flags = heat["practice_flags"].as_array().unwrap();
            let of = |f: &&Value| f["code"].as_str().unwrap().starts_with("crucible_");
            flags
                .iter()
                .filter(of)
                .map(|f| {
                    format!("{} {} {}", f["code"].as_str().unwrap(), f["limit"].as_str().unwrap(), f["was"].as_str().unwrap())
                })
                .collect()
        };
        let first = heat(2, "C87300").await;
        close(2, &first).await;
        let second = heat(3, "A356.0").await;
        close(3, &second).await;
        let third = heat(4, "A356.0").await;
        close(4, &third).await;
        assert_eq!(codes(&first).await, [""; 0]);
        assert_eq!(codes(&second).await, ["crucible_family last used for copper_base aluminium"]);
        assert_eq!(codes(&third).await, ["crucible_worn 10 heats heat 11"]);
        // What is said of the crucible, and of the heats before, is said of those after.
        shop.patch(&format!("/v1/crucibles/{pot}"), &json!({"family": "copper_base", "heats_before": 0})).await.is(200);
        assert_eq!(codes(&third).await, ["crucible_family kept for copper_base aluminium"]);
        shop.patch(&format!("/v1/crucibles/{pot}"), &json!({"family": null})).await.is(200);
        shop.patch(&format!("/v1/heats/{first}"), &json!({"crucible": "Another"})).await.is(200);
        assert_eq!(codes(&second).await, [""; 0]);
        shop.patch(&format!("/v1/heats/{first}"), &json!({"crucible": "Pot"})).await.is(200);
        assert_eq!(codes(&second).await, ["crucible_family last used for copper_base aluminium"]);
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn more_than_a_turn_takes_moves_on_turn_by_turn_and_what_refuses_refuses_first() {
    let shop = TestShop::open(8).await;
    let casting = id(&shop.casting().await);
    for n in 0..pourbook::book::merging::AT_ONCE + 30 {
        let work = json!({"operation": "chase_wax", "minutes": 1, "at": at(1, "09:30"), "hand": "Odo", "note": format!("{n}")});
        shop.post(&format!("/v1/castings/{casting}/work"), &work).await.made();
    }
    let rate = |hand: &str| json!({"what": "hand_hour", "hand_id": hand, "from_on": "2026-01-01", "amount_minor": 3000});
    let mine = id(&shop.post("/v1/rates", &rate("Odo")).await.made());
    shop.post("/v1/hands", &json!({"name": "Otto"})).await.made();
    shop.post("/v1/rates", &rate("Otto")).await.made();
    let before = shop.written().await;
    let refused = shop.post("/v1/hands/Odo/merge", &json!({"into": "Otto"})).await;
    assert_eq!(refused.json["refused_by"], json!({"kind": "rate", "id": mine}));
    assert_eq!(shop.written().await, before);
    shop.void(&format!("/v1/rates/{mine}")).await.is(200);
    let merged = shop.post("/v1/hands/Odo/merge", &json!({"into": "Otto"})).await.is(200);
    assert_eq!((&merged["moved"], &merged["left"]), (&json!(pourbook::book::merging::AT_ONCE + 30), &json!(0)));
    let left = "SELECT count(*) FROM link l JOIN record r ON r.seq = l.record_seq AND r.void_ms IS NULL JOIN record t ON t.seq = l.target_seq \
                WHERE t.void_ms IS NOT NULL";
    assert_eq!(shop.number(left).await, 0);
    shop.closes().await;
}

#[tokio::test]
async fn heats_of_a_crucible_move_together_with_what_each_left_for_the_next() {
    at_both(async |shop| {
        let lot = shop.lot(100.0, 90_000).await;
        for day in 2..=5 {
            let heat = shop.heat_from(&lot, 10.0, &json!({"at": at(day, "08:00"), "crucible": "Pot"})).await;
            let (heel, pigged) = if day == 5 { (0.0, 15.9) } else { (2.0, 7.9) };
            let pigged = if day == 2 || day == 5 { pigged } else { 9.9 };
            let (heel, pigged) = if day == 5 { (0.0, 11.9) } else { (heel, pigged) };
            let body = json!({"at": at(day, "10:00"), "pigged_kg": pigged, "dross_kg": 0.1, "heel_kg": heel});
            shop.post(&format!("/v1/heats/{heat}/close"), &body).await.made();
        }
        shop.post("/v1/crucibles", &json!({"name": "Pot two"})).await.made();
        let merged = shop.post("/v1/crucibles/Pot/merge", &json!({"into": "Pot two"})).await.is(200);
        assert_eq!(merged["moved"], json!(4));
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn what_else_a_thing_is_called_is_one_a_line_and_the_owners_to_say() {
    let shop = TestShop::open(1).await;
    for name in ["Smith, Sons", "Smith"] {
        shop.post("/v1/suppliers", &json!({"name": name})).await.made();
    }
    let kept = shop.post("/v1/suppliers/Smith%2C%20Sons/merge", &json!({"into": "Smith"})).await.is(200);
    assert_eq!(kept["also_called"], json!(["Smith, Sons"]));
    let path = format!("/suppliers/{}", id(&kept));
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    owner.log(&format!("/things?change={}", &path[1..]), &path, &[("notes", "pays late")]).await;
    let now = shop.get(&format!("/v1{path}")).await.is(200);
    assert_eq!((&now["also_called"], &now["notes"]), (&json!(["Smith, Sons"]), &json!("pays late")));
    let hand =
        shop.ask("PATCH", &format!("/v1{path}")).by(Some(Role::Hand)).if_match("*").merge(&json!({"also_called": ["Mine"]}));
    hand.send().await.refused("not-allowed");
    // A name that a thing had goes on meaning it.
    shop.patch(&format!("/v1{path}"), &json!({"name": "Smith and Sons"})).await.is(200);
    assert_eq!(shop.get("/v1/suppliers/smith").await.is(200)["id"], kept["id"]);
}
