//! The field card of a test folder's plan, and the way back: a field log into the record.

use crate::error::with_causes;
use crate::output::write_file;
use crate::{AppError, VERSION};
use exposure::{
    Bellows, IncidentConstant, LightReading, ReciprocityLaw, ReflectedConstant, metered_time,
    reciprocity_law_from_text,
};
use notebook::{Imported, PlannedFolder, field_log_csv, plan_hash, read_planned_folder};
use quantity::{Ev100, PupilRatio, QuantityError, Seconds};
use record::{PlannedCamera, PlannedExposure, PlannedFrame, Test};
use report::card::{CardFrame, CardInput, cards_html, phone_html, sheet_html};
use std::path::{Path, PathBuf};

/// The folder of the card within a test folder, when none is named.
const CARD: &str = "card";
/// The log to be filled in; the one file that a person writes into.
const LOG_CSV: &str = "field-log.csv";
/// Where imported logs are kept within a test folder.
const KEPT: &str = "field";
/// Digits of a plan's hash that a log carries.
const PLAN_DIGITS: usize = 12;
/// Constant C of an incident meter and K of a reflected-light one, when a light
/// is recorded in lux or cd/m²; common practice, and told on the card.
pub(crate) const C: f64 = 250.0;
pub(crate) const K: f64 = 12.5;
/// Stated and computed times that differ by more are told. \[ratio\]
const SAME_TIME: f64 = 1.07;

/// What `card` made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WrittenCard {
    /// The files, with what each is for.
    pub files: Vec<(PathBuf, &'static str)>,
    /// What a reader must know.
    pub warnings: Vec<String>,
}

/// Writes the field card of a test folder's plan: sheet, cards, phone's page and
/// the CSV to be filled in.
///
/// # Errors
/// [`AppError`] when the folder or its plan is at fault, or a file can't be written.
pub fn write_card(dir: &Path, out: Option<&Path>) -> Result<WrittenCard, AppError> {
    let folder = read_planned_folder(dir)?;
    let frames: Vec<CardFrame> = folder
        .test
        .planned()
        .iter()
        .map(|frame| card_frame(&folder, frame))
        .collect();
    let mut warnings = folder.warnings.clone();
    for (frame, card) in folder.test.planned().iter().zip(&frames) {
        warnings.extend(
            card.notes
                .iter()
                .map(|note| format!("frame {}: {note}", frame.id)),
        );
    }
    let input = CardInput {
        test: &folder.test,
        plan_sha256: plan_hash(folder.test.planned()),
        frames,
        version: VERSION.to_owned(),
    };
    let out = out.map_or_else(|| folder.root.join(CARD), Path::to_path_buf);
    std::fs::create_dir_all(&out).map_err(|e| AppError::file("making", &out, &e))?;
    let mut files = Vec::new();
    for (name, html, what) in [
        (
            "field-card.html",
            phone_html(&input),
            "for a phone, without a network",
        ),
        (
            "field-sheet.html",
            sheet_html(&input),
            "to print on A4 or Letter",
        ),
        (
            "field-cards-3x5.html",
            cards_html(&input),
            "to print on cards of 3 by 5 in",
        ),
    ] {
        let path = out.join(name);
        write_file(&path, html.as_bytes())?;
        files.push((path, what));
    }
    let log = out.join(LOG_CSV);
    let text = field_log_csv(folder.test.planned());
    let kept = std::fs::read_to_string(&log).ok();
    let done_with = (kept.as_deref())
        .is_some_and(|kept| is_of_another_plan(kept, &input) && is_kept(kept, &folder.root));
    if log.exists() && kept.as_deref() != Some(&text) && !done_with {
        warnings.push(format!(
            "{} is filled in or of another plan and was left as it is; import it, or rename it to get a fresh one",
            log.display()
        ));
    } else {
        write_file(&log, text.as_bytes())?;
    }
    files.push((log, "to type a paper card into"));
    Ok(WrittenCard { files, warnings })
}

/// Whether a log was made from another plan than the card's.
fn is_of_another_plan(log: &str, input: &CardInput<'_>) -> bool {
    !input.plan_sha256.is_empty()
        && !log.contains(&input.plan_sha256[..PLAN_DIGITS.min(input.plan_sha256.len())])
}

/// Whether the test folder keeps this very log, because it was imported.
fn is_kept(log: &str, root: &Path) -> bool {
    std::fs::read_dir(root.join(KEPT)).is_ok_and(|files| {
        files
            .flatten()
            .any(|file| std::fs::read(file.path()).is_ok_and(|bytes| bytes == log.as_bytes()))
    })
}

/// Puts a field log into a test folder.
///
/// # Errors
/// [`AppError`] when folder or log are at fault or contradict each other; then
/// nothing is written.
pub fn import_log(dir: &Path, log: &Path) -> Result<Imported, AppError> {
    Ok(notebook::import_field_log(dir, log)?)
}

fn card_frame(folder: &PlannedFolder, frame: &PlannedFrame) -> CardFrame {
    let mut card = CardFrame {
        bellows_factor: 1.0,
        ..CardFrame::default()
    };
    let PlannedExposure::Camera(camera) = &frame.exposure else {
        return card;
    };
    let records = folder.test.records();
    reading(records, camera, &mut card);
    bellows(records, camera, &mut card);
    law(records, frame, camera, &mut card);
    times(camera, &mut card);
    if let Some(exposed) = folder.test.exposed(&frame.id) {
        card.notes
            .push(format!("frame {} is exposed already", exposed.id));
    }
    card
}

