//! A small writer of SVG text.
//!
//! Coordinates are f64 pixels written with two decimals, text is escaped, and
//! colours are named by what they are for. Inside a page a colour is a CSS
//! custom property with a literal fallback, so that light, dark and print are
//! the page's choice; in a file it is the literal alone.
//!
//! Every drawing has `role="img"` with a `<title>` and a `<desc>`. No ids, no
//! clip paths, no script: a drawing can stand in a page as often as wanted.

use crate::axis::Axis;
use crate::text_width::{Weight, text_width, wrap};
use core::fmt::Write as _;

/// Where a figure will be seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Colours {
    /// Inside a page that sets `--ink`, `--muted`, `--rule`, `--band`, `--paper` and `--accent`.
    Page,
    /// In a file of its own.
    File,
}

/// The paper a figure is drawn on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheet {
    /// Width in pixels; text keeps its size, so a narrow sheet holds less beside it.
    pub width_px: f64,
    /// Where the figure will be seen.
    pub colours: Colours,
}

impl Sheet {
    /// The width of a report's column.
    pub const PAGE: Self = Self {
        width_px: 720.0,
        colours: Colours::Page,
    };
    /// The width of a phone, 390 px less margins.
    pub const PHONE: Self = Self {
        width_px: 358.0,
        colours: Colours::Page,
    };
    /// A file of its own.
    pub const FILE: Self = Self {
        width_px: 720.0,
        colours: Colours::File,
    };

    /// Whether there is no room for columns of text beside the drawing.
    pub(crate) fn is_narrow(self) -> bool {
        self.width_px < 560.0
    }
}

/// What a colour is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ink {
    /// Text and curves.
    Line,
    /// Second curves, tick labels.
    Muted,
    /// Grids and rules.
    Rule,
    /// Uncertainty.
    Band,
    /// The page itself.
    Paper,
    /// The answer.
    Accent,
}

impl Ink {
    fn property_and_literal(self) -> (&'static str, &'static str) {
        match self {
            Self::Line => ("--ink", "#1a1a1a"),
            Self::Muted => ("--muted", "#5c5c5c"),
            Self::Rule => ("--rule", "#dcdcdc"),
            Self::Band => ("--band", "#d0d0d0"),
            Self::Paper => ("--paper", "#fafafa"),
            Self::Accent => ("--accent", "#8c1d18"),
        }
    }
}

/// How a stroke is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Dash {
    Solid,
    Dashed,
    Dotted,
    Mixed,
}

impl Dash {
    fn attribute(self) -> &'static str {
        match self {
            Self::Solid => "",
            Self::Dashed => " stroke-dasharray=\"6 4\"",
            Self::Dotted => " stroke-dasharray=\"1.5 3\"",
            Self::Mixed => " stroke-dasharray=\"8 3 2 3\"",
        }
    }
}

/// Which end of a text stands at its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Style {
    pub(crate) size_px: f64,
    pub(crate) weight: Weight,
    pub(crate) ink: Ink,
    pub(crate) anchor: Anchor,
    /// Whether a rim of paper sets it off from what lies under it.
    pub(crate) halo: bool,
}

impl Style {
    /// 12 px, regular, ink, from its start.
    pub(crate) const SMALL: Self = Self {
        size_px: 12.0,
        weight: Weight::Regular,
        ink: Ink::Line,
        anchor: Anchor::Start,
        halo: false,
    };
    /// 14 px, regular, ink, from its start.
    pub(crate) const TEXT: Self = Self {
        size_px: 14.0,
        ..Self::SMALL
    };

    pub(crate) fn ink(self, ink: Ink) -> Self {
        Self { ink, ..self }
    }
    pub(crate) fn anchor(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }
    pub(crate) fn semibold(self) -> Self {
        Self {
            weight: Weight::Semibold,
            ..self
        }
    }
    pub(crate) fn halo(self) -> Self {
        Self { halo: true, ..self }
    }
    pub(crate) fn width(self, text: &str) -> f64 {
        text_width(text, self.size_px, self.weight)
    }
}

/// The outline of a sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Shape {
    Circle,
    Square,
    Triangle,
    Diamond,
    TriangleDown,
    /// A thick X.
    Cross,
    /// A thick plus.
    Plus,
    TriangleLeft,
    TriangleRight,
    Star,
    /// Half as large as the others, for the many steps of a tablet.
    Dot,
}

