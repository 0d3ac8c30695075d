//! Quotes: what is asked, what is refused, what it says without a record, what becomes of it.

use crate::browser::Browser;
use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

fn asked(more: &Value) -> Value {
    let mut body =
        json!({"mass_kg": 8, "section_mm": 6, "alloy": "C87300", "copies": 8, "metal_minor_per_kg": 1500, "seed": "5"});
    for (name, value) in more.as_object().unwrap() {
        body[name] = value.clone();
    }
    body
}

async fn rates(shop: &TestShop) {
    for (what, amount) in [("hand_hour", 3000), ("shell_coat_dm2", 40), ("wax_kg", 1000), ("fuel_kg", 250), ("pour_day", 7000)] {
        shop.post("/v1/rates", &json!({"what": what, "from_on": "2026-01-01", "amount_minor": amount})).await.made();
    }
}

#[tokio::test]
async fn without_a_record_a_handbook_answers_and_says_so() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    let quote = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    assert_eq!((&quote["calibrated"], &quote["calibrated_on"]), (&json!(false), &json!(0)));
    assert!(quote["said"].as_str().unwrap().starts_with("No job of this shop is finished on record"), "{}", quote["said"]);
    // Nine scores of a prior: they reach to 80 in 100 and not to 95 (k > n has no finite end).
    let whole = |v: &Value| v.as_i64().unwrap();
    let (p50, p80) = (whole(&quote["cost_minor"]["p50"]), whole(&quote["cost_minor"]["p80"]));
    assert!(p50 > 0 && p80 > p50 && quote["cost_minor"]["p95"].is_null(), "{}", quote["cost_minor"]);
    assert!(whole(&quote["interval80"]["low"]) < p50 && whole(&quote["interval80"]["high"]) > p50);
    assert_eq!(quote["lines_worked"][0]["looked"]["step"], "no_record");
    assert_eq!(quote["basis"]["items"], json!([]));
    // 0.6 of 6: the prior's one in ten.
    assert_eq!(quote["lines_worked"][0]["chance_of_failure"], json!(0.1));
    assert_eq!(quote["state"], "draft");
    assert_eq!(quote["number"], "26-Q001");
    assert!(quote.get("worked").is_none(), "what was worked out stands in its own members");
    // By its number as by its id.
    assert_eq!(shop.get("/v1/quotes/26-Q001").await.is(200)["id"], quote["id"]);
}

#[tokio::test]
async fn without_rates_it_says_what_is_not_in_it() {
    let shop = TestShop::open(1).await;
    let quote = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    let lacking: Vec<&str> = quote["lacking"].as_array().unwrap().iter().map(|l| l["rate"].as_str().unwrap()).collect();
    assert_eq!(lacking, ["hand_hour", "shell_coat_dm2", "wax_kg", "fuel_kg"]);
}

#[tokio::test]
async fn the_same_record_and_seed_give_the_same_answer_and_another_seed_nearly_so() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    let mut said = Vec::new();
    for seed in ["5", "5", "6"] {
        let quote = shop.post("/v1/quotes", &asked(&json!({"seed": seed}))).await.made();
        said.push((quote["cost_minor"].clone(), quote["drivers"].clone(), quote["price"].clone()));
    }
    assert_eq!(said[0], said[1]);
    assert_ne!(said[0].0, said[2].0);
    let p50 = |n: usize| said[n].0["p50"].as_f64().unwrap();
    // 10,000 draws: a median's standard error is about 1.25 spread over 100.
    assert!((p50(2) / p50(0)).ln().abs() < 0.03, "{said:?}");
}

