//! What no shop can do.

use crate::kit::{TestShop, at, at_both, id};
use serde_json::{Value, json};

/// Said again with every word there is.
fn whatever() -> Value {
    json!(["not_on_record", "alloy_differs", "lot_short", "pattern_is_unique", "client_metal", "crucible_in_use"])
}

#[tokio::test]
async fn streams_after_the_shell_was_opened() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let first = shop.pour(&heat, &shell, 15.0).await;
        shop.breakout(&casting, &json!({})).await;
        let more = json!({"at": at(5, "10:00"), "continues_pour_id": id(&first), "despite": whatever()});
        shop.try_pour(&heat, &shell, 0.5, &more).await.refused("opened");
        for (path, body) in [
            (format!("/v1/shells/{}/coats", id(&shell)), json!({"kind": "seal", "slurry": "seal", "at": at(5, "10:00")})),
            (format!("/v1/shells/{}/patches", id(&shell)), json!({"at": at(5, "10:00")})),
            ("/v1/burnouts".to_owned(), json!({"kiln": "Big kiln", "at": at(5, "10:00"), "shells": [{"shell_id": id(&shell)}]})),
            ("/v1/preheats".to_owned(), json!({"kiln": "Big kiln", "at": at(5, "10:00"), "shell_ids": [id(&shell)]})),
        ] {
            shop.post(&path, &body).await.refused("opened");
        }
        // Timed before the breakout a second stream is taken, whenever it arrives.
        let more = json!({"at": at(4, "09:12"), "continues_pour_id": id(&first)});
        shop.try_pour(&heat, &shell, 0.5, &more).await.made();
    })
    .await;
}

#[tokio::test]
async fn opened_before_it_was_poured() {
    at_both(async |shop| {
        let (casting, _, _, pour) = shop.poured().await;
        let early = json!({"at": at(4, "09:09"), "despite": whatever()});
        shop.try_breakout(&casting, &early).await.refused("before-the-pour");
        let tree = json!({"at": at(4, "09:00"), "gross_kg": 15});
        let shell = shop.get(&format!("/v1/pours/{}", id(&pour))).await.is(200)["shell_id"].as_str().unwrap().to_owned();
        shop.post(&format!("/v1/shells/{shell}/breakout"), &tree).await.refused("before-the-pour");
        let breakout = shop.breakout(&casting, &json!({})).await;
        // Nor by a correction of either.
        shop.patch(&format!("/v1/breakouts/{}", id(&breakout)), &json!({"at": at(4, "09:00")})).await.refused("before-the-pour");
        let problem = shop.patch(&format!("/v1/pours/{}", id(&pour)), &json!({"at": at(4, "09:29")})).await;
        problem.is(200);
        let problem = shop.patch(&format!("/v1/pours/{}", id(&pour)), &json!({"at": at(6, "09:00")})).await;
        assert_eq!(problem.status, 409, "{:#}", problem.json);
        shop.void(&format!("/v1/pours/{}", id(&pour))).await.refused("in-use");
    })
    .await;
}

#[tokio::test]
async fn metal_that_was_never_in() {
    at_both(async |shop| {
        let (casting, ..) = shop.poured().await;
        // 15.4 kg went in; the scale forgives 0.2 % of it.
        for wrong in [
            json!({"gross_kg": 15.44}),
            json!({"net_kg": 12, "returned_kg": 3.44}),
            json!({"gross_kg": 15.2, "net_kg": 11, "returned_kg": 4.3}),
        ] {
            let mut body = wrong.clone();
            body["despite"] = whatever();
            shop.try_breakout(&casting, &body).await.refused("metal-beyond");
        }
        shop.breakout(&casting, &json!({"gross_kg": 15.43, "net_kg": 11.3, "returned_kg": 4.12})).await;
        let work = json!({"operation": "chase", "minutes": 5, "at": at(6, "09:00"), "mass_after_kg": 11.5});
        // What a casting gains on the bench is unexplained, in the open (docs/ledger.md, 7).
        let before = shop.get("/v1/metal/balance").await.is(200)["by_sink"]["unexplained"]["mass_kg"].as_f64().unwrap();
        shop.post(&format!("/v1/castings/{}/work", id(&casting)), &work).await.made();
        let after = shop.get("/v1/metal/balance").await.is(200)["by_sink"]["unexplained"]["mass_kg"].as_f64().unwrap();
        assert!((before - after - 0.2).abs() < 1e-9, "{before} {after}");
    })
    .await;
}

#[tokio::test]
async fn a_heat_that_does_not_balance() {
    at_both(async |shop| {
        let (_, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        shop.pour(&heat, &shell, 15.4).await;
        // 2.6 kg stand; a tenth of the charge may stay unexplained.
        for (pigged, dross) in [(0.7, 0.09), (4.3, 0.11), (20.0, 0.0)] {
            let problem = shop.try_close(&heat, pigged, dross).await.refused("residual-too-large");
            assert_eq!(problem["may_follow"], true);
        }
        shop.close(&heat, 0.7, 0.1).await;
        let balance = shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200);
        assert_eq!(balance["unexplained_kg"], 1.8);
        assert_eq!(balance["within_tolerance"], false);
        shop.try_close(&heat, 0.7, 0.1).await.refused("heat-closed");
    })
    .await;
}

