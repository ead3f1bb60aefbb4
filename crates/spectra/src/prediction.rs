//! What a filter costs on a film in a light, from their spectra.
//!
//! The factor given here is the **spectral ratio**: the exposure of the bare
//! film over that of the film behind the filter, for the same light on the
//! film, F = ∫ E S dλ / ∫ E S T dλ. A factor found on negatives by matching
//! densities differs from it by about 0.13 stop, because a film's gradient
//! changes with the colour of the light; that is an uncertainty of its own
//! ([`crate::uncertainty`]).
//!
//! Begin with [`prediction`]. Uncertainties are in [`crate::uncertainty`].
//!
//! Symbols: E light, S sensitivity to energy, T transmittance, R reflectance.
//! Source of the arithmetic: "Light filters", Trans. SMPE 1927, 149–151: area
//! of sensitivity × daylight over the same with the filter.

use crate::curve::{Assumed, Curve};
use crate::grid::{Grid, GridError};
use crate::interpolation::Interpolation;
use crate::kind::CurveKind;
use crate::product::Product;
use quantity::{FilterFactor, Nanometres, QuantityError, Stops};

/// Reflectance of the grey card that subjects are held against.
pub const GREY_CARD_REFLECTANCE: f64 = 0.18;

/// How far beyond its table a film is followed to find what the table's end may cost. \[nm\]
pub const FILM_FOLLOWED_NM: f64 = 50.0;

/// Which grid integrals are taken on.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum GridChoice {
    /// All wavelengths of all curves.
    #[default]
    Union,
    /// Equal steps over the range that film and light share.
    Step {
        /// The step, nm.
        step_nm: f64,
    },
}

/// What is taken where the light, the filter or the subject know nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Ends {
    /// Nothing is added there; what that may cost is told.
    #[default]
    LeftOut,
    /// The last value goes on and holes are bridged, as asked for by name.
    Held,
}

/// What is predicted from.
#[derive(Clone, Copy, Debug)]
pub struct Predicting<'a> {
    /// Sensitivity of the film.
    pub film: &'a Curve,
    /// Transmittance of the filter, or of the whole stack of filters and lens.
    pub filter: &'a Curve,
    /// Spectral power of the light.
    pub light: &'a Curve,
    /// Values between points.
    pub interpolation: Interpolation,
    /// The grid.
    pub grid: GridChoice,
    /// Beyond the ends and in holes.
    pub ends: Ends,
}

/// The least shares of the bare film's response for a verdict.
///
/// Common practice: below 1/1000 no image is to be expected (what films can see
/// at all); between that and 1/500 (9 stops) the answer hangs on the last few
/// nanometres of both edges, and a trace is all that can be promised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VerdictLimits {
    /// Below this share: no image.
    pub none_below: f64,
    /// Below this share: a trace.
    pub trace_below: f64,
}

impl VerdictLimits {
    /// The limits of common practice.
    pub const COMMON_PRACTICE: Self = Self {
        none_below: 1.0 / 1000.0,
        trace_below: 1.0 / 500.0,
    };

    /// Gives the verdict for a share of the bare film's response.
    #[must_use]
    pub fn verdict(self, share: f64) -> Expected {
        if share < self.none_below {
            Expected::NoImage
        } else if share < self.trace_below {
            Expected::Trace
        } else {
            Expected::Image
        }
    }
}

/// What a frame behind the filter can be expected to show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Expected {
    /// Film and filter have next to nothing in common.
    NoImage,
    /// Film and filter meet in their last nanometres only.
    Trace,
    /// An image, with the exposure that the factor asks for.
    Image,
}

impl Expected {
    /// Gives the stable word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::NoImage => "none",
            Self::Trace => "trace",
            Self::Image => "image",
        }
    }
}

/// Wavelengths between which most of the film's response lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// 10 % of the response lies below.
    pub low: Nanometres,
    /// 90 % of the response lies below.
    pub high: Nanometres,
}

