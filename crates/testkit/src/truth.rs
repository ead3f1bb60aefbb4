//! The truth a made test was made from.
//!
//! The curve here is written anew and not taken from `sensitometry`, so that
//! an estimate and the truth it is checked against share no code.
//!
//! The convention of exposure, for every made test:
//!
//! H = q·L·t′/N² / factor, L = K·2^EV/100, q = 0.65, K = 12.5 — the exposure of
//! the grey card, which lies at the mid-tone. t′ is the actual time after
//! reciprocity failure. Another patch gets 10^offset times as much, where the
//! offset is that patch's log luminance relative to the grey card in the band
//! the film then sees. The factor of a filter is defined on the grey card.
//!
//! Symbols: D density; x = log10 H, H in lux seconds; b base+fog; N f-number;
//! t time, s; L luminance, cd/m². K and q: common practice.

use crate::made;
use quantity::{Density, ExposureIndex, FilterFactor, LogExposure, Stops};
use record::Id;
use std::fmt::Write as _;

/// One bend of a curve: a change of slope by `gain` about `log_h`, spread over `width`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bend {
    /// Change of the slope, density per log10 exposure.
    pub gain: f64,
    /// Where the bend lies, log10 H.
    pub log_h: f64,
    /// How softly it bends, log10 H; greater than 0.
    pub width: f64,
}

/// A true characteristic curve: base+fog and any number of bends.
///
/// D(x) = b + Σ gain·width·ln(1 + exp((x − log_h)/width)). Two bends of equal
/// and opposite gain are a toe and a shoulder with a straight line between.
/// More bends make a curve that a two-bend model can't follow exactly. Where
/// the shoulder is wider than the toe, the curve dips below b by some 1e-5 far
/// below the toe: less than any reading.
#[derive(Clone, Debug, PartialEq)]
pub struct TruthCurve {
    /// Density of film that got no light.
    pub base_plus_fog: f64,
    /// The bends.
    pub bends: Vec<Bend>,
}

fn soft_ramp(u: f64) -> f64 {
    // ln(1 + e^u) without overflow.
    if u > 0.0 {
        u + libm::log1p(libm::exp(-u))
    } else {
        libm::log1p(libm::exp(u))
    }
}

impl TruthCurve {
    /// Makes a curve of a toe and a shoulder whose speed point (0.10 over
    /// base+fog) lies at `speed_point` (log10 H).
    ///
    /// `straight` is the length of the straight line between the middles of
    /// toe and shoulder, in log10 H.
    #[must_use]
    pub fn toe_and_shoulder(
        base_plus_fog: f64,
        gradient: f64,
        toe_width: f64,
        straight: f64,
        shoulder_width: f64,
        speed_point: f64,
    ) -> Self {
        let mut curve = Self {
            base_plus_fog,
            bends: vec![
                Bend {
                    gain: gradient,
                    log_h: 0.0,
                    width: toe_width,
                },
                Bend {
                    gain: -gradient,
                    log_h: straight,
                    width: shoulder_width,
                },
            ],
        };
        curve.move_speed_point(speed_point);
        curve
    }

    /// Makes a curve that a toe-and-shoulder model can't follow: the slope of
    /// the first half of its line is `sag` (0 to 1) lower than of the second.
    #[must_use]
    pub fn sagging(&self, sag: f64) -> Self {
        let (toe, shoulder) = (self.bends[0], self.bends[1]);
        let speed_point = self.speed_point_log_h();
        let mut curve = Self {
            base_plus_fog: self.base_plus_fog,
            bends: vec![
                Bend {
                    gain: toe.gain * (1.0 - sag),
                    ..toe
                },
                Bend {
                    gain: toe.gain * sag,
                    log_h: toe.log_h + 0.35 * (shoulder.log_h - toe.log_h),
                    width: 0.15,
                },
                shoulder,
            ],
        };
        curve.move_speed_point(speed_point);
        curve
    }

    fn move_speed_point(&mut self, to: f64) {
        let shift = to - self.speed_point_log_h();
        for bend in &mut self.bends {
            bend.log_h += shift;
        }
    }

