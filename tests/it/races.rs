//! What happens at once: one wins, the other is told, and the book is whole.

use crate::kit::{Reply, TestShop, at, at_both, id};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::future::Future;
use std::pin::Pin;
use std::task::Poll;

type Asked<'s> = Pin<Box<dyn Future<Output = Reply> + 's>>;

/// Sends requests at once, each going on whenever it can.
async fn at_once(mut asked: Vec<Asked<'_>>) -> Vec<Reply> {
    let mut replies: Vec<Option<Reply>> = asked.iter().map(|_| None).collect();
    std::future::poll_fn(|cx| {
        for (future, reply) in asked.iter_mut().zip(&mut replies) {
            if reply.is_none()
                && let Poll::Ready(answered) = future.as_mut().poll(cx)
            {
                *reply = Some(answered);
            }
        }
        if replies.iter().all(Option::is_some) { Poll::Ready(()) } else { Poll::Pending }
    })
    .await;
    replies.into_iter().flatten().collect()
}

/// Two requests at once, in either order of arrival; answers in the order given.
async fn two<'s>(first: Asked<'s>, second: Asked<'s>, turned: bool) -> (Reply, Reply) {
    let asked = if turned { vec![second, first] } else { vec![first, second] };
    let mut replies = at_once(asked).await;
    let (last, other) = (replies.pop().unwrap(), replies.pop().unwrap());
    if turned { (last, other) } else { (other, last) }
}

fn post<'s>(shop: &'s TestShop, path: &str, body: &Value) -> Asked<'s> {
    let key = format!("race-{}", shop.next());
    Box::pin(shop.ask("POST", path).key(&key).json(body).send())
}

/// The statuses of two answers, the smaller first.
fn statuses(a: &Reply, b: &Reply) -> (u16, u16) {
    (a.status.min(b.status), a.status.max(b.status))
}

#[tokio::test]
async fn two_pours_of_one_shell() {
    at_both(async |shop| {
        for turned in [false, true] {
            let (_, shell) = shop.fired().await;
            let heats = [shop.heat(18.0).await, shop.heat(18.0).await];
            shop.crowded();
            let [one, other] =
                [0, 1].map(|n| post(shop, &format!("/v1/heats/{}/pours", heats[n]), &shop.pour_body(&shell, 15.0, &json!({}))));
            let (a, b) = two(one, other, turned).await;
            assert_eq!(statuses(&a, &b), (201, 409), "{:#} {:#}", a.json, b.json);
            if a.status == 409 { a } else { b }.refused("already-poured");
            let poured = shop.get(&format!("/v1/pours?shell_id={}", id(&shell))).await.is(200);
            assert_eq!(poured["items"].as_array().unwrap().len(), 1);
        }
    })
    .await;
}

#[tokio::test]
async fn a_pour_and_the_closing_of_its_heat() {
    at_both(async |shop| {
        for turned in [false, true] {
            let (_, shell) = shop.fired().await;
            let heat = shop.heat(18.0).await;
            shop.crowded();
            let closing = json!({"at": at(4, "09:30"), "pigged_kg": 2.8, "dross_kg": 0.1});
            let pour = post(shop, &format!("/v1/heats/{heat}/pours"), &shop.pour_body(&shell, 15.0, &json!({})));
            let close = post(shop, &format!("/v1/heats/{heat}/close"), &closing);
            let (poured, closed) = two(pour, close, turned).await;
            // Timed before the closing, the pour is taken whichever comes first.
            poured.made();
            if closed.status == 409 {
                closed.refused("residual-too-large");
                shop.post(&format!("/v1/heats/{heat}/close"), &closing).await.made();
            }
            let balance = shop.get(&format!("/v1/heats/{heat}/balance")).await.is(200);
            assert_eq!(balance["unexplained_kg"], 0.1, "{balance:#}");
        }
    })
    .await;
}

#[tokio::test]
async fn a_pour_and_the_void_of_what_it_rests_on() {
    at_both(async |shop| {
        for turned in [false, true] {
            let casting = shop.casting().await;
            let shell = shop.shell(&[&casting]).await;
            let burnout = shop.fire(&shell).await;
            let heat = shop.heat(18.0).await;
            shop.crowded();
            let pour = post(shop, &format!("/v1/heats/{heat}/pours"), &shop.pour_body(&shell, 15.0, &json!({})));
            let void = post(shop, &format!("/v1/burnouts/{}/void", id(&burnout)), &json!({"reason": "another shell"}));
            let (poured, voided) = two(pour, void, turned).await;
            let stage = shop.stage(&casting).await;
            if poured.status == 201 {
                voided.refused("in-use");
                assert_eq!(stage, "pour");
            } else {
                poured.refused("not-yet");
                voided.is(200);
                assert_eq!(stage, "shell");
            }
        }
    })
    .await;
}

