//! Reciprocity laws: the longer time a film needs when the metered time is long.
//!
//! A law is handed in with its source and, where stated, the range in which it
//! holds. It answers two questions: how long to expose for a metered time
//! ([`ReciprocityLaw::corrected_time`]), and which metered time an actual time
//! was worth ([`ReciprocityLaw::effective_time`]). Outside its range it refuses,
//! unless the method named `_extrapolating` is called; then the answer carries
//! [`Flag::Extrapolated`].
//!
//! No law of a film lives here. Time corrections only: what a maker says about
//! opening the lens is another table ([`crate::aperture_route`]).
//!
//! Symbols: Tm metered time, Tc corrected (actual) time, both s.

use crate::law_equations::{
    CatenaryShape, additive_metered, log_log, modified_schwarzschild_corrected, threshold_power,
    uncorrected_below,
};
use crate::reciprocity_error::{ReciprocityError, range_text};
use crate::reciprocity_form::{ReciprocityForm, ReciprocityRow};
use quantity::{Flag, Flags, Seconds, Stops};

/// What to do with a time outside the range of a law.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutsideLaw {
    /// Refuse.
    Refuse,
    /// Carry the law on, and flag the answer.
    Extrapolate,
}

/// The answer of a law.
#[derive(Clone, Debug, PartialEq)]
pub struct Corrected {
    /// The time asked for.
    pub time: Seconds,
    /// lg2(Tc/Tm): the lengthening in stops of time, never negative.
    ///
    /// This is not the number of stops to open the lens.
    pub stops: Stops,
    /// [`Flag::Extrapolated`] when the law was carried on outside its range.
    pub flags: Flags,
}

/// A reciprocity law with the range in which it holds and its source.
#[derive(Clone, Debug, PartialEq)]
pub struct ReciprocityLaw {
    form: ReciprocityForm,
    valid_from: Option<Seconds>,
    valid_to: Option<Seconds>,
    source: String,
}

/// Passes a parameter on that fulfils its condition.
fn parameter(
    what: &'static str,
    value: f64,
    wanted: &'static str,
    holds: bool,
) -> Result<f64, ReciprocityError> {
    if value.is_finite() && holds {
        Ok(value)
    } else {
        Err(ReciprocityError::Parameter {
            what,
            value,
            wanted,
        })
    }
}

impl ReciprocityLaw {
    fn new(form: ReciprocityForm, source: impl Into<String>) -> Self {
        Self {
            form,
            valid_from: None,
            valid_to: None,
            source: source.into(),
        }
    }

    /// Makes the power law with a threshold: Tc = T0·(Tm/T0)^P above T0.
    ///
    /// # Errors
    /// [`ReciprocityError::Parameter`] when P is less than 1: the corrected
    /// time would be shorter than the metered one.
    pub fn threshold_power(
        exponent: f64,
        threshold: Seconds,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        let exponent = parameter("exponent", exponent, "1 or more", exponent >= 1.0)?;
        Ok(Self::new(
            ReciprocityForm::ThresholdPower {
                exponent,
                threshold,
            },
            source,
        ))
    }

    /// Makes a fitted power law without a threshold: Tc = c·Tm^P.
    ///
    /// # Errors
    /// [`ReciprocityError::Parameter`] unless c and P are greater than 0.
    pub fn fitted_power(
        coefficient: f64,
        exponent: f64,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        let wanted = "greater than 0";
        let coefficient = parameter("coefficient", coefficient, wanted, coefficient > 0.0)?;
        let exponent = parameter("exponent", exponent, wanted, exponent > 0.0)?;
        Ok(Self::new(
            ReciprocityForm::FittedPower {
                coefficient,
                exponent,
            },
            source,
        ))
    }

