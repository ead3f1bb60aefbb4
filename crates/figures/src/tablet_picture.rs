//! A scan with the steps of its tablet outlined, to be confirmed by looking.

use crate::svg::{Dash, Sheet, Svg};

/// A step as it is drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct OutlinedStep {
    /// Number in the tablet's table, counted from 1.
    pub number: u32,
    /// Corners of the whole step, pixels of the picture.
    pub whole: [(f64, f64); 4],
    /// Corners of what is measured.
    pub inner: Vec<(f64, f64)>,
    /// Placed by the pitch of the others: drawn dashed.
    pub by_pitch: bool,
}

/// A scan with a tablet in it.
#[derive(Clone, Debug, PartialEq)]
pub struct TabletPicture<'a> {
    /// What is seen.
    pub title: &'a str,
    /// What was drawn.
    pub description: &'a str,
    /// The picture as an address that holds its data (`data:image/png;base64,…`).
    pub href: &'a str,
    /// Width and height of the picture, pixels.
    pub size: (u32, u32),
    /// The steps.
    pub steps: &'a [OutlinedStep],
}

/// Draws the picture; numbers stand beside the strip.
#[must_use]
pub fn tablet_picture(picture: &TabletPicture<'_>, sheet: Sheet) -> String {
    let mut svg = Svg::new(sheet, picture.title, picture.description);
    let top = svg.heading();
    let height = drawn(&mut svg, picture, sheet, top);
    svg.finish(top + height)
}

/// Draws the same without its heading, for a page that says the words itself.
#[must_use]
pub fn tablet_picture_alone(picture: &TabletPicture<'_>, sheet: Sheet) -> String {
    let mut svg = Svg::new(sheet, picture.title, picture.description);
    let height = drawn(&mut svg, picture, sheet, 0.0);
    svg.finish(height)
}

/// Draws the picture from this y on, and gives its height.
fn drawn(svg: &mut Svg, picture: &TabletPicture<'_>, sheet: Sheet, top: f64) -> f64 {
    let (width, height) = (
        f64::from(picture.size.0.max(1)),
        f64::from(picture.size.1.max(1)),
    );
    // A tall scan is kept to a screen's height.
    let scale = (sheet.width_px / width).min(1.2 * sheet.width_px / height);
    let place = |(x, y): (f64, f64)| (x * scale, top + y * scale);
    svg.picture((0.0, top), (width * scale, height * scale), picture.href);
    for step in picture.steps {
        let dash = if step.by_pitch {
            Dash::Dashed
        } else {
            Dash::Solid
        };
        let whole: Vec<_> = step.whole.iter().map(|c| place(*c)).collect();
        let inner: Vec<_> = step.inner.iter().map(|c| place(*c)).collect();
        svg.outline(&whole, 0.6, dash);
        svg.outline(&inner, 1.0, dash);
    }
    numbers(svg, picture.steps, &place, (width, height));
    height * scale
}

fn numbers(
    svg: &mut Svg,
    steps: &[OutlinedStep],
    place: &dyn Fn((f64, f64)) -> (f64, f64),
    size: (f64, f64),
) {
    let Some(first) = steps.first() else { return };
    let corner = |k: usize| place(first.whole[k]);
    let between = |a: (f64, f64), b: (f64, f64)| (b.0 - a.0, b.1 - a.1);
    let along = between(corner(0), corner(1));
    let across = between(corner(0), corner(3));
    let (pitch, wide) = (along.0.hypot(along.1), across.0.hypot(across.1));
    let text = (0.45 * pitch).clamp(8.0, 14.0);
    // As many numbers as have room for two digits.
    let every = ((1.4 * text / pitch).ceil() as u32).max(1);
    let last = steps.iter().map(|s| s.number).max().unwrap_or(1);
    for step in steps {
        let shown = every == 1 || step.number % 5 == 0 || step.number == 1 || step.number == last;
        if !shown {
            continue;
        }
        let middle = |a: usize, b: usize| {
            let (p, q) = (step.whole[a], step.whole[b]);
            ((p.0 + q.0) / 2.0, (p.1 + q.1) / 2.0)
        };
        let away = (0.8 * text / wide.max(1.0)).max(0.0);
        let beyond =
            |(x, y): (f64, f64), (ox, oy): (f64, f64)| (x + (x - ox) * away, y + (y - oy) * away);
        let (one, other) = (middle(0, 1), middle(2, 3));
        let candidates = [beyond(one, other), beyond(other, one)];
        let inside = |(x, y): &(f64, f64)| *x > 0.0 && *y > 0.0 && *x < size.0 && *y < size.1;
        let at = candidates.into_iter().find(inside).unwrap_or(one);
        svg.number_on_picture(place(at), &step.number.to_string(), text);
    }
}
