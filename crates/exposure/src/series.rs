//! The series of apertures, shutter times and exposure indices: marks and exact values.
//!
//! A mark is a rounded number on a ring or dial; the exact value is the power
//! of two (apertures, times) or of ten (EI) it stands for. Which of the two is
//! meant is the caller's choice ([`MarkReading`]), never a guess. The nearest
//! mark always comes with what it leaves over, in stops.
//!
//! Exact: N = 2^(Av/2), t = 2^−Tv, EI = 10^(k/10).
//! Source of the nominal marks: common practice of makers; EI scale as in ISO 6,
//! carried on below 0.8 and above 6400 as a plain extension.

use crate::nearest_mark::same_mark;
use crate::number_text::format_time;
use quantity::{ExposureIndex, FNumber, QuantityError, Seconds};

/// Why a number is no mark of a series.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SeriesError {
    /// Give the number on the ring, or say that it is literal.
    #[error(
        "{what} {found} is no mark of the {series}-stop series; the nearest marks are {below} and {above}"
    )]
    NoMark {
        /// Aperture or shutter time.
        what: &'static str,
        /// The number seen, as it would be written.
        found: String,
        /// Name of the series.
        series: &'static str,
        /// The mark on one side (or the end of the series).
        below: String,
        /// The mark on the other side (or the end of the series).
        above: String,
    },
    /// A number has no meaning.
    #[error(transparent)]
    Quantity(#[from] QuantityError),
}

/// The step from one mark to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepSize {
    /// One stop.
    Full,
    /// Half a stop.
    Half,
    /// A third of a stop.
    Third,
}

impl StepSize {
    /// Gives the word for the step.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Full => "full",
            Self::Half => "half",
            Self::Third => "third",
        }
    }
}

/// How the number of a mark is to be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MarkReading {
    /// The mark stands for the exact power of two: 1/60 is 1/64 s, f/22 is f/22.63.
    Exact,
    /// The number is meant as it stands: 30 s on a timer is 30 s.
    Literal,
}

impl MarkReading {
    /// Says how marks are read, for the list of assumptions.
    #[must_use]
    pub fn sentence(self) -> &'static str {
        match self {
            Self::Exact => "the mark is read as the exact power of two it stands for",
            Self::Literal => "the mark is read literally",
        }
    }
}

/// An aperture mark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ApertureMark {
    nominal: f64,
    exact: f64,
}

impl ApertureMark {
    /// Takes a mark whose number is meant literally, such as one of an old lens.
    #[must_use]
    pub fn literal(aperture: FNumber) -> Self {
        Self {
            nominal: aperture.to_ratio(),
            exact: aperture.to_ratio(),
        }
    }

    /// Gives the number on the ring.
    #[must_use]
    pub fn nominal(self) -> f64 {
        self.nominal
    }

    /// Gives the f-number under a reading of the mark.
    #[must_use]
    pub fn aperture(self, reading: MarkReading) -> FNumber {
        let ratio = match reading {
            MarkReading::Exact => self.exact,
            MarkReading::Literal => self.nominal,
        };
        let Ok(aperture) = FNumber::from_ratio(ratio) else {
            unreachable!("a mark is made from positive numbers");
        };
        aperture
    }

    /// Writes the mark: `f/5.6`.
    #[must_use]
    pub fn label(self) -> String {
        format!("f/{}", self.nominal)
    }
}

/// A shutter mark: a number of seconds or a part of a second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShutterMark {
    written: Written,
    exact_s: f64,
    actual: Option<ActualTime>,
}

/// The time a shutter gives at a mark, where it is known to be another than the mark's.
#[derive(Clone, Copy, Debug, PartialEq)]
struct ActualTime {
    seconds: f64,
    basis: ActualBasis,
}

/// Why a shutter is held to give another time than its mark says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ActualBasis {
    /// Measured on this shutter.
    Measured,
    /// A leaf shutter's gain at a small aperture, by a table.
    SmallAperture,
}

/// How a shutter mark is written.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Written {
    /// So many seconds.
    Whole(f64),
    /// One second divided by this.
    Part(f64),
}

