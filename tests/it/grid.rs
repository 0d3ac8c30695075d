//! Every operation against every role and state, by enumeration over the routes. What is
//! expected follows from a route's right and method; a route that nobody gave a row fails
//! with its name.

pub mod rows;

use crate::kit::{Ask, TestShop, at_both, id};
use pourbook::app;
use pourbook::kernel::Role;
use pourbook::kernel::actor::Right;
use pourbook::web::{Method, Route};
use rows::{Row, maker, row};
use serde_json::{Value, json};
use std::collections::BTreeMap;

const WHO: [Option<Role>; 4] = [Some(Role::Owner), Some(Role::Hand), Some(Role::Reader), None];

fn routes(shop: &TestShop) -> Vec<Route> {
    app::all_routes(&app::kit(&shop.db))
}

fn is_void(route: &Route) -> bool {
    route.method == Method::Post && route.path.ends_with("/{id}/void")
}

fn may(route: &Route, who: Option<Role>) -> bool {
    who.map_or(route.right == Right::Open, |role| role.may(route.right))
}

/// The collection that a path stands in.
fn collection(path: &str) -> &str {
    path.split('/').nth(2).unwrap_or("")
}

/// A record of a collection, made by someone, or by the owner where they may not: its path.
pub async fn live(shop: &TestShop, collection: &str, by: Role) -> String {
    let operation = maker(collection).unwrap_or_else(|| panic!("nobody says how to make one of {collection}"));
    let made = row(shop, operation).await.unwrap_or_else(|| panic!("no row for {operation}"));
    let right = routes(shop).iter().find(|r| r.operation == operation).unwrap().right;
    let by = if by.may(right) { by } else { Role::Owner };
    let answer = shop.ask("POST", &made.path).by(Some(by)).json(&made.body).send().await.made();
    let of = match collection {
        "castings" => &answer["castings"][0]["id"],
        "coats" => &answer["coats"][0]["id"],
        "recasts" => &answer["recast_id"],
        _ => &answer["id"],
    };
    format!("/v1/{collection}/{}", of.as_str().unwrap())
}

/// The path of a live thing that a route reads, corrects or voids.
async fn live_path(shop: &TestShop, route: &Route, by: Role) -> String {
    let path = route.path.as_str();
    if path.contains("{tag}") {
        return path.replace("{tag}", shop.casting().await["tag"].as_str().unwrap());
    }
    if path.contains("{slug}") {
        return path.replace("{slug}", "not-yet");
    }
    if !path.contains('{') {
        return path.to_owned();
    }
    let record = live(shop, collection(path), by).await;
    path.replace("{id}", record.rsplit('/').next().unwrap())
}

/// Where and what to ask of a route that records something.
async fn row_of(shop: &TestShop, route: &Route) -> Row {
    row(shop, &route.operation)
        .await
        .unwrap_or_else(|| panic!("{} {} ({}) has no row", route.method.name(), route.path, route.operation))
}

fn reason() -> Value {
    json!({"reason": "seen again"})
}

/// A request that is legal but for who asks.
struct Legal {
    method: Method,
    path: String,
    query: String,
    body: Value,
    etag: String,
}

/// The parameters that a route cannot do without: a report is by a factor.
fn needed(route: &Route) -> String {
    let needed = route.params.iter().filter(|p| p.required);
    let said: Vec<String> = needed.map(|p| format!("{}={}", p.name, p.schema["enum"][0].as_str().unwrap_or("x"))).collect();
    if said.is_empty() { String::new() } else { format!("?{}", said.join("&")) }
}

impl Legal {
    fn by<'s>(&self, shop: &'s TestShop, who: Option<Role>) -> Ask<'s> {
        let ask = shop.ask(self.method.name(), &format!("{}{}", self.path, self.query)).by(who);
        match self.method {
            Method::Get => ask,
            Method::Patch => ask.if_match(&self.etag).merge(&self.body),
            Method::Post | Method::Put => ask.json(&self.body),
        }
    }
}

/// The request of a route on a live thing; what a hand corrects and voids it made itself.
async fn legal(shop: &TestShop, route: &Route, by: Role) -> Legal {
    if route.method == Method::Post && !is_void(route) {
        let Row { path, body, .. } = row_of(shop, route).await;
        return Legal { method: route.method, path, query: String::new(), body, etag: String::new() };
    }
    assert_ne!(route.method, Method::Put, "no route puts anything yet: give PUT a rule here");
    let path = live_path(shop, route, by).await;
    let etag = match route.method {
        Method::Patch => shop.get(&path).await.is(200)["etag"].as_str().unwrap().to_owned(),
        _ => String::new(),
    };
    let query = if route.operation == "report_compare" { two_levels(shop).await } else { needed(route) };
    Legal { method: route.method, path, query, body: reason(), etag }
}

