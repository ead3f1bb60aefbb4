//! Tables as read to records, with the place of every name and reference.

use crate::columns::{DENSITY_SD_UNSTATED, Step, reciprocity_table};
use crate::csv_file::Unknown;
use crate::files::Files;
use crate::format::*;
use crate::keys::{At, Span};
use crate::problem::{Place, Problems, Source, short};
use crate::words::{Direction, NominalTablet, ToneWord};
use quantity::{Density, Ev100, Illuminance, LogExposure, Luminance, Measured, Stops};
use record::*;

/// A record's name and where it was given.
pub(crate) struct Name {
    /// Kind of record.
    pub(crate) kind: &'static str,
    /// The name.
    pub(crate) id: Id,
    /// Where.
    pub(crate) place: Place,
}

/// A record that refers to another, and where.
pub(crate) struct Reference {
    /// The record that refers.
    pub(crate) from: String,
    /// Kind of the record referred to.
    pub(crate) kind: &'static str,
    /// Its name.
    pub(crate) id: Id,
    /// Where.
    pub(crate) place: Place,
}

/// Makes records of the tables of one `test.toml`.
pub(crate) struct Conversion<'a> {
    source: &'a Source,
    files: Files<'a>,
    problems: &'a mut Problems,
    warnings: &'a mut Vec<String>,
    /// Names met.
    pub(crate) names: Vec<Name>,
    /// References met.
    pub(crate) references: Vec<Reference>,
}

/// The most cells a strip can have; far above any tablet, and soon counted.
const STEPS_MOST: u64 = 1000;

/// Densities of a nominal tablet: `count` steps of `step`, the first at 0.05.
///
/// Source: common practice (21 × 0.15, 31 × 0.10, 11 × 0.30, first step 0.05).
/// The uncertainty rises from 0.02 at the clear end to 0.06 at a density of 3:
/// an uncalibrated tablet is off by under 0.1 stop at low and up to a third of
/// a stop at high density, taken as the half width of an even distribution.
pub(crate) fn nominal_steps(tablet: NominalTablet) -> Vec<Measured<Density>> {
    let (count, step_hundredths) = match tablet {
        NominalTablet::Half => (21, 15),
        NominalTablet::Third => (31, 10),
        NominalTablet::Whole => (11, 30),
    };
    (0..count)
        .filter_map(|index| {
            // Whole hundredths, so that 0.35 is the nearest number to 0.35.
            let density = f64::from(5 + index * step_hundredths) / 100.0;
            let sd = 0.02 + 0.04 * density / 3.0;
            Some(Measured::new(Density::gross(density).ok()?, sd))
        })
        .collect()
}

/// The three keys that a light reading can stand in.
type ReadingKeys<'a> = (
    &'a Option<At<Ev100>>,
    &'a Option<At<Illuminance>>,
    &'a Option<At<Luminance>>,
);

impl<'a> Conversion<'a> {
    /// Begins with nothing met.
    pub(crate) fn new(
        source: &'a Source,
        files: Files<'a>,
        problems: &'a mut Problems,
        warnings: &'a mut Vec<String>,
    ) -> Self {
        Self {
            source,
            files,
            problems,
            warnings,
            names: Vec::new(),
            references: Vec::new(),
        }
    }

    /// Makes the parts of a test, without patches and readings.
    pub(crate) fn parts(&mut self, table: TestTable) -> TestParts {
        let TestTable {
            title,
            purpose,
            tester,
            invented,
            film,
            filter,
            lens,
            light,
            process,
            tablet,
            scan,
            frame,
            outside_report,
            ..
        } = table;
        let tablets: Vec<_> = tablet.into_iter().filter_map(|t| self.tablet(t)).collect();
        TestParts {
            title: title.0,
            purpose,
            tester,
            invented: invented.unwrap_or(false),
            films: film.into_iter().map(|t| self.film(t)).collect(),
            filters: filter.into_iter().map(|t| self.filter(t)).collect(),
            lenses: lens.into_iter().map(|t| self.lens(t)).collect(),
            lights: light.into_iter().map(|t| self.light(t)).collect(),
            processes: process.into_iter().map(|t| self.process(t)).collect(),
            scans: scan
                .into_iter()
                .filter_map(|t| self.scan(t, &tablets))
                .collect(),
            tablets,
            frames: frame.into_iter().filter_map(|t| self.frame(t)).collect(),
            patches: Vec::new(),
            readings: Vec::new(),
            outside_reports: outside_report
                .into_iter()
                .map(|t| self.outside_report(t))
                .collect(),
        }
    }

