//! One row for each operation that records something: where, and a body that is legal.

use crate::kit::{TestShop, at, id};
use serde_json::{Value, json};

/// Where an operation is asked for, with a body that is legal there.
pub struct Row {
    /// The path.
    pub path: String,
    /// The record named in the path, as `/v1/<collection>/<id>`, where there is one.
    pub parent: Option<String>,
    /// The body.
    pub body: Value,
}

fn top(path: &str, body: Value) -> Row {
    Row { path: path.into(), parent: None, body }
}

fn under(parent: String, action: &str, body: Value) -> Row {
    Row { path: format!("{parent}/{action}"), parent: Some(parent), body }
}

/// The row of an operation; none is a route that nobody tests.
pub async fn row(shop: &TestShop, operation: &str) -> Option<Row> {
    if let Some(row) = things(shop, operation) {
        return Some(row);
    }
    if let Some(row) = before_the_shell(shop, operation).await {
        return Some(row);
    }
    if let Some(row) = shells(shop, operation).await {
        return Some(row);
    }
    if let Some(row) = metal(shop, operation).await {
        return Some(row);
    }
    if let Some(row) = trials(shop, operation).await {
        return Some(row);
    }
    if let Some(row) = quotes(shop, operation).await {
        return Some(row);
    }
    after_the_pour(shop, operation).await
}

fn things(shop: &TestShop, operation: &str) -> Option<Row> {
    let n = shop.next();
    Some(match operation {
        "hand_create" => top("/v1/hands", json!({"name": format!("Hand {n}")})),
        "kiln_create" => top("/v1/kilns", json!({"name": format!("Kiln {n}")})),
        "furnace_create" => top("/v1/furnaces", json!({"name": format!("Furnace {n}")})),
        "crucible_create" => top("/v1/crucibles", json!({"name": format!("Crucible {n}")})),
        "supplier_create" => top("/v1/suppliers", json!({"name": format!("Supplier {n}")})),
        "setting_create" => top("/v1/settings", json!({"name": "shell_dry_c", "from_on": "2026-01-01", "value": 205})),
        "rate_create" => {
            top("/v1/rates", json!({"what": "fuel_kg", "from_on": format!("{}-01-01", 2000 + n), "amount_minor": 120}))
        }
        "patina_create" => {
            top("/v1/patinas", json!({"name": format!("Patina {n}"), "steps": [{"kind": "heat", "metal_c": 120}]}))
        }
        "expense_create" => top("/v1/expenses", json!({"kind": "rent", "amount_minor": 90_000, "at": at(1, "08:00")})),
        "incident_create" => {
            top("/v1/incidents", json!({"where": "pit", "what": "A glove was singed.", "hurt": false, "at": at(4, "11:00")}))
        }
        "trade_entry_create" => top(
            "/v1/trade-entries",
            json!({
                "section": "defects", "code": format!("H9{n}"), "source": "the shop's own",
                "values": {"name": "crust", "category": "house", "description": "A crust.", "stage": "breakout", "likely_causes": [],
                           "causes_source": "the shop's own"}
            }),
        ),
        "client_create" => top("/v1/clients", json!({"name": format!("Client {n}")})),
        "commission_create" => top("/v1/commissions", json!({"title": format!("Commission {n}")})),
        "pattern_create" => top(
            "/v1/patterns",
            json!({"name": format!("Pattern {n}"), "material": "wax_casting", "volume_cm3": 900, "section_mm": 4}),
        ),
        "mould_create" => top("/v1/moulds", json!({"name": format!("Mould {n}")})),
        "recipe_create" => top(
            "/v1/recipes",
            json!({"name": format!("Recipe {n}"), "at": "2026-01-01T00:00:00Z",
            "coats": [{"kind": "prime", "slurry": "prime", "dry_hours": 3}]}),
        ),
        "slurry_batch_create" => top("/v1/slurry-batches", json!({"name": format!("Tank {n}"), "at": at(1, "08:00")})),
        "metal_lot_create" => top(
            "/v1/metal-lots",
            json!({"alloy": "C87300", "kind": "ingot", "mass_kg": 10, "cost_minor": 9000, "at": at(1, "08:00")}),
        ),
        _ => return None,
    })
}