#[tokio::test]
async fn times_that_contradict() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        shop.try_pour(&heat, &shell, 15.0, &json!({"at": at(4, "07:59"), "despite": whatever()}))
            .await
            .refused("times-contradict");
        let lot = shop.lot(10.0, 100).await;
        let charge = json!({"lot_id": lot, "mass_kg": 1, "at": at(4, "09:40")});
        let pour = shop.pour(&heat, &shell, 15.0).await;
        let closing = shop.close(&heat, 2.7, 0.2).await;
        shop.post(&format!("/v1/heats/{heat}/charges"), &charge).await.refused("heat-closed");
        // A closing moved before its pour; a shell moved after its burnout; a burnout after its pour.
        shop.patch(&format!("/v1/closings/{}", id(&closing)), &json!({"at": at(4, "09:00")})).await.refused("heat-closed");
        let reply = shop.patch(&format!("/v1/shells/{}", id(&shell)), &json!({"at": at(3, "13:00")})).await;
        assert_eq!(reply.status, 409, "{:#}", reply.json);
        let fired = shop.get(&format!("/v1/burnouts?shell_id={}", id(&shell))).await.is(200)["items"][0].clone();
        let reply = shop.patch(&format!("/v1/burnouts/{}", id(&fired)), &json!({"at": at(4, "10:00")})).await;
        assert_eq!(reply.status, 409, "{:#}", reply.json);
        shop.void(&format!("/v1/burnouts/{}", id(&fired))).await.refused("in-use");
        let patch = json!({"at": at(4, "10:00")});
        shop.post(&format!("/v1/shells/{}/patches", id(&shell)), &patch).await.refused("times-contradict");
        shop.breakout(&casting, &json!({})).await;
        assert_eq!(id(&shop.get(&format!("/v1/pours/{}", id(&pour))).await.is(200)), id(&pour));
    })
    .await;
}

#[tokio::test]
async fn one_mark_one_work() {
    at_both(async |shop| {
        let (heron, otter) = (shop.pattern("file").await, shop.pattern("file").await);
        let commission = shop.commission(None).await;
        let deliver = async |pattern: &str, mark: Option<&str>| {
            let piece =
                shop.piece(&commission, &json!({"pattern_id": pattern, "edition_mark": mark, "at": at(1, "08:00")})).await;
            let casting = &piece["castings"][0];
            let shell = shop.shell(&[casting]).await;
            shop.fire(&shell).await;
            shop.pour(&shop.heat(18.0).await, &shell, 15.0).await;
            shop.breakout(casting, &json!({})).await;
            shop.post(&format!("/v1/castings/{}/finish", id(casting)), &json!({"at": at(6, "09:00")})).await.made();
            (id(&piece), shop.post(&format!("/v1/pieces/{}/deliver", id(&piece)), &json!({"at": at(7, "09:00")})).await)
        };
        let first = deliver(&heron, Some("3/8")).await.1.made();
        let (second, refused) = deliver(&heron, Some("3/8")).await;
        refused.refused("edition-mark-taken");
        deliver(&heron, Some("AP 3/8")).await.1.made();
        deliver(&heron, None).await.1.made();
        deliver(&heron, None).await.1.made();
        deliver(&otter, Some("3/8")).await.1.made();
        // Come back, the mark is free again.
        shop.void(&format!("/v1/deliveries/{}", id(&first))).await.is(200);
        shop.post(&format!("/v1/pieces/{second}/deliver"), &json!({"at": at(7, "10:00")})).await.made();
    })
    .await;
}

#[tokio::test]
async fn a_good_casting_cast_again_needs_a_reason() {
    at_both(async |shop| {
        let (casting, ..) = shop.poured().await;
        let path = format!("/v1/castings/{}/recast", id(&casting));
        let refused = shop.post(&path, &json!({"at": at(6, "09:00"), "despite": whatever()})).await.refused("still-good");
        assert_eq!(refused["may_follow"], true, "its scrap may be on its way: {refused:#}");
        shop.post(&path, &json!({"at": at(6, "09:00"), "reason": "scrapped"})).await.refused("not-yet");
        let spare = shop.post(&path, &json!({"at": at(6, "09:00"), "reason": "spare"})).await.made();
        assert_eq!((spare["attempt"].clone(), spare["part"].clone()), (json!(2), json!("whole")));
        assert_ne!(spare["tag"], casting["tag"]);
        assert_eq!(shop.stage(&casting).await, "pour");
    })
    .await;
}

