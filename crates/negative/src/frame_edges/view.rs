//! The reduced picture as seen from one side: depth inwards, along the side.

use super::found::SideName;
use crate::preview::Preview;

/// A picture looked at from one of its sides.
#[derive(Clone, Copy, Debug)]
pub(super) struct View<'a> {
    picture: &'a Preview,
    pub(super) side: SideName,
}

impl<'a> View<'a> {
    pub(super) fn new(picture: &'a Preview, side: SideName) -> Self {
        Self { picture, side }
    }

    fn upright(&self) -> bool {
        matches!(self.side, SideName::Left | SideName::Right)
    }

    /// Pixels inwards.
    pub(super) fn depth(&self) -> usize {
        let side = if self.upright() {
            self.picture.width
        } else {
            self.picture.height
        };
        side as usize
    }

    /// Pixels along the side.
    pub(super) fn length(&self) -> usize {
        let side = if self.upright() {
            self.picture.height
        } else {
            self.picture.width
        };
        side as usize
    }

    pub(super) fn at(&self, depth: usize, along: usize) -> f64 {
        let (width, height) = (self.picture.width as usize, self.picture.height as usize);
        let (x, y) = match self.side {
            SideName::Left => (depth, along),
            SideName::Right => (width - 1 - depth, along),
            SideName::Top => (along, depth),
            SideName::Bottom => (along, height - 1 - depth),
        };
        f64::from(self.picture.signal[y * width + x])
    }

    /// A place seen from the side, as a place in the reduced picture.
    pub(super) fn to_picture(self, depth: f64, along: f64) -> (f64, f64) {
        let (width, height) = (
            f64::from(self.picture.width),
            f64::from(self.picture.height),
        );
        match self.side {
            SideName::Left => (depth, along),
            SideName::Right => (width - depth, along),
            SideName::Top => (along, depth),
            SideName::Bottom => (along, height - depth),
        }
    }

    /// Tilt in degrees of a line whose depth changes by this along the side;
    /// positive when an upper side falls to the right.
    pub(super) fn tilt_of(&self, slope: f64) -> f64 {
        let turned = match self.side {
            SideName::Top | SideName::Right => slope,
            SideName::Bottom | SideName::Left => -slope,
        };
        libm::atan(turned).to_degrees()
    }

    /// The middle of five neighbouring lines at a depth.
    pub(super) fn middle(&self, depth: usize, along: usize) -> f64 {
        let from = along.saturating_sub(2);
        let until = (along + 3).min(self.length());
        let mut near = [0.0; 5];
        let lines = until - from;
        for (value, line) in near.iter_mut().zip(from..until) {
            *value = self.at(depth, line);
        }
        near[..lines].sort_unstable_by(f64::total_cmp);
        near[lines / 2]
    }

    /// Signal along one line inwards, to the middle: beyond it, what falls may be
    /// the far rebate against its holder.
    pub(super) fn profile(&self, along: usize) -> Vec<f64> {
        (0..self.depth() / 2)
            .map(|depth| self.middle(depth, along))
            .collect()
    }
}
