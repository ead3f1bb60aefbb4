//! A step tablet looked for in a scan, and the picture that shows what was found.
//!
//! What is found is an answer, not a record: it is to be looked at, and outlines
//! that are recorded always go before it.

use crate::error::with_causes;
use crate::measuring::{recorded_tone, tone_of_record};
use crate::progress::go_on;
use crate::scan_channel::{channel_of_record, channel_of_text};
use crate::scan_reader::{decode_remedy, named_scan, remedy_of, scan_file, scan_reader};
use crate::single_scan::tone_of_text;
use crate::{AppError, Progress};
use base64::Engine;
use figures::{OutlinedStep, Sheet, TabletPicture, tablet_picture, tablet_picture_alone};
use negative::decode::{ChannelChoice, ScanReader};
use negative::outline::{Outline, StepDirection};
use negative::preview::{Preview, png_of_grey};
use negative::survey::survey;
use negative::tablet_place::{TabletPlace, TabletPlaceError, find_tablet};
use negative::tone::{Tone, srgb_share};
use notebook::{TestFolder, read_test_folder};
use record::{Calibrator, Id, Scan, Tablet, TabletStrip, Test};
use serde_json::{Value, json};
use std::fs::File;
use std::io::{BufReader, Read, Seek};
use std::path::Path;

/// Which tablet is looked for, and where.
#[derive(Clone, Copy, Debug)]
pub struct TabletSearch<'a> {
    /// The scan.
    pub scan: &'a Path,
    /// Which image of the file, counted from 0.
    pub page: u32,
    /// Density of each step, in the tablet's order.
    pub densities: &'a [f64],
    /// How code values follow light, when known: as in [`crate::MeasureRequest`].
    pub tone: Option<&'a str>,
    /// Which samples: as in [`crate::MeasureRequest`].
    pub channel: Option<&'a str>,
}

/// One step of a tablet that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundStep {
    /// Number in the tablet's table, counted from 1.
    pub number: u32,
    /// Corners of what is measured: the inner part of the step. \[px of the scan\]
    pub inner_px: Vec<(f64, f64)>,
    /// Corners of the whole step. \[px of the scan\]
    pub whole_px: [(f64, f64); 4],
    /// Its edges drown in the dark: it is placed by the pitch of the others, and
    /// calibrates nothing.
    pub by_pitch: bool,
}

/// A tablet that was found in a scan.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundTablet {
    /// Width and height of the scan. \[px\]
    pub scan_px: (u32, u32),
    /// The steps, in the tablet's order.
    pub steps: Vec<FoundStep>,
    /// Where step 2 lies, seen from step 1: right, left, down, up.
    pub direction: &'static str,
    /// How far it is turned from that direction, clockwise. \[degrees\]
    pub tilt_deg: f64,
    /// From step to step. \[px\]
    pub pitch_px: f64,
    /// Standard uncertainty of the edges between steps. \[px\]
    pub edge_sd_px: f64,
    /// Standard uncertainty of the long sides. \[px\]
    pub side_sd_px: f64,
    /// Spread of the light steps about the table, where the tone is known. \[density\]
    pub table_misfit: Option<f64>,
    /// How far all that was judged stays from what is refused: 1 far, 0 at the limit.
    pub quality: f64,
    /// The scan with the steps outlined and numbered, as SVG.
    pub picture: String,
    /// The part of the scan about the tablet.
    pub cut_out: CutOut,
}

/// The part of a scan about a tablet, reduced as the search saw it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CutOut {
    /// Its pixels, as PNG.
    pub png: Vec<u8>,
    size: (u32, u32),
    steps: Vec<OutlinedStep>,
}

