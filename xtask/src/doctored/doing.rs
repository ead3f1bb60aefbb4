//! What is done to scans, and how strongly.

use image::imageops::{FilterType, resize};
use image::{DynamicImage, ImageBuffer, ImageFormat, Luma};
use negative::tone::{Tone, ToneEncoding};
use quantity::Flag;
use std::io::Cursor;
use testkit::{DeclaredTone, FilmScan, FilmScanPlan, TiffForm, tiff_grey8, tiff_grey16};

/// One thing done to a scan.
pub(crate) struct Doing {
    pub(crate) kind: &'static str,
    pub(crate) strength: &'static str,
    /// What the scan must be for it.
    pub(crate) plan: FilmScanPlan,
    /// Any of these counts as found.
    pub(crate) flags: &'static [Flag],
    pub(crate) act: fn(&mut Sent),
}

/// A scan on its way to the checks.
pub(crate) struct Sent {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) codes: Vec<u16>,
    pub(crate) bits: u8,
    /// What the record says of the tone.
    pub(crate) tone: Option<ToneEncoding>,
    /// Mean code of clear film before anything was done.
    pub(crate) clear_code: f64,
    /// Whether other frames of the series are compared: they are as the scan was.
    pub(crate) series: bool,
    /// A JPEG file instead of a TIFF.
    jpeg: Option<Vec<u8>>,
}

const PLAIN: FilmScanPlan = FilmScanPlan {
    bits: None,
    sensor_bits: None,
    gamma: None,
    flare: None,
};
const SIXTEEN: FilmScanPlan = FilmScanPlan {
    bits: Some(16),
    sensor_bits: Some(16),
    ..PLAIN
};
const LINEAR: FilmScanPlan = FilmScanPlan {
    gamma: Some(1.0),
    ..SIXTEEN
};
const EIGHT: FilmScanPlan = FilmScanPlan {
    bits: Some(8),
    ..PLAIN
};

/// Nothing.
pub(crate) const NOTHING: Doing = Doing {
    kind: "nothing",
    strength: "",
    plan: PLAIN,
    flags: &[],
    act: |_| {},
};

const LEVELS: &[Flag] = &[Flag::Comb];
const FROM_EIGHT: &[Flag] = &[Flag::EightBitOrigin];
const POSITIVE: &[Flag] = &[Flag::InvertedPositive, Flag::SignalReversed];
const UNEVEN: &[Flag] = &[Flag::UnevenLight];
const LOSS: &[Flag] = &[Flag::Lossy, Flag::LossTraces];

macro_rules! doings {
    ($($kind:literal, $strength:literal, $plan:expr, $flags:expr, $act:expr;)*) => {
        &[$(Doing { kind: $kind, strength: $strength, plan: $plan, flags: $flags, act: $act },)*]
    };
}

