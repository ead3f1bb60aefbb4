//! Decoding: every layout written by hand, files that must be refused, and
//! bytes that nobody should have written.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::decode::{
    ChannelChoice, Codes, DecodeError, DecodeLimits, ExtraSample, Polarity, SampleKind, ScanInfo,
    ScanReader,
};
use proptest::prelude::*;
use quantity::Flag;
use std::io::{Cursor, Write};

/// A TIFF file put together tag by tag.
#[derive(Clone)]
struct Tiff {
    big_endian: bool,
    big: bool,
    /// (tag, type, values); types 3 (16 bits), 4 (32 bits), 7 (bytes).
    tags: Vec<(u16, u16, Vec<u64>)>,
    chunks: Vec<Vec<u8>>,
    tiled: bool,
}

impl Tiff {
    fn new(width: u64, height: u64, bits: &[u64], photometric: u64) -> Self {
        let tags = vec![
            (256, 4, vec![width]),
            (257, 4, vec![height]),
            (258, 3, bits.to_vec()),
            (259, 3, vec![1]),
            (262, 3, vec![photometric]),
            (277, 3, vec![bits.len() as u64]),
        ];
        Self {
            big_endian: false,
            big: false,
            tags,
            chunks: Vec::new(),
            tiled: false,
        }
    }

    fn tag(mut self, tag: u16, kind: u16, values: &[u64]) -> Self {
        self.tags.retain(|t| t.0 != tag);
        self.tags.push((tag, kind, values.to_vec()));
        self
    }

    fn chunks(mut self, chunks: Vec<Vec<u8>>) -> Self {
        self.chunks = chunks;
        self
    }

    fn put(&self, out: &mut Vec<u8>, value: u64, bytes: usize) {
        let le = value.to_le_bytes();
        if self.big_endian {
            out.extend(le[..bytes].iter().rev());
        } else {
            out.extend(&le[..bytes]);
        }
    }

    fn header(&self, first: u64) -> Vec<u8> {
        let mut out = if self.big_endian {
            b"MM".to_vec()
        } else {
            b"II".to_vec()
        };
        if self.big {
            self.put(&mut out, 43, 2);
            self.put(&mut out, 8, 2);
            self.put(&mut out, 0, 2);
            self.put(&mut out, first, 8);
        } else {
            self.put(&mut out, 42, 2);
            self.put(&mut out, first, 4);
        }
        out
    }

    /// Writes one page after what `out` holds; gives the file and the place of
    /// the offset of the next page.
    fn page(&self, mut out: Vec<u8>) -> (Vec<u8>, usize) {
        let mut offsets = Vec::new();
        for chunk in &self.chunks {
            offsets.push(out.len() as u64);
            out.extend(chunk);
        }
        let counts: Vec<u64> = self.chunks.iter().map(|c| c.len() as u64).collect();
        let (o, c) = if self.tiled { (324, 325) } else { (273, 279) };
        let word = if self.big { 8 } else { 4 };
        let mut page = self.clone();
        for (tag, values) in [(o, offsets), (c, counts)] {
            if !page.tags.iter().any(|t| t.0 == tag) {
                page.tags.push((tag, 4, values));
            }
        }
        page.tags.sort_by_key(|t| t.0);
        let mut placed = Vec::new();
        for (tag, kind, values) in &page.tags {
            let size = match kind {
                3 => 2,
                4 => 4,
                _ => 1,
            };
            let mut bytes = Vec::new();
            for value in values {
                self.put(&mut bytes, *value, size);
            }
            if bytes.len() > word {
                let at = out.len() as u64;
                out.extend(&bytes);
                bytes.clear();
                self.put(&mut bytes, at, word);
            }
            bytes.resize(word, 0);
            placed.push((*tag, *kind, values.len() as u64, bytes));
        }
        let directory = out.len() as u64;
        self.put(&mut out, placed.len() as u64, if self.big { 8 } else { 2 });
        for (tag, kind, count, bytes) in placed {
            self.put(&mut out, u64::from(tag), 2);
            self.put(&mut out, u64::from(kind), 2);
            self.put(&mut out, count, word);
            out.extend(bytes);
        }
        let next = out.len();
        self.put(&mut out, 0, word);
        let header = self.header(directory);
        if out[4..8] == [0; 4] || self.big {
            out[..header.len()].copy_from_slice(&header);
        }
        (out, next)
    }

    fn bytes(&self) -> Vec<u8> {
        self.page(self.header(0)).0
    }
}

fn words(codes: &[u16], big_endian: bool) -> Vec<u8> {
    codes
        .iter()
        .flat_map(|c| {
            if big_endian {
                c.to_be_bytes()
            } else {
                c.to_le_bytes()
            }
        })
        .collect()
}

/// 7 × 5 codes that differ everywhere.
fn picture(width: usize, height: usize) -> Vec<u16> {
    (0..width * height)
        .map(|i| (i * 1777 % 65536) as u16)
        .collect()
}

