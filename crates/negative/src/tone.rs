//! Code value to linear light.
//!
//! A scan's codes follow light by some curve. The curve comes from what the
//! record says, else from the file (ICC profile, PNG chunks, TIFF transfer
//! function), else it is unknown, and the answer always names which. A step tablet
//! in the same scan calibrates without it.
//!
//! Profiles are parsed by `moxcms`; their curves are evaluated here in `f64`.
//! Profiles built on tables of colours (LUT) or on Lab are not used: their
//! curves alone do not lead to light.
//!
//! Source: ICC.1:2022, sections 10.6 (curveType) and 10.18
//! (parametricCurveType); IEC 61966-2-1 (sRGB).

use crate::decode::{ChannelChoice, Colour, Polarity, ScanInfo};
use moxcms::{ColorProfile, DataColorSpace, ToneReprCurve};
use quantity::Flag;

/// How code values follow light.
#[derive(Clone, Debug, PartialEq)]
pub enum ToneEncoding {
    /// Code is proportional to light.
    Linear,
    /// What lies above the black level is proportional to light, and may be
    /// less than none where noise goes below it.
    LinearAboveBlack {
        /// Black level as a share of the scale, 0 to below 1.
        black: f64,
    },
    /// Light is code to a power, 0.1 to 10.
    Gamma(f64),
    /// The curve of sRGB.
    Srgb,
    /// A curve of the file's ICC profile.
    IccCurve(IccCurve),
    /// Nothing says.
    Unknown,
}

/// A curve as an ICC profile stores it.
#[derive(Clone, Debug, PartialEq)]
pub enum IccCurve {
    /// Samples of light at equal steps of code, of 65535; at least 2.
    Table(Vec<u16>),
    /// Light = (a·x + b)^g + e from x = d, below that c·x + f.
    Parametric {
        /// Exponent.
        g: f64,
        /// Factor before the power.
        a: f64,
        /// Offset before the power.
        b: f64,
        /// Slope below d.
        c: f64,
        /// Where the pieces meet.
        d: f64,
        /// Offset above d.
        e: f64,
        /// Offset below d.
        f: f64,
    },
}

/// Why a tone encoding is none.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
#[error("gamma must lie between 0.1 and 10, found {found}")]
pub struct GammaError {
    /// The number given.
    pub found: f64,
}

impl ToneEncoding {
    /// Takes a gamma: light is code to this power.
    ///
    /// # Errors
    /// [`GammaError`] outside 0.1 to 10.
    pub fn gamma(gamma: f64) -> Result<Self, GammaError> {
        if !(0.1..=10.0).contains(&gamma) {
            return Err(GammaError { found: gamma });
        }
        Ok(if gamma == 1.0 {
            Self::Linear
        } else {
            Self::Gamma(gamma)
        })
    }

    /// Gives the light, 0 to 1, of a code as a share of the scale; `None` when
    /// the encoding is unknown. Below a black level it is negative, so that the
    /// mean of a dark patch's noise is not moved.
    #[must_use]
    pub fn light_from_share(&self, share: f64) -> Option<f64> {
        let x = share.clamp(0.0, 1.0);
        let light = match self {
            Self::Linear => x,
            Self::LinearAboveBlack { black } => return Some((x - black) / (1.0 - black)),
            Self::Gamma(gamma) => libm::pow(x, *gamma),
            Self::Srgb => srgb_light(x),
            Self::IccCurve(curve) => curve.light(x),
            Self::Unknown => return None,
        };
        Some(light.clamp(0.0, 1.0))
    }

    /// Tells whether the curve is known.
    #[must_use]
    pub fn is_known(&self) -> bool {
        *self != Self::Unknown
    }

