//! The chart over time and the model of several causes, against small shops whose figures are
//! worked by hand beside the check; and what they refuse.

use crate::browser::Browser;
use crate::kit::TestShop;
use pourbook::db::Cell;
use pourbook::kernel::{Actor, Role};
use serde_json::{Value, json};

#[track_caller]
fn near(value: &Value, wanted: f64) {
    let found = value.as_f64().unwrap_or_else(|| panic!("{value} is no number; {wanted} was worked out"));
    assert!((found - wanted).abs() <= 1e-6 * wanted.abs().max(1.0), "{found}, expected {wanted}");
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap_or_else(|| panic!("{value} is no list"))
}

/// Facts of shells, put in as they would be derived: reports read nothing else. Each row may say
/// `at`, `leaked`, `short`, `alloy`, `support`, `fed`, `shell_c`, `low` and `high` of section.
async fn shells(shop: &TestShop, rows: &[Value]) {
    if shop.number("SELECT count(*) FROM recipe").await == 0 {
        shop.recipe().await;
    }
    let base = shop.number("SELECT max(seq) FROM record").await;
    let rows = json!(rows).to_string();
    let mut tx = shop.db.write(Actor::new("facts", Role::Owner)).await.unwrap();
    let mut push = |sql: &str, args: Vec<Cell>| tx.push(sql, args);
    push(
        "INSERT INTO record (id, kind, at_ms, at_precision, recorded_ms, by, version, journal_n, act_n) \
         SELECT randomblob(16), 'shell', coalesce(unixepoch(value ->> 'at') * 1000, 1767268800000), 'minute', 0, 'facts', 1, \
           (SELECT max(n) FROM journal), (SELECT max(n) FROM journal) FROM json_each(?) ORDER BY key",
        vec![rows.clone().into()],
    );
    push(
        "INSERT INTO shell (seq, tag, recipe_seq, recipe_version_seq, gating_material) SELECT ? + 1 + key, printf('T%d', ? + key), \
           (SELECT min(seq) FROM recipe), (SELECT min(seq) FROM recipe_version), 'wax_casting' FROM json_each(?)",
        vec![base.into(), base.into(), rows.clone().into()],
    );
    push(
        "INSERT INTO fact_shell (shell_seq, at_ms, poured, leaked, short, lost_mg, alloy, recipe_seq, recipe_version_seq, support, fed, \
           patched, shell_c, section_low, section_high, shell_clean) \
         SELECT s.seq, r.at_ms, 1, coalesce(value ->> 'leaked', 0), coalesce(value ->> 'short', 0), 0, coalesce(value ->> 'alloy', 'C87300'), \
           s.recipe_seq, s.recipe_version_seq, value ->> 'support', value ->> 'fed', 0, value ->> 'shell_c', value ->> 'low', \
           coalesce(value ->> 'high', value ->> 'low'), 1 \
         FROM json_each(?) k JOIN shell s ON s.seq = ? + 1 + k.key JOIN record r ON r.seq = s.seq",
        vec![rows.into(), base.into()],
    );
    tx.save(()).await.unwrap();
}

/// So many shells that are alike, some of them leaked.
fn many(n: usize, leaked: usize, like: &Value) -> Vec<Value> {
    let one = |i: usize| {
        let mut row = like.clone();
        row["leaked"] = u8::from(i < leaked).into();
        row
    };
    (0..n).map(one).collect()
}