fn open(bytes: Vec<u8>) -> Result<ScanReader<Cursor<Vec<u8>>>, DecodeError> {
    ScanReader::open(Cursor::new(bytes), 0, &DecodeLimits::default())
}

fn read(bytes: Vec<u8>, channel: ChannelChoice) -> Result<(ScanInfo, Vec<u16>), DecodeError> {
    let mut reader = open(bytes)?;
    let mut all = Vec::new();
    let mut next = 0;
    reader.for_each_row(channel, |row| {
        assert!(row.y >= next, "rows come from the top");
        next = row.y + 1;
        match row.codes {
            Codes::Unsigned(codes) => all.extend(codes),
            Codes::Float(_) => {
                all.extend((0..row.codes.len()).map(|i| row.codes.at(i).unwrap_or(0)))
            }
        }
    })?;
    Ok((reader.info().clone(), all))
}

fn refusal(bytes: Vec<u8>) -> String {
    match read(bytes, ChannelChoice::Grey) {
        Ok(_) => panic!("the file was read"),
        Err(error) => error.to_string(),
    }
}

#[test]
fn strips_and_tiles_of_both_byte_orders_and_offset_sizes_hold_the_same_picture() {
    let codes = picture(7, 5);
    for big_endian in [false, true] {
        for big in [false, true] {
            let strips: Vec<Vec<u8>> = codes
                .chunks(14)
                .map(|rows| words(rows, big_endian))
                .collect();
            let mut file = Tiff::new(7, 5, &[16], 1).tag(278, 4, &[2]).chunks(strips);
            (file.big_endian, file.big) = (big_endian, big);
            let (info, read_back) = read(file.bytes(), ChannelChoice::Grey).unwrap();
            assert_eq!(
                read_back, codes,
                "strips, big endian {big_endian}, BigTIFF {big}"
            );
            assert_eq!((info.width, info.height, info.bits), (7, 5, 16));
            // Tiles of 16 × 16 that reach beyond the picture.
            let mut tile = vec![0xEEEE; 256];
            for (y, row) in codes.chunks(7).enumerate() {
                tile[y * 16..y * 16 + 7].copy_from_slice(row);
            }
            let mut file = Tiff::new(7, 5, &[16], 1)
                .tag(322, 4, &[16])
                .tag(323, 4, &[16])
                .chunks(vec![words(&tile, big_endian)]);
            (file.big_endian, file.big, file.tiled) = (big_endian, big, true);
            let (_, read_back) = read(file.bytes(), ChannelChoice::Grey).unwrap();
            assert_eq!(
                read_back, codes,
                "tiles, big endian {big_endian}, BigTIFF {big}"
            );
        }
    }
}

#[test]
fn min_is_white_keeps_its_codes_and_says_so() {
    let codes = picture(7, 5);
    let file = Tiff::new(7, 5, &[16], 0).chunks(vec![words(&codes, false)]);
    let (info, read_back) = read(file.bytes(), ChannelChoice::Grey).unwrap();
    assert_eq!(read_back, codes, "codes are as stored");
    assert_eq!(info.polarity, Polarity::WhiteIsZero);
    let tone = negative::tone::tone_of(&info, None, ChannelChoice::Grey);
    assert_eq!(tone.signal(0.0), 1.0, "code 0 is full light");
}

#[test]
fn packed_twelve_bits_and_planar_samples_are_told_apart() {
    // Hand packing: three codes of 12 bits a row, padded to 5 bytes.
    let rows = [[0xABC, 0x123, 0xFFF], [0x001, 0x800, 0x07F]];
    let packed: Vec<u8> = rows
        .iter()
        .flat_map(|[a, b, c]: &[u32; 3]| {
            let joined = (u64::from(*a) << 28) | (u64::from(*b) << 16) | (u64::from(*c) << 4);
            joined.to_be_bytes()[3..].to_vec()
        })
        .collect();
    let file = Tiff::new(3, 2, &[12], 1).chunks(vec![packed]);
    let (info, codes) = read(file.bytes(), ChannelChoice::Grey).unwrap();
    assert_eq!(codes, [0xABC, 0x123, 0xFFF, 0x001, 0x800, 0x07F]);
    assert_eq!(info.code_max(), 4095);

    let planes = vec![vec![10, 20], vec![30, 40], vec![51, 62], vec![7, 8]];
    let file = Tiff::new(2, 1, &[8, 8, 8, 8], 2)
        .tag(284, 3, &[2])
        .tag(338, 3, &[0])
        .chunks(planes);
    let bytes = file.bytes();
    let of = |channel| read(bytes.clone(), channel).unwrap().1;
    assert_eq!(of(ChannelChoice::Red), [10, 20]);
    assert_eq!(of(ChannelChoice::Blue), [51, 62]);
    // Hand calculation: (10 + 30 + 51) / 3 = 30.3, (20 + 40 + 62) / 3 = 40.7.
    assert_eq!(of(ChannelChoice::Mean), [30, 41]);
    assert_eq!(of(ChannelChoice::Extra(0)), [7, 8]);
    let info = read(bytes.clone(), ChannelChoice::Red).unwrap().0;
    assert_eq!(
        info.extra_samples,
        [ExtraSample::Unspecified],
        "the infrared channel is kept apart"
    );
    let error = read(bytes, ChannelChoice::Grey).unwrap_err().to_string();
    assert_eq!(
        error,
        "channel grey was asked for, but the file has red, green and blue and 1 extra samples"
    );
}