    /// Gives the encoding in words.
    #[must_use]
    pub fn describe(&self) -> String {
        match self {
            Self::Linear => "linear".to_owned(),
            Self::LinearAboveBlack { black } => {
                format!("linear above black at {:.2} % of the scale", black * 100.0)
            }
            Self::Gamma(gamma) => format!("gamma {gamma}"),
            Self::Srgb => "sRGB".to_owned(),
            Self::IccCurve(IccCurve::Table(table)) => {
                format!("a curve of {} entries", table.len())
            }
            Self::IccCurve(IccCurve::Parametric { g, .. }) => {
                format!("ICC parametric curve, exponent {g}")
            }
            Self::Unknown => "unknown".to_owned(),
        }
    }
}

impl IccCurve {
    fn light(&self, x: f64) -> f64 {
        match self {
            Self::Table(table) => {
                let last = table.len() - 1;
                let place = x * last as f64;
                let below = (place as usize).min(last);
                let above = (below + 1).min(last);
                let part = place - below as f64;
                (f64::from(table[below]) * (1.0 - part) + f64::from(table[above]) * part) / 65535.0
            }
            Self::Parametric {
                g,
                a,
                b,
                c,
                d,
                e,
                f,
            } => {
                if x < *d {
                    c * x + f
                } else {
                    libm::pow((a * x + b).max(0.0), *g) + e
                }
            }
        }
    }

    fn from_parsed(curve: &ToneReprCurve) -> Option<ToneEncoding> {
        match curve {
            ToneReprCurve::Lut(table) => match table.as_slice() {
                [] => Some(ToneEncoding::Linear),
                // One entry is a gamma in 8.8 fixed point.
                [gamma] => ToneEncoding::gamma(f64::from(*gamma) / 256.0).ok(),
                table if table.windows(2).all(|w| w[0] <= w[1]) => {
                    Some(ToneEncoding::IccCurve(Self::Table(table.to_vec())))
                }
                _ => None,
            },
            ToneReprCurve::Parametric(numbers) => {
                let p: Vec<f64> = numbers.iter().map(|n| f64::from(*n)).collect();
                if p.iter().any(|n| !n.is_finite()) {
                    return None;
                }
                let curve = |g, a, b, c, d, e, f| {
                    let monotone = g > 0.0 && a > 0.0 && c >= 0.0;
                    monotone.then_some(ToneEncoding::IccCurve(Self::Parametric {
                        g,
                        a,
                        b,
                        c,
                        d,
                        e,
                        f,
                    }))
                };
                match p.as_slice() {
                    [g] => ToneEncoding::gamma(*g).ok(),
                    [g, a, b] => curve(*g, *a, *b, 0.0, -b / a, 0.0, 0.0),
                    [g, a, b, c] => curve(*g, *a, *b, 0.0, -b / a, *c, *c),
                    [g, a, b, c, d] => curve(*g, *a, *b, *c, *d, 0.0, 0.0),
                    [g, a, b, c, d, e, f] => curve(*g, *a, *b, *c, *d, *e, *f),
                    _ => None,
                }
            }
        }
    }
}

/// Gives the light of an sRGB-encoded share.
#[must_use]
pub fn srgb_light(share: f64) -> f64 {
    if share <= 0.04045 {
        share / 12.92
    } else {
        libm::pow((share + 0.055) / 1.055, 2.4)
    }
}

/// Gives the sRGB-encoded share of a light.
#[must_use]
pub fn srgb_share(light: f64) -> f64 {
    if light <= 0.003_130_8 {
        light * 12.92
    } else {
        1.055 * libm::pow(light, 1.0 / 2.4) - 0.055
    }
}

/// Where a tone encoding was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ToneOrigin {
    /// The record of the scan.
    Record,
    /// The ICC profile in the file.
    IccProfile,
    /// Chunks of a PNG file.
    PngChunk,
    /// The file holds a sensor's own numbers, which follow light.
    RawSensor,
    /// The transfer function of a TIFF file.
    TransferFunction,
    /// Nowhere; the encoding is unknown.
    Nowhere,
}

