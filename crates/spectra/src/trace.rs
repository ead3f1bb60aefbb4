//! Values read off a printed plot: from pixels to wavelengths and values.
//!
//! Two marks on each axis with known values tie the picture to the plot; the
//! picture may be turned or sheared, axes may be linear or logarithmic. A
//! point lies at p = x₁ + a u + b v, u and v the directions of the axes: a
//! gives the abscissa, and the same from y₁ the ordinate.
//!
//! Begin with [`PlotAxes::value_at`], then [`traced_curve`].

use crate::curve::{Curve, CurveError, CurvePoint};
use crate::kind::CurveKind;
use quantity::{Nanometres, QuantityError};

/// How an axis is divided.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AxisScale {
    /// Equal steps are equal differences.
    #[default]
    Linear,
    /// Equal steps are equal ratios; marks carry the numbers, not their logarithms.
    Logarithmic,
}

impl AxisScale {
    fn even_of(self, value: f64) -> f64 {
        match self {
            Self::Linear => value,
            Self::Logarithmic => libm::log10(value),
        }
    }

    fn value_of(self, even: f64) -> f64 {
        match self {
            Self::Linear => even,
            Self::Logarithmic => libm::pow(10.0, even),
        }
    }

    /// How much the value changes with the even scale.
    fn slope(self, value: f64) -> f64 {
        match self {
            Self::Linear => 1.0,
            Self::Logarithmic => value * core::f64::consts::LN_10,
        }
    }
}

/// A place in the picture, in pixels from any corner.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Across.
    pub x_px: f64,
    /// Down or up, the same for all.
    pub y_px: f64,
}

impl Place {
    fn minus(self, other: Self) -> (f64, f64) {
        (self.x_px - other.x_px, self.y_px - other.y_px)
    }
}

/// A mark on an axis: where it is and what it says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AxisMark {
    /// Where it is.
    pub place: Place,
    /// The number beside it.
    pub value: f64,
}

/// Two marks on each axis, and how the axes are divided.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlotAxes {
    x: [AxisMark; 2],
    y: [AxisMark; 2],
    x_scale: AxisScale,
    y_scale: AxisScale,
}

/// Why a plot could not be read.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum TraceError {
    /// Give two marks that lie apart and say different numbers.
    #[error(
        "the two marks of the {axis} axis ({first} and {second}) must lie apart and say different numbers"
    )]
    Marks {
        /// Which axis.
        axis: &'static str,
        /// Number of the first.
        first: f64,
        /// Number of the second.
        second: f64,
    },
    /// Give marks on both axes.
    #[error("the marks of both axes lie on lines in one direction, so the plot has no area")]
    Parallel,
    /// Give numbers above zero on a logarithmic axis.
    #[error("a logarithmic axis has numbers above 0, found {value}")]
    NotPositive {
        /// The number.
        value: f64,
    },
    /// Give a number.
    #[error("a place and an uncertainty in pixels are finite numbers, found {value}")]
    NotFinite {
        /// The number.
        value: f64,
    },
    /// The points make no curve.
    #[error(transparent)]
    Curve(#[from] CurveError),
    /// A wavelength is none.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// A point read off a plot, with its uncertainties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TracedPoint {
    /// On the horizontal axis.
    pub abscissa: f64,
    /// One standard deviation of it.
    pub abscissa_sd: f64,
    /// On the vertical axis.
    pub ordinate: f64,
    /// One standard deviation of it.
    pub ordinate_sd: f64,
}

impl PlotAxes {
    /// Takes two marks on each axis.
    ///
    /// # Errors
    /// [`TraceError`] for marks that fix no plot.
    pub fn new(
        x: [AxisMark; 2],
        y: [AxisMark; 2],
        x_scale: AxisScale,
        y_scale: AxisScale,
    ) -> Result<Self, TraceError> {
        for (axis, marks, scale) in [("horizontal", x, x_scale), ("vertical", y, y_scale)] {
            for mark in marks {
                for value in [mark.place.x_px, mark.place.y_px, mark.value] {
                    if !value.is_finite() {
                        return Err(TraceError::NotFinite { value });
                    }
                }
                if scale == AxisScale::Logarithmic && mark.value <= 0.0 {
                    return Err(TraceError::NotPositive { value: mark.value });
                }
            }
            let apart = marks[1].place.minus(marks[0].place);
            if libm::hypot(apart.0, apart.1) < 1.0 || marks[0].value == marks[1].value {
                return Err(TraceError::Marks {
                    axis,
                    first: marks[0].value,
                    second: marks[1].value,
                });
            }
        }
        let axes = Self {
            x,
            y,
            x_scale,
            y_scale,
        };
        let (u, v) = axes.directions();
        // Less than about half a degree apart is no plot.
        let area = cross(u, v).abs();
        if area < 0.01 * libm::hypot(u.0, u.1) * libm::hypot(v.0, v.1) {
            return Err(TraceError::Parallel);
        }
        Ok(axes)
    }

