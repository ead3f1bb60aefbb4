//! What must hold whatever bytes the reader of scans is given.
//!
//! It ends in rows or a reason, never a panic; the rows of a channel come once
//! each, from the top, within the picture; the tone of every code is a number;
//! the one pass over a scan and its tiles end as well. Memory is held by the
//! limits given here, so that a fuzzer's own limit can be near them.

use negative::decode::{ChannelChoice, Codes, DecodeError, DecodeLimits, ScanReader};
use negative::outline::{Outline, Rectangle};
use negative::survey::survey;
use negative::tiles::{TileLayout, TilePass};
use negative::tone::tone_of;
use std::io::Cursor;

/// One path through the reader of scans; the seeds differ, the claims do not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum ScanTarget {
    /// TIFF directories and strips of every compression and kind of sample.
    Strips,
    /// TIFF tiles, chunky and planar.
    Tiles,
    /// Fax codes in TIFF.
    Fax,
    /// JPEG files and JPEG in TIFF.
    Jpeg,
    /// PNG.
    Png,
    /// Raw frames.
    Dng,
    /// Raw files of camera makers' own kinds.
    MakersRaw,
    /// Profiles and curves of tone.
    Tone,
}

impl ScanTarget {
    /// Every path.
    pub(crate) const ALL: [Self; 8] = [
        Self::Strips,
        Self::Tiles,
        Self::Fax,
        Self::Jpeg,
        Self::Png,
        Self::Dng,
        Self::MakersRaw,
        Self::Tone,
    ];

    /// The name it is asked for by.
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Strips => "strips",
            Self::Tiles => "tiles",
            Self::Fax => "fax",
            Self::Jpeg => "jpeg",
            Self::Png => "png",
            Self::Dng => "dng",
            Self::MakersRaw => "makers-raw",
            Self::Tone => "tone",
        }
    }

    /// Holds the reader to the claims; says whether a channel was read to its end.
    pub(crate) fn hold(self, bytes: &[u8]) -> bool {
        let limits = DecodeLimits {
            max_pixels: 1 << 19,
            max_chunk_bytes: 4 << 20,
            max_band_bytes: 4 << 20,
            max_whole_bytes: 4 << 20,
            max_turned_bytes: 1 << 18,
            ratio_free_bytes: 1 << 20,
            ..DecodeLimits::default()
        };
        let mut read = false;
        for page in 0..2 {
            match ScanReader::open(Cursor::new(bytes), page, &limits) {
                Ok(mut scan) => read |= channels_read(&mut scan),
                Err(error) => told(&error),
            }
        }
        read
    }
}

fn told(error: &DecodeError) {
    assert!(!error.to_string().is_empty(), "an error without words");
}

fn channels_read(scan: &mut ScanReader<Cursor<&[u8]>>) -> bool {
    let usual = scan.usual_channel();
    let mut read = false;
    for channel in [
        usual,
        ChannelChoice::Mean,
        ChannelChoice::Red,
        ChannelChoice::Extra(0),
        ChannelChoice::MosaicPhase { row: 1, column: 0 },
    ] {
        read |= rows_read(scan, channel);
    }
    passed(scan, usual);
    read
}

/// Walks a channel; `false` when it has none or its data ends early.
fn rows_read(scan: &mut ScanReader<Cursor<&[u8]>>, channel: ChannelChoice) -> bool {
    let info = scan.info().clone();
    let tone = tone_of(&info, None, channel);
    for part in 0..=16_u32 {
        let code = f64::from(tone.code_max) * f64::from(part) / 16.0;
        assert!(tone.signal(code).is_finite(), "light ran away at {code}");
    }
    let (mut rows, mut next) = (0_u32, 0_u32);
    let outcome = scan.for_each_row(channel, |row| {
        assert!(row.y >= next && row.y < info.height, "rows out of order");
        assert!(!row.codes.is_empty(), "a row without codes");
        let last = u64::from(row.x_first) + (row.codes.len() as u64 - 1) * u64::from(row.x_step);
        assert!(
            last < u64::from(info.width),
            "a row longer than the picture"
        );
        if let Codes::Unsigned(codes) = row.codes {
            assert!(
                codes.iter().all(|code| *code <= info.code_max()),
                "a code beyond the scale"
            );
        }
        next = row.y + 1;
        rows += 1;
    });
    match outcome {
        Ok(()) => {
            if info.steps(channel) == (1, 1) {
                assert_eq!(rows, info.height, "every row comes once");
            }
            true
        }
        Err(error) => {
            told(&error);
            false
        }
    }
}

/// What else goes over the rows.
fn passed(scan: &mut ScanReader<Cursor<&[u8]>>, channel: ChannelChoice) {
    let info = scan.info().clone();
    let tone = tone_of(&info, None, channel);
    let all = Outline::Rectangle(Rectangle::of_picture(info.width, info.height));
    if let Ok(found) = survey(scan, channel, &tone, &[all], None, None) {
        let patch = &found.patches[0];
        assert!(patch.signal.is_finite(), "a mean ran away");
        assert!(
            patch.signal_uncertainty.is_finite() && patch.signal_uncertainty >= 0.0,
            "an uncertainty ran away"
        );
    }
    if let Ok(layout) = TileLayout::of_channel(&info, channel) {
        let mut pass = TilePass::new(&layout, &tone);
        let mut tiles = 0_u64;
        if scan
            .for_each_row(channel, |row| pass.take(&row, &mut |_, _| tiles += 1))
            .is_ok()
        {
            pass.finish(&mut |_, _| tiles += 1);
            let promised: u64 = layout
                .levels()
                .iter()
                .map(|level| u64::from(level.columns()) * u64::from(level.rows()))
                .sum();
            assert_eq!(tiles, promised, "a tile was lost");
        }
    }
}
