//! Raw numbers and what is known about them to a curve in nm on a linear scale.
//!
//! Every reader ends here, so that order, repeats, holes, scale and range are
//! judged by one set of rules whatever the file was.
//!
//! Symbols: λ wavelength, nm; T transmittance; D density, D = −log10 T.

use super::answers::{Answers, Purpose, ValueScale, WavelengthUnit};
use super::error::ReadError;
use super::reading::{Notice, ReadPoint, SpectralReading};
use quantity::Nanometres;

/// The longest table that is read; a fine one has a few thousand rows.
pub(super) const MOST_POINTS: usize = 200_000;

/// What photographic materials can be sensitive to at all, from the far
/// ultraviolet of plates with little gelatin to plates made for 1.2 µm. \[nm\]
/// From memory, with a margin: it tells a curve that can't matter, no more.
pub(super) const FILM_SEES_NM: (f64, f64) = (180.0, 1300.0);

/// Beyond this no film of trade is sensitive; instruments are noisy there, and
/// a value out of range is a hole and no reason to refuse the file. \[nm\]
const TRADE_FILM_SEES_TO_NM: f64 = 1000.0;

/// A fraction above this is no noise of a measurement: it is per cent.
/// Fluorescent paper reaches 1.2, a white reference tile 1.02.
const FRACTION_MAX: f64 = 1.5;

/// A fraction below this is no noise of a measurement about zero.
const FRACTION_MIN: f64 = -0.05;

/// Numbers as they stand in a file.
pub(super) struct Raw {
    pub title: Option<String>,
    pub taken: String,
    pub rows: Vec<RawRow>,
    /// The unit the file states.
    pub unit_said: Option<WavelengthUnit>,
    /// The scale the file states, and what to tell about how it does.
    pub scale_said: Option<(ValueScale, Option<Notice>)>,
    pub notices: Vec<Notice>,
}

#[derive(Clone, Copy)]
pub(super) struct RawRow {
    pub line: usize,
    pub x: f64,
    pub y: Option<f64>,
}

/// Makes the curve.
///
/// # Errors
/// A question where the file is silent and the answers too; otherwise what is
/// wrong with the numbers. See [`ReadError`].
pub(super) fn assemble(
    raw: Raw,
    purpose: Purpose,
    answers: &Answers,
) -> Result<SpectralReading, ReadError> {
    if raw.rows.len() > MOST_POINTS {
        return Err(ReadError::TooManyPoints { limit: MOST_POINTS });
    }
    let mut notices = raw.notices;
    let unit = unit(&raw.rows, raw.unit_said, answers, &mut notices)?;
    if purpose == Purpose::Light && unit == WavelengthUnit::PerCentimetre {
        return Err(ReadError::LightOverWaveNumbers);
    }
    let rows = rising(in_nm(&raw.rows, unit)?, unit, &mut notices)?;
    overlap(&rows)?;
    let scale = scale(&rows, raw.scale_said, purpose, answers, &mut notices)?;
    let points = linear(&rows, scale, purpose, &mut notices)?;
    let found = points.iter().filter(|point| point.value.is_some()).count();
    if found < 2 {
        return Err(ReadError::TooFewPoints { found });
    }
    notices.extend(holes(&points));
    Ok(SpectralReading {
        title: raw.title,
        taken: raw.taken,
        wavelength_unit: unit,
        value_scale: scale,
        points,
        notices,
    })
}

fn unit(
    rows: &[RawRow],
    said: Option<WavelengthUnit>,
    answers: &Answers,
    notices: &mut Vec<Notice>,
) -> Result<WavelengthUnit, ReadError> {
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return Err(ReadError::TooFewPoints { found: 0 });
    };
    match (answers.wavelength_unit, said) {
        (Some(answered), Some(said)) if answered != said => {
            notices.push(Notice::AnswerAgainstFile {
                answered: answered.to_string(),
                said: said.to_string(),
            });
            Ok(answered)
        }
        (Some(unit), _) | (None, Some(unit)) => Ok(unit),
        (None, None) => Err(ReadError::WhichUnit {
            first: first.x,
            last: last.x,
        }),
    }
}