#[tokio::test]
async fn two_corrections_and_a_void_of_one_record() {
    at_both(async |shop| {
        for turned in [false, true] {
            let (_, _, _, pour) = shop.poured().await;
            shop.crowded();
            let path = format!("/v1/pours/{}", id(&pour));
            let etag = pour["etag"].as_str().unwrap();
            let patch = |kg: f64| -> Asked<'_> {
                Box::pin(shop.ask("PATCH", &path).if_match(etag).merge(&json!({"poured_kg": kg})).send())
            };
            let (a, b) = two(patch(15.3), patch(15.5), turned).await;
            assert_eq!(statuses(&a, &b), (200, 412), "{:#} {:#}", a.json, b.json);
            let won = if a.status == 200 { a.json } else { b.json };
            assert_eq!(shop.get(&path).await.is(200), won);
            let etag = won["etag"].as_str().unwrap();
            // The closing stands on the pour's mass: without it the heat would not balance.
            let closing =
                shop.get(&format!("/v1/heats/{}", won["heat_id"].as_str().unwrap())).await.is(200)["closings"][0].clone();
            shop.void(&format!("/v1/closings/{}", id(&closing))).await.is(200);
            let patch: Asked<'_> = Box::pin(shop.ask("PATCH", &path).if_match(etag).merge(&json!({"metal_c": 1140})).send());
            let void = post(shop, &format!("{path}/void"), &json!({"reason": "never was"}));
            let (patched, voided) = two(patch, void, turned).await;
            voided.is(200);
            if patched.status != 200 {
                patched.refused("already-void");
            }
            assert_eq!(shop.get(&path).await.is(200)["void"]["reason"], "never was");
        }
    })
    .await;
}

#[tokio::test]
async fn fifty_times_the_same_key() {
    at_both(async |shop| {
        let (_, shell) = shop.fired().await;
        let heat = shop.heat(18.0).await;
        let before = shop.written().await;
        shop.crowded();
        let body = shop.pour_body(&shell, 15.0, &json!({"hands": ["Ada"]}));
        let asked = (0..50).map(|_| -> Asked<'_> {
            Box::pin(shop.ask("POST", &format!("/v1/heats/{heat}/pours")).key("once").json(&body).send())
        });
        let replies = at_once(asked.collect()).await;
        let replayed = replies.iter().filter(|r| r.header("idempotency-replayed") == Some("true")).count();
        assert_eq!((replies.len(), replayed), (50, 49));
        let first = &replies.iter().find(|r| r.header("idempotency-replayed").is_none()).unwrap().json;
        for reply in &replies {
            assert_eq!((reply.status, &reply.json), (201, first));
        }
        // The pour and the hand made on first use.
        assert_eq!(shop.written().await, (before.0 + 2, before.1 + 2));
    })
    .await;
}

#[tokio::test]
async fn fifty_records_at_once() {
    at_both(async |shop| {
        shop.crowded();
        let asked = (0..50).map(|n| {
            let body = json!({"title": format!("Commission {n}"), "hands": ["Ada", format!("Hand {}", n % 5)]});
            post(shop, "/v1/commissions", &body)
        });
        let replies = at_once(asked.collect()).await;
        let numbers: BTreeSet<String> = replies.into_iter().map(|r| r.made()["number"].as_str().unwrap().to_owned()).collect();
        assert_eq!(numbers.len(), 50);
        assert_eq!((numbers.first().unwrap().as_str(), numbers.last().unwrap().as_str()), ("26-001", "26-050"));
        assert_eq!(shop.get("/v1/hands").await.is(200)["items"].as_array().unwrap().len(), 6);
    })
    .await;
}

#[tokio::test]
async fn only_one_of_two_where_there_can_be_but_one() {
    at_both(async |shop| {
        let (casting, _, heat, _) = shop.poured().await;
        let lot = shop.lot(10.0, 100).await;
        shop.crowded();
        let path = format!("/v1/castings/{}", id(&casting));
        let charge = json!([{"lot_id": lot, "mass_kg": 7}]);
        for (path, body, refusal) in [
            (format!("/v1/heats/{heat}/close"), json!({"at": at(4, "09:31"), "pigged_kg": 2.3, "dross_kg": 0.2}), "heat-closed"),
            (
                "/v1/breakouts".to_owned(),
                json!({"casting_id": id(&casting), "at": at(5, "09:00"), "gross_kg": 15.2}),
                "out-of-route",
            ),
            (format!("{path}/cut-off"), json!({"at": at(5, "10:00"), "net_kg": 11}), "invalid"),
            (format!("{path}/finish"), json!({"at": at(6, "10:00")}), "out-of-route"),
            (format!("{path}/recast"), json!({"at": at(6, "11:00"), "reason": "spare"}), "out-of-route"),
            (
                "/v1/heats".to_owned(),
                json!({"alloy": "C87300", "furnace": "Gas", "at": at(6, "08:00"), "charge": charge}),
                "lot-short",
            ),
        ] {
            let (a, b) = two(post(shop, &path, &body), post(shop, &path, &body), false).await;
            let made = [&a, &b].into_iter().filter(|r| r.status == 201).count();
            // The heat is closed already; of the others one is taken.
            assert_eq!(made, usize::from(refusal != "heat-closed"), "{path}: {:#} {:#}", a.json, b.json);
            if b.status == 201 { a } else { b }.refused(refusal);
        }
    })
    .await;
}

#[tokio::test]
async fn a_setting_and_what_rests_on_it() {
    at_both(async |shop| {
        for (n, turned) in [false, true].into_iter().enumerate() {
            let (_, shell) = shop.fired().await;
            let heat = shop.heat(18.0).await;
            shop.crowded();
            let least = 300 + 10 * n;
            let setting = post(shop, "/v1/settings", &json!({"name": "shell_dry_c", "from_on": "2026-03-01", "value": least}));
            let pour = post(shop, &format!("/v1/heats/{heat}/pours"), &shop.pour_body(&shell, 15.0, &json!({"shell_c": 290})));
            let (set, poured) = two(setting, pour, turned).await;
            set.made();
            let record = shop.get(&format!("/v1/pours/{}", id(&poured.made()))).await.is(200);
            let limit = json!(format!("shell at {least} °C or more"));
            assert!(record["practice_flags"].as_array().unwrap().iter().any(|f| f["limit"] == limit), "{record:#}");
        }
    })
    .await;
}
