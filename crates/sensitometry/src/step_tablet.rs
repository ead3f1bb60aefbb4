//! Step tablets: the densities a row of readings is measured against.
//!
//! Holds the tablet and its checks. Exposing film through it (log H = log H0 −
//! D of the step) is here too; calibrating a scan with it is in `negative`.
//!
//! Begin with [`StepTablet::from_steps`]; the nominal tablets follow it.
//!
//! Sources: steps of 0.15, 0.10 and 0.30 from 0.05, common practice of makers;
//! tolerance of an uncalibrated 21-step tablet (under 0.1 stop at the light end,
//! up to 1/3 stop at the dark end): a maker quoted in a trade forum.

use quantity::{Density, Flag, LogExposure, Measured, QuantityError};

/// Where the densities of a tablet come from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TabletProvenance {
    /// Each step was measured and is certified with its uncertainty.
    Certified,
    /// The maker's nominal densities; the tablet in hand was not read.
    Nominal {
        /// Largest deviation to be expected at the light end. (density, half-width)
        tolerance_light: f64,
        /// Largest deviation to be expected at the dark end. (density, half-width)
        tolerance_dark: f64,
    },
}

/// Which way the steps run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepOrder {
    /// Step 1 is the lightest.
    LightFirst,
    /// Step 1 is the darkest.
    DarkFirst,
}

/// Why a list of densities is no step tablet.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StepTabletError {
    /// A tablet of fewer steps cannot show a curve.
    #[error("a step tablet needs at least {needed} steps, found {found}")]
    TooFewSteps {
        /// Steps given.
        found: usize,
        /// Steps needed.
        needed: usize,
    },
    /// Two steps are alike or out of order.
    #[error(
        "step {step} (density {density}) must lie {expected} step {previous_step} (density {previous})"
    )]
    OutOfOrder {
        /// The step that breaks the order, counted from 1.
        step: u32,
        /// Its density.
        density: f64,
        /// The step before it.
        previous_step: u32,
        /// Density of the step before it.
        previous: f64,
        /// "above" or "below".
        expected: &'static str,
    },
    /// A number that is no density or no tolerance.
    #[error("step {step}")]
    Density {
        /// The step, counted from 1.
        step: u32,
        /// What is wrong with it.
        #[source]
        source: QuantityError,
    },
    /// A step's uncertainty is too large to tell it from its neighbour, or not a number.
    #[error("the uncertainty of step {step} must lie between 0 and 1, found {value}")]
    Uncertainty {
        /// The step, counted from 1.
        step: u32,
        /// The number seen.
        value: f64,
    },
}

/// A step tablet: the density of each step, in step order.
///
/// Invariant: at least three steps, strictly rising or strictly falling.
#[derive(Clone, Debug, PartialEq)]
pub struct StepTablet {
    serial: Option<String>,
    provenance: TabletProvenance,
    order: StepOrder,
    steps: Vec<Measured<Density>>,
}

/// Fewest steps of a tablet.
const STEPS_MIN: usize = 3;
/// Density of the lightest step of a nominal tablet: the base alone.
const NOMINAL_FIRST: f64 = 0.05;
/// Under 0.1 stop at the light end: 0.02 density, taken as the half-width of the tolerance.
const TOLERANCE_LIGHT: f64 = 0.02;
/// 1/3 stop at the dark end (density 3.05): 0.10 density.
const TOLERANCE_DARK: f64 = 0.10;

impl StepTablet {
    /// Takes any list of steps, lightest or darkest first.
    ///
    /// Uncertainties are standard ones, as a certificate's expanded uncertainty
    /// divided by its coverage factor.
    ///
    /// # Errors
    /// [`StepTabletError`] naming the step.
    pub fn from_steps(
        serial: Option<String>,
        provenance: TabletProvenance,
        steps: Vec<Measured<Density>>,
    ) -> Result<Self, StepTabletError> {
        if steps.len() < STEPS_MIN {
            return Err(StepTabletError::TooFewSteps {
                found: steps.len(),
                needed: STEPS_MIN,
            });
        }
        let density = |k: usize| steps[k].value().to_density();
        let last = steps.len() - 1;
        let order = if density(last) >= density(0) {
            StepOrder::LightFirst
        } else {
            StepOrder::DarkFirst
        };
        for k in 1..=last {
            let (ordered, expected) = match order {
                StepOrder::LightFirst => (density(k) > density(k - 1), "above"),
                StepOrder::DarkFirst => (density(k) < density(k - 1), "below"),
            };
            if !ordered {
                return Err(StepTabletError::OutOfOrder {
                    step: step_number(k),
                    density: density(k),
                    previous_step: step_number(k - 1),
                    previous: density(k - 1),
                    expected,
                });
            }
        }
        for (k, step) in steps.iter().enumerate() {
            if step.standard_uncertainty() > 1.0 {
                return Err(StepTabletError::Uncertainty {
                    step: step_number(k),
                    value: step.standard_uncertainty(),
                });
            }
        }
        Ok(Self {
            serial,
            provenance,
            order,
            steps,
        })
    }

