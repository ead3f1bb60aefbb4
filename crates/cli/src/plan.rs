//! The command `plan`: its options.

use app::{AppError, PlanQuestion, plan};
use clap::{Args, ValueHint};
use std::path::PathBuf;

#[derive(Debug, Args)]
#[command(
    after_help = "Example: filmproof plan --film-class extended-red --box-speed 400 --filter-edge 715:50% --sheets 8 --holders 4"
)]
pub(crate) struct PlanArguments {
    /// orthochromatic, panchromatic, extended-red, near-infrared or infrared.
    #[arg(long, value_name = "CLASS")]
    pub(crate) film_class: String,
    /// Speed printed on the box.
    #[arg(long, value_name = "EI", allow_negative_numbers = true)]
    pub(crate) box_speed: f64,
    /// Edge of the filter with its level: 715:50%, 720:half-peak, 708:10%,
    /// 708:-3stops; 720 alone where the level is not known. Several filters share
    /// anchors and controls.
    #[arg(
        long,
        value_name = "NM:LEVEL",
        required = true,
        allow_negative_numbers = true
    )]
    pub(crate) filter_edge: Vec<String>,
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
    /// Expected factor and its standard deviation in stops, in place of the table
    /// of common practice; for each filter in turn when there are several.
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
    let answer = plan(&PlanQuestion {
        film_class: arguments.film_class.clone(),
        box_speed: arguments.box_speed,
        filter_edges: arguments.filter_edge.clone(),
        sky: arguments.sky.clone(),
        ev100: arguments.ev100,
        sheets: arguments.sheets,
        holders: arguments.holders,
        aperture: arguments.aperture,
        lens_apertures: two(&arguments.lens).unwrap_or((arguments.aperture, arguments.aperture)),
        longest_s: arguments.longest,
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
