//! Trials: the coin after the pair, what is refused, what is counted, and what it says.

use crate::browser::{Browser, Sent};
use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::{Instant, Role};
use pourbook::science::statistics::trial::{Arm, arm_of_first};
use serde_json::{Value, json};

/// Shells of one recipe, each around one casting of its own; not dipped yet.
async fn shells(shop: &TestShop, recipe: &str, count: usize) -> Vec<Value> {
    let mut out = Vec::new();
    for _ in 0..count {
        let casting = shop.casting().await;
        let body = json!({"recipe_id": recipe, "casting_ids": [id(&casting)], "gating_kg": 0.5, "at": at(1, "10:00")});
        out.push(shop.post("/v1/shells", &body).await.made());
    }
    out
}

/// All of them through the kiln.
async fn fire(shop: &TestShop, shells: &[Value], result: &str) {
    let list: Vec<Value> = shells.iter().map(|s| json!({"shell_id": id(s), "result": result})).collect();
    let body = json!({"kiln": "Big kiln", "at": at(3, "12:00"), "peak_c": 870, "shells": list});
    shop.post("/v1/burnouts", &body).await.made();
}

async fn start(shop: &TestShop, more: &Value) -> String {
    let mut body =
        json!({"name": "Sand", "factor": "support", "a": "buried", "b": "open_rack", "outcome": "leak", "worth_knowing": 0.1});
    for (name, value) in more.as_object().unwrap() {
        body[name] = value.clone();
    }
    format!("/v1/trials/{}", id(&shop.post("/v1/trials", &body).await.made()))
}

async fn pair(shop: &TestShop, trial: &str, one: &Value, other: &Value) -> Value {
    shop.post(&format!("{trial}/pairs"), &json!({"shell_ids": [id(one), id(other)]})).await.made()
}

/// The same, the coin tossed at a time of March.
async fn toss(shop: &TestShop, when: &str, trial: &str, one: &Value, other: &Value) -> Value {
    let clock = shop.db.clock();
    let now = clock.now();
    clock.set(Instant::parse(when).unwrap());
    let made = pair(shop, trial, one, other).await;
    clock.set(now);
    made
}

/// The id of the shell that a pair gave an arm.
fn of(pair: &Value, arm: &str) -> String {
    let all = pair["assignments"].as_array().unwrap();
    all.iter().find(|a| a["arm"] == arm).unwrap()["shell_id"].as_str().unwrap().to_owned()
}

async fn pour(shop: &TestShop, heat: &str, shell: &str, support: &str, leaks: bool) {
    let leak = json!([{"where": "gate", "response": "plugged", "lost_kg": 0.1}]);
    let mut body = json!({"shell_id": shell, "at": at(4, "09:10"), "support": support, "filled": "full", "poured_kg": 2});
    if leaks {
        body["leaks"] = leak;
    }
    shop.post(&format!("/v1/heats/{heat}/pours"), &body).await.made();
}

fn close(got: &Value, want: f64) {
    let got = got.as_f64().unwrap();
    assert!((got - want).abs() < 1e-9, "{got} {want}");
}

