//! Camera raw frames: mosaic, levels, crop, directories below, refusals.
//!
//! Files are written number by number, so every expected code is known.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::decode::{
    ChannelChoice, Codes, Compression, DecodeError, DecodeLimits, ScanInfo, ScanReader,
};
use negative::outline::{Outline, Rectangle};
use negative::patch::measure_patches;
use negative::tiles::{TileLayout, TilePass};
use negative::tone::{ToneEncoding, ToneOrigin, tone_of};
use quantity::Flag;
use std::io::Cursor;
use testkit::{RawFrame, RawTag};

fn open(bytes: Vec<u8>) -> Result<ScanReader<Cursor<Vec<u8>>>, DecodeError> {
    ScanReader::open(Cursor::new(bytes), 0, &DecodeLimits::default())
}

/// Rows of a channel: (y, x of the first, step, codes).
type Rows = Vec<(u32, u32, u32, Vec<u16>)>;

fn rows(bytes: Vec<u8>, channel: ChannelChoice) -> (ScanInfo, Rows) {
    let mut reader = open(bytes).unwrap();
    let mut rows = Vec::new();
    reader
        .for_each_row(channel, |row| {
            let Codes::Unsigned(codes) = row.codes else {
                panic!("whole numbers were written")
            };
            rows.push((row.y, row.x_first, row.x_step, codes.to_vec()));
        })
        .unwrap();
    (reader.info().clone(), rows)
}

/// 6 × 4 sensor numbers that differ everywhere.
fn frame() -> RawFrame {
    RawFrame::new(6, 4, (0..24).map(|i| 2000 + 100 * i).collect())
}

fn error(frame: &RawFrame) -> String {
    open(frame.to_dng()).unwrap_err().to_string()
}

fn tagged(tags: &[RawTag]) -> RawFrame {
    RawFrame {
        tags: tags.to_vec(),
        ..frame()
    }
}

#[test]
fn each_colour_of_a_mosaic_comes_out_by_itself() {
    let bytes = frame().to_dng();
    let of = |channel| rows(bytes.clone(), channel).1;
    // Numbers: row 0 is 2000, 2100 ... 2500; row 1 2600 ... 3100; row 2 3200 ...
    let red = [
        (0, 0, 2, vec![2000, 2200, 2400]),
        (2, 0, 2, vec![3200, 3400, 3600]),
    ];
    assert_eq!(of(ChannelChoice::Red), red);
    let blue = [
        (0, 0, 2, vec![2700, 2900, 3100]),
        (2, 0, 2, vec![3900, 4100, 4300]),
    ];
    assert_eq!(of(ChannelChoice::Blue), blue);
    // Hand calculation: (2100 + 2600) / 2 = 2350; the two greens of each cell.
    let green = [
        (0, 0, 2, vec![2350, 2550, 2750]),
        (2, 0, 2, vec![3550, 3750, 3950]),
    ];
    assert_eq!(of(ChannelChoice::Green), green);
    // (2000 + 2350 + 2700) / 3 = 2350.
    let mean = [
        (0, 0, 2, vec![2350, 2550, 2750]),
        (2, 0, 2, vec![3550, 3750, 3950]),
    ];
    assert_eq!(of(ChannelChoice::Mean), mean);
    let second_green = ChannelChoice::MosaicPhase { row: 1, column: 0 };
    let phase = [
        (1, 0, 2, vec![2600, 2800, 3000]),
        (3, 0, 2, vec![3800, 4000, 4200]),
    ];
    assert_eq!(of(second_green), phase);
}