impl Written {
    fn to_s(self) -> f64 {
        match self {
            Self::Whole(seconds) => seconds,
            Self::Part(of) => 1.0 / of,
        }
    }
}

impl ShutterMark {
    /// Takes a time that is meant literally, such as a timer's or a measured one.
    #[must_use]
    pub fn literal(time: Seconds) -> Self {
        let seconds = time.to_s();
        let inverse = 1.0 / seconds;
        let written = if seconds < 0.3 && (inverse - libm::round(inverse)).abs() < 1e-6 * inverse {
            Written::Part(libm::round(inverse))
        } else {
            Written::Whole(seconds)
        };
        Self {
            written,
            exact_s: seconds,
            actual: None,
        }
    }

    /// Gives this mark with the time the shutter really gives there.
    #[must_use]
    pub fn with_actual(self, time: Seconds, basis: ActualBasis) -> Self {
        Self {
            actual: Some(ActualTime {
                seconds: time.to_s(),
                basis,
            }),
            ..self
        }
    }

    /// The number as it is written. \[s\]
    pub(crate) fn written_s(self) -> f64 {
        self.written.to_s()
    }

    /// Tells whether a typed time is this mark: 1/15 typed as 0.067 s is.
    #[must_use]
    pub fn is_marked(self, time: Seconds) -> bool {
        same_mark(time.to_s(), self.written.to_s())
    }

    /// Tells why the time is another than the mark's; `None` when it is the mark's.
    #[must_use]
    pub fn actual_basis(self) -> Option<ActualBasis> {
        self.actual.map(|actual| actual.basis)
    }

    /// Gives the time under a reading of the mark; the time the shutter really gives,
    /// where that is known.
    #[must_use]
    pub fn time(self, reading: MarkReading) -> Seconds {
        let seconds = match (self.actual, reading) {
            (Some(actual), _) => actual.seconds,
            (None, MarkReading::Exact) => self.exact_s,
            (None, MarkReading::Literal) => self.written.to_s(),
        };
        let Ok(time) = Seconds::from_s(seconds) else {
            unreachable!("a mark is made from positive numbers");
        };
        time
    }

    /// Gives the reading that holds for this mark: literal where the number is exact.
    #[must_use]
    pub fn reading(self, asked: MarkReading) -> MarkReading {
        if self.written.to_s() == self.exact_s {
            MarkReading::Literal
        } else {
            asked
        }
    }

    /// Says where the time of the mark comes from.
    pub(crate) fn basis(self, asked: MarkReading) -> Option<String> {
        let Some(actual) = self.actual else {
            return Some(self.reading(asked).sentence().to_owned());
        };
        let Ok(time) = Seconds::from_s(actual.seconds) else {
            unreachable!("a time was taken in as seconds");
        };
        Some(match actual.basis {
            ActualBasis::Measured => {
                format!(
                    "the shutter was measured to give {} here",
                    format_time(time)
                )
            }
            ActualBasis::SmallAperture => format!(
                "a leaf shutter is held to give {} here: a table of its gain at small apertures, not a measurement of this shutter",
                format_time(time)
            ),
        })
    }

    /// Writes the mark: `1/60 s`, `4 s`.
    #[must_use]
    pub fn label(self) -> String {
        match self.written {
            Written::Whole(seconds) => format!("{seconds} s"),
            Written::Part(of) => format!("1/{of} s"),
        }
    }
}

/// A mark of the exposure-index series.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EiMark {
    nominal: f64,
    exact: f64,
}

impl EiMark {
    /// Gives the number on the dial.
    #[must_use]
    pub fn nominal(self) -> f64 {
        self.nominal
    }

    /// Gives the exposure index under a reading of the mark.
    #[must_use]
    pub fn ei(self, reading: MarkReading) -> ExposureIndex {
        let number = match reading {
            MarkReading::Exact => self.exact,
            MarkReading::Literal => self.nominal,
        };
        let Ok(ei) = ExposureIndex::from_arithmetic(number) else {
            unreachable!("a mark is made from positive numbers");
        };
        ei
    }

    /// Writes the mark: `12`.
    #[must_use]
    pub fn label(self) -> String {
        format!("{}", self.nominal)
    }
}

