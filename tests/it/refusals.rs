//! Every type of refusal is reached, says what it promises, writes nothing and has a page.

use crate::kit::{Reply, TestShop, at, at_both, id};
use pourbook::kernel::ProblemType;
use serde_json::json;

/// Types that no request can bring about at will, each with its reason.
const OUT_OF_REACH: [(ProblemType, &str); 3] = [
    (ProblemType::TooManyTries, "only signing in is slowed, at a page; its tests are in sign_in.rs"),
    (ProblemType::Busy, "the disk or the clock must fail; the tests of the store reach it"),
    (ProblemType::Internal, "it is what must not happen"),
];

/// Brings a refusal about. A new type does not compile before it has a line here.
async fn provoke(shop: &TestShop, kind: ProblemType) -> Option<Reply> {
    use ProblemType as P;
    Some(match kind {
        P::Busy | P::Internal | P::TooManyTries => return None,
        P::Malformed
        | P::DuplicateKey
        | P::UnknownParameter
        | P::NoToken
        | P::NotAllowed
        | P::CrossSite
        | P::NotFound
        | P::WrongMethod
        | P::NotAcceptable
        | P::WrongType
        | P::TooLarge
        | P::Invalid => unreadable(shop, kind).await,
        P::KeyReused | P::PreconditionMissing | P::Stale | P::IdTaken | P::AlreadyVoid | P::InUse => state(shop, kind).await,
        P::NotYet | P::AlloyDiffers | P::LotShort | P::PatternIsUnique | P::ClientMetal | P::CrucibleInUse => {
            slip(shop, kind).await
        }
        P::Opened
        | P::BeforeThePour
        | P::AlreadyPoured
        | P::OutOfRoute
        | P::TimesContradict
        | P::MetalBeyond
        | P::ResidualTooLarge
        | P::MetalShort
        | P::HeatClosed
        | P::EditionMarkTaken
        | P::QuoteSettled
        | P::StillGood => never(shop, kind).await,
    })
}

async fn unreadable(shop: &TestShop, kind: ProblemType) -> Reply {
    use ProblemType as P;
    let body = json!({"name": "Ada"});
    let ask = |method: &str| shop.ask(method, "/v1/clients");
    match kind {
        P::Malformed => ask("POST").raw("application/json", "{").send().await,
        P::DuplicateKey => ask("POST").raw("application/json", "{\"name\":\"a\",\"name\":\"b\"}").send().await,
        P::UnknownParameter => shop.get("/v1/clients?nmae=Ada").await,
        P::NoToken => ask("GET").by(None).send().await,
        P::NotAllowed => ask("POST").by(Some(pourbook::kernel::Role::Reader)).json(&body).send().await,
        P::CrossSite => ask("POST").header("sec-fetch-site", "cross-site").json(&body).send().await,
        P::NotFound => shop.get(&format!("/v1/clients/{}", shop.mint())).await,
        P::WrongMethod => ask("DELETE").send().await,
        P::NotAcceptable => ask("GET").header("accept", "text/csv").send().await,
        P::WrongType => ask("POST").raw("text/plain", "Ada").send().await,
        P::TooLarge => ask("POST").raw("application/json", vec![b' '; 2 << 20]).send().await,
        _ => shop.post("/v1/clients", &json!({"name": 1})).await,
    }
}

async fn state(shop: &TestShop, kind: ProblemType) -> Reply {
    use ProblemType as P;
    let client = shop.client("Ada").await;
    let path = format!("/v1/clients/{client}");
    let patch = json!({"name": "Bea"});
    match kind {
        P::KeyReused => {
            shop.ask("POST", "/v1/clients").key("k-1").json(&json!({"name": "Ada"})).send().await.made();
            shop.ask("POST", "/v1/clients").key("k-1").json(&patch).send().await
        }
        P::PreconditionMissing => shop.ask("PATCH", &path).merge(&patch).send().await,
        P::Stale => shop.ask("PATCH", &path).if_match("x").merge(&patch).send().await,
        P::IdTaken => shop.post("/v1/clients", &json!({"name": "Bea", "id": client})).await,
        P::AlreadyVoid => {
            shop.void(&path).await.is(200);
            shop.void(&path).await
        }
        _ => {
            shop.commission(Some(&client)).await;
            shop.void(&path).await
        }
    }
}

async fn slip(shop: &TestShop, kind: ProblemType) -> Reply {
    use ProblemType as P;
    match kind {
        P::NotYet => {
            let casting = shop.casting().await;
            let shell = shop.shell(&[&casting]).await;
            let heat = shop.heat(18.0).await;
            shop.try_pour(&heat, &shell, 10.0, &json!({})).await
        }
        P::AlloyDiffers => {
            let (_, shell) = shop.fired().await;
            let lot = shop.lot(50.0, 100).await;
            let heat = shop.heat_from(&lot, 18.0, &json!({"alloy": "C90300"})).await;
            shop.try_pour(&heat, &shell, 10.0, &json!({})).await
        }
        P::LotShort => {
            let lot = shop.lot(5.0, 100).await;
            shop.light(&lot, 6.0, &json!({})).await
        }
        P::PatternIsUnique => {
            let pattern = shop.pattern("unique").await;
            let piece = shop.piece(&shop.commission(None).await, &json!({"pattern_id": pattern})).await;
            let path = format!("/v1/castings/{}", id(&piece["castings"][0]));
            shop.post(&format!("{path}/scrap"), &json!({"at": at(2, "09:00"), "cause": {"category": "wax"}})).await.made();
            shop.post(&format!("{path}/recast"), &json!({"at": at(2, "10:00")})).await
        }
        P::ClientMetal => {
            let (_, shell) = shop.fired().await;
            let heat = clients_heat(shop).await;
            shop.try_pour(&heat, &shell, 10.0, &json!({})).await
        }
        _ => {
            let lot = shop.lot(50.0, 100).await;
            shop.heat_from(&lot, 18.0, &json!({"crucible": "Big clay"})).await;
            shop.light(&lot, 18.0, &json!({"crucible": "big  clay", "at": at(4, "08:30")})).await
        }
    }
}