/// The tone of one channel of a scan: the curve, the scale it stands on, and
/// where it was taken from.
#[derive(Clone, Debug, PartialEq)]
pub struct Tone {
    /// The curve used.
    pub encoding: ToneEncoding,
    /// Where it was taken from.
    pub origin: ToneOrigin,
    /// Which end of the code scale is dark.
    pub polarity: Polarity,
    /// Largest code of the scale.
    pub code_max: u16,
    /// What a reader should know: a disagreement, a profile that was not used.
    pub remarks: Vec<String>,
}

impl Tone {
    /// Gives the signal of a code, 0 to 1: linear light when the curve is
    /// known, else the code's share of the scale. "Min is white" is turned, so
    /// that a file which says so still rises with light.
    #[must_use]
    pub fn signal(&self, code: f64) -> f64 {
        let share = (code / f64::from(self.code_max)).clamp(0.0, 1.0);
        let share = match self.polarity {
            Polarity::BlackIsZero => share,
            Polarity::WhiteIsZero => 1.0 - share,
        };
        self.encoding.light_from_share(share).unwrap_or(share)
    }

    /// Gives the signal of every code from 0 to the largest.
    #[must_use]
    pub fn table(&self) -> Vec<f64> {
        (0..=self.code_max)
            .map(|code| self.signal(f64::from(code)))
            .collect()
    }

    /// Gives the flag of an unknown tone, when it is.
    #[must_use]
    pub fn flag(&self) -> Option<Flag> {
        (!self.encoding.is_known()).then_some(Flag::UnknownTone)
    }
}

/// Gives the tone of a channel: what the record says, else what the file says.
///
/// The record wins; when the file says otherwise, a remark tells by how much
/// the two differ.
#[must_use]
pub fn tone_of(info: &ScanInfo, record: Option<&ToneEncoding>, channel: ChannelChoice) -> Tone {
    let mut remarks = Vec::new();
    let file = match file_tone(info, channel) {
        Ok(found) => found,
        Err(reason) => {
            let what = if info.icc_profile.is_some() {
                "ICC profile"
            } else {
                "transfer function"
            };
            remarks.push(format!("the {what} was not used: {reason}"));
            None
        }
    };
    // A sensor's numbers are linear above black: a record that says linear says the same.
    let record = record.filter(|r| {
        let sensor = matches!(file, Some((_, ToneOrigin::RawSensor)));
        r.is_known() && !(sensor && **r == ToneEncoding::Linear)
    });
    let (encoding, origin) = match (record, file) {
        (Some(record), file) => {
            if let Some((other, _)) = file {
                remarks.extend(disagreement(record, &other));
            }
            (record.clone(), ToneOrigin::Record)
        }
        (None, Some((encoding, origin))) => (encoding, origin),
        (None, None) => (ToneEncoding::Unknown, ToneOrigin::Nowhere),
    };
    Tone {
        encoding,
        origin,
        polarity: info.polarity,
        code_max: info.code_max(),
        remarks,
    }
}

/// Says how far apart record and file are, when more than 1 % of the light
/// anywhere between a tenth of the scale and its end.
fn disagreement(record: &ToneEncoding, file: &ToneEncoding) -> Option<String> {
    let worst = (10..=100)
        .map(|step| f64::from(step) / 100.0)
        .filter_map(|x| {
            let (ours, theirs) = (record.light_from_share(x)?, file.light_from_share(x)?);
            Some((x, ours, theirs, (libm::log10(ours / theirs)).abs()))
        })
        .max_by(|a, b| a.3.total_cmp(&b.3))?;
    let (x, ours, theirs, decades) = worst;
    // log10 1.01
    (decades > 0.004_3).then(|| {
        format!(
            "the record says {}, the file says {}: at {:.0} % of the scale that is {ours:.4} against {theirs:.4} \
             of full light; the record was used",
            record.describe(),
            file.describe(),
            x * 100.0
        )
    })
}

type FileTone = Option<(ToneEncoding, ToneOrigin)>;

