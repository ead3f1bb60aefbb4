//! What is believed of a factor before the test: common practice by class of
//! film and edge of filter.
//!
//! A spectral prediction may take the table's place: all the plan needs is a
//! [`FactorPrior`]. The classes themselves are those of the room `spectra`.

use record::{EdgeLevel, Sky};
use spectra::FilmClass;

/// What is believed of a factor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FactorPrior {
    /// An image is expected.
    Expected {
        /// Middle. \[stops\]
        mean_stops: f64,
        /// One standard deviation. \[stops\]
        sd_stops: f64,
    },
    /// Film and filter overlap by less than about a thousandth of the bare response.
    NoImage,
}

/// Edges at 50 % transmittance that the table has. \[nm\]
const EDGES_NM: [f64; 8] = [600.0, 650.0, 695.0, 715.0, 740.0, 760.0, 800.0, 850.0];

type Row = [Option<(f64, f64)>; 8];

/// Mean and sd in stops at each edge, in sunlight.
///
/// The means are those that the classes of film of the room `spectra` give in the
/// sun at 45°, rounded; those classes are made so that they agree with common
/// practice: about 4 stops for near-infrared films behind a 715 filter, 8 to 9 for
/// extended-red ones, 3 for panchromatic films behind plain red. The spreads are
/// by judgement, wide on purpose, since films of one class differ. Where 10 stops
/// are passed no image is expected.
const fn row(class: FilmClass) -> Row {
    match class {
        FilmClass::Orthochromatic => [Some((8.0, 2.0)), None, None, None, None, None, None, None],
        FilmClass::OrdinaryPanchromatic => [
            Some((3.0, 0.7)),
            Some((6.0, 1.5)),
            None,
            None,
            None,
            None,
            None,
            None,
        ],
        FilmClass::ExtendedRed => [
            Some((2.3, 0.6)),
            Some((3.5, 0.8)),
            Some((6.0, 1.2)),
            Some((8.5, 1.5)),
            None,
            None,
            None,
            None,
        ],
        FilmClass::NearInfrared => [
            Some((2.0, 0.6)),
            Some((2.8, 0.7)),
            Some((3.8, 0.8)),
            Some((4.3, 1.0)),
            Some((5.0, 1.2)),
            Some((6.0, 1.5)),
            Some((9.0, 2.0)),
            None,
        ],
        FilmClass::Infrared => [
            Some((1.8, 0.7)),
            Some((2.4, 0.7)),
            Some((3.1, 0.8)),
            Some((3.4, 0.9)),
            Some((3.7, 0.9)),
            Some((4.0, 1.0)),
            Some((4.7, 1.2)),
            Some((6.0, 1.5)),
        ],
    }
}

/// Why the table has no answer.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error(
    "an edge at {edge_nm} nm lies outside the table of expected factors, which goes from {} to {} nm",
    EDGES_NM[0],
    EDGES_NM[EDGES_NM.len() - 1]
)]
pub struct OutsidePriorTable {
    /// The edge asked for. \[nm\]
    pub edge_nm: f64,
}

/// Where 50 % transmittance lies above the quoted level, and how sure that is. \[nm\]
///
/// For a logistic edge of 6 nm width and a peak of 80 %: 40 % of transmittance lies
/// 2.4 nm below 50 %, 10 % lies 15 nm below. A bare number may be any of them.
fn to_half_transmittance(level: EdgeLevel) -> (f64, f64) {
    match level {
        EdgeLevel::HalfTransmittance => (0.0, 2.0),
        EdgeLevel::HalfOfPeak => (2.4, 2.0),
        EdgeLevel::TenPercent | EdgeLevel::MinusThreeStops => (15.0, 4.0),
        EdgeLevel::NotStated => (0.0, 8.0),
    }
}

