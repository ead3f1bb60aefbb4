//! The search as a whole: a frame, its places, the field through them.

use super::envelope::envelope;
use super::fit::{Field, field};
use super::places::{from_middle, places};
use crate::frame_edges::{FrameEdges, FrameNotFound, SideName, find_frame};
use crate::preview::Preview;

/// A field below this hides no side of a frame: half of what film base may differ by.
/// \[log10 of signal\]
const HIDES_NOTHING: f64 = 0.01;
/// Times that a field is divided out to see more sides: each shows one more at least,
/// and there are four.
const ROUNDS: usize = 3;
/// Difference that passes: what film base may differ by without reason for doubt, as
/// between scans (`rebates_agree`): a choice.
/// \[density\]
const ALLOWED: f64 = 0.02;
/// Difference over its uncertainty: three, by common practice.
const SIGNIFICANT: f64 = 3.0;

/// How uneven the light is, by rebate and bare light.
#[derive(Clone, Debug, PartialEq)]
pub struct UnevenLight {
    /// Difference between the place with most light and the one with least, by the
    /// field through all. \[density\]
    pub range: f64,
    /// Its standard uncertainty.
    pub range_sd: f64,
    /// Standard deviation of the light over all places, field and rest together.
    /// \[density\]
    pub spread: f64,
    /// Standard deviation of what is left beside the field: spots, bands. \[density\]
    pub rest: f64,
    /// Places of rebate it rests on.
    pub rebate_places: usize,
    /// Places of bare light beside the film it rests on.
    pub light_places: usize,
    /// Sides of the picture along which they lie.
    pub sides: Vec<SideName>,
}

impl UnevenLight {
    /// The same where log10 of signal falls by `slope` for each density of 1.
    #[must_use]
    pub fn in_density(mut self, slope: f64) -> Self {
        for value in [
            &mut self.range,
            &mut self.range_sd,
            &mut self.spread,
            &mut self.rest,
        ] {
            *value /= slope;
        }
        self
    }

    /// Tells whether it is more than film base may differ by, and more than chance.
    #[must_use]
    pub fn matters(&self) -> bool {
        self.range > ALLOWED && self.range > SIGNIFICANT * self.range_sd
    }

    /// Standard uncertainty it adds to a reading that is held against a tablet or
    /// clear film elsewhere in the scan. \[density\]
    #[must_use]
    pub fn doubt(&self) -> f64 {
        core::f64::consts::SQRT_2 * self.spread
    }

    /// Places it rests on.
    #[must_use]
    pub fn places(&self) -> usize {
        self.rebate_places + self.light_places
    }
}

/// Why nothing is told.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LightUnseen {
    /// Codes follow light in a way that is not known.
    #[error("neither file nor record says how codes follow light, and no step tablet tells it")]
    UnknownTone,
    /// No frame was found, so that neither rebate nor light beside it is known.
    #[error("neither clear rebate nor bare light beside film is seen: {0}")]
    NoFrame(#[from] FrameNotFound),
    /// The rebate is too narrow or too short.
    #[error("the rebate that is seen is too narrow to be read at {needed} places")]
    TooFewPlaces {
        /// Fewest places.
        needed: usize,
    },
}

/// Finds how uneven the light of a scan is, by its picture and what
/// [`find_frame`] said of it; `log10` of signal, which is density where the tone is
/// known (see [`UnevenLight::in_density`]).
///
/// # Errors
/// [`LightUnseen`] when the scan shows too little that is known to be alike.
pub fn uneven_light(
    picture: &Preview,
    frame: &Result<FrameEdges, FrameNotFound>,
) -> Result<UnevenLight, LightUnseen> {
    let (mut frame, mut found) = match frame {
        Ok(frame) => read(picture, frame.clone())?,
        Err(fault) => {
            let fault = fault.clone();
            // Light may be so uneven that no level is even.
            let Some(slopes) = envelope(picture) else {
                return Err(fault.into());
            };
            let flat = divided(picture, |at| {
                slopes[0] * at.0 + slopes[1] * at.1 + slopes[2] * (at.0 * at.0 + at.1 * at.1)
            });
            match find_frame(&flat) {
                Ok(frame) => read(picture, frame)?,
                Err(_) => return Err(fault.into()),
            }
        }
    };
    for _ in 0..ROUNDS {
        if found.range < HIDES_NOTHING || frame.edges.len() == SideName::ALL.len() {
            break;
        }
        let flat = divided(picture, |at| found.at(at));
        let Ok(other) = find_frame(&flat) else { break };
        if other.edges.len() <= frame.edges.len() {
            break;
        }
        let Ok(more) = read(picture, other) else {
            break;
        };
        (frame, found) = more;
    }
    Ok(UnevenLight {
        range: found.range,
        range_sd: found.range_sd,
        spread: libm::hypot(found.spread, found.rest),
        rest: found.rest,
        rebate_places: found.rebate,
        light_places: found.light,
        sides: frame.edges.iter().map(|e| e.side).collect(),
    })
}

fn read(picture: &Preview, frame: FrameEdges) -> Result<(FrameEdges, Field), LightUnseen> {
    let field = field(&places(picture, &frame)).ok_or(LightUnseen::TooFewPlaces {
        needed: super::fit::FEWEST,
    })?;
    Ok((frame, field))
}

/// The picture with a field of −log10 of light taken off, nowhere lighter than before.
fn divided(picture: &Preview, log: impl Fn((f64, f64)) -> f64) -> Preview {
    let width = picture.width as usize;
    let field: Vec<f64> = (0..picture.signal.len())
        .map(|i| {
            let at = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
            log(from_middle(picture, at))
        })
        .collect();
    let most = field.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let signal = picture.signal.iter().zip(field);
    Preview {
        signal: signal
            .map(|(signal, log)| (f64::from(*signal) * libm::exp10(log - most)) as f32)
            .collect(),
        ..picture.clone()
    }
}