async fn before_the_shell(shop: &TestShop, operation: &str) -> Option<Row> {
    let commission = async || format!("/v1/commissions/{}", shop.commission(None).await);
    let casting = async || format!("/v1/castings/{}", id(&shop.casting().await));
    Some(match operation {
        "cost_create" => under(commission().await, "costs", json!({"kind": "base", "amount_minor": 4500, "at": at(1, "08:00")})),
        "payment_create" => under(commission().await, "payments", json!({"amount_minor": 50_000, "at": at(1, "08:00")})),
        "client_forget" => {
            let body = json!({"name": format!("Client {}", shop.next()), "email": "someone@example.org"});
            let client = id(&shop.post("/v1/clients", &body).await.made());
            under(format!("/v1/clients/{client}"), "forget", json!({"reason": "asked to be forgotten"}))
        }
        "piece_create" => {
            let pattern = shop.pattern("file").await;
            under(commission().await, "pieces", json!({"pattern_id": pattern, "alloy": "C87300", "at": at(1, "08:00")}))
        }
        "wax_create" => under(casting().await, "waxes", json!({"at": at(1, "09:30"), "wax_kg": 1.2})),
        "recast_create" => under(casting().await, "recast", json!({"at": at(2, "09:30"), "reason": "spare"})),
        "scrap_create" => under(casting().await, "scrap", json!({"at": at(2, "09:30"), "cause": {"category": "wax"}})),
        "casting_work" => under(casting().await, "work", json!({"operation": "chase_wax", "minutes": 20, "at": at(1, "09:30")})),
        "commission_work" => {
            under(commission().await, "work", json!({"operation": "crate", "minutes": 20, "at": at(1, "09:30")}))
        }
        "piece_work" => {
            let piece = shop.piece(&shop.commission(None).await, &json!({})).await;
            under(
                format!("/v1/pieces/{}", id(&piece)),
                "work",
                json!({"operation": "patina", "minutes": 20, "at": at(1, "09:30")}),
            )
        }
        "class_create" => {
            let recipe = shop.recipe().await;
            let rows = json!([{"maker": "Bo", "title": "Fish", "wax_kg": 0.4}]);
            let body = json!({"alloy": "C87300", "recipe_id": recipe, "gating_kg": 0.3, "rows": rows, "at": at(1, "08:00")});
            under(commission().await, "class", body)
        }
        "patina_version_create" => {
            let steps = json!([{"kind": "apply", "chemical": "ferric nitrate", "tool": "spray"}]);
            let patina = json!({"name": format!("Patina {}", shop.next()), "steps": steps});
            let patina = id(&shop.post("/v1/patinas", &patina).await.made());
            under(format!("/v1/patinas/{patina}"), "versions", json!({"steps": steps}))
        }
        "property_create" => {
            let client = shop.client(&format!("Client {}", shop.next())).await;
            top(
                "/v1/properties",
                json!({"client_id": client, "what": "the original, clay", "at": at(1, "09:00"), "out_at": at(3, "09:00")}),
            )
        }
        "hand_merge" | "kiln_merge" | "furnace_merge" | "crucible_merge" | "supplier_merge" => {
            let collection = format!("{}s", operation.trim_end_matches("_merge"));
            let (one, other) = (format!("One {}", shop.next()), format!("Other {}", shop.next()));
            let from = id(&shop.post(&format!("/v1/{collection}"), &json!({"name": one})).await.made());
            shop.post(&format!("/v1/{collection}"), &json!({"name": other})).await.made();
            under(format!("/v1/{collection}/{from}"), "merge", json!({"into": other}))
        }
        "outside_work_create" => {
            let casting = id(&shop.casting().await);
            top(
                "/v1/outside-work",
                json!({"casting_id": casting, "supplier": "A plater", "what": "plating", "at": at(6, "09:00")}),
            )
        }
        "mould_work" => {
            let mould = id(&shop.post("/v1/moulds", &json!({"name": format!("Mould {}", shop.next())})).await.made());
            under(format!("/v1/moulds/{mould}"), "work", json!({"operation": "make_mould", "minutes": 90, "at": at(1, "09:30")}))
        }
        _ => return None,
    })
}