/// By hand: set at 12,340.00, tax 19 % is 2,344.60, in all 14,684.60; half and half 7,342.30 each. Of ten
/// pieces one is 1,234.00.
#[tokio::test]
async fn a_price_set_by_hand_is_taxed_and_staged_to_the_cent() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    let body = asked(&json!({"proofs": 2, "set_price_minor": 1_234_000, "tax_percent": 19}));
    let price = shop.post("/v1/quotes", &body).await.made()["price"].clone();
    for (member, want) in [("net_minor", 1_234_000), ("tax_minor", 234_460), ("total_minor", 1_468_460), ("each_minor", 123_400)]
    {
        assert_eq!(price[member], want, "{member}");
    }
    assert_eq!(price["rule"], "set");
    assert_eq!(
        price["stages"],
        json!([{"for": "deposit", "amount_minor": 734_230}, {"for": "delivery", "amount_minor": 734_230}])
    );
    // Nothing asked for is lost money on every time.
    let gift = shop.post("/v1/quotes", &asked(&json!({"set_price_minor": 0}))).await.made();
    assert_eq!(gift["price"]["chance_of_loss"], json!(1.0));
}

/// By hand, of 8 copies of 8 kg: middling by the setting (2 to 10 kg), so 64 kg x 72.00 = 4,608.00; waxes
/// 8 x 50.00; pieces 8 x 999.99; a pour 250.00. The largest of them is asked where cost is below it.
#[tokio::test]
async fn the_largest_of_the_shops_rules_is_asked() {
    let shop = TestShop::open(1).await;
    for (what, amount) in [
        ("quote_kg_small", 1),
        ("quote_kg_medium", 7200),
        ("quote_kg_large", 1),
        ("quote_wax", 5000),
        ("quote_piece", 99_999),
        ("quote_pour", 25_000),
    ] {
        shop.post("/v1/rates", &json!({"what": what, "from_on": "2026-01-01", "amount_minor": amount})).await.made();
    }
    let quote = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    let of = |rule: &str| {
        let rules = quote["price"]["rules"].as_array().unwrap();
        rules.iter().find(|r| r["rule"] == rule).map(|r| r["amount_minor"].as_i64().unwrap())
    };
    assert_eq!(of("by_kg"), Some(460_800));
    assert_eq!(of("by_wax"), Some(40_000));
    assert_eq!(of("least_of_pieces"), Some(799_992));
    assert_eq!(of("least_of_a_pour"), Some(25_000));
    assert_eq!(of("by_hour"), None);
    // Rounded up to the next 5.00.
    assert_eq!((&quote["price"]["rule"], &quote["price_minor"]), (&json!("least_of_pieces"), &json!(800_000)));
    // Cost and markup: 30 % on what it stays below four times in five.
    let p80 = quote["cost_minor"]["p80"].as_f64().unwrap();
    assert!((of("cost_and_markup").unwrap() as f64 / (p80 * 1.3) - 1.0).abs() < 1e-4);
}