#[test]
fn a_mosaic_phase_takes_every_second_pixel_of_every_second_row() {
    let codes = picture(5, 4);
    let file = Tiff::new(5, 4, &[16], 32803).chunks(vec![words(&codes, false)]);
    let mut reader = open(file.bytes()).unwrap();
    let mut seen = Vec::new();
    reader
        .for_each_row(ChannelChoice::MosaicPhase { row: 1, column: 1 }, |row| {
            for i in 0..row.codes.len() {
                seen.push((
                    row.x_first + i as u32 * row.x_step,
                    row.y,
                    row.codes.at(i).unwrap(),
                ));
            }
        })
        .unwrap();
    let expected: Vec<_> = [(1, 1), (3, 1), (1, 3), (3, 3)]
        .map(|(x, y)| (x, y, codes[(y * 5 + x) as usize]))
        .to_vec();
    assert_eq!(seen, expected);
    assert!(
        reader
            .for_each_row(ChannelChoice::MosaicPhase { row: 2, column: 0 }, |_| {})
            .is_err()
    );
}

fn deflated(bytes: &[u8]) -> Vec<u8> {
    use std::io::Write;
    let mut encoder = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::default());
    encoder.write_all(bytes).unwrap();
    encoder.finish().unwrap()
}

fn lzw(bytes: &[u8]) -> Vec<u8> {
    weezl::encode::Encoder::with_tiff_size_switch(weezl::BitOrder::Msb, 8)
        .encode(bytes)
        .unwrap()
}

/// LZW as the widespread C library writes it: a clear code when the table has
/// 4094 entries, codes one bit wider as soon as entry 511, 1023 or 2047 is made; the end code is optional.
/// Source: TIFF 6.0, section 13.
fn lzw_of_the_c_library(bytes: &[u8], with_end: bool) -> Vec<u8> {
    let (mut out, mut held, mut bits) = (Vec::new(), 0_u64, 0);
    let mut put = |code: u16, width: u32| {
        held = (held << width) | u64::from(code);
        bits += width;
        while bits >= 8 {
            bits -= 8;
            out.push((held >> bits) as u8);
            held &= (1 << bits) - 1;
        }
        if code == 257 && bits > 0 {
            out.push((held << (8 - bits)) as u8);
            bits = 0;
        }
    };
    let mut table = std::collections::HashMap::new();
    let (mut next, mut width) = (258_u16, 9);
    put(256, 9);
    let mut prefix: Option<u16> = None;
    for &byte in bytes {
        let Some(code) = prefix else {
            prefix = Some(u16::from(byte));
            continue;
        };
        if let Some(&longer) = table.get(&(code, byte)) {
            prefix = Some(longer);
            continue;
        }
        put(code, width);
        table.insert((code, byte), next);
        next += 1;
        prefix = Some(u16::from(byte));
        if next == 4094 {
            put(256, width);
            table.clear();
            (next, width) = (258, 9);
        } else if u32::from(next) > (1 << width) - 1 {
            width += 1;
        }
    }
    if let Some(code) = prefix {
        put(code, width);
        next += 1;
        if next == 4094 {
            put(256, width);
            width = 9;
        } else if u32::from(next) > (1 << width) - 1 {
            width += 1;
        }
    }
    if with_end {
        put(257, width);
    } else {
        // Fill up the last byte.
        put(0, 8);
    }
    out
}

/// PackBits with literal runs only: any decoder must read it.
fn pack_bits(bytes: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    for run in bytes.chunks(128) {
        out.push(run.len() as u8 - 1);
        out.extend(run);
    }
    out
}