#[tokio::test]
async fn fourteen_and_two_are_told_apart_and_stay_so() {
    let shop = TestShop::open(1).await;
    let recipe = shop.recipe().await;
    let all = shells(&shop, &recipe, 36).await;
    fire(&shop, &all, "sound").await;
    let trial = start(&shop, &json!({"max_pairs": 40})).await;
    let lot = shop.lot(200.0, 90_000).await;
    let heat = shop.heat_from(&lot, 120.0, &json!({})).await;
    let mut pairs = Vec::new();
    for (n, two) in all.chunks(2).enumerate() {
        // Of the last two the coin is tossed weeks after the pour that is logged afterwards.
        let when = if n < 16 { at(3, "14:00") } else { at(30, "14:00") };
        pairs.push(toss(&shop, &when, &trial, &two[0], &two[1]).await);
    }
    let begun = shop.get(&trial).await.is(200);
    assert_eq!((begun["waiting"].as_u64(), begun["verdict"].as_str()), (Some(18), Some("cannot_tell_yet")), "{begun:#}");
    assert!(begun["difference"].is_null() && begun["e"] == 1.0, "{begun:#}");
    // Two against B, then fourteen against A: the last but one makes E 19.5, the last 32.1.
    for (n, pair) in pairs.iter().take(16).enumerate() {
        // Of the first pair A was poured standing by itself: it counts as buried all the same.
        pour(&shop, &heat, &of(pair, "a"), if n == 0 { "standing" } else { "buried" }, n > 1).await;
        pour(&shop, &heat, &of(pair, "b"), "open_rack", n < 2).await;
        if n == 14 {
            let card = shop.get(&trial).await.is(200);
            // 2^15 ∕ (16 × 105).
            close(&card["e"], 32768.0 / 1680.0);
            assert_eq!((card["verdict"].as_str(), card["worse"].as_str()), (Some("leaning"), Some("a")));
        }
    }
    let card = shop.get(&trial).await.is(200);
    close(&card["e"], 65536.0 / 2040.0);
    let told = |card: &Value| json!([card["verdict"], card["worse"], card["stopped_after"]]);
    assert_eq!(told(&card), json!(["told_apart", "a", 16]), "{card:#}");
    assert_eq!(json!([card["a_only"], card["b_only"], card["same"], card["waiting"]]), json!([14, 2, 0, 2]));
    assert!(card["difference"]["low"].as_f64().unwrap() > 0.0, "{card:#}");
    close(&card["difference"]["value"], 0.75);
    assert!(card["said"].as_str().unwrap().starts_with("Of 16 complete pairs only buried leaked in 14, only open rack in 2"));
    let otherwise = card["deviations"].as_array().unwrap();
    assert_eq!(otherwise.len(), 1, "{card:#}");
    assert_eq!(json!([otherwise[0]["assigned"], otherwise[0]["done"], otherwise[0]["pair"]]), json!(["buried", "standing", 1]));
    assert_eq!(card["as_treated"]["a"]["shells"], 15);
    assert_eq!((&card["as_treated"]["neither"]["shells"], &card["as_treated"]["neither"]["failed"]), (&json!(1), &json!(0)));
    assert_eq!((&card["as_treated"]["b"]["shells"], &card["as_treated"]["b"]["failed"]), (&json!(16), &json!(2)));
    // What was under way comes in, and takes nothing back.
    for pair in &pairs[16..] {
        pour(&shop, &heat, &of(pair, "a"), "buried", false).await;
        pour(&shop, &heat, &of(pair, "b"), "open_rack", true).await;
    }
    let card = shop.get(&trial).await.is(200);
    assert_eq!(told(&card), json!(["told_apart", "a", 16]));
    assert!(card["e"].as_f64().unwrap() < 20.0 && card["b_only"] == 4, "{card:#}");
    assert_eq!(card["course"].as_array().unwrap().len(), 19);
    let early = |d: &&Value| d["what"] == "before_the_coin";
    assert_eq!(card["deviations"].as_array().unwrap().iter().filter(early).count(), 4, "{card:#}");
    shop.closes().await;
}

