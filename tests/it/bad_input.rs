//! What cannot be taken: named whole, with pointers, and nothing written.

use crate::kit::{Reply, TestShop, at, at_both, id};
use serde_json::{Value, json};

/// Asks for what cannot be taken; that nothing is written the kit sees.
async fn refused(shop: &TestShop, path: &str, media: &str, body: impl Into<Vec<u8>>) -> Reply {
    let reply = shop.ask("POST", path).raw(media, body).send().await;
    assert!(reply.status >= 400, "{path} took it: {:#}", reply.json);
    reply
}

async fn bad(shop: &TestShop, path: &str, body: &Value) -> Reply {
    refused(shop, path, "application/json", body.to_string()).await
}

fn pairs(list: &[(&str, &str)]) -> Vec<(String, String)> {
    let mut out: Vec<_> = list.iter().map(|(p, c)| ((*p).to_owned(), (*c).to_owned())).collect();
    out.sort();
    out
}

#[tokio::test]
async fn all_wrong_fields_are_named_at_once() {
    at_both(async |shop| {
        let heat = shop.heat(18.0).await;
        let body = json!({
            "id": "7", "at": "2026-03-04T09:10:00", "at_precision": "second", "hands": "Ada", "despite": ["everything"],
            "shell_id": 12, "support": "leaning", "poured_kg": -1, "metal_c": -300, "pour_seconds": "4", "shell_out_at": "now",
            "leaks": [{"where": "gate", "response": "froze_off", "lost_kg": "0.2"}, 3, {"where": "roof", "response": "none", "lost": 1}],
            "weather": "fine"
        });
        let faults = bad(shop, &format!("/v1/heats/{heat}/pours"), &body).await.faults();
        let expected = pairs(&[
            ("/id", "not-a-uuid"),
            ("/at", "no-instant"),
            ("/at_precision", "not-in-list"),
            ("/hands", "wrong-type"),
            ("/despite/0", "not-in-list"),
            ("/shell_id", "wrong-type"),
            ("/support", "not-in-list"),
            ("/filled", "required"),
            ("/poured_kg", "negative"),
            ("/metal_c", "out-of-range"),
            ("/pour_seconds", "wrong-type"),
            ("/shell_out_at", "no-instant"),
            ("/leaks/0/lost_kg", "wrong-type"),
            ("/leaks/1", "wrong-type"),
            ("/leaks/2/where", "not-in-list"),
            ("/leaks/2/lost", "unknown-field"),
            ("/weather", "unknown-field"),
        ]);
        assert_eq!(faults, expected);
        // Rows of a class pour, each under its own pointer.
        let commission = shop.commission(None).await;
        let rows = json!({"rows": [{"alloy": 5}, {"pattern": {"name": "x", "material": "wax_casting", "section_mm": 0}, "alloy": "C87300", "glaze": 1}]});
        let faults = bad(shop, &format!("/v1/commissions/{commission}/pieces"), &rows).await.faults();
        assert_eq!(faults, pairs(&[("/rows/0/alloy", "wrong-type"), ("/rows/1/pattern/section_mm", "out-of-range"), ("/rows/1/glaze", "unknown-field")]));
        // A pointer escapes what RFC 6901 section 3 says must be.
        let faults = bad(shop, "/v1/clients", &json!({"name": "Ada", "a/b~c": 1})).await.faults();
        assert_eq!(faults, pairs(&[("/a~1b~0c", "unknown-field")]));
    })
    .await;
}