#[test]
fn a_mosaic_is_never_grey() {
    let mut reader = open(frame().to_dng()).unwrap();
    assert_eq!(reader.usual_channel(), ChannelChoice::Green);
    let error = reader
        .for_each_row(ChannelChoice::Grey, |_| {})
        .unwrap_err();
    assert_eq!(
        error.to_string(),
        "channel grey was asked for, but the file has a mosaic of red, green and blue (RG/GB): red, green, blue, \
         their mean, or one place of its 2 × 2 cell"
    );
    // A mosaic outside a DNG whose colours nobody names: no levels, no colours.
    let bare: Vec<RawTag> = [33421, 33422, 50706, 50714, 50717]
        .map(|tag| (tag, 4, vec![]))
        .to_vec();
    let mut reader = open(tagged(&bare).to_dng()).unwrap();
    let first = ChannelChoice::MosaicPhase { row: 0, column: 0 };
    assert_eq!(reader.usual_channel(), first);
    assert!(reader.for_each_row(ChannelChoice::Grey, |_| {}).is_err());
    assert!(reader.for_each_row(first, |_| {}).is_ok());
    let tone = tone_of(reader.info(), None, first);
    assert_eq!(tone.flag(), Some(Flag::UnknownTone));
}

#[test]
fn the_picture_is_the_crop_within_the_active_area() {
    // Active area from column 1, row 1; the crop one pixel further in both.
    let made = RawFrame {
        active: Some([1, 1, 4, 6]),
        crop: Some([1, 1, 3, 2]),
        ..frame()
    };
    let (info, red) = rows(made.to_dng(), ChannelChoice::Red);
    assert_eq!((info.width, info.height), (3, 2));
    let sensor = info.sensor.clone().unwrap();
    assert_eq!((sensor.origin, sensor.stored), ((2, 2), (6, 4)));
    // The cell counts from the active area's corner, so the picture begins at
    // its second row and column: BG/GR. Row 3 of the frame is 3800, 3900, 4000
    // ...: red is the pixel at column 3; the third column has no whole cell.
    assert_eq!(info.mosaic.clone().unwrap().to_string(), "BG/GR");
    assert_eq!(red, [(0, 0, 2, vec![4100])]);
    let layout = TileLayout::of_channel(&info, ChannelChoice::Red).unwrap();
    assert_eq!(
        (layout.levels()[0].width, layout.levels()[0].height),
        (3, 2)
    );
}

#[test]
fn sensor_numbers_are_linear_above_black_and_full_at_white() {
    let mut samples = vec![1024_u16; 16 * 16];
    // Noise about black: half the pixels 10 below, half 10 above, in both greens.
    for (i, sample) in samples.iter_mut().enumerate() {
        *sample = if (i / 32 + i / 2) % 2 == 0 {
            1014
        } else {
            1034
        };
    }
    let dark = RawFrame::new(16, 16, samples).to_dng();
    let whole = [Outline::Rectangle(Rectangle::of_picture(16, 16))];
    let measured = |bytes: Vec<u8>| {
        let mut reader = open(bytes).unwrap();
        let tone = tone_of(reader.info(), None, ChannelChoice::Green);
        assert_eq!(tone.origin, ToneOrigin::RawSensor);
        measure_patches(&mut reader, ChannelChoice::Green, &tone, &whole, None).unwrap()[0].clone()
    };
    let black = measured(dark);
    assert!(
        black.signal.abs() < 1e-12,
        "noise about black is no light: {}",
        black.signal
    );
    assert!(black.tone_known && !black.clipped());

    // Hand calculation: (8012 − 1024) / (15000 − 1024) = 0.5.
    let half = measured(RawFrame::new(16, 16, vec![8012; 256]).to_dng());
    assert!((half.signal - 0.5).abs() < 1e-12, "{}", half.signal);

    // One of the two greens full: the cell is full, not the mean of the two.
    let one_full = (0..256_u32).map(|i| if i / 16 % 2 == 0 { 15_020 } else { 9000 });
    let full = measured(RawFrame::new(16, 16, one_full.collect()).to_dng());
    assert_eq!((full.at_max_share, full.mean_code), (1.0, 15_000.0));
    assert!(full.clipped() && full.flags.contains(Flag::Clipped));
}