    /// Makes the additive law: Tc = Tm + a·Tm^b.
    ///
    /// # Errors
    /// [`ReciprocityError::Parameter`] when a is negative or b less than 1.
    pub fn additive(
        coefficient: f64,
        exponent: f64,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        let coefficient = parameter("coefficient", coefficient, "0 or more", coefficient >= 0.0)?;
        let exponent = parameter("exponent", exponent, "1 or more", exponent >= 1.0)?;
        Ok(Self::new(
            ReciprocityForm::Additive {
                coefficient,
                exponent,
            },
            source,
        ))
    }

    /// Makes Schwarzschild's law with a threshold: Tc = T0·(Tm/T0)^(1/p) above T0.
    ///
    /// # Errors
    /// [`ReciprocityError::Parameter`] unless 0 < p ≤ 1.
    pub fn schwarzschild(
        exponent: f64,
        threshold: Seconds,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        let exponent = schwarzschild_exponent(exponent)?;
        Ok(Self::new(
            ReciprocityForm::Schwarzschild {
                exponent,
                threshold,
            },
            source,
        ))
    }

    /// Makes the modified form Tc·(Tc + 1)^(p−1) = Tm.
    ///
    /// # Errors
    /// [`ReciprocityError::Parameter`] unless 0 < p ≤ 1.
    pub fn modified_schwarzschild(
        exponent: f64,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        let exponent = schwarzschild_exponent(exponent)?;
        Ok(Self::new(
            ReciprocityForm::ModifiedSchwarzschild { exponent },
            source,
        ))
    }

    /// Makes the catenary law of a film that is best at one metered time.
    ///
    /// # Errors
    /// [`ReciprocityError::Parameter`] unless 0 ≤ a < 1.
    pub fn catenary(
        shape: CatenaryShape,
        coefficient: f64,
        best: Seconds,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        let coefficient = parameter(
            "coefficient a",
            coefficient,
            "0 or more and less than 1",
            (0.0..1.0).contains(&coefficient),
        )?;
        Ok(Self::new(
            ReciprocityForm::Catenary {
                shape,
                coefficient,
                best,
            },
            source,
        ))
    }

    /// Makes a law from a table of times.
    ///
    /// Where the first row has equal times, shorter times need no correction
    /// either; a table that begins with a correction refuses shorter times.
    ///
    /// # Errors
    /// [`ReciprocityError`] for fewer than two rows, rows out of order, or a
    /// corrected time shorter than the metered one.
    pub fn table(
        rows: Vec<ReciprocityRow>,
        source: impl Into<String>,
    ) -> Result<Self, ReciprocityError> {
        if rows.len() < 2 {
            return Err(ReciprocityError::TooFewRows { found: rows.len() });
        }
        for (number, row) in rows.iter().enumerate() {
            if row.corrected < row.metered {
                return Err(ReciprocityError::RowShorterThanMetered {
                    row: number + 1,
                    metered_s: row.metered.to_s(),
                    corrected_s: row.corrected.to_s(),
                });
            }
        }
        for (number, pair) in rows.windows(2).enumerate() {
            if pair[1].metered <= pair[0].metered || pair[1].corrected <= pair[0].corrected {
                return Err(ReciprocityError::RowsOutOfOrder { row: number + 2 });
            }
        }
        Ok(Self::new(ReciprocityForm::Table { rows }, source))
    }

    /// Gives this law with the range of metered times in which it is known to hold.
    ///
    /// # Errors
    /// [`ReciprocityError::EmptyRange`] when the range ends before it starts.
    pub fn valid_between(
        mut self,
        valid_from: Option<Seconds>,
        valid_to: Option<Seconds>,
    ) -> Result<Self, ReciprocityError> {
        if let (Some(from), Some(to)) = (valid_from, valid_to)
            && from >= to
        {
            return Err(ReciprocityError::EmptyRange {
                from_s: from.to_s(),
                to_s: to.to_s(),
            });
        }
        self.valid_from = valid_from;
        self.valid_to = valid_to;
        Ok(self)
    }

    /// Gives this law with another source text.
    #[must_use]
    pub fn with_source(mut self, source: impl Into<String>) -> Self {
        self.source = source.into();
        self
    }