#[tokio::test]
async fn bodies_that_cannot_be_read() {
    at_both(async |shop| {
        let name = |text: &str| format!("{{\"name\":\"Ada\",\"notes\":{text}}}");
        for (body, slug) in [
            (String::new(), "malformed"),
            ("{".to_owned(), "malformed"),
            ("{} {}".to_owned(), "malformed"),
            ("{'name':'Ada'}".to_owned(), "malformed"),
            ("{\"name\":\"Ada\",}".to_owned(), "malformed"),
            (name("NaN"), "malformed"),
            (name("Infinity"), "malformed"),
            (name("1e999"), "malformed"),
            (name("-1e999"), "malformed"),
            (name("\"\\ud800\""), "malformed"),
            (name("\"\\udc00\\ud800\""), "malformed"),
            (name("\"\\u00\""), "malformed"),
            (name("\"tab\there\""), "malformed"),
            (name("\"a\u{0}b\""), "malformed"),
            ("[".repeat(100_000), "malformed"),
            ("{\"a\":".repeat(100_000), "malformed"),
            ("{\"name\":\"Ada\",\"name\":\"Bea\"}".to_owned(), "duplicate-key"),
            ("{\"name\":\"Ada\",\"n\\u0061me\":\"Bea\"}".to_owned(), "duplicate-key"),
            ("{\"name\":\"Ada\",\"x\":{\"y\":1,\"y\":2}}".to_owned(), "duplicate-key"),
            (format!("\u{feff}{}", name("\"x\"")), "malformed"),
        ] {
            let reply = refused(shop, "/v1/clients", "application/json", body.clone()).await;
            assert_eq!(reply.status, 400, "{}", &body[..body.len().min(60)]);
            reply.refused(slug);
        }
        for bytes in [
            b"{\"name\":\"\xff\"}".to_vec(),
            b"{\"name\":\"\xc0\xaf\"}".to_vec(),
            b"\xff\xfe{\0}\0".to_vec(),
            b"{\"name\":\"\xed\xa0\x80\"}".to_vec(),
        ] {
            refused(shop, "/v1/clients", "application/json", bytes).await.refused("malformed");
        }
        for body in ["[]", "[{\"name\":\"Ada\"}]", "null", "\"Ada\"", "7", "true"] {
            let faults = refused(shop, "/v1/clients", "application/json", body).await.faults();
            assert_eq!(faults, pairs(&[("", "wrong-type")]), "{body}");
        }
        for media in [
            "text/plain",
            "application/x-www-form-urlencoded",
            "application/merge-patch+json",
            "multipart/form-data",
            "application/jsonx",
            "",
        ] {
            let reply = refused(shop, "/v1/clients", media, "{\"name\":\"Ada\"}").await;
            assert_eq!(reply.status, 415, "{media}");
            reply.refused("wrong-type");
        }
        shop.ask("POST", "/v1/clients").raw("Application/JSON; charset=utf-8", "{\"name\":\"Ada\"}").send().await.made();
        for size in [(1 << 20) + 1, 20 << 20] {
            let reply = refused(shop, "/v1/clients", "application/json", vec![b' '; size]).await;
            assert_eq!(reply.status, 413);
            reply.refused("too-large");
        }
        let reply =
            shop.ask("POST", "/v1/clients").header("content-length", "99999999999").json(&json!({"name": "Ada"})).send().await;
        reply.refused("too-large");
    })
    .await;
}