impl Shape {
    /// The shapes that tell frames apart, easiest first.
    pub(crate) const ALL: [Self; 10] = [
        Self::Circle,
        Self::Square,
        Self::Triangle,
        Self::Diamond,
        Self::TriangleDown,
        Self::Cross,
        Self::Plus,
        Self::TriangleLeft,
        Self::TriangleRight,
        Self::Star,
    ];

    /// Gives the corners from the middle, in pixels; none for round shapes.
    fn corners(self) -> &'static [(f64, f64)] {
        match self {
            Self::Circle | Self::Dot => &[],
            Self::Square => &[(-3.3, -3.3), (3.3, -3.3), (3.3, 3.3), (-3.3, 3.3)],
            Self::Triangle => &[(0.0, -4.4), (4.2, 3.2), (-4.2, 3.2)],
            Self::Diamond => &[(0.0, -4.8), (4.8, 0.0), (0.0, 4.8), (-4.8, 0.0)],
            Self::TriangleDown => &[(0.0, 4.4), (4.2, -3.2), (-4.2, -3.2)],
            Self::Cross => &[
                (-3.2, -4.8),
                (0.0, -1.6),
                (3.2, -4.8),
                (4.8, -3.2),
                (1.6, 0.0),
                (4.8, 3.2),
                (3.2, 4.8),
                (0.0, 1.6),
                (-3.2, 4.8),
                (-4.8, 3.2),
                (-1.6, 0.0),
                (-4.8, -3.2),
            ],
            Self::Plus => &[
                (-1.4, -4.6),
                (1.4, -4.6),
                (1.4, -1.4),
                (4.6, -1.4),
                (4.6, 1.4),
                (1.4, 1.4),
                (1.4, 4.6),
                (-1.4, 4.6),
                (-1.4, 1.4),
                (-4.6, 1.4),
                (-4.6, -1.4),
                (-1.4, -1.4),
            ],
            Self::TriangleLeft => &[(-4.4, 0.0), (3.2, -4.2), (3.2, 4.2)],
            Self::TriangleRight => &[(4.4, 0.0), (-3.2, -4.2), (-3.2, 4.2)],
            Self::Star => &[
                (0.0, -5.2),
                (1.3, -1.8),
                (4.9, -1.6),
                (2.1, 0.7),
                (3.1, 4.2),
                (0.0, 2.2),
                (-3.1, 4.2),
                (-2.1, 0.7),
                (-4.9, -1.6),
                (-1.3, -1.8),
            ],
        }
    }
}

/// What is inside the outline of a sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Fill {
    /// Ink.
    Full,
    /// Paper.
    Open,
    /// Paper with a line across.
    Barred,
    /// Paper with a dot in the middle.
    Dotted,
}

/// The sign of a frame's readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Sign {
    pub(crate) shape: Shape,
    pub(crate) fill: Fill,
}

/// A drawing being written.
#[derive(Debug)]
pub(crate) struct Svg {
    sheet: Sheet,
    title: String,
    description: String,
    body: String,
}

/// Writes a coordinate with two decimals, trailing zeros left out.
fn n(value: f64) -> String {
    assert!(value.is_finite(), "a coordinate is finite, found {value}");
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

/// Escapes text for SVG content and attributes.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // XML 1.0 has no way to write other control characters.
            c if (c as u32) < 0x20 && !matches!(c, '\t' | '\n' | '\r') => out.push('\u{fffd}'),
            c if crate::direction::turns_direction(c) => {}
            c => out.push(c),
        }
    }
    out
}

impl Svg {
    /// Begins a drawing; the title and the description are read out, and
    /// [`Svg::heading`] draws them.
    pub(crate) fn new(sheet: Sheet, title: &str, description: &str) -> Self {
        Self {
            sheet,
            title: title.to_owned(),
            description: description.to_owned(),
            body: String::new(),
        }
    }

    /// Gives the paper it is drawn on.
    pub(crate) fn sheet(&self) -> Sheet {
        self.sheet
    }