    /// Gives the form and its parameters.
    #[must_use]
    pub fn form(&self) -> &ReciprocityForm {
        &self.form
    }

    /// Gives the source of the law.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// Gives the range of metered times that is answered without extrapolation:
    /// the stated range, and for a table its rows. `None` is an open end.
    #[must_use]
    pub fn range(&self) -> (Option<Seconds>, Option<Seconds>) {
        let (mut from, mut to) = (self.valid_from, self.valid_to);
        if let ReciprocityForm::Table { rows } = &self.form {
            let (first, last) = (rows[0].metered, rows[rows.len() - 1].metered);
            // Rows that begin without a correction say that shorter times need none.
            if rows[0].corrected != first {
                from = Some(from.map_or(first, |f| if f > first { f } else { first }));
            }
            to = Some(to.map_or(last, |t| if t < last { t } else { last }));
        }
        (from, to)
    }

    /// Says which law this is, with its numbers, range and source, in one line.
    #[must_use]
    pub fn description(&self) -> String {
        let formula = match &self.form {
            ReciprocityForm::ThresholdPower {
                exponent,
                threshold,
            } => {
                let t0 = threshold.to_s();
                format!("Tc = {t0} s x (Tm / {t0} s)^{exponent} above {t0} s")
            }
            ReciprocityForm::FittedPower {
                coefficient,
                exponent,
            } => format!("Tc = {coefficient} x Tm^{exponent}"),
            ReciprocityForm::Additive {
                coefficient,
                exponent,
            } => format!("Tc = Tm + {coefficient} x Tm^{exponent}"),
            ReciprocityForm::Schwarzschild {
                exponent,
                threshold,
            } => {
                let t0 = threshold.to_s();
                format!(
                    "Schwarzschild p {exponent}: Tc = {t0} s x (Tm / {t0} s)^(1/{exponent}) above {t0} s"
                )
            }
            ReciprocityForm::ModifiedSchwarzschild { exponent } => {
                format!("modified Schwarzschild p {exponent}: Tc x (Tc + 1)^({exponent} - 1) = Tm")
            }
            ReciprocityForm::Catenary {
                shape,
                coefficient,
                best,
            } => {
                let t0 = best.to_s();
                match shape {
                    CatenaryShape::Hyperbola => format!(
                        "catenary: Tc = Tm x 10^({coefficient} (sqrt(k^2 + 1) - 1)), k = log10(Tm / {t0} s)"
                    ),
                    CatenaryShape::HyperbolicCosine => format!(
                        "catenary: Tc = Tm x cosh(ln 10 x {coefficient} k), k = log10(Tm / {t0} s)"
                    ),
                }
            }
            ReciprocityForm::Table { rows } => {
                format!("table of {} rows, linear in log time", rows.len())
            }
        };
        let range = match self.range() {
            (None, None) => String::new(),
            (from, to) => format!(
                "; holds for metered times of {}",
                range_text(
                    from.map_or(0.0, Seconds::to_s),
                    to.map_or(f64::INFINITY, Seconds::to_s)
                )
            ),
        };
        format!("{formula}{range}; source: {}", self.source)
    }

    /// Gives the time to expose for a metered time.
    ///
    /// # Errors
    /// [`ReciprocityError::OutsideRange`] outside the range of the law;
    /// [`ReciprocityError::ShorterThanMetered`] where the law is unphysical;
    /// [`ReciprocityError::Quantity`] when the time overflows.
    pub fn corrected_time(&self, metered: Seconds) -> Result<Corrected, ReciprocityError> {
        self.corrected(metered, OutsideLaw::Refuse)
    }

    /// Gives the time to expose, carrying the law on outside its range.
    ///
    /// # Errors
    /// As [`Self::corrected_time`], but never `OutsideRange`.
    pub fn corrected_time_extrapolating(
        &self,
        metered: Seconds,
    ) -> Result<Corrected, ReciprocityError> {
        self.corrected(metered, OutsideLaw::Extrapolate)
    }