#[tokio::test]
async fn numbers_that_are_none_of_a_shop() {
    at_both(async |shop| {
        let lot = |mass: &str, cost: &str| {
            format!("{{\"alloy\":\"C87300\",\"kind\":\"ingot\",\"at\":\"2026-01-05T10:00:00Z\",\"mass_kg\":{mass},\"cost_minor\":{cost}}}")
        };
        for (mass, cost, fault) in [
            ("1e300", "1", ("/mass_kg", "too-large")),
            ("1000000.0000006", "1", ("/mass_kg", "too-large")),
            ("99999999999999999999999999", "1", ("/mass_kg", "too-large")),
            ("-0.000001", "1", ("/mass_kg", "negative")),
            ("-99999999999999999999999999", "1", ("/mass_kg", "negative")),
            ("0", "1", ("/mass_kg", "zero")),
            ("0.0000004", "1", ("/mass_kg", "zero")),
            ("\"10\"", "1", ("/mass_kg", "wrong-type")),
            ("true", "1", ("/mass_kg", "wrong-type")),
            ("null", "1", ("/mass_kg", "required")),
            ("10", "1.5", ("/cost_minor", "not-whole")),
            ("10", "-1", ("/cost_minor", "negative")),
            ("10", "1000000000001", ("/cost_minor", "too-large")),
            ("10", "9223372036854775808", ("/cost_minor", "too-large")),
        ] {
            let faults = refused(shop, "/v1/metal-lots", "application/json", lot(mass, cost)).await.faults();
            assert_eq!(faults, pairs(&[fault]), "{mass} {cost}");
        }
        // The largest and the smallest there are, and what rounds to a whole milligram.
        for (mass, read) in [("1000000", 1e6), ("0.000001", 1e-6), ("26.45", 26.45), ("0.0000015", 2e-6), ("1.2e1", 12.0)] {
            let reply = lot_made(shop, &lot(mass, "1000000000000")).await;
            assert_eq!(reply["mass_kg"].as_f64(), Some(read), "{mass}");
        }
        // Over 100 % of a composition, an element that is none.
        let mut body: Value = serde_json::from_str(&lot("10", "1")).unwrap();
        body["composition"] = json!({"Cu": 94.8, "Si": 40});
        assert_eq!(bad(shop, "/v1/metal-lots", &body).await.faults(), pairs(&[("/composition", "over-100")]));
        body["composition"] = json!({"Copper": 94.8, "Si": -1});
        let faults = bad(shop, "/v1/metal-lots", &body).await.faults();
        assert_eq!(faults, pairs(&[("/composition/Copper", "no-element"), ("/composition/Si", "out-of-range")]));
    })
    .await;
}

async fn lot_made(shop: &TestShop, body: &str) -> Value {
    shop.ask("POST", "/v1/metal-lots").raw("application/json", body).send().await.made()
}

#[tokio::test]
async fn times_that_cannot_be() {
    at_both(async |shop| {
        let tank = |time: &str| json!({"name": "Tank", "at": time});
        for time in [
            "2026-03-04T09:10:00",
            "2026-03-04",
            "2026-02-30T09:10:00Z",
            "2026-03-04T25:00:00Z",
            "2026-03-04T09:10:00+25:00",
            "04.03.2026 09:10",
            "2026-03-04T09:10:00[Europe/Lisbon]",
            "9999-03-04T09:10:00Z",
            "0001-01-01T00:00:00Z",
            "",
            "1772615400",
            "+2026-03-04T09:10:00Z",
        ] {
            assert_eq!(bad(shop, "/v1/slurry-batches", &tank(time)).await.faults(), pairs(&[("/at", "no-instant")]), "{time}");
        }
        assert_eq!(bad(shop, "/v1/slurry-batches", &json!({"name": "Tank"})).await.faults(), pairs(&[("/at", "required")]));
        // Five minutes ahead are a tablet's clock; more are the future.
        let ahead = |seconds: i64| shop.db.clock().now().plus_ms(1000 * seconds).to_string();
        for (seconds, taken) in [(301, false), (86_400 * 365, false), (299, true)] {
            let reply = shop.post("/v1/slurry-batches", &tank(&ahead(seconds))).await;
            if taken {
                reply.made();
            } else {
                assert_eq!(reply.faults(), pairs(&[("/at", "in-the-future")]), "{seconds}");
            }
        }
        // An offset is only how the instant was written.
        let made = shop.post("/v1/slurry-batches", &tank("2026-03-04T09:10:00+01:00")).await.made();
        assert_eq!(made["at"], "2026-03-04T08:10:00Z");
    })
    .await;
}