async fn shells(shop: &TestShop, operation: &str) -> Option<Row> {
    let shell = async || {
        let casting = shop.casting().await;
        shop.shell(&[&casting]).await
    };
    let path = |shell: &Value| format!("/v1/shells/{}", id(shell));
    Some(match operation {
        "recipe_version_create" => {
            let recipe = shop.recipe().await;
            under(
                format!("/v1/recipes/{recipe}"),
                "versions",
                json!({"coats": [{"kind": "prime", "slurry": "prime", "dry_hours": 4}]}),
            )
        }
        "slurry_check_create" => {
            let body = json!({"name": format!("Tank {}", shop.next()), "at": at(1, "08:00")});
            let batch = id(&shop.post("/v1/slurry-batches", &body).await.made());
            under(format!("/v1/slurry-batches/{batch}"), "checks", json!({"at": at(1, "09:00"), "viscosity_s": 22}))
        }
        "shell_create" => {
            let (casting, recipe) = (shop.casting().await, shop.recipe().await);
            top("/v1/shells", json!({"recipe_id": recipe, "casting_ids": [id(&casting)], "gating_kg": 0.4, "at": at(1, "10:00")}))
        }
        "shell_coat_create" => {
            under(path(&shell().await), "coats", json!({"kind": "prime", "slurry": "prime", "at": at(1, "11:00")}))
        }
        "coat_create" => {
            top("/v1/coats", json!({"shell_ids": [id(&shell().await)], "kind": "prime", "slurry": "prime", "at": at(1, "11:00")}))
        }
        "patch_create" => under(path(&shell().await), "patches", json!({"at": at(1, "12:00"), "where": "cup"})),
        "shell_work" => under(path(&shell().await), "work", json!({"operation": "dip", "minutes": 15, "at": at(1, "11:00")})),
        "burnout_create" => {
            top("/v1/burnouts", json!({"kiln": "Big kiln", "at": at(3, "12:00"), "shells": [{"shell_id": id(&shell().await)}]}))
        }
        "preheat_create" => {
            let (_, fired) = shop.fired().await;
            top("/v1/preheats", json!({"kiln": "Big kiln", "at": at(4, "06:00"), "shell_ids": [id(&fired)]}))
        }
        _ => return None,
    })
}

async fn metal(shop: &TestShop, operation: &str) -> Option<Row> {
    let heat = async || format!("/v1/heats/{}", shop.heat(18.0).await);
    Some(match operation {
        "receipt_create" => {
            let body = json!({"alloy": "C87300", "kind": "returns", "mass_kg": 0, "cost_minor": 0, "at": at(1, "08:00")});
            let pool = id(&shop.post("/v1/metal-lots", &body).await.made());
            under(format!("/v1/metal-lots/{pool}"), "receipts", json!({"mass_kg": 3, "cost_minor": 1200, "at": at(2, "08:00")}))
        }
        "count_create" => {
            let lot = format!("/v1/metal-lots/{}", shop.lot(50.0, 45_000).await);
            under(lot, "count", json!({"mass_kg": 49, "reason": "stock-taking", "at": at(3, "08:00")}))
        }
        "out_create" => {
            let lot = format!("/v1/metal-lots/{}", shop.lot(50.0, 45_000).await);
            under(lot, "out", json!({"mass_kg": 3, "to": "sold", "income_minor": 900, "at": at(3, "08:00")}))
        }
        "transfer_create" => {
            let body = json!({"alloy": "C87300", "kind": "returns", "mass_kg": 0, "cost_minor": 0, "at": at(1, "08:00")});
            let pool = id(&shop.post("/v1/metal-lots", &body).await.made());
            let lot = format!("/v1/metal-lots/{}", shop.lot(50.0, 45_000).await);
            under(lot, "transfer", json!({"mass_kg": 3, "to_lot_id": pool, "at": at(3, "08:00")}))
        }
        "heat_create" => {
            let lot = shop.lot(50.0, 45_000).await;
            top(
                "/v1/heats",
                json!({"alloy": "C87300", "furnace": "Gas", "at": at(4, "08:00"), "charge": [{"lot_id": lot, "mass_kg": 9}]}),
            )
        }
        "charge_create" => {
            let lot = shop.lot(50.0, 45_000).await;
            under(heat().await, "charges", json!({"lot_id": lot, "mass_kg": 1, "at": at(4, "08:30")}))
        }
        "heat_event_create" => under(heat().await, "events", json!({"kind": "skim", "at": at(4, "08:40")})),
        "heat_work" => under(heat().await, "work", json!({"operation": "melt", "minutes": 60, "at": at(4, "08:40")})),
        "pour_create" => {
            let (_, shell) = shop.fired().await;
            under(heat().await, "pours", shop.pour_body(&shell, 15.0, &json!({})))
        }
        "leak_create" => {
            let (_, shell) = shop.fired().await;
            let pour = shop.pour(&shop.heat(18.0).await, &shell, 15.0).await;
            under(format!("/v1/pours/{}", id(&pour)), "leaks", json!({"where": "gate", "response": "froze_off", "lost_kg": 0.1}))
        }
        "closing_create" => under(heat().await, "closings", json!({"at": at(4, "09:30"), "pigged_kg": 17.8, "dross_kg": 0.1})),
        "heat_close" => under(heat().await, "close", json!({"at": at(4, "09:30"), "pigged_kg": 17.8, "dross_kg": 0.1})),
        _ => return None,
    })
}

