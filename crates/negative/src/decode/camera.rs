//! How a camera was set for a frame, as its file tells: exposure time, aperture,
//! sensitivity and when it was taken.
//!
//! The tags lie in a directory of their own below the first (TIFF, DNG, and the
//! block of that kind within a JPEG), or in the first one itself (TIFF/EP). What
//! can't be read or has no meaning is left out; no picture is refused for it.
//!
//! Symbols: t exposure time; N f-number; S sensitivity; codes rise with t·S/N².
//! Source: CIPA DC-008 (Exif 2.3), tables of the Exif tags; APEX values, its annex C.

use super::limits::DecodeLimits;
use super::tiff_directory::{Chain, Directory};
use std::io::{Cursor, Read, Seek};

const EXIF_DIRECTORY: u16 = 34665;
const EXPOSURE_TIME: u16 = 33434;
const F_NUMBER: u16 = 33437;
const SENSITIVITY: u16 = 34855;
const RECOMMENDED_INDEX: u16 = 34866;
const TAKEN: u16 = 36867;
const SHUTTER_SPEED: u16 = 37377;
const APERTURE: u16 = 37378;

/// The sensitivity that says that the number lies elsewhere.
const SENSITIVITY_ELSEWHERE: f64 = 65_535.0;
/// Characters of a date and time: "2026:01:31 12:00:00".
const DATE_LENGTH: usize = 19;

/// How a camera was set.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CameraSettings {
    /// Exposure time. \[s\]
    pub time_s: Option<f64>,
    /// Aperture as f-number; missing for a lens that tells the camera nothing.
    pub aperture: Option<f64>,
    /// Sensitivity as ISO speed.
    pub sensitivity: Option<f64>,
    /// When it was taken by the camera's clock, whose zone is not known:
    /// "2026-01-31 12:00:00".
    pub taken: Option<String>,
}

/// By how much the codes of one frame are raised over those of another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettingsDifference {
    /// log10 of the ratio of codes for the same light.
    pub log10: f64,
    /// Whether aperture and sensitivity of both are known, so that all is counted.
    pub whole: bool,
}

impl CameraSettings {
    /// Gives by how much the codes of this frame are raised over another's, by what
    /// both files tell; `None` where a time is missing.
    #[must_use]
    pub fn raised_over(&self, other: &Self) -> Option<SettingsDifference> {
        let ratio = |own: Option<f64>, other: Option<f64>| Some(libm::log10(own? / other?));
        let time = ratio(self.time_s, other.time_s)?;
        let aperture = ratio(self.aperture, other.aperture);
        let sensitivity = ratio(self.sensitivity, other.sensitivity);
        Some(SettingsDifference {
            log10: time + sensitivity.unwrap_or(0.0) - 2.0 * aperture.unwrap_or(0.0),
            whole: aperture.is_some() && sensitivity.is_some(),
        })
    }

    /// `None` when nothing is told.
    pub(crate) fn told(self) -> Option<Self> {
        (self != Self::default()).then_some(self)
    }
}

/// Reads the settings beside a directory of a TIFF file.
pub(crate) fn settings_of<R: Read + Seek>(
    source: &mut R,
    chain: &Chain,
    first: &Directory,
) -> Option<CameraSettings> {
    let below = first
        .first_number(source, EXIF_DIRECTORY)
        .ok()
        .flatten()
        .and_then(|offset| chain.directory_at(source, offset).ok());
    let directories: Vec<&Directory> = below.iter().chain([first]).collect();
    let mut value = |tag: u16| {
        directories.iter().find_map(|directory| {
            let values = directory.values(source, tag, 1).ok()?;
            values.first().copied().filter(|v| v.is_finite())
        })
    };
    let positive = |value: Option<f64>| value.filter(|v| *v > 0.0);
    // A nought is written by cameras that don't know; what else they write then means
    // nothing either.
    let time_s = match value(EXPOSURE_TIME) {
        None => value(SHUTTER_SPEED).map(|tv| libm::exp2(-tv)),
        told => told,
    };
    let aperture = match value(F_NUMBER) {
        None => value(APERTURE).map(|av| libm::exp2(av / 2.0)),
        told => told,
    };
    let sensitivity = match positive(value(SENSITIVITY)) {
        Some(SENSITIVITY_ELSEWHERE) => positive(value(RECOMMENDED_INDEX)),
        told => told,
    };
    let taken = directories
        .iter()
        .find_map(|directory| directory.text(source, TAKEN, DATE_LENGTH).ok().flatten())
        .and_then(|text| date_of(&text));
    CameraSettings {
        time_s: positive(time_s.filter(|t| t.is_finite())),
        aperture: positive(aperture.filter(|n| n.is_finite())),
        sensitivity,
        taken,
    }
    .told()
}