    /// Takes plain rows of (density, standard uncertainty), as a table gives them.
    ///
    /// # Errors
    /// [`StepTabletError`] naming the step, also for NaN and impossible densities.
    pub fn from_rows(
        serial: Option<String>,
        provenance: TabletProvenance,
        rows: &[(f64, f64)],
    ) -> Result<Self, StepTabletError> {
        let mut steps = Vec::with_capacity(rows.len());
        for (k, &(density, uncertainty)) in rows.iter().enumerate() {
            let step = step_number(k);
            let density = Density::gross(density)
                .map_err(|source| StepTabletError::Density { step, source })?;
            if !(0.0..=1.0).contains(&uncertainty) {
                return Err(StepTabletError::Uncertainty {
                    step,
                    value: uncertainty,
                });
            }
            steps.push(Measured::new(density, uncertainty));
        }
        Self::from_steps(serial, provenance, steps)
    }

    /// Gives the nominal tablet of 21 steps of 0.15.
    #[must_use]
    pub fn nominal_21() -> Self {
        Self::nominal(21, 0.15)
    }

    /// Gives the nominal tablet of 31 steps of 0.10.
    #[must_use]
    pub fn nominal_31() -> Self {
        Self::nominal(31, 0.10)
    }

    /// Gives the nominal tablet of 11 steps of 0.30.
    #[must_use]
    pub fn nominal_11() -> Self {
        Self::nominal(11, 0.30)
    }

    /// Makes a tablet of equal nominal steps, each flagged [`Flag::NominalTablet`].
    ///
    /// The tolerance grows in proportion to density between its two ends. It is
    /// read as the half-width of an even (rectangular) distribution, so the
    /// standard uncertainty is tolerance/√3.
    fn nominal(count: u32, step: f64) -> Self {
        let last = f64::from(count - 1);
        let steps = (0..count)
            .map(|k| {
                let along = f64::from(k) / last;
                let tolerance = TOLERANCE_LIGHT + (TOLERANCE_DARK - TOLERANCE_LIGHT) * along;
                let density = match Density::gross(NOMINAL_FIRST + step * f64::from(k)) {
                    Ok(density) => density,
                    Err(_) => unreachable!("nominal tablets end at density 3.05"),
                };
                Measured::new(density, tolerance / 3.0_f64.sqrt()).flagged(Flag::NominalTablet)
            })
            .collect();
        Self {
            serial: None,
            provenance: TabletProvenance::Nominal {
                tolerance_light: TOLERANCE_LIGHT,
                tolerance_dark: TOLERANCE_DARK,
            },
            order: StepOrder::LightFirst,
            steps,
        }
    }

    /// Gives the serial number, if the tablet has one.
    #[must_use]
    pub fn serial(&self) -> Option<&str> {
        self.serial.as_deref()
    }

    /// Gives where the densities come from.
    #[must_use]
    pub fn provenance(&self) -> TabletProvenance {
        self.provenance
    }

    /// Gives which way the steps run.
    #[must_use]
    pub fn order(&self) -> StepOrder {
        self.order
    }

    /// Gives the densities in step order; step 1 is first.
    #[must_use]
    pub fn steps(&self) -> &[Measured<Density>] {
        &self.steps
    }

    /// Gives the density of a step, counted from 1.
    #[must_use]
    pub fn step(&self, number: u32) -> Option<&Measured<Density>> {
        let place = usize::try_from(number).ok()?.checked_sub(1)?;
        self.steps.get(place)
    }