    /// Gives the gross density at log10 H.
    #[must_use]
    pub fn density(&self, log_h: f64) -> f64 {
        self.base_plus_fog
            + self
                .bends
                .iter()
                .map(|b| b.gain * b.width * soft_ramp((log_h - b.log_h) / b.width))
                .sum::<f64>()
    }

    /// Gives log10 H at which a net density is reached, by halving.
    ///
    /// # Panics
    /// When the curve does not reach that density between −12 and 12.
    #[must_use]
    pub fn log_h_of_net(&self, net: f64) -> f64 {
        let wanted = self.base_plus_fog + net;
        let (mut low, mut high) = (-12.0, 12.0);
        assert!(
            self.density(low) < wanted && self.density(high) > wanted,
            "the true curve does not reach a net density of {net}"
        );
        for _ in 0..80 {
            let middle = 0.5 * (low + high);
            if self.density(middle) < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        0.5 * (low + high)
    }

    /// Gives log10 H of the speed point: 0.10 over base+fog.
    #[must_use]
    pub fn speed_point_log_h(&self) -> f64 {
        self.log_h_of_net(0.10)
    }

    /// Gives the exposure index 0.8/H of the speed point.
    #[must_use]
    pub fn speed_point_index(&self) -> ExposureIndex {
        // S = 0.8/Hm. Source: ISO 6, from memory; without its contrast condition.
        made::index(0.8 / libm::pow(10.0, self.speed_point_log_h()))
    }

    /// Gives the mean gradient over 1.30 of log10 H from the speed point.
    #[must_use]
    pub fn average_gradient_1_30(&self) -> f64 {
        let from = self.speed_point_log_h();
        (self.density(from + 1.30) - self.density(from)) / 1.30
    }
}

/// How a filter changes what the film does.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueFilter {
    /// The filter.
    pub filter: Id,
    /// The light it holds in.
    pub light: Id,
    /// Its factor on the grey card.
    pub factor: FilterFactor,
    /// Gradient behind the filter over that without, about the net density
    /// [`PIVOT_NET_DENSITY`], at which the factor matches densities.
    pub gradient_ratio: f64,
}

/// The net density about which a differing gradient turns.
pub const PIVOT_NET_DENSITY: f64 = 0.6;

/// Gives the true log10 H of the grey card, before any filter.
///
/// `ev100` is the true light, `time_s` the true time, `reciprocity_power` the
/// exponent p of the law Tc = Tm^p beyond one second (1 for none).
pub(crate) fn grey_log_h(ev100: f64, aperture: f64, time_s: f64, reciprocity_power: f64) -> f64 {
    // Effective time of a long exposure: the metered time that asks for it.
    let effective = if time_s > 1.0 {
        libm::pow(time_s, 1.0 / reciprocity_power)
    } else {
        time_s
    };
    let luminance = 12.5 * libm::exp2(ev100) / 100.0;
    libm::log10(0.65 * luminance * effective / (aperture * aperture))
}

/// Gives log10 H on the unfiltered curve that has the density of `log_h`
/// behind a filter whose gradient is `ratio` times as steep.
pub(crate) fn bent_about_pivot(curve: &TruthCurve, log_h: f64, ratio: f64) -> f64 {
    if ratio == 1.0 {
        return log_h;
    }
    let pivot = curve.log_h_of_net(PIVOT_NET_DENSITY);
    pivot + ratio * (log_h - pivot)
}

/// The truth of one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueFrame {
    /// The frame.
    pub frame: Id,
    /// log10 H of the grey card, through the filter; `None` when there is none.
    pub grey_log_h: Option<LogExposure>,
    /// How much more light the film got than its record says, in stops: shutter,
    /// aperture, meter, drift and the reciprocity law together.
    pub error: Stops,
    /// Base+fog of this very sheet.
    pub base_plus_fog: Density,
}

/// The true density of a patch.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueDensity {
    /// The frame.
    pub frame: Id,
    /// The patch.
    pub patch: Id,
    /// Mean density without grain, dust and scanner.
    pub density: Density,
}