/// A film's response to a light, behind a filter or bare.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Response {
    /// ∫ E S T dλ, on the scale of the curves times nm.
    pub total: f64,
    /// 10 to 90 % of it; `None` when it is zero.
    pub band: Option<Band>,
    /// Its mean wavelength; `None` when it is zero.
    pub mean_wavelength: Option<Nanometres>,
}

/// What was taken because a curve ends or has holes, and what it may cost.
#[derive(Clone, Debug, PartialEq)]
pub struct Unknown {
    /// Which curve.
    pub whose: Whose,
    /// What the answer would change by, if the curve went on as it ended;
    /// negative when the factor would be smaller. `None` when only one of the
    /// two has a factor.
    pub factor_change: Option<Stops>,
    /// Share of the bare response that would be left behind the filter, if the
    /// curve went on as it ended, 0 to 1.
    pub other_share: f64,
    /// Where nothing is known, nm.
    pub stretches_nm: Vec<(f64, f64)>,
}

/// Which of the curves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// The film.
    Film,
    /// The filter.
    Filter,
    /// The light.
    Light,
}

impl Whose {
    /// Gives the word.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Film => "film",
            Self::Filter => "filter",
            Self::Light => "light",
        }
    }
}

/// What is to be expected of a film behind a filter.
#[derive(Clone, Debug, PartialEq)]
pub struct Prediction {
    /// The spectral ratio; `None` when nothing of the light that passes is seen.
    pub factor: Option<FilterFactor>,
    /// The film behind the filter.
    pub filtered: Response,
    /// The film without the filter.
    pub bare: Response,
    /// Image, trace or none.
    pub verdict: Expected,
    /// How many stops one more nanometre of filter edge costs; `None` when there is no factor.
    pub stops_per_nm: Option<f64>,
    /// How many stops one more nanometre of film reach saves, as a negative number.
    pub stops_per_film_nm: Option<f64>,
    /// How many stops the factor changes by when the light has twice the power
    /// beyond 700 nm.
    pub stops_per_infrared_stop: Option<f64>,
    /// What is not known and what it may cost; empty when the curves cover each other.
    pub unknown: Vec<Unknown>,
    /// The rule and the grid of the integrals.
    pub grid: Grid,
    /// Film × light, film × light × filter on the grid.
    pub products: Products,
}

/// The integrands on the grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Products {
    /// E S.
    pub bare: Product,
    /// E S T.
    pub filtered: Product,
}

impl Prediction {
    /// Gives the share of the bare film's response that is used, 0 to 1.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.filtered.total / self.bare.total
    }

    /// Gives the factor in stops.
    #[must_use]
    pub fn stops(&self) -> Option<Stops> {
        self.factor.map(Stops::from_factor)
    }
}

/// Why nothing can be predicted.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PredictionError {
    /// Give a curve of the kind that is needed.
    #[error("the {} needs a curve of {wanted}, found {}", .whose.word(), .found.words())]
    Kind {
        /// Which curve.
        whose: Whose,
        /// What is needed.
        wanted: &'static str,
        /// What was given.
        found: CurveKind,
    },
    /// Give a reflectance or a transmittance.
    #[error("the subject needs a curve of reflectance or transmittance, found {}", .found.words())]
    SubjectKind {
        /// What was given.
        found: CurveKind,
    },
    /// Give curves that overlap.
    #[error("film and light: {0}")]
    Grid(#[from] GridError),
    /// Give a light that the film sees.
    #[error("the film sees nothing of this light even without a filter")]
    NothingSeen,
    /// Give curves whose products are finite.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
    /// Give a subject that the response reaches.
    #[error("the subject's curve knows nothing where the film sees this light")]
    SubjectElsewhere,
}

