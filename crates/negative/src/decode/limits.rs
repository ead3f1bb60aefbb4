//! How much a file may ask for.

/// The budget a scan is decoded within.
///
/// TIFF strips are streamed, so a large scan costs a few megabytes; the limits
/// are there against files that claim what they do not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DecodeLimits {
    /// Most pixels of one image.
    pub max_pixels: u64,
    /// Most bytes of one decoded tile or of one row of a strip.
    pub max_chunk_bytes: u64,
    /// Most bytes of one decoded row of tiles.
    pub max_band_bytes: u64,
    /// Most bytes of a PNG or JPEG picture, which is decoded whole.
    pub max_whole_bytes: u64,
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
            max_chunk_bytes: 256 << 20,
            max_band_bytes: 512 << 20,
            max_whole_bytes: 1 << 30,
            max_pages: 1000,
            max_profile_bytes: 4 << 20,
            ratio_free_bytes: 64 << 20,
            max_ratio: 200,
        }
    }
}
