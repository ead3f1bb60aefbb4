//! Outlines of patches, in pixel coordinates of the full file.
//!
//! A pixel at column x and row y covers the square from (x, y) to
//! (x + 1, y + 1); it belongs to an outline when its centre lies inside.

/// The outline of a patch.
#[derive(Clone, Debug, PartialEq)]
pub enum Outline {
    /// An upright rectangle; sides in pixels.
    Rectangle(Rectangle),
    /// A polygon of at least 3 corners (x, y), even-odd inside.
    Polygon(Vec<(f64, f64)>),
    /// All pixels that carry this value in a label image of the scan's size.
    Region {
        /// Value in the label image.
        label: u8,
    },
}

/// An upright rectangle in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rectangle {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width, greater than 0.
    pub width: f64,
    /// Height, greater than 0.
    pub height: f64,
}

impl Rectangle {
    /// Gives the rectangle of a whole picture.
    #[must_use]
    pub fn of_picture(width: u32, height: u32) -> Self {
        Self {
            x: 0.0,
            y: 0.0,
            width: f64::from(width),
            height: f64::from(height),
        }
    }

    /// Gives the columns and rows whose centres lie inside, as half-open
    /// ranges, cut to a picture.
    pub(crate) fn pixels(
        &self,
        width: u32,
        height: u32,
    ) -> (core::ops::Range<u32>, core::ops::Range<u32>) {
        (
            span(self.x, self.x + self.width, width),
            span(self.y, self.y + self.height, height),
        )
    }
}

/// An 8-bit picture of the scan's size whose values name regions.
#[derive(Clone, Copy, Debug)]
pub struct LabelImage<'a> {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Values, row by row.
    pub labels: &'a [u8],
}

/// Why an outline cannot be measured in a picture.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum OutlineError {
    /// The outline leaves the picture.
    #[error(
        "outline {index} reaches from ({left:.1}, {top:.1}) to ({right:.1}, {bottom:.1}), \
         but the picture has {width} × {height} pixels"
    )]
    OutsidePicture {
        /// Place in the list of outlines, counted from 0.
        index: usize,
        /// Leftmost x.
        left: f64,
        /// Topmost y.
        top: f64,
        /// Rightmost x.
        right: f64,
        /// Lowest y.
        bottom: f64,
        /// Pixels in a row of the picture.
        width: u32,
        /// Rows of the picture.
        height: u32,
    },
    /// A rectangle without area, a polygon with fewer than 3 corners, or
    /// coordinates that are no numbers.
    #[error("outline {index} is no area: {fault}")]
    NoArea {
        /// Place in the list of outlines, counted from 0.
        index: usize,
        /// What was found.
        fault: String,
    },
    /// No pixel centre lies inside, or none of the channel's phase.
    #[error("outline {index} holds no pixel")]
    NoPixel {
        /// Place in the list of outlines, counted from 0.
        index: usize,
    },
    /// Too many outlines for one pass.
    #[error("{count} outlines were given, at most {limit} are measured in one pass")]
    TooMany {
        /// Outlines given.
        count: usize,
        /// Most outlines of one pass.
        limit: usize,
    },
    /// A region without a label image, or one of another size.
    #[error("regions need a label image of {width} × {height} pixels, found {found}")]
    LabelImage {
        /// Pixels in a row of the scan.
        width: u32,
        /// Rows of the scan.
        height: u32,
        /// What was given.
        found: String,
    },
}

impl Outline {
    /// Gives the box around the outline as (left, top, right, bottom);
    /// `None` for a region, whose box only its label image knows.
    #[must_use]
    pub fn bounds(&self) -> Option<(f64, f64, f64, f64)> {
        match self {
            Self::Rectangle(r) => Some((r.x, r.y, r.x + r.width, r.y + r.height)),
            Self::Polygon(corners) => {
                let fold = |pick: fn(&(f64, f64)) -> f64, join: fn(f64, f64) -> f64, from| {
                    corners.iter().map(pick).fold(from, join)
                };
                Some((
                    fold(|c| c.0, f64::min, f64::INFINITY),
                    fold(|c| c.1, f64::min, f64::INFINITY),
                    fold(|c| c.0, f64::max, f64::NEG_INFINITY),
                    fold(|c| c.1, f64::max, f64::NEG_INFINITY),
                ))
            }
            Self::Region { .. } => None,
        }
    }