    /// Gives the metered time that an actual time was worth.
    ///
    /// `stops` of the answer is the lengthening that the actual time contains.
    ///
    /// # Errors
    /// As [`Self::corrected_time`]; the range is that of the metered time found.
    pub fn effective_time(&self, actual: Seconds) -> Result<Corrected, ReciprocityError> {
        self.effective(actual, OutsideLaw::Refuse)
    }

    /// Gives the metered time that an actual time was worth, carrying the law on.
    ///
    /// # Errors
    /// As [`Self::effective_time`], but never `OutsideRange`.
    pub fn effective_time_extrapolating(
        &self,
        actual: Seconds,
    ) -> Result<Corrected, ReciprocityError> {
        self.effective(actual, OutsideLaw::Extrapolate)
    }

    /// Gives the time to expose, treating the range as told.
    ///
    /// # Errors
    /// As [`Self::corrected_time`].
    pub fn corrected(
        &self,
        metered: Seconds,
        outside: OutsideLaw,
    ) -> Result<Corrected, ReciprocityError> {
        let flags = self.check_range(metered.to_s(), outside)?;
        let corrected = self.corrected_s(metered.to_s())?;
        let stops = lengthening(metered.to_s(), corrected)?;
        Ok(Corrected {
            time: Seconds::from_s(corrected)?,
            stops,
            flags,
        })
    }

    /// Gives the metered time that an actual time was worth, treating the range as told.
    ///
    /// # Errors
    /// As [`Self::effective_time`].
    pub fn effective(
        &self,
        actual: Seconds,
        outside: OutsideLaw,
    ) -> Result<Corrected, ReciprocityError> {
        let metered = self.metered_s(actual.to_s())?;
        let flags = self.check_range(metered, outside)?;
        let stops = lengthening(metered, actual.to_s())?;
        Ok(Corrected {
            time: Seconds::from_s(metered)?,
            stops,
            flags,
        })
    }

    /// Gives the slope d ln Tc/d ln Tm at a metered time: by how much more an error
    /// before the law counts in the time to give. \[-\]
    ///
    /// 1 where no correction is needed. By a difference over 0.01 of ln Tm on either
    /// side, so that a corner of a law is met halfway.
    ///
    /// # Errors
    /// As [`Self::corrected_time_extrapolating`].
    pub fn slope(&self, metered: Seconds) -> Result<f64, ReciprocityError> {
        const HALF_STEP: f64 = 0.01;
        let at = |shift: f64| {
            let time = Seconds::from_s(metered.to_s() * libm::exp(shift))?;
            self.corrected_s(time.to_s())
        };
        let slope = libm::log(at(HALF_STEP)? / at(-HALF_STEP)?) / (2.0 * HALF_STEP);
        parameter("slope", slope, "finite", slope.is_finite())
    }

    /// Gives the root mean square misfit of the law against measured rows, in stops
    /// of time.
    ///
    /// A correlation near 1 says nothing about a law; this does.
    ///
    /// # Errors
    /// [`ReciprocityError::TooFewRows`] without rows; otherwise as [`Self::corrected_time`].
    pub fn misfit(&self, rows: &[ReciprocityRow]) -> Result<Stops, ReciprocityError> {
        if rows.is_empty() {
            return Err(ReciprocityError::TooFewRows { found: 0 });
        }
        let mut sum = 0.0;
        for row in rows {
            let off =
                libm::log2(self.corrected_time(row.metered)?.time.to_s() / row.corrected.to_s());
            sum += off * off;
        }
        // A count of rows is far below 2^52, so the cast is exact.
        Ok(Stops::new(libm::sqrt(sum / rows.len() as f64))?)
    }

