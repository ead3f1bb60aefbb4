//! What can be asked on the command line. The help texts are the documentation.

use crate::bracket_curve::BracketArguments;
use crate::exchange::{ExportArguments, ImportArguments, NotebookArguments};
use crate::exposing::{ExposeArguments, FocusArguments};
use crate::light::LightArguments;
use crate::map::MapArguments;
use crate::plan::PlanArguments;
use crate::predict::PredictArguments;
use crate::replan::ReplanArguments;
use crate::serve::ServeArguments;
use crate::sun::SunArguments;
use crate::trace_plot::TraceArguments;
use clap::{Args, Parser, Subcommand, ValueHint};
use clap_complete::Shell;
use std::path::PathBuf;

/// Tests black-and-white film behind deep-red and near-infrared filters: scans
/// and exposure records in; densities, curve, filter factor, EI with an
/// interval and a report out.
#[derive(Debug, Parser)]
#[command(name = "filmproof", version, propagate_version = true)]
pub(crate) struct Arguments {
    /// Tell no progress on standard error.
    #[arg(long, global = true)]
    pub(crate) quiet: bool,
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Write the worked example (invented data, known truth) into a new folder.
    #[command(after_help = "Example: filmproof demo my-first-test")]
    Demo {
        /// A new or empty folder.
        #[arg(value_hint = ValueHint::DirPath)]
        dir: PathBuf,
    },
    /// Evaluate a test folder: measure its scans, fit, print the findings, write
    /// the report.
    ///
    /// The folder holds test.toml (the record), patches.csv (outlines), readings.csv
    /// (densities read elsewhere) and the scans. `filmproof evaluate demo` writes
    /// the worked example first if the folder isn't there.
    #[command(after_help = "Example: filmproof evaluate my-first-test --out results-of-today")]
    Evaluate {
        /// The test folder; with --notebook, the test's number there.
        #[arg(value_hint = ValueHint::DirPath)]
        test: PathBuf,
        /// The notebook that holds the test. Results are kept beside it when no --out
        /// is given.
        #[arg(long, value_name = "FILE", value_hint = ValueHint::FilePath)]
        notebook: Option<PathBuf>,
        /// Folder for the report, figures and findings; `results` within the test
        /// folder when not given. Earlier results there are replaced.
        #[arg(long, value_hint = ValueHint::DirPath)]
        out: Option<PathBuf>,
        /// Print the findings as JSON.
        #[arg(long)]
        json: bool,
        /// Print no date on the report, so that the same test gives the same bytes.
        #[arg(long)]
        no_date: bool,
    },
    /// Compare tests with each other and with the reports that they record.
    ///
    /// Says how far they lie apart in stops, whether that is significant and whether
    /// it is important, and what could explain it: filter edge, light, metering,
    /// batch, development, reciprocity, shutter. A test may also be compared alone
    /// with the outside_report records in its test.toml.
    #[command(after_help = "Example: filmproof compare my-test your-test --figure process.svg")]
    Compare {
        /// Test folders; a difference is positive when the later one asks for more.
        #[arg(required = true, value_hint = ValueHint::DirPath)]
        tests: Vec<PathBuf>,
        /// Write the running plot of base+fog, speed and gradient as SVG.
        #[arg(long, value_name = "FILE.svg", value_hint = ValueHint::FilePath)]
        figure: Option<PathBuf>,
        /// Print JSON.
        #[arg(long)]
        json: bool,
    },
    /// Measure patches or a step tablet in scans.
    ///
    /// Without --patches the whole picture is one patch. With --tablet the scan is
    /// calibrated by the steps that --strip cuts out, or by patches named step-1,
    /// step-2 ... (or with the role tablet_step:N), and all patches get densities;
    /// with neither, the tablet is looked for, and --picture shows what was found.
    /// Without a tablet no density is given.
    ///
    /// The picture's own edges, the tilt and what the rebate reads are looked for in
    /// every scan and told after "frame:", in JSON under "frame"; docs/frame-found.md
    /// lists its keys. Nothing is measured by them.
    Measure(MeasureArguments),
    /// Give speed and contrast of a characteristic curve under every named criterion.
    ///
    /// The file has the columns log_h,density and, when known, density_sd and step. A
    /// criterion that needs the curve past the readings is given up to three stops
    /// beyond them, marked as extrapolated; further out it is refused. Where the readings
    /// show no toe and base+fog is not given, what counts from base+fog is refused too.
    Curve(CurveArguments),
    /// Recover a curve without a step tablet, from a bracket of one subject.
    ///
    /// Each patch got the same light in every frame, so its values differ by the known
    /// ratios of exposure alone. exposure_stops are relative; exposure_s are times at one
    /// aperture, corrected for reciprocity. The curve rises everywhere, has no level, and is
    /// the film's own only where the scanner is calibrated.
    BracketCurve(BracketArguments),
    /// Draw density at every pixel of a frame, and what it got more light than another.
    ///
    /// Pixels of the scan are brought together by their mean transmittance and drawn at one
    /// fixed scale of density. With --against the frames are laid on each other, and the
    /// difference of their exposures through the fitted curve is drawn in stops, with how
    /// their densities go together. What lies beyond the tablet or on the toe or shoulder is
    /// marked, not guessed. Each picture comes as a figure (SVG), as bare pixels (PNG) and as
    /// numbers (TIFF of 32-bit floating point).
    Map(MapArguments),
    /// Work out one exposure: reading, EI, filter, bellows, reciprocity last.
    ///
    /// Every step is shown with what it assumed. Nothing computed is rounded; the nearest
    /// marks of shutter and lens, and what they leave over, come last. Times above 1 s are
    /// counted and so meant literally.
    ///
    /// Caution: never look at the sun through a lens or an infrared filter.
    Expose(Box<ExposeArguments>),
    /// Work out where to focus behind an infrared filter.
    ///
    /// The shift belongs to the lens. Unless it was measured, its size is reckoned from
    /// thin lenses of common glasses, with an interval, and a focus series is proposed
    /// where the depth of focus does not hide it. Focus by eye without the filter first.
    Focus(FocusArguments),
    /// Plan a test: which sheets to expose, in what order, and how narrow the answer
    /// will be.
    ///
    /// Sheets are shared out between unfiltered anchors, a bracket behind the filter,
    /// and controls so that the expected interval of the factor is narrowest, by the
    /// same model that evaluates the test afterwards. Where no image is expected, it
    /// says so before a sheet is spent.
    Plan(Box<PlanArguments>),
    /// Predict from spectra what a filter costs on a film in a light: factor, effective
    /// band, subject contrast, and whether there will be an image at all.
    ///
    /// The factor is the spectral ratio: exposure of the bare film over that behind the
    /// filter, for the same light on the film. Where a curve has no values nothing is
    /// added, and what that may cost is told. Without stated uncertainties assumed ones
    /// are used and named.
    Predict(Box<PredictArguments>),
    /// Read a spectral curve off a picture of a printed plot, with its uncertainty.
    ///
    /// Two marks on each axis tie the picture to the plot; it may lie turned. Points past the
    /// marks are less certain, and the uncertainty says so.
    TracePlot(TraceArguments),
    /// After the light has changed: new times for the frames of a plan that are left.
    ///
    /// Frames that test.toml records as exposed stay as they are; each of the others keeps
    /// its EI and gets its time by the new reading, with the lens opened where the time would
    /// be too long. Where no unfiltered frame is left, one of the others becomes it, since a
    /// factor is matched within one light.
    Replan(ReplanArguments),
    /// Write the field card of a plan: for a phone without a network, and for paper.
    ///
    /// The folder's plan.toml says what is to be exposed. What was done comes back with
    /// `filmproof import`: the log that the phone's page saves, or field-log.csv typed
    /// from paper. A PDF is made by the browser's print dialog.
    #[command(after_help = "Example: filmproof card my-test")]
    Card {
        /// The test folder.
        #[arg(value_hint = ValueHint::DirPath)]
        test: PathBuf,
        /// Folder for the card; `card` within the test folder when not given.
        #[arg(long, value_hint = ValueHint::DirPath)]
        out: Option<PathBuf>,
    },
    /// Put a field log into the record of its test, or a test into a notebook.
    ///
    /// With a log: frames that were exposed are appended to test.toml; what stands there
    /// is never changed. A log that contradicts it, or is of another plan, is refused
    /// whole. The same log again changes nothing.
    ///
    /// Without one: a test folder or a bundle goes into the notebook, with every byte of its
    /// files; results, hidden files and links are left out. A bundle may come from a
    /// stranger: what is amiss with it is refused before anything is kept.
    Import(ImportArguments),
    /// Give a test out: as a bundle, one file to mail or put aside, or as a folder.
    ///
    /// A bundle is a zip file with the test's files, and bundle.json with the size and
    /// SHA-256 of each. The same files give the same bundle, byte for byte.
    Export(ExportArguments),
    /// List the tests of a notebook, search it, tell the history of a test, check it.
    Notebook(NotebookArguments),
    /// A light by its name: lamp, standard daylight, clear sky, shade, leaves, clouds.
    Light(LightArguments),
    /// Where the sun stands at a place and time, and the light under a clear sky:
    /// illuminance, EV, visible and near-infrared shares, open shade.
    ///
    /// The sky is assumed clear; what is assumed of the air is told and can be set.
    Sun(Box<SunArguments>),
    /// Open the whole job in the browser: plan, exposures, negatives, curves, spectra,
    /// findings, report, over a notebook of tests.
    ///
    /// Only this machine can reach it. It works without a network.
    Serve(ServeArguments),
    /// Print the JSON Schema of test.toml.
    #[command(after_help = "Example: filmproof schema > test.schema.json")]
    Schema {
        /// Of plan.toml instead.
        #[arg(long)]
        plan: bool,
    },
    /// Print completions for a shell.
    #[command(
        after_help = "Example: filmproof completions bash > /etc/bash_completion.d/filmproof"
    )]
    Completions {
        /// The shell.
        shell: Shell,
    },
}

