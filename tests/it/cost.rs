//! What a job cost, worked by hand to the cent; and that all jobs together cost what the records do.

use crate::browser::Browser;
use crate::kit::{TestShop, at, at_both, id};
use pourbook::kernel::Role;
use serde_json::{Value, json};

/// Rates of the shop from the first day on, in cents.
async fn rates(shop: &TestShop) {
    let rate = async |more: Value| {
        let mut body = json!({"from_on": "2026-01-01"});
        for (name, value) in more.as_object().unwrap() {
            body[name] = value.clone();
        }
        shop.post("/v1/rates", &body).await.made();
    };
    rate(json!({"what": "hand_hour", "amount_minor": 3000})).await;
    let ada = id(&shop.post("/v1/hands", &json!({"name": "Ada"})).await.made());
    rate(json!({"what": "hand_hour", "hand_id": ada, "amount_minor": 4200})).await;
    rate(json!({"what": "shell_coat_dm2", "amount_minor": 40})).await;
    rate(json!({"what": "wax_kg", "amount_minor": 1000})).await;
    rate(json!({"what": "fuel_kg", "amount_minor": 250})).await;
    rate(json!({"what": "pour_day", "amount_minor": 6000})).await;
    rate(json!({"what": "crucible_heat", "amount_minor": 1500})).await;
    let rule = json!({"name": "overhead_rule", "from_on": "2026-01-01", "value": {"rule": "percent_of_work", "percent": 50}});
    shop.post("/v1/settings", &rule).await.made();
}

/// Two jobs of one edition of eight, poured from one heat: 30 kg and 10 kg. Answers their numbers.
async fn two_jobs(shop: &TestShop) -> [String; 2] {
    rates(shop).await;
    let mould = id(&shop.post("/v1/moulds", &json!({"name": "Rubber", "cost_minor": 8000})).await.made());
    let pattern = json!({"name": "Heron", "material": "wax_casting", "mass_kg": 1.2, "section_mm": 5, "kind": "mould", "mould_id": mould,
                         "area_cm2": 500});
    let pattern = id(&shop.post("/v1/patterns", &pattern).await.made());
    let (mut jobs, mut shells) = (Vec::new(), Vec::new());
    for mark in ["1/8", "2/8"] {
        let price = json!({"title": mark, "price_minor": 90_000, "stages": [
            {"for": "deposit", "amount_minor": 30_000}, {"for": "delivery", "amount_minor": 60_000, "due_on": "2026-05-01"}]});
        let job = id(&shop.post("/v1/commissions", &price).await.made());
        let piece = shop.piece(&job, &json!({"pattern_id": pattern, "edition_mark": mark, "at": at(1, "08:00")})).await;
        let casting = piece["castings"][0].clone();
        shop.post(&format!("/v1/castings/{}/waxes", id(&casting)), &json!({"at": at(1, "09:00"), "wax_kg": 1.25})).await.made();
        let shell = shop.shell(&[&casting]).await;
        shop.coats(&shell).await;
        if mark == "1/8" {
            let path = format!("/v1/castings/{}/work", id(&casting));
            let work =
                json!({"operation": "chase_wax", "minutes": 50, "hand": "ada", "material_minor": 350, "at": at(1, "09:30")});
            shop.post(&path, &work).await.made();
            let away = json!({"casting_id": id(&casting), "supplier": "A plater", "what": "plating", "cost_minor": 1200, "at": at(6, "09:00")});
            shop.post("/v1/outside-work", &away).await.made();
            let freight = json!({"kind": "freight", "amount_minor": 1800, "at": at(7, "09:00")});
            shop.post(&format!("/v1/commissions/{job}/costs"), &freight).await.made();
            let paid = json!({"amount_minor": 30_000, "for": "deposit", "at": at(1, "08:30")});
            shop.post(&format!("/v1/commissions/{job}/payments"), &paid).await.made();
        }
        jobs.push(job);
        shells.push(shell);
    }
    let load = json!({"kiln": "North kiln", "at": at(3, "12:00"), "peak_c": 870, "bottles_before_kg": 33.5, "bottles_after_kg": 27.5,
        "shells": shells.iter().map(|s| json!({"shell_id": id(s), "result": "sound"})).collect::<Vec<_>>()});
    shop.post("/v1/burnouts", &load).await.made();
    let heat = shop.heat(45.0).await;
    shop.pour(&heat, &shells[0], 30.0).await;
    shop.try_pour(&heat, &shells[1], 10.0, &json!({"at": at(4, "09:20")})).await.made();
    shop.post(&format!("/v1/heats/{heat}/work"), &json!({"operation": "melt", "minutes": 60, "at": at(4, "08:30")})).await.made();
    let closing = json!({"at": at(4, "09:40"), "pigged_kg": 4.5, "dross_kg": 0.5, "fuel_kg": 8});
    shop.post(&format!("/v1/heats/{heat}/close"), &closing).await.made();
    jobs.try_into().unwrap()
}