/// Everything that is done.
pub(crate) const DOINGS: &[Doing] = doings! {
    "levels stretched, 16 bits", "× 1.05", SIXTEEN, LEVELS, |s| s.map(|x| x * 1.05);
    "levels stretched, 16 bits", "× 1.12", SIXTEEN, LEVELS, |s| s.map(|x| x * 1.12);
    "levels stretched, 16 bits", "black point 3 %, × 1.5", SIXTEEN, LEVELS, |s| s.map(|x| (x - 0.03) * 1.5);
    "levels stretched, 16 bits", "× 0.4, then × 2.6", SIXTEEN, LEVELS, |s| { s.map(|x| x * 0.4); s.map(|x| x * 2.6); };
    "levels stretched, 14 bits padded", "× 1.2", FilmScanPlan { sensor_bits: Some(14), ..LINEAR }, LEVELS, |s| s.map(|x| x * 1.2);
    "levels squeezed, 16 bits", "× 0.85", SIXTEEN, LEVELS, |s| s.map(|x| x * 0.85);
    "levels squeezed, 16 bits", "× 0.6", SIXTEEN, LEVELS, |s| s.map(|x| x * 0.6);
    "levels bent, 16 bits", "gamma 0.8", SIXTEEN, LEVELS, |s| s.map(|x| x.powf(0.8));
    "levels bent, 16 bits", "gamma 1.5", SIXTEEN, LEVELS, |s| s.map(|x| x.powf(1.5));
    "levels bent, 16 bits", "an S of contrast", SIXTEEN, LEVELS, |s| s.map(|x| x + 0.08 * (x * core::f64::consts::TAU - core::f64::consts::PI).sin());
    "levels stretched, 8 bits", "× 1.15", EIGHT, LEVELS, |s| s.map(|x| x * 1.15);
    "levels stretched, 8 bits", "black point 5 %, × 1.4", EIGHT, LEVELS, |s| s.map(|x| (x - 0.05) * 1.4);
    "levels squeezed, 8 bits", "× 0.8", EIGHT, LEVELS, |s| s.map(|x| x * 0.8);
    "levels bent, 8 bits", "gamma 0.7", EIGHT, LEVELS, |s| s.map(|x| x.powf(0.7));
    "levels bent, 8 bits", "gamma 1.4", EIGHT, LEVELS, |s| s.map(|x| x.powf(1.4));
    "8 bits saved as 16", "× 257", SIXTEEN, FROM_EIGHT, |s| s.through_eight_bits(257.0);
    "8 bits saved as 16", "shifted, × 256", SIXTEEN, FROM_EIGHT, |s| s.through_eight_bits(256.0);
    "8 bits saved as 16", "and bent by gamma 1.2", SIXTEEN, &[Flag::EightBitOrigin, Flag::Comb], |s| { s.through_eight_bits(257.0); s.map(|x| x.powf(1.2)); };
    "exposure set by itself", "0.06 stop", LINEAR, &[Flag::LevelsChanged], |s| s.exposed(1.06);
    "exposure set by itself", "0.2 stop more", PLAIN, &[Flag::LevelsChanged], |s| s.exposed(1.15);
    "exposure set by itself", "two thirds less", PLAIN, &[Flag::LevelsChanged], |s| s.exposed(0.63);
    "exposure set by itself", "white point at the film's base", PLAIN, &[Flag::LevelsChanged, Flag::Clipped], |s| { let to = s.top() / s.clear_code; s.exposed(to); };
    "clipped", "white, half of the rebate", PLAIN, &[Flag::Clipped], |s| { let to = s.top() / s.clear_code; s.series = false; s.map(|x| x * to); };
    "clipped", "white, at 90 % of the base", PLAIN, &[Flag::Clipped], |s| { let to = s.top() / s.clear_code; s.series = false; s.map(|x| x * to * 1.1); };
    "clipped", "black point 6 %", PLAIN, &[Flag::Clipped], |s| { s.series = false; s.map(|x| x - 0.06); };
    "clipped", "ends cut off at 5 and 70 %", PLAIN, &[Flag::Clipped], |s| { s.series = false; s.map(|x| x.clamp(0.05, 0.7)); };
    "tone not declared", "", PLAIN, &[Flag::UnknownTone], |s| s.tone = Some(ToneEncoding::Unknown);
    "tone not as declared", "gamma 1.6 as linear", FilmScanPlan { gamma: Some(1.6), ..SIXTEEN }, &[Flag::ToneContradicted], |s| s.tone = Some(ToneEncoding::Linear);
    "tone not as declared", "gamma 2.2 as linear", FilmScanPlan { gamma: Some(2.2), ..SIXTEEN }, &[Flag::ToneContradicted], |s| s.tone = Some(ToneEncoding::Linear);
    "tone not as declared", "linear as sRGB", LINEAR, &[Flag::ToneContradicted], |s| s.tone = Some(ToneEncoding::Srgb);
    "tone curve turns", "above 60 % of light", PLAIN, &[Flag::TabletOutOfOrder, Flag::TabletMisfit], |s| s.map(|x| if x > 0.6 { 1.2 - x } else { x });
    "tone curve turns", "below 20 % of light", PLAIN, &[Flag::TabletOutOfOrder, Flag::TabletMisfit], |s| s.map(|x| if x < 0.2 { 0.4 - x } else { x });
    "turned into a positive", "codes turned", PLAIN, POSITIVE, |s| { s.series = false; s.map(|x| 1.0 - x); };
    "turned into a positive", "with contrast", SIXTEEN, POSITIVE, |s| { s.series = false; s.map(|x| (1.0 - x).powf(1.8)); };
    "turned into a positive", "8 bits", EIGHT, POSITIVE, |s| { s.series = false; s.map(|x| (1.0 - x).powf(0.8)); };
    "JPEG", "quality 95", PLAIN, LOSS, |s| s.as_jpeg(95);
    "JPEG, then TIFF", "quality 97", PLAIN, LOSS, |s| s.through_jpeg(97);
    "JPEG, then TIFF", "quality 92", PLAIN, LOSS, |s| s.through_jpeg(92);
    "JPEG, then TIFF", "quality 80", PLAIN, LOSS, |s| s.through_jpeg(80);
    "JPEG, then TIFF", "quality 50", PLAIN, LOSS, |s| s.through_jpeg(50);
    "sharpened", "radius 1, 150 %", PLAIN, &[Flag::Sharpened], |s| s.sharpen(1.0, 1.5);
    "sharpened", "radius 1.5, 100 %", PLAIN, &[Flag::Sharpened], |s| s.sharpen(1.5, 1.0);
    "sharpened", "radius 2, 60 %", PLAIN, &[Flag::Sharpened], |s| s.sharpen(2.0, 0.6);
    "sharpened", "radius 2, 150 %", PLAIN, &[Flag::Sharpened], |s| s.sharpen(2.0, 1.5);
    "resampled", "to 120 %, straight lines", PLAIN, &[Flag::Resampled], |s| s.resize(1.2, FilterType::Triangle);
    "resampled", "to 150 %, cubic", PLAIN, &[Flag::Resampled], |s| s.resize(1.5, FilterType::CatmullRom);
    "resampled", "to 300 %, nearest", PLAIN, &[Flag::Resampled], |s| s.resize(3.0, FilterType::Nearest);
    "resampled", "to 170 %, windowed sinc", PLAIN, &[Flag::Resampled], |s| s.resize(1.7, FilterType::Lanczos3);
    "resampled", "to 80 %, straight lines", PLAIN, &[Flag::Resampled], |s| s.resize(0.8, FilterType::Triangle);
    "flare of the scanner", "0.3 %", FilmScanPlan { flare: Some(0.003), ..LINEAR }, &[Flag::ScannerFlare], |_| {};
    "flare of the scanner", "1 %", FilmScanPlan { flare: Some(0.01), ..LINEAR }, &[Flag::ScannerFlare], |_| {};
    "flare of the scanner", "3 %", FilmScanPlan { flare: Some(0.03), ..LINEAR }, &[Flag::ScannerFlare], |_| {};
    "light uneven", "10 % from corner to corner", LINEAR, UNEVEN, |s| s.shaded(|x, y| 1.0 - 0.05 * (x + y));
    "light uneven", "a third of a stop to the corners", LINEAR, UNEVEN, |s| s.shaded(|x, y| falling(x, y, 1.0 / 3.0));
    "light uneven", "8 % across", LINEAR, UNEVEN, |s| s.shaded(|x, _| 1.0 - 0.08 * x);
    "light uneven", "a stop to the corners", LINEAR, UNEVEN, |s| s.shaded(|x, y| falling(x, y, 1.0));
};

