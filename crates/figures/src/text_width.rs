//! How wide a text is, so that labels stay inside and apart.
//!
//! Advance widths of Source Sans 3 (version 3.052), the family that pages and
//! figures are set in, in thousandths of the type size. Kerning is left out:
//! it makes text a little narrower, never wider by more than a pixel or two.
//! A character that is not listed counts as wide as a capital M.

/// How heavy a text is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Weight {
    /// Weight 400.
    Regular,
    /// Weight 600.
    Semibold,
}

// From space (U+0020) to tilde (U+007E).
const REGULAR: [u16; 95] = [
    200, 289, 426, 497, 497, 824, 609, 249, 303, 303, 418, 497, 249, 311, 249, 350, 497, 497, 497,
    497, 497, 497, 497, 497, 497, 497, 249, 249, 497, 497, 497, 425, 847, 544, 588, 571, 615, 527,
    494, 617, 652, 263, 480, 579, 486, 727, 647, 664, 566, 664, 569, 534, 536, 645, 515, 786, 513,
    476, 539, 303, 350, 303, 497, 500, 542, 504, 553, 456, 555, 496, 292, 504, 544, 246, 247, 495,
    255, 829, 547, 542, 555, 555, 347, 419, 338, 544, 467, 719, 446, 467, 425, 303, 241, 303, 497,
];
const SEMIBOLD: [u16; 95] = [
    200, 315, 482, 513, 513, 841, 639, 275, 324, 324, 438, 513, 275, 322, 275, 344, 513, 513, 513,
    513, 513, 513, 513, 513, 513, 513, 275, 275, 513, 513, 513, 444, 875, 558, 597, 576, 625, 538,
    510, 628, 663, 282, 494, 597, 502, 745, 657, 674, 582, 674, 592, 545, 546, 655, 536, 800, 541,
    501, 540, 324, 344, 324, 513, 500, 549, 516, 563, 462, 564, 507, 317, 520, 558, 262, 263, 522,
    271, 843, 560, 549, 564, 564, 373, 431, 361, 556, 495, 748, 481, 495, 443, 324, 255, 324, 513,
];
const BEYOND_ASCII: [(char, u16, u16); 20] = [
    ('Δ', 588, 614),
    ('×', 497, 513),
    ('−', 497, 513),
    ('≥', 497, 513),
    ('≤', 497, 513),
    ('½', 808, 827),
    ('σ', 546, 560),
    ('µ', 562, 578),
    ('²', 367, 372),
    ('±', 497, 513),
    ('→', 619, 618),
    ('←', 619, 618),
    ('–', 480, 480),
    ('·', 249, 275),
    ('…', 948, 964),
    ('°', 331, 348),
    ('γ', 484, 509),
    ('’', 249, 275),
    ('“', 426, 482),
    ('”', 426, 482),
];

/// Gives the width of a text in pixels at a type size in pixels.
pub(crate) fn text_width(text: &str, size_px: f64, weight: Weight) -> f64 {
    let table = match weight {
        Weight::Regular => &REGULAR,
        Weight::Semibold => &SEMIBOLD,
    };
    let thousandths: u32 = text
        .chars()
        .map(|c| {
            if c == '\u{a0}' {
                return 200;
            }
            if c == '\u{2009}' {
                return 100;
            }
            if let Some(width) = (c as usize)
                .checked_sub(0x20)
                .and_then(|place| table.get(place))
            {
                return u32::from(*width);
            }
            BEYOND_ASCII
                .iter()
                .find(|(known, _, _)| *known == c)
                .map_or(727, |(_, regular, semibold)| {
                    u32::from(match weight {
                        Weight::Regular => *regular,
                        Weight::Semibold => *semibold,
                    })
                })
        })
        .sum();
    f64::from(thousandths) / 1000.0 * size_px
}

/// Breaks a text into lines no wider than `max_px`, at spaces; a word that is
/// wider by itself is cut with an ellipsis.
pub(crate) fn wrap(text: &str, size_px: f64, weight: Weight, max_px: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split(' ').filter(|w| !w.is_empty()) {
        let longer = if line.is_empty() {
            word.to_owned()
        } else {
            format!("{line} {word}")
        };
        if text_width(&longer, size_px, weight) <= max_px {
            line = longer;
        } else {
            if !line.is_empty() {
                lines.push(core::mem::take(&mut line));
            }
            line = shorten(word, size_px, weight, max_px);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// Cuts a text to a width, with an ellipsis when something was cut.
pub(crate) fn shorten(text: &str, size_px: f64, weight: Weight, max_px: f64) -> String {
    if text_width(text, size_px, weight) <= max_px {
        return text.to_owned();
    }
    let mut kept: Vec<char> = text.chars().collect();
    while kept.pop().is_some() {
        let cut: String = kept.iter().chain(&['…']).collect();
        if text_width(&cut, size_px, weight) <= max_px {
            return cut;
        }
    }
    "…".to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_and_the_minus_sign_are_tabular() {
        // Source: horizontal metrics of Source Sans 3 Regular 3.052: 497/1000 em each.
        for c in "0123456789−≥×".chars() {
            let width = text_width(&c.to_string(), 1000.0, Weight::Regular);
            assert!((width - 497.0).abs() < 1e-9, "{c}: {width}");
        }
    }

    #[test]
    fn no_line_is_wider_than_asked_and_no_word_is_lost() {
        let text = "Behind the 715 filter the film needs 8.3 stops more";
        let lines = wrap(text, 16.0, Weight::Semibold, 120.0);
        assert!(lines.len() > 2);
        assert_eq!(lines.join(" "), text);
        for line in &lines {
            assert!(text_width(line, 16.0, Weight::Semibold) <= 120.0, "{line}");
        }
    }

    #[test]
    fn a_word_that_does_not_fit_is_cut_where_one_sees_it() {
        let cut = shorten("holder-17-side-B", 12.0, Weight::Regular, 50.0);
        assert!(cut.ends_with('…'), "{cut}");
        assert!(text_width(&cut, 12.0, Weight::Regular) <= 50.0);
    }
}
