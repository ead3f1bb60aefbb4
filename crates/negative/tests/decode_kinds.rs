//! Kinds of pictures beside plain grey and colour: turned, palette, signed, wide,
//! small floats, black and white, fax codes, JPEG in TIFF, and tone by tables.

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]

use negative::decode::{
    ChannelChoice, Codes, Colour, Compression, DecodeError, DecodeLimits, ExtraSample, Polarity,
    ScanInfo, ScanReader,
};
use negative::tone::{ToneEncoding, ToneOrigin, tone_of};
use quantity::Flag;
use std::io::Cursor;

/// A little-endian TIFF of one strip, tag by tag: (tag, type, values).
fn tiff(tags: &[(u16, u16, Vec<u64>)], strip: &[u8]) -> Vec<u8> {
    let size = |kind: u16| match kind {
        3 => 2,
        4 => 4,
        _ => 1,
    };
    let mut tags = tags.to_vec();
    tags.push((273, 4, vec![8]));
    tags.push((279, 4, vec![strip.len() as u64]));
    tags.sort_by_key(|t| t.0);
    let mut out = b"II*\0\0\0\0\0".to_vec();
    out.extend(strip);
    out.resize(out.len().next_multiple_of(2), 0);
    let mut entries = vec![];
    for (tag, kind, values) in &tags {
        let mut bytes: Vec<u8> = values
            .iter()
            .flat_map(|v| v.to_le_bytes()[..size(*kind)].to_vec())
            .collect();
        if bytes.len() > 4 {
            let at = out.len() as u32;
            out.extend(&bytes);
            out.resize(out.len().next_multiple_of(2), 0);
            bytes = at.to_le_bytes().to_vec();
        }
        bytes.resize(4, 0);
        entries.push((*tag, *kind, values.len() as u32, bytes));
    }
    let directory = out.len() as u32;
    out[4..8].copy_from_slice(&directory.to_le_bytes());
    out.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, bytes) in entries {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        out.extend(bytes);
    }
    out.extend([0; 4]);
    out
}

/// Width, height, bits, compression, photometric interpretation, samples.
fn tags(
    (width, height): (u64, u64),
    bits: &[u64],
    compression: u64,
    photometric: u64,
) -> Vec<(u16, u16, Vec<u64>)> {
    vec![
        (256, 4, vec![width]),
        (257, 4, vec![height]),
        (258, 3, bits.to_vec()),
        (259, 3, vec![compression]),
        (262, 3, vec![photometric]),
        (277, 3, vec![bits.len() as u64]),
    ]
}

fn with(
    mut tags: Vec<(u16, u16, Vec<u64>)>,
    tag: u16,
    kind: u16,
    values: &[u64],
) -> Vec<(u16, u16, Vec<u64>)> {
    tags.push((tag, kind, values.to_vec()));
    tags
}

fn read(bytes: &[u8], channel: ChannelChoice) -> Result<(ScanInfo, Vec<f64>), DecodeError> {
    let mut reader = ScanReader::open(Cursor::new(bytes), 0, &DecodeLimits::default())?;
    let mut all = Vec::new();
    let mut next = 0;
    reader.for_each_row(channel, |row| {
        assert_eq!(row.y, next, "rows come from the top");
        next += 1;
        match row.codes {
            Codes::Unsigned(codes) => all.extend(codes.iter().map(|c| f64::from(*c))),
            Codes::Float(codes) => all.extend(codes.iter().map(|c| f64::from(*c))),
        }
    })?;
    assert_eq!(next, reader.info().height);
    Ok((reader.info().clone(), all))
}

fn grey(bytes: &[u8]) -> (ScanInfo, Vec<f64>) {
    read(bytes, ChannelChoice::Grey).unwrap()
}

