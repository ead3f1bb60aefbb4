//! Everything that one pass over a scan can give.

use crate::decode::{ChannelChoice, ScanReader};
use crate::honesty::{CodeHistogram, HistogramPass, Texture, TexturePass, flat_ends};
use crate::outline::{LabelImage, Outline, Rectangle};
use crate::patch::{PatchError, PatchPass, PatchStatistics};
use crate::preview::{LONG_SIDE, Preview, PreviewPass};
use crate::tone::Tone;
use std::io::{Read, Seek};

/// Patches, histogram and preview of one channel of a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey {
    /// Statistics of the patches, in the order of the outlines.
    pub patches: Vec<PatchStatistics>,
    /// Histogram of the picture, or of the rectangle asked for.
    pub histogram: CodeHistogram,
    /// Preview of the picture, or of the rectangle asked for.
    pub preview: Preview,
    /// Fine structure of the picture, for the checks.
    pub texture: Texture,
}

/// Measures patches, counts codes and makes the preview in one pass.
///
/// `crop` is the part of the scan that histogram and preview show; patches can
/// lie anywhere. `labels` is needed by outlines that are regions. Where the
/// histogram shows that levels were cut off within the scale, patches count
/// their pixels there as clipped.
///
/// # Errors
/// [`PatchError`] for outlines or a crop that do not fit the picture and for a
/// scan that cannot be read.
pub fn survey<R: Read + Seek>(
    reader: &mut ScanReader<R>,
    channel: ChannelChoice,
    tone: &Tone,
    outlines: &[Outline],
    labels: Option<LabelImage<'_>>,
    crop: Option<Rectangle>,
) -> Result<Survey, PatchError> {
    let info = reader.info();
    let mut patches = PatchPass::new(info.width, info.height, tone, outlines, labels)?;
    let mut histogram = HistogramPass::new(info, crop)?;
    let mut preview = PreviewPass::new(info.width, info.height, tone, crop, LONG_SIDE)?;
    let mut texture = TexturePass::new(info);
    reader.for_each_row(channel, |row| {
        texture.take(&row);
        patches.take(&row);
        histogram.take(&row);
        preview.take(&row);
    })?;
    let mut patches = patches.finish()?;
    let histogram = histogram.finish();
    let ends = flat_ends(&histogram);
    for patch in &mut patches {
        patch.clip_at(ends.floor, ends.ceiling);
    }
    Ok(Survey {
        patches,
        histogram,
        preview: preview.finish(),
        texture: texture.finish(),
    })
}
