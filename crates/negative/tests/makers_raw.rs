//! Raw files of camera makers' own kinds: numbers, levels, picture, refusals.
//!
//! Files are written number by number, so every expected code is known.

#![cfg(feature = "raw")]
#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::decode::{
    CameraSettings, ChannelChoice, Codes, Colour, DecodeError, DecodeLimits, ScanFormat, ScanInfo,
    ScanReader,
};
use negative::tone::{ToneEncoding, ToneOrigin, tone_of};
use std::io::Cursor;
use testkit::{MakersKind, MakersRaw};

fn open_within(
    bytes: Vec<u8>,
    limits: &DecodeLimits,
) -> Result<ScanReader<Cursor<Vec<u8>>>, DecodeError> {
    ScanReader::open(Cursor::new(bytes), 0, limits)
}

fn open(bytes: Vec<u8>) -> Result<ScanReader<Cursor<Vec<u8>>>, DecodeError> {
    open_within(bytes, &DecodeLimits::default())
}

fn rows(bytes: Vec<u8>, channel: ChannelChoice) -> (ScanInfo, Vec<(u32, Vec<u16>)>) {
    let mut reader = open(bytes).unwrap();
    let mut rows = Vec::new();
    let mut walk = |reader: &mut ScanReader<_>| {
        rows.clear();
        reader
            .for_each_row(channel, |row| {
                let Codes::Unsigned(codes) = row.codes else {
                    panic!("whole numbers were written")
                };
                rows.push((row.y, codes.to_vec()));
            })
            .unwrap();
        rows.clone()
    };
    let first = walk(&mut reader);
    assert_eq!(walk(&mut reader), first, "a second walk gives the same");
    (reader.info().clone(), first)
}

/// 16 × 6 numbers below 4000 that differ everywhere.
fn packed() -> MakersRaw {
    let samples = (0..16 * 6).map(|i| 100 + 37 * i).collect();
    MakersRaw::new(MakersKind::PackedBelow, 16, 6, samples)
}

/// 80 × 40 numbers that differ everywhere.
fn words() -> MakersRaw {
    let samples = (0..80 * 40).map(|i| 200 + i).collect();
    MakersRaw::new(MakersKind::WordsAndNote, 80, 40, samples)
}

#[test]
fn each_number_of_a_frame_below_a_directory_comes_out() {
    let made = packed();
    let (info, red) = rows(made.to_bytes(), ChannelChoice::Red);
    assert_eq!(info.format, ScanFormat::CameraRaw);
    assert_eq!((info.width, info.height), (16, 6));
    assert_eq!(info.colour, Colour::Mosaic);
    assert_eq!(info.bits, 12);
    assert_eq!(info.mosaic.as_ref().unwrap().to_string(), "RG/GB");
    let at = |x: usize, y: usize| made.samples[y * 16 + x];
    for (y, codes) in &red {
        let expected: Vec<u16> = (0..8).map(|cell| at(2 * cell, *y as usize)).collect();
        assert_eq!(*codes, expected, "row {y}");
    }
    assert_eq!(red.iter().map(|(y, _)| *y).collect::<Vec<_>>(), [0, 2, 4]);
    let (_, blue) = rows(made.to_bytes(), ChannelChoice::Blue);
    assert_eq!(blue[1].1[3], at(7, 3));
    // Two greens of a cell differ by 16 · 37 − 37: the mean is whole.
    let (_, green) = rows(made.to_bytes(), ChannelChoice::Green);
    assert_eq!(green[0].1[0], (at(1, 0) + at(0, 1)).div_ceil(2));
}

#[test]
fn levels_of_the_makers_note_are_taken() {
    let made = words();
    let (info, red) = rows(made.to_bytes(), ChannelChoice::Red);
    assert_eq!((info.width, info.height), (80, 40));
    let sensor = info.sensor.clone().unwrap();
    assert_eq!(sensor.origin, (0, 0));
    assert_eq!(sensor.stored, (80, 40));
    assert_eq!(sensor.black, [128.0, 130.0, 132.0, 134.0]);
    // Sixteen bits, as the file says of its numbers.
    assert_eq!(sensor.white, 65_535);
    assert_eq!(info.black_of(ChannelChoice::Green), Some(131.0));
    assert_eq!(red[4].1[4], 200 + 8 * 80 + 8);
    let tone = tone_of(&info, None, ChannelChoice::Green);
    let black = 131.0 / 65_535.0;
    assert_eq!(tone.encoding, ToneEncoding::LinearAboveBlack { black });
    assert_eq!(tone.origin, ToneOrigin::RawSensor);
}