#[tokio::test]
async fn a_chart_by_month_keeps_empty_months_and_exact_limits() {
    let shop = TestShop::open(1).await;
    let mut rows = many(4, 1, &json!({"at": "2026-01-10T10:00:00Z"}));
    rows.extend(many(2, 0, &json!({"at": "2026-03-05T10:00:00Z"})));
    shells(&shop, &rows).await;
    let chart = shop.get("/v1/reports/chart?outcome=leak&per=month").await.is(200);
    let points = list(&chart["points"]);
    let labels: Vec<&str> = points.iter().map(|p| p["label"].as_str().unwrap()).collect();
    assert_eq!(labels, ["2026-01", "2026-02", "2026-03"]);
    assert_eq!(
        points[1],
        json!({"at": "2026-02-01T00:00:00Z", "label": "2026-02", "n": 0, "count": 0, "centre": 1.0 / 6.0, "signals": []})
    );
    // 1 of 6. Of 4, 3 or more come with 21 of 1,296, 4 with 1 of 1,296: below 0.00135.
    assert_eq!((&points[0]["n"], &points[0]["count"], &points[0]["limits_by"]), (&json!(4), &json!(1), &json!("exact")));
    for (point, rate, upper) in [(&points[0], 0.25, 0.75), (&points[2], 0.0, 1.0)] {
        near(&point["rate"], rate);
        near(&point["centre"], 1.0 / 6.0);
        near(&point["lower"], 0.0);
        near(&point["upper"], upper);
        assert_eq!(point["signals"], json!([]));
    }
    assert_eq!((&chart["method"], &chart["baseline"]), (&json!("exact_tails"), &json!({"groups": 2, "frozen": false})));
    assert_eq!((&chart["overall"]["n"], &chart["overall"]["count"]), (&json!(6), &json!(1)));
    assert_eq!(points[0]["behind_href"], "/reports/behind?outcome=leaks&by=month&level=2026-01");
    // Filters narrow it, and are handed on.
    let some = shop.get("/v1/reports/chart?outcome=leak&alloy=C87300&from=2026-02-01T00:00:00Z").await.is(200);
    assert_eq!(list(&some["points"]).len(), 1);
    assert_eq!(
        some["points"][0]["behind_href"],
        "/reports/behind?outcome=leaks&by=month&level=2026-03&from=2026-02-01&alloy=C87300"
    );
    assert_eq!((&some["method"], &some["why"]["why"]), (&json!("rates_only"), &json!("one_group")));
}

#[tokio::test]
async fn a_month_above_its_limit_is_a_signal_in_a_sentence() {
    let shop = TestShop::open(1).await;
    let mut rows = Vec::new();
    for n in 0..21 {
        let at = format!("{}-{:02}-10T10:00:00Z", 2024 + n / 12, 1 + n % 12);
        rows.extend(many(30, if n == 20 { 6 } else { 1 }, &json!({"at": at})));
    }
    shells(&shop, &rows).await;
    let chart = shop.get("/v1/reports/chart?outcome=leak").await.is(200);
    // 20 months of 1 in 30 are the baseline. Of 30, 5 or more come with 0.0029, 6 with 0.0004;
    // 11 of the last 180 with 0.040, which is no signal.
    assert_eq!(chart["baseline"], json!({"groups": 20, "frozen": true}));
    let signals: Vec<(&str, &Value)> = list(&chart["points"])
        .iter()
        .flat_map(|p| list(&p["signals"]).iter().map(|s| (p["label"].as_str().unwrap(), s)))
        .collect();
    assert_eq!(signals.len(), 1, "{signals:?}");
    assert_eq!(signals[0].0, "2025-09");
    assert_eq!(
        signals[0].1["words"],
        "September 2025: 6 of 30 shells leaked, where about 1 was to be expected; up to 5 would be no surprise."
    );
    assert_eq!((&signals[0].1["signal"], &signals[0].1["more"]), (&json!("above_upper"), &json!(true)));
    near(&chart["points"][20]["upper"], 5.0 / 30.0);
    // The same shells, as they are charted when nothing leaked.
    let none = shop.get("/v1/reports/chart?outcome=short").await.is(200);
    assert_eq!((&none["method"], &none["why"]), (&json!("against_clean"), &json!({"why": "none_in_baseline", "of": 600})));
    // No casting is broken out.
    let unseen = shop.get("/v1/reports/chart?outcome=defect").await.is(200);
    assert_eq!(
        (&unseen["points"], &unseen["overall"], &unseen["method"]),
        (&json!([]), &json!({"n": 0, "count": 0}), &json!("rates_only"))
    );
}

#[tokio::test]
async fn shell_by_shell_the_sound_ones_between_two_are_counted() {
    let shop = TestShop::open(1).await;
    let at = |n: usize| format!("2026-01-{:02}T10:00:00Z", n + 1);
    let rows: Vec<Value> =
        [0, 1, 0, 0, 1, 1, 0].iter().enumerate().map(|(n, leaked)| json!({"at": at(n), "leaked": leaked})).collect();
    shells(&shop, &rows).await;
    let chart = shop.get("/v1/reports/chart?outcome=leak&per=pour").await.is(200);
    // Gaps of 2 and 0: a mean of 1, p = ½. ½^10 is the first below 0.00135, ½^9 below 0.0027.
    let gaps: Vec<&Value> = list(&chart["gaps"]).iter().map(|g| &g["sound"]).collect();
    assert_eq!((gaps, &chart["running"], &chart["method"]), (vec![&json!(2), &json!(0)], &json!(1), &json!("g_chart")));
    assert_eq!(chart["gap_limits"], json!({"mean_gap": 1.0, "p": 0.5, "upper": 9, "lower": 0, "zeros_to_signal": 9}));
    let first = &chart["points"][0];
    assert_eq!(first["behind_href"], format!("/shells/{}", first["tag"].as_str().unwrap()));
    assert!(first.get("upper").is_none() && chart["points"][6]["count"] == 0, "{chart:#}");
    let svg = shop.ask("GET", "/v1/reports/chart?outcome=leak&per=pour").header("accept", "image/svg+xml").send().await;
    let drawn = String::from_utf8(svg.bytes.clone()).unwrap();
    assert!(drawn.contains("so far: 1") && drawn.contains("2026-01-05: 2"), "{drawn}");
}