    fn colour(&self, ink: Ink) -> String {
        let (property, literal) = ink.property_and_literal();
        match self.sheet.colours {
            Colours::Page => format!("var({property},{literal})"),
            Colours::File => literal.to_owned(),
        }
    }

    /// Draws title and subtitle at the top and gives the y below them.
    pub(crate) fn heading(&mut self) -> f64 {
        let title = self.title.clone();
        let description = self.description.clone();
        let width = self.sheet.width_px;
        let mut y = 0.0;
        for line in wrap(&title, 16.0, Weight::Semibold, width) {
            y += 20.0;
            let style = Style {
                size_px: 16.0,
                ..Style::SMALL.semibold()
            };
            self.text(0.0, y - 4.0, &line, style);
        }
        y += 2.0;
        // 75 characters are about 470 px at 14 px.
        for line in wrap(&description, 14.0, Weight::Regular, width.min(500.0)) {
            y += 18.0;
            self.text(0.0, y - 4.0, &line, Style::TEXT.ink(Ink::Muted));
        }
        y + 12.0
    }

    pub(crate) fn line(
        &mut self,
        from: (f64, f64),
        to: (f64, f64),
        ink: Ink,
        width: f64,
        dash: Dash,
    ) {
        let _ = writeln!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" style=\"stroke:{}\" stroke-width=\"{}\"{}/>",
            n(from.0),
            n(from.1),
            n(to.0),
            n(to.1),
            self.colour(ink),
            n(width),
            dash.attribute()
        );
    }

    pub(crate) fn polyline(&mut self, points: &[(f64, f64)], ink: Ink, width: f64, dash: Dash) {
        let _ = writeln!(
            self.body,
            "<polyline points=\"{}\" fill=\"none\" style=\"stroke:{}\" stroke-width=\"{}\" stroke-linejoin=\"round\"{}/>",
            joined(points),
            self.colour(ink),
            n(width),
            dash.attribute()
        );
    }

    pub(crate) fn polygon(&mut self, points: &[(f64, f64)], fill: Ink) {
        let _ = writeln!(
            self.body,
            "<polygon points=\"{}\" style=\"fill:{}\"/>",
            joined(points),
            self.colour(fill)
        );
    }

    pub(crate) fn rectangle(&mut self, x: f64, y: f64, width: f64, height: f64, fill: Ink) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" style=\"fill:{}\"/>",
            n(x),
            n(y),
            n(width),
            n(height),
            self.colour(fill)
        );
    }

    /// A rectangle of one grey that no theme may change.
    pub(crate) fn grey_rectangle(&mut self, x: f64, y: f64, width: f64, height: f64, grey: u8) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#{grey:02x}{grey:02x}{grey:02x}\"/>",
            n(x),
            n(y),
            n(width),
            n(height)
        );
    }

    /// A rectangle of one colour that no theme may change.
    pub(crate) fn fixed_rectangle(
        &mut self,
        (x, y): (f64, f64),
        (width, height): (f64, f64),
        [red, green, blue]: [u8; 3],
    ) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#{red:02x}{green:02x}{blue:02x}\"/>",
            n(x),
            n(y),
            n(width),
            n(height)
        );
    }

    /// A rectangle of ink that lets the paper through; opacity from 0 to 1.
    pub(crate) fn faint_rectangle(
        &mut self,
        (x, y): (f64, f64),
        (width, height): (f64, f64),
        opacity: f64,
    ) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" style=\"fill:{}\" fill-opacity=\"{}\"/>",
            n(x),
            n(y),
            n(width),
            n(height),
            self.colour(Ink::Line),
            n(opacity)
        );
    }

    /// A line of one grey that no theme may change.
    pub(crate) fn grey_line(&mut self, from: (f64, f64), to: (f64, f64), grey: u8, dash: Dash) {
        let _ = writeln!(
            self.body,
            "<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" stroke=\"#{grey:02x}{grey:02x}{grey:02x}\" stroke-width=\"1\"{}/>",
            n(from.0),
            n(from.1),
            n(to.0),
            n(to.1),
            dash.attribute()
        );
    }

    /// Black text that no theme may change; semibold, since the surround is grey.
    pub(crate) fn black_text(&mut self, x: f64, y: f64, text: &str, anchor: Anchor) {
        let _ = writeln!(
            self.body,
            "<text x=\"{}\" y=\"{}\" font-size=\"12\" font-weight=\"600\" fill=\"#000000\"{}>{}</text>",
            n(x),
            n(y),
            anchor_attribute(anchor),
            escape(text)
        );
    }

    /// A picture, given as an address that holds its data.
    pub(crate) fn picture(&mut self, (x, y): (f64, f64), (width, height): (f64, f64), href: &str) {
        let _ = writeln!(
            self.body,
            "<image x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" href=\"{}\"/>",
            n(x),
            n(y),
            n(width),
            n(height),
            escape(href)
        );
    }

    /// An outline that can be seen on black and on white.
    pub(crate) fn outline(&mut self, points: &[(f64, f64)], width: f64, dash: Dash) {
        for (colour, width, dash) in [
            ("#000000", 2.4 * width, Dash::Solid),
            ("#ffffff", width, dash),
        ] {
            let _ = writeln!(
                self.body,
                "<polygon points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{}\"{}/>",
                joined(points),
                n(width),
                dash.attribute()
            );
        }
    }

    /// A number that can be read on black and on white, its middle at a place.
    pub(crate) fn number_on_picture(&mut self, (x, y): (f64, f64), text: &str, size_px: f64) {
        let _ = writeln!(
            self.body,
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\" font-weight=\"600\" text-anchor=\"middle\" fill=\"#ffffff\" stroke=\"#000000\" stroke-width=\"{}\" paint-order=\"stroke\">{}</text>",
            n(x),
            n(y + 0.35 * size_px),
            n(size_px),
            n(0.2 * size_px),
            escape(text)
        );
    }

    /// Says where the axes are, so that a page can read values off the plot: of x,
    /// then of y, the numbers at both ends and their pixels.
    pub(crate) fn axes(&mut self, x: Axis, y: Axis) {
        let of = |a: Axis| format!("{} {} {} {}", n(a.low), n(a.high), n(a.from_px), n(a.to_px));
        let _ = writeln!(self.body, "<g data-x=\"{}\" data-y=\"{}\"/>", of(x), of(y));
    }

    /// A sign of about 8 px.
    pub(crate) fn marker(&mut self, at: (f64, f64), sign: Sign, ink: Ink) {
        let (x, y) = at;
        let stroke = self.colour(ink);
        let fill = self.colour(if sign.fill == Fill::Full {
            ink
        } else {
            Ink::Paper
        });
        let style = format!("style=\"fill:{fill};stroke:{stroke}\" stroke-width=\"1.2\"");
        let radius = match sign.shape {
            Shape::Circle => Some(3.6),
            Shape::Dot => Some(1.8),
            _ => None,
        };
        let _ = match radius {
            Some(r) => writeln!(
                self.body,
                "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" {style}/>",
                n(x),
                n(y),
                n(r)
            ),
            None => {
                let corners: Vec<_> = sign
                    .shape
                    .corners()
                    .iter()
                    .map(|(right, down)| (x + right, y + down))
                    .collect();
                writeln!(
                    self.body,
                    "<polygon points=\"{}\" {style}/>",
                    joined(&corners)
                )
            }
        };
        match sign.fill {
            Fill::Full | Fill::Open => {}
            Fill::Barred => self.line((x - 5.4, y), (x + 5.4, y), ink, 1.2, Dash::Solid),
            Fill::Dotted => self.dots(&[at], ink, 2.2),
        }
    }

    /// Many dots as one path, so that thousands of them stay small.
    pub(crate) fn dots(&mut self, at: &[(f64, f64)], ink: Ink, size_px: f64) {
        if at.is_empty() {
            return;
        }
        let path: String = at
            .iter()
            .map(|(x, y)| format!("M{} {}h0", n(*x), n(*y)))
            .collect();
        let _ = writeln!(
            self.body,
            "<path d=\"{path}\" fill=\"none\" style=\"stroke:{}\" stroke-width=\"{}\" stroke-linecap=\"round\"/>",
            self.colour(ink),
            n(size_px)
        );
    }

    /// A shaft with a head at `to`.
    pub(crate) fn arrow(&mut self, from: (f64, f64), to: (f64, f64), ink: Ink, width: f64) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = libm::sqrt(dx * dx + dy * dy).max(1e-6);
        let (ux, uy) = (dx / length, dy / length);
        let head = (4.0 + 1.5 * width).min(length);
        let base = (to.0 - head * ux, to.1 - head * uy);
        let half = head * 0.45;
        self.line(from, base, ink, width, Dash::Solid);
        self.polygon(
            &[
                to,
                (base.0 - half * uy, base.1 + half * ux),
                (base.0 + half * uy, base.1 - half * ux),
            ],
            ink,
        );
    }

    pub(crate) fn text(&mut self, x: f64, y: f64, text: &str, style: Style) {
        self.write_text(x, y, text, style, "");
    }

    /// Text that reads from below to above, centred on its point.
    pub(crate) fn text_upward(&mut self, x: f64, y: f64, text: &str, style: Style) {
        let turn = format!(" transform=\"rotate(-90 {} {})\"", n(x), n(y));
        self.write_text(x, y, text, style.anchor(Anchor::Middle), &turn);
    }

    fn write_text(&mut self, x: f64, y: f64, text: &str, style: Style, more: &str) {
        let weight = match style.weight {
            Weight::Regular => "",
            Weight::Semibold => " font-weight=\"600\"",
        };
        let halo = if style.halo {
            format!(
                ";stroke:{};stroke-width:3;paint-order:stroke;stroke-linejoin:round",
                self.colour(Ink::Paper)
            )
        } else {
            String::new()
        };
        let _ = writeln!(
            self.body,
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\"{weight}{}{more} style=\"fill:{}{halo}\">{}</text>",
            n(x),
            n(y),
            n(style.size_px),
            anchor_attribute(style.anchor),
            self.colour(style.ink),
            escape(text)
        );
    }

    /// Ends the drawing at a height.
    pub(crate) fn finish(self, height_px: f64) -> String {
        let (width, height) = (n(self.sheet.width_px), n(libm::ceil(height_px)));
        let paper = match self.sheet.colours {
            Colours::Page => String::new(),
            Colours::File => format!(
                "<rect width=\"{width}\" height=\"{height}\" fill=\"{}\"/>\n",
                Ink::Paper.property_and_literal().1
            ),
        };
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" role=\"img\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" height=\"{height}\" font-family=\"'Source Sans 3',sans-serif\" style=\"font-variant-numeric:tabular-nums\">\n<title>{}</title>\n<desc>{}</desc>\n{paper}{}</svg>\n",
            escape(&self.title),
            escape(&self.description),
            self.body
        )
    }
}