#[tokio::test]
async fn the_coin_can_be_tossed_again_from_the_seed() {
    at_both(async |shop| {
        let recipe = shop.recipe().await;
        let other = shop.recipe().await;
        let all = shells(shop, &recipe, 6).await;
        let tried = json!({"factor": "recipe", "a": recipe, "b": other, "name": "Two recipes"});
        let trial = start(shop, &tried).await;
        let seed: u64 = shop.get(&trial).await.is(200)["seed"].as_str().unwrap().parse().unwrap();
        for (n, two) in (1..).zip(all.chunks(2)) {
            let made = pair(shop, &trial, &two[0], &two[1]).await;
            assert_eq!((&made["n"], made["seed"].as_str()), (&json!(n), Some(seed.to_string().as_str())));
            let first = if arm_of_first(seed, n) == Arm::A { "a" } else { "b" };
            assert_eq!(of(&made, first), id(&two[0]), "pair {n}");
            assert_eq!(made["assignments"][0]["shell_id"], id(&two[0]).as_str());
            // It stands on the shell's story, and on the route card of what is in it.
            let tag = made["assignments"][0]["tag"].as_str().unwrap();
            let listed = shop.get(&format!("/v1/trial-pairs?shell_ids={tag}")).await.is(200);
            assert_eq!(listed["items"][0]["assignments"], made["assignments"]);
            let casting = two[0]["casting_ids"][0].as_str().unwrap();
            let card = shop.get(&format!("/v1/castings/{casting}")).await.is(200);
            assert!(
                card["route"].as_array().unwrap().iter().any(|l| l["kind"] == "trial_pair" && l["record"]["n"] == n),
                "{card:#}"
            );
        }
        // Nobody chooses the seed.
        let mut chosen = tried.clone();
        (chosen["outcome"], chosen["worth_knowing"], chosen["seed"]) = (json!("leak"), json!(0.1), json!("7"));
        assert_eq!(shop.post("/v1/trials", &chosen).await.faults(), [("/seed".to_owned(), "unknown-field".to_owned())]);
    })
    .await;
}

#[track_caller]
fn faults(found: Vec<(String, String)>, wanted: &[(&str, &str)]) {
    let wanted: Vec<_> = wanted.iter().map(|(p, c)| ((*p).to_owned(), (*c).to_owned())).collect();
    assert_eq!(found, wanted);
}

#[tokio::test]
async fn what_cannot_be_paired_is_refused_with_its_reason() {
    at_both(async |shop| {
        let recipe = shop.recipe().await;
        let all = shells(shop, &recipe, 12).await;
        let other = shop.recipe().await;
        let recipes = start(shop, &json!({"factor": "recipe", "a": recipe, "b": other, "name": "Two recipes"})).await;
        let ask = async |trial: &str, one: &Value, other: &Value| {
            shop.post(&format!("{trial}/pairs"), &json!({"shell_ids": [id(one), id(other)]})).await
        };
        faults(ask(&recipes, &all[0], &all[0]).await.faults(), &[("/shell_ids/1", "twice")]);
        let alone = shop.post(&format!("{recipes}/pairs"), &json!({"shell_ids": [id(&all[0])]})).await;
        faults(alone.faults(), &[("/shell_ids", "length")]);
        let three = json!({"shell_ids": [id(&all[0]), id(&all[1]), id(&all[2])]});
        faults(shop.post(&format!("{recipes}/pairs"), &three).await.faults(), &[("/shell_ids", "length")]);
        // A coat is on one.
        shop.coats(&all[1]).await;
        faults(ask(&recipes, &all[0], &all[1]).await.faults(), &[("/shell_ids/1", "coated")]);
        // Not fired, fired, lost, poured.
        let sand = start(shop, &json!({})).await;
        faults(ask(&sand, &all[2], &all[3]).await.faults(), &[("/shell_ids/0", "not-fired"), ("/shell_ids/1", "not-fired")]);
        fire(shop, &all[4..8], "sound").await;
        fire(shop, &all[8..9], "lost").await;
        faults(ask(&sand, &all[4], &all[8]).await.faults(), &[("/shell_ids/1", "lost")]);
        let heat = shop.heat(18.0).await;
        pour(shop, &heat, &id(&all[5]), "buried", false).await;
        faults(ask(&sand, &all[5], &all[4]).await.faults(), &[("/shell_ids/0", "poured")]);
        faults(ask(&recipes, &all[5], &all[0]).await.faults(), &[("/shell_ids/0", "poured")]);
        // In a pair already, of this trial and of another that runs; free again once that ended.
        pair(shop, &sand, &all[4], &all[6]).await;
        faults(ask(&sand, &all[4], &all[7]).await.faults(), &[("/shell_ids/0", "has-a-coin")]);
        let again = start(shop, &json!({"name": "Sand again", "max_pairs": 1})).await;
        let refused = ask(&again, &all[7], &all[6]).await.refused("invalid");
        assert_eq!(refused["errors"][0]["code"], "in-a-trial");
        assert!(refused["errors"][0]["message"].as_str().unwrap().contains("trial Sand,"), "{refused:#}");
        shop.post(&format!("{sand}/end"), &json!({"reason": "the pit is full of water"})).await.made();
        faults(ask(&sand, &all[7], &all[6]).await.faults(), &[("/trial_id", "ended")]);
        faults(shop.post(&format!("{sand}/end"), &json!({"reason": "again"})).await.faults(), &[("/trial_id", "ended")]);
        pair(shop, &again, &all[7], &all[6]).await;
        fire(shop, &all[9..11], "sound").await;
        faults(ask(&again, &all[9], &all[10]).await.faults(), &[("/trial_id", "full")]);
    })
    .await;
}

