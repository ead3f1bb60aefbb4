//! Use cases: joins the folder, its files, measuring, the estimate and the report.
//!
//! Each use case is one function that takes paths and settings, tells
//! [`Progress`] how far it is, and gives plain results or an [`AppError`] that
//! says what went wrong and what to do. What is printed is the caller's
//! business; what is computed is the other rooms'.
//!
//! This room must never do arithmetic of the trade itself, and must never leave
//! a half-written file behind.
//!
//! Begin with [`evaluate_folder`], the main job.

mod absolute_film;
mod bracket_curve;
mod camera_scan;
mod camera_settings;
mod carrying;
mod changed_light;
mod compare_tests;
mod curve_file;
mod demo_folder;
mod density_maps;
mod density_pair;
mod divided_light;
mod error;
mod evaluate_folder;
mod expose;
mod expose_answer;
mod expose_inputs;
mod field_card;
mod frame_found;
mod glass;
mod infrared_focus;
mod json;
mod kept;
mod kept_pages;
mod light_by_name;
mod light_of_scan;
mod light_table;
mod measuring;
mod named_spectra;
mod output;
mod pictures;
mod plan;
mod plan_believed;
mod plan_beside;
mod plan_carried;
mod plan_frames;
mod plan_promise;
mod plan_request;
mod plan_several;
mod planned_rows;
mod predict;
mod predict_curves;
mod predict_json;
mod predict_shade;
mod predict_text;
mod progress;
mod report_maps;
mod scan_channel;
mod scan_checks;
mod scan_reader;
mod shown_names;
mod single_scan;
mod spectra_choices;
mod spectral_file;
mod sun;
mod sun_chart;
mod tablet_search;
mod tiles;
mod told_file;
mod trace_plot;

pub use absolute_film::AbsoluteSensitivity;
pub use bracket_curve::{BracketAnswer, BracketRequest, curve_of_bracket};
pub use carrying::LaidPairs;
pub use changed_light::{ChangedLightQuestion, ReplannedLight, replan};
pub use compare_tests::{ComparedTests, compare_named_tests, compare_tests};
pub use curve_file::{CurveAnswer, CurveRequest, curve_of_file};
pub use demo_folder::{DEMO_DRAW, write_demo};
pub use density_maps::{MAP_SIDE, MapRequest, Maps, density_maps};
pub use error::AppError;
pub use evaluate_folder::{Evaluated, evaluate_folder};
pub use expose::{
    ExposeBellows, ExposeFilter, ExposeReading, ExposeRequest, ExposeResult, ExposeUncertainty,
    expose,
};
pub use expose_inputs::{cell_from_word, sky_from_word, through_from_word};
pub use field_card::{WrittenCard, import_log, write_card};
pub use glass::Glass;
pub use infrared_focus::{FocusRequest, FocusResult, infrared_focus, lens_from_word};
pub use json::findings_json;
pub use kept::{
    Added, EvaluatedTest, KeepError, Notebook, OpenTest, PatchRow, PlannedFor, SentFolder,
    TabletQuestion, USUAL_TABLETS, UsualTablet, bundle_of_folder, folder_of_bundle, plan_foreseen,
};
pub use kept_pages::EvaluatedPages;
pub use light_by_name::{LightAnswer, light};
pub use light_table::{LightTable, light_table, light_table_again};
pub use negative::decode::OUTSIDE_DECODER_THREAD;
pub use notebook::{
    CELL_TABLES, CellColumn, CellKind, CellPlace, CellTable, Check, Checked, Conflict, Documents,
    Fingerprint, FolderError, Found, FoundTests, Held, Imported, ListedFile, ListingLimits,
    PICTURE_ENDINGS, Problem, RecordRow, Revision, Saved, ScanPlace, Stage, StripOutline,
    StripPlace, TestId, TestOverview, cell_of, cell_table, check, record_rows, with_record_rows,
    with_strip, with_top_keys, without_f_sign,
};
pub use output::write_file;
pub use plan::{CAUTIONS, PlanQuestion, Planned, plan};
pub use plan_carried::{Carried, CarriedFilm, CarriedFilter, CarriedLight, carried, factor_found};
pub use plan_promise::promise_figure;
pub use planned_rows::{PlannedRow, planned_rows};
pub use predict::{PredictAnswer, PredictRequest, StatedSpread, predict};
pub use predict_curves::{FilmChoice, FilmConvention, FilterChoice};
pub use predict_shade::MeterChoice;
pub use progress::{Progress, Silent};
pub use record::{Scan, TestParts};
pub use single_scan::{MeasureRequest, MeasuredScan, measure_scan};
pub use spectra::clear_sky::Air;
pub use spectra_choices::{SpectraChoices, spectra_choices};
pub use spectral_file::SpectralFile;
pub use sun::{SunAnswer, SunRequest, sun};
pub use tablet_search::{
    CutOut, FoundStep, FoundTablet, TabletSearch, find_tablet_in_scan, find_tablet_in_test,
};
pub use tiles::{
    TILE_CACHE_BYTES, TileCache, TileRequest, TileSize, TiledScan, tiles_of_scan,
    tiles_of_test_scan,
};
pub use trace_plot::{TraceAnswer, TraceRequest, trace_plot};

/// Name and version of the program, as reports name it.
pub const VERSION: &str = concat!("Filmproof ", env!("CARGO_PKG_VERSION"));

/// Gives the JSON Schema of the test folder.
#[must_use]
pub fn schema() -> serde_json::Value {
    notebook::json_schema()
}

/// Gives the JSON Schema of a plan.
#[must_use]
pub fn plan_schema() -> serde_json::Value {
    notebook::plan_json_schema()
}

/// Words and rows for whoever speaks to a person, so that they need to know
/// this room only.
pub mod shown {
    pub use figures::shown::*;
    pub use figures::{Sheet, factor_sentence, filters_words, in_line};
    pub use findings::{
        BracketFinding, CannotTell, Comparison, CriterionRow, CurveFinding, Difference,
        FactorFinding, Findings, FrameFinding, Verdict, WoodFinding,
    };
    pub use quantity::{Bound, Flag, Flags, Stops as StopsOf};
    pub use report::{DrawnTwice, Fragments, name, style};

    /// The grey scale of densities for a page, with base+fog marked where it is known.
    #[must_use]
    pub fn density_scale_of_page(base_plus_fog: Option<f64>) -> String {
        figures::density_scale(
            &figures::DensityScale {
                white_density: 0.0,
                base_plus_fog,
                lifted_by: quantity::Stops::ZERO,
                absolute: true,
            },
            figures::Colours::Page,
        )
    }
}