/// What a comparison cannot do without: two recipes that were poured.
async fn two_levels(shop: &TestShop) -> String {
    let mut levels = Vec::new();
    for _ in 0..2 {
        shop.poured().await;
        let last = shop.get("/v1/recipes?limit=1").await.is(200);
        levels.push(last["items"][0]["name"].as_str().unwrap().replace(' ', "%20"));
    }
    format!("?factor=recipe&a={}&b={}", levels[0], levels[1])
}

#[tokio::test]
async fn every_route_answers_those_whom_its_right_names() {
    at_both(async |shop| {
        for route in routes(shop) {
            let mut request = legal(shop, &route, Role::Owner).await;
            let (allowed, refused): (Vec<_>, Vec<_>) = WHO.into_iter().partition(|who| may(&route, *who));
            for who in refused {
                let name = format!("{} {} by {who:?}", route.method.name(), route.path);
                let reply = request.by(shop, who).send().await;
                let expected = if who.is_none() { (401, "no-token") } else { (403, "not-allowed") };
                assert_eq!(reply.status, expected.0, "{name}");
                assert_eq!(reply.header("www-authenticate").is_some(), who.is_none(), "{name}");
                reply.refused(expected.1);
            }
            for (n, who) in allowed.into_iter().enumerate() {
                let name = format!("{} {} by {who:?}", route.method.name(), route.path);
                if n > 0 && route.method != Method::Get {
                    request = legal(shop, &route, who.unwrap_or(Role::Owner)).await;
                }
                let before = shop.written().await;
                let reply = request.by(shop, who).send().await;
                assert_eq!(reply.status, route.answer.status, "{name}: {:#}", reply.json);
                assert_eq!(shop.written().await.1 > before.1, route.method != Method::Get, "{name}");
                assert_eq!(reply.header("x-content-type-options"), Some("nosniff"), "{name}");
            }
        }
    })
    .await;
}

#[tokio::test]
async fn what_is_not_there_is_not_found() {
    at_both(async |shop| {
        for route in routes(shop).into_iter().filter(|r| r.path.contains('{')) {
            let body = match route.method {
                Method::Post if !is_void(&route) => row_of(shop, &route).await.body,
                _ => reason(),
            };
            let client = shop.client("Someone").await;
            for missing in [shop.mint(), client.clone(), "not-an-id".to_owned(), "%00".to_owned()] {
                let path =
                    format!("{}/{missing}{}", route.path.split("/{").next().unwrap(), route.path.split('}').nth(1).unwrap());
                if collection(&route.path) == "clients" && missing == client {
                    continue;
                }
                let ask = shop.ask(route.method.name(), &path);
                let reply = match route.method {
                    Method::Patch => ask.header("if-match", "*").merge(&body).send().await,
                    Method::Post => ask.json(&body).send().await,
                    _ => ask.send().await,
                };
                assert_eq!(reply.status, 404, "{} {path}: {:#}", route.method.name(), reply.json);
                reply.refused("not-found");
            }
        }
    })
    .await;
}

/// Voids what a path names, with all that depends on it.
async fn void_all(shop: &TestShop, path: &str) {
    let mut path = path.to_owned();
    if collection(&path) == "castings" {
        // A casting goes with its piece.
        let card = shop.get(&path).await.is(200);
        path = format!("/v1/pieces/{}", card["piece_id"].as_str().unwrap());
    }
    shop.post(&format!("{path}/void"), &json!({"reason": "never was", "cascade": true})).await.is(200);
}

#[tokio::test]
async fn a_void_is_final_and_nothing_is_recorded_under_it() {
    at_both(async |shop| {
        for route in routes(shop).into_iter().filter(|r| r.path.contains("{id}")) {
            let name = format!("{} {}", route.method.name(), route.path);
            if route.method == Method::Post && !is_void(&route) {
                let row = row_of(shop, &route).await;
                void_all(shop, row.parent.as_deref().unwrap_or_else(|| panic!("{name} has no parent in its row"))).await;
                let reply = shop.post(&row.path, &row.body).await;
                assert_eq!(reply.status, 409, "{name}: {:#}", reply.json);
                reply.refused("already-void");
                continue;
            }
            let record = live(shop, collection(&route.path), Role::Owner).await;
            let path = route.path.replace("{id}", record.rsplit('/').next().unwrap());
            void_all(shop, &record).await;
            match route.method {
                Method::Get => {
                    let answer = shop.get(&path).await.is(200);
                    assert!(path != record || answer["void"]["reason"] == "never was", "{name}: {answer:#}");
                }
                Method::Patch => {
                    let reply = shop.ask("PATCH", &path).header("if-match", "*").merge(&reason()).send().await;
                    assert_eq!(reply.status, 409, "{name}");
                    reply.refused("already-void");
                }
                _ => {
                    shop.post(&path, &reason()).await.refused("already-void");
                }
            }
        }
    })
    .await;
}