#[tokio::test]
async fn what_cannot_be_quoted_is_named_whole_and_changes_nothing() {
    let shop = TestShop::open(1).await;
    let refused = async |body: Value| shop.post("/v1/quotes", &body).await.faults();
    let pairs =
        |all: &[(&str, &str)]| -> Vec<(String, String)> { all.iter().map(|(p, c)| ((*p).to_owned(), (*c).to_owned())).collect() };
    // Pointers are those of the body as it was sent.
    assert_eq!(refused(asked(&json!({"copies": 0}))).await, pairs(&[("/copies", "out-of-range")]));
    assert_eq!(refused(asked(&json!({"mass_kg": 900_000}))).await, pairs(&[("/mass_kg", "too-large")]));
    assert_eq!(refused(asked(&json!({"mass_kg": 0}))).await, pairs(&[("/mass_kg", "zero")]));
    assert_eq!(refused(asked(&json!({"volume_cm3": 5}))).await, pairs(&[("/volume_cm3", "twice")]));
    assert_eq!(
        refused(json!({"alloy": "Unobtainium", "copies": 1})).await,
        pairs(&[("/alloy", "not-in-catalogue"), ("/mass_kg", "required"), ("/section_mm", "required")])
    );
    // Nothing of it in the book and no market price.
    assert_eq!(
        refused(json!({"alloy": "C95400", "copies": 1, "mass_kg": 2, "section_mm": 5})).await,
        pairs(&[("/metal_minor_per_kg", "required")])
    );
    let line = json!({"alloy": "C87300", "copies": 1, "mass_kg": 2, "section_mm": 5, "metal_minor_per_kg": 1500});
    assert_eq!(refused(json!({"alloy": "C87300", "lines": [line]})).await, pairs(&[("/alloy", "twice")]));
    let mut second = line.clone();
    second["section_mm"] = Value::Null;
    assert_eq!(refused(json!({"lines": [line, second]})).await, pairs(&[("/lines/1/section_mm", "required")]));
    let mut many = line.clone();
    many["copies"] = 150.into();
    assert_eq!(refused(json!({"lines": [many, many]})).await, pairs(&[("/lines", "too-many")]));
    assert_eq!(refused(json!({"lines": []})).await, pairs(&[("/lines", "length")]));
    assert_eq!(refused(asked(&json!({"copies": 9, "sections": 50}))).await, pairs(&[("/lines", "too-many")]));
    assert_eq!(refused(asked(&json!({"mass_kg": 0.000_001}))).await, pairs(&[("/mass_kg", "too-small")]));
    let tiny = json!({"alloy": "C87300", "copies": 1, "volume_cm3": 1e-300, "section_mm": 5, "metal_minor_per_kg": 1500});
    assert_eq!(refused(tiny).await, pairs(&[("/mass_kg", "too-small")]));
    // A new mould of which nobody knows what it costs; and the cost of one that is not asked for.
    assert_eq!(refused(asked(&json!({"mould": "new"}))).await, pairs(&[("/mould_minor", "required")]));
    assert_eq!(refused(asked(&json!({"mould_minor": 5}))).await, pairs(&[("/mould_minor", "not-of-this")]));
    // No rate of anything, and metal for nothing.
    shop.post("/v1/quotes", &asked(&json!({"metal_minor_per_kg": 0}))).await.refused("invalid");
    assert_eq!(refused(asked(&json!({"worked": {}}))).await, pairs(&[("/worked", "unknown-field")]));
    assert_eq!(refused(asked(&json!({"seed": "red"}))).await, pairs(&[("/seed", "out-of-range")]));
    assert_eq!(refused(asked(&json!({"valid_until": "2020-01-01"}))).await, pairs(&[("/valid_until", "out-of-range")]));
    assert_eq!(refused(asked(&json!({"pattern_id": shop.mint()}))).await, pairs(&[("/pattern_id", "unknown")]));
    assert_eq!(shop.number("SELECT count(*) FROM quote").await, 0);
}

#[tokio::test]
async fn only_the_owner_sees_quotes() {
    let shop = TestShop::open(1).await;
    let quote = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    for role in [Role::Hand, Role::Reader] {
        for path in
            ["/v1/quotes", "/v1/quotes/26-Q001", "/v1/quotes/26-Q001/letter", "/v1/reports/quotes", "/v1/reports/quote-ranges"]
        {
            shop.ask("GET", path).by(Some(role)).send().await.refused("not-allowed");
        }
        let body = json!({});
        shop.ask("POST", &format!("/v1/quotes/{}/accept", id(&quote)))
            .by(Some(role))
            .json(&body)
            .send()
            .await
            .refused("not-allowed");
    }
}

