//! Drawings of quotes: the range of a cost with its price, and how past quotes held.

use super::frame::{Drawing, Scale, circle, path, round_within, text};
use super::{LEFT, RIGHT, WIDTH, escaped, linked};

/// A place on the line of a cost.
#[derive(Clone, Debug)]
pub struct CostMark {
    /// Where, in minor units.
    pub value: f64,
    /// What it is, with its amount in words.
    pub said: String,
}

/// The range of a cost and what stands beside it.
#[derive(Clone, Debug, Default)]
pub struct CostRange {
    /// The range that holds 80 in 100; an end that is not known is left out.
    pub low: Option<f64>,
    /// Its upper end.
    pub high: Option<f64>,
    /// The middle.
    pub middle: Option<CostMark>,
    /// What stands beside it: the 80 % line, the price, what it really cost.
    pub marks: Vec<CostMark>,
}

/// A line of cost: the range as a bar, its middle as a dot, each mark as a stroke with its words in a row
/// of its own below.
#[must_use]
pub fn cost_range(title: &str, about: &str, range: &CostRange) -> Drawing {
    const LINE: f64 = 26.0;
    const ROW: f64 = 20.0;
    let all = [range.low, range.high].into_iter().flatten().chain(range.middle.iter().chain(&range.marks).map(|m| m.value));
    let known: Vec<f64> = all.filter(|v| v.is_finite()).collect();
    let (least, most) = known.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), v| (l.min(*v), m.max(*v)));
    let scale = Scale {
        from: if least.is_finite() { least * 0.9 } else { 0.0 },
        to: most * 1.05,
        at_from: LEFT + 8.0,
        at_to: RIGHT - 8.0,
    };
    let scale = scale.widened();
    let mut marks = String::new();
    path(&mut marks, "grid", &format!("M{LEFT} {LINE}H{RIGHT}"));
    if let (Some(low), Some(high)) = (range.low, range.high) {
        let (from, to) = (scale.place(low), scale.place(high));
        path(
            &mut marks,
            "whisker",
            &format!("M{from:.1} {LINE}H{to:.1}M{from:.1} {:.1}v16M{to:.1} {:.1}v16", LINE - 8.0, LINE - 8.0),
        );
    }
    let mut foot = LINE + 30.0;
    for (n, mark) in range.middle.iter().chain(&range.marks).enumerate() {
        let x = scale.place(mark.value);
        if n == 0 && range.middle.is_some() {
            circle(&mut marks, "dot", x, LINE, 6.0);
        } else {
            path(&mut marks, "centre", &format!("M{x:.1} {:.1}V{:.1}", LINE - 14.0, LINE + 14.0));
        }
        path(&mut marks, "fine", &format!("M{x:.1} {:.1}V{:.1}", LINE + 14.0, foot - 4.0));
        let class = if x > WIDTH / 2.0 { "end" } else { "start" };
        let place = if x > WIDTH / 2.0 { x + 4.0 } else { x - 4.0 };
        text(&mut marks, class, place.clamp(LEFT, RIGHT), foot + 10.0, &mark.said);
        foot += ROW;
    }
    Drawing::new(title, about, foot + 6.0, marks)
}

/// A past job quoted again.
#[derive(Clone, Debug)]
pub struct PastQuote {
    /// Its number and what it cost, in words.
    pub said: String,
    /// What it cost over the middle of the quote.
    pub ratio: f64,
    /// The range that should hold 80 in 100, over the middle; ends that are not known are left out.
    pub low: Option<f64>,
    /// Its upper end.
    pub high: Option<f64>,
    /// Where it leads.
    pub to: String,
}

/// Past jobs in the order of their quotes: the range of each as a stroke, what it cost as a dot, those
/// outside as rings. Upwards by factors, so that half and twice are as far from the middle.
#[must_use]
pub fn past_quotes(title: &str, about: &str, jobs: &[PastQuote]) -> Drawing {
    const TOP: f64 = 12.0;
    const FOOT: f64 = 212.0;
    const BESIDE: f64 = 44.0;
    let logs = jobs.iter().flat_map(|job| [Some(job.ratio), job.low, job.high]).flatten().filter(|v| *v > 0.0).map(f64::ln);
    let far = logs.fold(0.4, |far: f64, log| far.max(log.abs())).min(3.0);
    let y = Scale { from: -far, to: far, at_from: FOOT, at_to: TOP };
    let mut marks = String::new();
    for power in round_within(-far / std::f64::consts::LN_2, far / std::f64::consts::LN_2, 4) {
        let at = y.place(power * std::f64::consts::LN_2);
        path(&mut marks, "grid", &format!("M{BESIDE} {at:.1}H{RIGHT}"));
        text(&mut marks, "tick end", BESIDE - 4.0, at + 4.0, &format!("×{:.2}", power.exp2()));
    }
    let x = super::frame::steps(jobs.len(), BESIDE);
    for (n, job) in jobs.iter().enumerate() {
        if !(job.ratio > 0.0 && job.ratio.is_finite()) {
            continue;
        }
        let (at, dot) = (x(n), y.place(job.ratio.ln()));
        let end = |ratio: Option<f64>, none: f64| ratio.filter(|r| *r > 0.0).map_or(none, |r| y.place(r.ln()));
        let (low, high) = (end(job.low, FOOT), end(job.high, TOP));
        let outside = job.low.is_some_and(|low| job.ratio < low) || job.high.is_some_and(|high| job.ratio > high);
        let mut part = format!("<title>{}</title>", escaped(&job.said));
        circle(&mut part, "touch", at, dot, 12.0);
        path(&mut part, "whisker", &format!("M{at:.1} {low:.1}V{high:.1}"));
        circle(&mut part, if outside { "signal" } else { "dot" }, at, dot, if outside { 5.0 } else { 4.0 });
        marks.push_str(&linked(&job.to, &job.said, &part));
    }
    text(&mut marks, "tick", LEFT, FOOT + 22.0, "Stroke: the range. Dot: what it cost. Ring: outside.");
    Drawing::new(title, about, FOOT + 30.0, marks)
}