#[test]
fn a_tiff_that_asks_to_be_turned_is_turned_and_says_so() {
    // Stored rows 1 2 3 and 4 5 6; orientation 6: row 0 is the right side.
    // Source: TIFF 6.0, tag 274.
    let file = tiff(
        &with(
            with(tags((3, 2), &[8], 1, 1), 274, 3, &[6]),
            // Resolution unit: inch; the ratios follow below.
            296,
            3,
            &[2],
        ),
        &[1, 2, 3, 4, 5, 6],
    );
    let (info, codes) = grey(&file);
    assert_eq!((info.width, info.height), (2, 3));
    assert_eq!(codes, [4.0, 1.0, 5.0, 2.0, 6.0, 3.0]);
    assert!(
        info.remarks[0].contains("turned by 90° clockwise"),
        "{:?}",
        info.remarks
    );
    // A turned picture larger than the budget is decoded in parts, alike.
    let limits = DecodeLimits {
        max_turned_bytes: 5,
        ..DecodeLimits::default()
    };
    let mut reader = ScanReader::open(Cursor::new(&file), 0, &limits).unwrap();
    let mut again = vec![];
    reader
        .for_each_row(ChannelChoice::Grey, |row| {
            again.extend((0..2).map(|i| f64::from(row.codes.at(i).unwrap())));
        })
        .unwrap();
    assert_eq!(again, codes);
    // A camera's frame is read as the sensor gives it.
    let file = tiff(
        &with(tags((3, 2), &[8], 1, 32803), 274, 3, &[6]),
        &[1, 2, 3, 4, 5, 6],
    );
    let reader = ScanReader::open(Cursor::new(&file), 0, &DecodeLimits::default()).unwrap();
    assert_eq!((reader.info().width, reader.info().height), (3, 2));
    assert!(reader.info().remarks[0].contains("as the sensor gives it"));
}

#[test]
fn a_palette_of_grey_is_grey_and_one_of_colours_has_channels() {
    // Two bits: four entries, 0, 85, 170, 255 as 16-bit values.
    let ramp = [0, 85 * 257, 170 * 257, 65535];
    let map: Vec<u64> = ramp.repeat(3);
    let file = tiff(
        &with(tags((4, 1), &[2], 1, 3), 320, 3, &map),
        &[0b1110_0100],
    );
    let (info, codes) = grey(&file);
    assert_eq!((info.colour, info.bits), (Colour::Grey, 8));
    assert_eq!(codes, [255.0, 170.0, 85.0, 0.0]);
    assert!(info.remarks[0].contains("palette of 4 grey"));
    let map: Vec<u64> = [[1, 2, 3, 4], [10, 20, 30, 40], [50, 60, 70, 81]].concat();
    let file = tiff(
        &with(tags((2, 1), &[2], 1, 3), 320, 3, &map),
        &[0b1101_0000],
    );
    let (info, green) = read(&file, ChannelChoice::Green).unwrap();
    assert_eq!((info.colour, green), (Colour::Rgb, vec![40.0, 20.0]));
    // Hand calculation: (4 + 40 + 81) / 3 = 41.7, (2 + 20 + 60) / 3 = 27.3.
    let (_, mean) = read(&file, ChannelChoice::Mean).unwrap();
    assert_eq!(mean, [42.0, 27.0]);
    assert!(read(&file, ChannelChoice::Grey).is_err());
}

