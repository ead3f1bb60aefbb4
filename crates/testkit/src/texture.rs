//! Smooth random textures: value noise on a lattice.

/// A texture, told from others by its salt.
#[derive(Clone, Copy)]
pub(crate) struct Texture {
    salt: u64,
}

fn mixed(mut word: u64) -> u64 {
    // SplitMix64 finaliser (Steele, Lea and Flood 2014).
    word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    word ^ (word >> 31)
}

impl Texture {
    pub(crate) fn new(draw: u64, number: u64) -> Self {
        Self {
            salt: mixed(draw.wrapping_add(number.wrapping_mul(0x9e37_79b9_7f4a_7c15))),
        }
    }

    fn knot(self, column: i64, row: i64) -> f64 {
        let word = mixed(
            self.salt
                ^ mixed((column as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ (row as u64) << 32),
        );
        (word >> 11) as f64 / 4_503_599_627_370_496.0 - 1.0
    }

    /// Gives a smooth number between −1 and 1; features are about 1 wide.
    pub(crate) fn at(self, x: f64, y: f64) -> f64 {
        let (left, top) = (libm::floor(x), libm::floor(y));
        let ease = |t: f64| t * t * (3.0 - 2.0 * t);
        let (across, down) = (ease(x - left), ease(y - top));
        let (column, row) = (left as i64, top as i64);
        let between = |a: f64, b: f64, t: f64| a + (b - a) * t;
        between(
            between(self.knot(column, row), self.knot(column + 1, row), across),
            between(
                self.knot(column, row + 1),
                self.knot(column + 1, row + 1),
                across,
            ),
            down,
        )
    }

    /// Gives the sum of octaves, each half as wide and half as strong, within ±2.
    pub(crate) fn octaves(self, x: f64, y: f64, count: u32) -> f64 {
        (0..count)
            .map(|octave| {
                let scale = f64::from(1_u32 << octave);
                let layer = Self {
                    salt: self.salt.wrapping_add(u64::from(octave)),
                };
                layer.at(x * scale, y * scale) / scale
            })
            .sum()
    }
}