#[tokio::test]
async fn a_drawing_is_answered_to_who_asks_for_one() {
    let shop = TestShop::open(1).await;
    shells(&shop, &many(5, 1, &json!({"shell_c": 700, "low": 5}))).await;
    for path in [
        "/v1/reports/chart?outcome=leak",
        "/v1/reports/model?outcome=leak",
        "/v1/reports/leaks?by=alloy",
        "/v1/reports/defects?by=alloy",
    ] {
        for (accept, media) in [
            ("image/svg+xml", "image/svg+xml"),
            ("application/json;q=0.4, image/*", "image/svg+xml"),
            ("*/*", "application/json"),
            ("application/json, image/svg+xml", "application/json"),
        ] {
            let reply = shop.ask("GET", path).header("accept", accept).send().await;
            assert_eq!((reply.status, reply.header("content-type")), (200, Some(media)), "{path} {accept}");
            let vary: Vec<_> = reply.headers.get_all("vary").iter().map(|v| v.to_str().unwrap().to_lowercase()).collect();
            assert!(vary.iter().any(|v| v == "accept"), "{vary:?}");
            let drawn = reply.bytes.starts_with(b"<svg") && reply.bytes.ends_with(b"</svg>");
            assert_eq!(drawn, media == "image/svg+xml", "{path} {accept}");
        }
        shop.ask("GET", path).header("accept", "image/png").send().await.refused("not-acceptable");
    }
    shop.ask("GET", "/v1/reports/yields?by=alloy").header("accept", "image/svg+xml").send().await.refused("not-acceptable");
}

#[tokio::test]
async fn what_is_asked_wrongly_is_named() {
    let shop = TestShop::open(1).await;
    for (path, word) in [
        ("/v1/reports/chart", "outcome"),
        ("/v1/reports/chart?outcome=luck", "outcome"),
        ("/v1/reports/chart?outcome=leak&per=week", "per"),
        ("/v1/reports/chart?outcome=leak&from=yesterday", "from"),
        ("/v1/reports/chart?outcome=leak&code=A111", "code"),
        ("/v1/reports/model", "outcome"),
        ("/v1/reports/model?outcome=leak&by=luck", "no factor luck"),
        ("/v1/reports/model?outcome=leak&by=", "no factor"),
        ("/v1/reports/model?outcome=leak&by=alloy,alloy", "twice"),
        ("/v1/reports/model?outcome=leak&by=hand", "several"),
        ("/v1/reports/model?outcome=leak&by=month", "chart"),
        ("/v1/reports/model?outcome=short&code=A111", "code"),
    ] {
        let problem = shop.get(path).await.refused("malformed");
        assert!(problem["detail"].as_str().unwrap().contains(word), "{path}: {problem}");
    }
    shop.get("/v1/reports/model?outcome=leak&alloy=unobtainium").await.refused("not-found");
    shop.get("/v1/reports/chart?outcome=leak&unit=casting").await.refused("unknown-parameter");
}