#[test]
fn compressions_and_predictors_hold_the_same_picture() {
    let (width, height) = (61, 40);
    let codes = picture(width, height);
    let differences: Vec<u16> = codes
        .chunks(width)
        .flat_map(|row| {
            let mut left = 0;
            row.iter()
                .map(move |c| c.wrapping_sub(std::mem::replace(&mut left, *c)))
                .collect::<Vec<_>>()
        })
        .collect();
    for big_endian in [false, true] {
        for (compression, code) in [
            (5, lzw as fn(&[u8]) -> Vec<u8>),
            (8, deflated),
            (32946, deflated),
            (32773, pack_bits),
        ] {
            for predictor in [1, 2] {
                if predictor == 2 && compression == 32773 {
                    continue;
                }
                let stored = if predictor == 2 { &differences } else { &codes };
                for rows in [1, 7, 40] {
                    let strips = stored
                        .chunks(width * rows)
                        .map(|s| code(&words(s, big_endian)))
                        .collect();
                    let mut file = Tiff::new(width as u64, height as u64, &[16], 1)
                        .tag(259, 3, &[compression])
                        .tag(317, 3, &[predictor])
                        .tag(278, 4, &[rows as u64])
                        .chunks(strips);
                    file.big_endian = big_endian;
                    let (_, read_back) = read(file.bytes(), ChannelChoice::Grey).unwrap();
                    assert_eq!(
                        read_back, codes,
                        "compression {compression}, predictor {predictor}, {rows} rows a strip"
                    );
                }
            }
        }
    }
}

#[test]
fn an_lzw_strip_without_end_code_is_read() {
    // Fault of a general decoder: valid files stop with "no end code".
    let bytes = vec![0x55; 4000];
    let mut strip = lzw(&bytes);
    // The end code takes the last 9 to 12 bits: take the last byte off.
    strip.pop();
    let file = Tiff::new(80, 50, &[8], 1)
        .tag(259, 3, &[5])
        .chunks(vec![strip]);
    let (_, codes) = read(file.bytes(), ChannelChoice::Grey).unwrap();
    assert_eq!(codes, vec![0x55; 4000]);
}

#[test]
fn what_the_tiff_crate_writes_and_reads_is_read_alike() {
    use tiff::encoder::{Compression, DeflateLevel, TiffEncoder, colortype};
    let codes = picture(64, 33);
    let mut files = Vec::new();
    for kind in 0..4 {
        let mut bytes = Cursor::new(Vec::new());
        let encoder = TiffEncoder::new(&mut bytes).unwrap();
        let compression = [
            Compression::Uncompressed,
            Compression::Lzw,
            Compression::Deflate(DeflateLevel::Fast),
            Compression::Packbits,
        ][kind];
        let mut encoder = encoder.with_compression(compression);
        encoder
            .write_image::<colortype::Gray16>(64, 33, &codes)
            .unwrap();
        files.push(bytes.into_inner());
    }
    for bytes in files {
        let (_, ours) = read(bytes.clone(), ChannelChoice::Grey).unwrap();
        let theirs = tiff::decoder::Decoder::new(Cursor::new(bytes))
            .unwrap()
            .read_image()
            .unwrap();
        assert!(matches!(theirs, tiff::decoder::DecodingResult::U16(v) if v == ours));
        assert_eq!(ours, codes);
    }
}

#[test]
fn a_large_strip_is_streamed_and_equals_small_ones() {
    // 3000 × 2000 × 2 bytes = 12 MB: above the batch, so the strip is streamed.
    let (width, height) = (3000, 2000);
    let codes: Vec<u16> = (0..width * height)
        .map(|i: usize| ((i * 31) >> 4 & 0x0FFF) as u16)
        .collect();
    let bytes = words(&codes, false);
    for (compression, strip) in [
        (1, bytes.clone()),
        (5, lzw(&bytes)),
        (8, deflated(&bytes)),
        (32773, pack_bits(&bytes)),
    ] {
        let file = Tiff::new(width as u64, height as u64, &[16], 1)
            .tag(259, 3, &[compression])
            .chunks(vec![strip]);
        let (_, read_back) = read(file.bytes(), ChannelChoice::Grey).unwrap();
        assert!(read_back == codes, "compression {compression}");
    }
}

#[test]
fn float_samples_and_their_predictor_are_read() {
    let values = [0.0_f32, 0.25, 1.0, 0.5];
    let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
    let file = Tiff::new(4, 1, &[32], 1)
        .tag(339, 3, &[3])
        .chunks(vec![bytes]);
    let mut reader = open(file.bytes()).unwrap();
    assert_eq!(reader.info().sample_kind, SampleKind::Float);
    let mut seen: Vec<f32> = Vec::new();
    reader
        .for_each_row(ChannelChoice::Grey, |row| {
            if let Codes::Float(codes) = row.codes {
                seen.extend(codes);
            }
        })
        .unwrap();
    assert_eq!(seen, values);
}

#[test]
fn pages_are_chosen_and_told() {
    let page = |value: u8| Tiff::new(2, 1, &[8], 1).chunks(vec![vec![value, value]]);
    let (mut out, next) = page(1).page(page(1).header(0));
    let second = out.len();
    let (with_second, _) = page(2).page(out.clone());
    out = with_second;
    // The directory of the second page lies after its pixels.
    let directory = second + 2;
    out[next..next + 4].copy_from_slice(&(directory as u32).to_le_bytes());
    let mut reader =
        ScanReader::open(Cursor::new(out.clone()), 1, &DecodeLimits::default()).unwrap();
    assert_eq!((reader.info().page, reader.info().page_count), (1, 2));
    assert!(reader.info().flags.contains(Flag::SeveralImages));
    let mut seen = Vec::new();
    reader
        .for_each_row(ChannelChoice::Grey, |row| seen.extend(row.codes.at(0)))
        .unwrap();
    assert_eq!(seen, [2]);
    let error = ScanReader::open(Cursor::new(out), 2, &DecodeLimits::default())
        .unwrap_err()
        .to_string();
    assert_eq!(
        error,
        "page 2 was asked for (counted from 0), but the file has 2"
    );
}

