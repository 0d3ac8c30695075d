//! How a rate goes with one continuous variable, as a curve with a band.

use super::design::{Column, Design, DesignError, Dropped};
use super::firth::{Firth, Trail};
use super::flic::{Flic, Predicted};
use super::likelihood::NoFit;
use super::spline::Knots;

/// One column to so many outcomes of the rarer kind, at most (a rule of thumb, stricter than
/// the ten events per variable of Peduzzi et al. 1996 is not affordable here; Firth's penalty
/// bears what is left).
const OUTCOMES_PER_COLUMN: f64 = 5.0;
/// From so many outcomes of the rarer kind the band is by the delta method: by then it and the
/// profile agree, and the profile is some hundred times the work.
const DELTA_FROM: f64 = 100.0;
/// From so many observations on, the fit takes values to the nearest of [`STEPS`] over their
/// range: equal rows are then put together, and the band is a hundred times quicker.
const COARSE_FROM: usize = 400;
/// Half a step off is 0.4 % of the standard deviation of even values.
const STEPS: f64 = 200.0;
/// The names of the variable's columns in the design.
const LINEAR: &str = "value";
const BENT: &str = "value, bent";

/// What was seen at one value.
#[derive(Clone, PartialEq, Debug)]
pub struct Observation {
    /// The continuous variable: superheat, section, time.
    pub value: f64,
    /// A level that shifts the whole curve, such as a band of section; the same everywhere
    /// for one curve.
    pub section: String,
    /// How many had the outcome.
    pub count: u32,
    /// Out of how many.
    pub of: u32,
}

/// How the curve may run, on the scale of ln odds.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Shape {
    /// A straight line.
    Line,
    /// A restricted cubic spline with these knots.
    Spline([f64; 3]),
}

/// How the band was found.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum BandMethod {
    /// Profile of the penalised likelihood.
    Profile,
    /// Delta method on the linear predictor, with the penalised fit's information.
    Delta,
}

/// One point of a curve.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct CurvePoint {
    /// Where.
    pub value: f64,
    /// The rate there with its pointwise band.
    pub predicted: Predicted,
}

/// The curve of one section, from its lowest value seen to its highest.
#[derive(Clone, PartialEq, Debug)]
pub struct SectionCurve {
    /// The section.
    pub section: String,
    /// Its points, rising in value; one where only one value was seen.
    pub points: Vec<CurvePoint>,
}

/// The curves of all sections. They are parallel on the scale of ln odds.
#[derive(Clone, PartialEq, Debug)]
pub struct Curve {
    /// How they run.
    pub shape: Shape,
    /// How the band was found.
    pub band: BandMethod,
    /// One curve to a section, in the order of first appearance.
    pub sections: Vec<SectionCurve>,
    /// Test that the variable has no part: the chance of so large a fall of the penalised
    /// likelihood without it.
    pub p: f64,
    /// Columns left out of the fit, such as a section that the variable determines.
    pub dropped: Vec<Dropped>,
}

/// Why there is no curve.
#[derive(Clone, PartialEq, Debug)]
pub enum NoCurve {
    /// Too few outcomes of the rarer kind for the columns that a line takes.
    TooFew {
        /// Outcomes of the rarer kind.
        outcomes: f64,
        /// How many it would take.
        needed: f64,
    },
    /// All values are the same.
    OneValue,
    /// Fewer than two points asked for.
    NoPoints,
    /// The data are at fault.
    Data(DesignError),
    /// The fit failed.
    Fit(NoFit),
}

impl From<NoFit> for NoCurve {
    fn from(cause: NoFit) -> Self {
        Self::Fit(cause)
    }
}

/// The rate as a function of the value, by Firth's fit with the intercept put right
/// ([`Flic`]): a spline where there are five outcomes of the rarer kind to every column, else
/// a line, else refused. Sections are levels against the one with most observed. No point
/// lies outside what was seen in its section.
pub fn curve(observations: &[Observation], points: u32, confidence: f64) -> Result<Curve, NoCurve> {
    if points < 2 {
        return Err(NoCurve::NoPoints);
    }
    if let Some(row) = observations.iter().position(|observation| observation.count > observation.of) {
        return Err(NoCurve::Data(DesignError::Counts { row }));
    }
    let seen: Vec<&Observation> = observations.iter().filter(|observation| observation.of > 0).collect();
    if seen.iter().any(|observation| !observation.value.is_finite()) {
        return Err(NoCurve::Data(DesignError::NotFinite { column: LINEAR.to_owned() }));
    }
    let sections = Sections::of(&seen);
    let shape = shape(&seen, &sections)?;
    let terms = Terms { shape, sections: &sections };
    let counts: Vec<u32> = seen.iter().map(|observation| observation.count).collect();
    let totals: Vec<u32> = seen.iter().map(|observation| observation.of).collect();
    let design = Design::new(&terms.columns(&coarse(&seen)), &counts, &totals).map_err(NoCurve::Data)?;
    if !design.names().iter().any(|name| name == LINEAR) {
        return Err(NoCurve::OneValue);
    }
    let fit = Firth::new(&design)?;
    let flic = Flic::new(&fit)?;
    let (_, _, p) = fit.test(&[LINEAR, BENT])?.ok_or(NoCurve::OneValue)?;
    let band = if rarer(&seen) < DELTA_FROM { BandMethod::Profile } else { BandMethod::Delta };
    let predict = |value: f64, section: &str, trail: &mut Trail| {
        let row = terms.row(value, section, design.names());
        let predicted = match band {
            BandMethod::Profile => flic.predict_after(&row, confidence, trail),
            BandMethod::Delta => flic.predict_by_delta(&row, confidence),
        };
        predicted.map(|predicted| CurvePoint { value, predicted })
    };
    let drawn = sections.all.iter().map(|section| {
        let mut trail = Trail::default();
        let along = section.grid(points).into_iter().map(|value| predict(value, &section.name, &mut trail));
        let points = along.collect::<Result<_, NoFit>>()?;
        Ok(SectionCurve { section: section.name.clone(), points })
    });
    let sections = drawn.collect::<Result<_, NoFit>>()?;
    Ok(Curve { shape, band, sections, p, dropped: design.dropped().to_vec() })
}