    pub(crate) fn problem(
        &mut self,
        span: &Span,
        seen: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) {
        let place = self.source.place(span.start);
        self.problems.add(&place, seen, expected, remedy);
    }

    pub(crate) fn name(&mut self, kind: &'static str, id: At<Id>) -> Id {
        self.names.push(Name {
            kind,
            id: id.value.clone(),
            place: self.source.place(id.span.start),
        });
        id.value
    }

    pub(crate) fn refer(&mut self, from: &str, kind: &'static str, id: At<Id>) -> Id {
        self.references.push(Reference {
            from: from.to_owned(),
            kind,
            id: id.value.clone(),
            place: self.source.place(id.span.start),
        });
        id.value
    }

    /// The rows of a reciprocity table as the text of a law, so that the record
    /// holds them itself.
    fn points_of_table(&mut self, file: &str, place: &Place) -> Option<String> {
        self.files.resolve(file, place, self.problems)?;
        let text = match self.files.text(file) {
            Ok(text) => text,
            Err(error) => {
                self.problems.add_all(error);
                return None;
            }
        };
        let rows = reciprocity_table(file, &text, Unknown::Refused, self.problems, self.warnings);
        let points: Vec<String> = rows
            .iter()
            .map(|row| format!("{}/{}", row.metered.to_s(), row.corrected.to_s()))
            .collect();
        Some(format!("points:{}", points.join(",")))
    }

    fn film(&mut self, table: FilmTable) -> Film {
        let reciprocity = table.reciprocity.map(|law| {
            let text = match law.law.0.value.strip_prefix("table:") {
                Some(file) => {
                    let place = self.source.place(law.law.0.span.start);
                    self.points_of_table(file.trim(), &place)
                        .unwrap_or_default()
                }
                None => law.law.0.value.clone(),
            };
            ReciprocityRecord {
                law: text,
                source: law.source.0,
                uncertainty_stops_per_decade: law.uncertainty_stops_per_decade.map(|sd| sd.0),
                extrapolate: law.extrapolate.is_some_and(|at| at.value),
            }
        });
        Film {
            id: self.name("film", table.id.0),
            name: table.name.0,
            format: table.format,
            box_speed: table.box_speed,
            batch: table.batch,
            expiry: table.expiry,
            reciprocity,
        }
    }

    fn filter(&mut self, table: FilterTable) -> Filter {
        Filter {
            id: self.name("filter", table.id.0),
            name: table.name.0,
            marking: table.marking,
            edge: table.edge.map(|edge| Edge {
                wavelength: edge.wavelength_nm.0,
                level: edge.level.0,
            }),
            stated_factor: table.stated_factor.map(|stated| StatedFactor {
                factor: stated.factor.0,
                basis: stated.basis.0,
            }),
        }
    }

    fn lens(&mut self, table: LensTable) -> Lens {
        Lens {
            id: self.name("lens", table.id.0),
            name: table.name.0,
            focal_length: table.focal_length_mm,
            pupil_ratio: table.pupil_ratio,
            shutter: Shutter {
                marked_uncertainty: table.marked_uncertainty_stops.map(|spread| spread.0),
                measured: table
                    .measured_times
                    .into_iter()
                    .map(|time| MeasuredTime {
                        marked: time.time_marked_s.0,
                        actual: time.time_actual_s.0,
                        spread: time.spread_stops.0.0,
                    })
                    .collect(),
            },
        }
    }

