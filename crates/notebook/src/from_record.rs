//! Records as tables and rows, to be written.

use crate::columns::{PATCHES, READINGS};
use crate::csv_file::{Column, written_cell};
use crate::format::*;
use crate::keys::{
    At, Corners, Deviation, Finite, Positive, Required, Rfc3339, Spread, TablePlace, number_text,
};
use crate::plan_format::Load;
use crate::to_record::nominal_steps;
use crate::words::{NominalTablet, ToneWord, Words, patch_role_word};
use quantity::{Ev100, Illuminance, Luminance, Stops};
use record::*;

fn here() -> TablePlace {
    TablePlace::default()
}

fn at<T>(value: T) -> At<T> {
    At::nowhere(value)
}

fn required<T>(value: T) -> Required<At<T>> {
    Required(at(value))
}

/// Makes the table of a test; patches and readings are rows of their own files.
pub(crate) fn test_table(parts: &TestParts) -> TestTable {
    TestTable {
        span: here(),
        format: Required(FORMAT),
        title: Required(parts.title.clone()),
        purpose: parts.purpose.clone(),
        tester: parts.tester.clone(),
        // Said in either case, for a reader should not have to wonder.
        invented: Some(parts.invented),
        film: parts.films.iter().map(film).collect(),
        filter: parts.filters.iter().map(filter).collect(),
        lens: parts.lenses.iter().map(lens).collect(),
        light: parts.lights.iter().map(light_table).collect(),
        process: parts.processes.iter().map(process).collect(),
        tablet: parts.tablets.iter().map(tablet).collect(),
        scan: parts.scans.iter().map(scan).collect(),
        frame: parts.frames.iter().map(frame_table).collect(),
        outside_report: parts.outside_reports.iter().map(outside_report).collect(),
    }
}

fn film(record: &Film) -> FilmTable {
    FilmTable {
        span: here(),
        id: required(record.id.clone()),
        name: Required(record.name.clone()),
        format: record.format.clone(),
        box_speed: record.box_speed,
        batch: record.batch.clone(),
        expiry: record.expiry.clone(),
        reciprocity: record.reciprocity.as_ref().map(|law| ReciprocityTable {
            span: here(),
            law: required(law.law.clone()),
            source: Required(law.source.clone()),
            uncertainty_stops_per_decade: law.uncertainty_stops_per_decade.map(Deviation),
            extrapolate: law.extrapolate.then(|| at(true)),
        }),
    }
}

fn filter(record: &Filter) -> FilterTable {
    FilterTable {
        span: here(),
        id: required(record.id.clone()),
        name: Required(record.name.clone()),
        marking: record.marking.clone(),
        edge: record.edge.map(|edge| EdgeTable {
            span: here(),
            wavelength_nm: Required(edge.wavelength),
            level: Required(edge.level),
        }),
        stated_factor: record
            .stated_factor
            .as_ref()
            .map(|stated| StatedFactorTable {
                span: here(),
                factor: Required(stated.factor),
                basis: Required(stated.basis.clone()),
            }),
    }
}

fn lens(record: &Lens) -> LensTable {
    LensTable {
        span: here(),
        id: required(record.id.clone()),
        name: Required(record.name.clone()),
        focal_length_mm: record.focal_length,
        pupil_ratio: record.pupil_ratio,
        marked_uncertainty_stops: record.shutter.marked_uncertainty.map(Spread),
        measured_times: record
            .shutter
            .measured
            .iter()
            .map(|time| MeasuredTimeTable {
                span: here(),
                time_marked_s: Required(time.marked),
                time_actual_s: Required(time.actual),
                spread_stops: Required(Spread(time.spread)),
            })
            .collect(),
    }
}

/// The three keys of a reading.
type ReadingKeys = (
    Option<At<Ev100>>,
    Option<At<Illuminance>>,
    Option<At<Luminance>>,
);