impl FoundTablet {
    /// Says what was found and how to correct it.
    #[must_use]
    pub fn words(&self) -> String {
        let by_pitch = self.steps.iter().filter(|s| s.by_pitch).count();
        let dark = match by_pitch {
            0 => String::new(),
            1 => "; 1 step drowns in the dark and is placed by the pitch".to_owned(),
            n => format!("; {n} steps drown in the dark and are placed by the pitch"),
        };
        // A tilt that rounds to nothing has no sign.
        let tilt = (self.tilt_deg * 10.0).round() / 10.0 + 0.0;
        format!(
            "tablet found: {} steps running {}, tilt {tilt:.1}°, {:.1} px from step to step, standard uncertainty of its edges {:.2} px, quality {:.2}{dark}",
            self.steps.len(),
            self.direction,
            self.pitch_px,
            self.edge_sd_px,
            self.quality
        )
    }

    /// The part of the scan about the tablet with the steps outlined and numbered, as
    /// SVG within a page; its pixels, the `png` of `cut_out`, are loaded from `href`.
    #[must_use]
    pub fn cut_out_picture(&self, href: &str) -> String {
        tablet_picture_alone(
            &TabletPicture {
                title: &title(self.steps.len()),
                description: &self.words(),
                href,
                size: self.cut_out.size,
                steps: &self.cut_out.steps,
            },
            Sheet {
                width_px: 1100.0,
                ..Sheet::PAGE
            },
        )
    }

    /// The same with stable keys, without the picture.
    #[must_use]
    pub fn to_json(&self) -> Value {
        let corner = |(x, y): &(f64, f64)| json!([rounded(*x), rounded(*y)]);
        json!({
            "direction": self.direction,
            "tilt_deg": self.tilt_deg,
            "pitch_px": self.pitch_px,
            "edge_sd_px": self.edge_sd_px,
            "side_sd_px": self.side_sd_px,
            "table_misfit_density": self.table_misfit,
            "quality": self.quality,
            "steps": self.steps.iter().map(|s| json!({
                "step": s.number,
                "outline_px": s.inner_px.iter().map(corner).collect::<Vec<_>>(),
                "whole_px": s.whole_px.iter().map(corner).collect::<Vec<_>>(),
                "placed_by_pitch": s.by_pitch,
            })).collect::<Vec<_>>(),
        })
    }
}

/// Hundredths of a pixel, as outlines are written.
fn rounded(pixels: f64) -> f64 {
    (pixels * 100.0).round() / 100.0
}

/// Looks for a tablet in a scan that belongs to no test.
///
/// # Errors
/// [`AppError`] when the scan can't be read, or no tablet stands; the problem
/// says why.
pub fn find_tablet_in_scan(
    request: &TabletSearch<'_>,
    progress: &dyn Progress,
) -> Result<FoundTablet, AppError> {
    let shown = request.scan.display().to_string();
    let mut reader = opened(request.scan, request.page, &shown)?;
    let channel = channel_of_text(request.channel, &reader)?;
    let tone = recorded_tone(tone_of_text(request.tone)?, reader.info(), channel)
        .map_err(|e| AppError::new(e, "give a gamma between 0.1 and 10"))?;
    tablet_in(
        &mut reader,
        channel,
        &tone,
        request.densities,
        &shown,
        progress,
    )
}

/// Looks for a recorded tablet in a recorded scan of a test folder; what the
/// record says of its place is not looked at.
///
/// # Errors
/// [`AppError`] when folder or scan are at fault, the test has no such scan or
/// tablet, or no tablet stands.
pub fn find_tablet_in_test(
    dir: &Path,
    scan: &str,
    tablet: &str,
    progress: &dyn Progress,
) -> Result<FoundTablet, AppError> {
    let folder = read_test_folder(dir)?;
    let parts = folder.test.parts();
    let record = named_scan(&folder, scan)?;
    let Some(tablet) = parts.tablets.iter().find(|t| t.id.as_str() == tablet) else {
        let known: Vec<&str> = parts.tablets.iter().map(|t| t.id.as_str()).collect();
        return Err(AppError::new(
            format!("the test has no tablet {tablet:?}"),
            format!("its tablets are {}", known.join(", ")),
        ));
    };
    tablet_in_record(&folder, record, &tablet.id, progress)
}