#[tokio::test]
async fn lists_leave_void_records_out_unless_asked() {
    at_both(async |shop| {
        for route in routes(shop).into_iter().filter(|r| r.operation.ends_with("_list") && r.path.matches('/').count() == 2) {
            let collection = collection(&route.path).to_owned();
            if !route.params.iter().any(|p| p.name == "void") {
                continue;
            }
            let record = live(shop, &collection, Role::Owner).await;
            let last = record.rsplit('/').next().unwrap();
            let holds = |list: &Value| list["items"].as_array().unwrap().iter().any(|i| i["id"] == last);
            assert!(holds(&shop.get(&format!("{}?limit=200", route.path)).await.is(200)), "{collection}");
            void_all(shop, &record).await;
            assert!(!holds(&shop.get(&format!("{}?limit=200", route.path)).await.is(200)), "{collection}");
            assert!(holds(&shop.get(&format!("{}?limit=200&void=true", route.path)).await.is(200)), "{collection}");
        }
    })
    .await;
}

#[tokio::test]
async fn a_version_that_has_moved_on_is_stale() {
    at_both(async |shop| {
        for route in routes(shop).into_iter().filter(|r| r.path.contains("{id}") && r.method != Method::Get) {
            let name = format!("{} {}", route.method.name(), route.path);
            let stale = "00000000-7";
            if route.method == Method::Patch {
                let path = live_path(shop, &route, Role::Owner).await;
                let reply = shop.ask("PATCH", &path).merge(&reason()).send().await;
                assert_eq!(reply.status, 428, "{name}");
                reply.refused("precondition-missing");
                let reply = shop.ask("PATCH", &path).if_match(stale).merge(&reason()).send().await;
                assert_eq!(reply.status, 412, "{name}");
                let problem = reply.refused("stale");
                // The etag that the refusal names is the one to send.
                let etag = problem["etag"].as_str().unwrap();
                let corrected = shop.ask("PATCH", &path).if_match(etag).merge(&reason()).send().await.is(200);
                assert_ne!(corrected["etag"], etag, "{name}");
                assert_eq!(corrected["version"], 2, "{name}");
                continue;
            }
            let (path, body) = if is_void(&route) {
                (live_path(shop, &route, Role::Owner).await, reason())
            } else {
                let row = row_of(shop, &route).await;
                (row.path, row.body)
            };
            let reply = shop.ask("POST", &path).if_match(stale).json(&body).send().await;
            assert_eq!(reply.status, 412, "{name}: {:#}", reply.json);
            reply.refused("stale");
        }
    })
    .await;
}

#[tokio::test]
async fn a_repeated_key_is_answered_again_and_recorded_once() {
    at_both(async |shop| {
        for route in routes(shop).into_iter().filter(|r| r.method == Method::Post) {
            let name = format!("{} {}", route.method.name(), route.path);
            let (path, body) = if is_void(&route) {
                (live_path(shop, &route, Role::Owner).await, reason())
            } else {
                let row = row_of(shop, &route).await;
                (row.path, row.body)
            };
            let key = format!("key-{}", shop.next());
            let ask = |body: &Value| shop.ask("POST", &path).key(&key).json(body).send();
            let first = ask(&body).await;
            assert_eq!(
                (first.status, first.header("idempotency-replayed")),
                (route.answer.status, None),
                "{name}: {:#}",
                first.json
            );
            let once = shop.written().await;
            // The same members in another order are the same request.
            let turned: Value =
                Value::Object(body.as_object().unwrap().iter().rev().map(|(k, v)| (k.clone(), v.clone())).collect());
            for again in [&body, &turned] {
                let second = ask(again).await;
                assert_eq!(second.status, first.status, "{name}: {:#}", second.json);
                assert_eq!(second.header("idempotency-replayed"), Some("true"), "{name}");
                assert_eq!(second.header("location"), first.header("location"), "{name}");
                assert_eq!(second.json, first.json, "{name}");
            }
            let mut other = body.clone();
            // Actions that take a reason alone get another; records get a member more.
            if is_void(&route) || route.path.ends_with("/forget") || route.path.ends_with("/merge") {
                other["reason"] = json!("another request");
            } else {
                other["despite"] = json!([]);
            }
            let reply = ask(&other).await;
            assert_eq!(reply.status, 422, "{name}: {:#}", reply.json);
            reply.refused("key-reused");
            assert_eq!(shop.written().await, once, "{name}");
        }
    })
    .await;
}