/// Gives the three keys of a reading, of which one at most is there.
fn reading_keys(reading: Option<LightReading>) -> ReadingKeys {
    match reading {
        Some(LightReading::Ev100(ev)) => (Some(at(ev)), None, None),
        Some(LightReading::Illuminance(lux)) => (None, Some(at(lux)), None),
        Some(LightReading::Luminance(luminance)) => (None, None, Some(at(luminance))),
        None => (None, None, None),
    }
}

/// Makes the table of a light.
pub(crate) fn light_table(record: &Light) -> LightTable {
    let (ev100, illuminance_lux, luminance_cd_per_m2) = reading_keys(record.reading);
    LightTable {
        span: here(),
        id: required(record.id.clone()),
        sky: Required(record.sky),
        place: record.place.clone(),
        time_rfc3339: record.time.clone().map(Rfc3339),
        meter: record.meter.as_ref().map(|meter| MeterTable {
            span: here(),
            name: meter.name.clone(),
            mode: Required(meter.mode),
            cell: Some(meter.cell),
            target: meter.target.clone(),
            placement_stops: (meter.placement != Stops::ZERO).then_some(meter.placement),
            through_filter: Some(meter.through_filter),
        }),
        ev100,
        illuminance_lux,
        luminance_cd_per_m2,
        drift_stops: record.drift.map(Spread),
        remarks: record.remarks.clone(),
    }
}

fn process(record: &Process) -> ProcessTable {
    ProcessTable {
        span: here(),
        id: required(record.id.clone()),
        developer: Required(record.developer.clone()),
        dilution: record.dilution.clone(),
        time_s: record.time,
        temperature_c: record.temperature,
        agitation: record.agitation.clone(),
        remarks: record.remarks.clone(),
    }
}

fn tablet(record: &Tablet) -> TabletTable {
    let nominal = NominalTablet::WORDS
        .iter()
        .map(|(_, nominal)| *nominal)
        .find(|nominal| !record.certified && nominal_steps(*nominal) == record.steps);
    if let Some(nominal) = nominal {
        return TabletTable {
            span: here(),
            id: required(record.id.clone()),
            serial: record.serial.clone(),
            certified: Some(at(false)),
            nominal: Some(at(nominal)),
            steps_density: None,
            steps_density_sd: None,
            steps_file: None,
            density_sd: None,
        };
    }
    let densities = record.steps.iter().map(|step| step.value()).collect();
    let deviations: Vec<_> = record
        .steps
        .iter()
        .map(|step| Deviation(step.standard_uncertainty()))
        .collect();
    let common = deviations
        .first()
        .copied()
        .filter(|first| deviations.iter().all(|sd| sd == first));
    TabletTable {
        span: here(),
        id: required(record.id.clone()),
        serial: record.serial.clone(),
        certified: Some(at(record.certified)),
        nominal: None,
        steps_density: Some(at(densities)),
        steps_density_sd: common.is_none().then(|| at(deviations)),
        steps_file: None,
        density_sd: common,
    }
}

fn scan(record: &Scan) -> ScanTable {
    let (tone, gamma) = match record.tone {
        Tone::AsDeclared => (ToneWord::AsDeclared, None),
        Tone::Linear => (ToneWord::Linear, None),
        Tone::Gamma(gamma) => (ToneWord::Gamma, Some(Positive(gamma))),
        Tone::Srgb => (ToneWord::Srgb, None),
        Tone::Unknown => (ToneWord::Unknown, None),
    };
    let (strip, calibrated_by) = match &record.calibrator {
        Calibrator::Within(strip) => (Some(at(strip_table(strip))), None),
        Calibrator::OtherScan(other) => (None, Some(at(other.clone()))),
        Calibrator::None => (None, None),
    };
    ScanTable {
        span: here(),
        id: required(record.id.clone()),
        file: required(record.file.clone()),
        page: (record.page != 0).then_some(record.page),
        sha256: record.sha256.clone().map(at),
        device: record.device.clone(),
        settings: record.settings.clone(),
        tone: Some(at(tone)),
        tone_gamma: gamma.map(at),
        channel: Some(record.channel),
        strip,
        calibrated_by,
        frame: record.frame.clone().map(at),
        repeat_of: record.repeat_of.clone().map(at),
        response: Some(record.response),
        region_map: record.region_map.clone().map(at),
        flat_field: record.flat_field.clone().map(at),
        dark_frame: record.dark_frame.clone().map(at),
    }
}