fn checked_kinds(of: &Predicting<'_>) -> Result<(), PredictionError> {
    let wrong = |whose, wanted, curve: &Curve| {
        Err(PredictionError::Kind {
            whose,
            wanted,
            found: curve.kind(),
        })
    };
    if of.film.kind().linear() != CurveKind::Sensitivity {
        return wrong(Whose::Film, "sensitivity", of.film);
    }
    if of.filter.kind().linear() != CurveKind::Transmittance {
        return wrong(Whose::Filter, "transmittance", of.filter);
    }
    if !matches!(
        of.light.kind(),
        CurveKind::RelativePower | CurveKind::SpectralIrradiance
    ) {
        return wrong(Whose::Light, "spectral power", of.light);
    }
    Ok(())
}

fn grid_for(of: &Predicting<'_>, others: &[&Curve]) -> Result<Grid, GridError> {
    let union = Grid::union(&[of.film, of.light], others)?;
    match of.grid {
        GridChoice::Union => Ok(union),
        GridChoice::Step { step_nm } => {
            let at = union.wavelengths_nm();
            Grid::regular(at[0], at[at.len() - 1], step_nm)
        }
    }
}

fn assumed(ends: Ends) -> Assumed {
    match ends {
        Ends::LeftOut => Assumed::NOTHING,
        Ends::Held => Assumed::HELD,
    }
}

fn response(product: &Product) -> Result<Response, QuantityError> {
    let nm = |at: Option<f64>| at.map(Nanometres::from_nm).transpose();
    let low = nm(product.wavelength_at_share_nm(0.1))?;
    let high = nm(product.wavelength_at_share_nm(0.9))?;
    Ok(Response {
        total: product.total(),
        band: low.zip(high).map(|(low, high)| Band { low, high }),
        mean_wavelength: nm(product.mean_wavelength_nm())?,
    })
}

/// Predicts what a filter costs.
///
/// Film and light bound the integrals. Where the filter knows nothing within
/// that range, nothing is added, unless [`Ends::Held`] asks for more; either
/// way [`Prediction::unknown`] tells what it may cost.
///
/// # Errors
/// [`PredictionError`] with what is wrong.
pub fn prediction(
    of: &Predicting<'_>,
    limits: VerdictLimits,
) -> Result<Prediction, PredictionError> {
    checked_kinds(of)?;
    let grid = grid_for(of, &[of.filter])?;
    let ends = assumed(of.ends);
    // Holes of film and light are bridged only when asked for.
    let bare = product(&[(of.film, ends), (of.light, ends)], &grid, of);
    let filtered = bare.times(of.filter, ends, of.interpolation);
    let bare_response = response(&bare)?;
    if !(bare_response.total.is_finite() && bare_response.total > 0.0) {
        return Err(PredictionError::NothingSeen);
    }
    let filtered_response = response(&filtered)?;
    let share = filtered_response.total / bare_response.total;
    // A share below the smallest number that can be inverted is no factor.
    let factor = FilterFactor::from_ratio(1.0 / share).ok();
    let slopes = Slopes::of(of, &grid);
    Ok(Prediction {
        factor,
        verdict: limits.verdict(share),
        stops_per_nm: factor.and(slopes.filter),
        stops_per_film_nm: factor.and(slopes.film),
        stops_per_infrared_stop: factor.map(|_| {
            let beyond = |p: &Product| share_beyond(p, 700.0);
            beyond(&bare) - beyond(&filtered)
        }),
        unknown: unknown(of, &grid, share)?,
        filtered: filtered_response,
        bare: bare_response,
        grid,
        products: Products { bare, filtered },
    })
}

fn product(curves: &[(&Curve, Assumed)], grid: &Grid, of: &Predicting<'_>) -> Product {
    Product::of(curves, grid, of.interpolation)
}

/// The share of a product that lies beyond a wavelength.
fn share_beyond(product: &Product, nm: f64) -> f64 {
    let total = product.total();
    let (mut low, mut high) = (0.0, 1.0);
    if total <= 0.0 {
        return 0.0;
    }
    // The share below a wavelength is the inverse of the wavelength at a share.
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        match product.wavelength_at_share_nm(middle) {
            Some(at) if at < nm => low = middle,
            _ => high = middle,
        }
    }
    1.0 - 0.5 * (low + high)
}