/// Apertures in third stops from Av 0; every third one is a full stop.
const APERTURE_THIRDS: [f64; 42] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0,
    9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0, 45.0, 51.0,
    57.0, 64.0, 72.0, 81.0, 90.0, 102.0, 114.0,
];

/// Apertures half a stop after each full stop, from Av 0.5.
const APERTURE_HALVES: [f64; 13] = [
    1.2, 1.7, 2.4, 3.3, 4.8, 6.7, 9.5, 13.0, 19.0, 27.0, 38.0, 54.0, 76.0,
];

/// Times of a second and longer in third stops, from Tv −5 (30 s) up to Tv 0.
const LONG_THIRDS: [f64; 16] = [
    30.0, 25.0, 20.0, 15.0, 13.0, 10.0, 8.0, 6.0, 5.0, 4.0, 3.2, 2.5, 2.0, 1.6, 1.3, 1.0,
];

/// Times below a second that are written as decimals or as 1/n, in third stops from Tv 1/3.
const SHORT_THIRDS: [Written; 39] = [
    Written::Whole(0.8),
    Written::Whole(0.6),
    Written::Part(2.0),
    Written::Whole(0.4),
    Written::Whole(0.3),
    Written::Part(4.0),
    Written::Part(5.0),
    Written::Part(6.0),
    Written::Part(8.0),
    Written::Part(10.0),
    Written::Part(13.0),
    Written::Part(15.0),
    Written::Part(20.0),
    Written::Part(25.0),
    Written::Part(30.0),
    Written::Part(40.0),
    Written::Part(50.0),
    Written::Part(60.0),
    Written::Part(80.0),
    Written::Part(100.0),
    Written::Part(125.0),
    Written::Part(160.0),
    Written::Part(200.0),
    Written::Part(250.0),
    Written::Part(320.0),
    Written::Part(400.0),
    Written::Part(500.0),
    Written::Part(640.0),
    Written::Part(800.0),
    Written::Part(1000.0),
    Written::Part(1250.0),
    Written::Part(1600.0),
    Written::Part(2000.0),
    Written::Part(2500.0),
    Written::Part(3200.0),
    Written::Part(4000.0),
    Written::Part(5000.0),
    Written::Part(6400.0),
    Written::Part(8000.0),
];

/// Times half a stop after each full stop, from Tv −4.5 to Tv 12.5.
const SHUTTER_HALVES: [Written; 18] = [
    Written::Whole(20.0),
    Written::Whole(10.0),
    Written::Whole(6.0),
    Written::Whole(3.0),
    Written::Whole(1.5),
    Written::Whole(0.7),
    Written::Part(3.0),
    Written::Part(6.0),
    Written::Part(10.0),
    Written::Part(20.0),
    Written::Part(45.0),
    Written::Part(90.0),
    Written::Part(180.0),
    Written::Part(350.0),
    Written::Part(750.0),
    Written::Part(1500.0),
    Written::Part(3000.0),
    Written::Part(6000.0),
];

/// One decade of EI marks from 1, where decimals are kept short.
const EI_SMALL: [f64; 10] = [1.0, 1.2, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0];
/// The decade from 10.
const EI_TENS: [f64; 10] = [10.0, 12.0, 16.0, 20.0, 25.0, 32.0, 40.0, 50.0, 64.0, 80.0];
/// The decade from 100; later decades are its multiples.
const EI_HUNDREDS: [f64; 10] = [
    100.0, 125.0, 160.0, 200.0, 250.0, 320.0, 400.0, 500.0, 640.0, 800.0,
];
/// The decade from 0.1, written out because 1.2/10 is not 0.12 to the last bit.
const EI_TENTHS: [f64; 10] = [0.1, 0.12, 0.16, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.8];

/// The marks from 0.03 below that decade, in the same steps.
const EI_HUNDREDTHS: [f64; 5] = [0.03, 0.04, 0.05, 0.06, 0.08];

fn aperture_at(av: f64, nominal: f64) -> ApertureMark {
    ApertureMark {
        nominal,
        exact: libm::exp2(av / 2.0),
    }
}

