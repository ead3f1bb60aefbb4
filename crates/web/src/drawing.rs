//! Figures within pages.
//!
//! Figures carry their colours in `style` attributes, which the policy of the
//! pages forbids. The same colours work as attributes of their own, so they are
//! rewritten; the drawing stays as it was.

use maud::{Markup, PreEscaped};

/// A figure drawn by this program, ready to stand in a page.
pub(crate) fn drawing(svg: &str) -> Markup {
    PreEscaped(without_styles(svg))
}

/// Turns each `style="a:b;c:d"` into `a="b" c="d"`.
fn without_styles(svg: &str) -> String {
    const BEGIN: &str = " style=\"";
    let mut out = String::with_capacity(svg.len());
    let mut rest = svg;
    while let Some((before, after)) = rest.split_once(BEGIN) {
        let Some((style, after)) = after.split_once('"') else {
            break;
        };
        out.push_str(before);
        for pair in style.split(';') {
            if let Some((name, value)) = pair.split_once(':') {
                // Not an attribute of SVG; the page sets it for all figures.
                if name.trim() != "font-variant-numeric" {
                    out.push_str(&format!(" {}=\"{}\"", name.trim(), value.trim()));
                }
            }
        }
        rest = after;
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn styles_become_attributes() {
        assert_eq!(
            without_styles(
                "<a style=\"fill:var(--ink);stroke:#fff\" x=\"1\"/><b style=\"font-variant-numeric:tabular-nums\">t</b>"
            ),
            "<a fill=\"var(--ink)\" stroke=\"#fff\" x=\"1\"/><b>t</b>"
        );
        assert_eq!(without_styles("<a/>"), "<a/>");
    }
}
