//! Reads every sample scan that lies beside the workspace; ignored unless asked
//! for with `--ignored`, where there are any.
//!
//! Expected sizes, values and groups: the samples' own table, whose values were
//! read with an independent program (tifffile).

#![expect(
    clippy::unwrap_used,
    reason = "a test stops where something is not as it should be"
)]
#![expect(
    clippy::print_stderr,
    reason = "what was found is told beside the verdict"
)]

use negative::decode::{ChannelChoice, Codes, Colour, DecodeError, DecodeLimits, ScanReader};
use negative::frame_edges::find_frame;
use negative::honesty::{file_findings, flat_ends, repeat_scans_agree};
use negative::survey::survey;
use negative::tone::{ToneEncoding, tone_of};
use quantity::Flag;
use std::collections::BTreeMap;
use std::io::Cursor;
use std::path::{Path, PathBuf};

fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/samples")
        .join(name);
    assert!(
        folder.is_dir(),
        "no sample scans at {}; this test is for where they are",
        folder.display()
    );
    folder
}

fn bytes_of(path: &Path) -> Vec<u8> {
    #[expect(clippy::disallowed_methods, reason = "a test hands the bytes in")]
    std::fs::read(path).unwrap()
}

/// Code values of a channel as numbers.
fn codes(
    reader: &mut ScanReader<Cursor<Vec<u8>>>,
    channel: ChannelChoice,
) -> Result<Vec<f64>, DecodeError> {
    let mut all = Vec::new();
    reader.for_each_row(channel, |row| match row.codes {
        Codes::Unsigned(codes) => all.extend(codes.iter().map(|c| f64::from(*c))),
        Codes::Float(codes) => all.extend(codes.iter().map(|c| f64::from(*c))),
    })?;
    Ok(all)
}

/// All samples of a file: colours, then extra ones.
fn all_channels(bytes: Vec<u8>) -> Result<Vec<Vec<f64>>, DecodeError> {
    let mut reader = ScanReader::open(Cursor::new(bytes), 0, &DecodeLimits::default())?;
    let info = reader.info().clone();
    let mut channels = match info.colour {
        Colour::Rgb => vec![
            ChannelChoice::Red,
            ChannelChoice::Green,
            ChannelChoice::Blue,
        ],
        Colour::Grey => vec![ChannelChoice::Grey],
        Colour::Mosaic => vec![ChannelChoice::Green],
    };
    channels.extend((0..info.extra_samples.len()).map(ChannelChoice::Extra));
    let decoded: Vec<_> = channels
        .into_iter()
        .map(|c| codes(&mut reader, c))
        .collect::<Result<_, _>>()?;
    for channel in &decoded {
        let (x, y) = info.steps(ChannelChoice::Green);
        let (x, y) = if info.mosaic.is_some() {
            (x, y)
        } else {
            (1, 1)
        };
        assert_eq!(
            channel.len(),
            (info.width / x) as usize * (info.height / y) as usize
        );
    }
    Ok(decoded)
}