#[test]
fn halves_go_up_and_down_in_turn() {
    // The two greens differ by one code: every mean is a half, 3000.5.
    let samples = (0..20 * 20_u32).map(|i| if i / 20 % 2 == 0 { 3000 } else { 3001 });
    let (_, rows) = rows(
        RawFrame::new(20, 20, samples.collect()).to_dng(),
        ChannelChoice::Green,
    );
    let codes: Vec<u16> = rows.into_iter().flat_map(|r| r.3).collect();
    let mean = codes.iter().map(|c| f64::from(*c)).sum::<f64>() / codes.len() as f64;
    assert!((mean - 3000.5).abs() < 1e-12, "{mean}");
}

#[test]
fn black_levels_of_each_place_and_as_ratios_are_kept_apart() {
    let levels = [
        (50713, 3, vec![2, 2]),
        (50714, 5, vec![4001, 4, 1000, 1, 1010, 1, 990, 1]),
    ];
    let (info, _) = rows(tagged(&levels).to_dng(), ChannelChoice::Green);
    // Red has 4001/4; the greens 1000 and 1010; blue 990.
    assert_eq!(info.black_of(ChannelChoice::Red), Some(1000.25));
    assert_eq!(info.black_of(ChannelChoice::Green), Some(1005.0));
    assert_eq!(info.black_of(ChannelChoice::Blue), Some(990.0));
    let mean = info.black_of(ChannelChoice::Mean).unwrap();
    assert!((mean - (1000.25 + 1005.0 + 990.0) / 3.0).abs() < 1e-9);
    // Begun one column later, the levels move with the colours.
    let mut moved = tagged(&levels);
    moved.crop = Some([1, 0, 4, 4]);
    let (info, _) = rows(moved.to_dng(), ChannelChoice::Red);
    assert_eq!(info.black_of(ChannelChoice::Red), Some(1000.25));
    assert_eq!(info.black_of(ChannelChoice::Blue), Some(990.0));
}

#[test]
fn the_frame_below_a_small_picture_is_the_one_that_is_read() {
    let below = RawFrame {
        below_preview: true,
        ..frame()
    };
    let (info, found) = rows(below.to_dng(), ChannelChoice::Green);
    assert_eq!(found, rows(frame().to_dng(), ChannelChoice::Green).1);
    assert!(!info.flags.contains(Flag::SeveralImages));
    // The same without a DNG's own tag is a maker's own kind of file, here of a
    // camera that nobody knows: its small picture must not be measured instead.
    let own = RawFrame {
        tags: vec![(50706, 1, vec![])],
        ..below
    };
    let error = error(&own);
    assert!(
        error.contains("camera's raw file of its maker's own kind"),
        "{error}"
    );
    assert!(error.contains("convert it to DNG"), "{error}");
}

#[test]
fn tiles_of_a_mosaic_have_the_places_of_the_picture() {
    // 5 × 3 pixels of a 6 × 4 frame: the last column and row are half cells.
    let made = RawFrame {
        crop: Some([0, 0, 5, 3]),
        ..frame()
    };
    let tile_of = |channel| {
        let mut reader = open(made.to_dng()).unwrap();
        let layout = TileLayout::of_channel(reader.info(), channel).unwrap();
        let tone = tone_of(reader.info(), None, channel);
        let mut tiles = Vec::new();
        let mut pass = TilePass::new(&layout, &tone);
        let mut keep = |_, codes: &[u16]| tiles.push(codes.to_vec());
        reader
            .for_each_row(channel, |row| pass.take(&row, &mut keep))
            .unwrap();
        pass.finish(&mut keep);
        tiles.swap_remove(0)
    };
    // Red of the two whole cells is 2000 and 2200.
    let row = [2000, 2000, 2200, 2200, 2200];
    assert_eq!(tile_of(ChannelChoice::Red), [row, row, row].concat());
    // The second green lies a row lower: 2600 and 2800.
    let phase = ChannelChoice::MosaicPhase { row: 1, column: 0 };
    let row = [2600, 2600, 2800, 2800, 2800];
    assert_eq!(tile_of(phase), [row, row, row].concat());
}