#[tokio::test]
async fn a_job_is_worked_by_hand_to_the_cent() {
    at_both(async |shop| {
        let jobs = two_jobs(shop).await;
        let cost = shop.get(&format!("/v1/commissions/{}/cost", jobs[0])).await.is(200);
        for (member, minor) in [
            // 80.00 over eight copies.
            ("mould_minor", 1000),
            // 1.25 kg and 0.5 kg of gating at 10.00.
            ("wax_minor", 1250 + 500),
            // 500 cm² and gating: 0.5 kg at 0.95 g/cm³ as rods of 25 mm, 4 V / d = 842.1 cm²; 13.4211
            // dm² at 0.40 is 5.37, twice.
            ("shell_minor", 2 * 537),
            // The kiln: 6 kg at 2.50, two shells alike; the heat: 8 kg, 30 of 40 kg.
            ("fuel_minor", 750 + 1500),
            ("crucible_minor", 1125),
            ("pour_day_minor", 4500),
            // 50 min of Ada at 42.00; 60 min at the furnace at 30.00, three quarters.
            ("work_minor", 3500 + 2250),
            ("overhead_minor", 1750 + 1125),
            ("material_minor", 350),
            ("services_minor", 1200),
            ("delivery_minor", 1800),
            ("price_minor", 90_000),
            ("paid_minor", 30_000),
            ("balance_minor", 60_000),
        ] {
            assert_eq!(cost[member], minor, "{member}: {cost:#}");
        }
        assert!(cost.get("royalty_minor").is_none(), "nothing is not 0: {cost:#}");
        let parts = 1000 + 1750 + 1074 + 2250 + 1125 + 4500 + 5750 + 2875 + 350 + 1200 + 1800;
        let metal = cost["metal"]["total_minor"].as_i64().unwrap();
        assert_eq!(cost["total_minor"], metal + parts);
        assert_eq!(cost["margin_minor"], 90_000 - metal - parts);
        let casting = &cost["pieces"][0]["castings"][0];
        assert_eq!((&casting["work_minor"], &casting["services_minor"]), (&json!(5750), &json!(1200)), "{casting:#}");
        // Its metal may still change: it is not broken out. Nothing else is lacking.
        let lacking: Vec<&str> = cost["lacking"].as_array().unwrap().iter().map(|l| l["why"].as_str().unwrap()).collect();
        assert_eq!(lacking, ["metal-open"], "{cost:#}");

        let lines = shop.get(&format!("/v1/commissions/{}/cost-lines?part=fuel", jobs[0])).await.is(200);
        let said: Vec<(&str, i64, i64)> = lines["items"]
            .as_array()
            .unwrap()
            .iter()
            .map(|l| (l["kind"].as_str().unwrap(), l["amount_minor"].as_i64().unwrap(), l["of_minor"].as_i64().unwrap()))
            .collect();
        assert_eq!(said, [("burnout", 750, 1500), ("closing", 1500, 2000)]);
        shop.ask("GET", &format!("/v1/commissions/{}/cost-lines?part=gold", jobs[0])).send().await.refused("malformed");
    })
    .await;
}