#[tokio::test]
async fn ids_of_others() {
    at_both(async |shop| {
        let (client, lot) = (shop.client("Ada").await, shop.lot(10.0, 100).await);
        let (casting, shell) = shop.fired().await;
        let heat = shop.heat(10.0).await;
        // Well-formed, of another kind or of nothing.
        for other in [client.clone(), heat.clone(), shop.mint(), id(&casting), "ZZZZZ".to_owned(), "shell".to_owned()] {
            let mut body = shop.pour_body(&shell, 8.0, &json!({}));
            body["shell_id"] = other.clone().into();
            let reply = bad(shop, &format!("/v1/heats/{heat}/pours"), &body).await;
            assert_eq!(reply.faults(), pairs(&[("/shell_id", "not-found")]), "{other}");
        }
        // Every one of them named.
        let body = json!({"alloy": "C87300", "furnace": "Gas", "at": at(4, "08:00"),
                          "charge": [{"lot_id": lot, "mass_kg": 1}, {"lot_id": client, "mass_kg": 1}, {"lot_id": shop.mint(), "mass_kg": 1}]});
        assert_eq!(bad(shop, "/v1/heats", &body).await.faults(), pairs(&[("/charge/1/lot_id", "not-found"), ("/charge/2/lot_id", "not-found")]));
        // A void one.
        shop.void(&format!("/v1/metal-lots/{lot}")).await.is(200);
        let body = json!({"alloy": "C87300", "furnace": "Gas", "at": at(4, "08:00"), "charge": [{"lot_id": lot, "mass_kg": 1}]});
        assert_eq!(bad(shop, "/v1/heats", &body).await.faults(), pairs(&[("/charge/0/lot_id", "void")]));
        // The path says it already.
        let mut body = shop.pour_body(&shell, 8.0, &json!({}));
        body["heat_id"] = heat.clone().into();
        assert_eq!(bad(shop, &format!("/v1/heats/{heat}/pours"), &body).await.faults(), pairs(&[("/heat_id", "in-path")]));
        // An id of the caller's own: taken, or not of version 7.
        bad(shop, "/v1/clients", &json!({"name": "Bea", "id": client})).await.refused("id-taken");
        for wrong in ["6fa459ea-ee8a-3ca4-894e-db77e160355e", "00000000-0000-0000-0000-000000000000", "x", "019d43c3d200770c8df8c9fec77ef17f0"] {
            assert_eq!(bad(shop, "/v1/clients", &json!({"name": "Bea", "id": wrong})).await.faults(), pairs(&[("/id", "not-a-uuid")]), "{wrong}");
        }
    })
    .await;
}

/// Text that means something to something else: SQL, HTML, spreadsheets, paths, shells,
/// headers, formats, right-to-left marks, combining characters, emoji.
const HOSTILE: [&str; 14] = [
    "'; DROP TABLE record; --",
    "\" OR 1=1 --",
    "<script>alert(1)</script>",
    "&lt;b&gt; &amp; <b>",
    "=HYPERLINK(\"http://example.com\")",
    "+1+1",
    "@SUM(A1:A9)",
    "../../etc/passwd",
    "$(reboot) `reboot`",
    "%s%n%x {{7*7}} ${7*7}",
    "a\\u0000b \\ud800",
    "ZOË \u{202e}gnp.exe e\u{301}\u{301}\u{301} \u{1f525}",
    "line one\nline two\ttabbed",
    "null",
];

/// The text fields of a request's schema: name and most characters.
fn text_fields(schema: &Value) -> Vec<(String, u64)> {
    let Some(properties) = schema["properties"].as_object() else { return Vec::new() };
    properties
        .iter()
        .filter(|(_, s)| {
            let kinds = &s["type"];
            (kinds == "string" || *kinds == json!(["string", "null"]))
                && s.get("enum").is_none()
                && s.get("format").is_none()
                && s.get("description").is_none()
        })
        .filter_map(|(name, s)| Some((name.clone(), s["maxLength"].as_u64()?)))
        .filter(|(name, _)| !matches!(name.as_str(), "alloy" | "material" | "gating_material" | "code" | "section" | "reason"))
        .collect()
}