#[test]
fn settings_and_how_the_picture_lies_are_told() {
    let made = MakersRaw {
        orientation: 6,
        ..packed()
    };
    let info = open(made.to_bytes()).unwrap().info().clone();
    assert_eq!(
        info.camera,
        Some(CameraSettings {
            time_s: Some(1.0 / 60.0),
            aperture: Some(8.0),
            sensitivity: Some(100.0),
            taken: Some("2026-01-31 12:00:00".to_owned()),
        })
    );
    let told = info.remarks.join("; ");
    assert!(
        told.contains("orientation 6") && told.contains("ZD"),
        "{told}"
    );
    assert_eq!(
        (info.width, info.height),
        (16, 6),
        "the frame is not turned"
    );
}

fn named(made: MakersRaw, make: &str, model: &str) -> MakersRaw {
    MakersRaw {
        camera: Some([make.to_owned(), model.to_owned()]),
        ..made
    }
}

#[test]
fn a_camera_that_is_not_listed_is_named_and_its_levels_are_not_made_up() {
    let made = named(packed(), "Mamiya-OP Co.,Ltd.", "NOBODY'S");
    let error = open(made.to_bytes()).unwrap_err();
    assert!(matches!(error, DecodeError::MakersRaw { .. }), "{error}");
    let text = error.to_string();
    assert!(
        text.contains("NOBODY'S") && text.contains("guesses") && text.contains("convert it to DNG"),
        "{text}"
    );
}

#[test]
fn a_frame_of_an_unknown_make_is_refused_below_a_picture_and_read_without_levels_alone() {
    let below = named(packed(), "NOBODY", "NOTHING");
    let error = open(below.to_bytes()).unwrap_err();
    assert!(matches!(error, DecodeError::MakersRaw { .. }), "{error}");
    assert!(error.to_string().contains("convert it to DNG"), "{error}");
    let alone = named(words(), "NOBODY", "NOTHING");
    let info = open(alone.to_bytes()).unwrap().info().clone();
    assert_eq!(info.format, ScanFormat::Tiff);
    assert_eq!(info.sensor, None);
    assert!(
        !tone_of(&info, None, ChannelChoice::Green)
            .encoding
            .is_known()
    );
}

#[test]
fn first_bytes_of_makers_kinds_are_told_from_others() {
    // First bytes only: (bytes, whether they are a camera's). From memory.
    let starts: [(&[u8], bool); 7] = [
        (b"FUJIFILMCCD-RAW 0201", true),
        (b"\0\0\0\x18ftypcrx \0\0\0\x01", true),
        (b"IIRO\x08\0\0\0\0\0\0\0", true),
        (
            b"II\x2A\0\x10\0\0\0CR\x02\0\0\0\0\0\x01\0\0\x01\x04\0\x01\0\0\0\x04\0\0\0\0\0\0\0",
            true,
        ),
        // A small picture of one pixel stands behind this header.
        (
            b"II\x2A\0\x0C\0\0\0IIII\x01\0\0\x01\x04\0\x01\0\0\0\x01\0\0\0\0\0\0\0",
            true,
        ),
        // A picture of a telephone and a film begin with the same kind of box.
        (b"\0\0\0\x18ftypheic\0\0\0\0", false),
        (b"\0\0\0\x18ftypisom\0\0\0\0", false),
    ];
    for (start, camera) in starts {
        let error = open(start.to_vec()).unwrap_err();
        assert_eq!(
            matches!(error, DecodeError::MakersRaw { .. }),
            camera,
            "{start:?}: {error}"
        );
        if camera {
            let told = error.to_string();
            assert!(
                told.contains("convert it to DNG") || told.contains("copy it again"),
                "{told}"
            );
        }
    }
}

#[test]
fn a_frame_beyond_the_limits_is_refused_before_it_is_decoded() {
    let small = DecodeLimits {
        max_whole_bytes: 400,
        ..DecodeLimits::default()
    };
    let error = open_within(packed().to_bytes(), &small).unwrap_err();
    assert!(error.to_string().contains("400"), "{error}");
    let few = DecodeLimits {
        max_pixels: 90,
        ..DecodeLimits::default()
    };
    let error = open_within(packed().to_bytes(), &few).unwrap_err();
    assert!(error.to_string().contains("90"), "{error}");
}

#[test]
fn a_file_cut_anywhere_is_read_or_refused() {
    for made in [packed(), words()] {
        let bytes = made.to_bytes();
        let mut read = 0;
        // The last four bytes only say that no directory follows.
        for length in (0..bytes.len() - 4).step_by(bytes.len() / 97) {
            read += usize::from(open(bytes[..length].to_vec()).is_ok());
        }
        // The directories stand at the end, so that a cut file has none.
        assert_eq!(read, 0, "{:?}", made.kind);
    }
}