#[tokio::test]
async fn shells_of_two_strata_are_no_pair() {
    at_both(async |shop| {
        let (recipe, other) = (shop.recipe().await, shop.recipe().await);
        let job = shop.commission(None).await;
        let mut made = Vec::new();
        for (alloy, section) in [("C87300", 5), ("C90300", 5), ("C87300", 14), ("C87300", 5)] {
            let pattern =
                json!({"name": format!("Form {}", shop.next()), "material": "wax_casting", "mass_kg": 1, "section_mm": section});
            let pattern = id(&shop.post("/v1/patterns", &pattern).await.made());
            let piece = shop.piece(&job, &json!({"pattern_id": pattern, "alloy": alloy, "at": at(1, "08:00")})).await;
            let body =
                json!({"recipe_id": recipe, "casting_ids": [piece["castings"][0]["id"]], "gating_kg": 0.5, "at": at(1, "10:00")});
            made.push(shop.post("/v1/shells", &body).await.made());
        }
        let tried = json!({"factor": "recipe", "a": recipe, "b": other});
        let trial = start(shop, &tried).await;
        let ask = async |trial: &str, n: usize| {
            shop.post(&format!("{trial}/pairs"), &json!({"shell_ids": [id(&made[0]), id(&made[n])]})).await
        };
        let said = |problem: Value| problem["errors"][0]["message"].as_str().unwrap().to_owned();
        let alloy = said(ask(&trial, 1).await.refused("invalid"));
        assert!(alloy.contains("differ in alloy") && alloy.contains("C87300") && alloy.contains("C90300"), "{alloy}");
        let band = said(ask(&trial, 2).await.refused("invalid"));
        assert!(band.contains("differ in band of sections"), "{band}");
        faults(ask(&trial, 1).await.faults(), &[("/shell_ids/1", "other-stratum")]);
        // Only those that are alike are proposed.
        let ready = shop.get(&format!("{trial}/ready")).await.is(200);
        let sizes: Vec<usize> =
            ready["strata"].as_array().unwrap().iter().map(|s| s["shells"].as_array().unwrap().len()).collect();
        assert_eq!(sizes.iter().sum::<usize>(), 4, "{ready:#}");
        assert!(sizes.contains(&2), "{ready:#}");
        // A trial that pairs by pattern takes fewer, one that pairs by alloy alone takes more.
        let patterns = start(shop, &json!({"factor": "recipe", "a": recipe, "b": other, "strata": ["pattern"]})).await;
        faults(ask(&patterns, 3).await.faults(), &[("/shell_ids/1", "other-stratum")]);
        let alloys = start(shop, &json!({"factor": "recipe", "a": recipe, "b": other, "strata": ["alloy"]})).await;
        ask(&alloys, 2).await.made();
    })
    .await;
}