#[test]
fn kinds_that_are_not_read_are_refused_with_their_reason() {
    let grey =
        |bits: u64, photometric| Tiff::new(4, 2, &[bits], photometric).chunks(vec![vec![0; 64]]);
    for (file, words) in [
        (
            grey(8, 3),
            "a palette of 8-bit numbers has 768 values, found 0",
        ),
        (grey(20, 1), "20-bit samples"),
        (grey(12, 1).tag(339, 3, &[2]), "signed 12-bit"),
        (grey(8, 1).tag(339, 3, &[3]), "8-bit float"),
        (grey(32, 1).tag(339, 3, &[6]), "complex numbers"),
        (grey(8, 6).tag(259, 3, &[6]), "the old form of JPEG"),
        (grey(16, 1).tag(259, 3, &[7]), "16-bit samples in JPEG data"),
        (grey(8, 1).tag(259, 3, &[4]), "8-bit samples in fax codes"),
        (grey(4, 1).tag(259, 3, &[32809]), "ThunderScan"),
        (grey(16, 32844).tag(259, 3, &[34676]), "LogL"),
        (
            grey(8, 1).tag(259, 3, &[50000]),
            "compression 50000 (Zstandard)",
        ),
        (grey(8, 1).tag(259, 3, &[60000]), "compression 60000;"),
        (grey(8, 8), "Lab"),
        (
            grey(8, 1).tag(274, 3, &[9]),
            "orientation is 1 to 8, found 9",
        ),
        (grey(8, 1).tag(266, 3, &[3]), "fill order is 1 or 2"),
        (
            Tiff::new(4, 2, &[8; 4], 5).chunks(vec![vec![0; 64]]),
            "CMYK",
        ),
        (
            Tiff::new(4, 2, &[8; 3], 6).chunks(vec![vec![0; 64]]),
            "YCbCr",
        ),
        (
            Tiff::new(4, 2, &[8, 16, 8], 2).chunks(vec![vec![0; 64]]),
            "different numbers of bits",
        ),
        (
            Tiff::new(4, 2, &[8], 2).chunks(vec![vec![0; 64]]),
            "samples per pixel",
        ),
        (grey(8, 1).tag(256, 4, &[0]), "width"),
        (grey(8, 1).tag(278, 4, &[0]), "at least 1 × 1"),
    ] {
        let said = refusal(file.bytes());
        assert!(
            said.contains(words),
            "expected words \"{words}\", the refusal is: {said}"
        );
    }
    assert_eq!(
        refusal(b"GIF89a..".to_vec()),
        "not a TIFF, PNG or JPEG file: its first bytes are 47 49 46 38 39 61 2e 2e"
    );
    assert_eq!(refusal(Vec::new()), "the file is empty");
}

#[test]
fn a_header_that_claims_gigabytes_is_refused_before_anything_is_allocated() {
    let bomb = |bits, compression, rows| {
        let strips = 32768_u64.div_ceil(rows) as usize;
        Tiff::new(32768, 32768, &[bits], 1)
            .tag(259, 3, &[compression])
            .tag(278, 4, &[rows])
            .chunks(vec![vec![0; 40]; strips])
            .bytes()
    };
    // 8 bits claim 1 GiB, 16 bits 2 GiB; 32768 rows are one strip.
    for (bits, compression, rows) in [
        (8, 1, 32768),
        (8, 5, 32768),
        (8, 8, 32768),
        (8, 32773, 32768),
        (8, 8, 256),
        (16, 1, 32768),
        (16, 5, 32768),
        (16, 8, 32768),
    ] {
        let error = open(bomb(bits, compression, rows)).unwrap_err();
        let refused = matches!(
            error,
            DecodeError::ImplausibleSize { .. } | DecodeError::CutShort { .. }
        );
        assert!(refused, "{bits} bits, compression {compression}: {error}");
    }
    let error = open(
        Tiff::new(4_000_000_000, 4_000_000_000, &[16], 1)
            .chunks(vec![vec![0; 8]])
            .bytes(),
    )
    .unwrap_err();
    assert!(matches!(error, DecodeError::TooLarge { .. }), "{error}");
    // A tag that claims more values than the file has bytes.
    let file = Tiff::new(4, 4, &[8], 1)
        .tag(273, 4, &[8])
        .chunks(vec![vec![0; 16]]);
    let mut bytes = file.bytes();
    let at = bytes
        .windows(4)
        .position(|w| w == [0x11, 0x01, 4, 0])
        .unwrap();
    bytes[at + 4..at + 8].copy_from_slice(&u32::MAX.to_le_bytes());
    assert!(open(bytes).is_err());
}

