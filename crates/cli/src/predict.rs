//! The command `predict`: its options and what it prints.

use crate::film_options::FilmOptions;
use app::{
    AbsoluteSensitivity, AppError, FilterChoice, MeterChoice, PredictRequest, SpectralFile,
    predict, write_file,
};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  filmproof predict --film film.csv --filter r715.csv --light sun.csv --subject leaf.csv\n  filmproof predict --film-class extended-red --filter-edge 715:50% --filter-edge 740:50% --light sun.csv\n  filmproof predict --film-class near-infrared --filter gelatin:89B --light sun:35 --subject leaf --sun-chart"
)]
pub(crate) struct PredictArguments {
    #[command(flatten)]
    pub(crate) film: FilmOptions,
    /// The film's values are absolute, cm²/erg, for this density over base+fog; its speed
    /// in the light is given, and is the EI unless --ei is.
    #[arg(
        long,
        value_name = "DENSITY",
        requires = "film",
        num_args = 0..=1,
        require_equals = true,
        default_missing_value = "0.10",
        conflicts_with_all = ["film_wedge_lamp", "film_equal_photons"]
    )]
    pub(crate) film_absolute: Option<f64>,
    /// Readings of the film's characteristic curve (log_h,density), to move an absolute
    /// sensitivity from its density to 0.10 over base+fog.
    #[arg(long, value_name = "FILE.csv", requires = "film_absolute", value_hint = ValueHint::FilePath)]
    pub(crate) film_readings: Option<PathBuf>,
    /// Transmittance of a filter, 0 to 1 or as its heading says; several are ranked.
    ///
    /// Or a gelatin filter by its number in the published table: gelatin:89B.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath, required_unless_present = "filter_edge")]
    pub(crate) filter: Vec<String>,
    /// A long-pass filter by its edge and the level it is quoted at: 715:50%,
    /// 720:half-peak, 708:10%, 708:-3stops; several are ranked.
    #[arg(long, value_name = "NM:LEVEL")]
    pub(crate) filter_edge: Vec<String>,
    /// Peak transmittance of filters given by an edge.
    #[arg(
        long,
        value_name = "0..1",
        default_value_t = 0.90,
        allow_negative_numbers = true
    )]
    pub(crate) filter_peak: f64,
    /// Width of the edge in T = P/(1 + exp(-(nm - c)/width)).
    #[arg(
        long,
        value_name = "NM",
        default_value_t = 6.0,
        allow_negative_numbers = true
    )]
    pub(crate) filter_width: f64,
    /// The filters stand one behind the other.
    #[arg(long)]
    pub(crate) stack: bool,
    /// Spectral power of the light; only its shape counts. A file, or a name as of
    /// `filmproof light`: sun:35 (brings its open shade along), overcast:35, daylight:5500.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(crate) light: String,
    /// The light in the shade, for the factor there: a file or a name as open-shade:35.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(crate) shade: Option<String>,
    /// The meter that sun and shade are read with: eye, selenium, cadmium-sulphide, silicon.
    #[arg(long, value_name = "CELL", default_value = "eye")]
    pub(crate) meter: String,
    /// Reflectance of a subject, held against the 18 % grey card; may be given
    /// several times. A file or a name: leaf, spring-leaf, deep-green-leaf,
    /// autumn-leaf, needles, grey-card, wall, roof, bark, soil, water.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(crate) subject: Vec<String>,
    /// EI of the film without a filter.
    #[arg(long, allow_negative_numbers = true)]
    pub(crate) ei: Option<f64>,
    /// Integrate in steps of this many nm; on all wavelengths of all curves when
    /// not given.
    #[arg(long, value_name = "NM", allow_negative_numbers = true)]
    pub(crate) step: Option<f64>,
    /// Values between points by a monotone cubic instead of straight lines.
    #[arg(long)]
    pub(crate) monotone: bool,
    /// Let curves go on at their last values beyond their ends and across holes;
    /// otherwise nothing is added there, and what that may cost is told.
    #[arg(long)]
    pub(crate) hold_ends: bool,
    /// One standard deviation of the light's power beyond 700 nm, in stops.
    #[arg(long, value_name = "STOPS", allow_negative_numbers = true)]
    pub(crate) light_infrared_sd: Option<f64>,
    /// Add the factors over the sun's height, in the sun and in open shade.
    #[arg(long)]
    pub(crate) sun_chart: bool,
    /// Write the figure as SVG: light x film, filter, product.
    #[arg(long, value_name = "FILE.svg", value_hint = ValueHint::FilePath)]
    pub(crate) figure: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

/// Answers `predict`.
pub(crate) fn prediction(arguments: &PredictArguments) -> Result<(), AppError> {
    let file = |text: &String| SpectralFile::from_text(text);
    let absolute = arguments
        .film_absolute
        .map(|net_density| AbsoluteSensitivity {
            net_density,
            readings: arguments.film_readings.clone(),
        });
    let filters = arguments
        .filter
        .iter()
        .map(|text| FilterChoice::File(file(text)))
        .chain(arguments.filter_edge.iter().map(|text| FilterChoice::Edge {
            text: text.clone(),
            peak: Some(arguments.filter_peak),
            width_nm: Some(arguments.filter_width),
        }))
        .collect();
    let answer = predict(&PredictRequest {
        film: arguments.film.film(absolute)?,
        filters,
        stack: arguments.stack,
        light: file(&arguments.light),
        shade: arguments.shade.as_ref().map(file),
        meter: MeterChoice::from_word(&arguments.meter)?,
        subjects: arguments.subject.iter().map(file).collect(),
        ei: arguments.ei,
        step_nm: arguments.step,
        monotone: arguments.monotone,
        hold_ends: arguments.hold_ends,
        spread: arguments.film.spread(arguments.light_infrared_sd),
        sun_chart: arguments.sun_chart,
        figures: arguments
            .figure
            .iter()
            .map(|_| app::shown::Sheet::FILE)
            .collect(),
    })?;
    for note in &answer.notes {
        crate::say_note(note);
    }
    if let (Some(path), Some(svg)) = (&arguments.figure, answer.svgs.first()) {
        write_file(path, svg.as_bytes())?;
    }
    if arguments.json {
        return crate::say_json(&answer.json);
    }
    let mut text = answer.lines.join("\n");
    if let Some(path) = &arguments.figure {
        text.push_str(&format!("\nFigure: {}", path.display()));
    }
    crate::say(&text)
}