#[tokio::test]
async fn a_trial_that_compares_nothing_is_refused() {
    at_both(async |shop| {
        let recipe = shop.recipe().await;
        let named = shop.get(&format!("/v1/recipes/{recipe}")).await.is(200)["name"].clone();
        let good = json!({"name": "T", "factor": "recipe", "a": recipe, "b": shop.recipe().await, "outcome": "leak", "worth_knowing": 0.1});
        for (change, wrong) in [
            (json!({"b": named}), ("/b", "same")),
            (json!({"a": "No such shell"}), ("/a", "not-found")),
            (json!({"a": shop.mint()}), ("/a", "not-found")),
            (json!({"factor": "recipe_version"}), ("/a", "not-found")),
            (json!({"factor": "support", "a": "buried", "b": "hung"}), ("/b", "not-in-list")),
            (json!({"factor": "practice", "a": "Slow", "b": "slow"}), ("/b", "same")),
            (json!({"factor": "weather"}), ("/factor", "not-in-list")),
            (json!({"outcome": "colour"}), ("/outcome", "not-in-list")),
            (json!({"worth_knowing": 0}), ("/worth_knowing", "out-of-range")),
            (json!({"worth_knowing": 0.009}), ("/worth_knowing", "out-of-range")),
            (json!({"worth_knowing": 0.51}), ("/worth_knowing", "out-of-range")),
            (json!({"worth_knowing": "0.1"}), ("/worth_knowing", "wrong-type")),
            (json!({"max_pairs": 0}), ("/max_pairs", "out-of-range")),
            (json!({"strata": ["recipe"]}), ("/strata", "is-tried")),
            (json!({"strata": ["moon"]}), ("/strata/0", "not-in-list")),
        ] {
            let mut body = good.clone();
            for (name, value) in change.as_object().unwrap() {
                body[name] = value.clone();
            }
            let mut found = shop.post("/v1/trials", &body).await.faults();
            found.truncate(1);
            faults(found, &[wrong]);
        }
        let made = shop.post("/v1/trials", &good).await.made();
        assert_eq!((&made["a_is"], &made["strata"]), (&named, &json!(["alloy", "section_band"])));
        // Two recipes of one name: which is meant must be said.
        let coats = json!([{"kind": "prime", "slurry": "p", "dry_hours": 3}]);
        for _ in 0..2 {
            shop.post("/v1/recipes", &json!({"name": "Twin", "coats": coats})).await.made();
        }
        let mut body = good.clone();
        body["a"] = "Twin".into();
        faults(shop.post("/v1/trials", &body).await.faults(), &[("/a", "several")]);
    })
    .await;
}