/// Gives the aperture marks of a series, widest first.
///
/// Thirds reach from f/1 to f/114, full stops to f/90, halves to f/76.
#[must_use]
pub fn aperture_marks(step: StepSize) -> Vec<ApertureMark> {
    let thirds = APERTURE_THIRDS
        .iter()
        .zip(0_u8..)
        .map(|(n, k)| (f64::from(k) / 3.0, *n));
    let full = thirds.clone().step_by(3);
    let halves = APERTURE_HALVES
        .iter()
        .zip(0_u8..)
        .map(|(n, k)| (f64::from(k) + 0.5, *n));
    let mut all: Vec<(f64, f64)> = match step {
        StepSize::Third => thirds.collect(),
        StepSize::Full => full.collect(),
        StepSize::Half => full.chain(halves).collect(),
    };
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.into_iter().map(|(av, n)| aperture_at(av, n)).collect()
}

/// Gives the shutter marks of a series, longest first: 30 s to 1/8000 s.
#[must_use]
pub fn shutter_marks(step: StepSize) -> Vec<ShutterMark> {
    let thirds = LONG_THIRDS
        .iter()
        .map(|s| Written::Whole(*s))
        .chain(SHORT_THIRDS)
        .zip(0_u8..)
        .map(|(written, k)| (f64::from(k) / 3.0 - 5.0, written));
    let full = thirds.clone().step_by(3);
    let halves = SHUTTER_HALVES
        .into_iter()
        .zip(0_u8..)
        .map(|(written, k)| (f64::from(k) - 4.5, written));
    let mut all: Vec<(f64, Written)> = match step {
        StepSize::Third => thirds.collect(),
        StepSize::Full => full.collect(),
        StepSize::Half => full.chain(halves).collect(),
    };
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.into_iter()
        .map(|(tv, written)| ShutterMark {
            written,
            exact_s: libm::exp2(-tv),
            actual: None,
        })
        .collect()
}

/// Gives the marks a photographer sets by shutter and by timer, longest first: the
/// third-stop shutter marks from 1/8000 s to 1 s, and longer times in thirds of a
/// stop that are counted and so meant literally, up to 61 440 s.
#[must_use]
pub fn shutter_and_timer_marks() -> Vec<ShutterMark> {
    // 30, 40, 50 s and their doublings: round numbers, a third of a stop apart to 0.1 stop.
    const TIMER_THIRDS: [f64; 3] = [50.0, 40.0, 30.0];
    const DOUBLINGS: u8 = 11;
    let literal = |seconds: f64| ShutterMark {
        written: Written::Whole(seconds),
        exact_s: seconds,
        actual: None,
    };
    let long = (0..DOUBLINGS).rev().flat_map(|k| {
        let times = libm::exp2(f64::from(k));
        TIMER_THIRDS.iter().map(move |s| s * times)
    });
    let counted = LONG_THIRDS.iter().copied().filter(|s| *s < 30.0);
    let short = shutter_marks(StepSize::Third)
        .into_iter()
        .filter(|mark| mark.written.to_s() < 1.0);
    core::iter::once(61_440.0)
        .chain(long)
        .chain(counted)
        .map(literal)
        .chain(short)
        .collect()
}

/// Gives the third-stop exposure indices from 0.03 to 80 000, slowest first.
///
/// The scale has no half stops; it is one series of tenths of log10.
#[must_use]
pub fn ei_marks() -> Vec<EiMark> {
    let decades: [(&[f64; 10], f64); 6] = [
        (&EI_TENTHS, 1.0),
        (&EI_SMALL, 1.0),
        (&EI_TENS, 1.0),
        (&EI_HUNDREDS, 1.0),
        (&EI_HUNDREDS, 10.0),
        (&EI_HUNDREDS, 100.0),
    ];
    let decades = decades
        .iter()
        .flat_map(|(decade, times)| decade.iter().map(move |n| n * times));
    EI_HUNDREDTHS
        .iter()
        .copied()
        .chain(decades)
        .zip(-15_i8..)
        .map(|(nominal, k)| EiMark {
            nominal,
            exact: libm::pow(10.0, f64::from(k) / 10.0),
        })
        .collect()
}