/// The observations with their values as the fit takes them.
fn coarse(seen: &[&Observation]) -> Vec<Observation> {
    let values = || seen.iter().map(|observation| observation.value);
    let low = values().fold(f64::INFINITY, f64::min);
    let step = (values().fold(f64::NEG_INFINITY, f64::max) - low) / STEPS;
    let near =
        |value: f64| if seen.len() > COARSE_FROM && step > 0.0 { low + step * ((value - low) / step).round() } else { value };
    seen.iter().map(|observation| Observation { value: near(observation.value), ..(*observation).clone() }).collect()
}

/// Outcomes of the rarer kind.
fn rarer(seen: &[&Observation]) -> f64 {
    let events: f64 = seen.iter().map(|observation| f64::from(observation.count)).sum();
    let total: f64 = seen.iter().map(|observation| f64::from(observation.of)).sum();
    events.min(total - events)
}

fn shape(seen: &[&Observation], sections: &Sections) -> Result<Shape, NoCurve> {
    let outcomes = rarer(seen);
    let levels = sections.all.len().saturating_sub(1) as f64;
    let affords = |columns: f64| outcomes >= OUTCOMES_PER_COLUMN * (levels + columns);
    if !affords(1.0) {
        return Err(NoCurve::TooFew { outcomes: outcomes.max(0.0), needed: OUTCOMES_PER_COLUMN * (levels + 1.0) });
    }
    let weighted: Vec<(f64, f64)> = seen.iter().map(|observation| (observation.value, f64::from(observation.of))).collect();
    let knots = affords(2.0).then(|| Knots::of(&weighted)).flatten();
    Ok(knots.map_or(Shape::Line, |knots| Shape::Spline(knots.0)))
}

/// A section with what was seen in it.
struct Section {
    name: String,
    observed: f64,
    low: f64,
    high: f64,
}

impl Section {
    /// Evenly spaced values from the lowest seen to the highest.
    fn grid(&self, points: u32) -> Vec<f64> {
        if self.high <= self.low {
            return vec![self.low];
        }
        let step = (self.high - self.low) / f64::from(points - 1);
        let inner = (0..points - 1).map(|i| self.low + step * f64::from(i));
        inner.chain([self.high]).collect()
    }
}

struct Sections {
    all: Vec<Section>,
    /// The section with most observed, which has no column.
    reference: String,
}

impl Sections {
    fn of(seen: &[&Observation]) -> Self {
        let mut all: Vec<Section> = Vec::new();
        for Observation { value, section, of, .. } in seen {
            match all.iter_mut().find(|known| known.name == *section) {
                Some(known) => {
                    known.observed += f64::from(*of);
                    known.low = known.low.min(*value);
                    known.high = known.high.max(*value);
                }
                None => all.push(Section { name: section.clone(), observed: f64::from(*of), low: *value, high: *value }),
            }
        }
        let most = all.iter().reduce(|most, section| if section.observed > most.observed { section } else { most });
        let reference = most.map_or_else(String::new, |section| section.name.clone());
        Self { all, reference }
    }
}

/// The columns of a curve.
struct Terms<'a> {
    shape: Shape,
    sections: &'a Sections,
}

impl Terms<'_> {
    fn columns(&self, seen: &[Observation]) -> Vec<Column> {
        let column = |name: &str, value: &dyn Fn(&Observation) -> f64| Column {
            name: name.to_owned(),
            values: seen.iter().map(value).collect(),
        };
        let mut columns = vec![column(LINEAR, &|observation| observation.value)];
        if let Shape::Spline(knots) = self.shape {
            columns.push(column(BENT, &|observation| Knots(knots).bend(observation.value)));
        }
        for section in self.sections.all.iter().filter(|section| section.name != self.sections.reference) {
            let name = format!("section {}", section.name);
            columns.push(column(&name, &|observation| f64::from(u8::from(observation.section == section.name))));
        }
        columns
    }

    /// The values of the columns in the fit at one value of the variable.
    fn row(&self, value: f64, section: &str, names: &[String]) -> Vec<f64> {
        let one = |name: &String| match (name.as_str(), self.shape) {
            (LINEAR, _) => value,
            (BENT, Shape::Spline(knots)) => Knots(knots).bend(value),
            (other, _) => f64::from(u8::from(other.strip_prefix("section ") == Some(section))),
        };
        names.iter().map(one).collect()
    }
}
