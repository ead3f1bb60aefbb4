//! What a search for the frame answers.

/// A side of the scan, as it lies in the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SideName {
    /// Small x.
    Left,
    /// Small y.
    Top,
    /// Large x.
    Right,
    /// Large y.
    Bottom,
}

impl SideName {
    /// All four, in the order in which sides are listed.
    pub const ALL: [Self; 4] = [Self::Left, Self::Top, Self::Right, Self::Bottom];

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Top => "top",
            Self::Right => "right",
            Self::Bottom => "bottom",
        }
    }
}

/// One side of the picture that was seen against the rebate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Which side it is.
    pub side: SideName,
    /// Where it begins and ends, (x, y) in pixels of the scan: at the corners where
    /// the next side was seen, else at the end of the scan.
    pub ends: [(f64, f64); 2],
    /// Standard uncertainty of its place across, pixels of the scan.
    pub place_sd_px: f64,
    /// Its own tilt. \[degrees\]
    pub tilt_deg: f64,
    /// Width of the rebate beside it, pixels of the scan.
    pub rebate_width_px: f64,
    /// Whether the rebate goes on to the end of the scan, so that it may be wider.
    pub rebate_cut: bool,
    /// Part of the side on which the picture was told from the rebate, 0 to 1.
    pub seen_part: f64,
}

impl Edge {
    /// Corners of the rebate beside it, as wide as it is in the middle of all lines:
    /// first both ends of the edge, then those of its outer side. \[pixels of the scan\]
    #[must_use]
    pub fn rebate_band(&self) -> [(f64, f64); 4] {
        let [(ax, ay), (bx, by)] = self.ends;
        let length = libm::hypot(bx - ax, by - ay).max(f64::MIN_POSITIVE);
        // Edges run down or to the right; outwards lies at their right or left hand.
        let hand = match self.side {
            SideName::Left | SideName::Bottom => 1.0,
            SideName::Top | SideName::Right => -1.0,
        };
        let off = hand * self.rebate_width_px / length;
        let (dx, dy) = (off * (ay - by), off * (bx - ax));
        [(ax, ay), (bx, by), (bx + dx, by + dy), (ax + dx, ay + dy)]
    }
}

/// What the rebate reads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rebate {
    /// Median signal: linear light when the tone is known, else the code's share.
    pub signal: f64,
    /// Standard deviation of single pixels of the reduced picture, from the quartiles.
    pub signal_sd: f64,
    /// Pixels of the reduced picture it was read from.
    pub pixels: usize,
}

/// The frame of a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameEdges {
    /// The sides that were seen, two to four, in the order of [`SideName::ALL`].
    pub edges: Vec<Edge>,
    /// Corners of the picture: left top, right top, right bottom, left bottom, in
    /// pixels of the scan; only where all four sides were seen.
    pub corners: Option<[(f64, f64); 4]>,
    /// Tilt of the frame, positive when its upper side falls to the right. \[degrees\]
    pub tilt_deg: f64,
    /// Standard uncertainty of the tilt. \[degrees\]
    pub tilt_sd_deg: f64,
    /// What the rebate reads.
    pub rebate: Rebate,
    /// Corners of the largest even stretch of rebate, on which clear film can be
    /// outlined, in pixels of the scan; `None` where none is large enough.
    pub clear_stretch: Option<[(f64, f64); 4]>,
    /// Whether something lighter than the rebate is in the scan: it is film then.
    /// Where it is `false`, a gap of open light would look the same.
    pub light_seen: bool,
    /// How sure the sides are, 0 to 1: the smallest part of a side that was seen,
    /// lowered by what the sides are off a right angle.
    pub quality: f64,
}

/// Why no frame is given.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FrameNotFound {
    /// Too few pixels.
    #[error(
        "the picture has {width} × {height} pixels, and a frame is looked for from {needed} on: scan at a higher resolution"
    )]
    TooSmall {
        /// Pixels in a row.
        width: u32,
        /// Rows.
        height: u32,
        /// Fewest on each side.
        needed: u32,
    },
    /// No side falls from an even light level.
    #[error(
        "no clear rebate is seen around the picture: scan with the rebate in view, or outline the picture by hand"
    )]
    NoRebate,
    /// The film is even.
    #[error(
        "the film is even throughout, blank or evenly exposed, so that no edge of a picture is seen: outline what shall be measured by hand"
    )]
    Even,
    /// One side alone.
    #[error(
        "only the {side} side of the picture is seen against clear rebate, and two are needed: scan with the rebate in view on more sides"
    )]
    OneSide {
        /// The side seen.
        side: &'static str,
    },
    /// A clear band through the picture.
    #[error(
        "a clear band goes through the whole picture near {at:.0} px from the {from}: two frames in one scan, or a picture that is clear there; crop to one frame"
    )]
    TwoFrames {
        /// Where its middle lies, pixels of the scan.
        at: f64,
        /// The side it is counted from.
        from: &'static str,
    },
    /// Sides that don't make a rectangle.
    #[error(
        "the sides that were found are {off_deg:.2} degrees off a right angle, so one of them is no side of the picture: outline the picture by hand"
    )]
    NotSquare {
        /// Largest difference from the tilt. \[degrees\]
        off_deg: f64,
    },
    /// What looks like rebate may be open light.
    #[error(
        "an even area is seen inside another: it can't be told whether the outer one is rebate or open light; scan with rebate and open light both in view"
    )]
    LightOrRebate,
    /// Clear area that is wide for a rebate.
    #[error(
        "the clear area at the {side} is {width_px:.0} px wide, as if the picture were clear there: outline the picture by hand"
    )]
    WideRebate {
        /// The side.
        side: &'static str,
        /// Its width, pixels of the scan.
        width_px: f64,
    },
    /// Something inside is lighter than the rebate.
    #[error(
        "{percent:.1} % of the picture is lighter than what looks like its rebate, which no film is: outline the picture by hand"
    )]
    LighterInside {
        /// Part of the picture.
        percent: f64,
    },
}