/// What common practice expects of a long-pass filter on a class of film.
///
/// `edge_nm` is the wavelength at `level`.
///
/// # Errors
/// [`OutsidePriorTable`] for an edge that the table does not reach.
pub fn factor_prior(
    class: FilmClass,
    edge_nm: f64,
    level: EdgeLevel,
    sky: Sky,
) -> Result<FactorPrior, OutsidePriorTable> {
    let (up, edge_sd_nm) = to_half_transmittance(level);
    let edge = edge_nm + up;
    let last = EDGES_NM.len() - 1;
    if !(EDGES_NM[0]..=EDGES_NM[last]).contains(&edge) {
        return Err(OutsidePriorTable { edge_nm });
    }
    let row = row(class);
    let k = EDGES_NM
        .iter()
        .rposition(|e| *e <= edge)
        .unwrap_or(0)
        .min(last - 1);
    let share = (edge - EDGES_NM[k]) / (EDGES_NM[k + 1] - EDGES_NM[k]);
    let (mean, sd, slope) = match (row[k], row[k + 1]) {
        (Some(a), Some(b)) => (
            a.0 + share * (b.0 - a.0),
            a.1 + share * (b.1 - a.1),
            (b.0 - a.0) / (EDGES_NM[k + 1] - EDGES_NM[k]),
        ),
        // The last edge with an image holds for a few nm more, where a stop is
        // lost in 10 nm.
        (Some(a), None) if edge - EDGES_NM[k] <= 5.0 => {
            (a.0 + 0.1 * (edge - EDGES_NM[k]), a.1, 0.1)
        }
        _ => return Ok(FactorPrior::NoImage),
    };
    // Open shade adds 0.5 to 0.9 stop to a deep red filter's factor; cloud may
    // add or take half a stop (common practice).
    let (more, sky_sd) = match sky {
        Sky::ClearSun => (0.0, 0.0),
        Sky::OpenShade => (0.7, 0.3),
        Sky::Lamp => (-1.0, 0.8),
        Sky::ThinCloud | Sky::BrokenCloud | Sky::Overcast | Sky::UnderLeaves | Sky::NotStated => {
            (0.0, 0.5)
        }
    };
    Ok(FactorPrior::Expected {
        mean_stops: (mean + more).max(0.3),
        sd_stops: libm::sqrt(sd * sd + sky_sd * sky_sd + (slope * edge_sd_nm).powi(2)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(class: FilmClass, edge: f64) -> FactorPrior {
        factor_prior(class, edge, EdgeLevel::HalfTransmittance, Sky::ClearSun).unwrap()
    }

    /// Common practice: films that end near 670 and 720 nm stay blank behind a
    /// filter at 760, one that ends near 760 shows a trace; at 850 all three are blank.
    #[test]
    fn films_that_end_short_of_the_filter_show_no_image() {
        assert_eq!(
            at(FilmClass::OrdinaryPanchromatic, 760.0),
            FactorPrior::NoImage
        );
        assert_eq!(at(FilmClass::ExtendedRed, 760.0), FactorPrior::NoImage);
        assert_ne!(at(FilmClass::NearInfrared, 760.0), FactorPrior::NoImage);
        assert_eq!(at(FilmClass::NearInfrared, 850.0), FactorPrior::NoImage);
        assert_ne!(at(FilmClass::Infrared, 850.0), FactorPrior::NoImage);
    }

    /// Common practice: behind a 715-class filter near-infrared films need about 4
    /// stops, extended-red ones 8 to 9; plain red costs panchromatic films about 3.
    #[test]
    fn the_prior_holds_what_testers_found() {
        for (class, edge, stops) in [
            (FilmClass::NearInfrared, 715.0, 4.0),
            (FilmClass::ExtendedRed, 715.0, 8.0),
            (FilmClass::ExtendedRed, 715.0, 9.0),
            (FilmClass::OrdinaryPanchromatic, 600.0, 3.0),
        ] {
            let FactorPrior::Expected {
                mean_stops,
                sd_stops,
            } = at(class, edge)
            else {
                unreachable!("an image is expected");
            };
            let off: f64 = mean_stops - stops;
            assert!(off.abs() <= 0.5 * sd_stops, "{class:?}: {mean_stops}");
        }
    }

    #[test]
    fn a_bare_number_is_less_sure_than_a_level() {
        let sd = |level| match factor_prior(FilmClass::NearInfrared, 720.0, level, Sky::ClearSun) {
            Ok(FactorPrior::Expected { sd_stops, .. }) => sd_stops,
            _ => unreachable!("an image is expected"),
        };
        assert!(sd(EdgeLevel::NotStated) > sd(EdgeLevel::HalfTransmittance));
    }

    #[test]
    fn an_edge_outside_the_table_is_refused() {
        let refused = factor_prior(
            FilmClass::Infrared,
            900.0,
            EdgeLevel::HalfTransmittance,
            Sky::ClearSun,
        );
        assert_eq!(refused, Err(OutsidePriorTable { edge_nm: 900.0 }));
    }
}
