//! How the book begins: settings, recipes, slurry, metal, clients, patterns.

use super::BEGINS;
use super::caller::{Who, at, kg, text};
use super::shop::{ALLOYS, DAY, HOUR, MINUTE, Pattern, Recipe, Shop, Stock};
use super::words;
use serde_json::json;

/// Coats of a recipe: kind, slurry, stucco, least hours of drying.
type Coats = Vec<(&'static str, &'static str, &'static str, i64)>;

fn coats(backups: usize, dry: i64) -> Coats {
    let mut out = vec![("prime", "Zircon prime", "zircon 80", 4), ("prime", "Zircon prime", "zircon 80", 4)];
    out.extend(std::iter::repeat_n(("backup", "Silica backup", "fused silica 30-50", dry), backups));
    out.push(("seal", "Silica backup", "", dry));
    out
}

fn said(coats: &Coats) -> serde_json::Value {
    coats
        .iter()
        .map(|(kind, slurry, stucco, dry)| {
            let mut one = json!({"kind": kind, "slurry": slurry, "dry_hours": dry,
                "viscosity_s": if *kind == "prime" { json!({"low": 22, "high": 28}) } else { json!({"low": 10, "high": 15}) }, "cup": "Zahn 4"});
            if !stucco.is_empty() {
                one["stucco"] = (*stucco).into();
            }
            one
        })
        .collect()
}

/// Opens the book.
pub async fn open(shop: &mut Shop) -> Result<(), String> {
    let now = BEGINS;
    for (name, value) in [
        ("currency", json!("EUR")),
        ("zone", json!("Europe/Lisbon")),
        ("money_for_hands", json!(true)),
        ("scale_step_kg", json!(0.01)),
        // They look at the tanks once a week, and give it a day.
        ("slurry_check_hours", json!(192)),
        ("overhead_rule", json!({"rule": "percent_of_work", "percent": 45})),
        ("shop_name", json!("Three Wells Casting")),
        ("shop_lines", json!(["The old dye works, 4 Weir Lane", "threewells.example"])),
        ("tax_percent", json!(20)),
    ] {
        shop.caller.post(Who::Owner, "/v1/settings", json!({"name": name, "from_on": "2023-11-03", "value": value})).await?;
    }
    for (what, amount) in [
        ("hand_hour", 2800),
        ("shell_coat_dm2", 42),
        ("wax_kg", 1150),
        ("fuel_kg", 265),
        ("fuel_kwh", 24),
        ("pour_day", 7500),
        ("crucible_heat", 1900),
        ("quote_kg_small", 9500),
        ("quote_kg_medium", 7200),
        ("quote_kg_large", 5600),
        ("quote_piece", 12_000),
        ("quote_pour", 30_000),
    ] {
        shop.caller.post(Who::Owner, "/v1/rates", json!({"what": what, "from_on": "2023-11-03", "amount_minor": amount})).await?;
    }
    recipes(shop, now).await?;
    tanks(shop, now).await?;
    metal(shop, now).await?;
    fires(shop).await?;
    patinas(shop, now).await?;
    for name in words::CLIENTS {
        let made = shop.caller.post(Who::Owner, "/v1/clients", json!({"name": name})).await?;
        shop.clients.push(text(&made, "/id")?);
    }
    for work in words::WORKS {
        let pattern = put_on_file(shop, *work, now).await?;
        shop.patterns.push(pattern);
    }
    property(shop, now).await
}

/// What burns, and what it burns; which metals each crucible is kept for.
async fn fires(shop: &mut Shop) -> Result<(), String> {
    for (collection, name, fuel, most) in [
        ("kilns", "Front kiln", "propane", 1000),
        ("kilns", "Back kiln", "propane", 1050),
        ("furnaces", "Gas furnace, large", "propane", 1350),
        ("furnaces", "Electric furnace, small", "electric", 1000),
    ] {
        let body = json!({"name": name, "fuel": fuel, "max_c": most});
        shop.caller.post(Who::Owner, &format!("/v1/{collection}"), body).await?;
    }
    for alloy in &ALLOYS {
        let family = if alloy.code == "A356.0" { "aluminium" } else { "copper_base" };
        let body =
            json!({"name": format!("Pot for {}", alloy.code), "family": family, "capacity_kg": alloy.parcel, "life_heats": 120});
        shop.caller.post(Who::Owner, "/v1/crucibles", body).await?;
    }
    Ok(())
}

/// Finishes, each with a sample that was approved.
async fn patinas(shop: &mut Shop, now: i64) -> Result<(), String> {
    for (name, salt, strength, passes) in [
        ("Warm brown", "ferric nitrate", "8 g in a litre", 4),
        ("Verdigris over brown", "cupric nitrate", "40 g in a litre", 6),
        ("Dark, rubbed back", "potassium sulphide", "5 g in a litre", 2),
    ] {
        let steps = json!([
            {"kind": "clean", "note": "blasted, not touched after"},
            {"kind": "heat", "metal_c": 95},
            {"kind": "apply", "chemical": salt, "strength": strength, "tool": "brush", "passes": passes},
            {"kind": "rinse"},
            {"kind": "wax", "note": "clear, warm"}
        ]);
        let body = json!({"name": name, "at": at(now), "steps": steps, "sample": "plate on the bench wall", "approved_on": "2023-11-03", "approved_by": "Maren Tollick"});
        let made = shop.caller.post(Who::Owner, "/v1/patinas", body).await?;
        shop.patinas.push(text(&made, "/id")?);
    }
    Ok(())
}

/// What clients left in the shop: one thing went back, one stands there still.
async fn property(shop: &mut Shop, now: i64) -> Result<(), String> {
    let things = [
        ("the original, plaster", "original", "one ear mended before", "R3"),
        ("a slate base, drilled", "fitting", "a chip at the back", "under the stairs"),
    ];
    for (n, (what, kind, condition, shelf)) in things.into_iter().enumerate() {
        let Some(client) = shop.clients.get(n).cloned() else { return Ok(()) };
        let body =
            json!({"client_id": client, "what": what, "kind": kind, "condition": condition, "shelf": shelf, "at": at(now)});
        let made = shop.caller.post(Who::Owner, "/v1/properties", body).await?;
        if n == 0 {
            let path = format!("/v1/properties/{}", text(&made, "/id")?);
            let back = json!({"out_at": at(now + HOUR), "out_to": "the client, signed in the delivery book"});
            shop.caller.tick(now + HOUR);
            shop.caller.patch(Who::Owner, &path, back).await?;
        }
    }
    Ok(())
}

/// The week in which the backup tank is made up from binder that had frozen, and the one in which
/// it is poured away: the one bad spell of the record.
const GELS: i64 = 129;
const POURED_AWAY: i64 = 133;

/// The week of the record.
const fn week(now: i64) -> i64 {
    (now - BEGINS) / (7 * DAY)
}

/// Makes the two tanks of slurry up.
async fn tanks(shop: &mut Shop, now: i64) -> Result<(), String> {
    for old in std::mem::take(&mut shop.slurries) {
        let mut gone = json!({"retired_on": at(now).as_str().map(|at| at.chars().take(10).collect::<String>())});
        if !shop.gelled.is_empty() && old == shop.gelled {
            gone["notes"] = "Made up from the drum that stood in the yard in the frost. Gelled little by little: \
                             shells dipped in it stay soft and leak. Poured away, the drum sent back."
                .into();
            shop.gelled.clear();
        }
        shop.caller.patch(Who::Owner, &format!("/v1/slurry-batches/{old}"), gone).await?;
    }
    for (name, binder, flour) in
        [("Prime tank", "colloidal silica", "zircon 325"), ("Backup tank", "colloidal silica", "fused silica 200")]
    {
        let mut body = json!({"name": name, "at": at(now), "binder": binder, "flour": flour});
        let off = week(now) == GELS && name == "Backup tank";
        if off {
            body["notes"] = "Made up from the drum that stood in the yard in the frost. Looks as it should.".into();
        }
        let made = shop.caller.post(Who::Shell, "/v1/slurry-batches", body).await?;
        let id = text(&made, "/id")?;
        if off {
            shop.gelled.clone_from(&id);
        }
        shop.slurries.push(id);
    }
    Ok(())
}

async fn recipes(shop: &mut Shop, now: i64) -> Result<(), String> {
    for (name, coats, leak, leak_later) in
        [("Grey shell", coats(4, 8), 130, 45), ("Quick shell", coats(3, 4), 210, 210), ("Heavy shell", coats(6, 10), 30, 30)]
    {
        let body = json!({"name": name, "at": at(now), "coats": said(&coats), "final_dry_hours": 24});
        let made = shop.caller.post(Who::Shell, "/v1/recipes", body).await?;
        shop.recipes.push(Recipe { id: text(&made, "/id")?, coats, leak, leak_later });
    }
    Ok(())
}

/// The second version of the first recipe: one coat more, from half way on.
pub async fn second_version(shop: &mut Shop, now: i64) -> Result<(), String> {
    let Some(recipe) = shop.recipes.first_mut() else { return Ok(()) };
    recipe.coats = coats(5, 8);
    let path = format!("/v1/recipes/{}/versions", recipe.id);
    let body = json!({"at": at(now), "coats": said(&recipe.coats), "final_dry_hours": 24, "notes": "a fifth backup coat, after too many run-outs"});
    shop.caller.post(Who::Shell, &path, body).await?;
    Ok(())
}

async fn metal(shop: &mut Shop, now: i64) -> Result<(), String> {
    for alloy in &ALLOYS {
        let pool = shop
            .caller
            .post(Who::Owner, "/v1/metal-lots", json!({"alloy": alloy.code, "kind": "returns", "mass_kg": kg(38_400_000), "cost_minor": 24_960, "at": at(now), "opening": true}))
            .await?;
        shop.stock.push(Stock { pool: text(&pool, "/id")?, ..Stock::default() });
        let addition = shop
            .caller
            .post(Who::Owner, "/v1/metal-lots", json!({"alloy": alloy.code, "kind": "addition", "mass_kg": 60, "cost_minor": 90_000, "at": at(now + MINUTE), "notes": "deoxidiser and weld rod"}))
            .await?;
        shop.additions.push(text(&addition, "/id")?);
    }
    // Another silicon bronze, used up in the first year as part of the charge.
    let other = json!({"alloy": "C87200", "kind": "ingot", "mass_kg": 90, "cost_minor": 72_000, "at": at(now + 2 * MINUTE), "opening": true});
    let made = shop.caller.post(Who::Owner, "/v1/metal-lots", other).await?;
    shop.additions.push(text(&made, "/id")?);
    Ok(())
}

/// Buys a parcel of ingot.
pub async fn buy(shop: &mut Shop, alloy: usize, now: i64) -> Result<(), String> {
    let Some(wanted) = ALLOYS.get(alloy) else { return Ok(()) };
    let years = (now - BEGINS) / (365 * DAY);
    let price = wanted.price * (100 + 4 * years + shop.dice.between(-5, 5)) / 100;
    let mass = wanted.parcel * 1_000_000 + shop.dice.mass(-4_000_000, 4_000_000, 10_000);
    let cost = price * (mass / 10_000) / 100;
    let supplier = shop.dice.word(&["Carrow Metals", "Stell & Daughter"]);
    let body = json!({"alloy": wanted.code, "kind": "ingot", "mass_kg": kg(mass), "cost_minor": cost, "at": at(now), "supplier": supplier});
    let made = shop.caller.post(Who::Owner, "/v1/metal-lots", body).await?;
    if let Some(stock) = shop.stock.get_mut(alloy) {
        (stock.ingot, stock.left) = (text(&made, "/id")?, mass);
    }
    Ok(())
}

/// Puts a pattern on file, with its mould when it has one.
pub async fn put_on_file(shop: &mut Shop, work: (&'static str, i64, i64, &'static str), now: i64) -> Result<Pattern, String> {
    let (name, wax_g, section, what) = work;
    let unique = !matches!(what, "mould" | "file");
    let mut mould_id = None;
    let (mut material, mut kind) = ("wax_casting", what);
    if what == "mould" {
        let body = json!({"name": format!("{name}, rubber"), "shelf": format!("R{}", shop.patterns.len() % 9 + 1), "cost_minor": 9000 + wax_g * 20});
        let made = shop.caller.post(Who::Owner, "/v1/moulds", body).await?;
        let id = text(&made, "/id")?;
        let body = json!({"operation": "make_mould", "minutes": 180 + wax_g / 20, "hand": "Maren Tollick", "at": at(now)});
        shop.caller.post(Who::Owner, &format!("/v1/moulds/{id}/work"), body).await?;
        mould_id = Some(id);
    } else if what == "file" {
        material = "resin_castable";
    } else {
        (material, kind) = (what, "unique");
    }
    let mut body = json!({"name": name, "material": material, "mass_kg": kg(wax_g * 1000), "section_mm": section, "kind": kind});
    if let Some(mould) = &mould_id {
        body["mould_id"] = mould.as_str().into();
    }
    let made = shop.caller.post(Who::Owner, "/v1/patterns", body).await?;
    Ok(Pattern { id: text(&made, "/id")?, wax_g, unique, mould_id, marks: 0 })
}

impl Shop {
    /// Checks the slurry; now and then a tank is made up anew, and once the recipe changes.
    pub async fn slurry(&mut self, now: i64) -> Result<(), String> {
        if now > BEGINS + 540 * DAY && self.first("second version") {
            second_version(self, now).await?;
        }
        if week(now) % 10 == 9 || week(now) == POURED_AWAY {
            tanks(self, now).await?;
        }
        if week(now) % 4 == 1 {
            for (kind, amount) in [("rent", 78_000), ("insurance", 11_500), ("utilities", 16_400), ("protection", 4_300)] {
                let body = json!({"kind": kind, "amount_minor": amount, "at": at(now + HOUR)});
                self.caller.tick(now + HOUR);
                self.caller.post(Who::Owner, "/v1/expenses", body).await?;
            }
        }
        for (place, (low, high)) in [(20, 30), (9, 17)].into_iter().enumerate() {
            let Some(id) = self.slurries.get(place).cloned() else { continue };
            let mut body = json!({"at": at(now + HOUR), "viscosity_s": self.dice.between(low, high), "cup": "Zahn 4", "ph": 9.6, "tank_c": self.dice.between(17, 23)});
            if id == self.gelled {
                body["ph"] = 8.7.into();
                body["note"] = "thickens overnight and drips in strings; thinned with water and used".into();
            }
            self.caller.tick(now + HOUR);
            self.caller.post(Who::Shell, &format!("/v1/slurry-batches/{id}/checks"), body).await?;
        }
        Ok(())
    }
}
