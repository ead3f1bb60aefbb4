//! How much a file may ask for.

/// The budget a scan is decoded within.
///
/// Strips are streamed and PNG comes row by row, so a large scan costs some ten
/// megabytes. What must lie in memory at once, tiles, turned pictures, JPEG data
/// and interlaced PNG, is held against these limits, whose defaults keep decoding
/// under 400 MB; the rest is there against files that claim what they do not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DecodeLimits {
    /// Most pixels of one image.
    pub max_pixels: u64,
    /// Most bytes of one decoded tile, of one row of a strip, or of one strip of
    /// a code that cannot be streamed (JPEG, fax).
    pub max_chunk_bytes: u64,
    /// Most bytes of the codes of one row of tiles.
    pub max_band_bytes: u64,
    /// Most bytes of a picture that is decoded whole: JPEG and interlaced PNG.
    pub max_whole_bytes: u64,
    /// Most bytes of codes held at once while a picture is turned upright; a
    /// larger one is decoded several times, a part each time.
    pub max_turned_bytes: u64,
    /// Most images in one file.
    pub max_pages: usize,
    /// Most bytes of an ICC profile.
    pub max_profile_bytes: u64,
    /// Decoded bytes below which any compression ratio is believed.
    pub ratio_free_bytes: u64,
    /// Largest believed ratio of decoded bytes to file bytes above that.
    pub max_ratio: u64,
}

impl Default for DecodeLimits {
    /// Room for 2 Gpx (a 4 GB scan at 16 bits); a ratio no film grain reaches.
    fn default() -> Self {
        Self {
            max_pixels: 2_000_000_000,
            max_chunk_bytes: 64 << 20,
            max_band_bytes: 128 << 20,
            max_whole_bytes: 360 << 20,
            max_turned_bytes: 128 << 20,
            max_pages: 1000,
            max_profile_bytes: 4 << 20,
            ratio_free_bytes: 64 << 20,
            max_ratio: 200,
        }
    }
}