#[tokio::test]
async fn a_recast_without_a_reason_holds_its_scrap() {
    at_both(async |shop| {
        let dependents = |refused: &Value, recast: &Value| {
            let recast = json!([{"kind": "recast", "id": recast["recast_id"], "at": at(6, "09:00")}]);
            assert_eq!(refused["dependents"], recast, "{refused:#}");
        };
        let again = json!({"at": at(6, "09:00")});
        // Judged scrap at its breakout, cast again, judged anew.
        let (casting, ..) = shop.poured().await;
        let breakout = shop.breakout(&casting, &json!({"verdict": "scrap"})).await;
        let breakout = format!("/v1/breakouts/{}", id(&breakout));
        let recast = shop.post(&format!("/v1/castings/{}/recast", id(&casting)), &again).await.made();
        let path = format!("/v1/recasts/{}", recast["recast_id"].as_str().unwrap());
        dependents(&shop.patch(&breakout, &json!({"verdict": "accepted"})).await.refused("still-good"), &recast);
        dependents(&shop.void(&breakout).await.refused("in-use"), &recast);
        assert_eq!(shop.stage(&casting).await, "scrapped");
        // What is not of the verdict may be corrected.
        shop.patch(&breakout, &json!({"at": at(5, "09:40")})).await.is(200);
        shop.void(&path).await.is(200);
        shop.patch(&breakout, &json!({"verdict": "accepted"})).await.is(200);
        assert_eq!(shop.stage(&casting).await, "breakout");

        // Scrapped by a record of its own; a spare stands whatever becomes of it.
        let casting = shop.casting().await;
        let path = format!("/v1/castings/{}", id(&casting));
        let scrap =
            shop.post(&format!("{path}/scrap"), &json!({"at": at(2, "09:30"), "cause": {"category": "wax"}})).await.made();
        let scrap = format!("/v1/scraps/{}", id(&scrap));
        let recast = shop.post(&format!("{path}/recast"), &again).await.made();
        dependents(&shop.void(&scrap).await.refused("in-use"), &recast);
        shop.void(&format!("/v1/recasts/{}", recast["recast_id"].as_str().unwrap())).await.is(200);
        let spare = shop.post(&format!("{path}/recast"), &json!({"at": at(6, "09:00"), "reason": "spare"})).await.made();
        shop.void(&scrap).await.is(200);
        assert_eq!(shop.stage(&casting).await, "wax");
        assert_eq!(spare["attempt"], 2);
    })
    .await;
}

#[tokio::test]
async fn quantities_that_make_no_sense() {
    at_both(async |shop| {
        let (casting, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let refuse = async |more: Value, pointer: &str| {
            let faults = shop.try_pour(&heat, &shell, 10.0, &more).await.faults();
            assert!(faults.iter().any(|(p, _)| p == pointer), "{more}: {faults:?}");
        };
        let leak =
            |lost: f64, swept: f64| json!({"leaks": [{"where": "gate", "response": "none", "lost_kg": lost, "swept_kg": swept}]});
        refuse(leak(6.0, 4.1), "/leaks").await;
        refuse(json!({"poured_kg": 0}), "/poured_kg").await;
        refuse(json!({"poured_kg": null, "poured_basis": "weighed"}), "/poured_kg").await;
        refuse(json!({"shell_out_at": at(4, "09:20")}), "/shell_out_at").await;
        refuse(json!({"metal_c": 3001}), "/metal_c").await;
        shop.pour(&heat, &shell, 15.4).await;
        let tree = json!({"at": at(5, "09:00"), "castings": [{"casting_id": id(&casting)}, {"casting_id": id(&casting)}]});
        let faults = shop.post(&format!("/v1/shells/{}/breakout", id(&shell)), &tree).await.faults();
        assert_eq!(faults, [("/castings/1/casting_id".to_owned(), "twice".to_owned())]);
        lots_and_kilns(shop).await;
    })
    .await;
}

async fn lots_and_kilns(shop: &TestShop) {
    let lot = |kind: &str, mass: f64, cost: i64| json!({"alloy": "C87300", "kind": kind, "mass_kg": mass, "cost_minor": cost, "at": at(1, "08:00")});
    shop.post("/v1/metal-lots", &lot("ingot", 0.0, 0)).await.faults();
    shop.post("/v1/metal-lots", &lot("returns", 0.0, 5)).await.faults();
    let mut clients = lot("ingot", 5.0, 5);
    clients["owner_client_id"] = shop.client("Ada").await.into();
    shop.post("/v1/metal-lots", &clients).await.faults();
    let mut alloy = lot("ingot", 5.0, 5);
    alloy["alloy"] = "unobtainium".into();
    assert_eq!(shop.post("/v1/metal-lots", &alloy).await.faults(), [("/alloy".to_owned(), "not-in-catalogue".to_owned())]);
    let (_, shell) = shop.fired().await;
    let kiln = json!({"kiln": "Big kiln", "at": at(3, "14:00"), "out_at": at(3, "13:59"), "fuel_kg": 3, "fuel_kwh": 3,
                      "shells": [{"shell_id": id(&shell)}, {"shell_id": shell["tag"]}]});
    let pointers: Vec<String> = shop.post("/v1/burnouts", &kiln).await.faults().into_iter().map(|(p, _)| p).collect();
    assert_eq!(pointers, ["/fuel_kwh", "/out_at", "/shells"]);
}