/// The true Wood effect: how many stops foliage gains on a grey card in the
/// same light when the filter goes on.
#[derive(Clone, Debug, PartialEq)]
pub struct TrueWoodEffect {
    /// The filter.
    pub filter: Id,
    /// The light.
    pub light: Id,
    /// In the sun.
    pub sunlit: Stops,
    /// In the shade; without camera flare.
    pub shaded: Stops,
}

/// Everything a made test was made from.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// The film's curve in this process, without a filter.
    pub curve: TruthCurve,
    /// What each filter does in each light.
    pub filters: Vec<TrueFilter>,
    /// What foliage does.
    pub wood_effects: Vec<TrueWoodEffect>,
    /// Exponent of the reciprocity law beyond one second.
    pub reciprocity_power: f64,
    /// The frames.
    pub frames: Vec<TrueFrame>,
    /// The patches.
    pub densities: Vec<TrueDensity>,
}

impl Truth {
    /// Gives what a filter does in a light.
    #[must_use]
    pub fn filter(&self, filter: &Id, light: &Id) -> Option<&TrueFilter> {
        self.filters
            .iter()
            .find(|f| f.filter == *filter && f.light == *light)
    }

    /// Gives the true density of a patch.
    #[must_use]
    pub fn density(&self, frame: &Id, patch: &Id) -> Option<Density> {
        self.densities
            .iter()
            .find(|d| d.frame == *frame && d.patch == *patch)
            .map(|d| d.density)
    }

    /// Gives the truth of a frame.
    #[must_use]
    pub fn frame(&self, frame: &Id) -> Option<&TrueFrame> {
        self.frames.iter().find(|f| f.frame == *frame)
    }

