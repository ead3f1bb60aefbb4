//! The products of two fields and of their slopes, summed over a block.
//!
//! Which they are and what follows from them is told in [`blocks`](super::blocks).

use super::field::Field;
use super::lanes::{Lanes, MOST_LANES};
use core::ops::Range;
use pulp::{Simd, WithSimd};

/// Sums over the pixels of a block: in single precision up to some 64 × 64 products of
/// numbers below 1, of every sixteenth column each.
#[derive(Clone, Copy, Default)]
pub(super) struct Sums<T> {
    pub(super) slope_x: T,
    pub(super) slope_y: T,
    pub(super) xx: T,
    pub(super) xy: T,
    pub(super) yy: T,
    pub(super) own_xx: T,
    pub(super) own_xy: T,
    pub(super) own_yy: T,
    pub(super) first: T,
    pub(super) second: T,
    pub(super) both: T,
}

/// A field and its slopes at some pixels of a row.
struct Around<S: Simd> {
    here: Lanes<S>,
    across: Lanes<S>,
    down: Lanes<S>,
}

impl<S: Simd> Around<S> {
    /// From this place in the field on.
    #[inline(always)]
    fn of(simd: S, values: &[f32], width: usize, place: usize) -> Self {
        let half = Lanes::all(simd, 0.5);
        let above = &values[place - width..][..S::F32_LANES];
        let here = &values[place - 1..][..S::F32_LANES + 2];
        let below = &values[place + width..][..S::F32_LANES];
        Self {
            here: Lanes::of(simd, &here[1..]),
            across: (Lanes::of(simd, &here[2..]) - Lanes::of(simd, here)) * half,
            down: (Lanes::of(simd, below) - Lanes::of(simd, above)) * half,
        }
    }

    #[inline(always)]
    fn times(&self, factors: Lanes<S>) -> Self {
        Self {
            here: self.here * factors,
            across: self.across * factors,
            down: self.down * factors,
        }
    }
}

impl<S: Simd> Sums<Lanes<S>> {
    #[inline(always)]
    fn zero(simd: S) -> Self {
        let zero = Lanes::all(simd, 0.0);
        Self {
            slope_x: zero,
            slope_y: zero,
            xx: zero,
            xy: zero,
            yy: zero,
            own_xx: zero,
            own_xy: zero,
            own_yy: zero,
            first: zero,
            second: zero,
            both: zero,
        }
    }

    #[inline(always)]
    fn add(&mut self, p: &Around<S>, q: &Around<S>) {
        // Each product rounded by itself, so that equal fields have no slope at all.
        self.slope_x += p.here * q.across - q.here * p.across;
        self.slope_y += p.here * q.down - q.here * p.down;
        self.xx = p.across.times_plus(q.across, self.xx);
        self.xy = p.across.times_plus(q.down, self.xy);
        self.xy = p.down.times_plus(q.across, self.xy);
        self.yy = p.down.times_plus(q.down, self.yy);
        self.own_xx = p.across.times_plus(p.across, self.own_xx);
        self.own_xx = q.across.times_plus(q.across, self.own_xx);
        self.own_xy = p.across.times_plus(p.down, self.own_xy);
        self.own_xy = q.across.times_plus(q.down, self.own_xy);
        self.own_yy = p.down.times_plus(p.down, self.own_yy);
        self.own_yy = q.down.times_plus(q.down, self.own_yy);
        self.first = p.here.times_plus(p.here, self.first);
        self.second = q.here.times_plus(q.here, self.second);
        self.both = p.here.times_plus(q.here, self.both);
    }

    /// Adds what each sum comes to.
    #[inline(always)]
    fn total_to(&self, totals: &mut Sums<f64>) {
        self.slope_x.total_to(&mut totals.slope_x);
        self.slope_y.total_to(&mut totals.slope_y);
        self.xx.total_to(&mut totals.xx);
        self.xy.total_to(&mut totals.xy);
        self.yy.total_to(&mut totals.yy);
        self.own_xx.total_to(&mut totals.own_xx);
        self.own_xy.total_to(&mut totals.own_xy);
        self.own_yy.total_to(&mut totals.own_yy);
        self.first.total_to(&mut totals.first);
        self.second.total_to(&mut totals.second);
        self.both.total_to(&mut totals.both);
    }
}

/// The pixels of a block, at least `MOST_LANES` columns wide, in two fields.
pub(super) struct Within<'a> {
    pub(super) first: &'a Field,
    pub(super) second: &'a Field,
    pub(super) columns: Range<usize>,
    pub(super) rows: Range<usize>,
}

