//! What `expose` and `focus` can be asked. The help texts are the documentation.

use app::{
    AppError, ExposeBellows, ExposeFilter, ExposeReading, ExposeRequest, ExposeUncertainty,
    FocusRequest, cell_from_word, lens_from_word, sky_from_word, through_from_word,
};
use clap::Args;

#[derive(Debug, Args)]
#[command(
    after_help = "Example: filmproof expose --ev100 15 --ei 200 --aperture 22 --factor 16 --magnification 0.1 --reciprocity power:1.31"
)]
#[command(allow_negative_numbers = true)]
pub(crate) struct ExposeArguments {
    #[command(flatten)]
    reading: ReadingArguments,
    /// EI to expose for, before filters.
    #[arg(long)]
    ei: f64,
    /// f-number, exact.
    #[arg(long, value_name = "N")]
    aperture: f64,
    /// Filter factor; may be given several times.
    #[arg(long, value_name = "F")]
    factor: Vec<f64>,
    /// A filter stated in stops; may be given several times.
    #[arg(long, value_name = "STOPS")]
    factor_stops: Vec<f64>,
    /// A filter stated as density; may be given several times.
    #[arg(long, value_name = "D")]
    factor_density: Vec<f64>,
    /// Image size over object size.
    #[arg(long, value_name = "M", conflicts_with_all = ["draw", "extension", "focal_length"])]
    magnification: Option<f64>,
    /// Size of the image on the ground glass, mm; with --object-size it gives the
    /// magnification.
    #[arg(long, value_name = "MM", requires = "object_size", conflicts_with_all = ["magnification", "draw", "extension", "focal_length"])]
    image_size: Option<f64>,
    /// Size of the thing itself, mm.
    #[arg(long, value_name = "MM", requires = "image_size")]
    object_size: Option<f64>,
    /// Lens to film, mm.
    #[arg(
        long,
        value_name = "MM",
        requires = "focal_length",
        conflicts_with = "extension"
    )]
    draw: Option<f64>,
    /// How far the lens is racked out beyond its place at infinity, mm.
    #[arg(long, value_name = "MM", requires = "focal_length")]
    extension: Option<f64>,
    /// Focal length, mm.
    #[arg(long, value_name = "MM")]
    focal_length: Option<f64>,
    /// Exit pupil over entrance pupil.
    #[arg(long, value_name = "P", default_value_t = 1.0)]
    pupil_ratio: f64,
    /// Reciprocity law, from metered time TM to corrected time TC in seconds.
    ///
    /// `power:P[,T0]` is TC = T0 (TM/T0)^P above T0, which is 1 s when not given;
    /// additive:A,EXPONENT is TC = TM + A TM^EXPONENT; `schwarzschild:P[,T0]` is
    /// TC = T0 (TM/T0)^(1/P) above T0; modified-schwarzschild:P is
    /// TC (TC + 1)^(P-1) = TM; fit:C,P is TC = C TM^P; catenary:A,T0 is
    /// TC = TM 10^(A (sqrt(k^2 + 1) - 1)) and cosh:A,T0 is TC = TM cosh(A k ln 10), with
    /// k = log10(TM/T0), for a film that is best at T0; points:TM/TC,TM/TC lists times;
    /// table:FILE.csv reads them from the columns t_metered_s,t_corrected_s. The range in
    /// which a law holds stands behind it, as in power:1.31@..120 or fit:0.7,1.1@160..1920;
    /// outside it the time is refused.
    #[arg(long, value_name = "LAW")]
    reciprocity: Option<String>,
    /// Carry the law on outside its range; the answer is flagged.
    #[arg(long, requires = "reciprocity")]
    extrapolate: bool,
    /// The aperture column of a film's sheet: metered time over stops to open the lens,
    /// such as 10/0.5,100/1. Shown beside the longer time; the two are never converted.
    #[arg(long, value_name = "TM/STOPS,...")]
    open_lens: Option<String>,
    /// The marks on this shutter where they are not the usual third stops, such as
    /// 1,1/2,1/5,1/10,1/25,1/50,1/100; read literally.
    #[arg(long, value_name = "LIST")]
    shutter_marks: Option<String>,
    /// A measured shutter time in place of its mark, with the spread of a release in
    /// stops where known, such as 1/30=0.041,0.1; may be given several times.
    #[arg(long, value_name = "MARK=SECONDS[,SPREAD]")]
    measured_time: Vec<String>,
    /// Count a leaf shutter's gain at small apertures by common practice: from f/16,
    /// 1/125 s +1/3 stop, 1/250 s +2/3, 1/500 s +1. A measured time wins over it.
    #[arg(long)]
    small_aperture_gain: bool,
    /// Standard error of opening and closing by hand, seconds (0.1: common practice).
    #[arg(long, value_name = "SECONDS", default_value_t = 0.1)]
    reaction_time: f64,
    /// Standard error of a count in percent of the time; 0 with a watch.
    #[arg(long, value_name = "PERCENT", default_value_t = 0.0)]
    count_error: f64,
    #[command(flatten)]
    meter: MeterArguments,
    #[command(flatten)]
    uncertainty: UncertaintyArguments,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