    /// Gives the truth as a table: `quantity,unit,value,note`.
    ///
    /// No field holds a comma or a quotation mark, so none is quoted.
    #[must_use]
    pub fn to_csv(&self) -> String {
        let mut text = String::from("quantity,unit,value,note\n");
        let mut row = |quantity: &str, unit: &str, value: f64, note: &str| {
            // Writing to a String cannot fail.
            let _ = writeln!(text, "{quantity},{unit},{value:.4},{note}");
        };
        let curve = &self.curve;
        row(
            "base_plus_fog",
            "density",
            curve.base_plus_fog,
            "mean of all sheets",
        );
        row(
            "speed_point_log_h",
            "log10 lux s",
            curve.speed_point_log_h(),
            "0.10 over base+fog; no filter",
        );
        row(
            "speed_point_index",
            "EI",
            curve.speed_point_index().to_arithmetic(),
            "0.8 over the exposure of the speed point",
        );
        row(
            "average_gradient_1_30",
            "density per log10",
            curve.average_gradient_1_30(),
            "from the speed point over 1.30",
        );
        row(
            "reciprocity_power",
            "exponent",
            self.reciprocity_power,
            "corrected time is metered time to this power beyond 1 s",
        );
        for f in &self.filters {
            let stops = Stops::from_factor(f.factor).to_stops();
            let name = format!("factor {} in {}", f.filter, f.light);
            row(&name, "x", f.factor.to_ratio(), "on the grey card");
            row(&name, "stops", stops, "on the grey card");
            row(
                &format!("gradient_ratio {} in {}", f.filter, f.light),
                "ratio",
                f.gradient_ratio,
                "gradient behind the filter over that without",
            );
        }
        for w in &self.wood_effects {
            let name = format!("wood_effect {} in {}", w.filter, w.light);
            row(&name, "stops", w.sunlit.to_stops(), "sunlit foliage");
            row(&name, "stops", w.shaded.to_stops(), "shaded foliage");
        }
        for f in &self.frames {
            row(
                &format!("error {}", f.frame),
                "stops",
                f.error.to_stops(),
                "light on the film beyond what the record says",
            );
            row(
                &format!("base_plus_fog {}", f.frame),
                "density",
                f.base_plus_fog.to_density(),
                "this sheet",
            );
            if let Some(log_h) = f.grey_log_h {
                row(
                    &format!("grey_log_h {}", f.frame),
                    "log10 lux s",
                    log_h.to_log10(),
                    "grey card through the filter",
                );
            }
        }
        for d in &self.densities {
            row(
                &format!("density {} {}", d.frame, d.patch),
                "density",
                d.density.to_density(),
                "without grain or dust or scanner",
            );
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn curve() -> TruthCurve {
        TruthCurve::toe_and_shoulder(0.15, 0.66, 0.18, 3.2, 0.35, -2.0)
    }

    #[test]
    fn the_curve_is_what_its_bends_say() {
        let bare = TruthCurve {
            base_plus_fog: 0.15,
            bends: vec![
                Bend {
                    gain: 0.66,
                    log_h: -2.05,
                    width: 0.18,
                },
                Bend {
                    gain: -0.66,
                    log_h: 1.15,
                    width: 0.35,
                },
            ],
        };
        // Hand calculation at x = −2.05: 0.66·0.18·ln 2 = 0.082 346; the shoulder
        // gives 0.66·0.35·e^(−3.2/0.35) = 0.000 025. Far up: 0.66·3.2 = 2.112.
        assert!((bare.density(-2.05) - 0.15 - 0.082_346 + 0.000_025).abs() < 1e-6);
        assert!((bare.density(11.0) - 0.15 - 2.112).abs() < 1e-6);
        assert!((bare.density(-11.0) - 0.15).abs() < 1e-12);
    }

    #[test]
    fn the_speed_point_is_where_it_was_put() {
        for curve in [curve(), curve().sagging(0.3)] {
            // 1e-12: halving 24 eighty times goes below the last bit.
            assert!((curve.speed_point_log_h() + 2.0).abs() < 1e-12);
            assert!((curve.density(-2.0) - 0.25).abs() < 1e-12);
            // Hand calculation: 0.8/0.01 = 80.
            assert!((curve.speed_point_index().to_arithmetic() - 80.0).abs() < 1e-9);
        }
    }

    #[test]
    fn the_curves_rise_from_the_toe_up_and_lie_flat_below() {
        // The softest shoulder and hardest toe that random tests are given.
        let extreme = TruthCurve::toe_and_shoulder(0.1, 0.78, 0.14, 2.8, 0.4, -2.0);
        for curve in [curve(), curve().sagging(0.3), extreme] {
            for step in -600..300 {
                let x = f64::from(step) / 100.0;
                let rise = curve.density(x + 0.01) - curve.density(x);
                // Far below, the shoulder's tail outweighs the toe's: hand
                // calculation 0.78·0.4·e^(−3.8/0.4) = 2e-5 of density in all.
                assert!(rise > if x > -2.6 { 0.0 } else { -1e-6 }, "{x}: {rise}");
                let low = curve.density(x) - curve.base_plus_fog;
                assert!(low > -3e-5, "{x}: {low}");
            }
        }
    }

    #[test]
    fn the_metered_exposure_of_ei_100_is_that_of_the_meter_equation() {
        // Hand calculation: N²/t = 2^EV at EI 100, so H = 0.65·12.5/100 = 0.081 25.
        let log_h = grey_log_h(12.0, 16.0, 1.0 / 16.0, 1.2);
        assert!((log_h - libm::log10(0.081_25)).abs() < 1e-12);
        // 16 s on a law of power 1.2: 16^(1/1.2) = 10.079 s (reference computation).
        let long = grey_log_h(12.0, 16.0, 16.0, 1.2) - grey_log_h(12.0, 16.0, 1.0, 1.2);
        assert!((libm::pow(10.0, long) - 10.079).abs() < 0.001);
    }

    #[test]
    fn a_steeper_gradient_turns_about_the_pivot() {
        let curve = curve();
        let pivot = curve.log_h_of_net(PIVOT_NET_DENSITY);
        assert!((bent_about_pivot(&curve, pivot, 1.2) - pivot).abs() < 1e-12);
        let rise = |ratio| curve.density(bent_about_pivot(&curve, pivot + 0.1, ratio));
        assert!(rise(1.2) > rise(1.0));
    }
}
