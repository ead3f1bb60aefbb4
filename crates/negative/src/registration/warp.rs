//! The second picture as it would lie on the first.

use super::halving::{GreyPicture, Rows};
use super::lanes::{Lanes, MOST_LANES};
use super::placement::Placement;
use pulp::Simd;

/// Pixels in each direction that a value between pixels is taken from.
const TAPS: usize = 6;
/// Of these, before the place.
const BEFORE: i64 = 2;
/// Pixels of a row over which their places in the second picture are a parabola: what a
/// tilt bends them by besides is less than 0.001 pixel.
const STRETCH: usize = 64;

/// Weights of the six pixels around a place, as polynomials of s, how far it lies
/// beyond the middle between the two nearest: the cubic convolution of fourth order.
/// For the nearest pair, the next and the far one: a + b·s² is what both pixels have in
/// common, c·s + d·s³ what the left has more and the right less.
///
/// The one of four pixels softens what lies between pixels more. A picture that was moved
/// is held against one that was not, and directions of edges, which are no linear
/// answer, then pull to whole pixels: by 0.013 pixel in a texture with detail up to
/// 0.3 cycles per pixel, against 0.003 with six.
///
/// Source: Keys, IEEE Trans. ASSP 29 (1981) 1153, the kernel of six points; from memory.
const PAIRS: [[f32; 4]; TAPS / 2] = [
    [7.0 / 12.0, -1.0 / 3.0, -4.0 / 3.0, 4.0 / 3.0],
    [-3.0 / 32.0, 3.0 / 8.0, 7.0 / 48.0, -7.0 / 12.0],
    [1.0 / 96.0, -1.0 / 24.0, -1.0 / 48.0, 1.0 / 12.0],
];

/// The weights of the pixels, from the leftmost to the rightmost.
#[inline(always)]
fn cubic<S: Simd>(simd: S, fractions: Lanes<S>) -> [Lanes<S>; TAPS] {
    let s = fractions - Lanes::all(simd, 0.5);
    let square = s * s;
    let mut weights = [s; TAPS];
    for (pair, [a, b, c, d]) in PAIRS.into_iter().enumerate() {
        let common = Lanes::all(simd, b).times_plus(square, Lanes::all(simd, a));
        let more = s * Lanes::all(simd, d).times_plus(square, Lanes::all(simd, c));
        weights[TAPS / 2 - 1 - pair] = common + more;
        weights[TAPS / 2 + pair] = common - more;
    }
    weights
}

/// Places farther out than this are as good as there: no picture is so large. \[pixels\]
const FARTHEST: f64 = 1e9;

/// A second picture and where it lies on the first.
pub(super) struct Laying<'a> {
    pub(super) second: &'a GreyPicture,
    pub(super) placement: Placement,
    /// Size of the first.
    pub(super) width: usize,
    pub(super) height: usize,
}

/// One coordinate of the places of a row's pixels, n pixels after the first:
/// start + n·(step + n·bend).
#[derive(Clone, Copy)]
struct Places {
    start: f64,
    step: f64,
    bend: f64,
}

impl Places {
    /// The parabola through the places of the first pixel, of one in the middle of the
    /// stretch and of the one after it.
    #[inline(always)]
    fn through(first: f64, middle: f64, last: f64, length: f64) -> Self {
        let bend = 2.0 * (last - 2.0 * middle + first) / (length * length);
        Self {
            start: first,
            step: (last - first) / length - length * bend,
            bend,
        }
    }

    /// The same seen from another pixel.
    #[inline(always)]
    fn seen_from(self, n: f64) -> Self {
        Self {
            start: self.start + n * (self.step + n * self.bend),
            step: self.step + 2.0 * n * self.bend,
            bend: self.bend,
        }
    }

    /// The first of the pixels around it.
    #[inline(always)]
    fn first_pixel(self) -> i64 {
        self.start.floor().clamp(-FARTHEST, FARTHEST) as i64 - BEFORE
    }

    /// How many pixels, at most `most`, stay as far from the pixels around them as lets
    /// the same ones serve; they move on by `with` a pixel.
    #[inline(always)]
    fn stay(self, with: f64, most: usize) -> usize {
        let fraction = self.start - self.start.floor();
        let (begin, end) = (self.step - with, self.step - with + most as f64 * self.bend);
        let up = pixels(1.0 - fraction, begin.max(end));
        let down = pixels(fraction, -begin.min(end));
        (up.min(down) as usize).saturating_add(1).min(most)
    }