    fn light(&mut self, table: LightTable) -> Light {
        let readings = (
            &table.ev100,
            &table.illuminance_lux,
            &table.luminance_cd_per_m2,
        );
        let reading = self.reading("[[light]]", readings);
        Light {
            id: self.name("light", table.id.0),
            sky: table.sky.0,
            place: table.place,
            time: table.time_rfc3339.map(|time| time.0),
            meter: table.meter.map(|meter| Meter {
                name: meter.name,
                mode: meter.mode.0,
                cell: meter.cell.unwrap_or(MeterCell::NotStated),
                target: meter.target,
                placement: meter.placement_stops.unwrap_or(Stops::ZERO),
                through_filter: meter.through_filter.unwrap_or(false),
            }),
            reading,
            drift: table.drift_stops.map(|spread| spread.0),
            remarks: table.remarks,
        }
    }

    /// Takes the one reading there may be.
    fn reading(
        &mut self,
        title: &str,
        (ev, lux, luminance): ReadingKeys<'_>,
    ) -> Option<LightReading> {
        let ev = ev
            .as_ref()
            .map(|at| (&at.span, "ev100", LightReading::Ev100(at.value)));
        let lux = lux.as_ref().map(|at| {
            (
                &at.span,
                "illuminance_lux",
                LightReading::Illuminance(at.value),
            )
        });
        let luminance = luminance.as_ref().map(|at| {
            (
                &at.span,
                "luminance_cd_per_m2",
                LightReading::Luminance(at.value),
            )
        });
        let given: Vec<_> = [ev, lux, luminance].into_iter().flatten().collect();
        if let [(_, first, _), (span, second, _), ..] = given.as_slice() {
            self.problem(
                span,
                format!("{title} has both `{first}` and `{second}`"),
                "at most one of ev100, illuminance_lux, luminance_cd_per_m2",
                "keep what the meter showed and remove the other",
            );
        }
        given.first().map(|(_, _, reading)| *reading)
    }

    fn process(&mut self, table: ProcessTable) -> Process {
        Process {
            id: self.name("process", table.id.0),
            developer: table.developer.0,
            dilution: table.dilution,
            time: table.time_s,
            temperature: table.temperature_c,
            agitation: table.agitation,
            remarks: table.remarks,
        }
    }

    fn tablet(&mut self, table: TabletTable) -> Option<Tablet> {
        let span = table.span.0.clone();
        let id = self.name("tablet", table.id.0);
        let certified = table.certified.as_ref().is_some_and(|at| at.value);
        let given = usize::from(table.nominal.is_some())
            + usize::from(table.steps_density.is_some())
            + usize::from(table.steps_file.is_some());
        if given != 1 {
            self.problem(
                &span,
                format!("tablet {id} gives its densities in {given} ways"),
                "exactly one of nominal, steps_density, steps_file",
                "add the densities, or keep one of the keys",
            );
            return None;
        }
        if let Some(sd) = &table.steps_density_sd
            && table.steps_density.is_none()
        {
            self.problem(
                &sd.span,
                format!("tablet {id} has `steps_density_sd` without `steps_density`"),
                "uncertainties of the densities listed beside them",
                "list the densities, or put the uncertainties into the file",
            );
            return None;
        }
        let (steps, file): (Vec<Step>, _) = if let Some(nominal) = table.nominal {
            if certified {
                let at = table.certified.as_ref().map_or(span, |at| at.span.clone());
                self.problem(
                    &at,
                    format!("tablet {id} is nominal and certified at once"),
                    "certified = true only with densities measured for this very tablet",
                    "list the certified densities, or set certified = false",
                );
                return None;
            }
            if table.density_sd.is_none() {
                return Some(Tablet {
                    id,
                    serial: table.serial,
                    certified,
                    steps: nominal_steps(nominal.value),
                });
            }
            let plain = |step: &Measured<Density>| Step {
                density: step.value(),
                sd: None,
            };
            (
                nominal_steps(nominal.value).iter().map(plain).collect(),
                None,
            )
        } else if let Some(densities) = table.steps_density {
            let sds = table.steps_density_sd.as_ref();
            if let Some(sds) = sds
                && sds.value.len() != densities.value.len()
            {
                self.problem(
                    &sds.span,
                    format!(
                        "tablet {id} lists {} densities and {} uncertainties",
                        densities.value.len(),
                        sds.value.len()
                    ),
                    "one uncertainty for each density",
                    "complete the shorter list, or state one density_sd for all",
                );
                return None;
            }
            if densities.value.len() < 2 {
                self.problem(
                    &densities.span,
                    format!("tablet {id} has {} steps", densities.value.len()),
                    "at least two steps",
                    "list every step of the tablet",
                );
                return None;
            }
            let steps = densities
                .value
                .iter()
                .enumerate()
                .map(|(index, density)| Step {
                    density: *density,
                    sd: sds.and_then(|sds| sds.value.get(index)).map(|sd| sd.0),
                })
                .collect();
            (steps, None)
        } else if let Some(file) = table.steps_file {
            let place = self.source.place(file.span.start);
            self.files.resolve(&file.value, &place, self.problems)?;
            let text = match self.files.text(&file.value) {
                Ok(text) => text,
                Err(error) => {
                    self.problems.add_all(error);
                    return None;
                }
            };
            let steps = crate::columns::tablet(
                &file.value,
                &text,
                Unknown::Refused,
                self.problems,
                self.warnings,
            );
            (steps, Some(file.value))
        } else {
            unreachable!("one of the three ways was counted above");
        };
        let unstated = steps.iter().filter(|step| step.sd.is_none()).count();
        if unstated > 0 && table.density_sd.is_none() {
            self.warnings.push(format!(
                "{}: {unstated} steps of tablet {id} state no density_sd; {DENSITY_SD_UNSTATED} was taken for each",
                file.as_deref().unwrap_or(&self.source.file)
            ));
        }
        let common = table.density_sd.map_or(DENSITY_SD_UNSTATED, |sd| sd.0);
        Some(Tablet {
            id,
            serial: table.serial,
            certified,
            steps: steps
                .into_iter()
                .map(|step| Measured::new(step.density, step.sd.unwrap_or(common)))
                .collect(),
        })
    }

