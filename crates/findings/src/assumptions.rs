//! What the estimate assumes where nothing is recorded.
//!
//! Every number here is a prior of the joint estimate or a constant of the
//! meter link. None is hidden: [`Assumptions::listed`] gives each that was
//! used with its unit and source, for the report. A caller may change any.
//!
//! Sizes of errors are one standard deviation.

use crate::Assumed;

/// Priors and constants of the joint estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Assumptions {
    /// Share of cases in which intervals are to hold the truth, 0 to 1.
    pub coverage: f64,
    /// Deviation of a marked shutter speed that was not measured. \[stops\]
    pub marked_time_stops: f64,
    /// Error of the mean of a measured shutter speed. \[stops\]
    pub measured_time_stops: f64,
    /// Deviation of an aperture mark. \[stops\]
    pub aperture_stops: f64,
    /// Drift of light and timing from frame to frame. \[stops\]
    pub frame_stops: f64,
    /// Error of one light reading. \[stops\]
    pub reading_stops: f64,
    /// Difference between the meter's scale and lux seconds of a tablet sheet. \[stops\]
    pub meter_bias_stops: f64,
    /// How far a metered grey card lies from the mid-tone. \[stops\]
    pub grey_card_stops: f64,
    /// How far any other subject lies from the mid-tone. \[stops\]
    pub subject_stops: f64,
    /// How the factor differs between patches that should be neutral, until
    /// three or more of them tell. \[stops\]
    pub neutral_patch_stops: f64,
    /// How the factor differs between patches of any colour. \[stops\]
    pub coloured_patch_stops: f64,
    /// How the gradient may differ behind a filter, as a share of it.
    pub filter_gradient_share: f64,
    /// How the gradient may differ between frames of one process, as a share of it.
    pub development_share: f64,
    /// Difference of base+fog between frames of one process. \[density\]
    pub base_density: f64,
    /// Misfit of the curve's formula. \[density\]
    pub curve_misfit_density: f64,
    /// How far the box speed may lie from the truth. \[stops\]
    pub box_speed_stops: f64,
    /// Error of a stated reciprocity law. \[stops per decade of time beyond 1 s\]
    pub reciprocity_stops_per_decade: f64,
    /// Size of an unstated reciprocity failure. \[stops per decade beyond 1 s\]
    pub unstated_reciprocity_stops_per_decade: f64,
    /// What camera flare may do to a shaded patch where no flare control was
    /// exposed. \[stops\]
    pub flare_stops: f64,
    /// A density over base+fog that can just be told. \[density\]
    pub detection_density: f64,
    /// Net density at which the curves of two filters are matched. \[density\]
    pub matching_density: f64,
    /// Deviations beyond this many standard deviations lose weight.
    pub outlier_beyond: f64,
    /// Factor of the lens, q.
    pub lens_factor_q: f64,
    /// Constant of a reflected-light meter, K. \[cd/m2\]
    pub meter_k: f64,
    /// Constant of an incident-light meter with a flat receptor, C. \[lux\]
    pub meter_c: f64,
}

/// One of the numbers of a film's curve, as wide as it is left before any reading.
#[derive(Clone, Copy, Debug)]
pub(crate) struct ClassNumber {
    pub(crate) name: &'static str,
    /// Middle of the class; of widths and gradients the sd is of the logarithm.
    pub(crate) middle: f64,
    /// One standard deviation. \[`unit`\]
    pub(crate) sd: f64,
    pub(crate) unit: &'static str,
}

const fn class(name: &'static str, middle: f64, sd: f64, unit: &'static str) -> ClassNumber {
    ClassNumber {
        name,
        middle,
        sd,
        unit,
    }
}

const NATURAL_LOG: &str = "natural-log units";

/// A wide class of pictorial films: base+fog, gradient of the straight line,
/// width of the toe, length from toe to shoulder, width of the shoulder.
pub(crate) const CURVE_CLASS: [ClassNumber; 5] = [
    class("base+fog", 0.2, 0.5, "density"),
    class("gradient of the straight line", 0.65, 0.45, NATURAL_LOG),
    class("width of the toe in log H", 0.17, 0.4, NATURAL_LOG),
    class(
        "length from toe to shoulder in log H",
        2.8,
        0.4,
        NATURAL_LOG,
    ),
    class("width of the shoulder in log H", 0.25, 0.4, NATURAL_LOG),
];
/// Where a light that was not read is looked for, at ISO 100. \[EV\]
pub(crate) const UNREAD_LIGHT_EV: f64 = 12.0;
/// How far from it. \[stops\]
pub(crate) const UNREAD_LIGHT_STOPS: f64 = 4.0;
/// How far the factor of foliage and sky may lie from the neutral one. \[stops\]
pub(crate) const FOLIAGE_OR_SKY_STOPS: f64 = 4.0;
/// Weight of the assumed size of an error, in frames: a test with as many frames
/// trusts its own scatter as much as the assumption.
pub(crate) const ASSUMED_FRAMES: f64 = 8.0;
/// How far off a frame must be to be called an outlier, in standard deviations
/// of all that its record leaves open.
pub(crate) const OUTLIER_SD: f64 = 3.2;