/// Light that falls by so many stops from the middle to the corners, with the square
/// of the distance.
fn falling(x: f64, y: f64, stops: f64) -> f64 {
    let (x, y) = (2.0 * x - 1.0, 2.0 * y - 1.0);
    (-stops * (x * x + y * y) / 2.0).exp2()
}

/// What the checks are known to miss, now and then or always; tried to keep the
/// documents true.
pub(crate) const BEYOND: &[Doing] = doings! {
    "sharpened", "radius 1, 50 %", PLAIN, &[Flag::Sharpened], |s| s.sharpen(1.0, 0.5);
    "resampled", "to 200 %, cubic", PLAIN, &[Flag::Resampled], |s| s.resize(2.0, FilterType::CatmullRom);
    "resampled", "to 103 %, cubic", PLAIN, &[Flag::Resampled], |s| s.resize(1.03, FilterType::CatmullRom);
    "resampled", "to 72 %, windowed sinc", PLAIN, &[Flag::Resampled], |s| s.resize(0.72, FilterType::Lanczos3);
    "resampled", "to 50 %, straight lines", PLAIN, &[Flag::Resampled], |s| s.resize(0.5, FilterType::Triangle);
    "exposure set by itself", "0.03 stop", LINEAR, &[Flag::LevelsChanged], |s| s.exposed(1.02);
    "light uneven", "3 % across", LINEAR, UNEVEN, |s| s.shaded(|x, _| 1.0 - 0.03 * x);
    "flare of the scanner", "0.1 %", FilmScanPlan { flare: Some(0.001), ..LINEAR }, &[Flag::ScannerFlare], |_| {};
};

