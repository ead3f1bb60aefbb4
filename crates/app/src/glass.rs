//! Glass of another thickness than its file was measured in.

use crate::AppError;
use quantity::Millimetres;
use spectra::{Curve, CurveKind, in_thickness, surface_transmittance, with_surfaces};

/// Refractive index of the surfaces where none is said: common filter glass.
const INDEX: f64 = 1.52;

/// What is said of a glass beside its file.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Glass {
    /// The file holds internal transmittance, of this thickness. \[mm\]
    pub internal_mm: Option<f64>,
    /// The file holds transmittance in air, of this thickness. \[mm\]
    pub measured_mm: Option<f64>,
    /// The thickness that is wanted; as measured when not given. \[mm\]
    pub thickness_mm: Option<f64>,
    /// Refractive index of the surfaces.
    pub index: Option<f64>,
}

impl Glass {
    /// The transmittance in air of the wanted thickness.
    ///
    /// # Errors
    /// [`AppError`] when it isn't said what was measured, or a number has no meaning.
    pub(crate) fn in_air(self, curve: Curve) -> Result<Curve, AppError> {
        if self == Self::default() {
            return Ok(curve);
        }
        let wrong = |problem: String| {
            AppError::new(
                format!("glass: {problem}"),
                "as FILE.csv#internal_mm=3,thickness_mm=2,index=1.52, or measured_mm=3 for transmittance in air",
            )
        };
        let index = self.index.unwrap_or(INDEX);
        let surfaces = surface_transmittance(index).map_err(|e| wrong(e.to_string()))?;
        let (measured, passed) = match (self.internal_mm, self.measured_mm) {
            (Some(mm), None) => (mm, 1.0),
            (None, Some(mm)) => (mm, surfaces),
            _ => {
                return Err(wrong(
                    "one of internal_mm and measured_mm says what the file holds".to_owned(),
                ));
            }
        };
        let mm = |mm: f64| Millimetres::from_mm(mm).map_err(|e| wrong(e.to_string()));
        let kind = CurveKind::InternalTransmittance;
        let source = curve.source().to_owned();
        let inside = curve
            .changed(kind, source, |_, t| t / passed)
            .map_err(|e| wrong(e.to_string()))?;
        let wanted = self.thickness_mm.unwrap_or(measured);
        let thick =
            in_thickness(&inside, mm(measured)?, mm(wanted)?).map_err(|e| wrong(e.to_string()))?;
        with_surfaces(&thick, index).map_err(|e| wrong(e.to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thicker_glass_follows_the_worked_example() {
        // Source: worked example on filter glass, opticaldesign.oecr.com: T(1 mm) 0.598 with
        // surfaces of 0.911 is 0.361 at 2.2 mm. P = 2n/(n² + 1) is 0.911 at n = 1.5505.
        let kind = CurveKind::Transmittance;
        let curve = Curve::from_values(kind, "example", &[(600.0, 0.598), (610.0, 0.598)]).unwrap();
        let glass = Glass {
            measured_mm: Some(1.0),
            thickness_mm: Some(2.2),
            index: Some(1.5505),
            ..Glass::default()
        };
        let thick = glass.in_air(curve.clone()).unwrap().known()[0].1;
        // 7e-4: three printed decimals.
        assert!((thick - 0.361).abs() < 7e-4, "{thick}");
        let none = Glass {
            thickness_mm: Some(2.0),
            ..Glass::default()
        };
        assert!(none.in_air(curve).is_err());
    }
}
