//! Channels of a scan by the words a person says.

use crate::AppError;
use negative::decode::{ChannelChoice, ExtraSample, ScanReader};
use std::io::{Read, Seek};

/// Gives the channel that is asked for, or the usual one.
pub(crate) fn channel_of_text(
    text: Option<&str>,
    reader: &ScanReader<impl Read + Seek>,
) -> Result<ChannelChoice, AppError> {
    let usual = reader.usual_channel();
    Ok(match text {
        None => usual,
        Some("infrared") => infrared_channel(reader)?,
        Some(other) if other.starts_with("extra:") => {
            match other["extra:".len()..].trim().parse::<usize>() {
                Ok(number @ 1..) => ChannelChoice::Extra(number - 1),
                _ => {
                    return Err(AppError::new(
                        format!("{other:?} is no channel"),
                        "number the samples beside the colours from 1: extra:1",
                    ));
                }
            }
        }
        Some("grey") => ChannelChoice::Grey,
        Some("red") => ChannelChoice::Red,
        Some("green") => ChannelChoice::Green,
        Some("blue") => ChannelChoice::Blue,
        Some("mean") => ChannelChoice::Mean,
        Some(other) => {
            let phase = other
                .strip_prefix("mosaic:")
                .and_then(|p| p.split_once(','));
            match phase.map(|(r, c)| (r.trim().parse::<u8>(), c.trim().parse::<u8>())) {
                Some((Ok(row @ 0..=7), Ok(column @ 0..=7))) => {
                    ChannelChoice::MosaicPhase { row, column }
                }
                _ => {
                    return Err(AppError::new(
                        format!("{other:?} is no channel"),
                        "say grey, red, green, blue, mean, infrared, extra:NUMBER, or mosaic:ROW,COLUMN, counted from 0 within the mosaic's cell",
                    ));
                }
            }
        }
    })
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
            "scan with the infrared channel saved as a fourth sample, or leave --channel out",
        )),
        several => Err(AppError::new(
            format!(
                "the file has {} samples beside its colours, and does not say which is infrared",
                several.len()
            ),
            "name one by its number, from 1: --channel extra:1",
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