impl Assumptions {
    /// What is common practice where a test says nothing.
    pub const COMMON_PRACTICE: Self = Self {
        coverage: 0.90,
        marked_time_stops: 0.30,
        measured_time_stops: 0.05,
        aperture_stops: 0.08,
        frame_stops: 0.12,
        reading_stops: 0.10,
        meter_bias_stops: 0.25,
        grey_card_stops: 0.10,
        subject_stops: 2.0,
        neutral_patch_stops: 0.10,
        coloured_patch_stops: 1.0,
        filter_gradient_share: 0.06,
        development_share: 0.01,
        base_density: 0.006,
        curve_misfit_density: 0.006,
        box_speed_stops: 0.5,
        reciprocity_stops_per_decade: 0.15,
        unstated_reciprocity_stops_per_decade: 0.6,
        flare_stops: 0.25,
        detection_density: 0.03,
        matching_density: 0.60,
        outlier_beyond: 2.5,
        lens_factor_q: 0.65,
        meter_k: 12.5,
        meter_c: 250.0,
    };

    /// Gives the assumptions of a kind of source that was used.
    pub(crate) fn listed(&self, used: &[Source]) -> Vec<Assumed> {
        let stops = "stops";
        let common = "common practice";
        let row = |name: &str, value, unit, source: &str| Assumed {
            name: name.to_owned(),
            value,
            unit,
            source: source.to_owned(),
        };
        let mut rows = vec![row(
            "share of cases in which the intervals hold the truth",
            self.coverage,
            "",
            "asked for",
        )];
        let by_program = "stated by this program";
        rows.push(row(
            "least density over base+fog that can be told",
            self.detection_density,
            "density",
            common,
        ));
        rows.push(row(
            "net density at which the curves of two filters are matched",
            self.matching_density,
            "density",
            common,
        ));
        rows.push(row(
            "deviation beyond which a reading or record loses weight",
            self.outlier_beyond,
            "standard deviations",
            by_program,
        ));
        rows.push(row(
            "deviation beyond which a frame is called off",
            OUTLIER_SD,
            "standard deviations",
            by_program,
        ));
        rows.push(row(
            "weight of an assumed error size against the test's own scatter",
            ASSUMED_FRAMES,
            "frames",
            by_program,
        ));
        for source in used {
            match source {
                Source::MarkedTime => rows.push(row(
                    "deviation of a marked shutter speed",
                    self.marked_time_stops,
                    stops,
                    common,
                )),
                Source::MeasuredTime => rows.push(row(
                    "error of the mean of a measured shutter speed",
                    self.measured_time_stops,
                    stops,
                    common,
                )),
                Source::Aperture => rows.push(row(
                    "deviation of an aperture mark",
                    self.aperture_stops,
                    stops,
                    common,
                )),
                Source::Frame => rows.push(row(
                    "drift of light and timing from frame to frame",
                    self.frame_stops,
                    stops,
                    "common practice, unless the light's drift or the time's error is recorded",
                )),
                Source::LightReading => {
                    rows.push(row(
                        "error of a light reading",
                        self.reading_stops,
                        stops,
                        common,
                    ));
                    rows.push(row(
                        "lens factor q in H = q L t / N²",
                        self.lens_factor_q,
                        "",
                        "ISO 2720 meter link, 0.65",
                    ));
                    rows.push(row(
                        "constant K of a reflected-light meter",
                        self.meter_k,
                        "cd/m²",
                        "ISO 2720 gives 10.6 to 13.4; makers use 12.5 or 14",
                    ));
                    rows.push(row(
                        "constant C of an incident-light meter",
                        self.meter_c,
                        "lux",
                        common,
                    ));
                }
                Source::MeterBias => rows.push(row(
                    "meter's scale against lux seconds of the tablet sheet",
                    self.meter_bias_stops,
                    stops,
                    common,
                )),
                Source::GreyCard => rows.push(row(
                    "metered grey card against the mid-tone",
                    self.grey_card_stops,
                    stops,
                    common,
                )),
                Source::Subject => rows.push(row(
                    "any other subject against the mid-tone",
                    self.subject_stops,
                    stops,
                    "wide on purpose",
                )),
                Source::NeutralPatch => rows.push(row(
                    "difference of the factor between neutral patches (until three tell)",
                    self.neutral_patch_stops,
                    stops,
                    common,
                )),
                Source::ColouredPatch => rows.push(row(
                    "difference of the factor between coloured patches",
                    self.coloured_patch_stops,
                    stops,
                    "wide on purpose",
                )),
                Source::FilterGradient => rows.push(row(
                    "difference of the gradient behind a filter",
                    self.filter_gradient_share,
                    "share of it",
                    common,
                )),
                Source::Development => rows.push(row(
                    "difference of the gradient between frames of one process",
                    self.development_share,
                    "share of it",
                    common,
                )),
                Source::Base => rows.push(row(
                    "difference of base+fog between frames of one process",
                    self.base_density,
                    "density",
                    common,
                )),
                Source::Reading => rows.push(row(
                    "misfit of the curve's formula",
                    self.curve_misfit_density,
                    "density",
                    by_program,
                )),
                Source::Curve => {
                    for number in CURVE_CLASS {
                        rows.push(row(
                            &format!(
                                "{} before any reading, about {}",
                                number.name, number.middle
                            ),
                            number.sd,
                            number.unit,
                            "a wide class of pictorial films",
                        ));
                    }
                }
                Source::UnreadLight => rows.push(row(
                    &format!(
                        "level of a light that was not read, about EV {UNREAD_LIGHT_EV} at ISO 100"
                    ),
                    UNREAD_LIGHT_STOPS,
                    stops,
                    "daylight, wide on purpose",
                )),
                Source::FoliageOrSky => rows.push(row(
                    "difference of the factor of foliage and sky",
                    FOLIAGE_OR_SKY_STOPS,
                    stops,
                    "wide on purpose",
                )),
                Source::BoxSpeed => rows.push(row(
                    "box speed against the truth",
                    self.box_speed_stops,
                    stops,
                    common,
                )),
                Source::Reciprocity => rows.push(row(
                    "error of the stated reciprocity law",
                    self.reciprocity_stops_per_decade,
                    "stops per decade of time beyond 1 s",
                    common,
                )),
                Source::UnstatedReciprocity => rows.push(row(
                    "size of a reciprocity failure that nobody stated",
                    self.unstated_reciprocity_stops_per_decade,
                    "stops per decade of time beyond 1 s",
                    common,
                )),
                Source::Flare => rows.push(row(
                    "camera flare on a shaded patch, no flare control exposed",
                    self.flare_stops,
                    stops,
                    common,
                )),
                Source::TabletExposure | Source::Factor => {}
            }
        }
        rows
    }
}

