//! The light of a test as far as factors depend on it.

use record::Sky;

/// The light, and how well it is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TailLight {
    /// Whether it is a lamp of 2856 K rather than sunlight.
    lamp: bool,
    /// How log10 E tilts towards the red against the table. \[per 100 nm\]
    tilt: f64,
    /// How well the tilt is known. \[per 100 nm\]
    tilt_sd: f64,
}

impl TailLight {
    /// The light under a sky.
    ///
    /// Tilts are common practice: open shade lacks deep red by about half a stop
    /// in 150 nm; closed cloud is grey; what is not written down may be either.
    #[must_use]
    pub fn under(sky: Sky) -> Self {
        let (lamp, tilt, tilt_sd) = match sky {
            Sky::ClearSun | Sky::ThinCloud | Sky::BrokenCloud => (false, 0.0, 0.02),
            Sky::Overcast => (false, -0.02, 0.03),
            Sky::OpenShade => (false, -0.12, 0.05),
            Sky::UnderLeaves => (false, 0.05, 0.10),
            Sky::Lamp => (true, 0.0, 0.03),
            Sky::NotStated => (false, -0.02, 0.06),
        };
        Self {
            lamp,
            tilt,
            tilt_sd,
        }
    }

    /// How well the tilt is known. \[log10 per 100 nm\]
    pub(super) fn tilt_sd(self) -> f64 {
        self.tilt_sd
    }

    /// E(λ) with the tilt moved by this much, relative. \[-\]
    pub(super) fn power(self, nm: f64, moved: f64) -> f64 {
        let table = if self.lamp {
            0.01 * spectra::lamp::illuminant_a(nm)
        } else {
            sunlight(nm)
        };
        table * libm::exp10((self.tilt + moved) * (nm - 550.0) / 100.0)
    }

    /// In words, for the list of assumptions.
    pub(super) fn in_words(self) -> String {
        format!(
            "{}, tilted by {:+.2} ± {:.2} in log10 per 100 nm; ASTM G173-03 global or CIE illuminant A, tilt common practice",
            if self.lamp { "a lamp" } else { "sunlight" },
            self.tilt,
            self.tilt_sd
        )
    }
}

/// Global sunlight on a tilted plane, with the oxygen and water bands smoothed
/// to what a filter's edge of some 10 nm sees. \[W/m2/nm\]
/// Source: ASTM G173-03, values at these wavelengths; 760 nm is the mean of the
/// band with its neighbours, by hand: 4 nm of 0.2 in 20 nm of 1.19.
const SUNLIGHT: [(f64, f64); 15] = [
    (360.0, 0.80),
    (400.0, 1.1141),
    (450.0, 1.5595),
    (500.0, 1.5451),
    (550.0, 1.5399),
    (600.0, 1.4753),
    (650.0, 1.3594),
    (680.0, 1.3969),
    (700.0, 1.2823),
    (740.0, 1.2195),
    (760.0, 0.99),
    (780.0, 1.1636),
    (800.0, 1.0725),
    (850.0, 0.89372),
    (900.0, 0.7426),
];

fn sunlight(nm: f64) -> f64 {
    let next = SUNLIGHT.partition_point(|(at, _)| *at < nm);
    if next == 0 {
        return SUNLIGHT[0].1;
    }
    let Some((after, high)) = SUNLIGHT.get(next).copied() else {
        // Past the table no film of these classes sees anything that counts.
        return SUNLIGHT[SUNLIGHT.len() - 1].1;
    };
    let (before, low) = SUNLIGHT[next - 1];
    low + (high - low) * (nm - before) / (after - before)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lamp_agrees_with_illuminant_a() {
        // Source: CIE 15:2004, illuminant A: 700 nm 198.261 where 560 nm is 100.
        let light = TailLight::under(Sky::Lamp);
        assert!((light.power(700.0, 0.0) - 1.98261).abs() < 1e-3);
    }

    #[test]
    fn shade_lacks_deep_red() {
        let ratio = |sky| {
            let light = TailLight::under(sky);
            libm::log2(light.power(750.0, 0.0) / light.power(550.0, 0.0))
        };
        // 0.12 · 2 / 0.301 = 0.80 stop, within the half to one stop of common practice.
        let shade = ratio(Sky::ClearSun) - ratio(Sky::OpenShade);
        assert!((shade - 0.797).abs() < 0.01, "{shade}");
    }
}