#[tokio::test]
async fn two_levels_are_the_table_with_a_half_added_to_each_cell() {
    let shop = TestShop::open(1).await;
    let mut rows = many(40, 4, &json!({"support": "open_rack"}));
    rows.extend(many(20, 6, &json!({"support": "buried"})));
    rows.extend(many(3, 1, &json!({})));
    shells(&shop, &rows).await;
    let model = shop.get("/v1/reports/model?outcome=leak&by=support").await.is(200);
    assert_eq!(
        (&model["n"], &model["count"], &model["fitted"], &model["separation"]),
        (&json!(60), &json!(10), &json!(true), &json!("none"))
    );
    assert_eq!(model["left_out"], json!({"count": 3, "why": [{"factor": "support", "not_on_record": 3, "mixed": 0}]}));
    assert_eq!(model["reference"], json!([{"factor": "support", "level": "open_rack", "n": 40, "count": 4}]));
    // Firth 1993: (6.5 ∕ 14.5) ∕ (4.5 ∕ 36.5).
    let term = &model["terms"][0];
    near(&term["odds_ratio"], 6.5 * 36.5 / (14.5 * 4.5));
    assert_eq!(
        (&term["level"], &term["n"], &term["count"], &term["pinned_down"]),
        (&json!("buried"), &json!(20), &json!(6), &json!(true))
    );
    assert_eq!(term["includes_one"], json!(term["low"].as_f64().unwrap() <= 1.0));
    let words = term["words"].as_str().unwrap();
    assert!(
        words.starts_with(
            "Buried: 6 of 20 leaked; open rack: 4 of 40. The odds of a leak at buried are 3.6 times those at open rack ("
        ),
        "{words}"
    );
    assert!(words.ends_with("1.") && words.contains("the interval "), "{words}");
    // Those odds with the intercept chosen so that 10 of 60 are to be expected (worked apart).
    let rows = list(&model["rates"][0]["rows"]);
    near(&rows[0]["adjusted"], 0.102_873_086_3);
    near(&rows[1]["adjusted"], 0.294_253_827_4);
    near(&rows[1]["rate"], 0.3);
    assert_eq!(rows[1]["behind_href"], "/reports/behind?outcome=leaks&by=support&level=buried");
}

#[tokio::test]
async fn what_never_leaked_cannot_be_pinned_down() {
    let shop = TestShop::open(1).await;
    let mut rows = many(40, 10, &json!({"support": "open_rack", "fed": "top"}));
    rows.extend(many(13, 0, &json!({"support": "buried", "fed": "bottom"})));
    shells(&shop, &rows).await;
    let model = shop.get("/v1/reports/model?outcome=leak&by=support,fed,alloy").await.is(200);
    assert_eq!((&model["separation"], &model["fitted"]), (&json!("quasi"), &json!(true)), "{model:#}");
    let terms = list(&model["terms"]);
    assert_eq!((terms.len(), &terms[0]["pinned_down"]), (1, &json!(false)));
    let words = terms[0]["words"].as_str().unwrap();
    assert!(words.starts_with("Buried has never leaked (0 of 13); its effect cannot be pinned down"), "{words}");
    // The feed goes with the support shell by shell; the alloy is one.
    let dropped: Vec<&str> = list(&model["dropped"]).iter().map(|d| d.as_str().unwrap()).collect();
    assert_eq!(dropped.len(), 2, "{dropped:?}");
    assert!(dropped[0].contains("cannot be told from one another") && dropped[1].contains("same for all shells"), "{dropped:?}");
}

#[tokio::test]
async fn a_model_that_cannot_be_is_refused_with_what_would_help() {
    let shop = TestShop::open(1).await;
    let refused = async |query: &str| {
        let model = shop.get(&format!("/v1/reports/model?outcome=leak&{query}")).await.is(200);
        assert_eq!(model["fitted"], false, "{model:#}");
        assert!(model.get("terms").is_none(), "{model:#}");
        model["refused"].clone()
    };
    assert_eq!(
        refused("by=support").await,
        json!({"code": "nothing_counted", "words": "There are no shells poured in this time."})
    );
    shells(&shop, &many(9, 0, &json!({"support": "open_rack"}))).await;
    assert_eq!(refused("by=support").await["code"], "all_alike");
    assert_eq!(
        refused("by=fed").await,
        json!({"code": "nothing_counted", "words": "Of none of the 9 shells is all that was asked on record."})
    );
    shells(&shop, &many(9, 9, &json!({"support": "open_rack"}))).await;
    // 9 of 18 leaked: one effect at most, and one level is none.
    assert_eq!(refused("by=support").await["code"], "nothing_differs");
    let mut more = many(4, 1, &json!({"support": "buried"}));
    more.extend(many(4, 1, &json!({"support": "standing"})));
    more.extend(many(4, 1, &json!({"support": "half_buried", "shell_c": 700})));
    shells(&shop, &more).await;
    // 12 of 30 leaked, which bears two effects; four levels are three.
    let few = refused("by=alloy,support").await;
    assert_eq!((&few["code"], &few["leave_out"]), (&json!("too_few"), &json!(["support"])), "{few}");
    let words = few["words"].as_str().unwrap();
    assert!(
        words.starts_with("12 of 30 shells leaked, which bears 2 effects (5 for each); asked for are 3: how the shell stood 3."),
        "{words}"
    );
}