/// Where an uncertainty comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Source {
    MarkedTime,
    MeasuredTime,
    Aperture,
    Frame,
    LightReading,
    /// Level of a light that was not read.
    UnreadLight,
    MeterBias,
    GreyCard,
    Subject,
    NeutralPatch,
    ColouredPatch,
    FoliageOrSky,
    FilterGradient,
    Development,
    Base,
    Reading,
    Curve,
    BoxSpeed,
    Reciprocity,
    UnstatedReciprocity,
    TabletExposure,
    /// Camera flare on shaded patches.
    Flare,
    /// The prior of the factor itself, so wide that it says nothing.
    Factor,
}

impl Source {
    /// Gives the words for it in the table of shares.
    pub(crate) fn words(self) -> &'static str {
        match self {
            Self::MarkedTime => "marked shutter speeds",
            Self::MeasuredTime => "measured shutter speeds",
            Self::Aperture => "aperture marks",
            Self::Frame => "light and timing from frame to frame",
            Self::LightReading => "light reading",
            Self::UnreadLight => "level of an unread light",
            Self::MeterBias => "meter against the tablet sheet",
            Self::GreyCard => "grey card against the mid-tone",
            Self::Subject => "brightness of the subjects",
            Self::NeutralPatch => "differences between neutral patches",
            Self::FoliageOrSky => "how foliage and sky differ behind the filter",
            Self::ColouredPatch => "differences between coloured patches",
            Self::FilterGradient => "gradient behind the filter",
            Self::Development => "development from frame to frame",
            Self::Base => "base+fog from frame to frame",
            Self::Reading => "density readings",
            Self::Curve => "assumed shape of the curve",
            Self::BoxSpeed => "assumed box speed",
            Self::Reciprocity => "reciprocity law",
            Self::UnstatedReciprocity => "unstated reciprocity failure",
            Self::TabletExposure => "exposure of the tablet sheet",
            Self::Flare => "camera flare on shaded patches",
            Self::Factor => "prior of the factor",
        }
    }

    /// Tells whether this is an assumption about the film rather than an error
    /// of the exposures.
    pub(crate) fn is_assumption(self) -> bool {
        matches!(
            self,
            Self::Curve
                | Self::BoxSpeed
                | Self::Subject
                | Self::ColouredPatch
                | Self::FoliageOrSky
                | Self::Factor
        )
    }
}