#[test]
fn signed_and_wide_samples_come_out_as_shares() {
    let words = [-5000_i16, 0, 16384, 32767].map(i16::to_le_bytes).concat();
    let file = tiff(&with(tags((4, 1), &[16], 1, 1), 339, 3, &[2]), &words);
    let (info, shares) = grey(&file);
    let stored: Vec<f64> = shares.iter().map(|s| (s * 32767.0).round()).collect();
    assert_eq!(stored, [-5000.0, 0.0, 16384.0, 32767.0]);
    assert!(info.remarks[0].contains("what lies below 0 counts as no light"));
    // On the whole-number scale of statistics, negative is the dark end.
    let mut reader = ScanReader::open(Cursor::new(&file), 0, &DecodeLimits::default()).unwrap();
    reader
        .for_each_row(ChannelChoice::Grey, |row| {
            assert_eq!(row.codes.at(0), Some(0));
            assert_eq!(row.codes.at(3), Some(65535));
        })
        .unwrap();
    let words = [0_u32, 1 << 31, u32::MAX].map(u32::to_le_bytes).concat();
    assert_eq!(
        grey(&tiff(&tags((3, 1), &[32], 1, 1), &words)).1,
        [0.0, 0.5, 1.0]
    );
    // 24 bits, and half floats: 0x3800 is 0.5, 0x3C00 is 1.
    let bytes = [0, 0, 0, 0xFF, 0xFF, 0xFF];
    assert_eq!(
        grey(&tiff(&tags((2, 1), &[24], 1, 1), &bytes)).1,
        [0.0, 1.0]
    );
    let halves = with(tags((2, 1), &[16], 1, 1), 339, 3, &[3]);
    assert_eq!(grey(&tiff(&halves, &[0, 0x38, 0, 0x3C])).1, [0.5, 1.0]);
}

#[test]
fn black_and_white_is_read_and_flagged_in_both_orders_of_bits() {
    // Nine pixels in two bytes; the second row's bits are the other way round.
    let rows = [0b1010_0000, 0b1000_0000, 0b0000_1111, 0];
    let (info, codes) = grey(&tiff(&tags((9, 2), &[1], 1, 1), &rows));
    assert!(info.flags.contains(Flag::Bilevel));
    assert_eq!(info.code_max(), 1);
    let first: Vec<f64> = [1, 0, 1, 0, 0, 0, 0, 0, 1].map(f64::from).to_vec();
    assert_eq!(codes[..9], first);
    let backwards = rows.map(u8::reverse_bits);
    let file = tiff(&with(tags((9, 2), &[1], 1, 1), 266, 3, &[2]), &backwards);
    assert_eq!(grey(&file).1, codes);
}

#[test]
fn fax_codes_are_read_as_black_and_white() {
    // Group 4, written by hand from ITU-T T.6 (horizontal 001, white 4 1011, black 2
    // 11, V0 1; VL1 010, VR1 011, V0; pass 0001, V0): see the room's own test.
    let data = [0b0011_0111, 0b1101_0011, 0b1000_1100];
    let file = tiff(&tags((8, 3), &[1], 4, 0), &data);
    let (info, codes) = grey(&file);
    assert_eq!(info.compression, Compression::Fax);
    assert_eq!(info.polarity, Polarity::WhiteIsZero);
    assert!(info.flags.contains(Flag::Bilevel));
    let rows: Vec<u8> = codes
        .chunks(8)
        .map(|r| r.iter().fold(0, |sum, c| sum << 1 | *c as u8))
        .collect();
    assert_eq!(rows, [0b0000_1100, 0b0001_1110, 0]);
    // The same data asked for a row that it has not got.
    let file = tiff(&tags((8, 30), &[1], 4, 0), &data);
    match read(&file, ChannelChoice::Grey) {
        Err(DecodeError::Damaged { rows: 30, .. }) => {}
        other => panic!("{other:?}"),
    }
}

fn jpeg(width: u32, height: u32, pixels: Vec<u8>) -> Vec<u8> {
    let picture = image::GrayImage::from_raw(width, height, pixels).unwrap();
    let mut bytes = Cursor::new(vec![]);
    image::DynamicImage::ImageLuma8(picture)
        .write_to(&mut bytes, image::ImageFormat::Jpeg)
        .unwrap();
    bytes.into_inner()
}

/// Splits a JPEG into its tables, between marks of start and end, and the rest.
fn split_tables(data: &[u8]) -> (Vec<u8>, Vec<u8>) {
    let (mut tables, mut rest) = (vec![0xFF, 0xD8], vec![0xFF, 0xD8]);
    let mut at = 2;
    while data[at + 1] != 0xDA {
        let length = usize::from(data[at + 2]) << 8 | usize::from(data[at + 3]);
        let segment = &data[at..at + 2 + length];
        // Quantisation and Huffman tables.
        if matches!(data[at + 1], 0xDB | 0xC4) {
            tables.extend(segment);
        } else {
            rest.extend(segment);
        }
        at += 2 + length;
    }
    tables.extend([0xFF, 0xD9]);
    rest.extend(&data[at..]);
    (tables, rest)
}

