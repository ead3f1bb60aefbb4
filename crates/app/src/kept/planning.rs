//! A plan for a test that is recorded already: its film, filters, light and
//! development stay what they are, and only what is missing is added.

use super::{KeepError, Notebook};
use crate::plan_carried::sky_word;
use crate::plan_frames::MadePlan;
use crate::planned_rows::rows;
use crate::{AppError, PlanQuestion, Planned, PlannedRow, plan};
use notebook::{
    Checked, Documents, Held, RecordRow, Saved, TestId, cell_table, check, plan_toml,
    with_record_rows,
};
use record::{Id, LightReading, PlannedExposure, PlannedFrame, TestParts};
use std::collections::BTreeMap;

/// Which records of a test a plan is made for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PlannedFor {
    /// Id of the film.
    pub film: String,
    /// Ids of the filters, in the order of the question's.
    pub filters: Vec<String>,
    /// Id of the light; a light of its own is added where none is named.
    pub light: Option<String>,
    /// Id of the development; one to be written down is added where none is named.
    pub process: Option<String>,
    /// Names of the holders, of which each has the sides A and B.
    pub holders: Vec<String>,
}

/// A record of this kind that the plan needs and the test has not.
type Added = (&'static str, RecordRow);

/// Says what a plan for a recorded test would be, and gives its frames by the names of
/// the test's own records.
///
/// # Errors
/// [`AppError`] as for [`plan`], and when the test has no such record.
pub fn plan_foreseen(
    checked: &Checked,
    question: &PlanQuestion,
    of: &PlannedFor,
) -> Result<(Planned, Vec<PlannedRow>), AppError> {
    let planned = plan(question)?;
    let Some(made) = &planned.made else {
        return Ok((planned, vec![]));
    };
    let (frames, _) = fitted(made.clone(), of, &checked.parts)?;
    let mut named = checked.parts.clone();
    // The plan's own red filter has no record yet.
    named.filters.extend(made.parts.filters.iter().cloned());
    let rows = rows(&named, &frames);
    Ok((planned, rows))
}

impl Notebook {
    /// Plans a test and keeps the plan with it, if the test still has the revision that
    /// was `seen`. A plan that stood there before is replaced; it stays in the history.
    ///
    /// # Errors
    /// [`KeepError`] as for [`plan`], when no image is expected, when the plan does not
    /// fit the record, and as for [`Self::save`].
    pub fn plan_test(
        &self,
        test: TestId,
        seen: u32,
        question: &PlanQuestion,
        of: &PlannedFor,
        by: &str,
    ) -> Result<Saved, KeepError> {
        let open = self.open_test(test, None)?;
        if open.revision != seen {
            // Says who changed what since; nothing is saved.
            return self.save(test, seen, &open.documents, by, "planned");
        }
        let made = plan(question)?.made.ok_or_else(|| {
            AppError::new(
                "no image is expected behind this filter, so no plan is kept",
                "take a filter that passes more, or a film that sees further",
            )
        })?;
        let parts = &open.checked.parts;
        let (frames, added) = fitted(made, of, parts)?;
        let mut text = open.documents.record_text().unwrap_or_default().to_owned();
        for (kind, row) in added {
            let Some(table) = cell_table(kind) else {
                continue;
            };
            let mut rows = notebook::record_rows(&text, &table)?;
            rows.push(row);
            text = with_record_rows(&text, &table, &rows)?;
        }
        let mut documents = open.documents.clone();
        documents.put("test.toml", Held::Bytes(text.into_bytes()))?;
        documents.put("plan.toml", Held::Bytes(plan_toml(&frames).into_bytes()))?;
        fits(&documents)?;
        let what = if open.checked.planned.is_empty() {
            "planned"
        } else {
            "planned anew"
        };
        self.save(test, seen, &documents, by, what)
    }
}

/// Refuses a plan with which the record could no longer be read.
fn fits(documents: &Documents) -> Result<(), AppError> {
    let checked = check(documents);
    match checked.problems {
        None => Ok(()),
        Some(error) => Err(AppError::new(
            format!("the plan does not fit the record: {error}"),
            "mend the record first",
        )),
    }
}

/// An id that no record of its kind has.
fn free(wanted: &str, taken: &[&str]) -> Result<Id, AppError> {
    let name = (1_u32..)
        .map(|number| match number {
            1 => wanted.to_owned(),
            _ => format!("{wanted}-{number}"),
        })
        .find(|name| !taken.contains(&name.as_str()))
        .unwrap_or_default();
    id(&name)
}

fn id(text: &str) -> Result<Id, AppError> {
    Id::new(text).map_err(|e| AppError::new(e.to_string(), "load the page again"))
}

fn known<'a>(
    name: &str,
    kind: &str,
    ids: impl Iterator<Item = &'a Id> + Clone,
) -> Result<Id, AppError> {
    ids.clone()
        .find(|id| id.as_str() == name)
        .cloned()
        .ok_or_else(|| {
            let shown: String = name.chars().take(64).collect();
            let all: Vec<&str> = ids.map(Id::as_str).collect();
            AppError::new(
                format!("the test has no {kind} {shown:?}"),
                format!("it has: {}", all.join(", ")),
            )
        })
}