#[test]
fn a_file_cut_short_says_how_far_it_got() {
    // The directory first and the pixels last, as a scanner that stops leaves it.
    let codes = picture(100, 50);
    let whole = Tiff::new(100, 50, &[16], 1).chunks(vec![words(&codes, false)]);
    let mut bytes = whole.bytes();
    let directory_first = bytes.len() as u64;
    bytes.extend(words(&codes, false));
    let at = bytes
        .windows(4)
        .position(|w| w == [0x11, 0x01, 4, 0])
        .unwrap();
    bytes[at + 8..at + 12].copy_from_slice(&(directory_first as u32).to_le_bytes());
    assert_eq!(read(bytes.clone(), ChannelChoice::Grey).unwrap().1, codes);
    // 30 rows of 200 bytes and a half.
    bytes.truncate(directory_first as usize + 30 * 200 + 100);
    let error = open(bytes).unwrap_err();
    assert!(
        matches!(
            error,
            DecodeError::CutShort {
                rows_complete: 30,
                rows: 50,
                ..
            }
        ),
        "{error}"
    );

    let strips: Vec<Vec<u8>> = codes
        .chunks(1000)
        .map(|s| deflated(&words(s, false)))
        .collect();
    let mut file = Tiff::new(100, 50, &[16], 1)
        .tag(259, 3, &[8])
        .tag(278, 4, &[10])
        .chunks(strips);
    let damaged = file.chunks[2].len() - 40;
    file.chunks[2].truncate(damaged);
    match read(file.bytes(), ChannelChoice::Grey) {
        Err(DecodeError::Damaged {
            rows_complete,
            rows: 50,
            ..
        }) => assert!((20..30).contains(&rows_complete)),
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_chain_of_pages_that_bites_its_tail_ends() {
    let file = Tiff::new(2, 1, &[8], 1).chunks(vec![vec![1, 2]]);
    let (mut bytes, next) = file.page(file.header(0));
    let first = bytes[4..8].to_vec();
    bytes[next..next + 4].copy_from_slice(&first);
    assert!(refusal(bytes).contains("returns to byte"));
}

fn image_bytes(picture: &image::DynamicImage, format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

#[test]
fn png_keeps_sixteen_bits_and_jpeg_is_flagged_lossy() {
    let codes = picture(9, 4);
    let grey = image::ImageBuffer::from_raw(9, 4, codes.clone()).unwrap();
    let png = image_bytes(
        &image::DynamicImage::ImageLuma16(grey),
        image::ImageFormat::Png,
    );
    let (info, read_back) = read(png.clone(), ChannelChoice::Grey).unwrap();
    assert_eq!((info.bits, read_back), (16, codes));
    assert!(info.flags.is_empty());
    let mut cut = png;
    cut.truncate(cut.len() / 2);
    assert!(read(cut, ChannelChoice::Grey).is_err());

    let rgb: Vec<u8> = (0..16 * 16 * 3)
        .map(|i| if i % 3 == 1 { 200 } else { 40 })
        .collect();
    let rgb = image::DynamicImage::ImageRgb8(image::ImageBuffer::from_raw(16, 16, rgb).unwrap());
    let (info, green) = read(
        image_bytes(&rgb, image::ImageFormat::Jpeg),
        ChannelChoice::Green,
    )
    .unwrap();
    assert!(info.flags.contains(Flag::Lossy));
    // 8: JPEG's own loss on a flat field, generously.
    assert!(green.iter().all(|c| c.abs_diff(200) < 8), "{green:?}");
    let (info, alpha) = read(
        image_bytes(&rgb.to_rgba8().into(), image::ImageFormat::Png),
        ChannelChoice::Extra(0),
    )
    .unwrap();
    assert_eq!(info.extra_samples, [ExtraSample::UnassociatedAlpha]);
    assert!(alpha.iter().all(|c| *c == 255));
}

/// Valid files to break.
fn valid_files() -> Vec<Vec<u8>> {
    let codes = picture(16, 16);
    let strips = |code: fn(&[u8]) -> Vec<u8>| {
        codes
            .chunks(64)
            .map(|s| code(&words(s, false)))
            .collect::<Vec<_>>()
    };
    let grey = image::ImageBuffer::from_raw(16, 16, codes.clone()).unwrap();
    let rgb = image::DynamicImage::ImageLuma16(grey);
    let mut big = Tiff::new(16, 16, &[16], 1).chunks(vec![words(&codes, true)]);
    (big.big, big.big_endian) = (true, true);
    let mut tiled = Tiff::new(16, 16, &[16], 1)
        .tag(322, 4, &[16])
        .tag(323, 4, &[16])
        .tag(259, 3, &[5])
        .chunks(vec![lzw(&words(&codes, false))]);
    tiled.tiled = true;
    vec![
        Tiff::new(16, 16, &[16], 1)
            .tag(278, 4, &[4])
            .chunks(strips(<[u8]>::to_vec))
            .bytes(),
        Tiff::new(16, 16, &[16], 1)
            .tag(278, 4, &[4])
            .tag(259, 3, &[5])
            .chunks(strips(lzw))
            .bytes(),
        Tiff::new(16, 16, &[16], 0)
            .tag(278, 4, &[4])
            .tag(259, 3, &[8])
            .tag(317, 3, &[2])
            .chunks(strips(deflated))
            .bytes(),
        Tiff::new(16, 16, &[16], 1)
            .tag(278, 4, &[4])
            .tag(259, 3, &[32773])
            .chunks(strips(pack_bits))
            .bytes(),
        Tiff::new(8, 16, &[12, 12, 12], 2)
            .tag(284, 3, &[2])
            .chunks(vec![vec![0x5A; 12 * 16]; 3])
            .bytes(),
        big.bytes(),
        tiled.bytes(),
        image_bytes(&rgb, image::ImageFormat::Png),
        image_bytes(&rgb.to_rgb8().into(), image::ImageFormat::Jpeg),
    ]
}

/// Reads all that can be read; only that it ends without a panic counts.
fn try_all(bytes: &[u8]) {
    let limits = DecodeLimits {
        max_pixels: 1 << 22,
        ratio_free_bytes: 1 << 20,
        ..DecodeLimits::default()
    };
    for page in 0..2 {
        let Ok(mut reader) = ScanReader::open(Cursor::new(bytes), page, &limits) else {
            continue;
        };
        let info = reader.info().clone();
        for channel in [
            ChannelChoice::Grey,
            ChannelChoice::Mean,
            ChannelChoice::Extra(0),
            ChannelChoice::MosaicPhase { row: 1, column: 0 },
        ] {
            let tone = negative::tone::tone_of(&info, None, channel);
            let _ = tone.signal(1.0);
            let mut rows = 0;
            if reader.for_each_row(channel, |_| rows += 1).is_ok() {
                let expected = if matches!(channel, ChannelChoice::MosaicPhase { .. }) {
                    info.height / 2
                } else {
                    info.height
                };
                assert_eq!(rows, expected, "every row comes once");
            }
        }
    }
}

proptest! {
    /// Small and very compressible chunks are where LZW decoders fail.
    #[test]
    fn lzw_of_another_writer_is_read(
        runs in prop::collection::vec((any::<u8>(), 1_usize..3000), 1..40),
        noise in prop::collection::vec(any::<u8>(), 0..6000),
        with_end in any::<bool>(),
    ) {
        let mut bytes: Vec<u8> = runs.iter().flat_map(|(byte, count)| std::iter::repeat_n(*byte, *count)).collect();
        bytes.extend(noise);
        let strip = lzw_of_the_c_library(&bytes, with_end);
        let file = Tiff::new(bytes.len() as u64, 1, &[8], 1).tag(259, 3, &[5]).chunks(vec![strip]);
        let (_, codes) = read(file.bytes(), ChannelChoice::Grey).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert!(codes.iter().zip(&bytes).all(|(c, b)| *c == u16::from(*b)));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn random_bytes_never_panic(start in 0..4_usize, bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let heads: [&[u8]; 4] = [b"", b"II*\0\x08\0\0\0", &[0x89, b'P', b'N', b'G', 13, 10, 26, 10], &[0xFF, 0xD8, 0xFF]];
        let mut file = heads[start].to_vec();
        file.extend(bytes);
        try_all(&file);
    }

    #[test]
    fn broken_files_never_panic(
        file in 0..9_usize,
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in prop::option::of(any::<prop::sample::Index>()),
    ) {
        let mut bytes = valid_files().swap_remove(file);
        for (place, value) in changes {
            let place = place.index(bytes.len());
            bytes[place] = value;
        }
        if let Some(cut) = cut {
            bytes.truncate(cut.index(bytes.len()));
        }
        try_all(&bytes);
    }
}

#[test]
fn planar_tiles_and_chunky_colours_are_told_apart() {
    let mut file = Tiff::new(20, 3, &[8, 8, 8], 2)
        .tag(284, 3, &[2])
        .tag(322, 4, &[16])
        .tag(323, 4, &[16])
        .chunks((1..=6).map(|tile| vec![tile; 256]).collect());
    file.tiled = true;
    let row = |left: u16, right: u16| [vec![left; 16], vec![right; 4]].concat().repeat(3);
    let of = |channel| read(file.bytes(), channel).unwrap().1;
    assert_eq!(of(ChannelChoice::Red), row(1, 2));
    assert_eq!(of(ChannelChoice::Blue), row(5, 6));
    assert_eq!(of(ChannelChoice::Mean), row(3, 4));
    let chunky =
        Tiff::new(2, 1, &[16, 16, 16], 2).chunks(vec![words(&[1, 2, 3, 40, 50, 60], false)]);
    let of = |channel| read(chunky.bytes(), channel).unwrap().1;
    assert_eq!(of(ChannelChoice::Green), [2, 50]);
    assert_eq!(of(ChannelChoice::Mean), [2, 50]);
}

#[test]
fn a_jpeg_that_asks_to_be_turned_is_turned() {
    let pixels = (0..16 * 8)
        .map(|i| if i % 16 < 8 { 20 } else { 220 })
        .collect();
    let grey = image::ImageBuffer::from_raw(16, 8, pixels).unwrap();
    let jpeg = image_bytes(
        &image::DynamicImage::ImageLuma8(grey),
        image::ImageFormat::Jpeg,
    );
    // Exif with one tag: orientation 6, the picture is to be turned by 90 degrees clockwise.
    let mut exif =
        b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0".to_vec();
    let mut turned = vec![0xFF, 0xD8, 0xFF, 0xE1, 0, exif.len() as u8 + 2];
    turned.append(&mut exif);
    turned.extend(&jpeg[2..]);
    let (info, codes) = read(turned, ChannelChoice::Grey).unwrap();
    assert_eq!((info.width, info.height), (8, 16));
    // The left half, dark, comes to lie at the top. 40: JPEG's loss at an edge.
    assert!(codes[4] < 60 && codes[15 * 8 + 4] > 180, "{codes:?}");
}

#[test]
fn a_png_that_contradicts_itself_is_refused_and_its_chunks_are_heard() {
    let grey = image::ImageBuffer::from_raw(4, 4, vec![9_u8; 16]).unwrap();
    let png = image_bytes(
        &image::DynamicImage::ImageLuma8(grey),
        image::ImageFormat::Png,
    );
    // Bytes 24 and 25 of a PNG are bit depth and colour type.
    for (place, value, words) in [(24, 3, "samples of 3 bits"), (25, 9, "colour type 9")] {
        let mut broken = png.clone();
        broken[place] = value;
        let said = refusal(broken);
        assert!(
            said.contains(words),
            "expected words \"{words}\", the refusal is: {said}"
        );
    }
    // A gAMA chunk of 1/2.2 (45455) and pHYs of 11811 pixels a metre, put after
    // the header; their checks are not looked at before the picture is decoded.
    let mut said = png[..33].to_vec();
    said.extend([0, 0, 0, 4]);
    said.extend(b"gAMA");
    said.extend(45_455_u32.to_be_bytes());
    said.extend(0x0BFC_6105_u32.to_be_bytes());
    said.extend([0, 0, 0, 9]);
    said.extend(b"pHYs");
    said.extend([
        0, 0, 0x2E, 0x23, 0, 0, 0x2E, 0x23, 1, 0x78, 0xA5, 0x3F, 0x76,
    ]);
    said.extend(&png[33..]);
    let reader = open(said).unwrap();
    let resolution = reader.info().resolution.unwrap();
    // Hand calculation: 11811 × 0.0254 = 299.999.
    assert!(
        (resolution.x_per_inch - 299.9994).abs() < 1e-6,
        "{resolution:?}"
    );
    match &reader.info().chunk_tone {
        // Hand calculation: 100000 / 45455 = 2.19998.
        Some(negative::tone::ToneEncoding::Gamma(gamma)) => {
            assert!((gamma - 2.199_98).abs() < 1e-5)
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_png_profile_that_inflates_beyond_the_limit_is_refused_before_it_does() {
    let grey = image::ImageBuffer::from_raw(4, 4, vec![9_u8; 16]).unwrap();
    let png = image_bytes(
        &image::DynamicImage::ImageLuma8(grey),
        image::ImageFormat::Png,
    );
    // Checks of chunks are not looked at before the limit is.
    let with_profile = |bytes: usize| {
        let mut zlib = flate2::write::ZlibEncoder::new(vec![], flate2::Compression::best());
        zlib.write_all(&vec![0; bytes]).unwrap();
        let chunk = [b"name\0\0".to_vec(), zlib.finish().unwrap()].concat();
        let mut file = png[..33].to_vec();
        file.extend((chunk.len() as u32).to_be_bytes());
        file.extend(b"iCCP");
        file.extend(&chunk);
        file.extend([0; 4]);
        file.extend(&png[33..]);
        file
    };
    let limit = DecodeLimits::default().max_profile_bytes as usize;
    let said = refusal(with_profile(limit + 1));
    assert!(said.contains("ICC profile"), "{said}");
    // One byte less is no matter of size; the decoder minds the chunk's check.
    let at_limit = open(with_profile(limit)).map_or_else(|e| e.to_string(), |_| String::new());
    assert!(!at_limit.contains("limit is"), "{at_limit}");
}
