//! What the words of a file say about units and scales.
//!
//! Only words that can mean one thing are heeded. "Transmittance" alone says
//! nothing about the scale, "Transmittance (%)" does. Two different scales in
//! one heading say nothing.

use super::answers::{Purpose, ValueScale, WavelengthUnit};

/// The words of a heading: lower case, cut at blanks, brackets and underscores.
fn words(text: &str) -> Vec<String> {
    text.split(|c: char| c.is_whitespace() || "()[]{}_,;:=\"'".contains(c))
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect()
}

/// The one unit of wavelength that a heading names.
pub(super) fn wavelength_unit_in(heading: &str) -> Option<WavelengthUnit> {
    let mut found = vec![];
    for word in words(heading) {
        let unit = match word.as_str() {
            "nm" | "nanometer" | "nanometers" | "nanometre" | "nanometres" | "millimicrons" => {
                WavelengthUnit::Nanometres
            }
            // The micro sign and the Greek letter are two characters that look the same.
            "um" | "\u{b5}m" | "\u{3bc}m" | "micron" | "microns" | "micrometer" | "micrometers"
            | "micrometre" | "micrometres" => WavelengthUnit::Micrometres,
            "\u{e5}"
            | "\u{212b}"
            | "a"
            | "angstrom"
            | "angstroms"
            | "\u{e5}ngstr\u{f6}m"
            | "\u{e5}ngstr\u{f6}ms"
            | "angstr\u{f6}m" => WavelengthUnit::Angstroms,
            "1/cm" | "cm-1" | "cm^-1" | "cm**-1" | "cm\u{207b}\u{b9}" | "/cm" => {
                WavelengthUnit::PerCentimetre
            }
            _ => continue,
        };
        if !found.contains(&unit) {
            found.push(unit);
        }
    }
    one(&found)
}

/// The one unit that a line of remarks names, where the line speaks of wavelengths.
pub(super) fn wavelength_unit_in_remark(remark: &str) -> Option<WavelengthUnit> {
    let words = words(remark);
    let speaks = [
        "wavelength",
        "wavelengths",
        "wavenumber",
        "wavenumbers",
        "lambda",
        "\u{3bb}",
    ]
    .iter()
    .any(|about| words.iter().any(|word| word == about));
    // A lone "a" is an article in a sentence.
    speaks
        .then(|| wavelength_unit_in(remark))
        .flatten()
        .filter(|unit| *unit != WavelengthUnit::Angstroms || !words.iter().any(|word| word == "a"))
}

/// The one scale that a line of remarks names, where the line speaks of values.
///
/// "Resampled by linear interpolation" says nothing about the values.
pub(super) fn value_scale_in_remark(remark: &str, purpose: Purpose) -> Option<ValueScale> {
    let speaks = [
        "transmittance",
        "transmission",
        "reflectance",
        "reflection",
        "sensitivity",
        "sensitivities",
        "response",
        "values",
        "value",
        "absorbance",
        "density",
        "densities",
    ];
    let words = words(remark);
    speaks
        .iter()
        .any(|about| words.iter().any(|word| word == about))
        .then(|| value_scale_in(remark, purpose))
        .flatten()
}

/// The one scale that a heading names, as far as it fits the purpose.
pub(super) fn value_scale_in(heading: &str, purpose: Purpose) -> Option<ValueScale> {
    // A neutral density filter may be measured in anything.
    let heading = heading.to_lowercase().replace("neutral density", "");
    let mut found = vec![];
    for word in words(&heading) {
        let scale =
            if word.contains('%') || word == "percent" || word == "percentage" || word == "pct" {
                ValueScale::Percent
            } else if [
                "fraction",
                "decimal",
                "0..1",
                "0-1",
                "0\u{2026}1",
                "0\u{2013}1",
                "0.0-1.0",
            ]
            .contains(&word.as_str())
            {
                ValueScale::Fraction
            } else if [
                "absorbance",
                "absorbances",
                "density",
                "densities",
                "abs",
                "od",
            ]
            .contains(&word.as_str())
            {
                ValueScale::Density
            } else if ["log", "log10", "lg", "logs", "logarithm", "logarithmic"]
                .contains(&word.as_str())
            {
                ValueScale::Log10
            } else if word == "linear" {
                ValueScale::Linear
            } else {
                continue;
            };
        if !found.contains(&scale) {
            found.push(scale);
        }
    }
    let scale = one(&found)?;
    // A film's sensitivity in per cent of its peak is linear: its height is free.
    let scale = match (purpose, scale) {
        (Purpose::Film | Purpose::Light, ValueScale::Percent | ValueScale::Fraction) => {
            ValueScale::Linear
        }
        _ => scale,
    };
    purpose.scales().contains(&scale).then_some(scale)
}

