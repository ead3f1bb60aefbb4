//! The first place: fields of small pictures compared at every shift at once.
//!
//! The correlation Σ z₁*(x)·z₂(x + s) for every shift s is made by Fourier
//! transform. It is not divided by its spectrum as in phase correlation, which
//! errs by up to a pixel where frames do not repeat at their edges.

use super::field::Field;
use super::halving::GreyPicture;
use super::placement::Placement;
use super::warp::Laying;
use rayon::prelude::*;
use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use std::sync::Arc;

/// Largest shift, as a share of the picture's side.
const LARGEST_SHIFT: f64 = 0.3;
/// Rotations that are tried, to each side. \[radians\]
const ROTATION_STEP: f64 = 0.026;
const ROTATION_STEPS: i32 = 6;
/// Scales that are tried, to each side: factors of 1.03.
const SCALE_FACTOR: f64 = 1.03;
const SCALE_STEPS: i32 = 4;
/// Pixels around the peak that are left out of the scatter.
const PEAK_REACH: i64 = 4;
/// How many places of the wide search are followed.
const FOLLOWED: usize = 3;

/// A place to begin from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    pub(super) placement: Placement,
    /// Peak over the root mean square of the correlation elsewhere.
    pub(super) height: f64,
}

struct Search {
    rows: Arc<dyn Fft<f32>>,
    columns: Arc<dyn Fft<f32>>,
    rows_back: Arc<dyn Fft<f32>>,
    columns_back: Arc<dyn Fft<f32>>,
    width: usize,
    height: usize,
    /// Transform of the first field, conjugated.
    first: Vec<Complex<f32>>,
}

/// The next length whose only factors are 2, 3 and 5.
fn easy_length(at_least: usize) -> usize {
    (at_least..)
        .find(|n| {
            let mut rest = *n;
            for factor in [2, 3, 5] {
                while rest % factor == 0 {
                    rest /= factor;
                }
            }
            rest == 1
        })
        .unwrap_or(at_least)
}

fn transposed(values: &[Complex<f32>], width: usize) -> Vec<Complex<f32>> {
    let height = values.len() / width;
    let mut turned = vec![Complex::default(); values.len()];
    for (y, line) in values.chunks_exact(width).enumerate() {
        for (x, value) in line.iter().enumerate() {
            turned[x * height + y] = *value;
        }
    }
    turned
}

impl Search {
    fn new(first: &Field) -> Self {
        let reach = |side: usize| {
            easy_length(side + (LARGEST_SHIFT * side as f64) as usize + PEAK_REACH as usize)
        };
        let (width, height) = (reach(first.width), reach(first.height));
        let mut planner = FftPlanner::new();
        let mut search = Self {
            rows: planner.plan_fft_forward(width),
            columns: planner.plan_fft_forward(height),
            rows_back: planner.plan_fft_inverse(width),
            columns_back: planner.plan_fft_inverse(height),
            width,
            height,
            first: vec![],
        };
        let mut transform = search.transform(first);
        for value in &mut transform {
            *value = value.conj();
        }
        search.first = transform;
        search
    }

    /// The transform of a field with nothing around it, columns in rows.
    fn transform(&self, field: &Field) -> Vec<Complex<f32>> {
        let mut padded = vec![Complex::default(); self.width * self.height];
        let lines = field
            .real
            .chunks_exact(field.width)
            .zip(field.imaginary.chunks_exact(field.width));
        for (to, (re, im)) in padded.chunks_exact_mut(self.width).zip(lines) {
            for ((to, re), im) in to.iter_mut().zip(re).zip(im) {
                *to = Complex::new(*re, *im);
            }
        }
        self.rows.process(&mut padded);
        let mut turned = transposed(&padded, self.width);
        self.columns.process(&mut turned);
        turned
    }

