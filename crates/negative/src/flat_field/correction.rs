//! A scan divided by the light of the bare table.

use super::error::FlatFieldError;
use super::light_field::{LightField, median};
use super::unevenness::{Unevenness, unevenness};
use crate::decode::{ChannelChoice, Codes, Polarity, SampleKind, ScanInfo, ScanRow, SensorScale};
use crate::outline::Outline;
use crate::patch::PatchStatistics;
use crate::tone::{Tone, ToneEncoding};

/// Largest share of full pixels in any box of the light table's picture.
const FULL_AT_MOST: f64 = 0.02;
/// Least light against the brightest place: less can't be told from a mask.
const LIGHT_AT_LEAST: f64 = 0.05;
/// Largest share of boxes that may differ from their neighbours.
const ROUGH_AT_MOST: f64 = 0.10;
/// Largest robust deviation of a box from its neighbours, against the brightest:
/// a picture's own tones change by more, lens and table by less.
const ROUGHNESS_AT_MOST: f64 = 0.015;
/// Code of no light in a corrected scan, so that noise below it is kept.
const BLACK_CODE: f64 = 2048.0;

/// The light of the bare table, and what the sensor shows without any.
#[derive(Clone, Debug)]
pub struct FlatField {
    /// Light of the table without that of the dark frame.
    table: LightField,
    dark: Option<LightField>,
    /// Largest light of the table.
    brightest: f64,
    /// Standard uncertainty of the table's light, without the dark frame's part.
    uncertainty: f64,
}

impl FlatField {
    /// Joins a picture of the bare light table and a dark frame.
    ///
    /// # Errors
    /// [`FlatFieldError`] when the two don't belong together, and for a picture
    /// that is clipped, dark in parts, or not of a bare table.
    pub fn new(mut table: LightField, dark: Option<LightField>) -> Result<Self, FlatFieldError> {
        if table.full_share > FULL_AT_MOST {
            return Err(FlatFieldError::Clipped {
                percent: table.full_share * 100.0,
                most_percent: FULL_AT_MOST * 100.0,
            });
        }
        let mut uncertainty = table.uncertainty;
        if let Some(dark) = &dark {
            same_picture("the dark frame", dark, &table)?;
            for (light, dark) in table.light.iter_mut().zip(&dark.light) {
                *light -= dark;
            }
            uncertainty = uncertainty.hypot(dark.uncertainty);
        }
        let brightest = table.light.iter().copied().fold(0.0, f64::max);
        let boxes = table.light.len() as f64;
        // Not a number and no light at all are dark, too.
        let dim = |light: &&f64| light.is_nan() || **light <= LIGHT_AT_LEAST * brightest;
        let dark_boxes = table.light.iter().filter(dim).count() as f64;
        if dark_boxes > 0.0 {
            return Err(FlatFieldError::Dark {
                dark_percent: (dark_boxes / boxes * 100.0).max(1.0),
                least_percent: LIGHT_AT_LEAST * 100.0,
            });
        }
        let rough = table.rough_boxes as f64 / boxes;
        if rough > ROUGH_AT_MOST {
            return Err(FlatFieldError::NotBare {
                rough_percent: rough * 100.0,
                most_percent: ROUGH_AT_MOST * 100.0,
            });
        }
        let roughness = table.roughness / brightest;
        if roughness > ROUGHNESS_AT_MOST {
            return Err(FlatFieldError::Textured {
                percent: roughness * 100.0,
                most_percent: ROUGHNESS_AT_MOST * 100.0,
            });
        }
        Ok(Self {
            table,
            dark,
            brightest,
            uncertainty,
        })
    }

    /// Gives how uneven lens and table are together.
    #[must_use]
    pub fn unevenness(&self) -> Unevenness {
        unevenness(&self.table, self.uncertainty)
    }

    /// Gives the light of the dark frame against full scale; none without one.
    #[must_use]
    pub fn dark_light(&self) -> Option<f64> {
        self.dark.as_ref().map(|d| median(d.light.clone()))
    }

    /// Adds what the noise of both pictures does to a patch of a corrected scan.
    pub fn add_uncertainty(&self, statistics: &mut PatchStatistics, outline: &Outline) {
        let (width, height) = (f64::from(self.table.width), f64::from(self.table.height));
        let (left, top, right, bottom) = outline.bounds().unwrap_or((0.0, 0.0, width, height));
        let boxes = (right - left) / width
            * self.table.columns as f64
            * ((bottom - top) / height * self.table.rows as f64);
        let boxes = boxes.max(1.0).sqrt();
        let mut light = Vec::new();
        let middle = f64::midpoint(left, right);
        let at = core::iter::once(middle);
        self.table.row(f64::midpoint(top, bottom), at, &mut light);
        let light = light.first().copied().unwrap_or(self.brightest);
        let divided = statistics.signal * self.uncertainty / light;
        let dark = self.dark.as_ref().map_or(0.0, |d| d.uncertainty);
        let added = divided.hypot(dark * self.brightest / light) / boxes;
        statistics.signal_uncertainty = statistics.signal_uncertainty.hypot(added);
        if statistics.signal_per_code > 0.0 {
            statistics.code_uncertainty = statistics
                .code_uncertainty
                .hypot(added / statistics.signal_per_code);
        }
    }
}

