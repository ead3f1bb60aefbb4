//! The keys of `test.toml`: the one list of them.
//!
//! A key carries its unit in its name. What a table means is the matter of the
//! `record` room; here is only how it is written down.

use crate::keys::{
    At, Corners, Density, Deviation, Finite, Positive, Required, Rfc3339, Spread, tables,
};
use crate::plan_format::Load;
use crate::words::{Direction, NominalTablet, ToneWord};
use quantity::{
    Celsius, Ev100, ExposureIndex, FNumber, FilterFactor, Illuminance, Luminance, Magnification,
    Millimetres, Nanometres, PupilRatio, Seconds, Stops,
};
use record::{Channel, EdgeLevel, FrameRole, Id, MeterCell, MeterMode, Response, Seen, Sky};

/// The version of the format that this room reads and writes.
pub(crate) const FORMAT: u32 = 1;

tables! {
    /// The record of a test.
    TestTable "the top of the file" {
        /// Version of this format: 1.
        format: Required<u32>,
        /// What the test is called.
        title: Required<String>,
        /// What it is to find out.
        purpose: Option<String>,
        /// Who made it.
        tester: Option<String>,
        /// Whether the data are invented; reports say so. Left out: false.
        invented: Option<bool>,
        /// Films and batches.
        film: Vec<FilmTable>,
        /// Filters.
        filter: Vec<FilterTable>,
        /// Lenses with their shutters.
        lens: Vec<LensTable>,
        /// Lights: a place, a sky, a meter and its reading.
        light: Vec<LightTable>,
        /// Developments; frames of one process share a characteristic curve.
        process: Vec<ProcessTable>,
        /// Step tablets.
        tablet: Vec<TabletTable>,
        /// Scans.
        scan: Vec<ScanTable>,
        /// Exposed or deliberately unexposed pieces of film.
        frame: Vec<FrameTable>,
        /// Claims of other people, to be tested against this test's findings.
        outside_report: Vec<OutsideReportTable>,
    }

    /// A film and batch.
    FilmTable "[[film]]" {
        /// Name in this test, referred to by frames.
        id: Required<At<Id>>,
        /// What it is called: the maker's name or your own.
        name: Required<String>,
        /// Format, as written: "4x5 in sheet", "120".
        format: Option<String>,
        /// Speed printed on the box, arithmetic.
        box_speed: Option<ExposureIndex>,
        /// Emulsion or batch number.
        batch: Option<String>,
        /// Expiry, as printed.
        expiry: Option<String>,
        /// What is known of its reciprocity failure.
        reciprocity: Option<ReciprocityTable>,
    }

    /// A reciprocity law with its origin.
    ReciprocityTable "reciprocity" {
        /// The law: "power:1.31", "additive:0.1,1.62", "schwarzschild:0.85" or "table:FILE.csv"; a range of metered seconds may follow, as in "power:1.31@..120".
        law: Required<At<String>>,
        /// Where it comes from.
        source: Required<String>,
        /// One standard deviation of the correction, per decade of time beyond one second.
        uncertainty_stops_per_decade: Option<Deviation>,
        /// Whether the law is carried on outside its range; what rests on that is flagged. Left out: false, a time outside is refused.
        extrapolate: Option<At<bool>>,
    }

    /// A filter.
    FilterTable "[[filter]]" {
        /// Name in this test, referred to by frames.
        id: Required<At<Id>>,
        /// What it is called.
        name: Required<String>,
        /// What is engraved or printed on it.
        marking: Option<String>,
        /// Where a long-pass filter begins to pass.
        edge: Option<EdgeTable>,
        /// A factor that somebody states.
        stated_factor: Option<StatedFactorTable>,
    }

    /// Where a long-pass filter begins to pass.
    EdgeTable "edge" {
        /// Wavelength at the level.
        wavelength_nm: Required<Nanometres>,
        /// The level at which the edge is quoted; "not_stated" for a bare number such as 720.
        level: Required<EdgeLevel>,
    }

    /// A factor printed or told by somebody.
    StatedFactorTable "stated_factor" {
        /// The factor, as a ratio: 8 is three stops.
        factor: Required<FilterFactor>,
        /// For which film, light and criterion it was said to hold.
        basis: Required<String>,
    }

    /// A lens with its shutter.
    LensTable "[[lens]]" {
        /// Name in this test, referred to by frames.
        id: Required<At<Id>>,
        /// What it is called.
        name: Required<String>,
        /// Focal length.
        focal_length_mm: Option<Millimetres>,
        /// Exit pupil over entrance pupil; 1 for a symmetric lens.
        pupil_ratio: Option<PupilRatio>,
        /// One standard deviation of a marked speed that was not measured.
        marked_uncertainty_stops: Option<Spread>,
        /// Shutter speeds that were measured.
        measured_times: Vec<MeasuredTimeTable>,
    }

    /// A shutter speed that was measured.
    MeasuredTimeTable "measured_times" {
        /// The speed as marked.
        time_marked_s: Required<Seconds>,
        /// The mean of the measured times.
        time_actual_s: Required<Seconds>,
        /// One standard deviation of a single release.
        spread_stops: Required<Spread>,
    }

    /// A light: a place and time, a sky, a meter and a reading.
    LightTable "[[light]]" {
        /// Name in this test, referred to by frames.
        id: Required<At<Id>>,
        /// State of the sky, or the lamp.
        sky: Required<Sky>,
        /// Where.
        place: Option<String>,
        /// When, with the offset from UTC.
        time_rfc3339: Option<Rfc3339>,
        /// The meter and how it was used.
        meter: Option<MeterTable>,
        /// The reading as an exposure value at ISO 100; at most one of the three readings.
        ev100: Option<At<Ev100>>,
        /// The reading of an incident meter.
        illuminance_lux: Option<At<Illuminance>>,
        /// The reading of a spot or averaging meter.
        luminance_cd_per_m2: Option<At<Luminance>>,
        /// One standard deviation of the light from frame to frame.
        drift_stops: Option<Spread>,
        /// Anything else.
        remarks: Option<String>,
    }

    /// A meter and how it was used.
    MeterTable "meter" {
        /// What it is called.
        name: Option<String>,
        /// How it was pointed.
        mode: Required<MeterMode>,
        /// What it sees with. Left out: "not_stated".
        cell: Option<MeterCell>,
        /// What it was pointed at: "grey card", "sunlit grass".
        target: Option<String>,
        /// Where the target was placed, from the mid-tone. Left out: 0, taken as the mid-tone.
        placement_stops: Option<Stops>,
        /// Whether it read through the filter of the frame. Left out: false.
        through_filter: Option<bool>,
    }

    /// One development.
    ProcessTable "[[process]]" {
        /// Name in this test, referred to by frames.
        id: Required<At<Id>>,
        /// Developer.
        developer: Required<String>,
        /// Dilution, as written: "1+50".
        dilution: Option<String>,
        /// Development time.
        time_s: Option<Seconds>,
        /// Temperature.
        temperature_c: Option<Celsius>,
        /// Agitation, as written.
        agitation: Option<String>,
        /// Anything else.
        remarks: Option<String>,
    }

    /// A step tablet: its densities are nominal, listed here, or in a file of their own.
    TabletTable "[[tablet]]" {
        /// Name in this test, referred to by scans and frames.
        id: Required<At<Id>>,
        /// Serial number.
        serial: Option<String>,
        /// Whether the densities were measured for this very tablet. Left out: false.
        certified: Option<At<bool>>,
        /// A usual tablet: "21" steps of 0.15, "31" of 0.10 or "11" of 0.30, each from 0.05 on.
        nominal: Option<At<NominalTablet>>,
        /// Density of each step, in step order.
        steps_density: Option<At<Vec<Density>>>,
        /// One standard deviation of each listed density, in step order.
        steps_density_sd: Option<At<Vec<Deviation>>>,
        /// A CSV file in this folder with the columns step, density, density_sd.
        steps_file: Option<At<String>>,
        /// One standard deviation of the density of every step that has none of its own.
        density_sd: Option<Deviation>,
    }

    /// A scan of one or several frames.
    ScanTable "[[scan]]" {
        /// Name in this test, referred to by patches and other scans.
        id: Required<At<Id>>,
        /// Path of the file within this folder, with / between parts.
        file: Required<At<String>>,
        /// Which image of the file, counted from 0. Left out: 0.
        page: Option<u32>,
        /// SHA-256 of the file when it was first measured, 64 hex digits.
        sha256: Option<At<String>>,
        /// The scanner or camera.
        device: Option<String>,
        /// Settings, as written down.
        settings: Option<String>,
        /// How code values follow light. Left out: "as_declared" by the file.
        tone: Option<At<ToneWord>>,
        /// The power, when tone is "gamma": light is code value to this power.
        tone_gamma: Option<At<Positive>>,
        /// Which samples of a pixel are measured: "suitable", "grey", "red", "green", "blue", "mean", "infrared" (the one sample beside the colours that the file does not name as alpha), "extra:N" (a sample beside the colours, from 1) or "mosaic:ROW,COLUMN" (from 0). Left out: "suitable", which is green of several.
        channel: Option<Channel>,
        /// A step tablet lying in this very scan.
        strip: Option<At<StripTable>>,
        /// Another scan, made with the same locked settings, whose tablet calibrates this one.
        calibrated_by: Option<At<Id>>,
        /// The frame it shows, where no patch says so. Left out: the one it is called like, if any.
        frame: Option<At<Id>>,
        /// A scan of the same film made with the same settings, to be compared.
        repeat_of: Option<At<Id>>,
        /// What the measured signal stands for. Left out: "density".
        response: Option<Response>,
        /// Path of an image whose pixel values are labels of regions.
        region_map: Option<At<String>>,
        /// Path of a picture of the bare light table, taken as the scan was: its light is divided out.
        flat_field: Option<At<String>>,
        /// Path of a picture with the lens covered, of the same exposure time; only beside flat_field.
        dark_frame: Option<At<String>>,
    }

    /// A step tablet lying in a scan: cells split evenly, or one outline for each step; with neither it is looked for.
    StripTable "strip" {
        /// The tablet.
        tablet: Required<At<Id>>,
        /// A rectangle that is split evenly into the steps.
        cells: Option<At<CellsTable>>,
        /// An outline for each step, in step order.
        steps: Option<At<Vec<OutlineTable>>>,
        /// Steps that can't be read, counted from 1; only with cells.
        unreadable_steps: Vec<At<u32>>,
    }

    /// A rectangle that is split evenly into steps.
    CellsTable "cells" {
        /// Left edge of step 1 to the last.
        x_px: Required<u32>,
        /// Top edge.
        y_px: Required<u32>,
        /// Width of the whole rectangle.
        width_px: Required<u32>,
        /// Height of the whole rectangle.
        height_px: Required<u32>,
        /// Where step 2 lies, seen from step 1.
        direction: Required<Direction>,
        /// Number of cells. Left out: as many as the tablet has steps.
        count: Option<u32>,
        /// Margin left out at each side of each cell. Left out: 0.
        inset_px: Option<u32>,
    }

    /// The outline of a patch or step: a rectangle, a polygon or a region.
    OutlineTable "steps" {
        /// Left edge of a rectangle.
        x_px: Option<u32>,
        /// Top edge.
        y_px: Option<u32>,
        /// Width, at least 1.
        width_px: Option<u32>,
        /// Height, at least 1.
        height_px: Option<u32>,
        /// Corners of a polygon, in order: [[x, y], …].
        polygon_px: Option<Corners>,
        /// Label of a region in the scan's region map.
        region: Option<u32>,
        /// True for a step that can't be read; then nothing else is given.
        unreadable: Option<bool>,
    }

    /// One exposed (or deliberately unexposed) piece of film.
    FrameTable "[[frame]]" {
        /// Name in this test, referred to by patches and readings.
        id: Required<At<Id>>,
        /// Film.
        film: Required<At<Id>>,
        /// Filters, in order. Left out: none.
        filters: Vec<At<Id>>,
        /// Process that developed it.
        process: Required<At<Id>>,
        /// Holder and side, as written: "3A".
        holder: Option<At<String>>,
        /// Which loading of that holder side, counted from 1. Left out: 1.
        load: Option<Load>,
        /// What it is for.
        role: Required<At<FrameRole>>,
        /// When it was exposed, with the offset from UTC.
        exposed_at_rfc3339: Option<Rfc3339>,
        /// In a camera: lens and shutter.
        lens: Option<At<Id>>,
        /// In a camera: the light it was exposed by. Needed.
        light: Option<At<Id>>,
        /// A reading made for this very frame; replaces the light's own.
        ev100: Option<At<Ev100>>,
        /// A reading made for this very frame.
        illuminance_lux: Option<At<Illuminance>>,
        /// A reading made for this very frame.
        luminance_cd_per_m2: Option<At<Luminance>>,
        /// In a camera: EI set on the meter.
        ei: Option<At<ExposureIndex>>,
        /// In a camera: aperture as marked. Needed.
        aperture_f: Option<At<FNumber>>,
        /// In a camera: the time set on the shutter. Needed.
        time_marked_s: Option<At<Seconds>>,
        /// The time it really was, when known for this very frame.
        time_actual_s: Option<At<Seconds>>,
        /// One standard deviation of the actual time.
        time_actual_uncertainty_stops: Option<At<Deviation>>,
        /// Close focus: image size over object size.
        magnification: Option<At<Magnification>>,
        /// Close focus: lens to film; the lens's focal length must be known.
        bellows_draw_mm: Option<At<Millimetres>>,
        /// Exposure known only relative to the other frames, as log10.
        log_h_relative: Option<At<Finite>>,
        /// Uncertainty of that, as log10.
        log_h_relative_sd: Option<At<Deviation>>,
        /// Through a step tablet in contact: the tablet.
        tablet: Option<At<Id>>,
        /// log10 of the exposure in lux seconds that film beside the tablet got.
        log_h_without_tablet: Option<At<Finite>>,
        /// Uncertainty of that, as log10.
        log_h_without_tablet_sd: Option<At<Deviation>>,
        /// Anything else.
        remarks: Option<String>,
    }

    /// Someone else's claim.
    OutsideReportTable "[[outside_report]]" {
        /// Name in this test.
        id: Required<At<Id>>,
        /// Film, as told.
        film: Required<String>,
        /// Filter, as told.
        filter: Required<String>,
        /// EI used, as told.
        ei: Option<ExposureIndex>,
        /// Light, as told.
        light: Option<String>,
        /// What was seen on the negative.
        seen: Required<Seen>,
        /// Where it was told.
        source: Option<String>,
    }
}