    fn directions(&self) -> ((f64, f64), (f64, f64)) {
        (
            self.x[1].place.minus(self.x[0].place),
            self.y[1].place.minus(self.y[0].place),
        )
    }

    /// Gives the values at a place, with what an uncertainty of so many pixels
    /// (one standard deviation, of the point and of each mark) makes of them.
    ///
    /// # Errors
    /// [`TraceError::NotFinite`] for numbers that are none.
    pub fn value_at(&self, place: Place, sd_px: f64) -> Result<TracedPoint, TraceError> {
        for value in [place.x_px, place.y_px, sd_px] {
            if !value.is_finite() {
                return Err(TraceError::NotFinite { value });
            }
        }
        let (u, v) = self.directions();
        let area = cross(u, v);
        let along_x = cross(place.minus(self.x[0].place), v) / area;
        let along_y = cross(u, place.minus(self.y[0].place)) / area;
        // One pixel across the other axis is so much of the way.
        let per_px_x = libm::hypot(v.0, v.1) / area.abs();
        let per_px_y = libm::hypot(u.0, u.1) / area.abs();
        let read = |marks: [AxisMark; 2], scale: AxisScale, along: f64, per_px: f64| {
            let [first, second] = marks.map(|m| scale.even_of(m.value));
            let value = scale.value_of(first + along * (second - first));
            // The point itself, and both marks by the lever they have on it.
            let lever = libm::sqrt(1.0 + (1.0 - along) * (1.0 - along) + along * along);
            let sd = sd_px.abs() * per_px * (second - first).abs() * lever;
            (value, sd * scale.slope(value).abs())
        };
        let (abscissa, abscissa_sd) = read(self.x, self.x_scale, along_x, per_px_x);
        let (ordinate, ordinate_sd) = read(self.y, self.y_scale, along_y, per_px_y);
        Ok(TracedPoint {
            abscissa,
            abscissa_sd,
            ordinate,
            ordinate_sd,
        })
    }
}

fn cross(a: (f64, f64), b: (f64, f64)) -> f64 {
    a.0 * b.1 - a.1 * b.0
}