    /// Checks the outline against a picture.
    pub(crate) fn check(&self, index: usize, width: u32, height: u32) -> Result<(), OutlineError> {
        let Some((left, top, right, bottom)) = self.bounds() else {
            return Ok(());
        };
        let no_area = |fault: String| Err(OutlineError::NoArea { index, fault });
        if let Self::Polygon(corners) = self
            && corners.len() < 3
        {
            return no_area(format!(
                "a polygon has at least 3 corners, found {}",
                corners.len()
            ));
        }
        let corners_finite = match self {
            Self::Polygon(corners) => corners.iter().all(|c| c.0.is_finite() && c.1.is_finite()),
            _ => true,
        };
        if !corners_finite || ![left, top, right, bottom].iter().all(|v| v.is_finite()) {
            return no_area("a coordinate is not a finite number".to_owned());
        }
        if right <= left || bottom <= top {
            return no_area(format!(
                "its sides are {:.1} × {:.1} pixels",
                right - left,
                bottom - top
            ));
        }
        // A hair's breadth beyond the edge comes from rounding.
        let hair = 1e-6;
        let outside = left < -hair
            || top < -hair
            || right > f64::from(width) + hair
            || bottom > f64::from(height) + hair;
        if outside {
            return Err(OutlineError::OutsidePicture {
                index,
                left,
                top,
                right,
                bottom,
                width,
                height,
            });
        }
        Ok(())
    }

    /// Gives the half-open spans of columns of one row whose centres lie inside.
    pub(crate) fn spans(
        &self,
        y: u32,
        width: u32,
        labels: Option<&LabelImage<'_>>,
        spans: &mut Vec<(u32, u32)>,
    ) {
        spans.clear();
        let centre = f64::from(y) + 0.5;
        match self {
            Self::Rectangle(r) => {
                if centre >= r.y && centre < r.y + r.height {
                    let columns = span(r.x, r.x + r.width, width);
                    spans.push((columns.start, columns.end));
                }
            }
            Self::Polygon(corners) => {
                let mut crossings: Vec<f64> = corners
                    .iter()
                    .zip(corners.iter().cycle().skip(1))
                    .filter(|(a, b)| (a.1 <= centre) != (b.1 <= centre))
                    .map(|(a, b)| a.0 + (centre - a.1) / (b.1 - a.1) * (b.0 - a.0))
                    .collect();
                crossings.sort_by(f64::total_cmp);
                for pair in crossings.chunks_exact(2) {
                    let columns = span(pair[0], pair[1], width);
                    if columns.start < columns.end {
                        spans.push((columns.start, columns.end));
                    }
                }
            }
            Self::Region { label } => {
                let Some(image) = labels else { return };
                let first = y as usize * image.width as usize;
                let Some(row) = image.labels.get(first..first + image.width as usize) else {
                    return;
                };
                let mut open = None;
                for (x, value) in (0..).zip(row) {
                    match (open, value == label) {
                        (None, true) => open = Some(x),
                        (Some(start), false) => {
                            spans.push((start, x));
                            open = None;
                        }
                        _ => {}
                    }
                }
                if let Some(start) = open {
                    spans.push((start, image.width));
                }
            }
        }
    }

    /// Gives the box of pixels around the outline: columns, rows.
    pub(crate) fn pixel_box(
        &self,
        width: u32,
        height: u32,
        labels: Option<&LabelImage<'_>>,
    ) -> (core::ops::Range<u32>, core::ops::Range<u32>) {
        match (self, self.bounds()) {
            (_, Some((left, top, right, bottom))) => {
                (span(left, right, width), span(top, bottom, height))
            }
            (Self::Region { label }, None) => {
                let mut found: Option<(u32, u32, u32, u32)> = None;
                if let Some(image) = labels {
                    for (y, row) in
                        (0..).zip(image.labels.chunks_exact((image.width as usize).max(1)))
                    {
                        let mut at = row
                            .iter()
                            .enumerate()
                            .filter(|(_, v)| *v == label)
                            .map(|(x, _)| x as u32);
                        let Some(first) = at.next() else { continue };
                        let last = at.next_back().unwrap_or(first);
                        let (l, t, r, _) = found.unwrap_or((first, y, last, y));
                        found = Some((l.min(first), t, r.max(last), y));
                    }
                }
                found.map_or((0..0, 0..0), |(l, t, r, b)| (l..r + 1, t..b + 1))
            }
            (_, None) => (0..0, 0..0),
        }
    }
}

/// Gives the whole numbers n with low ≤ n + ½ < high, cut to 0..limit.
fn span(low: f64, high: f64, limit: u32) -> core::ops::Range<u32> {
    let edge = |v: f64| (v - 0.5).ceil().clamp(0.0, f64::from(limit)) as u32;
    edge(low)..edge(high)
}