#[test]
fn a_linearization_table_is_applied() {
    // Stored 0, 1, 2, 3 and beyond stand for these.
    let made = RawFrame {
        black: 100,
        white: 900,
        samples: (0..24).map(|i| i % 6).collect(),
        tags: vec![(50712, 3, vec![100, 150, 400, 950])],
        ..frame()
    };
    let (info, red) = rows(made.to_dng(), ChannelChoice::Red);
    assert_eq!(info.code_max(), 900);
    // 950 lies above white, and so does what the table's end stands for.
    assert_eq!(red[0].3, [100, 400, 900]);
    let falling = tagged(&[(50712, 3, vec![100, 90])]);
    assert!(error(&falling).contains("must rise"));
}

#[test]
fn linear_raw_has_levels_for_each_sample() {
    let made = RawFrame {
        width: 2,
        height: 4,
        tags: vec![
            (258, 3, vec![16, 16, 16]),
            (262, 3, vec![34892]),
            (277, 3, vec![3]),
            (33421, 3, vec![]),
            (33422, 1, vec![]),
            (50714, 3, vec![10, 20, 30]),
            (50717, 3, vec![4000, 4000, 4000]),
        ],
        ..frame()
    };
    let (info, blue) = rows(made.to_dng(), ChannelChoice::Blue);
    assert_eq!((info.width, info.height, info.code_max()), (2, 4, 4000));
    assert_eq!(blue[0], (0, 0, 1, vec![2200, 2500]));
    assert_eq!(blue[3].3, [4000, 4000], "4000 and 4300 are full at 4000");
    assert_eq!(info.black_of(ChannelChoice::Green), Some(20.0));
    let tone = tone_of(&info, Some(&ToneEncoding::Linear), ChannelChoice::Blue);
    assert_eq!(
        tone.encoding,
        ToneEncoding::LinearAboveBlack {
            black: 30.0 / 4000.0
        },
        "a record that says linear doesn't take black away"
    );
}

#[test]
fn frames_that_would_be_misread_are_refused() {
    let cases: [(RawTag, &str); 8] = [
        ((50714, 4, vec![15_000]), "black level must lie"),
        ((50713, 3, vec![1, 3]), "1 × 3 black levels"),
        ((50715, 10, vec![3, 1, 0, 1]), "changes along rows"),
        ((50829, 4, vec![0, 0, 5, 6]), "active area must be"),
        ((50719, 4, vec![9, 9]), "crop must lie"),
        ((33422, 1, vec![0, 1, 1, 4]), "colour 4 in its mosaic"),
        ((33422, 1, vec![]), "colours are not named"),
        ((50717, 4, vec![0]), "white level must lie"),
    ];
    for (tag, words) in cases {
        let error = error(&tagged(std::slice::from_ref(&tag)));
        assert!(error.contains(words), "{tag:?}: {error}");
    }
}

#[test]
fn a_frame_cut_short_says_how_much_is_left() {
    let made = RawFrame::new(64, 64, vec![3000; 64 * 64]);
    let bytes = made.to_dng();
    for length in 0..bytes.len() {
        // Nothing may panic; the directory lies at the end, so most are refused.
        if let Ok(mut reader) = open(bytes[..length].to_vec()) {
            drop(reader.for_each_row(ChannelChoice::Green, |_| {}));
        }
    }
}

/// Writes bits, high one first, with a zero after each 0xFF.
#[derive(Default)]
struct BitWriter {
    bytes: Vec<u8>,
    held: u64,
    count: u32,
}

impl BitWriter {
    fn put(&mut self, value: u32, bits: u32) {
        self.held = self.held << bits | u64::from(value);
        self.count += bits;
        while self.count >= 8 {
            self.count -= 8;
            let byte = (self.held >> self.count) as u8;
            self.bytes.push(byte);
            if byte == 0xFF {
                self.bytes.push(0);
            }
        }
    }