#[test]
#[ignore = "needs the sample scans beside the workspace"]
fn every_sample_decodes_to_its_known_values_or_is_refused() {
    let folder = folder("tiff");
    // (file, smallest, largest value of all samples)
    let known = [
        ("minisblack-1c-16b.tiff", 0.0, 58955.0),
        ("rgb-3c-16b.tiff", 0.0, 62272.0),
        ("12bit.cropped.tiff", 0.0, 27.0),
        ("planar-rgb-u8.tif", 0.0, 255.0),
        ("tiled-rgb-u8.tif", 0.0, 255.0),
        ("BigTIFFMotorola.tif", 0.0, 255.0),
        ("BigTIFF.tif", 0.0, 255.0),
        ("seq-1c-16b-bigendian-68f373a0.tiff", 0.0, 255.0),
        ("seq-1c-16b-deflate-68f373a0.tiff", 0.0, 255.0),
        ("seq-1c-16b-lzw-68f373a0.tiff", 0.0, 255.0),
        ("seq-1c-16b-multistrip-68f373a0.tiff", 0.0, 255.0),
        ("seq-1c-16b-tiled-68f373a0.tiff", 0.0, 255.0),
        ("seq-1c-14b-hpredict-e883657f.tiff", 0.0, 255.0),
        ("seq-1c-12b-miniswhite-47c39b31.tiff", 3840.0, 4095.0),
        ("seq-1c-8b-multipage-adeefdcc.tiff", 0.0, 255.0),
        ("seq-1c-8b-packbits-20f3db0c.tiff", 0.0, 255.0),
        ("seq-1c-64f-deflate-fpredict-afa8560e.tiff", 0.0, 1.0),
        ("seq-3c-12b-planar-e29e8e25.tiff", 0.0, 455.0),
        ("seq-4c-16b-rgba-5181991f.tiff", 0.0, 1023.0),
        ("cramps-tile.tif", 0.0, 255.0),
        ("ladoga.tif", 1290.0, 1681.0),
        ("strike.tif", 0.0, 255.0),
        ("flower-minisblack-16.tif", 2290.0, 65535.0),
        ("flower-minisblack-10.tif", 35.0, 1023.0),
        ("flower-rgb-contig-14.tif", 0.0, 16383.0),
        ("hopper_float_dpi_2.tif", 0.0, 255.0),
        ("hopper_float_dpi_3.tif", 0.0, 255.0),
        ("hopper.iccprofile.tif", 0.0, 255.0),
        ("16bit.MM.deflate.tif", 291.0, 694.0),
        ("16bit.cropped.tif", 291.0, 694.0),
        ("16_bit_noise.tif", 106.0, 285.0),
        ("tiff_16bit_RGBa.tiff", 0.0, 48287.0),
        ("tiff_strip_planar_16bit_RGB.tiff", 0.0, 39661.0),
        ("hopper4I.tif", 0.0, 15.0),
        ("chessboard_GRAY_U16.tif", 0.0, 255.0),
        ("chessboard_GRAY_U16B.tif", 0.0, 255.0),
        ("multipage.tif", 0.0, 255.0),
        ("shapes_lzw_14bps.tif", 0.0, 16383.0),
        ("shapes_lzw_predictor3.tif", 0.0, 1.0),
        ("shapes_multi_size.tif", 0.0, 255.0),
        ("shapes_hyper.tif", 0.0, 1.0),
        // Signed numbers come out as shares of their largest, 127 and 32767.
        ("tiled-oversize-gray-i8.tif", -128.0 / 127.0, 1.0),
        ("int16.tif", -5000.0 / 32767.0, 4998.0 / 32767.0),
        ("g4_orientation_6.tif", 0.0, 1.0),
    ];
    let mut faults = Vec::new();
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        all.insert(name, all_channels(bytes_of(&path)));
    }
    for (name, smallest, largest) in known {
        match &all[name] {
            Ok(channels) => {
                let values = || channels.iter().flatten().copied();
                let (low, high) = (
                    values().fold(f64::MAX, f64::min),
                    values().fold(f64::MIN, f64::max),
                );
                // 1e-7: the float files are single precision.
                if (low - smallest).abs() > 1e-7 || (high - largest).abs() > 1e-7 {
                    faults.push(format!(
                        "{name}: {low}..{high}, expected {smallest}..{largest}"
                    ));
                }
            }
            Err(error) => faults.push(format!("{name}: {error}")),
        }
    }
    for (name, decoded) in &all {
        let listed = known.iter().any(|k| k.0 == name);
        if !listed {
            let kind = decoded.as_ref().map(|c| {
                format!(
                    "{} channels, max {:?}",
                    c.len(),
                    c.iter().flatten().copied().fold(f64::MIN, f64::max)
                )
            });
            eprintln!("not in the table: {name}: {kind:?}");
        }
    }
    // Pictures that must be alike.
    let alike = [
        vec![
            "seq-1c-16b-bigendian-68f373a0.tiff",
            "seq-1c-16b-deflate-68f373a0.tiff",
            "seq-1c-16b-lzw-68f373a0.tiff",
            "seq-1c-16b-multistrip-68f373a0.tiff",
            "seq-1c-16b-tiled-68f373a0.tiff",
        ],
        vec!["16bit.MM.deflate.tif", "16bit.cropped.tif"],
        vec!["chessboard_GRAY_U16.tif", "chessboard_GRAY_U16B.tif"],
        vec!["planar-rgb-u8.tif", "tiled-rgb-u8.tif"],
        vec!["BigTIFF.tif", "BigTIFFMotorola.tif"],
        vec!["hopper_float_dpi_2.tif", "hopper_float_dpi_3.tif"],
    ];
    for group in alike {
        let first = all[group[0]].as_ref().unwrap();
        for name in &group[1..] {
            if all[*name].as_ref().ok() != Some(first) {
                faults.push(format!("{name} differs from {}", group[0]));
            }
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[test]
#[ignore = "needs the sample scans beside the workspace"]
fn the_camera_frame_is_read_as_its_table_says() {
    let bytes = Cursor::new(bytes_of(&folder("raw").join("colorchart.dng")));
    let mut reader = ScanReader::open(bytes, 0, &DecodeLimits::default()).unwrap();
    let info = reader.info().clone();
    // Samples' table: crop 1734 × 1156, black 2056, white 15000, 14 bits.
    assert_eq!((info.width, info.height, info.bits), (1734, 1156, 14));
    assert_eq!(info.black_of(ChannelChoice::Green), Some(2056.0));
    assert_eq!(info.code_max(), 15_000);
    let green = codes(&mut reader, ChannelChoice::Green).unwrap();
    assert_eq!(green.len(), 867 * 578);
    // Mean of both greens within the crop, unpacked bit by bit with NumPy.
    let mean = green.iter().sum::<f64>() / green.len() as f64;
    assert!((mean - 2780.8262).abs() < 0.01, "{mean}");
    assert!(reader.for_each_row(ChannelChoice::Grey, |_| {}).is_err());
}

#[test]
#[ignore = "needs the sample scans beside the workspace"]
fn real_film_scans_raise_no_alarm_and_repeats_agree() {
    let folder = folder("film_scans");
    let mut previews = Vec::new();
    for name in [
        "Film_a_20240711_002.tif",
        "Film_a_20240711_003.tif",
        "film20240620_002.tif",
        "film20240620_003.tif",
        "Film_draw_20240711_001.tif",
    ] {
        let bytes = Cursor::new(bytes_of(&folder.join(name)));
        let mut reader = ScanReader::open(bytes, 0, &DecodeLimits::default()).unwrap();
        for channel in [
            ChannelChoice::Red,
            ChannelChoice::Green,
            ChannelChoice::Blue,
        ] {
            let tone = tone_of(reader.info(), Some(&ToneEncoding::Linear), channel);
            let survey = survey(&mut reader, channel, &tone, &[], None, None).unwrap();
            let findings = file_findings(reader.info(), &tone, &survey.histogram);
            eprintln!("{name} {channel}: {findings:?}");
            // One file has a ceiling that is there: an independent reader (tifffile)
            // finds 8290 pixels at 65534 in red, 8244 at 65533 in green and 6260 at
            // 65532 in blue, 123 or fewer on the codes next to them and none above.
            let ends = flat_ends(&survey.histogram);
            assert!(
                ends.floor.is_none() && ends.ceiling.is_none_or(|c| c >= 65_532),
                "{name} {channel}: {ends:?}"
            );
            let alarms = [Flag::Comb, Flag::EightBitOrigin];
            assert!(
                findings.iter().all(|f| !alarms.contains(&f.flag)),
                "{name} {channel}: {findings:?}"
            );
            if channel == ChannelChoice::Red {
                previews.push(survey.preview);
            }
        }
    }
    let repeat = repeat_scans_agree(&previews[0], &previews[1]).unwrap();
    eprintln!("{}", repeat.evidence);
    // Source: the samples' own table: shift 0, mean ratio 0.9999.
    assert!(
        repeat.equal && (repeat.shift_x, repeat.shift_y) == (0, 0),
        "{repeat:?}"
    );
    assert!(repeat.density_difference.abs() < 0.001, "{repeat:?}");
    let strips = repeat_scans_agree(&previews[2], &previews[3]).unwrap();
    eprintln!("{}", strips.evidence);
    // Source: the samples' own table: shift 0, red mean ratio 1.0002.
    assert!(
        strips.equal && (strips.shift_x, strips.shift_y) == (0, 0),
        "{strips:?}"
    );
    assert!(
        repeat_scans_agree(&previews[0], &previews[2]).is_err(),
        "of different size"
    );
}

#[test]
#[ignore = "needs the sample scans beside the workspace"]
fn scans_without_one_frame_in_its_rebate_give_no_frame() {
    // By the samples' table: plates of three frames, as positives; film that was cut to
    // its picture, on bare light.
    let mut scans = 0;
    for place in ["plates", "film_scans"] {
        let files = std::fs::read_dir(folder(place)).unwrap();
        for path in files.map(|entry| entry.unwrap().path()) {
            let name = path.display().to_string();
            if !(name.ends_with(".jpg") || name.ends_with(".tif")) {
                continue;
            }
            scans += 1;
            for told in [None, Some(ToneEncoding::Srgb), Some(ToneEncoding::Linear)] {
                let bytes = Cursor::new(bytes_of(&path));
                let mut reader = ScanReader::open(bytes, 0, &DecodeLimits::default()).unwrap();
                let channel = reader.usual_channel();
                let tone = tone_of(reader.info(), told.as_ref(), channel);
                let seen = survey(&mut reader, channel, &tone, &[], None, None).unwrap();
                let found = find_frame(&seen.preview);
                eprintln!("{name}, {told:?}: {found:?}");
                assert!(found.is_err(), "{name}, {told:?}");
            }
        }
    }
    assert_eq!(scans, 10);
}

#[test]
#[ignore = "needs the sample scans beside the workspace"]
fn samples_tell_their_resolution_pages_and_profiles() {
    let folder = folder("tiff");
    let info = |name: &str| {
        let bytes = Cursor::new(bytes_of(&folder.join(name)));
        ScanReader::open(bytes, 0, &DecodeLimits::default())
            .unwrap()
            .info()
            .clone()
    };
    // Source: the samples' own table: 364/5 per inch and per centimetre.
    for (name, per_inch) in [
        ("hopper_float_dpi_2.tif", 72.8),
        ("hopper_float_dpi_3.tif", 184.912),
    ] {
        let resolution = info(name).resolution.unwrap();
        assert!(
            (resolution.x_per_inch - per_inch).abs() < 1e-9,
            "{name}: {resolution:?}"
        );
    }
    assert_eq!(info("16bit.cropped.tif").resolution, None);
    // Source: the samples' own table: stored 88 × 590, orientation 6.
    let turned = info("g4_orientation_6.tif");
    assert_eq!((turned.width, turned.height), (590, 88));
    assert!(turned.flags.contains(Flag::Bilevel));
    for (name, pages) in [
        ("multipage.tif", 2),
        ("shapes_multi_size.tif", 2),
        ("seq-1c-8b-multipage-adeefdcc.tiff", 3),
        ("mode_16bit.png", 3),
    ] {
        let info = info(name);
        assert_eq!(info.page_count, pages, "{name}");
        assert!(info.flags.contains(Flag::SeveralImages), "{name}");
    }
    for name in [
        "hopper.iccprofile.tif",
        "tiff_16bit_RGBa.tiff",
        "shapes_lzw_14bps.tif",
    ] {
        let info = info(name);
        assert!(info.icc_profile.is_some(), "{name}");
        let tone = tone_of(&info, None, ChannelChoice::Green);
        eprintln!("{name}: {} {:?}", tone.encoding.describe(), tone.remarks);
    }
}
