//! The decoder `rawler`, in terms of this room.
//!
//! It may panic on a damaged file: it runs on threads of its own, whose panics
//! are caught there. DNG never comes here.

use super::frame::{Cell, Crop, MakersFrame};
use super::{Answer, OUTSIDE_DECODER_THREAD, RawDecoder};
use crate::decode::camera::{CameraSettings, date_of};
use crate::decode::sensor::MosaicColour;
use rawler::cfa::{CFA, CFAColor};
use rawler::decoders::{Decoder, RawDecodeParams, RawLoader};
use rawler::exif::Exif;
use rawler::formats::tiff::Rational;
use rawler::imgop::Rect;
use rawler::rawsource::RawSource;
use rawler::{RawImage, RawImageData, RawlerError, rawimage};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::{Arc, OnceLock};

/// Bytes of stack of each thread: the decoder keeps whole mosaics there.
const STACK_BYTES: usize = 8 << 20;

pub(super) struct Rawler;

impl RawDecoder for Rawler {
    fn frame(
        &self,
        file: Vec<u8>,
        page: usize,
        fits: &dyn Fn(u32, u32, u32) -> Answer<()>,
    ) -> Answer<MakersFrame> {
        let source = RawSource::new_from_shared_vec(Arc::new(file));
        let params = RawDecodeParams { image_index: page };
        let (size, page_count) = apart(|| {
            let decoder = decoder_of(&source)?;
            let size = decoder.raw_image(&source, &params, true)?;
            Ok((
                (size.width, size.height, size.cpp),
                decoder.raw_image_count()?,
            ))
        })?;
        let side = |side: usize| u32::try_from(side).map_err(|_| format!("a side of {side}"));
        let (width, height, samples) = (side(size.0)?, side(size.1)?, side(size.2)?);
        fits(width, height, samples)?;
        let (image, exif) = apart(|| {
            let decoder = decoder_of(&source)?;
            let image = decoder.raw_image(&source, &params, false)?;
            // Settings are told where they can be; a frame is none the worse without.
            let exif = decoder.raw_metadata(&source, &params).ok().map(|m| m.exif);
            Ok((image, exif))
        })?;
        frame_of(image, exif.as_ref(), page_count)
    }
}

/// Runs the decoder where it can do no harm.
fn apart<T: Send>(work: impl FnOnce() -> Result<T, RawlerError> + Send) -> Answer<T> {
    let threads = rayon::ThreadPoolBuilder::new()
        .num_threads(rayon::current_num_threads())
        .stack_size(STACK_BYTES)
        .thread_name(|_| OUTSIDE_DECODER_THREAD.to_owned())
        .build()
        .map_err(|error| error.to_string())?;
    let worked = catch_unwind(AssertUnwindSafe(|| threads.install(work)));
    match worked {
        Ok(Ok(answer)) => Ok(answer),
        Ok(Err(error)) => Err(reason(&error)),
        Err(_) => {
            Err("its decoder broke on it: the file is damaged or of an unknown kind".to_owned())
        }
    }
}

/// What the decoder's error means to a reader.
fn reason(error: &RawlerError) -> String {
    match error {
        RawlerError::Unsupported {
            what, make, model, ..
        } => {
            let camera = format!("{make} {model}");
            match camera.trim() {
                "" => "no kind of raw file that its decoder knows".to_owned(),
                camera => format!("camera {camera:?}: {}", first_line(what)),
            }
        }
        RawlerError::DecoderFailed(what) => format!("its decoder says: {}", first_line(what)),
    }
}

/// The first line: the decoder adds others on where to report it.
fn first_line(text: &str) -> &str {
    text.lines().next().unwrap_or_default()
}

fn decoder_of(source: &RawSource) -> Result<Box<dyn Decoder>, RawlerError> {
    static CAMERAS: OnceLock<RawLoader> = OnceLock::new();
    CAMERAS.get_or_init(RawLoader::new).get_decoder(source)
}

fn frame_of(image: RawImage, exif: Option<&Exif>, page_count: usize) -> Answer<MakersFrame> {
    if image.fuji_rotation_width.is_some() {
        return Err("its sensor's rows lie along the diagonal".to_owned());
    }
    let side = |side: usize| u32::try_from(side).map_err(|_| format!("a side of {side}"));
    let mosaic = match &image.photometric {
        rawimage::RawPhotometricInterpretation::Cfa(config) => Some(mosaic(&config.cfa)?),
        _ => None,
    };
    let white = image.whitelevel.0.iter().copied().min().unwrap_or(0);
    let black = Cell {
        columns: image.blacklevel.width * image.blacklevel.cpp,
        places: image.blacklevel.levels.iter().map(number).collect(),
    };
    let codes = match image.data {
        RawImageData::Integer(codes) => codes,
        RawImageData::Float(_) => return Err("floating-point sensor values".to_owned()),
    };
    let crop = match image.crop_area.or(image.active_area) {
        None => None,
        Some(Rect { p, d }) => Some(Crop {
            left: side(p.x)?,
            top: side(p.y)?,
            width: side(d.w)?,
            height: side(d.h)?,
        }),
    };
    Ok(MakersFrame {
        width: side(image.width)?,
        height: side(image.height)?,
        samples: side(image.cpp)?,
        mosaic,
        black,
        white,
        crop,
        orientation: exif.and_then(|exif| exif.orientation).unwrap_or(1),
        camera: exif.and_then(settings),
        page_count,
        remarks: vec![format!(
            "the camera's own kind of raw file ({} {}); black and white level are those that its decoder gives for \
             this camera; whether the camera thinned its numbers is not known, and thinned ones may come out a code too low",
            image.clean_make, image.clean_model
        )],
        codes,
    })
}

fn mosaic(cfa: &CFA) -> Answer<Cell<MosaicColour>> {
    let colours: Answer<Vec<MosaicColour>> = cfa
        .flat_pattern()
        .into_iter()
        .map(|colour| match CFAColor::try_from(colour) {
            Ok(CFAColor::RED) => Ok(MosaicColour::Red),
            Ok(CFAColor::GREEN | CFAColor::FUJI_GREEN) => Ok(MosaicColour::Green),
            Ok(CFAColor::BLUE) => Ok(MosaicColour::Blue),
            _ => Err("other colours in its mosaic than red, green and blue".to_owned()),
        })
        .collect();
    Ok(Cell {
        columns: cfa.width,
        places: colours?,
    })
}

/// A ratio as a number; NaN over nought.
fn number(ratio: &Rational) -> f64 {
    f64::from(ratio.n) / f64::from(ratio.d)
}

/// How the camera was set; noughts are written by cameras that don't know.
fn settings(exif: &Exif) -> Option<CameraSettings> {
    let positive = |value: f64| Some(value).filter(|v| v.is_finite() && *v > 0.0);
    let ratio = |ratio: &Option<Rational>| ratio.as_ref().map(number);
    let sensitivity = [
        exif.iso_speed_ratings.map(u32::from),
        exif.iso_speed,
        exif.recommended_exposure_index,
    ];
    // The short tag is full at 65535: what was meant stands in another.
    let told = |iso: &u32| *iso > 0 && *iso < u32::from(u16::MAX);
    CameraSettings {
        time_s: ratio(&exif.exposure_time).and_then(positive),
        aperture: ratio(&exif.fnumber).and_then(positive),
        sensitivity: sensitivity.into_iter().flatten().find(told).map(f64::from),
        taken: exif.date_time_original.as_deref().and_then(date_of),
    }
    .told()
}