    /// Gives the best shift of the second field, and how far it stands out.
    fn best_shift(&self, second: &Field) -> ((f64, f64), f64) {
        let mut product = self.transform(second);
        for (value, first) in product.iter_mut().zip(&self.first) {
            *value *= first;
        }
        self.columns_back.process(&mut product);
        let mut correlation = transposed(&product, self.height);
        self.rows_back.process(&mut correlation);
        let at = |dx: i64, dy: i64| {
            let x = dx.rem_euclid(self.width as i64) as usize;
            let y = dy.rem_euclid(self.height as i64) as usize;
            f64::from(correlation[y * self.width + x].re)
        };
        let reach = |side: usize| (LARGEST_SHIFT * side as f64) as i64;
        let (across, down) = (reach(second.width), reach(second.height));
        let mut best = (f64::MIN, 0, 0);
        for dy in -down..=down {
            for dx in -across..=across {
                let value = at(dx, dy);
                if value > best.0 {
                    best = (value, dx, dy);
                }
            }
        }
        let (peak, dx, dy) = best;
        let (mut sum, mut squares, mut count) = (0.0, 0.0, 0.0);
        for y in -down..=down {
            for x in -across..=across {
                if (x - dx).abs() > PEAK_REACH || (y - dy).abs() > PEAK_REACH {
                    let value = at(x, y);
                    sum += value;
                    squares += value * value;
                    count += 1.0;
                }
            }
        }
        let mean = sum / f64::max(count, 1.0);
        let scatter = libm::sqrt((squares / f64::max(count, 1.0) - mean * mean).max(1e-12));
        // The vertex of a parabola through the peak and its neighbours.
        let vertex = |below: f64, above: f64| {
            let bend = below + above - 2.0 * peak;
            if bend < 0.0 {
                (0.5 * (below - above) / bend).clamp(-0.5, 0.5)
            } else {
                0.0
            }
        };
        let shift = (
            dx as f64 + vertex(at(dx - 1, dy), at(dx + 1, dy)),
            dy as f64 + vertex(at(dx, dy - 1), at(dx, dy + 1)),
        );
        (shift, (peak - mean) / scatter)
    }
}

/// The search over one pair of small pictures.
pub(super) struct FirstPlace<'a> {
    first: &'a GreyPicture,
    second: &'a GreyPicture,
    search: Search,
}

impl<'a> FirstPlace<'a> {
    /// Takes the first picture with its field, and the second.
    pub(super) fn new(field: &Field, first: &'a GreyPicture, second: &'a GreyPicture) -> Self {
        Self {
            first,
            second,
            search: Search::new(field),
        }
    }

    fn candidate(&self, rotation: f64, scale: f64) -> Candidate {
        let (first, second) = (self.first, self.second);
        let turned = Placement::similarity(rotation, scale, first.centre(), second.centre());
        let laid = Field::of(&Laying {
            second,
            placement: turned,
            width: first.width,
            height: first.height,
        });
        let (shift, height) = self.search.best_shift(&laid);
        Candidate {
            // A point x of the first lies at x + shift of the picture as laid.
            placement: turned.after(&Placement::shift(shift.0, shift.1)),
            height,
        }
    }

    /// Gives the best shift without rotation, at the scale of the two sizes.
    pub(super) fn upright(&self) -> Candidate {
        self.candidate(0.0, self.scale_of_sizes())
    }

    /// Gives the best places over rotation and scale, best first.
    pub(super) fn turned(&self) -> Vec<Candidate> {
        let tried: Vec<(i32, i32)> = (-ROTATION_STEPS..=ROTATION_STEPS)
            .flat_map(|turn| (-SCALE_STEPS..=SCALE_STEPS).map(move |size| (turn, size)))
            .collect();
        let mut all: Vec<Candidate> = tried
            .into_par_iter()
            .map(|(turn, size)| {
                let rotation = ROTATION_STEP * f64::from(turn);
                let scale = self.scale_of_sizes() * libm::pow(SCALE_FACTOR, f64::from(size));
                self.candidate(rotation, scale)
            })
            .collect();
        all.sort_by(|a, b| b.height.total_cmp(&a.height));
        all.truncate(FOLLOWED);
        all
    }

    fn scale_of_sizes(&self) -> f64 {
        self.second.long_side() as f64 / self.first.long_side() as f64
    }
}
