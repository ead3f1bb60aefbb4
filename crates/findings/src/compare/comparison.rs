//! What a comparison finds: plain data, ready to be shown.

use crate::finding::{Assumed, Findings};
use quantity::{Measured, Stops};
use record::{Id, OutsideReport, Test};

/// One test that takes part in a comparison.
#[derive(Clone, Debug)]
pub struct Compared<'a> {
    /// What it is called in the answers; different for each test.
    pub name: String,
    /// Its records.
    pub test: &'a Test,
    /// What was found from them.
    pub findings: &'a Findings,
}

/// Everything a comparison finds.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Names of what was compared: tests, then outside reports.
    pub names: Vec<String>,
    /// Share of cases in which the intervals are meant to hold the truth.
    pub coverage: f64,
    /// Differences between tests, each with its possible causes.
    pub differences: Vec<Difference>,
    /// Other people's reports, held against the fitted tests.
    pub outside_reports: Vec<ReportCheck>,
    /// Base+fog, speed and gradient between batches, processes and tests.
    pub batch: Vec<BatchDifference>,
    /// Base+fog, speed and gradient of each curve, for a running plot.
    pub process: Vec<ProcessPoint>,
    /// Each number that was assumed.
    pub assumptions: Vec<Assumed>,
    /// What was not compared, and why.
    pub notes: Vec<String>,
}

impl Comparison {
    /// Gives the difference that should be told first: shown and important
    /// before shown before any; `None` when tests were not compared.
    #[must_use]
    pub fn headline(&self) -> Option<&Difference> {
        let first = |wanted: fn(&&Difference) -> bool| self.differences.iter().find(wanted);
        first(|d| d.significant && d.important)
            .or_else(|| first(|d| d.significant))
            .or_else(|| self.differences.first())
    }
}

/// What two tests are compared in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ComparedQuantity {
    /// The filter factor.
    FilterFactor,
    /// The EI behind the filter.
    FilteredEi,
    /// The EI without a filter.
    FilmSpeed,
}

impl ComparedQuantity {
    /// Gives the stable word used in JSON.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::FilterFactor => "filter_factor",
            Self::FilteredEi => "ei",
            Self::FilmSpeed => "film_speed",
        }
    }

    /// Gives the words of a sentence.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::FilterFactor => "filter factor",
            Self::FilteredEi => "EI behind the filter",
            Self::FilmSpeed => "EI without a filter",
        }
    }
}

/// A difference in stops; an end that is not known is open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StopsDifference {
    /// The best single value; with an open end, the end that is known.
    pub value: Stops,
    /// Lower end; `None` when it is open.
    pub low: Option<Stops>,
    /// Upper end; `None` when it is open.
    pub high: Option<Stops>,
}

/// A difference between two tests.
#[derive(Clone, Debug, PartialEq)]
pub struct Difference {
    /// The first test and what was taken from it: film, filter, light.
    pub first: (String, String),
    /// The second test and what was taken from it.
    pub second: (String, String),
    /// What is compared.
    pub quantity: ComparedQuantity,
    /// How many stops more exposure the second asks for.
    pub stops: StopsDifference,
    /// Whether the interval excludes zero.
    pub significant: bool,
    /// Whether the value is more than a third of a stop.
    pub important: bool,
    /// The answer in words, what explains it included.
    pub verdict: String,
    /// What could explain it.
    pub causes: Vec<PossibleCause>,
}

/// Whether the records of both tests show a cause.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CauseState {
    /// The records show that the tests differ in this.
    Present,
    /// Not recorded well enough to tell.
    Possible,
    /// The records show no difference in this.
    Excluded,
}

impl CauseState {
    /// Gives the stable word used in JSON and in tables.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Present => "present",
            Self::Possible => "possible",
            Self::Excluded => "excluded",
        }
    }
}

/// Something that could explain a difference between two tests.
#[derive(Clone, Debug, PartialEq)]
pub struct PossibleCause {
    /// The cause in words, as the subject of a sentence.
    pub cause: &'static str,
    /// What it could give, least to most, in the direction of the difference;
    /// `None` when its size is not known.
    pub stops: Option<(Stops, Stops)>,
    /// Whether the records show it.
    pub state: CauseState,
    /// What the records say, and why this many stops.
    pub why: String,
}

/// How well a report agrees with the fitted test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReportVerdict {
    /// The test would have predicted it.
    Expected,
    /// Neither predicted nor ruled out, or nothing to hold it against.
    Possible,
    /// The test all but rules it out.
    Contradictory,
}