#[test]
fn jpeg_inside_tiff_is_read_and_flagged_lossy() {
    let pixels: Vec<u8> = (0..16 * 16)
        .map(|i| if i % 16 < 8 { 40 } else { 200 })
        .collect();
    let data = jpeg(16, 16, pixels);
    let plain = tiff(&tags((16, 16), &[8], 7, 1), &data);
    let (info, codes) = grey(&plain);
    assert!(info.flags.contains(Flag::Lossy));
    // 12: JPEG's own loss beside an edge between its blocks.
    for (i, code) in codes.iter().enumerate() {
        let drawn = if i % 16 < 8 { 40.0 } else { 200.0 };
        assert!((code - drawn).abs() < 12.0, "pixel {i}: {code}");
    }
    let (tables, rest) = split_tables(&data);
    let tables: Vec<u64> = tables.into_iter().map(u64::from).collect();
    let shared = tiff(&with(tags((16, 16), &[8], 7, 1), 347, 7, &tables), &rest);
    assert_eq!(
        grey(&shared).1,
        codes,
        "tables of their own make no difference"
    );
    // The file itself as JPEG decodes to the same.
    assert_eq!(grey(&data).1, codes);
    // A picture of another size than promised, and data that stops.
    let wrong = tiff(&tags((16, 24), &[8], 7, 1), &data);
    let said = read(&wrong, ChannelChoice::Grey).unwrap_err().to_string();
    assert!(said.contains("were promised"), "{said}");
    let wrong = tiff(&tags((16, 8), &[8], 7, 1), &data);
    let said = read(&wrong, ChannelChoice::Grey).unwrap_err().to_string();
    assert!(said.contains("more than its place"), "{said}");
    let cut = tiff(&tags((16, 16), &[8], 7, 1), &data[..data.len() - 40]);
    assert!(read(&cut, ChannelChoice::Grey).is_err(), "data that stops");
    assert!(read(&data[..data.len() - 40], ChannelChoice::Grey).is_err());
}

#[test]
fn luma_and_differences_come_out_as_colours() {
    let red = [200, 40, 60].repeat(16 * 16);
    let picture = image::RgbImage::from_raw(16, 16, red).unwrap();
    let mut data = Cursor::new(vec![]);
    image::DynamicImage::ImageRgb8(picture)
        .write_to(&mut data, image::ImageFormat::Jpeg)
        .unwrap();
    let data = data.into_inner();
    let of = |photometric, channel| {
        let file = tiff(&tags((16, 16), &[8; 3], 7, photometric), &data);
        let (_, codes) = read(&file, channel).unwrap();
        codes[0]
    };
    // 6: JPEG's loss of a flat field with its colours halved.
    for (channel, drawn) in [
        (ChannelChoice::Red, 200.0),
        (ChannelChoice::Green, 40.0),
        (ChannelChoice::Blue, 60.0),
    ] {
        let found: f64 = of(6, channel);
        assert!((found - drawn).abs() < 6.0, "{channel}: {found}");
    }
    // Said to be RGB, the very samples come out: luma first.
    // Source: JFIF 1.02: Y = 0.299 R + 0.587 G + 0.114 B = 90.1.
    assert!((of(2, ChannelChoice::Red) - 90.1_f64).abs() < 4.0);
}

