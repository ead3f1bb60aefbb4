//! Small sound scans of every kind to damage, put together tag by tag.

use super::scan_claims::ScanTarget;
use std::io::{Cursor, Write};

/// The files of one path.
pub(super) fn of(target: ScanTarget) -> Vec<Vec<u8>> {
    match target {
        ScanTarget::Strips => strips(),
        ScanTarget::Tiles => tiles(),
        ScanTarget::Fax => fax(),
        ScanTarget::Jpeg => jpegs(),
        ScanTarget::Png => pngs(),
        ScanTarget::Dng => vec![frame(), lossless_frame()],
        ScanTarget::MakersRaw => makers_raw(),
        ScanTarget::Tone => tones(),
    }
}

/// A TIFF: (tag, type, values), type 3 of 16 bits, 4 of 32, 7 of bytes.
#[derive(Clone)]
struct Tiff {
    big_endian: bool,
    tags: Vec<(u16, u16, Vec<u32>)>,
    chunks: Vec<Vec<u8>>,
}

impl Tiff {
    fn new((width, height): (u32, u32), bits: &[u32], photometric: u32) -> Self {
        let tags = vec![
            (256, 4, vec![width]),
            (257, 4, vec![height]),
            (258, 3, bits.to_vec()),
            (259, 3, vec![1]),
            (262, 3, vec![photometric]),
            (277, 3, vec![bits.len() as u32]),
        ];
        Self {
            big_endian: false,
            tags,
            chunks: vec![],
        }
    }

    fn with(mut self, tag: u16, kind: u16, values: &[u32]) -> Self {
        self.tags.retain(|t| t.0 != tag);
        self.tags.push((tag, kind, values.to_vec()));
        self
    }

    fn chunks(mut self, chunks: &[Vec<u8>]) -> Self {
        self.chunks = chunks.to_vec();
        self
    }

