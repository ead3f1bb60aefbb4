//! What a plan is asked for, and why there may be none.

use super::prior::FactorPrior;
use exposure::{ChainError, ReciprocityLaw, format_aperture, format_time};
use quantity::{Ev100, ExposureIndex, FNumber, QuantityError, Seconds, Stops};
use record::{Film, Filter, Id, Light, Process, RecordError, Tablet};

/// What is at hand for a test of one film behind one filter.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanRequest {
    /// The film.
    pub film: Film,
    /// Its box speed: what the unfiltered frames are exposed for.
    pub box_speed: ExposureIndex,
    /// The filter that is tested.
    pub filter: Filter,
    /// A plain red filter for the control, with the factor it is exposed for;
    /// `None` when there is none.
    pub red: Option<(Filter, Stops)>,
    /// The light.
    pub light: Light,
    /// Its reading.
    pub ev100: Ev100,
    /// How the sheets are to be developed.
    pub process: Process,
    /// What is believed of the factor.
    pub prior: FactorPrior,
    /// Number of sheets.
    pub sheets: usize,
    /// Holder sides, in the order they are to be used.
    pub sides: Vec<String>,
    /// Aperture marks of the lens; the first one is preferred.
    pub apertures: Vec<FNumber>,
    /// Longest time that can be borne.
    pub longest: Seconds,
    /// Shortest time of the shutter.
    pub shortest: Seconds,
    /// The film's reciprocity law with its text.
    pub law: Option<(String, ReciprocityLaw)>,
    /// Whether the shutter's speeds were measured.
    pub measured_shutter: bool,
    /// A step tablet that a sheet can be exposed through.
    pub tablet: Option<Tablet>,
}

/// Why there is no plan. One variant for each thing to put right.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// Take more sheets.
    #[error(
        "{sheets} sheets can't give a factor: one without and one behind the filter are the fewest, and then any mishap goes unseen"
    )]
    TooFewSheets {
        /// Sheets asked for.
        sheets: usize,
    },
    /// Take more sheets, or leave filters for another day.
    #[error(
        "{filters} filters that can show an image need {} sheets at least, one without and one behind each, and {sheets} are at hand; leave for another day: {}",
        filters + 1,
        leave.join(", ")
    )]
    TooFewForFilters {
        /// Sheets asked for.
        sheets: usize,
        /// Filters behind which an image is expected.
        filters: usize,
        /// Names of those that would bring least.
        leave: Vec<String>,
    },
    /// Load more holders, or use fewer sheets.
    #[error("{sheets} sheets need as many holder sides, and there are {sides}")]
    TooFewSides {
        /// Sheets asked for.
        sheets: usize,
        /// Sides at hand.
        sides: usize,
    },
    /// Take fewer sheets.
    #[error("{sheets} sheets are more than one plan takes; {most} are the most")]
    TooManySheets {
        /// Sheets asked for.
        sheets: usize,
        /// Most that are planned.
        most: usize,
    },
    /// Name a mark of the lens.
    #[error("no aperture mark of the lens is given")]
    NoAperture,
    /// Bear a longer time, open the lens, or start from a brighter light.
    #[error(
        "the middle of the bracket, EI {ei:.1}, needs {} at {}, the widest mark, longer than the {} that can be borne; {}",
        format_time(*needed),
        format_aperture(*widest),
        format_time(*longest),
        remedy(*would_do, *ei_that_fits)
    )]
    TooLong {
        /// EI of the bracket's middle.
        ei: f64,
        /// Time it needs at the widest mark.
        needed: Seconds,
        /// Widest mark.
        widest: FNumber,
        /// Longest time that can be borne.
        longest: Seconds,
        /// Aperture that would do; `None` when no lens opens so far.
        would_do: Option<FNumber>,
        /// EI that the longest time at the widest mark gives.
        ei_that_fits: f64,
    },
    /// Stop down further, dim the light, or use a faster shutter.
    #[error(
        "an unfiltered frame at EI {ei:.0} needs {} at {}, the smallest mark, shorter than the shutter's {}",
        format_time(*needed),
        format_aperture(*smallest),
        format_time(*shortest)
    )]
    TooShort {
        /// EI of the unfiltered frame.
        ei: f64,
        /// Time it needs at the smallest mark.
        needed: Seconds,
        /// Smallest mark.
        smallest: FNumber,
        /// Shortest time of the shutter.
        shortest: Seconds,
    },
    /// Not even a plain exposure can be worked out.
    #[error(transparent)]
    Exposure(#[from] ChainError),
    /// A number lies outside its range.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// The records at hand contradict each other.
    #[error(transparent)]
    Record(#[from] RecordError),
    /// The hypothetical test can't be evaluated.
    #[error("the planned test can't be evaluated beforehand: {problem}")]
    NotForeseen {
        /// Why.
        problem: String,
    },
}

fn remedy(would_do: Option<FNumber>, ei_that_fits: f64) -> String {
    let fits = format!("the longest time gives EI {ei_that_fits:.1} there");
    match would_do {
        Some(aperture) => format!("{} would do; {fits}", format_aperture(aperture)),
        None => format!("no lens opens far enough; {fits}"),
    }
}

/// Names of the plan's records are made here, so that they are always sound.
pub(super) fn id(text: &str) -> Id {
    Id::new(text).unwrap_or_else(|error| unreachable!("the plan made a bad name: {error}"))
}