#[group(required = true, multiple = false)]
struct ReadingArguments {
    /// Light reading as EV at ISO 100.
    #[arg(long, value_name = "EV")]
    ev100: Option<f64>,
    /// Light reading in lux.
    #[arg(long)]
    lux: Option<f64>,
    /// Light reading in cd/m2.
    #[arg(long, value_name = "CD_PER_M2")]
    luminance: Option<f64>,
    /// No meter: estimate the light by the sunny rule, for a sun higher than 30 degrees.
    #[arg(long, value_parser = ["clear", "thin-cloud", "bright-cloud", "overcast", "open-shade"])]
    sky: Option<String>,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Meter")]
struct MeterArguments {
    /// Constant C of the incident meter, with --lux.
    #[arg(long, value_name = "C", default_value_t = 250.0)]
    incident_constant: f64,
    /// Constant K of the reflected-light meter, with --luminance.
    #[arg(long, value_name = "K", default_value_t = 12.5)]
    reflected_constant: f64,
    /// Where the target that was read is to lie, in stops from the mid-tone.
    #[arg(long, value_name = "STOPS", conflicts_with = "zone")]
    placed: Option<f64>,
    /// Zone of the target that was read, 0 to 10; the mid-tone is 5.
    #[arg(long)]
    zone: Option<f64>,
    /// What the meter read through; an opaque filter's reading is not used.
    #[arg(long, default_value = "nothing", value_parser = ["nothing", "see-through", "opaque"])]
    through: String,
    /// What the meter sees with.
    #[arg(long, default_value = "unknown", value_parser = ["selenium", "cds", "silicon", "bare-silicon", "unknown"])]
    cell: String,
}

#[derive(Debug, Args)]
#[command(next_help_heading = "Uncertainty (one standard deviation, in stops unless said)")]
struct UncertaintyArguments {
    /// Of the light reading.
    #[arg(long, value_name = "STOPS")]
    reading_sd: Option<f64>,
    /// Of the EI.
    #[arg(long, value_name = "STOPS")]
    ei_sd: Option<f64>,
    /// Of the filters together.
    #[arg(long, value_name = "STOPS")]
    factor_sd: Option<f64>,
    /// Of the draw or extension, mm.
    #[arg(long, value_name = "MM")]
    draw_sd: Option<f64>,
    /// Of the aperture.
    #[arg(long, value_name = "STOPS")]
    aperture_sd: Option<f64>,
    /// Of the reciprocity law, in stops of time.
    #[arg(long, value_name = "STOPS")]
    reciprocity_sd: Option<f64>,
    /// Of a shutter speed that was not measured.
    #[arg(long, value_name = "STOPS")]
    shutter_sd: Option<f64>,
}

/// The request of `expose`.
pub(crate) fn expose_request(arguments: &ExposeArguments) -> Result<ExposeRequest, AppError> {
    let (read, meter, stated) = (&arguments.reading, &arguments.meter, &arguments.uncertainty);
    let reading = match (read.ev100, read.lux, read.luminance, &read.sky) {
        (Some(ev), ..) => ExposeReading::Ev100(ev),
        (_, Some(lux), ..) => ExposeReading::Lux {
            lux,
            c: meter.incident_constant,
        },
        (_, _, Some(cd_per_m2), _) => ExposeReading::Luminance {
            cd_per_m2,
            k: meter.reflected_constant,
        },
        (_, _, _, Some(sky)) => ExposeReading::Sky(sky_from_word(sky)?),
        // The argument group requires one of the four.
        _ => {
            return Err(AppError::new(
                "no light reading",
                "give --ev100, --lux, --luminance or --sky",
            ));
        }
    };
    let factors = arguments.factor.iter().map(|f| ExposeFilter::Factor(*f));
    let stops = arguments
        .factor_stops
        .iter()
        .map(|s| ExposeFilter::Stops(*s));
    let densities = arguments
        .factor_density
        .iter()
        .map(|d| ExposeFilter::Density(*d));
    let bellows = match (
        arguments.magnification,
        arguments.image_size.zip(arguments.object_size),
        arguments.draw.zip(arguments.focal_length),
        arguments.extension.zip(arguments.focal_length),
    ) {
        (Some(m), ..) => Some(ExposeBellows::Magnification(m)),
        (_, Some((image_mm, object_mm)), ..) => Some(ExposeBellows::Sizes {
            image_mm,
            object_mm,
        }),
        (_, _, Some((draw_mm, focal_length_mm)), _) => Some(ExposeBellows::Draw {
            draw_mm,
            focal_length_mm,
        }),
        (_, _, _, Some((extension_mm, focal_length_mm))) => Some(ExposeBellows::Extension {
            extension_mm,
            focal_length_mm,
        }),
        _ if arguments.focal_length.is_some() => {
            return Err(AppError::new(
                "a focal length alone gives no bellows factor",
                "give --draw or --extension with it",
            ));
        }
        _ => None,
    };
    Ok(ExposeRequest {
        reading,
        // Zone V is the mid-tone.
        placed_stops: meter.placed.or(meter.zone.map(|zone| zone - 5.0)),
        through: through_from_word(&meter.through)?,
        cell: cell_from_word(&meter.cell)?,
        ei: arguments.ei,
        aperture: arguments.aperture,
        filters: factors.chain(stops).chain(densities).collect(),
        bellows,
        pupil_ratio: arguments.pupil_ratio,
        reciprocity: arguments.reciprocity.clone(),
        extrapolate: arguments.extrapolate,
        open_lens: arguments.open_lens.clone(),
        shutter_marks: arguments.shutter_marks.clone(),
        measured_times: arguments.measured_time.clone(),
        small_aperture_gain: arguments.small_aperture_gain,
        reaction_s: arguments.reaction_time,
        count_share: arguments.count_error / 100.0,
        uncertainty: ExposeUncertainty {
            reading: stated.reading_sd,
            ei: stated.ei_sd,
            filter: stated.factor_sd,
            draw_mm: stated.draw_sd,
            aperture: stated.aperture_sd,
            reciprocity: stated.reciprocity_sd,
            shutter: stated.shutter_sd,
        },
    })
}

#[derive(Debug, Args)]
#[command(
    after_help = "Example: filmproof focus --focal-length 150 --wavelength 750 --aperture 11 --lens achromat"
)]
#[command(allow_negative_numbers = true)]
pub(crate) struct FocusArguments {
    /// Focal length, mm.
    #[arg(long, value_name = "MM")]
    focal_length: f64,
    /// Mean wavelength that reaches the film behind the filter, nm.
    #[arg(long, value_name = "NM")]
    wavelength: f64,
    /// f-number on the lens.
    #[arg(long, value_name = "N")]
    aperture: f64,
    /// How the lens is corrected for colour.
    #[arg(long, default_value = "unknown", value_parser = ["simple", "achromat", "apochromat", "unknown"])]
    lens: String,
    /// A shift measured on this lens, mm; plus is more draw.
    #[arg(long, value_name = "MM")]
    measured_shift: Option<f64>,
    /// Standard deviation of the measured shift, mm.
    #[arg(
        long,
        value_name = "MM",
        default_value_t = 0.0,
        requires = "measured_shift"
    )]
    measured_shift_sd: f64,
    /// Image size over object size.
    #[arg(long, value_name = "M", default_value_t = 0.0)]
    magnification: f64,
    /// Exit pupil over entrance pupil.
    #[arg(long, value_name = "P", default_value_t = 1.0)]
    pupil_ratio: f64,
    /// Picture width, mm; 120 by 96 is the picture of a 4x5 inch sheet.
    #[arg(long, value_name = "MM", default_value_t = 120.0)]
    width: f64,
    /// Picture height, mm.
    #[arg(long, value_name = "MM", default_value_t = 96.0)]
    height: f64,
    /// The circle of confusion is the picture's diagonal over this number.
    #[arg(long, value_name = "NUMBER", default_value_t = 1500.0)]
    divisor: f64,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

/// The request of `focus`.
pub(crate) fn focus_request(arguments: &FocusArguments) -> Result<FocusRequest, AppError> {
    Ok(FocusRequest {
        focal_length_mm: arguments.focal_length,
        wavelength_nm: arguments.wavelength,
        aperture: arguments.aperture,
        lens: lens_from_word(&arguments.lens)?,
        measured_shift_mm: arguments
            .measured_shift
            .map(|shift| (shift, arguments.measured_shift_sd)),
        magnification: arguments.magnification,
        pupil_ratio: arguments.pupil_ratio,
        format_mm: (arguments.width, arguments.height),
        divisor: arguments.divisor,
    })
}