/// Looks for a tablet in a scan of a folder.
pub(crate) fn tablet_in_record(
    folder: &TestFolder,
    record: &Scan,
    tablet: &Id,
    progress: &dyn Progress,
) -> Result<FoundTablet, AppError> {
    let Some(tablet) = folder.test.tablet(tablet) else {
        return Err(AppError::new(
            format!("the test has no tablet {tablet}"),
            "record the tablet's densities",
        ));
    };
    steps_in_record(folder, record, &densities_of(tablet), progress)
}

/// Density of each step of a recorded tablet, in its order.
pub(crate) fn densities_of(tablet: &Tablet) -> Vec<f64> {
    tablet
        .steps
        .iter()
        .map(|d| d.value().to_density())
        .collect()
}

/// Looks for steps of these densities in a scan of a folder.
pub(crate) fn steps_in_record(
    folder: &TestFolder,
    record: &Scan,
    densities: &[f64],
    progress: &dyn Progress,
) -> Result<FoundTablet, AppError> {
    let shown = format!("scan {} ({})", record.id, record.file);
    let mut reader = opened(&folder.scan_path(&record.file)?, record.page, &shown)?;
    let channel = channel_of_record(record, &reader)?;
    let tone = tone_of_record(record, reader.info(), channel)?;
    tablet_in(&mut reader, channel, &tone, densities, &shown, progress)
}

/// A tablet that was looked for since the record says nothing of its place.
#[derive(Clone, Debug)]
pub(crate) struct TabletInScan {
    pub(crate) scan: Id,
    pub(crate) file: String,
    pub(crate) found: FoundTablet,
}

impl TabletInScan {
    /// Name of its picture among the figures.
    pub(crate) fn picture_name(&self) -> String {
        format!("tablet-{}.svg", self.scan)
    }

    pub(crate) fn words(&self) -> String {
        format!("scan {} ({}): {}", self.scan, self.file, self.found.words())
    }

    pub(crate) fn to_json(&self) -> Value {
        let mut json = self.found.to_json();
        if let Value::Object(object) = &mut json {
            object.shift_insert(0, "scan".to_owned(), Value::from(self.scan.as_str()));
        }
        json
    }
}

/// What came of the tablets whose place is not recorded.
#[derive(Clone, Debug, Default)]
pub(crate) struct TabletsInScans {
    pub(crate) found: Vec<TabletInScan>,
    /// Why others were not found; their strips stay without outlines.
    pub(crate) refused: Vec<AppError>,
}

/// Looks for each tablet whose place is not recorded, and gives the folder with
/// the outlines in their place; steps that are placed by the pitch calibrate nothing.
pub(crate) fn find_tablets(
    mut folder: TestFolder,
    progress: &dyn Progress,
) -> Result<(TestFolder, TabletsInScans), AppError> {
    let mut parts = folder.test.parts().clone();
    let mut answer = TabletsInScans::default();
    for scan in &mut parts.scans {
        let (id, file) = (scan.id.clone(), scan.file.clone());
        let tablet = match &scan.calibrator {
            Calibrator::Within(strip) if strip.steps.is_empty() => strip.tablet.clone(),
            _ => continue,
        };
        go_on(progress)?;
        let place = match tablet_in_record(&folder, scan, &tablet, progress) {
            Ok(place) => place,
            Err(error) => {
                answer.refused.push(error);
                continue;
            }
        };
        scan.calibrator = Calibrator::Within(TabletStrip {
            tablet,
            steps: place
                .steps
                .iter()
                .map(|s| (!s.by_pitch).then(|| record::Outline::Polygon(s.inner_px.clone())))
                .collect(),
        });
        answer.found.push(TabletInScan {
            scan: id,
            file,
            found: place,
        });
    }
    if !answer.found.is_empty() {
        folder.test = Test::assemble(parts).map_err(|e| {
            AppError::new(
                format!("the tablet that was found can't be recorded: {e}"),
                "outline the tablet's steps by hand",
            )
        })?;
    }
    Ok((folder, answer))
}