fn same_picture(
    what: &'static str,
    field: &LightField,
    scan: &LightField,
) -> Result<(), FlatFieldError> {
    if (field.width, field.height) != (scan.width, scan.height) {
        return Err(FlatFieldError::OtherSize {
            what,
            width: field.width,
            height: field.height,
            scan_width: scan.width,
            scan_height: scan.height,
        });
    }
    if field.channel != scan.channel || field.mosaic != scan.mosaic {
        let of = |f: &LightField| match &f.mosaic {
            Some(mosaic) => format!("{} of a mosaic {mosaic}", f.channel),
            None => f.channel.to_string(),
        };
        return Err(FlatFieldError::OtherChannel {
            what,
            found: of(field),
            wanted: of(scan),
        });
    }
    Ok(())
}

/// A flat field made ready for one scan.
#[derive(Debug)]
pub(crate) struct Correction {
    field: FlatField,
    pub(crate) channel: ChannelChoice,
    /// The corrected scan as it says of itself.
    pub(crate) info: ScanInfo,
    light_of: Vec<f64>,
    full: u16,
    none: u16,
    table: Vec<f64>,
    dark: Vec<f64>,
    codes: Vec<u16>,
}

impl Correction {
    pub(crate) fn new(
        field: FlatField,
        info: &ScanInfo,
        channel: ChannelChoice,
        tone: &Tone,
    ) -> Result<Self, FlatFieldError> {
        if !tone.encoding.is_known() {
            return Err(FlatFieldError::UnknownTone { what: "the scan" });
        }
        let scan = LightField {
            width: info.width,
            height: info.height,
            channel,
            mosaic: info.mosaic.clone(),
            columns: 0,
            rows: 0,
            light: Vec::new(),
            uncertainty: 0.0,
            full_share: 0.0,
            rough_boxes: 0,
            roughness: 0.0,
        };
        same_picture("the light table's picture", &field.table, &scan)?;
        let (full, none) = match tone.polarity {
            Polarity::BlackIsZero => (tone.code_max, 0),
            Polarity::WhiteIsZero => (0, tone.code_max),
        };
        let places = info
            .mosaic
            .as_ref()
            .map_or(3, |m| (m.rows() * m.columns()) as usize);
        let corrected = ScanInfo {
            bits: 16,
            sample_kind: SampleKind::Unsigned,
            polarity: Polarity::BlackIsZero,
            icc_profile: None,
            chunk_tone: None,
            transfer_function: Vec::new(),
            sensor: Some(SensorScale {
                black: vec![BLACK_CODE; places],
                white: u16::MAX,
                origin: info.sensor.as_ref().map_or((0, 0), |s| s.origin),
                stored: info
                    .sensor
                    .as_ref()
                    .map_or((info.width, info.height), |s| s.stored),
                table: None,
            }),
            ..info.clone()
        };
        Ok(Self {
            field,
            channel,
            info: corrected,
            light_of: tone.table(),
            full,
            none,
            table: Vec::new(),
            dark: Vec::new(),
            codes: Vec::new(),
        })
    }

    /// Gives the tone of the corrected codes; who says so stays who said it.
    pub(crate) fn tone(&self, before: &Tone) -> Tone {
        Tone {
            encoding: ToneEncoding::LinearAboveBlack {
                black: BLACK_CODE / f64::from(u16::MAX),
            },
            origin: before.origin,
            polarity: Polarity::BlackIsZero,
            code_max: u16::MAX,
            remarks: before.remarks.clone(),
        }
    }

    /// Gives a row with uneven light divided out.
    ///
    /// A full pixel stays full, and one at the dark end of the scale stays
    /// there, so that neither is taken for a value. So does a pixel without a
    /// number.
    pub(crate) fn row<'a>(&'a mut self, row: &ScanRow<'_>) -> ScanRow<'a> {
        let (across, down) = self.info.steps(self.channel);
        // Middles of the cells that the codes stand for.
        let y = f64::from(row.y) + f64::from(down) / 2.0;
        let x = |i: usize| f64::from(row.x_first + i as u32 * row.x_step) + f64::from(across) / 2.0;
        let count = row.codes.len();
        self.field.table.row(y, (0..count).map(x), &mut self.table);
        self.dark.clear();
        match &self.field.dark {
            Some(dark) => dark.row(y, (0..count).map(x), &mut self.dark),
            None => self.dark.resize(count, 0.0),
        }
        self.codes.clear();
        let scale = f64::from(u16::MAX) - BLACK_CODE;
        for i in 0..count {
            let stored = match row.codes {
                Codes::Unsigned(codes) => Some(codes[i]),
                Codes::Float(_) => row.codes.at(i),
            };
            self.codes.push(match stored {
                None => 0,
                Some(code) if code == self.full => u16::MAX,
                // Below a black level nothing is at an end.
                Some(code) if code == self.none => 0,
                Some(code) => {
                    let light = self.light_of[usize::from(code)] - self.dark[i];
                    let light = light * self.field.brightest / self.table[i];
                    let code = BLACK_CODE + light * scale + 0.5;
                    code.clamp(1.0, f64::from(u16::MAX - 1)) as u16
                }
            });
        }
        ScanRow {
            y: row.y,
            x_first: row.x_first,
            x_step: row.x_step,
            codes: Codes::Unsigned(&self.codes),
        }
    }
}