    /// Checks a path that must lead to a file of the folder.
    fn file(&mut self, path: At<String>) -> Option<String> {
        let place = self.source.place(path.span.start);
        self.files.resolve(&path.value, &place, self.problems)?;
        Some(path.value)
    }

    fn scan(&mut self, table: ScanTable, tablets: &[Tablet]) -> Option<Scan> {
        let id = self.name("scan", table.id.0);
        let from = format!("scan {id}");
        let file = self.file(table.file.0);
        let region_map = match table.region_map {
            Some(path) => Some(self.file(path)?),
            None => None,
        };
        let flat_field = match table.flat_field {
            Some(path) => Some(self.file(path)?),
            None => None,
        };
        let dark_frame = match (table.dark_frame, &flat_field) {
            (Some(path), Some(_)) => Some(self.file(path)?),
            (Some(path), None) => {
                self.problem(
                    &path.span,
                    format!("{from} has a dark frame, but no flat field"),
                    "`flat_field = …`, a picture of the bare light table",
                    "add the flat field, or remove dark_frame",
                );
                None
            }
            (None, _) => None,
        };
        if let Some(sha256) = &table.sha256 {
            let digits = sha256.value.bytes().all(|byte| byte.is_ascii_hexdigit());
            if sha256.value.len() != 64 || !digits {
                self.problem(
                    &sha256.span,
                    format!("`sha256` of scan {id} is \"{}\"", short(&sha256.value)),
                    "64 hex digits, as sha256sum prints them",
                    "copy the whole checksum, or leave the key out",
                );
            }
        }
        let tone = match (table.tone, table.tone_gamma) {
            (Some(tone), Some(gamma)) if tone.value == ToneWord::Gamma => {
                Tone::Gamma(gamma.value.0)
            }
            (Some(tone), None) if tone.value == ToneWord::Gamma => {
                self.problem(
                    &tone.span,
                    format!("scan {id} has the tone \"gamma\" without its number"),
                    "`tone_gamma = …`, a number greater than 0 such as 2.2",
                    "add the key",
                );
                return None;
            }
            (_, Some(gamma)) => {
                self.problem(
                    &gamma.span,
                    format!("scan {id} has `tone_gamma` and another tone"),
                    "tone_gamma only with tone = \"gamma\"",
                    "set tone = \"gamma\", or remove the number",
                );
                return None;
            }
            (None, None) => Tone::AsDeclared,
            (Some(tone), None) => match tone.value {
                ToneWord::Linear => Tone::Linear,
                ToneWord::Srgb => Tone::Srgb,
                ToneWord::Unknown => Tone::Unknown,
                ToneWord::AsDeclared | ToneWord::Gamma => Tone::AsDeclared,
            },
        };
        let calibrator = match (table.strip, table.calibrated_by) {
            (Some(_), Some(other)) => {
                self.problem(
                    &other.span,
                    format!(
                        "scan {id} has a strip and is calibrated by scan {}",
                        other.value
                    ),
                    "one of the two",
                    "remove calibrated_by: the tablet in the same scan is the better one",
                );
                return None;
            }
            (Some(strip), None) => {
                Calibrator::Within(self.strip(&id, strip.value, tablets, region_map.is_some())?)
            }
            (None, Some(other)) => Calibrator::OtherScan(self.refer(&from, "scan", other)),
            (None, None) => Calibrator::None,
        };
        let frame = table.frame.map(|frame| self.refer(&from, "frame", frame));
        let repeat_of = table
            .repeat_of
            .map(|other| self.refer(&from, "scan", other));
        Some(Scan {
            id,
            file: file?,
            page: table.page.unwrap_or(0),
            sha256: table.sha256.map(|at| at.value.to_lowercase()),
            device: table.device,
            settings: table.settings,
            tone,
            channel: table.channel.unwrap_or(Channel::Suitable),
            calibrator,
            frame,
            repeat_of,
            response: table.response.unwrap_or(Response::Density),
            region_map,
            flat_field,
            dark_frame,
        })
    }