fn opened(path: &Path, page: u32, shown: &str) -> Result<ScanReader<BufReader<File>>, AppError> {
    let file = scan_file(path)?;
    scan_reader(file, page)
        .map_err(|e| AppError::new(format!("{shown}: {}", with_causes(&e)), remedy_of(&e)))
}

/// Looks for a tablet in a pass of its own over the rows.
pub(crate) fn tablet_in<R: Read + Seek>(
    reader: &mut ScanReader<R>,
    channel: ChannelChoice,
    tone: &Tone,
    densities: &[f64],
    shown: &str,
    progress: &dyn Progress,
) -> Result<FoundTablet, AppError> {
    go_on(progress)?;
    progress.at(&format!("looking for the tablet in {shown}"), 0, 1);
    let seen = survey(reader, channel, tone, &[], None, None)
        .map_err(|e| AppError::new(format!("{shown}: {}", with_causes(&e)), decode_remedy()))?;
    let place = find_tablet(&seen.preview, densities)
        .map_err(|e| AppError::new(format!("{shown}: {e}"), remedy(&e)))?;
    progress.at(&format!("looking for the tablet in {shown}"), 1, 1);
    let info = reader.info();
    found(&place, &seen.preview, (info.width, info.height), shown)
}

/// What to do when no tablet stands.
fn remedy(error: &TabletPlaceError) -> &'static str {
    match error {
        TabletPlaceError::TableOrder { .. } => "list the steps in the order they lie in",
        TabletPlaceError::StepCount { .. } => {
            "give the table of the tablet that lies there and scan the whole of it, or outline its steps by hand"
        }
        TabletPlaceError::CutOff { .. } => {
            "scan the whole tablet with a margin around it, or outline the steps that are there by hand"
        }
        TabletPlaceError::EndUnseen { .. } => {
            "scan it with a margin that is darker or lighter than its thinnest step and with nothing clipped, or outline its steps by hand"
        }
        TabletPlaceError::FarEndUnseen { .. } => {
            "scan it with bare light around it or with more range, or outline its steps by hand"
        }
        TabletPlaceError::NotByTable { .. } | TabletPlaceError::Uneven { .. } => {
            "check that the table is this tablet's and that nothing lies over it, or outline its steps by hand"
        }
        TabletPlaceError::TooFewSeen { .. } => {
            "scan with 16 bits, a linear tone and an exposure that the dense steps need, or outline its steps by hand"
        }
        TabletPlaceError::Ambiguous { .. } => {
            "say where the one that is meant lies, by outlining its steps by hand"
        }
        TabletPlaceError::TooShort { .. } | TabletPlaceError::NotFound => {
            "outline it by hand: on the light table, with --strip of `measure`, or with a strip's cells in test.toml"
        }
    }
}

fn direction_word(direction: StepDirection) -> &'static str {
    match direction {
        StepDirection::LeftToRight => "right",
        StepDirection::RightToLeft => "left",
        StepDirection::TopToBottom => "down",
        StepDirection::BottomToTop => "up",
    }
}

fn found(
    place: &TabletPlace,
    preview: &Preview,
    scan_px: (u32, u32),
    shown: &str,
) -> Result<FoundTablet, AppError> {
    let steps: Vec<FoundStep> = (1..)
        .zip(&place.steps)
        .map(|(number, step)| FoundStep {
            number,
            inner_px: match &step.outline {
                Outline::Polygon(corners) => corners.clone(),
                _ => step.whole.to_vec(),
            },
            whole_px: step.whole,
            by_pitch: !step.seen,
        })
        .collect();
    let mut found = FoundTablet {
        scan_px,
        steps,
        direction: direction_word(place.direction),
        tilt_deg: place.tilt_deg,
        pitch_px: place.pitch_px,
        edge_sd_px: place.edge_sd_px,
        side_sd_px: place.side_sd_px,
        table_misfit: place.table_misfit,
        quality: place.quality,
        picture: String::new(),
        cut_out: CutOut::default(),
    };
    let grey = greys(preview);
    found.picture = drawn(&found, preview, &grey, shown)?;
    found.cut_out = cut_out(&found, preview, &grey, shown)?;
    Ok(found)
}