    /// How far the n-th pixel and those after it lie beyond the pixel before them.
    #[inline(always)]
    fn fractions<S: Simd>(self, simd: S, with: f64, n: usize) -> Lanes<S> {
        let n = Lanes::all(simd, n as f32) + Lanes::numbers(simd);
        let start = Lanes::all(simd, (self.start - self.start.floor()) as f32);
        let step = Lanes::all(simd, (self.step - with) as f32);
        let bend = Lanes::all(simd, self.bend as f32);
        n.times_plus(n.times_plus(bend, step), start)
    }
}

/// Steps of a speed that fit into a room.
#[inline(always)]
fn pixels(room: f64, speed: f64) -> f64 {
    if speed > 0.0 {
        room / speed
    } else {
        f64::INFINITY
    }
}

impl Laying<'_> {
    /// Where the middle of a pixel lies, measured between middles of pixels.
    #[inline(always)]
    fn place(&self, x: f64, y: usize) -> (f64, f64) {
        let (u, v) = self.placement.carry((x + 0.5, y as f64 + 0.5));
        (u - 0.5, v - 0.5)
    }

    /// Fills pixels whose places follow one parabola.
    #[inline(always)]
    fn stretch<S: Simd>(
        &self,
        simd: S,
        (across, down): (Places, Places),
        length: usize,
        line: &mut [f32],
    ) {
        let mut done = 0;
        while done < length {
            let (u, v) = (across.seen_from(done as f64), down.seen_from(done as f64));
            let most = length - done;
            let run = u.stay(1.0, most).min(v.stay(0.0, most));
            let (column, row) = (u.first_pixel(), v.first_pixel());
            let line = &mut line[done..];
            done += run;
            if row < 0 || row + TAPS as i64 > self.second.height as i64 {
                line[..run].fill(f32::NAN);
                continue;
            }
            for n in (0..run).step_by(S::F32_LANES) {
                let across = cubic(simd, u.fractions(simd, 1.0, n));
                let down = cubic(simd, v.fractions(simd, 0.0, n));
                let from = (column.saturating_add(n as i64), row as usize);
                self.mixed(simd, &across, &down, from).write(&mut line[n..]);
            }
        }
    }

    /// As many values as there are lanes, from the pixels around them: the first of the
    /// first stands at this column and row.
    #[inline(always)]
    fn mixed<S: Simd>(
        &self,
        simd: S,
        across: &[Lanes<S>; TAPS],
        down: &[Lanes<S>; TAPS],
        (column, row): (i64, usize),
    ) -> Lanes<S> {
        let needed = S::F32_LANES + TAPS - 1;
        let mut sum = Lanes::all(simd, 0.0);
        for (k, weight) in down.iter().enumerate() {
            let values = &self.second.values[(row + k) * self.second.width..];
            let values = &values[..self.second.width];
            let mut beside = [f32::NAN; MOST_LANES + TAPS - 1];
            let values = if column >= 0 && column as usize + needed <= values.len() {
                &values[column as usize..][..needed]
            } else {
                copied(values, column, &mut beside[..needed]);
                &beside[..needed]
            };
            let mut line = across[0] * Lanes::of(simd, values);
            for (j, weight) in across.iter().enumerate().skip(1) {
                line = weight.times_plus(Lanes::of(simd, &values[j..]), line);
            }
            sum = weight.times_plus(line, sum);
        }
        sum
    }
}

/// Copies what a row has from a column on, which may lie beside it.
#[cold]
fn copied(row: &[f32], column: i64, to: &mut [f32]) {
    for (n, to) in to.iter_mut().enumerate() {
        let value = usize::try_from(column.saturating_add(n as i64)).ok();
        if let Some(value) = value.and_then(|column| row.get(column)) {
            *to = *value;
        }
    }
}