#[derive(Debug, Args)]
#[command(
    after_help = "Example: filmproof measure scan.tif --tablet tablet.csv --strip 40,900,1050,60 --patches patches.csv"
)]
pub(crate) struct MeasureArguments {
    /// Scans: TIFF, PNG or JPEG, or a camera's raw file.
    #[arg(required = true, value_hint = ValueHint::FilePath)]
    pub(crate) scans: Vec<PathBuf>,
    /// The step tablet's table: density and, when known, step and density_sd.
    #[arg(long, value_hint = ValueHint::FilePath)]
    pub(crate) tablet: Option<PathBuf>,
    /// Where the whole tablet lies; its steps are cut evenly and run to the right
    /// unless said otherwise.
    #[arg(
        long,
        allow_hyphen_values = true,
        value_name = "X,Y,WIDTH,HEIGHT[,left|up|down]"
    )]
    pub(crate) strip: Option<String>,
    /// Patches: name, x_px, y_px, width_px, height_px; or region; or polygon_px.
    #[arg(long, value_hint = ValueHint::FilePath)]
    pub(crate) patches: Option<PathBuf>,
    /// A picture whose values are the labels of regions.
    #[arg(long, value_hint = ValueHint::FilePath)]
    pub(crate) region_map: Option<PathBuf>,
    /// How code values follow light, when you know: linear, srgb, unknown, or a gamma.
    #[arg(long, allow_negative_numbers = true)]
    pub(crate) tone: Option<String>,
    /// Which samples: grey, red, green, blue, mean, infrared, extra:NUMBER for one
    /// beside the colours, or mosaic:ROW,COLUMN.
    #[arg(long)]
    pub(crate) channel: Option<String>,
    /// A picture of the bare light table, taken as the scan was: its uneven light is
    /// divided out. Only where the tone is known.
    #[arg(long, value_hint = ValueHint::FilePath)]
    pub(crate) flat_field: Option<PathBuf>,
    /// A picture with the lens covered, of the same exposure time: taken off scan and
    /// flat field first.
    #[arg(long, requires = "flat_field", value_hint = ValueHint::FilePath)]
    pub(crate) dark_frame: Option<PathBuf>,
    /// Draw the scan with the steps of a tablet that had to be looked for, as SVG.
    #[arg(long, value_name = "FILE.svg", value_hint = ValueHint::FilePath)]
    pub(crate) picture: Option<PathBuf>,
    /// Which image of a file with several, counted from 0.
    #[arg(long, default_value_t = 0)]
    pub(crate) page: u32,
    /// Print JSON: an object for one scan, an array for several.
    #[arg(long)]
    pub(crate) json: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "Example: filmproof curve readings.csv --figure curve.svg")]
pub(crate) struct CurveArguments {
    /// Readings of one development, as CSV.
    #[arg(value_hint = ValueHint::FilePath)]
    pub(crate) readings: PathBuf,
    /// Gross density of unexposed film of the same process; inferred from the toe
    /// when not given.
    #[arg(long, value_name = "DENSITY", allow_negative_numbers = true)]
    pub(crate) base_plus_fog: Option<f64>,
    /// log_h is relative and not of lux seconds: no speed is given.
    #[arg(long)]
    pub(crate) relative: bool,
    /// Write the figure as SVG.
    #[arg(long, value_name = "FILE.svg", value_hint = ValueHint::FilePath)]
    pub(crate) figure: Option<PathBuf>,
    /// Print JSON.
    #[arg(long)]
    pub(crate) json: bool,
}