fn reading(records: &Test, camera: &PlannedCamera, card: &mut CardFrame) {
    let Some(light) = records.light(&camera.light) else {
        return;
    };
    if let Some(meter) = &light.meter {
        card.placement = meter.placement;
        card.through_filter = meter.through_filter;
    }
    let Some(reading) = light.reading else { return };
    match ev100_of(reading) {
        Ok(ev) => card.ev100 = Some(ev),
        Err(error) => card
            .notes
            .push(format!("the light's reading gives no EV: {error}")),
    }
}

/// A recorded reading as EV at ISO 100, by the constants of common practice.
pub(crate) fn ev100_of(reading: record::LightReading) -> Result<Ev100, QuantityError> {
    match reading {
        record::LightReading::Ev100(ev) => LightReading::Ev100(ev),
        record::LightReading::Illuminance(illuminance) => LightReading::Illuminance {
            illuminance,
            constant: IncidentConstant::from_c(C)?,
        },
        record::LightReading::Luminance(luminance) => LightReading::Luminance {
            luminance,
            constant: ReflectedConstant::from_k(K)?,
        },
    }
    .to_ev100()
}

/// The bellows extension of a planned frame; `None` for a subject far away.
pub(crate) fn bellows_of(
    records: &Test,
    camera: &PlannedCamera,
) -> Option<Result<Bellows, exposure::BellowsError>> {
    let lens = camera.lens.as_ref().and_then(|id| records.lens(id));
    let pupil = lens
        .and_then(|lens| lens.pupil_ratio)
        .or_else(|| PupilRatio::from_ratio(1.0).ok())?;
    match (camera.bellows, lens.and_then(|lens| lens.focal_length)) {
        (Some(record::Bellows::Magnification(m)), _) => {
            Some(Ok(Bellows::from_magnification(m, pupil)))
        }
        (Some(record::Bellows::Draw(draw)), Some(focal)) => {
            Some(Bellows::from_draw(draw, focal, pupil))
        }
        _ => None,
    }
}

fn bellows(records: &Test, camera: &PlannedCamera, card: &mut CardFrame) {
    match bellows_of(records, camera) {
        Some(Ok(bellows)) => card.bellows_factor = bellows.to_ratio(),
        Some(Err(error)) => card.notes.push(with_causes(&error)),
        None => {}
    }
}

fn law(records: &Test, frame: &PlannedFrame, camera: &PlannedCamera, card: &mut CardFrame) {
    let of_film = records
        .film(&frame.film)
        .and_then(|film| film.reciprocity.as_ref())
        .map(|record| &record.law);
    let Some(text) = camera.time.law.as_ref().or(of_film) else {
        if camera.time.marked.to_s() > 1.0 {
            card.notes.push(
                "no reciprocity law is recorded: a time above 1 s is not corrected".to_owned(),
            );
        }
        return;
    };
    match reciprocity_law_from_text(text) {
        Ok(law) => card.law = Some((text.clone(), law)),
        Err(error) => {
            let why = format!("the reciprocity law can't be used: {}", with_causes(&error));
            card.notes.push(why.clone());
            card.law_refused = Some(why);
        }
    }
}

/// The times of the plan where it states them, else those of the chain; a
/// difference between the two is told.
fn times(camera: &PlannedCamera, card: &mut CardFrame) {
    let computed = match card.ev100 {
        Some(ev) if !card.through_filter => chain_time(ev, camera, card),
        _ => None,
    };
    let far = |one: Seconds, other: Seconds| {
        let ratio = one.to_s() / other.to_s();
        !(1.0 / SAME_TIME..=SAME_TIME).contains(&ratio)
    };
    if let (Some(stated), Some(computed)) = (camera.time.metered, computed)
        && far(stated, computed)
    {
        card.notes.push(format!(
            "the plan states {} metered, reading and EI give {}",
            exposure::format_time(stated),
            exposure::format_time(computed)
        ));
    }
    card.metered = camera.time.metered.or(computed);
    let corrected = |law: &ReciprocityLaw, metered| law.corrected_time(metered);
    let by_law = match (&card.law, card.metered) {
        (Some((_, law)), Some(metered)) => match corrected(law, metered) {
            Ok(corrected) => Some(corrected.time),
            Err(error) => {
                card.notes.push(with_causes(&error));
                None
            }
        },
        _ => None,
    };
    if let (Some(stated), Some(by_law)) = (camera.time.corrected, by_law)
        && far(stated, by_law)
    {
        card.notes.push(format!(
            "the plan states {} corrected, the law gives {}",
            exposure::format_time(stated),
            exposure::format_time(by_law)
        ));
    }
    card.corrected = camera.time.corrected.or(by_law);
}

fn chain_time(ev: Ev100, camera: &PlannedCamera, card: &CardFrame) -> Option<Seconds> {
    let placed = Ev100::from_ev(ev.to_ev() - card.placement.to_stops()).ok()?;
    let metered = metered_time(placed, camera.ei, camera.aperture).ok()?;
    Seconds::from_s(metered.to_s() * card.bellows_factor).ok()
}