#[tokio::test]
async fn ten_thousand_levels_are_refused_and_a_great_many_shells_are_not() {
    let shop = TestShop::open(1).await;
    let rows: Vec<Value> = (0..10_000)
        .map(|n| json!({"support": format!("s{n}"), "leaked": u8::from(n % 7 == 0), "shell_c": 500 + n % 301, "low": 3 + n % 9, "at": "2026-02-01T10:00:00Z"}))
        .collect();
    shells(&shop, &rows).await;
    let model = shop.get("/v1/reports/model?outcome=leak&by=support").await.is(200);
    assert_eq!((&model["fitted"], &model["refused"]["code"]), (&json!(false), &json!("too_much")));
    // 301 temperatures by 9 sections are over the limit; to the nearest 5 °C and 0.5 mm they are not.
    let model = shop.get("/v1/reports/model?outcome=leak&by=shell_temperature_band,section_band").await.is(200);
    assert_eq!((&model["fitted"], &model["n"]), (&json!(true), &json!(10_000)), "{}", model["refused"]);
    assert!(model["coarse"].as_str().unwrap().contains("5 °C"), "{}", model["coarse"]);
    for path in ["/v1/reports/chart?outcome=leak&per=pour", "/v1/reports/chart?outcome=leak"] {
        let chart = shop.get(path).await.is(200);
        assert_eq!(chart["overall"]["n"], 10_000);
    }
    let pours = shop.get("/v1/reports/chart?outcome=leak&per=pour").await.is(200);
    assert_eq!((list(&pours["points"]).len(), &pours["left_out"]["count"]), (5_000, &json!(5_000)));
}

#[tokio::test]
async fn the_curve_stays_where_something_was_poured() {
    let shop = TestShop::open(1).await;
    let mut rows = Vec::new();
    // Thin ones from 600 to 800 °C, thick ones from 500 to 700; the hotter the more leak.
    for (low, from) in [(4, 600), (12, 500)] {
        for step in 0..5_usize {
            rows.extend(many(20, 2 + 2 * step, &json!({"shell_c": from + 50 * step, "low": low, "support": "open_rack"})));
        }
    }
    rows.extend(many(5, 1, &json!({"low": 4})));
    shells(&shop, &rows).await;
    let model = shop.get("/v1/reports/model?outcome=leak&by=shell_temperature_band").await.is(200);
    let curve = &model["curves"][0];
    assert_eq!(
        (&curve["outcome"], &curve["left_out"], &model["curves"][1]["outcome"]),
        (&json!("leak"), &json!(5), &json!("short"))
    );
    let sections = list(&curve["sections"]);
    assert_eq!(sections.len(), 2, "{curve:#}");
    for (section, from, to) in [(&sections[0], 600.0, 800.0), (&sections[1], 500.0, 700.0)] {
        let points = list(&section["points"]);
        near(&points[0]["shell_c"], from);
        near(&points.last().unwrap()["shell_c"], to);
        assert!(points.windows(2).all(|p| p[0]["rate"].as_f64() < p[1]["rate"].as_f64()), "{section:#}");
        for point in points {
            let [low, rate, high] = ["low", "rate", "high"].map(|n| point[n].as_f64().unwrap());
            assert!(0.0 < low && low < rate && rate < high && high < 1.0, "{point}");
        }
        let n: u64 = list(&section["dots"]).iter().map(|d| d["n"].as_u64().unwrap()).sum();
        assert_eq!(n, 100);
    }
    // None stayed short: there is no curve of it, and it is said.
    assert!(model["curves"][1]["refused"].as_str().unwrap().contains("there are 0"), "{}", model["curves"][1]["refused"]);
    let words = model["terms"][0]["words"].as_str().unwrap();
    assert!(
        words.starts_with("Shell temperature at the pour, seen from 500 to 800 °C: each 50 °C more makes the odds of a leak "),
        "{words}"
    );
    let svg = shop.ask("GET", "/v1/reports/model?outcome=leak").header("accept", "image/svg+xml").send().await;
    let drawn = String::from_utf8(svg.bytes.clone()).unwrap();
    assert!(drawn.contains("Section ") && !drawn.contains("NaN"), "{drawn}");
}