#[tokio::test]
async fn all_jobs_together_cost_what_the_records_do() {
    at_both(async |shop| {
        let jobs = two_jobs(shop).await;
        shop.post("/v1/expenses", &json!({"kind": "rent", "amount_minor": 7000, "at": at(2, "08:00")})).await.made();
        // A heat that poured nothing: its crucible and fuel fall on the shop.
        let idle = shop.heat(5.0).await;
        let closing = json!({"at": at(4, "12:00"), "pigged_kg": 5, "fuel_kg": 2});
        shop.post(&format!("/v1/heats/{idle}/close"), &closing).await.made();
        let report = shop.get("/v1/reports/costs?from=2020-01-01T00:00:00Z&to=2027-01-01T00:00:00Z").await.is(200);
        let mut sum = 0;
        for (job, row) in jobs.iter().zip(["1/8", "2/8"]) {
            let cost = shop.get(&format!("/v1/commissions/{job}/cost")).await.is(200);
            let beside = cost["total_minor"].as_i64().unwrap() - cost["metal"]["total_minor"].as_i64().unwrap();
            let row = report["jobs"].as_array().unwrap().iter().find(|r| r["title"] == row).unwrap();
            assert_eq!(row["total_minor"], beside, "{row:#} {cost:#}");
            sum += beside;
        }
        // 80.00 of mould, six copies to come; 15.00 and 5.00 of the idle heat.
        assert_eq!((&report["moulds_minor"], &report["shop_minor"]), (&json!(6000), &json!(2000)), "{report:#}");
        assert_eq!(report["all"]["total_minor"], sum + 6000 + 2000);
        // What the records cost, added up by hand: mould, wax, coats, kiln, two heats, wear, day, work with
        // its overhead, material, services, freight.
        let by_hand =
            8000 + 2 * 1750 + 2 * 1074 + 1500 + 2000 + 500 + 2 * 1500 + 6000 + (3500 + 3000) * 3 / 2 + 350 + 1200 + 1800;
        assert_eq!(report["all"]["total_minor"], by_hand);
        let overhead = &report["overhead"];
        assert_eq!((&overhead["recovered_minor"], &overhead["real_minor"]), (&json!(3250), &json!(9000)), "{overhead:#}");
        assert_eq!(overhead["difference_minor"], 3250 - 9000);
        // 50 min of Ada on the 1st of March, a Sunday: the week from Monday 23 February (ISO 8601, week 9);
        // 60 min of nobody named on Wednesday the 4th, week 10.
        let hours = shop.get("/v1/reports/hours?from=2020-01-01T00:00:00Z").await.is(200);
        let said: Vec<(&str, &str, &Value, &Value)> = hours["rows"]
            .as_array()
            .unwrap()
            .iter()
            .map(|r| (r["week"].as_str().unwrap(), r["begins_on"].as_str().unwrap(), &r["hand"], &r["hours"]))
            .collect();
        let (ada, nobody) = (json!("Ada"), Value::Null);
        assert_eq!(said, [("2026-W10", "2026-03-02", &nobody, &json!(1.0)), ("2026-W09", "2026-02-23", &ada, &json!(0.83))]);
        assert_eq!(hours["hours"], 1.83);
        let money = shop.get("/v1/reports/money?from=2020-01-01T00:00:00Z").await.is(200);
        assert_eq!((&money["in_minor"], &money["out_minor"]), (&json!(30_000), &json!(10_000)), "{money:#}");
    })
    .await;
}

#[tokio::test]
async fn a_pour_day_is_added_up() {
    at_both(async |shop| {
        two_jobs(shop).await;
        let day = shop.get("/v1/reports/pour-day?day=2026-03-04").await.is(200);
        for (member, value) in [
            ("shells", json!(2)),
            ("full", json!(2)),
            ("short", json!(0)),
            ("leaked", json!(0)),
            ("poured_kg", json!(40.0)),
            ("fuel_kg", json!(8.0)),
            ("minutes", json!(60.0)),
        ] {
            assert_eq!(day[member], value, "{member}: {day:#}");
        }
        assert_eq!((day["heats"].as_array().unwrap().len(), day["pours"].as_array().unwrap().len()), (1, 2));
        assert_eq!(day["heats"][0]["charged_kg"], 45.0);
        assert!(day.get("fuel_minor").is_none() && day.get("before").is_none(), "{day:#}");
        let empty = shop.get("/v1/reports/pour-day?day=2026-03-09").await.is(200);
        assert_eq!((&empty["shells"], &empty["before"]), (&json!(0), &json!("2026-03-04")), "{empty:#}");
        for bad in ["2026-02-30", "yesterday", "99999-01-01"] {
            shop.ask("GET", &format!("/v1/reports/pour-day?day={bad}")).send().await.refused("malformed");
        }
    })
    .await;
}

#[tokio::test]
async fn what_lacks_a_rate_or_a_surface_is_named_and_costs_nothing() {
    at_both(async |shop| {
        let casting = shop.casting().await;
        let shell = shop.shell(&[&casting]).await;
        shop.coats(&shell).await;
        shop.fire(&shell).await;
        let path = format!("/v1/castings/{}", id(&casting));
        shop.post(&format!("{path}/work"), &json!({"operation": "chase_wax", "minutes": 50, "at": at(1, "09:30")})).await.made();
        let card = shop.get(&path).await.is(200);
        let cost = shop.get(&format!("/v1/commissions/{}/cost", card["commission_id"].as_str().unwrap())).await.is(200);
        let mut lacking: Vec<String> = cost["lacking"]
            .as_array()
            .unwrap()
            .iter()
            .map(|l| format!("{} {} {}", l["part"].as_str().unwrap(), l["why"].as_str().unwrap(), l["records"]))
            .collect();
        lacking.sort();
        assert_eq!(
            lacking,
            ["fuel no-fuel 1", "shell no-rate-shell-coat-dm2 2", "wax no-rate-wax-kg 2", "work no-rate-hand-hour 1"],
            "{cost:#}"
        );
        assert_eq!((&cost["total_minor"], &cost["provisional"]), (&json!(0), &json!(false)));
    })
    .await;
}

