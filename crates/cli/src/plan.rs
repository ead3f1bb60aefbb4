//! The command `plan`: its options.

use crate::film_options::FilmOptions;
use app::{AppError, FilterChoice, PlanQuestion, SpectralFile, plan};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  filmproof plan --film-class extended-red --box-speed 400 --filter-edge 715:50% --sheets 8 --holders 4\n  filmproof plan --film film.csv --box-speed 400 --filter r715.csv --light sun:35 --sheets 8 --holders 4 --out my-test"
)]
pub(crate) struct PlanArguments {
    #[command(flatten)]
    pub(crate) film: FilmOptions,
    /// Speed printed on the box.
    #[arg(long, value_name = "EI", allow_negative_numbers = true)]
    pub(crate) box_speed: f64,
    /// Edge of the filter with its level: 715:50%, 720:half-peak, 708:10%,
    /// 708:-3stops; 720 alone where the level is not known. Several filters share
    /// anchors and controls.
    #[arg(
        long,
        value_name = "NM:LEVEL",
        required_unless_present = "filter",
        allow_negative_numbers = true
    )]
    pub(crate) filter_edge: Vec<String>,
    /// A filter by its transmittance curve or its name (gelatin:89B), as for `predict`;
    /// several share anchors and controls. With a curve the expected factor is
    /// predicted from spectra.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(crate) filter: Vec<String>,
    /// The light by its spectrum or its name (sun:35), as for `predict`; that of the
    /// sky, with the sun 45 degrees high, when spectra are used and none is given.
    #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
    pub(crate) light: Option<String>,
    /// clear-sun, thin-cloud, broken-cloud, overcast, open-shade, under-leaves or lamp.
    #[arg(long, default_value = "clear-sun")]
    pub(crate) sky: String,
    /// Light reading as EV at ISO 100; by the sunny rule when not given.
    #[arg(long, value_name = "EV", allow_negative_numbers = true)]
    pub(crate) ev100: Option<f64>,
    /// Sheets to be spent.
    #[arg(long)]
    pub(crate) sheets: usize,
    /// Holders of two sides each.
    #[arg(long)]
    pub(crate) holders: usize,
    /// Preferred aperture.
    #[arg(
        long,
        value_name = "N",
        default_value_t = 16.0,
        allow_negative_numbers = true
    )]
    pub(crate) aperture: f64,
    /// Widest and smallest aperture of the lens.
    #[arg(long, value_names = ["WIDEST", "SMALLEST"], num_args = 2, default_values_t = [5.6, 45.0])]
    pub(crate) lens: Vec<f64>,
    /// Longest time that can be borne, s.
    #[arg(
        long,
        value_name = "S",
        default_value_t = 60.0,
        allow_negative_numbers = true
    )]
    pub(crate) longest: f64,
    /// Shortest time of the shutter, s; many large leaf shutters have 1/125 (0.008).
    #[arg(
        long,
        value_name = "S",
        default_value_t = 0.002,
        allow_negative_numbers = true
    )]
    pub(crate) shortest: f64,
    /// Reciprocity law, as for `expose`.
    #[arg(long, value_name = "LAW")]
    pub(crate) reciprocity: Option<String>,
    /// The shutter's speeds were measured.
    #[arg(long)]
    pub(crate) measured_shutter: bool,
    /// A step tablet is at hand.
    #[arg(long)]
    pub(crate) tablet: bool,
    /// No plain red filter is at hand.
    #[arg(long)]
    pub(crate) no_red: bool,
    /// Expected factor and its standard deviation in stops, in place of table and
    /// spectra; for each filter in turn when there are several.
    #[arg(long, value_names = ["STOPS", "SD"], num_args = 2, allow_negative_numbers = true)]
    pub(crate) expected_factor: Vec<f64>,
    /// Write a test folder with the plan, for the field card.
    #[arg(long, value_hint = ValueHint::DirPath)]
    pub(crate) out: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}

pub(crate) fn planning(arguments: &PlanArguments) -> Result<(), AppError> {
    let two = |v: &[f64]| match v {
        [a, b] => Some((*a, *b)),
        _ => None,
    };
    let file = |text: &String| SpectralFile::from_text(text);
    let edges = arguments.filter_edge.iter().map(|text| FilterChoice::Edge {
        text: text.clone(),
        peak: None,
        width_nm: None,
    });
    let curves = (arguments.filter.iter()).map(|text| FilterChoice::File(file(text)));
    let answer = plan(&PlanQuestion {
        film: arguments.film.film(None)?,
        box_speed: arguments.box_speed,
        filters: edges.chain(curves).collect(),
        light: arguments.light.as_ref().map(file),
        spread: arguments.film.spread(None),
        sky: arguments.sky.clone(),
        ev100: arguments.ev100,
        sheets: arguments.sheets,
        holders: arguments.holders,
        aperture: arguments.aperture,
        lens_apertures: two(&arguments.lens).unwrap_or((arguments.aperture, arguments.aperture)),
        longest_s: arguments.longest,
        shortest_s: arguments.shortest,
        reciprocity: arguments.reciprocity.clone(),
        measured_shutter: arguments.measured_shutter,
        tablet: arguments.tablet,
        red_filter: !arguments.no_red,
        expected_factors_stops: arguments
            .expected_factor
            .chunks_exact(2)
            .map(|pair| (pair[0], pair[1]))
            .collect(),
        out: arguments.out.clone(),
    })?;
    if arguments.json {
        return crate::say_json(&answer.json);
    }
    crate::say(&answer.lines.join("\n"))
}