    fn flush(&mut self) {
        // Ones fill the last byte.
        while self.count > 0 {
            self.put(1, 1);
        }
    }
}

/// How numbers are coded as lossless JPEG data.
#[derive(Clone, Copy)]
struct Coding {
    predictor: u8,
    components: usize,
    /// Rows between restarts; 0 for none.
    restart_rows: usize,
    /// Length of every code: 5 for short ones, 12 for codes beyond a look at a table.
    code_bits: u32,
}

/// Codes numbers as T.81 annex H says: an encoder apart from the decoder.
fn lossless(numbers: &[u16], row: usize, coding: Coding) -> Vec<u8> {
    let (rows, width) = (numbers.len() / row, row / coding.components);
    let mut out = vec![0xFF, 0xD8, 0xFF, 0xC4];
    // 17 codes of one length: symbols 0 to 16 are the codes 0 to 16.
    let mut counts = [0_u8; 16];
    counts[coding.code_bits as usize - 1] = 17;
    out.extend((2 + 1 + 16 + 17_u16).to_be_bytes());
    out.push(0);
    out.extend(counts);
    out.extend(0..17_u8);
    if coding.restart_rows > 0 {
        out.extend([0xFF, 0xDD, 0, 4]);
        out.extend(((coding.restart_rows * width) as u16).to_be_bytes());
    }
    out.extend([0xFF, 0xC3]);
    out.extend((8 + 3 * coding.components as u16).to_be_bytes());
    out.push(16);
    out.extend((rows as u16).to_be_bytes());
    out.extend((width as u16).to_be_bytes());
    out.push(coding.components as u8);
    for component in 0..coding.components as u8 {
        out.extend([component, 0x11, 0]);
    }
    out.extend([0xFF, 0xDA]);
    out.extend((6 + 2 * coding.components as u16).to_be_bytes());
    out.push(coding.components as u8);
    for component in 0..coding.components as u8 {
        out.extend([component, 0]);
    }
    out.extend([coding.predictor, 0, 0]);
    let mut bits = BitWriter::default();
    let at = |y: usize, i: usize| i32::from(numbers[y * row + i]);
    for y in 0..rows {
        let fresh = y == 0 || coding.restart_rows > 0 && y % coding.restart_rows == 0;
        if fresh && y > 0 {
            bits.flush();
            out.append(&mut bits.bytes);
            out.extend([0xFF, 0xD0 + ((y / coding.restart_rows - 1) % 8) as u8]);
        }
        for i in 0..row {
            let c = coding.components;
            let expected = if fresh && i < c {
                1 << 15
            } else if fresh {
                at(y, i - c)
            } else if i < c {
                at(y - 1, i)
            } else {
                let (a, b, d) = (at(y, i - c), at(y - 1, i), at(y - 1, i - c));
                match coding.predictor {
                    1 => a,
                    2 => b,
                    3 => d,
                    4 => a + b - d,
                    5 => a + ((b - d) >> 1),
                    6 => b + ((a - d) >> 1),
                    _ => (a + b) >> 1,
                }
            };
            // Differences count modulo 2^16, from −32767 to 32768.
            let difference = i32::from((at(y, i) - expected) as i16);
            if difference == -32768 {
                bits.put(16, coding.code_bits);
                continue;
            }
            let size = 32 - difference.unsigned_abs().leading_zeros();
            bits.put(size, coding.code_bits);
            if size > 0 {
                let value = if difference < 0 {
                    difference + (1 << size) - 1
                } else {
                    difference
                };
                bits.put(value as u32, size);
            }
        }
    }
    bits.flush();
    out.append(&mut bits.bytes);
    out.extend([0xFF, 0xD9]);
    out
}