fn cells(pairs: &[(&str, String)]) -> RecordRow {
    RecordRow {
        was: None,
        cells: pairs
            .iter()
            .filter(|(_, value)| !value.is_empty())
            .map(|(key, value)| ((*key).to_owned(), value.clone()))
            .collect(),
    }
}

/// The frames of a plan with the names of the test's records, and the records that
/// have to be added.
fn fitted(
    made: MadePlan,
    of: &PlannedFor,
    parts: &TestParts,
) -> Result<(Vec<PlannedFrame>, Vec<Added>), AppError> {
    let mut added: Vec<Added> = vec![];
    let film = known(&of.film, "film", parts.films.iter().map(|f| &f.id))?;
    // The plan names its filters `filter`, or `filter-1` and so on.
    let asked: Vec<&Id> = (made.parts.filters.iter())
        .map(|filter| &filter.id)
        .filter(|id| id.as_str().starts_with("filter"))
        .collect();
    let mut filters: BTreeMap<Id, Id> = BTreeMap::new();
    for id in asked {
        let number = id
            .as_str()
            .strip_prefix("filter-")
            .and_then(|n| n.parse::<usize>().ok());
        let own = of
            .filters
            .get(number.unwrap_or(1).saturating_sub(1))
            .ok_or_else(|| AppError::new("a filter of the plan has no name", "choose filters"))?;
        let own = known(own, "filter", parts.filters.iter().map(|f| &f.id))?;
        filters.insert(id.clone(), own);
    }
    let taken: Vec<&str> = parts.filters.iter().map(|f| f.id.as_str()).collect();
    for red in made.parts.filters.iter().filter(|f| f.id.as_str() == "red") {
        // One that is there already is plain enough: same name, same cut-on.
        let there = parts.filters.iter().find(|f| f.name == red.name);
        let own = match there {
            Some(filter) => filter.id.clone(),
            None => {
                let own = free("red", &taken)?;
                let nm = red.edge.map(|e| e.wavelength.to_nm().to_string());
                added.push((
                    "filter",
                    cells(&[
                        ("id", own.to_string()),
                        ("name", red.name.clone()),
                        ("edge.wavelength_nm", nm.unwrap_or_default()),
                        ("edge.level", "not_stated".to_owned()),
                    ]),
                ));
                own
            }
        };
        filters.insert(red.id.clone(), own);
    }
    let light = match &of.light {
        Some(name) => known(name, "light", parts.lights.iter().map(|l| &l.id))?,
        None => new_light(&made, parts, &mut added)?,
    };
    let process = match &of.process {
        Some(name) => known(name, "development", parts.processes.iter().map(|p| &p.id))?,
        None => {
            let taken: Vec<&str> = parts.processes.iter().map(|p| p.id.as_str()).collect();
            let own = free("process", &taken)?;
            added.push((
                "process",
                cells(&[
                    ("id", own.to_string()),
                    ("developer", "to be written down".to_owned()),
                ]),
            ));
            own
        }
    };
    let tablet = match (parts.tablets.first(), made.parts.tablets.is_empty()) {
        (Some(tablet), _) => Some(tablet.id.clone()),
        (None, true) => None,
        (None, false) => {
            let own = id("tablet")?;
            added.push((
                "tablet",
                cells(&[("id", own.to_string()), ("nominal", "21".to_owned())]),
            ));
            Some(own)
        }
    };
    let lens = match (parts.lenses.first(), made.parts.lenses.first()) {
        (Some(lens), _) => Some(lens.id.clone()),
        (None, None) => None,
        (None, Some(lens)) => {
            let uncertainty = lens.shutter.marked_uncertainty.map(|u| u.to_stops());
            added.push((
                "lens",
                cells(&[
                    ("id", lens.id.to_string()),
                    ("name", lens.name.clone()),
                    (
                        "marked_uncertainty_stops",
                        uncertainty.map(|u| u.to_string()).unwrap_or_default(),
                    ),
                ]),
            ));
            Some(lens.id.clone())
        }
    };
    let mut names: Vec<String> = parts.frames.iter().map(|f| f.id.to_string()).collect();
    let frames = made
        .frames
        .into_iter()
        .map(|mut frame| {
            let taken: Vec<&str> = names.iter().map(String::as_str).collect();
            frame.id = free(frame.id.as_str(), &taken)?;
            names.push(frame.id.to_string());
            frame.film = film.clone();
            frame.process = process.clone();
            for filter in &mut frame.filters {
                if let Some(own) = filters.get(filter) {
                    *filter = own.clone();
                }
            }
            match &mut frame.exposure {
                PlannedExposure::Camera(camera) => {
                    camera.light = light.clone();
                    camera.lens = lens.clone();
                }
                PlannedExposure::Tablet(of) => {
                    if let Some(own) = &tablet {
                        *of = own.clone();
                    }
                }
                PlannedExposure::None => {}
            }
            load(&mut frame, of, parts);
            Ok(frame)
        })
        .collect::<Result<Vec<_>, AppError>>()?;
    Ok((frames, added))
}

