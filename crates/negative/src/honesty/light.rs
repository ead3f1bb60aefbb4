//! What the tablet and the clear film say of how the scan's signal follows light.
//!
//! Symbols: v signal, 0 to 1; D density; T = 10^−D; f veiling light as a share
//! of clear light; k signal of clear light.

use super::finding::HonestyFinding;
use super::histogram::CodeHistogram;
use crate::calibration::Calibration;
use crate::patch::{PatchStatistics, median};
use crate::tone::{Tone, ToneOrigin};
use quantity::Flag;

/// Density from the lightest step within which the tone is looked at: denser
/// steps bend by flare.
const TONE_DENSITY: f64 = 1.05;
/// Slopes of log10 v over D, without sign, that a declared tone may show. A
/// scanner with directed light reads a silver tablet up to a third too dense.
const TONE_SLOPES: core::ops::Range<f64> = 0.75..1.4;
/// Density from the lightest step within which k is taken.
const CLEAR_DENSITY: f64 = 0.65;
/// Steps that veiling light is taken from, the densest.
const DENSE_STEPS: usize = 3;
/// Least range of densities that shows veiling light.
const FLARE_RANGE: f64 = 1.2;
/// Density 2, about that of the highlights of a printable negative, and what it must
/// lose to be told: 0.2 % of clear light, more than a scanner in order scatters.
const HIGHLIGHT: f64 = 2.0;
const FLARE_DENSITY: f64 = 0.079;
/// Part of the veiling light by which it may differ from place to place: assumed.
const FLARE_VARIES: f64 = 0.5;
/// Pixels darker than clear film in a picture that is a negative, at least.
const DARKER_SHARE: f64 = 0.02;
/// Pixels lighter than clear film and below open light in a positive, at least.
const LIGHTER_SHARE: f64 = 0.2;
/// Open light: part of the lightest signal that occurs.
const OPEN_LIGHT: f64 = 0.9;

/// Veiling light by the tablet's densest steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScannerFlare {
    /// Veiling light as a share of clear light.
    pub share: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Density of the densest step that was used.
    pub densest: f64,
    /// Density that step seems to lose by it.
    pub lost: f64,
}

/// Gives what tablet and clear film say of the light: a tone that is not as
/// declared, veiling light, a positive.
#[must_use]
pub fn light_findings(
    calibration: Option<&Calibration>,
    tone: &Tone,
    histogram: &CodeHistogram,
    clear: &[&PatchStatistics],
) -> Vec<HonestyFinding> {
    let mut findings = Vec::new();
    if let Some(calibration) = calibration {
        if let Some(flare) = told_flare(calibration, tone) {
            findings.push(flare_finding(&flare, histogram, tone));
        }
        findings.extend(tone_by_tablet(calibration, tone));
    }
    findings.extend(inverted(histogram, tone, clear));
    findings
}

/// Gives the veiling light where the declared tone holds; else signals are no light,
/// and what looks like veiling light is the tone.
#[must_use]
pub fn told_flare(calibration: &Calibration, tone: &Tone) -> Option<ScannerFlare> {
    if tone_by_tablet(calibration, tone).is_some() {
        return None;
    }
    scanner_flare(calibration)
}

impl ScannerFlare {
    /// Gives the standard uncertainty of a density that may lie beside brighter film
    /// than the tablet does: half as much veiling light again. \[density\]
    #[must_use]
    pub fn doubt(&self, density: f64) -> f64 {
        let with = |share: f64| libm::log10(1.0 + share * libm::pow(10.0, density));
        with((1.0 + FLARE_VARIES) * self.share) - with(self.share)
    }
}

fn flare_finding(flare: &ScannerFlare, histogram: &CodeHistogram, tone: &Tone) -> HonestyFinding {
    let darkest = histogram.middle().start;
    HonestyFinding::new(
        Flag::ScannerFlare,
        format!(
            "the densest steps read {:.2} ± {:.2} % of clear light too much, so that density {:.2} loses {:.2} of itself; \
             the darkest half per cent of the picture reads {:.2} % of the scale. The tablet makes up for what it got \
             itself; beside bright film it may be half as much again, and that is added to the uncertainty",
            flare.share * 100.0,
            flare.standard_uncertainty * 100.0,
            flare.densest,
            flare.lost,
            tone.signal(darkest as f64) * 100.0
        ),
    )
}

/// Tells of a tablet whose lighter steps do not follow light by the tone that
/// was declared: log10 of signal must fall by about 1 for a density of 1.
#[must_use]
pub fn tone_by_tablet(calibration: &Calibration, tone: &Tone) -> Option<HonestyFinding> {
    if !calibration.tone_known() || calibration.reversed() {
        return None;
    }
    let slope = light_slope(calibration)?;
    if TONE_SLOPES.contains(&slope) {
        return None;
    }
    let by = match tone.origin {
        ToneOrigin::Record => "the record says",
        ToneOrigin::IccProfile => "the file's ICC profile says",
        ToneOrigin::PngChunk => "the PNG file says",
        ToneOrigin::RawSensor => "the raw file says",
        ToneOrigin::TransferFunction => "the TIFF file's transfer function says",
        ToneOrigin::Nowhere => return None,
    };
    Some(HonestyFinding::new(
        Flag::ToneContradicted,
        format!(
            "{by} {}, but over the tablet's lighter steps the signal falls by 10 to the power of {slope:.2} for each density \
             of 1, as a further gamma of {:.1} would do, or a table that is another tablet's",
            tone.encoding.describe(),
            1.0 / slope
        ),
    ))
}