/// The same frame with its numbers in a strip of lossless JPEG data.
fn compressed(frame: &RawFrame, coding: Coding) -> Vec<u8> {
    let data = lossless(&frame.samples, frame.width as usize, coding);
    let stored = 2 * frame.samples.len();
    assert!(
        data.len() <= stored,
        "the picture is meant to become shorter"
    );
    let tagged = RawFrame {
        tags: vec![(259, 3, vec![7]), (279, 4, vec![data.len() as u32])],
        ..frame.clone()
    };
    let mut bytes = tagged.to_dng();
    // The strip lies after the header; what it leaves free stays unused.
    bytes[8..8 + stored].fill(0);
    bytes[8..8 + data.len()].copy_from_slice(&data);
    bytes
}

/// Smooth tones with steps of every size, up and down.
fn tones() -> RawFrame {
    let mut state = 1_u32;
    let samples = (0..48 * 40).map(|i: u32| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let noise = (state >> 24) as u16 % 16;
        match i % 97 {
            0 => 0,
            1 => 65_535,
            2 => 32_768,
            _ => 3000 + (i % 48) as u16 * 20 + noise,
        }
    });
    RawFrame {
        white: 65_535,
        ..RawFrame::new(48, 40, samples.collect())
    }
}

#[test]
fn lossless_jpeg_data_holds_the_same_numbers() {
    let frame = tones();
    let stored = rows(frame.to_dng(), ChannelChoice::Green).1;
    for predictor in 1..=7 {
        for (components, restart_rows, code_bits) in [(1, 0, 5), (2, 0, 5), (2, 8, 5), (4, 0, 7)] {
            let coding = Coding {
                predictor,
                components,
                restart_rows,
                code_bits,
            };
            let (info, found) = rows(compressed(&frame, coding), ChannelChoice::Green);
            assert_eq!(
                found, stored,
                "predictor {predictor}, {components} components"
            );
            assert_eq!(info.compression, Compression::LosslessJpeg);
            assert!(!info.flags.contains(Flag::Lossy));
        }
    }
}

#[test]
fn codes_longer_than_a_look_at_the_table_are_read() {
    // Few differences, so that long codes still make it shorter: an even frame.
    let frame = RawFrame::new(48, 40, vec![9000; 48 * 40]);
    let coding = Coding {
        predictor: 1,
        components: 2,
        restart_rows: 0,
        code_bits: 12,
    };
    let (_, found) = rows(compressed(&frame, coding), ChannelChoice::Red);
    assert!(found.iter().all(|r| r.3 == [9000; 24]));
}

#[test]
fn damaged_lossless_jpeg_data_is_an_error_and_never_a_panic() {
    let coding = Coding {
        predictor: 6,
        components: 2,
        restart_rows: 8,
        code_bits: 5,
    };
    let whole = compressed(&tones(), coding);
    let mut state = 7_u32;
    for _ in 0..4000 {
        let mut bytes = whole.clone();
        for _ in 0..3 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let at = 8 + (state >> 8) as usize % 700;
            bytes[at] = (state >> 3) as u8;
        }
        if let Ok(mut reader) = open(bytes) {
            drop(reader.for_each_row(ChannelChoice::Green, |_| {}));
        }
    }
    // Cut off within the coded numbers: said, not filled up.
    let mut short = whole;
    short[2000..].iter_mut().take(1840).for_each(|b| *b = 0);
    short[1990..1992].copy_from_slice(&[0xFF, 0xD9]);
    let mut reader = open(short).unwrap();
    let error = reader
        .for_each_row(ChannelChoice::Green, |_| {})
        .unwrap_err();
    assert!(error.to_string().contains("damaged"), "{error}");
}

/// Found by damaged files: rows without a single code came out of such a frame.
#[test]
fn a_frame_smaller_than_its_mosaics_cell_is_refused() {
    for (width, height) in [(1, 4), (4, 1)] {
        let dng = RawFrame::new(width, height, vec![2000; 4]).to_dng();
        let error = ScanReader::open(Cursor::new(dng), 0, &DecodeLimits::default()).unwrap_err();
        assert!(
            error.to_string().contains("smaller than one cell"),
            "{width} × {height}: {error}"
        );
    }
}
