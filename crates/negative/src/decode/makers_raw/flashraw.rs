//! The decoder `flashraw`, in terms of this room.
//!
//! It works within limits and is asked to fail rather than to fill in what a
//! damaged file lacks. Should it break all the same, that is caught on threads of
//! its own. DNG never comes here.

use super::frame::{Cell, Crop, MakersFrame};
use super::{Answer, DAMAGED, Fits, OUTSIDE_DECODER_THREAD, RawDecoder};
use crate::decode::camera::CameraSettings;
use crate::decode::sensor::MosaicColour;
use flashraw::{
    BlackLevel, CfaColor, CfaPattern, ColorSource, Compression, CorruptionPolicy, DecodeOptions,
    Error, FlashRaw, Limits, OutputFormat, RawFrame, RawMetadata, RawPixelData, Rect, SampleFormat,
    SensorLayout,
};
use std::panic::{AssertUnwindSafe, catch_unwind};

pub(super) struct Decoder;

impl RawDecoder for Decoder {
    fn frame(&self, file: &[u8], most_samples: u64, fits: Fits<'_>) -> Answer<MakersFrame> {
        let limits = Limits::default().with_max_samples(most_samples);
        apart(|| {
            let raw = FlashRaw::open_with(file, limits).map_err(|error| reason(&error))?;
            let info = raw.frame_info();
            fits(info.width, info.height, info.cpp)?;
            match (info.layout, info.sample_format) {
                (SensorLayout::Foveon, _) => {
                    return Err("a sensor whose colours lie in layers".to_owned());
                }
                (_, SampleFormat::F32) => return Err("floating-point sensor values".to_owned()),
                // A camera with a mosaic that is listed has its colours listed; of another,
                // the decoder would make up the levels.
                (layout, _)
                    if layout != SensorLayout::Monochrome
                        && info.color_matrices.source == ColorSource::None =>
                {
                    return Err(format!(
                        "its decoder doesn't list the camera {}, whose levels would be guesses",
                        raw.metadata().camera()
                    ));
                }
                _ => {}
            }
            let thinned = thins(info.compression);
            let options = DecodeOptions {
                output: OutputFormat::RawU16,
                corruption_policy: CorruptionPolicy::Strict,
                apply_opcodes: false,
                limits,
                ..DecodeOptions::default()
            };
            let frame = raw.decode(options).map_err(|error| reason(&error))?;
            frame_of(frame, thinned)
        })
    }
}

/// Runs the decoder where it can do no harm.
fn apart<T: Send>(work: impl FnOnce() -> Answer<T> + Send) -> Answer<T> {
    let threads = rayon::ThreadPoolBuilder::new()
        .num_threads(rayon::current_num_threads())
        .thread_name(|_| OUTSIDE_DECODER_THREAD.to_owned())
        .build()
        .map_err(|error| error.to_string())?;
    catch_unwind(AssertUnwindSafe(|| threads.install(work))).unwrap_or_else(|_| {
        Err("its decoder broke on it, so it is damaged or of an unknown kind".to_owned())
    })
}

/// What the decoder's error means to a reader.
fn reason(error: &Error) -> String {
    match error {
        Error::UnsupportedFormat(_) => "no kind of raw file that its decoder knows".to_owned(),
        Error::CameraUnsupported { make, model, .. } if model.starts_with(make) => {
            format!("its decoder doesn't know the camera {model}")
        }
        Error::CameraUnsupported { make, model, .. } => {
            format!("its decoder doesn't know the camera {make} {model}")
        }
        Error::CorruptFile { .. } => format!("{DAMAGED} ({error})"),
        other => format!("its decoder says: {other}"),
    }
}

/// Tells codes that are known to lose something.
fn thins(compression: Compression) -> bool {
    matches!(
        compression,
        Compression::LossyJpeg | Compression::SonyArw2 | Compression::CanonSraw
    )
}

fn frame_of(frame: RawFrame, thinned: bool) -> Answer<MakersFrame> {
    if !frame.black_level.row_deltas.is_empty() || !frame.black_level.col_deltas.is_empty() {
        return Err("a black level that changes along rows or columns".to_owned());
    }
    let mosaic = frame.cfa.as_ref().map(mosaic).transpose()?;
    let RawPixelData::U16(codes) = frame.data else {
        return Err("sensor values that are no whole numbers".to_owned());
    };
    let Rect {
        x,
        y,
        width,
        height,
    } = frame.crop;
    let camera = frame.metadata.camera();
    Ok(MakersFrame {
        width: frame.width,
        height: frame.height,
        samples: frame.cpp,
        mosaic,
        black: black(&frame.black_level),
        white: frame.white_level.min(),
        crop: Some(Crop {
            left: x,
            top: y,
            width,
            height,
        }),
        orientation: frame.orientation.exif() as u16,
        camera: settings(&frame.metadata),
        thinned,
        remarks: vec![format!(
            "the camera's own kind of raw file ({camera}); black and white level are those that its decoder gives for \
             this camera"
        )],
        codes,
    })
}

fn mosaic(cfa: &CfaPattern) -> Answer<Cell<MosaicColour>> {
    let colours: Answer<Vec<MosaicColour>> = cfa
        .colors()
        .into_iter()
        .map(|colour| match colour {
            CfaColor::Red => Ok(MosaicColour::Red),
            CfaColor::Green => Ok(MosaicColour::Green),
            CfaColor::Blue => Ok(MosaicColour::Blue),
            _ => Err("other colours in its mosaic than red, green and blue".to_owned()),
        })
        .collect();
    Ok(Cell {
        columns: cfa.width(),
        places: colours?,
    })
}

fn black(level: &BlackLevel) -> Cell<f64> {
    Cell {
        columns: usize::from(level.cols) * usize::from(level.samples),
        places: level.values.iter().copied().map(f64::from).collect(),
    }
}

/// How the camera was set; noughts are written by cameras that don't know.
fn settings(told: &RawMetadata) -> Option<CameraSettings> {
    let positive = |value: f64| Some(value).filter(|v| v.is_finite() && *v > 0.0);
    let exposure = &told.exposure;
    CameraSettings {
        time_s: exposure.exposure_time.and_then(positive),
        // Rounded as it is marked: a single float of 7.1 is no 7.1 otherwise.
        aperture: exposure
            .f_number
            .and_then(|n| positive(libm::round(f64::from(n) * 1000.0) / 1000.0)),
        sensitivity: exposure.iso.map(f64::from).and_then(positive),
        taken: told.capture_time.as_deref().and_then(clock),
    }
    .told()
}

/// "2026-01-31T12:00:00.25+01:00" as "2026-01-31 12:00:00".
fn clock(text: &str) -> Option<String> {
    let (date, time) = text.split_once('T')?;
    let time = time.get(..8)?;
    (date.len() == 10 && !date.starts_with("0000")).then(|| format!("{date} {time}"))
}
