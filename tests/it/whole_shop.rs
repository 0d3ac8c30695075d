//! What comes before and after the metal: a class taken in at once, the register of an edition, a link
//! for a client, incidents.

use crate::browser::Browser;
use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::{Instant, Role};
use serde_json::{Value, json};

fn row(maker: &str, title: &str, wax: f64, shell: Option<&str>) -> Value {
    let mut row = json!({"maker": maker, "title": title, "wax_kg": wax});
    if let Some(shell) = shell {
        row["shell"] = shell.into();
    }
    row
}

#[tokio::test]
async fn a_class_is_taken_in_at_once() {
    at_both(async |shop| {
        let (job, recipe) = (shop.commission(None).await, shop.recipe().await);
        let path = format!("/v1/commissions/{job}/class");
        let rows = [
            row("Bo", "Fish", 0.42, Some("A")),
            row("Cleo", "Owl", 0.3, Some("a")),
            row("Dan", "Hand", 0.5, None),
            row("Eve", "Foot", 0.6, None),
        ];
        let body = json!({"alloy": "c87300", "recipe_id": recipe, "gating_kg": 0.35, "at": at(1, "08:00"), "rows": rows});
        let made = shop.post(&path, &body).await.made();
        let pieces = made["pieces"].as_array().unwrap();
        let makers: Vec<&str> = pieces.iter().map(|p| p["maker"].as_str().unwrap()).collect();
        assert_eq!(makers, ["Bo", "Cleo", "Dan", "Eve"]);
        let shells: Vec<&str> = pieces.iter().map(|p| p["castings"][0]["shell_tag"].as_str().unwrap()).collect();
        assert!(shells[0] == shells[1] && shells[1] != shells[2] && shells[2] != shells[3], "{shells:?}");
        let cards: Vec<Value> = pieces.iter().map(|p| p["castings"][0].clone()).collect();
        assert_eq!(
            (&cards[0]["wax_kg"], &cards[0]["stage"], &cards[0]["alloy"]),
            (&json!(0.42), &json!("shell"), &json!("C87300"))
        );
        assert_eq!(cards[0]["unique"], true);
        assert_eq!(shop.number("SELECT count(*) FROM shell").await, 3);
        // A half-filled row is named, and nothing is written.
        let before = shop.number("SELECT count(*) FROM record").await;
        let mut bad = body.clone();
        bad["rows"][2] = json!({"maker": "Dan", "title": " "});
        let faults = shop.post(&path, &bad).await.faults();
        assert_eq!(
            faults,
            [("/rows/2/title".to_owned(), "empty".to_owned()), ("/rows/2/wax_kg".to_owned(), "required".to_owned())]
        );
        let mut bad = body.clone();
        bad["alloy"] = "unobtainium".into();
        assert_eq!(shop.post(&path, &bad).await.faults(), [("/alloy".to_owned(), "not-in-catalogue".to_owned())]);
        assert_eq!(shop.number("SELECT count(*) FROM record").await, before);
        // Who only reads is not told who made what.
        let job_path = format!("/v1/commissions/{job}");
        let read = shop.ask("GET", &job_path).by(Some(Role::Reader)).send().await.is(200).to_string();
        assert!(!read.contains("Cleo") && read.contains("castings"), "{read}");
        assert!(shop.ask("GET", &job_path).by(Some(Role::Hand)).send().await.is(200).to_string().contains("Cleo"));
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn pages_tell_makers_to_those_who_log_and_to_no_one_else() {
    let shop = TestShop::open(1).await;
    let (job, recipe) = (shop.commission(None).await, shop.recipe().await);
    let number = shop.get(&format!("/v1/commissions/{job}")).await.is(200)["number"].as_str().unwrap().to_owned();
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let page = format!("/jobs/{number}/class?pasted=Cleo%09Owl%090%2C3%0ADan%09Hand%090.5");
    let html = owner.get(&page).await.is(200);
    assert!(html.contains("Take in these 2") && html.contains("value=\"Owl\""), "{html}");
    let body = json!({"alloy": "C87300", "recipe_id": recipe, "gating_kg": 0.3, "at": at(1, "08:00"), "rows": [row("Cleo", "Owl", 0.3, None)]});
    let made = shop.post(&format!("/v1/commissions/{job}/class"), &body).await.made();
    let casting = &made["pieces"][0]["castings"][0];
    let (tag, shell) = (casting["tag"].as_str().unwrap(), casting["shell_tag"].as_str().unwrap());
    let mut reader = Browser::signed_in(&shop, "Rex", Role::Reader).await;
    for path in [
        "/".to_owned(),
        format!("/jobs/{number}"),
        format!("/castings/{tag}"),
        format!("/shells/{shell}"),
        "/shells".into(),
        "/find?q=Owl".into(),
    ] {
        assert!(!reader.get(&path).await.html.contains("Cleo"), "{path}");
        let html = owner.get(&path).await.html;
        assert!(html.contains("Cleo") || path == "/shells" || path.starts_with("/find"), "{path}: {html}");
    }
    assert!(owner.get(&format!("/jobs/{number}/class")).await.is(200).contains("Cleo"));
    reader.get(&format!("/jobs/{number}/class")).await.is(403);
}

#[tokio::test]
async fn an_edition_has_one_register() {
    at_both(async |shop| {
        let mould = id(&shop.post("/v1/moulds", &json!({"name": "Heron, rubber"})).await.made());
        let pattern = json!({"name": "Heron", "material": "wax_casting", "mass_kg": 1.2, "section_mm": 5, "kind": "mould", "mould_id": mould});
        let pattern = id(&shop.post("/v1/patterns", &pattern).await.made());
        let job = shop.commission(None).await;
        for mark in [json!("1/3"), json!("AP 1/1"), json!("3/3"), Value::Null] {
            shop.piece(&job, &json!({"pattern_id": pattern, "edition_mark": mark, "at": at(1, "08:00")})).await;
        }
        let path = format!("/v1/patterns/{pattern}/edition");
        let register = shop.get(&path).await.is(200);
        assert_eq!((&register["of"], &register["next_mark"], &register["proofs"]), (&json!(3), &json!("2/3"), &json!({"AP": 1})));
        assert_eq!((&register["unmarked"], &register["counts"]), (&json!(1), &json!({"owed": 4})));
        let marks: Vec<&Value> = register["rows"].as_array().unwrap().iter().map(|r| &r["mark"]).collect();
        assert_eq!(marks, [&json!("1/3"), &json!("3/3"), &json!("AP 1/1"), &Value::Null]);
        // The first is scrapped and cast again, twice: the last is the piece's, the one before it spare.
        let first = register["rows"][0]["castings"][0].as_str().unwrap().to_owned();
        shop.post(&format!("/v1/castings/{first}/scrap"), &json!({"at": at(2, "09:00"), "cause": {"category": "wax"}})).await.made();
        assert_eq!(shop.get(&path).await.is(200)["rows"][0]["state"], "lost");
        let second = shop.post(&format!("/v1/castings/{first}/recast"), &json!({"at": at(2, "10:00")})).await.made();
        let spare = json!({"at": at(2, "11:00"), "reason": "spare"});
        shop.post(&format!("/v1/castings/{}/recast", second["tag"].as_str().unwrap()), &spare).await.made();
        let row = shop.get(&path).await.is(200)["rows"][0].clone();
        assert_eq!((&row["state"], &row["spares"]), (&json!("owed"), &json!([second["tag"]])), "{row:#}");
        // The mould is cancelled: no mark comes next.
        shop.patch(&format!("/v1/moulds/{mould}"), &json!({"cancelled_on": "2026-03-09"})).await.is(200);
        let register = shop.get(&path).await.is(200);
        assert!(register.get("next_mark").is_none() && register["cancelled_on"] == "2026-03-09", "{register:#}");
    })
    .await;
}

#[tokio::test]
async fn a_link_shows_how_far_a_job_is_and_is_ended() {
    let shop = TestShop::open(1).await;
    let client = shop.client("Olga Birch").await;
    let job = shop.commission(Some(&client)).await;
    let number = shop.get(&format!("/v1/commissions/{job}")).await.is(200)["number"].as_str().unwrap().to_owned();
    shop.casting_of(&job).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = owner.post(&format!("/jobs/{number}/links"), &[]).await.is(200);
    let begin = html.find("/progress/").unwrap();
    let link = html[begin..].split('"').next().unwrap().to_owned();
    // Nobody is signed in.
    let mut anyone = Browser::at(&shop);
    let html = anyone.get(&link).await.is(200);
    assert!(html.contains("Heron") && html.contains("here"), "{html}");
    assert!(!html.contains("Olga") && !html.contains("EUR") && !html.contains("Ada"), "{html}");
    anyone.get("/progress/pb_nothing").await.is(404);
    let mut bo = Browser::signed_in(&shop, "Bo", Role::Hand).await;
    bo.get(&format!("/jobs/{number}/links")).await.is(403);
    let html = owner.get(&format!("/jobs/{number}/links")).await.is(200);
    assert!(!html.contains("/progress/"), "shown once: {html}");
    let n = shop.number("SELECT n FROM progress_link").await.to_string();
    owner.post(&format!("/jobs/{number}/links/end"), &[("n", &n)]).await.to();
    anyone.get(&link).await.is(404);
}

#[tokio::test]
async fn only_crucibles_have_a_life_and_only_hands_are_cleared() {
    at_both(async |shop| {
        let pot = json!({"name": "Pot 9", "family": "copper_base", "capacity_kg": 60, "heats_before": 40, "life_heats": 42});
        let pot = shop.post("/v1/crucibles", &pot).await.made();
        assert_eq!((&pot["life_heats"], &pot["family"]), (&json!(42), &json!("copper_base")));
        shop.post("/v1/hands", &json!({"name": "Bo", "cleared_for": ["pouring", "furnace"]})).await.made();
        let faults = shop.post("/v1/kilns", &json!({"name": "K", "life_heats": 3, "cleared_for": ["x"]})).await.faults();
        let unknown = |member: &str| (format!("/{member}"), "not-of-this".to_owned());
        assert_eq!(faults, [unknown("cleared_for"), unknown("life_heats")]);
        shop.post("/v1/kilns", &json!({"name": "K", "fuel": "propane", "max_c": 1000, "chamber_litre": 400})).await.made();
        let faults = shop.post("/v1/hands", &json!({"name": "Cy", "fuel": "oil"})).await.faults();
        assert_eq!(faults, [unknown("fuel")]);
    })
    .await;
}

#[tokio::test]
async fn the_start_page_reminds_and_is_told_not_to() {
    let shop = TestShop::open(1).await;
    let clock = shop.db.clock().clone();
    clock.set(Instant::parse("2026-03-20T09:00:00Z").unwrap());
    shop.post("/v1/slurry-batches", &json!({"name": "Old tank", "at": at(1, "08:00")})).await.made();
    let poured_away = json!({"name": "Gone tank", "at": at(1, "08:00"), "retired_on": "2026-03-02"});
    shop.post("/v1/slurry-batches", &poured_away).await.made();
    let casting = id(&shop.casting().await);
    let away = json!({"casting_id": casting, "supplier": "A plater", "what": "plating", "at": at(6, "09:00"), "due_back_on": "2026-03-15"});
    shop.post("/v1/outside-work", &away).await.made();
    shop.post("/v1/moulds", &json!({"name": "Owl, rubber", "keep_until": "2026-04-01"})).await.made();
    shop.post("/v1/moulds", &json!({"name": "Far mould", "keep_until": "2029-04-01"})).await.made();
    let job = json!({"title": "Two owls", "price_minor": 900, "stages": [
        {"for": "deposit", "amount_minor": 300, "due_on": "2026-03-10"}, {"for": "rest", "amount_minor": 600, "due_on": "2026-09-10"}]});
    let job = id(&shop.post("/v1/commissions", &job).await.made());
    shop.piece(&job, &json!({"at": at(1, "08:00")})).await;
    shop.post("/v1/crucibles", &json!({"name": "Pot 9", "heats_before": 40, "life_heats": 42})).await.made();
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let said = [
        "Old tank: not checked for 19 days",
        "plating, A plater: was due back Sun 15 Mar",
        "Mould Owl, rubber: kept until Wed 1 Apr",
        "Two owls: 3.00 EUR due, 0.00 EUR received",
        "Crucible Pot 9: 40 heats of 42",
    ];
    let html = owner.get("/").await.is(200);
    for line in said {
        assert!(html.contains(line), "{line}: {html}");
    }
    assert!(!html.contains("Gone tank") && !html.contains("Far mould"), "{html}");
    // A hand who sees no money is not told of it.
    let mut bo = Browser::signed_in(&shop, "Bo", Role::Hand).await;
    assert!(!bo.get("/").await.is(200).contains("received"));
    // Paid, back, checked, and switched off.
    shop.post(&format!("/v1/commissions/{job}/payments"), &json!({"amount_minor": 300, "at": at(19, "09:00")})).await.made();
    assert!(!owner.get("/").await.is(200).contains("received"));
    let off = json!({"name": "reminders_off", "from_on": "2026-03-01", "value": ["slurry", "away", "keep_until", "crucible", "backup"]});
    shop.post("/v1/settings", &off).await.made();
    let html = owner.get("/").await.is(200);
    assert!(!html.contains("To remember"), "{html}");
    let faults =
        shop.post("/v1/settings", &json!({"name": "reminders_off", "from_on": "2026-03-02", "value": ["moon"]})).await.faults();
    assert_eq!(faults, [("/value".to_owned(), "out-of-range".to_owned())]);
}

#[tokio::test]
async fn what_is_away_and_what_went_wrong_have_pages() {
    let shop = TestShop::open(1).await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let tag = shop.casting().await["tag"].as_str().unwrap().to_owned();
    let typed = [("casting_id", tag.as_str()), ("what", "plating"), ("supplier", "A plater"), ("due_back_on", "2026-03-25")];
    owner.log("/away", "/outside-work", &typed).await;
    let html = owner.get("/away").await.is(200);
    assert!(html.contains("A plater") && html.contains("It is back"), "{html}");
    let away = shop.get("/v1/outside-work").await.is(200)["items"][0]["id"].as_str().unwrap().to_owned();
    owner.log("/away", &format!("/outside-work/{away}"), &[]).await;
    assert!(owner.get("/away").await.is(200).contains("Nothing is away"));
    owner.log("/incidents", "/incidents", &[("where", "pit"), ("what", "A glove was singed."), ("hurt", "false")]).await;
    let html = owner.get("/incidents").await.is(200);
    assert!(html.contains("A glove was singed.") && html.contains("nobody"), "{html}");
}

#[tokio::test]
async fn the_fifth_of_an_edition_has_the_patina_of_the_first() {
    at_both(async |shop| {
        let steps = json!([{"kind": "heat", "metal_c": 110}, {"kind": "apply", "chemical": "cupric nitrate", "strength": "10 %", "tool": "brush"}]);
        let green = json!({"name": "Harbour green", "at": at(1, "08:00"), "steps": steps, "sample": "bar in drawer 3",
                           "approved_on": "2026-02-20", "approved_by": "the sculptor"});
        let green = shop.post("/v1/patinas", &green).await.made();
        assert_eq!((&green["versions"][0]["patina_version"], &green["versions"][0]["sample"]), (&json!(1), &json!("bar in drawer 3")));
        let path = format!("/v1/patinas/{}", id(&green));
        let next = json!({"at": at(5, "08:00"), "steps": [{"kind": "apply", "chemical": "ferric nitrate"}], "notes": "browner"});
        assert_eq!(shop.post(&format!("{path}/versions"), &next).await.made()["patina_version"], 2);
        let pattern = shop.pattern("file").await;
        let job = shop.commission(None).await;
        for (mark, day, said) in [("1/8", 3, None), ("5/8", 6, None), ("6/8", 6, Some(1))] {
            let piece = shop.piece(&job, &json!({"pattern_id": pattern, "edition_mark": mark, "at": at(1, "08:00")})).await;
            let mut work = json!({"operation": "patina", "minutes": 40, "at": at(day, "10:00"), "patina_id": id(&green)});
            if let Some(version) = said {
                work["patina_version"] = json!(version);
            }
            shop.post(&format!("/v1/pieces/{}/work", id(&piece)), &work).await.made();
        }
        // Each bears the version of its day, unless another is said: the sixth matches the first.
        let register = shop.get(&format!("/v1/patterns/{pattern}/edition")).await.is(200);
        let said: Vec<(&str, &Value)> =
            register["rows"].as_array().unwrap().iter().map(|r| (r["mark"].as_str().unwrap(), &r["patina_version"])).collect();
        assert_eq!(said, [("1/8", &json!(1)), ("5/8", &json!(2)), ("6/8", &json!(1))]);
        assert_eq!(register["rows"][0]["patina"], "Harbour green");
        // What cannot be, named; nothing written.
        let bare = json!({"name": "Bare", "steps": [{"kind": "clean"}, {"kind": "apply", "tool": "brush"}]});
        assert_eq!(shop.post("/v1/patinas", &bare).await.faults(), [("/steps/1/chemical".to_owned(), "required".to_owned())]);
        assert_eq!(shop.post(&format!("{path}/versions"), &json!({"steps": []})).await.faults()[0].0, "/steps");
        let casting = id(&shop.casting().await);
        let wrong = json!({"operation": "patina", "minutes": 5, "at": at(6, "10:00"), "patina_id": id(&green), "patina_version": 9});
        let faults = shop.post(&format!("/v1/castings/{casting}/work"), &wrong).await.faults();
        assert_eq!(faults, [("/patina_version".to_owned(), "not-found".to_owned())]);
    })
    .await;
}

#[tokio::test]
async fn the_start_page_reminds_of_what_waits_for_somebody() {
    let shop = TestShop::open(1).await;
    let clock = shop.db.clock().clone();
    clock.set(Instant::parse("2026-03-04T06:00:00Z").unwrap());
    // A wax of a client's that nobody approved, and one of the shop's own, which nobody need.
    let client = shop.client("Olga Birch").await;
    let job = shop.commission(Some(&client)).await;
    let own = shop.commission(None).await;
    for job in [&job, &own] {
        let casting = shop.casting_of(job).await;
        shop.post(&format!("/v1/castings/{}/waxes", id(&casting)), &json!({"at": at(1, "09:30"), "wax_kg": 1.2})).await.made();
    }
    let (_, fired) = shop.fired().await;
    clock.set(Instant::parse("2026-03-30T08:00:00Z").unwrap());
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = owner.get("/").await.is(200);
    let number = shop.get(&format!("/v1/commissions/{job}")).await.is(200)["number"].as_str().unwrap().to_owned();
    let tag = fired["tag"].as_str().unwrap();
    for line in [
        format!("{number} "),
        "1 wax waits for approval".to_owned(),
        format!("Shell {tag}: fired "),
        "fired shells need ".to_owned(),
        "No copy of the book was made yet".to_owned(),
    ] {
        assert!(html.contains(&line), "{line}: {html}");
    }
    assert!(!html.contains("2 waxes wait"), "{html}");
    // Approved, and copied.
    let wax = shop.get("/v1/waxes").await.is(200)["items"].as_array().unwrap().iter().map(id).collect::<Vec<_>>();
    for wax in wax {
        shop.patch(&format!("/v1/waxes/{wax}"), &json!({"approved_at": at(2, "08:00")})).await.is(200);
    }
    let copy = tempfile::tempdir().unwrap();
    pourbook::db::backup_to(shop.db.path(), &copy.path().join("copy.db")).await.unwrap();
    let html = owner.get("/").await.is(200);
    assert!(!html.contains("for approval") && !html.contains("copy of the book"), "{html}");
}

#[tokio::test]
async fn what_is_cast_in_parts_is_joined_and_what_is_handed_over_may_be_no_more() {
    at_both(async |shop| {
        let piece = shop
            .piece(
                &shop.commission(None).await,
                &json!({"at": at(1, "08:00"), "parts": ["upper", "lower"], "edition_mark": "1/3"}),
            )
            .await;
        let castings: Vec<&Value> = piece["castings"].as_array().unwrap().iter().collect();
        let ids: Vec<String> = castings.iter().map(|c| id(c)).collect();
        let path = format!("/v1/pieces/{}/assemble", id(&piece));
        let join = |ids: &[String]| json!({"casting_ids": ids, "joint": "weld", "at": at(6, "09:00")});
        // Nothing is joined that was not poured, that is alone, or that is of another piece.
        shop.post(&path, &join(&ids)).await.refused("not-yet");
        let shell = shop.shell(&castings).await;
        shop.coats(&shell).await;
        shop.fire(&shell).await;
        shop.pour(&shop.heat(18.0).await, &shell, 15.4).await;
        for casting in &castings {
            shop.breakout(casting, &json!({})).await;
        }
        let other = id(&shop.casting().await);
        let before = shop.written().await;
        let alone = [("/casting_ids".to_owned(), "length".to_owned())];
        assert_eq!(shop.post(&path, &join(&ids[..1])).await.faults(), alone);
        let strange = [("/casting_ids/1".to_owned(), "not-of-this".to_owned())];
        assert_eq!(shop.post(&path, &join(&[ids[0].clone(), other])).await.faults(), strange);
        let twice = [("/casting_ids/1".to_owned(), "twice".to_owned())];
        assert_eq!(shop.post(&path, &join(&[ids[0].clone(), ids[0].clone()])).await.faults(), twice);
        assert_eq!(shop.written().await, before);
        shop.post(&path, &join(&ids)).await.made();
        for casting in &castings {
            assert_eq!(shop.stage(casting).await, "bench");
            shop.post(&format!("/v1/castings/{}/finish", id(casting)), &json!({"at": at(7, "09:00")})).await.made();
        }
        // It is no more only after it was handed over; then the register says so, and its mark stays its own.
        let gone = format!("/v1/pieces/{}/loss", id(&piece));
        let body = json!({"fate": "destroyed", "told_by": "the client", "at": at(9, "09:00")});
        shop.post(&gone, &body).await.refused("not-yet");
        let given = json!({"at": at(8, "09:00"), "to": "Olga Birch", "crate_mm": {"x": 400, "y": 400, "z": 600}});
        let delivery = id(&shop.post(&format!("/v1/pieces/{}/deliver", id(&piece)), &given).await.made());
        shop.post(
            &format!("/v1/pieces/{}/certificate", id(&piece)),
            &json!({"signed_by": "Ada", "number": "17", "at": at(8, "10:00")}),
        )
        .await
        .made();
        let lost = id(&shop.post(&gone, &body).await.made());
        assert_eq!(shop.post(&gone, &body).await.faults(), [("/piece_id".to_owned(), "taken".to_owned())]);
        let pattern = piece["pattern_id"].as_str().unwrap();
        let register = async || shop.get(&format!("/v1/patterns/{pattern}/edition")).await.is(200);
        let row = register().await["rows"][0].clone();
        assert_eq!((&row["state"], &row["fate"], &row["certificate"]), (&json!("no_more"), &json!("destroyed"), &json!("17")));
        assert_eq!(register().await["next_mark"], "2/3");
        assert_eq!(shop.post(&path, &join(&ids)).await.faults(), [("/casting_ids/0".to_owned(), "taken".to_owned())]);
        let one = |day| json!({"fate": "lost", "told_by": "the client", "at": at(day, "09:00")});
        shop.void(&format!("/v1/piece-losses/{lost}")).await.is(200);
        shop.post(&gone, &one(7)).await.refused("not-yet");
        let lost = id(&shop.post(&gone, &one(9)).await.made());
        shop.patch(&format!("/v1/deliveries/{delivery}"), &json!({"at": at(9, "10:00")})).await.refused("times-contradict");
        // What is corrected of the piece later does not change what was signed.
        let signed = shop.get("/v1/certificates").await.is(200)["items"][0].clone();
        assert_eq!((&signed["mark"], &signed["cast_in"]), (&json!("1/3"), &json!("C87300")));
        // What rests on the delivery stands in its way.
        shop.void(&format!("/v1/deliveries/{delivery}")).await.refused("in-use");
        shop.void(&format!("/v1/piece-losses/{lost}")).await.is(200);
        assert_eq!(register().await["rows"][0]["state"], "delivered");
        shop.closes().await;
    })
    .await;
}

#[tokio::test]
async fn a_clients_property_is_here_until_it_goes_back() {
    let shop = TestShop::open(1).await;
    let client = shop.client("Olga Birch").await;
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let typed =
        [("client_id", client.as_str()), ("what", "the original, plaster"), ("condition", "an ear chipped"), ("shelf", "R3")];
    owner.log("/property", "/properties", &typed).await;
    let html = owner.get("/property").await.is(200);
    assert!(html.contains("an ear chipped") && html.contains("R3") && html.contains("Olga Birch"), "{html}");
    let one = shop.get("/v1/properties").await.is(200)["items"][0]["id"].as_str().unwrap().to_owned();
    let path = format!("/v1/properties/{one}");
    let mixed = [("/out_at".to_owned(), "required".to_owned())];
    assert_eq!(shop.patch(&path, &json!({"out_to": "her brother"})).await.faults(), mixed);
    owner.log("/property", &format!("/properties/{one}"), &[("out_to", "her brother")]).await;
    let html = owner.get("/property").await.is(200);
    assert!(html.contains("Nothing of a client") && html.contains("her brother"), "{html}");
    let fault = async |at: &str| shop.patch(&path, &json!({"out_at": at})).await.faults();
    assert_eq!(fault("2020-01-01T00:00:00Z").await, [("/out_at".to_owned(), "out-of-range".to_owned())]);
    assert_eq!(fault("2099-01-01T00:00:00Z").await, [("/out_at".to_owned(), "in-the-future".to_owned())]);
    // What is still here is found however much went back since.
    let left = json!({"client_id": client, "what": "a plinth", "at": at(1, "09:00")});
    shop.post("/v1/properties", &left).await.made();
    for _ in 0..205 {
        let back = json!({"client_id": client, "what": "a sketch", "at": at(2, "09:00"), "out_at": at(3, "09:00")});
        shop.post("/v1/properties", &back).await.made();
    }
    assert!(owner.get("/property").await.is(200).contains("a plinth"));
    // Forgotten, nobody reads any more who took it.
    shop.post(&format!("/v1/clients/{client}/forget"), &json!({"reason": "asked"})).await.is(200);
    assert!(!owner.get("/property").await.is(200).contains("her brother"));
}