/// By how much log10 of signal falls for each density of 1 over the tablet's lighter
/// steps; `None` for too few of them, and where it rises.
pub(crate) fn light_slope(calibration: &Calibration) -> Option<f64> {
    let knots = calibration.knots();
    let lightest = knots.iter().map(|k| k.1).fold(f64::INFINITY, f64::min);
    let light: Vec<(f64, f64)> = knots
        .iter()
        .copied()
        .filter(|k| k.1 <= lightest + TONE_DENSITY)
        .collect();
    let n = light.len() as f64;
    let (mx, md) = (
        light.iter().map(|k| k.0).sum::<f64>() / n,
        light.iter().map(|k| k.1).sum::<f64>() / n,
    );
    let dd: f64 = light.iter().map(|k| (k.1 - md).powi(2)).sum();
    let dx: f64 = light.iter().map(|k| (k.1 - md) * (k.0 - mx)).sum();
    if light.len() < 3 || dd < 0.05 {
        return None;
    }
    Some(-dx / dd).filter(|slope| *slope > 0.0)
}

/// Gives the veiling light that the tablet's densest steps show, if they show
/// any that matters.
///
/// Needs a known tone and steps over a range of densities of 1.2.
#[must_use]
pub fn scanner_flare(calibration: &Calibration) -> Option<ScannerFlare> {
    if !calibration.tone_known() || calibration.reversed() {
        return None;
    }
    // From dark to light.
    let knots = calibration.knots();
    let uncertainty = calibration.knot_uncertainties();
    let (densest, lightest) = (knots.first()?.1, knots.last()?.1);
    if densest - lightest < FLARE_RANGE {
        return None;
    }
    let log_k = median(
        knots
            .iter()
            .filter(|k| k.1 <= lightest + CLEAR_DENSITY)
            .map(|k| k.0 + k.1)
            .collect(),
    );
    // f = v/k − T, each weighed by its error T · ln 10 · u(D).
    let (mut sum, mut weights) = (0.0, 0.0);
    for ((x, density), u) in knots.iter().zip(&uncertainty).take(DENSE_STEPS) {
        let light = libm::pow(10.0, -density);
        let veil = libm::pow(10.0, x - log_k) - light;
        let error = light * core::f64::consts::LN_10 * u.max(0.01);
        sum += veil / (error * error);
        weights += 1.0 / (error * error);
    }
    let (share, standard_uncertainty) = (sum / weights, (1.0 / weights).sqrt());
    let lost = |density: f64| libm::log10(1.0 + share.max(0.0) * libm::pow(10.0, density));
    (share > 3.0 * standard_uncertainty && lost(HIGHLIGHT) > FLARE_DENSITY).then_some(
        ScannerFlare {
            share,
            standard_uncertainty,
            densest,
            lost: lost(densest),
        },
    )
}

/// Tells of a picture that is lighter than its clear film nearly everywhere:
/// nothing that was exposed can be clearer than film that was not.
#[must_use]
pub fn inverted(
    histogram: &CodeHistogram,
    tone: &Tone,
    clear: &[&PatchStatistics],
) -> Option<HonestyFinding> {
    if clear.is_empty() || histogram.pixels == 0 {
        return None;
    }
    let film = median(clear.iter().map(|c| c.signal).collect());
    let spread = clear
        .iter()
        .map(|c| c.code_spread * c.signal_per_code)
        .fold(0.0, f64::max);
    let step = clear[0].signal_per_code.max(1.0 / f64::from(tone.code_max));
    let away = 4.0 * spread + 2.0 * step;
    let occupied = || histogram.counts.iter().enumerate().filter(|(_, n)| **n > 0);
    let lightest = occupied()
        .map(|(code, _)| tone.signal(code as f64))
        .fold(0.0, f64::max);
    let share = |of: &dyn Fn(f64) -> bool| {
        let pixels: u64 = occupied()
            .filter(|(code, _)| of(tone.signal(*code as f64)))
            .map(|(_, n)| n)
            .sum();
        pixels as f64 / histogram.pixels as f64
    };
    let darker = share(&|signal| signal < film - away);
    let lighter = share(&|signal| signal > film + away && signal < OPEN_LIGHT * lightest);
    (darker < DARKER_SHARE && lighter > LIGHTER_SHARE).then(|| {
        HonestyFinding::new(
            Flag::InvertedPositive,
            format!(
                "{:.0} % of the picture is lighter than its clear film and {:.1} % darker: it was turned into a positive",
                lighter * 100.0,
                darker * 100.0
            ),
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_as_much_veiling_light_again_is_added_where_film_is_dense() {
        let flare = ScannerFlare {
            share: 0.01,
            standard_uncertainty: 0.0,
            densest: 3.05,
            lost: 1.0,
        };
        // Hand calculation: log10((1 + 0.015 · 100) / (1 + 0.01 · 100)) = log10(1.25).
        assert!((flare.doubt(2.0) - 0.096_91).abs() < 1e-5);
        assert!(flare.doubt(0.1) < 0.003);
    }
}
