//! Channels of a scan: the word a person or a record says, as one of its samples.

use crate::AppError;
use negative::decode::{ChannelChoice, ExtraSample, ScanInfo, ScanReader};
use record::{Channel, Scan};
use std::io::{Read, Seek};

/// Gives the channel that is asked for by a word, or the usual one.
pub(crate) fn channel_of_text(
    text: Option<&str>,
    reader: &ScanReader<impl Read + Seek>,
) -> Result<ChannelChoice, AppError> {
    let Some(text) = text else {
        return Ok(reader.usual_channel());
    };
    let channel = notebook::channel_of_word(text).ok_or_else(|| {
        AppError::new(
            format!("{text:?} is no channel"),
            if text.starts_with("extra:") {
                "number the samples beside the colours from 1: extra:1"
            } else {
                "say grey, red, green, blue, mean, infrared, extra:NUMBER, or mosaic:ROW,COLUMN, counted from 0 within the mosaic's cell"
            },
        )
    })?;
    channel_of(channel, reader)
}

/// Gives the channel that a record says.
fn channel_of(
    channel: Channel,
    reader: &ScanReader<impl Read + Seek>,
) -> Result<ChannelChoice, AppError> {
    Ok(match channel {
        Channel::Suitable => reader.usual_channel(),
        Channel::Grey => ChannelChoice::Grey,
        Channel::Red => ChannelChoice::Red,
        Channel::Green => ChannelChoice::Green,
        Channel::Blue => ChannelChoice::Blue,
        Channel::Mean => ChannelChoice::Mean,
        Channel::Infrared => infrared_channel(reader)?,
        Channel::Extra(number) => ChannelChoice::Extra(usize::from(number.get()) - 1),
        Channel::MosaicPhase { row, column } => ChannelChoice::MosaicPhase { row, column },
    })
}

/// The same of a scan of a test; a refusal names the scan.
pub(crate) fn channel_of_record(
    scan: &Scan,
    reader: &ScanReader<impl Read + Seek>,
) -> Result<ChannelChoice, AppError> {
    channel_of(scan.channel, reader).map_err(|mut e| {
        e.problem = format!("scan {} ({}): {}", scan.id, scan.file, e.problem);
        e
    })
}

/// Tells of a sample beside the colours that the file does not name, where it is not
/// what is measured.
pub(crate) fn unnamed_sample(info: &ScanInfo, channel: ChannelChoice) -> Option<String> {
    let unnamed = |i: usize| info.extra_samples.get(i) == Some(&ExtraSample::Unspecified);
    let numbers: Vec<String> = (0..info.extra_samples.len())
        .filter(|i| unnamed(*i))
        .map(|i| format!("extra:{}", i + 1))
        .collect();
    if matches!(channel, ChannelChoice::Extra(_)) {
        return None;
    }
    match numbers.as_slice() {
        [] => None,
        [_] => Some(format!(
            "it holds a sample beside its colours that the file does not name, in a film scan usually infrared; it is kept \
             apart, never averaged in, and {channel} is measured. To measure it, say channel = \"infrared\""
        )),
        several => Some(format!(
            "it holds {} samples beside its colours that the file does not name; they are kept apart, never averaged in, and \
             {channel} is measured. To measure one, say channel = {}",
            several.len(),
            several
                .iter()
                .map(|word| format!("\"{word}\""))
                .collect::<Vec<_>>()
                .join(" or ")
        )),
    }
}

/// The sample beside the colours that is not named as alpha; of several there is
/// no telling which.
fn infrared_channel(reader: &ScanReader<impl Read + Seek>) -> Result<ChannelChoice, AppError> {
    let extra = &reader.info().extra_samples;
    let unnamed: Vec<usize> = (0..extra.len())
        .filter(|i| extra[*i] == ExtraSample::Unspecified)
        .collect();
    match unnamed.as_slice() {
        [index] => Ok(ChannelChoice::Extra(*index)),
        [] => Err(AppError::new(
            "the file has no sample beside its colours that could be infrared",
            "scan with the infrared channel saved as a fourth sample, or measure another channel",
        )),
        several => Err(AppError::new(
            format!(
                "the file has {} samples beside its colours, and does not say which is infrared",
                several.len()
            ),
            "name one by its number, from 1: extra:1",
        )),
    }
}

/// Names the samples beside the colours, as `--channel` takes them.
pub(crate) fn extra_words(extra: &[ExtraSample]) -> Vec<String> {
    extra
        .iter()
        .zip(1..)
        .map(|(kind, number)| {
            let kind = match kind {
                ExtraSample::AssociatedAlpha => "alpha, with which the colours were multiplied",
                ExtraSample::UnassociatedAlpha => "alpha",
                ExtraSample::Unspecified => "not named, in a film scan usually infrared",
            };
            format!("extra:{number} ({kind})")
        })
        .collect()
}