/// A PNG put together chunk by chunk.
fn png(
    head: [u8; 5],
    (width, height): (u32, u32),
    before: &[(&[u8], &[u8])],
    rows: &[u8],
) -> Vec<u8> {
    use std::io::Write;
    let mut out = vec![0x89, b'P', b'N', b'G', 13, 10, 26, 10];
    let mut put = |name: &[u8], data: &[u8]| {
        out.extend((data.len() as u32).to_be_bytes());
        let body = [name, data].concat();
        out.extend(&body);
        let mut check = flate2::Crc::new();
        check.update(&body);
        out.extend(check.sum().to_be_bytes());
    };
    let size = [width.to_be_bytes(), height.to_be_bytes()].concat();
    put(b"IHDR", &[&size[..], &head].concat());
    for (name, data) in before {
        put(name, data);
    }
    let mut zlib = flate2::write::ZlibEncoder::new(vec![], flate2::Compression::default());
    zlib.write_all(rows).unwrap();
    put(b"IDAT", &zlib.finish().unwrap());
    put(b"IEND", &[]);
    out
}

#[test]
fn png_of_few_bits_and_palettes_are_read_as_stored() {
    // One filter byte (0) before each row. Four bits of grey: 1, 15, 7.
    let (info, codes) = grey(&png([4, 0, 0, 0, 0], (3, 1), &[], &[0, 0x1F, 0x70]));
    assert_eq!((info.bits, codes), (4, vec![1.0, 15.0, 7.0]));
    let (info, codes) = grey(&png([1, 0, 0, 0, 0], (3, 1), &[], &[0, 0b1010_0000]));
    assert!(info.flags.contains(Flag::Bilevel));
    assert_eq!(codes, [1.0, 0.0, 1.0]);
    let greys: (&[u8], &[u8]) = (b"PLTE", &[9, 9, 9, 200, 200, 200]);
    let (info, codes) = grey(&png([1, 3, 0, 0, 0], (3, 1), &[greys], &[0, 0b0110_0000]));
    assert_eq!((info.colour, info.bits), (Colour::Grey, 8));
    assert_eq!(codes, [9.0, 200.0, 200.0]);
    let colours: (&[u8], &[u8]) = (b"PLTE", &[1, 2, 3, 10, 20, 30]);
    let file = png([8, 3, 0, 0, 0], (2, 1), &[colours], &[0, 1, 0]);
    assert_eq!(read(&file, ChannelChoice::Blue).unwrap().1, [30.0, 3.0]);
    // A number beyond the palette is black.
    let file = png([8, 3, 0, 0, 0], (1, 1), &[colours], &[0, 77]);
    assert_eq!(read(&file, ChannelChoice::Red).unwrap().1, [0.0]);
    // Values named as transparent are left as they are, and said.
    let clear: (&[u8], &[u8]) = (b"tRNS", &[0, 9]);
    let (info, codes) = grey(&png([8, 0, 0, 0, 0], (2, 1), &[clear], &[0, 9, 8]));
    assert_eq!(codes, [9.0, 8.0]);
    assert!(
        info.remarks[0].contains("transparent"),
        "{:?}",
        info.remarks
    );
}

#[test]
fn an_interlaced_png_is_put_in_order_below_its_limit() {
    // Adam7 of 2 × 2 pixels: pass 1 holds (0,0), pass 6 (1,0), pass 7 the second row.
    let rows = [0, 10, 0, 20, 0, 30, 40];
    let file = png([8, 0, 0, 0, 1], (2, 2), &[], &rows);
    assert_eq!(grey(&file).1, [10.0, 20.0, 30.0, 40.0]);
    let limits = DecodeLimits {
        max_whole_bytes: 3,
        ..DecodeLimits::default()
    };
    let error = ScanReader::open(Cursor::new(&file), 0, &limits).unwrap_err();
    assert!(error.to_string().contains("interlaced"), "{error}");
}