async fn clients_heat(shop: &TestShop) -> String {
    let client = shop.client("Ada").await;
    let body = json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 50, "cost_minor": 0, "at": at(1, "08:00"), "owner_client_id": client});
    let lot = id(&shop.post("/v1/metal-lots", &body).await.made());
    shop.heat_from(&lot, 18.0, &json!({})).await
}

async fn never(shop: &TestShop, kind: ProblemType) -> Reply {
    use ProblemType as P;
    match kind {
        P::MetalShort => {
            let lot = shop.lot(50.0, 100).await;
            shop.heat_from(&lot, 18.0, &json!({})).await;
            return shop.patch(&format!("/v1/metal-lots/{lot}"), &json!({"mass_kg": 10})).await;
        }
        P::QuoteSettled => {
            let asked = json!({"mass_kg": 8, "section_mm": 6, "alloy": "C87300", "copies": 1, "metal_minor_per_kg": 1500});
            let quote = format!("/v1/quotes/{}", id(&shop.post("/v1/quotes", &asked).await.made()));
            shop.post(&format!("{quote}/decline"), &json!({})).await.made();
            return shop.post(&format!("{quote}/accept"), &json!({})).await;
        }
        P::EditionMarkTaken => return second_of_a_mark(shop).await,
        P::StillGood => {
            let casting = shop.casting().await;
            return shop.post(&format!("/v1/castings/{}/recast", id(&casting)), &json!({"at": at(2, "10:00")})).await;
        }
        P::OutOfRoute => {
            let casting = shop.casting().await;
            shop.shell(&[&casting]).await;
            let body =
                json!({"recipe_id": shop.recipe().await, "casting_ids": [id(&casting)], "gating_kg": 0.5, "at": at(1, "11:00")});
            return shop.post("/v1/shells", &body).await;
        }
        P::TimesContradict => {
            let (casting, _) = shop.fired().await;
            return shop.post(&format!("/v1/castings/{}/waxes", id(&casting)), &json!({"at": at(2, "09:00")})).await;
        }
        _ => {}
    }
    let (casting, shell) = shop.fired().await;
    let heat = shop.heat(18.0).await;
    shop.pour(&heat, &shell, 15.4).await;
    match kind {
        P::Opened => {
            shop.breakout(&casting, &json!({})).await;
            let coat = json!({"kind": "seal", "slurry": "seal", "at": at(6, "09:00")});
            shop.post(&format!("/v1/shells/{}/coats", id(&shell)), &coat).await
        }
        P::BeforeThePour => shop.try_breakout(&casting, &json!({"at": at(4, "09:00")})).await,
        P::AlreadyPoured => shop.try_pour(&heat, &shell, 1.0, &json!({"at": at(4, "09:12")})).await,
        P::MetalBeyond => shop.try_breakout(&casting, &json!({"net_kg": 12, "returned_kg": 4})).await,
        P::ResidualTooLarge => shop.try_close(&heat, 0.1, 0.1).await,
        _ => {
            shop.close(&heat, 2.3, 0.2).await;
            let (_, other) = shop.fired().await;
            shop.try_pour(&heat, &other, 1.0, &json!({"at": at(4, "09:40")})).await
        }
    }
}

async fn second_of_a_mark(shop: &TestShop) -> Reply {
    let pattern = shop.pattern("file").await;
    let commission = shop.commission(None).await;
    let mut last = None;
    for _ in 0..2 {
        let piece = shop.piece(&commission, &json!({"pattern_id": pattern, "edition_mark": "3/8", "at": at(1, "08:00")})).await;
        let casting = &piece["castings"][0];
        let shell = shop.shell(&[casting]).await;
        shop.fire(&shell).await;
        shop.pour(&shop.heat(18.0).await, &shell, 15.0).await;
        shop.breakout(casting, &json!({})).await;
        shop.post(&format!("/v1/castings/{}/finish", id(casting)), &json!({"at": at(6, "09:00")})).await.made();
        last = Some(shop.post(&format!("/v1/pieces/{}/deliver", id(&piece)), &json!({"at": at(7, "09:00")})).await);
    }
    last.unwrap()
}

#[tokio::test]
async fn every_type_of_refusal_is_reached_and_explained() {
    at_both(async |shop| {
        for kind in ProblemType::ALL {
            let reply = provoke(shop, *kind).await;
            let Some(reply) = reply else {
                assert!(OUT_OF_REACH.iter().any(|(k, _)| k == kind), "no test reaches {}", kind.slug());
                continue;
            };
            let status = pourbook::web::reply::status(kind.class());
            assert_eq!(reply.status, status, "{}: {:#}", kind.slug(), reply.json);
            let problem = reply.refused(kind.slug());
            assert_eq!(problem["title"], kind.title());
            assert!(!problem["detail"].as_str().unwrap().is_empty(), "{}", kind.slug());
        }
        for kind in ProblemType::ALL {
            let page = shop.ask("GET", &format!("/problems/{}", kind.slug())).by(None).send().await;
            assert_eq!(page.status, 200, "{}", kind.slug());
            let text = String::from_utf8(page.bytes).unwrap();
            let plain = kind.help().replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;");
            assert!(text.contains(&plain), "{}", kind.slug());
        }
    })
    .await;
}