#[tokio::test]
async fn prices_stages_bottles_and_outside_work_that_cannot_be() {
    at_both(async |shop| {
        let stages = json!({"title": "A", "price_minor": 900, "stages": [{"for": "deposit", "amount_minor": 400}]});
        let faults = shop.post("/v1/commissions", &stages).await.faults();
        assert_eq!(faults, [("/stages".to_owned(), "sum".to_owned())]);
        let faults = shop.post("/v1/commissions", &json!({"title": "A", "stages": [{"for": "all", "amount_minor": 4}]})).await.faults();
        assert_eq!(faults, [("/price_minor".to_owned(), "required".to_owned())]);
        let (_, shell) = shop.fired().await;
        let load = json!({"kiln": "K", "at": at(3, "18:00"), "shells": [{"shell_id": id(&shell)}], "bottles_before_kg": 20, "bottles_after_kg": 21});
        let faults = shop.post("/v1/burnouts", &load).await.faults();
        assert_eq!(faults, [("/bottles_after_kg".to_owned(), "heavier".to_owned())]);
        let casting = id(&shop.casting().await);
        let away = json!({"supplier": "P", "what": "plating", "at": at(6, "09:00"), "back_at": at(5, "09:00")});
        let faults = shop.post("/v1/outside-work", &away).await.faults();
        assert_eq!(faults, [("/back_at".to_owned(), "before".to_owned()), ("/casting_id".to_owned(), "one-of".to_owned())]);
        // A crate of 0 mm holds nothing.
        let piece = id(&shop.piece(&shop.commission(None).await, &json!({})).await);
        let crated = json!({"at": at(7, "10:00"), "crate_mm": {"x": 0, "y": 400, "z": 300}});
        let faults = shop.post(&format!("/v1/pieces/{piece}/deliver"), &crated).await.faults();
        assert_eq!(faults, [("/crate_mm/x".to_owned(), "out-of-range".to_owned())]);
        // It went out with one hand and comes back with another.
        let away = json!({"casting_id": casting, "supplier": "P", "what": "plating", "at": at(6, "09:00"), "due_back_on": "2026-03-20"});
        let away = format!("/v1/outside-work/{}", id(&shop.post("/v1/outside-work", &away).await.made()));
        let etag = shop.get(&away).await.is(200)["etag"].as_str().unwrap().to_owned();
        let back = shop.ask("PATCH", &away).by(Some(Role::Hand)).if_match(&format!("\"{etag}\"")).merge(&json!({"back_at": at(9, "09:00")}));
        back.send().await.is(200);
    })
    .await;
}

#[tokio::test]
async fn the_pages_of_cost_open_their_records_and_are_for_those_who_see_money() {
    let shop = TestShop::open(1).await;
    let jobs = two_jobs(&shop).await;
    let number = shop.get(&format!("/v1/commissions/{}", jobs[0])).await.is(200)["number"].as_str().unwrap().to_owned();
    let mut ada = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let html = ada.get(&format!("/jobs/{number}/cost?part=work")).await.is(200);
    for said in [
        "57.50 EUR",
        "What its metal cost",
        "Against the price",
        "chase wax",
        "22.50 EUR",
        "30.00 EUR",
        "its metal may still change",
    ] {
        assert!(html.contains(said), "{said}: {html}");
    }
    let html = ada.get("/reports/costs?from=2026-01-01").await.is(200);
    assert!(html.contains(&number) && html.contains("On moulds, for copies to come"), "{html}");
    let csv = ada.get("/reports/money.csv?from=2026-01-01").await.is(200);
    assert!(csv.contains("payment,deposit") && csv.contains("-1800"), "{csv}");
    let mut bo = Browser::signed_in(&shop, "Bo", Role::Hand).await;
    for path in [format!("/jobs/{number}/cost"), "/reports/costs".into(), "/reports/money".into(), "/reports/money.csv".into()] {
        bo.get(&path).await.is(403);
    }
}