    fn strip(
        &mut self,
        scan: &Id,
        table: StripTable,
        tablets: &[Tablet],
        has_region_map: bool,
    ) -> Option<TabletStrip> {
        let span = table.span.0.clone();
        let tablet = self.refer(&format!("scan {scan}"), "tablet", table.tablet.0);
        let count = tablets
            .iter()
            .find(|t| t.id == tablet)
            .map(|t| t.steps.len());
        let steps = match (table.cells, table.steps) {
            (Some(cells), None) => {
                let steps = self.cells(scan, cells, count)?;
                self.unreadable(scan, steps, &table.unreadable_steps)?
            }
            (None, Some(steps)) => {
                if let Some(first) = table.unreadable_steps.first() {
                    self.problem(
                        &first.span,
                        format!("the strip of scan {scan} has `unreadable_steps` and `steps`"),
                        "unreadable_steps only with cells",
                        "write { unreadable = true } in place of the step's outline",
                    );
                    return None;
                }
                let mut outlines = Vec::new();
                for (index, step) in steps.value.into_iter().enumerate() {
                    outlines.push(self.step(scan, index + 1, step, has_region_map)?);
                }
                outlines
            }
            // Its place is not recorded: it is looked for in the scan.
            (None, None) if table.unreadable_steps.is_empty() => Vec::new(),
            (None, None) => {
                self.problem(
                    &span,
                    format!("the strip of scan {scan} has `unreadable_steps` without `cells`"),
                    "unreadable_steps only with cells",
                    "say where the tablet lies with cells, or leave unreadable_steps out",
                );
                return None;
            }
            (Some(_), Some(_)) => {
                self.problem(
                    &span,
                    format!("the strip of scan {scan} has both `cells` and `steps`"),
                    "cells = { x_px = …, y_px = …, width_px = …, height_px = …, direction = … }, \
                     or a list of outlines in steps",
                    "outline the tablet in one of the two ways, or in neither to have it looked for",
                );
                return None;
            }
        };
        Some(TabletStrip { tablet, steps })
    }