fn file_tone(info: &ScanInfo, channel: ChannelChoice) -> Result<FileTone, String> {
    if matches!(channel, ChannelChoice::Extra(_)) {
        // Profiles and curves are those of the colours.
        return Ok(None);
    }
    if let Some(black) = info.black_of(channel) {
        // Profiles of raw files belong to their small pictures.
        let black = black / f64::from(info.code_max());
        return Ok(Some((
            ToneEncoding::LinearAboveBlack { black },
            ToneOrigin::RawSensor,
        )));
    }
    let Some(bytes) = &info.icc_profile else {
        if !info.transfer_function.is_empty() {
            return transfer_function(info, channel)
                .map(|tone| Some((tone, ToneOrigin::TransferFunction)));
        }
        return Ok(info
            .chunk_tone
            .clone()
            .map(|tone| (tone, ToneOrigin::PngChunk)));
    };
    let profile =
        ColorProfile::new_from_slice(bytes).map_err(|e| format!("it is malformed ({e:?})"))?;
    if profile.pcs != DataColorSpace::Xyz {
        return Err("it leads to Lab, so its curves alone do not give light".to_owned());
    }
    if profile.lut_a_to_b_perceptual.is_some()
        || profile.lut_a_to_b_colorimetric.is_some()
        || profile.lut_a_to_b_saturation.is_some()
    {
        return Err(
            "it is built on a table of colours (LUT), so its curves alone do not give light"
                .to_owned(),
        );
    }
    let curve = match (info.colour, channel) {
        (Colour::Grey | Colour::Mosaic, _) => profile.gray_trc.as_ref(),
        (Colour::Rgb, ChannelChoice::Red) => profile.red_trc.as_ref(),
        (Colour::Rgb, ChannelChoice::Blue) => profile.blue_trc.as_ref(),
        (Colour::Rgb, ChannelChoice::Mean) => {
            if profile.red_trc != profile.green_trc || profile.green_trc != profile.blue_trc {
                return Err(
                    "its three curves differ, so the mean of the codes has no curve".to_owned(),
                );
            }
            profile.green_trc.as_ref()
        }
        (Colour::Rgb, _) => profile.green_trc.as_ref(),
    };
    let curve = curve.ok_or("it has no curve for this channel")?;
    IccCurve::from_parsed(curve)
        .map(|encoding| Some((encoding, ToneOrigin::IccProfile)))
        .ok_or_else(|| "its curve does not rise with light".to_owned())
}

/// Gives the tone of a TIFF's transfer function, a table of light by code.
fn transfer_function(info: &ScanInfo, channel: ChannelChoice) -> Result<ToneEncoding, String> {
    let table = match (info.transfer_function.as_slice(), channel) {
        ([table], _) => table,
        ([table, ..], ChannelChoice::Red | ChannelChoice::Grey) => table,
        ([_, table, _], ChannelChoice::Green) => table,
        ([_, _, table], ChannelChoice::Blue) => table,
        ([a, b, c], _) if a == b && b == c => a,
        _ => {
            return Err(
                "its three curves differ, so the mean of the codes has no curve".to_owned(),
            );
        }
    };
    let table: Vec<u16> = match info.polarity {
        Polarity::BlackIsZero => table.clone(),
        // The curve speaks of white as 0; here it is asked for by rising light.
        Polarity::WhiteIsZero => table.iter().rev().map(|v| u16::MAX - v).collect(),
    };
    let linear = table.len() > 1 && {
        let step = 65535.0 / (table.len() - 1) as f64;
        let mut off = (0..)
            .zip(&table)
            .map(|(i, v)| f64::from(i) * step - f64::from(*v));
        off.all(|off| off.abs() <= 1.0)
    };
    if linear {
        return Ok(ToneEncoding::Linear);
    }
    if table.len() < 2 || table.windows(2).any(|w| w[0] > w[1]) {
        return Err("its curve does not rise with light".to_owned());
    }
    Ok(ToneEncoding::IccCurve(IccCurve::Table(table)))
}
