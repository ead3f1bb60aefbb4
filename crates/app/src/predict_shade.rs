//! What shade costs behind a filter: the factor there, and what a meter doesn't show.

use crate::AppError;
use crate::predict::COVERAGE;
use crate::sun::luminosity;
use figures::shown;
use findings::interval_half_width;
use quantity::{FilterFactor, Stops};
use serde_json::{Value, json};
use spectra::seen::{MeterCell, between};
use spectra::{
    Combined, Curve, InputSpread, Predicting, Prediction, PredictionError, SHADE_INFRARED_STOPS,
    ShadeSpread, VerdictLimits, combined, prediction, shade_cost,
};

/// The meter that sun and shade are read with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum MeterChoice {
    /// Corrected to the eye, V(λ).
    #[default]
    Eye,
    /// A bare cell.
    Cell(MeterCell),
}

impl MeterChoice {
    /// Every meter with its word.
    pub const WORDS: [(&str, Self); 4] = [
        ("eye", Self::Eye),
        ("selenium", Self::Cell(MeterCell::Selenium)),
        ("cadmium-sulphide", Self::Cell(MeterCell::CadmiumSulphide)),
        ("silicon", Self::Cell(MeterCell::Silicon)),
    ];

    /// Gives the meter that a word names.
    ///
    /// # Errors
    /// [`AppError`] with the words there are.
    pub fn from_word(word: &str) -> Result<Self, AppError> {
        let found = Self::WORDS.into_iter().find(|(w, _)| *w == word);
        found.map(|(_, meter)| meter).ok_or_else(|| {
            let words = Self::WORDS.map(|(word, _)| word).join(", ");
            AppError::new(
                format!("there is no meter '{word}'"),
                format!("say one of {words}"),
            )
        })
    }

    fn words(self) -> &'static str {
        match self {
            Self::Eye => "a meter corrected to the eye",
            Self::Cell(MeterCell::Selenium) => "a bare selenium cell",
            Self::Cell(MeterCell::CadmiumSulphide) => "a bare cadmium sulphide cell",
            Self::Cell(MeterCell::Silicon) => "a bare silicon cell",
        }
    }

    fn infrared_stops(self) -> f64 {
        match self {
            Self::Eye => 0.0,
            Self::Cell(cell) => cell.spread_stops(),
        }
    }
}

/// The light in the shade and the meter it is read with.
pub(crate) struct Shade {
    name: String,
    light: Curve,
    /// Spread beyond 700 nm; assumed when the light has none of its own.
    infrared_sd_stops: f64,
    meter: MeterChoice,
    luminosity: Vec<(f64, f64)>,
}

impl Shade {
    pub(crate) fn new(
        name: String,
        light: Curve,
        infrared_sd_stops: Option<f64>,
        meter: MeterChoice,
    ) -> Result<Self, AppError> {
        Ok(Self {
            name,
            light,
            infrared_sd_stops: infrared_sd_stops.unwrap_or(SHADE_INFRARED_STOPS),
            meter,
            luminosity: luminosity()?,
        })
    }

    /// What shade costs; `of` holds the light in the sun.
    pub(crate) fn answer(
        &self,
        of: &Predicting<'_>,
        spread: &InputSpread,
    ) -> Result<ShadeAnswer, PredictionError> {
        let there = Predicting {
            light: &self.light,
            ..*of
        };
        let spread = ShadeSpread {
            film_edge_nm: spread.film_edge_nm,
            filter_edge_nm: spread.filter_edge_nm,
            sun_infrared_stops: spread.light_infrared_stops,
            shade_infrared_stops: self.infrared_sd_stops,
            meter_infrared_stops: self.meter.infrared_stops(),
        };
        let meter = |nm: f64| match self.meter {
            MeterChoice::Eye => between(&self.luminosity, nm),
            MeterChoice::Cell(cell) => cell.response(nm),
        };
        let cost = shade_cost(of, &self.light, meter, &spread);
        Ok(ShadeAnswer {
            light: self.name.clone(),
            prediction: prediction(&there, VerdictLimits::COMMON_PRACTICE)?,
            meter: self.meter,
            beyond_meter: cost.map(|cost| (cost.stops, combined(&cost.parts))),
        })
    }
}

/// What was found for the shade.
pub(crate) struct ShadeAnswer {
    light: String,
    prediction: Prediction,
    meter: MeterChoice,
    /// Stops beyond the meter, with its uncertainty.
    beyond_meter: Option<(f64, Combined)>,
}

impl ShadeAnswer {
    fn beyond_interval(&self) -> Option<(f64, f64, f64)> {
        let (stops, spread) = self.beyond_meter.as_ref()?;
        let half = interval_half_width(COVERAGE) * spread.sd_stops;
        Some((*stops, stops - half, stops + half))
    }

    /// Lines for a person; `sun` is the factor in the sun.
    pub(crate) fn lines(&self, sun: &Prediction) -> Vec<String> {
        let mut lines = vec![];
        if let (Some(there), Some(here)) = (self.prediction.stops(), sun.stops()) {
            lines.push(format!(
                "In the shade: {} stops, {} beyond what a meter that sees as the bare film shows",
                shown::stops(there),
                shown::signed_stops(there - here)
            ));
        }
        if let Some((stops, low, high)) = self.beyond_interval().filter(|_| sun.factor.is_some()) {
            lines.push(format!(
                "  {} shows the fall into the shade too small by {} stops ({} to {}, 90 %): give that much more there",
                self.meter.words(),
                shown::fixed(stops, 1),
                shown::fixed(low, 1),
                shown::fixed(high, 1)
            ));
        }
        lines
    }

    /// The answer with stable keys.
    pub(crate) fn json(&self, sun: &Prediction) -> Value {
        let there = self.prediction.stops();
        let interval = self.beyond_interval();
        json!({
            "light": self.light,
            "factor": self.prediction.factor.map(FilterFactor::to_ratio),
            "factor_stops": there.map(Stops::to_stops),
            "integral": self.prediction.filtered.total,
            "over_sun_stops": there.zip(sun.stops()).map(|(s, p)| (s - p).to_stops()),
            "verdict": self.prediction.verdict.word(),
            "meter": self.meter.words(),
            "over_meter_stops": interval.map(|(value, low, high)| json!({
                "value": value, "low": low, "high": high,
            })),
            "over_meter_shares": self.beyond_meter.iter().flat_map(|(_, spread)| {
                spread.shares.iter().map(|(source, share)| json!({
                    "source": source, "share": share,
                }))
            }).collect::<Vec<_>>(),
        })
    }
}