    /// Splits a rectangle evenly; the borders fall on the nearest pixel.
    fn cells(
        &mut self,
        scan: &Id,
        cells: At<CellsTable>,
        steps: Option<usize>,
    ) -> Option<Vec<Option<Outline>>> {
        let At { value: table, span } = cells;
        let count = match (table.count, steps) {
            (Some(count), _) => u64::from(count),
            (None, Some(steps)) => steps as u64,
            // The tablet is not recorded; the reference says so.
            (None, None) => return Some(Vec::new()),
        };
        let (x, y) = (table.x_px.0, table.y_px.0);
        let (width, height) = (table.width_px.0, table.height_px.0);
        let inset = table.inset_px.unwrap_or(0);
        let across = matches!(table.direction.0, Direction::Right | Direction::Left);
        let (along, beside) = if across {
            (width, height)
        } else {
            (height, width)
        };
        let margin = 2 * u64::from(inset);
        let narrowest = u64::from(along).checked_div(count).unwrap_or(0);
        let fits = (2..=STEPS_MOST).contains(&count)
            && narrowest > margin
            && u64::from(beside) > margin
            && x.checked_add(width).is_some()
            && y.checked_add(height).is_some();
        if !fits {
            self.problem(
                &span,
                format!(
                    "{count} cells in {along} pixels, with an inset of {inset} at each side, in scan {scan}"
                ),
                format!(
                    "2 to {STEPS_MOST} cells, each at least one pixel wide and high without its inset"
                ),
                "correct the rectangle, the count or the inset",
            );
            return None;
        }
        // Border k of n: k × along / n to the nearest whole pixel.
        let border = |k: u64| ((2 * k * u64::from(along) + count) / (2 * count)) as u32;
        let outline = |index: u64| {
            let position = match table.direction.0 {
                Direction::Right | Direction::Down => index,
                Direction::Left | Direction::Up => count - 1 - index,
            };
            let (from, to) = (border(position), border(position + 1));
            let (length, thickness) = (to - from - 2 * inset, beside - 2 * inset);
            Some(if across {
                Outline::Rectangle {
                    x: x + from + inset,
                    y: y + inset,
                    width: length,
                    height: thickness,
                }
            } else {
                Outline::Rectangle {
                    x: x + inset,
                    y: y + from + inset,
                    width: thickness,
                    height: length,
                }
            })
        };
        Some((0..count).map(outline).collect())
    }

    fn unreadable(
        &mut self,
        scan: &Id,
        mut steps: Vec<Option<Outline>>,
        unreadable: &[At<u32>],
    ) -> Option<Vec<Option<Outline>>> {
        for step in unreadable {
            let index = (step.value as usize).wrapping_sub(1);
            let count = steps.len();
            match steps.get_mut(index) {
                Some(outline) => *outline = None,
                // No steps at all: the tablet is not recorded, and that is said.
                None if count == 0 => {}
                None => {
                    self.problem(
                        &step.span,
                        format!("unreadable step {} in scan {scan}", step.value),
                        format!("a step between 1 and {count}"),
                        "correct the number",
                    );
                    return None;
                }
            }
        }
        Some(steps)
    }

    /// Takes one outline of a tablet's step; the inner `None` can't be read.
    fn step(
        &mut self,
        scan: &Id,
        number: usize,
        table: OutlineTable,
        has_region_map: bool,
    ) -> Option<Option<Outline>> {
        let span = table.span.0.clone();
        let rectangle = [table.x_px, table.y_px, table.width_px, table.height_px];
        let unreadable = table.unreadable.unwrap_or(false);
        let kinds = usize::from(rectangle.iter().any(Option::is_some))
            + usize::from(table.region.is_some())
            + usize::from(table.polygon_px.is_some())
            + usize::from(unreadable);
        if kinds == 1 {
            if unreadable {
                return Some(None);
            }
            if let Some(label) = table.region {
                if has_region_map {
                    return Some(Some(Outline::Region(label)));
                }
                self.problem(
                    &span,
                    format!("step {number} is region {label}, but scan {scan} has no region map"),
                    "`region_map = …` in the scan, an image whose pixel values are labels",
                    "add the region map, or outline the step otherwise",
                );
                return None;
            }
            if let Some(corners) = table.polygon_px {
                return Some(Some(Outline::Polygon(corners.0)));
            }
            if let [Some(x), Some(y), Some(width), Some(height)] = rectangle
                && width > 0
                && height > 0
                && x.checked_add(width).is_some()
                && y.checked_add(height).is_some()
            {
                return Some(Some(Outline::Rectangle {
                    x,
                    y,
                    width,
                    height,
                }));
            }
        }
        self.problem(
            &span,
            format!(
                "the outline of step {number} in scan {scan} is {}",
                self.source.quoted(&span)
            ),
            "x_px, y_px, width_px and height_px (at least 1), or polygon_px, or region, or unreadable = true",
            "complete the outline, and keep one kind of it",
        );
        None
    }