/// A trial of a practice, so that its ways are words.
async fn trials(shop: &TestShop, operation: &str) -> Option<Row> {
    let body = json!({"name": format!("Trial {}", shop.next()), "factor": "practice", "a": "vents cut late", "b": "vents cut early",
        "outcome": "leak", "worth_knowing": 0.1});
    if operation == "trial_create" {
        return Some(top("/v1/trials", body));
    }
    let trial = async || format!("/v1/trials/{}", id(&shop.post("/v1/trials", &body).await.made()));
    Some(match operation {
        "trial_pair_create" => {
            let mut shells = Vec::new();
            for _ in 0..2 {
                shells.push(id(&shop.shell(&[&shop.casting().await]).await));
            }
            under(trial().await, "pairs", json!({"shell_ids": shells}))
        }
        "trial_end_create" => under(trial().await, "end", json!({"reason": "the season is over"})),
        _ => return None,
    })
}

/// A quote of a shop that may have no record at all.
async fn quotes(shop: &TestShop, operation: &str) -> Option<Row> {
    let body = json!({"mass_kg": 8, "section_mm": 6, "alloy": "C87300", "copies": 2, "metal_minor_per_kg": 1500, "title": format!("Otter {}", shop.next())});
    if operation == "quote_create" {
        return Some(top("/v1/quotes", body));
    }
    let quote = async || format!("/v1/quotes/{}", id(&shop.post("/v1/quotes", &body).await.made()));
    Some(match operation {
        "quote_send" => under(quote().await, "send", json!({"whom": "by post"})),
        "quote_accept" => under(quote().await, "accept", json!({})),
        "quote_decline" => under(quote().await, "decline", json!({"reason": "price"})),
        _ => return None,
    })
}

async fn after_the_pour(shop: &TestShop, operation: &str) -> Option<Row> {
    if !matches!(
        operation,
        "breakout_create"
            | "shell_breakout_create"
            | "cut_off_create"
            | "finding_create"
            | "finish_create"
            | "delivery_create"
            | "certificate_create"
            | "piece_loss_create"
            | "assembly_create"
    ) {
        return None;
    }
    if operation == "assembly_create" {
        return Some(two_parts(shop).await);
    }
    let (casting, shell) = shop.fired().await;
    shop.pour(&shop.heat(18.0).await, &shell, 15.4).await;
    let path = format!("/v1/castings/{}", id(&casting));
    if operation == "breakout_create" {
        return Some(top("/v1/breakouts", json!({"casting_id": id(&casting), "at": at(5, "09:30"), "verdict": "repair"})));
    }
    if operation == "shell_breakout_create" {
        return Some(under(format!("/v1/shells/{}", id(&shell)), "breakout", json!({"at": at(5, "09:30"), "gross_kg": 15.3})));
    }
    let breakout = shop.breakout(&casting, &json!({"gross_kg": 15.2})).await;
    Some(match operation {
        "cut_off_create" => under(path, "cut-off", json!({"at": at(5, "11:00"), "net_kg": 11, "returned_kg": 4.1})),
        "finding_create" => under(format!("/v1/breakouts/{}", id(&breakout)), "findings", json!({"code": "A111"})),
        "finish_create" => under(path, "finish", json!({"at": at(6, "11:00")})),
        _ => {
            shop.post(&format!("{path}/finish"), &json!({"at": at(6, "11:00")})).await.made();
            let card = shop.get(&path).await.is(200);
            let piece = format!("/v1/pieces/{}", card["piece_id"].as_str().unwrap());
            let deliver = json!({"at": at(7, "10:00"), "to": "the client"});
            if operation == "certificate_create" {
                return Some(under(piece, "certificate", json!({"signed_by": "Olive", "at": at(8, "09:00")})));
            }
            if operation == "delivery_create" {
                return Some(under(piece, "deliver", deliver));
            }
            shop.post(&format!("{piece}/deliver"), &deliver).await.made();
            under(piece, "loss", json!({"fate": "destroyed", "told_by": "the client", "at": at(9, "10:00")}))
        }
    })
}