impl Rows for Laying<'_> {
    fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// Not a number where the second picture is not.
    #[inline(always)]
    fn row<S: Simd>(&self, simd: S, y: usize, line: &mut [f32]) {
        // Without a tilt places are evenly spaced all along.
        let flat = self.placement.matrix()[2] == [0.0, 0.0, 1.0];
        let stretch = if flat { self.width } else { STRETCH };
        for left in (0..self.width).step_by(stretch) {
            let first = self.place(left as f64, y);
            let middle = self.place(left as f64 + 0.5 * stretch as f64, y);
            let last = self.place((left + stretch) as f64, y);
            let across = Places::through(first.0, middle.0, last.0, stretch as f64);
            let down = Places::through(first.1, middle.1, last.1, stretch as f64);
            let length = (self.width - left).min(stretch);
            self.stretch(simd, (across, down), length, &mut line[left..]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::registration::lanes::tests::on_each;

    #[test]
    fn the_weights_are_exact_for_cubics_and_keep_the_pixels() {
        // Keys, as above: of fourth order means that polynomials up to degree 3 come out
        // exact; on a pixel its own value comes out.
        let scalar = pulp::Scalar;
        let at = |t: f32| {
            cubic(scalar, Lanes::all(scalar, t)).map(|weight| {
                let mut value = [0.0];
                weight.write(&mut value);
                value[0]
            })
        };
        for t in [0.0_f32, 0.2, 0.5, 0.83] {
            for degree in 0..4 {
                let value: f32 = (-2..4_i16)
                    .zip(at(t))
                    .map(|(at, weight)| weight * f32::from(at).powi(degree))
                    .sum();
                let truth = t.powi(degree);
                assert!((value - truth).abs() < 2e-5, "{degree} at {t}: {value}");
            }
        }
        assert_eq!(
            at(0.0).map(|w| w.abs() < 1e-6),
            [true, true, false, true, true, true]
        );
    }

    /// A cubic surface, which six pixels give back exactly between them.
    fn surface((x, y): (f64, f64)) -> f64 {
        let (x, y) = (x / 40.0 - 1.0, y / 40.0 - 1.0);
        1.0 + x - 0.5 * y + x * y + 0.7 * x * x * x - 0.4 * y * y * y
    }

    struct OneRow<'a>(&'a Laying<'a>, usize);

    impl pulp::WithSimd for OneRow<'_> {
        type Output = Vec<f32>;
        #[inline(always)]
        fn with_simd<S: Simd>(self, simd: S) -> Vec<f32> {
            let mut line = vec![0.0; self.0.width + MOST_LANES];
            self.0.row(simd, self.1, &mut line);
            line.truncate(self.0.width);
            line
        }
    }

    #[test]
    fn each_pixel_is_taken_where_it_lies_in_the_second_picture() {
        let (columns, rows) = (90, 70);
        let values = (0..columns * rows)
            .map(|i| ((i % columns) as f64 + 0.5, (i / columns) as f64 + 0.5))
            .map(|at| surface(at) as f32)
            .collect();
        let second = GreyPicture::new(columns, rows, values).unwrap();
        let tilted = [[1.02, 0.09, -4.3], [-0.08, 0.97, 7.6], [2e-4, -3e-4, 1.0]];
        let placements = [
            Placement::SAME,
            Placement::shift(0.31, -2.57),
            Placement::similarity(0.15, 0.9, (45.0, 35.0), (44.2, 36.9)),
            Placement::from_matrix(tilted).unwrap(),
        ];
        for placement in placements {
            let (width, height) = (101, 64);
            let laying = Laying {
                second: &second,
                placement,
                width,
                height,
            };
            let mut seen = 0;
            for y in 0..height {
                let lines = on_each(|| OneRow(&laying, y));
                for (x, value) in lines.iter().flat_map(|line| line.iter().enumerate()) {
                    let (u, v) = placement.carry((x as f64 + 0.5, y as f64 + 0.5));
                    let within = |at: f64, length: usize| {
                        let pixel = (at - 0.5).floor();
                        pixel >= 2.0 && pixel <= length as f64 - 4.0
                    };
                    let on_a_pixel = (u - 0.5).fract().min((v - 0.5).fract()).abs() < 1e-6;
                    if within(u, columns) && within(v, rows) {
                        seen += 1;
                        // 2e-4: places to 0.001 pixel on slopes below 0.1, and rounding.
                        let off = f64::from(*value) - surface((u, v));
                        assert!(off.abs() < 2e-4, "{placement:?} at {x} {y}: {off}");
                    } else if !on_a_pixel {
                        assert!(value.is_nan(), "{placement:?} at {x} {y}: {value}");
                    }
                }
            }
            assert!(seen > 2000, "{placement:?}: {seen} pixels");
        }
    }
}