    fn frame(&mut self, table: FrameTable) -> Option<Frame> {
        let exposure = self.exposure(&table);
        let id = self.name("frame", table.id.0);
        let from = format!("frame {id}");
        let film = self.refer(&from, "film", table.film.0);
        let process = self.refer(&from, "process", table.process.0);
        let filters = table
            .filters
            .into_iter()
            .map(|filter| self.refer(&from, "filter", filter))
            .collect();
        let mut refer = |kind, id: Option<At<Id>>| {
            if let Some(id) = id {
                self.refer(&from, kind, id);
            }
        };
        refer("light", table.light);
        refer("lens", table.lens);
        refer("tablet", table.tablet);
        Some(Frame {
            id,
            film,
            filters,
            process,
            holder: table.holder.map(|at| at.value),
            load: table.load.map(|load| load.0),
            exposed_at: table.exposed_at_rfc3339.map(|time| time.0),
            role: table.role.0.value,
            exposure: exposure?,
            remarks: table.remarks,
        })
    }

    /// Makes out how the frame got its light from the keys that are there.
    fn exposure(&mut self, table: &FrameTable) -> Option<Exposure> {
        let id = &table.id.0.value;
        let span = &table.span.0;
        let first = |keys: &[(&'static str, Option<&Span>)]| {
            keys.iter()
                .find_map(|(key, span)| span.map(|span| (*key, span.clone())))
        };
        fn span_of<T>(at: &Option<At<T>>) -> Option<&Span> {
            at.as_ref().map(|at| &at.span)
        }
        let camera = first(&[
            ("light", span_of(&table.light)),
            ("aperture_f", span_of(&table.aperture_f)),
            ("time_marked_s", span_of(&table.time_marked_s)),
            ("lens", span_of(&table.lens)),
            ("ev100", span_of(&table.ev100)),
            ("illuminance_lux", span_of(&table.illuminance_lux)),
            ("luminance_cd_per_m2", span_of(&table.luminance_cd_per_m2)),
            ("ei", span_of(&table.ei)),
            ("time_actual_s", span_of(&table.time_actual_s)),
            (
                "time_actual_uncertainty_stops",
                span_of(&table.time_actual_uncertainty_stops),
            ),
            ("magnification", span_of(&table.magnification)),
            ("bellows_draw_mm", span_of(&table.bellows_draw_mm)),
        ]);
        let relative = first(&[
            ("log_h_relative", span_of(&table.log_h_relative)),
            ("log_h_relative_sd", span_of(&table.log_h_relative_sd)),
        ]);
        let tablet = first(&[
            ("tablet", span_of(&table.tablet)),
            ("log_h_without_tablet", span_of(&table.log_h_without_tablet)),
            (
                "log_h_without_tablet_sd",
                span_of(&table.log_h_without_tablet_sd),
            ),
        ]);
        let kinds: Vec<_> = [&camera, &relative, &tablet]
            .into_iter()
            .flatten()
            .collect();
        if let [(one, _), (other, at), ..] = kinds.as_slice() {
            self.problem(
                at,
                format!("frame {id} has both `{one}` and `{other}`"),
                "one way of exposure: in a camera (light, aperture_f, time_marked_s), \
                 relative (log_h_relative), or through a tablet (tablet)",
                "remove the keys of the other way",
            );
            return None;
        }
        if camera.is_some() {
            return self.camera(table).map(Exposure::Camera);
        }
        if let Some((_, at)) = relative {
            let (Some(log_h), Some(sd)) = (&table.log_h_relative, &table.log_h_relative_sd) else {
                self.problem(
                    &at,
                    format!("frame {id} has one of `log_h_relative` and `log_h_relative_sd`"),
                    "both: the log exposure and its uncertainty",
                    "add the other key",
                );
                return None;
            };
            return log_exposure(log_h.value.0, sd.value.0).map(Exposure::Relative);
        }
        if let Some((_, at)) = tablet {
            let Some(tablet) = &table.tablet else {
                self.problem(
                    &at,
                    format!("frame {id} has a log exposure without its `tablet`"),
                    "`tablet = …`, the tablet it was exposed through",
                    "add the key",
                );
                return None;
            };
            let without_tablet = match (&table.log_h_without_tablet, &table.log_h_without_tablet_sd)
            {
                (None, None) => None,
                (Some(log_h), Some(sd)) => Some(log_exposure(log_h.value.0, sd.value.0)?),
                _ => {
                    self.problem(
                        span,
                        format!(
                            "frame {id} has one of `log_h_without_tablet` and `log_h_without_tablet_sd`"
                        ),
                        "both or none: the log exposure and its uncertainty",
                        "add the other key",
                    );
                    return None;
                }
            };
            return Some(Exposure::Tablet {
                tablet: tablet.value.clone(),
                without_tablet,
            });
        }
        if table.role.0.value != FrameRole::Unexposed {
            self.problem(
                span,
                format!("frame {id} has no exposure"),
                "light, aperture_f and time_marked_s for a camera, log_h_relative, or tablet",
                "add the exposure, or set role = \"unexposed\"",
            );
            return None;
        }
        Some(Exposure::None)
    }

    fn camera(&mut self, table: &FrameTable) -> Option<CameraExposure> {
        let id = &table.id.0.value;
        let span = &table.span.0;
        let mut missing = |key: &str| {
            self.problem(
                span,
                format!("frame {id} is exposed in a camera and has no key `{key}`"),
                "light, aperture_f and time_marked_s",
                "add the key",
            );
        };
        if table.light.is_none() {
            missing("light");
        }
        if table.aperture_f.is_none() {
            missing("aperture_f");
        }
        if table.time_marked_s.is_none() {
            missing("time_marked_s");
        }
        if let (Some(sd), None) = (&table.time_actual_uncertainty_stops, &table.time_actual_s) {
            self.problem(
                &sd.span,
                format!("frame {id} has the uncertainty of an actual time that is not given"),
                "`time_actual_s = …` with it",
                "add the actual time, or remove its uncertainty",
            );
        }
        let bellows = match (&table.magnification, &table.bellows_draw_mm) {
            (Some(_), Some(draw)) => {
                self.problem(
                    &draw.span,
                    format!("frame {id} has both `magnification` and `bellows_draw_mm`"),
                    "one of the two",
                    "keep the one that was measured",
                );
                None
            }
            (Some(magnification), None) => Some(Bellows::Magnification(magnification.value)),
            (None, Some(draw)) => Some(Bellows::Draw(draw.value)),
            (None, None) => None,
        };
        let readings = (
            &table.ev100,
            &table.illuminance_lux,
            &table.luminance_cd_per_m2,
        );
        let reading = self.reading("[[frame]]", readings);
        Some(CameraExposure {
            lens: table.lens.as_ref().map(|at| at.value.clone()),
            light: table.light.as_ref()?.value.clone(),
            reading,
            ei: table.ei.as_ref().map(|at| at.value),
            aperture: table.aperture_f.as_ref()?.value,
            time: Time {
                marked: table.time_marked_s.as_ref()?.value,
                actual: table.time_actual_s.as_ref().map(|at| at.value),
                actual_uncertainty_stops: table
                    .time_actual_uncertainty_stops
                    .as_ref()
                    .map(|at| at.value.0),
            },
            bellows,
        })
    }

    fn outside_report(&mut self, table: OutsideReportTable) -> OutsideReport {
        OutsideReport {
            id: self.name("outside report", table.id.0),
            film: table.film.0,
            filter: table.filter.0,
            ei: table.ei,
            light: table.light,
            seen: table.seen.0,
            source: table.source,
        }
    }
}

fn log_exposure(log_h: f64, sd: f64) -> Option<Measured<LogExposure>> {
    // `Finite` was checked when it was read, so this is never `None`.
    LogExposure::from_log10(log_h)
        .ok()
        .map(|log_h| Measured::new(log_h, sd))
}