    fn check_range(&self, metered_s: f64, outside: OutsideLaw) -> Result<Flags, ReciprocityError> {
        let (from, to) = self.range();
        let from_s = from.map_or(0.0, Seconds::to_s);
        let to_s = to.map_or(f64::INFINITY, Seconds::to_s);
        // 1e-12: an end that was computed back from its own corrected time is still the end.
        let inside = metered_s >= from_s * (1.0 - 1e-12) && metered_s <= to_s * (1.0 + 1e-12);
        match (inside, outside) {
            (true, _) => Ok(Flags::none()),
            (false, OutsideLaw::Extrapolate) => Ok([Flag::Extrapolated].into_iter().collect()),
            (false, OutsideLaw::Refuse) => Err(ReciprocityError::OutsideRange {
                time_s: metered_s,
                from_s,
                to_s,
            }),
        }
    }

    /// Tc of Tm, in seconds; not checked against Tm.
    fn corrected_s(&self, tm: f64) -> Result<f64, ReciprocityError> {
        Ok(match &self.form {
            ReciprocityForm::ThresholdPower {
                exponent,
                threshold,
            } => threshold_power(tm, threshold.to_s(), *exponent),
            ReciprocityForm::Schwarzschild {
                exponent,
                threshold,
            } => threshold_power(tm, threshold.to_s(), 1.0 / exponent),
            ReciprocityForm::FittedPower {
                coefficient,
                exponent,
            } => coefficient * libm::pow(tm, *exponent),
            ReciprocityForm::Additive {
                coefficient,
                exponent,
            } => tm + coefficient * libm::pow(tm, *exponent),
            ReciprocityForm::ModifiedSchwarzschild { exponent } => {
                modified_schwarzschild_corrected(tm, *exponent)
            }
            ReciprocityForm::Catenary {
                shape,
                coefficient,
                best,
            } => shape.corrected(tm, *coefficient, best.to_s()),
            ReciprocityForm::Table { rows } if uncorrected_below(rows, tm) => tm,
            ReciprocityForm::Table { rows } => log_log(
                tm,
                rows,
                |row| row.metered.to_s(),
                |row| row.corrected.to_s(),
            ),
        })
    }

    /// Tm of Tc, in seconds; not checked against Tc.
    fn metered_s(&self, tc: f64) -> Result<f64, ReciprocityError> {
        Ok(match &self.form {
            ReciprocityForm::ThresholdPower {
                exponent,
                threshold,
            } => threshold_power(tc, threshold.to_s(), 1.0 / exponent),
            ReciprocityForm::Schwarzschild {
                exponent,
                threshold,
            } => threshold_power(tc, threshold.to_s(), *exponent),
            ReciprocityForm::FittedPower {
                coefficient,
                exponent,
            } => libm::pow(tc / coefficient, 1.0 / exponent),
            ReciprocityForm::Additive {
                coefficient,
                exponent,
            } => additive_metered(tc, *coefficient, *exponent),
            ReciprocityForm::ModifiedSchwarzschild { exponent } => {
                tc * libm::pow(tc + 1.0, exponent - 1.0)
            }
            ReciprocityForm::Catenary {
                shape,
                coefficient,
                best,
            } => shape.metered(tc, *coefficient, best.to_s()),
            ReciprocityForm::Table { rows } if uncorrected_below(rows, tc) => tc,
            ReciprocityForm::Table { rows } => log_log(
                tc,
                rows,
                |row| row.corrected.to_s(),
                |row| row.metered.to_s(),
            ),
        })
    }
}

fn schwarzschild_exponent(exponent: f64) -> Result<f64, ReciprocityError> {
    parameter(
        "exponent p",
        exponent,
        "greater than 0 and at most 1",
        exponent > 0.0 && exponent <= 1.0,
    )
}

/// lg2(Tc/Tm), refused when negative by more than rounding.
fn lengthening(metered_s: f64, corrected_s: f64) -> Result<Stops, ReciprocityError> {
    // 1e-12: rounding of pow and log at times that are equal by the law.
    if corrected_s < metered_s * (1.0 - 1e-12) {
        return Err(ReciprocityError::ShorterThanMetered {
            metered_s,
            corrected_s,
        });
    }
    Ok(Stops::new(libm::log2(corrected_s / metered_s).max(0.0))?)
}