#[tokio::test]
async fn what_was_assigned_counts_whatever_was_done_and_a_loss_is_a_failure() {
    at_both(async |shop| {
        let (recipe, other) = (shop.recipe().await, shop.recipe().await);
        let all = shells(shop, &recipe, 4).await;
        let trial = start(shop, &json!({"factor": "recipe", "a": recipe, "b": other})).await;
        let one = toss(shop, &at(1, "10:30"), &trial, &all[0], &all[1]).await;
        // All shells bear A: those that the coin gave B are to be set.
        let card = shop.get(&trial).await.is(200);
        let to_set = card["to_set"].as_array().unwrap();
        assert_eq!(to_set.len(), 1, "{card:#}");
        assert_eq!((&to_set[0]["shell_id"], &to_set[0]["recipe_id"]), (&json!(of(&one, "b")), &json!(other)));
        assert_eq!(card["deviations"], json!([]));
        let etag = to_set[0]["etag"].as_str().unwrap();
        let path = format!("/v1/shells/{}", of(&one, "b"));
        shop.ask("PATCH", &path).if_match(etag).merge(&json!({"recipe_id": other})).send().await.is(200);
        assert_eq!(shop.get(&trial).await.is(200)["to_set"], json!([]));
        // Of the second pair B's is built by A's recipe all the same.
        let two = toss(shop, &at(1, "10:30"), &trial, &all[2], &all[3]).await;
        for shell in &all {
            shop.coats(shell).await;
        }
        let card = shop.get(&trial).await.is(200);
        let otherwise = card["deviations"].as_array().unwrap();
        assert_eq!(otherwise.len(), 1, "{card:#}");
        assert_eq!((&otherwise[0]["shell_id"], &otherwise[0]["what"]), (&json!(of(&two, "b")), &json!("done_otherwise")));
        // A's of the first pair is lost in the kiln, and counts as failed once B's held.
        let (a, b) = (json!({"id": of(&one, "a")}), json!({"id": of(&one, "b")}));
        fire(shop, std::slice::from_ref(&a), "lost").await;
        fire(shop, &[b.clone(), json!({"id": of(&two, "a")}), json!({"id": of(&two, "b")})], "sound").await;
        let card = shop.get(&trial).await.is(200);
        assert_eq!(json!([card["lost"], card["waiting"], card["a_only"]]), json!([1, 2, 0]), "{card:#}");
        let heat = shop.heat(18.0).await;
        pour(shop, &heat, &of(&one, "b"), "buried", false).await;
        pour(shop, &heat, &of(&two, "a"), "buried", false).await;
        pour(shop, &heat, &of(&two, "b"), "buried", true).await;
        let card = shop.get(&trial).await.is(200);
        assert_eq!(json!([card["a_only"], card["b_only"], card["same"]]), json!([1, 1, 0]), "{card:#}");
        // By what was done, that leak is A's.
        assert_eq!(json!([card["as_treated"]["a"]["shells"], card["as_treated"]["a"]["failed"]]), json!([3, 2]), "{card:#}");
        assert_eq!(json!([card["as_treated"]["b"]["shells"], card["as_treated"]["b"]["failed"]]), json!([1, 0]), "{card:#}");
    })
    .await;
}

#[tokio::test]
async fn a_shell_lost_before_its_pour_tells_nothing_of_the_pour() {
    let shop = TestShop::open(1).await;
    let recipe = shop.recipe().await;
    let all = shells(&shop, &recipe, 2).await;
    fire(&shop, &all, "sound").await;
    let trial = start(&shop, &json!({})).await;
    pair(&shop, &trial, &all[0], &all[1]).await;
    let casting = all[0]["casting_ids"][0].as_str().unwrap();
    let scrap = json!({"at": at(4, "07:00"), "cause": {"category": "shell", "text": "dropped"}});
    shop.post(&format!("/v1/castings/{casting}/scrap"), &scrap).await.made();
    let card = shop.get(&trial).await.is(200);
    assert_eq!(json!([card["fell_out"], card["waiting"], card["same"]]), json!([1, 0, 0]), "{card:#}");
    shop.closes().await;
}

#[tokio::test]
async fn a_defect_is_known_once_the_shell_is_opened() {
    let shop = TestShop::open(1).await;
    let recipe = shop.recipe().await;
    let all = shells(&shop, &recipe, 2).await;
    fire(&shop, &all, "sound").await;
    let trial = start(&shop, &json!({"outcome": "defect"})).await;
    let made = pair(&shop, &trial, &all[0], &all[1]).await;
    let heat = shop.heat(18.0).await;
    for shell in &all {
        pour(&shop, &heat, &id(shell), "buried", true).await;
    }
    assert_eq!(shop.get(&trial).await.is(200)["waiting"], 1);
    for shell in &all {
        let casting = json!({"id": shell["casting_ids"][0]});
        let found = if of(&made, "a") == id(shell) { json!([{"code": "A111"}]) } else { json!([]) };
        shop.breakout(&casting, &json!({"findings": found})).await;
    }
    let card = shop.get(&trial).await.is(200);
    assert_eq!(json!([card["a_only"], card["b_only"], card["waiting"]]), json!([1, 0, 0]), "{card:#}");
    shop.closes().await;
}