/// Sends a scan on as it is.
pub(crate) fn sent(scan: &FilmScan) -> Sent {
    let codes = scan.codes();
    let record::Outline::Rectangle {
        x,
        y,
        width,
        height,
    } = scan.rebate
    else {
        unreachable!("a made rebate is a rectangle")
    };
    let mut clear: Vec<u16> = (y..y + height)
        .flat_map(|row| (x..x + width).map(move |column| (row, column)))
        .map(|(row, column)| codes[row as usize * scan.width + column as usize])
        .collect();
    clear.sort_unstable();
    Sent {
        width: scan.width,
        height: scan.height,
        codes,
        bits: scan.coding.bits,
        tone: ToneEncoding::gamma(scan.coding.gamma).ok(),
        clear_code: f64::from(clear[clear.len() / 2]),
        series: true,
        jpeg: None,
    }
}

impl Sent {
    /// The file as it is read.
    pub(crate) fn file(&self) -> Vec<u8> {
        if let Some(jpeg) = &self.jpeg {
            return jpeg.clone();
        }
        let form = TiffForm {
            tone: DeclaredTone::Nothing,
            ..TiffForm::default()
        };
        let (width, height) = (self.width as u32, self.height as u32);
        if self.bits == 8 {
            tiff_grey8(width, height, &self.eight_bits(), form)
        } else {
            tiff_grey16(width, height, &self.codes, form)
        }
    }

    /// Largest code.
    pub(crate) fn top(&self) -> f64 {
        if self.bits == 8 { 255.0 } else { 65_535.0 }
    }

    /// Signal of clear film before anything was done, by this tone.
    pub(crate) fn clear_signal(&self, tone: &Tone) -> f64 {
        tone.signal(self.clear_code * f64::from(tone.code_max) / self.top())
    }

    fn eight_bits(&self) -> Vec<u8> {
        let divide = if self.bits == 8 { 1 } else { 257 };
        self.codes
            .iter()
            .map(|code| ((code + divide / 2) / divide).min(255) as u8)
            .collect()
    }

    /// Each code to another, both as part of the scale.
    fn map(&mut self, of: impl Fn(f64) -> f64) {
        let top = self.top();
        let table: Vec<u16> = (0..=top as u32)
            .map(|code| {
                let to = of(f64::from(code) / top) * top;
                // f64 to u16 holds to the ends by itself.
                to.round() as u16
            })
            .collect();
        for code in &mut self.codes {
            *code = table[usize::from(*code)];
        }
        self.series = false;
    }