/// A piece of two parts, both out of their shell, to be joined.
async fn two_parts(shop: &TestShop) -> Row {
    let piece = shop.piece(&shop.commission(None).await, &json!({"at": at(1, "08:00"), "parts": ["upper", "lower"]})).await;
    let castings: Vec<&Value> = piece["castings"].as_array().unwrap().iter().collect();
    let shell = shop.shell(&castings).await;
    shop.coats(&shell).await;
    shop.fire(&shell).await;
    shop.pour(&shop.heat(18.0).await, &shell, 15.4).await;
    for casting in &castings {
        shop.breakout(casting, &json!({})).await;
    }
    let ids: Vec<String> = castings.iter().map(|c| id(c)).collect();
    under(format!("/v1/pieces/{}", id(&piece)), "assemble", json!({"casting_ids": ids, "joint": "weld", "at": at(6, "09:00")}))
}

/// The operation that makes a record of a collection, and how the record stands in its
/// answer.
pub fn maker(collection: &str) -> Option<&'static str> {
    Some(match collection {
        "hands" => "hand_create",
        "kilns" => "kiln_create",
        "furnaces" => "furnace_create",
        "crucibles" => "crucible_create",
        "suppliers" => "supplier_create",
        "settings" => "setting_create",
        "rates" => "rate_create",
        "trade-entries" => "trade_entry_create",
        "clients" => "client_create",
        "commissions" => "commission_create",
        "costs" => "cost_create",
        "payments" => "payment_create",
        "patinas" => "patina_create",
        "patina-versions" => "patina_version_create",
        "expenses" => "expense_create",
        "incidents" => "incident_create",
        "outside-work" => "outside_work_create",
        "properties" => "property_create",
        "assemblies" => "assembly_create",
        "certificates" => "certificate_create",
        "piece-losses" => "piece_loss_create",
        "patterns" => "pattern_create",
        "moulds" => "mould_create",
        "pieces" | "castings" => "piece_create",
        "waxes" => "wax_create",
        "recasts" => "recast_create",
        "recipes" => "recipe_create",
        "recipe-versions" => "recipe_version_create",
        "slurry-batches" => "slurry_batch_create",
        "slurry-checks" => "slurry_check_create",
        "shells" => "shell_create",
        "coats" => "coat_create",
        "patches" => "patch_create",
        "burnouts" => "burnout_create",
        "preheats" => "preheat_create",
        "metal-lots" => "metal_lot_create",
        "receipts" => "receipt_create",
        "counts" => "count_create",
        "outs" => "out_create",
        "transfers" => "transfer_create",
        "heats" => "heat_create",
        "charges" => "charge_create",
        "heat-events" => "heat_event_create",
        "pours" => "pour_create",
        "leaks" => "leak_create",
        "closings" => "closing_create",
        "breakouts" => "breakout_create",
        "shell-breakouts" => "shell_breakout_create",
        "cut-offs" => "cut_off_create",
        "findings" => "finding_create",
        "work" => "casting_work",
        "finishes" => "finish_create",
        "scraps" => "scrap_create",
        "deliveries" => "delivery_create",
        "trials" => "trial_create",
        "trial-pairs" => "trial_pair_create",
        "trial-ends" => "trial_end_create",
        "quotes" => "quote_create",
        "quote-steps" => "quote_send",
        _ => return None,
    })
}