#[tokio::test]
async fn an_accepted_quote_becomes_a_job_with_its_pieces_and_stages() {
    at_both(async |shop| {
        rates(shop).await;
        let client = shop.client("Ines Varela").await;
        let pattern = shop.pattern("file").await;
        let body = json!({"client_id": client, "title": "Otter, an edition", "due_on": "2026-09-01", "tax_percent": 20, "lines": [
            {"pattern_id": pattern, "alloy": "C87300", "copies": 8, "proofs": 2, "metal_minor_per_kg": 1500},
            {"what": "Plinth", "mass_kg": 4, "section_mm": 8, "alloy": "C87300", "copies": 1, "metal_minor_per_kg": 1500, "sections": 2}]});
        let quote = shop.post("/v1/quotes", &body).await.made();
        let path = format!("/v1/quotes/{}", id(&quote));
        shop.post(&format!("{path}/send"), &json!({"whom": "by post"})).await.made();
        assert_eq!(shop.get(&path).await.is(200)["state"], "sent");
        let accepted = shop.post(&format!("{path}/accept"), &json!({})).await.made();
        let job = shop.get(&format!("/v1/commissions/{}", accepted["commission_id"].as_str().unwrap())).await.is(200);
        assert_eq!((&job["title"], &job["due_on"]), (&json!("Otter, an edition"), &json!("2026-09-01")));
        assert_eq!((&job["price_minor"], &job["stages"]), (&quote["price"]["total_minor"], &quote["price"]["stages"]));
        assert_eq!((&job["quote_id"], &job["quoted_p80_minor"]), (&quote["id"], &quote["cost_minor"]["p80"]));
        let pieces = job["pieces"].as_array().unwrap();
        let marks: Vec<&str> = pieces.iter().filter_map(|p| p["edition_mark"].as_str()).collect();
        assert_eq!(marks, ["1/8", "2/8", "3/8", "4/8", "5/8", "6/8", "7/8", "8/8", "AP 1/2", "AP 2/2"]);
        let castings: Vec<usize> = pieces.iter().map(|p| p["castings"].as_array().unwrap().len()).collect();
        assert_eq!(castings, [1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 2]);
        // The plinth has no pattern on file: one was made, of wax that fills as much as 4 kg of bronze.
        let made = shop.get(&format!("/v1/patterns/{}", pieces[10]["pattern_id"].as_str().unwrap())).await.is(200);
        assert_eq!((&made["name"], &made["section_mm"]), (&json!("Plinth"), &json!(8)));
        let now = shop.get(&path).await.is(200);
        assert_eq!((&now["state"], &now["commission"]["number"]), (&json!("accepted"), &job["number"]));
        assert_eq!((&now["real"]["finished"], &now["real"]["past_p80"]), (&json!(false), &json!(false)));
        let cost = shop.get(&format!("/v1/commissions/{}/cost", id(&job))).await.is(200);
        assert_eq!(cost["quoted"]["p80_minor"], quote["cost_minor"]["p80"]);
        assert_eq!(cost["quoted"]["past"], false);
        // Twice is not; nor may the job go from under it.
        shop.post(&format!("{path}/accept"), &json!({})).await.refused("quote-settled");
        shop.post(&format!("{path}/decline"), &json!({})).await.refused("quote-settled");
        shop.void(&format!("/v1/commissions/{}", id(&job))).await.refused("in-use");
        // What costs more than the line is flagged.
        let dear = quote["cost_minor"]["p80"].as_i64().unwrap() + 1;
        let bought = json!({"kind": "base", "amount_minor": dear, "at": at(9, "09:00")});
        shop.post(&format!("/v1/commissions/{}/costs", id(&job)), &bought).await.made();
        assert_eq!(shop.get(&path).await.is(200)["real"]["past_p80"], true);
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn versions_bear_one_number_and_only_the_last_can_be_taken() {
    let shop = TestShop::open(1).await;
    let first = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    let second = shop.post("/v1/quotes", &asked(&json!({"revises": id(&first), "copies": 4}))).await.made();
    assert_eq!((&second["number"], &second["quote_version"]), (&json!("26-Q001-2"), &json!(2)));
    let replaced = shop.get("/v1/quotes/26-Q001").await.is(200);
    assert_eq!((&replaced["state"], &replaced["versions"]), (&json!("superseded"), &json!(["26-Q001", "26-Q001-2"])));
    shop.post("/v1/quotes/26-Q001/accept", &json!({})).await.refused("quote-settled");
    // What was given stays as it was given.
    let faults = shop.patch("/v1/quotes/26-Q001-2", &json!({"title": "another"})).await.faults();
    assert_eq!(faults, [("/title".to_owned(), "fixed".to_owned())]);
    shop.patch("/v1/quotes/26-Q001-2", &json!({"notes": "they are slow to pay"})).await.is(200);
    shop.post("/v1/quotes/26-Q001-2/decline", &json!({"reason": "price"})).await.made();
    shop.post("/v1/quotes/26-Q001-2/accept", &json!({})).await.refused("quote-settled");
    shop.post("/v1/quotes/26-Q001-2/decline", &json!({"at": "2025-01-01T00:00:00Z"})).await.refused("invalid");
    let learnt = shop.get("/v1/reports/quotes").await.is(200);
    // The version that was replaced counts for nothing.
    assert_eq!(
        (&learnt["quotes"]["won"], &learnt["quotes"]["lost"], &learnt["quotes"]["open"]),
        (&json!(0), &json!(1), &json!(0))
    );
    assert_eq!(learnt["reasons"], json!([{"reason": "price", "quotes": 1}]));
    // One that lapsed.
    let day = shop.get("/v1/quotes/26-Q001").await.is(200)["at"].as_str().unwrap()[..10].to_owned();
    let third = shop.post("/v1/quotes", &asked(&json!({"valid_until": day}))).await.made();
    let clock = shop.db.clock();
    clock.set(clock.now().plus_ms(2 * 24 * 3_600_000));
    assert_eq!(shop.get(&format!("/v1/quotes/{}", id(&third))).await.is(200)["lapsed"], true);
    shop.post(&format!("/v1/quotes/{}/accept", id(&third)), &json!({})).await.refused("quote-settled");
    shop.post(&format!("/v1/quotes/{}/decline", id(&third)), &json!({})).await.made();
}

/// Of a unique pattern there is no recast: the chance that it is lost is the chance that a casting fails.
#[tokio::test]
async fn a_unique_work_is_told_its_chance_of_being_lost() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    let body = asked(&json!({"unique": true, "copies": 1, "remake_minor": 80_000}));
    let quote = shop.post("/v1/quotes", &body).await.made();
    let line = &quote["lines_worked"][0];
    assert_eq!((&line["most_attempts"], &line["chance_lost"]), (&json!(1), &json!(0.1)));
    assert_eq!(line["castings"]["mean"], json!(1.0));
    // Making it again: what its pattern was said to cost, and a copy at the price of the quote; to the next 5.00.
    let price = quote["price_minor"].as_i64().unwrap();
    assert_eq!(line["remake_price_minor"].as_i64().unwrap(), (80_000 + price + 499) / 500 * 500);
    assert!(quote["price"]["next_alone_minor"].is_null(), "of a unique work there is no next copy");
    // Cast until good, at most three times: E p^3 of Beta(0.6, 5.4) is 0.6·1.6·2.6 / (6·7·8) = 0.00743.
    let again = shop.post("/v1/quotes", &asked(&json!({"copies": 1}))).await.made();
    assert_eq!(again["lines_worked"][0]["chance_lost"], json!(0.007));
}

/// The text of a PDF, by a reader that is not its writer.
fn text_of(pdf: &[u8]) -> (usize, String) {
    let document = lopdf::Document::load_mem(pdf).unwrap();
    let pages: Vec<u32> = document.get_pages().keys().copied().collect();
    (pages.len(), document.extract_text(&pages).unwrap())
}

#[tokio::test]
async fn the_letter_says_the_price_and_none_of_the_cost() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    for (name, value) in [("shop_name", json!("Žďár & Ünal, Bronze")), ("shop_lines", json!(["Weir Lane 4, Ø 3"]))] {
        shop.post("/v1/settings", &json!({"name": name, "from_on": "2026-01-01", "value": value})).await.made();
    }
    let client = shop.client("Ines Varela").await;
    let body = asked(
        &json!({"client_id": client, "what": "Søløve, ½ life", "proofs": 2, "set_price_minor": 1_234_000, "tax_percent": 19,
        "notes": "they are slow to pay", "opening": "Dear Ines,\n\nthank you."}),
    );
    let quote = shop.post("/v1/quotes", &body).await.made();
    let reply = shop.get("/v1/quotes/26-Q001/letter").await;
    assert_eq!((reply.status, reply.header("content-type")), (200, Some("application/pdf")));
    let again = shop.get("/v1/quotes/26-Q001/letter").await;
    assert_eq!(reply.bytes, again.bytes);
    let (pages, text) = text_of(&reply.bytes);
    assert_eq!(pages, 1);
    let text = text.replace(['\n', '\u{a0}'], " ");
    for said in [
        "Žďár & Ünal, Bronze",
        "Weir Lane 4, Ø 3",
        "Quote 26-Q001",
        "Ines Varela",
        "Søløve, ½ life",
        "12340.00",
        "2344.60",
        "14684.60",
        "7342.30",
        "thank you.",
    ] {
        assert!(text.contains(said), "{said} is not in: {text}");
    }
    let money = |minor: &Value| format!("{:.2}", minor.as_f64().unwrap() / 100.0);
    let one_more = money(&quote["lines_worked"][0]["one_more_minor"]);
    for kept in [money(&quote["cost_minor"]["p50"]), money(&quote["cost_minor"]["p80"]), one_more, "slow to pay".to_owned()] {
        assert!(!text.contains(&kept), "{kept} is in: {text}");
    }
}

#[tokio::test]
async fn a_finished_job_is_what_the_next_is_compared_with() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    let (casting, ..) = shop.poured().await;
    shop.breakout(&casting, &json!({})).await;
    let castings = format!("/v1/castings/{}", id(&casting));
    shop.post(&format!("{castings}/work"), &json!({"operation": "chase", "minutes": 90, "at": at(6, "09:00")})).await.made();
    shop.post(&format!("{castings}/finish"), &json!({"at": at(6, "12:00")})).await.made();
    let quote = shop.post("/v1/quotes", &asked(&json!({"mass_kg": 400, "copies": 1}))).await.made();
    let line = &quote["lines_worked"][0];
    // One job, far lighter: it extrapolates, and says how far.
    assert_eq!(line["extrapolates"]["side"], "above");
    assert!(line["extrapolates"]["factor"].as_f64().unwrap() > 10.0, "{line}");
    assert!(quote["said"].as_str().unwrap().contains("outside the masses on record"), "{}", quote["said"]);
    assert_eq!(quote["basis"]["items"][0]["castings"], json!([casting["tag"]]));
    // An alloy that was never cast, of another family.
    let other = shop.post("/v1/quotes", &asked(&json!({"alloy": "356.0", "mass_kg": 3}))).await.made();
    assert_eq!(other["lines_worked"][0]["looked"]["step"], "every_family");
    // A quote of a job is quoted again from what was on record before: from nothing, here.
    let ranges = shop.get("/v1/reports/quote-ranges").await.is(200);
    assert_eq!((&ranges["state"], &ranges["jobs"]), (&json!("done"), &json!(1)));
    assert_eq!((&ranges["by_kind"][0]["kind"], &ranges["by_kind"][0]["jobs"]), (&json!("one copy, C87300"), &json!(1)));
    let drawn = shop.ask("GET", "/v1/reports/quote-ranges").header("accept", "image/svg+xml").send().await;
    assert_eq!((drawn.status, drawn.header("content-type")), (200, Some("image/svg+xml")));
    assert!(String::from_utf8(drawn.bytes).unwrap().contains("of the middle"));
    let job = &ranges["items"][0];
    let cost = shop.get(&format!("/v1/commissions/{}/cost", job["job"].as_str().unwrap())).await.is(200);
    assert_eq!(job["cost_minor"], cost["total_minor"]);
    assert_eq!(job["calibrated_on"], 0);
}