fn strip_table(record: &TabletStrip) -> StripTable {
    let steps = record.steps.iter().map(|step| {
        let mut table = OutlineTable {
            span: here(),
            x_px: None,
            y_px: None,
            width_px: None,
            height_px: None,
            polygon_px: None,
            region: None,
            unreadable: None,
        };
        match step {
            None => table.unreadable = Some(true),
            Some(Outline::Rectangle {
                x,
                y,
                width,
                height,
            }) => {
                table.x_px = Some(*x);
                table.y_px = Some(*y);
                table.width_px = Some(*width);
                table.height_px = Some(*height);
            }
            Some(Outline::Polygon(corners)) => table.polygon_px = Some(Corners(corners.clone())),
            Some(Outline::Region(label)) => table.region = Some(*label),
            Some(Outline::CarriedFrom(_)) => {
                unreachable!("steps of a tablet are read as outlines only")
            }
        }
        table
    });
    StripTable {
        span: here(),
        tablet: required(record.tablet.clone()),
        cells: None,
        steps: (!record.steps.is_empty()).then(|| at(steps.collect())),
        unreadable_steps: Vec::new(),
    }
}

/// Makes the table of a frame.
pub(crate) fn frame_table(record: &Frame) -> FrameTable {
    let mut table = FrameTable {
        span: here(),
        id: required(record.id.clone()),
        film: required(record.film.clone()),
        filters: record.filters.iter().cloned().map(at).collect(),
        process: required(record.process.clone()),
        holder: record.holder.clone().map(at),
        load: record.load.map(Load),
        exposed_at_rfc3339: record.exposed_at.clone().map(Rfc3339),
        role: required(record.role),
        lens: None,
        light: None,
        ev100: None,
        illuminance_lux: None,
        luminance_cd_per_m2: None,
        ei: None,
        aperture_f: None,
        time_marked_s: None,
        time_actual_s: None,
        time_actual_uncertainty_stops: None,
        magnification: None,
        bellows_draw_mm: None,
        log_h_relative: None,
        log_h_relative_sd: None,
        tablet: None,
        log_h_without_tablet: None,
        log_h_without_tablet_sd: None,
        remarks: record.remarks.clone(),
    };
    match &record.exposure {
        Exposure::Camera(camera) => {
            table.lens = camera.lens.clone().map(at);
            table.light = Some(at(camera.light.clone()));
            (
                table.ev100,
                table.illuminance_lux,
                table.luminance_cd_per_m2,
            ) = reading_keys(camera.reading);
            table.ei = camera.ei.map(at);
            table.aperture_f = Some(at(camera.aperture));
            table.time_marked_s = Some(at(camera.time.marked));
            table.time_actual_s = camera.time.actual.map(at);
            table.time_actual_uncertainty_stops =
                camera.time.actual_uncertainty_stops.map(Deviation).map(at);
            match camera.bellows {
                Some(Bellows::Magnification(magnification)) => {
                    table.magnification = Some(at(magnification));
                }
                Some(Bellows::Draw(draw)) => table.bellows_draw_mm = Some(at(draw)),
                None => {}
            }
        }
        Exposure::Relative(log_h) => {
            table.log_h_relative = Some(at(Finite(log_h.value().to_log10())));
            table.log_h_relative_sd = Some(at(Deviation(log_h.standard_uncertainty())));
        }
        Exposure::Tablet {
            tablet,
            without_tablet,
        } => {
            table.tablet = Some(at(tablet.clone()));
            if let Some(log_h) = without_tablet {
                table.log_h_without_tablet = Some(at(Finite(log_h.value().to_log10())));
                table.log_h_without_tablet_sd = Some(at(Deviation(log_h.standard_uncertainty())));
            }
        }
        Exposure::None => {}
    }
    table
}

