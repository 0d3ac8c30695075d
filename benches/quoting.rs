//! How long a quote takes: `cargo bench --bench quoting`. Medians of wall time with the least and the most.
//! Ten thousand draws of a job of twelve pieces, what leads to them, and the back-test of a thousand jobs;
//! what is recorded in `benches/README.md` is from such runs.

use pourbook::science::quoting::{
    AskedLine, Comparable, Finished, Handbook, Job, MoverSpec, OverheadRates, Per, Unit, back_test, basis, fit, simulate,
};
use std::hint::black_box;
use std::time::Instant;

const MOVERS: usize = 15;
const DAY: i64 = 86_400_000;

fn movers() -> Vec<MoverSpec> {
    let one = |n: usize| MoverSpec {
        name: format!("mover {n}"),
        per: [Per::Casting, Per::Piece][n % 2],
        unit: [Unit::Quantity, Unit::Minutes][n % 2],
        slope: 0.65,
        handbook: Some(Handbook { at_one_kg: 20.0, scale: 0.5 }),
    };
    (0..MOVERS).map(one).collect()
}

/// A spread that needs no chance: the fractional parts of multiples of the golden ratio.
fn spread(n: usize) -> f64 {
    (n as f64 * 0.618_033_988_749_895).fract()
}

fn asked(n: usize, copies: u32) -> AskedLine {
    AskedLine {
        mass_kg: 0.5 * (4.0 * spread(n)).exp(),
        family: 0,
        section_mm: 4.0 + 8.0 * spread(3 * n),
        recipe: Some(1),
        finish: None,
        copies,
        most_attempts: 3,
        client_bears_recast: false,
        metal_per_kg: 1000.0,
        prices: vec![40.0; MOVERS],
        fixed: 0.0,
        per_piece: 0.0,
    }
}

fn job(n: usize) -> Job {
    let line = asked(n, 1 + u32::try_from(n % 7).unwrap_or(0));
    let values = (0..MOVERS).map(|m| Some(20.0 * line.mass_kg.powf(0.65) * (spread(n * 31 + m) - 0.5).exp())).collect();
    let quoted_at = i64::try_from(n).unwrap_or(0) * DAY;
    let actual = 1000.0 * line.mass_kg + 40.0 * 20.0 * line.mass_kg.powf(0.65) * MOVERS as f64 * (spread(n * 17) - 0.5).exp();
    let comparable = Comparable {
        mass_kg: line.mass_kg,
        family: 0,
        section_mm: line.section_mm,
        recipe: line.recipe,
        finish: None,
        pieces: line.copies,
        castings: line.copies + 1,
        failed: u32::from(n.is_multiple_of(5)),
        net_over_estimate: Some(1.0 + 0.1 * (spread(n) - 0.5)),
        poured_over_net: Some(1.7 + 0.3 * (spread(n * 7) - 0.5)),
        lost_share: Some(0.03),
        failed_share: Some(0.15),
        values,
        known_from: quoted_at + 60 * DAY,
    };
    Job {
        overhead: OverheadRates { of_work: 0.4, ..OverheadRates::default() },
        quoted_at,
        finished: Some(Finished { known_from: quoted_at + 60 * DAY, actual: actual * f64::from(line.copies) }),
        so_far: 0.0,
        quoted: None,
        comparables: vec![comparable],
        lines: vec![line],
    }
}

fn told(what: &str, times: usize, mut run: impl FnMut()) {
    run();
    let mut taken: Vec<f64> = (0..times)
        .map(|_| {
            let begun = Instant::now();
            run();
            begun.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    taken.sort_by(f64::total_cmp);
    let at = |n: usize| taken.get(n).copied().unwrap_or(0.0);
    println!("{what}: {:.1} ms ({:.1} to {:.1}, {times} runs)", at(times / 2), at(0), at(times - 1));
}

fn main() {
    let movers = movers();
    let jobs: Vec<Job> = (0..1000).map(job).collect();
    let record: Vec<Comparable> = jobs.iter().flat_map(|job| job.comparables.clone()).collect();
    let line = asked(77, 12);
    let Some(lines) = basis(&line, &record).and_then(|basis| Some(vec![(line.clone(), fit(&line, &basis, &record, &movers)?)]))
    else {
        println!("the line cannot be quoted");
        return;
    };
    let overhead = OverheadRates { of_work: 0.4, ..OverheadRates::default() };
    told("comparables and fit of one line among 1,000", 20, || {
        let basis = basis(&line, &record);
        black_box(basis.and_then(|basis| fit(&line, &basis, &record, &movers)));
    });
    told("10,000 draws of a job of 12 pieces, 15 movers", 20, || {
        black_box(simulate(&lines, &overhead, 10_000, 5));
    });
    told("back-test of 1,000 jobs, 400 draws each", 3, || {
        black_box(back_test(&jobs, &movers, 400, 1, &mut |_| {}));
    });
}