/// A quantity that looks like an absorbance and is none: it needs a concentration and a path.
pub(super) fn is_molar(heading: &str) -> bool {
    words(heading).iter().any(|word| {
        ["epsilon", "\u{3b5}", "molar", "absorptivity", "coefficient"].contains(&word.as_str())
    })
}

/// A column of uncertainties beside its values.
pub(super) fn is_uncertainty(heading: &str) -> bool {
    let close: String = heading
        .to_lowercase()
        .chars()
        .filter(|c| c.is_alphanumeric() || *c == '\u{b1}')
        .collect();
    [
        "stddev",
        "standarddeviation",
        "sd",
        "stdev",
        "uncertainty",
        "standarduncertainty",
        "error",
        "sigma",
        "stderr",
        "\u{b1}",
    ]
    .contains(&close.as_str())
}

fn one<T: Copy>(found: &[T]) -> Option<T> {
    match found {
        [only] => Some(*only),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_are_read_from_headings_and_from_nothing_else() {
        for (heading, unit) in [
            ("wavelength_nm", Some(WavelengthUnit::Nanometres)),
            ("Wavelength (nm)", Some(WavelengthUnit::Nanometres)),
            ("wl [µm]", Some(WavelengthUnit::Micrometres)),
            (
                "Wavelength (micrometers)",
                Some(WavelengthUnit::Micrometres),
            ),
            ("lambda, Å", Some(WavelengthUnit::Angstroms)),
            ("1/CM", Some(WavelengthUnit::PerCentimetre)),
            ("wavenumber (cm-1)", Some(WavelengthUnit::PerCentimetre)),
            ("wavelength", None),
            ("nm or um", None),
            ("MASS UNITS", None),
        ] {
            assert_eq!(wavelength_unit_in(heading), unit, "{heading}");
        }
        let remark = "Wavelengths of a filter in nm";
        assert_eq!(
            wavelength_unit_in_remark(remark),
            None,
            "the article is no ångström"
        );
        assert_eq!(
            wavelength_unit_in_remark("measured with the 720 nm glass"),
            None
        );
        let remark = "wavelengths in nm";
        assert_eq!(
            wavelength_unit_in_remark(remark),
            Some(WavelengthUnit::Nanometres)
        );
    }

    #[test]
    fn a_scale_is_said_by_its_own_word_only() {
        use ValueScale::{Density, Fraction, Linear, Log10, Percent};
        for (heading, purpose, scale) in [
            ("Transmittance(%)", Purpose::Filter, Some(Percent)),
            ("%T", Purpose::Filter, Some(Percent)),
            ("Transmittance", Purpose::Filter, None),
            ("Reflectance (0..1)", Purpose::Subject, Some(Fraction)),
            ("ABSORBANCE", Purpose::Filter, Some(Density)),
            ("optical density", Purpose::Filter, Some(Density)),
            ("percent, density", Purpose::Filter, None),
            ("log_sensitivity", Purpose::Film, Some(Log10)),
            ("log10(cm2/erg)", Purpose::Film, Some(Log10)),
            ("sensitivity", Purpose::Film, None),
            ("sensitivity %", Purpose::Film, Some(Linear)),
            ("density", Purpose::Film, None),
            ("neutral density filter", Purpose::Filter, None),
        ] {
            assert_eq!(value_scale_in(heading, purpose), scale, "{heading}");
        }
        for (remark, purpose, scale) in [
            ("resampled by linear interpolation", Purpose::Film, None),
            ("sensitivities, linear", Purpose::Film, Some(Linear)),
            ("80 % relative humidity", Purpose::Filter, None),
            (
                "Transmittance (percent) of gelatin filters",
                Purpose::Filter,
                Some(Percent),
            ),
        ] {
            assert_eq!(value_scale_in_remark(remark, purpose), scale, "{remark}");
        }
    }
}