#[tokio::test]
async fn a_void_pair_stays_listed_and_its_shells_get_no_second_coin() {
    at_both(async |shop| {
        let recipe = shop.recipe().await;
        let all = shells(shop, &recipe, 4).await;
        fire(shop, &all, "sound").await;
        let trial = start(shop, &json!({})).await;
        let one = pair(shop, &trial, &all[0], &all[1]).await;
        let body = json!({"reason": "the wrong shell was carried out"});
        shop.post(&format!("/v1/trial-pairs/{}/void", id(&one)), &body).await.is(200);
        let card = shop.get(&trial).await.is(200);
        assert_eq!(card["pairs"][0]["void"]["reason"], "the wrong shell was carried out", "{card:#}");
        assert_eq!(json!([card["void_pairs"], card["waiting"]]), json!([1, 0]));
        let again = json!({"shell_ids": [id(&all[0]), id(&all[2])]});
        faults(shop.post(&format!("{trial}/pairs"), &again).await.faults(), &[("/shell_ids/0", "has-a-coin")]);
        // The next pair has the next number, so that no coin is tossed twice.
        let two = pair(shop, &trial, &all[2], &all[3]).await;
        assert_eq!(two["n"], 2);
        // One that was complete is shown as it would count.
        let heat = shop.heat(18.0).await;
        pour(shop, &heat, &of(&two, "a"), "buried", true).await;
        pour(shop, &heat, &of(&two, "b"), "open_rack", false).await;
        assert_eq!(shop.get(&trial).await.is(200)["a_only"], 1);
        shop.void(&format!("/v1/trial-pairs/{}", id(&two))).await.is(200);
        let card = shop.get(&trial).await.is(200);
        assert_eq!(
            json!([card["a_only"], card["with_void_pairs"]["a_only"], card["with_void_pairs"]["void_and_known"]]),
            json!([0, 1, 1])
        );
        // What pairs were assigned under stays, void or not; a name is a name.
        let patch = shop.patch(&trial, &json!({"worth_knowing": 0.3, "max_pairs": 9, "b": "standing"})).await;
        faults(patch.faults(), &[("/b", "fixed"), ("/max_pairs", "fixed"), ("/worth_knowing", "fixed")]);
        assert_eq!(shop.patch(&trial, &json!({"name": "Sand, this spring"})).await.is(200)["name"], "Sand, this spring");
    })
    .await;
}

#[tokio::test]
async fn a_hand_adds_pairs_and_the_owner_starts_and_ends() {
    at_both(async |shop| {
        let recipe = shop.recipe().await;
        let all = shells(shop, &recipe, 2).await;
        fire(shop, &all, "sound").await;
        let trial = start(shop, &json!({})).await;
        let by = async |role: Role, path: &str, body: &Value| shop.ask("POST", path).by(Some(role)).json(body).send().await;
        let new = json!({"name": "T", "factor": "practice", "a": "x", "b": "y", "outcome": "leak", "worth_knowing": 0.1});
        let two = json!({"shell_ids": [id(&all[0]), id(&all[1])]});
        for role in [Role::Hand, Role::Reader] {
            by(role, "/v1/trials", &new).await.refused("not-allowed");
            by(role, &format!("{trial}/end"), &json!({"reason": "enough"})).await.refused("not-allowed");
        }
        by(Role::Reader, &format!("{trial}/pairs"), &two).await.refused("not-allowed");
        by(Role::Hand, &format!("{trial}/pairs"), &two).await.made();
    })
    .await;
}