#[test]
fn a_transfer_function_gives_light_by_code() {
    // Four codes of two bits: light 0, 1/9, 4/9, 1, the square of the share.
    let squares = [0, 7282, 29127, 65535];
    let square_law = |photometric, table: &[u64]| {
        let file = tiff(
            &with(tags((4, 1), &[2], 1, photometric), 301, 3, table),
            &[0b0001_1011],
        );
        let info = grey(&file).0;
        tone_of(&info, None, ChannelChoice::Grey)
    };
    let tone = square_law(1, &squares);
    assert_eq!(tone.origin, ToneOrigin::TransferFunction);
    // 1e-5: the table's own rounding to 16 bits.
    for (code, light) in [(0.0, 0.0), (1.0, 1.0 / 9.0), (2.0, 4.0 / 9.0), (3.0, 1.0)] {
        assert!((tone.signal(code) - light).abs() < 1e-5, "code {code}");
    }
    // White is zero: code 0 is full light, and the table speaks of codes as stored.
    let tone = square_law(0, &squares);
    for (code, light) in [(0.0, 1.0), (1.0, 8.0 / 9.0), (2.0, 5.0 / 9.0), (3.0, 0.0)] {
        assert!((tone.signal(code) - light).abs() < 1e-5, "code {code}");
    }
    assert_eq!(
        square_law(1, &[0, 21845, 43690, 65535]).encoding,
        ToneEncoding::Linear
    );
    let tone = square_law(1, &[0, 9, 8, 65535]);
    assert_eq!(tone.encoding, ToneEncoding::Unknown);
    assert!(
        tone.remarks[0].contains("does not rise"),
        "{:?}",
        tone.remarks
    );
    // Three tables, one for each colour; the mean of codes has none where they differ.
    let three: Vec<u64> = [[0, 1, 2, 3], squares, [0, 1, 2, 3]].concat();
    let file = tiff(
        &with(tags((1, 1), &[2; 3], 1, 2), 301, 3, &three),
        &[0b0110_1100],
    );
    let info = read(&file, ChannelChoice::Red).unwrap().0;
    let green = tone_of(&info, None, ChannelChoice::Green);
    assert!((green.signal(2.0) - 4.0 / 9.0).abs() < 1e-5);
    let mean = tone_of(&info, None, ChannelChoice::Mean);
    assert!(mean.remarks[0].contains("three curves differ"));
}

#[test]
fn png_names_its_tone_and_the_most_exact_chunk_counts() {
    let srgb: (&[u8], &[u8]) = (b"sRGB", &[0]);
    let gamma: (&[u8], &[u8]) = (b"gAMA", &100_000_u32.to_be_bytes());
    let points: (&[u8], &[u8]) = (b"cICP", &[1, 8, 0, 1]);
    let tone = |chunks: &[(&[u8], &[u8])]| {
        let info = grey(&png([8, 0, 0, 0, 0], (1, 1), chunks, &[0, 0])).0;
        tone_of(&info, None, ChannelChoice::Grey)
    };
    assert_eq!(tone(&[gamma]).encoding, ToneEncoding::Linear);
    assert_eq!(tone(&[gamma, srgb]).encoding, ToneEncoding::Srgb);
    assert_eq!(tone(&[srgb, gamma]).encoding, ToneEncoding::Srgb);
    assert_eq!(tone(&[points, srgb, gamma]).encoding, ToneEncoding::Linear);
    assert_eq!(tone(&[]).encoding, ToneEncoding::Unknown);
    // Source: IEC 61966-2-1: 0.5 of the scale is (0.555 / 1.055)^2.4 = 0.21404 of light.
    let half = tone(&[srgb]).encoding.light_from_share(0.5).unwrap();
    assert!((half - 0.214_04).abs() < 1e-5, "{half}");
}

#[test]
fn an_infrared_sample_is_kept_apart_and_has_no_tone_of_the_colours() {
    let pixels = [10, 20, 33, 99, 40, 50, 62, 98];
    let file = tiff(&with(tags((2, 1), &[8; 4], 1, 2), 338, 3, &[0]), &pixels);
    let (info, infrared) = read(&file, ChannelChoice::Extra(0)).unwrap();
    assert_eq!(info.extra_samples, [ExtraSample::Unspecified]);
    assert_eq!(infrared, [99.0, 98.0]);
    // Hand calculation: (10 + 20 + 33) / 3 = 21, (40 + 50 + 62) / 3 = 50.7.
    assert_eq!(read(&file, ChannelChoice::Mean).unwrap().1, [21.0, 51.0]);
    let tone = tone_of(&info, None, ChannelChoice::Extra(0));
    assert_eq!(tone.origin, ToneOrigin::Nowhere);
}

