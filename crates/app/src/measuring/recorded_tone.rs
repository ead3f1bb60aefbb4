//! How code values follow light: by the record, else by the file.

use crate::AppError;
use negative::decode::{ChannelChoice, ScanInfo};
use negative::tone::{Tone, ToneEncoding, ToneOrigin, tone_of};
use record::Scan;

/// The tone by the record, else by the file; a tone recorded as unknown stays so.
pub(crate) fn recorded_tone(
    recorded: record::Tone,
    info: &ScanInfo,
    channel: ChannelChoice,
) -> Result<Tone, String> {
    let encoding = match recorded {
        record::Tone::AsDeclared | record::Tone::Unknown => None,
        record::Tone::Linear => Some(ToneEncoding::Linear),
        record::Tone::Gamma(gamma) => Some(ToneEncoding::gamma(gamma).map_err(|e| e.to_string())?),
        record::Tone::Srgb => Some(ToneEncoding::Srgb),
    };
    let mut tone = tone_of(info, encoding.as_ref(), channel);
    if recorded == record::Tone::Unknown {
        tone.encoding = ToneEncoding::Unknown;
        tone.origin = ToneOrigin::Record;
    }
    Ok(tone)
}

/// The tone of a test's scan.
pub(crate) fn tone_of_record(
    scan: &Scan,
    info: &ScanInfo,
    channel: ChannelChoice,
) -> Result<Tone, AppError> {
    recorded_tone(scan.tone, info, channel).map_err(|e| {
        AppError::new(
            format!("scan {} ({}): {e}", scan.id, scan.file),
            "mend the tone in test.toml",
        )
    })
}

/// Says which tone was used and who says so.
pub(crate) fn tone_words(tone: &Tone) -> String {
    let by = match tone.origin {
        ToneOrigin::Record => "by the record",
        ToneOrigin::IccProfile => "by the file's ICC profile",
        ToneOrigin::PngChunk => "by the PNG file's own chunk",
        ToneOrigin::RawSensor => "by the raw file's black and white levels",
        ToneOrigin::TransferFunction => "by the TIFF file's transfer function",
        ToneOrigin::Nowhere => "neither file nor record says",
    };
    format!("{}, {by}", tone.encoding.describe())
}