#[tokio::test]
async fn hostile_text_comes_back_as_it_went_in() {
    at_both(async |shop| {
        let mut fields = 0;
        for route in pourbook::app::all_routes(&pourbook::app::kit(&shop.db)) {
            let Some(wanted) = route.body.filter(|b| !b.merge_patch && !route.path.ends_with("/void")) else { continue };
            if matches!(route.operation.as_str(), "setting_create" | "coat_create" | "piece_create" | "trade_entry_create") {
                continue;
            }
            let texts = text_fields(&wanted.schema);
            if texts.is_empty() {
                continue;
            }
            for (n, hostile) in HOSTILE.iter().enumerate() {
                // All fields of the first request at once, one row a text after that.
                if n > 0 && route.operation != "client_create" && route.operation != "burnout_create" {
                    continue;
                }
                let mut row = crate::grid::rows::row(shop, &route.operation).await.unwrap();
                for (name, most) in &texts {
                    let text = if n == 0 { HOSTILE[fields % HOSTILE.len()] } else { hostile };
                    fields += 1;
                    row.body[name.as_str()] =
                        text.chars().take(usize::try_from(*most).unwrap()).collect::<String>().trim().into();
                }
                let made = shop.post(&row.path, &row.body).await.made();
                let of = if made.get("recast_id").is_some() { continue } else { &made };
                let again = shop.get(&format!("/v1/{}/{}", collection_of(&route.answer.schema), id(of))).await.is(200);
                for (name, _) in &texts {
                    // A quote's one line may stand in the body itself; it is answered among the lines.
                    let said = |of: &Value| of.get(name.as_str()).unwrap_or(&of["lines"][0][name.as_str()]).clone();
                    assert_eq!(said(&made), row.body[name.as_str()], "{} {name}", route.operation);
                    assert_eq!(said(&again), row.body[name.as_str()], "{} {name}", route.operation);
                }
            }
        }
        assert!(fields > 60, "only {fields} text fields were found");
        for (text, code) in [
            ("a\u{0}b", "control-character"),
            ("a\u{1b}[31m", "control-character"),
            ("\r\n", "empty"),
            ("   ", "empty"),
            ("", "empty"),
        ] {
            let faults = bad(shop, "/v1/clients", &json!({"name": text})).await.faults();
            assert_eq!(faults, pairs(&[("/name", code)]), "{text:?}");
        }
        let faults = bad(shop, "/v1/clients", &json!({"name": "é".repeat(121)})).await.faults();
        assert_eq!(faults, pairs(&[("/name", "too-long")]));
        shop.post("/v1/clients", &json!({"name": "é".repeat(120)})).await.made();
    })
    .await;
}

/// The collection that the record of an answer stands in.
fn collection_of(schema: &Value) -> &'static str {
    let name = schema["$ref"].as_str().unwrap().rsplit('/').next().unwrap();
    pourbook::kernel::Kind::ALL.iter().find(|k| k.type_name() == name).unwrap().collection()
}

#[tokio::test]
async fn headers_that_cannot_be_read() {
    at_both(async |shop| {
        let body = json!({"name": "Ada"});
        for key in ["", "  ", "with space", "\"\""] {
            shop.ask("POST", "/v1/clients").key(key).json(&body).send().await.refused("malformed");
        }
        shop.ask("POST", "/v1/clients").key(&"k".repeat(129)).json(&body).send().await.refused("malformed");
        shop.ask("POST", "/v1/clients").key("one").key("two").json(&body).send().await.refused("malformed");
        for accept in ["text/html", "application/xml, text/*", "application/*;q=0.5, */*"] {
            let reply = shop.ask("GET", "/v1/clients").header("accept", accept).send().await;
            if accept.contains("application/*") {
                reply.is(200);
            } else {
                assert_eq!(reply.status, 406, "{accept}");
                reply.refused("not-acceptable");
            }
        }
        for token in ["Bearer", "Bearer nonsense", "Basic abc", "bearer  ", &format!("Bearer {}", "x".repeat(5000))] {
            let reply = shop.ask("GET", "/v1/clients").by(None).header("authorization", token).send().await;
            assert_eq!(reply.status, 401, "{token}");
            reply.refused("no-token");
        }
        let reply = shop.ask("GET", "/v1/clients").header("x-request-id", "tablet-3.17").send().await;
        assert_eq!(reply.header("x-request-id"), Some("tablet-3.17"));
    })
    .await;
}