fn anchor_attribute(anchor: Anchor) -> &'static str {
    match anchor {
        Anchor::Start => "",
        Anchor::Middle => " text-anchor=\"middle\"",
        Anchor::End => " text-anchor=\"end\"",
    }
}

fn joined(points: &[(f64, f64)]) -> String {
    let texts: Vec<_> = points
        .iter()
        .map(|(x, y)| format!("{},{}", n(*x), n(*y)))
        .collect();
    texts.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_break_out_of_a_drawing() {
        let mut svg = Svg::new(Sheet::FILE, "<script>", "\"a\" & 'b'");
        svg.text(0.0, 10.0, "</svg><b>", Style::SMALL);
        let text = svg.finish(20.0);
        assert!(!text.contains("<script>"));
        assert_eq!(text.matches("</svg>").count(), 1);
        assert!(text.contains("&quot;a&quot; &amp; &#39;b&#39;"));
    }

    #[test]
    fn coordinates_have_fixed_digits() {
        assert_eq!(n(1.0 / 3.0), "0.33");
        assert_eq!(n(-0.001), "0");
        assert_eq!(n(120.0), "120");
        assert_eq!(n(-4.5), "-4.5");
    }

    #[test]
    fn a_file_holds_no_custom_property_and_a_page_does() {
        for (colours, wanted) in [(Colours::File, false), (Colours::Page, true)] {
            let sheet = Sheet {
                width_px: 100.0,
                colours,
            };
            let mut svg = Svg::new(sheet, "t", "d");
            svg.line((0.0, 0.0), (1.0, 1.0), Ink::Line, 1.0, Dash::Solid);
            assert_eq!(svg.finish(10.0).contains("var(--"), wanted);
        }
    }
}