    /// Gives the exposure behind a step: log H = log H0 − D, H0 without the tablet.
    ///
    /// The uncertainty is the step's alone. `None` when there is no such step.
    #[must_use]
    pub fn exposure_behind(
        &self,
        number: u32,
        without_tablet: LogExposure,
    ) -> Option<Measured<LogExposure>> {
        let step = self.step(number)?;
        let log_h = without_tablet.to_log10() - step.value().to_density();
        let log_h = LogExposure::from_log10(log_h).ok()?;
        Some(Measured::new(log_h, step.standard_uncertainty()).flagged_all(step.flags()))
    }
}

/// Steps are counted from 1, as they are numbered on the tablet.
fn step_number(place: usize) -> u32 {
    u32::try_from(place).map_or(u32::MAX, |k| k.saturating_add(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nominal_tablets_end_at_3_05() {
        // Common practice: 21 × 0.15, 31 × 0.10 and 11 × 0.30 all run from 0.05 to 3.05.
        for (tablet, count) in [
            (StepTablet::nominal_21(), 21),
            (StepTablet::nominal_31(), 31),
            (StepTablet::nominal_11(), 11),
        ] {
            assert_eq!(tablet.steps().len(), count);
            let last = tablet.steps().last().unwrap();
            assert!((last.value().to_density() - 3.05).abs() < 1e-12);
            // Hand calculation: 0.10/√3 = 0.0577; at the light end 0.02/√3 = 0.0115.
            assert!((last.standard_uncertainty() - 0.0577).abs() < 5e-5);
            assert!((tablet.steps()[0].standard_uncertainty() - 0.0115).abs() < 5e-5);
            assert!(last.flags().contains(Flag::NominalTablet));
        }
    }

    #[test]
    fn a_published_contact_exposure_is_repeated() {
        // Source: "Quantifying exposure", a trade forum: 2.048 lx s on the tablet; behind density
        // 1.50 it prints 0.065 lx s. Hand calculation: 2.048/10^1.5 = 0.06476.
        let rows = [(0.0, 0.0), (1.5, 0.01), (2.5, 0.01)];
        let tablet = StepTablet::from_rows(None, TabletProvenance::Certified, &rows).unwrap();
        let open = LogExposure::from_lux_seconds(2.048).unwrap();
        let behind = tablet.exposure_behind(2, open).unwrap();
        assert!((behind.value().to_lux_seconds() - 0.06476).abs() < 5e-6);
        assert!(tablet.exposure_behind(4, open).is_none());
        assert!(tablet.exposure_behind(0, open).is_none());
    }

    #[test]
    fn any_count_and_either_order_are_taken() {
        let falling: Vec<(f64, f64)> = (0..17)
            .map(|k| (4.0 - 0.24 * f64::from(k), 0.005))
            .collect();
        let tablet = StepTablet::from_rows(None, TabletProvenance::Certified, &falling).unwrap();
        assert_eq!(tablet.order(), StepOrder::DarkFirst);
        assert_eq!(tablet.steps().len(), 17);
        assert!((tablet.step(1).unwrap().value().to_density() - 4.0).abs() < 1e-12);
    }

    #[test]
    fn faults_name_the_step() {
        let make = |rows: &[(f64, f64)]| {
            StepTablet::from_rows(None, TabletProvenance::Certified, rows).unwrap_err()
        };
        let swapped = make(&[(0.05, 0.01), (0.35, 0.01), (0.20, 0.01), (0.50, 0.01)]);
        assert_eq!(
            swapped.to_string(),
            "step 3 (density 0.2) must lie above step 2 (density 0.35)"
        );
        let alike = make(&[(0.05, 0.01), (0.05, 0.01), (0.20, 0.01)]);
        assert!(matches!(alike, StepTabletError::OutOfOrder { step: 2, .. }));
        let nan = make(&[(0.05, 0.01), (f64::NAN, 0.01), (0.20, 0.01)]);
        assert!(matches!(nan, StepTabletError::Density { step: 2, .. }));
        let uncertain = make(&[(0.05, 0.01), (0.1, f64::NAN), (0.20, 0.01)]);
        assert!(matches!(
            uncertain,
            StepTabletError::Uncertainty { step: 2, .. }
        ));
        let few = make(&[(0.05, 0.01), (0.1, 0.01)]);
        assert_eq!(
            few.to_string(),
            "a step tablet needs at least 3 steps, found 2"
        );
    }
}