/// Change of the factor with a nanometre of edge, in stops.
struct Slopes {
    filter: Option<f64>,
    film: Option<f64>,
}

impl Slopes {
    fn of(of: &Predicting<'_>, grid: &Grid) -> Self {
        let hold = Assumed::HELD;
        let bare = |film: &Curve| product(&[(film, hold), (of.light, hold)], grid, of);
        let stops = |bare: &Product, filter: &Curve| {
            let filtered = bare.times(filter, hold, of.interpolation);
            let stops = libm::log2(bare.total() / filtered.total());
            stops.is_finite().then_some(stops)
        };
        let unmoved = bare(of.film);
        // Central difference over ±1 nm.
        let slope = |moved: &dyn Fn(f64) -> Option<f64>| Some(0.5 * (moved(1.0)? - moved(-1.0)?));
        Self {
            filter: slope(&|by| stops(&unmoved, &of.filter.shifted(by).ok()?)),
            film: slope(&|by| stops(&bare(&of.film.shifted(by).ok()?), of.filter)),
        }
    }
}

/// What the ends and holes of the curves may cost, against the share that was found.
fn unknown(of: &Predicting<'_>, grid: &Grid, share: f64) -> Result<Vec<Unknown>, PredictionError> {
    let mut unknown = vec![];
    let other_share = |grid: &Grid, film, light, filter| {
        let bare = product(&[(of.film, film), (of.light, light)], grid, of);
        let filtered = bare.times(of.filter, filter, of.interpolation);
        filtered.total() / bare.total()
    };
    let change = |other: f64| {
        let stops = libm::log2(share / other);
        Stops::new(stops).ok()
    };
    let base = assumed(of.ends);
    let (low, high) = range(grid);
    let (film_low, film_high) = of.film.range_nm();
    let (light_low, light_high) = of.light.range_nm();
    let (filter_low, filter_high) = of.filter.range_nm();

    // --- filter: its ends within the integrals, and its holes ---
    let stretches = clipped(
        ends_and_holes((filter_low, filter_high), of.filter, (low, high)),
        (low, high),
    );
    if !stretches.is_empty() {
        let (film, light) = (base, base);
        let other = match of.ends {
            Ends::LeftOut => other_share(grid, film, light, Assumed::HELD),
            Ends::Held => other_share(grid, film, light, Assumed::NOTHING),
        };
        unknown.push(Unknown {
            whose: Whose::Filter,
            factor_change: change(other),
            other_share: other,
            stretches_nm: stretches,
        });
    }
    // --- light: where the film goes on and the light doesn't ---
    let stretches = ends_and_holes((light_low, light_high), of.light, (film_low, film_high));
    if !stretches.is_empty() {
        let grid = Grid::union(&[of.film], &[of.light, of.filter])?;
        let other = other_share(&grid, base, Assumed::HELD, base);
        unknown.push(Unknown {
            whose: Whose::Light,
            factor_change: change(other),
            other_share: other,
            stretches_nm: stretches,
        });
    }
    // --- film: its last values beyond its table, as far as light and filter reach ---
    let reach = (
        (film_low - FILM_FOLLOWED_NM).max(light_low).min(film_low),
        (film_high + FILM_FOLLOWED_NM)
            .min(light_high)
            .max(film_high),
    );
    let stretches = ends_and_holes((film_low, film_high), of.film, reach);
    if !stretches.is_empty() {
        let all = Grid::union(&[of.light], &[of.film, of.filter])?;
        // The ends of the reach belong to it, wherever the light has its points.
        let mut within: Vec<f64> = all
            .wavelengths_nm()
            .iter()
            .copied()
            .filter(|nm| reach.0 < *nm && *nm < reach.1)
            .chain([reach.0, reach.1])
            .collect();
        within.sort_by(f64::total_cmp);
        let grid = Grid::of(within)?;
        let other = other_share(&grid, Assumed::HELD, base, base);
        unknown.push(Unknown {
            whose: Whose::Film,
            factor_change: change(other),
            other_share: other,
            stretches_nm: stretches,
        });
    }
    Ok(unknown)
}