fn in_nm(rows: &[RawRow], unit: WavelengthUnit) -> Result<Vec<RawRow>, ReadError> {
    rows.iter()
        .map(|row| {
            let nm = unit.to_nm(row.x);
            // Below 1 nm are X-rays, above 1 mm radio waves: a wrong unit or a slip.
            if nm.is_finite() && (1.0..=1.0e6).contains(&nm) {
                Ok(RawRow { x: nm, ..*row })
            } else {
                Err(ReadError::NoWavelength {
                    line: row.line,
                    value: row.x,
                })
            }
        })
        .collect()
}

/// Turned so that wavelengths rise; rows that repeat earlier ones exactly left out.
fn rising(
    mut rows: Vec<RawRow>,
    unit: WavelengthUnit,
    notices: &mut Vec<Notice>,
) -> Result<Vec<RawRow>, ReadError> {
    let falls = rows.windows(2).filter(|pair| pair[1].x < pair[0].x).count();
    let rises = rows.windows(2).filter(|pair| pair[1].x > pair[0].x).count();
    let falling = falls > rises;
    // Wave numbers that rise are wavelengths that fall: nothing to tell.
    if falling && unit != WavelengthUnit::PerCentimetre {
        notices.push(Notice::Falling);
    }
    let direction = if falling { -1.0 } else { 1.0 };
    let mut kept: Vec<RawRow> = Vec::with_capacity(rows.len());
    let mut repeated = 0;
    let mut first_repeat = None;
    for row in rows.drain(..) {
        let Some(before) = kept.last() else {
            kept.push(row);
            continue;
        };
        if (row.x - before.x) * direction > 0.0 {
            kept.push(row);
            continue;
        }
        // Rows so far are in order, so an equal one is found by halving.
        let at = kept.partition_point(|earlier| (row.x - earlier.x) * direction > 0.0);
        let same = kept
            .get(at)
            .is_some_and(|earlier| earlier.x == row.x && earlier.y == row.y);
        if !same {
            return Err(ReadError::TurnsBack {
                line: row.line,
                before: before.x,
                after: row.x,
            });
        }
        repeated += 1;
        first_repeat.get_or_insert(row);
    }
    if let Some(first) = first_repeat {
        notices.push(Notice::Repeated {
            count: repeated,
            line: first.line,
            wavelength_nm: first.x,
        });
    }
    if falling {
        kept.reverse();
    }
    Ok(kept)
}

fn overlap(rows: &[RawRow]) -> Result<(), ReadError> {
    let (film_low, film_high) = FILM_SEES_NM;
    match (rows.first(), rows.last()) {
        (Some(first), Some(last)) if first.x > film_high || last.x < film_low => {
            Err(ReadError::NoOverlapWithFilm {
                low: first.x,
                high: last.x,
                film_low,
                film_high,
            })
        }
        _ => Ok(()),
    }
}

fn film_sees(nm: f64) -> bool {
    (FILM_SEES_NM.0..=TRADE_FILM_SEES_TO_NM).contains(&nm)
}

