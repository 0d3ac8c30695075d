//! Every member that a record may be corrected in, corrected to another legal value and back:
//! the members are those of the API document, and a new one fails until it has a value here.

use super::history::{History, differs, said, two_pour_days};
use crate::grid::live;
use crate::kit::{TestShop, at, id};
use pourbook::app;
use pourbook::db::{Cell, Read as _};
use pourbook::kernel::{Instant, Role};
use pourbook::web::Method;
use serde_json::{Map, Value, json};

/// What is sent for a member.
enum Other {
    /// That value.
    To(Value),
    /// That value, and what must be sent along with it.
    With(Value),
    /// A value that is refused here, by that type and for that reason.
    Refused(Value, &'static str),
}

use Other::{Refused, To, With};

/// The body of a record as the journal has it.
async fn body(shop: &TestShop, record: &str) -> Map<String, Value> {
    let sql = "SELECT j.body FROM record r JOIN journal j ON j.n = r.journal_n WHERE lower(hex(r.id)) = ?";
    let mut read = shop.db.read().await.unwrap();
    let row = read.fetch_one(sql, vec![Cell::from(record.replace('-', ""))]).await.unwrap().unwrap();
    serde_json::from_str(&row.text(0).unwrap()).unwrap()
}

fn later(value: &Value) -> Value {
    json!(Instant::parse(value.as_str().unwrap()).unwrap().plus_ms(60_000).to_string())
}

/// Another value of a schema; none where the schema does not say enough.
fn by_schema(schema: &Value, member: &str, was: &Value) -> Option<Value> {
    if let Some(words) = schema["enum"].as_array() {
        return words.iter().find(|w| !w.is_null() && *w != was).cloned();
    }
    let kind = schema["type"].as_array().map_or(&schema["type"], |both| &both[0]).as_str()?;
    Some(match (kind, schema["format"].as_str()) {
        ("boolean", _) => json!(!was.as_bool().unwrap_or(false)),
        ("string", Some("date")) => json!("2026-04-02"),
        ("string", Some("date-time")) => later(if was.is_string() { was } else { return None }),
        ("integer", _) => json!(was.as_i64().unwrap_or(6) + 1),
        ("number", _) => was.as_f64().map_or_else(|| json!(0.01), |n| json!((n * 0.99 * 1e6).round() / 1e6)),
        ("string", _) if !member.ends_with("_id") => json!(format!("another {member}").chars().take(20).collect::<String>()),
        _ => return None,
    })
}

/// A piece, mould or pattern sent out in the place of a casting.
async fn outside(shop: &TestShop, member: &str) -> Value {
    let id_of = |path: String| path.rsplit('/').next().unwrap().to_owned();
    let collection = match member {
        "piece_id" => "pieces",
        "mould_id" => "moulds",
        _ => "patterns",
    };
    let other = id_of(live(shop, collection, Role::Owner).await);
    json!({"casting_id": null, member: other})
}

/// Another legal value of a member.
#[expect(clippy::too_many_lines, reason = "one table")]
async fn other(
    shop: &TestShop,
    h: &History,
    collection: &str,
    record: &Value,
    member: &str,
    schema: &Value,
    was: &Value,
) -> Other {
    let array = |name: &str| record[name].as_array().cloned().unwrap_or_default();
    let first = |name: &str, change: Value| {
        let mut items = array(name);
        for (member, value) in change.as_object().unwrap() {
            items[0][member] = value.clone();
        }
        To(items.into())
    };
    let named = |to: &str| To(json!(h.id(to)));
    match (collection, member) {
        (_, "hands") => To(json!(["Somebody"])),
        (_, "bottles_before_kg" | "bottles_after_kg") => With(json!({"bottles_before_kg": 20, "bottles_after_kg": 19})),
        ("deliveries", "crate_mm") => To(json!({"x": 900, "y": 400, "z": 300})),
        ("outside-work", "back_at") => To(json!(at(9, "09:00"))),
        ("outside-work", "casting_id") => named("casting1b"),
        ("outside-work", "piece_id" | "mould_id" | "pattern_id") => With(outside(shop, member).await),
        ("patina-versions", "patina_id") => {
            Refused(json!(live(shop, "patinas", Role::Owner).await.rsplit('/').next().unwrap()), "invalid")
        }
        (_, "patina_id") => To(json!(live(shop, "patinas", Role::Owner).await.rsplit('/').next().unwrap())),
        ("work", "patina_version") => {
            let patina = live(shop, "patinas", Role::Owner).await;
            With(json!({"patina_id": patina.rsplit('/').next().unwrap(), "patina_version": 1}))
        }
        ("patinas" | "patina-versions", "steps") => To(json!([{"kind": "rinse"}])),
        // Its castings are of this piece; and the other was not handed over.
        ("assemblies", "piece_id") => Refused(json!(h.id("piece2")), "invalid"),
        ("piece-losses", "piece_id") => Refused(json!(id(&shop.piece(&h.id("job2"), &json!({})).await)), "not-yet"),
        ("certificates", "piece_id") => To(json!(h.id("piece2"))),
        ("assemblies", "casting_ids") => To(json!(record["casting_ids"].as_array().unwrap().iter().rev().collect::<Vec<_>>())),
        ("piece-losses", "delivery_id") => Refused(json!(h.id("deliver2")), "invalid"),
        ("trials", "factor") => With(json!({"factor": "support", "a": "buried", "b": "open_rack"})),
        ("trials", "strata") => To(json!(["pattern"])),
        // A quote stays as it was given; who it is for and the shop's own notes are open.
        ("quotes", "client_id" | "notes") | ("quote-steps", "whom" | "reason" | "notes") => {
            if member == "client_id" {
                To(json!(live(shop, "clients", Role::Owner).await.rsplit('/').next().unwrap()))
            } else {
                To(json!("another word"))
            }
        }
        ("quotes", "lines") => Refused(json!([{"alloy": "C87300", "copies": 3, "mass_kg": 8, "section_mm": 6}]), "invalid"),
        ("quotes", "due_on" | "valid_until") => Refused(json!("2027-01-01"), "invalid"),
        ("quotes", "set_price_minor" | "tax_percent") => Refused(json!(7), "invalid"),
        ("quotes", "revises") => Refused(json!(live(shop, "quotes", Role::Owner).await.rsplit('/').next().unwrap()), "invalid"),
        ("quotes", "worked") => Refused(json!({"seed": "1"}), "invalid"),
        ("quotes", "title" | "opening" | "seed") => Refused(json!("17"), "invalid"),
        ("quote-steps", "quote_id") => {
            Refused(json!(live(shop, "quotes", Role::Owner).await.rsplit('/').next().unwrap()), "invalid")
        }
        ("quote-steps", "step") => Refused(json!("declined"), "invalid"),
        ("quote-steps" | "commissions", "commission_id") => {
            Refused(json!(live(shop, "commissions", Role::Owner).await.rsplit('/').next().unwrap()), "invalid")
        }
        ("commissions", "quote_id") => To(json!(live(shop, "quotes", Role::Owner).await.rsplit('/').next().unwrap())),
        // The coin was tossed for these two.
        ("trial-pairs", "shell_ids") => {
            Refused(record["shell_ids"].as_array().unwrap().iter().rev().cloned().collect(), "invalid")
        }
        ("trial-pairs" | "trial-ends", "trial_id") => {
            let other = json!(live(shop, "trials", Role::Owner).await.rsplit('/').next().unwrap());
            if collection == "trial-pairs" { Refused(other, "invalid") } else { To(other) }
        }
        (_, "also_called") => To(json!(["another name"])),
        ("properties", "out_at") => To(json!(at(9, "09:00"))),
        ("properties", "out_to") => With(json!({"out_at": at(9, "09:00"), "out_to": "the client"})),
        ("properties", "commission_id") => To(json!(live(shop, "commissions", Role::Owner).await.rsplit('/').next().unwrap())),
        (_, "cleared_for") => To(json!(["pouring"])),
        ("commissions", "stages") => With(json!({"price_minor": 900, "stages": [{"for": "all", "amount_minor": 900}]})),
        (_, "despite") => To(json!(["lot_short"])),
        (_, "assumed") => To(json!(["hands"])),
        (_, "at_precision") => To(json!("hour")),
        ("rates", "hand_id") => {
            let hand = live(shop, "hands", Role::Owner).await.rsplit('/').next().unwrap().to_owned();
            With(json!({"what": "hand_hour", "hand_id": hand}))
        }
        ("rates", "recipe_id") => With(json!({"what": "shell_coat_dm2", "recipe_id": shop.recipe().await})),
        // A scrap price re-values what came back; the history's own alloy is C87300.
        ("rates", "alloy") => With(json!({"what": "scrap_kg", "alloy": "C87300"})),
        ("rates", "ended") => With(json!({"ended": true, "amount_minor": null})),
        ("settings", "name") => To(json!("shell_cool_c")),
        ("settings", "value") => To(json!(211)),
        // What one section knows of an entry another does not.
        ("trade-entries", "section") => Refused(json!("alloys"), "invalid"),
        ("trade-entries", "values") => {
            let mut values = record["values"].clone();
            values["name"] = "thick crust".into();
            To(values)
        }
        ("moulds" | "patterns" | "metal-lots", "owner_client_id") | (_, "client_id") => {
            let client = json!(shop.client(&format!("Bea {}", shop.next())).await);
            // A client's metal is worth nothing to the shop.
            if collection == "metal-lots" { With(json!({"owner_client_id": client, "cost_minor": 0})) } else { To(client) }
        }
        ("patterns", "material") => To(json!("wax_micro")),
        ("patterns", "volume_cm3") => With(json!({"volume_cm3": 1300, "mass_kg": null})),
        ("patterns", "dimensions_mm") => To(json!({"x": 300, "y": 200.5, "z": 90})),
        // What was put on file along with the piece is corrected there.
        ("pieces", "pattern") => {
            Refused(json!({"name": "Crane", "material": "wax_casting", "mass_kg": 1, "section_mm": 5}), "invalid")
        }
        // The parts have castings.
        ("pieces", "parts") => Refused(json!(["upper", "lower"]), "invalid"),
        ("waxes", "approved_at") => To(json!(at(1, "09:30"))),
        ("metal-lots", "composition") => To(json!({"Cu": 94.5, "Si": 4.1})),
        ("metal-lots", "kind") => To(json!("addition")),
        ("receipts", "lot_id") => named("pool"),
        ("recipes" | "recipe-versions", "coats") => To(json!([{"kind": "prime", "slurry": "prime", "dry_hours": 200}])),
        ("shells", "recipe_version") => To(json!(1)),
        // A version stays with its recipe.
        ("recipe-versions", "recipe_id") => Refused(json!(shop.recipe().await), "invalid"),
        // The version that the shell names is the other recipe's.
        ("shells", "recipe_id") => With(json!({"recipe_id": shop.recipe().await, "recipe_version_id": null})),
        ("shells", "recipe_version_id") => {
            let versions = shop.get(&format!("/v1/recipes/{}", h.id("recipe"))).await.is(200)["versions"].clone();
            To(versions[0]["id"].clone())
        }
        ("shells", "casting_ids") => To(json!([h.id("casting2"), h.id("casting1")])),
        ("shells", "gating_cm3") => With(json!({"gating_cm3": 500, "gating_kg": null})),
        ("shells", "gating_material") => To(json!("wax_micro")),
        ("shells", "cups") => To(json!([{"volume_cm3": 40}])),
        (_, "slurry_batch_id") => To(json!(id(&shop
            .post("/v1/slurry-batches", &json!({"name": format!("Tank {}", shop.next()), "at": at(1, "07:30")}))
            .await
            .made()))),
        ("burnouts", "shells") => {
            let mut items = array("shells");
            items[0]["result"] = "cracked".into();
            To(items.into())
        }
        ("burnouts" | "preheats", "out_at") => To(later(&record["at"])),
        ("preheats", "shell_ids") => To(json!([h.id("shell1"), h.id("shell2")])),
        ("heats", "charge") => first("charge", json!({"mass_kg": 40.1})),
        // Drawn from here, what the heat poured is not in it.
        ("charges", "heat_id") => Refused(json!(h.id("heat2")), "residual-too-large"),
        ("charges" | "counts" | "outs" | "transfers", "lot_id") => named("spare_lot"),
        ("transfers", "to_lot_id") => named("spare_pool"),
        ("outs", "to") => With(json!({"to": "written_off", "income_minor": null})),
        ("heat-events", "lot_id") => With(json!({"lot_id": h.id("spare_lot"), "mass_kg": 0.02, "kind": "deoxidise"})),
        ("work", "rod_lot_id") => With(json!({"rod_lot_id": h.id("spare_lot"), "rod_kg": 0.02})),
        // The next heat draws on what was pigged.
        ("closings", "pigged_lot_id") => Refused(json!(h.id("spare_pool")), "metal-short"),
        ("breakouts", "kept") => Refused(json!(true), "invalid"),
        ("heat-events", "mass_kg") => With(json!({"lot_id": h.id("lot1"), "mass_kg": 0.03})),
        ("heat-events", "heat_id") => With(json!({"heat_id": h.id("heat2"), "at": at(5, "08:30")})),
        // The heat poured nothing that weighs as much.
        ("pours", "heat_id") => Refused(json!(h.id("heat2")), "times-contradict"),
        // The shell it was in was opened since.
        ("pours", "shell_id") => Refused(json!(h.id("shell2")), "times-contradict"),
        ("pours", "shell_out_at") => To(json!(at(4, "09:05"))),
        ("pours", "continues_pour_id") => Refused(json!(h.id("pour2")), "invalid"),
        ("pours", "leaks") => first("leaks", json!({"lost_kg": 0.1, "swept_kg": 0.2})),
        // By what was weighed of the other shell, that much did not leak from it.
        ("leaks", "pour_id") => Refused(json!(h.id("pour2")), "metal-beyond"),
        (_, "swept_lot_id" | "returned_lot_id") => named("spare_pool"),
        // The other heat was charged after that.
        ("closings", "heat_id") => Refused(json!(h.id("heat2")), "heat-closed"),
        ("breakouts", "findings") => To(json!([{"code": "A112"}])),
        ("scraps", "findings") => To(json!([{"code": "A112"}])),
        // That tree is another shell.
        ("breakouts", "shell_breakout_id") => Refused(json!(h.id("tree")), "invalid"),
        ("shell-breakouts", "shell_id") => Refused(json!(h.id("shell2")), "invalid"),
        // Each is a breakout of its own, corrected there.
        ("shell-breakouts", "castings") => Refused(json!([]), "invalid"),
        ("findings", "code") => To(json!("A112")),
        ("findings", "breakout_id") => To(json!(h.id("breakout3"))),
        ("findings", "scrap_id") => {
            let scrap = live(shop, "scraps", Role::Owner).await;
            With(json!({"scrap_id": scrap.rsplit('/').next().unwrap(), "breakout_id": null}))
        }
        ("scraps", "cause") => To(json!({"category": "client", "text": "changed her mind"})),
        ("work", "piece_id" | "shell_id" | "heat_id" | "mould_id" | "commission_id") => {
            let to = match member {
                "piece_id" => h.id("piece2"),
                "shell_id" => h.id("shell1"),
                "heat_id" => h.id("heat1"),
                "commission_id" => h.id("job1"),
                _ => live(shop, "moulds", Role::Owner).await.rsplit('/').next().unwrap().to_owned(),
            };
            With(json!({member: to, "casting_id": null, "mass_after_kg": null}))
        }
        ("work", "rod_kg") => To(json!(0.02)),
        ("waxes" | "scraps" | "work", "casting_id") => To(json!(id(&shop.casting().await))),
        // What follows on the casting rests on it.
        ("breakouts" | "finishes", "casting_id") => Refused(json!(h.id("casting1b")), "times-contradict"),
        // The other casting did not come so far; or is still good.
        ("cut-offs", "casting_id") => Refused(json!(h.id("casting1b")), "not-yet"),
        ("deliveries", "piece_id") => Refused(json!(id(&shop.piece(&h.id("job2"), &json!({})).await)), "not-yet"),
        ("recasts", "casting_id") => Refused(json!(h.id("casting3")), "still-good"),
        ("coats" | "patches", "shell_id") => named("shell2"),
        (_, "commission_id") => To(json!(shop.commission(None).await)),
        (_, "mould_id") => To(json!(live(shop, "moulds", Role::Owner).await.rsplit('/').next().unwrap())),
        (_, "pattern_id") => To(json!(shop.pattern("file").await)),
        (_, "alloy") => With(json!({"alloy": "C90300", "despite": ["alloy_differs"]})),
        _ => To(by_schema(schema, member, was).unwrap_or_else(|| panic!("{collection}: no other value of {member}: {schema}"))),
    }
}

/// A live record of a collection: one that much rests on, the history's first, or one of its own.
async fn oldest(shop: &TestShop, h: &History, collection: &str) -> String {
    match collection {
        "metal-lots" => return h.id("lot1"),
        "breakouts" => return h.id("breakout3"),
        "work" => return h.id("chase2"),
        _ => {}
    }
    let list = shop.get(&format!("/v1/{collection}?limit=200")).await.is(200);
    match list["items"].as_array().unwrap().last() {
        Some(record) => id(record),
        None => live(shop, collection, Role::Owner).await.rsplit('/').next().unwrap().to_owned(),
    }
}

#[tokio::test]
async fn every_member_to_another_value_and_back() {
    let shop = TestShop::open(1).await;
    let mut history = two_pour_days();
    history.send_all(&shop).await;
    for (name, kind, kg) in [("spare_lot", "ingot", 60), ("spare_pool", "returns", 7)] {
        let spare = json!({"alloy": "C87300", "kind": kind, "mass_kg": kg, "cost_minor": 9000, "at": at(1, "08:00")});
        history.know(name, id(&shop.post("/v1/metal-lots", &spare).await.made()));
    }
    let mut wrong: Vec<String> = Vec::new();
    let mut tried = 0;
    for route in app::all_routes(&app::kit(&shop.db)).into_iter().filter(|r| r.method == Method::Patch) {
        let collection = route.path.split('/').nth(2).unwrap().to_owned();
        let record = oldest(&shop, &history, &collection).await;
        let path = format!("/v1/{collection}/{record}");
        let schema = route.body.unwrap().schema;
        let before = said(&shop, &history).await;
        for (member, schema) in schema["properties"].as_object().unwrap() {
            if matches!(member.as_str(), "id" | "reason") {
                continue;
            }
            let was = body(&shop, &record).await;
            let shown = shop.get(&path).await.is(200);
            let old = was.get(member).cloned().unwrap_or(Value::Null);
            // Children are records of their own: they are sent back as they were shown.
            let before =
                |m: &String| was.get(m).or_else(|| shown.get(m).filter(|v| v.is_array())).cloned().unwrap_or(Value::Null);
            let (patch, refusal) = match other(&shop, &history, &collection, &shown, member, schema, &old).await {
                To(value) => (json!({member: value}), None),
                With(patch) => (patch, None),
                Refused(value, refusal) => (json!({member: value}), Some(refusal)),
            };
            let reply = shop.patch(&path, &patch).await;
            tried += 1;
            if let Some(refusal) = refusal {
                if reply.json["type"] != format!("/problems/{refusal}") {
                    wrong.push(format!("{collection} {patch}: not {refusal}: {} {}", reply.status, reply.json));
                }
                if reply.status != 200 {
                    continue;
                }
            } else if reply.status != 200 {
                wrong.push(format!("{collection} {patch}: {} {}", reply.status, reply.json));
                continue;
            }
            let found = app::rebuild::run(&shop.db).await.unwrap();
            if !found.is_empty() {
                wrong.push(format!("{collection} {patch}: derived anew it differs: {found:?}"));
            }
            let balance = shop.get("/v1/metal/balance").await.is(200);
            if balance["closing_difference"] != json!({"mass_mg": 0, "value_minor": 0}) {
                wrong.push(format!("{collection} {patch}: {:#}", balance["closing_difference"]));
            }
            let back: Map<String, Value> = patch.as_object().unwrap().keys().map(|m| (m.clone(), before(m))).collect();
            let reply = shop.patch(&path, &back.clone().into()).await;
            if reply.status != 200 {
                wrong.push(format!("{collection} back to {back:?}: {} {}", reply.status, reply.json));
            }
        }
        let after = said(&shop, &history).await;
        let mut out = Vec::new();
        differs("", &after, &before, &mut out);
        wrong.extend(out.into_iter().map(|line| format!("{collection}, there and back: {line}")));
    }
    assert!(wrong.is_empty(), "of {tried} members:\n{}", wrong.join("\n"));
    assert!(tried > 400, "only {tried} members were tried");
    shop.closes().await;
}