#[tokio::test]
async fn on_the_pages_a_job_is_quoted_taken_and_shown() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    let mut browser = Browser::signed_in(&shop, "Maren", Role::Owner).await;
    let page = browser.get("/quotes").await.is(200);
    assert!(page.contains("Quote a job"), "{page}");
    let quote = shop.post("/v1/quotes", &asked(&json!({"what": "Otter"}))).await.made();
    shop.post("/v1/quotes", &asked(&json!({"what": "Otter", "revises": id(&quote), "copies": 4}))).await.made();
    let page = browser.get("/quotes/26-Q001-2").await.is(200);
    for said in ["What it will cost", "What moves the price", "Accepted: make it a job", "Chance of losing money", "side by side"]
    {
        assert!(page.contains(said), "{said}: {page}");
    }
    let side = browser.get("/quotes/side?of=26-Q001,26-Q001-2").await.is(200);
    assert!(side.contains("26-Q001-2") && side.contains("Chance that a casting fails"), "{side}");
    let letter = browser.get("/quotes/26-Q001-2/letter").await.is(200);
    assert!(letter.contains("In all") && !letter.contains("Chance"), "{letter}");
}

/// What each part adds and what is known add up to the simulated mean.
#[tokio::test]
async fn what_moves_the_price_adds_up_to_it() {
    let shop = TestShop::open(1).await;
    rates(&shop).await;
    shop.post(
        "/v1/settings",
        &json!({"name": "overhead_rule", "from_on": "2026-01-01", "value": {"rule": "percent_of_work", "percent": 45}}),
    )
    .await
    .made();
    let body =
        asked(&json!({"mould": "new", "mould_minor": 40_000, "base_minor": 900, "chase_minutes": 60, "freight_minor": 7000}));
    let quote = shop.post("/v1/quotes", &body).await.made();
    let adds =
        |name: &str| quote["drivers"].as_array().unwrap().iter().find(|d| d["name"] == name).unwrap()["adds_minor"].clone();
    // 400.00 the mould, 70.00 freight, eight times 9.00 and an hour at 30.00 with 45 % on it.
    assert_eq!(adds("known"), 40_000 + 7_000 + 8 * (900 + 4_350));
    let sum: i64 = quote["drivers"].as_array().unwrap().iter().map(|d| d["adds_minor"].as_i64().unwrap()).sum();
    // Each is rounded to the minor unit.
    let mean = quote["mean_minor"].as_f64().unwrap();
    assert!((sum as f64 - mean).abs() < 20.0, "{sum} {mean}");
    // What is paid once stands in it whole, with the markup.
    let dear = quote["price_minor"].as_f64().unwrap() / quote["cost_minor"]["p50"].as_f64().unwrap();
    assert!((quote["price"]["once_minor"].as_f64().unwrap() / (47_000.0 * dear) - 1.0).abs() < 1e-4);
}