impl WithSimd for Within<'_> {
    type Output = Sums<f64>;

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Sums<f64> {
        let (first, second, width) = (self.first, self.second, self.first.width);
        let rest = self.columns.len() % MOST_LANES;
        let whole = self.columns.start..self.columns.end - rest;
        // The last columns overlap those before them, which then count as nothing.
        let mut new = [0.0; MOST_LANES];
        new[MOST_LANES - rest..].fill(1.0);
        let mut totals = Sums::default();
        for part in (0..MOST_LANES).step_by(S::F32_LANES) {
            let new = Lanes::of(simd, &new[part..]);
            let mut sums = Sums::zero(simd);
            for (p, q) in [
                (&first.real, &second.real),
                (&first.imaginary, &second.imaginary),
            ] {
                for y in self.rows.clone() {
                    let line = y * width + part;
                    for x in whole.clone().step_by(MOST_LANES) {
                        let p = Around::of(simd, p, width, line + x);
                        let q = Around::of(simd, q, width, line + x);
                        sums.add(&p, &q);
                    }
                    if rest > 0 {
                        let x = self.columns.end - MOST_LANES;
                        let p = Around::of(simd, p, width, line + x).times(new);
                        let q = Around::of(simd, q, width, line + x).times(new);
                        sums.add(&p, &q);
                    }
                }
            }
            sums.total_to(&mut totals);
        }
        totals
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::registration::GreyPicture;
    use crate::registration::lanes::tests::on_each;

    fn field(phase: f32) -> Field {
        let values = (0..80 * 60)
            .map(|i| ((i % 80) as f32, (i / 80) as f32))
            .map(|(x, y)| (x * 0.7 + phase).sin() + (y * 0.6 + x * 0.2 - phase).cos())
            .collect();
        Field::of(&GreyPicture::new(80, 60, values).unwrap())
    }

    /// The sums as their names say, pixel by pixel.
    fn plain(p: &Field, q: &Field, columns: Range<usize>, rows: Range<usize>) -> Sums<f64> {
        let mut sums = Sums::default();
        for (p, q) in [(&p.real, &q.real), (&p.imaginary, &q.imaginary)] {
            for (x, y) in rows
                .clone()
                .flat_map(|y| columns.clone().map(move |x| (x, y)))
            {
                let around = |values: &[f32]| {
                    let at = |x: usize, y: usize| f64::from(values[y * 80 + x]);
                    let across = 0.5 * (at(x + 1, y) - at(x - 1, y));
                    let down = 0.5 * (at(x, y + 1) - at(x, y - 1));
                    (at(x, y), across, down)
                };
                let ((p, px, py), (q, qx, qy)) = (around(p), around(q));
                sums.slope_x += p * qx - q * px;
                sums.slope_y += p * qy - q * py;
                sums.xx += px * qx;
                sums.xy += px * qy + py * qx;
                sums.yy += py * qy;
                sums.own_xx += px * px + qx * qx;
                sums.own_xy += px * py + qx * qy;
                sums.own_yy += py * py + qy * qy;
                sums.first += p * p;
                sums.second += q * q;
                sums.both += p * q;
            }
        }
        sums
    }

    fn all(s: &Sums<f64>) -> [f64; 11] {
        [
            s.slope_x, s.slope_y, s.xx, s.xy, s.yy, s.own_xx, s.own_xy, s.own_yy, s.first,
            s.second, s.both,
        ]
    }

    #[test]
    fn sums_are_those_taken_pixel_by_pixel_on_every_kind_of_vectors() {
        let (first, second) = (field(0.0), field(0.3));
        for columns in [4..20, 5..37, 7..60] {
            let expected = all(&plain(&first, &second, columns.clone(), 9..31));
            assert!(expected.iter().all(|s| s.abs() > 0.1), "{expected:?}");
            let found = on_each(|| Within {
                first: &first,
                second: &second,
                columns: columns.clone(),
                rows: 9..31,
            });
            for found in found {
                for (found, expected) in all(&found).iter().zip(expected) {
                    // 1e-3: some 2000 numbers below 1, each to 6e-8, in single precision.
                    let off = (found - expected).abs();
                    assert!(off < 1e-3, "{columns:?}: {found} for {expected}");
                }
            }
        }
    }

    #[test]
    fn equal_fields_ask_for_no_shift_at_all() {
        let (first, second) = (field(0.0), field(0.0));
        let found = on_each(|| Within {
            first: &first,
            second: &second,
            columns: 4..45,
            rows: 4..50,
        });
        for found in found {
            assert_eq!((found.slope_x, found.slope_y), (0.0, 0.0));
        }
    }
}
