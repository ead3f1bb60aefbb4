//! Plain physical quantities: times, lengths, light, temperature.
//!
//! Each type is one `f64` with a checked way in (`from_UNIT`) and a named way
//! out (`to_UNIT`). None of them can be added or multiplied here: the formulas
//! that join them live in the rooms that own the formula.

use crate::error::{QuantityError, finite, positive, within};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $what:literal, $from:ident, $to:ident, $check:expr) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("Takes ", $what, ".")]
            ///
            /// # Errors
            /// [`QuantityError`] when the number has no meaning for this quantity.
            pub fn $from(value: f64) -> Result<Self, QuantityError> {
                let check: fn(&'static str, f64) -> Result<f64, QuantityError> = $check;
                check($what, value).map(Self)
            }

            #[doc = concat!("Gives ", $what, ".")]
            #[must_use]
            pub fn $to(self) -> f64 {
                self.0
            }
        }
    };
}

quantity!(
    /// A duration of an exposure or of a development.
    Seconds, "time in seconds", from_s, to_s, positive
);
quantity!(
    /// A length: focal length, bellows draw, aperture diameter.
    Millimetres, "length in mm", from_mm, to_mm, positive
);
quantity!(
    /// A wavelength of light, in vacuum.
    Nanometres, "wavelength in nm", from_nm, to_nm, positive
);
quantity!(
    /// An aperture as the ratio of focal length to entrance pupil.
    FNumber, "f-number", from_ratio, to_ratio, positive
);
quantity!(
    /// Image size over object size; 1 is life size, 0 is a subject at infinity.
    Magnification, "magnification", from_ratio, to_ratio, |what, v| within(what, v, 0.0, 1000.0)
);
quantity!(
    /// Diameter of the exit pupil over that of the entrance pupil.
    PupilRatio, "pupil ratio", from_ratio, to_ratio, positive
);
quantity!(
    /// A light reading as the exposure value at ISO 100.
    Ev100, "EV at ISO 100", from_ev, to_ev, |what, v| within(what, v, -30.0, 40.0)
);
quantity!(
    /// Light falling on a surface.
    Illuminance, "illuminance in lux", from_lux, to_lux, positive
);
quantity!(
    /// Light coming from a surface.
    Luminance, "luminance in cd/m2", from_cd_per_m2, to_cd_per_m2, positive
);
quantity!(
    /// A temperature of a processing bath or of the air.
    Celsius, "temperature in degrees Celsius", from_c, to_c, |what, v| {
        finite(what, v)?;
        within(what, v, -100.0, 100.0)
    }
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn impossible_values_are_refused() {
        assert!(Seconds::from_s(0.0).is_err());
        assert!(Seconds::from_s(f64::NAN).is_err());
        assert!(FNumber::from_ratio(-8.0).is_err());
        assert!(Ev100::from_ev(41.0).is_err());
        assert!(Magnification::from_ratio(0.0).is_ok());
        assert!(Celsius::from_c(-300.0).is_err());
    }

    #[test]
    fn errors_name_the_quantity_and_the_number() {
        let error = Seconds::from_s(-2.0).unwrap_err().to_string();
        assert_eq!(error, "time in seconds must be greater than 0, found -2");
    }
}