impl ReportVerdict {
    /// Gives the stable word used in JSON.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Expected => "expected",
            Self::Possible => "possible",
            Self::Contradictory => "contradictory",
        }
    }
}

/// An outside report, held against one test.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportCheck {
    /// The test whose record holds the report.
    pub told_in: String,
    /// The report.
    pub report: OutsideReport,
    /// The test it was held against; `None` when none has this film and filter.
    pub against: Option<String>,
    /// How well they agree.
    pub verdict: ReportVerdict,
    /// Why, in one sentence with numbers.
    pub reason: String,
    /// Probability of what was seen, widely understood; `None` when unchecked.
    pub probability: Option<f64>,
    /// One standard deviation of the exposure it was worked out from.
    pub standard_uncertainty: Option<Stops>,
}

/// What a batch is compared in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BatchQuantity {
    /// Base+fog, gross density.
    BasePlusFog,
    /// Speed at 0.10 over base+fog, in stops; positive is faster.
    Speed,
    /// Gradient of the straight line, density per log10 exposure.
    Gradient,
}

impl BatchQuantity {
    /// Every quantity, in the order of the tables.
    pub const ALL: [Self; 3] = [Self::BasePlusFog, Self::Speed, Self::Gradient];

    /// Gives the stable word used in JSON; it carries the unit.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::BasePlusFog => "base_plus_fog_density",
            Self::Speed => "speed_stops",
            Self::Gradient => "gradient",
        }
    }

    /// Gives the words of a sentence.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::BasePlusFog => "base+fog",
            Self::Speed => "speed",
            Self::Gradient => "gradient",
        }
    }

    /// Gives the difference that is called important: 0.05 in density and in
    /// gradient, a third of a stop. Common practice.
    #[must_use]
    pub fn limit(self) -> f64 {
        match self {
            Self::BasePlusFog | Self::Gradient => 0.05,
            Self::Speed => 1.0 / 3.0,
        }
    }
}

/// A difference between two batches, processes or tests of one film.
#[derive(Clone, Debug, PartialEq)]
pub struct BatchDifference {
    /// The film's name.
    pub film: String,
    /// The first group: batch, process, and the test where it is only one.
    pub first: String,
    /// The second group.
    pub second: String,
    /// How many sheets or curves the first group has.
    pub first_count: usize,
    /// How many the second group has.
    pub second_count: usize,
    /// What is compared.
    pub quantity: BatchQuantity,
    /// Second less first, in the quantity's own unit.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Degrees of freedom; `None` where the interval rests on the fits' own
    /// uncertainties.
    pub degrees_of_freedom: Option<f64>,
    /// How the interval was made.
    pub method: &'static str,
    /// Whether the interval excludes zero.
    pub significant: bool,
    /// Whether the value is more than [`BatchQuantity::limit`].
    pub important: bool,
    /// Whether the groups differ in batch (else in process or test only).
    pub batches_differ: bool,
    /// The answer in words.
    pub verdict: String,
}

/// One curve on a running plot.
#[derive(Clone, Debug, PartialEq)]
pub struct ProcessPoint {
    /// The test.
    pub test: String,
    /// The film's name.
    pub film: String,
    /// The batch, as recorded.
    pub batch: Option<String>,
    /// The process.
    pub process: Id,
    /// The earliest day of the test's lights, `2026-06-21`; `None` when not recorded.
    pub day: Option<String>,
    /// Base+fog, gross density; `None` where no unexposed film was read.
    pub base_plus_fog: Option<Measured<f64>>,
    /// log2 of the speed 0.8/Hm: stops over EI 1. `None` on a relative scale.
    pub speed_stops: Option<Measured<f64>>,
    /// Gradient of the straight line.
    pub gradient: Measured<f64>,
}

impl ProcessPoint {
    /// Gives one of its quantities.
    #[must_use]
    pub fn quantity(&self, of: BatchQuantity) -> Option<&Measured<f64>> {
        match of {
            BatchQuantity::BasePlusFog => self.base_plus_fog.as_ref(),
            BatchQuantity::Speed => self.speed_stops.as_ref(),
            BatchQuantity::Gradient => Some(&self.gradient),
        }
    }
}

/// Says what significance and importance mean together.
#[must_use]
pub fn standing(significant: bool, important: bool) -> &'static str {
    match (significant, important) {
        (true, true) => "a difference is shown, and it is important",
        (true, false) => "a difference is shown, but it is too small to be important",
        (false, true) => "no difference shown, though the value found would be important",
        (false, false) => "no difference shown, and the value found is not important",
    }
}
