//! Filters and glasses in a row, and glass of another thickness.
//!
//! T = P τ for one glass in air, P = 2n/(n² + 1): P the loss at both surfaces
//! with all reflections between them, n the refractive index, τ the internal
//! transmittance. τ(d₂) = τ(d₁)^(d₂/d₁). Two air-spaced glasses: T = T₁ T₂.
//! Source: makers' data sheets of filter glass (form of the equations common
//! practice).

use crate::curve::{Curve, CurveError};
use crate::grid::{Grid, GridError};
use crate::interpolation::Interpolation;
use crate::kind::CurveKind;
use quantity::Millimetres;

/// Why glasses could not be joined or changed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum GlassError {
    /// Give a curve of the kind that is needed.
    #[error("a curve of {wanted} is needed, found {}", .found.words())]
    Kind {
        /// What is needed.
        wanted: &'static str,
        /// What was given.
        found: CurveKind,
    },
    /// Give a refractive index of 1 or more.
    #[error("a refractive index is 1 or more, found {index}")]
    Index {
        /// The index given.
        index: f64,
    },
    /// Give filters that overlap.
    #[error(transparent)]
    Grid(#[from] GridError),
    /// The values make no curve.
    #[error(transparent)]
    Curve(#[from] CurveError),
    /// Give at least one filter.
    #[error("a stack has one filter or more")]
    Empty,
}

/// Gives what passes the two surfaces of a glass, P = 2n/(n² + 1).
///
/// # Errors
/// [`GlassError::Index`] for an index below 1.
pub fn surface_transmittance(index: f64) -> Result<f64, GlassError> {
    if !(index >= 1.0 && index.is_finite()) {
        return Err(GlassError::Index { index });
    }
    Ok(2.0 * index / (index * index + 1.0))
}

/// Gives the internal transmittance of a glass in another thickness.
///
/// # Errors
/// [`GlassError::Kind`] unless the curve is an internal transmittance.
pub fn in_thickness(
    internal: &Curve,
    measured: Millimetres,
    wanted: Millimetres,
) -> Result<Curve, GlassError> {
    if internal.kind() != CurveKind::InternalTransmittance {
        return Err(GlassError::Kind {
            wanted: "internal transmittance",
            found: internal.kind(),
        });
    }
    let power = wanted.to_mm() / measured.to_mm();
    let source = format!(
        "{}, from {} mm to {} mm thickness",
        internal.source(),
        measured.to_mm(),
        wanted.to_mm()
    );
    let kind = CurveKind::InternalTransmittance;
    Ok(internal.changed(kind, source, |_, tau| libm::pow(tau, power))?)
}

/// Gives the transmittance in air of a glass, surfaces included.
///
/// # Errors
/// [`GlassError`] for another kind of curve or an index below 1.
pub fn with_surfaces(internal: &Curve, index: f64) -> Result<Curve, GlassError> {
    if internal.kind() != CurveKind::InternalTransmittance {
        return Err(GlassError::Kind {
            wanted: "internal transmittance",
            found: internal.kind(),
        });
    }
    let p = surface_transmittance(index)?;
    let source = format!("{}, surfaces of index {index}", internal.source());
    Ok(internal.changed(CurveKind::Transmittance, source, |_, tau| p * tau)?)
}

/// Gives the transmittance of air-spaced filters in a row, over the range they share.
///
/// Light that goes to and fro between them is left out: it adds some tenths of
/// a per cent.
///
/// # Errors
/// [`GlassError`] for other kinds of curves or filters without a common range.
pub fn stacked(filters: &[&Curve], by: Interpolation) -> Result<Curve, GlassError> {
    for filter in filters {
        if filter.kind().linear() != CurveKind::Transmittance {
            return Err(GlassError::Kind {
                wanted: "transmittance",
                found: filter.kind(),
            });
        }
    }
    if filters.is_empty() {
        return Err(GlassError::Empty);
    }
    let grid = Grid::union(filters, &[])?;
    let points = grid
        .wavelengths_nm()
        .iter()
        .map(|&nm| {
            let wavelength = quantity::Nanometres::from_nm(nm).map_err(CurveError::from)?;
            let value = filters.iter().try_fold(1.0, |product, filter| {
                filter
                    .linear_value_at(wavelength, by)
                    .ok()
                    .map(|t| product * t)
            });
            Ok(crate::curve::CurvePoint {
                wavelength,
                value,
                standard_uncertainty: None,
            })
        })
        .collect::<Result<Vec<_>, CurveError>>()?;
    let sources: Vec<&str> = filters.iter().map(|f| f.source()).collect();
    let source = format!("stack of {}", sources.join(" and "));
    Ok(Curve::new(CurveKind::Transmittance, source, points)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use quantity::Nanometres;

    fn mm(value: f64) -> Millimetres {
        Millimetres::from_mm(value).unwrap()
    }

    #[test]
    fn surfaces_pass_what_the_data_sheets_list() {
        // Source: reflection factors listed in a maker's catalogue of filter
        // glass: n 1.51 0.9207, 1.52 0.9183, 1.54 0.9135, 1.56 0.9087.
        for (index, listed) in [
            (1.51, 0.9207),
            (1.52, 0.9183),
            (1.54, 0.9135),
            (1.56, 0.9087),
        ] {
            let ours = surface_transmittance(index).unwrap();
            // 5e-5: four printed decimals.
            assert!((ours - listed).abs() < 5.1e-5, "{index}: {ours}");
        }
        assert!(surface_transmittance(0.9).is_err());
    }

    #[test]
    fn a_thicker_glass_follows_the_worked_example() {
        // Source: worked example on filter glass, opticaldesign.oecr.com: T(1 mm) 0.598
        // with P 0.911 is τ 0.656; at 2.2 mm τ 0.396, T 0.361.
        let tau = 0.598 / 0.911;
        let kind = CurveKind::InternalTransmittance;
        let glass = Curve::from_values(kind, "worked example", &[(600.0, tau), (610.0, tau)]);
        let thick = in_thickness(&glass.unwrap(), mm(1.0), mm(2.2)).unwrap();
        let at = Nanometres::from_nm(600.0).unwrap();
        let ours = thick.value_at(at, Interpolation::Linear).unwrap();
        // 5e-4: three printed decimals.
        assert!((ours - 0.396).abs() < 7e-4, "{ours}");
        assert!((0.911 * ours - 0.361).abs() < 7e-4);
        assert!(with_surfaces(&thick, 1.5).is_ok());
        let surfaced = with_surfaces(&thick, 1.5).unwrap();
        assert!(in_thickness(&surfaced, mm(1.0), mm(2.0)).is_err());
    }

    #[test]
    fn filters_in_a_row_multiply_over_their_common_range() {
        let kind = CurveKind::Transmittance;
        let a = Curve::from_values(kind, "a", &[(600.0, 0.5), (700.0, 0.5)]).unwrap();
        let b = Curve::from_values(kind, "b", &[(650.0, 0.0), (750.0, 1.0)]).unwrap();
        let stack = stacked(&[&a, &b], Interpolation::Linear).unwrap();
        assert_eq!(stack.range_nm(), (650.0, 700.0));
        let at = Nanometres::from_nm(700.0).unwrap();
        // Hand calculation: 0.5 × 0.5.
        let t = stack.value_at(at, Interpolation::Linear).unwrap();
        assert!((t - 0.25).abs() < 1e-12);
        assert!(stacked(&[], Interpolation::Linear).is_err());
    }
}