#[tokio::test]
async fn methods_that_a_path_does_not_take() {
    at_both(async |shop| {
        let mut by_path: BTreeMap<String, Vec<Route>> = BTreeMap::new();
        for route in routes(shop) {
            by_path.entry(route.path.clone()).or_default().push(route);
        }
        for (template, routes) in by_path {
            let path = live_path(shop, &routes[0], Role::Owner).await;
            let mut allowed: Vec<&str> = routes.iter().map(|r| r.method.name()).collect();
            if allowed.contains(&"GET") {
                allowed.push("HEAD");
                let get = shop.get(&path).await;
                let head = shop.ask("HEAD", &path).send().await;
                assert_eq!((head.status, head.header("etag")), (get.status, get.header("etag")), "{template}");
            }
            allowed.push("OPTIONS");
            allowed.sort_unstable();
            let said = |reply: &crate::kit::Reply| {
                let mut names: Vec<String> = reply.header("allow").unwrap().split(", ").map(str::to_owned).collect();
                names.sort();
                names
            };
            assert_eq!(said(&shop.ask("OPTIONS", &path).send().await), allowed, "{template}");
            for method in ["GET", "POST", "PATCH", "PUT", "DELETE"].into_iter().filter(|m| !allowed.contains(m)) {
                let reply = shop.ask(method, &path).json(&json!({})).send().await;
                assert_eq!(reply.status, 405, "{method} {template}");
                assert_eq!(said(&reply), allowed, "{method} {template}");
                reply.refused("wrong-method");
            }
        }
        shop.get("/v1/nothing-here").await.refused("not-found");
        shop.get("/nothing-here").await.refused("not-found");
    })
    .await;
}

#[tokio::test]
async fn parameters_that_are_unknown_or_there_twice() {
    at_both(async |shop| {
        for route in routes(shop) {
            let path = legal(shop, &route, Role::Owner).await.path;
            let ask = async |query: &str| {
                let ask = shop.ask(route.method.name(), &format!("{path}?{query}"));
                match route.method {
                    Method::Patch => ask.header("if-match", "*").merge(&reason()).send().await,
                    Method::Post => ask.json(&reason()).send().await,
                    _ => ask.send().await,
                }
            };
            let mut queries = vec!["allloy=C87300".to_owned(), "LIMIT=3".to_owned(), "=1".to_owned()];
            queries.extend(route.params.iter().map(|p| format!("{0}=1&{0}=1", p.name)));
            for query in queries {
                let reply = ask(&query).await;
                assert_eq!(reply.status, 400, "{} {}?{query}", route.method.name(), route.path);
                reply.refused("unknown-parameter");
            }
            let reply = ask("a=%ff%").await;
            assert_eq!(reply.status, 400, "{} {}", route.method.name(), route.path);
            reply.refused("malformed");
            for (name, wrong) in [
                ("limit", "0"),
                ("limit", "1.5"),
                ("limit", "9999999999999999999"),
                ("cursor", "nonsense"),
                ("from", "2026-03-01"),
                ("to", "noon"),
                ("void", "perhaps"),
            ] {
                if route.params.iter().any(|p| p.name == name) {
                    ask(&format!("{name}={wrong}")).await.refused("malformed");
                }
            }
        }
    })
    .await;
}

#[tokio::test]
async fn a_hand_corrects_its_own_for_a_day_and_nothing_of_others() {
    at_both(async |shop| {
        let hands = live(shop, "clients", Role::Hand).await;
        let owners = live(shop, "clients", Role::Owner).await;
        let ask = async |path: &str, body: &Value| {
            shop.ask("POST", &format!("{path}/void")).by(Some(Role::Hand)).json(body).send().await
        };
        ask(&owners, &reason()).await.refused("not-allowed");
        ask(&hands, &json!({"reason": "all of it", "cascade": true})).await.refused("not-allowed");
        let day = 24 * 3_600_000;
        let clock = shop.db.clock().clone();
        let now = clock.now();
        clock.set(now.plus_ms(day + 1));
        ask(&hands, &reason()).await.refused("not-allowed");
        clock.set(now.plus_ms(day - 1000));
        ask(&hands, &reason()).await.is(200);
        assert_eq!(shop.get(&hands).await.is(200)["void"]["reason"], "seen again");
        assert_eq!(id(&shop.get(&owners).await.is(200)), owners.rsplit('/').next().unwrap());
    })
    .await;
}
