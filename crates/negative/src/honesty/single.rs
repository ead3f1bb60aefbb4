//! What one scan alone shows.

use super::clipping::clipped;
use super::finding::HonestyFinding;
use super::halo::sharpened;
use super::histogram::CodeHistogram;
use super::levels::{comb, eight_bit_origin};
use super::periodicity::{block_traces, resampled};
use super::texture::Texture;
use crate::decode::{Compression, ScanInfo};
use crate::outline::Outline;
use crate::tone::Tone;
use quantity::Flag;

/// Gives everything that one scan alone shows.
///
/// The histogram should be of the frame itself: a scan's black border and open
/// gate lie at the ends of the scale without harm.
#[must_use]
pub fn file_findings(
    info: &ScanInfo,
    tone: &Tone,
    histogram: &CodeHistogram,
) -> Vec<HonestyFinding> {
    let mut findings = Vec::new();
    findings.extend(clipped(histogram));
    if !of_sensor(info) {
        let eight_bit = eight_bit_origin(info, histogram);
        if eight_bit.is_none() {
            findings.extend(comb(info, histogram));
        }
        findings.extend(eight_bit);
    }
    if let Some(flag) = tone.flag() {
        let reason = tone
            .remarks
            .first()
            .map_or(String::new(), |r| format!("; {r}"));
        findings.push(HonestyFinding::new(
            flag,
            format!(
                "neither the record nor the {} file says how code values follow light{reason}",
                info.format
            ),
        ));
    }
    if info.flags.contains(Flag::Lossy) {
        findings.push(HonestyFinding::new(
            Flag::Lossy,
            match info.compression {
                Compression::MakersOwn => {
                    "the camera thinned its numbers out when it wrote the file, most where it is bright"
                        .to_owned()
                }
                _ => format!(
                    "the {} file was compressed with loss, in 8 bits",
                    info.format
                ),
            },
        ));
    }
    if info.flags.contains(Flag::SeveralImages) {
        findings.push(HonestyFinding::new(
            Flag::SeveralImages,
            format!(
                "the file holds {} images; number {} was read",
                info.page_count,
                info.page + 1
            ),
        ));
    }
    findings
}

/// Tells codes that are a sensor's own numbers: their gaps, by which changed levels are
/// known, are the camera's.
#[must_use]
pub fn of_sensor(info: &ScanInfo) -> bool {
    info.mosaic.is_some()
}

/// Gives what the fine structure of one scan shows: blocks of a compression
/// with loss, traces of a change of size, halos of a sharpening.
///
/// `tablet` are the outlines of a tablet's steps in the scan, if any. A file that says
/// itself that it was compressed with loss is not told again.
#[must_use]
pub fn texture_findings(
    info: &ScanInfo,
    texture: &Texture,
    tablet: &[Outline],
) -> Vec<HonestyFinding> {
    let blocks = block_traces(texture);
    let resampled = resampled(texture, blocks.is_some());
    let mut findings = Vec::new();
    if !info.flags.contains(Flag::Lossy) {
        findings.extend(blocks);
    }
    findings.extend(resampled);
    findings.extend(sharpened(texture, tablet));
    findings
}
