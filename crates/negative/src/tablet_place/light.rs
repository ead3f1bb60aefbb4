//! The reduced picture as it is searched: signals, and samples between pixels.

use crate::preview::Preview;

/// Signals of a picture, row by row.
#[derive(Clone, Debug)]
pub(super) struct Light {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) signal: Vec<f32>,
    /// All values that occur, rising, where they are few: codes of 8 bits.
    few: Vec<f32>,
}

/// Most values of codes of 8 bits.
const FEW: usize = 256;

/// A rectangle in the coordinates of a strip.
#[derive(Clone, Copy, Debug)]
pub(super) struct Area {
    pub(super) u: (f64, f64),
    pub(super) v: (f64, f64),
}

/// Where a strip lies: u runs along it, v across.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub(super) origin: (f64, f64),
    /// Direction of u, radians from the x axis towards the y axis.
    pub(super) angle: f64,
}

impl Frame {
    pub(super) fn to_picture(self, u: f64, v: f64) -> (f64, f64) {
        let (sin, cos) = (libm::sin(self.angle), libm::cos(self.angle));
        (
            self.origin.0 + u * cos - v * sin,
            self.origin.1 + u * sin + v * cos,
        )
    }

    /// The same frame from another origin, given in its own coordinates, turned.
    pub(super) fn moved(self, u: f64, v: f64, turned: f64) -> Self {
        Self {
            origin: self.to_picture(u, v),
            angle: self.angle + turned,
        }
    }
}

/// Middle of some samples, and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    /// Mean signal of the middle half.
    pub(super) signal: f64,
    /// Standard uncertainty of it.
    pub(super) sd: f64,
    /// Spread of the samples.
    pub(super) spread: f64,
    /// Part of the area that lies in the picture.
    pub(super) inside: f64,
}

impl Level {
    pub(super) fn log(self) -> f64 {
        log_of(self.signal)
    }

    /// Standard uncertainty of the logarithm.
    pub(super) fn log_sd(self) -> f64 {
        self.sd / self.signal.max(SMALLEST) * core::f64::consts::LOG10_E
    }
}

/// A third of the smallest step of 16 bits.
const SMALLEST: f64 = 5e-6;

pub(super) fn log_of(signal: f64) -> f64 {
    libm::log10(signal.max(SMALLEST))
}

impl Light {
    pub(super) fn of(preview: &Preview) -> Self {
        let mut few: Vec<f32> = vec![];
        for value in &preview.signal {
            if let Err(place) = few.binary_search_by(|f| f.total_cmp(value)) {
                few.insert(place, *value);
                if few.len() > FEW {
                    few.clear();
                    break;
                }
            }
        }
        Self {
            width: preview.width as usize,
            height: preview.height as usize,
            signal: preview.signal.clone(),
            few,
        }
    }

    /// Distance of neighbouring codes near a signal; 0 where codes are fine.
    fn quantum(&self, signal: f64) -> f64 {
        let above = self.few.partition_point(|f| f64::from(*f) <= signal);
        match (self.few.get(above.saturating_sub(1)), self.few.get(above)) {
            (Some(a), Some(b)) => f64::from(b - a),
            _ => 0.0,
        }
    }

    /// Rows become columns.
    pub(super) fn transposed(&self) -> Self {
        let mut signal = Vec::with_capacity(self.signal.len());
        for x in 0..self.width {
            signal.extend((0..self.height).map(|y| self.signal[y * self.width + x]));
        }
        Self {
            width: self.height,
            height: self.width,
            signal,
            few: self.few.clone(),
        }
    }

    /// Signal at a place, between the middles of four pixels; `None` outside.
    pub(super) fn at(&self, (x, y): (f64, f64)) -> Option<f64> {
        let (width, height) = (self.width as f64, self.height as f64);
        if !(x >= 0.0 && y >= 0.0 && x <= width && y <= height) {
            return None;
        }
        let x = (x - 0.5).clamp(0.0, width - 1.0);
        let y = (y - 0.5).clamp(0.0, height - 1.0);
        let (left, top) = (x as usize, y as usize);
        let right = (left + 1).min(self.width - 1);
        let low = (top + 1).min(self.height - 1);
        let (fx, fy) = (x - left as f64, y - top as f64);
        let of = |x: usize, y: usize| f64::from(self.signal[y * self.width + x]);
        let upper = of(left, top) + fx * (of(right, top) - of(left, top));
        let lower = of(left, low) + fx * (of(right, low) - of(left, low));
        Some(upper + fy * (lower - upper))
    }

    /// Samples about a pixel apart, and the part of them that lies inside.
    pub(super) fn samples(&self, frame: Frame, area: Area) -> (Vec<f64>, f64) {
        let count = |(from, to): (f64, f64)| ((to - from).ceil() as usize).clamp(2, 64);
        let (across, down) = (count(area.u), count(area.v));
        let mut samples = Vec::with_capacity(across * down);
        for i in 0..across {
            let u = area.u.0 + (area.u.1 - area.u.0) * (i as f64 + 0.5) / across as f64;
            for k in 0..down {
                let v = area.v.0 + (area.v.1 - area.v.0) * (k as f64 + 0.5) / down as f64;
                samples.extend(self.at(frame.to_picture(u, v)));
            }
        }
        let inside = samples.len() as f64 / (across * down) as f64;
        (samples, inside)
    }

    /// Signal of an area, by the middle of its samples; `None` when none of it lies
    /// in the picture.
    pub(super) fn level(&self, frame: Frame, area: Area) -> Option<Level> {
        let (mut samples, inside) = self.samples(frame, area);
        if samples.len() < 3 {
            return None;
        }
        samples.sort_unstable_by(f64::total_cmp);
        let quarter = samples.len() / 4;
        let middle = &samples[quarter..samples.len() - quarter];
        // The mean of the middle half: as deaf to dust as a median, and between
        // codes where these are coarse.
        let signal = middle.iter().sum::<f64>() / middle.len() as f64;
        let spread = (middle[middle.len() - 1] - middle[0]) / 1.349;
        // 1.349: between the quartiles of a normal deviate of spread 1; 1.1: its
        // standard error over a mean's. Samples between pixels share them, so
        // about a quarter of the samples are independent.
        let sd = 1.1 * spread / libm::sqrt(samples.len() as f64 / 4.0);
        let sd = libm::hypot(sd, 0.3 * self.quantum(signal));
        Some(Level {
            signal,
            sd: sd.max(2e-6),
            spread,
            inside,
        })
    }
}