/// A light of the plan's own, as a row of the record.
fn new_light(made: &MadePlan, parts: &TestParts, added: &mut Vec<Added>) -> Result<Id, AppError> {
    let taken: Vec<&str> = parts.lights.iter().map(|l| l.id.as_str()).collect();
    let own = free("light", &taken)?;
    if let Some(light) = made.parts.lights.first() {
        let reading = match light.reading {
            Some(LightReading::Ev100(ev)) => ev.to_ev().to_string(),
            _ => String::new(),
        };
        added.push((
            "light",
            cells(&[
                ("id", own.to_string()),
                (
                    "sky",
                    sky_word(light.sky).unwrap_or_default().replace('-', "_"),
                ),
                ("ev100", reading),
                ("remarks", light.remarks.clone().unwrap_or_default()),
            ]),
        ));
    }
    Ok(own)
}

/// Names the holder of a frame as the test does, and counts how often its side was
/// loaded before.
fn load(frame: &mut PlannedFrame, of: &PlannedFor, parts: &TestParts) {
    let Some(side) = &frame.holder else {
        return;
    };
    let (number, letter) = side.split_at(side.len().saturating_sub(1));
    let name = number
        .parse::<usize>()
        .ok()
        .and_then(|number| of.holders.get(number.checked_sub(1)?));
    let side = match name {
        Some(name) => format!("{name}{letter}"),
        None => side.clone(),
    };
    let before = (parts.frames.iter())
        .filter(|exposed| exposed.holder.as_deref() == Some(&side))
        .map(|exposed| exposed.load.unwrap_or(1))
        .max();
    frame.load = before.map(|load| load + 1);
    frame.holder = Some(side);
}
