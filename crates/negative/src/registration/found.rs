//! What was found: where one picture lies on another, and how well that is known.

use super::fit::Fit;
use super::placement::Placement;

/// Part of the unevenness from block to block that a mean of neighbours keeps:
/// neighbours may err alike.
const SHARED_SCATTER: f64 = 0.25;

/// How far strong edges of one subject may lie apart behind two filters, all of
/// them together and unseen by what blocks leave over: the softness of lens and
/// film moves an edge towards its dark side, which changes with the filter. One
/// standard deviation where the frames share nothing; found on made frames, whose
/// edges are 0.05 to 0.1 apart in grain, not derived. \[pixels compared\]
const EDGES_APART: f64 = 0.1;

/// Where one picture lies on another, and how well that is known.
#[derive(Clone, Debug)]
pub struct Registration {
    pub(super) placement: Placement,
    pub(super) fit: Fit,
    /// Scale from first to second picture as they were compared.
    pub(super) scale: f64,
    /// Pixels now given over pixels compared, in each picture.
    pub(super) unit: (f64, f64),
    /// Correlation of the edge directions of both pictures, less that of
    /// chance: 1 for equal pictures. \[-\]
    pub agreement: f64,
    /// The same in standard deviations of chance. \[-\]
    pub above_chance: f64,
    /// Blocks that agree with the placement.
    pub blocks_agreeing: usize,
    /// All blocks.
    pub blocks: usize,
    /// Unevenness from block to block, beyond noise. \[pixels of the first picture\]
    pub scatter_px: f64,
    /// Whether a tilt of the camera was found and taken out.
    pub tilted: bool,
}

impl Registration {
    /// Gives where points of the first picture lie in the second.
    #[must_use]
    pub fn placement(&self) -> Placement {
        self.placement
    }

    /// Gives the standard uncertainty of where a point of the first picture
    /// lies in the second, along the worse direction. \[pixels of the second\]
    #[must_use]
    pub fn uncertainty_px(&self, point: (f64, f64)) -> f64 {
        let compared = (point.0 / self.unit.0, point.1 / self.unit.0);
        let fitted = self.fit.uncertainty(compared);
        let shared = SHARED_SCATTER * self.fit.scatter;
        let edges = EDGES_APART * (1.0 - self.agreement).clamp(0.0, 1.0);
        self.unit.1 * self.scale * libm::hypot(fitted, libm::hypot(shared, edges))
    }

    /// Gives the same registration for pictures whose coordinates are `first`
    /// and `second` times as large: for scans, of which reduced pictures were
    /// compared.
    #[must_use]
    pub fn scaled(&self, first: f64, second: f64) -> Self {
        Self {
            placement: self.placement.scaled(first, second),
            unit: (self.unit.0 * first, self.unit.1 * second),
            scatter_px: self.scatter_px * first,
            ..self.clone()
        }
    }
}