/// In which direction the steps of a tablet lie in a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepDirection {
    /// The first step is at the left.
    LeftToRight,
    /// The first step is at the right.
    RightToLeft,
    /// The first step is at the top.
    TopToBottom,
    /// The first step is at the bottom.
    BottomToTop,
}

/// Share of a step, in each direction, that is measured: the middle, clear of
/// the borders and of a rectangle drawn a little off.
const INNER_SHARE: f64 = 0.6;

/// Cuts a rectangle around a whole tablet into equal steps and gives the inner
/// 60 % of each, in step order.
///
/// `count` of 0 gives no outline.
#[must_use]
pub fn split_tablet(around: Rectangle, count: usize, direction: StepDirection) -> Vec<Outline> {
    let margin = (1.0 - INNER_SHARE) / 2.0;
    (0..count)
        .map(|step| {
            let place = match direction {
                StepDirection::LeftToRight | StepDirection::TopToBottom => step,
                StepDirection::RightToLeft | StepDirection::BottomToTop => count - 1 - step,
            } as f64;
            let share = 1.0 / count as f64;
            let (x, y, width, height) = match direction {
                StepDirection::LeftToRight | StepDirection::RightToLeft => {
                    ((place + margin) * share, margin, share, 1.0)
                }
                StepDirection::TopToBottom | StepDirection::BottomToTop => {
                    (margin, (place + margin) * share, 1.0, share)
                }
            };
            Outline::Rectangle(Rectangle {
                x: around.x + x * around.width,
                y: around.y + y * around.height,
                width: width * INNER_SHARE * around.width,
                height: height * INNER_SHARE * around.height,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tablet_is_cut_into_inner_parts_of_equal_steps() {
        // Hand calculation: 4 steps in 400 × 50 px: each 100 × 50, inner 60 × 30,
        // so the first begins at 20, the third at 220; 10 px from the top.
        let around = Rectangle {
            x: 0.0,
            y: 0.0,
            width: 400.0,
            height: 50.0,
        };
        let steps = split_tablet(around, 4, StepDirection::LeftToRight);
        let back = split_tablet(around, 4, StepDirection::RightToLeft);
        for (outline, x) in [(&steps[0], 20.0), (&steps[2], 220.0), (&back[1], 220.0)] {
            let Outline::Rectangle(r) = outline else {
                panic!("steps are rectangles")
            };
            // 1e-9: rounding of a product of four numbers.
            assert!((r.x - x).abs() < 1e-9 && (r.y - 10.0).abs() < 1e-9, "{r:?}");
            assert!(
                (r.width - 60.0).abs() < 1e-9 && (r.height - 30.0).abs() < 1e-9,
                "{r:?}"
            );
        }
    }

    #[test]
    fn pixels_belong_by_their_centres() {
        let mut spans = Vec::new();
        let triangle = Outline::Polygon(vec![(0.0, 0.0), (4.0, 0.0), (0.0, 4.0)]);
        // On row 0 (centre 0.5) the edge is at x = 3.5: centres 0.5, 1.5, 2.5.
        triangle.spans(0, 10, None, &mut spans);
        assert_eq!(spans, [(0, 3)]);
        triangle.spans(3, 10, None, &mut spans);
        assert!(spans.is_empty(), "the edge at 0.5 is not inside: {spans:?}");
        let labels = [0, 7, 7, 0, 7, 0, 0, 0];
        let image = LabelImage {
            width: 4,
            height: 2,
            labels: &labels,
        };
        let region = Outline::Region { label: 7 };
        region.spans(0, 4, Some(&image), &mut spans);
        assert_eq!(spans, [(1, 3)]);
        region.spans(1, 4, Some(&image), &mut spans);
        assert_eq!(spans, [(0, 1)]);
        assert_eq!(region.pixel_box(4, 2, Some(&image)), (0..3, 0..2));
    }

    #[test]
    fn an_outline_outside_the_picture_is_told_with_its_numbers() {
        let outline = Outline::Rectangle(Rectangle {
            x: 90.0,
            y: 5.0,
            width: 20.0,
            height: 10.0,
        });
        let error = outline.check(3, 100, 50).unwrap_err().to_string();
        assert_eq!(
            error,
            "outline 3 reaches from (90.0, 5.0) to (110.0, 15.0), but the picture has 100 × 50 pixels"
        );
        assert!(
            Outline::Polygon(vec![(0.0, f64::NAN), (1.0, 1.0), (2.0, 0.0)])
                .check(0, 10, 10)
                .is_err()
        );
    }
}
