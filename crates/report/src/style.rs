//! How the report looks: fonts and style sheet.
//!
//! Paper, ink, few rules. Greys are neutral, because a tint next to a negative
//! lies; the surround of pictures is the same middle grey in both themes. One
//! accent marks the answer. Sizes are 12, 14, 16, 20, 28 and 40 px.

use base64::Engine as _;

/// Source Sans 3 Regular; see `assets/SourceSans3-ORIGIN.md`.
pub const REGULAR: &[u8] = include_bytes!("../assets/SourceSans3-Regular.ttf.woff2");
/// Source Sans 3 Semibold.
pub const SEMIBOLD: &[u8] = include_bytes!("../assets/SourceSans3-Semibold.ttf.woff2");

/// The rules without fonts and without the foot of printed pages, so that other
/// pages can look the same.
pub const SHEET: &str = include_str!("style.css");

/// Writes the whole style sheet, fonts embedded; `foot` is printed on each page.
pub(crate) fn style_sheet(foot: &str) -> String {
    format!(
        "{}{SHEET}@page{{@bottom-left{{content:{}}}}}\n",
        font_faces(),
        css_string(foot)
    )
}

/// Writes the fonts, embedded.
pub(crate) fn font_faces() -> String {
    let encode = |bytes: &[u8]| base64::engine::general_purpose::STANDARD.encode(bytes);
    let face = |weight: u32, bytes: &[u8]| {
        format!(
            "@font-face{{font-family:'Source Sans 3';font-weight:{weight};font-style:normal;src:url(data:font/woff2;base64,{}) format('woff2')}}\n",
            encode(bytes)
        )
    };
    format!("{}{}", face(400, REGULAR), face(600, SEMIBOLD))
}

/// Writes text as a CSS string that can't end the string or the style element.
fn css_string(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        if c.is_alphanumeric() || matches!(c, ' ' | '.' | ',') {
            out.push(c);
        } else {
            out.push_str(&format!("\\{:x} ", c as u32));
        }
    }
    out.push('"');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_cannot_end_the_style_sheet() {
        let text = css_string("a\"</style>\\\n");
        assert_eq!(text, "\"a\\22 \\3c \\2f style\\3e \\5c \\a \"");
    }

    /// Gives the colours of the theme that begins at a place of the sheet.
    fn colour(theme: &str, name: &str) -> [f64; 3] {
        let rest = theme.split(&format!("--{name}:#")).nth(1).unwrap();
        let part = |at: usize| f64::from(u8::from_str_radix(&rest[at..at + 2], 16).unwrap());
        [part(0), part(2), part(4)]
    }

    /// WCAG 2.1 contrast ratio of two sRGB colours.
    fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
        let luminance = |c: [f64; 3]| {
            let linear = c.map(|v| {
                let v = v / 255.0;
                if v <= 0.040_45 {
                    v / 12.92
                } else {
                    ((v + 0.055) / 1.055).powf(2.4)
                }
            });
            0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        };
        let (a, b) = (luminance(one) + 0.05, luminance(other) + 0.05);
        if a > b { a / b } else { b / a }
    }

    #[test]
    fn text_and_accent_can_be_read_and_greys_are_neutral() {
        let themes: Vec<_> = SHEET.split(":root{").skip(1).collect();
        assert_eq!(themes.len(), 3, "light, dark, print");
        for theme in themes {
            let paper = colour(theme, "paper");
            for name in ["ink", "muted", "accent"] {
                let ratio = contrast(colour(theme, name), paper);
                // 4.5: WCAG 2.1, success criterion 1.4.3, from memory.
                assert!(ratio >= 4.5, "{name}: {ratio}");
            }
            for name in ["paper", "ink", "muted", "rule", "band"] {
                let [red, green, blue] = colour(theme, name);
                assert!(red == green && green == blue, "{name} is tinted");
            }
        }
        // Black captions on the surround of pictures.
        let ratio = contrast([0.0; 3], [119.0; 3]);
        assert!(ratio >= 4.5, "{ratio}");
    }
}