/// Reads the settings in the block of tags that a JPEG holds.
pub(crate) fn settings_in_block(block: &[u8], limits: &DecodeLimits) -> Option<CameraSettings> {
    let mut source = Cursor::new(block);
    let chain = Chain::read(&mut source, limits).ok()?;
    let first = chain.directory(&mut source, 0).ok()?;
    settings_of(&mut source, &chain, &first)
}

/// "2026:01:31 12:00:00" as "2026-01-31 12:00:00"; clocks that were never set write
/// noughts or blanks.
fn date_of(text: &str) -> Option<String> {
    let shape = "dddd:dd:dd dd:dd:dd";
    let fits = text.len() == DATE_LENGTH
        && text.bytes().zip(shape.bytes()).all(|(c, s)| match s {
            b'd' => c.is_ascii_digit(),
            s => c == s,
        });
    (fits && !text.starts_with("0000")).then(|| text.replacen(':', "-", 2))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(time_s: f64, aperture: Option<f64>, sensitivity: Option<f64>) -> CameraSettings {
        CameraSettings {
            time_s: Some(time_s),
            aperture,
            sensitivity,
            taken: None,
        }
    }

    #[test]
    fn a_stop_of_time_is_undone_by_a_stop_of_aperture_or_sensitivity() {
        let first = set(1.0 / 60.0, Some(8.0), Some(100.0));
        let difference = |other: &CameraSettings| first.raised_over(other).unwrap();
        // Hand calculation: 1/60 s over 1/125 s is 2.083, log10 of it 0.3188.
        let faster = difference(&set(1.0 / 125.0, Some(8.0), Some(100.0)));
        assert!((faster.log10 - 0.3188).abs() < 1e-4 && faster.whole);
        let twice = difference(&set(1.0 / 120.0, Some(8.0), Some(200.0)));
        assert!(twice.log10.abs() < 1e-12);
        // f/8 to f/4 is two stops: log10 of 4.
        let open = difference(&set(1.0 / 60.0, Some(4.0), Some(100.0)));
        assert!((open.log10 + 0.602_06).abs() < 1e-5);
        let partly = difference(&set(1.0 / 60.0, None, Some(100.0)));
        assert!(partly.log10.abs() < 1e-12 && !partly.whole);
        assert_eq!(first.raised_over(&CameraSettings::default()), None);
    }

    #[test]
    fn a_date_is_taken_only_when_it_is_one() {
        assert_eq!(
            date_of("2026:01:31 12:00:00").as_deref(),
            Some("2026-01-31 12:00:00")
        );
        for text in [
            "",
            "0000:00:00 00:00:00",
            "    :  :     :  :  ",
            "2026-01-31 12:00:00",
        ] {
            assert_eq!(date_of(text), None, "{text:?}");
        }
    }

    #[test]
    fn a_block_of_tags_gives_time_aperture_sensitivity_and_date() {
        // Big-endian, the tags in a directory below; Exif 2.3, 4.6.
        let mut block = b"MM\0\x2A\0\0\0\x08".to_vec();
        let entry = |block: &mut Vec<u8>, tag: u16, kind: u16, count: u32, value: [u8; 4]| {
            block.extend(tag.to_be_bytes());
            block.extend(kind.to_be_bytes());
            block.extend(count.to_be_bytes());
            block.extend(value);
        };
        block.extend(1_u16.to_be_bytes());
        entry(&mut block, EXIF_DIRECTORY, 4, 1, 26_u32.to_be_bytes());
        block.extend([0; 4]);
        // The directory below ends at 26 + 2 + 4 · 12 + 4 = 80.
        block.extend(4_u16.to_be_bytes());
        entry(&mut block, EXPOSURE_TIME, 5, 1, 80_u32.to_be_bytes());
        entry(&mut block, F_NUMBER, 5, 1, 88_u32.to_be_bytes());
        entry(&mut block, SENSITIVITY, 3, 1, [0, 200, 0, 0]);
        entry(&mut block, TAKEN, 2, 20, 96_u32.to_be_bytes());
        block.extend([0; 4]);
        for number in [1_u32, 125, 56, 10] {
            block.extend(number.to_be_bytes());
        }
        block.extend(b"2026:01:31 12:00:00\0");
        let expected = CameraSettings {
            time_s: Some(0.008),
            aperture: Some(5.6),
            sensitivity: Some(200.0),
            taken: Some("2026-01-31 12:00:00".to_owned()),
        };
        let limits = DecodeLimits::default();
        assert_eq!(settings_in_block(&block, &limits), Some(expected));
        // Cut anywhere, less is told, and nothing breaks.
        for length in 0..block.len() {
            let _ = settings_in_block(&block[..length], &limits);
        }
    }
}