    /// Another exposure of the scanner: no rounding twice, but the codes it would give.
    fn exposed(&mut self, times: f64) {
        let top = self.top();
        // A pixel's own rounding is not known any more: spread evenly over its code.
        let mut spread = 0.5_f64;
        for code in &mut self.codes {
            spread = (spread + 0.618_033_988_749_895).fract();
            *code = ((f64::from(*code) + spread - 0.5) * times)
                .round()
                .clamp(0.0, top) as u16;
        }
    }

    /// Light that differs from place to place; places from 0 to 1, codes that are light.
    fn shaded(&mut self, field: impl Fn(f64, f64) -> f64) {
        let (width, height) = (self.width as f64, self.height as f64);
        for (i, code) in self.codes.iter_mut().enumerate() {
            let x = ((i % self.width) as f64 + 0.5) / width;
            let y = ((i / self.width) as f64 + 0.5) / height;
            *code = (f64::from(*code) * field(x, y)).round() as u16;
        }
        self.series = false;
    }

    fn through_eight_bits(&mut self, times: f64) {
        for code in &mut self.codes {
            *code = ((f64::from(*code) / 257.0).round() * times) as u16;
        }
        self.series = false;
    }

    fn jpeg_bytes(&self, quality: u8) -> Vec<u8> {
        let mut file = Vec::new();
        let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut file, quality);
        let written = encoder.encode(
            &self.eight_bits(),
            self.width as u32,
            self.height as u32,
            image::ExtendedColorType::L8,
        );
        assert!(written.is_ok(), "a grey JPEG of this size can be written");
        file
    }

    fn as_jpeg(&mut self, quality: u8) {
        self.jpeg = Some(self.jpeg_bytes(quality));
        self.series = false;
    }

    fn through_jpeg(&mut self, quality: u8) {
        let file = self.jpeg_bytes(quality);
        let picture = image::load(Cursor::new(file), ImageFormat::Jpeg);
        let Ok(DynamicImage::ImageLuma8(picture)) = picture else {
            unreachable!("a grey JPEG was written")
        };
        self.codes = picture.into_raw().into_iter().map(u16::from).collect();
        self.bits = 8;
        self.series = false;
    }

    /// Adds `amount` of what a blur takes away.
    fn sharpen(&mut self, radius: f64, amount: f64) {
        let top = self.top();
        let (width, height) = (self.width as u32, self.height as u32);
        let values = self.codes.iter().map(|c| f32::from(*c)).collect();
        let Some(picture) = ImageBuffer::<Luma<f32>, Vec<f32>>::from_raw(width, height, values)
        else {
            unreachable!("as many codes as pixels")
        };
        let soft = image::imageops::blur(&picture, radius as f32);
        for (code, soft) in self.codes.iter_mut().zip(soft.into_raw()) {
            let value = f64::from(*code);
            *code = (value + amount * (value - f64::from(soft)))
                .round()
                .clamp(0.0, top) as u16;
        }
    }

    fn resize(&mut self, times: f64, filter: FilterType) {
        let (width, height) = (
            (self.width as f64 * times).round() as u32,
            (self.height as f64 * times).round() as u32,
        );
        let codes = core::mem::take(&mut self.codes);
        let Some(picture) = ImageBuffer::<Luma<u16>, Vec<u16>>::from_raw(
            self.width as u32,
            self.height as u32,
            codes,
        ) else {
            unreachable!("as many codes as pixels")
        };
        self.codes = resize(&picture, width, height, filter).into_raw();
        if self.bits == 8 {
            for code in &mut self.codes {
                *code = (*code).min(255);
            }
        }
        (self.width, self.height) = (width as usize, height as usize);
        self.series = false;
    }
}