/// Every place where something is missing by null, which is never said.
fn nulls(value: &Value, at: &str, out: &mut Vec<String>) {
    match value {
        Value::Null => out.push(at.to_owned()),
        Value::Array(items) => items.iter().enumerate().for_each(|(n, v)| nulls(v, &format!("{at}/{n}"), out)),
        Value::Object(members) => members.iter().for_each(|(n, v)| nulls(v, &format!("{at}/{n}"), out)),
        _ => {}
    }
}

#[tokio::test]
async fn pages_say_what_the_reports_say_and_every_mark_opens_what_is_behind_it() {
    let shop = TestShop::open(1).await;
    let mut rows = Vec::new();
    for n in 0..21_usize {
        let at = format!("{}-{:02}-10T10:00:00Z", 2024 + n / 12, 1 + n % 12);
        let like = json!({"at": at, "shell_c": 560 + 10 * n, "low": 3 + n % 6, "support": if n % 2 == 0 { "open_rack" } else { "buried" }});
        rows.extend(many(30, if n == 20 { 9 } else { 1 + n % 2 }, &like));
    }
    shells(&shop, &rows).await;
    for path in [
        "/v1/reports/chart?outcome=leak",
        "/v1/reports/chart?outcome=leak&per=pour",
        "/v1/reports/chart?outcome=short",
        "/v1/reports/chart?outcome=defect",
        "/v1/reports/model?outcome=leak&by=support,shell_temperature_band,alloy",
        "/v1/reports/model?outcome=defect&by=support",
        "/v1/reports/model?outcome=short&by=superheat_band,minutes_out_of_kiln_band,drying_shortfall_band,coats,pattern",
    ] {
        let mut missing = Vec::new();
        nulls(&shop.get(path).await.is(200), "", &mut missing);
        assert_eq!(missing, Vec::<String>::new(), "{path}");
    }
    let mut owner = Browser::signed_in(&shop, "Ada", Role::Owner).await;
    let chart = shop.get("/v1/reports/chart?outcome=leak").await.is(200);
    let html = owner.get("/reports/chart?outcome=leak").await.is(200);
    let signals: Vec<&Value> = list(&chart["points"]).iter().flat_map(|p| list(&p["signals"])).collect();
    assert!(!signals.is_empty() && signals.iter().all(|s| html.contains(s["words"].as_str().unwrap())), "{signals:?} {html}");
    let csv = owner.get("/reports/chart.csv?outcome=leak").await.is(200);
    assert!(csv.starts_with("at,label,n,count,rate,rate_low,rate_high,centre,lower,upper,limits_by"), "{csv}");
    assert_eq!(csv.lines().count(), 22);
    let model = shop.get("/v1/reports/model?outcome=leak&by=support,shell_temperature_band").await.is(200);
    let page = owner.get("/reports/model?outcome=leak&by=support&by2=shell_temperature_band").await.is(200);
    for term in list(&model["terms"]) {
        assert!(page.contains(term["words"].as_str().unwrap()), "{term} {page}");
    }
    for html in [&html, &page] {
        assert!(html.contains("<svg class=\"plot\"") && !html.contains("NaN") && !html.contains("significant"), "{html}");
        let mut opened: Vec<&str> =
            html.split("href=\"/reports/behind").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
        opened.sort_unstable();
        opened.dedup();
        assert!(opened.len() > 3, "{opened:?}");
        for rest in opened {
            let path = format!("/reports/behind{}", rest.replace("&amp;", "&").replace("&#38;", "&"));
            let behind = owner.get(&path).await.is(200);
            assert!(behind.contains("Shells: ") || behind.contains("Castings: "), "{path}: {behind}");
        }
    }
}

#[tokio::test]
async fn what_would_take_too_long_is_refused_at_once() {
    let shop = TestShop::open(1).await;
    let rows: Vec<Value> = (0..1_150_u64)
        .map(|n| {
            let (support, fed) = (format!("s{}", n * 7919 % 12), format!("f{}", n * 104_729 % 7));
            let leaked = u8::from(n * 2_654_435_761 % 1000 < 150);
            json!({"support": support, "fed": fed, "leaked": leaked, "shell_c": 500 + n * 37 % 301, "low": 3 + n % 9})
        })
        .collect();
    shells(&shop, &rows).await;
    // 19 columns over 1,150 rows: some nine million steps, where four are allowed.
    let path = "/v1/reports/model?outcome=leak&by=support,fed,shell_temperature_band,section_band";
    let model = shop.get(path).await.is(200);
    assert_eq!((&model["fitted"], &model["refused"]["code"]), (&json!(false), &json!("too_much")));
    assert!(model.get("n").is_none() && model.get("rates").is_none(), "{model:#}");
}