/// Gives the curve through places in a picture; the horizontal axis is wavelength in nm.
///
/// The uncertainty of each value holds at its wavelength: where the curve is
/// steep, the uncertainty of the wavelength counts by the slope.
///
/// # Errors
/// [`TraceError`] when the places make no curve, as when two share a wavelength.
pub fn traced_curve(
    axes: &PlotAxes,
    places: &[Place],
    sd_px: f64,
    kind: CurveKind,
    source: &str,
) -> Result<Curve, TraceError> {
    let mut points = places
        .iter()
        .map(|place| axes.value_at(*place, sd_px))
        .collect::<Result<Vec<_>, _>>()?;
    points.sort_by(|a, b| a.abscissa.total_cmp(&b.abscissa));
    let slope = |i: usize| {
        let (low, high) = (i.saturating_sub(1), (i + 1).min(points.len() - 1));
        let across = points[high].abscissa - points[low].abscissa;
        if across > 0.0 {
            (points[high].ordinate - points[low].ordinate) / across
        } else {
            0.0
        }
    };
    let curve = points
        .iter()
        .enumerate()
        .map(|(i, p)| {
            Ok(CurvePoint {
                wavelength: Nanometres::from_nm(p.abscissa)?,
                value: Some(p.ordinate),
                standard_uncertainty: Some(libm::hypot(p.ordinate_sd, slope(i) * p.abscissa_sd)),
            })
        })
        .collect::<Result<Vec<_>, QuantityError>>()?;
    let source = format!(
        "{source}, read off a printed plot at {} points, ±{sd_px} px each",
        places.len()
    );
    Ok(Curve::new(kind, source, curve)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(x_px: f64, y_px: f64, value: f64) -> AxisMark {
        AxisMark {
            place: Place { x_px, y_px },
            value,
        }
    }

    /// 400 to 800 nm over 400 px, 0 to 2 over 200 px upward, turned by an angle.
    fn turned(degrees: f64, x: f64, y: f64) -> Place {
        let (sin, cos) = (
            libm::sin(degrees.to_radians()),
            libm::cos(degrees.to_radians()),
        );
        Place {
            x_px: 50.0 + x * cos - y * sin,
            y_px: 300.0 + x * sin + y * cos,
        }
    }

    fn axes(degrees: f64, y_scale: AxisScale, y: [f64; 2]) -> PlotAxes {
        let at = |x, y, value| AxisMark {
            place: turned(degrees, x, y),
            value,
        };
        PlotAxes::new(
            [at(0.0, 0.0, 400.0), at(400.0, 0.0, 800.0)],
            [at(0.0, 0.0, y[0]), at(0.0, -200.0, y[1])],
            AxisScale::Linear,
            y_scale,
        )
        .unwrap()
    }

    #[test]
    fn a_turned_picture_gives_the_same_values() {
        // By construction: 300 px across is 700 nm, 50 px up is a quarter of 2.
        for degrees in [0.0, 3.0, -7.0, 90.0, 180.0] {
            let axes = axes(degrees, AxisScale::Linear, [0.0, 2.0]);
            let p = axes.value_at(turned(degrees, 300.0, -50.0), 0.5).unwrap();
            assert!((p.abscissa - 700.0).abs() < 1e-9, "{degrees}: {p:?}");
            assert!((p.ordinate - 0.5).abs() < 1e-9, "{degrees}: {p:?}");
            // Hand calculation: 0.5 px is 0.5 nm; levers √(1 + 0.25² + 0.75²) = 1.275.
            assert!((p.abscissa_sd - 0.5 * 1.274_755).abs() < 1e-6, "{p:?}");
        }
    }

    #[test]
    fn a_logarithmic_axis_is_read_by_ratios() {
        // Half-way between 0.1 and 10 is 1; one pixel is 2/200 log, so
        // 0.5 px × √1.5 × 0.01 × ln 10.
        let axes = axes(0.0, AxisScale::Logarithmic, [0.1, 10.0]);
        let p = axes.value_at(turned(0.0, 100.0, -100.0), 0.5).unwrap();
        assert!((p.ordinate - 1.0).abs() < 1e-9);
        let sd = 0.5 * libm::sqrt(1.5) * 0.01 * core::f64::consts::LN_10;
        assert!((p.ordinate_sd - sd).abs() < 1e-9);
    }

    #[test]
    fn steep_parts_carry_the_uncertainty_of_the_wavelength() {
        let axes = axes(0.0, AxisScale::Linear, [0.0, 2.0]);
        let places = [(300.0, 0.0), (200.0, -100.0), (210.0, -0.1)].map(|(x, y)| turned(0.0, x, y));
        let kind = CurveKind::LogSensitivity;
        let curve = traced_curve(&axes, &places, 0.5, kind, "test").unwrap();
        let known: Vec<f64> = curve.known().iter().map(|p| p.0).collect();
        assert_eq!(
            known.iter().map(|nm| nm.round()).collect::<Vec<_>>(),
            [600.0, 610.0, 700.0]
        );
        let sd: Vec<f64> = curve
            .points()
            .iter()
            .filter_map(|p| p.standard_uncertainty)
            .collect();
        // Level alone: 0.5 px × 0.01 × lever. The first step falls 1 in 10 nm.
        assert!(sd[0] > 0.05 && sd[2] < 0.015, "{sd:?}");
    }

    #[test]
    fn marks_that_fix_no_plot_are_refused() {
        let x = [mark(0.0, 0.0, 400.0), mark(100.0, 0.0, 700.0)];
        let up = [mark(0.0, 0.0, 0.0), mark(0.0, -100.0, 1.0)];
        let linear = AxisScale::Linear;
        let new = |x, y, scale| PlotAxes::new(x, y, linear, scale);
        assert!(new(x, up, linear).is_ok());
        assert!(matches!(new(x, x, linear), Err(TraceError::Parallel)));
        assert!(matches!(
            new([x[0], x[0]], up, linear),
            Err(TraceError::Marks {
                axis: "horizontal",
                ..
            })
        ));
        assert!(matches!(
            new(x, up, AxisScale::Logarithmic),
            Err(TraceError::NotPositive { .. })
        ));
        let odd = [mark(f64::NAN, 0.0, 400.0), x[1]];
        assert!(matches!(
            new(odd, up, linear),
            Err(TraceError::NotFinite { .. })
        ));
    }
}