fn title(steps: usize) -> String {
    format!("Look whether all {steps} steps of the tablet are in place")
}

/// The reduced scan as it looks, its brightest pixel white.
fn greys(preview: &Preview) -> Vec<u8> {
    let brightest = preview.signal.iter().fold(1e-6_f32, |a, b| a.max(*b));
    preview
        .signal
        .iter()
        .map(|signal| {
            let share = f64::from(signal / brightest).clamp(0.0, 1.0);
            let share = if preview.tone_known {
                srgb_share(share)
            } else {
                share
            };
            (255.0 * share).round() as u8
        })
        .collect()
}

/// The steps in pixels of the reduced scan.
fn outlined(found: &FoundTablet, preview: &Preview) -> Vec<OutlinedStep> {
    let side = f64::from(preview.box_side);
    let small = |(x, y): &(f64, f64)| {
        (
            (x - f64::from(preview.left)) / side,
            (y - f64::from(preview.top)) / side,
        )
    };
    found
        .steps
        .iter()
        .map(|step| OutlinedStep {
            number: step.number,
            whole: step.whole_px.map(|c| small(&c)),
            inner: step.inner_px.iter().map(small).collect(),
            by_pitch: step.by_pitch,
        })
        .collect()
}

/// The scan with the steps outlined and numbered.
fn drawn(
    found: &FoundTablet,
    preview: &Preview,
    grey: &[u8],
    shown: &str,
) -> Result<String, AppError> {
    let png = png_of_grey(preview.width, preview.height, grey)
        .map_err(|e| AppError::new(format!("{shown}: {e}"), "scan again"))?;
    let href = format!(
        "data:image/png;base64,{}",
        base64::engine::general_purpose::STANDARD.encode(png)
    );
    let steps = outlined(found, preview);
    let description = format!("{shown}: {}.", found.words());
    Ok(tablet_picture(
        &TabletPicture {
            title: &title(steps.len()),
            description: &description,
            href: &href,
            size: (preview.width, preview.height),
            steps: &steps,
        },
        Sheet::FILE,
    ))
}

/// The tablet with two steps' room all round, so that a step left out would be seen.
fn cut_out(
    found: &FoundTablet,
    preview: &Preview,
    grey: &[u8],
    shown: &str,
) -> Result<CutOut, AppError> {
    let mut steps = outlined(found, preview);
    let room = 2.0 * found.pitch_px / f64::from(preview.box_side);
    let corners = || steps.iter().flat_map(|s| s.whole);
    let reach = |of: fn(&(f64, f64)) -> f64, most: u32| {
        let low = corners().map(|c| of(&c)).fold(f64::INFINITY, f64::min) - room;
        let high = corners().map(|c| of(&c)).fold(f64::NEG_INFINITY, f64::max) + room;
        // Within the picture, so the casts are exact.
        let within = |v: f64| v.clamp(0.0, f64::from(most)) as u32;
        (within(low.floor()), within(high.ceil()))
    };
    let (left, right) = reach(|c| c.0, preview.width);
    let (top, bottom) = reach(|c| c.1, preview.height);
    let row = |y: u32| (y * preview.width + left) as usize..(y * preview.width + right) as usize;
    let pixels: Vec<u8> = (top..bottom)
        .flat_map(|y| grey.get(row(y)).unwrap_or_default())
        .copied()
        .collect();
    let size = (right - left, bottom - top);
    let png = png_of_grey(size.0, size.1, &pixels)
        .map_err(|e| AppError::new(format!("{shown}: {e}"), "scan again"))?;
    let moved = |c: &mut (f64, f64)| *c = (c.0 - f64::from(left), c.1 - f64::from(top));
    for step in &mut steps {
        step.whole.iter_mut().for_each(moved);
        step.inner.iter_mut().for_each(moved);
    }
    Ok(CutOut { png, size, steps })
}