fn range(grid: &Grid) -> (f64, f64) {
    let at = grid.wavelengths_nm();
    (at[0], at[at.len() - 1])
}

/// Stretches of `wanted` that a curve known over `known` leaves out, and its holes.
fn ends_and_holes(known: (f64, f64), curve: &Curve, wanted: (f64, f64)) -> Vec<(f64, f64)> {
    let mut stretches = vec![];
    if wanted.0 < known.0 {
        stretches.push((wanted.0, known.0.min(wanted.1)));
    }
    let holes = curve.holes_nm().iter().copied();
    stretches.extend(holes.filter(|h| h.0 < wanted.1 && wanted.0 < h.1));
    if wanted.1 > known.1 {
        stretches.push((known.1.max(wanted.0), wanted.1));
    }
    stretches
}

fn clipped(stretches: Vec<(f64, f64)>, to: (f64, f64)) -> Vec<(f64, f64)> {
    stretches
        .into_iter()
        .map(|(low, high)| (low.max(to.0), high.min(to.1)))
        .filter(|(low, high)| low < high)
        .collect()
}

/// A subject against the 18 % grey card, as the film sees both.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SubjectContrast {
    /// Behind the filter; `None` when the film sees nothing of the subject.
    pub filtered: Option<Stops>,
    /// Without the filter.
    pub bare: Option<Stops>,
    /// Share of the filtered response that the subject's curve covers, 0 to 1;
    /// the contrast rests on that part alone.
    pub covered: f64,
}

impl SubjectContrast {
    /// Gives how much the filter lifts the subject against the card: for foliage the Wood effect.
    #[must_use]
    pub fn wood_effect(&self) -> Option<Stops> {
        Some(self.filtered? - self.bare?)
    }
}

/// Gives a subject's contrast against the 18 % grey card in this light.
///
/// # Errors
/// [`PredictionError`] with what is wrong.
pub fn subject_contrast(
    of: &Predicting<'_>,
    subject: &Curve,
) -> Result<SubjectContrast, PredictionError> {
    checked_kinds(of)?;
    if !matches!(
        subject.kind().linear(),
        CurveKind::Reflectance | CurveKind::Transmittance
    ) {
        return Err(PredictionError::SubjectKind {
            found: subject.kind(),
        });
    }
    let grid = grid_for(of, &[of.filter, subject])?;
    let ends = assumed(of.ends);
    let bare = [(of.film, ends), (of.light, ends)];
    let filtered = [bare[0], bare[1], (of.filter, ends)];
    let against_card = |curves: &[(&Curve, Assumed)]| {
        let card = product(curves, &grid, of);
        let with: Vec<_> = curves.iter().copied().chain([(subject, ends)]).collect();
        let seen = product(&with, &grid, of);
        let common = card.total_where_counts(&seen);
        let stops = libm::log2(seen.total() / (GREY_CARD_REFLECTANCE * common));
        (Stops::new(stops).ok(), common, card.total())
    };
    let (bare_stops, bare_common, _) = against_card(&bare);
    let (filtered_stops, common, all) = against_card(&filtered);
    if bare_common <= 0.0 {
        return Err(PredictionError::SubjectElsewhere);
    }
    Ok(SubjectContrast {
        filtered: filtered_stops,
        bare: bare_stops,
        covered: if all > 0.0 { common / all } else { 0.0 },
    })
}

/// Gives the words for what is taken beyond the ends and in holes.
#[must_use]
pub fn ends_words(ends: Ends) -> &'static str {
    match ends {
        Ends::LeftOut => "nothing is added where a curve has no values",
        Ends::Held => "last values go on beyond the ends and holes are bridged, as asked",
    }
}