#[tokio::test]
async fn an_acceptance_taken_back_leaves_no_second_job() {
    let shop = TestShop::open(1).await;
    let quote = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    let path = format!("/v1/quotes/{}", id(&quote));
    let accepted = shop.post(&format!("{path}/accept"), &json!({})).await.made();
    shop.void(&format!("/v1/quote-steps/{}", id(&accepted))).await.is(200);
    // The job stands, so the quote is taken still; nor is there a version of it.
    assert_eq!(shop.get(&path).await.is(200)["state"], "accepted");
    shop.post(&format!("{path}/accept"), &json!({})).await.refused("quote-settled");
    shop.post("/v1/quotes", &asked(&json!({"revises": id(&quote)}))).await.refused("invalid");
    // With the job void the quote stands open again.
    let job = accepted["commission_id"].as_str().unwrap();
    shop.post(&format!("/v1/commissions/{job}/void"), &json!({"reason": "mistaken", "cascade": true})).await.is(200);
    assert_eq!(shop.get(&path).await.is(200)["state"], "draft");
    shop.post(&format!("{path}/accept"), &json!({})).await.made();
    shop.closes().await;
}

/// Of two versions at once one is taken, whichever comes first.
#[tokio::test]
async fn of_many_acceptances_at_once_one_is_taken() {
    let shop = TestShop::open(8).await;
    let quote = shop.post("/v1/quotes", &asked(&json!({}))).await.made();
    shop.crowded();
    let path = format!("/v1/quotes/{}/accept", id(&quote));
    let (body, other) = (json!({}), json!({"whom": "another"}));
    let (a, b) = tokio::join!(shop.post(&path, &body), shop.post(&path, &other));
    let mut statuses = [a.status, b.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [201, 409]);
    assert_eq!(shop.number("SELECT count(*) FROM commission").await, 1);
}