    fn put(&self, value: u32, bytes: usize) -> Vec<u8> {
        if self.big_endian {
            value.to_be_bytes()[4 - bytes..].to_vec()
        } else {
            value.to_le_bytes()[..bytes].to_vec()
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let mut out = if self.big_endian {
            b"MM\0*\0\0\0\0".to_vec()
        } else {
            b"II*\0\0\0\0\0".to_vec()
        };
        let (mut offsets, mut counts) = (vec![], vec![]);
        for chunk in &self.chunks {
            offsets.push(out.len() as u32);
            counts.push(chunk.len() as u32);
            out.extend(chunk);
        }
        let tiled = self.tags.iter().any(|t| t.0 == 322);
        let mut tags = self.tags.clone();
        let (o, c) = if tiled { (324, 325) } else { (273, 279) };
        tags.push((o, 4, offsets));
        tags.push((c, 4, counts));
        tags.sort_by_key(|t| t.0);
        let mut entries = vec![];
        for (tag, kind, values) in &tags {
            let size = match kind {
                3 => 2,
                4 => 4,
                _ => 1,
            };
            let mut bytes: Vec<u8> = values.iter().flat_map(|v| self.put(*v, size)).collect();
            if bytes.len() > 4 {
                let at = out.len() as u32;
                out.extend(&bytes);
                bytes = self.put(at, 4);
            }
            bytes.resize(4, 0);
            entries.push((*tag, *kind, values.len() as u32, bytes));
        }
        let directory = self.put(out.len() as u32, 4);
        out[4..8].copy_from_slice(&directory);
        out.extend(self.put(entries.len() as u32, 2));
        for (tag, kind, count, bytes) in entries {
            out.extend(self.put(tag.into(), 2));
            out.extend(self.put(kind.into(), 2));
            out.extend(self.put(count, 4));
            out.extend(bytes);
        }
        out.extend([0; 4]);
        out
    }
}

/// Bytes that differ everywhere.
fn some(count: usize) -> Vec<u8> {
    (0..count).map(|i| (i * 37 + i * i / 7) as u8).collect()
}

fn deflated(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = flate2::write::ZlibEncoder::new(vec![], flate2::Compression::default());
    // Writing into memory cannot fail.
    drop(encoder.write_all(bytes));
    encoder.finish().unwrap_or_default()
}

fn lzw(bytes: &[u8]) -> Vec<u8> {
    weezl::encode::Encoder::with_tiff_size_switch(weezl::BitOrder::Msb, 8)
        .encode(bytes)
        .unwrap_or_default()
}

fn pack_bits(bytes: &[u8]) -> Vec<u8> {
    let mut out = vec![];
    for chunk in bytes.chunks(100) {
        out.push(chunk.len() as u8 - 1);
        out.extend(chunk);
    }
    out
}

fn strips() -> Vec<Vec<u8>> {
    let grey = |bits: u32| Tiff::new((16, 12), &[bits], 1).with(278, 3, &[4]);
    // Three strips of four rows.
    let cut = |bits: u32, code: fn(&[u8]) -> Vec<u8>| {
        let strip = code(&some((16 * bits as usize).div_ceil(8) * 4));
        [strip.clone(), strip.clone(), strip]
    };
    let plain = <[u8]>::to_vec;
    let mut files = vec![
        grey(16).chunks(&cut(16, plain)),
        grey(16)
            .with(259, 3, &[5])
            .with(317, 3, &[2])
            .chunks(&cut(16, lzw)),
        grey(16)
            .with(259, 3, &[8])
            .with(317, 3, &[2])
            .chunks(&cut(16, deflated)),
        grey(8).with(259, 3, &[32773]).chunks(&cut(8, pack_bits)),
        grey(12).with(274, 3, &[6]).chunks(&cut(12, plain)),
        grey(1)
            .with(266, 3, &[2])
            .with(274, 3, &[3])
            .chunks(&cut(1, plain)),
        grey(16).with(339, 3, &[2]).chunks(&cut(16, plain)),
        grey(32)
            .with(339, 3, &[3])
            .with(259, 3, &[8])
            .with(317, 3, &[3])
            .chunks(&cut(32, deflated)),
        grey(64)
            .with(259, 3, &[5])
            .with(317, 3, &[2])
            .chunks(&cut(64, lzw)),
        grey(24).with(339, 3, &[3]).chunks(&cut(24, plain)),
        Tiff::new((16, 12), &[4], 3)
            .with(320, 3, &(0..48).map(|i| i * 1300).collect::<Vec<_>>())
            .chunks(&[some(96)]),
        Tiff::new((8, 6), &[16; 4], 2)
            .with(284, 3, &[2])
            .with(338, 3, &[0])
            .chunks(&[some(96), some(96), some(96), some(96)]),
    ];
    let mut other = files[0].clone();
    other.big_endian = true;
    files.push(other);
    files.iter().map(Tiff::bytes).collect()
}

fn tiles() -> Vec<Vec<u8>> {
    let of = |bits: &[u32], photometric, planes: usize, code: fn(&[u8]) -> Vec<u8>| {
        let bytes = 16 * 16 * bits.iter().sum::<u32>() as usize / 8 / planes;
        let tile = code(&some(bytes));
        // Two across and two down, of which parts lie outside.
        Tiff::new((20, 18), bits, photometric)
            .with(322, 3, &[16])
            .with(323, 3, &[16])
            .chunks(&vec![tile; 4 * planes])
    };
    [
        of(&[16], 1, 1, <[u8]>::to_vec),
        of(&[16], 0, 1, lzw).with(259, 3, &[5]).with(317, 3, &[2]),
        of(&[8; 3], 2, 3, deflated)
            .with(259, 3, &[8])
            .with(284, 3, &[2]),
        of(&[16; 4], 2, 1, <[u8]>::to_vec).with(274, 3, &[8]),
        of(&[32], 1, 1, deflated)
            .with(259, 3, &[8])
            .with(339, 3, &[3])
            .with(317, 3, &[3]),
        of(&[8], 1, 1, pack_bits)
            .with(259, 3, &[32773])
            .with(274, 3, &[5]),
    ]
    .iter()
    .map(Tiff::bytes)
    .collect()
}

fn fax() -> Vec<Vec<u8>> {
    // Group 4 of ITU-T T.6: three rows of eight pixels, then rows of white (V0, a bit each).
    let group4 = vec![0b0011_0111, 0b1101_0011, 0b1000_1100, 0xFF, 0xFF];
    let of = |code: u32, data: Vec<u8>| {
        Tiff::new((8, 3), &[1], 0)
            .with(259, 3, &[code])
            .chunks(&[data])
    };
    // White 4, black 2, white 2 of T.4, each row from a byte on.
    let runs = [0b1011_1101, 0b1100_0000].repeat(3);
    // The same after an end of line (000000000001).
    let lines = [0x00, 0x1B, 0xDC].repeat(3);
    // And with the bit that says one dimension.
    let tagged = [0x00, 0x1D, 0xEE].repeat(3);
    [
        of(4, group4.clone()),
        of(4, group4).with(274, 3, &[7]),
        of(2, runs),
        of(3, lines),
        of(3, tagged).with(292, 4, &[1]),
    ]
    .iter()
    .map(Tiff::bytes)
    .collect()
}

fn encoded(picture: &image::DynamicImage, format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(vec![]);
    // Writing into memory cannot fail.
    drop(picture.write_to(&mut bytes, format));
    bytes.into_inner()
}

fn grey_picture() -> image::DynamicImage {
    let pixels = image::GrayImage::from_raw(16, 16, some(256));
    pixels.unwrap_or_default().into()
}

fn colour_picture() -> image::DynamicImage {
    let pixels = image::RgbImage::from_raw(16, 16, some(768));
    pixels.unwrap_or_default().into()
}

fn jpegs() -> Vec<Vec<u8>> {
    let format = image::ImageFormat::Jpeg;
    let (grey, colour) = (
        encoded(&grey_picture(), format),
        encoded(&colour_picture(), format),
    );
    let exif = b"Exif\0\0II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0";
    let turned = [
        &[0xFF, 0xD8, 0xFF, 0xE1, 0, exif.len() as u8 + 2][..],
        exif,
        &grey[2..],
    ]
    .concat();
    let inside = |photometric, samples: &[u32], data: &[u8]| {
        Tiff::new((16, 16), samples, photometric)
            .with(259, 3, &[7])
            .chunks(&[data.to_vec()])
    };
    vec![
        inside(1, &[8], &grey).bytes(),
        inside(6, &[8; 3], &colour).bytes(),
        inside(2, &[8; 3], &colour)
            .with(322, 3, &[16])
            .with(323, 3, &[16])
            .bytes(),
        inside(1, &[8], &grey).with(347, 7, &tables(&grey)).bytes(),
        grey,
        colour,
        turned,
    ]
}

/// The quantisation and Huffman tables of a JPEG, between marks of start and end.
fn tables(data: &[u8]) -> Vec<u32> {
    let mut tables = vec![0xFF, 0xD8];
    let mut at = 2;
    while data[at + 1] != 0xDA {
        let length = 2 + (usize::from(data[at + 2]) << 8 | usize::from(data[at + 3]));
        if matches!(data[at + 1], 0xDB | 0xC4) {
            tables.extend(&data[at..at + length]);
        }
        at += length;
    }
    tables.extend([0xFF, 0xD9]);
    tables.into_iter().map(u32::from).collect()
}

/// A PNG put together chunk by chunk: bits, colour type, interlace, chunks, rows.
fn png(bits: u8, colour: u8, interlaced: u8, chunks: &[(&[u8], &[u8])], rows: &[u8]) -> Vec<u8> {
    let mut out = vec![0x89, b'P', b'N', b'G', 13, 10, 26, 10];
    let mut put = |name: &[u8], data: &[u8]| {
        out.extend((data.len() as u32).to_be_bytes());
        let body = [name, data].concat();
        let mut check = flate2::Crc::new();
        check.update(&body);
        out.extend(body);
        out.extend(check.sum().to_be_bytes());
    };
    put(
        b"IHDR",
        &[0, 0, 0, 8, 0, 0, 0, 8, bits, colour, 0, 0, interlaced],
    );
    for (name, data) in chunks {
        put(name, data);
    }
    put(b"IDAT", &deflated(rows));
    put(b"IEND", &[]);
    out
}

fn pngs() -> Vec<Vec<u8>> {
    let palette: (&[u8], &[u8]) = (b"PLTE", &[9, 9, 9, 200, 100, 50, 7, 7, 7]);
    let gamma: (&[u8], &[u8]) = (b"gAMA", &[0, 0, 0xB1, 0x8F]);
    let clear: (&[u8], &[u8]) = (b"tRNS", &[0, 9]);
    // A filter byte before each row.
    let rows = |row: usize| [vec![0], some(row)].concat().repeat(8);
    vec![
        png(16, 0, 0, &[gamma], &rows(16)),
        png(8, 2, 0, &[(b"sRGB", &[0])], &rows(24)),
        png(1, 0, 0, &[clear], &rows(1)),
        png(2, 3, 0, &[palette], &rows(2)),
        png(8, 6, 0, &[(b"cICP", &[1, 13, 0, 1])], &rows(32)),
        // Adam7 of 8 × 8 has 15 rows of 1, 1, 2, 2, 2, 4, 4, 4, 4, 8 ... bytes; too many zeros do no harm.
        png(8, 0, 1, &[], &[0; 100]),
    ]
}

fn frame() -> Vec<u8> {
    let samples = (0..16 * 12)
        .map(|i| 600 + (i * 251 % 3000) as u16)
        .collect();
    testkit::RawFrame::new(16, 12, samples).to_dng()
}

/// A raw frame of 16 × 12 in lossless JPEG data, every number half of the scale.
fn lossless_frame() -> Vec<u8> {
    let mut data = vec![0xFF, 0xD8, 0xFF, 0xC4, 0, 36, 0];
    // Seventeen codes of five bits: a difference's number of bits, 0 to 16.
    data.extend([0, 0, 0, 0, 17, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]);
    data.extend(0..17_u8);
    data.extend([0xFF, 0xC3, 0, 11, 16, 0, 12, 0, 16, 1, 0, 0x11, 0]);
    data.extend([0xFF, 0xDA, 0, 8, 1, 0, 0, 1, 0, 0]);
    // No difference anywhere: 192 codes of five zeros.
    data.extend([0; 120]);
    data.extend([0xFF, 0xD9]);
    Tiff::new((16, 12), &[16], 32803)
        .with(259, 3, &[7])
        .with(33421, 3, &[2, 2])
        .with(33422, 7, &[0, 1, 1, 2])
        .with(50706, 7, &[1, 4, 0, 0])
        .with(50714, 4, &[1024])
        .with(50717, 4, &[60_000])
        .chunks(&[data])
        .bytes()
}

fn tones() -> Vec<Vec<u8>> {
    let with_profile =
        |space: &[u8; 4], curves: &[(&[u8; 4], &[u8])], photometric, bits: &[u32]| {
            let profile = profile(space, curves);
            let bytes: Vec<u32> = profile.iter().map(|b| u32::from(*b)).collect();
            Tiff::new((4, 2), bits, photometric)
                .with(34675, 7, &bytes)
                .chunks(&[some(bits.len() * 8)])
                .bytes()
        };
    // A gamma of 2.2 as 8.8 bits, a table of three, and a parametric curve of type 3.
    let gamma = [&b"curv\0\0\0\0\0\0\0\x01"[..], &[2, 0x33]].concat();
    let table = [&b"curv\0\0\0\0\0\0\0\x03"[..], &[0, 0, 0x20, 0, 0xFF, 0xFF]].concat();
    let parametric = [
        &b"para\0\0\0\0\0\x03\0\0"[..],
        &[0, 2, 0x66, 0x66, 0, 0, 0xF2, 0xA7, 0, 0, 0x0D, 0x59],
        &[0, 0, 0x13, 0xD0, 0, 0, 0x0A, 0x5B],
    ]
    .concat();
    vec![
        with_profile(b"GRAY", &[(b"kTRC", &gamma)], 1, &[8]),
        with_profile(b"GRAY", &[(b"kTRC", &table)], 0, &[8]),
        with_profile(
            b"RGB ",
            &[
                (b"rTRC", &parametric),
                (b"gTRC", &parametric),
                (b"bTRC", &parametric),
            ],
            2,
            &[8; 3],
        ),
        Tiff::new((4, 2), &[2], 0)
            .with(301, 3, &[0, 7282, 29127, 65535])
            .chunks(&[some(2)])
            .bytes(),
    ]
}

/// An ICC profile of version 4 with curves and the white point it must have.
fn profile(space: &[u8; 4], curves: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    let mut out = vec![0; 128];
    out[8] = 4;
    out[12..16].copy_from_slice(b"scnr");
    out[16..20].copy_from_slice(space);
    out[20..24].copy_from_slice(b"XYZ ");
    out[36..40].copy_from_slice(b"acsp");
    let white = [
        &b"XYZ \0\0\0\0"[..],
        &[0, 0, 0xF6, 0xD6, 0, 1, 0, 0, 0, 0, 0xD3, 0x2D],
    ]
    .concat();
    let mut parts: Vec<(&[u8; 4], &[u8])> = vec![(b"wtpt", &white)];
    if space == b"RGB " {
        parts.extend([(b"rXYZ", &white[..]), (b"gXYZ", &white), (b"bXYZ", &white)]);
    }
    parts.extend(curves);
    let first = 128 + 4 + 12 * parts.len();
    let mut table = (parts.len() as u32).to_be_bytes().to_vec();
    let mut data = vec![];
    for (name, part) in parts {
        table.extend(name);
        table.extend(((first + data.len()) as u32).to_be_bytes());
        table.extend((part.len() as u32).to_be_bytes());
        data.extend(part);
        data.resize(data.len().next_multiple_of(4), 0);
    }
    out.extend(table);
    out.extend(data);
    let size = (out.len() as u32).to_be_bytes();
    out[..4].copy_from_slice(&size);
    out
}

/// Frames of two makers' kinds, as large as the pictures of their cameras allow.
fn makers_raw() -> Vec<Vec<u8>> {
    let frame = |kind, width: u32, height: u32| {
        let samples = (0..width * height)
            .map(|i| (200 + 3 * i % 3500) as u16)
            .collect();
        testkit::MakersRaw::new(kind, width, height, samples).to_bytes()
    };
    vec![
        frame(testkit::MakersKind::PackedBelow, 16, 12),
        frame(testkit::MakersKind::WordsAndNote, 68, 36),
    ]
}