/// A picture of one strip whose bytes are made as they are asked for.
struct Endless {
    head: Vec<u8>,
    size: u64,
    at: u64,
}

impl std::io::Read for Endless {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        let count = (out.len() as u64).min(self.size - self.at) as usize;
        for (byte, place) in out[..count].iter_mut().zip(self.at..) {
            *byte = self.head.get(place as usize).copied().unwrap_or(7);
        }
        self.at += count as u64;
        Ok(count)
    }
}

impl std::io::Seek for Endless {
    fn seek(&mut self, to: std::io::SeekFrom) -> std::io::Result<u64> {
        self.at = match to {
            std::io::SeekFrom::Start(at) => at,
            std::io::SeekFrom::End(by) => self.size.saturating_add_signed(by),
            std::io::SeekFrom::Current(by) => self.at.saturating_add_signed(by),
        };
        Ok(self.at)
    }
}

#[test]
fn one_strip_of_two_gibibytes_is_opened_and_told_where_it_is_cut() {
    // 32768 × 32767 of 16 bits: 2,147,418,112 bytes, opened and never held.
    let (width, height) = (32_768_u64, 32_767_u64);
    let mut file = tiff(&tags((width, height), &[16], 1, 1), &[]);
    let bytes = width * height * 2;
    // The strip begins where the directory ends, and its count is the whole picture.
    let begins = file.len() as u32;
    for (tag, value) in [(273_u16, begins), (279, bytes as u32)] {
        let entry = [&tag.to_le_bytes()[..], &[4, 0, 1, 0, 0, 0]].concat();
        let at = file.windows(8).position(|w| w == entry).unwrap() + 8;
        file[at..at + 4].copy_from_slice(&value.to_le_bytes());
    }
    let size = u64::from(begins) + bytes;
    let source = Endless {
        head: file.clone(),
        size,
        at: 0,
    };
    let reader = ScanReader::open(source, 0, &DecodeLimits::default()).unwrap();
    assert_eq!(
        (reader.info().width, reader.info().height),
        (32_768, 32_767)
    );
    // Cut by one byte, it says which row is the last whole one.
    let cut = Endless {
        head: file,
        size: size - 1,
        at: 0,
    };
    match ScanReader::open(cut, 0, &DecodeLimits::default()) {
        Err(DecodeError::CutShort { rows_complete, .. }) => assert_eq!(rows_complete, 32_766),
        other => panic!("{:?}", other.err()),
    }
}

#[test]
fn what_can_not_be_read_in_pieces_is_held_against_its_limit() {
    let limits = DecodeLimits {
        max_chunk_bytes: 1000,
        max_band_bytes: 3000,
        max_whole_bytes: 255,
        ..DecodeLimits::default()
    };
    let refused = |bytes: &[u8]| {
        let opened = ScanReader::open(Cursor::new(bytes), 0, &limits);
        opened.map(|_| ()).unwrap_err().to_string()
    };
    let pixels = vec![0; 16 * 16];
    let said = refused(&jpeg(16, 16, pixels.clone()));
    assert!(
        said.contains("size of the picture in bytes is 256, but the limit is 255"),
        "{said}"
    );
    let tile = with(
        with(tags((16, 16), &[32], 1, 1), 322, 3, &[16]),
        323,
        3,
        &[16],
    );
    let said = refused(&tiff(&tile, &[0; 1024]));
    assert!(said.contains("size of one tile in bytes is 1024"), "{said}");
    // A fax strip is held as codes of two bytes a pixel.
    let said = refused(&tiff(&tags((16, 32), &[1], 4, 0), &[0; 60]));
    assert!(
        said.contains("size of one strip in bytes is 1024"),
        "{said}"
    );
    let said = refused(&tiff(&tags((501, 1), &[16], 1, 1), &[0; 1002]));
    assert!(said.contains("size of one row in bytes is 1002"), "{said}");
}