#[tokio::test]
async fn how_long_it_takes_is_said_before_it_starts() {
    let shop = TestShop::open(1).await;
    let plan = shop.get("/v1/reports/trial-plan?outcome=leak&rate_a=0.15&rate_b=0.05&worth_knowing=0.1").await.is(200);
    // Exact; 4,000 simulated trials give 135 and 232.
    assert_eq!(plan["pairs_to_stop"], json!({"p50": 133, "p80": 230}), "{plan:#}");
    // Nothing was poured: there is no pace, and no number of years.
    assert_eq!((&plan["years"], &plan["pace"]["shells"]), (&json!({"p50": null, "p80": null}), &json!(0)));
    for _ in 0..3 {
        shop.poured().await;
    }
    let plan = shop.get("/v1/reports/trial-plan?outcome=leak&rate_a=0.15&rate_b=0.05").await.is(200);
    assert_eq!(json!([plan["pace"]["shells"], plan["pace"]["pairs_a_year"]]), json!([3, 1]));
    assert_eq!(plan["years"], json!({"p50": 133.0, "p80": 230.0}));
    // Two that never differ are never told apart.
    let same = shop.get("/v1/reports/trial-plan?outcome=short&rate_a=0.1&rate_b=0.1").await.is(200);
    assert_eq!(same["pairs_to_stop"], json!({"p50": null, "p80": null}));
    for wrong in ["rate_a=2", "rate_a=NaN", "worth_knowing=0", "strata=moon", "rate_b=-0.1"] {
        shop.get(&format!("/v1/reports/trial-plan?outcome=leak&{wrong}")).await.refused("malformed");
    }
    shop.get("/v1/reports/trial-plan?outcome=luck").await.refused("malformed");
}

#[tokio::test]
async fn the_coin_is_tossed_on_the_page() {
    let shop = TestShop::open(1).await;
    let (recipe, other) = (shop.recipe().await, shop.recipe().await);
    let all = shells(&shop, &recipe, 2).await;
    let trial = start(&shop, &json!({"factor": "recipe", "a": recipe, "b": other, "name": "Two recipes"})).await;
    let page = trial.trim_start_matches("/v1").to_owned();
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = owner.get("/trials").await.is(200);
    assert!(html.contains("Two recipes") && html.contains("Start it") && html.contains("pairs of like ones"), "{html}");
    let html = owner.get(&page).await.is(200);
    let mut sent = Sent::all(&html).into_iter().find(|s| s.action.ends_with("/pairs")).unwrap_or_else(|| panic!("{html}"));
    for shell in &all {
        sent.fields.push(("shell_ids".to_owned(), shell["tag"].as_str().unwrap().to_owned()));
    }
    let shown = owner.tap(&sent).await;
    let to = shown.to().to_owned();
    assert!(to.contains("?pair="), "{to}");
    let html = owner.get(&to).await.is(200);
    assert!(
        html.contains("class=\"large\"") && html.contains("<strong>A</strong>") && html.contains("<strong>B</strong>"),
        "{html}"
    );
    let set = Sent::all(&html).into_iter().find(|s| s.action.starts_with("/log/shells/")).unwrap_or_else(|| panic!("{html}"));
    assert_eq!(owner.tap(&set).await.status, 303);
    let card = shop.get(&trial).await.is(200);
    assert_eq!(card["to_set"], json!([]));
    let tag = card["assignments"][0]["tag"].as_str().unwrap();
    let html = owner.get(&format!("/shells/{tag}")).await.is(200);
    assert!(html.contains("Trial Two recipes: "), "{html}");
    let casting = shop.get(&format!("/v1/castings/{}", all[0]["casting_ids"][0].as_str().unwrap())).await.is(200);
    let html = owner.get(&format!("/castings/{}", casting["tag"].as_str().unwrap())).await.is(200);
    assert!(html.contains("<strong>Trial Two recipes: "), "{html}");
    let mut reader = Browser::signed_in(&shop, "Rudd", Role::Reader).await;
    let html = reader.get(&page).await.is(200);
    assert!(html.contains("Two recipes") && !html.contains("/log/"), "{html}");
}