fn scale(
    rows: &[RawRow],
    said: Option<(ValueScale, Option<Notice>)>,
    purpose: Purpose,
    answers: &Answers,
    notices: &mut Vec<Notice>,
) -> Result<ValueScale, ReadError> {
    if let Some(answered) = answers.value_scale {
        if !purpose.scales().contains(&answered) {
            return Err(ReadError::ScaleUnfit {
                purpose,
                scale: answered,
            });
        }
        if let Some((said, _)) = said
            && said != answered
        {
            notices.push(Notice::AnswerAgainstFile {
                answered: answered.in_words().to_owned(),
                said: said.in_words().to_owned(),
            });
        }
        return Ok(answered);
    }
    if let [only] = purpose.scales() {
        return Ok(*only);
    }
    let mut low = f64::INFINITY;
    let mut high = f64::NEG_INFINITY;
    for value in rows
        .iter()
        .filter(|row| film_sees(row.x))
        .filter_map(|row| row.y)
    {
        low = low.min(value);
        high = high.max(value);
    }
    if low > high {
        return Err(ReadError::TooFewPoints { found: 0 });
    }
    let Some((scale, notice)) = said else {
        return Err(ReadError::WhichScale {
            purpose,
            low,
            high,
            said: None,
        });
    };
    let against = match scale {
        ValueScale::Fraction => high > FRACTION_MAX || low < FRACTION_MIN,
        ValueScale::Percent => high > 100.0 * FRACTION_MAX || low < 100.0 * FRACTION_MIN,
        ValueScale::Linear => low < FRACTION_MIN * high,
        ValueScale::Density | ValueScale::Log10 => false,
    };
    if against {
        return Err(ReadError::WhichScale {
            purpose,
            low,
            high,
            said: Some(scale),
        });
    }
    notices.extend(notice);
    Ok(scale)
}

fn linear(
    rows: &[RawRow],
    scale: ValueScale,
    purpose: Purpose,
    notices: &mut Vec<Notice>,
) -> Result<Vec<ReadPoint>, ReadError> {
    // Height is free for films and lights, so noise is judged against the peak.
    let peak = match purpose {
        Purpose::Film | Purpose::Light => rows
            .iter()
            .filter_map(|row| row.y)
            .fold(0.0_f64, |peak, value| peak.max(value)),
        Purpose::Filter | Purpose::Subject => 1.0,
    };
    let most = match purpose {
        Purpose::Film | Purpose::Light => f64::INFINITY,
        Purpose::Filter | Purpose::Subject => FRACTION_MAX,
    };
    let mut below = 0_usize;
    let mut lowest = 0.0_f64;
    let mut beyond = 0_usize;
    let mut first_beyond = None;
    let mut points = Vec::with_capacity(rows.len());
    for row in rows {
        let value = match row.y.map(|y| (y, linear_value(y, scale))) {
            None => None,
            Some((_, value)) if value.is_finite() && value >= 0.0 && value <= most => Some(value),
            Some((_, value)) if value < 0.0 && value >= FRACTION_MIN * peak => {
                below += 1;
                lowest = lowest.min(value);
                Some(0.0)
            }
            Some(_) if !film_sees(row.x) => {
                beyond += 1;
                first_beyond.get_or_insert(row.line);
                None
            }
            Some((y, _)) => {
                return Err(ReadError::OutOfRange {
                    line: row.line,
                    value: y,
                    scale,
                });
            }
        };
        let wavelength = Nanometres::from_nm(row.x).map_err(|_| ReadError::NoWavelength {
            line: row.line,
            value: row.x,
        })?;
        points.push(ReadPoint { wavelength, value });
    }
    if below > 0 {
        notices.push(Notice::BelowZero {
            count: below,
            lowest,
        });
    }
    if let Some(line) = first_beyond {
        notices.push(Notice::BeyondFilm {
            count: beyond,
            line,
        });
    }
    Ok(points)
}

fn linear_value(y: f64, scale: ValueScale) -> f64 {
    match scale {
        ValueScale::Fraction | ValueScale::Linear => y,
        ValueScale::Percent => y / 100.0,
        // T = 10^−D
        ValueScale::Density => libm::exp10(-y),
        ValueScale::Log10 => libm::exp10(y),
    }
}

fn holes(points: &[ReadPoint]) -> Option<Notice> {
    let mut ranges: Vec<(f64, f64)> = vec![];
    let mut count = 0;
    let mut inside = false;
    for point in points {
        let nm = point.wavelength.to_nm();
        match (point.value, ranges.last_mut()) {
            (Some(_), _) => inside = false,
            (None, Some(range)) if inside => {
                range.1 = nm;
                count += 1;
            }
            (None, _) => {
                ranges.push((nm, nm));
                inside = true;
                count += 1;
            }
        }
    }
    (count > 0).then_some(Notice::Holes { count, ranges })
}