fn outside_report(record: &OutsideReport) -> OutsideReportTable {
    OutsideReportTable {
        span: here(),
        id: required(record.id.clone()),
        film: Required(record.film.clone()),
        filter: Required(record.filter.clone()),
        ei: record.ei,
        light: record.light.clone(),
        seen: Required(record.seen),
        source: record.source.clone(),
    }
}

/// Writes the first line of a CSV file, with a comment for each column.
pub(crate) fn header(columns: &[Column]) -> String {
    let mut text = String::new();
    for column in columns {
        text.push_str(&format!("# {}: {}\n", column.name, column.doc));
    }
    let names: Vec<_> = columns.iter().map(|column| column.name).collect();
    text.push_str(&names.join(","));
    text.push('\n');
    text
}

pub(crate) fn row(cells: &[String]) -> String {
    let cells: Vec<_> = cells.iter().map(|cell| written_cell(cell)).collect();
    format!("{}\n", cells.join(","))
}

/// Writes `patches.csv`.
pub(crate) fn patches_csv(patches: &[Patch]) -> String {
    let mut text = header(&PATCHES);
    for patch in patches {
        text.push_str(&row(&patch_cells(patch)));
    }
    text
}

/// The cells of a patch's row.
pub(crate) fn patch_cells(patch: &Patch) -> Vec<String> {
    let mut cells = vec![
        patch.frame.to_string(),
        patch.name.to_string(),
        patch_role_word(patch.role),
    ];
    let mut outline = vec![String::new(); 7];
    match &patch.place {
        None => cells.push(String::new()),
        Some((scan, place)) => {
            cells.push(scan.to_string());
            match place {
                Outline::Rectangle {
                    x,
                    y,
                    width,
                    height,
                } => {
                    for (cell, side) in outline.iter_mut().zip([x, y, width, height]) {
                        *cell = side.to_string();
                    }
                }
                Outline::Region(label) => outline[4] = label.to_string(),
                Outline::Polygon(corners) => {
                    let corners: Vec<_> = corners
                        .iter()
                        .map(|(x, y)| format!("{} {}", number_text(*x), number_text(*y)))
                        .collect();
                    outline[5] = corners.join("; ");
                }
                Outline::CarriedFrom(frame) => outline[6] = frame.to_string(),
            }
        }
    }
    cells.extend(outline);
    cells
}

/// The filled cells of a patch's row, each with its column.
pub(crate) fn patch_row(patch: &Patch) -> Vec<(String, String)> {
    named(&PATCHES, patch_cells(patch))
}

/// The filled cells of a reading's row, each with its column.
pub(crate) fn reading_row(reading: &Reading) -> Vec<(String, String)> {
    named(&READINGS, reading_cells(reading))
}

fn named(columns: &[Column], cells: Vec<String>) -> Vec<(String, String)> {
    columns
        .iter()
        .zip(cells)
        .filter(|(_, cell)| !cell.is_empty())
        .map(|(column, cell)| (column.name.to_owned(), cell))
        .collect()
}

/// Writes `readings.csv`.
pub(crate) fn readings_csv(readings: &[Reading]) -> String {
    let mut text = header(&READINGS);
    for reading in readings {
        text.push_str(&row(&reading_cells(reading)));
    }
    text
}

fn reading_cells(reading: &Reading) -> Vec<String> {
    let (origin, geometry) = match &reading.origin {
        ReadingOrigin::Densitometer(geometry) => ("densitometer".to_owned(), geometry.clone()),
        ReadingOrigin::ContactPrint => ("contact_print".to_owned(), None),
        ReadingOrigin::Scan(scan) => (format!("scan:{scan}"), None),
    };
    let flags: Vec<_> = reading
        .value
        .flags()
        .iter()
        .map(|flag| flag.name())
        .collect();
    vec![
        reading.frame.to_string(),
        reading.patch.to_string(),
        number_text(reading.value.value()),
        number_text(reading.value.standard_uncertainty()),
        reading.response.word().to_owned(),
        reading.limit.map_or("", Words::word).to_owned(),
        origin,
        geometry.unwrap_or_default(),
        flags.join(" "),
    ]
}
